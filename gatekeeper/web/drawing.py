"""The shop's own ducts as one plain line drawing, and the same as a list.

The drawing is a column of rows: the collector on the first, then one row per gate, higher where machines share it. Main
ducts run down the left side and fold at every junction, so the widest shop fits a 360 px screen; each drop runs from
its main to the right, to the row that names its machine. A drawn unit is a sixteenth of the text size, so the picture
grows with the reader's letters and its rows stay beside their words.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import TypeAlias

from gatekeeper.markup import Html, el, join
from gatekeeper.service.face import DuctView, GateView, GateWord, MotorView, SensorWord, ShopView, ToolView
from gatekeeper.web import words

#: Drawn units: a row, the picture's width, the first main, the step of a fold, and where a gate sits on its drop.
_ROW = 72.0
#: Where machines share a gate: what each needs, what the words below need, and how many get room (``.n2`` to ``.n4`` in
#: the style sheet are these heights).
_EACH = 48.0
_BELOW = 40.0
_MOST_LINES = 4
_WIDTH = 124.0
_MAIN_X = 20.0
_FOLD = 22.0
_GATE_X = 92.0
#: Drawn width of a duct: units per metre of diameter, and the limits that keep it readable.
_PER_METRE = 72.0
_THINNEST = 5.0
_THICKEST = 20.0
#: Velocities (m/s) at which moving air is drawn in the next pace; one pace more than there are limits.
_PACES_MS = (8.0, 14.0, 20.0, 26.0)
_PACE_NOT_KNOWN = 2


Label: TypeAlias = "Callable[[GateView | None, DuctView], tuple[Html, int]]"


@dataclass(slots=True)
class _Sheet:
    """What has been drawn so far; ``label``: the words beside a drop, and how many names stand in them."""

    label: "Label"
    rows: list[Html] = field(default_factory=list)
    height: float = 0.0
    row_y: float = 0.0
    walls: list[Html] = field(default_factory=list)
    bores: list[Html] = field(default_factory=list)
    air: list[Html] = field(default_factory=list)
    marks: list[Html] = field(default_factory=list)

    def row(self, label: Html, lines: int = 1) -> None:
        """Begin a row; ``row_y`` is its middle."""
        lines = max(1, min(lines, _MOST_LINES))
        height = _ROW if lines == 1 else _EACH * lines + _BELOW
        self.rows.append(el("li", {"class": f"n{lines}" if lines > 1 else None}, label))
        self.row_y = self.height + height / 2
        self.height += height

    def pipe(self, duct: DuctView, path: str) -> None:
        """Draw one duct along ``path``, which runs the way the air goes."""
        width = min(_THICKEST, max(_THINNEST, duct.diameter_m * _PER_METRE))
        self.walls.append(el("path", {"d": path, "stroke-width": f"{width:.1f}"}))
        self.bores.append(el("path", {"d": path, "stroke-width": f"{width - 3:.1f}"}))
        if duct.moves:
            self.air.append(
                el("path", {"d": path, "class": f"air p{_pace(duct.velocity_ms)}", "stroke-width": f"{width - 3:.1f}"})
            )


def _pace(velocity_ms: float | None) -> int:
    if velocity_ms is None:
        return _PACE_NOT_KNOWN
    return sum(velocity_ms >= limit for limit in _PACES_MS)


def _gate_mark(gate: GateView, x: float, y: float, *, upright: bool) -> Html:
    """A gate: a short bar along its duct when open, across it when shut, broken in two when stuck."""
    knob = None if gate.automatic else el("circle", {"class": "knob", "cx": 15, "cy": 0, "r": 4})
    if gate.word is GateWord.STUCK:
        bar = join(
            el("rect", {"x": -16, "y": -7, "width": 14, "height": 6, "rx": 1}),
            el("rect", {"x": 2, "y": 1, "width": 14, "height": 6, "rx": 1}),
        )
    else:
        bar = el("rect", {"x": -15, "y": -3, "width": 30, "height": 6, "rx": 2})
    braces = None
    if gate.word is GateWord.HELD:
        braces = el("path", {"class": "brace", "d": "M-13,-17H-17V17H-13M13,-17H17V17H13"})
    turned = "translate({:g},{:g}){}".format(x, y, " rotate(90)" if upright else "")
    word = gate.word.name.lower()
    return el(
        "g",
        {"transform": turned, "data-key": f"gate {gate.name}"},
        el("circle", {"class": "seat", "cx": 0, "cy": 0, "r": 9}),
        braces,
        el("g", {"class": f"bar {word}"}, bar, knob),
    )


def _fan_mark(motor: str, y: float, *, runs: bool) -> Html:
    """A collector: a casing with its wheel, and the outlet to the right."""
    return el(
        "g",
        {"transform": f"translate({_MAIN_X:g},{y:g})", "data-key": f"motor {motor}"},
        el("path", {"class": "casing", "d": "M0,-15H40V-3H12"}),
        el("circle", {"class": "casing", "cx": 0, "cy": 0, "r": 15}),
        el("path", {"class": "wheel on" if runs else "wheel", "d": "M0,-10V10M-8.7,-5L8.7,5M-8.7,5L8.7,-5"}),
    )


def _add_row(sheet: _Sheet, gate: GateView | None, duct: DuctView) -> None:
    """One row of words beside a drop."""
    sheet.row(*sheet.label(gate, duct))


def _row_words(view: ShopView, gate: GateView | None, duct: DuctView) -> tuple[Html, int]:
    """Words beside a drop: its machines, how they stand, and how the gate stands."""
    if gate is None:
        return join(el("b", None, duct.name), el("span", None, "no gate")), 1
    tools = [tool for tool in view.tools if tool.name in gate.tools]
    several = any(len(tool.gates) > 1 for tool in tools)
    names = [el("a", {"href": words.machine_path(tool.name)}, tool.name) for tool in tools]
    if not tools or several:
        names.append(el("small" if several else "b", None, gate.name))
    harm = gate.word in (GateWord.STUCK, GateWord.HELD)
    gate_text = el("em", {"class": "harm" if harm else None}, words.gate_words(gate))
    return join(names, el("span", None, *_between([*_states(view, tools), gate_text], " · "))), len(names)


def _states(view: ShopView, tools: list[ToolView]) -> list[Html]:
    """How the machines of one gate stand: the one, or all together, or by name those that do not simply stand."""
    if len(tools) == 1:
        return [words.tool_words(tools[0], view.now_s)]
    awake = [tool for tool in tools if tool.sensor is not SensorWord.STOPPED]
    if tools and not awake:
        return [Html("stopped")]
    return [join(tool.name, " ", words.tool_words(tool, view.now_s)) for tool in awake]


def _between(parts: list[Html], mark: str) -> Iterator[Html | str]:
    for number, part in enumerate(parts):
        if number:
            yield mark
        yield part


class _Tree:
    """The ducts of one motor, ready to be laid out."""

    def __init__(self, ducts: Iterable[DuctView], gates: Iterable[GateView], motor: str) -> None:
        self._gates = {gate.name: gate for gate in gates}
        self._feeding: dict[str, list[DuctView]] = {}
        for duct in ducts:
            if duct.motor == motor:
                self._feeding.setdefault(duct.towards, []).append(duct)

    def gate(self, duct: DuctView) -> GateView | None:
        return self._gates.get(duct.gate) if duct.gate else None

    def feeding(self, name: str) -> list[DuctView]:
        """Ducts that empty into ``name``: drops first, then mains, the one that continues the line last."""
        ducts = self._feeding.get(name, [])
        drops = [duct for duct in ducts if duct.name not in self._feeding]
        mains = [duct for duct in ducts if duct.name in self._feeding]
        return drops + sorted(mains, key=lambda duct: duct.diameter_m)

    def is_main(self, duct: DuctView) -> bool:
        return duct.name in self._feeding


def _lay(sheet: _Sheet, tree: _Tree, name: str, main: DuctView | None, x: float, top_y: float) -> None:
    """Lay out all that empties into ``name``, downwards from ``top_y`` at the main's ``x``."""
    end_y = top_y
    gate = tree.gate(main) if main else None
    if main and gate:
        _add_row(sheet, gate, main)
        end_y = sheet.row_y
        sheet.marks.append(_gate_mark(gate, x, end_y, upright=True))
    feeding = tree.feeding(name)
    later: list[tuple[DuctView, float, float]] = []
    for number, duct in enumerate(feeding):
        if not tree.is_main(duct):
            _add_row(sheet, tree.gate(duct), duct)
            end_y = sheet.row_y
            sheet.pipe(duct, f"M{_WIDTH:g},{end_y:g}H{x:g}")
            drop_gate = tree.gate(duct)
            if drop_gate:
                sheet.marks.append(_gate_mark(drop_gate, _GATE_X, end_y, upright=False))
        elif number == len(feeding) - 1:
            later.append((duct, x, end_y))
        else:
            fold_y = sheet.height
            end_y = fold_y
            folded_x = min(x + _FOLD, _GATE_X - _FOLD)
            sheet.pipe(duct, f"M{folded_x:g},{fold_y:g}H{x:g}")
            _lay(sheet, tree, duct.name, duct, folded_x, fold_y)
    if end_y > top_y:
        carrier = main or max(feeding, key=lambda duct: (duct.moves, duct.diameter_m))
        sheet.pipe(carrier, f"M{x:g},{end_y:g}V{top_y:g}")
    for duct, next_x, next_y in later:
        _lay(sheet, tree, duct.name, duct, next_x, next_y)


