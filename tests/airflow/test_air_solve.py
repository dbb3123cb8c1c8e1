"""What any solve of any tree must keep to, on random trees; and the states that a shop really meets."""

import math
import random

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from random_trees import random_system, systems

from gatekeeper.airflow.air import STANDARD_AIR, Air
from gatekeeper.airflow.fan import FanCurve
from gatekeeper.airflow.friction import friction_factor
from gatekeeper.airflow.gate_sets import small_sets, solve_sets
from gatekeeper.airflow.losses import leak_loss
from gatekeeper.airflow.network import Collector, Duct, Gate, Hood, Network
from gatekeeper.airflow.solve import Prepared, Solution, prepare
from gatekeeper.airflow.steady import steady_flows

FEW = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def loss_of(network: Network, place: int, flow: float, open_gates: list[str]) -> float:
    """The law of one duct written down a second time, from the physics and not from the program's numbers."""
    duct = network.ducts[place]
    area = duct.section_m2
    k = duct.loss + sum(hood.entry_loss for hood in network.hoods if hood.node == duct.upstream)
    for gate in network.gates:
        if gate.duct == duct.name:
            k += gate.open_loss if gate.name in open_gates else leak_loss(area, gate.leak_area_m2, gate.discharge)
    if flow == 0.0:
        return 0.0
    velocity = flow / area
    reynolds = network.air.density_kg_m3 * velocity * duct.diameter_m / network.air.viscosity_pa_s
    if duct.length_m > 0.0:
        k += friction_factor(reynolds, duct.roughness_m / duct.diameter_m) * duct.length_m / duct.diameter_m
    return k * network.air.density_kg_m3 * velocity**2 / 2.0


def leaf_residuals_pa(solution: Solution, open_gates: list[str]) -> list[float]:
    """For every hood with a way to the fan: what the losses along it leave of the fan's pressure.

    As much of it as 1e-12 m3/s would make is left out: a thousandth of what the flows are promised to.
    """
    network = solution.prepared.network
    dead = solution.prepared.dead_with(solution.k)
    onward = {feeder: place for place, feeding in enumerate(network.feeding) for feeder in feeding}
    flow = solution.flow_m3s
    there = network.fan.pressure_at(flow) - network.collector.line_pa_s_m3 * flow
    there -= network.collector.square_pa_s2_m6 * flow**2
    residuals = []
    for leaf in network.order:
        if network.feeding[leaf] or leaf in dead:
            continue
        lost, stiffness, place = 0.0, 0.0, leaf
        while True:
            flow = solution.flows_m3s[place]
            loss = loss_of(network, place, flow, open_gates)
            lost += loss
            stiffness += 2.0 * loss / flow if flow else 0.0
            if place not in onward:
                break
            place = onward[place]
        residuals.append(max(abs(there - lost) - 1e-12 * stiffness, 0.0))
    return residuals


@given(systems())
@FEW
def test_every_hood_meets_the_fan_and_nothing_is_lost_at_a_node(system):
    network, open_gates = system
    solution = prepare(network).solve(open_gates)
    shut_pa = max(network.fan.pressures_pa)
    assert min(solution.flows_m3s) >= 0.0
    for residual in leaf_residuals_pa(solution, open_gates):
        assert residual <= 1e-6 * shut_pa
    for place, feeding in enumerate(network.feeding):
        if feeding:
            into = math.fsum(solution.flows_m3s[other] for other in feeding)
            assert solution.flows_m3s[place] == pytest.approx(into, rel=1e-9, abs=1e-15)


def flow_through(network: Network, place: int, suction: float, open_gates: list[str]) -> float:
    """A second method: the flow that a suction at a duct's lower end draws, by halving, duct within duct."""
    limit = math.sqrt(2.0 * suction / network.air.density_kg_m3) * network.ducts[place].section_m2 * 2.0
    low, high = 0.0, limit

    def wants(flow: float) -> float:
        loss = loss_of(network, place, flow, open_gates)
        if loss >= suction:
            return 0.0
        feeding = network.feeding[place]
        if not feeding:
            return math.inf
        return sum(flow_through(network, other, suction - loss, open_gates) for other in feeding)

    for _ in range(44):
        middle = (low + high) / 2.0
        low, high = (middle, high) if wants(middle) > middle else (low, middle)
    return low


