"""A current and what was made of it, as a picture: plain shapes, readable without colour, as SVG written by hand.

Three strips over one time axis: the current itself; its RMS on a logarithmic axis, since a trip of a fifth of an ampere
and an inrush of forty belong on one page, with the trip and the level of a stop; and what was decided, when.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape

from gatekeeper.sensing.detector import RELEASE_OF_TRIP

WIDTH, LEFT, RIGHT = 1000, 70, 20
CURRENT_TOP, CURRENT_HIGH = 50, 200
RMS_TOP, RMS_HIGH = 290, 220
STATE_TOP, STATE_HIGH = 530, 26
WORDS_TOP, WORD_STEP = 600, 18
#: Marks that are listed in words; more would make the picture longer than a page.
MOST_WORDS = 24
#: The lowest current on the logarithmic axis, amperes: about the noise of a good converter.
FLOOR_A = 0.01


@dataclass(frozen=True, slots=True)
class Ink:
    """How a kind of shape is drawn: colours, stroke in units, dashes as on and off in units."""

    stroke: str | None = None
    width: float = 1.0
    dash: tuple[float, float] | None = None
    fill: str | None = None


INKS: Mapping[str, Ink] = {
    "paper": Ink(fill="#fff"),
    "axis": Ink("#888"),
    "grid": Ink("#ddd"),
    "wave": Ink("#7a8ca0", 0.6, fill="#7a8ca0"),
    "rms": Ink("#0b4f8a", 1.8),
    "trip": Ink("#b03a00", 1.4, (8, 4)),
    "release": Ink("#b03a00", 1.0, (2, 4)),
    "run": Ink(fill="#dcebd8"),
    "lost": Ink(fill="#f2d7d0"),
    "mark": Ink("#222", 1.0, (1, 3)),
}
TEXT_COLOUR, TEXT_SIZE, SMALL_SIZE = "#222", 13, 11

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Shape:
    """A line through points, in the ink of its kind; ``is_closed`` makes it an area."""

    kind: str
    points: tuple[Point, ...]
    is_closed: bool = False


@dataclass(frozen=True, slots=True)
class Words:
    """A line of text on its baseline, beginning at ``x`` or ending there."""

    x: float
    y: float
    said: str
    is_small: bool = False
    ends_here: bool = False


@dataclass(frozen=True, slots=True)
class Picture:
    """Shapes and words, drawn in order on a sheet of paper; y counts downwards, one unit is a pixel of the SVG."""

    title: str
    width: int
    high: int
    drawn: tuple[Shape | Words, ...]


@dataclass(frozen=True, slots=True)
class Look:
    """What the sensor knew at one instant.

    Args:
        t_s: seconds from the first sample.
        net_a: net RMS current, amperes; None while unknown.
        trip_a: the trip in force, amperes.
        state: `running`, `stopped`, `stale`, or None before the first.
    """

    t_s: float
    net_a: float | None
    trip_a: float
    state: str | None


@dataclass(frozen=True, slots=True)
class Mark:
    """Something decided, in words."""

    t_s: float
    said: str


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where seconds and amperes are on the page."""

    seconds: float
    most_a: float
    top_decade: int
    low_decade: int

    def x(self, t_s: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * min(max(t_s / self.seconds, 0.0), 1.0)

    def y_current(self, amperes: float) -> float:
        return CURRENT_TOP + CURRENT_HIGH / 2 * (1 - amperes / self.most_a)

    def y_rms(self, amperes: float) -> float:
        decades = math.log10(max(amperes, FLOOR_A)) - self.low_decade
        return RMS_TOP + RMS_HIGH * (1 - decades / (self.top_decade - self.low_decade))


def wave_picture(
    title: str, samples_a: Sequence[float], rate_hz: float, looks: Sequence[Look], marks: Sequence[Mark]
) -> Picture:
    """Draw one recording.

    Args:
        title: what it is.
        samples_a: the current, amperes, at least one sample.
        rate_hz: samples a second.
        looks: what the sensor knew, in order of time; those outside of the recording are left out.
        marks: what was decided; those outside of the recording are left out, and of the rest the first 24 are listed.
    """
    seconds = len(samples_a) / rate_hz
    looks = [look for look in looks if 0 <= look.t_s <= seconds]
    marks = [mark for mark in marks if 0 <= mark.t_s <= seconds]
    peak_a = max((abs(value) for value in samples_a), default=0.0)
    trips = [look.trip_a for look in looks]
    top_a = max([peak_a, *trips, 10 * FLOOR_A])
    frame = _Frame(seconds, _rounded_up(peak_a or 1.0), math.ceil(math.log10(top_a) - 1e-9), round(math.log10(FLOOR_A)))
    words = [f"{mark.t_s:9.3f} s   {mark.said}" for mark in marks[:MOST_WORDS]]
    if len(marks) > MOST_WORDS:
        words.append(f"and {len(marks) - MOST_WORDS} more")
    high = WORDS_TOP + WORD_STEP * (len(words) + 1)
    drawn = (
        _box("paper", 0, 0, WIDTH, high),
        Words(LEFT, 26, title),
        *_states(frame, looks),
        *_time_axis(frame),
        *_current(frame, samples_a, rate_hz),
        *_rms(frame, looks),
        *(_line("mark", frame.x(mark.t_s), CURRENT_TOP, frame.x(mark.t_s), STATE_TOP + STATE_HIGH) for mark in marks),
        *(Words(LEFT, WORDS_TOP + WORD_STEP * row, word) for row, word in enumerate(words)),
    )
    return Picture(title, WIDTH, high, drawn)


def svg_of(picture: Picture) -> str:
    """The picture as SVG."""
    size = f'viewBox="0 0 {picture.width} {picture.high}" width="{picture.width}" height="{picture.high}"'
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" {size}>',
        f"<title>{escape(picture.title)}</title><style>{_style()}</style>",
        *(_svg_words(one) if isinstance(one, Words) else _svg_shape(one) for one in picture.drawn),
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


def _style() -> str:
    rules = [f"text{{font:{TEXT_SIZE}px sans-serif;fill:{TEXT_COLOUR}}}.small{{font-size:{SMALL_SIZE}px}}"]
    for kind, ink in INKS.items():
        stroke = f";stroke:{ink.stroke};stroke-width:{ink.width:g}" if ink.stroke else ""
        dash = f";stroke-dasharray:{ink.dash[0]:g} {ink.dash[1]:g}" if ink.dash else ""
        rules.append(f".{kind}{{fill:{ink.fill or 'none'}{stroke}{dash}}}")
    return "".join(rules)


def _svg_shape(shape: Shape) -> str:
    name = "polygon" if shape.is_closed else "polyline"
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in shape.points)
    return f'<{name} class="{shape.kind}" points="{points}"/>'


