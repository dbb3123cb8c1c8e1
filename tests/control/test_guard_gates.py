"""The guard on gates: what proves one open (C2, C3), who may not shut (C1), how many move (C11), fingers (C26)."""

from dataclasses import FrozenInstanceError

import pytest

from gatekeeper.control.guard import Dropped, Guard
from gatekeeper.control.messages import (
    Answer,
    Keep,
    Kept,
    Missed,
    MotorSeen,
    MoveGate,
    Requested,
    ShowSign,
    SwitchMotor,
    SwitchSeen,
    ToolSeen,
    Woke,
)
from gatekeeper.control.plan import GatePlan, MotorKind, MotorPlan, Plan, Proof, ToolPlan

ON = SwitchMotor("fan", "on", 1e9)


def word(text):
    """Equal to the literal, but never the same object."""
    return "".join(list(text))


def opens(gate):
    return MoveGate(gate, word("open"))


def shuts(gate):
    return MoveGate(gate, word("shut"))


def halts(gate):
    return MoveGate(gate, word("halt"))


def make(*gates, tools=(), supplies=None, kept=None, **motor):
    motors = {"fan": MotorPlan(**{"name": "fan", "path_minimum_m2": 0.02, "rest_s": 0.0, **motor})}
    if any(gate.system == "other" for gate in gates):
        motors["other"] = MotorPlan("other", path_minimum_m2=0.02)
    plan = Plan(motors, {g.name: g for g in gates}, {t.name: t for t in tools}, supplies or {})
    plan.check()
    guard = Guard(plan, kept or Kept())
    guard.observe(Woke(), 0.0)
    return guard


def gate(name, area_m2=0.02, **more):
    return GatePlan(name, **{"system": "fan", "area_m2": area_m2, "travel_s": 2.0, "dead_s": 0.5, **more})


def verdict(guard, now_s, *commands):
    """Which commands pass, by place; the guard's state moves on."""
    judgement = guard.judge(commands, now_s)
    assert len(judgement.allowed) + len(judgement.dropped) == len(commands)
    dropped = list(judgement.dropped)
    result = []
    for command in commands:
        if dropped and dropped[0].command is command:
            result.append(dropped.pop(0).rule or "list")
        else:
            result.append("ok")
    assert not dropped
    return result


def would(guard, now_s, *commands):
    """The same as ``verdict``, but the guard is put back."""
    state = guard.save()
    result = verdict(guard, now_s, *commands)
    guard.restore(state)
    return result


def starts(guard, now_s):
    """Whether the path is enough to switch the fan on (somebody asks for a run first)."""
    state = guard.save()
    guard.observe(Requested("run", "fan"), now_s)
    result = verdict(guard, now_s, ON)
    guard.restore(state)
    assert result in (["ok"], ["C2"])
    return result == ["ok"]


def only(guard, now_s, command):
    judgement = guard.judge([command], now_s)
    assert judgement.allowed == ()
    (dropped,) = judgement.dropped
    return dropped


# ---------------------------------------------------------------- what proves a gate open


def test_travel_time_proves_an_actuated_gate():
    guard = make(gate("a"))
    assert verdict(guard, 10.0, opens("a")) == ["ok"]
    assert not starts(guard, 10.0)
    assert not starts(guard, 11.999)
    assert starts(guard, 12.0)
    assert starts(guard, 12.001)
    assert starts(guard, 1e6)


def test_nothing_is_proven_after_waking():
    assert not starts(make(gate("a")), 1e6)


def shut_then(travelled_s, *steps, **more):
    """A shop that needs the gate, with the gate shut at 10 s and then given the steps ``(delay, command)``."""
    lenient = make(gate("a", **more), relief_m2=0.02)
    strict = make(gate("a", **more))
    assert verdict(lenient, 10.0, shuts("a")) == ["ok"]
    now_s = 10.0
    for delay_s, command in steps:
        now_s += delay_s
        assert verdict(lenient, now_s, command) == ["ok"]
    strict.restore(lenient.save())
    return starts(strict, now_s + travelled_s)


