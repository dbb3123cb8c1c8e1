"""P1 on every shared recording and on changed copies of it."""

import numpy as np
import pytest

from gatekeeper.sensing.codes import FrontEnd, codes_from_amperes
from gatekeeper.sensing.current import CurrentSensor
from gatekeeper.sensing.detector import DetectorSettings
from gatekeeper.sensing.seen import Block, Reason, Seen, State

SWITCHED = [
    "freiburg_kettle",
    "plaid_1046_microwave",
    "plaid_1376_hairdryer",
    "plaid_1429_air_conditioner",
    "seq_freiburg_kettle",
    "seq_plaid_1046_microwave",
    "seq_plaid_1376_hairdryer",
    "seq_plaid_1429_air_conditioner",
]
STEADY = "itsc_induction_motor_steady"
# The range that HARDWARE 2.4 names: 30 A RMS full scale.
FRONTS = {bits: FrontEnd(volts_per_a=1.65 / (30 * 2**0.5), bits=bits) for bits in (12, 10)}
HOLD_S = DetectorSettings().stop_hold_s


def listen(samples, wave, settings=None, front=None):
    sensor = CurrentSensor(wave.mains_hz, settings, front)
    return sensor.feed(Block(0.0, wave.rate_hz, list(samples)))


def as_codes(samples_a, front, seed=3):
    noise = np.random.default_rng(seed).normal(0, 0.7, len(samples_a)).tolist()
    return codes_from_amperes(samples_a.tolist(), front, noise)


def check_times(seen: list[Seen], wave, on_s, off_s) -> None:
    """Found at rest; then every start within two cycles and one window (a cycle), every stop after its hold."""
    assert [(s.state, s.reason) for s in seen[:1]] == [(State.STOPPED, Reason.FIRST_LOOK)]
    starts = [s for s in seen[1:] if s.state is State.RUNNING]
    stops = [s for s in seen[1:] if s.state is State.STOPPED]
    assert len(starts) + len(stops) == len(seen) - 1
    assert len(starts) == len(on_s)
    assert len(stops) == len(off_s)
    cycle_s = 1 / wave.mains_hz
    for start, true_s in zip(starts, on_s, strict=True):
        assert start.reason is Reason.STARTED
        assert 0 < start.t_s - true_s <= 3 * cycle_s
    for stop, true_s in zip(stops, off_s, strict=True):
        assert stop.reason is Reason.ENDED
        assert HOLD_S <= stop.t_s - true_s <= HOLD_S + 2.5 * cycle_s


def test_every_shared_recording_is_in_this_test(waves):
    assert set(waves) == {*SWITCHED, STEADY}


@pytest.mark.parametrize("name", SWITCHED)
def test_starts_and_stops_of_the_recording_as_it_is(waves, name):
    wave = waves[name]
    check_times(listen(wave.samples_a, wave), wave, wave.on_s, wave.off_s)


@pytest.mark.parametrize("name", SWITCHED)
def test_start_within_two_cycles_plus_one_scan(waves, name):
    """P1 to the letter."""
    wave = waves[name]
    starts = [s for s in listen(wave.samples_a, wave) if s.state is State.RUNNING]
    assert starts
    for start, true_s in zip(starts, wave.on_s, strict=True):
        assert start.t_s - true_s <= 2 / wave.mains_hz + 1 / wave.rate_hz


@pytest.mark.parametrize("factor", [0.2, 0.5, 2.0, 5.0])
@pytest.mark.parametrize("name", SWITCHED)
def test_scaled_copies_with_the_trip_scaled_alike(waves, name, factor):
    wave = waves[name]
    settings = DetectorSettings.for_tool(trip_a=0.2 * factor)
    check_times(listen(wave.samples_a * factor, wave, settings), wave, wave.on_s, wave.off_s)


@pytest.mark.parametrize("factor", [0.5, 2.0, 5.0])
@pytest.mark.parametrize("name", SWITCHED)
def test_scaled_copies_with_nothing_known_of_the_tool(waves, name, factor):
    wave = waves[name]
    check_times(listen(wave.samples_a * factor, wave), wave, wave.on_s, wave.off_s)


@pytest.mark.parametrize("name", SWITCHED)
def test_inverted_and_shifted_copies_say_the_same(waves, name):
    wave = waves[name]
    plain = listen(wave.samples_a, wave)
    check_times(plain, wave, wave.on_s, wave.off_s)
    for copy in (-wave.samples_a, wave.samples_a + 3.0, wave.samples_a - 250.0, 1.5 - wave.samples_a):
        seen = listen(copy, wave)
        assert [(s.t_s, s.state, s.reason) for s in seen] == [(s.t_s, s.state, s.reason) for s in plain]


@pytest.mark.parametrize("bits", [12, 10])
@pytest.mark.parametrize("name", SWITCHED)
def test_through_converter_codes_with_noise(waves, name, bits):
    wave = waves[name]
    codes = as_codes(wave.samples_a, FRONTS[bits])
    check_times(listen(codes, wave, front=FRONTS[bits]), wave, wave.on_s, wave.off_s)


@pytest.mark.parametrize("name", SWITCHED)
def test_joined_copies_start_twice_as_often(waves, name):
    wave = waves[name]
    silence = np.zeros(round(2 * wave.rate_hz))
    joined = np.concatenate([wave.samples_a, silence, wave.samples_a])
    second_s = (len(wave.samples_a) + len(silence)) / wave.rate_hz
    off_s = wave.off_s or (len(wave.samples_a) / wave.rate_hz,)
    on_s = (*wave.on_s, *(second_s + t_s for t_s in wave.on_s))
    stops_s = (*off_s, *(second_s + t_s for t_s in wave.off_s))
    for front in (None, FRONTS[12]):
        samples = joined if front is None else as_codes(joined, front)
        check_times(listen(samples, wave, front=front), wave, on_s, stops_s)


@pytest.mark.parametrize("name", [*SWITCHED, STEADY])
def test_silent_copies_start_nothing(waves, name):
    wave = waves[name]
    silent = np.zeros(len(wave.samples_a))
    for front in (None, *FRONTS.values()):
        samples = silent if front is None else as_codes(silent, front)
        seen = listen(samples, wave, front=front)
        assert [(s.state, s.reason) for s in seen] == [(State.STOPPED, Reason.FIRST_LOOK)]


@pytest.mark.parametrize("bits", [None, 12, 10])
def test_a_motor_that_always_ran_is_found_running_and_is_no_fresh_start(waves, bits):
    wave = waves[STEADY]
    front = FRONTS.get(bits)
    samples = wave.samples_a if front is None else as_codes(wave.samples_a, front)
    seen = listen(samples, wave, front=front)
    assert [(s.state, s.reason, s.reason.is_fresh) for s in seen] == [(State.RUNNING, Reason.FIRST_LOOK, False)]


@pytest.mark.parametrize("name", [name for name in SWITCHED if name.startswith("plaid")])
def test_fewer_samples_a_cycle_say_the_same(waves, name):
    """The recordings have 67 samples a cycle; a converter that serves many channels has 33 or 17."""
    wave = waves[name]
    for step in (2, 4):
        thin = wave.samples_a[::step]
        sensor = CurrentSensor(wave.mains_hz)
        seen = sensor.feed(Block(0.0, wave.rate_hz / step, thin.tolist()))
        check_times(seen, wave, wave.on_s, wave.off_s)
