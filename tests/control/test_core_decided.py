"""Cases that RULES leave open, as they were decided (see README): one small scenario each."""

import dataclasses

import pytest
import shop_plans

from gatekeeper.control.messages import HandSeen, Missed, MotorSeen, SwitchSeen


def fan(shop):
    return [(at_s, word) for at_s, name, word in shop.taken() if name == "fan"]


def gate_orders(shop, name):
    return [(at_s, word) for at_s, about, word in shop.taken() if about == name]


def test_the_rest_counts_from_the_end_of_a_lost_lease(open_shop):
    shop = open_shop(shop_plans.two_tools(starts_per_hour=240.0), punctual=False)
    shop.starts("saw")
    shop.answer("stop", "fan")
    shop.wait(2.0)
    shop.stops("saw")
    shop.starts("saw")  # the second start: its lease ends at 22 s, with less than one start in store
    assert fan(shop) == [(10.0, "on"), (10.0, "off"), (12.0, "on")]
    shop.late(11.0)
    assert fan(shop) == [(23.0, "off")]
    shop.stops("saw")
    shop.starts("saw")
    shop.wait(30.0)
    assert fan(shop) == [(42.0, "on")]


def test_a_lost_sensor_has_its_hold_and_no_question(open_shop):
    shop = open_shop()
    shop.starts("planer")  # its longest run is 600 s, the answer has 60 s
    shop.wait(590.0)
    shop.tool(1, "stale")
    fan(shop)
    shop.wait(300.0)
    assert "still_running" not in shop.alarms()
    assert fan(shop) == []
    shop.tool(1, "running")  # back within its hold, the same run
    assert "still_running" in shop.alarms()
    shop.wait(60.0)
    assert "counted_stopped" in shop.alarms()


def test_an_open_question_rests_while_the_sensor_is_lost(open_shop):
    shop = open_shop()
    shop.starts("planer")
    shop.wait(610.0)
    assert "still_running" in shop.alarms()
    shop.tool(1, "stale")
    fan(shop)
    shop.wait(300.0)
    assert fan(shop) == []


def test_a_start_while_the_record_of_starts_is_lost_is_no_cause_after_the_clear(open_shop):
    shop = open_shop()
    shop.restart(damaged=True)
    shop.answer("reset")
    shop.answer("back_in_service", "fan")
    shop.wait(10.0)
    shop.starts("saw")
    assert "found_running" in shop.alarms()
    assert shop.answer("clear", "fan") == "done"
    shop.wait(60.0)
    assert "on" not in [word for _, word in fan(shop)]
    shop.stops("saw")
    shop.starts("saw")
    assert [word for _, word in fan(shop)] == ["on"]


def test_clear_without_a_subject_clears_messages_and_no_latch(open_shop):
    shop = open_shop(shop_plans.switches())
    shop.dead.add("fan")
    shop.starts("saw")
    shop.wait(60.0)
    assert shop.state() == "latched"
    assert shop.answer("clear", None) == "done"
    assert shop.state() == "latched"
    assert "did_not_start" in shop.alarms()


def test_clear_without_a_subject_uses_up_no_cause(open_shop):
    shop = open_shop(shop_plans.by_person())
    shop.setting(1, 400.0)
    shop.dead.add("fan")
    shop.starts("saw")
    shop.stops("saw")
    shop.wait(2.5)  # not seen to run within 2 s, and tried once more
    shop.dead.clear()
    shop.answer("stop", "fan")
    shop.starts("planer")  # no start is left
    shop.wait(10.0)
    assert "no_air" in shop.alarms()
    fan(shop)
    assert shop.answer("clear", None) == "done"
    shop.wait(60.0)
    assert [word for _, word in fan(shop)] == ["on"]


def test_a_press_takes_up_no_tool_whose_sensor_is_lost(open_shop):
    shop = open_shop()
    shop.tool(0, "running", fresh=False)
    shop.tool(0, "stale")
    assert shop.answer("run", "fan", for_s=0.0) == "done"
    shop.wait(10.0)
    assert fan(shop) == []


def test_the_word_that_a_lost_tool_stopped_counts_after_it_was_counted_as_stopped(open_shop):
    shop = open_shop()
    shop.starts("planer")
    shop.wait(660.0)  # asked about at 600 s, counted as stopped at 660 s; its own delay is 12 s
    shop.tool(1, "stale")
    shop.wait(5.0)
    fan(shop)
    assert shop.answer("stopped", "planer") == "done"
    shop.wait(30.0)
    assert fan(shop) == [(687.0, "off")]


