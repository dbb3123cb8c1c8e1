"""Many sets of open gates at once, by arrays; and all singles, pairs and triples of gates.

The same passes as the quick solve, over a matrix [duct, set] in pieces that stay in the processor's cache. What does
not settle, what has sealed gates shut and what lies over a dip of the fan curve is solved singly (``solve``).
"""

import itertools
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from gatekeeper.airflow.friction import TWO_OVER_LN10
from gatekeeper.airflow.passes import MOST_PASSES, STILL_M3S
from gatekeeper.airflow.solve import Prepared, Solution

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    _Matrix = npt.NDArray[np.float64]

BATCH_CLOSE_ENOUGH = 1e-6
_PIECE_CELLS = 6000


@dataclass(frozen=True, slots=True)
class GateSets:
    """The flows of many sets: ``flows_m3s`` is an array [duct, set] in the network's order of ducts.

    ``singly``: how many sets were not settled by arrays and were solved one by one.
    """

    prepared: Prepared
    sets: tuple[tuple[str, ...], ...]
    flows_m3s: "_Matrix"
    singly: int

    def solution(self, place: int) -> Solution:
        """The whole state of one set."""
        flows = [float(flow) for flow in self.flows_m3s[:, place]]
        return Solution(self.prepared, self.prepared.loss_coefficients(self.sets[place]), flows)

    @property
    def fan_flows_m3s(self) -> "_Matrix":
        """What passes the fan in each set."""
        total: _Matrix = self.flows_m3s[list(self.prepared.network.root_ducts)].sum(axis=0)
        return total


def small_sets(gates: Sequence[str], most: int = 3) -> tuple[tuple[str, ...], ...]:
    """All sets of 1 to ``most`` gates, smallest first, in the order of ``gates``."""
    return tuple(chosen for size in range(1, most + 1) for chosen in itertools.combinations(gates, size))


