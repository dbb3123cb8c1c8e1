"""The table of C17: what it promises of every row, and rows that can be checked by hand."""

import itertools
from dataclasses import replace
from functools import lru_cache

import pytest

from gatekeeper.airflow.tools import ENOUGH
from gatekeeper.control.plan import AirAnswer, Plan
from gatekeeper.service.air_systems import air_systems
from gatekeeper.service.air_table import MOST_EXTRAS, ComputedAir, Work, air_table, computed_air
from gatekeeper.service.planning import plan_of
from gatekeeper.shop import examples
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

WITH_DUCTS = [name for name in examples.names() if name not in ("one-evening", "recording-bench")]


@lru_cache
def shop_of(name: str) -> Shop:
    shop = load_shop(examples.example(name).read_text(encoding="utf-8"), name)
    assert isinstance(shop, Shop)
    return shop


@lru_cache
def air_of(name: str) -> ComputedAir:
    return computed_air(air_systems(shop_of(name)))


@pytest.mark.parametrize("name", WITH_DUCTS)
def test_every_single_pair_and_triple_has_a_row(name: str) -> None:
    air = air_of(name)
    wanted = {
        (motor, frozenset(running))
        for motor, system in air.systems.items()
        for size in (1, 2, 3)
        for running in itertools.combinations(system.tools.draws, size)
    }

    assert air.is_whole
    assert set(air.table) == wanted
    assert len(wanted) > 20


@pytest.mark.parametrize("name", WITH_DUCTS)
def test_an_extra_gate_may_be_opened_and_is_no_tools_own(name: str) -> None:
    air, shop = air_of(name), shop_of(name)

    for (motor, running), answer in air.table.items():
        own = {gate for tool in running for gate in shop.tools[tool].gates}
        assert len(answer.extra) <= MOST_EXTRAS
        for gate in answer.extra:
            assert shop.gates[gate].is_actuated
            assert shop.gates[gate].as_extra
            assert shop.gates[gate].motor == motor
            assert gate not in own


@pytest.mark.parametrize("name", WITH_DUCTS)
def test_an_extra_gate_wins_a_length_of_main_and_takes_nobodys_air(name: str) -> None:
    air = air_of(name)
    seen = 0

    for (motor, running), answer in air.table.items():
        system = air.systems[motor]
        tools = [tool for tool in system.tools.draws if tool in running]
        own = system.tools.gates_of(tools)
        if not answer.extra or not system.path_is_enough(own):
            continue
        seen += 1
        without, having = system.read(tools, own), system.read(tools, (*own, *answer.extra))
        assert set(having.slow_mains) < set(without.slow_mains)
        assert set(having.slow_drops) <= set(without.slow_drops)
        for tool in tools:
            if without.share[tool] >= ENOUGH:
                assert having.share[tool] >= ENOUGH
            else:
                assert having.share[tool] >= without.share[tool] * 0.98
    assert seen > 0 or name in ("long-narrow", "school-room")


@pytest.mark.parametrize("name", WITH_DUCTS)
def test_who_is_short_and_by_how_much(name: str) -> None:
    air = air_of(name)
    seen = 0

    for (motor, running), answer in air.table.items():
        system = air.systems[motor]
        tools = [tool for tool in system.tools.draws if tool in running]
        reading = system.read(tools, (*system.tools.gates_of(tools), *answer.extra))
        missing = {tool: 1 - reading.flow_m3s[tool] / system.needs[tool].flow_m3s for tool in tools}
        assert dict(answer.short) == pytest.approx({tool: part for tool, part in missing.items() if part > 0.02})
        seen += bool(answer.short)
    assert seen > 0


def test_the_garage_opens_a_second_gate_for_the_saw() -> None:
    table = air_table(shop_of("garage-one-collector"))

    assert table["collector", frozenset({"table saw"})] == AirAnswer(("jointer gate",), ())
    assert table["collector", frozenset({"table saw", "jointer"})] == AirAnswer((), ())
    # A second gate would leave the planer 410 of its 450 cfm.
    assert table["collector", frozenset({"planer"})] == AirAnswer((), ())
    short = dict(table["collector", frozenset({"planer", "drum sander"})].short)
    assert short["planer"] == pytest.approx(0.09, abs=0.01)


def test_a_gate_marked_not_as_extra_is_left_alone() -> None:
    shop = shop_of("garage-one-collector")
    kept = {name: replace(gate, as_extra=name != "jointer gate") for name, gate in shop.gates.items()}

    answer = air_table(replace(shop, gates=kept))["collector", frozenset({"table saw"})]

    assert "jointer gate" not in answer.extra
    assert "mitre gate" not in answer.extra
    assert answer.extra != ()


