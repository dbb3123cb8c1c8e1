"""What happens in a shop from outside, as values: people, machines, faults, and the board's own fate."""

from dataclasses import dataclass
from enum import Enum
from typing import Any, TypeVar

_T = TypeVar("_T")


class What(Enum):
    """What happens. Beside each: what ``subject`` names, and what ``value`` is."""

    TOOL_ON = "tool on"  # a tool; None. From now on it runs and makes chips.
    TOOL_OFF = "tool off"  # a tool; None
    REQUEST = "request"  # None; a control.messages.Requested
    SETTING = "setting"  # None; a control.messages.SettingChanged
    FAULT = "fault"  # what breaks, see sim.breakage; the fault's word
    MEND = "mend"  # as FAULT
    INPUT = "input"  # red button, fire detector or door; True for pressed, alarm, door open
    PRESS = "press"  # a button (air here, stop, reset, release); None
    HAND_SWITCH = "hand switch"  # a Hand-Off-Auto switch; "hand", "off" or "auto"
    SHOP_KEY = "shop key"  # None; True for open. Reaches the controller also where no key is wired (as the hours do).
    QUIET = "quiet"  # None; True where quiet hours begin
    MOVE_BY_HAND = "move by hand"  # a gate; where somebody moves it to, 0 (shut) to 1 (open)
    CONTROLLER = "controller"  # None; a ``Controller``
    MAINS = "mains"  # None; False where the whole shop loses its power, True where it comes back
    STANDS_STILL = "stands still"  # None; for how many seconds the control loop takes in nothing
    CLOCK_STEP = "clock step"  # None; by how many seconds the wall clock leaps


class Controller(Enum):
    """What becomes of the controller itself."""

    STOP = "stop"  # asked to end: a last, clean step
    KILL = "kill"  # the process dies at once, the board stays on
    START = "start"  # the process starts (again); same boot when the board stayed on
    PLUG_OUT = "plug out"  # the board loses its power, the shop does not
    PLUG_IN = "plug in"  # the board has power again and its process starts: a new boot


#: What befalls the controller itself, and shows how long an "on" holds without it.
BEFALLS_CONTROLLER = frozenset({What.CONTROLLER, What.MAINS, What.STANDS_STILL})


@dataclass(frozen=True, slots=True)
class Happening:
    """One thing that happens.

    Args:
        at_s: when, seconds from the beginning of the play, 0 or more. Several at one instant happen in their order.
        what: what happens.
        subject: whom it is about, by the shop's own name; None where ``What`` says so.
        value: see ``What``.
    """

    at_s: float
    what: What
    subject: str | None = None
    value: Any = None


def wanted(kind: type[_T], value: Any) -> _T:
    """A happening's value as what it must be. Raises ValueError with a sentence where it is something else."""
    if not isinstance(value, kind):
        raise ValueError(f"This happening wants a {kind.__name__}, not {value!r}.")
    return value
