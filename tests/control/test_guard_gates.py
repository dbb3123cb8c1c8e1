"""The guard on gates: running tools (C1), supplies (C11), by hand and fingers (C16, C26)."""

import pytest
from guard_gate_shops import gate, halts, make, only, opens, rationed, shuts, verdict, word, would

from gatekeeper.control.guard import Dropped
from gatekeeper.control.messages import (
    Keep,
    Kept,
    Missed,
    Requested,
    SwitchSeen,
    ToolSeen,
)
from gatekeeper.control.plan import ToolPlan

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
