"""From a sheet to a drawing: our own SVG, black lines on paper, a dot where wires join, none where they only cross."""

from gatekeeper.markup import Html, el
from gatekeeper.wiring_plan.model import Across, Block, Cable, Edge, In, Sheet, Symbol

WIDTH = 760
ROW = 46
TOP = 58
LEFT_BLOCK = (12, 156)
MIDDLE_BLOCK = (262, 366)
WALL = 442
DEVICE_BLOCK = (600, 748)
SYMBOL_X = 706
NAME_LENGTH = 20
SLOTS = (186, 232, 290, 350, 404)
EDGES = {Edge.LEFT: LEFT_BLOCK[1], Edge.INTO: MIDDLE_BLOCK[0], Edge.OUT: MIDDLE_BLOCK[1], Edge.WALL: WALL}


def drawing(sheet: Sheet, cable: Cable | None, title: str) -> Html:
    """One drawing with its title for those who cannot see it."""
    rows = 1 + max(
        row
        for block in (*sheet.blocks, sheet.device, *([sheet.middle] if sheet.middle else []))
        for row in (*block.rows, *block.out)
    )
    height = TOP + rows * ROW + 4
    return el(
        "svg",
        {"viewBox": f"0 0 {WIDTH} {height}", "class": "wires", "role": "img", "aria-label": title},
        el("title", None, title),
        _surround(sheet, cable, height),
        [line for block in sheet.blocks for line in _block(block)],
        _middle(sheet.middle),
        [_line(_x(run.begin), _y(run.row), _x(run.end), _y(run.row)) for run in sheet.runs],
        _straight(sheet),
        _cores(cable),
        _device(sheet),
        [line for part in sheet.parts for line in _part(part)],
    )


def _y(row: int) -> int:
    return TOP + 22 + row * ROW


def _x(place: Edge | int) -> int:
    return EDGES[place] if isinstance(place, Edge) else SLOTS[place]


def _line(x1: float, y1: float, x2: float, y2: float, kind: str = "wire") -> Html:
    return el("path", {"d": f"M{x1:g} {y1:g} L{x2:g} {y2:g}", "class": kind})


def _words(x: float, y: float, words: str, anchor: str = "start", kind: str | None = None) -> Html:
    return el("text", {"x": f"{x:g}", "y": f"{y:g}", "text-anchor": anchor, "class": kind}, words)


def _rect(x: float, y: float, width: float, height: float, kind: str) -> Html:
    return el("rect", {"x": f"{x:g}", "y": f"{y:g}", "width": f"{width:g}", "height": f"{height:g}", "class": kind})


def _surround(sheet: Sheet, cable: Cable | None, height: int) -> list[Html]:
    if not sheet.walled:
        return [_rect(2, 24, WIDTH - 4, height - 26, "wall"), _words(12, 16, "in the box", kind="where")]
    said = [_rect(2, 24, WALL - 2, height - 26, "wall"), _words(12, 16, "in the box", kind="where")]
    if cable is not None:
        said.append(_words(DEVICE_BLOCK[1], 16, f"cable {cable.number}: {cable.kind}", "end", "where"))
    return said


def _span(rows: dict[int, str]) -> tuple[float, float]:
    return _y(min(rows)) - 20.0, _y(max(rows)) + 14.0


def _block(block: Block) -> list[Html]:
    top, bottom = _span(block.rows)
    left, right = LEFT_BLOCK
    drawn = [
        _rect(left, top, right - left, bottom - top, "block"),
        _words((left + right) / 2, top - 5, _fitting(block.title), "middle", "name"),
    ]
    return drawn + [_words(right - 6, _y(row) + 4, name, "end") for row, name in block.rows.items()]


def _fitting(title: str) -> str:
    """A name that is not wider than its block; in full it stands beside the drawing."""
    return title if len(title) <= NAME_LENGTH else f"{title[: NAME_LENGTH - 1].rstrip()}…"


def _middle(block: Block | None) -> list[Html]:
    if block is None:
        return []
    left, right = MIDDLE_BLOCK
    top, bottom = _span({**block.rows, **block.out})
    return [
        _rect(left, top, right - left, bottom - top, "block"),
        _words((left + right) / 2, top - 5, block.title, "middle", "name"),
        *[_words(left + 6, _y(row) + 4, name) for row, name in block.rows.items()],
        *[_words(right - 6, _y(row) + 4, name, "end") for row, name in block.out.items()],
    ]


def _straight(sheet: Sheet) -> list[Html]:
    if sheet.walled:
        return []
    return [_line(LEFT_BLOCK[1], _y(row), DEVICE_BLOCK[0], _y(row)) for row in sheet.device.rows]


def _cores(cable: Cable | None) -> list[Html]:
    if cable is None:
        return []
    drawn: list[Html] = []
    for core in cable.cores:
        y = _y(core.row)
        drawn += [
            _line(WALL, y, DEVICE_BLOCK[0], y, "core"),
            _rect(WALL - 6, y - 6, 12, 12, "terminal"),
            _words(WALL + 12, y - 7, core.terminal),
            _words(DEVICE_BLOCK[0] - 8, y - 7, core.number, "end"),
        ]
    return drawn