def test_own_gates_too_small_for_the_fan_get_the_gate_that_keeps_its_path() -> None:
    shop = shop_of("garage-one-collector")
    collector = shop.motors["collector"]
    wants = replace(collector, path_minimum_m2=shop.gates["planer gate"].area_m2 * 1.5)
    found = replace(shop, motors={**shop.motors, "collector": wants})
    air = computed_air(air_systems(found))

    for (motor, running), answer in air.table.items():
        opened = [*air.systems[motor].tools.gates_of(running), *answer.extra]
        assert sum(shop.gates[gate].area_m2 for gate in opened) >= wants.path_minimum_m2
    assert len(air.table["collector", frozenset({"planer"})].extra) == 1


def test_the_work_is_bounded_and_singles_come_first() -> None:
    systems = air_systems(shop_of("school-room"))
    air = computed_air(systems, Work(left=400))

    assert not air.is_whole
    sizes = [len(running) for _, running in air.table]
    assert sizes == sorted(sizes)
    assert 0 < len(sizes) < 100


def test_the_same_table_twice() -> None:
    shop = shop_of("shared-twelve")

    assert air_table(shop) == air_table(shop)


# ---------------------------------------------------------------- what the core gets of it


def plan_with(name: str) -> Plan:
    return plan_of(shop_of(name), air_of(name))


def test_the_plan_takes_table_and_clear_times() -> None:
    plan, air = plan_with("garage-one-collector"), air_of("garage-one-collector")

    plan.check()
    assert plan.air == air.table
    assert {name: gate.clear_s for name, gate in plan.gates.items()} == air.clear_s


@pytest.mark.parametrize("left", [1, 200_000])
def test_a_clear_time_is_the_slowest_way_to_the_collector_and_a_second(left: int) -> None:
    # With little to spend the table has one row, and the time is longest with its extra gate shut again.
    air = computed_air(air_systems(shop_of("garage-one-collector")), Work(left))
    system = air.systems["collector"]
    ducts = ["saw drop/hose", "saw drop", "main near", "riser"]
    lengths = {duct.name: duct.length_m for duct in system.tools.network.ducts}
    times = []
    for (_, running), answer in air.table.items():
        own = system.tools.gates_of(tool for tool in system.tools.draws if tool in running)
        for opened in ((*own, *answer.extra), own):
            speeds = system.read(tuple(running), opened).velocity_ms
            if "table saw" in running:
                times.append(1.0 + sum(lengths[duct] / (0.5 * speeds[duct]) for duct in ducts))

    assert air.clear_s["saw gate"] == pytest.approx(max(times))
    assert len(times) == 2 * (1 if left == 1 else 1 + 5 + 10)


def test_a_clear_time_that_the_file_gives_stays() -> None:
    shop, air = shop_of("garage-one-collector"), air_of("garage-one-collector")
    given = replace(shop.gates["saw gate"], clear_s=33.0, clear_is_given=True)

    plan = plan_of(replace(shop, gates={**shop.gates, "saw gate": given}), air)

    assert plan.gates["saw gate"].clear_s == 33.0
    assert plan.gates["jointer gate"].clear_s == air.clear_s["jointer gate"]


def test_the_plan_says_how_much_a_tool_misses() -> None:
    plan = plan_with("long-narrow")

    # The panel saw draws on two systems; the tools of the other one do not count there.
    both = plan.missing_air("panel saw", ["panel saw", "bench outlet", "planer"])
    collector = dict(plan.air["collector", frozenset({"panel saw", "planer"})].short)["panel saw"]
    vacuum = dict(plan.air["vacuum", frozenset({"panel saw", "bench outlet"})].short)["panel saw"]
    assert both == max(collector, vacuum)
    assert both > 0.1
    assert plan.missing_air("panel saw", ["panel saw", "planer"]) == collector > 0.0
    assert plan.missing_air("bench outlet", ["bench outlet"]) == 0.0
    # A set that was not computed says nothing.
    assert plan.missing_air("planer", ["panel saw", "planer", "bandsaw", "lathe"]) == 0.0


@pytest.mark.parametrize(
    ("gates", "is_path"),
    [((), False), (("planer gate",), True), (("bandsaw gate",), True), (("lathe gate",), False)],
)
def test_a_hand_gate_that_nothing_sees_is_no_path(gates: tuple[str, ...], is_path: bool) -> None:
    shop = shop_of("long-narrow")
    without = replace(shop.motors["collector"], relief_m2=0.0, path_minimum_m2=0.005)

    system = air_systems(replace(shop, motors={**shop.motors, "collector": without}))["collector"]

    assert system.path_is_enough(gates) is is_path
