"""What people ask and what stops everything (C13, C14, C16, C24, C25, C27)."""

import pytest
import shop_plans

from gatekeeper.control.messages import HandSeen, InputSeen, Keep, Requested, ShopKeySeen

OPENED = {"C13": ("red", "emergency"), "C24": ("heat", "fire")}


@pytest.fixture
def shop(open_shop):
    """The planer's gate is on its way and the fan runs."""
    shop = open_shop()
    shop.starts("planer")
    shop.wait(1.0)
    shop.taken()
    return shop


@pytest.mark.parametrize("rule", OPENED)
def test_every_motor_off_and_every_gate_halted_in_that_step(shop, rule):
    name, code = OPENED[rule]
    commands = shop.step(InputSeen(name, "open"))
    assert shop.taken() == [(11.0, "fan", "off"), (11.0, "g1", "halt"), (11.0, "g2", "halt")]
    assert Keep(code, True) in commands
    assert code in shop.alarms()


@pytest.mark.parametrize("rule", OPENED)
def test_nothing_moves_until_the_reset_and_the_reset_starts_nothing(shop, rule):
    name, code = OPENED[rule]
    shop.step(InputSeen(name, "open"))
    shop.taken()
    assert shop.answer("reset") == "still_open"
    shop.step(InputSeen(name, "made"))
    shop.wait(60.0)
    assert shop.taken() == []
    assert shop.answer("reset") == "done"
    shop.wait(60.0)
    assert "on" not in [word for _, _, word in shop.taken()]
    assert code not in shop.alarms()
    assert "no_air" in shop.alarms()


@pytest.mark.parametrize("who", ["page", "broker", "button", "input"])
def test_a_fire_is_reset_at_the_controller_only(shop, who):
    shop.step(InputSeen("heat", "open"))
    shop.step(InputSeen("heat", "made"))
    assert shop.answer("reset", who=who) == "local_only"
    assert shop.answer("reset", who="local") == "done"


def test_the_red_button_tells_off_even_at_hand(shop):
    shop.step(HandSeen("fan", "hand"))
    shop.taken()
    shop.step(InputSeen("red", "open"))
    assert (11.0, "fan", "off") in shop.taken()


@pytest.mark.parametrize("who", ["local", "page", "button", "broker", "input"])
def test_out_of_service_is_always_accepted_and_kept_with_the_answer(shop, who):
    commands = shop.step(Requested("out_of_service", "fan", who, text="belt"))
    assert shop.taken() == [(11.0, "fan", "off"), (11.0, "g2", "halt")]
    kept = [c.value for c in commands if isinstance(c, Keep) and c.key == "out_of_service/fan"]
    assert kept == [{"who": who, "why": "belt", "since_s": 111.0}]
    shop.restart(same_boot=False)
    assert shop.state() == "blocked"
    assert shop.answer("run", "fan") == "blocked"


def test_an_open_door_has_the_same_effect(shop):
    shop.step(InputSeen("bin", "open"))
    assert shop.taken() == [(11.0, "fan", "off"), (11.0, "g2", "halt")]
    shop.step(InputSeen("bin", "made"))
    assert "on" not in [word for _, _, word in shop.taken()]


def test_stop_is_obeyed_with_a_tool_running_and_the_page_says_so(shop):
    assert shop.answer("stop", None) == "done"
    assert shop.taken()[0] == (11.0, "fan", "off")
    assert "no_air" in shop.alarms()


@pytest.mark.parametrize("state", ["off", "hand"])
def test_leaving_auto_is_a_forced_stop_and_coming_back_starts_nothing(shop, state):
    shop.step(HandSeen("fan", state))
    assert (11.0, "fan", "off") in shop.taken()
    assert shop.state() == {"off": "blocked", "hand": "by_hand"}[state]
    shop.step(HandSeen("fan", "auto"))
    shop.wait(60.0)
    assert "on" not in [word for _, _, word in shop.taken()]


def test_at_hand_gates_still_serve(shop):
    shop.step(HandSeen("fan", "hand"))
    shop.taken()
    shop.starts("saw")
    shop.wait(10.0)
    assert all(gate.is_open for gate in shop.core.world.gates.values())


def test_in_a_shut_shop_no_motor_starts_and_gates_still_serve(open_shop):
    shop = open_shop()
    shop.step(ShopKeySeen("shut"))
    shop.starts("planer")
    assert shop.taken() == [(10.0, "g2", "open")]
    assert shop.core.world.signs["planer"] == "shop_shut"
    assert "shop_shut_start" in shop.alarms()
    shop.step(ShopKeySeen("open"))
    shop.wait(10.0)
    assert "on" not in [word for _, _, word in shop.taken()]


def test_a_cause_that_waits_when_the_shop_is_shut_is_used_up(open_shop):
    shop = open_shop(shop_plans.two_systems())
    shop.starts("planer")  # its inrush holds the fan back
    shop.step(ShopKeySeen("shut"))
    shop.step(ShopKeySeen("open"))
    shop.wait(10.0)
    assert "on" not in [word for _, name, word in shop.taken() if name == "fan"]


def test_a_timed_run_ends_by_itself(open_shop):
    shop = open_shop()
    assert shop.answer("run", "fan", for_s=20.0) == "done"
    shop.wait(60.0)
    assert [sent for sent in shop.taken() if sent[1] == "fan"] == [(10.0, "fan", "on"), (30.0, "fan", "off")]


def test_a_flush_clears_each_branch_in_turn_and_leaves_a_longer_run_alone(open_shop):
    shop = open_shop()
    shop.answer("run", "fan", for_s=100.0)
    assert shop.answer("flush", "fan") == "done"
    shop.wait(60.0)
    opened = [name for _, name, word in shop.taken() if word == "open"]
    assert opened == ["g2"]  # g1 was open already
    assert shop.state() == "running"
    shop.wait(60.0)
    assert (110.0, "fan", "off") in shop.taken()


def test_air_here_opens_and_runs(open_shop):
    shop = open_shop()
    assert shop.answer("air_here", "planer", for_s=30.0) == "done"
    assert shop.taken()[:2] == [(10.0, "g2", "open"), (10.0, "fan", "on")]
    assert shop.answer("air_here", "planer", for_s=0.0) == "done"


@pytest.mark.parametrize(
    ("what", "subject", "code"),
    [
        ("open", "nothing", "unknown"),
        ("release", "g1", "not_held"),
        ("reset", None, "nothing"),
        ("clear", "fan", "nothing"),
        ("back_in_service", "fan", "nothing"),
        ("stopped", "saw", "nothing"),
        ("still_running", "saw", "nothing"),
        ("seen", "fire:heat", "unknown"),
    ],
)
def test_what_makes_no_sense_is_refused(open_shop, what, subject, code):
    assert open_shop().answer(what, subject) == code


def test_a_gate_of_a_running_tool_is_not_shut_by_hand(shop):
    assert shop.answer("shut", "g2") == "tool_runs"