def test_the_pause_counts_only_while_the_other_move_is_under_way():
    assert not shut_then(2.0, (2.499, opens("a")))
    assert not shut_then(2.499, (2.499, opens("a")))
    assert shut_then(2.5, (2.499, opens("a")))
    assert shut_then(2.0, (2.5, opens("a")))
    assert not shut_then(1.999, (2.5, opens("a")))
    assert shut_then(2.0, (2.501, opens("a")))


def test_a_halt_does_not_shorten_the_pause():
    assert not shut_then(2.499, (1.0, halts("a")), (0.0, opens("a")))
    assert shut_then(2.5, (1.0, halts("a")), (0.0, opens("a")))


def test_a_repeated_open_within_the_pause_still_waits_for_it():
    assert not shut_then(2.0, (1.0, opens("a")), (0.1, opens("a")))
    assert not shut_then(2.399, (1.0, opens("a")), (0.1, opens("a")))
    assert shut_then(2.4, (1.0, opens("a")), (0.1, opens("a")))


def test_a_repeated_open_counts_its_travel_anew():
    guard = make(gate("a"))
    verdict(guard, 10.0, opens("a"))
    verdict(guard, 11.0, opens("a"))
    assert not starts(guard, 12.999)
    assert starts(guard, 13.0)


@pytest.mark.parametrize(("halted_s", "proven"), [(11.999, False), (12.0, True), (12.001, True)])
def test_a_halt_on_the_way_leaves_the_gate_unproven(halted_s, proven):
    guard = make(gate("a"))
    verdict(guard, 10.0, opens("a"))
    assert verdict(guard, halted_s, halts("a")) == ["ok"]
    assert starts(guard, 100.0) is proven


def test_a_halt_at_rest_changes_nothing():
    guard = make(gate("a"))
    assert verdict(guard, 5.0, halts("a")) == ["ok"]
    assert not starts(guard, 100.0)
    verdict(guard, 110.0, opens("a"))
    assert starts(guard, 112.0)


def test_a_miss_takes_the_proof_away_until_the_gate_is_opened_again():
    guard = make(gate("a"))
    verdict(guard, 10.0, opens("a"))
    assert starts(guard, 20.0)
    guard.observe(Missed(word("a")), 20.0)
    assert not starts(guard, 20.0)
    assert not starts(guard, 1e5)
    verdict(guard, 30.0, opens("a"))
    assert starts(guard, 32.0)


def test_a_hand_gate_without_a_switch_is_never_a_path():
    guard = make(gate("a", actuated=False))
    assert not starts(guard, 1e6)
    guard.observe(SwitchSeen("a", word("open")), 1.0)
    assert not starts(guard, 1e6)


@pytest.mark.parametrize("actuated", [True, False])
def test_a_switch_proves_at_once(actuated):
    guard = make(gate("a", actuated=actuated, has_switch=True))
    assert not starts(guard, 1.0)
    for state, proven in (("between", False), ("open", True), ("between", False), ("open", True), ("shut", False)):
        guard.observe(SwitchSeen(word("a"), word(state)), 1.0)
        assert starts(guard, 1.0) is proven


def test_with_a_switch_time_alone_proves_nothing():
    guard = make(gate("a", has_switch=True))
    verdict(guard, 10.0, opens("a"))
    assert not starts(guard, 1e5)
    guard.observe(SwitchSeen("a", "open"), 1e5)
    assert starts(guard, 1e5)


def test_a_switch_that_said_open_before_the_shut_command_is_no_proof():
    guard = make(gate("a", has_switch=True), gate("b", has_switch=True))
    for name in "ab":
        guard.observe(SwitchSeen(name, "open"), 1.0)
    assert verdict(guard, 10.0, shuts("a")) == ["ok"]
    assert would(guard, 10.0, shuts("b")) == ["C3"]
    assert would(guard, 1e5, shuts("b")) == ["C3"]
    verdict(guard, 11.0, opens("a"))  # reversed before it left its switch: the switch does not speak again
    assert would(guard, 13.499, shuts("b")) == ["C3"]
    assert would(guard, 13.5, shuts("b")) == ["ok"]


