"""From shop files to networks: the check networks written as shops, and what is filled in where a file is silent."""

import json
import math
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "airflow"))

import check_files
import shop_text

from gatekeeper.airflow import losses
from gatekeeper.airflow.friction import slack_hose_factor
from gatekeeper.airflow.network import Network
from gatekeeper.airflow.solve import prepare
from gatekeeper.service.ducting import (
    HOSE_ROUGHNESS_M,
    air_of,
    cone_loss,
    ducting_of,
    fan_of,
    narrowing_loss,
    network_of,
    port_entry_loss,
)
from gatekeeper.shop.examples import folder
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

HEAD = """
shop: {name: Test shop, mains: 50 Hz%s}
motors:
  collector: {power: 2 kW, switched_by: {pin: GPIO17, when_board_dies: drops}%s}
tools:
  saw: {gates: saw gate, sensor: {current_switch: GPIO23}%s}
"""


def shop_of(rest: str, *, air: str = "", motor: str = "", tool: str = "") -> Shop:
    shop = load_shop(HEAD % (air, motor, tool) + rest, "test.yaml")
    assert not isinstance(shop, Faults), shop
    return shop


def duct_in(network: Network, name: str):
    return network.ducts[network.duct_places[name]]


@pytest.mark.parametrize("name", check_files.NAMES)
def test_a_check_network_written_as_a_shop_file_gives_its_flows(name):
    if not check_files.FOLDER.is_dir():
        pytest.skip("missing shared data: ../shared/airflow")
    found = json.loads((check_files.FOLDER / f"{name}.json").read_text(encoding="utf-8"))
    shop = load_shop(shop_text.shop_text(found), f"{name}.yaml")
    assert isinstance(shop, Shop), shop
    prepared = prepare(network_of(shop, "collector"))
    _, results = check_files.read(name)
    for result in results:
        ours = prepared.solve(result["open_gates"]).ducts()
        assert set(ours) == set(result["ducts"])
        for duct, state in result["ducts"].items():
            assert ours[duct].flow_m3s == pytest.approx(state["flow_m3_per_s"], rel=1e-6, abs=1e-9)
            assert ours[duct].loss_pa == pytest.approx(state["loss_Pa"], rel=1e-5, abs=0.01)


@pytest.mark.parametrize("path", sorted(folder().glob("*.yaml")), ids=lambda path: path.stem)
def test_every_example_shop_has_air_at_every_gate(path):
    shop = load_shop(path.read_text(encoding="utf-8"), path.name)
    assert isinstance(shop, Shop)
    for motor in shop.motors.values():
        if not motor.has_ducts:
            continue
        ducting = ducting_of(shop, motor.name)
        prepared = prepare(ducting.network)
        for gate in ducting.network.gates:
            alone = prepared.solve([gate.name])
            shut = prepared.solve([])
            assert alone.flow_in(gate.duct) > 20 * shut.flow_in(gate.duct)
            assert not alone.is_beyond_curve


def test_a_hose_is_a_duct_of_its_own_before_the_duct():
    shop = shop_of(
        "ducts: {drop: {towards: collector, diameter: 100 mm, length: 3 m, flex: 2 m, flex_stretch: 0.9}}\n"
        "gates: {saw gate: {duct: drop}}\n"
    )
    network = network_of(shop, "collector")
    hose, drop = duct_in(network, "drop/hose"), duct_in(network, "drop")
    assert (hose.length_m, hose.roughness_m, hose.downstream) == (2.0, HOSE_ROUGHNESS_M, drop.upstream)
    assert hose.friction_scale == slack_hose_factor(0.9, 0.1)
    assert (drop.length_m, drop.friction_scale, drop.downstream) == (3.0, 1.0, "collector")
    assert [(hood.node, hood.entry_loss) for hood in network.hoods] == [(hose.upstream, 0.93)]


def test_fittings_count_on_their_duct_by_kind_angle_radius_and_pieces():
    shop = shop_of(
        "ducts:\n"
        "  drop: {towards: collector, diameter: 100 mm, length: 1 m, loss: 0.5, entry_loss: 0.25, fittings:"
        " [2 x 45 elbow R 1.5, 90 elbow R 1 of 4 pieces, 60 elbow of 2 pieces, 30 wye, tee]}\n"
        "gates: {saw gate: {duct: drop}}\n"
    )
    loss = duct_in(network_of(shop, "collector"), "drop").loss
    assert loss == pytest.approx(0.5 + 2 * 0.15 * 0.6 + 0.37 + 0.55 + 0.18 + 1.0, rel=1e-12)
    assert network_of(shop, "collector").hoods[0].entry_loss == 0.25


