"""The guard on reasons to start (C21): which inputs are one, how long it lasts, and what uses it up."""

from dataclasses import replace

import pytest

from gatekeeper.control.guard import Dropped, Guard
from gatekeeper.control.messages import (
    AirSeen,
    HandSeen,
    InputSeen,
    Kept,
    Lapsed,
    Missed,
    MotorSeen,
    Requested,
    SettingChanged,
    ShopKeySeen,
    Stopping,
    SwitchMotor,
    SwitchSeen,
    Ticked,
    ToolSeen,
    Woke,
)
from gatekeeper.control.plan import GatePlan, InputKind, InputPlan, MotorKind, MotorPlan, Plan, ToolPlan

DOOR, RED, HEAT = (InputPlan(k.value, k) for k in (InputKind.DOOR, InputKind.EMERGENCY, InputKind.FIRE))
FAN_DOOR = InputPlan("fan_door", InputKind.DOOR, ("fan",))
MANY = {"starts_capacity": 1e6, "rest_s": 0.0}


def word(text):
    """Equal to the literal, but never the same object."""
    return "".join(list(text))


def shop(inputs=(), resume=False, **plan):
    """A fan (saw, lathe) and a vacuum (lathe's second gate, and a planer), a room air cleaner and the fan's shaker."""
    motors = (
        MotorPlan("fan", spin_down_s=8.0, settle_s=2.0, coast_s=10.0, resume=resume, **MANY),
        MotorPlan("vac", MotorKind.VACUUM, spin_down_s=20.0, settle_s=2.0, resume=resume, **MANY),
        MotorPlan("room", MotorKind.AIR_CLEANER, settle_s=5.0, run_on_max_s=1000.0, **MANY),
        MotorPlan("shaker", MotorKind.SHAKER, follows=word("fan"), shake_s=15.0, **MANY),
    )
    gates = (
        GatePlan("a", "fan", 0.02, clear_s=3.0),
        GatePlan("b", "fan", 0.02, clear_s=12.0),
        GatePlan("c", "vac", 0.02, clear_s=40.0),
        GatePlan("d", "vac", 0.02, clear_s=3.0),
    )
    tools = (ToolPlan("saw", ("a",)), ToolPlan("lathe", ("a", "b", "c")), ToolPlan("planer", ("d",), spin_down_s=5.0))
    return Plan(
        {m.name: m for m in motors},
        {g.name: g for g in gates},
        {t.name: t for t in tools},
        inputs={source.name: source for source in inputs},
        **plan,
    )


MOTORS = ("fan", "vac", "room", "shaker")


def make(*inputs, kept=None, wake_s=0.0, plan=None):
    guard = Guard(plan or shop(inputs), kept or Kept())
    guard.plan.check()
    guard.observe(Woke(), wake_s)
    for source in inputs:
        guard.observe(InputSeen(source.name, "made"), wake_s)
    return guard


def tell(guard, now_s, tool, *states):
    for state in states:
        guard.observe(ToolSeen(word(tool), word(state)), now_s)


def ask(guard, now_s, what, subject=None, **more):
    guard.observe(Requested(word(what), subject and word(subject), **more), now_s)


def reasons(guard, now_s):
    """The motors that might be switched on now; the guard is put back."""
    state = guard.save()
    commands = [SwitchMotor(name, "on", 1e12) for name in MOTORS]
    judgement = guard.judge(commands, now_s)
    guard.restore(state)
    assert {dropped.rule for dropped in judgement.dropped} <= {"C21"}
    return {command.motor for command in judgement.allowed}


def switch(guard, now_s, motor, what, until_s=1e12):
    judgement = guard.judge([SwitchMotor(word(motor), word(what), until_s)], now_s)
    assert judgement.dropped == ()


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


def cut(guard, tool="saw", stop_s=100.0):
    tell(guard, 10.0, tool, "stopped", "running")
    tell(guard, stop_s, tool, "stopped")


