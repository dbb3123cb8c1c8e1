"""The guard on the sole exception of C21: a quick restart within the boot."""

import pytest
from cause_shops import BEAT, ask, ends, make, reasons, resumed, shop, switch, tell

from gatekeeper.control.messages import (
    Kept,
    Lapsed,
    Requested,
    Ticked,
    ToolSeen,
    Woke,
)


def test_a_quick_restart_within_the_boot_goes_on():
    assert resumed() == {"fan"}
    assert resumed(resume=False) == set()
    assert resumed(same_boot=False) == set()
    assert resumed(beat=None) == set()
    assert resumed(beat={**BEAT, "on": []}) == set()
    assert resumed(beat={**BEAT, "on": ["vac"]}) == {"vac"}


def test_out_of_service_does_not_go_on():
    guard = make(
        kept=Kept({"beat": BEAT, "out_of_service/fan": True}, same_boot=True), wake_s=1010.0, plan=shop(resume=True)
    )
    tell(guard, 1010.0, "saw", "running")
    ask(guard, 1010.0, "back_in_service")
    assert reasons(guard, 1010.0) == set()


@pytest.mark.parametrize("key", ["emergency", "fire"])
def test_a_latch_does_not_go_on_when_it_is_reset(key):
    guard = make(kept=Kept({"beat": BEAT, key: True}, same_boot=True), wake_s=1010.0, plan=shop(resume=True))
    ask(guard, 1010.0, "reset")
    tell(guard, 1010.0, "saw", "running")
    assert reasons(guard, 1010.0) == set()


@pytest.mark.parametrize(
    ("wake_s", "seen_s", "expected"),
    [
        (1059.999, None, {"fan"}),
        (1060.0, None, {"fan"}),
        (1060.001, None, set()),
        (1010.0, 1060.0, {"fan"}),
        (1010.0, 1060.001, set()),
    ],
)
def test_it_goes_on_within_a_minute_of_the_last_beat(wake_s, seen_s, expected):
    assert resumed(wake_s, seen_s) == expected


@pytest.mark.parametrize(
    ("before_s", "expected"), [(3599.999, set()), (3600.0, {"fan"}), (3600.001, {"fan"}), (10.0, set())]
)
def test_it_goes_on_once_an_hour(before_s, expected):
    beat = {"t_s": 9990.0, "on": ["fan"], "resumed_s": 10000.0 - before_s}
    assert resumed(10000.0, beat=beat) == expected


@pytest.mark.parametrize(
    ("events", "expected"),
    [
        ((ToolSeen("saw", "stale"),), set()),
        ((Requested("stop"),), set()),
        ((Requested("stop", "fan"),), set()),
        ((Requested("stop", "vac"),), {"fan"}),
        ((Woke(),), {"fan"}),
        ((Ticked(),), {"fan"}),
    ],
)
def test_what_came_between_decides(events, expected):
    assert resumed(events=events) == expected


def test_a_tool_taken_up_is_like_one_that_started():
    guard = make(kept=Kept({"beat": BEAT}, same_boot=True), wake_s=1010.0, plan=shop(resume=True))
    tell(guard, 1010.0, "saw", "running")
    switch(guard, 1012.0, "fan", "on")
    tell(guard, 1100.0, "saw", "stopped")
    switch(guard, 1101.0, "fan", "off")
    ends(guard, 1108.0)


def waits(*events):
    """A guard that woke at 1010 s, found the saw running, and whose fan has not been switched on yet."""
    guard = make(kept=Kept({"beat": BEAT}, same_boot=True), wake_s=1010.0, plan=shop(resume=True))
    tell(guard, 1010.0, "saw", "running")
    for event in events:
        guard.observe(event, 1020.0)
    return guard


def test_it_goes_on_within_a_minute_of_waking_or_not_at_all():
    guard = waits()
    assert reasons(guard, 1069.999) == {"fan"}
    ends(waits(), 1070.0)
    tell(guard, 1080.0, "saw", "stopped", "running")
    assert reasons(guard, 1080.0) == {"fan", "room"}


def test_a_resumed_run_that_has_ended_goes_no_further_than_that_minute():
    guard = waits()
    tell(guard, 1065.0, "saw", "stopped")
    ends(guard, 1070.0)


@pytest.mark.parametrize(
    "events",
    [(ToolSeen("saw", "stopped"), ToolSeen("saw", "running")), (Requested("run", "fan", for_s=1.0),)],
)
def test_a_fresh_start_or_a_press_needs_no_resumption(events):
    assert "fan" in reasons(waits(*events), 1100.0)


def test_another_tools_cause_outlasts_what_was_not_resumed():
    guard = waits()
    tell(guard, 1030.0, "lathe", "stopped", "running")
    assert reasons(guard, 1069.0) == {"fan", "vac", "room"}
    tell(guard, 1080.0, "lathe", "stopped")
    ends(guard, 1092.0)  # its longest clear time: the saw is no cause any more


def test_a_switch_that_says_that_its_lease_ran_out_uses_up_what_asked_for_that_motor():
    guard = make()
    tell(guard, 10.0, "lathe", "stopped", "running")  # on both systems
    switch(guard, 10.0, "fan", "on")
    guard.observe(Lapsed("fan"), 16.0)
    assert "fan" not in reasons(guard, 16.0)
    assert "vac" in reasons(guard, 16.0)


def test_a_forced_stop_forgets_what_was_to_be_resumed():
    guard = waits(Requested("stop"))
    assert reasons(guard, 1020.0) == set()
    assert guard.motors["fan"].resumed == frozenset()
