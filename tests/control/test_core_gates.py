"""Gates that do not do as told (C3, C10, C11, C26) and gates held by fingers."""

import pytest
import shop_plans

from gatekeeper.control.messages import Missed, SwitchSeen


@pytest.fixture
def shop(open_shop):
    return open_shop()


def miss(shop, gate):
    shop.step(Missed(gate))


def test_a_missed_opening_is_tried_again_and_after_the_last_the_gate_is_stuck(shop):
    shop.jammed.add("g2")  # its driver reports each miss after 1.9 s
    shop.starts("planer")
    shop.wait(5.0)
    tries = [at_s for at_s, name, word in shop.taken() if (name, word) == ("g2", "open")]
    assert tries == [10.0, 11.9, 13.8]
    assert shop.core.world.gates["g2"].belief == "opening"
    shop.wait(1.0)
    assert shop.core.world.gates["g2"].belief == "stuck"
    assert {"gate_stuck", "not_collected"} <= shop.alarms()
    shop.wait(60.0)
    assert "g2" not in [name for _, name, _ in shop.taken()]


def test_the_fan_runs_on_another_gate_beside_a_stuck_one(shop):
    shop.jammed.add("g2")
    shop.starts("planer")
    shop.wait(20.0)
    assert shop.state() == "running"
    assert shop.core.world.gates["g1"].is_open
    assert "not_collected" in shop.alarms()


def test_a_released_gate_moves_three_seconds_later_and_no_sooner(shop):
    shop.answer("hold", "g2")
    shop.starts("planer")
    shop.taken()
    shop.wait(5.0)
    assert shop.answer("release", "g2") == "done"
    assert shop.core.world.signs["g2"] == "moving_soon"
    shop.wait(2.999)
    assert shop.taken() == []
    shop.wait(0.001)
    assert shop.taken() == [(18.0, "g2", "open")]


def test_a_gate_held_in_mid_travel_is_halted_in_that_step_and_is_unproven(shop):
    shop.starts("planer")
    shop.wait(1.0)
    shop.taken()
    shop.answer("hold", "g2")
    assert shop.taken() == [(11.0, "g2", "halt")]
    assert str(shop.core.world.gates["g2"].state) == "unproven"


@pytest.mark.parametrize(("what", "subject", "code"), [("open", "g2", "held"), ("shut", "g2", "held")])
def test_nobody_moves_a_held_gate(shop, what, subject, code):
    shop.answer("hold", "g2")
    assert shop.answer(what, subject) == code


def test_clearing_its_alarm_releases_no_stuck_gate(shop):
    shop.jammed.add("g2")
    shop.starts("planer")
    shop.wait(20.0)
    shop.answer("clear", "g2")
    assert shop.core.world.gates["g2"].belief == "stuck"


@pytest.mark.parametrize("same_boot", [True, False])
def test_held_and_stuck_outlive_a_restart(shop, same_boot):
    shop.answer("hold", "g1")
    shop.jammed.add("g2")
    shop.starts("planer")
    shop.wait(20.0)
    shop.restart(same_boot=same_boot)
    assert [gate.belief for gate in shop.core.world.gates.values()] == ["held", "stuck"]


def test_a_path_lost_from_outside_is_opened_again_and_stops_the_fan_if_it_does_not_come(open_shop):
    shop = open_shop(shop_plans.switches())
    shop.starts("saw")
    shop.wait(10.0)
    assert shop.state() == "running"
    shop.jammed |= {"g1", "g2", "g3"}
    shop.taken()
    shop.step(SwitchSeen("g1", "between"))
    assert (20.0, "g1", "open") in shop.taken()
    shop.wait(3.999)
    assert (24.0, "fan", "off") not in shop.taken()
    shop.wait(0.001)
    assert (24.0, "fan", "off") in shop.taken()


def test_a_switch_that_says_open_from_before_the_move_is_no_word_of_a_stuck_gate(open_shop):
    shop = open_shop(shop_plans.switches())
    gate = shop.core.world.gates["g1"]
    shop.starts("lathe")
    shop.jammed.add("g1")
    shop.wait(30.0)
    assert (gate.belief, gate.switch) == ("stuck", "open")
    assert not gate.is_open
    shop.step(SwitchSeen("g1", "open"))  # somebody moved it, and the switch spoke anew
    assert gate.is_open


def test_a_kept_gate_that_lost_its_proof_is_opened_again(open_shop):
    shop = open_shop(shop_plans.mixed_hand())
    shop.starts("saw")
    shop.wait(1.0)
    shop.stops("saw")
    shop.taken()
    miss(shop, "g1")  # its branch still clears, and it is the only path
    assert shop.taken() == [(11.0, "g1", "open")]


def test_a_gate_not_as_extra_stays_shut_and_the_extra_one_is_the_table_s(open_shop):
    shop = open_shop(shop_plans.extra_air())
    shop.starts("saw")
    shop.wait(5.0)
    assert shop.core.world.gates["g3"].is_open
    shop.starts("planer")
    shop.wait(3.0)
    assert "short_of_air" in shop.alarms()
