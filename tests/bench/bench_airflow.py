"""Figures of the air network: milliseconds a solve, beside EPANET and pandapipes in one run, and growth with tools.

    python tests/bench/bench_airflow.py

EPANET needs ``wntr`` and ``six``, pandapipes itself and ``numba``: general engines, no requirement of the program; what
is not installed is left out. A solve is cold: the network is prepared, the set of gates is new, nothing of the last is
kept. Ours is the whole call, from the names of the open gates to all flows. EPANET's is given twice: the solve alone,
and with the gates set and the flows read, which is the same job as ours. Every number is the best of several rounds,
taken in turns.
"""

import json
import math
import random
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "airflow"))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import air_engines
import check_files

from gatekeeper.airflow.air import STANDARD_AIR
from gatekeeper.airflow.fan import FanCurve
from gatekeeper.airflow.gate_sets import small_sets, solve_sets
from gatekeeper.airflow.network import Collector, Duct, Gate, Hood, Network
from gatekeeper.airflow.solve import Prepared, prepare
from gatekeeper.service.ducting import network_of
from gatekeeper.shop.examples import example
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

ROUNDS = 15
SETS = 40
ROWS = (6, 12, 24, 48, 96)


def row_of_tools(tools: int) -> Network:
    """A main with a drop to each tool, wider towards the collector; the numbers come from one source of chance."""
    rng = random.Random(tools)
    ducts, hoods, gates = [], [], []
    for place in range(tools):
        onward = f"joint {place + 1}" if place + 1 < tools else "inlet"
        diameter_m = 0.125 + 0.2 * ((place + 1) / tools) ** 0.5
        ducts.append(Duct(f"main {place}", f"joint {place}", onward, rng.uniform(1.5, 4.0), diameter_m, 0.00015, 0.2))
        name = f"drop {place}"
        ducts.append(
            Duct(name, f"hood {place}", f"joint {place}", rng.uniform(2.0, 6.0), 0.1, rng.choice((9e-5, 9e-4)), 0.7)
        )
        hoods.append(Hood(f"hood {place}", f"hood {place}", rng.choice((0.5, 0.93))))
        gates.append(Gate(f"gate {place}", name, 0.1, 4e-5))
    flows = [place * 0.06 for place in range(13)]
    fan = FanCurve(tuple(flows), tuple(2600.0 * (1.0 - (flow / flows[-1]) ** 2) for flow in flows))
    collector = Collector("inlet", 300.0, 500.0)
    return Network(STANDARD_AIR, tuple(ducts), tuple(hoods), tuple(gates), collector, fan)


def best_ms(work: Callable[[], object], count: int, rounds: int = ROUNDS) -> float:
    """The best time of one of ``count`` pieces of work."""
    best = float("inf")
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best / count * 1000.0


