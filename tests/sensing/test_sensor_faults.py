"""A sensor that cannot be believed is stale with a reason, never a current; what it returns to is no fresh start."""

import math
import random

import pytest

from gatekeeper.sensing.codes import FrontEnd, codes_from_amperes
from gatekeeper.sensing.seen import Block, Reason, State

FRONT = FrontEnd(volts_per_a=1.65 / (30 * 2**0.5))


def story(bench) -> list[tuple[str, str]]:
    return [(s.state.value, s.reason.value) for s in bench.seen]


def codes(bench, seconds, current, noise_lsb=0.7):
    chance = random.Random(5)
    n = round(seconds * bench.rate_hz)
    noise = [chance.gauss(0, noise_lsb) for _ in range(n)]
    return codes_from_amperes([current(i / bench.rate_hz) for i in range(n)], FRONT, noise)


@pytest.fixture
def bench(lab):
    bench = lab.Bench(rate_hz=800, front=FRONT)
    bench.feed(codes(bench, 1.0, lambda t_s: 0.0))
    assert story(bench) == [("stopped", "first_look")]
    return bench


@pytest.mark.parametrize("rate_hz", [800, 1000, 1117, 2000])
@pytest.mark.parametrize("rail", [0, 4095, 7, 300, 3900])
def test_nothing_moves_at_any_rate_and_level(lab, rail, rate_hz):
    """The mean square of a level that stands still is a rounding error, and its sign a matter of chance."""
    bench = lab.Bench(rate_hz=rate_hz, front=FRONT)
    bench.feed([rail] * rate_hz)
    assert story(bench) == [("stale", "stuck")]


@pytest.mark.parametrize("rail", [0, 4095, 300, 3900])
def test_codes_stuck_far_from_the_middle(bench, rail):
    bench.feed([rail] * 800)
    assert story(bench)[1:] == [("stale", "stuck")]
    assert bench.seen[-1].t_s - 1.0 <= 0.2
    assert bench.seen[-1].current_a is None
    assert bench.sensor.net_a is None
    bench.feed(codes(bench, 1.0, lambda t_s: 0.0))
    assert story(bench)[2:] == [("stopped", "returned")]


def test_a_sensor_that_is_stuck_from_the_beginning_never_says_stopped(lab):
    bench = lab.Bench(rate_hz=800, front=FRONT)
    bench.feed([0] * 800)
    assert story(bench) == [("stale", "stuck")]


def test_a_lost_bias_is_no_current(bench, lab):
    """With the bias gone the input rests at a rail; noise, and a tool's half waves, stick out of it."""
    bench.feed([min(max(c - 2048, 0), 4095) for c in codes(bench, 1.0, lambda t_s: 0.0, noise_lsb=2.0)])
    assert story(bench)[1:] == [("stale", "lost_bias")]
    bench.feed([min(max(c - 2048, 0), 4095) for c in codes(bench, 1.0, lab.sine(20.0))])
    assert story(bench)[2:] == []


def test_a_line_that_always_stood_still_in_the_middle_is_a_quiet_one(lab):
    bench = lab.Bench(rate_hz=800, front=FRONT)
    bench.feed([2047] * 800 * 90)
    assert story(bench) == [("stopped", "first_look")]
    bench.feed(codes(bench, 1.0, lab.sine(2.0), noise_lsb=0.1))
    assert story(bench)[1:] == [("running", "started")]


def test_a_line_that_was_noisy_for_a_minute_and_then_stands_still_is_frozen(bench, lab):
    bench.feed(codes(bench, 65.0, lambda t_s: 0.0))
    assert len(bench.seen) == 1
    bench.feed([2047] * 8000)
    assert story(bench)[1:] == [("stale", "stuck")]
    assert 66.0 + 1.9 <= bench.seen[-1].t_s <= 66.0 + 2.2
    bench.feed(codes(bench, 1.0, lab.sine(2.0)))
    assert story(bench)[2:] == [("running", "returned")]


