"""The guard on reasons to start (C21): which inputs are one, and how long it lasts."""

from dataclasses import replace

import pytest
from cause_shops import ask, cut, ends, make, reasons, shop, tell, word

from gatekeeper.control.guard import Dropped
from gatekeeper.control.messages import (
    Kept,
    SettingChanged,
    SwitchMotor,
)

# ---------------------------------------------------------------- a tool seen to start


def test_without_a_reason_nothing_starts():
    guard = make()
    assert reasons(guard, 100.0) == set()
    command = SwitchMotor("fan", "on", 200.0)
    assert guard.judge([command], 100.0).dropped == (
        Dropped(command, "C21", "fan has no fresh reason to start: no tool was seen to start and nobody asked."),
    )


@pytest.mark.parametrize(
    ("tool", "expected"),
    [("saw", {"fan", "room"}), ("lathe", {"fan", "vac", "room"}), ("planer", {"vac", "room"})],
)
def test_a_tool_seen_to_start_is_a_reason_for_its_systems_and_the_room(tool, expected):
    guard = make()
    tell(guard, 10.0, tool, "stopped")
    assert reasons(guard, 10.0) == set()
    tell(guard, 11.0, tool, "running")
    assert reasons(guard, 11.0) == expected
    assert reasons(guard, 1e9) == expected


@pytest.mark.parametrize(
    "states",
    [
        ("running",),
        ("stale", "running"),
        ("stopped", "stale", "running"),
        ("running", "running"),
        ("running", "stale", "running"),
        ("stopped", "stale"),
        ("stopped", "stopped"),
    ],
)
def test_a_tool_found_running_or_a_sensor_that_came_back_is_none(states):
    guard = make()
    tell(guard, 10.0, "saw", *states)
    assert reasons(guard, 10.0) == set()


def test_a_tool_found_running_is_one_when_it_has_stopped_and_started_again():
    guard = make()
    tell(guard, 10.0, "saw", "running", "stopped")
    assert reasons(guard, 10.0) == set()
    tell(guard, 10.0, "saw", "running")
    assert reasons(guard, 10.0) == {"fan", "room"}


@pytest.mark.parametrize(("now_s", "expected"), [(101.999, set()), (102.0, {"fan"}), (102.001, {"fan"})])
def test_a_start_while_the_sensors_settle_is_none(now_s, expected):
    guard = make(wake_s=100.0)
    tell(guard, now_s, "saw", "stopped", "running")
    assert reasons(guard, now_s) == expected
    tell(guard, 104.999, "saw", "stopped", "running")
    assert reasons(guard, 104.999) == {"fan"}
    tell(guard, 105.0, "saw", "stopped", "running")
    assert reasons(guard, 105.0) == {"fan", "room"}


def test_the_reason_lasts_while_the_sensor_is_lost():
    guard = make()
    tell(guard, 10.0, "saw", "stopped", "running", "stale")
    assert reasons(guard, 1e6) == {"fan", "room"}
    tell(guard, 1e6, "saw", "running")
    assert reasons(guard, 2e6) == {"fan", "room"}


# ---------------------------------------------------------------- until when


def test_it_ends_with_the_delay_or_the_clear_time_after_the_stop():
    guard = make()
    cut(guard)
    ends(guard, 108.0)  # the fan's delay
    ends(guard, 1100.0, "room")
    guard = make()
    cut(guard, "lathe")
    ends(guard, 112.0)  # the longer of its clear times there
    ends(guard, 140.0, "vac")
    guard = make()
    cut(guard, "planer")
    ends(guard, 105.0, "vac")  # its own delay, shorter than the vacuum's


def test_a_second_stop_reading_does_not_stretch_it():
    guard = make()
    cut(guard)
    tell(guard, 104.0, "saw", "stopped", "stale", "stopped")
    ends(guard, 108.0)


