"""A contact that somebody works: press again, let go, time-out, and what starts nothing."""

import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gatekeeper.sensing.contact import ContactSettings
from gatekeeper.sensing.seen import Level, State
from gatekeeper.sensing.worked import WorkedSensor

QUICK = ContactSettings(settle_s=0.02, stop_hold_s=0.02)


class Hand:
    """A contact on a clock, looked at once a second beside its edges, as the loop does."""

    def __init__(self, *, by_presses: bool, ends_after_s: float | None = None) -> None:
        self.sensor = WorkedSensor(QUICK, by_presses=by_presses, ends_after_s=ends_after_s)
        self.t_s = 0.0
        self.is_made = False

    def to(self, t_s: float, is_made: bool | None = None) -> list[tuple[float, str, str]]:
        """Let the time go on, then put the contact there; everything told on the way."""
        seen = []
        while self.t_s < t_s:
            due_s, poll_s = self.sensor.next_deadline(), math.floor(self.t_s) + 1.0
            self.t_s = min(t_s, poll_s, max(due_s, self.t_s) if due_s is not None else math.inf)
            seen += self.sensor.tick(self.t_s)
            if self.t_s in (poll_s, t_s):
                seen += self.sensor.feed(Level(self.t_s, self.is_made))
        if is_made is not None:
            self.is_made = is_made
            seen += self.sensor.feed(Level(self.t_s, is_made))
        return [(round(one.t_s, 6), one.state.value, one.reason.value) for one in seen]

    def press(self, t_s: float) -> list[tuple[float, str, str]]:
        return self.to(t_s, True) + self.to(t_s + 0.25, False)


def button(ends_after_s: float | None = None) -> Hand:
    hand = Hand(by_presses=True, ends_after_s=ends_after_s)
    hand.to(0.0, False)
    assert hand.to(0.5) == [(0.02, "stopped", "first_look")]
    return hand


def hook(ends_after_s: float | None = None) -> Hand:
    hand = Hand(by_presses=False, ends_after_s=ends_after_s)
    hand.to(0.0, False)
    assert hand.to(0.5) == [(0.02, "stopped", "first_look")]
    return hand


def test_a_press_begins_and_the_next_ends():
    hand = button()
    assert hand.press(1.0) == [(1.02, "running", "started")]
    assert hand.to(500.0) == []
    assert hand.press(500.0) == [(500.02, "stopped", "ended")]
    assert hand.press(501.0) == [(501.02, "running", "started")]


def test_a_finger_that_stays_on_the_button_is_one_press():
    hand = button()
    assert hand.to(1.0, True) + hand.to(90.0) == [(1.02, "running", "started")]
    assert hand.to(90.0, False) + hand.to(95.0) == []


def test_a_run_by_presses_ends_by_itself():
    hand = button(30.0)
    assert hand.press(1.0) == [(1.02, "running", "started")]
    assert hand.to(60.0) == [(31.02, "stopped", "time_over")]
    assert hand.press(61.0) == [(61.02, "running", "started")]
    assert hand.press(70.0) == [(70.02, "stopped", "ended")]
    assert hand.to(200.0) == []


def test_a_button_stuck_down_ends_by_its_time_and_begins_nothing_more():
    hand = button(30.0)
    assert hand.to(1.0, True) + hand.to(500.0) == [(1.02, "running", "started"), (31.02, "stopped", "time_over")]


def test_a_button_pressed_at_the_first_look_asks_for_nothing():
    hand = Hand(by_presses=True)
    assert hand.to(0.0, True) + hand.to(3.0, False) + hand.to(4.0) == [(0.02, "stopped", "first_look")]
    assert hand.press(5.0) == [(5.02, "running", "started")]


def test_what_is_held_begins_when_it_is_made_and_ends_when_it_is_let_go():
    hand = hook()
    assert hand.to(1.0, True) + hand.to(900.0) == [(1.02, "running", "started")]
    assert hand.to(900.0, False) + hand.to(901.0) == [(900.02, "stopped", "ended")]


