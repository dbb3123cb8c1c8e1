"""The PCA9685's formulas and reset values against its data sheet.

Source: NXP Semiconductors, PCA9685 product data sheet, revision 4 (April 2015), sections 7.3.1 to 7.3.6, 7.6 and
tables 4 to 8; from memory, not read again. The convention of 1 to 2 ms pulses in a frame of 20 ms for hobby servos is
common practice.
"""

import pytest

from gatekeeper.devices.bench_pca9685 import FakePca9685
from gatekeeper.devices.pca9685 import counts_for, pre_scale

#: Section 7.3.5: prescale value = round(25 MHz / (4096 x 200)) - 1 = 30; 3, the least, gives 1526 Hz.
PUBLISHED_DIVIDERS = {200.0: 30, 1526.0: 3}
#: Table 4 and tables 5 to 8: register and its value after power-up.
PUBLISHED_RESETS = {
    0x00: 0x11,  # MODE1: asleep, answers to the call to all
    0x01: 0x04,  # MODE2: totem pole
    0x02: 0xE2,
    0x03: 0xE4,
    0x04: 0xE8,
    0x05: 0xE0,  # ALLCALLADR: 0x70 in seven bits
    0x06: 0x00,
    0x07: 0x00,
    0x08: 0x00,
    0x09: 0x10,  # LED0_OFF_H: full off
    0x45: 0x10,  # LED15_OFF_H
    0xFE: 0x1E,
}


@pytest.mark.parametrize(("rate_hz", "divider"), PUBLISHED_DIVIDERS.items())
def test_the_divider_formula(rate_hz: float, divider: int) -> None:
    assert pre_scale(rate_hz) == divider


def test_the_slowest_rate() -> None:
    # Section 7.3.5: 0xFF gives 24 Hz.
    assert pre_scale(25e6 / 4096 / 256) == 0xFF
    assert round(25e6 / 4096 / 256) == 24


def test_fifty_pulses_a_second_for_servos() -> None:
    # Common practice: a frame of 20 ms; the project's hardware notes give 121, and 205 counts for 1 ms.
    assert pre_scale(50.0) == 121
    assert counts_for(0.001, 121) == 205


@pytest.mark.parametrize(("register", "value"), PUBLISHED_RESETS.items())
def test_reset_values(register: int, value: int) -> None:
    chip = FakePca9685()
    for after in ("power-up", "software reset"):
        chip.write(bytes((register,)))
        assert chip.read(1)[0] == value, after
        chip.write(bytes((0x00, 0x21)))
        chip.called(b"\x06")  # section 7.6: 0x06 at the general call address 0x00


def test_the_worked_example_of_a_duty_cycle() -> None:
    # Section 7.3.3, example 1: delay 10 % and duty 20 % are ON = 410 - 1 = 0x199 and OFF = 410 + 819 - 1 = 0x4CC.
    chip = FakePca9685()
    chip.write(bytes((0x00, 0x20)))
    chip.write(bytes((0x06, 0x99, 0x01, 0xCC, 0x04)))
    frame_s = 4096 * 31 / 25e6
    assert chip.width_s(0) == pytest.approx(0.2 * frame_s, rel=1e-3)