def test_a_switch_that_confirms_outweighs_a_driver_s_miss(open_shop):
    shop = open_shop(shop_plans.switches())
    shop.starts("saw")
    shop.wait(10.0)
    shop.taken()
    shop.step(Missed("g1"))
    shop.wait(10.0)
    assert shop.core.world.gates["g1"].belief == "open"
    assert shop.taken() == []
    assert "miss_doubted" in [entry.kind for entry in shop.tail]
    shop.step(SwitchSeen("g1", "between"))
    assert gate_orders(shop, "g1") == [(30.0, "open")]


def test_a_shaking_gate_turns_back_for_a_lost_path(open_shop):
    shop = open_shop()
    shop.starts("saw")
    shop.wait(5.0)
    shop.answer("open", "g2", for_s=300.0)
    shop.wait(10.0)
    shop.taken()
    shop.step(Missed("g2"))
    assert gate_orders(shop, "g2") == [(25.0, "shut")]  # a short back-and-forth
    shop.step(Missed("g1"))  # the only path
    assert shop.taken() == [(25.0, "g2", "open")]


@pytest.mark.parametrize("state", ["hand", "off"])
def test_leaving_auto_uses_up_a_cause_that_waits(open_shop, state):
    shop = open_shop(shop_plans.two_systems())
    shop.starts("planer")  # its inrush holds the fan back
    shop.step(HandSeen("fan", state))
    shop.step(HandSeen("fan", "auto"))
    shop.wait(30.0)
    assert "on" not in [word for _, word in fan(shop)]


def test_a_delay_made_longer_after_a_waiting_cause_ran_out_starts_nothing(open_shop):
    shop = open_shop(shop_plans.two_systems(), punctual=False)
    shop.starts("saw")
    shop.stops("saw")
    shop.late(40.0)
    shop.setting(0, 400.0)
    shop.wait(30.0)
    assert "on" not in [word for _, word in fan(shop)]


def test_a_refused_delay_ends_no_cause(open_shop):
    shop = open_shop(shop_plans.two_systems())
    shop.setting(0, -1.0)
    shop.starts("planer")
    shop.stops("planer")
    shop.wait(5.0)
    assert [word for _, word in fan(shop)] == ["on"]


def test_air_here_for_no_time_ends_it_from_anywhere(open_shop):
    shop = open_shop(shop_plans.two_systems())  # nobody starts a motor from the page here
    assert shop.answer("air_here", "planer", for_s=100.0) == "done"
    shop.wait(10.0)
    assert [word for _, word in fan(shop)] == ["on"]
    assert shop.answer("air_here", "planer", who="page", for_s=0.0) == "done"
    shop.wait(30.0)
    assert [word for _, word in fan(shop)] == ["off"]


def test_a_motor_seen_still_at_its_voluntary_stop_has_not_failed(open_shop):
    shop = open_shop(shop_plans.by_person())
    shop.answer("run", "fan", for_s=10.0)
    shop.wait(9.9)
    shop.step(MotorSeen("fan", "still"))
    shop.wait(1.0)
    assert fan(shop) == [(10.0, "on"), (20.0, "off")]
    shop.wait(60.0)
    shop.dead.add("fan")
    shop.answer("run", "fan", for_s=10.0)
    shop.wait(5.0)
    assert [word for _, word in fan(shop)] == ["on", "off", "on", "off"]  # with a retry of its own


def test_a_shut_by_hand_leaves_its_branch_out_of_the_flush(open_shop):
    shop = open_shop()
    assert shop.answer("flush", "fan") == "done"
    shop.wait(4.0)  # the branch of g1, which was open already, is clear: g2 is on its way
    shop.taken()
    assert shop.answer("shut", "g2") == "done"
    assert (14.0, "g2", "shut") in shop.taken()
    assert shop.core.world.motors["fan"].flush_until is None


def test_a_tool_that_comes_back_within_its_hold_is_no_new_start(open_shop):
    shop = open_shop()
    shop.starts("saw")
    shop.wait(20.0)
    shop.tool(0, "stale")
    shop.taken()
    shop.tool(0, "running")
    shop.wait(5.0)
    assert shop.taken() == []
    assert "found_running" not in shop.alarms()


def test_a_flicker_of_a_sensor_stuck_on_is_no_new_run(open_shop):
    shop = open_shop()
    shop.starts("planer")
    shop.wait(661.0)  # asked about at 600 s, counted as stopped at 660 s
    shop.tool(1, "stale")
    shop.wait(1.0)
    shop.tool(1, "running")
    assert "counted_stopped" in shop.alarms()
    fan(shop)
    shop.wait(30.0)
    assert fan(shop) == [(682.0, "off")]


