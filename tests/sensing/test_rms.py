"""The meter: true RMS, whatever the split, the bias and the noise."""

import math
import random
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gatekeeper.sensing.codes import FrontEnd, codes_from_amperes
from gatekeeper.sensing.rms import CycleMeter, Quality, net_rms_a
from gatekeeper.sensing.seen import Block

FRONT = FrontEnd(volts_per_a=1.65 / (30 * 2**0.5))


def sine(rms_a, rate_hz, mains_hz, n, bias_a=0.0):
    return [bias_a + rms_a * math.sqrt(2) * math.sin(2 * math.pi * mains_hz * i / rate_hz + 0.3) for i in range(n)]


@pytest.mark.parametrize(("rate_hz", "mains_hz", "within"), [(800, 50, 1e-9), (960, 60, 1e-9), (1000, 60, 0.03)])
def test_a_sine_reads_its_rms_and_its_mean(rate_hz, mains_hz, within):
    readings = CycleMeter(mains_hz).feed(Block(5.0, rate_hz, sine(3.0, rate_hz, mains_hz, rate_hz, bias_a=40.0)))
    # The last case is not locked to the mains: 16 or 17 samples stand for a cycle of 16.67.
    assert len(readings) == 4 * mains_hz - 3
    assert [r.rms_a for r in readings] == pytest.approx([3.0] * len(readings), rel=within)
    assert readings[0].t_s == pytest.approx(5.0 + 1 / mains_hz, abs=1 / rate_hz)
    assert readings[-1].t_s == pytest.approx(6.0, abs=1 / rate_hz)
    assert [r.quality for r in readings[:2]] == [Quality.AFTER_GAP, Quality.FINE]
    assert readings[0].mean_a == pytest.approx(40.0, abs=0.3)


def test_codes_read_as_the_amperes_they_came_from():
    codes = codes_from_amperes(sine(5.0, 1600, 50, 1600), FRONT)
    readings = CycleMeter(50, FRONT).feed(Block(0.0, 1600, codes))
    assert [r.rms_a for r in readings] == pytest.approx([5.0] * len(readings), rel=0.002)
    assert max(abs(r.mean_a) for r in readings) < FRONT.a_per_code


@settings(max_examples=60, deadline=None)
@given(
    cuts=st.lists(st.integers(0, 700), max_size=30),
    rate_hz=st.sampled_from([400.0, 777.0, 801.5, 1000.0]),
    start_s=st.floats(0, 1e6),
)
def test_the_split_into_blocks_changes_nothing(cuts, rate_hz, start_s):
    chance = random.Random(1)
    samples = [chance.uniform(-5, 5) for _ in range(700)]
    whole = CycleMeter(50).feed(Block(start_s, rate_hz, samples))
    meter = CycleMeter(50)
    pieces = []
    edges = sorted({0, *cuts, 700})
    for a, b in pairwise(edges):
        pieces += meter.feed(Block(start_s + a / rate_hz, rate_hz, samples[a:b]))
    assert len(whole) > 60
    assert pieces == whole


def test_a_hole_empties_the_window_and_the_next_reading_says_so():
    meter = CycleMeter(50)
    samples = sine(2.0, 800, 50, 80)
    before = meter.feed(Block(0.0, 800, samples))
    after = meter.feed(Block(0.2, 800, samples))
    assert [r.is_fresh for r in before] == [True] + [False] * 16
    assert [r.is_fresh for r in after] == [True] + [False] * 16
    assert after[0].t_s == pytest.approx(0.22)
    assert after[0].rms_a == pytest.approx(2.0)


def test_jitter_of_a_scan_moves_the_clock_and_not_the_window():
    meter = CycleMeter(50)
    samples = sine(2.0, 800, 50, 80)
    meter.feed(Block(0.0, 800, samples))
    after = meter.feed(Block(0.104, 800, samples))
    assert not any(r.is_fresh for r in after)
    assert after[-1].t_s == pytest.approx(0.204)


def test_a_clock_that_goes_back_is_never_followed_back():
    meter = CycleMeter(50)
    samples = sine(2.0, 800, 50, 80)
    last = meter.feed(Block(10.0, 800, samples))[-1]
    after = meter.feed(Block(3.0, 800, samples))
    assert after[0].is_fresh
    assert [r.t_s > last.t_s for r in after] == [True] * len(after)


def test_samples_at_the_rails_are_counted():
    codes = codes_from_amperes(sine(60.0, 1600, 50, 320), FRONT)
    reading = CycleMeter(50, FRONT).feed(Block(0.0, 1600, codes))[-1]
    assert reading.quality is Quality.CLIPPED
    assert reading.low_n == codes[-32:].count(0) > 5
    assert reading.high_n == codes[-32:].count(4095) > 5


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, 1e200, 4096.0, -1.0])
def test_what_is_no_code_is_garbled_for_as_long_as_it_is_in_the_window(bad):
    codes = [2048.0, 2049.0] * 80
    codes[70] = bad
    readings = CycleMeter(50, FRONT).feed(Block(0.0, 800, codes))
    wrong = [r for r in readings if r.quality is Quality.GARBLED]
    assert len(wrong) == 4
    assert len(readings) == 37


def test_shape_tells_a_sine_from_the_pulses_of_a_charger(lab):
    def shape(current):
        samples = [current(i / 1600) for i in range(320)]
        return CycleMeter(50).feed(Block(0.0, 1600, samples))[-1].shape

    assert shape(lab.sine(1.0)) == pytest.approx(0.900, abs=0.005)
    assert shape(lab.sine(7.0)) == pytest.approx(0.900, abs=0.005)
    assert shape(lab.pulses(1.0, width=0.2)) == pytest.approx(0.40, abs=0.03)


def test_noise_is_subtracted_in_squares():
    assert net_rms_a(5.0**2, 3.0**2) == pytest.approx(4.0)
    assert net_rms_a(2.9**2, 3.0**2) == 0.0


def test_rates_and_mains_that_cannot_serve_are_refused():
    with pytest.raises(ValueError, match=r"^The mains frequency is 39 Hz; 40 to 70 Hz are allowed\.$"):
        CycleMeter(39)
    for rate_hz, word in ((399.0, "399"), (math.nan, "nan"), (math.inf, "inf")):
        with pytest.raises(ValueError) as caught:
            CycleMeter(50).feed(Block(0.0, rate_hz, [1.0]))
        assert str(caught.value) == (
            f"{word} samples a second are too few for 50 Hz mains; at least 400 are needed."
        )  # fmt: skip
