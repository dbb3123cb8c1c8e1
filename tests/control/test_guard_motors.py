"""The guard on motors: a start in hand (C8, C8a), runs that are lent and renewed (C23)."""

import pytest

from gatekeeper.control.guard import Dropped, Guard
from gatekeeper.control.messages import Kept, MotorSeen, Requested, SwitchMotor, Ticked, ToolSeen, Woke
from gatekeeper.control.plan import GatePlan, MotorPlan, Plan, ToolPlan

# 36 starts an hour: one start refills in 100 s.
REFILL_S = 100.0


def word(text):
    """Equal to the literal, but never the same object."""
    return "".join(list(text))


def make(kept=None, wake_s=0.0, **motor):
    fan = MotorPlan(**{"name": "fan", "starts_per_hour": 36.0, "rest_s": 30.0, **motor})
    guard = Guard(Plan({"fan": fan, "vac": MotorPlan("vac", starts_per_hour=36.0)}, {}, {}), kept or Kept())
    guard.observe(Woke(), wake_s)
    return guard


def on(until_s=1e9, motor="fan"):
    return SwitchMotor(word(motor), word("on"), until_s)


def off(motor="fan"):
    return SwitchMotor(word(motor), word("off"))


def renew(until_s=1e9, motor="fan"):
    return SwitchMotor(word(motor), word("renew"), until_s)


def verdict(guard, now_s, *commands):
    """The rule that each motor command falls to, or "ok"; the guard's state moves on."""
    judgement = guard.judge(commands, now_s)
    rules = {id(dropped.command): dropped.rule for dropped in judgement.dropped}
    return [rules.get(id(command), "ok") for command in commands]


def would(guard, now_s, *commands):
    """The same, with somebody asking for a run first; the guard is put back."""
    state = guard.save()
    guard.observe(Requested("run", "fan", for_s=1e12), now_s)
    result = verdict(guard, now_s, *commands)
    guard.restore(state)
    return result


def run(guard, now_s, *commands):
    """The same, and the state stays."""
    guard.observe(Requested("run", "fan", for_s=1e12), now_s)
    return verdict(guard, now_s, *commands)


def starts_in_hand(guard, now_s):
    """How many starts in a row are let through (switched on again and again, never off)."""
    return would(guard, now_s, *[on() for _ in range(5)]).count("ok")


# ---------------------------------------------------------------- the store


def test_two_starts_are_in_hand_at_first_and_a_third_is_refilled():
    guard = make()
    assert run(guard, 10.0, on(), on(), on()) == ["ok", "ok", "C8"]
    assert would(guard, 10.0 + REFILL_S - 1e-3, on()) == ["C8"]
    assert would(guard, 10.0 + REFILL_S, on()) == ["ok"]
    assert would(guard, 10.0 + REFILL_S + 1e-3, on()) == ["ok"]
    assert starts_in_hand(guard, 10.0 + 2 * REFILL_S - 1e-3) == 1
    assert starts_in_hand(guard, 10.0 + 2 * REFILL_S) == 2
    assert starts_in_hand(guard, 1e7) == 2


def test_a_hair_less_than_one_start_is_enough_and_two_hairs_are_not():
    guard = make()
    run(guard, 0.0, on(), on())
    assert would(guard, REFILL_S * (1 - 0.5e-6), on()) == ["ok"]
    assert would(guard, REFILL_S * (1 - 2e-6), on()) == ["C8"]


def test_the_store_refills_while_the_motor_runs_and_across_a_part():
    guard = make()
    run(guard, 0.0, on())
    assert run(guard, 50.0, on()) == ["ok"]  # 1.5 before, 0.5 after
    assert would(guard, 99.9, on()) == ["C8"]
    assert would(guard, 100.0, on()) == ["ok"]
    assert starts_in_hand(guard, 199.9) == 1
    assert starts_in_hand(guard, 200.0) == 2


@pytest.mark.parametrize(("capacity", "starts"), [(1.0, 1), (1.5, 1), (2.0, 2), (3.0, 3)])
def test_the_store_holds_what_the_plan_says(capacity, starts):
    guard = make(starts_capacity=capacity)
    assert starts_in_hand(guard, 0.0) == starts
    assert starts_in_hand(guard, 1e7) == starts


def test_each_motor_has_a_store_of_its_own():
    guard = make()
    run(guard, 0.0, on(), on())
    guard.observe(Requested("run", "vac"), 0.0)
    assert verdict(guard, 0.0, on(motor="vac"), off(motor="vac"), on()) == ["ok", "ok", "C8"]


