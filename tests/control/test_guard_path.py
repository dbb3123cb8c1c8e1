"""The guard on the path of a fan (C2, C3): what proves a gate open, and what may shut."""

import pytest
from guard_gate_shops import ON, gate, halts, make, only, opens, shuts, starts, verdict, word, would

from gatekeeper.control.guard import Dropped, Guard
from gatekeeper.control.messages import (
    Kept,
    Missed,
    Requested,
    SwitchSeen,
)
from gatekeeper.control.plan import MotorKind, MotorPlan, Plan, Proof

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
