"""Fan and system curves with their operating points, as inline SVG with axes, units and a table of the data."""

from collections.abc import Sequence

from gatekeeper.airflow.study import SetAir, free_delivery_m3s, system_curve
from gatekeeper.layout.measures import Measures
from gatekeeper.layout.report_parts import Plot, round_marks, svg_text
from gatekeeper.layout.study import LayoutStudy, SystemStudy
from gatekeeper.markup import Html, el, join
from gatekeeper.shop.faults import listed

_WIDTH, _HEIGHT = 640.0, 380.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 62.0, 20.0, 16.0, 46.0
_STEPS = 40
_MOST_SETS = 4


def fan_plot(study: LayoutStudy, system: SystemStudy) -> Plot:
    """The fan of one system and what a few telling sets of machines ask of it."""
    shown = telling_sets(system)
    axes = _Axes(study.measures, system)
    fan = system.system.tools.network.fan
    parts: list[Html] = axes.frame()
    if fan.is_estimate:
        weak, strong = fan.band()
        parts.append(axes.band(_fan_points(weak.points()), _fan_points(strong.points())))
    parts.append(axes.curve(_fan_points(fan.points()), "fan-curve"))
    rows = [
        ["", f"air, {study.measures.flow_unit}", f"fan static pressure, {study.measures.pressure_unit}", "motor takes"]
    ]
    for number, air in enumerate(shown, start=1):
        flows = tuple(axes.most_m3s * step / _STEPS for step in range(_STEPS + 1))
        curve = list(zip(flows, system_curve(system.system.tools, air.reading, flows), strict=True))
        parts.append(axes.curve(curve, "system-curve"))
        parts.append(axes.point(air, number))
        say = study.measures
        named = f"{number}. {listed(list(air.reading.running), 'and', 3)}"
        spread = say.flow_span(air.fan_low_m3s, air.fan_high_m3s)
        rows.append([named, spread, say.pressure_bare(air.fan_static_pa), "about " + say.power(air.motor_w)])
    for number, (flow, pressure) in enumerate(fan.points(), start=1):
        say = study.measures
        rows.append([f"fan curve, {number}", say.flow_bare(flow), say.pressure_bare(pressure), ""])
    box = {"viewBox": f"0 0 {_WIDTH:.0f} {_HEIGHT:.0f}", "class": "plot", "role": "img"}
    label = f"Fan and system curves of the {system.system.motor.name}"
    return Plot(el("svg", {**box, "aria-label": label}, parts), _sentence(study, system, shown), rows)


def telling_sets(system: SystemStudy) -> list[SetAir]:
    """The tightest and the widest machine alone, and the widest pair and triple."""
    alone = sorted(system.alone, key=lambda air: air.fan_flow_m3s)
    chosen = [alone[0], alone[-1]]
    for size in (2, 3):
        sets = system.of_size(size)
        if sets:
            chosen.append(max(sets, key=lambda air: air.fan_flow_m3s))
    # Two sets with the same gates open are one point.
    return list({frozenset(air.reading.open_gates): air for air in chosen}.values())[:_MOST_SETS]


def _sentence(study: LayoutStudy, system: SystemStudy, shown: Sequence[SetAir]) -> str:
    say, least = study.measures, shown[0]
    most_m3s = max(air.fan_flow_m3s for air in shown)
    said = (
        "Where a thin line of the ducts crosses the thick line of the fan, there it works: from "
        f"{say.flow(least.fan_flow_m3s)} (point 1) to {say.flow(most_m3s)}."
    )
    if system.fan_is_estimate:
        said += " The shaded band is the error of the estimated fan."
    if any(air.is_beyond_curve for air in system.sets.values()):
        said += " Some points lie beyond the curve that was given: a guess."
    return said


def _fan_points(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    return [point for point in points if point[1] >= 0.0]


class _Axes:
    """Flow along, pressure up, in the shop's units."""

    def __init__(self, say: Measures, system: SystemStudy) -> None:
        self.say = say
        fan = system.system.tools.network.fan
        strong = fan.band()[1] if fan.is_estimate else fan
        self.most_m3s = free_delivery_m3s(strong) * 1.02
        self.most_pa = max(strong.pressures_pa) * 1.05

    def x(self, flow_m3s: float) -> float:
        return _LEFT + (_WIDTH - _LEFT - _RIGHT) * flow_m3s / self.most_m3s

    def y(self, pressure_pa: float) -> float:
        return _HEIGHT - _BOTTOM - (_HEIGHT - _TOP - _BOTTOM) * pressure_pa / self.most_pa

    def frame(self) -> list[Html]:
        parts: list[Html] = []
        bottom, left = _HEIGHT - _BOTTOM, _LEFT
        for mark in round_marks(self.say.flow_number(self.most_m3s)):
            at = _LEFT + (_WIDTH - _LEFT - _RIGHT) * mark / self.say.flow_number(self.most_m3s)
            parts.append(el("path", {"d": f"M{at:.1f} {_TOP} V{bottom}", "class": "grid"}))
            parts.append(svg_text(at, bottom + 16.0, f"{mark:g}", "middle"))
        for mark in round_marks(self.say.pressure_number(self.most_pa)):
            at = bottom - (bottom - _TOP) * mark / self.say.pressure_number(self.most_pa)
            parts.append(el("path", {"d": f"M{left} {at:.1f} H{_WIDTH - _RIGHT}", "class": "grid"}))
            parts.append(svg_text(left - 6.0, at + 4.0, f"{mark:g}", "end"))
        parts.append(el("path", {"d": f"M{left} {_TOP} V{bottom} H{_WIDTH - _RIGHT}", "class": "axis"}))
        parts.append(
            svg_text(
                (left + _WIDTH - _RIGHT) / 2.0, _HEIGHT - 8.0, f"air through the fan, {self.say.flow_unit}", "middle"
            )
        )
        turn = f"translate(14 {(_TOP + bottom) / 2.0:.0f}) rotate(-90)"
        words = f"static pressure, {self.say.pressure_unit}"
        parts.append(el("text", {"transform": turn, "text-anchor": "middle"}, words))
        return parts

    def curve(self, points: Sequence[tuple[float, float]], kind: str) -> Html:
        return el("path", {"d": self._path(points), "class": kind})

    def band(self, weak: Sequence[tuple[float, float]], strong: Sequence[tuple[float, float]]) -> Html:
        back = self._path(list(reversed(weak))).replace("M", "L", 1)
        return el("path", {"d": f"{self._path(strong)} {back} Z", "class": "band"})

    def point(self, air: SetAir, number: int) -> Html:
        x, y = self.x(air.fan_flow_m3s), self.y(air.fan_static_pa)
        dot = el("circle", {"cx": f"{x:.1f}", "cy": f"{y:.1f}", "r": 5, "class": "point"})
        return join(dot, el("text", {"x": f"{x + 8:.1f}", "y": f"{y - 8:.1f}", "class": "point-number"}, str(number)))

    def _path(self, points: Sequence[tuple[float, float]]) -> str:
        """A path up to the top of the plot: the piece that leaves it is cut at the edge."""
        kept: list[tuple[float, float]] = []
        for at, (flow, pressure) in enumerate(points):
            if pressure <= self.most_pa:
                kept.append((flow, pressure))
                continue
            if at and points[at - 1][1] < self.most_pa:
                (q0, p0) = points[at - 1]
                kept.append((q0 + (flow - q0) * (self.most_pa - p0) / (pressure - p0), self.most_pa))
            break
        return "M" + " L".join(f"{self.x(flow):.1f} {self.y(pressure):.1f}" for flow, pressure in kept)
