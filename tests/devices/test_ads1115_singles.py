"""An ADS1115 that reads its inputs one by one: exact words on the bus, exact codes from volts, faults said."""

from typing import Any

import pytest

from gatekeeper.devices.ads1115 import Config, Inputs, encode_config
from gatekeeper.devices.ads1115_singles import Ads1115Singles
from gatekeeper.devices.base import ConverterBank, DeviceError
from gatekeeper.devices.bench_i2c import FakeAds1115, FakeI2c


class Rig:
    """The driver on a chip at the level of its registers, with volts at its inputs."""

    def __init__(self, clock: Any, inputs: tuple[tuple[int, float], ...], runs: float = 1.0) -> None:
        self.volts = {0: 0.0, 1: 0.0, 2: 0.0, 3: 0.0}
        self.sent: list[tuple[int, list[bytes | int]]] = []
        self.chip = FakeAds1115(clock, volts=lambda number: self.volts[number], runs=runs)
        bus = FakeI2c({0x48: self.chip})
        rig = self

        class Wire:
            def message(self, address: int, parts: Any) -> list[bytes]:
                rig.sent.append((address, list(parts)))
                return bus.message(address, parts)

            def close(self) -> None:
                rig.closed = True

        self.closed = False
        self.bank = Ads1115Singles("air board", Wire(), inputs, clock=clock, wait=clock.jump)


def test_each_input_is_asked_for_in_words_of_the_data_sheet(clock: Any) -> None:
    rig = Rig(clock, ((0, 4.096), (3, 1.024)))
    rig.bank.read(1)
    starts = [parts[0] for _, parts in rig.sent if isinstance(parts[0], bytes) and len(parts[0]) == 3]
    # Start, A0 against ground, 4.096 V, single shot, 8 a second, comparator off: 1 100 001 1 000 0 0 0 11.
    assert starts == [b"\x01\xc3\x03", b"\x01\xf7\x03"]
    assert int.from_bytes(starts[0][1:], "big") == encode_config(Config(Inputs.A0, 4.096, 8))


@pytest.mark.parametrize(
    ("full_scale_v", "volts", "code"),
    [
        (4.096, 0.0, 32768),
        (4.096, 2.048, 32768 + 16384),
        (4.096, 3.0, 32768 + 24000),
        (4.096, 0.000125, 32769),
        (1.024, 0.512, 32768 + 16384),
        (1.024, 1.5, 65535),
        (4.096, -0.1, 32768 - 800),
    ],
)
def test_codes_are_volts_over_full_scale(clock: Any, full_scale_v: float, volts: float, code: int) -> None:
    rig = Rig(clock, ((2, full_scale_v),))
    rig.volts[2] = volts
    block = rig.bank.read(1)
    assert list(block.codes[2]) == [code]
    assert [list(column) for column in block.codes[:2]] == [[], []]


@pytest.mark.parametrize("runs", [0.9, 1.0, 1.1])
def test_several_inputs_come_in_turn_however_its_clock_runs(clock: Any, runs: float) -> None:
    rig = Rig(clock, ((0, 4.096), (1, 4.096)), runs)
    rig.volts |= {0: 1.0, 1: 2.0}
    before_s = clock()
    block = rig.bank.read(3)
    assert [list(column) for column in block.codes] == [[40768] * 3, [48768] * 3]
    assert block.start_s == before_s
    # Six conversions of an eighth of a second.
    assert clock() - before_s == pytest.approx(6 / (8 * runs), rel=0.1)
    assert isinstance(rig.bank, ConverterBank)
    assert rig.bank.channels == 2
    assert rig.bank.full_scale == 65535


def test_a_pulled_plug_is_said_and_a_chip_that_comes_back_is_read_again(clock: Any) -> None:
    rig = Rig(clock, ((0, 4.096),))
    rig.volts[0] = 1.0
    rig.bank.read(1)
    rig.chip.mute()
    with pytest.raises(DeviceError, match="Nothing answers at 0x48"):
        rig.bank.read(1)
    rig.chip.mute(False)
    assert list(rig.bank.read(1).codes[0]) == [40768]


def test_a_conversion_that_never_ends_is_said_in_time(clock: Any) -> None:
    rig = Rig(clock, ((0, 4.096),), runs=0.01)
    before_s = clock()
    with pytest.raises(DeviceError) as caught:
        rig.bank.read(1)
    assert str(caught.value) == "Converter air board began a conversion and never ended it. Look at its supply."
    assert clock() - before_s < 1.0


def test_a_chip_that_lost_its_settings_is_no_reading(clock: Any) -> None:
    rig = Rig(clock, ((0, 4.096),))
    chip, write = rig.chip, rig.chip.write

    def loses(data: bytes) -> None:
        write(data)
        if len(data) == 3:
            chip.reset()

    chip.write = loses  # type: ignore[method-assign]
    with pytest.raises(DeviceError, match="Converter air board has lost its settings, or is no ADS1115"):
        rig.bank.read(1)


@pytest.mark.parametrize(
    ("inputs", "address", "said"),
    [
        (((0, 4.096),), 0x40, "The address of converter A is 0x40. An ADS1115 has 0x48 to 0x4b."),
        ((), 0x48, "Converter A is to read inputs it has not. An ADS1115 has A0 to A3."),
        (((4, 4.096),), 0x48, "Converter A is to read inputs it has not. An ADS1115 has A0 to A3."),
        (
            ((0, 3.3),),
            0x48,
            "An ADS1115 has no full scale of 3.3 V. It has 6.144, 4.096, 2.048, 1.024, 0.512, 0.256 V.",
        ),
    ],
)
def test_what_the_chip_has_not_is_refused(inputs: Any, address: int, said: str) -> None:
    with pytest.raises(DeviceError) as caught:
        Ads1115Singles("A", FakeI2c({}), inputs, address=address)
    assert str(caught.value) == said


def test_fewer_than_one_sample_is_refused_and_the_wire_is_given_back(clock: Any) -> None:
    rig = Rig(clock, ((0, 4.096),))
    with pytest.raises(DeviceError, match=r"^Converter air board reads at least 1 sample, not 0\.$"):
        rig.bank.read(0)
    rig.bank.close()
    assert rig.closed