def test_a_renewal_costs_no_start():
    guard = make()
    run(guard, 0.0, on())
    assert verdict(guard, 1.0, *[renew() for _ in range(9)]) == ["ok"] * 9
    assert starts_in_hand(guard, 1.0) == 1


def test_after_an_off_with_less_than_one_start_the_motor_rests():
    guard = make(rest_s=200.0)
    run(guard, 0.0, on(), on())
    assert verdict(guard, 50.0, off()) == ["ok"]
    assert would(guard, 249.999, on()) == ["C8"]
    assert would(guard, 250.0, on()) == ["ok"]
    assert would(guard, 250.001, on()) == ["ok"]


def test_after_a_short_rest_the_store_still_binds():
    guard = make(rest_s=10.0)
    run(guard, 0.0, on(), on())
    verdict(guard, 50.0, off())
    assert would(guard, 99.999, on()) == ["C8"]
    assert would(guard, 100.0, on()) == ["ok"]


@pytest.mark.parametrize(("off_s", "rests"), [(99.999, True), (100.0 - 0.5e-4, False), (100.0, False), (100.1, False)])
def test_an_off_with_a_whole_start_needs_no_rest(off_s, rests):
    guard = make(rest_s=200.0)
    run(guard, 0.0, on(), on())
    verdict(guard, off_s, off())
    assert would(guard, 110.0, on()) == ["C8" if rests else "ok"]


def test_a_second_off_does_not_lengthen_the_rest():
    guard = make(rest_s=200.0)
    run(guard, 0.0, on(), on())
    verdict(guard, 50.0, off())
    verdict(guard, 60.0, off())
    assert would(guard, 250.0, on()) == ["ok"]


def test_off_and_on_in_one_list_are_taken_in_order():
    guard = make(rest_s=200.0)
    run(guard, 0.0, on())
    assert would(guard, 1.0, off(), on()) == ["ok", "ok"]
    assert would(guard, 1.0, on(), off(), on()) == ["ok", "ok", "C8"]
    assert would(guard, 1.0, off(), renew()) == ["ok", "C23"]
    assert would(guard, 1.0, renew(), off()) == ["ok", "ok"]


def test_what_is_said_about_the_store():
    guard = make()
    run(guard, 0.0, on(), on())
    command = on()
    assert guard.judge([command], 1.0).dropped == (
        Dropped(command, "C8", "fan is not switched on: it was started too often and has to rest."),
    )


# ---------------------------------------------------------------- the store at waking


def kept(level=None, **values):
    if level is not None:
        values["starts/fan"] = {"level": level}
    return Kept({key.replace("_fan", "/fan"): value for key, value in values.items()}, fresh=False)


@pytest.mark.parametrize("wake_s", [0.0, 1e6])
@pytest.mark.parametrize("level", [0.0, 0.25, 0.999, 1.0, 1.5, 2.0])
def test_the_kept_level_counts_from_waking(level, wake_s):
    guard = make(kept(level), wake_s)
    assert starts_in_hand(guard, wake_s) == int(level)
    whole_s = wake_s + (1.0 - level % 1.0) * REFILL_S
    if level < 2.0:
        assert starts_in_hand(guard, whole_s - 0.01) == int(level)
        assert starts_in_hand(guard, whole_s + 0.01) == int(level) + 1


def test_more_than_the_store_holds_is_not_believed():
    guard = make(kept(9.0))
    assert starts_in_hand(guard, 0.0) == 2
    run(guard, 0.0, on(), on())
    assert starts_in_hand(guard, REFILL_S - 0.01) == 0


def test_the_first_list_wakes_the_guard_too():
    guard = Guard(Plan({"fan": MotorPlan("fan", starts_per_hour=36.0)}, {}, {}), kept(0.5))
    assert verdict(guard, 1000.0) == []
    assert starts_in_hand(guard, 1049.9) == 0
    assert starts_in_hand(guard, 1050.0) == 1


def test_any_first_input_wakes_the_guard_and_a_later_waking_refills_nothing():
    guard = Guard(Plan({"fan": MotorPlan("fan", starts_per_hour=36.0)}, {}, {}), kept(0.5))
    guard.observe(Ticked(), 1000.0)
    guard.observe(Woke(), 1010.0)
    assert starts_in_hand(guard, 1049.9) == 0
    assert starts_in_hand(guard, 1050.0) == 1
    run(guard, 1050.0, on())
    guard.observe(Woke(), 1050.0)
    assert starts_in_hand(guard, 1050.0) == 0


