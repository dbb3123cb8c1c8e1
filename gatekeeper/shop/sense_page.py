"""Whether the page and the neighbours of a shop file make sense."""

from collections.abc import Iterator

from gatekeeper.shop.faults import Fault
from gatekeeper.shop.kinds import InputKind
from gatekeeper.shop.places import Tree
from gatekeeper.shop.reading import path_of
from gatekeeper.shop.written import ShopFile


def page_faults(tree: Tree, parts: ShopFile) -> Iterator[Fault]:
    """Every rule about page and neighbours that these parts break."""

    def fault(said: str, *loc: str, key: bool = False) -> Fault:
        return Fault(tree.mark_of(loc, key=key), path_of(loc), said)

    page, homie = parts.page, parts.neighbours.homie
    if page.certificate is not None and page.key is None:
        yield fault("a certificate needs its private key; add key: and the file", "page", "certificate", key=True)
    if page.key is not None and page.certificate is None:
        yield fault("a key belongs to a certificate; add certificate: and the file", "page", "key", key=True)
    if page.air_pin is not None and page.air_pin == page.pin:
        yield fault("this is the PIN for everything; give it other digits, or take it out", "page", "air_pin")
    keys = [name for name, part in parts.inputs.items() if part.kind is InputKind.BROKER_KEY]
    if keys and (homie is None or not homie.commands):
        said = "no broker may send commands here, so this key does nothing; add neighbours: homie: commands: yes"
        yield fault(said, "inputs", keys[0], key=True)
