"""What is a tool and what is not, on synthetic currents made from published facts."""

import math
import random

import pytest

from gatekeeper.sensing.codes import FrontEnd, codes_from_amperes
from gatekeeper.sensing.detector import DetectorSettings
from gatekeeper.sensing.rms import CycleMeter
from gatekeeper.sensing.seen import Block, Reason, Seen, State

FRONT = FrontEnd(volts_per_a=1.65 / (30 * 2**0.5))
TWO_CYCLES_S = 0.04


def ran_and_stopped(bench) -> tuple[Seen, Seen]:
    assert bench.words() == ["stopped", "running", "stopped"]
    assert [s.reason for s in bench.seen] == [Reason.FIRST_LOOK, Reason.STARTED, Reason.ENDED]
    return bench.seen[1], bench.seen[2]


@pytest.mark.parametrize("mains_hz", [49.0, 50.0, 60.0, 61.0])
@pytest.mark.parametrize("kind", ["induction", "universal", "heater"])
def test_a_tool_starts_once_and_stops_once(lab, kind, mains_hz):
    """The mains may be 2 % off what the sensor was told."""
    bench = lab.Bench(mains_hz=60 if mains_hz > 55 else 50, rate_hz=16 * 55)
    current = {
        "induction": lab.induction_start(0.57, mains_hz),
        "universal": lab.universal_motor(3.8, mains_hz),
        "heater": lab.sine(8.0, mains_hz),
    }[kind]
    bench.rest(1.0)
    bench.play(4.0, current)
    bench.rest(2.0)
    start, stop = ran_and_stopped(bench)
    assert 1.0 < start.t_s <= 1.0 + 2 / mains_hz + 1 / bench.rate_hz
    assert start.since_s == pytest.approx(1.0, abs=0.75 / mains_hz)
    assert 5.5 <= stop.t_s <= 5.56
    assert stop.since_s == pytest.approx(5.0, abs=1.5 / mains_hz)


@pytest.mark.parametrize("phase", [k * math.pi / 8 for k in range(16)])
@pytest.mark.parametrize("rms_a", [0.3, 0.6, 20.0])
def test_the_start_is_in_time_at_every_phase_of_the_mains(lab, phase, rms_a):
    """30 % over the trip is enough for two cycles and one scan."""
    for shift in range(0, 32, 3):
        bench = lab.Bench()
        bench.rest(0.5 + shift / bench.rate_hz)
        begin_s = bench.t_s
        bench.play(0.2, lab.sine(rms_a, phase=phase))
        assert len(bench.starts()) == 1
        assert 0 < bench.starts()[0].t_s - begin_s <= TWO_CYCLES_S + 2 / bench.rate_hz


def test_a_current_in_one_half_of_the_wave_only_is_a_tool(lab):
    bench = lab.Bench()
    wave = lab.sine(3.0)
    bench.rest(1.0)
    bench.play(2.0, lambda t_s: max(wave(t_s), 0.0))
    bench.rest(1.5)
    start, _ = ran_and_stopped(bench)
    assert start.t_s <= 1.0 + 2.5 / 50


@pytest.mark.parametrize("standby_a", [0.043, 0.1, 0.19])
def test_a_standby_draw_is_no_tool_and_hides_none(lab, standby_a):
    bench = lab.Bench()
    bench.rest(1.0)
    bench.play(20.0, lab.sine(standby_a))
    assert bench.words() == ["stopped"]
    bench.play(2.0, lab.sine(0.6))
    bench.play(2.0, lab.sine(standby_a))
    ran_and_stopped(bench)


@pytest.mark.parametrize("offset", range(32))
def test_a_charging_spike_is_no_start_wherever_it_falls(lab, offset):
    """40 A for up to a quarter cycle, which is 20 A RMS over its cycle, then a lamp of 0.15 A in short pulses."""
    for length_s in (0.0008, 0.002, 0.005):
        bench = lab.Bench()
        bench.rest(0.5 + offset / bench.rate_hz)
        lamp = lab.pulses(0.15)
        bench.play(1.0, lambda t_s, end_s=length_s, lamp=lamp: 40.0 if t_s < end_s else lamp(t_s))
        assert bench.words() == ["stopped"]


@pytest.mark.parametrize("offset", range(32))
def test_a_spike_of_half_a_cycle_is_no_start_of_a_known_tool_either(lab, offset):
    """Without the help of its shape, and just after the resting level has stepped."""
    for level_a in (0.0, 5.0):
        bench = lab.Bench(settings=DetectorSettings.for_tool(trip_a=0.2))
        bench.rest(0.5)
        bench.play(0.1 + offset / bench.rate_hz, lambda t_s, level_a=level_a: level_a)
        bench.play(0.3, lambda t_s, level_a=level_a: level_a + (40.0 if t_s < 0.0095 else 0.0))
        assert bench.words() == ["stopped"]


