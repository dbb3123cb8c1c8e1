"""What a scenario expects of a play, as values; ``sim.expect_judge`` says whether it came so.

Gates, motors, tools and air are those of the shop itself and not what the controller believes of them. Times are
seconds from the beginning of the play.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum


class Being(Enum):
    """What a gate, a motor or a tool may be: as it really is in the shop, not as the controller believes."""

    OPEN = "open"
    SHUT = "shut"
    RUNNING = "running"
    OFF = "off"
    STILL = "still"
    COLLECTED = "collected"


class Figure(Enum):
    """What a limit may be set on, over the whole play."""

    GATE_MOVES = "gate moves"
    GATE_MOVES_IN_AN_HOUR = "gate moves in an hour"
    MOTOR_STARTS = "motor starts"
    MOTOR_STARTS_IN_AN_HOUR = "motor starts in an hour"
    CUTS = "cuts"
    CUTS_WITHOUT_AIR = "cuts without air"
    CUTS_WITHOUT_AIR_LATER = "cuts without air after the first"
    LATE_AIR = "late air"
    RUNNING = "running"
    ENERGY = "energy"
    CHIPS_LEFT = "chips left"
    CHIPS_ESCAPED = "chips escaped"
    CHIPS_CAUGHT = "chips caught"


class Timing(Enum):
    """How an expectation of a state lies in time."""

    BY = "by"
    AT = "at"
    ALL_THE_TIME = "all the time"
    NEVER = "never"


@dataclass(frozen=True, slots=True)
class StateExpected:
    """A gate, motor or tool is in a state: ``BY`` to_s at the latest, not looking before from_s; ``AT`` to_s; at every
    instant, or at none, ``from_s`` to ``to_s`` (infinite: to the end of the play).
    """

    line: int
    said: str
    kind: str
    subject: str
    being: Being
    timing: Timing
    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True)
class MessageExpected:
    """A message is raised (or, ``is_never``, is not) between ``from_s`` and ``to_s``.

    ``code``: of the fault table, or "alarm" for all of harm now, or "any". ``about`` None: whatever it is about.
    """

    line: int
    said: str
    code: str
    about: str | None
    is_never: bool
    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True)
class FigureExpected:
    """A figure of the whole play within limits, in the figure's own unit (see ``UNIT_OF``); ``of``: of one alone."""

    line: int
    said: str
    figure: Figure
    of: str | None
    at_most: float | None
    at_least: float | None


@dataclass(frozen=True, slots=True)
class StartsApartExpected:
    """No two motors start less than ``apart_s`` one after the other."""

    line: int
    said: str
    apart_s: float


Expectation = StateExpected | MessageExpected | FigureExpected | StartsApartExpected

BEINGS: Mapping[str, tuple[Being, ...]] = {
    "gate": (Being.OPEN, Being.SHUT),
    "motor": (Being.RUNNING, Being.OFF, Being.STILL),
    "tool": (Being.RUNNING, Being.OFF, Being.COLLECTED),
}
"""What each kind of thing may be."""

UNIT_OF: Mapping[Figure, str] = {
    Figure.LATE_AIR: "time",
    Figure.RUNNING: "time",
    Figure.ENERGY: "kWh",
    Figure.CHIPS_LEFT: "kg",
    Figure.CHIPS_ESCAPED: "kg",
    Figure.CHIPS_CAUGHT: "%",
}
"""Figures that have a unit; the others are plain counts."""

OF_ONE: Mapping[Figure, str] = {
    Figure.MOTOR_STARTS: "motor",
    Figure.MOTOR_STARTS_IN_AN_HOUR: "motor",
    Figure.CUTS: "tool",
    Figure.CUTS_WITHOUT_AIR: "tool",
    Figure.LATE_AIR: "tool",
    Figure.RUNNING: "motor",
    Figure.ENERGY: "motor",
    Figure.CHIPS_CAUGHT: "tool",
}
"""Figures that can be asked of one thing alone, and which kind of thing."""