def solve_sets(prepared: Prepared, sets: Iterable[Collection[str]]) -> GateSets:
    """The flows of every set of open gates (all other gates shut). Raises ValueError for a gate that is not there."""
    import numpy as np

    wanted = tuple(tuple(chosen) for chosen in sets)
    ducts = len(prepared.laws)
    k = np.repeat(np.array(prepared.shut_k)[:, None], len(wanted), axis=1)
    places, open_k = prepared.open_loss_coefficients(name for chosen in wanted for name in chosen)
    k[places, np.repeat(np.arange(len(wanted)), [len(chosen) for chosen in wanted])] = open_k
    flows = np.zeros_like(k)
    unsettled: list[int] = []
    width = max(64, _PIECE_CELLS // ducts)
    batch = _Batch(prepared)
    for start in range(0, len(wanted), width):
        piece = slice(start, min(start + width, len(wanted)))
        flows[:, piece], settled = batch.flows(np.ascontiguousarray(k[:, piece]))
        unsettled += [start + int(place) for place in np.flatnonzero(~settled)]
    for place in unsettled:
        flows[:, place] = prepared.solve(wanted[place]).flows_m3s
    return GateSets(prepared, wanted, flows, len(unsettled))


class _Batch:
    """One network's numbers as columns, for the length of one call."""

    def __init__(self, prepared: Prepared) -> None:
        import numpy as np

        self.np: Any = np
        self.prepared, self.network = prepared, prepared.network
        laws = prepared.laws

        def column(name: str) -> "_Matrix":
            values: _Matrix = np.array([getattr(law, name) for law in laws])[:, None]
            return values

        self.r, self.rough, self.smooth = column("r"), column("rough"), column("smooth")
        self.q_laminar, self.q_turbulent = column("q_laminar"), column("q_turbulent")
        self.line, self.blend, self.blend_per_q = column("line"), column("blend"), column("blend_per_q")
        self.x = column("usual_x")
        self.sealed_k = np.array(prepared.sealed_k)[:, None]
        self.leaves = [place for place in self.network.order if not self.network.feeding[place]]
        fan = prepared.fan
        self.starts, self.heights = np.array(fan.starts)[1:-1], np.array(fan.heights)[1:-1]
        self.lines, self.tops, self.square = np.array(fan.lines), np.array(fan.tops), fan.square

    def flows(self, k: "_Matrix") -> "tuple[_Matrix, npt.NDArray[np.bool_]]":
        """Flows [duct, set] and which sets have settled."""
        np = self.np
        with np.errstate(all="ignore"):
            q = self._first_pass(k)
            x = np.broadcast_to(self.x, k.shape).copy()
            settled: Any = np.zeros(k.shape[1], dtype=bool)
            for _ in range(MOST_PASSES):
                new = self._newton_pass(k, q, x)
                leaf = new[self.leaves]
                change = np.where(leaf < STILL_M3S, 0.0, np.abs(leaf / q[self.leaves] - 1.0)).max(axis=0)
                same = ((new > self.q_turbulent) == (q > self.q_turbulent)).all(axis=0)
                same &= ((new > self.q_laminar) == (q > self.q_laminar)).all(axis=0)
                q = new
                settled = (change < BATCH_CLOSE_ENOUGH) & same
                if settled.all():
                    break
            settled &= (q > 0.0).all(axis=0) & (k < self.sealed_k).all(axis=0)
            if self.network.fan.rises:
                settled &= self._is_on_curve(q)
        return q, settled

    def _first_pass(self, k: "_Matrix") -> "_Matrix":
        np, network = self.np, self.network
        c = 1.0 / np.sqrt(k + self.r / self.x**2)
        at: dict[int, Any] = {}
        for place in network.order:
            if network.feeding[place]:
                at[place] = self._sum(c, network.feeding[place])
                c[place] = 1.0 / np.sqrt(1.0 / c[place] ** 2 + 1.0 / at[place] ** 2)
        root = self._sum(c, network.root_ducts)
        q: _Matrix = np.empty_like(k)
        self._split(q, c, network.root_ducts, self._meeting(0.0, 0.0, self.square + 1.0 / root**2) / root)
        for place in reversed(network.order):
            if place in at:
                self._split(q, c, network.feeding[place], q[place] / at[place])
        return q

    def _newton_pass(self, k: "_Matrix", q: "_Matrix", x: "_Matrix") -> "_Matrix":
        network, np = self.network, self.np
        a, s = self._tangents(k, q, x)
        g, h = 1.0 / s, a / s
        node: dict[int, tuple[Any, Any]] = {}
        for place in network.order:
            feeding = network.feeding[place]
            if not feeding:
                continue
            s_node, j_node = 1.0 / self._sum(g, feeding), self._sum(h, feeding)
            node[place] = s_node, j_node
            g[place] = 1.0 / (s[place] + s_node)
            h[place] = (a[place] + j_node * s_node) * g[place]
        s_root, j_root = 1.0 / self._sum(g, network.root_ducts), self._sum(h, network.root_ducts)
        new: _Matrix = np.empty_like(q)
        total = self._meeting(j_root * s_root, s_root, self.square)
        self._share(new, g, h, network.root_ducts, (total + j_root) * s_root)
        for place in reversed(network.order):
            if place in node:
                s_node, j_node = node[place]
                self._share(new, g, h, network.feeding[place], (new[place] + j_node) * s_node)
        return new

    def _tangents(self, k: "_Matrix", q: "_Matrix", x: "_Matrix") -> "tuple[_Matrix, _Matrix]":
        """loss = a + s Q of every duct; ``x`` is brought one Newton step nearer to Colebrook in place."""
        np = self.np
        turbulent = np.maximum(q, self.q_turbulent)
        w = self.rough + self.smooth * x / turbulent
        u = TWO_OVER_LN10 * self.smooth / (turbulent * w)
        v = 1.0 + u
        x[:] = (u * x - TWO_OVER_LN10 * np.log(w)) / v
        f = self.r / (x * x)
        c = (k + f) * q
        s = 2.0 * (c - q * f * u / v)
        low = np.nonzero(q <= self.q_turbulent)
        if low[0].size:
            duct, slow, k_low = low[0], q[low], k[low]
            is_blend = slow > self.q_laminar[duct, 0]
            rise = self.blend_per_q[duct, 0] * slow
            blended = (k_low + self.blend[duct, 0] + rise) * slow
            line = self.line[duct, 0]
            c[low] = np.where(is_blend, blended, k_low * slow + line)
            s[low] = np.where(is_blend, 2.0 * blended + rise * slow, 2.0 * k_low * slow + line)
        a: _Matrix = q * (c - s)
        return a, s

    def _meeting(self, a: Any, s: Any, square: Any) -> Any:
        """The flow where fan and collector are met, for every set; the heights have the collector's own square in."""
        np = self.np
        piece = np.zeros(np.broadcast(a, s, square).shape, dtype=np.intp)
        for start, height in zip(self.starts, self.heights, strict=True):
            piece += height + (self.square - square) * start**2 - s * start > a
        c, b = self.tops[piece] - a, s + self.lines[piece]
        flow: Any = 2.0 * c / (b + np.sqrt(b * b + 4.0 * square * c))
        return flow

    def _is_on_curve(self, q: "_Matrix") -> Any:
        """Whether the mantle is the fan curve itself at each set's flow."""
        np, fan = self.np, self.network.fan
        flow = self._sum(q, self.network.root_ducts)
        over = np.array(fan.mantle())
        mine = np.array(fan.points())
        lies = np.interp(flow, over[:, 0], over[:, 1]) - np.interp(flow, mine[:, 0], mine[:, 1])
        return np.abs(lies) <= 1e-9 * max(fan.pressures_pa)

    def _sum(self, matrix: "_Matrix", ducts: Sequence[int]) -> "_Matrix":
        total: _Matrix = matrix[ducts[0]]
        for place in ducts[1:]:
            total = total + matrix[place]
        return total

    def _split(self, q: "_Matrix", c: "_Matrix", ducts: Sequence[int], share: Any) -> None:
        for place in ducts:
            q[place] = share * c[place]

    def _share(self, new: "_Matrix", g: "_Matrix", h: "_Matrix", ducts: Sequence[int], suction: Any) -> None:
        for place in ducts:
            new[place] = suction * g[place] - h[place]
