"""Bugs of the core that random shops, working days and campaigns of faults found: one small scenario each."""

import dataclasses

import pytest
import shop_plans

from gatekeeper.control.messages import (
    AirSeen,
    Kept,
    Missed,
    MotorSeen,
    MoveGate,
    ShopKeySeen,
    SwitchSeen,
    Ticked,
    Woke,
)
from gatekeeper.control.policy import apply
from gatekeeper.control.supervisor import Supervisor


def entries(shop, kind, since_s=0.0):
    """What was told lately of one kind, as (instant from 100 s, subject, rule, why)."""
    return [
        (round(entry.t_s - 100.0, 3), entry.subject, entry.rule, entry.why)
        for entry in shop.tail
        if entry.kind == kind and entry.t_s >= 100.0 + since_s
    ]


def with_gate(plan, name, **fields):
    gates = dict(plan.gates)
    gates[name] = dataclasses.replace(gates[name], **fields)
    return dataclasses.replace(plan, gates=gates)


# ---------------------------------------------------------------- gates that stay open


def test_a_gate_opened_again_for_the_air_says_so_when_its_own_cut_is_over(open_shop):
    shop = open_shop(shop_plans.air_proof())
    shop.starts("saw")
    shop.starts("planer")
    shop.wait(10.0)
    shop.stops("planer")
    shop.wait(4.0)  # its gate is shutting
    assert (23.0, "g2", "shut") in shop.taken()
    shop.step(AirSeen("fan", False))
    shop.starts("planer")
    shop.wait(3.0)
    shop.step(AirSeen("fan", True))
    assert (24.0, "g2", "C3", "g2: air was not proved without it") in entries(shop, "kept_open")
    shop.stops("planer")
    shop.wait(4.0)
    told = (30.0, "g2", "C3", "g2 gate stays open: opened again: air was not proved without it")
    assert entries(shop, "kept_open")[-1] == told
    assert shop.core.world.gates["g2"].is_open


def test_a_tools_gate_that_stays_as_extra_air_says_so(open_shop):
    plan = shop_plans.extra_air()
    tools = dict(plan.tools) | {"lathe": dataclasses.replace(plan.tools["saw"], name="lathe", gates=("g3",))}
    shop = open_shop(dataclasses.replace(plan, tools=tools))
    shop.starts("lathe")
    shop.wait(10.0)
    shop.starts("saw")
    shop.wait(10.0)
    shop.taken()
    shop.stops("lathe")
    shop.wait(10.0)
    assert entries(shop, "kept_open") == [(33.0, "g3", "C17", "g3 gate stays open: open as extra air for the main")]
    assert shop.taken() == []


def test_extra_gates_and_the_tools_own_stay_until_the_collector_stops(open_shop):
    shop = open_shop(shop_plans.extra_air())
    shop.starts("saw")
    shop.wait(10.0)
    moves = [order for order in shop.taken() if order[1] != "fan"]
    assert moves == [(10.0, "g3", "open"), (10.0, "g2", "shut")]
    for _ in range(5):  # short cuts, one after the other: nothing wears
        shop.stops("saw")
        shop.wait(6.0)
        shop.starts("saw")
        shop.wait(3.0)
    assert shop.taken() == []
    shop.stops("saw")
    shop.wait(20.0)
    assert [order[1:] for order in shop.taken()] == [("fan", "off"), ("g3", "shut")]


def test_a_kept_extra_gate_yields_to_another_tool_and_to_a_person(open_shop):
    shop = open_shop(shop_plans.extra_air())
    for name in ("planer", "hand"):
        shop.starts("saw")
        shop.wait(10.0)
        shop.stops("saw")
        shop.wait(4.0)
        shop.taken()
        if name == "hand":
            assert shop.answer("shut", "g3") == "done"
        else:
            shop.starts("planer")
        shop.wait(2.0)
        assert ("g3", "shut") in [order[1:] for order in shop.taken()]
        shop.stops("planer")
        shop.wait(60.0)


