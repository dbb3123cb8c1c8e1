"""What a motor wants from people. Part of ``model``."""

from dataclasses import dataclass

from gatekeeper.shop.kinds import FullBin


@dataclass(frozen=True, slots=True)
class Care:
    """What a collector or tool vacuum wants from people: seconds of running between two looks, above 0.

    ``check_every_s``: between two monthly checks, by the wall clock. ``given``: the keys that the file gives.
    """

    bin_every_s: float
    filter_every_s: float
    check_every_s: float
    full_bin: FullBin
    given: frozenset[str] = frozenset()
