"""The guard on lists that make no sense, on what always passes, and at the edges of what it is given."""

from dataclasses import FrozenInstanceError

import pytest
from guard_gate_shops import ON, gate, halts, make, only, opens, rationed, shuts, starts, verdict, word, would

from gatekeeper.control.guard import Dropped
from gatekeeper.control.messages import (
    Answer,
    Keep,
    MotorSeen,
    ShowSign,
    SwitchMotor,
    SwitchSeen,
)
from gatekeeper.control.plan import Proof, ToolPlan

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
