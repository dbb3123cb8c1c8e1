"""The drawing of a duct tree: length and diameter each to its own scale, the margin of velocity in every length.

The collector is at the left; along a line from it every length is as long as it is. What air does is told three times:
by colour, by the way the length is drawn (whole, with a light middle, broken, dotted), and in figures.
"""

from dataclasses import dataclass

from gatekeeper.airflow.needs import TRANSPORT_MS
from gatekeeper.layout.measures import Measures
from gatekeeper.layout.study import LayoutStudy, SystemStudy
from gatekeeper.markup import Html, el
from gatekeeper.service.air_systems import duct_of
from gatekeeper.shop.faults import listed

_WIDTH = 980.0
_LEFT = 74.0
_RIGHT = 260.0
_ROW = 36.0
_TOP = 30.0
_PX_PER_M_ACROSS = 90.0
"""Diameters are drawn at 9 px for 100 mm."""
_LABEL_PX = 6.6
_JOINT_PX = 6.0
"""Where ducts meet has no length of its own and is a thin line."""

CLASSES = (("plenty", 1.15), ("enough", 1.0), ("slow", 0.7), ("still", 0.0))
"""How a length is drawn, from its velocity over transport velocity on."""


@dataclass(slots=True)
class _Length:
    """One length of duct in the drawing, in px."""

    name: str
    start_x: float
    end_x: float
    y: float
    width: float
    velocity_ms: float | None
    children: "list[_Length]"
    is_leaf: bool


def velocity_class(velocity_ms: float | None) -> str:
    """The class of a length by its velocity; "idle" where no chips pass."""
    if velocity_ms is None:
        return "idle"
    return next(name for name, share in CLASSES if velocity_ms >= share * TRANSPORT_MS)


def worst_velocities(system: SystemStudy) -> dict[str, tuple[float, str]]:
    """By duct the slowest air with chips in it, over the sets that are told first, and the machine that it is for."""
    worst: dict[str, tuple[float, str]] = {}
    for air in system.alone:
        for duct, speed in air.reading.velocity_ms.items():
            if duct not in worst or speed < worst[duct][0]:
                worst[duct] = speed, listed(list(air.reading.running), "and", 2)
    return worst


def duct_tree(study: LayoutStudy, system: SystemStudy) -> Html:
    """The drawing of one system as inline SVG."""
    return _Drawing(study, system).svg()


