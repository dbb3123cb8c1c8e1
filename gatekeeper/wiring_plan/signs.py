"""Signs to print and hang: what starts by itself, what moves by itself, what must not go in, and how to run by hand."""

from collections.abc import Iterator

from gatekeeper.markup import Html, el
from gatekeeper.shop.faults import listed
from gatekeeper.shop.model import Gate, Makes, Motor, MotorKind, Shop

WOOD = (Makes.WOOD,)


def sign_pages(shop: Shop) -> list[Html]:
    """Every sign of a shop, a page each; how often to print it stands small below."""
    return [
        *(_starts(motor) for motor in shop.motors.values()),
        *_moves(shop),
        *(_only(shop, motor) for motor in shop.motors.values() if motor.has_ducts),
        *(_by_hand(shop, motor) for motor in shop.motors.values() if motor.has_ducts),
    ]


def _page(pictogram: Html, words: str, lines: list[str], where: str, *, small: bool = False) -> Html:
    return el(
        "section",
        {"class": "sign small" if small else "sign"},
        pictogram,
        el("h2", None, words),
        [el("p", None, line) for line in lines],
        el("p", {"class": "hang"}, where),
    )


def _starts(motor: Motor) -> Html:
    lines = ["It starts when a machine starts, with nobody near."]
    if motor.kind is MotorKind.FILTER_SHAKER:
        lines = [f"It shakes by itself after {motor.follows} has stopped."]
    lines.append("Lock its disconnect before you open it, and keep the key.")
    return _page(
        _fan(), f"The {motor.name} starts by itself", lines, f"Hang it at {motor.name}, and at its disconnect."
    )


def _moves(shop: Shop) -> Iterator[Html]:
    moved = [gate.name for gate in shop.gates.values() if gate.is_actuated]
    if moved:
        count = "once" if len(moved) == 1 else f"{len(moved)} times"
        yield _page(
            _gate(),
            "This gate moves by itself",
            ["It moves without warning and feels nothing.", "Fingers out. Take its plug out before you reach in."],
            f"Print it {count}: {listed(moved, 'and', 40)}.",
        )


def _only(shop: Shop, motor: Motor) -> Html:
    makes = {tool.makes for tool in shop.tools_of(motor.name)}
    if makes and not makes & {Makes.WOOD}:
        return _page(
            _spark(),
            "No wood dust here",
            [f"What goes into the {motor.name} burns wood dust. Never sweep or suck wood into it."],
            f"Hang it at {motor.name} and at its machines.",
        )
    return _page(
        _spark(),
        "No sparks, no metal here",
        ["Wood dust only. No grinder, no nails, no embers, no floor sweepings."],
        f"Hang it at the bin of {motor.name} and at every sweep.",
    )


def _by_hand(shop: Shop, motor: Motor) -> Html:
    gates = shop.gates_of(motor.name)
    steps = [f"1. At the starter of the {motor.name}, turn Hand-Off-Auto to Off."]
    steps += [f"2. Open the gate at your machine by hand. {words}" for words in [_how(gates)]]
    steps += [
        f"3. Turn it to Hand: the {motor.name} runs until you turn it back. At least one gate stays open.",
        f"4. After the cut wait {_seconds(shop, motor)} s, then turn it to Off.",
        "5. When the controller works again, turn it to Auto.",
        "In danger press the red button. Out of order: do not open a box, call the electrician.",
    ]
    if shop.call:
        steps.append(f"Call: {listed(shop.call, 'or', 6)}.")
    return _page(
        _dial(),
        f"{_sentence(motor.name)}: how to run it by hand",
        steps,
        f"Hang it at the starter of {motor.name}.",
        small=True,
    )


def _how(gates: tuple[Gate, ...]) -> str:
    """How each kind of gate of this motor is moved without the controller."""
    said = []
    if any(gate.servo is not None or gate.bank_servo is not None for gate in gates):
        said.append("A gate on a servo is limp: push it.")
    relays = [gate.name for gate in gates if gate.relays is not None or gate.bridge is not None]
    if relays:
        said.append(f"Take the drive off {listed(relays, 'and', 8)} at its pin, then slide it.")
    away = [gate.name for gate in gates if gate.behind_broker is not None]
    if away:
        said.append(f"Take the plug out of {listed(away, 'and', 8)}, then slide it.")
    for gate in gates:
        if gate.coil is not None:
            said.append(f"{_sentence(gate.name)} stands {gate.coil.holds.other.value} by its spring.")
    by_hand = [gate.name for gate in gates if not gate.is_actuated]
    if by_hand:
        said.append(f"By hand as ever: {listed(by_hand, 'and', 8)}.")
    return " ".join(said)


def _seconds(shop: Shop, motor: Motor) -> str:
    longest_s = max([motor.spin_down_s, *(gate.clear_s for gate in shop.gates_of(motor.name))])
    return f"{longest_s:.0f}"


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def _svg(*children: Html) -> Html:
    return el("svg", {"viewBox": "0 0 200 200", "class": "pictogram", "aria-hidden": "true"}, *children)


def _path(line: str, kind: str = "thick") -> Html:
    return el("path", {"d": line, "class": kind})


def _circle(x: float, y: float, radius: float, kind: str) -> Html:
    return el("circle", {"cx": f"{x:g}", "cy": f"{y:g}", "r": f"{radius:g}", "class": kind})


def _fan() -> Html:
    """A fan wheel inside an arrow that goes round by itself."""
    blades = [
        _path("M100 100 C70 82 72 52 100 48 C112 62 112 84 100 100 Z", "full"),
        _path("M100 100 C130.6 82.7 155.6 99.4 145.0 126.0 C126.9 129.4 107.9 118.4 100 100 Z", "full"),
        _path("M100 100 C99.4 135.3 72.4 148.6 55.0 126.0 C61.1 108.6 80.1 97.6 100 100 Z", "full"),
    ]
    return _svg(_path("M100 14 A86 86 0 1 1 26 56"), _path("M10 62 L24 30 L48 58 Z", "full"), *blades)


def _gate() -> Html:
    """A blade that slides across a duct, an arrow at both ends."""
    return _svg(
        _path("M10 70 H84 M116 70 H190 M10 150 H84 M116 150 H190"),
        _path("M92 46 H108 V150 H92 Z", "full"),
        _path("M150 40 V120", "thick"),
        _path("M150 14 L134 44 H166 Z", "full"),
        _path("M150 146 L134 116 H166 Z", "full"),
    )


def _spark() -> Html:
    """A spark, struck out."""
    return _svg(
        _path(
            "M100 30 L114 80 L164 66 L126 102 L164 138 L114 122 L100 172 L86 122 L36 138 L74 102 L36 66 L86 80 Z",
            "full",
        ),
        _circle(100, 100, 90, "thick"),
        _path("M37 37 L163 163", "strike"),
        _path("M37 37 L163 163"),
    )


def _dial() -> Html:
    """A selector that stands at the left of its three places."""
    return _svg(
        _circle(100, 110, 56, "thick"),
        _path("M112 122 L58 68", "thick"),
        *(_circle(x, y, 7, "full") for x, y in ((36, 46), (100, 22), (164, 46))),
    )
