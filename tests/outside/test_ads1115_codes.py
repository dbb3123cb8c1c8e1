"""The ADS1115's registers and codes against what others publish.

Sources, beside each check: the constants of an open, general-purpose driver for this chip (the Python package
adafruit-circuitpython-ads1x15 3.0.5, MIT licence, files ads1x15.py and ads1115.py, read on 25 November 2026), and the
table of ideal output codes of the data sheet (Texas Instruments SBAS444, "Data Format"; from memory, not read again).
"""

import pytest

from gatekeeper.devices.ads1115 import (
    COMPARATOR_OFF,
    DATA_RATES_SPS,
    FULL_SCALES_V,
    OS_BIT,
    POINTER_CONFIG,
    POINTER_CONVERSION,
    RESET_CONFIG,
    SINGLE_SHOT_BIT,
    Config,
    Inputs,
    decode_config,
    encode_config,
    signed,
)

# ads1115.py: _ADS1115_CONFIG_DR
PUBLISHED_RATES = {8: 0x00, 16: 0x20, 32: 0x40, 64: 0x60, 128: 0x80, 250: 0xA0, 475: 0xC0, 860: 0xE0}
# ads1x15.py: _ADS1X15_CONFIG_GAIN, by gain; a gain of 1 is 4.096 V (the package's own table of its README).
PUBLISHED_GAINS = {2 / 3: 0x0000, 1: 0x0200, 2: 0x0400, 4: 0x0600, 8: 0x0800, 16: 0x0A00}
GAIN_ONE_V = 4.096
# ads1x15.py: _ADS1X15_CONFIG_MUX_OFFSET; analog_in.py: pins 0 to 3 are 4 to 7, pairs (0, 1): 0 and (2, 3): 3.
PUBLISHED_MUX_SHIFT = 12
PUBLISHED_PAIRS = {"A0_A1": 0, "A0_A3": 1, "A1_A3": 2, "A2_A3": 3}


@pytest.mark.parametrize(("rate_sps", "bits"), PUBLISHED_RATES.items())
def test_data_rates(rate_sps: int, bits: int) -> None:
    assert encode_config(Config(Inputs.A0_A1, rate_sps=rate_sps)) & 0x00E0 == bits


def test_no_rate_is_missing_and_none_is_ours() -> None:
    assert tuple(PUBLISHED_RATES) == DATA_RATES_SPS


@pytest.mark.parametrize(("gain", "bits"), PUBLISHED_GAINS.items())
def test_gains(gain: float, bits: int) -> None:
    full_scale_v = round(GAIN_ONE_V / gain, 3)

    assert full_scale_v in FULL_SCALES_V
    assert encode_config(Config(Inputs.A0_A1, full_scale_v=full_scale_v)) & 0x0E00 == bits


@pytest.mark.parametrize(("name", "mux"), PUBLISHED_PAIRS.items())
def test_pairs(name: str, mux: int) -> None:
    assert encode_config(Config(Inputs[name])) >> PUBLISHED_MUX_SHIFT & 0b111 == mux


@pytest.mark.parametrize("pin", range(4))
def test_single_inputs(pin: int) -> None:
    assert encode_config(Config(Inputs[f"A{pin}"])) >> PUBLISHED_MUX_SHIFT & 0b111 == pin + 4


def test_flags_and_pointers() -> None:
    """_ADS1X15_CONFIG_OS_SINGLE, Mode.SINGLE, _ADS1X15_CONFIG_COMP_QUEUE[0], the two pointers."""
    assert (OS_BIT, SINGLE_SHOT_BIT, COMPARATOR_OFF) == (0x8000, 0x0100, 0x0003)
    assert (POINTER_CONVERSION, POINTER_CONFIG) == (0x00, 0x01)


def test_the_setting_after_power_up() -> None:
    """Data sheet: the configuration register resets to 8583h."""
    assert RESET_CONFIG == 0x8583
    assert decode_config(RESET_CONFIG) == Config(Inputs.A0_A1, 2.048, 128, single_shot=True, start=True)
    assert encode_config(decode_config(RESET_CONFIG)) == RESET_CONFIG


# Data sheet, "Input signal versus ideal output code".
IDEAL_CODES = [
    (0x7FFF, 32767),
    (0x0001, 1),
    (0x0000, 0),
    (0xFFFF, -1),
    (0x8000, -32768),
]


@pytest.mark.parametrize(("word", "number"), IDEAL_CODES)
def test_twos_complement(word: int, number: int) -> None:
    assert signed(word) == number
