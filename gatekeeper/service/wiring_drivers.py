"""What moves gates and switches motors, built from a shop: on the board's lines and buses, or on stand-ins."""

from gatekeeper.devices.actuators import HandGate, SpringGate
from gatekeeper.devices.base import GateActuator, MotorSwitch, Position, ReportLapse, ReportMiss
from gatekeeper.devices.drive_pace import SpeedRange
from gatekeeper.devices.inputs import ContactInput, PositionSwitches
from gatekeeper.devices.modbus_drive import (
    DriveMap,
    DriveWire,
    ModbusDrive,
    ModbusWire,
    NetworkPlace,
    ReportDrive,
    SerialPlace,
)
from gatekeeper.devices.mqtt_gate import GateBroker, GateWords, MqttGate, Outlet, ReportGate
from gatekeeper.devices.pca9685 import ServoBank
from gatekeeper.devices.pins import OutputLine, Pins
from gatekeeper.devices.pulse_switching import StarterSwitch, SteadyPulseSwitch
from gatekeeper.devices.reversing import BridgeGate, RelayPairGate
from gatekeeper.devices.servos import BankServoGate, ServoGate
from gatekeeper.devices.switching import RelaySwitch
from gatekeeper.shop.model import BrokerGate, Drive, Gate, Motor, Output, Shop
from gatekeeper.shop.model import ServoBank as ShopBank

I2C_BUS = 1


def output_line(holder: str, output: Output) -> OutputLine:
    """An output of a shop as the pins claim it."""
    return OutputLine(holder, output.line, not output.active_low)


def enable_line(bank: ShopBank) -> OutputLine:
    """The output-enable line of a bank: low lets pulses out."""
    return OutputLine(f"{bank.name}, output enable", bank.enable_line, active_high=False)


def servo_banks(shop: Shop, pins: Pins) -> dict[str, ServoBank]:
    """Every servo bank, its output-enable line off.

    Raises:
        DeviceError: a line, the bus or its library cannot be used.
    """
    return {bank.name: _servo_bank(bank, pins) for bank in shop.servo_banks.values()}


def _servo_bank(bank: ShopBank, pins: Pins) -> ServoBank:
    enable = pins.output(enable_line(bank))
    if pins.is_board:
        from gatekeeper.devices.ads1115 import KernelI2c

        return ServoBank(bank.name, KernelI2c(I2C_BUS), enable, address=bank.address, clock_share=bank.clock_share)
    from gatekeeper.devices.bench_i2c import FakeI2c
    from gatekeeper.devices.bench_pca9685 import FakePca9685

    pins.chips.setdefault(bank.address, FakePca9685(enable.is_on, runs=bank.clock_share))
    return ServoBank(
        bank.name,
        FakeI2c(pins.chips),
        enable,
        address=bank.address,
        clock_share=bank.clock_share,
        wait=lambda _wait_s: None,
    )


def _drive(
    pins: Pins, shop: Shop, motor: Motor, report: ReportDrive | None, on_lapse: ReportLapse | None
) -> ModbusDrive:
    """A drive over Modbus; on pins that are no board's one without a wire."""
    part = shop.drives[motor.switch.drive or ""]
    registers = DriveMap(
        command=part.command,
        start_word=part.start,
        stop_word=part.stop,
        status=part.status,
        running_mask=part.running_mask,
        running_word=part.running,
        speed=part.speed_register,
        steps_per_hz=part.steps_per_hz,
        trip=part.trip,
        current=part.current,
        steps_per_a=part.steps_per_a,
        speed_seen=part.speed_seen,
    )
    wire: DriveWire
    if pins.is_board:
        place: NetworkPlace | SerialPlace
        if part.host is not None:
            place = NetworkPlace(part.host, part.port)
        else:
            place = SerialPlace(part.serial or "", part.baud, part.parity.value[0].upper())
        wire = ModbusWire(place, part.device)
    else:
        from gatekeeper.devices.bench_drive import FakeDrive

        fake = FakeDrive(registers, stops_after_s=motor.switch.death_after_s, clock=pins.clock)
        wire = pins.drives.setdefault(motor.name, fake)
    confirms = motor.confirmed_by is not None and motor.confirmed_by.drive is not None
    return ModbusDrive(
        motor.name,
        wire,
        registers,
        stops_after_s=motor.switch.death_after_s,
        speed_hz=part.speed_hz,
        limits=speed_range(part),
        report=report if confirms else None,
        clock=pins.clock,
        on_lapse=on_lapse,
    )


