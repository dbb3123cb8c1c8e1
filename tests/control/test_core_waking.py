"""Waking (C15), the exception of C21, lost records (C8a), and a loop that stood still (C23)."""

import pytest
import shop_plans

from gatekeeper.control.messages import Kept


def test_waking_tells_every_motor_off_and_moves_nothing_while_sensors_settle(open_shop):
    shop = open_shop(settled=False)
    assert shop.taken() == [(0.0, "fan", "off")]
    shop.read_everything()
    shop.wait(1.999)
    assert shop.taken() == []
    shop.wait(0.001)
    assert shop.taken() == [(2.0, "g1", "open")]


def test_a_circuit_that_was_not_read_counts_as_open(open_shop):
    shop = open_shop(settled=False)
    shop.wait(10.0)
    assert shop.taken() == [(0.0, "fan", "off")]
    assert {"fire", "emergency", "door_open"} <= shop.alarms()


def test_a_tool_found_running_at_waking_gets_its_gate_first(open_shop):
    shop = open_shop(settled=False)
    shop.truth_tool["planer"] = "running"
    shop.read_everything()
    shop.wait(2.0)
    assert shop.taken() == [(0.0, "fan", "off"), (2.0, "g2", "open")]
    assert "found_running" in shop.alarms()


@pytest.mark.parametrize(("down_s", "resumes"), [(30.0, True), (70.0, False)])
def test_a_restart_within_the_boot_may_resume_a_run(open_shop, down_s, resumes):
    shop = open_shop(shop_plans.switches())
    shop.starts("saw")
    shop.wait(70.0)  # two starts are in store again
    shop.taken()
    shop.restart(down_s=down_s)
    shop.wait(10.0)
    assert ("on" in [word for _, name, word in shop.taken() if name == "fan"]) is resumes


def test_never_after_another_boot(open_shop):
    shop = open_shop(shop_plans.switches())
    shop.starts("saw")
    shop.wait(10.0)
    shop.taken()
    shop.restart(same_boot=False)
    shop.wait(10.0)
    assert "on" not in [word for _, _, word in shop.taken()]


@pytest.mark.parametrize(("clean", "stored"), [(False, 0.0), (True, 1.0)])
def test_a_motor_that_was_on_is_charged_one_more_at_waking(open_shop, clean, stored):
    shop = open_shop()
    shop.starts("saw")
    shop.restart(clean=clean, same_boot=False)
    assert shop.core.world.motors["fan"].store.level == stored


def test_a_damaged_record_counts_as_out_of_service_and_an_empty_store(open_shop):
    shop = open_shop()
    shop.restart(damaged=True)
    assert {"records_damaged", "out_of_service", "starts_lost"} <= shop.alarms()
    assert shop.state() == "blocked"
    assert shop.answer("reset", who="local") == "done"
    assert shop.answer("back_in_service", "fan") == "done"
    shop.wait(10.0)
    assert shop.answer("run", "fan") == "starts_lost"
    assert shop.answer("clear", "fan") == "done"
    assert shop.answer("run", "fan") == "done"


def test_a_loop_that_stood_still_past_the_lease_has_lost_it(open_shop):
    shop = open_shop(punctual=False)
    shop.starts("saw")
    shop.wait(1.0)
    shop.late(30.0)
    assert "lease_lost" in shop.alarms()
    assert (41.0, "fan", "off") in shop.taken()
    shop.wait(60.0)
    assert "on" not in [word for _, _, word in shop.taken()]


def test_a_clean_stop_leaves_every_motor_off(open_shop):
    shop = open_shop()
    shop.starts("saw")
    shop.taken()
    shop.restart(clean=True)
    assert shop.taken()[0] == (10.0, "fan", "off")
    assert shop.kept_values.get("on/fan") is None


def test_settings_outlive_a_restart(open_shop):
    shop = open_shop()
    shop.setting(0, 30.0)
    shop.restart(same_boot=False)
    assert shop.core.world.settings == {"fan": 30.0}


def test_the_first_event_is_waking_and_time_never_goes_back(open_shop):
    from gatekeeper.control.messages import Ticked
    from gatekeeper.control.supervisor import Supervisor

    core = Supervisor(shop_plans.two_tools(), Kept(), strict=True)
    assert core.next_deadline() is None
    with pytest.raises(ValueError, match=r"^the first event must be Woke$"):
        core.handle(Ticked(), 1.0)
    shop = open_shop()
    with pytest.raises(ValueError, match=r"^time cannot go back: 1.0 after"):
        shop.core.handle(Ticked(), 1.0)