def _svg_words(words: Words) -> str:
    classes = ' class="small"' if words.is_small else ""
    anchor = ' text-anchor="end"' if words.ends_here else ""
    place = f'x="{words.x:.1f}" y="{words.y:.1f}"'
    return f'<text {place}{classes}{anchor} xml:space="preserve">{escape(words.said)}</text>'


def _rounded_up(value: float) -> float:
    """The next 1, 2 or 5 times a power of ten."""
    decade = 10.0 ** math.floor(math.log10(value))
    return next(step * decade for step in (1, 2, 5, 10) if step * decade >= value * (1 - 1e-9))


def _line(kind: str, x1: float, y1: float, x2: float, y2: float) -> Shape:
    return Shape(kind, ((x1, y1), (x2, y2)))


def _box(kind: str, x: float, y: float, wide: float, high: float) -> Shape:
    return Shape(kind, ((x, y), (x + wide, y), (x + wide, y + high), (x, y + high)), is_closed=True)


def _time_axis(frame: _Frame) -> list[Shape | Words]:
    step_s = _rounded_up(frame.seconds / 10)
    parts: list[Shape | Words] = []
    for number in range(math.floor(frame.seconds / step_s + 1e-9) + 1):
        x = frame.x(number * step_s)
        parts += [
            _line("grid", x, CURRENT_TOP, x, STATE_TOP + STATE_HIGH),
            Words(x - 8, STATE_TOP + STATE_HIGH + 16, f"{number * step_s:g} s", is_small=True),
        ]
    return parts