def _device(sheet: Sheet) -> list[Html]:
    left, right = DEVICE_BLOCK
    top, bottom = _span(sheet.device.rows)
    drawn = [
        _rect(left, top - 2, right - left, bottom - top + 10, "block"),
        _words((left + right) / 2, top - 7, sheet.device.title, "middle", "name"),
    ]
    inside = any(isinstance(part, Across) and part.at_device for part in sheet.parts)
    last = max(sheet.device.rows)
    for row, name in sheet.device.rows.items():
        # Where lines go on inside, the names stand above them, the last one below.
        lower = (15 if row == last else -6) if inside else 4
        drawn.append(_words(left + 6, _y(row) + lower, name))
    return drawn


def _part(part: In | Across) -> list[Html]:
    if isinstance(part, In):
        return _series(part)
    x = SYMBOL_X if part.at_device else SLOTS[part.slot]
    x -= 34 * part.slot if part.at_device else 0
    top, bottom = _y(part.top), _y(part.bottom)
    drawn = [_dot(x, top), _dot(x, bottom)]
    if part.at_device:
        drawn = [_line(DEVICE_BLOCK[0], top, x, top), _line(DEVICE_BLOCK[0], bottom, x, bottom)]
    if part.at_device and part.slot:  # its label stands on the side where there is room
        words = _words(x - 14, (top + bottom) / 2 + 4, part.label, "end")
        return [*drawn, *_upright(part.symbol, x, top, bottom, ""), words]
    return [*drawn, *_upright(part.symbol, x, top, bottom, part.label)]


def _dot(x: float, y: float) -> Html:
    return el("circle", {"cx": f"{x:g}", "cy": f"{y:g}", "r": "3.2", "class": "dot"})


def _series(part: In) -> list[Html]:
    x, y = SLOTS[part.slot], _y(part.row)
    drawn = [_rect(x - 14, y - 6, 28, 12, "symbol"), _words(x, y - 11, part.label, "middle")]
    if part.symbol is Symbol.FUSE:
        drawn.append(_line(x - 14, y, x + 14, y))
    return drawn


def _upright(symbol: Symbol, x: float, top: float, bottom: float, label: str) -> list[Html]:
    """A symbol in a wire that runs down from one row to another, with its label at its right."""
    middle = (top + bottom) / 2
    size, drawn = _drawn(symbol, x, middle)
    wires = (
        [_line(x, top, x, middle - size), _line(x, middle + size, x, bottom)] if size else [_line(x, top, x, bottom)]
    )
    return [*wires, *drawn, *([_words(x + 14, middle + 4, label)] if label else [])]


def _drawn(symbol: Symbol, x: float, y: float) -> tuple[float, list[Html]]:
    """How far the symbol reaches up and down, and its lines."""
    match symbol:
        case Symbol.RESISTOR:
            return 12, [_rect(x - 5, y - 12, 10, 24, "symbol")]
        case Symbol.VARISTOR:
            return 12, [_rect(x - 5, y - 12, 10, 24, "symbol"), _line(x - 9, y + 12, x + 9, y - 12)]
        case Symbol.CAPACITOR:
            return 3, [_line(x - 10, y - 3, x + 10, y - 3, "plate"), _line(x - 10, y + 3, x + 10, y + 3, "plate")]
        case Symbol.DIODE:
            path = {"d": f"M{x - 8:g} {y + 7:g} L{x + 8:g} {y + 7:g} L{x:g} {y - 7:g} Z", "class": "symbol"}
            return 7, [el("path", path), _line(x - 8, y - 7, x + 8, y - 7, "plate")]
        case Symbol.MADE:
            return 10, [_line(x, y + 10, x - 12, y - 10, "plate"), _dot(x, y + 10), _dot(x, y - 10)]
        case Symbol.BROKEN:
            blade = [_line(x, y + 10, x + 7, y - 12, "plate"), _line(x, y - 10, x + 8, y - 10, "plate")]
            return 10, [*blade, _dot(x, y + 10)]
        case Symbol.COIL:
            return 8, [_rect(x - 14, y - 8, 28, 16, "symbol")]
        case Symbol.CLAMP:
            ring = el("circle", {"cx": f"{x:g}", "cy": f"{y:g}", "r": "13", "class": "symbol"})
            return 13, [ring, _line(x - 24, y, x + 24, y, "mains")]
        case Symbol.SERVO | Symbol.MOTOR | Symbol.LAMP:
            return 14, _round(symbol, x, y)
        case _:  # a plain joint
            return 0, []


def _round(symbol: Symbol, x: float, y: float) -> list[Html]:
    ring = el("circle", {"cx": f"{x:g}", "cy": f"{y:g}", "r": "14", "class": "symbol"})
    if symbol is Symbol.LAMP:
        return [ring, _line(x - 10, y - 10, x + 10, y + 10), _line(x - 10, y + 10, x + 10, y - 10)]
    return [ring, _words(x, y + 5, "S" if symbol is Symbol.SERVO else "M", "middle", "name")]
