"""The page's view of a day. See ``gatekeeper.service.face``."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class LaneSpan:
    """A stretch of a day, in seconds after local midnight (0 to 90000: days of 25 hours exist)."""

    start_s: float
    end_s: float
    word: str


@dataclass(frozen=True, slots=True)
class Lane:
    """One lane of a day: a motor, tool or gate, and when it did what."""

    name: str
    spans: tuple[LaneSpan, ...]


@dataclass(frozen=True, slots=True)
class DayNumber:
    """One plain number with its unit in words: ("Hours of dust collector", "3.4 h")."""

    label: str
    value: str


@dataclass(frozen=True, slots=True)
class DayLine:
    """One line of the record in words, with its wall clock ("14:03:22")."""

    at: str
    sentence: str


@dataclass(frozen=True, slots=True)
class DayView:
    """A day of the shop. ``day`` and ``days`` are ISO dates; ``days`` are those with a record, newest first."""

    day: str
    days: tuple[str, ...]
    lanes: tuple[Lane, ...]
    numbers: tuple[DayNumber, ...]
    lines: tuple[DayLine, ...]