def speed_range(drive: Drive) -> SpeedRange | None:
    """The speeds between which a drive that follows the air may be told; None for any other."""
    if drive.full_speed_hz is None:
        return None
    return SpeedRange(drive.least_speed_hz or drive.full_speed_hz, drive.full_speed_hz)


def gate_brokers(shop: Shop, pins: Pins) -> dict[str, Outlet]:
    """The brokers that gates are behind; on pins that are no board's, brokers without a network.

    Raises:
        DeviceError: the library or a password is not there.
    """
    used = {gate.behind_broker.broker for gate in shop.gates.values() if gate.behind_broker is not None}
    return {name: _gate_broker(shop, pins, name) for name in shop.brokers if name in used}


def _gate_broker(shop: Shop, pins: Pins, name: str) -> Outlet:
    if not pins.is_board:
        from gatekeeper.devices.bench_gate import FakeOutlet

        placed: Outlet = pins.outlets.setdefault(name, FakeOutlet())
        return placed
    from gatekeeper.devices.mqtt_meter import password_of

    broker = shop.brokers[name]
    where = broker.password_from
    password = password_of(where[0].value, where[1]) if where is not None else None
    return GateBroker(name, broker.host, broker.port, user=broker.user, password=password)


def _behind_broker(
    gate: Gate, far: BrokerGate, outlet: Outlet, pins: Pins, report: ReportGate | None, on_miss: ReportMiss | None
) -> MqttGate:
    return MqttGate(
        outlet,
        gate.name,
        commands_to=far.commands_to,
        states_from=far.states_from,
        words=GateWords(far.open, far.shut, far.halt, far.is_open, far.is_shut),
        travel_s=gate.travel_s,
        silence_s=far.silence_s,
        report=report,
        clock=pins.clock,
        on_miss=on_miss,
    )


def motor_switch(
    pins: Pins, shop: Shop, motor: Motor, on_lapse: ReportLapse | None, report: ReportDrive | None = None
) -> MotorSwitch:
    """What switches a motor. Raises DeviceError as its driver does."""
    switch = motor.switch
    if switch.output is None:
        return _drive(pins, shop, motor, report, on_lapse)
    active_high = not switch.output.active_low
    if switch.stop_output is not None:
        return StarterSwitch(
            pins,
            motor.name,
            switch.output.line,
            switch.stop_output.line,
            press_s=switch.press_s,
            active_high=active_high,
            clock=pins.clock,
            on_lapse=on_lapse,
        )
    if switch.steady_pulse:
        return SteadyPulseSwitch(
            pins, motor.name, switch.output.line, drops_after_s=switch.death_after_s, on_lapse=on_lapse
        )
    return RelaySwitch(pins, motor.name, switch.output.line, active_high=active_high, on_lapse=on_lapse)


