"""The ADS1115: its driver on a chip at the level of its registers, on a bus whose clock a test moves."""

import itertools
import math
import sys
import types
from typing import Any

import pytest

from gatekeeper.devices import ads1115
from gatekeeper.devices.ads1115 import (
    Ads1115Bank,
    Config,
    Inputs,
    KernelI2c,
    encode_config,
    open_ads1115,
)
from gatekeeper.devices.base import ConverterBank, DeviceError
from gatekeeper.devices.bench_i2c import FakeAds1115, FakeI2c
from gatekeeper.shop import converters


class Rig:
    """A chip on a bus and the driver, all on one clock that the bus and the waiting move."""

    def __init__(self, clock: Any, *, pair: int = 0, runs: float = 1.0, source: Any = None) -> None:
        self.clock = clock
        self.chip = FakeAds1115(clock, source=source, runs=runs)
        self.bus = FakeI2c({0x49: self.chip}, clock.jump)
        self.bank = Ads1115Bank(
            "pairs", self.bus, address=0x49, pair=pair, full_scale_v=0.512, clock=clock, wait=clock.jump
        )


def test_every_conversion_is_read_once_and_in_order(clock: Any) -> None:
    rig = Rig(clock)
    rig.chip.feed([[0, 1, 32767, 32768, 32769, 65535]])

    block = rig.bank.read(4)
    later = rig.bank.read(2)

    assert isinstance(rig.bank, ConverterBank)
    assert [list(column) for column in block.codes] == [[0, 1, 32767, 32768]]
    assert [list(column) for column in later.codes] == [[32769, 65535]]
    assert (block.start_s, rig.bank.channels, rig.bank.full_scale) == (pytest.approx(100.0, abs=0.001), 1, 65535)


def test_the_second_pair_is_the_second_channel(clock: Any) -> None:
    rig = Rig(clock, pair=1)
    rig.chip.feed([[1, 2, 3], [4, 5, 6]])

    assert [list(column) for column in rig.bank.read(3).codes] == [[], [4, 5, 6]]
    assert rig.bank.channels == 2


@pytest.mark.parametrize("runs", [0.9, 1.0, 1.1])
def test_the_measured_rate_is_that_of_chip_and_bus(clock: Any, runs: float) -> None:
    rig = Rig(clock, runs=runs)
    start_s = clock()
    block = rig.bank.read(200)
    rate_hz = 200 / (clock() - start_s)

    assert block.rate_hz == pytest.approx(rate_hz, rel=0.01)
    # The bus alone, without kernel and looks in vain, leaves at least what is promised.
    assert rate_hz > converters.samples_each(1)


def test_a_chip_that_runs_slow_gives_enough_for_one_clamp_and_not_for_two() -> None:
    assert converters.samples_each(1) >= converters.samples_needed(60)
    assert converters.samples_each(2) < converters.samples_needed(50)


def test_what_the_shop_reckons_with_is_what_the_driver_has() -> None:
    assert ads1115.DATA_RATES_SPS[-1] == converters.ADS1115_SPS
    assert ads1115.SLOWEST == converters.ADS1115_SLOWEST
    assert pytest.approx(converters.ADS1115_OVERHEAD_S) == ads1115.WAKE_S + ads1115.BUS_S
    assert len(ads1115.PAIRS) == converters.PAIRS


def test_a_long_break_between_two_reads_is_no_slower_rate(clock: Any) -> None:
    rig = Rig(clock)
    before = rig.bank.read(100)
    clock.jump(3.0)
    after = rig.bank.read(4)

    assert after.rate_hz == pytest.approx(before.rate_hz, rel=0.02)
    assert after.start_s < clock() - 3.0 + 0.02  # the first of them was begun before the break


def test_nothing_there_is_said_and_the_chip_is_started_anew_when_it_is_back(clock: Any) -> None:
    rig = Rig(clock)
    rig.bank.read(2)
    rig.chip.mute()
    with pytest.raises(DeviceError) as caught:
        rig.bank.read(2)
    assert str(caught.value) == ("Nothing answers at 0x49 on the bus: Remote I/O error. Look at its plug and address.")
    rig.chip.mute(False)
    rig.chip.feed([[700, 701]])
    assert list(rig.bank.read(2).codes[0]) == [700, 701]


def test_a_chip_that_was_reset_behind_our_back_is_a_fault_and_no_reading(clock: Any) -> None:
    rig = Rig(clock)
    rig.bank.read(2)
    rig.chip.reset()
    with pytest.raises(DeviceError) as caught:
        rig.bank.read(1)
    assert str(caught.value) == (
        "Converter pairs has lost its settings, or is no ADS1115. Look at its supply and its address."
    )
    rig.chip.feed([[9]])
    assert list(rig.bank.read(1).codes[0]) == [9]


