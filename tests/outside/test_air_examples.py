"""Worked examples with published answers, computed by the air network and its laws; and the reference networks.

Sources and inputs: ../shared/trade/worked_examples.md (WE1 to WE8, named there with author and page) and
../shared/airflow/README.md (four networks, solved by an independent program and agreed by two engines). The inputs are
written out here, so that the examples run without that folder.
"""

import itertools
import math
import sys
from pathlib import Path

import pytest
from fluids.friction import Clamond

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "airflow"))

import check_files

from gatekeeper.airflow.air import STANDARD_AIR, Air, velocity_pressure_pa
from gatekeeper.airflow.fan import FanCurve, fan_laws
from gatekeeper.airflow.friction import friction_factor, hydraulic_diameter_m
from gatekeeper.airflow.losses import hood_suction_pa
from gatekeeper.airflow.network import Collector, Duct, Gate, Hood, Network
from gatekeeper.airflow.solve import prepare
from gatekeeper.shop.units import TABLE

CFM, INWG, INCH_M, FOOT_M = TABLE["flow"]["cfm"], TABLE["pressure"]["in wg"], 0.0254, 0.3048


@pytest.mark.parametrize("name", check_files.NAMES)
def test_reference_network(name):
    """Every set of open gates: flows to 1e-6, pressures to 1e-5, as the files ask."""
    if not check_files.FOLDER.is_dir():
        pytest.skip("missing shared data: ../shared/airflow")
    network, results = check_files.read(name)
    prepared = prepare(network)
    for result in results:
        solution = prepared.solve(result["open_gates"])
        fan = result["fan"]
        assert solution.flow_m3s == pytest.approx(fan["flow_m3_per_s"], rel=1e-6, abs=1e-9)
        assert solution.fan_pressure_pa == pytest.approx(fan["static_pressure_Pa"], rel=1e-5, abs=0.01)
        assert solution.collector_loss_pa == pytest.approx(fan["collector_loss_Pa"], rel=1e-5, abs=0.01)
        for duct, air in solution.ducts().items():
            state = result["ducts"][duct]
            assert air.flow_m3s == pytest.approx(state["flow_m3_per_s"], rel=1e-6, abs=1e-9)
            assert air.velocity_ms == pytest.approx(state["velocity_m_per_s"], rel=1e-6, abs=1e-7)
            assert air.reynolds == pytest.approx(state["reynolds"], rel=1e-5, abs=0.01)
            assert air.loss_pa == pytest.approx(state["loss_Pa"], rel=1e-5, abs=0.01)
            assert air.total_downstream_pa == pytest.approx(state["total_pressure_downstream_Pa"], rel=1e-5, abs=0.01)


def smooth(points: list[tuple[float, float]], parts: int = 20) -> list[tuple[float, float]]:
    """More points between given ones, on a curve that is smooth in them (Catmull and Rom's, one-sided at the ends)."""
    slopes = []
    for place in range(len(points)):
        before, after = points[max(place - 1, 0)], points[min(place + 1, len(points) - 1)]
        slopes.append((after[1] - before[1]) / (after[0] - before[0]))
    finer = []
    for place, ((x0, y0), (x1, y1)) in enumerate(itertools.pairwise(points)):
        for part in range(parts):
            t, width = part / parts, x1 - x0
            finer.append(
                (
                    x0 + t * width,
                    (2 * t**3 - 3 * t**2 + 1) * y0
                    + (t**3 - 2 * t**2 + t) * width * slopes[place]
                    + (3 * t**2 - 2 * t**3) * y1
                    + (t**3 - t**2) * width * slopes[place + 1],
                )
            )
    return [*finer, points[-1]]


@pytest.mark.parametrize(("is_smooth", "tolerance"), [(False, 0.03), (True, 0.015)])
def test_we1_one_hood_one_duct_one_fan(is_smooth, tolerance):
    """WE1: 650 cfm at 0.83 in. w.g.; its fan curve rises first. Water at 998 kg/m3 and g 9.81, as in the example."""
    water = 998.0 * 9.81 * INCH_M
    points = [(0, 0.90), (250, 0.95), (500, 0.90), (750, 0.75), (1000, 0.40), (1200, 0.0)]
    points = smooth(points) if is_smooth else points
    fan = FanCurve(tuple(q * CFM for q, _ in points), tuple(max(p, 0.0) * water for _, p in points))
    network = Network(
        air=Air(1.184, 1.562e-5 * 1.184),
        ducts=(Duct("duct", "hood", "inlet", 44.0 * FOOT_M, 9.06 * INCH_M, 0.00015, 5 * 0.21 + 1.05),),
        hoods=(Hood("hood", "hood", 1.3),),
        gates=(Gate("damper", "duct", 1.8, 0.0),),
        collector=Collector("inlet", 0.0, 0.0),
        fan=fan,
    )
    solution = prepare(network).solve(["damper"])
    assert fan.rises
    assert not solution.is_on_rising_part
    assert solution.flow_m3s / CFM == pytest.approx(650.0, rel=tolerance)
    assert solution.flow_m3s / CFM > 600.0
    assert solution.fan_pressure_pa / water == pytest.approx(0.83, rel=0.025)
    if not is_smooth:
        # An independent recomputation with straight lines.
        assert solution.flow_m3s / CFM == pytest.approx(643.6, rel=0.001)
        assert solution.fan_pressure_pa / water == pytest.approx(0.814, abs=0.002)


