"""A dry contact: debounce as data, chatter and silence as faults."""

import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gatekeeper.sensing.contact import ContactSensor, ContactSettings
from gatekeeper.sensing.seen import Level, Reason, State


def story(seen):
    return [(round(s.t_s, 6), s.state.value, s.reason.value) for s in seen]


def at_rest() -> ContactSensor:
    sensor = ContactSensor()
    assert sensor.feed(Level(0.0, False)) == []
    assert story(sensor.tick(0.1)) == [(0.05, "stopped", "first_look")]
    return sensor


def test_a_contact_counts_once_it_has_lasted():
    sensor = at_rest()
    assert sensor.feed(Level(1.0, True)) == []
    assert sensor.next_deadline() == pytest.approx(1.05)
    assert sensor.tick(1.049) == []
    seen = sensor.tick(1.06)
    assert story(seen) == [(1.05, "running", "started")]
    assert (seen[0].since_s, seen[0].current_a) == (1.0, None)
    sensor.feed(Level(3.0, False))
    assert sensor.next_deadline() == pytest.approx(3.25)
    assert story(sensor.feed(Level(3.5, False))) == [(3.25, "stopped", "ended")]


def test_bounce_delays_and_never_doubles():
    sensor = at_rest()
    seen = []
    for k in range(7):
        seen += sensor.feed(Level(1.0 + 0.01 * k, k % 2 == 0))
    assert seen == []
    assert story(sensor.tick(2.0)) == [(1.11, "running", "started")]


def test_a_blink_of_the_contact_while_running_is_no_stop():
    sensor = at_rest()
    sensor.feed(Level(1.0, True))
    sensor.tick(1.1)
    assert sensor.feed(Level(2.0, False)) + sensor.feed(Level(2.2, True)) + sensor.tick(3.0) == []
    assert sensor.state is State.RUNNING


def test_found_made_at_the_first_look_is_no_fresh_start():
    sensor = ContactSensor()
    sensor.feed(Level(0.0, True))
    seen = sensor.tick(0.06)
    assert story(seen) == [(0.05, "running", "first_look")]
    assert not seen[0].reason.is_fresh


def test_chatter_is_a_fault_until_the_contact_is_calm():
    sensor = at_rest()
    seen = []
    for k in range(40):
        seen += sensor.feed(Level(1.0 + 0.01 * k, k % 2 == 0))
    assert story(seen) == [(1.2, "stale", "chatter")]
    assert sensor.next_deadline() == pytest.approx(1.39 + 2.0)
    assert story(sensor.feed(Level(5.0, False))) == [(3.39, "stopped", "returned")]


def test_as_many_changes_as_allowed_are_believed():
    sensor = at_rest()
    seen = []
    for k in range(20):
        seen += sensor.feed(Level(1.0 + 0.01 * k, k % 2 == 0))
    for k in range(20):
        seen += sensor.feed(Level(2.2 + 0.01 * k, k % 2 == 0))
    assert seen == []


def test_neither_edge_nor_poll_is_a_fault():
    sensor = at_rest()
    sensor.feed(Level(1.0, False))
    assert sensor.next_deadline() == pytest.approx(6.0)
    assert sensor.tick(5.99) == []
    assert story(sensor.tick(6.5)) == [(6.0, "stale", "no_samples")]
    assert sensor.next_deadline() is None
    assert sensor.feed(Level(9.0, True)) == []
    assert story(sensor.feed(Level(11.5, True))) == [(11.0, "running", "returned")]


def test_a_contact_nobody_ever_looked_at():
    sensor = ContactSensor()
    assert sensor.next_deadline() is None
    assert sensor.tick(50.0) == []
    assert sensor.next_deadline() == pytest.approx(55.0)
    assert story(sensor.tick(60.0)) == [(55.0, "stale", "no_samples")]


def test_edges_without_polls_need_no_deadline():
    sensor = ContactSensor(ContactSettings(missing_s=math.inf))
    sensor.feed(Level(0.0, False))
    sensor.tick(0.1)
    assert sensor.next_deadline() is None
    assert sensor.tick(1e9) == []


@settings(max_examples=200, deadline=None)
@given(steps=st.lists(st.tuples(st.floats(0.001, 1.0), st.booleans()), max_size=60))
def test_polling_at_every_deadline_says_the_same_as_never_polling(steps):
    """A late tick costs nothing but delay: changes carry the instant at which they became true."""
    eager, lazy = ContactSensor(), ContactSensor()
    t_s, eager_seen, lazy_seen = 0.0, [], []
    for wait_s, is_made in steps:
        while (due_s := eager.next_deadline()) is not None and due_s < t_s + wait_s:
            eager_seen += eager.tick(due_s)
        t_s += wait_s
        eager_seen += eager.feed(Level(t_s, is_made))
        lazy_seen += lazy.feed(Level(t_s, is_made))
    assert eager_seen == lazy_seen
    changes = [s.state for s in lazy_seen]
    assert all(a is not b for a, b in pairwise(changes))
    assert all(s.reason is not Reason.STARTED or s.t_s - s.since_s >= 0.049 for s in lazy_seen)


@pytest.mark.parametrize(
    ("wrong", "text"),
    [
        ({"settle_s": 0.0}, "The settling time of the contact is 0.0 s; 0.005 to 5 s are allowed."),
        ({"stop_hold_s": 61.0}, "The hold before a stop is 61.0 s; 0.005 to 60 s are allowed."),
        ({"calm_s": math.nan}, "The calm after chatter is nan s; 0.1 to 60 s are allowed."),
        ({"most_changes": 1}, "The contact may change 1 times a second; 2 to 1000 are allowed."),
        ({"missing_s": 0.0}, "The longest time between looks is 0.0 s; 0.1 to 3600 s are allowed."),
    ],
)
def test_wrong_settings_are_refused_in_words(wrong, text):
    with pytest.raises(ValueError) as caught:
        ContactSettings(**wrong)
    assert str(caught.value) == text


def test_a_level_that_nobody_saw_last_is_no_news():
    """Open for longer than the hold, but not looked at since: lost, not stopped."""
    sensor = ContactSensor(ContactSettings(stop_hold_s=10.0))
    sensor.feed(Level(0.0, True))
    sensor.feed(Level(1.0, True))
    sensor.feed(Level(2.0, False))
    assert story(sensor.tick(30.0)) == [(7.0, "stale", "no_samples")]