def test_while_a_gate_moves_shut_its_switch_proves_nothing():
    guard = make(gate("a", has_switch=True), gate("b", has_switch=True))
    for name in "ab":
        guard.observe(SwitchSeen(name, "open"), 1.0)
    verdict(guard, 10.0, shuts("a"))
    guard.observe(SwitchSeen("a", "open"), 10.1)
    assert would(guard, 12.499, shuts("b")) == ["C3"]
    assert would(guard, 12.5, shuts("b")) == ["ok"]  # its time is over and the switch still says open


def test_opening_a_gate_that_its_switch_calls_open_keeps_the_proof():
    guard = make(gate("a", has_switch=True), gate("b", has_switch=True))
    for name in "ab":
        guard.observe(SwitchSeen(name, "open"), 1.0)
    assert verdict(guard, 10.0, opens("a"), shuts("b")) == ["ok", "ok"]


def test_opening_a_gate_that_only_time_proved_open_takes_its_proof_away_for_the_travel():
    guard = make(gate("a"), gate("b"))
    verdict(guard, 1.0, opens("a"), opens("b"))
    assert would(guard, 10.0, shuts("b")) == ["ok"]
    assert would(guard, 10.0, opens("a"), shuts("b")) == ["ok", "C3"]
    assert would(guard, 10.0, shuts("b"), opens("a")) == ["C3", "ok"]


# ---------------------------------------------------------------- C2 and C3: the path


@pytest.mark.parametrize(
    ("minimum_m2", "enough"),
    [(0.03, True), (0.03 - 1e-3, True), (0.03 + 1e-3, False), (0.03 * (1 + 5e-10), True), (0.03 * (1 + 2e-9), False)],
)
def test_relief_and_open_area_add_up_to_the_minimum(minimum_m2, enough):
    guard = make(gate("a"), gate("b"), relief_m2=0.01, path_minimum_m2=minimum_m2)
    verdict(guard, 10.0, opens("a"))
    assert starts(guard, 20.0) is enough
    verdict(guard, 20.0, opens("b"))
    assert would(guard, 30.0, shuts("b")) == ["ok" if enough else "C3"]


def test_gates_of_another_system_are_no_path():
    guard = make(gate("a"), gate("z", system="other"))
    verdict(guard, 10.0, opens("z"))
    assert not starts(guard, 20.0)
    verdict(guard, 20.0, opens("a"))
    assert would(guard, 30.0, shuts("a")) == ["C3"]
    assert would(guard, 30.0, shuts("z")) == ["C3"]


def test_the_whole_list_counts_before_power():
    guard = make(gate("a"), gate("b"), path_minimum_m2=0.02)
    verdict(guard, 1.0, opens("a"), opens("b"))
    guard.observe(Requested("run", "fan"), 10.0)
    assert would(guard, 10.0, ON, shuts("a")) == ["ok", "ok"]
    assert would(guard, 10.0, ON, shuts("a"), shuts("b")) == ["ok", "ok", "C3"]
    assert would(guard, 10.0, ON, opens("a"), opens("b")) == ["C2", "ok", "ok"]
    assert would(guard, 10.0, ON, opens("a"), halts("b")) == ["ok", "ok", "ok"]
    wide = make(gate("a"), gate("b"), path_minimum_m2=0.04)
    verdict(wide, 1.0, opens("a"), opens("b"))
    wide.observe(Requested("run", "fan"), 10.0)
    assert would(wide, 10.0, ON) == ["ok"]
    assert would(wide, 10.0, ON, opens("a")) == ["C2", "ok"]
    assert would(wide, 10.0, ON, shuts("a")) == ["ok", "C3"]