def loss_inwg(cfm: float, inches: float, feet: float, roughness_m: float, k: float) -> float:
    """Total pressure lost in one round length at standard air."""
    diameter_m = inches * INCH_M
    velocity = cfm * CFM / (math.pi * diameter_m**2 / 4)
    reynolds = STANDARD_AIR.density_kg_m3 * velocity * diameter_m / STANDARD_AIR.viscosity_pa_s
    k += friction_factor(reynolds, roughness_m / diameter_m) * feet * FOOT_M / diameter_m
    return k * velocity_pressure_pa(velocity, STANDARD_AIR.density_kg_m3) / INWG


def test_we3_branching_duct_by_loss_coefficients():
    """WE3: paths of 0.1155 and 0.1548 in. w.g., friction read from a chart by the author: 5 %."""
    chart_m = 0.0005 * FOOT_M
    trunk = loss_inwg(400, 10, 50, chart_m, 0.85)
    straight = loss_inwg(280, 9, 50, chart_m, 0.002 / (633.8 / 4000) ** 2)
    take_off = 0.0161 / (611.2 / 4000) ** 2
    branch = loss_inwg(120, 6, 40, chart_m, take_off + 2 * 0.37)
    assert trunk + straight == pytest.approx(0.1155, rel=0.05)
    assert trunk + branch == pytest.approx(0.1548, rel=0.05)


def fixed_friction(name: str, up: str, down: str, diameter_m: float, k: float, area_m2: float | None = None) -> Duct:
    """A duct all of whose loss is one coefficient, as the sheets have it."""
    return Duct(name, up, down, 0.0, diameter_m, 0.0, k, area_m2)


def flowing(ducts: list[Duct], hoods: list[Hood], flow_m3s: float, air: Air) -> dict[str, object]:
    """The states of some ducts under a fan that moves one flow."""
    fan = FanCurve((0.0, flow_m3s, flow_m3s * (1 + 1e-9)), (1e7, 1e5, 0.0))
    network = Network(air, tuple(ducts), tuple(hoods), (), Collector("inlet", 0.0, 0.0), fan)
    return dict(prepare(network).solve([]).ducts())


US_STANDARD = Air(0.075 * TABLE["density"]["lb/ft3"], STANDARD_AIR.viscosity_pa_s)


@pytest.mark.parametrize(
    ("cfm", "inches", "feet", "hf", "elbows", "entry", "hood_inwg", "branch_inwg"),
    [
        pytest.param(1500, 8, 35, 0.0302, 0.13, 0.49, 1.714, 3.087, id="WE5"),
        pytest.param(390, 4, 15, 0.0709, 0.0, 0.65, 2.057, 3.382, id="WE6"),
    ],
)
def test_we5_we6_single_branches_by_velocity_pressure(cfm, inches, feet, hf, elbows, entry, hood_inwg, branch_inwg):
    """The sheets' own friction of Hf a foot; what a gauge shows behind the hood and at the end of the branch: 0.5 %."""
    duct = fixed_friction("branch", "hood", "inlet", inches * INCH_M, hf * feet + elbows)
    air = flowing([duct], [Hood("hood", "hood", entry)], cfm * CFM, US_STANDARD)["branch"]
    # 4005 ft/min for 1 in. w.g. is the sheets' constant; 248.84 Pa the inch of water that belongs to it.
    assert -air.static_upstream_pa / 248.84 == pytest.approx(hood_inwg, rel=0.005)
    assert -air.static_downstream_pa / 248.84 == pytest.approx(branch_inwg, rel=0.005)
    assert hood_suction_pa(air.velocity_pressure_pa, entry) == pytest.approx(-air.static_upstream_pa, rel=1e-9)