def gate_actuator(
    pins: Pins,
    gate: Gate,
    contacts: dict[str, ContactInput],
    banks: dict[str, ServoBank],
    outlets: dict[str, Outlet],
    report: ReportGate | None,
    on_miss: ReportMiss | None,
) -> GateActuator:
    """What moves a gate. Raises DeviceError as its driver does."""
    at_open, at_shut = contacts.get(f"open:{gate.name}"), contacts.get(f"shut:{gate.name}")
    switches = PositionSwitches(at_open, at_shut) if at_open or at_shut else None
    if gate.behind_broker is not None:
        outlet = outlets[gate.behind_broker.broker]
        return _behind_broker(gate, gate.behind_broker, outlet, pins, report, on_miss)
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
    if gate.bank_servo is not None:
        return BankServoGate(
            banks[gate.bank_servo.bank],
            gate.name,
            gate.bank_servo.channel,
            open_pulse_s=gate.bank_servo.open_pulse_s,
            shut_pulse_s=gate.bank_servo.shut_pulse_s,
            travel_s=gate.travel_s,
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
    return _reversing(pins, gate, switches, on_miss)


def _reversing(pins: Pins, gate: Gate, switches: PositionSwitches | None, on_miss: ReportMiss | None) -> GateActuator:
    stop = gate.current_stop
    current_stop = ContactInput(pins, f"{gate.name}, current", stop.line) if stop is not None else None
    if gate.relays is not None:
        return RelayPairGate(
            pins,
            gate.name,
            gate.relays.open_output.line,
            gate.relays.shut_output.line,
            travel_s=gate.travel_s,
            dead_s=gate.relays.dead_s,
            active_high=not gate.relays.open_output.active_low,
            current_stop=current_stop,
            switches=switches,
            on_miss=on_miss,
        )
    if gate.bridge is not None:
        return BridgeGate(
            pins,
            gate.name,
            gate.bridge.open_line,
            gate.bridge.shut_line,
            enable_pin=gate.bridge.enable_line,
            travel_s=gate.travel_s,
            dead_s=gate.bridge.dead_s,
            current_stop=current_stop,
            switches=switches,
            on_miss=on_miss,
        )
    return HandGate(gate.name, switches)


def motor_lines(motor: Motor) -> list[OutputLine]:
    """The lines that switch a motor; "off" on each."""
    if motor.switch.output is None:
        return []
    if motor.switch.stop_output is None:
        return [output_line(motor.name, motor.switch.output)]
    return [
        output_line(f"{motor.name}, start relay", motor.switch.output),
        output_line(f"{motor.name}, stop relay", motor.switch.stop_output),
    ]


def gate_lines(gate: Gate) -> list[OutputLine]:
    """The lines that move a gate."""
    if gate.relays is not None:
        return [
            output_line(f"{gate.name}, opening relay", gate.relays.open_output),
            output_line(f"{gate.name}, shutting relay", gate.relays.shut_output),
        ]
    if gate.bridge is not None:
        lines = [
            OutputLine(f"{gate.name}, opening", gate.bridge.open_line),
            OutputLine(f"{gate.name}, shutting", gate.bridge.shut_line),
        ]
        enable = gate.bridge.enable_line
        return lines if enable is None else [*lines, OutputLine(f"{gate.name}, enable", enable)]
    if gate.servo is not None:
        return [OutputLine(gate.name, gate.servo.line)]
    return [output_line(f"{gate.name}, coil", gate.coil.output)] if gate.coil is not None else []


def output_lines(shop: Shop) -> list[OutputLine]:
    """Every output of a shop, motors first, for the program that puts them all off."""
    lines = [line for motor in shop.motors.values() for line in motor_lines(motor)]
    lines += [enable_line(bank) for bank in shop.servo_banks.values()]
    lines += [line for gate in shop.gates.values() for line in gate_lines(gate)]
    for sign in shop.signs.values():
        lines.append(output_line(sign.name, sign.output))
        lines += [output_line(f"{sign.name}, coming", sign.coming)] if sign.coming is not None else []
        lines += [output_line(f"{sign.name}, no air", sign.no_air)] if sign.no_air is not None else []
    if shop.messages.lamp is not None:
        lines.append(output_line("message lamp", shop.messages.lamp.output))
    return lines + [output_line(permit.name, permit.output) for permit in shop.permits.values()]
