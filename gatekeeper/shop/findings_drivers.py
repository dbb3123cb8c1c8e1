"""What ``check`` says of drivers: what each does when the board dies, and what it cannot do."""

from collections.abc import Iterator

from gatekeeper.shop.faults import listed
from gatekeeper.shop.finding import Finding, bite, nice
from gatekeeper.shop.model import AirProofKind, Drive, Motor, Output, Shop


def driver_findings(shop: Shop) -> Iterator[Finding]:
    """What is to be said of switches, banks, bridges, current stops, signs and permits."""
    for motor in shop.motors.values():
        if motor.switch.steady_pulse:
            said = (
                "Its relay holds only while its pin keeps changing: killed, hung or stuck at a level, the program lets "
                f"it drop after {motor.switch.death_after_s:g} s. Measure that time when you wire it."
            )
            yield nice("steady_pulse", motor.name, said)
        if motor.switch.stop_output is not None:
            said = (
                "Its starter holds itself: a program that is killed or hangs, and a board without power, leave it "
                "running, and outputs-off does not stop it. Let a hand be at its stop button while it runs."
            )
            yield bite("starter_holds", motor.name, said)
        if motor.switch.drive is not None:
            yield from _on_drive(shop, motor)
    plain = [one.name for one in shop.motors.values() if one.switch.output is not None and not _is_other(one)]
    if plain:
        said = (
            f"A level that sticks keeps the relay on: {listed(plain, 'and', 4)}. A relay that needs a steady pulse "
            "(steady_pulse: yes) drops then too: the better way."
        )
        yield nice("level_may_stick", "shop", said)
    for bank in shop.servo_banks.values():
        used = [gate.name for gate in shop.gates.values() if gate.bank_servo and gate.bank_servo.bank == bank.name]
        if not used:
            yield nice("idle_bank", bank.name, "No gate hangs on it; it stays off.")
            continue
        said = (
            f"Its OE goes to GPIO{bank.enable_line} and through 10 k to 3.3 V: it sends pulses only while a gate "
            "moves, and none when the board is dark. A program killed in mid-move leaves it on until outputs-off or "
            "the next start."
        )
        yield nice("bank_enable", bank.name, said)
        if bank.clock_share == 1.0:
            said = (
                "Its clock may be several per cent off, and the ends of its gates with it. Set each end at the gate, "
                "or measure a pulse and write clock."
            )
            yield nice("bank_clock", bank.name, said)
    yield from _reversing(shop)
    for gate in shop.gates.values():
        if gate.behind_broker is None:
            continue
        said = (
            f"It hangs on the broker {gate.behind_broker.broker}: without it the gate does not move, and counts as "
            "unproven. A command is sent once and never kept; a frozen network may deliver it late. Anybody on your "
            "network can move it."
        )
        yield bite("gate_behind_broker", gate.name, said)
        if gate.behind_broker.halt is None:
            said = "It cannot be halted: the red button leaves it moving to its end. Guard its slot."
            yield bite("gate_unhalted", gate.name, said)
    for permit in shop.permits.values():
        said = (
            f"It may permit a start of {permit.at}, and never starts or cuts it: an electrician puts its contact in "
            "the wire of the START button only, never in a holding circuit. Air is ready once somebody asked for it "
            "there (inputs, kind: air here)."
        )
        yield nice("permit", permit.name, said)


def _is_other(motor: Motor) -> bool:
    return motor.switch.steady_pulse or motor.switch.stop_output is not None


def _on_drive(shop: Shop, motor: Motor) -> Iterator[Finding]:
    drive = shop.drives[motor.switch.drive or ""]
    said = (
        f"Set in its drive: stop on loss of communication after {motor.switch.death_after_s:g} s, and no restart by "
        "itself after a trip or a power cut. Nothing else stops it when the board dies. Pull the wire once, and see it "
        "stop."
    )
    yield bite("drive_silence", motor.name, said)
    if drive.full_speed_hz is not None:
        yield from _from_the_air(shop, motor, drive, drive.full_speed_hz)
    elif drive.speed_hz is None:
        yield nice("drive_speed", motor.name, "Its speed is set at the drive; the controller only starts and stops it.")
    else:
        said = (
            f"It runs at {drive.speed_hz:g} Hz, whatever is open, and never below {drive.least_speed_hz:g} Hz. The air "
            "is computed from its fan curve as written: give the curve at this speed."
        )
        yield nice("drive_speed", motor.name, said)
    if drive.host is not None:
        said = "What is said to its drive crosses your network open to all: keep board and drive on one of your own."
        yield nice("drive_open", motor.name, said)


