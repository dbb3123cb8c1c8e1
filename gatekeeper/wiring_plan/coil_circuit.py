"""The coil circuit of one motor as a drawing: what breaks it by wire, and where the box's one contact stands."""

from gatekeeper.markup import Html, el

_WIDTH, _HEIGHT = 760, 196
_Y, _HAND_Y, _AUTO_Y = 72, 46, 112


def coil_circuit(*, has_fire: bool) -> Html:
    """The chain from 24 V to the coil. ``has_fire``: the shop names a detector; without one it is drawn as an "
    "option."""
    fire = ("detector", "fire, opens") if has_fire else ("detector", "where fitted")
    return el(
        "svg",
        {
            "viewBox": f"0 0 {_WIDTH} {_HEIGHT}",
            "class": "wires",
            "role": "img",
            "aria-label": "The coil circuit: 24 V, emergency stop, detector, overload, Hand-Off-Auto, box, coil, 0 V",
        },
        _words(8, _Y + 4, "24 V", "start", "name"),
        _line(44, _Y, 62, _Y),
        _stage(62, _Y, 104, "emergency", "stop, opens"),
        _line(166, _Y, 178, _Y),
        _stage(178, _Y, 96, *fire),
        _line(274, _Y, 286, _Y),
        _stage(286, _Y, 92, "overload", "opens"),
        _line(378, _Y, 410, _Y),
        _dot(410, _Y),
        _line(410, _Y, 424, _HAND_Y),
        _words(430, _HAND_Y - 8, "Hand", "start"),
        _line(440, _HAND_Y, 630, _HAND_Y),
        _words(430, _AUTO_Y + 16, "Auto", "start"),
        _line(440, _AUTO_Y, 466, _AUTO_Y),
        _stage(466, _AUTO_Y, 144, "contact of the box", "X1, see below"),
        _line(610, _AUTO_Y, 630, _AUTO_Y),
        _line(630, _HAND_Y, 630, _AUTO_Y),
        _dot(630, _Y),
        _line(630, _Y, 644, _Y),
        _stage(644, _Y, 66, "coil", "24 V"),
        _line(710, _Y, 722, _Y),
        _words(728, _Y + 4, "0 V", "start", "name"),
        [_dot(440, y) for y in (_HAND_Y, _AUTO_Y)],
        _words(
            8,
            160,
            "Drawn in Hand. Every stage before the switch works by wire, in Hand and in Auto,",
            "start",
        ),
        _words(8, 178, "with the board unplugged too. The box can only ask in Auto.", "start"),
    )


def _stage(x: float, y: float, width: float, first: str, second: str) -> Html:
    return Html(
        el("rect", {"x": f"{x:g}", "y": f"{y - 20:g}", "width": f"{width:g}", "height": "40", "class": "block"})
        + _words(x + width / 2, y - 3, first, "middle", "name")
        + _words(x + width / 2, y + 13, second, "middle")
    )


def _line(x1: float, y1: float, x2: float, y2: float) -> Html:
    return el("path", {"d": f"M{x1:g} {y1:g} L{x2:g} {y2:g}", "class": "wire"})


def _dot(x: float, y: float) -> Html:
    return el("circle", {"cx": f"{x:g}", "cy": f"{y:g}", "r": "3.2", "class": "dot"})


def _words(x: float, y: float, words: str, anchor: str, kind: str | None = None) -> Html:
    return el("text", {"x": f"{x:g}", "y": f"{y:g}", "text-anchor": anchor, "class": kind}, words)