@given(st.integers(0, 2**32))
@settings(max_examples=6, deadline=None)
def test_halving_finds_the_same_flows(seed):
    rng = random.Random(seed)
    leaves = rng.randint(2, 4)
    ducts = [Duct("main", "joint", "inlet", 4.0 * rng.random(), 0.1 + 0.1 * rng.random(), 1e-4, rng.random())]
    hoods, gates = [], []
    for place in range(leaves):
        name = f"drop {place}"
        ducts.append(Duct(name, name, "joint", 5.0 * rng.random(), 0.05 + 0.1 * rng.random(), 9e-4, 2.0 * rng.random()))
        hoods.append(Hood(name, name, 0.5))
        gates.append(Gate(f"gate {place}", name, 0.1, rng.choice((0.0, 4e-5))))
    fan = FanCurve((0.0, 0.2, 0.5), (2500.0, 1800.0, 0.0))
    network = Network(STANDARD_AIR, tuple(ducts), tuple(hoods), tuple(gates), Collector("inlet", 400.0, 900.0), fan)
    open_gates = [f"gate {place}" for place in range(leaves) if rng.random() < 0.5]
    solution = prepare(network).solve(open_gates)
    low, high = 0.0, 0.5
    for _ in range(40):
        total = (low + high) / 2.0
        suction = fan.pressure_at(total) - 400.0 * total - 900.0 * total**2
        drawn = flow_through(network, 0, suction, open_gates) if suction > 0.0 else 0.0
        low, high = (total, high) if drawn > total else (low, total)
    assert solution.flow_m3s == pytest.approx(low, rel=1e-7, abs=1e-9)


@given(systems(most_leaves=16))
@FEW
def test_the_slow_and_sure_solve_agrees(system):
    network, open_gates = system
    prepared = prepare(network)
    solution = prepared.solve(open_gates)
    dead = prepared.dead_with(solution.k)
    if len(dead) == len(solution.k):
        assert solution.flow_m3s == 0.0
        return
    flows, steps = steady_flows(network, prepared.laws, solution.k, prepared.fan, dead)
    assert steps < 150
    floor = 1e-6 * max(flows)
    for slow, quick in zip(flows, solution.flows_m3s, strict=True):
        assert quick == pytest.approx(slow, rel=1e-6, abs=max(1e-12, 1e-6 * floor))


@given(systems(most_leaves=12))
@FEW
def test_a_batch_agrees_with_single_solves(system):
    network, open_gates = system
    prepared = prepare(network)
    sets = [tuple(open_gates), (), *((gate.name,) for gate in network.gates)]
    batch = solve_sets(prepared, sets)
    for place, chosen in enumerate(sets):
        single = prepared.solve(chosen).flows_m3s
        assert batch.flows_m3s[:, place] == pytest.approx(single, rel=1e-6, abs=1e-11 + 1e-9 * max(single))


@given(systems(most_leaves=10), st.data())
@FEW
def test_shutting_a_gate_never_lowers_the_flow_of_another_hood(system, data):
    network, open_gates = system
    if not open_gates:
        return
    prepared = prepare(network)
    shut = data.draw(st.sampled_from(open_gates))
    duct = next(gate.duct for gate in network.gates if gate.name == shut)
    onward = {feeder: place for place, feeding in enumerate(network.feeding) for feeder in feeding}
    before = prepared.solve(open_gates)
    after = prepared.solve([name for name in open_gates if name != shut])
    shut_place = network.duct_places[duct]
    leak_k, open_k = after.k[shut_place], before.k[shut_place]
    if leak_k < open_k:
        return
    for leaf in network.order:
        if network.feeding[leaf]:
            continue
        place = leaf
        while place != shut_place and place in onward:
            place = onward[place]
        if place != shut_place:
            assert after.flows_m3s[leaf] >= before.flows_m3s[leaf] * (1.0 - 1e-6) - 1e-9


def drops(
    count: int, *, leak_m2: float = 4e-5, fan: FanCurve | None = None, collector: Collector | None = None,
    length_m: float = 3.0, air: Air = STANDARD_AIR,
) -> Network:  # fmt: skip
    """``count`` equal drops of 100 mm that meet at the collector."""
    names = [f"drop {place}" for place in range(count)]
    return Network(
        air,
        tuple(Duct(name, name, "inlet", length_m, 0.1, 0.00015, 0.5) for name in names),
        tuple(Hood(name, name, 0.5) for name in names),
        tuple(Gate(f"gate {place}", name, 0.1, leak_m2) for place, name in enumerate(names)),
        collector or Collector("inlet", 300.0, 800.0),
        fan or FanCurve((0.0, 0.1, 0.2, 0.3, 0.4), (2400.0, 2200.0, 1700.0, 1000.0, 0.0)),
    )


