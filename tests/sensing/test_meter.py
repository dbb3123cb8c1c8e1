"""A power meter that speaks now and then: what its numbers prove, and what they never do."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gatekeeper.sensing.meter import MeterReading, MeterSensor, MeterSettings
from gatekeeper.sensing.seen import Reason, State

#: It runs above 100 W; the meter speaks every second, and is lost after five.
SETTINGS = MeterSettings(trip=100.0, silence_s=5.0, settle_s=1.0)


def told(seen):
    return [(round(one.t_s, 6), one.state.value, one.reason.value) for one in seen]


def after(*readings: MeterReading) -> MeterSensor:
    sensor = MeterSensor(SETTINGS)
    for reading in readings:
        sensor.feed(reading)
    return sensor


def live(t_s: float, value: float | None) -> MeterReading:
    return MeterReading(t_s, value)


def at_rest() -> MeterSensor:
    return after(live(0.0, 3.0), live(1.0, 3.0))


def test_a_start_and_a_stop_are_seen_between_two_live_numbers():
    sensor = at_rest()
    (start,) = sensor.feed(live(2.0, 800.0))
    assert (start.state, start.reason, start.t_s, start.since_s) == (State.RUNNING, Reason.STARTED, 2.0, 1.0)
    assert start.reason.is_fresh
    assert sensor.value == 800.0
    assert told(sensor.feed(live(3.0, 60.0))) == []
    assert told(sensor.feed(live(4.0, 59.0))) == [(4.0, "stopped", "ended")]


def test_a_number_at_the_trip_is_running_and_one_under_it_is_no_start():
    assert told(at_rest().feed(live(2.0, 99.9))) == []
    assert told(at_rest().feed(live(2.0, 100.0))) == [(2.0, "running", "started")]


def test_the_sign_does_not_matter():
    assert told(at_rest().feed(live(2.0, -800.0))) == [(2.0, "running", "started")]


@pytest.mark.parametrize(("value", "word"), [(800.0, "running"), (3.0, "stopped")])
def test_the_first_number_is_found(value, word):
    assert told(MeterSensor(SETTINGS).feed(live(0.0, value))) == [(0.0, word, "first_look")]


def test_what_comes_right_after_the_first_number_is_found_too():
    """A frozen network hands out at once all that it had kept back: an old stop, then an old start."""
    sensor = after(live(0.0, 3.0))
    (seen,) = sensor.feed(live(0.01, 800.0))
    assert told([seen]) == [(0.01, "running", "returned")]
    assert not seen.reason.is_fresh


def test_after_a_freeze_a_backlog_is_no_start():
    sensor = at_rest()
    seen = sensor.feed(live(60.0, 3.0)) + sensor.feed(live(60.0, 800.0)) + sensor.feed(live(60.0, 2.0))
    assert told(seen) == [
        (6.0, "stale", "no_messages"),
        (60.0, "stopped", "returned"),
        (60.0, "running", "returned"),
        (60.0, "stopped", "returned"),
    ]
    assert told(sensor.feed(live(61.0, 800.0))) == [(61.0, "running", "started")]


def test_silence_is_a_loss_at_its_time_and_what_returns_is_found():
    sensor = at_rest()
    assert sensor.next_deadline() == pytest.approx(6.0)
    assert sensor.tick(5.99) == []
    assert told(sensor.tick(9.0)) == [(6.0, "stale", "no_messages")]
    assert (sensor.next_deadline(), sensor.value) == (None, None)
    assert sensor.tick(100.0) == []
    assert told(sensor.feed(live(101.0, 800.0))) == [(101.0, "running", "returned")]


def test_a_meter_that_never_spoke_is_lost():
    sensor = MeterSensor(SETTINGS)
    assert (sensor.next_deadline(), sensor.tick(50.0)) == (None, [])
    assert sensor.next_deadline() == pytest.approx(55.0)
    assert told(sensor.tick(55.0)) == [(55.0, "stale", "no_messages")]


def test_a_lost_broker_is_a_loss_at_once():
    sensor = after(live(0.0, 800.0))
    assert told(sensor.lose(0.5)) == [(0.5, "stale", "no_broker")]
    assert sensor.lose(0.6) == []
    assert told(sensor.feed(live(1.0, 3.0))) == [(1.0, "stopped", "returned")]


@pytest.mark.parametrize("value", [None, math.nan, math.inf, -math.inf, 1e6, -1e7])
def test_a_message_without_a_number_is_a_fault_and_never_a_current(value):
    sensor = at_rest()
    assert told(sensor.feed(live(2.0, value))) == [(2.0, "stale", "no_number")]
    assert told(sensor.feed(live(3.0, 800.0))) == [(3.0, "running", "returned")]


def test_a_kept_number_above_the_trip_is_found_running_and_must_be_borne_out():
    sensor = MeterSensor(SETTINGS)
    (seen,) = sensor.feed(MeterReading(0.0, 800.0, is_kept=True))
    assert (seen.state, seen.reason, seen.reason.is_fresh) == (State.RUNNING, Reason.KEPT, False)
    assert told(sensor.tick(6.0)) == [(5.0, "stale", "no_messages")]
    again = after(MeterReading(0.0, 800.0, is_kept=True))
    assert told(again.feed(live(1.0, 3.0))) == [(1.0, "stopped", "returned")]


def test_a_kept_number_long_after_a_loss_is_not_lost_again_at_once():
    sensor = at_rest()
    sensor.lose(2.0)
    assert told(sensor.feed(MeterReading(500.0, 800.0, is_kept=True))) == [(500.0, "running", "kept")]
    assert sensor.tick(501.0) == []
    assert sensor.next_deadline() == pytest.approx(505.0)


def test_a_kept_number_below_the_trip_says_nothing():
    """It would let the gate of a running tool shut."""
    assert after(MeterReading(0.0, 3.0, is_kept=True)).state is None
    sensor = after(live(0.0, 800.0))
    sensor.lose(1.0)
    assert sensor.feed(MeterReading(2.0, 3.0, is_kept=True)) == []
    assert sensor.state is State.STALE


def test_a_kept_message_without_a_number_says_nothing_either():
    assert at_rest().feed(MeterReading(2.0, None, is_kept=True)) == []


def test_a_start_after_a_kept_number_needs_live_ones_first():
    sensor = after(MeterReading(0.0, 3.0, is_kept=True))
    seen = sensor.feed(live(1.0, 800.0))
    assert told(seen) == [(1.0, "running", "first_look")]


def test_a_kept_number_in_between_does_not_lengthen_the_silence_that_is_allowed():
    sensor = at_rest()
    heard_s = sensor.next_deadline() - SETTINGS.silence_s
    kept = sensor.feed(MeterReading(heard_s + 3.0, 800.0, is_kept=True))
    assert [one.state for one in kept] == [State.RUNNING]
    assert sensor.next_deadline() == heard_s + SETTINGS.silence_s
    seen = sensor.feed(live(heard_s + 6.0, 3.0))
    assert [(one.state, one.reason.is_fresh) for one in seen] == [(State.STALE, False), (State.STOPPED, False)]


@settings(max_examples=200, deadline=None)
@given(
    story=st.lists(
        st.tuples(
            st.floats(0.0, 8.0), st.sampled_from([None, 3.0, 800.0]), st.sampled_from(["live", "kept", "lost", "tick"])
        ),
        max_size=40,
    )
)
def test_nothing_is_fresh_without_two_live_numbers_and_no_state_is_told_twice(story):
    sensor, t_s, before = MeterSensor(SETTINGS), 0.0, None
    last_live_s = None
    for wait_s, value, what in story:
        t_s += wait_s
        if what == "lost":
            seen = sensor.lose(t_s)
        elif what == "tick":
            seen = sensor.tick(t_s)
        else:
            seen = sensor.feed(MeterReading(t_s, value, is_kept=what == "kept"))
        for one in seen:
            assert one.state is not before or one.state is not State.STALE
            if one.reason.is_fresh:
                assert (what, last_live_s is not None) == ("live", True)
                assert t_s - last_live_s <= SETTINGS.silence_s
            before = one.state
        if what == "live":
            last_live_s = t_s if value is not None else None
        elif what == "lost":
            last_live_s = None


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"trip": 0.0}, "The tool is to run above 0.0; it must be more than 0."),
        ({"silence_s": 0.0}, "The longest silence is 0.0 s; 0.1 to 36000 s are allowed."),
        ({"settle_s": math.nan}, "The meter settles for nan s; 0 to 36000 s are allowed."),
    ],
)
def test_wrong_settings_are_refused_in_words(wrong, said):
    with pytest.raises(ValueError) as caught:
        MeterSettings(**({"trip": 1.0, "silence_s": 5.0, "settle_s": 1.0} | wrong))
    assert str(caught.value) == said
