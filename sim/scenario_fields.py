"""The kinds of value that a scenario file holds beyond those of a shop file: times of a play, limits, spans."""

import itertools
import re
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from typing import Annotated

from pydantic import BaseModel

from gatekeeper.shop.faults import did_you_mean, listed, shortened
from gatekeeper.shop.fields import Reads, day_span_of, refuse
from gatekeeper.shop.model import Span
from gatekeeper.shop.units import QuantityError, parse

DAY_S = 86400.0
#: The longest play, seconds: a year and a day.
LONGEST_S = 366 * DAY_S

_CLOCK = re.compile(
    r"(?:day (?P<day>[1-9][0-9]{0,2}) )?(?P<hour>[01]?[0-9]|2[0-3]):(?P<minute>[0-5][0-9])(?::(?P<second>[0-5][0-9]))?"
)
_PIECE = re.compile(r"\d+(?:\.\d+)? ?[A-Za-z]+")
_PIECES = re.compile(rf"(?:{_PIECE.pattern} )*{_PIECE.pattern}")


class Weekday(Enum):
    """Days of the week. The first day of every play is a Monday."""

    MONDAY = "Monday"
    TUESDAY = "Tuesday"
    WEDNESDAY = "Wednesday"
    THURSDAY = "Thursday"
    FRIDAY = "Friday"
    SATURDAY = "Saturday"
    SUNDAY = "Sunday"


@dataclass(frozen=True, slots=True)
class Moment:
    """A moment of a play as it was written.

    ``seconds`` count from the beginning of the play, or, ``by_clock``, from the midnight before it.
    """

    seconds: float
    by_clock: bool = False

    def from_beginning_s(self, begins_s: float) -> float:
        """Seconds from the beginning of a play that begins ``begins_s`` after midnight; below 0 when it lies before."""
        return self.seconds - begins_s if self.by_clock else self.seconds


def text_of(value: object) -> str:
    """The text of one value with single blanks; a list or keys are refused."""
    if not isinstance(value, str):
        raise refuse("a list or further keys stand here; write one value")
    return " ".join(value.split())


def seconds_of(text: str, example: str = "12 s, 1 min 30 s or 2 h") -> float:
    """A length of time in one or more pieces, each a number and a unit: ``1 min 30 s``."""
    if not _PIECES.fullmatch(text):
        raise refuse(f'"{shortened(text)}" is no time; write a number and a unit, such as {example}')
    try:
        return sum(parse(piece, "time") for piece in _PIECE.findall(text))
    except QuantityError as error:
        raise refuse(str(error)) from None


def _moment(value: object) -> Moment:
    text = text_of(value)
    match = _CLOCK.fullmatch(text)
    if match is not None:
        days = int(match["day"] or 1) - 1
        seconds = int(match["hour"]) * 3600 + int(match["minute"]) * 60 + int(match["second"] or 0)
        return Moment(days * DAY_S + seconds, by_clock=True)
    seconds_s = seconds_of(text, "12 s, 1 min 30 s, 8:05 or day 2 8:05")
    if seconds_s > LONGEST_S:
        raise refuse(f'"{text}" is out of range; a play lasts 366 days at most')
    return Moment(seconds_s)


def _time_of_day(value: object) -> float:
    text = text_of(value)
    match = _CLOCK.fullmatch(text)
    if match is None or match["day"] is not None:
        raise refuse(f'"{shortened(text)}" is not a time of day; write such as 8:00 or 21:30')
    return int(match["hour"]) * 3600.0 + int(match["minute"]) * 60 + int(match["second"] or 0)


def lasting(least_s: float, most_s: float, words: str) -> Reads:
    """How a length of time is read; ``words`` say what is allowed."""

    def read(value: object) -> float:
        text = text_of(value)
        seconds_s = seconds_of(text)
        if not least_s <= seconds_s <= most_s:
            raise refuse(f'"{shortened(text)}" is out of range; {words}')
        return seconds_s

    return Reads(read, {"type": "string", "examples": ["12 s", "1 min 30 s"]})


When = Annotated[
    Moment,
    Reads(_moment, {"type": "string", "examples": ["12 s", "1 min 30 s", "8:05", "day 2 8:05"]}),
]
ForTime = Annotated[float, lasting(0.05, 7 * DAY_S, "it lies between 50 ms and 168 h")]
Length = Annotated[float, lasting(1.0, LONGEST_S, "a play lasts between 1 s and 366 days (8784 h)")]