def figures_of(name: str, prepared: Prepared, sets: list[tuple[str, ...]]) -> dict[str, object]:
    """All figures of one network."""
    found: dict[str, object] = {"network": name, "tools": len(prepared.network.hoods), "ducts": len(prepared.laws)}
    many = (sets * (1 + 1000 // len(sets)))[:1000]

    def ours() -> None:
        for chosen in sets:
            prepared.solve(chosen)

    epanet_ms: float | None = None
    with tempfile.TemporaryDirectory() as folder:
        try:
            epanet = air_engines.Epanet(prepared, Path(folder))
        except ImportError:
            epanet = None
        best = {
            "ours": float("inf"),
            "batch": float("inf"),
            "epanet": float("inf"),
            "epanet with gates and flows": float("inf"),
        }
        settings = [epanet.settings(chosen) for chosen in sets] if epanet else []
        worst = 0.0
        for _ in range(ROUNDS):
            best["ours"] = min(best["ours"], best_ms(ours, len(sets), 1))
            best["batch"] = min(best["batch"], best_ms(lambda: solve_sets(prepared, many), len(many), 1))
            if epanet is None:
                continue
            spent = whole = 0.0
            for chosen, losses in zip(sets, settings, strict=True):
                before = time.perf_counter()
                epanet.set_losses(losses)
                start = time.perf_counter()
                epanet.run()
                end = time.perf_counter()
                flows = epanet.flows()
                whole += time.perf_counter() - before
                spent += end - start
                total = max(flows)
                mine = prepared.solve(chosen).flows_m3s
                worst = max(worst, *(abs(a - b) / total for a, b in zip(flows, mine, strict=True)))
            best["epanet"] = min(best["epanet"], spent / len(sets) * 1000.0)
            key = "epanet with gates and flows"
            best[key] = min(best[key], whole / len(sets) * 1000.0)
        found["ours_ms"] = round(best["ours"], 5)
        found["batch_ms_per_set"] = round(best["batch"], 5)
        if epanet is not None:
            epanet_ms = best["epanet"]
            epanet.close()
            found["epanet_ms"] = round(epanet_ms, 5)
            found["epanet_with_gates_and_flows_ms"] = round(best["epanet with gates and flows"], 5)
            found["epanet_over_ours"] = round(epanet_ms / best["ours"], 2)
            found["epanet_over_batch"] = round(epanet_ms / best["batch"], 1)
            found["largest_difference_to_epanet_share_of_total"] = float(f"{worst:.2g}")
    found.update(_beside_pandapipes(prepared, sets[:4], best["batch"]))
    return found


def _beside_pandapipes(prepared: Prepared, sets: list[tuple[str, ...]], batch_ms: float) -> dict[str, object]:
    try:
        pandapipes = air_engines.Pandapipes(prepared)
    except ImportError:
        return {}
    worst, best, failed = 0.0, float("inf"), 0
    for _ in range(2):
        for chosen in sets:
            pandapipes.set_losses(air_engines.coefficients(prepared, chosen))
            start = time.perf_counter()
            try:
                pandapipes.run()
            except Exception as error:  # its own failure to converge, of whatever kind, is a figure too
                failed += 1
                print(f"pandapipes: {type(error).__name__}: {error}", file=sys.stderr)
                continue
            best = min(best, time.perf_counter() - start)
            flows, mine = pandapipes.flows(), prepared.solve(chosen).flows_m3s
            worst = max(worst, *(abs(a - b) / max(flows) for a, b in zip(flows, mine, strict=True)))
    return {
        "pandapipes_ms": round(best * 1000.0, 2),
        "pandapipes_over_batch": round(best * 1000.0 / batch_ms),
        "largest_difference_to_pandapipes_share_of_total": float(f"{worst:.2g}"),
        "pandapipes_failed": failed,
    }


def main() -> None:
    rng = random.Random(5)
    networks = {name: check_files.read(name)[0] for name in check_files.NAMES[1:] if check_files.FOLDER.is_dir()}
    networks |= {f"row of {tools}": row_of_tools(tools) for tools in ROWS}
    ours_ms: dict[str, float] = {}
    for name, network in networks.items():
        start = time.perf_counter()
        prepared = prepare(network)
        prepare_ms = (time.perf_counter() - start) * 1000.0
        sets = list(small_sets([gate.name for gate in network.gates], 2))
        sets = sorted(rng.sample(sets, min(SETS, len(sets))))
        found = figures_of(name, prepared, sets) | {"prepare_ms": round(prepare_ms, 1)}
        print(json.dumps(found), flush=True)
        ours_ms[name] = float(str(found["ours_ms"]))
    few, many = ROWS[0], ROWS[-1]
    exponent = math.log(ours_ms[f"row of {many}"] / ours_ms[f"row of {few}"]) / math.log(many / few)
    print(json.dumps({"growth of a solve with the tools": f"{few} to {many}", "exponent": round(exponent, 2)}))
    prepared = prepare(row_of_tools(24))
    for most in (2, 3):
        sets = small_sets([gate.name for gate in prepared.network.gates], most)
        spent = best_ms(lambda sets=sets: solve_sets(prepared, sets), 1, 3)
        print(json.dumps({"sets of 24 gates, at most": most, "sets": len(sets), "all_ms": round(spent, 1)}))
    school = load_shop(example("school-room").read_text(encoding="utf-8"), "school-room.yaml")
    assert isinstance(school, Shop)
    for motor in (motor.name for motor in school.motors.values() if motor.has_ducts):
        prepared = prepare(network_of(school, motor))
        sets = small_sets([gate.name for gate in school.gates_of(motor)], 2)
        spent = best_ms(lambda prepared=prepared, sets=sets: solve_sets(prepared, sets), 1, 5)
        print(json.dumps({"all singles and pairs of": motor, "sets": len(sets), "all_ms": round(spent, 2)}))


if __name__ == "__main__":
    main()