def test_a_line_that_freezes_while_its_tool_runs_is_no_stop(bench, lab):
    bench.feed(codes(bench, 65.0, lambda t_s: 0.0))
    bench.feed(codes(bench, 1.0, lab.sine(2.0)))
    bench.feed([2047] * 8000)
    assert story(bench)[1:] == [("running", "started"), ("stale", "stuck")]


def test_an_inrush_may_clip_and_is_a_tool(bench, lab):
    bench.feed(codes(bench, 1.5, lab.sine(90.0)))
    bench.feed(codes(bench, 2.0, lab.sine(8.0)))
    assert story(bench)[1:] == [("running", "started")]
    assert bench.seen[-1].t_s <= 1.0 + 0.04 + 2 / 800


def test_clipping_that_does_not_end_is_a_fault_until_it_does(bench, lab):
    bench.feed(codes(bench, 5.0, lab.sine(90.0)))
    assert story(bench)[1:] == [("running", "started"), ("stale", "clipped")]
    assert bench.seen[-1].t_s == pytest.approx(4.0, abs=0.05)
    bench.feed(codes(bench, 1.0, lab.sine(8.0)))
    assert story(bench)[3:] == [("running", "returned")]


def test_a_clamp_without_its_burden_swings_from_rail_to_rail(bench, lab):
    """A few amperes drive an open secondary far beyond the rails."""
    bench.feed(codes(bench, 4.0, lab.sine(600.0, phase=0.2)))
    assert story(bench)[1:] == [("running", "started"), ("stale", "open")]
    assert bench.seen[-1].t_s == pytest.approx(4.0, abs=0.05)
    bench.feed(codes(bench, 1.0, lambda t_s: 0.0))
    assert story(bench)[3:] == [("stopped", "returned")]


def test_a_level_that_wanders_without_current_is_an_open_input(bench):
    """A loose input drifts by a tenth of half the range a second, up and down, and never near a rail."""
    bench.feed(codes(bench, 11.0, lambda t_s: 8.0 * math.sin(2 * math.pi * t_s / 9.0)))
    assert story(bench)[1:] == [("stale", "open")]
    assert 5.0 <= bench.seen[-1].t_s <= 11.0
    bench.feed(codes(bench, 5.0, lambda t_s: 0.0))
    assert story(bench)[2:] == [("stopped", "returned")]
    assert 12.0 + 1.0 <= bench.seen[-1].t_s <= 12.0 + 4.5


def test_a_bias_that_warms_up_or_steps_is_no_open_input(bench, lab):
    bench.feed(codes(bench, 20.0, lambda t_s: 0.05 * t_s))
    bench.feed(codes(bench, 4.0, lambda t_s: 8.0))
    bench.feed(codes(bench, 3.0, lambda t_s: 0.0))
    assert len(bench.seen) == 1


def test_a_wandering_level_under_a_current_is_not_judged(bench, lab):
    """An inrush with direct current moves the mean through a real clamp too."""
    wave = lab.sine(6.0)
    bench.feed(codes(bench, 11.0, lambda t_s: wave(t_s) + 8.0 * math.sin(2 * math.pi * t_s / 9.0)))
    assert story(bench)[1:] == [("running", "started")]


def test_a_number_that_is_none_is_a_fault_at_once(lab):
    bench = lab.Bench(rate_hz=800)
    bench.rest(1.0)
    bench.feed([0.0, float("nan")] + [0.0] * 100)
    assert story(bench) == [("stopped", "first_look"), ("stale", "garbled")]


def test_samples_that_do_not_come(bench):
    assert bench.sensor.next_deadline() == pytest.approx(1.5)
    assert bench.sensor.tick(1.49) == []
    lost = bench.sensor.tick(1.6)
    assert [(s.state, s.reason, s.current_a) for s in lost] == [(State.STALE, Reason.NO_SAMPLES, None)]
    assert lost[0].t_s == pytest.approx(1.5)
    assert bench.sensor.next_deadline() is None
    assert bench.sensor.tick(9.0) == []


