"""What the shop file says about looking after it: intervals, a full bin, whom to call. Part of ``written``."""

from typing import Annotated

from gatekeeper.shop.fields import FreeTexts as FreeTexts
from gatekeeper.shop.fields import choice, quantity
from gatekeeper.shop.kinds import FullBin
from gatekeeper.shop.model_care import Care
from gatekeeper.shop.part import Part
from gatekeeper.shop.part import key as _key


class CarePart(Part):
    """What a collector wants from people. The defaults are our own; the maker's figures go before."""

    bin_every: Annotated[float, quantity("time", "10 min", "10000 h")] = _key(
        "Hours of running between two looks into the bin. Default 10 h.", 36_000.0
    )
    filter_every: Annotated[float, quantity("time", "1 h", "10000 h")] = _key(
        "Hours of running between two cleanings of the filter. Default 100 h.", 360_000.0
    )
    check_every: Annotated[float, quantity("time", "24 h", "10000 h")] = _key(
        "Time between two monthly checks. Default 744 h, which is 31 days.", 2_678_400.0
    )
    full_bin: Annotated[FullBin, choice(FullBin)] = _key(
        "What its bin full input does: warns (default), or refuses the next start once this cut is over.", FullBin.WARNS
    )


def care_of(part: CarePart | None) -> Care:
    """The care of one motor; our own intervals where the file gives none."""
    own = part if part is not None else CarePart()
    return Care(own.bin_every, own.filter_every, own.check_every, own.full_bin, frozenset(own.model_fields_set))