def names_of(prepared: Prepared) -> list[str]:
    return [gate.name for gate in prepared.network.gates]


def test_equal_branches_carry_equal_flow():
    prepared = prepare(drops(7))
    flows = prepared.solve(names_of(prepared)).flows_m3s
    assert flows == pytest.approx([flows[0]] * 7, rel=1e-12)


def test_parallel_square_laws_add_as_conductances():
    """Without friction: 1/sqrt(R) of the whole is the sum of those of the parts."""
    network = drops(3, length_m=0.0)
    prepared = prepare(network)
    solution = prepared.solve(["gate 0", "gate 2"])
    whole = sum(1.0 / math.sqrt(k) for k in solution.k) ** -2
    flow = solution.flow_m3s
    assert whole * flow**2 == pytest.approx(solution.fan_pressure_pa - solution.collector_loss_pa, rel=1e-12)


def test_with_losses_by_square_alone_twice_the_density_leaves_flow_and_doubles_pressure():
    network = drops(3, length_m=0.0, collector=Collector("inlet", 0.0, 0.0))
    light = prepare(network).solve(["gate 0"])
    dense = Air(2 * STANDARD_AIR.density_kg_m3, STANDARD_AIR.viscosity_pa_s)
    fan = network.fan.scaled(density_ratio=2.0)
    heavy = prepare(drops(3, length_m=0.0, collector=Collector("inlet", 0.0, 0.0), fan=fan, air=dense)).solve(
        ["gate 0"]
    )
    assert heavy.flows_m3s == pytest.approx(light.flows_m3s, rel=1e-9)
    assert heavy.fan_pressure_pa == pytest.approx(2 * light.fan_pressure_pa, rel=1e-9)


def test_all_sealed_is_exactly_still_under_the_fans_full_pressure():
    prepared = prepare(drops(3, leak_m2=0.0))
    solution = prepared.solve([])
    assert solution.flows_m3s == [0.0, 0.0, 0.0]
    assert (solution.flow_m3s, solution.fan_pressure_pa, solution.collector_loss_pa) == (0.0, 2400.0, 0.0)
    for duct in solution.ducts().values():
        assert (duct.total_upstream_pa, duct.total_downstream_pa, duct.loss_pa) == (0.0, -2400.0, 2400.0)
        assert duct.static_downstream_pa == -2400.0


def test_all_shut_with_leaks_draws_a_little_through_each():
    prepared = prepare(drops(3))
    solution = prepared.solve([])
    orifice = 0.61 * 4e-5 * math.sqrt(2 * 2390.0 / STANDARD_AIR.density_kg_m3)
    assert solution.flows_m3s == pytest.approx([orifice] * 3, rel=0.01)


def inner_gate_network(inner_leak_m2: float) -> Network:
    """Two drops behind a gate of their own, one drop beside."""
    return Network(
        STANDARD_AIR,
        (
            Duct("far a", "a", "far", 2.0, 0.1, 1e-4, 0.4),
            Duct("far b", "b", "far", 2.0, 0.1, 1e-4, 0.4),
            Duct("wing", "far", "joint", 5.0, 0.15, 1e-4, 0.2),
            Duct("near", "c", "joint", 2.0, 0.1, 1e-4, 0.4),
            Duct("main", "joint", "inlet", 3.0, 0.15, 1e-4, 0.2),
        ),
        (Hood("a", "a", 0.5), Hood("b", "b", 0.5), Hood("c", "c", 0.5)),
        (
            Gate("gate a", "far a", 0.1, 0.0),
            Gate("wing gate", "wing", 0.1, inner_leak_m2),
            Gate("gate c", "near", 0.1, 4e-5),
        ),
        Collector("inlet", 300.0, 800.0),
        FanCurve((0.0, 0.2, 0.4), (2400.0, 1700.0, 0.0)),
    )  # fmt: skip


def test_behind_a_sealed_inner_gate_everything_is_exactly_still():
    solution = prepare(inner_gate_network(0.0)).solve(["gate a", "gate c"])
    air = solution.ducts()
    assert [air[name].flow_m3s for name in ("far a", "far b", "wing")] == [0.0, 0.0, 0.0]
    assert air["near"].flow_m3s == air["main"].flow_m3s > 0.1
    assert air["wing"].loss_pa == -air["wing"].total_downstream_pa > 100.0
    assert (air["far b"].loss_pa, air["far b"].total_downstream_pa) == (0.0, 0.0)


