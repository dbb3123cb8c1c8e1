"""The servo bank on a PCA9685 without a board: its registers, its traps, and what the driver does about them."""

import pytest

from gatekeeper.devices.base import DeviceError, Miss, Position
from gatekeeper.devices.bench_i2c import FakeI2c
from gatekeeper.devices.bench_pca9685 import FakePca9685
from gatekeeper.devices.pca9685 import (
    ALL_CALL_ADDRESS,
    ALL_LED,
    AUTO_INCREMENT,
    FIRST_LED,
    FULL,
    MODE1,
    PRE_SCALE,
    RESTART,
    SLEEP,
    ServoBank,
)
from gatekeeper.devices.pins import Output, OutputLine, Pins
from gatekeeper.devices.servos import BankServoGate

ENABLE = 25
ADDRESS = 0x40


class Bench:
    """A bank of two gates on a chip without a board."""

    def __init__(self, pins: Pins, runs: float = 1.0, clock_share: float = 1.0) -> None:
        self.enable: Output = pins.output(OutputLine("bank, output enable", ENABLE, active_high=False))
        self.chip = FakePca9685(self.enable.is_on, runs=runs)
        self.bus = FakeI2c({ADDRESS: self.chip})
        self.waited: list[float] = []
        self.bank = ServoBank("bank", self.bus, self.enable, clock_share=clock_share, wait=self.waited.append)
        self.missed: list[Miss] = []
        self.saw, self.jointer = (self.gate(name, channel) for name, channel in (("saw", 0), ("jointer", 15)))

    def gate(self, name: str, channel: int) -> BankServoGate:
        return BankServoGate(
            self.bank, name, channel, open_pulse_s=0.002, shut_pulse_s=0.001, travel_s=1.0, on_miss=self.missed.append
        )


@pytest.fixture
def bench(pins: Pins) -> Bench:
    return Bench(pins)


def test_output_is_enabled_only_while_a_gate_moves(bench: Bench) -> None:
    assert not bench.enable.is_on()
    bench.saw.open(0.0)
    bench.jointer.shut(0.5)
    assert bench.enable.is_on()
    assert (bench.chip.width_s(0), bench.chip.width_s(15)) == (
        pytest.approx(0.002, abs=3e-6),
        pytest.approx(1e-3, 3e-3),
    )
    bench.saw.tick(1.0)
    assert (bench.enable.is_on(), bench.chip.width_s(0)) == (True, None)
    bench.jointer.tick(1.5)
    assert not bench.enable.is_on()
    assert bench.missed == []


def test_the_chip_is_set_up_once_and_answers_no_more_to_the_call_to_all(bench: Bench) -> None:
    assert bench.bus.message(ALL_CALL_ADDRESS, [bytes((MODE1,)), 1]) == [bytes((SLEEP | 1,))]
    bench.saw.open(0.0)
    assert bench.bus.message(ADDRESS, [bytes((MODE1,)), 1]) == [bytes((AUTO_INCREMENT,))]
    assert bench.bus.message(ADDRESS, [bytes((PRE_SCALE,)), 1]) == [bytes((121,))]
    with pytest.raises(DeviceError):
        bench.bus.message(ALL_CALL_ADDRESS, [bytes((MODE1,)), 1])
    bench.saw.tick(1.0)
    bench.saw.shut(2.0)
    assert bench.waited == [0.0005]


def test_a_chip_that_was_reset_at_rest_is_set_up_anew(bench: Bench) -> None:
    bench.saw.open(0.0)
    bench.saw.tick(1.0)
    bench.chip.reset()
    bench.saw.shut(2.0)
    assert bench.chip.width_s(0) == pytest.approx(0.001, abs=3e-6)
    bench.saw.tick(3.0)
    assert bench.missed == []


def test_a_reset_in_mid_move_is_a_miss_and_the_next_try_moves(bench: Bench) -> None:
    bench.saw.open(0.0)
    bench.bus.message(0x00, [b"\x06"])
    assert bench.chip.width_s(0) is None
    bench.saw.tick(1.0)
    assert bench.missed == [Miss(1.0, "saw", Position.OPEN, Position.BETWEEN)]
    bench.saw.open(2.0)
    assert bench.chip.width_s(0) == pytest.approx(0.002, abs=3e-6)
    bench.saw.tick(3.0)
    assert len(bench.missed) == 1


def test_a_reset_that_another_gate_mended_is_still_a_miss_of_the_first(bench: Bench) -> None:
    bench.saw.open(0.0)
    bench.chip.reset()
    bench.jointer.open(0.5)
    assert (bench.chip.width_s(0), bench.chip.width_s(15)) == (None, pytest.approx(0.002, abs=3e-6))
    bench.saw.tick(1.0)
    bench.jointer.tick(1.5)
    assert bench.missed == [Miss(1.0, "saw", Position.OPEN, Position.BETWEEN)]


def test_a_bus_that_fails_ends_the_pulses_by_the_enable_line(bench: Bench) -> None:
    bench.saw.open(0.0)
    bench.jointer.open(0.2)
    bench.chip.is_muted = True
    bench.saw.halt(0.5)
    assert not bench.enable.is_on()
    with pytest.raises(DeviceError) as caught:
        bench.saw.shut(0.6)
    assert str(caught.value) == ("Nothing answers at 0x40 on the bus: Remote I/O error. Look at its plug and address.")
    bench.chip.is_muted = False
    bench.jointer.tick(1.2)
    assert bench.missed == [Miss(1.2, "jointer", Position.OPEN, Position.BETWEEN)]
    bench.saw.shut(2.0)
    assert bench.chip.width_s(0) == pytest.approx(0.001, abs=3e-6)
    assert bench.chip.width_s(15) is None


