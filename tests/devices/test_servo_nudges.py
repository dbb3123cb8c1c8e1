"""A servo that is nudged while its ends are set: pulses of one width for a moment, on a line and on a channel."""

from collections.abc import Callable

import pytest

from gatekeeper.devices.base import DeviceError, Miss, Position
from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.bench_i2c import FakeI2c
from gatekeeper.devices.bench_pca9685 import FakePca9685
from gatekeeper.devices.inputs import ContactInput, PositionSwitches
from gatekeeper.devices.pca9685 import ServoBank
from gatekeeper.devices.pins import OutputLine, Pins
from gatekeeper.devices.servos import BankServoGate, ServoGate

Gate = ServoGate | BankServoGate
#: Pulses on its wire now, seconds; None while there are none.
Width = Callable[[], float | None]


class Servo:
    """One gate, its misses, and what is on its wire."""

    def __init__(self, pins: Pins, kind: str) -> None:
        self.missed: list[Miss] = []
        switches = PositionSwitches(ContactInput(pins, "open", 5), ContactInput(pins, "shut", 6))
        how = {"open_pulse_s": 0.002, "shut_pulse_s": 0.001, "travel_s": 1.0, "switches": switches}
        self.gate: Gate
        self.width: Width
        if kind == "line":
            self.gate = ServoGate(pins, "saw", 12, on_miss=self.missed.append, **how)  # type: ignore[arg-type]
            hands = BenchPins(pins)
            self.width = lambda: (hands.level(12) or 0.0) / 50.0 or None
        else:
            enable = pins.output(OutputLine("bank, output enable", 25, active_high=False))
            chip = FakePca9685(enable.is_on)
            bank = ServoBank("bank", FakeI2c({0x40: chip}), enable, wait=lambda _s: None)
            self.gate = BankServoGate(bank, "saw", 3, on_miss=self.missed.append, **how)  # type: ignore[arg-type]
            self.width = lambda: chip.width_s(3)


@pytest.fixture(params=["line", "bank"])
def servo(request: pytest.FixtureRequest, pins: Pins) -> Servo:
    return Servo(pins, request.param)


def test_pulses_of_one_width_for_a_moment_and_no_end_that_is_missed(servo: Servo) -> None:
    servo.gate.nudge(10.0, 0.0015, 1.0)
    assert servo.width() == pytest.approx(0.0015, abs=5e-6)
    assert servo.gate.next_deadline() == 11.0
    servo.gate.tick(10.9)
    assert servo.width() is not None
    servo.gate.tick(11.0)
    assert servo.width() is None
    assert (servo.gate.next_deadline(), servo.missed) == (None, [])


def test_a_later_nudge_takes_over_and_a_command_too(servo: Servo) -> None:
    servo.gate.nudge(10.0, 0.0015, 1.0)
    servo.gate.nudge(10.5, 0.0016, 1.0)
    servo.gate.tick(11.0)
    assert servo.width() == pytest.approx(0.0016, abs=5e-6)
    servo.gate.open(11.2)
    assert servo.width() == pytest.approx(0.002, abs=5e-6)
    servo.gate.tick(12.2)
    assert [miss.wanted for miss in servo.missed] == [Position.OPEN]  # a command's end is looked at as ever


def test_a_halt_ends_a_nudge_at_once(servo: Servo) -> None:
    servo.gate.nudge(10.0, 0.0015, 1.0)
    servo.gate.halt(10.1)
    assert (servo.width(), servo.gate.next_deadline()) == (None, None)


@pytest.mark.parametrize(("width_s", "for_s"), [(0.0004, 1.0), (0.0026, 1.0), (0.0015, 0.0), (0.0015, 10.1)])
def test_what_no_servo_takes_is_refused_and_nothing_is_sent(servo: Servo, width_s: float, for_s: float) -> None:
    with pytest.raises(DeviceError, match="saw"):
        servo.gate.nudge(10.0, width_s, for_s)
    assert servo.width() is None


def test_after_close_it_is_refused(servo: Servo) -> None:
    servo.gate.close()
    with pytest.raises(DeviceError, match="is closed"):
        servo.gate.nudge(10.0, 0.0015, 1.0)
