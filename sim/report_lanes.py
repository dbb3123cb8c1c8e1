"""The day as lanes: machines, gates, motors and messages over time, an hour to a row, so that a short cut still shows.

What a lane does is told by its shape and its words, never by a colour alone: a full bar works, a low bar runs on or is
open, an outline moves or starts, a thin line coasts, a crossed bar fails. Nothing is left out quietly: stints that lie
closer together than a pixel become one bar, a bar is never thinner than that, the figures beside the lane count
them all, and the sentence under the drawing says so.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from enum import Enum

from gatekeeper.layout.report_parts import svg_text
from gatekeeper.markup import Html, el

HOUR_S = 3600.0
#: Up to here everything stands in one row.
ONE_ROW_S = 5400.0
_WIDTH, _LEFT, _RIGHT = 960.0, 148.0, 152.0
_ROW, _TOP, _TICKS = 17.0, 6.0, 20.0
_THINNEST, _CLOSEST, _TICK = 1.4, 0.6, 3.0
_LONGEST_NAME = 22


class Form(Enum):
    """How a stint is drawn."""

    WORKS = "works"
    LOW = "low"
    OUTLINE = "outline"
    LINE = "line"
    FAILS = "fails"


_TALL = {Form.WORKS: 11.0, Form.LOW: 5.0, Form.OUTLINE: 11.0, Form.LINE: 1.6, Form.FAILS: 11.0}


@dataclass(frozen=True, slots=True)
class Stint:
    """From when to when something was so.

    ``counts``: the figures beside the lane count it, where it begins. ``is_quiet``: an hour in which only such stints
    lie is told in a sentence and not drawn.
    """

    from_s: float
    to_s: float
    form: Form
    counts: bool = True
    is_quiet: bool = False


@dataclass(frozen=True, slots=True)
class Lane:
    """One thing of the shop. ``unit``: what its counted stints are called, one and many; None: they are not told.

    ``adds_time``: the time of all stints is told beside their number.
    """

    name: str
    stints: Sequence[Stint]
    unit: tuple[str, str] | None = None
    adds_time: bool = False


@dataclass(frozen=True, slots=True)
class Flag:
    """A message: when, and the number under which it stands in the list."""

    at_s: float
    number: int


@dataclass(slots=True)
class _Bars:
    """The bars of one form in one lane, merged where they touch on paper; widths and places in pixels."""

    form: Form
    spans: list[list[float]] = field(default_factory=list)

    def add(self, left: float, right: float) -> None:
        short = _THINNEST - (right - left)
        if short > 0.0:
            left, right = left - short / 2.0, right + short / 2.0
        # A stroke stands for one move; merged they would look like one long move.
        closest = -_THINNEST / 2.0 if self.form is Form.OUTLINE else _CLOSEST
        if self.spans and left - self.spans[-1][1] < closest:
            self.spans[-1][1] = max(self.spans[-1][1], right)
        else:
            self.spans.append([left, right])

    def path(self, middle: float) -> Html:
        tall = _TALL[self.form]
        top = middle - tall / 2.0
        low = top + tall
        if self.form is Form.OUTLINE:
            return self._outlines(top + 0.6, low - 0.6)
        drawn = "".join(f"M{left:.1f} {top:.1f}H{right:.1f}V{low:.1f}H{left:.1f}z" for left, right in self.spans)
        if self.form is Form.FAILS:
            drawn += "".join(f"M{left:.1f} {top:.1f}L{right:.1f} {low:.1f}" for left, right in self.spans)
            drawn += "".join(f"M{left:.1f} {low:.1f}L{right:.1f} {top:.1f}" for left, right in self.spans)
        return el("path", {"d": drawn, "class": f"bar {self.form.value}"})

    def _outlines(self, top: float, low: float) -> Html:
        """What is too thin for an outline is a stroke across its lane."""
        drawn = ""
        for left, right in self.spans:
            if right - left < _TICK:
                drawn += f"M{(left + right) / 2.0:.1f} {top:.1f}V{low:.1f}"
            else:
                drawn += f"M{left:.1f} {top:.1f}H{right:.1f}V{low:.1f}H{left:.1f}z"
        return el("path", {"d": drawn, "class": "bar outline"})


def rows_of_time(until_s: float, begin_s: float = 0.0) -> list[tuple[float, float]]:
    """How a play is folded: one row for up to an hour and a half, else one for each full hour of the clock.

    ``begin_s``: the time of day at its beginning, seconds after midnight.
    """
    if until_s <= ONE_ROW_S:
        return [(0.0, until_s)]
    begin = -(begin_s % HOUR_S)
    rows = []
    while begin < until_s:
        rows.append((begin, begin + HOUR_S))
        begin += HOUR_S
    return rows


def lanes_drawing(
    groups: Sequence[tuple[str, Sequence[Lane]]],
    flags: Sequence[Flag],
    until_s: float,
    clock: Callable[[float], str],
    begin_s: float = 0.0,
) -> list[Html]:
    """One drawing for each row of time; rows in which nothing happened are told in words.

    Args:
        groups: a word for each group, and its lanes.
        flags: the messages.
        until_s: how long the play was, more than 0.
        clock: an instant as words, such as "9:15".
        begin_s: the time of day at the beginning, seconds after midnight: rows break at full hours.
    """
    drawn: list[Html] = []
    idle_from: float | None = None
    for begin, end in rows_of_time(until_s, begin_s):
        here = [(name, [lane for lane in lanes if _in(lane, begin, end)]) for name, lanes in groups]
        is_quiet = all(stint.is_quiet for _, lanes in here for lane in lanes for stint in _in(lane, begin, end))
        if is_quiet and not any(begin <= flag.at_s < end for flag in flags):
            idle_from = begin if idle_from is None else idle_from
            continue
        if idle_from is not None:
            drawn.append(_idle(max(0.0, idle_from), begin, clock))
            idle_from = None
        drawn.append(_row(here, [flag for flag in flags if begin <= flag.at_s < end], begin, end, clock))
    if idle_from is not None:
        drawn.append(_idle(max(0.0, idle_from), until_s, clock))
    return drawn


def _in(lane: Lane, begin: float, end: float) -> list[Stint]:
    """The stints of a lane that lie in a row of time."""
    return [stint for stint in lane.stints if stint.from_s < end and stint.to_s > begin]


def _idle(begin: float, end: float, clock: Callable[[float], str]) -> Html:
    return el("p", {"class": "note"}, f"{clock(begin)} to {clock(end)}: nothing ran and nothing moved.")


def _row(
    groups: Iterable[tuple[str, Sequence[Lane]]],
    flags: Sequence[Flag],
    begin: float,
    end: float,
    clock: Callable[[float], str],
) -> Html:
    parts: list[Html] = []
    scale = (_WIDTH - _LEFT - _RIGHT) / (end - begin)
    height = _TOP
    for name, lanes in groups:
        if not lanes:
            continue
        parts.append(svg_text(0.0, height + 12.0, name, "start", "group"))
        height += _ROW
        for lane in lanes:
            parts += _lane(lane, begin, end, height + _ROW / 2.0, scale)
            height += _ROW
    if flags:
        parts += _flags(flags, begin, height + _ROW / 2.0, scale)
        height += _ROW
    grid = _ticks(begin, end, height, scale, clock)
    tall = height + _TICKS
    told = f"{clock(begin)} to {clock(end)}"
    box = {"viewBox": f"0 0 {_WIDTH:.0f} {tall:.0f}", "class": "lanes", "role": "img", "aria-label": f"Lanes, {told}"}
    return el("div", {"class": "hour"}, el("h4", None, told), el("div", {"class": "wide"}, el("svg", box, grid, parts)))


def _lane(lane: Lane, begin: float, end: float, middle: float, scale: float) -> list[Html]:
    bars = {form: _Bars(form) for form in (Form.LINE, Form.LOW, Form.OUTLINE, Form.WORKS, Form.FAILS)}
    count, time_s = 0, 0.0
    for stint in _in(lane, begin, end):
        left, right = max(stint.from_s, begin), min(stint.to_s, end)
        bars[stint.form].add(_LEFT + (left - begin) * scale, _LEFT + (right - begin) * scale)
        # One that began in the row before is counted there; its time is told here.
        count += stint.counts and stint.from_s >= begin
        time_s += right - left
    parts = [el("path", {"d": f"M{_LEFT} {middle + _ROW / 2:.1f}H{_WIDTH - _RIGHT}", "class": "grid"})]
    name = lane.name if len(lane.name) <= _LONGEST_NAME else lane.name[: _LONGEST_NAME - 1] + "…"
    parts.append(svg_text(_LEFT - 8.0, middle + 4.0, name, "end"))
    parts += [one.path(middle) for one in bars.values() if one.spans]
    if lane.unit is not None:
        parts.append(svg_text(_WIDTH - _RIGHT + 8.0, middle + 4.0, _counted(lane, count, time_s), "start", "small"))
    return parts


def _counted(lane: Lane, count: int, time_s: float) -> str:
    assert lane.unit is not None
    if not lane.adds_time:
        return f"{count or 'no'} {lane.unit[0] if count < 2 else lane.unit[1]}"
    return f"{count} {lane.unit[0] if count == 1 else lane.unit[1]}, {spell(time_s)}" if count else spell(time_s)


def _flags(flags: Sequence[Flag], begin: float, middle: float, scale: float) -> list[Html]:
    parts = [svg_text(_LEFT - 8.0, middle + 4.0, "messages", "end")]
    free = 0.0
    for flag in flags:
        at = _LEFT + (flag.at_s - begin) * scale
        parts.append(el("path", {"d": f"M{at:.1f} {middle - 7:.1f}v14", "class": "flag"}))
        # A number that would lie on the last one is left to the list, where every message has its time.
        if at >= free:
            parts.append(svg_text(at + 3.0, middle + 4.0, str(flag.number), "start", "small"))
            free = at + 6.0 + 7.0 * len(str(flag.number))
    return parts


def _ticks(begin: float, end: float, height: float, scale: float, clock: Callable[[float], str]) -> list[Html]:
    span = end - begin
    step = next(step for step in (1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 900) if span / step <= 8 or step == 900)
    parts: list[Html] = []
    at_s = -(-begin // step) * step
    while at_s <= end + 1e-6:
        at = _LEFT + (at_s - begin) * scale
        parts.append(el("path", {"d": f"M{at:.1f} {_TOP + 4}V{height:.1f}", "class": "grid"}))
        parts.append(svg_text(at, height + 14.0, clock(at_s), "middle", "small"))
        at_s += step
    return parts


def spell(time_s: float) -> str:
    """A time as people say it: "8 s", "12 min", "2 h 05 min"."""
    whole = round(time_s)
    if whole < 100:
        return f"{whole} s"
    minutes = round(time_s / 60.0)
    if minutes < 100:
        return f"{minutes} min"
    return f"{minutes // 60} h" if minutes % 60 == 0 else f"{minutes // 60} h {minutes % 60:02d} min"
