"""Which lines and chips drive what in a virtual shop: the motors' switches, the gates' ways, the servo banks."""

from collections.abc import Callable, Iterator, Mapping

from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.bench_drive import FakeDrive
from gatekeeper.devices.bench_gate import FakeOutlet
from gatekeeper.devices.bench_pca9685 import FakePca9685
from gatekeeper.devices.modbus_drive import DriveMap
from gatekeeper.devices.pins import Pins
from gatekeeper.shop.model import BankServo, Gate, Motor, Output, Servo, ServoBank, Shop
from sim.parts import Drive, Slide

Act = Callable[[float, float | None], None]
Note = Callable[[Act, float | None], None]
Watch = Callable[[int, Act], None]


def motor_lines(motor: Motor, drive: Drive) -> Iterator[tuple[int, Act]]:
    """The lines that switch a motor, and what a level on each does."""
    switch = motor.switch
    output = switch.output
    if output is None:  # a drive hangs on no line; see ``place_drives``
        return
    if switch.stop_output is not None:
        for button, starts in ((output, True), (switch.stop_output, False)):
            yield button.line, _button(drive, button, starts)
    elif switch.steady_pulse:
        yield output.line, _pulses(drive)
    else:
        yield output.line, lambda t_s, level: drive.switch(t_s, _is_on(output, level))


def _is_on(output: Output, level: float | None) -> bool:
    # A line that nobody drives is held off by the resistor on it.
    return level is not None and (level > 0.5) is not output.active_low


def _button(drive: Drive, output: Output, starts: bool) -> Act:
    def act(t_s: float, level: float | None) -> None:
        if _is_on(output, level):
            drive.switch(t_s, starts)

    return act


def _pulses(drive: Drive) -> Act:
    """Each turn of the line holds the relay for its own time; the claim of the line, at low, is no turn."""
    before: list[float | None] = [None]

    def act(t_s: float, level: float | None) -> None:
        was, before[0] = before[0], level
        if level is None or was is None or level == was:
            return
        drive.pulse(t_s)

    return act


def gate_ways(gate: Gate) -> Iterator[tuple[str, Output]]:
    """The outputs that drive a gate open and shut."""
    if gate.relays is not None:
        yield from (("open", gate.relays.open_output), ("shut", gate.relays.shut_output))
    if gate.bridge is not None:
        yield from (("open", Output(gate.bridge.open_line)), ("shut", Output(gate.bridge.shut_line)))


def place_banks(shop: Shop, pins: Pins, hands: BenchPins, drives: Mapping[str, Act], note: Note) -> None:
    """Put a chip for each servo bank on the pins' bus.

    Args:
        shop: what hangs where.
        pins: mock lines.
        hands: the same lines, from outside.
        drives: for each gate what a share of its travel, or None for no pulses, does to its slide.
        note: takes an act and its value, to be worked out in the shop's own time.
    """
    for bank in shop.servo_banks.values():
        _place(shop, bank, pins, hands, drives, note)


def _place(shop: Shop, bank: ServoBank, pins: Pins, hands: BenchPins, drives: Mapping[str, Act], note: Note) -> None:
    on_it = {
        gate.bank_servo.channel: (gate.name, gate.bank_servo)
        for gate in shop.gates.values()
        if gate.bank_servo is not None and gate.bank_servo.bank == bank.name
    }

    def changed(channel: int, width_s: float | None) -> None:
        if channel in on_it:
            name, servo = on_it[channel]
            note(drives[name], None if width_s is None else share_of(servo, width_s))

    chip = FakePca9685(lambda: hands.level(bank.enable_line) == 0.0, runs=bank.clock_share, on_change=changed)
    pins.chips[bank.address] = chip
    hands.watch(bank.enable_line, lambda _t_s, _level: chip.look())


def place_drives(shop: Shop, pins: Pins, drives: Mapping[str, Drive], note: Note) -> None:
    """Put a drive without a wire beside the pins for each motor that hangs on one."""
    for motor in shop.motors.values():
        if motor.switch.drive is None:
            continue
        part = shop.drives[motor.switch.drive]
        registers = DriveMap(
            part.command,
            part.start,
            part.stop,
            part.status,
            part.running_mask,
            part.running,
            speed=part.speed_register,
            steps_per_hz=part.steps_per_hz,
            trip=part.trip,
            speed_seen=part.speed_seen,
        )
        full_hz = part.full_speed_hz or part.speed_hz
        pins.drives[motor.name] = FakeDrive(
            registers,
            stops_after_s=motor.switch.death_after_s,
            clock=pins.clock,
            on_change=_turning(drives[motor.name], note),
            on_speed=_pacing(drives[motor.name], note, full_hz),
            speed_hz=full_hz or 0.0,
        )


def _turning(drive: Drive, note: Note) -> Callable[[bool], None]:
    def act(t_s: float, level: float | None) -> None:
        drive.switch(t_s, level == 1.0)

    return lambda runs: note(act, 1.0 if runs else 0.0)


def _pacing(drive: Drive, note: Note, full_hz: float | None) -> Callable[[float], None]:
    def act(t_s: float, share: float | None) -> None:
        drive.set_top(t_s, min(1.0, share if share is not None else 1.0))

    return lambda speed_hz: note(act, speed_hz / full_hz if full_hz else 1.0)


class FarGates:
    """The gates behind brokers of a virtual shop: each obeys its commands and says where it stands.

    Args:
        shop: what hangs where.
        pins: mock lines; the brokers without a network stand beside them.
        slides: by gate.
        note: takes an act and its value, to be worked out in the shop's own time.
    """

    def __init__(self, shop: Shop, pins: Pins, slides: Mapping[str, Slide], note: Note) -> None:
        self._slides, self._note = slides, note
        self._gates = {gate.name: gate.behind_broker for gate in shop.gates.values() if gate.behind_broker is not None}
        self._by_topic = {far.commands_to: (name, far) for name, far in self._gates.items()}
        self._unsaid = set(self._gates)
        self._said: dict[str, str] = {}
        self._outlets = {far.broker: FakeOutlet(self._obey) for far in self._gates.values()}
        pins.outlets.update(self._outlets)

    def speak(self) -> None:
        """Say where each gate stands, where that changed or a command came."""
        for name, far in self._gates.items():
            slide = self._slides[name]
            word = far.is_open if slide.is_open else far.is_shut if slide.is_shut else "on its way"
            if name in self._unsaid or self._said.get(name) != word:
                self._unsaid.discard(name)
                self._said[name] = word
                self._outlets[far.broker].say(far.states_from, word)

    def _obey(self, topic: str, word: str) -> None:
        name, far = self._by_topic[topic]
        target = {far.open: 1.0, far.shut: 0.0}.get(word)
        self._unsaid.add(name)
        self._note(self._slides[name].drive, target)


def share_of(servo: Servo | BankServo, width_s: float) -> float:
    """Where a pulse sends a servo: 0 (shut) to 1 (open)."""
    share = (width_s - servo.shut_pulse_s) / (servo.open_pulse_s - servo.shut_pulse_s)
    # The chip's steps of 5 us miss an end by less than this.
    return 1.0 if share > 0.99 else 0.0 if share < 0.01 else share
