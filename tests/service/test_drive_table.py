"""The table of lowest speeds: every row solved again by another way, floors on drawn ducts, and its bound."""

import math
import random
import sys
from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[1] / "airflow"))

from driven_shops import DRIVEN, air_of, driven_shop, made, on_a_drive
from random_trees import random_system

from gatekeeper.airflow.fan import FanCurve
from gatekeeper.airflow.needs import Need
from gatekeeper.airflow.network import Collector
from gatekeeper.airflow.solve import Prepared, prepare
from gatekeeper.airflow.study import motor_power_w
from gatekeeper.airflow.tools import Draw, Tools
from gatekeeper.service.air_systems import AirSystem, air_systems
from gatekeeper.service.air_table import Work
from gatekeeper.service.drive_table import (
    MOST_WORK,
    Binds,
    SpeedRow,
    SpeedSearch,
    SpeedTable,
    least_percent,
    saved_w,
    speed_tables,
)
from gatekeeper.service.ducting import network_of
from gatekeeper.shop.model import Shop

NOTHING: frozenset[str] = frozenset()


@lru_cache
def shop_of(name: str) -> Shop:
    return driven_shop() if name == "driven" else on_a_drive(name, "collector")


@lru_cache
def needs_of(name: str) -> Mapping[str, Need]:
    return air_systems(shop_of(name))["collector"].needs


@lru_cache
def table_of(name: str) -> SpeedTable:
    shop = shop_of(name)
    return speed_tables(shop, air_of(shop))["collector"]


@lru_cache
def slowed(name: str, percent: int) -> Prepared:
    """The ducts of a shop on its fan at a speed, with an overdue filter: made anew from the shop's file."""
    network = network_of(shop_of(name), "collector")
    curve = network.fan
    assert not curve.is_estimate
    share = percent / 100
    fan = FanCurve(
        tuple(flow * share for flow in curve.flows_m3s), tuple(pa * share * share for pa in curve.pressures_pa)
    )
    clean = network.collector
    overdue = Collector(clean.inlet_node, 3.0 * clean.line_pa_s_m3, clean.square_pa_s2_m6)
    return prepare(replace(network, fan=fan, collector=overdue))


def way_of(shop: Shop, gate: str) -> list[str]:
    """The shop's ducts from a gate's own to the collector, with the hose before it."""
    duct = shop.gates[gate].duct
    way = [f"{duct}/hose"] if duct is not None and shop.ducts[duct].flex_m > 0 else []
    while duct in shop.ducts:
        way.append(duct)
        duct = shop.ducts[duct].towards
    return way


def judged(name: str, percent: int, running: frozenset[str], open_gates: frozenset[str]) -> tuple[bool, bool]:
    """Whether every tool gets its need, and every duct with chips keeps 20 m/s."""
    shop, air = shop_of(name), slowed(name, percent).solve(sorted(open_gates)).ducts()
    needs = needs_of(name)
    # One gate for each tool and one duct for each gate, in these shops.
    fed = all(air[str(shop.gates[shop.tools[tool].gates[0]].duct)].flow_m3s >= needs[tool].flow_m3s for tool in running)
    ways = {duct for gate in open_gates for duct in way_of(shop, gate)}
    return fed, all(air[duct].velocity_ms >= 20.0 for duct in ways)


@pytest.mark.parametrize("name", ["driven", "garage-one-collector"])
def test_every_row_is_enough_and_one_per_cent_less_is_not(name: str) -> None:
    table = table_of(name)
    assert table.is_whole
    kinds = set()
    for (running, opened), row in table.rows.items():
        kinds.add(row.binds)
        fed, fast = judged(name, row.percent, running, opened)
        if row.binds is Binds.NOT_ENOUGH:
            assert (row.percent, row.floor, fed and fast) == (100, 100, False)
            continue
        assert fed
        assert fast
        assert table.least <= row.floor <= row.percent <= 100
        assert judged(name, row.floor, running, opened)[1]
        if row.percent > table.least:
            fed, fast = judged(name, row.percent - 1, running, opened)
            assert (row.binds is Binds.NEED, fed and fast) == (not fed, False)
        if row.floor > table.least:
            assert not judged(name, row.floor - 1, running, opened)[1]
    assert kinds >= {Binds.NEED, Binds.VELOCITY, Binds.NOT_ENOUGH}


