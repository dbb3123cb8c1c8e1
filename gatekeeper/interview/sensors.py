"""What tells that a machine or a motor runs, and the question for a machine."""

from dataclasses import dataclass

from gatekeeper.interview.engine import Walk
from gatekeeper.interview.reading import choice_question
from gatekeeper.interview.room import NO_PINS

NOTHING_YET = "nothing yet"
SWITCH = "current switch"
CLAMP = "clamp"
CLAMPS = {CLAMP: "30 A", "clamp for 20 A": "20 A", "clamp for 40 A": "40 A"}
"""How clamps are called, and their ranges."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What tells that something runs: a current switch, or with ``converter`` a clamp on a channel of it."""

    converter: str | None = None
    channel: int = 0
    range_a: str = ""

    @property
    def word(self) -> str:
        """How it is asked for."""
        return SWITCH if self.converter is None else next(word for word, most in CLAMPS.items() if most == self.range_a)


def ask_seen(
    name: str, channel: tuple[str, int] | None, *, has_pin: bool = True, must: bool = False, usual: str = NOTHING_YET
) -> Walk[Seen | None]:
    """What tells that a machine runs.

    Args:
        name: the machine.
        channel: the next free one for a clamp, or None.
        has_pin: there is a pin for a current switch.
        must: something has to be wired.
        usual: what an empty answer takes, where it can be had.
    """
    wired = (*((SWITCH,) if has_pin else ()), *(CLAMPS if channel is not None else ()))
    offered = wired if must and wired else (NOTHING_YET, *wired)
    how: str | None = yield choice_question(
        "sensor",
        f"What tells that the {name} runs?{'' if has_pin else NO_PINS}",
        "A current switch clips around one wire of the machine and is the quickest to fit. A clamp goes to a converter "
        "board and is measured; up to 30 A fits most machines: twice what it draws in a hard cut is enough. Nothing "
        "yet: its gate is there, and the controller learns of the machine later.",
        offered,
        usual if usual in offered else offered[0],
        None if must else "It counts as not wired yet.",
    )
    if how == SWITCH:
        return Seen()
    if how in CLAMPS and channel is not None:
        return Seen(*channel, CLAMPS[how])
    return None