def test_behind_a_leaking_inner_gate_the_air_creeps_by_the_laminar_law():
    solution = prepare(inner_gate_network(1e-7)).solve(["gate a", "gate c"])
    air = solution.ducts()
    assert 0.0 < air["wing"].reynolds < 2000.0
    assert air["far a"].flow_m3s + air["far b"].flow_m3s == pytest.approx(air["wing"].flow_m3s, rel=1e-12)
    assert solution.flows_m3s[0] > 0.0
    for residual in leaf_residuals_pa(solution, ["gate a", "gate c"]):
        assert residual < 1e-6


def test_a_duct_behind_sealed_gates_alone_stands_still_under_suction():
    network = inner_gate_network(1e-4)
    gates = (*network.gates, Gate("gate b", "far b", 0.1, 0.0))
    sealed = Network(network.air, network.ducts, network.hoods, gates, network.collector, network.fan)
    air = prepare(sealed).solve(["gate c", "wing gate"]).ducts()
    assert air["wing"].flow_m3s == 0.0
    assert air["wing"].loss_pa == 0.0
    assert air["wing"].total_upstream_pa == air["wing"].total_downstream_pa < -100.0
    assert air["far a"].loss_pa == -air["far a"].total_downstream_pa


def test_static_and_total_pressure_differ_by_the_velocity_pressure_and_the_hood_shows_its_suction():
    solution = prepare(drops(2)).solve(["gate 0"])
    duct = solution.ducts()["drop 0"]
    assert duct.velocity_pressure_pa == pytest.approx(STANDARD_AIR.density_kg_m3 * duct.velocity_ms**2 / 2)
    assert duct.static_downstream_pa == duct.total_downstream_pa - duct.velocity_pressure_pa
    assert duct.static_upstream_pa == pytest.approx(-1.5 * duct.velocity_pressure_pa, rel=1e-12)
    assert duct.total_upstream_pa == 0.0
    assert duct.loss_pa == pytest.approx(-duct.total_downstream_pa, rel=1e-9)
    assert solution.fan_pressure_pa - solution.collector_loss_pa == pytest.approx(duct.loss_pa, rel=1e-9)


def test_part_open_lies_between_shut_and_open():
    prepared = prepare(drops(2))
    flows = [prepared.solve([], {"gate 0": part / 16}).flows_m3s[0] for part in range(17)]
    assert flows == sorted(flows)
    assert flows[0] == prepared.solve([]).flows_m3s[0]
    assert flows[16] == prepared.solve(["gate 0"]).flows_m3s[0]
    assert flows[8] < 0.8 * flows[16]


def test_an_unknown_gate_is_named():
    prepared = prepare(drops(2))
    said = r"^there is no gate 'gate 9' on these ducts$"
    for call in (
        lambda: prepared.solve(["gate 9"]),
        lambda: prepared.solve([], {"gate 9": 0.5}),
        lambda: solve_sets(prepared, [["gate 9"]]),
    ):
        with pytest.raises(ValueError, match=said):
            call()


def test_beyond_the_last_point_is_said_and_the_last_piece_goes_on():
    fan = FanCurve((0.0, 0.05, 0.1), (2400.0, 2300.0, 2000.0))
    prepared = prepare(drops(3, fan=fan))
    beyond, within = prepared.solve(names_of(prepared)), prepared.solve([])
    assert beyond.is_beyond_curve
    assert not within.is_beyond_curve
    assert beyond.fan_pressure_pa == pytest.approx(2000.0 - (beyond.flow_m3s - 0.1) * 6000.0, rel=1e-12)


HUMP = FanCurve((0.0, 0.05, 0.1, 0.15, 0.3), (1000.0, 1300.0, 1500.0, 1400.0, 0.0))


def test_right_of_its_peak_a_rising_curve_solves_as_the_falling_one():
    falling = FanCurve((0.1, 0.15, 0.3), (1500.0, 1400.0, 0.0))
    ours = prepare(drops(3, fan=HUMP)).solve(["gate 0", "gate 1"])
    assert ours.flow_m3s > 0.1
    assert not ours.is_on_rising_part
    assert ours.flows_m3s == pytest.approx(
        prepare(drops(3, fan=falling)).solve(["gate 0", "gate 1"]).flows_m3s, rel=1e-12
    )


