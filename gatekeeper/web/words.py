"""How numbers, times and names read on the page. ``static/page.js`` counts in the same words."""

import math
import time
from urllib.parse import quote

from gatekeeper.markup import Html, el, join
from gatekeeper.service.face import GateView, Saying, SensorWord, ToolView, Units

_INCH_M = 0.0254
_FOOT_M = 0.3048
_NARROW = "\u00a0"


def seconds(value: float) -> str:
    """A number of seconds without needless digits: "8 s", "2.5 s"."""
    return f"{value:.1f}".removesuffix(".0") + _NARROW + "s"


def span(value_s: float, *, left: bool) -> str:
    """A running time in words. Time ``left`` is rounded up, time passed is rounded down; never below zero."""
    round_ = math.ceil if left else math.floor
    whole = max(0, round_(value_s))
    if whole < 120:
        return f"{whole}{_NARROW}s"
    minutes = round_(whole / 60)
    if minutes < 60:
        return f"{minutes}{_NARROW}min"
    return f"{minutes // 60}{_NARROW}h {minutes % 60}{_NARROW}min"


def running_time(saying: Saying, now_s: float) -> Html:
    """The one running time of a saying, as an element that the script keeps counting."""
    if saying.until_s is not None:
        return el("time", {"data-until": f"{saying.until_s:.1f}"}, span(saying.until_s - now_s, left=True))
    if saying.since_s is not None:
        return el("time", {"data-since": f"{saying.since_s:.1f}"}, span(now_s - saying.since_s, left=False))
    return Html("")


def said(saying: Saying, now_s: float) -> Html:
    """A saying with its running time filled in."""
    before, mark, after = saying.text.partition("{time}")
    return join(before, running_time(saying, now_s) if mark else None, after)


def clock(wall_s: float) -> str:
    """A time of the day for people, with the date when it is not today's."""
    then = time.localtime(wall_s)
    today = time.localtime()
    same_day = then[:3] == today[:3]
    return time.strftime("%H:%M" if same_day else "%Y-%m-%d %H:%M", then)


def diameter(value_m: float, units: Units) -> str:
    """A duct's diameter in the shop's units, to the nearest quarter inch or millimetre."""
    if units is Units.INCH:
        quarters = round(value_m / _INCH_M * 4) / 4
        return f"{quarters:g}{_NARROW}in"
    return f"{round(value_m * 1000)}{_NARROW}mm"


def length(value_m: float, units: Units) -> str:
    """A duct's length in the shop's units."""
    if units is Units.INCH:
        return f"{value_m / _FOOT_M:.1f}{_NARROW}ft"
    return f"{value_m:.1f}{_NARROW}m"


def velocity(value_ms: float, units: Units) -> str:
    """An air velocity in the shop's units: metres a second, or feet a minute to the nearest ten."""
    if units is Units.INCH:
        return f"{round(value_ms * 60 / _FOOT_M, -1):.0f}{_NARROW}ft/min"
    return f"{value_ms:.1f}{_NARROW}m/s"


def machine_path(name: str) -> str:
    """The address of a machine's own page."""
    return "/machine/" + quote(name, safe="")


def calibration_path(name: str) -> str:
    """The address of the page that calibrates a machine."""
    return "/calibrate/" + quote(name, safe="")


def title(name: str) -> str:
    """A name at the head of a sentence."""
    return name[:1].upper() + name[1:]


def amperes(value_a: float) -> str:
    """A current with the digits that a clamp gives: "0.55 A", "12.3 A"."""
    return f"{value_a:.2f}{_NARROW}A" if value_a < 10 else f"{value_a:.1f}{_NARROW}A"


def gate_words(gate: GateView) -> str:
    """How a gate stands: "gate open", "hand gate not known"."""
    kind = "gate" if gate.automatic else "hand gate"
    return f"{kind} {gate.word.value}"


def tool_words(tool: ToolView, now_s: float) -> Html:
    """How a machine stands, from its sensor."""
    if tool.sensor is SensorWord.LOST:
        return Html("sensor lost")
    if tool.sensor is SensorWord.STOPPED:
        return Html("stopped")
    if tool.since_s is None:
        return Html("running")
    return said(Saying("running {time}", since_s=tool.since_s), now_s)
