"""The guard's state as one value: saved, restored, and seen from an instant (for a walk over all states)."""

from math import inf

import pytest

from gatekeeper.control.guard import Guard
from gatekeeper.control.messages import (
    HandSeen,
    InputSeen,
    Keep,
    Kept,
    MoveGate,
    Requested,
    SettingChanged,
    SwitchMotor,
    SwitchSeen,
    ToolSeen,
    Woke,
)
from gatekeeper.control.plan import GatePlan, InputKind, InputPlan, MotorKind, MotorPlan, Plan, ToolPlan

PLAN = Plan(
    {
        "fan": MotorPlan("fan", path_minimum_m2=0.02, starts_per_hour=36.0, rest_s=500.0, confirm_s=2.0),
        "shaker": MotorPlan("shaker", MotorKind.SHAKER, follows="fan"),
    },
    {
        "a": GatePlan("a", "fan", 0.02, travel_s=2.0, dead_s=0.5, supply="air"),
        "b": GatePlan("b", "fan", 0.02, travel_s=2.0, dead_s=0.5, supply="air", has_switch=True),
    },
    {"saw": ToolPlan("saw", ("a",)), "lathe": ToolPlan("lathe", ("b",))},
    supplies={"air": 1},
    inputs={
        "red": InputPlan("red", InputKind.EMERGENCY),
        "heat": InputPlan("heat", InputKind.FIRE),
    },
)

STOPS = frozenset({("lathe", inf), ("saw", 6.25)})
#: No run was taken up after a restart.
NOT_RESUMED = (frozenset(), -inf)
STOPS_SEEN = frozenset({("lathe", inf), ("saw", -1.75)})


def lived(start_s=0.0):
    """A guard with something in every corner of its memory, and the instant up to which it lived."""
    guard = Guard(PLAN, Kept())
    guard.observe(Woke(), start_s)
    for name in ("red", "heat"):
        guard.observe(InputSeen(name, "made"), start_s)
    for tool in ("saw", "lathe"):
        guard.observe(ToolSeen(tool, "stopped"), start_s + 3.0)
        guard.observe(ToolSeen(tool, "running"), start_s + 3.0)
    guard.judge([MoveGate("a", "open")], start_s + 4.0)
    guard.observe(SettingChanged("saw", "spin_down_s", 30.0), start_s + 6.0)
    guard.observe(ToolSeen("saw", "stopped"), start_s + 6.25)
    guard.observe(SwitchSeen("b", "open"), start_s + 6.25)
    guard.observe(Requested("run", "fan", for_s=100.0), start_s + 6.25)
    on, off = SwitchMotor("fan", "on", start_s + 20.0), SwitchMotor("fan", "off")
    assert guard.judge([on, off, on], start_s + 6.5).dropped == ()
    guard.judge([MoveGate("a", "shut")], start_s + 7.0)
    guard.judge([MoveGate("a", "open"), Keep("stuck/b", True)], start_s + 7.5)
    guard.observe(Requested("release", "b"), start_s + 8.0)
    guard.observe(Requested("hold", "b"), start_s + 8.0)
    guard.observe(HandSeen("shaker", "off"), start_s + 8.0)
    return guard, start_s + 8.0


def test_a_restored_guard_is_where_it_was():
    guard, now_s = lived()
    state = guard.save()
    assert hash(state) == hash(lived()[0].save())
    assert state == lived()[0].save()
    other = Guard(PLAN, Kept())
    assert other.save() != state
    other.restore(state)
    assert other.save() == state
    guard.observe(InputSeen("red", "open"), now_s)
    guard.observe(InputSeen("heat", "open"), now_s)
    later = guard.save()
    assert later != state
    guard.restore(state)
    assert guard.save() == state
    guard.restore(later)
    assert (guard.emergency, guard.fire, guard.made, guard.awake) == (True, True, frozenset(), True)


def test_the_state_is_made_of_plain_values():
    state = lived()[0].save()
    assert state[:4] == (True, False, False, frozenset({"red", "heat"}))
    assert state[4] == (
        (30.0, "stopped"),
        (None, "running"),
        (False, False, "", False, "open", 10.0, 10.0, 8.0, 10.0, -inf),
        (True, False, "open", True, "", -inf, -inf, -inf, inf, 11.0),
        (8.0, False, "auto", False, 206.5, -inf, 20.0, 2.0, 2, STOPS, 106.25, -inf, -inf, *NOT_RESUMED),
        (8.0, False, "off", False, 0.0, -inf, -inf, 2.0, 0, frozenset(), -inf, -inf, -inf, *NOT_RESUMED),
    )


