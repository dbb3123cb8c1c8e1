"""The lines of what moves gates, switches motors and lights signs, in words."""

from collections.abc import Iterator
from dataclasses import replace

from gatekeeper.devices.actuators import spring_fate
from gatekeeper.devices.base import Position
from gatekeeper.devices.permits import PermitContact
from gatekeeper.devices.pulse_switching import StarterSwitch, SteadyPulseSwitch
from gatekeeper.devices.reversing import BridgeGate, RelayPairGate
from gatekeeper.devices.servos import BankServoGate, ServoGate
from gatekeeper.devices.signs import LampSign
from gatekeeper.devices.switching import RelaySwitch
from gatekeeper.service.pin_rows import READS_ONLY, UNREAD, PinRow, board_pull, line_words, output_row, power_lost_words
from gatekeeper.shop.faults import listed
from gatekeeper.shop.model import BoardDeath, Gate, MessageLamp, Motor, Output, Permit, ServoBank, Shop, Sign


def motor_rows(motor: Motor) -> Iterator[PinRow]:
    """The lines that switch a motor."""
    switch = motor.switch
    if switch.output is None:  # a drive hangs on no line of the board
        return
    if switch.stop_output is not None:
        yield from _starter(motor, switch.output, switch.stop_output)
        return
    fate = SteadyPulseSwitch.fate if switch.steady_pulse else RelaySwitch.fate
    row = output_row(
        switch.output,
        f"Relay in the coil circuit of the contactor of {motor.name}",
        f"Starts and stops {motor.name}.",
        fate,
        _motor_power_lost(motor),
    )
    yield replace(row, does=f"Starts and stops {motor.name}. Pulses are on.") if switch.steady_pulse else row


def _starter(motor: Motor, start: Output, stop: Output) -> Iterator[PinRow]:
    fate = StarterSwitch.fate
    for button, output, contact in (
        ("start", start, "its normally open contact beside the button"),
        ("stop", stop, "its normally closed contact in series with the button"),
    ):
        wire = f"Relay at the {button} button of the starter of {motor.name}, {contact}"
        does = f"Presses {button} for {motor.switch.press_s:g} s."
        yield output_row(output, wire, does, fate, _motor_power_lost(motor))


def _motor_power_lost(motor: Motor) -> str:
    match motor.switch.board_death:
        case BoardDeath.DROPS:
            return power_lost_words(RelaySwitch.fate)
        case BoardDeath.DROPS_LATER:
            return f"The wiring drops the contactor by itself after {motor.switch.death_after_s:g} s."
        case BoardDeath.STAYS:
            return "The motor runs on until somebody stops it by hand. Never leave it alone."


def gate_rows(gate: Gate) -> Iterator[PinRow]:
    """The lines that move a gate, and the contact that ends a drive."""
    if gate.servo is not None:
        fate, servo = ServoGate.fate, gate.servo
        yield PinRow(
            line=line_words(servo.line),
            wire=f"Signal wire of the servo of {gate.name}, through 1 k",
            does=f"Moves it: pulses of {servo.open_pulse_s * 1000:g} ms open it, of {servo.shut_pulse_s * 1000:g} ms "
            "shut it, and end with the move.",
            pull=f"None outside; the board's own at power-up: {board_pull(servo.line)}",
            at_power_up=fate.at_power_up,
            program_dies=fate.when_process_dies,
            power_lost=power_lost_words(fate),
        )
    if gate.relays is not None:
        fate = RelayPairGate.fate
        for way, does, output in (
            ("opening", "Drives it open", gate.relays.open_output),
            ("shutting", "Drives it shut", gate.relays.shut_output),
        ):
            wire = f"Input of the {way} relay of {gate.name}"
            does += f" for {gate.travel_s:g} s; never on together with the other relay."
            yield output_row(output, wire, does, fate, power_lost_words(fate))
    if gate.coil is not None:
        holds = gate.coil.holds
        fate = spring_fate(Position(holds.value))
        wire = f"Relay or transistor that feeds the coil of {gate.name}"
        does = f"On, its coil holds it {holds.value}; off, its spring brings it {holds.other.value}."
        yield output_row(gate.coil.output, wire, does, fate, power_lost_words(fate))
    if gate.bridge is not None:
        fate = BridgeGate.fate
        lines = [
            ("opening input", f"Drives it open for {gate.travel_s:g} s at most.", gate.bridge.open_line),
            ("shutting input", f"Drives it shut for {gate.travel_s:g} s at most.", gate.bridge.shut_line),
        ]
        if gate.bridge.enable_line is not None:
            lines.append(("enable input", "Lets the bridge drive.", gate.bridge.enable_line))
        for which, does, line in lines:
            wire = f"Bridge of {gate.name}, {which}"
            yield output_row(Output(line), wire, does, fate, power_lost_words(fate))
    if gate.current_stop is not None:
        yield PinRow(
            line=line_words(gate.current_stop.line),
            wire=f"Current stop of {gate.name}: a contact to ground, made when its motor draws too much",
            does="Made, it ends the drive. A broken wire counts as no.",
            pull=f"Up, set by the program; the board's own at power-up: {board_pull(gate.current_stop.line)}",
            at_power_up=READS_ONLY,
            program_dies=UNREAD,
            power_lost=UNREAD,
        )


def bank_row(shop: Shop, bank: ServoBank) -> PinRow:
    """The output-enable line of a servo bank; its channels are no lines of the board."""
    fate = BankServoGate.fate
    servos = [(gate.name, gate.bank_servo) for gate in shop.gates.values() if gate.bank_servo is not None]
    on_it = [f"{name} (channel {servo.channel})" for name, servo in servos if servo.bank == bank.name]
    names = listed(on_it, "and", 16) if on_it else "nothing yet"
    return output_row(
        Output(bank.enable_line, active_low=True),
        f"OE of the servo bank {bank.name}, a PCA9685 at {bank.address:#x}",
        f"Lets pulses out while a gate moves: {names}.",
        fate,
        power_lost_words(fate),
        at_power_up=fate.at_power_up,
    )


def sign_rows(sign: Sign) -> Iterator[PinRow]:
    """The lamps of a sign."""
    fate, lost = LampSign.fate, power_lost_words(LampSign.fate)
    more = [(lamp, word) for lamp, word in ((sign.coming, "coming"), (sign.no_air, "no air")) if lamp is not None]
    which = f"the ready lamp of {sign.name}" if more else f"the lamp {sign.name}"
    yield output_row(sign.output, f"Transistor or relay input of {which}", f"Lights the lamp at {sign.at}.", fate, lost)
    for lamp, word in more:
        wire = f"Transistor or relay input of the {word} lamp of {sign.name}"
        yield output_row(lamp, wire, f"Lights the {word} lamp at {sign.at}.", fate, lost)


def lamp_row(lamp: MessageLamp) -> PinRow:
    """The lamp for the whole shop."""
    does = f"Lit while a message of {lamp.heap.value} or worse stands."
    wire = "Transistor or relay input of the message lamp"
    return output_row(lamp.output, wire, does, LampSign.fate, power_lost_words(LampSign.fate))


def permit_row(permit: Permit) -> PinRow:
    """The contact that may permit a start."""
    fate = PermitContact.fate
    wire = f"Relay whose contact stands in the wire of the START button of {permit.at}, never elsewhere"
    return output_row(permit.output, wire, f"Permits a start of {permit.at}.", fate, power_lost_words(fate))