def test_the_last_of_the_shuts_yield_until_the_path_is_enough():
    guard = make(*(gate(n) for n in "abcd"), path_minimum_m2=0.04)
    verdict(guard, 1.0, *(opens(n) for n in "abcd"))
    assert would(guard, 10.0, shuts("a"), shuts("b")) == ["ok", "ok"]
    assert would(guard, 10.0, shuts("a"), shuts("b"), shuts("c")) == ["ok", "ok", "C3"]
    assert would(guard, 10.0, *(shuts(n) for n in "dcba")) == ["ok", "ok", "C3", "C3"]


def test_each_system_yields_for_itself():
    guard = make(gate("a"), gate("z", system="other"), gate("y", system="other"))
    verdict(guard, 1.0, opens("a"), opens("y"), opens("z"))
    assert would(guard, 10.0, shuts("z"), shuts("a")) == ["ok", "C3"]
    assert would(guard, 10.0, shuts("a"), shuts("z")) == ["C3", "ok"]
    assert would(guard, 10.0, shuts("a"), shuts("z"), shuts("y")) == ["C3", "ok", "C3"]


def test_an_unproven_gate_may_be_shut_where_the_rest_is_enough():
    guard = make(gate("a"), gate("b"))
    assert would(guard, 10.0, shuts("b")) == ["C3"]
    verdict(guard, 1.0, opens("a"))
    assert would(guard, 10.0, shuts("b")) == ["ok"]


def test_a_shut_holds_for_later_lists():
    guard = make(gate("a"), gate("b"))
    verdict(guard, 1.0, opens("a"), opens("b"))
    assert verdict(guard, 10.0, shuts("a")) == ["ok"]
    assert verdict(guard, 1e5, shuts("b")) == ["C3"]


def test_where_the_path_is_the_persons_nothing_binds():
    guard = make(gate("a"), proof=Proof.PERSON)
    assert starts(guard, 10.0)
    assert verdict(guard, 10.0, shuts("a")) == ["ok"]


def test_the_words_of_the_plan_may_be_plain_text():
    guard = make(gate("a"), proof=word("person"))
    assert starts(guard, 10.0)
    for kind in ("air_cleaner", "shaker"):
        free = Guard(Plan({"fan": MotorPlan("fan", word(kind), path_minimum_m2=1.0)}, {}, {}), Kept())
        assert starts(free, 10.0)


@pytest.mark.parametrize("kind", [MotorKind.AIR_CLEANER, MotorKind.SHAKER])
def test_a_motor_without_gates_has_no_path(kind):
    assert starts(Guard(Plan({"fan": MotorPlan("fan", kind, path_minimum_m2=1.0)}, {}, {}), Kept()), 10.0)


@pytest.mark.parametrize("kind", [MotorKind.COLLECTOR, MotorKind.VACUUM])
def test_a_motor_with_gates_needs_its_path(kind):
    assert not starts(Guard(Plan({"fan": MotorPlan("fan", kind, path_minimum_m2=1.0)}, {}, {}), Kept()), 10.0)


def test_what_is_said_about_the_path():
    guard = make(gate("a"))
    guard.observe(Requested("run", "fan"), 10.0)
    assert only(guard, 10.0, ON) == Dropped(
        ON, "C2", "fan is not switched on: too little is known to be open on its duct."
    )
    command = shuts("a")
    assert only(guard, 10.0, command) == Dropped(
        command, "C3", "Gate a is not shut: without it too little is known to be open on its duct."
    )


# ---------------------------------------------------------------- C1


def shop_with_saw(**more):
    guard = make(
        gate("a"), gate("b"), gate("c"), tools=(ToolPlan("saw", ("a", "c")), ToolPlan("lathe", ("b",))), **more
    )
    guard.observe(ToolSeen("lathe", "stopped"), 0.0)
    return guard