def test_with_an_air_switch_the_next_gate_says_why_it_does_not_shut_yet(open_shop):
    shop = open_shop(shop_plans.air_proof())
    for name in ("saw", "planer", "lathe"):
        shop.starts(name)
    shop.wait(20.0)
    shop.stops("planer")
    shop.stops("lathe")
    shop.wait(10.0)
    assert [order for order in shop.taken() if order[2] == "shut" and order[0] > 30.0] == [
        (33.0, "g2", "shut"),
        (36.0, "g3", "shut"),
    ]
    told = [entry for entry in entries(shop, "queued", 30.0) if entry[1] == "g3"]
    assert told == [(33.0, "g3", "C3", "g3 waits until air is proved before the next one shuts")]


# ---------------------------------------------------------------- paths


def test_only_gates_that_move_by_themselves_count_for_the_worst_travel(open_shop):
    plan = with_gate(shop_plans.mixed_hand(), "h2", travel_s=6.0)
    shop = open_shop(plan)
    shop.starts("saw")
    shop.wait(10.0)
    shop.jammed |= {"g1"}
    shop.taken()
    shop.step(Missed("g1"))
    shop.wait(10.0)
    assert (24.0, "fan", "off") in shop.taken()  # 2 s of travel and 2 s


def test_a_gate_that_missed_is_not_the_next_one_tried_as_path_at_rest(open_shop):
    shop = open_shop(shop_plans.switches(), settled=False)
    shop.truth_gate |= {"g1": "shut", "g2": "between", "g3": "between"}
    shop.jammed |= {"g1"}
    shop.read_everything()
    shop.wait(7.0)
    opened = [order for order in shop.taken() if order[2] == "open"]
    assert len({name for _, name, _ in opened}) == len(opened) == 2
    assert shop.core.world.open_area(shop.core.world.motors["fan"]) >= 0.01


@pytest.mark.parametrize("now_s", [8.303, 0.1, 977.3, 10.224])
def test_the_core_and_the_guard_agree_to_the_last_bit_when_a_move_ends(now_s):
    plan = with_gate(shop_plans.two_tools(), "g1", dead_s=0.3, travel_s=4.0)
    core = Supervisor(plan, Kept(), strict=True)
    core.handle(Woke(), now_s - 5.0)
    guard, gate = core.guard.gates["g1"], core.world.gates["g1"]
    for what in ("shut", "open"):  # the second reverses the first
        core.guard.move(MoveGate("g1", what), now_s)
        apply(core.world, MoveGate("g1", what), now_s)
        assert gate.busy_until == guard.slot_s
    assert gate.arrive_by == guard.due_s


def test_a_motor_is_not_stopped_a_rounding_before_its_delay_ends(open_shop):
    """Its cause would still stand: it would start again at once."""
    shop = open_shop()
    shop.starts("saw")
    shop.wait(10.0)
    shop.stops("saw")  # at 20 s: 8 s of delay
    shop.taken()
    shop.wait(7.0)
    shop.now_s = 128.0 - 5e-10
    shop.tool(0, "stopped")  # any look at the shop
    assert shop.taken() == []
    shop.wait(5.0)
    assert shop.taken() == [(28.0, "fan", "off")]


def test_a_path_that_must_wait_for_a_slot_is_not_the_only_one_that_opens(open_shop):
    """The gate that missed has its own slot, which is free."""
    plan = shop_plans.two_systems()
    plan = with_gate(with_gate(plan, "g2", travel_s=9.0, can_halt=False), "v1", supply="servo")
    plan = dataclasses.replace(plan, supplies={"air": 1, "servo": 1})
    shop = open_shop(plan)
    shop.starts("saw")  # on both systems
    shop.wait(20.0)
    assert shop.state("vac") == "running"
    shop.starts("planer")  # its gate takes the only slot of the air for 9 s
    shop.wait(1.0)
    shop.stops("saw")
    shop.jammed.add("v1")
    shop.taken()
    shop.step(Missed("v1"))  # the vacuum's only open gate; its other one needs the air's slot
    assert (31.0, "v1", "open") in shop.taken()


def test_the_last_path_opens_again_in_its_own_slot_though_another_tool_waits_for_one(open_shop):
    shop = open_shop(dataclasses.replace(shop_plans.switches(), supplies={"air": 1}))
    shop.starts("planer")
    shop.wait(10.0)
    assert [name for name, gate in shop.core.world.gates.items() if gate.is_open] == ["g2"]
    shop.step(SwitchSeen("g2", "between"))  # somebody pulled at it: told open again, with the slot until 22 s
    shop.wait(0.5)
    shop.starts("saw")  # waits for the slot
    assert shop.taken()[-1] == (20.0, "g2", "open")
    shop.step(Missed("g2"))
    assert shop.taken() == [(20.5, "g2", "open")]