@pytest.mark.parametrize(
    ("values", "charged"),
    [
        ({}, False),
        ({"on_fan": True}, True),
        ({"on_fan": False}, False),
        ({"on_fan": None}, False),
        ({"on_fan": True, "clean_stop": True}, False),
        ({"on_fan": True, "clean_stop": False}, True),
        ({"on_fan": True, "clean_stop": None}, True),
    ],
)
def test_a_motor_that_was_on_without_a_clean_stop_is_charged_one_more(values, charged):
    assert starts_in_hand(make(kept(2.0, **values)), 0.0) == (1 if charged else 2)
    low = make(kept(0.25, **values), rest_s=0.0)
    assert would(low, 74.9, on()) == ["C8"]
    assert would(low, 75.1, on()) == ["C8" if charged else "ok"]
    assert would(low, 99.9, on()) == ["C8" if charged else "ok"]  # never below nothing
    assert would(low, 100.0, on()) == ["ok"]


def test_a_motor_that_waking_stopped_with_less_than_one_start_rests():
    for level, rests in ((1.9, True), (1.999, True), (2.0 - 0.5e-6, False), (2.0, False)):
        guard = make(kept(level, on_fan=True), 500.0, rest_s=300.0)
        assert would(guard, 799.999, on()) == ["C8" if rests else "ok"]
        assert would(guard, 800.0, on()) == ["ok"]
    assert would(make(kept(0.9), 500.0, rest_s=300.0), 520.0, on()) == ["ok"]  # it was not on


@pytest.mark.parametrize(
    "lost", [Kept(fresh=False), Kept(damaged=True), Kept({"starts/fan": {"level": 2.0}}, fresh=False, damaged=True)]
)
def test_a_lost_record_leaves_one_start_for_when_a_person_has_cleared_it(lost):
    guard = make(lost)
    for event in (Requested("reset"), Requested("back_in_service")):
        guard.observe(event, 0.0)
    command = on()
    guard.observe(Requested("run", "fan"), 0.0)
    assert guard.judge([command], 0.0).dropped == (
        Dropped(command, "C8", "fan is not switched on: the record of its starts was lost. Clear that alarm first."),
    )
    for subject in (None, "vac", "nobody"):
        guard.observe(Requested("clear", subject), 1.0)
    assert would(guard, 1e6, on()) == ["C8"]
    guard.observe(Requested(word("clear"), word("fan")), 1.0)
    assert starts_in_hand(guard, 1.0) == 1
    assert starts_in_hand(guard, 99.0) == 1
    assert starts_in_hand(guard, 100.1) == 2


def test_a_lost_record_of_a_motor_that_was_on_leaves_nothing():
    guard = make(kept(on_fan=True), rest_s=0.0)
    guard.observe(Requested("clear", "fan"), 0.0)
    assert would(guard, 99.9, on()) == ["C8"]
    assert would(guard, 100.1, on()) == ["ok"]


def test_a_fresh_install_begins_full_and_unlocked():
    guard = make(Kept())
    assert starts_in_hand(guard, 0.0) == 2


# ---------------------------------------------------------------- leases


def test_a_renewal_needs_a_run_that_has_not_ended():
    guard = make()
    assert run(guard, 0.0, renew()) == ["C23"]
    run(guard, 0.0, on(10.0))
    assert would(guard, 9.999, renew()) == ["ok"]
    assert would(guard, 10.0, renew()) == ["C23"]
    assert would(guard, 10.001, renew()) == ["C23"]
    assert verdict(guard, 9.0, renew(20.0)) == ["ok"]
    assert would(guard, 19.999, renew()) == ["ok"]
    assert would(guard, 20.0, renew()) == ["C23"]


def test_a_run_without_an_end_is_dropped():
    guard = make()
    command = on(None)
    guard.observe(Requested("run", "fan"), 0.0)
    sentence = "fan is not switched on without an end: a run is lent for seconds and renewed."
    assert guard.judge([command], 0.0).dropped == (Dropped(command, "C23", sentence),)
    run(guard, 0.0, on(10.0))
    assert verdict(guard, 1.0, renew(None)) == ["C23"]


def test_what_is_said_about_a_renewal_of_nothing():
    command = renew()
    assert make().judge([command], 0.0).dropped == (
        Dropped(command, "C23", "fan is not on: there is nothing to renew."),
    )


