"""A current and what was made of it, as a picture: SVG written by hand, readable without colour.

Three strips over one time axis: the current itself; its RMS on a logarithmic axis, since a trip of a fifth of an ampere
and an inrush of forty belong on one page, with the trip and the level of a stop; and what was decided, when.
"""

import math
from collections.abc import Sequence
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

_STYLE = (
    "text{font:13px sans-serif;fill:#222}.small{font-size:11px}.axis{stroke:#888;stroke-width:1}"
    ".grid{stroke:#ddd;stroke-width:1}.wave{fill:#7a8ca0;stroke:#7a8ca0;stroke-width:.6}"
    ".rms{fill:none;stroke:#0b4f8a;stroke-width:1.8}.trip{stroke:#b03a00;stroke-width:1.4;stroke-dasharray:8 4}"
    ".release{stroke:#b03a00;stroke-width:1;stroke-dasharray:2 4}.run{fill:#dcebd8}"
    ".lost{fill:#f2d7d0}.mark{stroke:#222;stroke-width:1;stroke-dasharray:1 3}"
)


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


def wave_svg(
    title: str, samples_a: Sequence[float], rate_hz: float, looks: Sequence[Look], marks: Sequence[Mark]
) -> str:
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
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {high}" width="{WIDTH}" height="{high}">',
        f"<title>{escape(title)}</title><style>{_STYLE}</style>",
        f'<rect width="{WIDTH}" height="{high}" fill="#fff"/>',
        _text(LEFT, 26, title),
        *_states(frame, looks),
        *_time_axis(frame),
        *_current(frame, samples_a, rate_hz),
        *_rms(frame, looks),
        *(_line("mark", frame.x(mark.t_s), CURRENT_TOP, frame.x(mark.t_s), STATE_TOP + STATE_HIGH) for mark in marks),
        *(_text(LEFT, WORDS_TOP + WORD_STEP * row, word) for row, word in enumerate(words)),
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


def _rounded_up(value: float) -> float:
    """The next 1, 2 or 5 times a power of ten."""
    decade = 10.0 ** math.floor(math.log10(value))
    return next(step * decade for step in (1, 2, 5, 10) if step * decade >= value * (1 - 1e-9))


def _text(x: float, y: float, said: str, *, kind: str = "", end: bool = False) -> str:
    classes = f' class="{kind}"' if kind else ""
    anchor = ' text-anchor="end"' if end else ""
    return f'<text x="{x:.1f}" y="{y:.1f}"{classes}{anchor} xml:space="preserve">{escape(said)}</text>'


def _line(kind: str, x1: float, y1: float, x2: float, y2: float) -> str:
    return f'<line class="{kind}" x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"/>'


def _time_axis(frame: _Frame) -> list[str]:
    step_s = _rounded_up(frame.seconds / 10)
    parts = []
    for number in range(math.floor(frame.seconds / step_s + 1e-9) + 1):
        x = frame.x(number * step_s)
        parts += [
            _line("grid", x, CURRENT_TOP, x, STATE_TOP + STATE_HIGH),
            _text(x - 8, STATE_TOP + STATE_HIGH + 16, f"{number * step_s:g} s", kind="small"),
        ]
    return parts


def _current(frame: _Frame, samples_a: Sequence[float], rate_hz: float) -> list[str]:
    """The wave; where there are more samples than the page has columns, what each column spans."""
    parts = [_text(LEFT, CURRENT_TOP - 6, "current, amperes", kind="small")]
    for amperes in (-frame.most_a, 0.0, frame.most_a):
        y = frame.y_current(amperes)
        parts += [
            _line("axis" if amperes == 0 else "grid", LEFT, y, WIDTH - RIGHT, y),
            _text(LEFT - 6, y + 4, f"{amperes:g}", kind="small", end=True),
        ]
    columns = WIDTH - LEFT - RIGHT
    size = max(1, math.ceil(len(samples_a) / columns))
    tops, bottoms = [], []
    for begin in range(0, len(samples_a), size):
        window = samples_a[begin : begin + size]
        x = frame.x((begin + len(window) / 2) / rate_hz)
        tops.append(f"{x:.1f},{frame.y_current(max(window)):.1f}")
        bottoms.append(f"{x:.1f},{frame.y_current(min(window)):.1f}")
    parts.append(f'<polygon class="wave" points="{" ".join(tops + bottoms[::-1])}"/>')
    return parts


def _rms(frame: _Frame, looks: Sequence[Look]) -> list[str]:
    parts = [_text(LEFT, RMS_TOP - 8, "RMS of one cycle without the level at rest, amperes", kind="small")]
    for decade in range(frame.low_decade, frame.top_decade + 1):
        y = frame.y_rms(10.0**decade)
        parts += [
            _line("grid", LEFT, y, WIDTH - RIGHT, y),
            _text(LEFT - 6, y + 4, f"{10.0**decade:g}", kind="small", end=True),
        ]
    points: list[str] = []
    for look in [*looks, Look(0.0, None, 0.0, None)]:
        if look.net_a is not None:
            points.append(f"{frame.x(look.t_s):.1f},{frame.y_rms(look.net_a):.1f}")
        elif points:
            parts.append(f'<polyline class="rms" points="{" ".join(points)}"/>')
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
                _text(WIDTH - RIGHT, y + below, said, kind="small", end=True),
            ]
    return parts


def _states(frame: _Frame, looks: Sequence[Look]) -> list[str]:
    """The strip of states, as words on boxes; running is also shaded through all strips."""
    parts = []
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
            box = f'x="{left:.1f}" y="{CURRENT_TOP}" width="{max(right - left, 0.5):.1f}" height="{high}"'
            parts.append(f'<rect class="{kind}" {box}/>')
        if state is not None and right - left > 7 * len(state) + 4:
            parts.append(_text(left + 4, STATE_TOP + 17, state, kind="small"))
    return parts