def test_we5_discharge_leg():
    """WE5: 10 ft and one elbow lose 0.499 in. w.g."""
    pressure = velocity_pressure_pa(1500 * CFM / (math.pi * (8 * INCH_M) ** 2 / 4), US_STANDARD.density_kg_m3)
    assert (10 * 0.0302 + 0.13) * pressure / 248.84 == pytest.approx(0.499, rel=0.005)


def test_we7a_round_then_rectangular_duct():
    """WE7a: 438.6 + 816.0 = 1254.6 Pa at 0.8 m3/s; f = 0.032 (Darcy) throughout, hydraulic diameter 4 m."""
    box_m = hydraulic_diameter_m(0.4, 0.2)
    ducts = [
        fixed_friction("round", "hood", "joint", 0.3, 0.032 * 16.0 / 0.3),
        fixed_friction("box", "joint", "inlet", box_m, 0.032 * 30.0 / box_m + 10.0, 0.08),
    ]
    air = flowing(ducts, [Hood("hood", "hood", 4.0)], 0.8, Air(1.2, 1.8e-5))
    assert box_m == pytest.approx(4 * 0.0667, rel=0.001)
    assert air["round"].loss_pa == pytest.approx(438.6, rel=0.001)
    assert air["box"].loss_pa == pytest.approx(816.0, rel=0.001)
    assert -air["box"].total_downstream_pa == pytest.approx(1254.6, rel=0.001)


def test_we7b_four_equal_inlets_into_one_main():
    """WE7b: each inlet carries 0.2 m3/s; 471.4 + 213.1 = 684.5 Pa at the fan."""
    ducts = [
        fixed_friction(f"inlet {place}", f"hood {place}", "joint", 0.15, 0.032 * 10.0 / 0.15) for place in range(4)
    ]
    ducts.append(fixed_friction("main", "joint", "inlet", 0.3, 0.032 * 26.0 / 0.3))
    hoods = [Hood(f"hood {place}", f"hood {place}", 4.0) for place in range(4)]
    air = flowing(ducts, hoods, 0.8, Air(1.2, 1.8e-5))
    for place in range(4):
        assert air[f"inlet {place}"].flow_m3s == pytest.approx(0.2, rel=1e-6)
        assert air[f"inlet {place}"].loss_pa == pytest.approx(471.4, rel=0.001)
    assert air["main"].loss_pa == pytest.approx(213.1, rel=0.001)
    assert -air["main"].total_downstream_pa == pytest.approx(684.5, rel=0.001)


def test_we8_a_fan_scaled_in_speed_size_and_air():
    """WE8: 36 in at 600 turns to 42 in at 1150 and thinner air, the whole table."""
    flows, pressures = (0, 10e3, 20e3, 30e3, 40e3, 50e3, 60e3), (3.68, 3.75, 3.50, 2.96, 2.12, 1.02, 0.0)
    powers = (11.1, 15.1, 18.6, 21.4, 23.1, 23.1, 21.0)
    ratios = {"speed_ratio": 1150 / 600, "density_ratio": 0.045 / 0.075, "diameter_ratio": 42 / 36}
    scaled = [fan_laws(q, p, w, **ratios) for q, p, w in zip(flows, pressures, powers, strict=True)]
    assert [q for q, _, _ in scaled] == pytest.approx([0, 30436, 60872, 91308, 121744, 152180, 182616], rel=1e-4)
    assert [p for _, p, _ in scaled] == pytest.approx([11.04, 11.25, 10.50, 8.88, 6.36, 3.06, 0], rel=0.001)
    assert [w for _, _, w in scaled] == pytest.approx([101.4, 137.9, 169.8, 195.4, 210.9, 210.9, 191.8], rel=0.001)
    assert scaled[3][0] == pytest.approx(91300, rel=0.001)
    curve = FanCurve(flows, pressures).scaled(1150 / 600, 0.045 / 0.075)
    assert curve.pressures_pa == pytest.approx([p / (42 / 36) ** 2 for _, p, _ in scaled])


@pytest.mark.parametrize("roughness", [0.0, 1e-6, 1e-4, 1e-3, 1e-2, 0.05])
@pytest.mark.parametrize("reynolds", [4000.0, 1e4, 1e5, 1e6, 1e7])
def test_friction_against_a_general_library(reynolds, roughness):
    """Colebrook by Clamond's method in ``fluids``: equal to rounding."""
    assert friction_factor(reynolds, roughness) == pytest.approx(Clamond(reynolds, roughness, fast=False), rel=1e-12)


def test_friction_below_4000():
    assert friction_factor(1000.0, 0.01) == 0.064
    assert friction_factor(2000.0, 0.01) == 0.032
    middle = (0.032 + friction_factor(4000.0, 0.01)) / 2
    assert friction_factor(3000.0, 0.01) == pytest.approx(middle, rel=1e-12)