@pytest.mark.parametrize("rms_a", [0.25, 0.5, 0.9])
def test_small_currents_in_short_pulses_feed_electronics(lab, rms_a):
    bench = lab.Bench()
    bench.rest(1.0)
    bench.play(5.0, lab.pulses(rms_a))
    assert bench.words() == ["stopped"]


def test_a_drive_is_a_tool_when_its_motor_draws_and_at_rest_again_when_it_idles(lab):
    bench = lab.Bench()
    bench.play(2.0, lab.pulses(0.4))
    bench.play(3.0, lab.pulses(3.0, width=0.3))
    bench.play(3.0, lab.pulses(0.4))
    start, stop = ran_and_stopped(bench)
    assert 2.0 + 6 / 50 <= start.t_s <= 2.0 + 7.5 / 50
    assert 5.5 <= stop.t_s <= 5.6


@pytest.mark.parametrize("offset", range(0, 32, 3))
def test_a_spike_on_top_of_a_lamp_is_no_start_and_a_tool_on_top_of_it_is(lab, offset):
    bench = lab.Bench()
    lamp, tool = lab.pulses(0.4), lab.sine(3.0)
    bench.play(0.5 + offset / bench.rate_hz, lamp)
    for length_s in (0.001, 0.004, 0.0095):
        bench.play(0.3, lambda t_s, end_s=length_s: lamp(t_s) + (4.0 if t_s < end_s else 0.0))
    assert bench.words() == ["stopped"]
    begin_s = bench.t_s
    bench.play(0.5, lambda t_s: lamp(t_s) + tool(t_s))
    assert bench.words() == ["stopped", "running"]
    assert bench.seen[1].t_s - begin_s <= 2.75 / 50


def test_what_stood_before_the_start_is_no_tool_when_it_is_left_over(lab):
    """A lamp under the trip of a known tool, above the release: the tool's stop is a stop all the same."""
    bench = lab.Bench(settings=DetectorSettings.for_tool(trip_a=1.0))
    lamp, saw = lab.sine(0.85), lab.sine(3.0)
    bench.play(3.0, lamp)
    bench.play(3.0, lambda t_s: lamp(t_s) + saw(t_s))
    bench.play(2.0, lamp)
    assert bench.words() == ["stopped", "running", "stopped"]
    assert bench.seen[2].t_s <= 6.0 + 0.6


def test_a_tool_at_its_trip_is_not_taken_for_what_stood_before(lab):
    bench = lab.Bench()
    bench.play(3.0, lab.pulses(0.95))
    bench.play(3.0, lab.pulses(1.1))
    assert bench.words() == ["stopped", "running"]


def test_what_stood_for_less_than_a_second_counts_for_nothing(lab):
    bench = lab.Bench(settings=DetectorSettings.for_tool(trip_a=1.0))
    bench.rest(1.5)
    bench.play(0.7, lab.sine(0.85))
    bench.play(2.0, lab.sine(3.0))
    bench.play(3.0, lab.sine(0.85))
    assert bench.words() == ["stopped", "running"]


def test_a_known_tool_is_not_asked_for_its_shape(lab):
    bench = lab.Bench(settings=DetectorSettings.for_tool(rated_a=2.0))
    bench.rest(1.0)
    bench.play(1.0, lab.pulses(0.5))
    assert bench.words() == ["stopped", "running"]
    assert bench.seen[1].t_s <= 1.0 + TWO_CYCLES_S


def test_stages_of_a_start_are_one_start(lab):
    """A small stage of electronics, a transformer's inrush to one side, a pause of a few cycles, then two steps up."""
    bench = lab.Bench()
    bench.rest(1.0)
    bench.play(0.8, lab.pulses(0.12))
    main_s = bench.t_s
    wave = lab.sine(4.0)
    bench.play(0.3, lambda t_s: wave(t_s) + 20 * math.exp(-t_s / 0.03) * max(wave(t_s), 0) / 5.7)
    bench.rest(0.2)
    bench.play(0.6, lab.sine(3.8))
    bench.play(2.0, lab.sine(5.3))
    bench.rest(1.0)
    start, _ = ran_and_stopped(bench)
    assert main_s < start.t_s <= main_s + TWO_CYCLES_S


def test_lost_cycles_are_no_stop_and_lone_spikes_do_not_stretch_one(lab):
    bench = lab.Bench()
    bench.rest(1.0)
    for _ in range(6):
        bench.play(1.0, lab.sine(2.0))
        bench.rest(0.4)
    for _ in range(10):
        bench.play(0.005, lambda t_s: 10.0)
        bench.rest(0.155)
    _, stop = ran_and_stopped(bench)
    assert stop.t_s <= 9.0 + 0.5 + 0.1