@dataclass(frozen=True, slots=True)
class Amount:
    """A limit as it was written: a ``number`` in ``unit`` ("" for a plain number, "%" for a share)."""

    number: float
    unit: str


def _amount(value: object) -> Amount:
    text = text_of(value)
    match = re.fullmatch(r"(?P<number>\d{1,9}(?:\.\d{1,6})?) ?(?P<unit>%|[A-Za-z][A-Za-z0-9/ ]*)?", text)
    if match is None:
        raise refuse(
            f'"{shortened(text)}" is no limit; write a number, with its unit where it has one, such as 30 or 200 g'
        )
    return Amount(float(match["number"]), (match["unit"] or "").strip())


Limit = Annotated[Amount, Reads(_amount, {"type": ["string", "number"], "examples": ["30", "200 g", "95 %", "12 s"]})]


@dataclass(frozen=True, slots=True)
class Between:
    """A span that is drawn from: ``least`` to ``most``, both ends possible. Seconds where it is a span of time."""

    least: float
    most: float


def _between(one: Callable[[str], float], example: str, least: float, most: float, allowed: str) -> Reads:
    def read(value: object) -> Between:
        text = text_of(value)
        parts = text.split(" to ")
        if len(parts) > 2:
            raise refuse(f'"{shortened(text)}" is neither one value nor two; write such as {example}')
        low, high = one(parts[0]), one(parts[-1])
        if not least <= low <= high <= most:
            raise refuse(f'"{shortened(text)}" is out of range; {allowed}, the smaller one first')
        return Between(low, high)

    return Reads(read, {"type": ["string", "number"], "examples": [example]})


def _whole(text: str) -> float:
    if not re.fullmatch(r"[0-9]{1,4}", text):
        raise refuse(f'"{shortened(text)}" is not a whole number')
    return float(text)


def _per_day(text: str) -> float:
    return _whole(text.removesuffix(" a day"))


TimeSpan = Annotated[Between, _between(seconds_of, "5 s to 40 s", 0.2, 4 * 3600.0, "times lie between 200 ms and 4 h")]
CountSpan = Annotated[Between, _between(_whole, "2 to 8", 1, 500, "whole numbers lie between 1 and 500")]
PerDay = Annotated[Between, _between(_per_day, "0 to 3 a day", 0, 200, "whole numbers lie between 0 and 200 a day")]


def _several(value: object) -> list[object]:
    return value if isinstance(value, list) else [value]


def _day_spans(value: object) -> tuple[Span, ...]:
    spans = sorted((day_span_of(item) for item in _several(value)), key=lambda span: span.start_min)
    if any(span.end_min < span.start_min for span in spans):
        raise refuse("a break does not run past midnight; write such as 12:00 to 12:30")
    if any(after.start_min < before.end_min for before, after in itertools.pairwise(spans)):
        raise refuse("two of these breaks overlap; write them one after the other")
    return tuple(spans)


def _weekdays(value: object) -> tuple[Weekday, ...]:
    words = {day.value: day for day in Weekday}
    days = [text_of(item) for item in _several(value)]
    wrong = next((day for day in days if day not in words), None)
    if wrong is not None:
        said = f'"{shortened(wrong)}" is not one of {listed(list(words))}'
        raise refuse(said + did_you_mean(wrong, words))
    if len(set(days)) == len(words):
        raise refuse("every day of the week is closed; leave one on which people work")
    return tuple(words[day] for day in days)


TimeOfDay = Annotated[float, Reads(_time_of_day, {"type": "string", "examples": ["8:00"]})]
DaySpans = Annotated[
    tuple[Span, ...] | None,
    Reads(_day_spans, {"type": ["string", "array"], "items": {"type": "string"}, "examples": ["10:00 to 10:15"]}),
]
Weekdays = Annotated[
    tuple[Weekday, ...] | None,
    Reads(_weekdays, {"type": ["string", "array"], "items": {"type": "string"}, "examples": ["Sunday"]}),
]


class Part(BaseModel):
    """Any part of a scenario file: unknown keys are refused, values never change."""

    model_config = {"extra": "forbid", "frozen": True}
