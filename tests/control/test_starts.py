"""The start store (C8, C8a): two at most, a steady refill, a start in hand."""

import pytest

from gatekeeper.control.starts import StartStore

FULL = StartStore(2.0, 0.0, 60.0)  # one start a minute


@pytest.mark.parametrize(
    ("at_s", "level"), [(0.0, 0.0), (30.0, 0.5), (60.0, 1.0), (119.0, 119 / 60), (120.0, 2.0), (9e9, 2.0), (-5.0, 0.0)]
)
def test_it_refills_steadily_and_holds_two(at_s, level):
    assert StartStore(0.0, 0.0, 60.0).level_at(at_s) == pytest.approx(level)


def test_each_on_takes_one_and_never_below_nothing():
    once = FULL.charged(10.0)
    assert (once.level, once.at_s) == (1.0, 10.0)
    assert once.charged(10.0).charged(10.0).level == 0.0


@pytest.mark.parametrize(("at_s", "may"), [(59.99, False), (60.0, True)])
def test_a_start_waits_for_a_whole_start(at_s, may):
    store = StartStore(0.0, 0.0, 60.0)
    assert store.whole_start_at() == 60.0
    assert store.has_start(at_s) is may
    assert store.may_start(at_s) is may


def test_a_stop_with_a_start_in_hand_needs_no_rest():
    assert FULL.stopped(5.0, 80.0).rest_until_s is None


def test_a_stop_without_one_rests_as_well_as_refills():
    store = FULL.charged(0.0).charged(0.0).stopped(3.0, 80.0)
    assert store.rest_until_s == 83.0
    assert store.may_start_at() == 83.0
    assert not store.may_start(82.0)
    assert store.may_start(83.0)


def test_the_refill_binds_where_it_is_longer_than_the_rest():
    assert FULL.charged(0.0).charged(0.0).stopped(0.0, 5.0).may_start_at() == 60.0


def test_a_start_ends_the_rest():
    assert FULL.charged(0.0).charged(0.0).stopped(3.0, 80.0).charged(90.0).rest_until_s is None


def test_a_lost_record_starts_nothing_until_it_is_cleared():
    store = StartStore(1.0, 0.0, 60.0, locked=True)
    assert store.may_start_at() is None
    assert not store.may_start(1e6)
    assert store.unlocked().may_start(0.0)
