"""What an actuator draws at most: as its file says, else an estimate of ours, which the plan calls one."""

from gatekeeper.shop.model import Gate

SERVO_STALL_A = 3.0
GEAR_MOTOR_STALL_A = 5.0
COIL_A = 1.0
"""Stalled servos draw 2 to 3 A (textbook); the other two are our own. ``stall_current`` and ``current`` of a shop file
replace them."""


def given_a(gate: Gate) -> float | None:
    """What the file says of a gate's actuator: stalled, or of a coil that holds; None where it says nothing."""
    pair = gate.relays or gate.bridge
    servo = gate.servo or gate.bank_servo
    if servo is not None:
        return servo.stall_a
    if pair is not None:
        return pair.stall_a
    return gate.coil.current_a if gate.coil is not None else None


def most_a(gate: Gate) -> float:
    """The current that supply, fuse and cable of a gate with an actuator are counted for, amperes."""
    given = given_a(gate)
    if given is not None:
        return given
    if gate.servo is not None or gate.bank_servo is not None:
        return SERVO_STALL_A
    return COIL_A if gate.coil is not None else GEAR_MOTOR_STALL_A


def together_a(gates: list[Gate], at_once: int) -> float:
    """What as many of these gates as may move at once draw, the hungriest of them stalled."""
    return sum(sorted((most_a(gate) for gate in gates), reverse=True)[:at_once])


def source_of(gates: list[Gate], what: str = "when stalled") -> str:
    """In words: how much each draws, and where that comes from."""
    given = {given_a(gate) for gate in gates}
    figures = sorted({most_a(gate) for gate in gates})
    each = f"{figures[0]:g} A each" if len(figures) == 1 else f"{figures[0]:g} to {figures[-1]:g} A each"
    words = " ".join((each, what)).rstrip()
    if given == {None}:
        return f"{words} (an estimate; the plate decides)"
    return f"{words}, as given" if None not in given else f"{words}, some given, some an estimate"
