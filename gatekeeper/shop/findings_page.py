"""What the owner should hear about the page, its door and the neighbours."""

from collections.abc import Iterator

from gatekeeper.shop.finding import Finding, bite, nice
from gatekeeper.shop.model import Reading, Shop

_THIS_MACHINE = ("127.0.0.1", "::1", "localhost")


def page_findings(shop: Shop) -> Iterator[Finding]:
    """Everything about who may look, ask and listen."""
    page, homie = shop.page, shop.neighbours.homie
    if page.remote_start:
        said = "A motor may be started from the page: hang a sign at each that it may start by itself."
        yield bite("remote_start", "page", said)
    if page.listen not in _THIS_MACHINE:
        if page.reading is Reading.OPEN:
            said = f"It listens on {page.listen}: everybody on that network sees it and may press Stop."
        else:
            said = f"It listens on {page.listen}: everybody on that network may press Stop; looking needs the PIN."
        yield nice("page_open", "page", said)
        if page.pin is not None and len(page.pin) < 6:
            said = (
                f"A PIN of {len(page.pin)} digits can be tried out within days from inside the network. Write 6 or "
                "more, or take pin out: one of 6 is made."
            )
            yield nice("short_pin", "page", said)
        if page.certificate is None:
            said = "It speaks plain http: whoever listens on that network can read the PIN (page: certificate, key)."
            yield nice("plain_http", "page", said)
    if homie is not None:
        broker = shop.brokers[homie.broker]
        said = f"Whoever may read the broker {broker.name} sees when the shop works."
        yield nice("homie", "neighbours", said)
        if homie.commands:
            said = (
                f"While somebody in the shop lets commands in, whoever may publish at {broker.name} can stop motors "
                "and ask for air here"
            )
            said += ", and that starts the collector." if page.remote_start else "; it cannot start a motor."
            if broker.user is None:
                said += " That broker asks for no password: give it one, and name it under brokers."
            yield bite("broker_commands", "neighbours", said)