@pytest.mark.parametrize(
    ("fitting", "said"),
    [
        (
            "90 elbow R 3",
            '"90 elbow R 3" has a radius that is not listed; it lies between 0.5 and 2.5 diameters',
        ),
        (
            "90 elbow R 0.5 of 5 pieces",
            '"90 elbow R 0.5 of 5 pieces" has a radius that is not listed; it lies between 0.75 and 2 diameters',
        ),
        ("45 wye R 1", '"45 wye R 1" has a radius or pieces, which only an elbow has; take them out'),
    ],
)
def test_an_elbow_outside_of_the_tables_is_refused(fitting, said):
    faults = load_shop(
        HEAD
        % ("", "", "")
        + f"ducts: {{drop: {{towards: collector, diameter: 100 mm, length: 1 m, fittings: [{fitting}]}}}}\n"
        "gates: {saw gate: {duct: drop}}\n",
        "test.yaml",
    )
    assert isinstance(faults, Faults)
    assert [fault.said for fault in faults.each] == [said]


@pytest.mark.parametrize(
    ("duct", "where", "said"),
    [
        (
            "towards: collector, diameter: 150 mm, length: 1 m, entry_loss: 1",
            "entry_loss",
            "other ducts lead into this one, so it has no hood; move this key to the duct where air comes in",
        ),
        (
            "towards: collector, diameter: 100 mm, length: 1 m, roughness: 11 mm",
            "roughness",
            "a wall rougher than a tenth of the duct is no wall; mend roughness or the size",
        ),
    ],
)
def test_a_duct_that_contradicts_itself_is_refused_at_its_key(duct, where, said):
    text = (
        HEAD % ("", "", "")
        + f"ducts:\n  main: {{{duct}}}\n  drop: {{towards: main, diameter: 100 mm, length: 1 m}}\n"
        + "gates: {saw gate: {duct: drop}}\n"
    )
    faults = load_shop(text, "test.yaml")
    assert isinstance(faults, Faults)
    assert [(fault.path[-1], fault.said) for fault in faults.each] == [(where, said)]


def test_a_fan_curve_that_never_falls_is_refused_at_its_place():
    rest = "ducts: {drop: {towards: collector, diameter: 100 mm, length: 1 m}}\ngates: {saw gate: {duct: drop}}\n"
    curve = ", fan_curve: [0 m3/s at 500 Pa, 1 m3/s at 500 Pa]"
    faults = load_shop(HEAD % ("", curve, "") + rest, "test.yaml")
    assert isinstance(faults, Faults)
    said = "a fan curve falls at its end, or it never meets the losses of the ducts; mend the last points"
    assert [(fault.path, fault.said) for fault in faults.each] == [(("motors", "collector", "fan_curve"), said)]


def test_a_rectangular_duct_keeps_its_area_and_takes_its_hydraulic_diameter():
    shop = shop_of(
        "ducts: {drop: {towards: collector, width: 200 mm, height: 100 mm, length: 1 m}}\n"
        "gates: {saw gate: {duct: drop}}\n"
    )
    drop = duct_in(network_of(shop, "collector"), "drop")
    assert drop.section_m2 == pytest.approx(0.02)
    assert drop.diameter_m == pytest.approx(2 * 0.2 * 0.1 / 0.3)


@pytest.mark.parametrize(("before_mm", "own_mm"), [(100, 150), (150, 100)])
def test_a_reducer_counts_on_the_narrow_end_whichever_side_that_is(before_mm, own_mm):
    shop = shop_of(
        f"ducts:\n  main: {{towards: collector, diameter: {own_mm} mm, length: 1 m, fittings: [reducer]}}\n"
        f"  drop: {{towards: main, diameter: {before_mm} mm, length: 1 m}}\n"
        "gates: {saw gate: {duct: drop}}\n"
    )
    loss = duct_in(network_of(shop, "collector"), "main").loss
    if before_mm < own_mm:
        # On the velocity pressure before it, which is larger than its own by the square of the areas.
        assert loss == pytest.approx(losses.expansion(2.25, 30.0) * 2.25**2)
    else:
        assert loss == pytest.approx(losses.contraction(2.25, 30.0))
    assert cone_loss(1.0, 1.0) == 0.0


def test_gates_straight_on_the_motor_and_its_relief_are_holes_at_the_inlet():
    shop = shop_of("gates: {saw gate: {diameter: 100 mm}}\n", motor=", relief_port: 80 mm", tool=", port: 50 mm")
    ducting = ducting_of(shop, "collector")
    assert {duct.name for duct in ducting.network.ducts} == {"saw gate", "collector/relief"}
    assert ducting.guessed_hoods == ("saw gate", "collector/relief")
    hood = ducting.network.hoods[0]
    assert hood.entry_loss == pytest.approx((0.93 + (1 - 1 / 4) ** 2) * 16)
    assert ducting.tools_at == {"saw gate": ("saw",)}
    solution = prepare(ducting.network).solve([])
    assert solution.flow_in("collector/relief") > 0.9 * solution.flow_m3s


