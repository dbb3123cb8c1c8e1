"""From the page and the neighbours as written to those of the shop."""

from gatekeeper.shop.model import Homie, Neighbours, Page
from gatekeeper.shop.written_page import NeighboursPart, PagePart


def page_of(part: PagePart) -> Page:
    """The page."""
    return Page(
        listen=part.listen,
        port=part.port,
        remote_start=part.remote_start,
        pin=part.pin,
        air_pin=part.air_pin,
        reading=part.reading,
        certificate=part.certificate,
        key=part.key,
    )


def neighbours_of(part: NeighboursPart) -> Neighbours:
    """The neighbours."""
    homie = part.homie
    return Neighbours(
        homie=Homie(homie.broker, homie.device, homie.commands) if homie is not None else None,
        metrics=part.metrics,
    )
