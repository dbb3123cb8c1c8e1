"""A tool starts (C1, C2, C4, C11, C21): its gate at once, the fan on a proven path, and only for a fresh cause."""

import pytest
import shop_plans


@pytest.fixture
def shop(open_shop):
    return open_shop()


def test_at_rest_one_gate_stands_open_as_path(shop):
    assert [gate.belief for gate in shop.core.world.gates.values()] == ["open", "unproven"]
    assert shop.state() == "at_rest"


def test_a_tool_behind_the_open_gate_gets_its_fan_in_that_step(shop):
    shop.starts("saw")
    assert shop.taken() == [(10.0, "g2", "shut"), (10.0, "fan", "on")]


def test_the_fan_runs_on_the_parked_gate_while_the_tool_s_own_opens(shop):
    shop.starts("planer")
    assert shop.taken() == [(10.0, "g2", "open"), (10.0, "fan", "on")]
    shop.wait(2.0)
    assert shop.taken() == [(12.0, "g1", "shut")]


def test_without_a_proven_path_the_fan_waits_for_it(open_shop):
    shop = open_shop(settled=False)
    shop.read_everything()
    shop.wait(2.0)
    shop.taken()
    shop.starts("planer")
    assert shop.taken() == [(2.0, "g1", "halt"), (2.0, "g2", "open")]
    assert shop.state() == "waiting"
    shop.wait(1.999)
    assert shop.taken() == []
    shop.wait(0.001)
    assert shop.taken() == [(4.0, "g1", "shut"), (4.0, "fan", "on")]


def test_a_gate_moving_shut_when_its_tool_starts_is_reversed_in_that_step(shop):
    shop.starts("saw")
    shop.wait(1.0)
    shop.taken()
    shop.starts("planer")
    assert shop.taken() == [(11.0, "g2", "open")]
    shop.wait(1.999)
    assert not shop.core.world.gates["g2"].is_open
    shop.wait(0.001)
    assert shop.core.world.gates["g2"].is_open


def test_a_tool_found_running_gets_its_gate_the_alarm_and_no_fan(shop):
    shop.tool(1, "running", fresh=False)
    assert shop.taken() == [(10.0, "g2", "open")]
    assert "found_running" in shop.alarms()


def test_a_press_takes_up_a_tool_found_running(shop):
    shop.tool(1, "running", fresh=False)
    shop.wait(5.0)
    shop.taken()
    assert shop.answer("run", "fan", for_s=0.0) == "done"
    assert shop.taken() == [(15.0, "fan", "on")]
    assert "found_running" not in shop.alarms()


@pytest.mark.parametrize("what", ["stop", "out_of_service"])
def test_what_a_person_stopped_does_not_start_again_by_itself(shop, what):
    shop.starts("saw")
    shop.taken()
    shop.answer(what, "fan")
    assert (10.0, "fan", "off") in shop.taken()
    if what == "out_of_service":
        assert shop.answer("back_in_service", "fan") == "done"
    shop.wait(60.0)
    assert (10.0, "fan", "on") not in shop.taken()
    assert shop.state() in ("at_rest", "coasting")
    shop.stops("saw")
    shop.starts("saw")
    assert (70.0, "fan", "on") in shop.taken()


def test_a_cut_that_ended_before_the_fan_came_is_a_cause_until_its_delay_is_over(open_shop):
    plan = shop_plans.two_systems()
    shop = open_shop(plan)
    shop.starts("planer")  # its own inrush holds the fan back for two seconds
    shop.wait(1.0)
    shop.stops("planer")
    assert "on" not in [word for _, _, word in shop.taken()]
    shop.wait(1.0)
    assert (12.0, "fan", "on") in shop.taken()


def test_one_actuator_of_a_supply_at_a_time(open_shop):
    shop = open_shop(shop_plans.two_systems())
    shop.starts("saw")  # two gates on one supply
    first = [sent for sent in shop.taken() if sent[2] == "open"]
    assert len(first) <= 1
    shop.wait(10.0)
    gates = shop.core.world.gates
    assert gates["g1"].is_open
    assert gates["v1"].is_open


def test_a_lost_tool_is_no_cause_and_its_return_is_none_either(shop):
    shop.tool(1, "stale")
    assert shop.alarms() == {"sensor_lost"}
    shop.tool(1, "running")
    assert "on" not in [word for _, _, word in shop.taken()]
    assert "found_running" in shop.alarms()


def test_a_refused_start_says_why(open_shop):
    shop = open_shop(shop_plans.mixed_hand())
    assert shop.answer("run", "fan", who="page") == "no_remote_start"
    assert shop.answer("run", None) == "which"
    assert shop.answer("run", "fan", for_s=20000.0) == "out_of_range"
    assert shop.answer("run", "fan", for_s=5.0) == "done"
