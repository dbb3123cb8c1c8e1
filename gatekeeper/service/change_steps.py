"""The steps of a change at a collector (bin, bag, filter): what is to be done, in words, and what the press says.

The order is common practice: stop, wait, lock, cover the lungs, open, shut, unlock, put to work, look whether it pulls.
"""

from dataclasses import dataclass
from enum import Enum


class Job(Enum):
    """What is changed; the value is its word in addresses and on the disk."""

    BIN = "bin"
    BAG = "bag"
    FILTER = "filter"


class Step(Enum):
    """One step; the value is its word on the disk."""

    COAST = "coast"
    LOCK = "lock"
    RESPIRATOR = "respirator"
    CHANGE = "change"
    CLOSE = "close"
    UNLOCK = "unlock"
    BACK = "back"
    READING = "reading"


ORDER = tuple(Step)
#: Steps in which somebody may have a hand, or dust, in the open collector.
OPEN_STEPS = frozenset({Step.COAST, Step.LOCK, Step.RESPIRATOR, Step.CHANGE, Step.CLOSE, Step.UNLOCK})
#: What care calls it when it is done.
CARE_WORD = {Job.BIN: "bin_emptied", Job.BAG: "bin_emptied", Job.FILTER: "filter_cleaned"}
#: Why it went out of service, after who.
WHY = {Job.BIN: "the bin is emptied", Job.BAG: "the bag is changed", Job.FILTER: "the filter is cleaned or changed"}
BEGIN = {
    Job.BIN: "Empty the bin of {motor}",
    Job.BAG: "Change the bag of {motor}",
    Job.FILTER: "Clean or change the filter of {motor}",
}


@dataclass(frozen=True, slots=True)
class Words:
    """A step's title, what to do, and the press that says that it is done; ``{motor}`` is the motor's name."""

    title: str
    now: str
    label: str


_LOCK = Words(
    "Lock the disconnect",
    "Open the disconnect of {motor}, hang your own lock on it and keep the key. Then try to start it: nothing may "
    "happen. Out of service on this page is no padlock.",
    "It is locked",
)
_RESPIRATOR = Words(
    "Respirator",
    "Put on a fitted respirator rated for fine dust, and send away whoever has none. No smoking, no flame, no grinder "
    "near.",
    "I wear it",
)
_CLOSE = Words(
    "Shut it again",
    "Shut {motor} and every clean-out of it. See that seals and clamps sit all round: a leak takes the air from the "
    "machines. Sweep nothing dry; take dust up with a vacuum made for it.",
    "It is shut",
)
_UNLOCK = Words(
    "Take the lock off",
    "See that nobody is at {motor}. Take your lock off and close the disconnect. Nothing starts because of it.",
    "The lock is off",
)
_BACK = Words(
    "Back in service",
    "Bring {motor} back into service. Nothing starts by itself; the next start of a machine does.",
    "Back in service",
)
_READING = Words(
    "Suction against before",
    "Start a machine and read the gauge at the same place and with the same gates open as before. Where there is no "
    "gauge, leave it empty.",
    "Write it down and end",
)
_WARM = "Anything warm, or a smell of burning: shut it, leave, call the fire service."
_CHANGE = {
    Job.BIN: Words(
        "Empty the bin",
        "Let the dust settle for a few minutes, then open slowly. Empty it without a drop into a bag that is closed at "
        f"once. {_WARM}",
        "It is empty",
    ),
    Job.BAG: Words(
        "Change the bag",
        "Let the dust settle for a few minutes. Tie the full bag off before you take it down. Hang the new one and "
        f"clamp it all round. {_WARM}",
        "The new bag hangs",
    ),
    Job.FILTER: Words(
        "Clean or change the filter",
        "Take it out slowly. Never beat or blow it out in the shop: that fills the air with the finest dust. Where it "
        f"has a hole, change it. {_WARM}",
        "The filter is in",
    ),
}
_REST = Words("Wait until it stands still", "", "It stands still")


def words(job: Job, step: Step) -> Words:
    """The words of one step of one job."""
    if step is Step.CHANGE:
        return _CHANGE[job]
    return {
        Step.COAST: _REST,
        Step.LOCK: _LOCK,
        Step.RESPIRATOR: _RESPIRATOR,
        Step.CLOSE: _CLOSE,
        Step.UNLOCK: _UNLOCK,
        Step.BACK: _BACK,
        Step.READING: _READING,
    }[step]