@pytest.mark.parametrize(
    ("readings", "passes"),
    [
        ([], False),
        (["stopped"], True),
        (["running"], False),
        (["stale"], False),
        (["stopped", "stale"], False),
        (["running", "stale"], False),
        (["running", "stopped"], True),
        (["asked"], True),  # a person's word counts where no reading ever came, too (C12)
        (["running", "asked"], False),
        (["stale", "asked"], True),
        (["stale", "asked", "stale"], True),
        (["stale", "asked", "running"], False),
        (["stale", "asked", "stopped"], True),
        (["stale", "asked", "stopped", "stale"], False),
        (["stale", "asked", "running", "stale"], False),
        (["stopped", "asked", "stale"], False),
        (["asked", "stale"], True),
    ],
)
def test_no_gate_of_a_tool_that_may_run_is_shut(readings, passes):
    guard = shop_with_saw()
    verdict(guard, 0.0, opens("a"), opens("b"), opens("c"))
    for reading in readings:
        event = Requested(word("stopped"), word("saw")) if reading == "asked" else ToolSeen(word("saw"), word(reading))
        guard.observe(event, 5.0)
    expected = "ok" if passes else "C1"
    assert would(guard, 10.0, shuts("a")) == [expected]
    assert would(guard, 10.0, shuts("c")) == [expected]
    assert would(guard, 10.0, shuts("b")) == ["ok"]
    assert would(guard, 10.0, opens("a"), halts("b")) == ["ok", "ok"]


def test_what_is_said_about_a_tool_that_may_run():
    guard = shop_with_saw()
    command = shuts("a")
    assert only(guard, 1.0, command) == Dropped(
        command, "C1", "Gate a is not shut: saw runs, or may run for all that is known."
    )


def test_a_shared_gate_stays_open_for_the_one_that_runs():
    guard = make(gate("a"), gate("b"), tools=(ToolPlan("saw", ("a",)), ToolPlan("lathe", ("a",))), relief_m2=0.02)
    guard.observe(ToolSeen("saw", "stopped"), 0.0)
    guard.observe(ToolSeen("lathe", "running"), 0.0)
    command = shuts("a")
    assert only(guard, 1.0, command).why == "Gate a is not shut: lathe runs, or may run for all that is known."
    guard.observe(ToolSeen("lathe", "stopped"), 2.0)
    assert verdict(guard, 2.0, shuts("a")) == ["ok"]


def test_only_the_tool_itself_is_excused():
    guard = shop_with_saw(relief_m2=1.0)
    guard.observe(ToolSeen("saw", "stale"), 1.0)
    for subject in (None, "lathe", "a", "fan", "nobody"):
        guard.observe(Requested("stopped", subject), 1.0)
    assert would(guard, 1.0, shuts("a")) == ["C1"]


# ---------------------------------------------------------------- C11


def rationed(places, *names, **more):
    gates = [gate(n, supply=word("air")) for n in names]
    return make(*gates, gate("y", supply="oil"), gate("z"), supplies={"air": places, "oil": 1}, relief_m2=1.0, **more)


@pytest.mark.parametrize("places", [1, 2, 3])
def test_no_more_move_than_the_supply_can(places):
    guard = rationed(places, *"abcd")
    expected = ["ok" if place < places else "C11" for place in range(4)]
    assert would(guard, 1.0, *(opens(n) for n in "abcd")) == expected
    assert would(guard, 1.0, *(shuts(n) for n in "dcba")) == expected
    assert would(guard, 1.0, opens("a"), shuts("y"), shuts("z")) == ["ok", "ok", "ok"]


def test_a_place_is_free_when_pause_and_travel_are_over():
    guard = rationed(1, *"ab")
    verdict(guard, 10.0, opens("a"))
    assert would(guard, 12.499, opens("b")) == ["C11"]
    assert would(guard, 12.5, opens("b")) == ["ok"]
    assert would(guard, 12.501, opens("b")) == ["ok"]