def test_a_person_who_says_that_it_is_stopped_ends_the_cut():
    guard = make()
    tell(guard, 10.0, "saw", "stopped", "running", "stale")
    tell(guard, 10.0, "lathe", "stopped", "running")
    ask(guard, 100.0, "stopped", "lathe")  # not lost: the word counts for nothing
    ask(guard, 100.0, "stopped", "saw")
    tell(guard, 100.0, "lathe", "stopped")
    tell(guard, 104.0, "saw", "stale", "running", "stopped")
    ends(guard, 112.0)
    tell(guard, 150.0, "saw", "running")
    tell(guard, 150.0, "saw", "stale")
    ask(guard, 200.0, "stopped", "saw")
    ends(guard, 208.0)


def test_the_latest_of_several_tools_binds_and_a_restart_begins_anew():
    guard = make()
    cut(guard, "lathe", 100.0)
    tell(guard, 101.0, "saw", "stopped", "running")
    tell(guard, 103.0, "saw", "stopped")
    ends(guard, 112.0)
    tell(guard, 110.0, "saw", "running", "stopped")
    ends(guard, 118.0)
    tell(guard, 117.0, "saw", "running")
    assert reasons(guard, 1e6) == {"fan", "room"}
    tell(guard, 200.0, "saw", "stopped")
    ends(guard, 208.0)


def test_a_changed_delay_counts_at_once():
    guard = make()
    cut(guard)
    guard.observe(SettingChanged(word("fan"), "spin_down_s", 30.0), 101.0)
    ends(guard, 130.0)
    guard.observe(SettingChanged("fan", "spin_down_s", 4.0), 102.0)
    ends(guard, 104.0)
    guard.observe(SettingChanged("saw", "spin_down_s", 60.0), 103.0)
    ends(guard, 160.0)
    guard.observe(SettingChanged("saw", "spin_down_s", None), 103.0)
    ends(guard, 104.0)
    guard.observe(SettingChanged("fan", "spin_down_s", None), 103.0)
    ends(guard, 108.0)
    guard.observe(SettingChanged("nobody", "spin_down_s", 1e6), 103.0)
    guard.observe(SettingChanged("vac", "spin_down_s", 1e6), 103.0)
    guard.observe(SettingChanged("fan", "spin_down_s", 0.0), 103.0)
    ends(guard, 103.0 + 1e-9)
    assert "fan" not in reasons(guard, 103.0)  # the clear time of 3 s is over too


def test_a_delay_out_of_range_changes_nothing():
    guard = make()
    guard.observe(SettingChanged("fan", "spin_down_s", 3600.0), 1.0)
    guard.observe(SettingChanged("fan", "spin_down_s", 3600.001), 2.0)
    guard.observe(SettingChanged("fan", "spin_down_s", -0.001), 3.0)
    cut(guard)
    ends(guard, 3700.0)
    guard.observe(SettingChanged("fan", "spin_down_s", 0.0), 101.0)
    ends(guard, 103.0)  # its clear time


def test_a_tools_own_delay_replaces_the_collectors_and_goes_back_to_the_plans():
    guard = make()
    guard.observe(SettingChanged("planer", "spin_down_s", 50.0), 1.0)
    cut(guard, "planer")
    ends(guard, 150.0, "vac")
    guard.observe(SettingChanged("planer", "spin_down_s", None), 101.0)
    ends(guard, 105.0, "vac")


def test_a_delay_that_is_over_is_not_revived():
    guard = make()
    cut(guard)
    guard.observe(SettingChanged("fan", "spin_down_s", 500.0), 108.0)
    assert "fan" not in reasons(guard, 108.0)


def test_kept_settings_count_from_the_start():
    for values, end_s in (
        ({"setting/fan/spin_down_s": 30.0}, 130.0),
        ({"setting/fan/spin_down_s": 0.0}, 103.0),
        ({"setting/saw/spin_down_s": 60.0, "setting/fan/spin_down_s": 30.0}, 160.0),
        ({"setting/saw/spin_down_s": None, "setting/fan/spin_down_s": None}, 108.0),
    ):
        guard = make(kept=Kept(values, fresh=True))
        cut(guard)
        ends(guard, end_s)


