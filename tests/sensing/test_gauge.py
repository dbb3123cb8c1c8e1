"""A transmitter's signal becomes a smoothed pressure, and its own faults are told from pressures."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatekeeper.sensing.gauge import FAULT_S, SILENT_S, SMOOTHS_S, GaugeReading, GaugeScale, GaugeSensor, GaugeState

VOLTS = GaugeScale(0.5, 0.0, 4.5, 5000.0)
LOOP = GaugeScale(0.004, 0.0, 0.020, 2500.0)
PLAIN = GaugeScale(0.0, 0.0, 10.0, 2500.0)


def fed(sensor: GaugeSensor, signal: float, start_s: float, seconds: float, step_s: float = 0.5) -> float:
    t_s = start_s
    while t_s < start_s + seconds - 1e-9:
        sensor.feed(t_s, signal)
        t_s += step_s
    return t_s


@pytest.mark.parametrize(
    ("scale", "signal", "pa"),
    [
        (VOLTS, 0.5, 0.0),
        (VOLTS, 2.5, 2500.0),
        (VOLTS, 4.5, 5000.0),
        (LOOP, 0.004, 0.0),
        (LOOP, 0.012, 1250.0),
        (LOOP, 0.020, 2500.0),
        (PLAIN, 6.0, 1500.0),
        (GaugeScale(0.5, 1000.0, 4.5, -1000.0), 1.5, 500.0),
    ],
)
def test_two_points_make_a_straight_line(scale: GaugeScale, signal: float, pa: float) -> None:
    assert scale.pa_of(signal) == pytest.approx(pa, abs=1e-9)


@given(
    low=st.floats(0.0, 5.0),
    span=st.floats(0.01, 10.0),
    low_pa=st.floats(-5e4, 5e4),
    span_pa=st.floats(1.0, 5e4) | st.floats(-5e4, -1.0),
    share=st.floats(0.0, 1.0),
)
def test_signal_and_pressure_are_each_others_inverse(
    low: float, span: float, low_pa: float, span_pa: float, share: float
) -> None:
    scale = GaugeScale(low, low_pa, low + span, low_pa + span_pa)
    pa = low_pa + share * span_pa
    assert scale.pa_of(scale.signal_of(pa)) == pytest.approx(pa, abs=1e-6 * (abs(low_pa) + abs(span_pa)))


@pytest.mark.parametrize(
    "points", [(1.0, 0.0, 1.0, 5.0), (2.0, 0.0, 1.0, 5.0), (-0.1, 0.0, 1.0, 5.0), (0.0, 5.0, 1.0, 5.0)]
)
def test_points_that_make_no_line_are_refused(points: tuple[float, float, float, float]) -> None:
    with pytest.raises(ValueError, match="points"):
        GaugeScale(*points)


def test_a_steady_signal_is_its_pressure_and_a_step_follows_in_seconds() -> None:
    sensor = GaugeSensor(VOLTS)
    assert sensor.reading(0.0) == GaugeReading(GaugeState.WAITING)
    t_s = fed(sensor, 2.5, 0.0, 5.0)
    assert sensor.reading(t_s) == GaugeReading(GaugeState.GOOD, 2500.0, 2.5)
    t_s = fed(sensor, 4.5, t_s, SMOOTHS_S)
    reading = sensor.reading(t_s)
    assert reading.pa == pytest.approx(2500.0 + 2500.0 * (1 - math.exp(-1.0)), rel=1e-9)
    t_s = fed(sensor, 4.5, t_s, 8 * SMOOTHS_S)
    assert sensor.reading(t_s).pa == pytest.approx(5000.0, rel=1e-3)


@pytest.mark.parametrize(
    ("scale", "signal", "state"),
    [
        (LOOP, 0.0037, GaugeState.GOOD),
        (LOOP, 0.00359, GaugeState.BROKEN),
        (LOOP, 0.0, GaugeState.BROKEN),
        (LOOP, 0.0209, GaugeState.GOOD),
        (LOOP, 0.0211, GaugeState.BEYOND),
        (VOLTS, 0.41, GaugeState.GOOD),
        (VOLTS, 0.39, GaugeState.BROKEN),
        (VOLTS, 4.74, GaugeState.GOOD),
        (VOLTS, 4.76, GaugeState.BEYOND),
        (PLAIN, 0.0, GaugeState.GOOD),
    ],
)
def test_a_signal_outside_of_its_range_is_a_fault_and_no_pressure(
    scale: GaugeScale, signal: float, state: GaugeState
) -> None:
    sensor = GaugeSensor(scale)
    t_s = fed(sensor, signal, 0.0, 5.0)
    reading = sensor.reading(t_s)
    assert reading.state is state
    assert (reading.pa is None) is (state is not GaugeState.GOOD)
    assert reading.signal == signal


def test_a_spike_is_no_fault_and_one_good_sample_no_end_of_one() -> None:
    sensor = GaugeSensor(LOOP)
    t_s = fed(sensor, 0.012, 0.0, 5.0)
    t_s = fed(sensor, 0.0, t_s, FAULT_S - 0.5)
    assert sensor.reading(t_s).state is GaugeState.GOOD
    assert sensor.reading(t_s).pa == pytest.approx(1250.0)
    t_s = fed(sensor, 0.0, t_s, 1.0)
    assert sensor.reading(t_s).state is GaugeState.BROKEN
    sensor.feed(t_s, 0.012)
    assert sensor.reading(t_s).state is GaugeState.BROKEN
    t_s = fed(sensor, 0.004, t_s + 0.5, FAULT_S)
    # What is good again begins anew, and does not glide up from what was before.
    assert sensor.reading(t_s) == GaugeReading(GaugeState.GOOD, 0.0, 0.004)


def test_silence_is_told_and_what_comes_after_it_begins_anew() -> None:
    sensor = GaugeSensor(VOLTS)
    assert sensor.reading(100.0).state is GaugeState.WAITING
    assert sensor.reading(100.0 + SILENT_S + 0.1).state is GaugeState.SILENT
    t_s = fed(sensor, 2.5, 200.0, 2.0)
    last_s = t_s - 0.5
    assert sensor.reading(last_s + SILENT_S).state is GaugeState.GOOD
    assert sensor.reading(last_s + SILENT_S + 0.1) == GaugeReading(GaugeState.SILENT)
    sensor.feed(300.0, 4.5)
    assert sensor.reading(300.0) == GaugeReading(GaugeState.GOOD, 5000.0, 4.5)


def test_a_lost_carrier_is_silence_at_once_and_a_number_ends_it() -> None:
    sensor = GaugeSensor(None, 20.0)
    sensor.feed(0.0, 800.0)
    assert sensor.reading(15.0).pa == 800.0
    sensor.lose()
    assert sensor.reading(15.0).state is GaugeState.SILENT
    fed(sensor, 700.0, 16.0, FAULT_S + 1.0)
    assert sensor.reading(19.0).state is GaugeState.GOOD
    assert sensor.reading(19.0).pa == pytest.approx(700.0)


@pytest.mark.parametrize("signal", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_no_signal(signal: float) -> None:
    sensor = GaugeSensor(VOLTS)
    fed(sensor, 2.5, 0.0, 2.0)
    sensor.feed(2.0, signal)
    assert sensor.reading(2.0) == GaugeReading(GaugeState.GOOD, 2500.0, 2.5)