def test_seen_from_an_instant_what_has_passed_is_forgotten():
    guard, now_s = lived(1000.0)
    before = guard.save()
    assert guard.save_relative(now_s)[4] == (
        (30.0, "stopped"),
        (None, "running"),
        (False, False, "", False, "open", 2.0, 2.0, -inf, 2.0, -inf),
        (True, False, "open", True, "", -inf, -inf, -inf, inf, 3.0),
        (8.0, False, "auto", False, 198.5, -inf, 12.0, -inf, 2, STOPS_SEEN, 98.25, -inf, -inf, *NOT_RESUMED),
        (8.0, False, "off", False, -inf, -inf, -inf, -inf, 0, frozenset(), -inf, -inf, -inf, *NOT_RESUMED),
    )
    assert guard.save() == before
    assert guard.save_relative(now_s)[:4] == before[:4]


@pytest.mark.parametrize("start_s", [0.1, 977.3, 123456.7])
def test_seen_from_an_instant_two_lives_at_different_times_are_one_state(start_s):
    guard, now_s = lived(start_s)
    first, then_s = lived()
    assert guard.save_relative(now_s) == first.save_relative(then_s)
    assert guard.save_relative(now_s + 0.25) == first.save_relative(then_s + 0.25)
    assert guard.save_relative(now_s + 0.25) != first.save_relative(then_s)


def test_instants_are_seen_to_a_microsecond():
    guard, now_s = lived()
    state = guard.save_relative(now_s + 0.0000005 + 0.25)
    assert state[4][4][6] == pytest.approx(11.75, abs=1e-6)
    assert state[4][4][6] == 11.749999 or state[4][4][6] == 11.75
    moved = guard.save_relative(now_s + 0.1234567)
    assert moved[4][4][6] == 11.876543
    assert dict(moved[4][4][9])["saw"] == -1.873457


def test_it_goes_on_from_zero_as_it_would_have():
    commands = [
        MoveGate("a", "shut"),
        MoveGate("a", "open"),
        MoveGate("b", "open"),
        SwitchMotor("fan", "on", 1e6),
        SwitchMotor("fan", "renew", 1e6),
    ]
    guard, now_s = lived(1000.0)
    state = guard.save()
    zero = Guard(PLAN, Kept())
    moved = guard.save_relative(now_s)
    for later_s in (0.0, 1.999, 2.0, 2.5, 11.999, 12.0, 98.249, 98.25, 198.5, 600.0):
        for command in commands:
            guard.restore(state)
            zero.restore(moved)
            assert zero.judge([command], later_s) == guard.judge([command], now_s + later_s)


def test_a_look_from_an_instant_lets_time_do_its_work_first():
    guard, now_s = lived()
    relative = guard.save_relative(now_s + 12.0)  # the lease has run out: a forced stop, and a rest
    assert relative[4][4] == (
        8.0,
        False,
        "auto",
        False,
        186.5,
        500.0,
        -inf,
        -inf,
        2,
        frozenset(),
        -inf,
        -inf,
        -inf,
        *NOT_RESUMED,
    )
    assert relative[4][2][4] == ""


def test_a_state_of_another_shop_is_refused():
    state = lived()[0].save()
    rows = state[4]
    for wrong in (rows[:-1], (*rows, rows[-1]), (*rows[:-1], rows[-1][:-1]), (*rows[:-1], (*rows[-1], 0))):
        with pytest.raises(ValueError, match=r"^zip\(\) argument 2 is (shorter|longer) than argument 1$"):
            lived()[0].restore((*state[:4], wrong))


def test_it_wakes_by_being_looked_at():
    guard = Guard(PLAN, Kept())
    assert not guard.save()[0]
    assert guard.save_relative(5.0)[0]


def test_the_state_before_waking():
    never = (False, False, "", False, "", -inf, -inf, -inf, inf, -inf)
    motor = (8.0, False, "auto", False, inf, -inf, -inf, inf, 0, frozenset(), -inf, -inf, -inf, *NOT_RESUMED)
    rows = ((None, "unread"), (None, "unread"), never, never, motor, motor)
    assert Guard(PLAN, Kept()).save() == (False, False, False, frozenset(), rows)