def test_a_conversion_that_never_ends_is_given_up(clock: Any) -> None:
    rig = Rig(clock, runs=0.001)
    with pytest.raises(DeviceError) as caught:
        rig.bank.read(1)
    assert str(caught.value) == "Converter pairs began a conversion and never ended it. Look at its supply."
    assert clock() - 100.0 < 0.1


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"address": 0x47}, "The address of converter A is 0x47. An ADS1115 has 0x48 to 0x4b."),
        ({"pair": 2}, "Converter A has no pair 2. An ADS1115 has 0 (A0, A1) and 1 (A2, A3)."),
        (
            {"full_scale_v": 3.3},
            "An ADS1115 has no full scale of 3.3 V. It has 6.144, 4.096, 2.048, 1.024, 0.512, 0.256 V.",
        ),
    ],
)
def test_what_the_chip_has_not_is_refused(change: dict[str, Any], said: str) -> None:
    with pytest.raises(DeviceError) as caught:
        Ads1115Bank("A", FakeI2c({}), **change)
    assert str(caught.value) == said


def test_a_rate_that_the_chip_has_not_is_refused() -> None:
    with pytest.raises(DeviceError) as caught:
        encode_config(Config(Inputs.A0, rate_sps=1000))
    assert str(caught.value) == (
        "An ADS1115 does not make 1000 samples a second. It makes 8, 16, 32, 64, 128, 250, 475, 860."
    )


def test_fewer_than_one_sample_is_refused(clock: Any) -> None:
    with pytest.raises(DeviceError, match=r"^Converter pairs reads at least 1 sample, not 0\.$"):
        Rig(clock).bank.read(0)


# --- the chip itself --------------------------------------------------------------------------------------------------


def test_the_highest_bit_of_the_configuration_says_ready(clock: Any) -> None:
    chip = FakeAds1115(clock)
    chip.feed([[100]])
    chip.write(b"\x01")
    assert chip.read(2) == b"\x85\x83"  # asleep after power-up
    chip.write(bytes((1, *encode_config(Config(Inputs.A0_A1)).to_bytes(2, "big"))))
    assert chip.read(2)[0] & 0x80 == 0
    clock.jump(1 / 860)
    assert chip.read(2)[0] & 0x80 == 0  # its wake-up is not over yet
    clock.jump(0.0001)
    assert chip.read(2)[0] & 0x80 == 0x80
    chip.write(b"\x00")
    assert chip.read(2) == (100 - 32768 + 65536).to_bytes(2, "big")


def test_in_the_continuous_mode_it_goes_on_by_itself_and_never_says_ready(clock: Any) -> None:
    chip = FakeAds1115(clock)
    chip.feed([[40000, 40001, 40002, 40003]])
    config = encode_config(Config(Inputs.A0_A1, single_shot=False, start=False))
    chip.write(bytes((1, *config.to_bytes(2, "big"))))
    chip.write(b"\x00")
    got = []
    for _ in range(3):
        clock.jump(1 / 860 + 1e-6)
        got.append(int.from_bytes(chip.read(2), "big") + 32768)
    chip.write(b"\x01")
    assert got == [40000, 40001, 40002]
    assert chip.read(2)[0] & 0x80 == 0


def test_thresholds_rest_as_after_power_up_and_can_be_written(clock: Any) -> None:
    chip = FakeAds1115(clock)
    chip.write(b"\x02")
    assert chip.read(2) == b"\x80\x00"
    chip.write(b"\x03\x12\x34")
    assert chip.read(2) == b"\x12\x34"


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "An ADS1115 does not understand 0 bytes."),
        (b"\x01\xc5", "An ADS1115 does not understand 2 bytes."),
        (bytes((1, *encode_config(Config(Inputs.A0)).to_bytes(2, "big"))), "Nothing is wired to A0 here."),
    ],
)
def test_the_chip_refuses_what_a_real_one_could_not_do_here(clock: Any, data: bytes, said: str) -> None:
    with pytest.raises(DeviceError) as caught:
        FakeAds1115(clock).write(data)
    assert str(caught.value) == said


def test_codes_that_cannot_be_are_not_fed(clock: Any) -> None:
    chip = FakeAds1115(clock)
    for wrong in ([[65536]], [[-1]], [[1], [1], [1]]):
        with pytest.raises(DeviceError):
            chip.feed(wrong)


# --- the kernel's bus -------------------------------------------------------------------------------------------------


class Messages(types.SimpleNamespace):
    """A stand-in for the bus library at the level of one ioctl."""


def library(
    monkeypatch: pytest.MonkeyPatch, fault: OSError | None = None, chip: FakeAds1115 | None = None
) -> list[str]:
    from smbus2 import i2c_msg

    log: list[str] = []

    class Bus:
        def __init__(self, path: str) -> None:
            if fault is not None:
                raise fault
            log.append(path)

        def i2c_rdwr(self, *messages: Any) -> None:
            if chip is None:
                raise OSError(121, "Remote I/O error")
            for message in messages:
                if message.flags & 1:
                    answer = chip.read(message.len)
                    for at, byte in enumerate(answer):
                        message.buf[at] = bytes((byte,))
                else:
                    chip.write(bytes(message))

        def close(self) -> None:
            log.append("closed")

    monkeypatch.setitem(sys.modules, "smbus2", Messages(SMBus=Bus, i2c_msg=i2c_msg))
    return log


