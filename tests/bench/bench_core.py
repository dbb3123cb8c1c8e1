"""How long one step of the core takes, how that grows with the tools, and what a whole day costs (P2, P4, P6).

    python tests/bench/bench_core.py [--events 4000] [--cuts 200] [--rounds 3]

Three tables for a shop of N tools, one gate each, a collector for every twelve, six actuators moving at once. The
record is thrown away as a service would hand it on.

- Busy: events drawn by a seed (starts, stops, requests, settings), two a second, and every deadline on the way. About
  half of the tools run. Growth is the exponent of a straight line through the costs in a log-log drawing: P6 asks for
  1 at most.
- Renewal: a motor runs for an hour and nothing else happens, so that every step renews a lease.
- Day: eight hours with so many cuts of about a minute at one or two tools at a time, leases of 5 s renewed at half.

Seconds are those of the processor, so that what else runs on the machine does not count.
"""

import argparse
import heapq
import math
import random
import statistics
import time

from gatekeeper.control.messages import Event, InputSeen, Requested, SettingChanged, Ticked, ToolSeen, Woke
from gatekeeper.control.plan import GatePlan, InputKind, InputPlan, MotorPlan, Plan, ToolPlan
from gatekeeper.control.supervisor import Supervisor

SIZES = (6, 12, 24, 48, 96)


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


class Clocked:
    """A core that was read, each step timed in seconds."""

    def __init__(self, tools: int) -> None:
        self.core = Supervisor(shop(tools), strict=True)
        self.now_s = 100.0
        self.took: list[float] = []
        self.on_s = 0.0
        self.step(Woke())
        self.step(InputSeen("red", "made"))
        for number in range(tools):
            self.step(ToolSeen(f"tool {number}", "stopped", fresh=False))
        self.go_on(self.now_s + 60.0)
        self.took.clear()

    def step(self, event: Event) -> None:
        began = time.process_time()
        self.core.handle(event, self.now_s)
        self.core.next_deadline()
        self.took.append(time.process_time() - began)
        self.core.recorder.take()

    def go_on(self, end_s: float) -> None:
        """Serve every deadline up to an instant."""
        while (due_s := self.core.next_deadline()) is not None and due_s <= end_s:
            self._pass(max(self.now_s, due_s))
            self.step(Ticked())
        self._pass(end_s)

    def _pass(self, to_s: float) -> None:
        self.on_s += (to_s - self.now_s) * any(motor.on for motor in self.core.world.motors.values())
        self.now_s = to_s


def draw_event(draw: random.Random, tools: int) -> Event:
    """One event as a busy shop brings it."""
    tool = f"tool {draw.randrange(tools)}"
    kind = draw.random()
    if kind < 0.45:
        return ToolSeen(tool, "running")
    if kind < 0.9:
        return ToolSeen(tool, "stopped")
    if kind < 0.95:
        return SettingChanged(tool, "spin_down_s", float(draw.randrange(60)))
    return Requested("air_here", tool, "button", 30.0)


def busy(tools: int, events: int) -> tuple[float, float, float, float]:
    """Median and 99th percentile of one step, mean cost of an event with its deadlines, all us; events a second."""
    draw, shop = random.Random(7), Clocked(tools)
    for _ in range(events):
        shop.go_on(shop.now_s + draw.random())
        shop.step(draw_event(draw, tools))
    cuts, whole_s = statistics.quantiles(shop.took, n=100), sum(shop.took)
    return cuts[49] * 1e6, cuts[98] * 1e6, whole_s / events * 1e6, events / whole_s


def renewals(tools: int) -> tuple[int, float]:
    """How many steps an hour of one running tool takes, and the mean of one in us."""
    shop = Clocked(tools)
    shop.step(ToolSeen("tool 0", "running"))
    shop.go_on(shop.now_s + 60.0)
    shop.took.clear()
    shop.go_on(shop.now_s + 3600.0)
    return len(shop.took), statistics.fmean(shop.took) * 1e6


def day(tools: int, cuts: int) -> tuple[int, float, float]:
    """Steps of an eight-hour day, hours with a motor on, and what the core needs for it in seconds."""
    draw, shop = random.Random(11), Clocked(tools)
    begin_s, ends = shop.now_s, {f"tool {number}": 0.0 for number in range(tools)}
    happens: list[tuple[float, str, str]] = []
    for start_s in sorted(draw.uniform(begin_s, begin_s + 8 * 3600.0 - 200.0) for _ in range(cuts)):
        free = [tool for tool, end_s in ends.items() if end_s < start_s]
        tool = draw.choice(free)
        ends[tool] = start_s + draw.expovariate(1 / 60.0) + 1.0
        heapq.heappush(happens, (start_s, tool, "running"))
        heapq.heappush(happens, (ends[tool], tool, "stopped"))
    shop.on_s = 0.0
    while happens:
        at_s, tool, word = heapq.heappop(happens)
        shop.go_on(at_s)
        shop.step(ToolSeen(tool, word))  # type: ignore[arg-type]
    shop.go_on(max(shop.now_s, begin_s + 8 * 3600.0))
    return len(shop.took), shop.on_s / 3600.0, sum(shop.took)


def growth(costs: dict[int, float]) -> float:
    """The exponent with which a cost grows with the tools: slope of the least-squares line in a log-log drawing."""
    return statistics.linear_regression(
        [math.log(tools) for tools in costs], [math.log(cost) for cost in costs.values()]
    ).slope


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--events", type=int, default=4000)
    parser.add_argument("--cuts", type=int, default=200)
    parser.add_argument("--rounds", type=int, default=3, help="each figure is the best of so many")
    options = parser.parse_args()
    rounds = range(options.rounds)
    print(f"{'busy: tools':>14} {'median us':>10} {'99th us':>10} {'us/event':>10} {'events/s':>10}")
    medians, costs = {}, {}
    for tools in SIZES:
        median, high, cost, rate = min((busy(tools, options.events) for _ in rounds), key=lambda row: row[2])
        medians[tools], costs[tools] = median, cost
        print(f"{tools:>14} {median:>10.1f} {high:>10.1f} {cost:>10.1f} {rate:>10.0f}")
    print(f"growth: tools^{growth(medians):.2f} a step, tools^{growth(costs):.2f} an event with its deadlines")
    print(f"{'renewal: tools':>14} {'steps/h':>10} {'mean us':>10}")
    for tools in (12, 96):
        number, mean = min((renewals(tools) for _ in rounds), key=lambda row: row[1])
        print(f"{tools:>14} {number:>10} {mean:>10.1f}")
    print(f"{'day: tools':>14} {'steps':>10} {'motor h':>10} {'seconds':>10}")
    number, hours, seconds = min((day(12, options.cuts) for _ in rounds), key=lambda row: row[2])
    print(f"{12:>14} {number:>10} {hours:>10.1f} {seconds:>10.3f}")


if __name__ == "__main__":
    main()
