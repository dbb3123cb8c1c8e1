"""Speeds of a fan on a drive against the fan laws as they are published, each source named at its figure.

The network here has losses on velocity pressure only and no filter, as the published laws assume: then flow goes with
the speed, pressure with its square and power with its cube, and so must what the table of speeds is made with.
"""

import math
import sys
from pathlib import Path

import pytest
import yaml

sys.path.insert(0, str(Path(__file__).parents[1] / "service"))

from driven_shops import driven_shop

from gatekeeper.airflow.air import Air
from gatekeeper.airflow.fan import FanCurve, fan_laws
from gatekeeper.airflow.network import Collector, Duct, Gate, Hood, Network
from gatekeeper.airflow.solve import prepare
from gatekeeper.airflow.study import motor_power_w
from gatekeeper.airflow.tools import Draw, Tools
from gatekeeper.service.air_systems import AirSystem
from gatekeeper.service.air_table import Work
from gatekeeper.service.drive_table import Binds, SpeedSearch, saved_w

FIGURES = Path(__file__).resolve().parents[3] / "shared" / "trade" / "figures.yaml"
CFM, INWG = 0.3048**3 / 60, 249.089

#: Fox & McDonald, Introduction to Fluid Mechanics, Example 10.11: a 36 in fan at 600 turns in standard air.
FOX_CFM = (0.0, 10e3, 20e3, 30e3, 40e3, 50e3, 60e3)
FOX_INWG = (3.68, 3.75, 3.50, 2.96, 2.12, 1.02, 0.0)
#: One hood, one duct of no length, one gate: the system that this fan drives at its 30 000 cfm point.
POINT_CFM, POINT_INWG = 30e3, 2.96
DUCT_M = 1.2
AIR = Air(1.2, 1.8e-5)


def network(curve: FanCurve, flow_m3s: float, pressure_pa: float) -> Network:
    """Ducts whose whole loss is so many velocity pressures that they ask this pressure at this flow."""
    velocity = flow_m3s / (math.pi * DUCT_M**2 / 4)
    k = pressure_pa / (AIR.density_kg_m3 * velocity**2 / 2)
    return Network(
        air=AIR,
        ducts=(Duct("duct", "duct", "fan", 0.0, DUCT_M, 0.0),),
        hoods=(Hood("hood", "duct", k),),
        gates=(Gate("gate", "duct", 0.0, 0.0),),
        collector=Collector("fan", 0.0, 0.0),
        fan=curve,
    )


FOX = network(
    FanCurve(tuple(q * CFM for q in FOX_CFM), tuple(p * INWG for p in FOX_INWG)), POINT_CFM * CFM, POINT_INWG * INWG
)


@pytest.mark.parametrize("turns", [600.0, 480.0, 400.0, 300.0])
def test_a_slower_fan_on_the_same_ducts_goes_along_the_laws(turns):
    """Fox & McDonald, Example 10.11, its 30 000 cfm point: Q ~ n, p ~ n^2 on a system of square losses."""
    share = turns / 600.0
    air = prepare(FOX).with_fan(FOX.fan.scaled(share)).solve(["gate"])
    assert air.flow_m3s / CFM == pytest.approx(30e3 * share, rel=1e-6)
    assert air.fan_pressure_pa / INWG == pytest.approx(2.96 * share**2, rel=1e-6)


def test_a_third_of_the_speed_is_a_third_of_the_air_and_a_ninth_of_the_pressure():
    """ABIH/BCSP equation set, exam practice items: 400 cfm at 1000 turns are 1200 at 3000; 5 in. w.g. are 45."""
    if not FIGURES.is_file():
        pytest.skip("missing shared data: ../shared/trade/figures.yaml")
    items = {item["id"]: item for item in yaml.safe_load(FIGURES.read_text(encoding="utf-8"))["items"]}
    flow, pressure = items["fan-n3"], items["fan-p9"]
    slow, fast = flow["inputs"]["n"]
    full_m3s, full_pa = flow["value"] * CFM, pressure["value"] * INWG
    curve = FanCurve((0.0, full_m3s, 2 * full_m3s), (1.2 * full_pa, full_pa, 0.0))
    ducts = network(curve, full_m3s, full_pa)
    air = prepare(ducts).with_fan(curve.scaled(slow / fast)).solve(["gate"])
    assert air.flow_m3s / CFM == pytest.approx(flow["inputs"]["Q1"], rel=1e-6)
    assert air.fan_pressure_pa / INWG == pytest.approx(pressure["inputs"]["p1"], rel=1e-6)


def system(transport_ms: float, need_m3s: float) -> AirSystem:
    tools = Tools(prepare(FOX), [Draw("saw", ("gate",), need_m3s)], transport_ms)
    return AirSystem(driven_shop().motors["collector"], tools, {}, {"gate": None}, ())  # type: ignore[dict-item]


def test_the_speed_for_a_need_is_its_share_of_the_flow_but_for_the_filter():
    """By the laws 21 000 of 30 000 cfm want 70 % of the speed; the table's overdue filter takes a little more."""
    search = SpeedSearch(system(0.1, 21e3 * CFM), 20, Work())
    row = search.row(frozenset({"saw"}), frozenset({"gate"}))
    full = search.row(frozenset(), frozenset({"gate"}))
    assert full.binds is Binds.LEAST
    # The filter of 150 Pa clean at full flow, three times as tight, in a straight line of the flow.
    flow_m3s = 21e3 * CFM
    filter_pa = 3 * 150.0 * flow_m3s / (POINT_CFM * CFM)
    ducts_pa = POINT_INWG * INWG * 0.7**2

    def spare_pa(share: float) -> float:
        return FOX.fan.scaled(share).pressure_at(flow_m3s) - filter_pa - ducts_pa

    assert row.binds is Binds.NEED
    assert spare_pa(row.percent / 100) >= 0.0 > spare_pa((row.percent - 1) / 100)
    assert row.percent > 70


@pytest.mark.parametrize(("share", "saves"), [(0.8, 0.488), (0.5, 0.875), (0.9, 0.271)])
def test_what_a_slower_fan_saves_is_the_cube_memory(share, saves):
    """A fifth slower takes about half of the power (0.8 cubed is 0.512), half as fast an eighth: the fan laws as the
    U.S. Department of Energy's fan system sourcebook tells them; recalled, not seen, the cubes computed.
    """
    at = system(0.1, 1.0)
    full_w = motor_power_w(FOX.fan, at.motor.power_w, POINT_CFM * CFM)
    assert saved_w(at, frozenset({"gate"}), round(100 * share)) / full_w == pytest.approx(saves, abs=0.001)
    assert fan_laws(1.0, 1.0, 1.0, speed_ratio=share)[2] == pytest.approx(1.0 - saves, abs=0.001)
