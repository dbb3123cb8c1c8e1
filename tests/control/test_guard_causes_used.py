"""The guard on reasons to start (C21): what uses one up, the shaker, and what lies at the edges."""

from dataclasses import replace

import pytest
from cause_shops import MOTORS, ask, cut, ends, make, reasons, resumed, shop, switch, tell, word

from gatekeeper.control.messages import (
    AirSeen,
    HandSeen,
    InputSeen,
    Missed,
    MotorSeen,
    Requested,
    ShopKeySeen,
    Stopping,
    SwitchSeen,
    Ticked,
    Woke,
)
from gatekeeper.control.plan import InputKind, InputPlan

DOOR, RED, HEAT = (InputPlan(k.value, k) for k in (InputKind.DOOR, InputKind.EMERGENCY, InputKind.FIRE))


FAN_DOOR = InputPlan("fan_door", InputKind.DOOR, ("fan",))


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