def test_samples_that_never_came_at_all(lab):
    sensor = lab.Bench(rate_hz=800, front=FRONT).sensor
    assert sensor.next_deadline() is None
    assert sensor.tick(100.0) == []
    assert sensor.next_deadline() == pytest.approx(100.5)
    assert [s.reason for s in sensor.tick(100.5)] == [Reason.NO_SAMPLES]


def test_a_tool_that_runs_after_a_hole_is_found_and_not_started(bench, lab):
    bench.t_s = 3.0
    bench.feed(codes(bench, 1.0, lab.sine(5.0)))
    assert story(bench)[1:] == [("stale", "no_samples"), ("running", "returned")]
    assert [s.reason.is_fresh for s in bench.seen[1:]] == [False, False]
    assert bench.seen[1].t_s == pytest.approx(1.5)
    assert 3.2 <= bench.seen[2].t_s <= 3.3


@pytest.mark.parametrize("burst_s", [0.02, 0.05, 0.1, 0.15])
@pytest.mark.parametrize("hole_s", [0.05, 0.15, 0.3, 0.45])
def test_a_tool_that_ran_on_through_ragged_samples_is_not_found_stopped_and_started(bench, lab, burst_s, hole_s):
    """A word after a hole within the settling time needs unbroken samples: the tool never stood (C12, C21)."""
    bench.feed(codes(bench, 1.0, lab.sine(5.0)))
    bench.t_s = 4.0
    for _ in range(6):
        bench.feed(codes(bench, burst_s, lab.sine(5.0)))
        bench.t_s += hole_s
    bench.feed(codes(bench, 1.0, lab.sine(5.0)))
    assert story(bench)[1:] == [("running", "started"), ("stale", "no_samples"), ("running", "returned")]


def test_short_holes_between_bursts_are_the_way_a_slow_bus_reads(lab):
    """One channel in bursts of 40 ms, every 0.32 s: one tool, one start, one stop, no fault."""
    sensor = lab.Bench(rate_hz=1600).sensor
    wave = lab.sine(4.0)
    seen = []
    for k in range(40):
        start_s = 0.32 * k
        runs = 10 <= k < 25
        values = [wave(start_s + i / 1600) if runs else 0.001 * (-1) ** i for i in range(64)]
        seen += sensor.feed(Block(start_s, 1600, values))
    assert [(s.state.value, s.reason.value) for s in seen] == [
        ("stopped", "first_look"),
        ("running", "started"),
        ("stopped", "ended"),
    ]
    assert 3.2 < seen[1].t_s <= 3.24
    assert 8.0 < seen[2].t_s <= 8.0 + 0.5 + 2 * 0.32


def test_every_reason_has_its_sentence():
    assert len({reason.sentence for reason in Reason}) == len(Reason)
    assert all(reason.sentence.endswith(".") for reason in Reason)


def test_a_lost_bias_shows_under_large_half_waves_too(lab):
    """The mean of such a wave is not far enough from the middle; one rail held for half of each cycle says it."""
    bench = lab.Bench(rate_hz=800, front=FRONT)
    wave = lab.sine(4000 / 2**0.5)
    bench.feed([max(0, round(wave(i / 800))) for i in range(800)])
    assert story(bench) == [("stale", "lost_bias")]


def test_a_sensor_that_flickers_does_not_come_back(bench):
    bench.feed([300] * 200)
    for _ in range(20):
        bench.feed(codes(bench, 0.15, lambda t_s: 0.0))
        bench.feed([300] * 40)
    assert story(bench)[1:] == [("stale", "stuck")]


def test_a_level_that_stepped_during_a_hole_is_no_running_tool(lab):
    bench = lab.Bench()
    bench.rest(1.0)
    bench.t_s = 3.0
    bench.play(1.0, lambda t_s: 5.0)
    assert story(bench)[1:] == [("stale", "no_samples"), ("stopped", "returned")]