def test_an_end_that_has_passed_already_is_no_run():
    guard = make()
    assert run(guard, 5.0, on(0.0)) == ["ok"]
    assert verdict(guard, 5.0, renew()) == ["C23"]
    assert run(guard, 5.0, on(5.0)) == ["ok"]
    assert verdict(guard, 5.0, renew()) == ["C23"]


def test_a_run_that_ended_by_itself_is_a_forced_stop_at_its_end():
    guard = make(rest_s=200.0)
    run(guard, 0.0, on(), on(10.0))
    guard.observe(Requested("run", "fan", for_s=1e6), 9.0)
    guard.observe(Ticked(), 50.0)
    assert verdict(guard, 150.0, on()) == ["C21"]
    assert would(guard, 209.999, on()) == ["C8"]
    assert would(guard, 210.0, on()) == ["ok"]


def test_a_run_that_ended_by_itself_is_noticed_by_the_list_too():
    guard = make()
    run(guard, 0.0, on(10.0))
    assert would(guard, 9.999, on()) == ["ok"]
    state = guard.save()
    assert verdict(guard, 9.999, on()) == ["ok"]
    guard.restore(state)
    assert verdict(guard, 10.0, on()) == ["C21"]


def test_an_off_ends_the_run():
    guard = make()
    run(guard, 0.0, on())
    verdict(guard, 1.0, off())
    assert verdict(guard, 1.0, renew()) == ["C23"]
    assert verdict(guard, 1.0, on()) == ["ok"]  # an off leaves the reason standing


# ---------------------------------------------------------------- the one retry


def test_the_third_try_without_being_seen_to_run_needs_a_fresh_reason():
    guard = make(confirm_s=2.0, starts_capacity=9.0)
    assert run(guard, 0.0, on(), off(), on(), off()) == ["ok"] * 4
    command = on()
    assert guard.judge([command], 1.0).dropped == (
        Dropped(command, "C21", "fan was switched on twice and not seen to run: a third time needs a fresh reason."),
    )
    guard.observe(MotorSeen("fan", word("still")), 1.0)
    guard.observe(MotorSeen("vac", word("running")), 1.0)
    assert verdict(guard, 1.0, on()) == ["C21"]
    guard.observe(MotorSeen(word("fan"), word("running")), 1.0)
    assert verdict(guard, 1.0, on(), on(), on()) == ["ok", "ok", "C21"]
    assert run(guard, 2.0, on(), renew(), on(), on()) == ["ok", "ok", "ok", "C21"]


def test_a_tool_that_starts_is_a_fresh_reason():
    fan = MotorPlan("fan", confirm_s=2.0, starts_capacity=9.0)
    plan = Plan({"fan": fan}, {"a": GatePlan("a", "fan", 0.1)}, {"saw": ToolPlan("saw", ("a",))})
    guard = Guard(plan, Kept())
    guard.observe(Woke(), 0.0)
    guard.observe(ToolSeen("saw", "stopped"), 10.0)
    guard.observe(ToolSeen("saw", "running"), 10.0)
    assert verdict(guard, 10.0, on(), on(), on()) == ["ok", "ok", "C21"]
    guard.observe(ToolSeen("saw", "stopped"), 11.0)
    assert verdict(guard, 11.0, on()) == ["C21"]
    guard.observe(ToolSeen("saw", "running"), 11.0)
    assert verdict(guard, 11.0, on()) == ["ok"]


def test_where_nothing_sees_the_motor_tries_are_not_counted():
    guard = make(starts_capacity=9.0)
    assert run(guard, 0.0, *[on() for _ in range(6)]) == ["ok"] * 6


# ---------------------------------------------------------------- at the edges of numbers


def test_a_store_that_holds_less_than_one_start_never_lets_one_through():
    guard = make(starts_capacity=0.995)
    for now_s in (0.0, 1000.0, 1e7):
        assert would(guard, now_s, on()) == ["C8"]


def test_exactly_the_tolerance_is_enough():
    assert would(make(starts_capacity=1.0 - 1e-6), 0.0, on()) == ["ok"]


def test_a_refill_need_not_be_a_whole_number_of_seconds():
    guard = make(starts_per_hour=7.0)
    run(guard, 0.0, on(), on())
    assert would(guard, 514.28, on()) == ["C8"]
    assert would(guard, 514.29, on()) == ["ok"]


def test_a_run_that_is_over_at_once_cannot_be_renewed_in_the_same_list():
    assert run(make(), 5.0, on(5.0), renew()) == ["ok", "C23"]