def ends(guard, end_s, motor="fan"):
    assert motor in reasons(guard, end_s - 1e-3)
    assert motor not in reasons(guard, end_s)
    assert motor not in reasons(guard, end_s + 1e-3)


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


# ---------------------------------------------------------------- what uses a reason up


FORCED = [
    (InputSeen(word("emergency"), word("open")), set(MOTORS)),
    (InputSeen(word("fire"), word("open")), set(MOTORS)),
    (InputSeen(word("door"), word("open")), set(MOTORS)),
    (InputSeen(word("fan_door"), word("open")), {"fan"}),
    (Requested(word("stop"), None), set(MOTORS)),
    (Requested(word("stop"), word("fan")), {"fan"}),
    (Requested("stop", "nobody"), set()),
    (Requested(word("out_of_service"), None), set(MOTORS)),
    (Requested(word("out_of_service"), word("fan")), {"fan"}),
    (HandSeen("fan", word("off")), {"fan"}),
    (HandSeen("fan", word("hand")), {"fan"}),
    (HandSeen("fan", word("auto")), set()),
    (Stopping(), set(MOTORS)),
    (Woke(), set(MOTORS)),
    (Ticked(), set()),
    (MotorSeen("fan", "still"), set()),
    (MotorSeen("fan", "running"), set()),
    (AirSeen("fan", False), set()),
    (ShopKeySeen("shut"), set()),
    (Missed("a"), set()),
    (SwitchSeen("a", "shut"), set()),
    (Requested("seen", "x:fan"), set()),
    (InputSeen("door", "made"), set()),
]


def healed(guard, now_s):
    for name in ("emergency", "fire", "door", "fan_door"):
        guard.observe(InputSeen(name, "made"), now_s)
    for name in MOTORS:
        guard.observe(HandSeen(name, "auto"), now_s)
    ask(guard, now_s, "reset")
    ask(guard, now_s, "back_in_service")
    for name in MOTORS:
        ask(guard, now_s, "clear", name)


@pytest.mark.parametrize(("event", "used_up"), FORCED)
def test_a_forced_stop_uses_up_every_reason_that_stood(event, used_up):
    by_tool = make(DOOR, RED, HEAT, FAN_DOOR)
    tell(by_tool, 10.0, "lathe", "stopped", "running")
    by_stop = make(DOOR, RED, HEAT, FAN_DOOR)
    cut(by_stop, "lathe", 11.0)
    by_person = make(DOOR, RED, HEAT, FAN_DOOR)
    for name in MOTORS:
        ask(by_person, 10.0, "run", name)
    for guard in (by_tool, by_stop, by_person):
        before = reasons(guard, 11.0)
        assert before >= {"fan", "vac", "room"}
        guard.observe(event, 11.0)
        healed(guard, 11.0)
        assert reasons(guard, 11.0) == before - used_up


@pytest.mark.parametrize(("event", "used_up"), FORCED)
def test_a_forced_stop_uses_up_the_run_that_a_shaker_follows(event, used_up):
    guard = make(DOOR, RED, HEAT, FAN_DOOR)
    ask(guard, 10.0, "run", "fan")
    switch(guard, 10.0, "fan", "on")
    switch(guard, 11.0, "fan", "off")
    assert "shaker" in reasons(guard, 11.0)
    guard.observe(event, 11.0)
    healed(guard, 11.0)
    assert ("shaker" in reasons(guard, 11.0)) is ("shaker" not in used_up)


@pytest.mark.parametrize(
    "event",
    [
        InputSeen("emergency", "open"),
        InputSeen("fire", "open"),
        InputSeen("fan_door", "open"),
        Requested("out_of_service", "fan"),
        HandSeen("fan", "off"),
        HandSeen("fan", "hand"),
    ],
)
def test_a_start_or_a_press_while_something_forbids_the_motor_is_no_reason(event):
    guard = make(DOOR, RED, HEAT, FAN_DOOR)
    guard.observe(event, 10.0)
    tell(guard, 10.0, "saw", "stopped", "running")
    ask(guard, 10.0, "run", "fan")
    healed(guard, 11.0)
    assert "fan" not in reasons(guard, 11.0)
    tell(guard, 12.0, "saw", "stopped", "running")
    assert "fan" in reasons(guard, 12.0)