def test_the_driver_reads_through_the_bus_library(monkeypatch: pytest.MonkeyPatch) -> None:
    ticks = itertools.count()
    chip = FakeAds1115(lambda: next(ticks) * 0.001)
    chip.feed([[], [1234, 65535]])
    log = library(monkeypatch, chip=chip)
    bank = open_ads1115("pairs", bus=1, address=0x48, pair=1, full_scale_v=1.024)

    assert list(bank.read(2).codes[1]) == [1234, 65535]
    bank.close()
    assert log == ["/dev/i2c-1", "closed"]


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        (FileNotFoundError(2, "x"), "There is no /dev/i2c-1. Switch I2C on for this board, then start again."),
        (PermissionError(13, "x"), "/dev/i2c-1 may not be used. Add this user to the group i2c."),
        (OSError(25, "Inappropriate ioctl"), "/dev/i2c-1 is no I2C bus: Inappropriate ioctl."),
    ],
)
def test_a_bus_that_is_not_there_is_said(monkeypatch: pytest.MonkeyPatch, fault: OSError, said: str) -> None:
    library(monkeypatch, fault)
    with pytest.raises(DeviceError) as caught:
        KernelI2c(1)
    assert str(caught.value) == said


def test_a_chip_that_is_not_there_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    library(monkeypatch)
    with pytest.raises(DeviceError) as caught:
        KernelI2c(1).message(0x48, [2])
    assert str(caught.value) == (
        "Nothing answers at 0x48 on /dev/i2c-1: Remote I/O error. Look at its plug and address."
    )


def test_without_the_library_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "smbus2", None)
    with pytest.raises(DeviceError) as caught:
        KernelI2c(1)
    assert str(caught.value) == "The I2C library is not installed. Run: pip install 'gatekeeper[board]'"


# --- does it serve one clamp? -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
@pytest.mark.parametrize("runs", [0.9, 1.0, 1.1])
def test_a_start_on_the_slowest_and_the_fastest_chip_is_seen_within_what_check_says(
    clock: Any, mains_hz: float, runs: float
) -> None:
    """Two mains cycles, one read of two samples and the conversion under way; at every phase of the switching on."""
    from gatekeeper.sensing.codes import FrontEnd
    from gatekeeper.sensing.current import CurrentSensor
    from gatekeeper.sensing.detector import DetectorSettings
    from gatekeeper.sensing.seen import Block, Reason

    front = FrontEnd.from_turns(2000, 48.3, vref_v=1.024, bits=16)
    noise = itertools.cycle([0.7 * ((7 * n) % 11 - 5) / 5 for n in range(997)])
    late_s = []
    for phase in range(20):
        on_s = clock() + 0.5 + phase / 20 / mains_hz

        def source(scans: int, on_s: float = on_s) -> list[list[int]]:
            t_s = clock()
            amperes = 4.0 * math.sqrt(2) * math.sin(2 * math.pi * mains_hz * (t_s - on_s)) if t_s >= on_s else 0.0
            return [[round(front.rest_code + amperes / front.a_per_code + next(noise))]]

        # The kernel and looks in vain: what the estimate allows beside the bytes on the bus.
        rig = Rig(clock, runs=runs, source=source)
        rig.bus._pace = lambda seconds: clock.jump(seconds + 0.0001)
        sensor = CurrentSensor(mains_hz, DetectorSettings.for_tool(4.0, None), front)
        seen = []
        while clock() < on_s + 0.2:
            block = rig.bank.read(converters.BLOCK_SAMPLES)
            seen += [(clock(), change) for change in sensor.feed(Block(block.start_s, block.rate_hz, block.codes[0]))]
        starts = [(t_s, change) for t_s, change in seen if change.reason is Reason.STARTED]
        assert len(starts) == 1
        late_s.append(starts[0][0] - on_s)
    assert max(late_s) <= 2 / mains_hz + converters.BLOCK_SAMPLES / converters.samples_each(1)


def test_on_a_slow_bus_a_slow_chip_is_too_slow_for_a_clamp(clock: Any) -> None:
    """At the board's usual 100 kHz; the samples are then too few to tell a current, and the clamp counts as lost."""
    from gatekeeper.sensing.current import CurrentSensor
    from gatekeeper.sensing.seen import Block

    rig = Rig(clock, runs=0.9)
    rig.bus._pace = lambda seconds: clock.jump(4 * seconds + 0.0001)
    for _ in range(100):
        block = rig.bank.read(converters.BLOCK_SAMPLES)
    assert block.rate_hz < converters.samples_needed(60)
    with pytest.raises(ValueError, match="samples a second are too few for 60 Hz mains"):
        CurrentSensor(60.0).feed(Block(block.start_s, block.rate_hz, block.codes[0]))
