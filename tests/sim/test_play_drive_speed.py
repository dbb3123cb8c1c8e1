"""A fan that turns only as fast as is needed, in the virtual shop: air, chips, energy, at both fidelities."""

import math
import sys
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "service"))

from driven_shops import DRIVEN, made

from gatekeeper.control.messages import Entry
from gatekeeper.service.air_systems import air_systems
from gatekeeper.shop.model import Shop
from sim.duct_air import DuctAir, Standing
from sim.happening import Controller, Happening, What
from sim.parts import Drive
from sim.play import Fidelity, new_game, play
from sim.shop_air import least_share
from sim.stage import stage_of

SHOP = made(DRIVEN)
STAGE = stage_of(SHOP)
FIXED = made(DRIVEN.replace("speed: from the air", "speed: 50"))
AREA_160_M2 = math.pi * 0.16**2 / 4


def on(at_s: float, tool: str) -> Happening:
    return Happening(at_s, What.TOOL_ON, tool)


def off(at_s: float, tool: str) -> Happening:
    return Happening(at_s, What.TOOL_OFF, tool)


CUTS = [on(10.0, "planer"), on(100.0, "table saw"), off(120.0, "table saw"), off(200.0, "planer")]


def truth(shop: Shop, fidelity: Fidelity = Fidelity.SIGNALS, until_s: float = 280.0) -> tuple[Any, list[Entry]]:
    entries: list[Entry] = []
    played = play(
        STAGE if shop is SHOP else shop,
        CUTS,
        until_s=until_s,
        watch=entries.append,
        truth=True,
        fidelity=fidelity,
        strict=True,
    )
    return played.figures, entries


@pytest.fixture(scope="module")
def told() -> tuple[Any, list[Entry]]:
    return truth(SHOP)


def turns(entries: list[Entry]) -> list[tuple[int, float]]:
    """How the fan turned, as whole seconds and shares of full speed, where it stayed for a while."""
    seen = [(entry.t_s, float(entry.value)) for entry in entries if entry.kind == "truth_motor"]
    stays = [one for one, after in zip(seen, [*seen[1:], (math.inf, 0.0)], strict=True) if after[0] - one[0] > 2.0]
    return [(round(at_s), share) for at_s, share in stays]


def flow(entries: list[Entry], duct: str, at_s: float) -> float:
    return next(
        float(entry.value)
        for entry in reversed(entries)
        if entry.kind == "truth_air" and entry.subject == duct and entry.t_s <= at_s
    )


def test_the_fan_slows_down_for_one_machine_and_speeds_up_for_two(told: tuple[Any, list[Entry]]) -> None:
    assert [share for _, share in turns(told[1])] == [0.0, 1.0, 0.66, 1.0, 0.66, 1.0, 0.0]
    slowed_s = [at_s for at_s, share in turns(told[1]) if share == 0.66]
    assert 45 <= slowed_s[0] <= 50
    assert 150 <= slowed_s[1] <= 175


def test_the_air_is_that_of_the_slowed_fan_and_fast_enough_for_chips(told: tuple[Any, list[Entry]]) -> None:
    prepared = air_systems(SHOP)["collector"].prepared
    slowed = prepared.with_fan(prepared.network.fan.scaled(0.66)).solve(["planer gate"]).ducts()
    full = prepared.solve(["planer gate"]).ducts()
    for duct in ("main", "planer drop"):
        assert flow(told[1], duct, 90.0) == pytest.approx(slowed[duct].flow_m3s, abs=1e-4)
        assert flow(told[1], duct, 40.0) == pytest.approx(full[duct].flow_m3s, abs=1e-4)
        assert flow(told[1], duct, 90.0) / AREA_160_M2 > 20.0


def test_no_chip_is_left_and_every_cut_has_its_air(told: tuple[Any, list[Entry]]) -> None:
    figures = told[0]
    assert (figures.cuts, figures.cuts_without_air) == (2, 0)
    assert figures.chips_left_kg == pytest.approx(0.0, abs=1e-9)
    assert all(tool.least_share is None or tool.least_share > 1.0 for tool in figures.tools.values())


def test_energy_goes_with_the_cube_of_the_speed(told: tuple[Any, list[Entry]]) -> None:
    """By hand: what ran at 66 % counts 0.287 of its time; beside a fan of one speed on the same cuts."""
    figures, fixed = told[0], truth(FIXED)[0]
    slow_s = sum(
        until - at for (at, share), (until, _) in zip(turns(told[1]), turns(told[1])[1:], strict=False) if share == 0.66
    )
    wanted_kwh = 4.0 * (figures.motors["collector"].running_s - slow_s * (1 - 0.66**3)) / 3600
    assert figures.energy_kwh == pytest.approx(wanted_kwh, rel=0.02)
    assert fixed.energy_kwh == pytest.approx(4.0 * fixed.motors["collector"].running_s / 3600)
    assert figures.energy_kwh < 0.75 * fixed.energy_kwh


