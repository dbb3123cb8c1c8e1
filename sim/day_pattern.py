"""How people work in a shop, as a pattern from which days are drawn, and the pattern of a shop that gives none.

Every number of the default pattern is our own assumption of a small shop in which one person at a time works at a
machine: nobody published how often a table saw is switched on. A scenario file's ``pattern`` replaces what it names.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from gatekeeper.shop.model import Shop, Span, Tool
from sim.scenario_fields import Between, Weekday
from sim.scenario_written import PatternPart


@dataclass(frozen=True, slots=True)
class Habit:
    """How one tool is used: ``jobs`` a day, each of so many ``cuts`` of ``cut`` seconds with ``pause`` seconds between.

    Jobs and cuts are drawn evenly from their span. Times are drawn evenly on a logarithmic scale, so that short cuts
    are more frequent than long ones.
    """

    jobs: Between
    cuts: Between
    cut: Between
    pause: Between


@dataclass(frozen=True, slots=True)
class Pattern:
    """Working days. ``open``, ``breaks``: minutes after midnight; ``closed``: weekdays; ``people``: at work at once."""

    open: Span
    breaks: tuple[Span, ...]
    closed: frozenset[Weekday]
    people: int
    habits: Mapping[str, Habit]


#: An eight-hour day with a morning break and an hour at noon, Sundays off. Our own assumptions.
OPEN = Span(8 * 60, 16 * 60)
BREAKS = (Span(10 * 60, 10 * 60 + 15), Span(12 * 60, 13 * 60))
CLOSED = frozenset({Weekday.SUNDAY})
#: One person for so many tools, and never more than so many people. Our own assumptions.
TOOLS_A_PERSON = 8
MOST_PEOPLE = 4

#: Words of a tool's name and how such a tool is used; the first that fits counts. Our own assumptions, all of them.
BY_NAME: tuple[tuple[str, Habit], ...] = (
    # A mitre saw: many short cuts in a row, the motor off between them.
    ("mitre", Habit(Between(2, 4), Between(4, 14), Between(2, 6), Between(8, 40))),
    ("cross-cut", Habit(Between(2, 4), Between(4, 14), Between(2, 6), Between(8, 40))),
    # Saws with a fence: a few boards at a time.
    ("bandsaw", Habit(Between(1, 3), Between(1, 5), Between(20, 150), Between(10, 60))),
    ("scroll", Habit(Between(0, 1), Between(1, 4), Between(60, 400), Between(20, 120))),
    ("saw", Habit(Between(3, 6), Between(2, 8), Between(8, 50), Between(8, 75))),
    # Machines that run through a whole stack of boards.
    ("surface planer", Habit(Between(1, 3), Between(1, 4), Between(25, 120), Between(15, 90))),
    ("jointer", Habit(Between(1, 3), Between(1, 4), Between(25, 120), Between(15, 90))),
    ("thicknesser", Habit(Between(1, 2), Between(1, 3), Between(60, 360), Between(20, 120))),
    ("planer", Habit(Between(1, 2), Between(1, 3), Between(60, 360), Between(20, 120))),
    ("moulder", Habit(Between(0, 2), Between(2, 6), Between(30, 180), Between(20, 120))),
    ("router", Habit(Between(1, 2), Between(2, 8), Between(15, 120), Between(10, 60))),
    ("tenoner", Habit(Between(0, 1), Between(4, 12), Between(10, 30), Between(10, 45))),
    ("morticer", Habit(Between(0, 1), Between(4, 12), Between(15, 45), Between(10, 45))),
    # Sanding: long and steady.
    ("sander", Habit(Between(1, 3), Between(1, 4), Between(40, 420), Between(10, 90))),
    ("lathe", Habit(Between(0, 2), Between(2, 6), Between(180, 1200), Between(30, 240))),
    ("drill", Habit(Between(1, 3), Between(2, 10), Between(5, 25), Between(8, 45))),
    ("outlet", Habit(Between(1, 2), Between(2, 6), Between(20, 240), Between(15, 90))),
)
#: A tool whose name says nothing. Our own assumption.
USUAL = Habit(Between(1, 3), Between(1, 6), Between(10, 90), Between(10, 60))


def default_pattern(shop: Shop) -> Pattern:
    """The pattern of a shop that gives none; where the shop keeps hours, nobody works outside of them."""
    people = min(MOST_PEOPLE, 1 + (len(shop.tools) - 1) // TOOLS_A_PERSON)
    return Pattern(
        _within_hours(OPEN, shop.hours.open),
        BREAKS,
        CLOSED,
        max(1, people),
        {n: _habit(t) for n, t in shop.tools.items()},
    )


def pattern_of(shop: Shop, part: PatternPart) -> Pattern:
    """A scenario's own pattern; what it leaves out is as in the default. Tools that it does not name stay off."""
    usual = default_pattern(shop)
    pattern = usual
    if part.open is not None:
        inside = tuple(b for b in usual.breaks if part.open.start_min < b.start_min and b.end_min < part.open.end_min)
        pattern = replace(pattern, open=part.open, breaks=inside)
    if part.breaks is not None:
        pattern = replace(pattern, breaks=part.breaks)
    if part.closed is not None:
        pattern = replace(pattern, closed=frozenset(part.closed))
    if part.people is not None:
        pattern = replace(pattern, people=part.people)
    if part.tools:
        habits = {name: Habit(own.jobs, own.cuts, own.cut, own.pause) for name, own in part.tools.items()}
        pattern = replace(pattern, habits=habits)
    return pattern


def _habit(tool: Tool) -> Habit:
    words = f"{tool.name.lower()} outlet" if tool.is_outlet else tool.name.lower()
    return next((habit for word, habit in BY_NAME if word in words), USUAL)


def _within_hours(span: Span, hours: Span | None) -> Span:
    """The part of a span that lies in the shop's hours; all of the hours where it has none in common with them."""
    if hours is None or hours.end_min < hours.start_min:
        return span
    start_min, end_min = max(span.start_min, hours.start_min), min(span.end_min, hours.end_min)
    return Span(start_min, end_min) if start_min < end_min else hours