def test_two_gates_on_one_duct_are_in_series():
    rest = "ducts: {drop: {towards: collector, diameter: 100 mm, length: 1 m}}\n"
    both = rest + "gates: {saw gate: {duct: drop, leak_area: 0 mm2}, hand gate: {duct: drop, leak_area: 0 mm2}}\n"
    prepared = prepare(network_of(shop_of(both), "collector"))
    assert prepared.solve(["saw gate"]).flow_m3s == 0.0
    assert prepared.solve(["hand gate"]).flow_m3s == 0.0
    assert prepared.solve(["saw gate", "hand gate"]).flow_m3s > 0.1


def test_a_capped_end_lets_nothing_in():
    rest = (
        "ducts:\n  main: {towards: collector, diameter: 100 mm, length: 1 m}\n"
        "  drop: {towards: main, diameter: 100 mm, length: 1 m}\n"
        "  clean-out: {towards: main, diameter: 100 mm, length: 1 m, fittings: [cap]}\n"
        "gates: {saw gate: {duct: drop}}\n"
    )
    solution = prepare(network_of(shop_of(rest), "collector")).solve(["saw gate"])
    assert solution.flow_in("clean-out") == 0.0
    assert solution.flow_in("drop") == solution.flow_m3s > 0.1


def test_a_gate_narrower_than_its_duct_costs_the_step_in_and_out():
    assert narrowing_loss(1.0, 1.0) == 0.0
    assert narrowing_loss(4.0, 1.0) == pytest.approx((0.41 + 0.75**2) * 16)


def test_the_fan_is_scaled_to_the_air_of_the_place_and_not_to_air_that_was_given():
    rest = "ducts: {drop: {towards: collector, diameter: 100 mm, length: 1 m}}\ngates: {saw gate: {duct: drop}}\n"
    curve = ", fan_curve: [0 m3/s at 2000 Pa, 1 m3/s at 0 Pa]"
    high = shop_of(rest, air=", altitude: 1500 m", motor=curve)
    thin = air_of(high).density_kg_m3
    assert thin == pytest.approx(1.0049, rel=1e-3)
    assert fan_of(high, high.motors["collector"]).pressures_pa[0] == pytest.approx(2000 * thin / 1.2041)
    given = shop_of(rest, air=", air_density: 1 kg/m3", motor=curve)
    assert fan_of(given, given.motors["collector"]).pressures_pa[0] == 2000.0
    both = shop_of(rest, air=", air_density: 1 kg/m3", motor=curve + ", measured_density: 1.25 kg/m3")
    assert fan_of(both, both.motors["collector"]).pressures_pa[0] == pytest.approx(1600.0)


def test_a_fan_known_by_its_motor_alone_is_called_an_estimate():
    rest = "ducts: {drop: {towards: collector, diameter: 100 mm, length: 1 m}}\ngates: {saw gate: {duct: drop}}\n"
    ducting = ducting_of(shop_of(rest), "collector")
    assert ducting.fan_is_estimate
    assert ducting.network.fan.error == 0.25
    assert port_entry_loss(0.01, None) == 0.93
    assert math.isclose(port_entry_loss(math.pi / 4, 1.0), 0.93)


def test_a_motor_without_ducts_has_no_network():
    rest = "ducts: {drop: {towards: collector, diameter: 100 mm, length: 1 m}}\ngates: {saw gate: {duct: drop}}\n"
    cleaner = "  air cleaner: {kind: air cleaner, power: 150 W, switched_by: {pin: GPIO5, when_board_dies: drops}}\n"
    text = (HEAD % ("", "", "")).replace("tools:", cleaner + "tools:") + rest
    shop = load_shop(text, "test.yaml")
    assert isinstance(shop, Shop), shop
    with pytest.raises(ValueError, match=r"^air cleaner draws through no ducts$"):
        network_of(shop, "air cleaner")


def test_a_separator_is_scaled_with_the_air_and_a_filter_is_not():
    rest = "ducts: {drop: {towards: collector, diameter: 100 mm, length: 1 m}}\ngates: {saw gate: {duct: drop}}\n"
    both = ", filter_loss: 0.5 m3/s at 250 Pa, separator_loss: 0.5 m3/s at 500 Pa"
    high = shop_of(rest, air=", altitude: 1500 m", motor=both)
    collector = network_of(high, "collector").collector
    assert collector.line_pa_s_m3 == pytest.approx(500.0)
    assert collector.square_pa_s2_m6 == pytest.approx(2000.0 * air_of(high).density_kg_m3 / 1.2041)


def test_a_duct_all_of_hose_takes_its_stretch():
    shop = shop_of(
        "ducts: {drop: {towards: collector, diameter: 100 mm, length: 3 m, material: flexible hose,"
        " flex_stretch: 0.8}}\ngates: {saw gate: {duct: drop}}\n"
    )
    drop = duct_in(network_of(shop, "collector"), "drop")
    assert drop.friction_scale == slack_hose_factor(0.8, 0.1) > 5.0
