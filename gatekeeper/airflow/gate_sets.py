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

BATCH_CLOSE_ENOUGH = 1e-4
"""The largest change of a flow in the last pass, as a share; what is left then is of the order of its square."""

_PIECE_SETS = 512


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
    k = np.repeat(np.array(prepared.shut_k)[:, None], len(wanted), axis=1)
    places, open_k = prepared.open_loss_coefficients(name for chosen in wanted for name in chosen)
    k[places, np.repeat(np.arange(len(wanted)), [len(chosen) for chosen in wanted])] = open_k
    flows = np.zeros_like(k)
    unsettled: list[int] = []
    batch: _Batch | None = None
    for start in range(0, len(wanted), _PIECE_SETS):
        piece = slice(start, min(start + _PIECE_SETS, len(wanted)))
        if batch is None or batch.width != piece.stop - start:
            batch = _Batch(prepared, piece.stop - start)
        flows[:, piece], settled = batch.flows(np.ascontiguousarray(k[:, piece]))
        unsettled += [start + int(place) for place in np.flatnonzero(~settled)]
    for place in unsettled:
        flows[:, place] = prepared.solve(wanted[place]).flows_m3s
    return GateSets(prepared, wanted, flows, len(unsettled))


class _Batch:
    """One network's numbers as columns, and room to reckon with ``width`` sets, for the length of one call.

    The room is kept from pass to pass: new arrays of this size would be fetched from the system each time, which takes
    longer than the arithmetic. A row of a matrix is one duct, a column one set.
    """

    def __init__(self, prepared: Prepared, width: int) -> None:
        import numpy as np

        self.np: Any = np
        self.prepared, self.network, self.width = prepared, prepared.network, width
        laws = prepared.laws

        def column(name: str) -> Any:
            return np.array([getattr(law, name) for law in laws])[:, None]

        self.r, self.rough, self.smooth = column("r"), column("rough"), column("smooth")
        self.q_laminar, self.q_turbulent = column("q_laminar"), column("q_turbulent")
        self.line, self.blend, self.blend_per_q = column("line"), column("blend"), column("blend_per_q")
        self.usual_x = column("usual_x")
        self.smooth_by, self.minus_line = TWO_OVER_LN10 * self.smooth, -self.line
        self.usual_r = self.r / self.usual_x**2
        self.sealed_k = np.array(prepared.sealed_k)[:, None]
        fan = prepared.fan
        self.starts, self.heights = np.array(fan.starts)[1:-1], np.array(fan.heights)[1:-1]
        self.lines, self.tops, self.square = np.array(fan.lines), np.array(fan.tops), fan.square
        shape = (len(laws), width)
        self.q, self.new, self.x, self.b0, self.b1, self.b2, self.b3 = (np.empty(shape) for _ in range(7))
        self.laminar, self.not_turbulent, self.mask = (np.empty(shape, dtype=bool) for _ in range(3))

    def flows(self, k: Any) -> tuple[Any, Any]:
        """Flows [duct, set] of ``width`` sets, valid until the next call, and which sets have settled."""
        np = self.np
        with np.errstate(all="ignore"):
            self._first_pass(k)
            self.x[:] = self.usual_x
            settled = np.zeros(self.width, dtype=bool)
            for _ in range(MOST_PASSES):
                self._newton_pass(k)
                settled = self._has_settled()
                self.q, self.new = self.new, self.q
                if settled.all():
                    break
            settled &= (self.q > 0.0).all(axis=0) & (k < self.sealed_k).all(axis=0)
            if self.network.fan.rises:
                settled &= self._is_on_curve()
        return self.q, settled

    def _has_settled(self) -> Any:
        """Which sets have changed little, with every duct under the same friction law as before the pass."""
        np, change = self.np, self.b0
        np.divide(self.new, self.q, out=change)
        change -= 1.0
        np.abs(change, out=change)
        np.copyto(change, 0.0, where=np.less(self.new, STILL_M3S, out=self.mask))
        settled = change.max(axis=0) < BATCH_CLOSE_ENOUGH
        for limit, before in ((self.q_laminar, self.laminar), (self.q_turbulent, self.not_turbulent)):
            np.less_equal(self.new, limit, out=self.mask)
            np.not_equal(self.mask, before, out=self.mask)
            settled &= ~self.mask.any(axis=0)
        return settled

    def _first_pass(self, k: Any) -> None:
        np, network, c = self.np, self.network, self.b0
        np.add(k, self.usual_r, out=c)
        np.divide(1.0, c, out=c)
        np.sqrt(c, out=c)
        at: dict[int, Any] = {}
        for place in network.order:
            if network.feeding[place]:
                at[place] = whole = self._sum(c, network.feeding[place])
                c[place] *= whole / np.sqrt(c[place] ** 2 + whole**2)
        root = self._sum(c, network.root_ducts)
        share = self._meeting(0.0, 0.0, self.square + 1.0 / root**2) / root
        for place in network.root_ducts:
            np.multiply(share, c[place], out=self.q[place])
        for place in reversed(network.order):
            if place in at:
                share = self.q[place] / at[place]
                for other in network.feeding[place]:
                    np.multiply(share, c[other], out=self.q[other])

    def _newton_pass(self, k: Any) -> None:
        network, np = self.network, self.np
        a, s = self._tangents(k)
        g, h = np.divide(1.0, s, out=self.b0), self.b1
        np.multiply(a, g, out=h)
        node: dict[int, tuple[Any, Any]] = {}
        for place in network.order:
            feeding = network.feeding[place]
            if not feeding:
                continue
            s_node, j_node = 1.0 / self._sum(g, feeding), self._sum(h, feeding)
            node[place] = s_node, j_node
            np.divide(1.0, s[place] + s_node, out=g[place])
            np.multiply(a[place] + j_node * s_node, g[place], out=h[place])
        s_root, j_root = 1.0 / self._sum(g, network.root_ducts), self._sum(h, network.root_ducts)
        total = self._meeting(j_root * s_root, s_root, self.square)
        self._share(g, h, network.root_ducts, (total + j_root) * s_root)
        for place in reversed(network.order):
            if place in node:
                s_node, j_node = node[place]
                self._share(g, h, network.feeding[place], (self.new[place] + j_node) * s_node)

    def _tangents(self, k: Any) -> tuple[Any, Any]:
        """loss = a + s Q of every duct; ``x`` is brought one Newton step nearer to Colebrook.

        All three laws are worked out and one is taken: cheaper than to pick the ducts of each.
        """
        np, q, x, b0, b1, b2, b3 = self.np, self.q, self.x, self.b0, self.b1, self.b2, self.b3
        np.maximum(q, self.q_turbulent, out=b0)
        w = np.divide(x, b0, out=b1)
        w *= self.smooth
        w += self.rough
        u = np.multiply(b0, w, out=b2)
        np.divide(self.smooth_by, u, out=u)
        x *= u
        np.log(w, out=b1)
        b1 *= TWO_OVER_LN10
        x -= b1
        u += 1.0
        x /= u
        friction_q = np.multiply(x, x, out=b0)
        np.divide(self.r, friction_q, out=friction_q)
        friction_q *= q
        bend = np.divide(2.0, u, out=b2)
        bend -= 2.0
        bend *= friction_q
        low_bend = np.multiply(self.blend_per_q, q, out=b1)
        low_friction_q = np.add(self.blend, low_bend, out=b3)
        low_friction_q *= q
        low_bend *= q
        np.less_equal(q, self.q_laminar, out=self.laminar)
        np.less_equal(q, self.q_turbulent, out=self.not_turbulent)
        np.copyto(low_friction_q, self.line, where=self.laminar)
        np.copyto(low_bend, self.minus_line, where=self.laminar)
        np.copyto(friction_q, low_friction_q, where=self.not_turbulent)
        np.copyto(bend, low_bend, where=self.not_turbulent)
        c = np.multiply(k, q, out=b3)
        c += friction_q
        s = bend
        s += np.add(c, c, out=b1)
        a = c
        a -= s
        a *= q
        return a, s

    def _meeting(self, a: Any, s: Any, square: Any) -> Any:
        """The flow where fan and collector are met, for every set; the heights have the collector's own square in."""
        np = self.np
        piece = np.zeros(self.width, dtype=np.intp)
        for start, height in zip(self.starts.tolist(), self.heights.tolist(), strict=True):
            piece += height + (self.square - square) * start**2 - s * start > a
        c, b = self.tops[piece] - a, s + self.lines[piece]
        return 2.0 * c / (b + np.sqrt(b * b + 4.0 * square * c))

    def _is_on_curve(self) -> Any:
        """Whether the mantle is the fan curve itself at each set's flow."""
        np, fan = self.np, self.network.fan
        flow = self._sum(self.q, self.network.root_ducts)
        over = np.array(fan.mantle())
        mine = np.array(fan.points())
        lies = np.interp(flow, over[:, 0], over[:, 1]) - np.interp(flow, mine[:, 0], mine[:, 1])
        return np.abs(lies) <= 1e-9 * max(fan.pressures_pa)

    def _sum(self, matrix: Any, ducts: Sequence[int]) -> Any:
        total = matrix[ducts[0]]
        for place in ducts[1:]:
            total = total + matrix[place]
        return total

    def _share(self, g: Any, h: Any, ducts: Sequence[int], suction: Any) -> None:
        for place in ducts:
            row = self.np.multiply(suction, g[place], out=self.new[place])
            row -= h[place]
