"""The slow and sure solve, for the rare set of gates on which the quick one does not settle.

Theory of operation. The flows of a tree are the lowest point of a convex function (the work of all losses less that of
the fan: every loss rises with flow, the fan falls). A Newton step points downhill; it is shortened until the function's
slope along it is small. So every step goes down, and the lowest point is reached from anywhere. Sealed ducts are out.
"""

import math
from collections.abc import Sequence

from gatekeeper.airflow.network import Network
from gatekeeper.airflow.passes import STILL_M3S, DuctLaw, FanPieces

MOST_STEPS = 200
SETTLED = 1e-11
_LEAST_FLOW = 1e-13
_ROUNDING = 1e-12


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
    step = 0
    while step < MOST_STEPS:
        step += 1
        wanted = _newton_step(network, laws, k, fan, flows, live)
        change = [new - old for new, old in zip(wanted, flows, strict=True)]
        share = _share_of_step(network, laws, k, fan, flows, change, live)
        flows = [old + share * by for old, by in zip(flows, change, strict=True)]
        if all(abs(change[place]) <= SETTLED * abs(flows[place]) + STILL_M3S for place in live):
            break
    # Rounding may leave a nearly still duct a hair below zero.
    for place in live:
        feeding = network.feeding[place]
        flows[place] = sum(flows[other] for other in feeding) if feeding else max(flows[place], 0.0)
    return flows, step


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
    """The flows of the network of tangents, suction = a + s Q, as the quick solve has them; g = 1/s, h = a/s."""
    g, h = [0.0] * len(flows), [0.0] * len(flows)
    node: dict[int, tuple[float, float]] = {}
    for place in live:
        loss, slope = _loss_and_slope(laws[place], flows[place], k[place])
        a, s = loss - slope * flows[place], slope
        feeding = network.feeding[place]
        if feeding:
            s_node, j_node = node[place] = 1.0 / sum(g[other] for other in feeding), sum(h[other] for other in feeding)
            a, s = a + j_node * s_node, s + s_node
        g[place], h[place] = 1.0 / s, a / s
    s_root, j_root = 1.0 / sum(g[place] for place in network.root_ducts), sum(h[place] for place in network.root_ducts)
    wanted = [0.0] * len(flows)
    suction = (fan.meeting(j_root * s_root, s_root) + j_root) * s_root
    for place in network.root_ducts:
        wanted[place] = suction * g[place] - h[place]
    for place in reversed(live):
        if place in node:
            s_node, j_node = node[place]
            suction = (wanted[place] + j_node) * s_node
            for other in network.feeding[place]:
                wanted[other] = suction * g[other] - h[other]
    return wanted


def _share_of_step(
    network: Network,
    laws: Sequence[DuctLaw],
    k: Sequence[float],
    fan: FanPieces,
    flows: Sequence[float],
    change: Sequence[float],
    live: Sequence[int],
) -> float:
    """How much of a step to take: all of it, or up to where the function has nearly stopped falling."""
    total = sum(flows[place] for place in network.root_ducts)
    growth = sum(change[place] for place in network.root_ducts)

    def slope_at(share: float) -> float:
        parts = [
            _loss_and_slope(laws[place], flows[place] + share * change[place], k[place])[0] * change[place]
            for place in live
        ]
        parts.append(-fan.height_at(total + share * growth) * growth)
        return math.fsum(parts)

    # Near the end a slope is the difference of much larger numbers; below the rounding of the flows it says nothing.
    work = fan.height_at(total + growth) * (total + growth)
    at_start, at_end = abs(slope_at(0.0)), slope_at(1.0)
    if at_end <= 0.5 * at_start + _ROUNDING * abs(work):
        return 1.0
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = (low + high) / 2.0
        here = slope_at(middle)
        if abs(here) <= 0.25 * at_start:
            return middle
        low, high = (middle, high) if here < 0.0 else (low, middle)
    return high
