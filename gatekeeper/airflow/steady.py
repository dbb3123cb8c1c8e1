"""The slow and sure solve, for the rare set of gates on which the quick one does not settle.

Theory of operation. The flows of a tree are the lowest point of a convex function (the work of all losses less that of
the fan: every loss rises with flow, the fan falls). A Newton step points downhill; it is shortened until the function's
slope along it is small. So every step goes down, and the lowest point is reached from anywhere. Sealed ducts are out.
"""

import math
from collections.abc import Sequence

from gatekeeper.airflow.network import Network
from gatekeeper.airflow.passes import DuctLaw, FanPieces

MOST_STEPS = 200
SETTLED = 1e-11
_LEAST_FLOW = 1e-13


def steady_flows(
    network: Network,
    laws: Sequence[DuctLaw],
    k: Sequence[float],
    fan: FanPieces,
    dead: frozenset[int] = frozenset(),
) -> tuple[list[float], int]:
    """The flow in every duct [m3/s], and the steps that it took. ``dead``: ducts through which nothing can pass."""
    live = [place for place in network.order if place not in dead]
    flows = [0.0] * len(laws)
    for place in live:
        flows[place] = 1e-3 if not network.feeding[place] else sum(flows[other] for other in network.feeding[place])
    for step in range(1, MOST_STEPS + 1):
        wanted = _newton_step(network, laws, k, fan, flows, live)
        change = [new - old for new, old in zip(wanted, flows, strict=True)]
        share = _share_of_step(network, laws, k, fan, flows, change, live)
        flows = [old + share * by for old, by in zip(flows, change, strict=True)]
        if all(abs(change[place]) <= SETTLED * abs(flows[place]) + _LEAST_FLOW * SETTLED for place in live):
            return flows, step
    return flows, MOST_STEPS


def _loss_and_slope(law: DuctLaw, flow: float, k: float) -> tuple[float, float]:
    """The law continued to backward flow, as it may come up between two steps."""
    loss, slope = law.loss_and_slope(abs(flow), k)
    return math.copysign(loss, flow), max(slope, 2.0 * k * _LEAST_FLOW)


def _newton_step(
    network: Network,
    laws: Sequence[DuctLaw],
    k: Sequence[float],
    fan: FanPieces,
    flows: Sequence[float],
    live: Sequence[int],
) -> list[float]:
    a, s = [0.0] * len(flows), [math.inf] * len(flows)
    node: dict[int, tuple[float, float]] = {}
    for place in live:
        loss, slope = _loss_and_slope(laws[place], flows[place], k[place])
        a[place], s[place] = loss - slope * flows[place], slope
        if network.feeding[place]:
            node[place] = _gathered(network.feeding[place], a, s)
            a[place] += node[place][0]
            s[place] += node[place][1]
    at_root = _gathered(network.root_ducts, a, s)
    wanted = [0.0] * len(flows)

    def share_out(ducts: Sequence[int], total: float, a_node: float, s_node: float) -> None:
        suction = a_node + s_node * total
        for place in ducts:
            wanted[place] = (suction - a[place]) / s[place]

    share_out(network.root_ducts, fan.meeting(*at_root), *at_root)
    for place in reversed(live):
        if place in node:
            share_out(network.feeding[place], wanted[place], *node[place])
    return wanted


def _gathered(ducts: Sequence[int], a: Sequence[float], s: Sequence[float]) -> tuple[float, float]:
    conductance = sum(1.0 / s[place] for place in ducts)
    return sum(a[place] / s[place] for place in ducts) / conductance, 1.0 / conductance


def _share_of_step(
    network: Network,
    laws: Sequence[DuctLaw],
    k: Sequence[float],
    fan: FanPieces,
    flows: Sequence[float],
    change: Sequence[float],
    live: Sequence[int],
) -> float:
    """How much of a step to take: all of it, or up to where the function has stopped falling."""
    total = sum(flows[place] for place in network.root_ducts)
    growth = sum(change[place] for place in network.root_ducts)

    def slope_at(share: float) -> float:
        lost = sum(
            _loss_and_slope(laws[place], flows[place] + share * change[place], k[place])[0] * change[place]
            for place in live
        )
        return lost - fan.height_at(total + share * growth) * growth

    at_start = slope_at(0.0)
    low, high = 0.0, 1.0
    if slope_at(1.0) <= 0.5 * abs(at_start):
        return 1.0
    for _ in range(60):
        middle = (low + high) / 2.0
        here = slope_at(middle)
        if abs(here) <= 0.25 * abs(at_start):
            return middle
        low, high = (middle, high) if here < 0.0 else (low, middle)
    return low if low > 0.0 else high
