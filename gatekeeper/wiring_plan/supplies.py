"""What each supply must give when gates move: as many as may move at once, each stalled, and every coil that holds."""

from gatekeeper.shop.faults import listed
from gatekeeper.shop.model import Gate, Shop
from gatekeeper.wiring_plan.currents import most_a, source_of, together_a
from gatekeeper.wiring_plan.gauges import GAUGE_A
from gatekeeper.wiring_plan.model import Load

RELAY_COIL_A = 0.08
LAMP_A = 0.5
"""One small relay's coil at 5 V (common practice), and one lamp at most; both our own figures to count with."""


def loads_of(shop: Shop) -> tuple[Load, ...]:
    """Every supply of gates by its name in the file, one load for each voltage on it; the lamps; the board's relays."""
    loads: list[Load] = []
    for supply in shop.supplies.values():
        gates = [gate for gate in shop.gates.values() if gate.supply == supply.name]
        servos = [gate for gate in gates if gate.servo is not None or gate.bank_servo is not None]
        motors = [gate for gate in gates if gate.relays is not None or gate.bridge is not None]
        coils = [gate for gate in gates if gate.coil is not None]
        kinds = sum(bool(group) for group in (servos, motors, coils))
        for what, volts, group in (("servos", "5 to 6 V", servos), ("motors", "12 or 24 V", motors)):
            if group:
                name = supply.name if kinds == 1 else f"{supply.name}, {what}"
                loads.append(_moving(name, volts, what, group, supply.at_once))
        if coils:
            name = supply.name if kinds == 1 else f"{supply.name}, coils"
            current_a = sum(most_a(gate) for gate in coils)
            counted = (
                f"{listed([gate.name for gate in coils], 'and', 24)}: a coil is on for as long as it holds, so all of "
                "them "
                f"count together, {source_of(coils, '')}."
            )
            loads.append(Load(name, "12 or 24 V", current_a, counted))
    lamps = sum(1 + (one.coming is not None) + (one.no_air is not None) for one in shop.signs.values())
    lamps += shop.messages.lamp is not None
    if lamps:
        counted = f"{_count(lamps, 'lamp')}, {LAMP_A:g} A each at most (our figure)."
        loads.append(Load("lamps", "12 or 24 V", LAMP_A * lamps, counted))
    wired = sum(gauge.wire is not None for gauge in shop.gauges.values())
    if wired:
        counted = f"{_count(wired, 'gauge')}, {GAUGE_A:g} A each at most (our figure), by their plates."
        loads.append(Load("gauges", "mostly 24 V", GAUGE_A * wired, counted))
    return tuple(loads)


def relays_on_board_a(shop: Shop) -> tuple[int, float]:
    """How many relay modules hang on the board's 5 V pin, and what they draw when all are on, amperes."""
    switches = [motor.switch for motor in shop.motors.values()]
    count = sum((one.output is not None) + (one.stop_output is not None) for one in switches) + len(shop.permits)
    count += sum(2 if gate.relays is not None else 1 if gate.coil is not None else 0 for gate in shop.gates.values())
    return count, count * RELAY_COIL_A


def _moving(name: str, volts: str, what: str, group: list[Gate], at_once: int) -> Load:
    together = min(at_once, len(group))
    kind = "gate moves" if together == 1 else "gates move"
    counted = (
        f"{_count(len(group), 'gate')} on {what}, at most {together} at once (at_once: {at_once}): {together} {kind}, "
        f"{source_of(group)}."
    )
    return Load(name, volts, together_a(group, at_once), counted)


def _count(number: int, word: str) -> str:
    return f"{number} {word}" + ("" if number == 1 else "s")
