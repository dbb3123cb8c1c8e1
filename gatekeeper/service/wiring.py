"""From the shop's file to the drivers on its wires: every output, contact and converter, claimed once.

Nothing is commanded here. Contacts report what they see to ``report`` in whatever thread saw it.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field

from gatekeeper.devices.actuators import HandGate, SpringGate
from gatekeeper.devices.base import (
    ConverterBank,
    DeviceError,
    GateActuator,
    MotorSwitch,
    Position,
    ReportContact,
    ReportLapse,
    ReportMiss,
    Sign,
)
from gatekeeper.devices.inputs import ContactInput, PositionSwitches
from gatekeeper.devices.pins import OutputLine, Pins
from gatekeeper.devices.reversing import RelayPairGate
from gatekeeper.devices.servos import ServoGate
from gatekeeper.devices.signs import LampSign
from gatekeeper.devices.switching import RelaySwitch
from gatekeeper.service.wiring_sensors import OpenBank, board_bank
from gatekeeper.shop.model import Contact, Gate, Shop

#: What a lamp is lit for; for everything else the core can show it is dark.
LIT_FOR = ("coming", "ready", "moving_soon", "held")
DARK_FOR = ("dark", "no_air", "shop_shut")


@dataclass(slots=True)
class Wires:
    """Everything that hangs on the board's lines, by the names of the shop's file."""

    pins: Pins
    gates: dict[str, GateActuator] = field(default_factory=dict)
    motors: dict[str, MotorSwitch] = field(default_factory=dict)
    signs: dict[str, list[Sign]] = field(default_factory=dict)
    contacts: dict[str, ContactInput] = field(default_factory=dict)
    banks: dict[str, ConverterBank] = field(default_factory=dict)

    def close(self) -> None:
        """Motors first, then everything else, each line left at its rest level.

        Raises:
            DeviceError: the first line that could not be put to rest, after all were tried.
        """
        first: DeviceError | None = None
        parts: tuple[GateActuator | MotorSwitch | ConverterBank | Pins, ...] = (
            *self.motors.values(),
            *self.gates.values(),
            *self.banks.values(),
            self.pins,
        )
        for part in parts:
            try:
                part.close()
            except DeviceError as fault:
                first = first or fault
        if first is not None:
            raise first


def wire_up(
    shop: Shop,
    pins: Pins,
    report: ReportContact,
    *,
    on_miss: ReportMiss | None = None,
    on_lapse: ReportLapse | None = None,
    open_bank: OpenBank = board_bank,
) -> Wires:
    """Claim every line of a shop and build its drivers.

    Raises:
        DeviceError: a line, a bus or a device cannot be used; says which, and what to do.
    """
    wires = Wires(pins)
    for motor in shop.motors.values():
        output = motor.switch.output
        wires.motors[motor.name] = RelaySwitch(
            pins, motor.name, output.line, active_high=not output.active_low, on_lapse=on_lapse
        )
    for name, contact in contacts_of(shop).items():
        wires.contacts[name] = ContactInput(pins, name, contact.line, report=report)
    for gate in shop.gates.values():
        wires.gates[gate.name] = _gate(pins, gate, wires.contacts, on_miss)
    for sign in shop.signs.values():
        lamp = LampSign(
            pins,
            sign.name,
            sign.output.line,
            lit_for=LIT_FOR,
            dark_for=DARK_FOR,
            active_high=not sign.output.active_low,
        )
        wires.signs.setdefault(sign.at, []).append(lamp)
    for converter in shop.converters.values():
        channels = channels_used(shop, converter.name)
        if channels:
            wires.banks[converter.name] = open_bank(converter, channels)
    return wires


def _gate(pins: Pins, gate: Gate, contacts: dict[str, ContactInput], on_miss: ReportMiss | None) -> GateActuator:
    at_open, at_shut = contacts.get(f"open:{gate.name}"), contacts.get(f"shut:{gate.name}")
    switches = PositionSwitches(at_open, at_shut) if at_open or at_shut else None
    if gate.servo is not None:
        return ServoGate(
            pins,
            gate.name,
            gate.servo.line,
            open_pulse_s=gate.servo.open_pulse_s,
            shut_pulse_s=gate.servo.shut_pulse_s,
            travel_s=gate.travel_s,
            switches=switches,
            on_miss=on_miss,
        )
    if gate.relays is not None:
        return RelayPairGate(
            pins,
            gate.name,
            gate.relays.open_output.line,
            gate.relays.shut_output.line,
            travel_s=gate.travel_s,
            dead_s=gate.relays.dead_s,
            active_high=not gate.relays.open_output.active_low,
            switches=switches,
            on_miss=on_miss,
        )
    if gate.coil is not None:
        return SpringGate(
            pins,
            gate.name,
            gate.coil.output.line,
            held=Position(gate.coil.holds.value),
            travel_s=gate.travel_s,
            active_high=not gate.coil.output.active_low,
            switches=switches,
            on_miss=on_miss,
        )
    return HandGate(gate.name, switches)


def contacts_of(shop: Shop) -> dict[str, Contact]:
    """Every contact of a shop by a name that says what it means: ``meaning:subject``."""
    found: dict[str, Contact] = {}

    def note(meaning: str, subject: str, contact: Contact | None) -> None:
        if contact is not None:
            found[f"{meaning}:{subject}"] = contact

    for source in shop.inputs.values():
        note("input", source.name, source.contact)
        note("hand", source.name, source.hand_contact)
        note("auto", source.name, source.auto_contact)
    for gate in shop.gates.values():
        note("open", gate.name, gate.open_contact)
        note("shut", gate.name, gate.shut_contact)
    for tool in shop.tools.values():
        note("tool", tool.name, tool.sensor.contact if tool.sensor else None)
    for circuit in shop.circuits.values():
        note("circuit", circuit.name, circuit.sensor.contact)
    for motor in shop.motors.values():
        note("confirm", motor.name, motor.confirmed_by.contact if motor.confirmed_by else None)
        note("air", motor.name, motor.air_proof)
    return found


def channels_used(shop: Shop, converter: str) -> int:
    """How many channels of a converter must be scanned: up to the highest one in use."""
    sensors = [
        *(tool.sensor for tool in shop.tools.values()),
        *(circuit.sensor for circuit in shop.circuits.values()),
        *(motor.confirmed_by for motor in shop.motors.values()),
    ]
    used = [
        sensor.channel.channel
        for sensor in sensors
        if sensor is not None and sensor.channel is not None and sensor.channel.converter == converter
    ]
    return max(used) + 1 if used else 0


def output_lines(shop: Shop) -> list[OutputLine]:
    """Every output of a shop, motors first, for the program that puts them all off."""
    lines: list[OutputLine] = [
        OutputLine(motor.name, motor.switch.output.line, not motor.switch.output.active_low)
        for motor in shop.motors.values()
    ]
    for gate in shop.gates.values():
        if gate.relays is not None:
            for way, output in (("opening", gate.relays.open_output), ("shutting", gate.relays.shut_output)):
                lines.append(OutputLine(f"{gate.name}, {way} relay", output.line, not output.active_low))
        if gate.servo is not None:
            lines.append(OutputLine(gate.name, gate.servo.line))
        if gate.coil is not None:
            lines.append(OutputLine(f"{gate.name}, coil", gate.coil.output.line, not gate.coil.output.active_low))
    lines += [OutputLine(sign.name, sign.output.line, not sign.output.active_low) for sign in shop.signs.values()]
    return lines


def poll_all(contacts: Iterable[ContactInput], now_s: float) -> None:
    """Read every level again: edges alone are never trusted."""
    for contact in contacts:
        contact.poll(now_s)