def test_between_release_and_trip_nothing_changes(lab):
    settings = DetectorSettings.for_tool(trip_a=1.0)
    rising = lab.Bench(settings=settings)
    rising.rest(1.0)
    rising.play(3.0, lab.sine(0.8))
    assert rising.words() == ["stopped"]
    falling = lab.Bench(settings=settings)
    falling.rest(1.0)
    falling.play(1.0, lab.sine(2.0))
    falling.play(3.0, lab.sine(0.8))
    assert falling.words() == ["stopped", "running"]
    falling.play(1.0, lab.sine(0.5))
    assert falling.words() == ["stopped", "running", "stopped"]


def test_a_step_of_the_resting_level_is_no_start(lab):
    bench = lab.Bench()
    for level_a in (0.0, 5.0, -3.0, 0.5):
        bench.play(1.0, lambda t_s, level_a=level_a: level_a)
    assert bench.words() == ["stopped"]


@pytest.mark.parametrize("noise_lsb", [0.7, 3.0])
def test_a_day_of_noise_starts_nothing(lab, noise_lsb):
    """24 hours in the statistics of 40 s: the highest of 8000 windows is under the trip by more than a day can add.

    A day has 17 million windows. Gaussian noise over 16 samples has a chi-squared mean square: if the highest of n
    windows is h times the level, the highest of 2000 n is below 1.5 h for every h seen here. 3 steps are four times
    the noise of a 12-bit converter.
    """
    bench = lab.Bench(rate_hz=800, front=FRONT)
    chance = random.Random(11)
    noise = [chance.gauss(0, noise_lsb) for _ in range(800 * 40)]
    codes = codes_from_amperes([0.0] * len(noise), FRONT, noise)
    bench.feed(codes)
    assert bench.words() == ["stopped"]
    highest_a = max(r.rms_a for r in CycleMeter(50, FRONT).feed(Block(0.0, 800, codes)))
    assert 1.2 * bench.sensor.rest_a < highest_a < bench.sensor.trip_a / 1.5


def test_the_level_at_rest_raises_the_trip_but_not_without_end(lab):
    bench = lab.Bench()
    bench.rest(10.0, noise_a=0.08)
    assert bench.sensor.rest_a == pytest.approx(0.08, rel=0.1)
    assert bench.sensor.trip_a == pytest.approx(0.24, rel=0.1)
    bench.rest(60.0, noise_a=0.15)
    assert bench.sensor.trip_a == pytest.approx(0.3, rel=0.01)


def test_reported_current_is_net_of_the_level_at_rest(lab):
    bench = lab.Bench()
    bench.rest(10.0, noise_a=0.1)
    bench.play(1.0, lab.sine(0.5), noise_a=0.1)
    assert bench.sensor.state is State.RUNNING
    assert bench.sensor.net_a == pytest.approx(0.5, abs=0.05)


def test_settings_from_what_is_known_of_the_tool():
    unknown, small, large, told = (
        DetectorSettings.for_tool(),
        DetectorSettings.for_tool(rated_a=1.5),
        DetectorSettings.for_tool(rated_a=15.0),
        DetectorSettings.for_tool(rated_a=15.0, trip_a=0.05),
    )
    assert (unknown.trip_a, unknown.spiky_trip_a) == (0.2, 1.0)
    assert (small.trip_a, small.spiky_trip_a) == (0.2, 0.2)
    assert (large.trip_a, large.spiky_trip_a) == (pytest.approx(1.2), pytest.approx(1.2))
    assert (told.trip_a, told.spiky_trip_a) == (0.05, 0.05)


@pytest.mark.parametrize(
    ("wrong", "text"),
    [
        ({"trip_a": 0.0}, "The trip current is 0.0 A; it must be more than 0 A."),
        ({"trip_a": math.nan}, "The trip current is nan A; it must be more than 0 A."),
        ({"trip_a": 2.0}, "The trip current for short pulses is 1.0 A; it must not be less than 2.0 A."),
        ({"stop_hold_s": 0.0}, "The hold before a stop is 0.0 s; 0.05 to 60 s are allowed."),
        ({"settle_s": 11.0}, "The settling time is 11.0 s; 0.05 to 10 s are allowed."),
        ({"missing_s": 0.01}, "The longest hole in the samples is 0.01 s; 0.05 to 60 s are allowed."),
        ({"clip_s": math.inf}, "The longest time at the rails is inf s; 0.1 to 60 s are allowed."),
    ],
)
def test_wrong_settings_are_refused_in_words(wrong, text):
    with pytest.raises(ValueError) as caught:
        DetectorSettings(**wrong)
    assert str(caught.value) == text


@pytest.mark.parametrize("rated_a", [0.0, -3.0, math.inf, math.nan])
def test_a_wrong_plate_current_is_refused(rated_a):
    with pytest.raises(ValueError) as caught:
        DetectorSettings.for_tool(rated_a=rated_a)
    assert str(caught.value) == f"The plate current is {rated_a} A; it must be more than 0 A."