def test_left_of_its_peak_the_meeting_is_on_the_curve_itself_and_said():
    prepared = prepare(drops(3, fan=HUMP))
    solution = prepared.solve([])
    assert HUMP.rises
    assert solution.is_on_rising_part
    for residual in leaf_residuals_pa(solution, []):
        assert residual < 1e-6
    batch = solve_sets(prepared, [(), ("gate 0", "gate 1")])
    assert batch.singly == 1
    assert batch.flows_m3s[:, 0] == pytest.approx(solution.flows_m3s, rel=1e-12)


def test_of_three_meetings_the_stable_one_at_the_largest_flow_is_taken():
    """A dip that the losses cross three times; at the middle crossing a fan cannot stay."""
    fan = FanCurve((0.0, 0.04, 0.08, 0.14, 0.2, 0.3), (900.0, 600.0, 600.0, 1600.0, 1500.0, 0.0))
    network = drops(1, fan=fan, collector=Collector("inlet", 8000.0, 0.0), length_m=0.0)
    solution = prepare(network).solve(["gate 0"])

    def spare(flow: float) -> float:
        return fan.pressure_at(flow) - 8000.0 * flow - solution.k[0] * flow**2

    crossings = [flow / 1000 for flow in range(1, 300) if spare((flow - 0.5) / 1000) * spare((flow + 0.5) / 1000) < 0]
    assert len(crossings) == 3
    assert solution.flow_m3s == pytest.approx(crossings[-1], abs=0.001)
    assert spare(solution.flow_m3s) == pytest.approx(0.0, abs=1e-6)
    assert solution.flow_m3s > 0.13


def test_another_fan_or_filter_needs_no_new_preparation():
    prepared = prepare(drops(2))
    weak, strong = FanCurve(prepared.network.fan.flows_m3s, prepared.network.fan.pressures_pa, 0.2).band()
    flows = [p.solve(["gate 0"]).flow_m3s for p in (prepared.with_fan(weak), prepared, prepared.with_fan(strong))]
    assert flows == sorted(flows)
    assert flows[0] < flows[1] < flows[2]
    loaded = prepared.with_fan(prepared.network.fan, Collector("inlet", 3000.0, 800.0))
    assert loaded.solve(["gate 0"]).flow_m3s == prepare(loaded.network).solve(["gate 0"]).flow_m3s < flows[1]


def test_small_sets_are_all_singles_pairs_and_triples():
    gates = ["a", "b", "c", "d"]
    assert small_sets(gates, 2) == (
        ("a",), ("b",), ("c",), ("d",),
        ("a", "b"), ("a", "c"), ("a", "d"), ("b", "c"), ("b", "d"), ("c", "d"),
    )  # fmt: skip
    assert len(small_sets([str(gate) for gate in range(24)], 3)) == 24 + 276 + 2024


def test_a_batch_gives_whole_states_too():
    prepared = prepare(drops(3))
    sets = small_sets(names_of(prepared))
    batch = solve_sets(prepared, sets)
    assert batch.singly == 0
    assert batch.fan_flows_m3s.shape == (7,)
    state = batch.solution(3)
    assert sets[3] == ("gate 0", "gate 1")
    assert state.ducts()["drop 1"].velocity_ms == pytest.approx(prepared.solve(sets[3]).ducts()["drop 1"].velocity_ms)
    assert np.allclose(batch.fan_flows_m3s, batch.flows_m3s.sum(axis=0))
    assert solve_sets(prepared, []).flows_m3s.shape == (3, 0)


def test_random_systems_are_of_every_kind():
    """The random trees would prove little if they never were laminar, sealed, inner-gated or slow."""
    kinds = set()
    for seed in range(60):
        rng = random.Random(seed)
        network, open_gates = random_system(rng, rng.randint(2, 40))
        prepared = prepare(network)
        solution = prepared.solve(open_gates)
        reynolds = [law.re_per_q * flow for law, flow in zip(prepared.laws, solution.flows_m3s, strict=True)]
        leaves = {network.ducts[place].name for place in network.order if not network.feeding[place]}
        kinds |= {"laminar"} if any(0 < re < 2000 for re in reynolds) else set()
        kinds |= {"between"} if any(2000 < re < 4000 for re in reynolds) else set()
        kinds |= {"turbulent"} if any(re > 1e5 for re in reynolds) else set()
        kinds |= {"sealed"} if prepared.dead_with(solution.k) else set()
        kinds |= {"inner"} if any(gate.duct not in leaves for gate in network.gates) else set()
        kinds |= {"large"} if len(leaves) > 30 else set()
    assert kinds == {"laminar", "between", "turbulent", "sealed", "inner", "large"}