def test_what_is_held_at_the_first_look_is_found_running():
    hand = Hand(by_presses=False)
    assert hand.to(0.0, True) + hand.to(1.0) == [(0.02, "running", "first_look")]


def test_what_is_held_too_long_must_be_let_go_before_the_next_run():
    hand = hook(30.0)
    assert hand.to(1.0, True) + hand.to(200.0) == [(1.02, "running", "started"), (31.02, "stopped", "time_over")]
    assert hand.to(200.0, False) + hand.to(201.0) == []
    assert hand.to(201.0, True) + hand.to(202.0) == [(201.02, "running", "started")]


def lose(hand: Hand) -> list[tuple[float, str, str]]:
    """Nobody looks for a while."""
    hand.t_s += 10.0
    seen = hand.sensor.tick(hand.t_s)
    return [(round(one.t_s, 6), one.state.value, one.reason.value) for one in seen]


def test_a_run_by_presses_goes_on_after_a_loss_and_is_found():
    hand = button(60.0)
    hand.press(1.0)
    (lost,) = lose(hand)
    assert lost[1:] == ("stale", "no_samples")
    (found,) = hand.to(hand.t_s, False) + hand.to(hand.t_s + 5.0)
    assert found[1:] == ("running", "returned")
    assert hand.to(100.0) == [(61.02, "stopped", "time_over")]


def test_a_run_whose_time_was_over_in_a_loss_is_not_found_again():
    hand = button(8.0)
    hand.press(1.0)
    assert [one[1:] for one in lose(hand)] == [("stale", "no_samples")]
    told = hand.to(hand.t_s, False) + hand.to(hand.t_s + 5.0)
    assert [one[1:] for one in told] == [("stopped", "returned")]
    assert hand.to(100.0) == []


@pytest.mark.parametrize("is_made", [True, False])
def test_what_is_held_is_found_as_it_is_after_a_loss(is_made):
    hand = hook()
    hand.to(1.0, True)
    hand.to(2.0)
    assert [one[1:] for one in lose(hand)] == [("stale", "no_samples")]
    told = hand.to(hand.t_s, is_made) + hand.to(hand.t_s + 5.0)
    assert [one[1:] for one in told] == [("running" if is_made else "stopped", "returned")]


def test_a_stuck_hook_whose_time_is_over_stays_ended_through_a_loss():
    hand = hook(30.0)
    hand.to(1.0, True)
    hand.to(40.0)
    lose(hand)
    told = hand.to(hand.t_s, True) + hand.to(hand.t_s + 5.0)
    assert [one[1:] for one in told] == [("stopped", "returned")]


@settings(max_examples=150, deadline=None)
@given(
    by_presses=st.booleans(),
    ends_after_s=st.sampled_from([None, 3.0]),
    story=st.lists(st.tuples(st.floats(0.01, 4.0), st.booleans()), max_size=40),
)
def test_no_run_without_a_change_that_was_seen_and_no_state_twice(by_presses, ends_after_s, story):
    sensor = WorkedSensor(QUICK, by_presses=by_presses, ends_after_s=ends_after_s)
    t_s, levels, told = 0.0, [], []
    for wait_s, is_made in story:
        while (due_s := sensor.next_deadline()) is not None and due_s < t_s + wait_s:
            told += sensor.tick(due_s)
        t_s += wait_s
        told += sensor.feed(Level(t_s, is_made))
        levels.append(is_made)
    states = [one.state for one in told]
    assert all(a is not b for a, b in pairwise(states))
    fresh = [one for one in told if one.state is State.RUNNING and one.reason.is_fresh]
    rises = sum(not before and after for before, after in pairwise(levels))
    assert len(fresh) <= rises
    if ends_after_s is not None and states and states[-1] is State.RUNNING:
        assert t_s - told[-1].t_s < ends_after_s


@pytest.mark.parametrize("ends_after_s", [0.0, -1.0, math.inf, math.nan])
def test_a_run_ends_after_some_time(ends_after_s):
    with pytest.raises(ValueError) as caught:
        WorkedSensor(by_presses=True, ends_after_s=ends_after_s)
    assert str(caught.value) == f"The run ends after {ends_after_s} s; it must be more than 0 s."