def test_a_start_while_an_input_is_unread_is_no_reason():
    guard = make(plan=shop((RED,)))
    tell(guard, 10.0, "saw", "stopped", "running")
    guard.observe(InputSeen("emergency", "made"), 11.0)
    assert reasons(guard, 11.0) == set()


def test_a_lost_lease_uses_up_the_reason():
    guard = make()
    tell(guard, 10.0, "saw", "stopped", "running")
    switch(guard, 10.0, "fan", "on", 15.0)
    assert "fan" in reasons(guard, 14.999)
    assert reasons(guard, 15.0) == {"room"}
    guard.observe(Ticked(), 20.0)
    assert reasons(guard, 20.0) == {"room"}
    tell(guard, 21.0, "saw", "stopped", "running")
    assert "fan" in reasons(guard, 21.0)


def test_an_off_leaves_the_reason():
    guard = make()
    tell(guard, 10.0, "saw", "stopped", "running")
    switch(guard, 10.0, "fan", "on")
    switch(guard, 11.0, "fan", "off")
    assert "fan" in reasons(guard, 11.0)


# ---------------------------------------------------------------- the shaker


def test_a_shaker_follows_the_run_of_its_motor():
    guard = make()
    ask(guard, 10.0, "run", "fan")
    ask(guard, 10.0, "run", "vac")
    switch(guard, 10.0, "shaker", "off")
    switch(guard, 10.0, "fan", "off")  # it was not on
    switch(guard, 10.0, "vac", "on")
    switch(guard, 20.0, "vac", "off")
    assert "shaker" not in reasons(guard, 20.0)
    switch(guard, 10.0, "fan", "on")
    assert "shaker" not in reasons(guard, 20.0)
    switch(guard, 100.0, "fan", "off")
    ends(guard, 100.0 + 10.0 + 15.0 + 60.0, "shaker")
    switch(guard, 150.0, "fan", "off")  # a second off is no second run
    ends(guard, 185.0, "shaker")


def test_a_shaker_shakes_once_for_each_run():
    guard = make()
    ask(guard, 10.0, "run", "fan")
    switch(guard, 10.0, "fan", "on")
    switch(guard, 100.0, "fan", "off")
    switch(guard, 110.0, "shaker", "on")
    switch(guard, 111.0, "shaker", "renew")
    assert "shaker" not in reasons(guard, 111.0)
    switch(guard, 120.0, "fan", "on")
    switch(guard, 130.0, "fan", "off")
    assert "shaker" in reasons(guard, 130.0)


def test_a_shaker_that_is_watched_may_be_tried_twice():
    plan = shop()
    plan = replace(plan, motors={**plan.motors, "shaker": replace(plan.motors["shaker"], confirm_s=2.0)})
    guard = make(plan=plan)
    ask(guard, 10.0, "run", "fan")
    for start_s in (10.0, 200.0):
        switch(guard, start_s, "fan", "on")
        switch(guard, start_s + 90.0, "fan", "off")
        for try_s in (91.0, 94.0):
            switch(guard, start_s + try_s, "shaker", "on")
            switch(guard, start_s + try_s + 2.0, "shaker", "off")
        assert "shaker" not in reasons(guard, start_s + 97.0)
    switch(guard, 400.0, "fan", "on")
    switch(guard, 401.0, "fan", "off")
    switch(guard, 402.0, "shaker", "on")
    guard.observe(MotorSeen("shaker", "running"), 403.0)
    assert "shaker" not in reasons(guard, 404.0)