def _system(view: ShopView, motor: MotorView) -> Html:
    top = join(el("b", None, motor.name), el("span", None, motor.word))
    return system(
        motor.name, top, view.ducts, view.gates, lambda gate, duct: _row_words(view, gate, duct), runs=motor.runs
    )


def system(
    motor: str, top: Html, ducts: Iterable[DuctView], gates: Iterable[GateView], label: Label, *, runs: bool = False
) -> Html:
    """The drawing of one system; ``top``: the words beside its collector."""
    sheet = _Sheet(label)
    sheet.row(top)
    top_y = sheet.row_y
    _lay(sheet, _Tree(ducts, gates, motor), motor, None, _MAIN_X, top_y)
    picture = el(
        "svg",
        {
            "viewBox": f"0 0 {_WIDTH:g} {sheet.height:g}",
            "width": f"{_WIDTH / 16:g}em",
            "height": f"{sheet.height / 16:g}em",
            "aria-hidden": "true",
            "focusable": "false",
        },
        el("g", {"class": "walls"}, sheet.walls),
        el("g", {"class": "bores"}, sheet.bores),
        el("g", {"class": "airs"}, sheet.air),
        _fan_mark(motor, top_y, runs=runs),
        sheet.marks,
    )
    labels = el("ul", {"class": "rows"}, sheet.rows)
    return el("div", {"class": "system", "data-key": motor}, picture, labels)


