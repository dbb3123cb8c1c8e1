"""Corners of the solve: borders between friction laws, how many passes it takes, dips of fan curves, long steps."""

import math
from collections.abc import Callable

import pytest

from gatekeeper.airflow import solve as solve_module
from gatekeeper.airflow import steady
from gatekeeper.airflow.air import STANDARD_AIR
from gatekeeper.airflow.fan import FanCurve
from gatekeeper.airflow.gate_sets import solve_sets
from gatekeeper.airflow.network import Collector, Duct, Gate, Hood, Network
from gatekeeper.airflow.solve import Prepared, prepare

FALLING = FanCurve((0.0, 0.1, 0.2, 0.3, 0.4), (2400.0, 2200.0, 1700.0, 1000.0, 0.0))


def shop(tools: int, *, leak_m2: float = 4e-5, inner_leak_m2: float = 4e-5, fan: FanCurve = FALLING) -> Network:
    """A main with drops, and a gate in the middle of the main."""
    ducts, hoods, gates = [], [], []
    for place in range(tools):
        onward = f"joint {place + 1}" if place + 1 < tools else "inlet"
        ducts.append(Duct(f"main {place}", f"joint {place}", onward, 2.0, 0.15, 0.00015, 0.2))
        name = f"drop {place}"
        ducts.append(Duct(name, name, f"joint {place}", 3.0, 0.1, 0.00009, 0.6))
        hoods.append(Hood(name, name, 0.5))
        gates.append(Gate(f"gate {place}", name, 0.1, leak_m2))
    gates.append(Gate("middle", f"main {tools // 2}", 0.1, inner_leak_m2))
    return Network(STANDARD_AIR, tuple(ducts), tuple(hoods), tuple(gates), Collector("inlet", 300.0, 800.0), fan)


def exact_flow(prepared: Prepared) -> float:
    """The flow of a network of one duct, by halving."""
    low, high, law, k = 0.0, 1.0, prepared.laws[0], prepared.shut_k[0]
    for _ in range(200):
        middle = (low + high) / 2.0
        spare = prepared.network.fan.pressure_at(middle) - law.loss_and_slope(middle, k)[0]
        low, high = (middle, high) if spare > 0.0 else (low, middle)
    return low


@pytest.mark.parametrize("reynolds", [2000.0, 4000.0])
def test_flows_next_to_the_border_of_two_friction_laws_are_as_exact_as_any(reynolds):
    """A long duct whose flow lies at the border, a hair below and a hair above, singly and in a batch."""
    duct = Duct("duct", "hood", "inlet", 60.0, 0.1, 0.004)
    base = Network(STANDARD_AIR, (duct,), (Hood("hood", "hood", 0.5),), (), Collector("inlet", 0.0, 0.0), FALLING)
    prepared = prepare(base)
    at_border = reynolds / prepared.laws[0].re_per_q
    loss = prepared.laws[0].loss_and_slope(at_border, prepared.shut_k[0])[0]
    for step in range(-40, 41):
        pressure = loss * (1.0 + step * 1e-6)
        fan = FanCurve((0.0, 2 * at_border), (2 * pressure, 0.0))
        here = prepared.with_fan(fan)
        assert here.solve([]).flow_m3s == pytest.approx(exact_flow(here), rel=2e-9)
        assert solve_sets(here, [()]).fan_flows_m3s[0] == pytest.approx(exact_flow(here), rel=1e-8)