# ---------------------------------------------------------------- motors


def test_a_lost_lease_is_told_once_and_a_start_seen_in_that_step_is_fresh(open_shop):
    shop = open_shop(punctual=False)
    shop.starts("saw")
    shop.wait(3.0)
    shop.taken()
    shop.now_s += 12.0  # nobody looks for longer than a lease
    shop.starts("planer")
    lost = [entry for entry in shop.tail if entry.kind == "message" and entry.value["code"] == "lease_lost"]
    assert len(lost) == 1
    assert [order for order in shop.taken() if order[1] == "fan"] == [(25.0, "fan", "off"), (25.0, "fan", "on")]


# ---------------------------------------------------------------- what people are told


def test_a_tool_whose_second_system_was_stopped_says_so_when_the_first_comes_back(open_shop):
    shop = open_shop(shop_plans.two_systems())
    shop.starts("saw")  # on both
    shop.wait(20.0)
    assert shop.state("fan") == shop.state("vac") == "running"
    assert shop.answer("stop") == "done"
    shop.wait(1.0)
    assert "one_system_only" not in shop.alarms()
    assert "no_air" in shop.alarms()
    shop.starts("planer")  # on the first alone
    shop.wait(3.0)
    assert shop.state("fan") == "running"
    assert "one_system_only" in shop.alarms()
    shop.stops("saw")
    assert "one_system_only" not in shop.alarms()


def test_two_tools_that_a_circuit_has_not_told_apart_yet_are_not_short_of_air(open_shop):
    shop = open_shop(shop_plans.extra_air())  # saw and planer together: the saw is short
    shop.starts("saw")
    shop.starts("planer")
    shop.wait(1.0)
    shop.stops("planer")  # it was the saw alone
    shop.wait(20.0)
    assert entries(shop, "message") == []
    shop.starts("planer")
    shop.wait(2.999)
    assert entries(shop, "message") == []
    shop.wait(0.001)
    assert entries(shop, "message") == [(34.0, "saw", "C17", "saw gets 20 % less air than it needs.")]
    shop.stops("planer")
    assert "short_of_air" not in shop.alarms()


def test_a_system_that_comes_in_a_moment_is_not_missed(open_shop):
    shop = open_shop(shop_plans.two_systems())
    shop.starts("saw")
    for _ in range(20):
        shop.wait(0.25)
        assert "one_system_only" not in shop.alarms()
    assert shop.state("fan") == shop.state("vac") == "running"


def test_a_motor_that_runs_when_the_controller_wakes_is_judged_once_its_switch_was_read(open_shop):
    shop = open_shop(shop_plans.switches(), settled=False)
    shop.step(MotorSeen("fan", "running"))
    assert "runs_when_off" not in shop.alarms()
    shop.truth_hand["fan"] = "hand"
    shop.read_everything()
    shop.step(MotorSeen("fan", "running"))
    shop.wait(5.0)
    assert "runs_when_off" not in shop.alarms()
    other = open_shop(shop_plans.switches(), settled=False)
    other.welded.add("fan")
    other.read_everything()
    other.wait(2.0)
    assert "runs_when_off" in other.alarms()


def test_a_motor_started_at_its_own_switch_is_no_false_alarm_while_the_switch_settles(open_shop):
    shop = open_shop(shop_plans.switches())
    shop.step(MotorSeen("fan", "running"))
    shop.wait(0.04)
    assert "runs_when_off" not in shop.alarms()
    shop.hand(0, "hand")
    shop.wait(5.0)
    assert "runs_when_off" not in shop.alarms()
    other = open_shop(shop_plans.switches())
    other.welded.add("fan")
    other.step(MotorSeen("fan", "running"))
    other.wait(0.999)
    assert "runs_when_off" not in other.alarms()
    other.wait(0.001)  # the release time
    assert "runs_when_off" in other.alarms()


# ---------------------------------------------------------------- what is due at once


