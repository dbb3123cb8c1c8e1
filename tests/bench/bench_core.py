"""How long one step of the core takes, and how many events it takes in a second (P2, P6).

    python tests/bench/bench_core.py [--events 4000]

A shop of N tools, one gate each, a collector for every twelve, six actuators moving at once. Events are drawn by a
seed: starts, stops, requests, settings, and every deadline on the way. The record is thrown away as a service would
hand it on.
"""

import argparse
import random
import statistics
import time

from gatekeeper.control.messages import Event, InputSeen, Requested, SettingChanged, Ticked, ToolSeen, Woke
from gatekeeper.control.plan import GatePlan, InputKind, InputPlan, MotorPlan, Plan, ToolPlan
from gatekeeper.control.supervisor import Supervisor


def shop(tools: int) -> Plan:
    """A shop of so many tools."""
    fans = [f"fan {number}" for number in range(max(1, tools // 12))]
    gates = {
        f"gate {number}": GatePlan(f"gate {number}", fans[number % len(fans)], 0.01, supply="air")
        for number in range(tools)
    }
    return Plan(
        {name: MotorPlan(name, path_minimum_m2=0.01, starts_per_hour=600.0) for name in fans},
        gates,
        {f"tool {n}": ToolPlan(f"tool {n}", (f"gate {n}",)) for n in range(tools)},
        supplies={"air": 6},
        inputs={"red": InputPlan("red", InputKind.EMERGENCY)},
    )


def draw_event(draw: random.Random, tools: int) -> Event:
    """One event as a busy day brings it."""
    tool = f"tool {draw.randrange(tools)}"
    kind = draw.random()
    if kind < 0.45:
        return ToolSeen(tool, "running")
    if kind < 0.9:
        return ToolSeen(tool, "stopped")
    if kind < 0.95:
        return SettingChanged(tool, "spin_down_s", float(draw.randrange(60)))
    return Requested("air_here", tool, "button", 30.0)


def measure(tools: int, events: int) -> tuple[float, float, float]:
    """Median and 99th percentile of one step in microseconds, and events a second with their deadlines."""
    draw = random.Random(7)
    core = Supervisor(shop(tools), strict=True)
    now_s, took = 100.0, []

    def step(event: Event) -> None:
        began = time.perf_counter()
        core.handle(event, now_s)
        took.append(time.perf_counter() - began)
        core.recorder.take()

    step(Woke())
    step(InputSeen("red", "made"))
    for number in range(tools):
        step(ToolSeen(f"tool {number}", "stopped", fresh=False))
    took.clear()
    whole = time.perf_counter()
    for _ in range(events):
        end_s = now_s + draw.random()
        while (due_s := core.next_deadline()) is not None and due_s <= end_s:
            now_s = max(now_s, due_s)
            step(Ticked())
        now_s = end_s
        step(draw_event(draw, tools))
    whole = time.perf_counter() - whole
    cuts = statistics.quantiles(took, n=100)
    return cuts[49] * 1e6, cuts[98] * 1e6, events / whole


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--events", type=int, default=4000)
    events = parser.parse_args().events
    print(f"{'tools':>6} {'median us':>10} {'99th us':>10} {'events/s':>10}")
    for tools in (6, 24, 96):
        median, high, rate = measure(tools, events)
        print(f"{tools:>6} {median:>10.0f} {high:>10.0f} {rate:>10.0f}")


if __name__ == "__main__":
    main()
