"""Moving parts against closed-form solutions, worked out beside each test and not by the program.

A fan that is driven and let go in turns has a speed that is a sum of straight lines; a fan's flow is proportional to
its speed (affinity laws, textbook); a chip that flies at half of the air's velocity needs length over that.
"""

import math

import pytest

from gatekeeper.airflow.needs import TRANSPORT_MS
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from sim.currents import Load, LoadKind
from sim.duct_air import Standing
from sim.happening import Happening, What
from sim.parts import Drive
from sim.play import Game
from sim.stage import stage_of

SPIN_UP_S, COAST_S, DIAMETER_M, LENGTH_M = 4.0, 16.0, 0.125, 12.0

TEXT = f"""
shop: {{name: One duct, mains: 50 Hz, open_flue_nearby: no}}
motors:
  fan:
    power: 2.2 kW
    phases: three
    inlet: 125 mm
    spin_down: 20 s
    spin_up: {SPIN_UP_S:g} s
    coast: {COAST_S:g} s
    release: 1 s
    switched_by: {{pin: GPIO17, when_board_dies: drops}}
ducts:
  run: {{towards: fan, diameter: {1000 * DIAMETER_M:g} mm, length: {LENGTH_M:g} m}}
gates:
  gate: {{duct: run, servo: {{pin: GPIO12}}, travel: 2 s}}
converters:
  board: {{chip_select: 0}}
tools:
  saw: {{gates: gate, sensor: {{converter: board, channel: 0, range: 30 A}}}}
"""
#: The saw throws 6 kg an hour (``sim.chips``).
SAW_KG_S = 6.0 / 3600.0


@pytest.fixture(scope="module")
def shop() -> Shop:
    shop = load_shop(TEXT, "shop.yaml")
    assert isinstance(shop, Shop), str(shop)
    return shop


def test_the_speed_of_a_fan_driven_and_let_go(shop: Shop) -> None:
    drive = Drive(shop.motors["fan"], Load(LoadKind.INDUCTION, 5.0), 0.0)
    drive.switch(0.0, True)
    drive.settle(3.0)
    assert drive.speed == pytest.approx(3.0 / SPIN_UP_S)
    drive.switch(10.0, False)
    # The contactor opens a fifth of the release time later: full speed until 10.2, then down in 16 s.
    for now_s in (10.1, 12.0, 18.2, 30.0):
        drive.settle(now_s)
        assert drive.speed == pytest.approx(max(0.0, 1.0 - max(0.0, now_s - 10.2) / COAST_S), abs=1e-6)


def test_the_instants_at_which_a_fan_is_up_and_still(shop: Shop) -> None:
    drive = Drive(shop.motors["fan"], Load(LoadKind.INDUCTION, 5.0), 0.0)
    drive.switch(5.0, True)
    assert drive.next_change_s() == pytest.approx(5.0 + SPIN_UP_S)
    drive.settle(20.0)
    assert drive.next_change_s() == math.inf
    drive.switch(20.0, False)
    assert drive.next_change_s() == pytest.approx(20.2)
    drive.settle(20.2)
    assert drive.next_change_s() == pytest.approx(20.2 + COAST_S)


def left_after(shop: Shop, spin_down_s: float) -> float:
    """Kilograms left in the duct when the fan has stopped for good, after one cut of 30 s that had its air."""
    stage = stage_of(shop)
    game = Game(stage)
    game.happen(Happening(10.0, What.TOOL_ON, "saw"))
    game.happen(Happening(40.0, What.TOOL_OFF, "saw"))
    game.run(40.0)
    game.plant.drives["fan"].select(40.0, "hand")  # past the controller: the delay alone is tried here
    game.run(40.0 + spin_down_s)
    game.plant.drives["fan"].select(game.now_s, "off")
    game.plant._drive_changed("fan")
    game.run(120.0)
    return game.played().figures.chips_left_kg


def test_a_spin_down_of_the_clear_time_leaves_nothing_and_less_leaves_what_flies(shop: Shop) -> None:
    """By hand: chips at half of the air's velocity v need 2 L / v; the fan lets go 0.2 s late and coasts on.

    While it coasts from full speed the air is above half the transport velocity as long as the speed is above
    10 / v; there chips fly on. What reaches the end in that time is the integral of v (1 - t / coast) / 2.
    """
    velocity = stage_of(shop).air["fan"].at(Standing((10,))).velocity_ms[0]
    assert velocity > 1.2 * TRANSPORT_MS
    clear_s = LENGTH_M / (velocity / 2.0)
    still_flies_s = COAST_S * (1.0 - TRANSPORT_MS / 2.0 / velocity)
    flown_m = velocity / 2.0 * (still_flies_s - still_flies_s**2 / (2.0 * COAST_S))

    assert clear_s < 2.0
    assert flown_m > LENGTH_M  # a coast of 16 s clears this duct by itself
    assert left_after(shop, 0.0) == pytest.approx(0.0, abs=1e-9)


def test_a_fan_without_coast_leaves_what_had_no_time_to_fly_home() -> None:
    text = TEXT.replace(f"coast: {COAST_S:g} s", "coast: 100 ms").replace("release: 1 s", "release: 100 ms")
    shop = load_shop(text, "shop.yaml")
    assert isinstance(shop, Shop), str(shop)
    velocity = stage_of(shop).air["fan"].at(Standing((10,))).velocity_ms[0]
    clear_s = LENGTH_M / (velocity / 2.0)
    flow_share = 1.0

    # The contactor opens 0.02 s late; in the 0.1 s of coast next to nothing flies on.
    for spin_down_s in (0.0, clear_s / 4, clear_s / 2):
        flies_s = clear_s - spin_down_s - 0.02
        assert left_after(shop, spin_down_s) == pytest.approx(SAW_KG_S * flow_share * flies_s, rel=0.06)
    assert left_after(shop, clear_s + 0.1) == pytest.approx(0.0, abs=1e-6)