def _from_the_air(shop: Shop, motor: Motor, drive: Drive, full_hz: float) -> Iterator[Finding]:
    """What is to be known of a drive that runs no faster than the machines need."""
    least_hz = drive.least_speed_hz or full_hz
    said = (
        f"It runs no faster than the machines that run need: never below {least_hz:g} Hz, never above {full_hz:g} Hz, "
        "the speed that its fan curve must hold for. Whatever is in doubt runs at full speed. gatekeeper layout tells "
        "the speeds."
    )
    yield nice("drive_speed", motor.name, said)
    share = least_hz / full_hz
    if motor.air_proof is not None:
        is_flow = motor.air_proof_kind is AirProofKind.FLOW
        left = f"{share * 100:.0f} % of the flow" if is_flow else f"{share * share * 100:.0f} % of the pressure"
        said = (
            f"Its air switch must still say air at {least_hz:g} Hz, with about {left}: set it there, or air counts as "
            "lost whenever the fan slows down."
        )
        yield bite("drive_air_switch", motor.name, said)
    if motor.confirmed_by is not None and motor.confirmed_by.drive is None:
        said = f"At {least_hz:g} Hz it takes far less current: see that its sensor still says that it runs."
        yield bite("drive_confirms", motor.name, said)
    unseen = [gate.name for gate in shop.gates_of(motor.name) if not gate.is_actuated and not gate.has_open_switch]
    if unseen:
        said = (
            f"Nothing says where {listed(unseen, 'and', 4)} stands, so it always runs at full speed. An open_contact "
            "there would tell."
        )
        yield bite("drive_always_full", motor.name, said)
    if not motor.fan_curve:
        said = (
            "Its fan is an estimate, so the speeds are those of the weakest fan that it may be. The maker's fan curve, "
            "or one reading of suction, lets it run slower."
        )
        yield nice("drive_fan_guess", motor.name, said)
    if drive.speed_seen is None:
        said = "Whether it really turns as told is not seen. Where its manual has a register for that, add speed_seen."
        yield nice("drive_speed_unseen", motor.name, said)


def _reversing(shop: Shop) -> Iterator[Finding]:
    bridges = [gate for gate in shop.gates.values() if gate.bridge is not None]
    if bridges:
        names = listed([gate.name for gate in bridges], "and", 4)
        said = (
            f"Nothing but the program ends the drive of {names}: fit limit switches in the motor's wires, with diodes."
        )
        yield nice("bridge_limits", "shop", said)
    pairs = [gate for gate in shop.gates.values() if gate.relays is not None or gate.bridge is not None]
    blind = [gate.name for gate in pairs if gate.current_stop is None]
    if blind:
        said = f"Nothing stops these when they meet something, until their travel is over: {listed(blind, 'and', 4)}."
        yield nice("no_current_stop", "shop", f"{said} A current_stop does.")


def driver_outputs(shop: Shop) -> Iterator[tuple[str, str, Output]]:
    """Outputs of these drivers: whose, what it may do at power-up, and the line."""
    for motor in shop.motors.values():
        if motor.switch.stop_output is not None:
            yield motor.name, "the motor may be stopped", motor.switch.stop_output
    for gate in shop.gates.values():
        if gate.bridge is not None:
            lines = (gate.bridge.open_line, gate.bridge.shut_line)
            yield from ((gate.name, "the gate may move", Output(line)) for line in lines)
    for sign in shop.signs.values():
        for lamp in (sign.coming, sign.no_air):
            if lamp is not None:
                yield sign.name, "the lamp may light", lamp
    for permit in shop.permits.values():
        yield permit.name, "a start may be permitted", permit.output
