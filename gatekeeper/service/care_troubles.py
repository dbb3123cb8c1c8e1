"""The fault table of care: bins, filters, checks, the air of a collector. Same columns as the service's own."""

from gatekeeper.control.alarms import Fault
from gatekeeper.shop.model import InputKind, Shop

_BIN = "Switch off at the disconnect and lock it, empty the bin, then press Bin emptied on the Care page."
_FILTER = "Switch off at the disconnect and lock it, clean the filter, then press Filter cleaned on the Care page."
_RUNS = "It has run for as long as one filling or cleaning lasts."

#: Of a bin that refuses the next start; the core knows it as a door.
FULL_BIN = Fault(
    "today",
    "The bin is full: {subject}. Its motor stays off until it is emptied.",
    "Chips reach the sensor in the bin, or its wire is broken.",
    "Switch off at the disconnect and lock it, then empty the bin.",
)

CARE_TROUBLES: dict[str, Fault] = {
    "bin_called": Fault("today", "The bin of {subject} is full.", "Chips reach the sensor in the bin.", _BIN),
    "bin_overdue": Fault("today", "The bin of {subject} is long overdue.", _RUNS, _BIN),
    "bin_due": Fault("when_you_can", "The bin of {subject} wants emptying.", _RUNS, _BIN),
    "filter_called": Fault(
        "today", "The filter of {subject} takes too much pressure.", "Fine dust sits in the filter.", _FILTER
    ),
    "filter_loaded": Fault(
        "when_you_can",
        "The filter of {subject} takes more pressure than it should.",
        "Fine dust sits in the filter; soon after a cleaning, a full bin sends it there.",
        _FILTER,
    ),
    "filter_overdue": Fault("today", "The filter of {subject} is long overdue.", _RUNS, _FILTER),
    "filter_due": Fault("when_you_can", "The filter of {subject} wants cleaning.", _RUNS, _FILTER),
    "check_overdue": Fault(
        "when_you_can",
        "The monthly check of {subject} is long overdue.",
        "Nobody has taken a reading since.",
        "Take the reading and press Stop once while it runs: five minutes, on the Care page.",
    ),
    "check_due": Fault(
        "when_you_can",
        "The monthly check of {subject} is due.",
        "Nobody has taken a reading since.",
        "Take the reading and press Stop once while it runs: five minutes, on the Care page.",
    ),
    "reading_low": Fault(
        "when_you_can",
        "A reading of suction at {subject} lies far below day one.",
        "A full bin, a loaded filter, or a hose that leaks.",
        "Mend the first of them that is not in order, then take the reading again.",
    ),
    "pressure_low": Fault(
        "when_you_can",
        "Suction measured at {subject} lies below day one.",
        "A full bin, a loaded filter, or a hose or gate that leaks.",
        "Mend the first of them that is not in order, and say so on the Care page.",
    ),
    "pressure_high": Fault(
        "when_you_can",
        "Suction measured at {subject} lies above day one: less air comes in.",
        "A gate that does not open all the way, a blocked hose, hood or main.",
        "Clear the first of them that is not in order, and say so on the Care page.",
    ),
    "suction_low": Fault(
        "when_you_can",
        "The air of {subject} lies below day one.",
        "A full bin, a loaded filter, or a hose that leaks.",
        "Mend the first of them that is not in order, and say so on the Care page.",
    ),
}


def is_bin(shop: Shop, name: str) -> bool:
    """Whether an input that the core knows as a door is a bin that is full."""
    source = shop.inputs.get(name)
    return source is not None and source.kind is InputKind.BIN_FULL