def test_figures_of_a_row() -> None:
    row = table_of("driven").row(frozenset({"table saw", "bandsaw"}), frozenset({"saw gate", "bandsaw gate"}))
    assert row is not None
    air = slowed("driven", row.percent).solve(["saw gate", "bandsaw gate"])
    speeds = {name: duct.velocity_ms for name, duct in air.ducts().items() if name != "planer drop"}
    assert row == SpeedRow(
        percent=77,
        floor=76,
        binds=Binds.NEED,
        subject="bandsaw",
        flow_m3s=pytest.approx(air.flow_m3s, rel=1e-6),
        slowest="saw drop",
        slowest_ms=pytest.approx(speeds["saw drop"], rel=1e-6),
        main_ms=pytest.approx(speeds["main"], rel=1e-6),
    )


def test_the_least_speed_of_the_drive_is_a_floor_rounded_up() -> None:
    slow = made(DRIVEN.replace("least_speed: 25", "least_speed: 45.1"))
    assert least_percent(slow.drives["fan drive"]) == 91
    table = speed_tables(slow, air_of(slow))["collector"]
    row = table.row(frozenset({"planer"}), frozenset({"planer gate"}))
    assert row is not None
    assert (row.percent, row.floor, row.binds, row.subject) == (91, 91, Binds.LEAST, None)
    assert min(row.percent for row in table.rows.values()) == 91


def test_full_speed_of_the_file_is_what_the_least_is_a_share_of() -> None:
    shop = made(DRIVEN.replace("least_speed: 25", "least_speed: 25\n    full_speed: 62.5"))
    assert least_percent(shop.drives["fan drive"]) == 40


def test_a_fan_that_is_an_estimate_is_taken_at_its_weak_end() -> None:
    """The same fan, given as a curve: what is only estimated must not run as slowly."""
    bare = made(DRIVEN.replace("    fan_curve:\n      [0", "    #[0").replace("    power: 4 kW", "    power: 5.5 kW"))
    shop = made(DRIVEN)
    guess = network_of(bare, "collector").fan
    assert guess.is_estimate
    planer = frozenset({"planer"}), frozenset({"planer gate"})
    weak = speed_tables(bare, air_of(bare))["collector"].row(*planer)
    system = air_systems(bare)["collector"]
    curve = FanCurve(guess.flows_m3s, guess.pressures_pa)
    given_curve = replace(system, tools=system.tools.with_prepared(system.prepared.with_fan(curve)))
    known = SpeedSearch(given_curve, 1, Work()).row(*planer)
    assert weak is not None
    assert weak.percent >= known.percent * 1.2
    assert shop.motors["collector"].fan_curve


def test_nothing_runs_and_chips_must_still_not_settle_on_the_way_of_what_is_open() -> None:
    rows = table_of("driven").rows
    assert rows[NOTHING, frozenset({"planer gate"})].percent == 66
    assert rows[NOTHING, frozenset({"planer gate"})].binds is Binds.VELOCITY


def test_a_gate_more_than_the_usual_ones_has_a_row_too() -> None:
    rows = table_of("driven").rows
    assert rows[frozenset({"table saw"}), frozenset({"saw gate", "planer gate"})].percent == 93
    assert (frozenset({"table saw"}), frozenset({"planer gate"})) not in rows