def test_something_else_at_the_address_is_told(bench: Bench) -> None:
    bench.chip._put = lambda register, value: None  # type: ignore[method-assign]
    with pytest.raises(DeviceError) as caught:
        bench.saw.open(0.0)
    assert str(caught.value) == (
        "Servo bank bank does not keep its settings, or is no PCA9685. Look at its supply and address."
    )
    assert not bench.enable.is_on()


@pytest.mark.parametrize("runs", [0.93, 1.0, 1.06])
def test_a_measured_clock_makes_the_pulses_right(pins: Pins, runs: float) -> None:
    bench = Bench(pins, runs, clock_share=runs)
    bench.saw.open(0.0)
    assert bench.chip.width_s(0) == pytest.approx(0.002, abs=3e-6)


def test_an_unmeasured_clock_makes_them_wrong_by_its_share(pins: Pins) -> None:
    bench = Bench(pins, runs=1.05)
    bench.saw.open(0.0)
    assert bench.chip.width_s(0) == pytest.approx(0.002 / 1.05, rel=2e-3)


@pytest.mark.parametrize("address", [0x3F, 0x70, 0x78])
def test_an_address_it_cannot_have_is_refused(bench: Bench, address: int) -> None:
    with pytest.raises(DeviceError) as caught:
        ServoBank("bank", bench.bus, bench.enable, address=address)
    assert str(caught.value) == (
        f"The address of servo bank bank is {address:#x}. A PCA9685 has 0x40 to 0x77, without 0x70, where all of them "
        "answer."
    )


def test_other_values_out_of_range_are_refused(bench: Bench) -> None:
    with pytest.raises(DeviceError) as caught:
        ServoBank("bank", bench.bus, bench.enable, clock_share=1.2)
    assert str(caught.value) == "The clock of servo bank bank is 1.2 of 25 MHz. It lies in 0.9 to 1.1."
    with pytest.raises(DeviceError) as caught:
        bench.gate("saw", 16)
    assert str(caught.value) == "Servo bank bank has no channel 16. A PCA9685 has 0 to 15."


# --- the chip itself ------------------------------------------------------------------------------------------------


@pytest.fixture
def chip() -> FakePca9685:
    return FakePca9685()


def wake(chip: FakePca9685) -> None:
    chip.write(bytes((PRE_SCALE, 121)))
    chip.write(bytes((MODE1, AUTO_INCREMENT)))


def send(chip: FakePca9685, off: int, on: int = 0) -> None:
    chip.write(bytes((FIRST_LED, on & 0xFF, on >> 8, off & 0xFF, off >> 8)))


def test_the_divider_is_written_asleep_only(chip: FakePca9685) -> None:
    wake(chip)
    chip.write(bytes((PRE_SCALE, 30)))
    chip.write(bytes((PRE_SCALE,)))
    assert chip.read(1) == b"\x79"
    chip.write(bytes((MODE1, AUTO_INCREMENT | SLEEP)))
    chip.write(bytes((PRE_SCALE, 1)))
    chip.write(bytes((PRE_SCALE,)))
    assert chip.read(1) == b"\x03"


def test_full_off_wins_over_full_on_and_over_counts(chip: FakePca9685) -> None:
    wake(chip)
    send(chip, 410)
    assert chip.width_s(0) == pytest.approx(0.0020008)
    send(chip, 410, FULL << 8)
    assert chip.width_s(0) == pytest.approx(4096 * 122 / 25e6)
    send(chip, FULL << 8, FULL << 8)
    assert chip.width_s(0) is None


def test_put_to_sleep_in_mid_pulse_it_waits_for_restart(chip: FakePca9685) -> None:
    wake(chip)
    send(chip, 410)
    chip.write(bytes((MODE1, AUTO_INCREMENT | SLEEP)))
    chip.write(bytes((MODE1, AUTO_INCREMENT)))
    chip.write(bytes((MODE1,)))
    assert (chip.read(1)[0], chip.width_s(0)) == (RESTART | AUTO_INCREMENT, None)
    chip.write(bytes((MODE1, RESTART | AUTO_INCREMENT)))
    chip.write(bytes((MODE1,)))
    assert (chip.read(1)[0], chip.width_s(0)) == (AUTO_INCREMENT, pytest.approx(0.0020008))


def test_without_auto_increment_the_pointer_stands(chip: FakePca9685) -> None:
    chip.write(bytes((MODE1, 0)))
    chip.write(bytes((FIRST_LED, 1, 2, 3)))
    chip.write(bytes((FIRST_LED,)))
    assert chip.read(2) == b"\x03\x03"


def test_the_registers_count_up_and_round(chip: FakePca9685) -> None:
    wake(chip)
    chip.write(bytes((FIRST_LED + 62, 7, 1, AUTO_INCREMENT)))
    chip.write(bytes((FIRST_LED + 62,)))
    assert chip.read(3) == bytes((7, 1, AUTO_INCREMENT))


def test_all_channels_at_once(chip: FakePca9685) -> None:
    wake(chip)
    chip.write(bytes((ALL_LED, 0, 0, 205, 0)))
    assert {chip.width_s(channel) for channel in range(16)} == {205 * 122 / 25e6}
    chip.write(bytes((ALL_LED,)))
    assert chip.read(1) == b"\x00"
