"""Starts that are not confirmed, lost sensors, runs past all sense, air that is not proved (C3a, C9, C12, C18, C22)."""

import pytest
import shop_plans

from gatekeeper.control.messages import AirSeen, MotorSeen


@pytest.fixture
def seen(open_shop):
    """A shop whose fan is watched: it must be seen to run within 3 s."""
    return open_shop(shop_plans.switches())


def fan(shop):
    return [(at_s, word) for at_s, name, word in shop.taken() if name == "fan"]


def test_a_dead_motor_is_tried_twice_and_latched(seen):
    seen.dead.add("fan")
    seen.starts("saw")
    seen.wait(60.0)
    assert [word for _, word in fan(seen)] == ["on", "off", "on", "off"]
    assert seen.state() == "latched"
    assert "did_not_start" in seen.alarms()
    seen.dead.clear()
    assert seen.answer("clear", "fan") == "done"
    seen.wait(60.0)
    assert fan(seen) == []  # clearing starts nothing
    seen.stops("saw")
    seen.starts("saw")
    assert [word for _, word in fan(seen)] == ["on"]


def test_a_motor_that_trips_is_latched_without_a_retry(seen):
    seen.starts("saw")
    seen.wait(10.0)
    seen.dead.add("fan")
    fan(seen)
    seen.step(MotorSeen("fan", "still"))
    seen.wait(10.0)
    assert fan(seen) == [(23.0, "off")]
    assert "stopped_itself" in seen.alarms()


def test_a_welded_contactor_is_told_after_the_release_time(seen):
    seen.starts("saw")
    seen.wait(10.0)
    seen.welded.add("fan")
    seen.answer("stop", None)
    assert "runs_when_off" not in seen.alarms()
    seen.wait(2.0)
    assert "runs_when_off" in seen.alarms()
    assert seen.core.world.motors["fan"].fan_runs(seen.now_s)


def test_a_lost_tool_counts_as_running_for_its_hold_only(open_shop):
    shop = open_shop(shop_plans.two_systems())
    shop.starts("saw")  # its hold is 60 s
    shop.wait(20.0)
    shop.tool(0, "stale")
    shop.taken()
    shop.wait(59.0)
    assert "off" not in [word for _, _, word in shop.taken()]
    shop.wait(120.0)
    assert {("fan", "off"), ("vac", "off")} <= {(name, word) for _, name, word in shop.taken()}
    assert shop.core.world.gates["g1"].is_open  # its gate is not shut until a person speaks


def test_a_person_says_that_a_lost_tool_stopped(open_shop):
    shop = open_shop()
    shop.starts("saw")
    shop.wait(20.0)
    shop.tool(0, "stale")
    assert shop.answer("stopped", "saw") == "done"
    shop.taken()
    shop.wait(60.0)
    assert fan(shop) == [(38.0, "off")]


@pytest.mark.parametrize("key", ["open", "shut"])
def test_a_run_past_all_sense_is_asked_about_and_stopped_without_an_answer(open_shop, key):
    shop = open_shop()
    shop.starts("planer")  # its longest run is 600 s, the answer has 60 s
    shop.wait(1.0)
    shop.key(key)
    shop.wait(598.9)
    assert "still_running" not in shop.alarms()
    shop.taken()
    shop.wait(0.2)
    if key == "open":
        assert "still_running" in shop.alarms()
        shop.wait(60.0)
    assert "counted_stopped" in shop.alarms()
    shop.wait(30.0)
    assert [word for _, word in fan(shop)] == ["off"]


def test_the_answer_that_it_still_cuts_keeps_the_fan(open_shop):
    shop = open_shop()
    shop.starts("planer")
    shop.wait(605.0)
    assert shop.answer("still_running", "planer") == "done"
    fan(shop)
    shop.wait(590.0)
    assert fan(shop) == []


def test_two_motors_never_start_within_the_feeder_s_gap(open_shop):
    shop = open_shop(shop_plans.two_systems())
    shop.starts("saw")
    shop.wait(30.0)
    on = sorted(at_s for at_s, _, word in shop.taken() if word == "on")
    assert len(on) == 2
    assert on[0] >= 12.0
    assert on[1] - on[0] >= 2.0


def test_the_air_cleaner_runs_on_by_how_much_was_cut(open_shop):
    shop = open_shop(shop_plans.cleaner_and_shaker())
    shop.starts("planer")
    shop.wait(60.0)  # half of a full cut: half way between 60 s and 300 s
    shop.stops("planer")
    shop.taken()
    shop.wait(400.0)
    assert (70.0 + 180.0, "cleaner", "off") in shop.taken()


def test_the_shaker_follows_the_run_of_its_collector(open_shop):
    shop = open_shop(shop_plans.cleaner_and_shaker())
    shop.starts("planer")
    shop.wait(60.0)
    shop.stops("planer")
    shop.taken()
    shop.wait(60.0)
    sent = [(name, word) for _, name, word in shop.taken() if name in ("fan", "shaker")]
    assert sent == [("fan", "off"), ("shaker", "on"), ("shaker", "off")]


def test_a_shaker_cut_short_by_a_cut_stays_off(open_shop):
    shop = open_shop(shop_plans.cleaner_and_shaker())
    shop.starts("planer")
    shop.wait(60.0)
    shop.stops("planer")
    shop.wait(16.0)
    assert shop.state("shaker") == "running"
    shop.taken()
    shop.starts("planer")
    shop.wait(30.0)
    assert [(name, word) for _, name, word in shop.taken() if name in ("fan", "shaker")] == [
        ("shaker", "off"),
        ("fan", "on"),
    ]


def test_air_that_is_not_proved_opens_a_gate_again(open_shop):
    shop = open_shop(shop_plans.air_proof())
    shop.starts("saw")
    shop.wait(20.0)
    assert shop.state() == "running"
    shop.taken()
    shop.step(AirSeen("fan", False))
    shop.wait(6.0)
    assert "open" in [word for _, _, word in shop.taken()]