class _Drawing:
    def __init__(self, study: LayoutStudy, system: SystemStudy) -> None:
        self.study, self.system = study, system
        self.say: Measures = study.measures
        self.network = system.system.tools.network
        self.worst = worst_velocities(system)
        self.rows = 0
        reach = self._reach()
        self.px_per_m = (_WIDTH - _LEFT - _RIGHT) / max(max(reach.values(), default=1.0), 0.5)
        self.parts: list[Html] = []
        self.labelled: dict[float, float] = {}

    def svg(self) -> Html:
        roots = [self._laid(place, 0.0) for place in self.network.root_ducts]
        self._fan(roots)
        for root in roots:
            self._draw(root)
        height = _TOP + self.rows * _ROW + 46.0
        self._scales(height)
        name = self.system.system.motor.name
        box = {"viewBox": f"0 0 {_WIDTH:.0f} {height:.0f}", "class": "tree", "role": "img"}
        return el("svg", {**box, "aria-label": f"The ducts of the {name}"}, self.parts)

    # ---------------------------------------------------------------- where things are

    def _reach(self) -> dict[int, float]:
        """By place, how far the upstream end of a length is from the collector."""
        reach: dict[int, float] = {}
        for place in reversed(self.network.order):
            duct = self.network.ducts[place]
            onward = next((other for other, fed in enumerate(self.network.feeding) if place in fed), None)
            reach[place] = duct.length_m + (reach[onward] if onward is not None else 0.0)
        return reach

    def _laid(self, place: int, from_m: float) -> _Length:
        duct = self.network.ducts[place]
        to_m = from_m + duct.length_m
        children = [self._laid(other, to_m) for other in self.network.feeding[place]]
        if children:
            y = (children[0].y + children[-1].y) / 2.0
        else:
            y = _TOP + (self.rows + 0.5) * _ROW
            self.rows += 1
        return _Length(
            name=duct.name,
            start_x=_LEFT + from_m * self.px_per_m,
            end_x=_LEFT + to_m * self.px_per_m,
            y=y,
            width=max(duct.diameter_m * _PX_PER_M_ACROSS, 2.0),
            velocity_ms=self.worst[duct.name][0] if duct.name in self.worst else None,
            children=children,
            is_leaf=not children,
        )

    # ---------------------------------------------------------------- marks

    def _draw(self, length: _Length) -> None:
        kind = velocity_class(length.velocity_ms)
        if length.children:
            low, high = length.children[0].y, length.children[-1].y
            if high > low:
                self._line(length.end_x, low, length.end_x, high, "joint", _JOINT_PX)
        for child in length.children:
            self._draw(child)
        self._bar(length, kind)
        for gate in self.network.gates:
            if gate.duct == length.name and gate.name in self.system.system.gates:
                middle, half = (length.start_x + length.end_x) / 2.0, length.width / 2.0 + 5.0
                self._line(middle, length.y - half, middle, length.y + half, "gate", 3.0)
        if length.is_leaf:
            self._leaf_label(length)
        elif duct_of(length.name) == length.name and not self._is_drop(length):
            self._main_label(length)

    def _bar(self, length: _Length, kind: str) -> None:
        where = length.start_x, length.y, length.end_x, length.y
        self._line(*where, f"duct {kind}", length.width)
        if kind == "enough":
            self._line(*where, "vein", max(length.width / 4.0, 1.2))

    def _is_drop(self, length: _Length) -> bool:
        return self.network.duct_places[length.name] not in self.system.system.tools.mains

    def _main_label(self, length: _Length) -> None:
        duct = self.study.shop.ducts.get(length.name)
        size = self.say.diameter(duct.diameter_m) if duct is not None else ""
        slow = " slow" if length.velocity_ms is not None and length.velocity_ms < TRANSPORT_MS else ""
        speed = self.say.velocity(length.velocity_ms) + slow if length.velocity_ms is not None else "no chips"
        first, second = f"{length.name}, {size}", speed
        wide = max(len(first), len(second)) * _LABEL_PX
        # One label does not write over another of the same line: it goes below the duct then.
        above = length.start_x >= self.labelled.get(length.y, -1.0)
        if above:
            self.labelled[length.y] = length.start_x + wide + 6.0
        y = length.y - length.width / 2.0 - 18.0 if above else length.y + length.width / 2.0 + 14.0
        self._text(length.start_x + 2.0, y, first, "main-name")
        self._text(length.start_x + 2.0, y + 13.0, second, "main-speed")

    def _leaf_label(self, length: _Length) -> None:
        system = self.system.system
        gates = {gate.name for gate in self.network.gates if self._leads(length.name, gate.duct)}
        tools = [tool for tool, draw in system.tools.draws.items() if gates & set(draw.gates)]
        x = length.end_x + 10.0
        if not tools:
            if length.name.endswith("/relief"):
                most = max(air.reading.solution.flow_in(length.name) for air in self.system.alone)
                said = f"relief port, never shut: up to {self.say.flow(most)}"
            else:
                said = f"{duct_of(length.name)}: no machine"
            self._text(x, length.y + 4.0, said, "idle-name")
            return
        speed = f" {self.say.velocity(length.velocity_ms)}" if length.velocity_ms is not None else ""
        slow = " slow" if length.velocity_ms is not None and length.velocity_ms < TRANSPORT_MS else ""
        self._text(x, length.y - 1.0, listed(tools, "and", 3), "machine")
        air = next(one for one in self.system.alone if tools[0] in one.reading.running).air_of(tools[0])
        flow = self.say.flow_span(air.low_m3s, air.high_m3s)
        self._text(x, length.y + 11.0, f"{flow} of {self.say.flow(air.need_m3s)},{speed}{slow}", "machine-air")

    def _leads(self, leaf: str, duct: str) -> bool:
        """Whether a gate's duct is on the way of a leaf before it meets others."""
        return duct_of(leaf) == duct_of(duct)

    def _fan(self, roots: list[_Length]) -> None:
        top, bottom = min(root.y for root in roots), max(root.y for root in roots)
        middle = (top + bottom) / 2.0
        if bottom > top:
            self._line(_LEFT, top, _LEFT, bottom, "joint", _JOINT_PX)
        self.parts.append(el("circle", {"cx": 38, "cy": f"{middle:.1f}", "r": 24, "class": "fan"}))
        self.parts.append(
            el("path", {"d": f"M62 {middle:.1f} H{_LEFT:.1f}", "class": "joint", "stroke-width": _JOINT_PX})
        )
        self._text(4.0, middle + 42.0, self.system.system.motor.name, "main-name")

    def _scales(self, height: float) -> None:
        """What a length and a diameter are in the drawing."""
        y = height - 14.0
        unit_m, words = (3.048, "10 ft of length") if self.say.is_inch else (2.0, "2 m of length")
        self._line(_LEFT, y, _LEFT + unit_m * self.px_per_m, y, "scale", 2.0)
        self._text(_LEFT, y - 6.0, words, "scale-word")
        sizes = (0.1016, 0.1524) if self.say.is_inch else (0.1, 0.2)
        x = _LEFT + max(unit_m * self.px_per_m, 100.0) + 40.0
        for size_m in sizes:
            self._line(x, y, x + 30.0, y, "duct idle", size_m * _PX_PER_M_ACROSS)
            self._text(x + 36.0, y + 4.0, f"{self.say.diameter(size_m)} across", "scale-word")
            x += 150.0

    def _line(self, x1: float, y1: float, x2: float, y2: float, kind: str, width: float) -> None:
        path = f"M{x1:.1f} {y1:.1f} L{x2:.1f} {y2:.1f}"
        self.parts.append(el("path", {"d": path, "class": kind, "stroke-width": f"{width:.1f}"}))

    def _text(self, x: float, y: float, words: str, kind: str) -> None:
        self.parts.append(el("text", {"x": f"{x:.1f}", "y": f"{y:.1f}", "class": kind}, words))