def test_a_flush_that_begins_with_an_open_branch_counts_from_the_press(open_shop):
    shop = open_shop()
    shop.starts("saw")
    shop.wait(10.0)
    shop.taken()
    assert shop.answer("flush", "fan") == "done"
    shop.wait(20.0)
    orders = [(at_s, name, word) for at_s, name, word in shop.taken() if word == "open"]
    assert orders == [(23.0, "g2", "open")]  # g1 is open: 3 s from the press, then the next


def test_a_gate_opened_by_hand_for_no_time_does_not_move(open_shop):
    shop = open_shop()
    (shut,) = [name for name, gate in shop.core.world.gates.items() if not gate.is_open]
    assert shop.answer("open", shut, for_s=0.0) == "done"
    shop.wait(5.0)
    assert shop.taken() == []


def test_the_question_ends_when_the_shop_shuts(open_shop):
    shop = open_shop()
    shop.starts("planer")
    shop.wait(610.0)  # its longest run is 600 s, the answer has 60 s
    assert "still_running" in shop.alarms()
    shop.step(ShopKeySeen("shut"))
    assert "counted_stopped" in shop.alarms()


def test_after_a_fault_of_its_own_the_core_looks_again(monkeypatch):
    core = Supervisor(shop_plans.two_tools(), Kept())
    core.handle(Woke(), 100.0)

    def broken(world, now_s):
        raise KeyError("a fault in the program")

    with monkeypatch.context() as patched:
        patched.setattr("gatekeeper.control.supervisor.decide", broken)
        core.handle(SwitchSeen("g1", "open"), 101.0)
        assert core.next_deadline() == 102.0
    core.handle(Ticked(), 102.0)
    assert "fault" not in [entry.kind for entry in core.recorder.take() if entry.t_s == 102.0]


# ---------------------------------------------------------------- by hand and as path


def test_a_gate_opened_by_hand_that_is_the_only_path_goes_before_a_shutting_one(open_shop):
    plan = shop_plans.two_systems()
    for name in ("v1", "v2"):
        plan = with_gate(plan, name, has_switch=True)
    shop = open_shop(plan, settled=False)
    shop.truth_gate |= {"v1": "open", "v2": "open"}
    shop.read_everything()
    assert shop.answer("open", "g2") == "done"  # the sensors settle until 2 s
    shop.wait(5.0)
    assert [order for order in shop.taken() if order[2] != "off"] == [(2.0, "g2", "open"), (4.0, "v2", "shut")]


def test_a_gate_opened_by_hand_that_has_to_wait_is_no_path_at_rest(open_shop):
    plan = with_gate(shop_plans.two_systems(), "g1", supply="servo", has_switch=True)
    shop = open_shop(dataclasses.replace(plan, supplies={"air": 1, "servo": 1}))
    assert [name for name, gate in shop.core.world.gates.items() if gate.is_open and name < "v"] == ["g1"]
    shop.starts("sander")  # its gate takes the slot of the air supply for 2.5 s
    assert shop.answer("open", "g2") == "done"
    shop.wait(0.5)
    shop.taken()
    shop.step(SwitchSeen("g1", "shut"))  # somebody shut it
    shop.wait(0.1)
    assert shop.taken() == [(10.5, "g1", "open")]


def test_at_rest_a_path_that_is_lost_comes_from_a_gate_that_need_not_wait(open_shop):
    plan = with_gate(shop_plans.two_systems(), "v1", supply="servo")
    plan = with_gate(plan, "v2", has_switch=True)
    shop = open_shop(dataclasses.replace(plan, supplies={"air": 1, "servo": 1}))
    shop.starts("sander")
    shop.wait(10.0)
    shop.stops("sander")
    shop.wait(20.0)
    assert [name for name, gate in shop.core.world.gates.items() if gate.is_open and name > "v"] == ["v2"]
    shop.starts("planer")  # its gate takes the slot of the air supply for 2 s
    shop.taken()
    shop.wait(0.5)
    shop.step(SwitchSeen("v2", "shut"))  # the gate that was left open is not any more
    shop.wait(0.1)
    assert [order[1:] for order in shop.taken() if order[1] in ("v1", "v2")] == [("v1", "open")]