def test_after_a_person_s_word_and_a_lost_sensor_running_counts_again(open_shop):
    shop = open_shop()
    shop.starts("planer")
    shop.wait(20.0)
    assert shop.answer("stopped", "planer") == "done"
    shop.tool(1, "stale")
    shop.tool(1, "running")
    fan(shop)
    shop.wait(100.0)
    assert fan(shop) == []


def test_a_run_is_resumed_within_a_minute_or_not_at_all(open_shop):
    shop = open_shop(shop_plans.switches())
    shop.starts("saw")
    shop.wait(70.0)
    shop.answer("hold", "g1")
    shop.answer("hold", "g2")
    shop.answer("hold", "g3")
    shop.truth_gate["g1"] = "between"
    shop.restart(down_s=5.0)
    shop.taken()
    shop.wait(59.0)
    assert fan(shop) == []  # no path
    shop.wait(20.0)
    assert "found_running" in shop.alarms()
    shop.answer("release", "g1")
    shop.wait(20.0)
    assert shop.core.world.gates["g1"].is_open
    assert shop.state() == "at_rest"


def test_a_shaker_still_on_when_its_collector_ends_again_goes_on_and_does_not_start_anew(open_shop):
    plan = shop_plans.cleaner_and_shaker()
    for name, per_hour in (("fan", 3600.0), ("shaker", 60.0)):
        plan.motors[name] = dataclasses.replace(plan.motors[name], starts_per_hour=per_hour)
    shop = open_shop(plan)

    def run(for_s):
        shop.starts("planer")
        shop.wait(1.0)
        shop.stops("planer")
        shop.wait(for_s)
        return [word for _, name, word in shop.taken() if name == "shaker"]

    assert run(30.0) == ["on", "off"]
    assert run(15.0) == ["on"]  # less than one start is left, so a cut cannot stop it
    assert run(15.0) == []
    assert run(90.0) == ["off"]


def test_a_gate_that_still_holds_the_slot_itself_opens_at_once(open_shop):
    shop = open_shop(shop_plans.shared_gate())  # the planer has g2 and g3 on one supply that moves one
    shop.starts("saw")
    shop.wait(20.0)
    assert shop.answer("open", "g3", for_s=1.0) == "done"
    shop.wait(1.7)  # its switch says open already, and its travel is not over
    shop.taken()
    shop.step(SwitchSeen("g3", "between"))
    shop.step(SwitchSeen("g3", "shut"))
    shop.starts("planer")
    assert (31.7, "g3", "open") in shop.taken()


def test_a_gate_being_shaken_is_itself_opened_where_the_path_is_lost(open_shop):
    shop = open_shop(shop_plans.mixed_hand())
    shop.step(SwitchSeen("h1", "open"))
    shop.answer("flush", "fan")
    shop.wait(2.0)
    shop.taken()
    shop.step(Missed("g1"))
    assert gate_orders(shop, "g1") == [(12.0, "shut")]  # a short back-and-forth: the hand gate is open
    shop.step(SwitchSeen("h1", "between"))
    assert gate_orders(shop, "g1") == [(12.0, "open")]


def test_gates_that_wait_for_a_slot_are_no_path_while_the_fan_has_none(open_shop):
    shop = open_shop(shop_plans.shared_gate())
    shop.answer("run", "fan", for_s=100.0)
    shop.wait(10.0)
    shop.starts("planer")  # g2 opens, g3 waits for the same supply
    shop.step(Missed("g2"))
    shop.taken()
    shop.step(Missed("g1"))  # the only path; on a supply of its own
    assert gate_orders(shop, "g1") == [(20.0, "open")]


def test_a_switch_that_says_open_within_a_halted_shutting_is_believed_when_it_would_have_ended(open_shop):
    shop = open_shop(shop_plans.switches())
    shop.starts("saw")
    shop.wait(10.0)
    shop.starts("lathe")
    shop.wait(20.0)
    shop.stops("saw")
    shop.wait(3.0)
    assert (43.0, "g1", "shut") in shop.taken()
    shop.jammed.add("g1")
    shop.answer("hold", "g1")
    shop.step(SwitchSeen("g1", "open"))
    assert not shop.core.world.gates["g1"].is_open
    shop.wait(2.5)  # dead time and travel
    assert shop.core.world.gates["g1"].is_open
