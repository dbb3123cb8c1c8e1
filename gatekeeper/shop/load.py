"""From the text of a shop file to the shop, or to every fault in it."""

from gatekeeper.shop.build import build_shop
from gatekeeper.shop.claims import clashes
from gatekeeper.shop.faults import Faults, in_order
from gatekeeper.shop.links import link_faults
from gatekeeper.shop.model import Shop
from gatekeeper.shop.places import read_through
from gatekeeper.shop.reading import read_parts
from gatekeeper.shop.sense import sense_faults


def load_shop(text: str, name: str) -> Shop | Faults:
    """Read a shop from ``text``; ``name`` is the file's name for messages. Pure: no file is opened.

    Returns the checked shop, or every fault at once. Only a text that is no YAML at all shows its first fault alone.
    """
    tree = read_through(text, name)
    if isinstance(tree, Faults):
        return tree
    parts, faults = read_parts(tree)
    faults += link_faults(tree)
    faults += clashes(tree)
    faults += sense_faults(tree, parts)
    refused = {fault.mark for fault in tree.faults}
    faults = [*tree.faults, *(fault for fault in faults if fault.mark not in refused)]
    if not faults:
        shop, faults = build_shop(tree, parts)
        if not faults:
            return shop
    return Faults(name, tree.text, in_order(faults))
