"""Which things of a shop have a wire whose pin is still to be chosen: fine to read and to draw, not to run."""

from collections.abc import Iterator
from dataclasses import fields, is_dataclass

from gatekeeper.shop.lines import UNCHOSEN
from gatekeeper.shop.model import Shop


def without_pin(shop: Shop) -> Iterator[str]:
    """The names of everything that has a pin still to be chosen, in the order of the file."""
    for part in fields(shop):
        section = getattr(shop, part.name)
        if hasattr(section, "items"):
            yield from (name for name, one in section.items() if _is_open(one))


def _is_open(value: object) -> bool:
    if isinstance(value, (tuple, list)):
        return any(_is_open(one) for one in value)
    if not is_dataclass(value):
        return False
    for part in fields(value):
        here = getattr(value, part.name)
        if _is_open(here) or (part.name.endswith("line") and here == UNCHOSEN):
            return True
    return False