def test_a_switch_or_a_miss_frees_no_place():
    guard = make(gate("a", supply="air", has_switch=True), gate("b", supply="air"), supplies={"air": 1}, relief_m2=1.0)
    verdict(guard, 10.0, opens("a"))
    guard.observe(SwitchSeen("a", "open"), 11.0)
    guard.observe(Missed("a"), 11.0)
    assert would(guard, 12.499, opens("b")) == ["C11"]
    assert would(guard, 12.5, opens("b")) == ["ok"]


def test_a_reversal_and_a_repeat_keep_the_place_and_restart_the_time():
    for second in (opens("a"), shuts("a")):
        guard = rationed(1, *"ab")
        verdict(guard, 10.0, opens("a"))
        assert verdict(guard, 12.0, second) == ["ok"]
        assert would(guard, 14.499, opens("b")) == ["C11"]
        assert would(guard, 14.5, opens("b")) == ["ok"]


def test_a_halt_frees_the_place_for_what_comes_after_it_in_the_list():
    guard = rationed(1, *"ab")
    verdict(guard, 10.0, opens("a"))
    assert would(guard, 11.0, halts("a"), opens("b")) == ["ok", "ok"]
    assert would(guard, 11.0, opens("b"), halts("a")) == ["C11", "ok"]
    assert would(guard, 11.0, halts("a"), opens("b"), opens("a")) == ["ok", "ok", "C11"]
    assert would(guard, 11.0, halts("b"), opens("b")) == ["ok", "C11"]
    verdict(guard, 11.0, halts("a"))
    assert would(guard, 11.0, opens("b")) == ["ok"]


def test_what_is_said_about_the_supply():
    guard = rationed(1, *"ab")
    verdict(guard, 10.0, opens("a"))
    command = opens("b")
    assert only(guard, 11.0, command) == Dropped(
        command, "C11", "Gate b has to wait: as many gates as supply air can move are moving."
    )


# ---------------------------------------------------------------- C16 and C26


def test_a_hand_gate_is_never_commanded():
    guard = make(gate("a", actuated=False), gate("b"), relief_m2=1.0)
    for command in (opens("a"), shuts("a")):
        assert only(guard, 10.0, command) == Dropped(
            command, "C16", "Gate a is moved by hand: there is nothing to command."
        )
    assert verdict(guard, 10.0, halts("a"), opens("b")) == ["ok", "ok"]


def test_a_held_gate_moves_three_seconds_after_its_release():
    guard = make(gate("a"), gate("b"), relief_m2=1.0)
    assert would(guard, 1.0, opens("a")) == ["ok"]
    guard.observe(Requested(word("hold"), word("a")), 2.0)
    assert would(guard, 2.0, opens("a"), opens("b"), halts("a")) == ["C26", "ok", "ok"]
    assert would(guard, 1e5, shuts("a")) == ["C26"]
    guard.observe(Requested(word("release"), word("a")), 10.0)
    assert would(guard, 12.999, opens("a")) == ["C26"]
    assert would(guard, 13.0, opens("a")) == ["ok"]
    assert would(guard, 13.001, shuts("a")) == ["ok"]
    guard.observe(Requested("release", "a"), 13.0)  # pressed again: it was free already
    assert would(guard, 13.0, opens("a")) == ["ok"]


def test_hold_and_release_mean_the_gate_that_they_name():
    guard = make(gate("a"), gate("b"), relief_m2=1.0)
    for subject in ("b", None, "nobody", "fan"):
        guard.observe(Requested("hold", subject), 1.0)
    assert would(guard, 1.0, opens("a"), opens("b")) == ["ok", "C26"]
    for subject in ("a", None, "nobody", "fan"):
        guard.observe(Requested("release", subject), 1.0)
    assert would(guard, 5.0, opens("a"), opens("b")) == ["ok", "C26"]