def test_at_samples_the_real_driver_brings_the_same() -> None:
    quick, slow = (truth(SHOP, fidelity, 112.0) for fidelity in (Fidelity.SIGNALS, Fidelity.SAMPLES))
    assert [share for _, share in turns(slow[1])] == [share for _, share in turns(quick[1])] == [0.0, 1.0, 0.66, 1.0]
    assert [at_s for at_s, _ in turns(slow[1])] == pytest.approx([at_s for at_s, _ in turns(quick[1])], abs=3)
    assert slow[0].energy_kwh == pytest.approx(quick[0].energy_kwh, rel=0.05)


def test_a_fan_that_changes_its_speed_within_a_step_is_noticed() -> None:
    quick = made(DRIVEN.replace("spin_up: 3 s", "spin_up: 0 s"))
    assert [share for _, share in turns(truth(quick, Fidelity.SAMPLES, 55.0)[1])] == [0.0, 1.0, 0.66]


def test_a_play_with_few_steps_slows_the_fan_down_as_well(told: tuple[Any, list[Entry]]) -> None:
    """Nobody reads this record, so nearly nothing is renewed: it slows down at an instant of its own."""
    figures = play(STAGE, CUTS, until_s=280.0, strict=True).figures
    assert figures.energy_kwh == pytest.approx(told[0].energy_kwh, rel=1e-3)


def test_a_controller_that_starts_again_begins_at_full_speed() -> None:
    game = new_game(STAGE, strict=True)
    for one in [on(10.0, "planer"), Happening(80.0, What.CONTROLLER, None, Controller.PLUG_OUT)]:
        game.happen(one)
    game.happen(Happening(100.0, What.CONTROLLER, None, Controller.PLUG_IN))
    game.happen(off(130.0, "planer"))
    game.happen(on(140.0, "planer"))
    game.run(79.0)
    assert game.plant.drives["collector"].top == 0.66  # type: ignore[union-attr]
    game.run(160.0)
    assert game.plant.drives["collector"].top == 1.0  # type: ignore[union-attr]
    game.run(1200.0)  # its motor rests first
    assert game.plant.drives["collector"].top == 0.66  # type: ignore[union-attr]


def test_a_fan_of_one_speed_is_never_slowed() -> None:
    assert {share for _, share in turns(truth(FIXED)[1])} == {0.0, 1.0}


# ---------------------------------------------------------------- the parts


def test_a_drives_ramps_are_alike_both_ways() -> None:
    motor = SHOP.motors["collector"]
    drive = Drive(motor, STAGE.motor_loads["collector"], 0.0)
    drive.switch(0.0, True)
    drive.settle(motor.spin_up_s)
    assert drive.speed == 1.0
    drive.set_top(10.0, 0.5)
    assert drive.next_change_s() == 10.0 + 0.5 * motor.spin_up_s
    drive.settle(10.0 + 0.25 * motor.spin_up_s)
    assert drive.speed == pytest.approx(0.75)
    drive.settle(20.0)
    assert (drive.speed, drive.next_change_s()) == (0.5, math.inf)
    drive.set_top(20.0, 0.8)
    drive.settle(20.0 + 0.2 * motor.spin_up_s)
    assert drive.speed == pytest.approx(0.7)
    drive.settle(30.0)
    assert drive.speed == 0.8
    drive.switch(30.0, False)
    drive.settle(90.0)
    assert drive.speed == 0.0


def test_the_air_of_a_slowed_fan_is_exact_at_its_speed() -> None:
    system = air_systems(SHOP)["collector"]
    at = DuctAir(system).at(Standing((0, 0, 10), percent=60))
    fan = system.prepared.network.fan
    solved = system.prepared.with_fan(fan.scaled(0.6)).solve(["planer gate"])
    assert at.fan_m3s * 0.6 == pytest.approx(solved.flow_m3s)
    # A filter's cloth takes a larger share at less speed: proportion alone would promise too much.
    assert at.fan_m3s < system.prepared.solve(["planer gate"]).flow_m3s


def test_an_air_switch_is_set_for_the_least_speed() -> None:
    assert least_share(SHOP, SHOP.motors["collector"]) == 0.5
    assert least_share(FIXED, FIXED.motors["collector"]) == 1.0