def _current(frame: _Frame, samples_a: Sequence[float], rate_hz: float) -> list[Shape | Words]:
    """The wave; where there are more samples than the page has columns, what each column spans."""
    parts: list[Shape | Words] = [Words(LEFT, CURRENT_TOP - 6, "current, amperes", is_small=True)]
    for amperes in (-frame.most_a, 0.0, frame.most_a):
        y = frame.y_current(amperes)
        parts += [
            _line("axis" if amperes == 0 else "grid", LEFT, y, WIDTH - RIGHT, y),
            Words(LEFT - 6, y + 4, f"{amperes:g}", is_small=True, ends_here=True),
        ]
    columns = WIDTH - LEFT - RIGHT
    size = max(1, math.ceil(len(samples_a) / columns))
    tops, bottoms = [], []
    for begin in range(0, len(samples_a), size):
        window = samples_a[begin : begin + size]
        x = frame.x((begin + len(window) / 2) / rate_hz)
        tops.append((x, frame.y_current(max(window))))
        bottoms.append((x, frame.y_current(min(window))))
    parts.append(Shape("wave", (*tops, *bottoms[::-1]), is_closed=True))
    return parts


def _rms(frame: _Frame, looks: Sequence[Look]) -> list[Shape | Words]:
    parts: list[Shape | Words] = [
        Words(LEFT, RMS_TOP - 8, "RMS of one cycle without the level at rest, amperes", is_small=True)
    ]
    for decade in range(frame.low_decade, frame.top_decade + 1):
        y = frame.y_rms(10.0**decade)
        parts += [
            _line("grid", LEFT, y, WIDTH - RIGHT, y),
            Words(LEFT - 6, y + 4, f"{10.0**decade:g}", is_small=True, ends_here=True),
        ]
    points: list[Point] = []
    for look in [*looks, Look(0.0, None, 0.0, None)]:
        if look.net_a is not None:
            points.append((frame.x(look.t_s), frame.y_rms(look.net_a)))
        elif points:
            parts.append(Shape("rms", tuple(points)))
            points = []
    if looks:
        trip_a = looks[-1].trip_a
        for kind, amperes, said in (
            ("trip", trip_a, f"trip {trip_a:.2f} A"),
            ("release", RELEASE_OF_TRIP * trip_a, f"stop under {RELEASE_OF_TRIP * trip_a:.2f} A"),
        ):
            y = frame.y_rms(amperes)
            below = 12 if kind == "release" else -4
            parts += [
                _line(kind, LEFT, y, WIDTH - RIGHT, y),
                Words(WIDTH - RIGHT, y + below, said, is_small=True, ends_here=True),
            ]
    return parts


def _states(frame: _Frame, looks: Sequence[Look]) -> list[Shape | Words]:
    """The strip of states, as words on boxes; running is also shaded through all strips."""
    parts: list[Shape | Words] = []
    begin = 0
    for number in range(1, len(looks) + 1):
        if number < len(looks) and looks[number].state == looks[begin].state:
            continue
        state = looks[begin].state
        left = frame.x(looks[begin].t_s if begin else 0.0)
        right = frame.x(looks[number].t_s if number < len(looks) else frame.seconds)
        begin = number
        if state in ("running", "stale"):
            kind = "run" if state == "running" else "lost"
            high = STATE_TOP + STATE_HIGH - CURRENT_TOP
            parts.append(_box(kind, left, CURRENT_TOP, max(right - left, 0.5), high))
        if state is not None and right - left > 7 * len(state) + 4:
            parts.append(Words(left + 4, STATE_TOP + 17, state, is_small=True))
    return parts