@pytest.mark.parametrize("key", ["held/a", "stuck/a"])
def test_held_and_stuck_outlive_a_restart(key):
    guard = make(gate("a"), gate("b"), relief_m2=1.0, kept=Kept({key: True}, fresh=False))
    assert would(guard, 100.0, opens("a"), opens("b")) == ["C26", "ok"]
    guard.observe(Requested("release", "a"), 100.0)
    assert would(guard, 102.999, opens("a")) == ["C26"]
    assert would(guard, 103.0, opens("a")) == ["ok"]


@pytest.mark.parametrize("key", ["held/a", "stuck/a"])
def test_a_kept_value_that_says_no_holds_nothing(key):
    for value in (None, False, {}):
        guard = make(gate("a"), relief_m2=1.0, kept=Kept({key: value}, fresh=False))
        assert verdict(guard, 1.0, opens("a")) == ["ok"]


def test_damaged_records_hold_no_gate_but_its_system_is_out_of_service():
    guard = make(gate("a"), relief_m2=1.0, kept=Kept(damaged=True, fresh=False))
    assert verdict(guard, 1.0, opens("a")) == ["C14"]
    guard.observe(Requested("back_in_service", "fan"), 1.0)
    assert verdict(guard, 1.0, opens("a")) == ["ok"]


def test_a_gate_that_the_list_calls_stuck_does_not_move():
    guard = make(gate("a"), gate("b"), relief_m2=1.0)
    keep = Keep(word("stuck/a"), {"since_s": 1.0})
    assert would(guard, 1.0, opens("a"), keep, halts("a")) == ["C26", "ok", "ok"]
    assert would(guard, 1.0, keep, opens("b"), shuts("a")) == ["ok", "ok", "C26"]
    assert would(guard, 1.0, Keep("stuck/a", None), opens("a")) == ["ok", "ok"]
    assert would(guard, 1.0, Keep("held/a", True), Keep("stuck/nobody", True), opens("a")) == ["ok", "ok", "ok"]
    verdict(guard, 1.0, keep)
    assert would(guard, 50.0, opens("a")) == ["C26"]
    verdict(guard, 51.0, Keep("stuck/a", None))
    assert would(guard, 52.0, opens("a")) == ["C26"]
    guard.observe(Requested("release", "a"), 60.0)
    assert would(guard, 62.999, opens("a")) == ["C26"]
    assert would(guard, 63.0, opens("a")) == ["ok"]


def test_what_is_said_about_fingers():
    guard = make(gate("a"), relief_m2=1.0)
    guard.observe(Requested("hold", "a"), 1.0)
    command = opens("a")
    assert only(guard, 1.0, command) == Dropped(
        command, "C26", "Gate a is held, stuck or just released: it moves 3 s after its release, not before."
    )


# ---------------------------------------------------------------- lists that make no sense, and what always passes


def test_of_two_motions_of_one_gate_only_the_last_is_looked_at():
    guard = make(gate("a"), gate("b"), relief_m2=1.0)
    assert would(guard, 1.0, opens("a"), shuts("a")) == ["list", "ok"]
    assert would(guard, 1.0, shuts("a"), opens("b"), opens("a")) == ["list", "ok", "ok"]
    assert would(guard, 1.0, opens("a"), opens("a"), opens("a")) == ["list", "list", "ok"]
    assert would(guard, 1.0, opens("a"), halts("a")) == ["ok", "ok"]
    assert would(guard, 1.0, halts("a"), opens("a"), halts("a")) == ["ok", "ok", "ok"]
    first = opens("a")
    assert guard.judge([first, shuts("a")], 1.0).dropped == (
        Dropped(first, None, "Gate a is told twice in one list: only the last counts."),
    )


def test_the_dropped_one_of_two_motions_takes_no_place():
    guard = rationed(1, *"ab")
    assert would(guard, 1.0, opens("a"), opens("b"), shuts("a")) == ["list", "ok", "C11"]


def test_a_halt_after_an_open_in_one_list_leaves_the_gate_unproven():
    guard = make(gate("a"))
    verdict(guard, 1.0, opens("a"), halts("a"))
    assert not starts(guard, 100.0)
    verdict(guard, 100.0, halts("a"), opens("a"))
    assert starts(guard, 102.0)