# ---------------------------------------------------------------- a person's run


@pytest.mark.parametrize(
    ("what", "subject", "expected"),
    [
        ("run", "fan", {"fan"}),
        ("run", "room", {"room"}),
        ("run", "shaker", {"shaker"}),
        ("run", None, set()),
        ("run", "nobody", set()),
        ("air_here", "saw", {"fan"}),
        ("air_here", "lathe", {"fan", "vac"}),
        ("air_here", "c", {"vac"}),
        ("flush", "vac", {"vac"}),
        ("flush", None, set()),
        ("sweep", "vac", {"vac"}),
        ("sweep", None, set()),
        ("open", "a", set()),
        ("shut", "a", set()),
        ("stop", "fan", set()),
        ("clear", "fan", set()),
        ("reset", None, set()),
        ("still_running", "saw", set()),
        ("back_in_service", "fan", set()),
    ],
)
def test_which_requests_are_a_reason(what, subject, expected):
    guard = make()
    ask(guard, 10.0, what, subject)
    assert reasons(guard, 10.0) == expected


def test_a_sweep_means_the_sweep_gates():
    guard = make(plan=replace(shop(), sweep_gates=("a", "d")))
    ask(guard, 10.0, "sweep")
    assert reasons(guard, 10.0) == {"fan", "vac"}
    guard = make(plan=replace(shop(), sweep_gates=("d",)))
    ask(guard, 10.0, "sweep", "fan")
    assert reasons(guard, 10.0) == {"fan"}
    guard = make(plan=replace(shop(), sweep_gates=("d",)))
    ask(guard, 10.0, "air_here")
    ask(guard, 10.0, "run")
    ask(guard, 10.0, "flush")
    assert reasons(guard, 10.0) == set()
    ask(guard, 10.0, "sweep")
    assert reasons(guard, 10.0) == {"vac"}


@pytest.mark.parametrize(
    ("what", "for_s", "end_s"),
    [
        ("run", 50.0, 150.0),
        ("run", None, 3700.0),
        ("air_here", 7200.0, 7300.0),
        ("sweep", 5.0, 105.0),
        ("flush", None, 3700.0),
        ("flush", 5.0, 3700.0),
    ],
)
def test_it_ends_by_itself(what, for_s, end_s):
    guard = make()
    ask(guard, 100.0, what, "fan", for_s=for_s)
    ends(guard, end_s)


def test_a_run_of_no_time_is_none():
    guard = make()
    ask(guard, 100.0, "run", "fan", for_s=0.0)
    assert reasons(guard, 100.0) == set()


def test_a_shorter_run_does_not_cut_a_longer_one():
    guard = make()
    ask(guard, 100.0, "run", "fan", for_s=100.0)
    ask(guard, 110.0, "run", "fan", for_s=10.0)
    ends(guard, 200.0)
    ask(guard, 110.0, "run", "fan", for_s=95.0)
    ends(guard, 205.0)


def test_the_press_takes_up_the_tools_that_were_found_running():
    guard = make()
    tell(guard, 10.0, "saw", "running")
    tell(guard, 10.0, "lathe", "running", "stale")
    tell(guard, 10.0, "planer", "running")
    for what in ("air_here", "sweep", "flush"):
        ask(guard, 10.0, what, "fan", for_s=1.0)
    ask(guard, 5000.0, "run", "fan", for_s=1.0)
    assert reasons(guard, 1e6) == {"fan"}
    tell(guard, 1e6, "saw", "stopped")
    ends(guard, 1e6 + 8.0)


def test_air_here_takes_up_nothing():
    guard = make()
    tell(guard, 10.0, "saw", "running")
    ask(guard, 10.0, "air_here", "saw", for_s=5.0)
    ends(guard, 15.0)


def test_a_request_counts_while_the_sensors_settle():
    guard = make()
    ask(guard, 0.0, "run", "fan")
    assert reasons(guard, 0.0) == {"fan"}