def count_slow(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Counts the calls of the slow solve."""
    calls: list[int] = []
    slow: Callable[..., tuple[list[float], int]] = steady.steady_flows

    def counted(*given: object) -> tuple[list[float], int]:
        calls.append(1)
        return slow(*given)

    monkeypatch.setattr(solve_module, "steady_flows", counted)
    return calls


@pytest.mark.parametrize(
    ("leak_m2", "inner_leak_m2"), [(4e-5, 4e-5), (4e-5, 1e-7), (0.0, 0.0), (4e-5, 0.0), (0.0, 1e-4)]
)
def test_usual_shops_settle_in_few_passes(monkeypatch, leak_m2, inner_leak_m2):
    """Three Newton passes for open gates, nine where the air creeps; the slow solve is never called for."""
    calls = count_slow(monkeypatch)
    monkeypatch.setattr(solve_module, "MOST_PASSES", 9)
    prepared = prepare(shop(8, leak_m2=leak_m2, inner_leak_m2=inner_leak_m2))
    for chosen in ([], ["gate 0"], ["gate 7"], ["gate 0", "middle"], ["gate 1", "gate 6", "middle"]):
        prepared.solve(chosen)
    assert calls == []
    monkeypatch.setattr(solve_module, "MOST_PASSES", 3)
    prepared.solve(["gate 1", "gate 6", "middle"])
    assert calls == []


def test_when_the_quick_solve_gives_up_the_slow_one_answers(monkeypatch):
    calls = count_slow(monkeypatch)
    prepared = prepare(shop(8))
    quick = prepared.solve(["gate 0", "middle"]).flows_m3s
    monkeypatch.setattr(solve_module, "MOST_PASSES", 1)
    assert prepared.solve(["gate 0", "middle"]).flows_m3s == pytest.approx(quick, rel=1e-7)
    assert calls == [1]


def test_the_slow_solve_shortens_steps_that_overshoot(monkeypatch):
    """With every step made eight times too long, and so uphill, it still goes down to the answer."""
    prepared = prepare(shop(5))
    k = prepared.loss_coefficients(["gate 0", "middle"])
    right = prepared.solve(["gate 0", "middle"]).flows_m3s
    newton = steady._newton_step

    def too_long(network, laws, k, fan, flows, live):
        wanted = newton(network, laws, k, fan, flows, live)
        return [old + 8.0 * (new - old) for new, old in zip(wanted, flows, strict=True)]

    monkeypatch.setattr(steady, "_newton_step", too_long)
    flows, _ = steady.steady_flows(prepared.network, prepared.laws, k, prepared.fan)
    assert flows == pytest.approx(right, rel=1e-5)


def test_a_batch_has_exact_zeros_where_gates_are_sealed():
    prepared = prepare(shop(4, leak_m2=0.0))
    batch = solve_sets(prepared, [("gate 0", "middle"), ("gate 1",), ()])
    places = prepared.network.duct_places
    assert batch.flows_m3s[places["drop 1"], 0] == 0.0
    assert batch.flows_m3s[places["drop 0"], 1] == 0.0
    assert batch.flows_m3s[:, 2].tolist() == [0.0] * 8
    assert batch.flows_m3s[places["drop 1"], 1] > 0.001


def test_under_a_mantle_with_several_meetings_the_one_at_the_largest_flow_is_found():
    """The losses miss the peak at the right and meet the curve three times left of it, the last time going down."""
    fan = FanCurve((0.0, 0.04, 0.08, 0.12, 0.2, 0.3), (900.0, 300.0, 700.0, 500.0, 1500.0, 0.0))
    drop = Duct("drop", "hood", "inlet", 0.0, 0.3, 0.0, 0.1)
    network = Network(STANDARD_AIR, (drop,), (Hood("hood", "hood", 0.1),), (), Collector("inlet", 8000.0, 0.0), fan)
    solution = prepare(network).solve([])

    def spare(flow: float) -> float:
        return fan.pressure_at(flow) - 8000.0 * flow - solution.k[0] * flow**2

    signs = [math.copysign(1, spare(place / 10000)) for place in range(1, 3000)]
    meetings = [place / 10000 for place in range(1, 2999) if signs[place - 1] != signs[place]]
    assert len(meetings) == 3
    assert solution.flow_m3s == pytest.approx(meetings[-1], abs=2e-4)
    assert spare(solution.flow_m3s) == pytest.approx(0.0, abs=1e-6)