def picture(view: ShopView) -> Html:
    """The drawing of every system, one below the other."""
    return join([_system(view, motor) for motor in view.motors if motor.has_ducts])


def _list_item(view: ShopView, tree: _Tree, duct: DuctView) -> Html:
    gate = tree.gate(duct)
    says = [f"{duct.name}: {words.diameter(duct.diameter_m, view.units)}, {words.length(duct.length_m, view.units)}"]
    if gate:
        by = "moved automatically" if gate.automatic else "moved by hand"
        serves = f", serves {', '.join(gate.tools)}" if gate.tools else ""
        says.append(f"{gate.name} is {gate.word.value}, {by}{serves}")
    if duct.moves and duct.velocity_ms is not None:
        says.append(f"air moves at {words.velocity(duct.velocity_ms, view.units)}")
    else:
        says.append("air moves" if duct.moves else "no air")
    feeding = tree.feeding(duct.name)
    below = el("ul", None, [_list_item(view, tree, one) for one in feeding]) if feeding else None
    return el("li", None, "; ".join(says) + ".", below)


def listed(view: ShopView) -> Html:
    """The same ducts as a nested list, with sizes and velocities."""
    parts: list[Html] = []
    for motor in view.motors:
        if motor.has_ducts:
            tree = _Tree(view.ducts, view.gates, motor.name)
            parts.append(el("p", None, f"{motor.name}, {motor.word}. Air comes from:"))
            parts.append(el("ul", None, [_list_item(view, tree, one) for one in tree.feeding(motor.name)]))
    return join(parts)