def test_a_shaker_that_is_forbidden_at_the_off_does_not_follow():
    guard = make()
    ask(guard, 10.0, "run", "fan")
    switch(guard, 10.0, "fan", "on")
    ask(guard, 11.0, "out_of_service", "shaker")
    switch(guard, 12.0, "fan", "off")
    ask(guard, 13.0, "back_in_service", "shaker")
    assert "shaker" not in reasons(guard, 13.0)


def test_a_lost_lease_is_no_run_to_follow():
    guard = make()
    ask(guard, 10.0, "run", "fan")
    switch(guard, 10.0, "fan", "on", 15.0)
    guard.observe(Ticked(), 15.0)
    switch(guard, 15.0, "fan", "off")
    assert reasons(guard, 15.0) == set()


# ---------------------------------------------------------------- the sole exception


BEAT = {"t_s": 1000.0, "on": ["fan"], "resumed_s": None}


def resumed(wake_s=1010.0, seen_s=None, *, resume=True, same_boot=True, events=(), beat=BEAT, fresh=True, **values):
    """The reasons of a restarted process that finds saw and planer running."""
    kept = Kept({"beat": beat, **values}, fresh=fresh, same_boot=same_boot)
    guard = make(kept=kept, wake_s=wake_s, plan=shop(resume=resume))
    for event in events:
        guard.observe(event, wake_s)
    seen_s = wake_s if seen_s is None else seen_s
    tell(guard, seen_s, "saw", "running")
    tell(guard, seen_s, "planer", "running")
    return reasons(guard, seen_s)


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


# ---------------------------------------------------------------- at the edges


@pytest.mark.parametrize("what", ["sweep", "flush", "air_here"])
def test_only_run_takes_up_what_was_found_running(what):
    guard = make()
    tell(guard, 10.0, "saw", "running")
    ask(guard, 10.0, what, "fan", for_s=5.0)
    assert reasons(guard, 10.0) == {"fan"}
    assert reasons(guard, 10.0 + 3600.0) == set()


@pytest.mark.parametrize("states", [("running", "stale"), ("running", "stopped"), ()])
def test_run_takes_up_only_what_is_read_as_running(states):
    guard = make()
    tell(guard, 10.0, "saw", *states)
    ask(guard, 10.0, "stopped", "saw")
    ask(guard, 10.0, "run", "fan", for_s=5.0)
    ends(guard, 15.0)


def test_a_shaker_whose_switch_stands_at_hand_does_not_follow():
    guard = make()
    ask(guard, 10.0, "run", "fan")
    switch(guard, 10.0, "fan", "on")
    guard.observe(HandSeen("shaker", "hand"), 11.0)
    switch(guard, 12.0, "fan", "off")
    guard.observe(HandSeen("shaker", "auto"), 13.0)
    assert "shaker" not in reasons(guard, 13.0)


def test_a_run_that_was_followed_is_forgotten():
    guard = make()
    ask(guard, 10.0, "run", "fan")
    for used in ("on", "seen"):
        switch(guard, 20.0, "fan", "on")
        switch(guard, 20.0, "fan", "off")
        assert guard.motors["shaker"].shake_s == 105.0
        if used == "on":
            switch(guard, 21.0, "shaker", "on")
        else:
            guard.observe(MotorSeen("shaker", "running"), 22.0)
        assert guard.motors["shaker"].shake_s == float("-inf")


def test_the_kind_of_a_room_air_cleaner_may_be_plain_text():
    plan = shop()
    plan = replace(plan, motors={**plan.motors, "room": replace(plan.motors["room"], kind=word("air_cleaner"))})
    guard = make(plan=plan)
    tell(guard, 10.0, "saw", "stopped", "running")
    assert reasons(guard, 10.0) == {"fan", "room"}


def test_a_resumption_long_ago_counts_no_more():
    assert resumed(10000.0, beat={"t_s": 9990.0, "on": ["fan"], "resumed_s": 100.0}) == {"fan"}