def test_the_work_is_bounded_and_what_is_left_out_has_no_row() -> None:
    shop = shop_of("garage-one-collector")
    air = air_of(shop)
    some = speed_tables(shop, air, Work(3_000))["collector"]
    every = table_of("garage-one-collector")
    assert not some.is_whole
    assert 0 < len(some.rows) < len(every.rows)
    assert list(some.rows.items()) == list(every.rows.items())[: len(some.rows)]
    assert some.row(*list(every.rows)[-1]) is None
    work = Work(MOST_WORK)
    assert speed_tables(shop, air, work)["collector"] == every
    assert work.left > 0.9 * MOST_WORK


def test_a_motor_of_one_speed_has_no_table() -> None:
    fixed = made(DRIVEN.replace("speed: from the air", "speed: 50"))
    assert speed_tables(fixed, air_of(fixed)) == {}


def test_what_is_saved_goes_with_the_cube_of_the_speed() -> None:
    system = air_systems(shop_of("driven"))["collector"]
    opened = frozenset({"planer gate"})
    fan, full = system.prepared.network.fan, system.prepared.solve(["planer gate"]).flow_m3s
    full_w = motor_power_w(fan, 4000.0, full)
    assert saved_w(system, opened, 100) == 0.0
    # The clean filter's straight line leaves the flow over speed a little below what it is at full speed.
    assert full_w - saved_w(system, opened, 66) == pytest.approx(0.66**3 * full_w, rel=0.02)


@settings(max_examples=250, deadline=None)
@given(
    seed=st.integers(0, 2**32),
    leaves=st.integers(2, 8),
    least=st.integers(20, 100),
    transport_ms=st.floats(0.5, 30.0),
    share=st.floats(0.05, 1.2),
)
def test_floors_hold_on_drawn_ducts(seed: int, leaves: int, least: int, transport_ms: float, share: float) -> None:
    """Whatever ducts and fan: at the speed of a row every need is met and no duct with chips is slow, or it is full."""
    rng = random.Random(seed)
    network, open_gates = random_system(rng, leaves)
    if not open_gates:
        return
    full = prepare(network).solve(open_gates)
    feeding = {network.ducts[place].name: network.feeding[place] for place in range(len(network.ducts))}
    on = {gate.name: gate.duct for gate in network.gates}
    draws = [
        Draw(f"tool {gate}", (gate,), share * max(full.flow_in(on[gate]), 1e-6))
        for gate in open_gates
        if not feeding[on[gate]]
    ]
    tools = Tools(prepare(network), draws, transport_ms)
    motor = shop_of("driven").motors["collector"]
    system = AirSystem(motor, tools, {}, dict.fromkeys(open_gates, None), ())  # type: ignore[arg-type]
    search = SpeedSearch(system, least, Work())
    running = frozenset(draw.tool for draw in draws if rng.random() < 0.5)
    row = search.row(running, frozenset(open_gates))
    assert least <= row.floor <= row.percent <= 100

    def at(percent: int) -> tuple[bool, bool]:
        fan = (network.fan.band()[0] if network.fan.is_estimate else network.fan).scaled(percent / 100)
        line = network.collector.line_pa_s_m3 or 150.0 / max(full.flow_m3s, 1e-6)
        tight = Collector(network.collector.inlet_node, 3.0 * line, network.collector.square_pa_s2_m6)
        air = prepare(replace(network, fan=fan, collector=tight)).solve(open_gates)
        needs = all(
            air.flow_in(on[draw.gates[0]]) >= draw.need_m3s * (1 - 1e-6) for draw in draws if draw.tool in running
        )
        ways = {place for gate in open_gates for place in tools.branch_of(gate)}
        fast = all(
            air.flows_m3s[place] / network.ducts[place].section_m2 >= transport_ms * (1 - 1e-6) for place in ways
        )
        return needs, fast

    if row.binds is Binds.NOT_ENOUGH:
        assert row.percent == 100
        return
    assert at(row.percent) == (True, True)
    assert at(row.floor)[1]
    if row.percent > least:
        assert at(row.percent - 1) != (True, True)
    assert math.isfinite(row.slowest_ms)
