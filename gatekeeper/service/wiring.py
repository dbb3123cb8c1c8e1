"""From the shop's file to the drivers on its wires: every output, contact and converter, claimed once.

Nothing is commanded here. Contacts report what they see to ``report`` in whatever thread saw it.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field

from gatekeeper.devices.base import (
    ConverterBank,
    DeviceError,
    GateActuator,
    MotorSwitch,
    ReportContact,
    ReportLapse,
    ReportMiss,
    Sign,
)
from gatekeeper.devices.inputs import ContactInput
from gatekeeper.devices.modbus_drive import ModbusDrive, ReportDrive
from gatekeeper.devices.mqtt_gate import GateBroker, Outlet, ReportGate
from gatekeeper.devices.pca9685 import ServoBank
from gatekeeper.devices.permits import PermitContact
from gatekeeper.devices.pins import Pins
from gatekeeper.devices.signs import LampSign
from gatekeeper.service.wiring_drivers import gate_actuator, gate_brokers, motor_switch, output_line, servo_banks
from gatekeeper.service.wiring_drivers import output_lines as output_lines
from gatekeeper.service.wiring_sensors import OpenBank, board_bank
from gatekeeper.shop.model import Contact, Shop


@dataclass(slots=True)
class Wires:
    """Everything that hangs on the board's lines, by the names of the shop's file."""

    pins: Pins
    gates: dict[str, GateActuator] = field(default_factory=dict)
    motors: dict[str, MotorSwitch] = field(default_factory=dict)
    permits: dict[str, list[PermitContact]] = field(default_factory=dict)
    servo_banks: dict[str, ServoBank] = field(default_factory=dict)
    outlets: dict[str, Outlet] = field(default_factory=dict)
    signs: dict[str, list[Sign]] = field(default_factory=dict)
    contacts: dict[str, ContactInput] = field(default_factory=dict)
    banks: dict[str, ConverterBank] = field(default_factory=dict)

    @property
    def gate_brokers(self) -> list[GateBroker]:
        """The brokers on the network that gates are behind, each to be started."""
        return [outlet for outlet in self.outlets.values() if isinstance(outlet, GateBroker)]

    @property
    def drives(self) -> list[ModbusDrive]:
        """The motors that hang on drives, each with a thread of its own to be started."""
        return [motor for motor in self.motors.values() if isinstance(motor, ModbusDrive)]

    def close(self) -> None:
        """Motors first, then everything else, each line left at its rest level.

        Raises:
            DeviceError: the first line that could not be put to rest, after all were tried.
        """
        first: DeviceError | None = None
        parts: tuple[GateActuator | MotorSwitch | ServoBank | GateBroker | ConverterBank | Pins, ...] = (
            *self.motors.values(),
            *(permit for at in self.permits.values() for permit in at),
            *self.gates.values(),
            *self.servo_banks.values(),
            *self.gate_brokers,
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
    report_drive: ReportDrive | None = None,
    report_gate: ReportGate | None = None,
    open_bank: OpenBank = board_bank,
) -> Wires:
    """Claim every line of a shop and build its drivers.

    Raises:
        DeviceError: a line, a bus or a device cannot be used; says which, and what to do.
    """
    wires = Wires(pins)
    for motor in shop.motors.values():
        wires.motors[motor.name] = motor_switch(pins, shop, motor, on_lapse, report_drive)
    for permit in shop.permits.values():
        line = output_line(permit.name, permit.output)
        made = PermitContact(pins, permit.name, line.pin, active_high=line.active_high)
        wires.permits.setdefault(permit.at, []).append(made)
    for name, contact in contacts_of(shop).items():
        wires.contacts[name] = ContactInput(pins, name, contact.line, report=report)
    wires.servo_banks = servo_banks(shop, pins)
    wires.outlets = gate_brokers(shop, pins)
    for gate in shop.gates.values():
        wires.gates[gate.name] = gate_actuator(
            pins, gate, wires.contacts, wires.servo_banks, wires.outlets, report_gate, on_miss
        )
    for sign in shop.signs.values():
        lamp = LampSign(
            pins,
            sign.name,
            output_line(sign.name, sign.output),
            coming=output_line(f"{sign.name}, coming", sign.coming) if sign.coming is not None else None,
            no_air=output_line(f"{sign.name}, no air", sign.no_air) if sign.no_air is not None else None,
        )
        wires.signs.setdefault(sign.at, []).append(lamp)
    for converter in shop.converters.values():
        channels = channels_used(shop, converter.name)
        if channels:
            wires.banks[converter.name] = open_bank(converter, channels)
    return wires


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
    wires = [gauge.wire for gauge in shop.gauges.values() if gauge.wire is not None]
    used += [wire.channel for wire in wires if wire.converter == converter]
    return max(used) + 1 if used else 0


def poll_all(contacts: Iterable[ContactInput], now_s: float) -> None:
    """Read every level again: edges alone are never trusted."""
    for contact in contacts:
        contact.poll(now_s)