def test_names_that_the_shop_lacks_are_dropped():
    guard = make(gate("a"), relief_m2=1.0)
    for command in (opens("q"), shuts("q"), halts("q")):
        assert only(guard, 1.0, command) == Dropped(command, None, "There is no gate q in this shop.")
    for what in ("on", "off", "renew"):
        command = SwitchMotor("q", what, 10.0)
        assert only(guard, 1.0, command) == Dropped(command, None, "There is no motor q in this shop.")


def test_order_is_kept_and_everything_that_moves_nothing_passes():
    guard = make(gate("a"), gate("b", actuated=False), gate("c"), relief_m2=1.0)
    commands = [
        ShowSign("a", "coming"),
        opens("b"),
        Keep("on/fan", True),
        opens("a"),
        Answer("r", True, "done", "Done."),
        SwitchMotor("fan", "off"),
        shuts("b"),
        halts("b"),
        opens("c"),
        ON,
    ]
    judgement = guard.judge(commands, 1.0)
    assert judgement.allowed == tuple(commands[i] for i in (0, 2, 3, 4, 5, 7, 8))
    assert [(d.command, d.rule) for d in judgement.dropped] == [
        (commands[1], None),
        (commands[6], "C16"),
        (commands[9], "C21"),
    ]
    assert guard.judge([], 1.0).allowed == ()


def test_a_motor_that_is_seen_still_changes_nothing_for_gates():
    guard = make(gate("a"))
    before = guard.save()
    guard.observe(MotorSeen("fan", word("still")), 1.0)
    assert guard.save() == before


# ---------------------------------------------------------------- at the edges of what the guard is given


def test_an_open_of_a_gate_that_its_switch_calls_open_leaves_the_switch_believed():
    guard = make(gate("a", has_switch=True), gate("b", has_switch=True))
    for name in "ab":
        guard.observe(SwitchSeen(name, "open"), 1.0)
    verdict(guard, 10.0, opens("a"))
    assert would(guard, 10.0, shuts("b")) == ["ok"]


def test_another_supply_takes_no_place():
    guard = rationed(1, *"ab")
    assert would(guard, 1.0, opens("y"), opens("z"), opens("a"), opens("b")) == ["ok", "ok", "ok", "C11"]


def test_more_under_way_than_the_supply_can_still_lets_none_begin():
    wide, narrow = rationed(2, *"abc"), rationed(1, *"abc")
    verdict(wide, 1.0, opens("a"), opens("b"))
    narrow.restore(wide.save())
    assert would(narrow, 1.0, opens("c"), opens("a")) == ["C11", "ok"]


@pytest.mark.parametrize("proof", [Proof.SWITCHES, Proof.RELIEF, Proof.AIR, Proof.TIME])
def test_every_other_proof_needs_the_path(proof):
    assert not starts(make(gate("a"), proof=proof), 10.0)


def test_of_two_tools_that_may_run_the_first_is_named():
    guard = make(gate("a"), tools=(ToolPlan("saw", ("a",)), ToolPlan("lathe", ("a",))), relief_m2=1.0)
    assert only(guard, 1.0, shuts("a")).why == "Gate a is not shut: saw runs, or may run for all that is known."


def test_a_halt_empties_the_place():
    guard = make(gate("a"), relief_m2=1.0)
    verdict(guard, 1.0, opens("a"))
    assert guard.gates["a"].slot_s == 3.5
    verdict(guard, 2.0, halts("a"))
    assert guard.gates["a"].slot_s == float("-inf")


def test_what_was_judged_cannot_be_changed_afterwards():
    judgement = make(gate("a")).judge([shuts("a")], 1.0)
    for value, name in ((judgement, "allowed"), (judgement.dropped[0], "rule")):
        assert not hasattr(value, "__dict__")
        with pytest.raises(FrozenInstanceError):
            setattr(value, name, ())
