"""The quick solve: straight-line Python written for one tree of ducts, once, and run for every set of open gates.

Theory of operation. Two sweeps over the tree make a pass, in time proportional to the number of ducts and without a
matrix. A first pass holds all friction factors: every duct is then loss = R Q^2 and conductances 1/sqrt(R) add up from
the leaves to the collector, where the fan curve is met in closed form, and flows split by conductance on the way back.
Each further pass is a Newton step on flows and friction together: every duct becomes its tangent, loss = a + s Q, after
one Newton step of Colebrook on x = 1/sqrt(f) (one logarithm); tangents add up the same way. From the first pass's few
percent the error squares with each pass. A pass that changes no flow by more than one part in 20 000 has left an error
of a few parts in ten million at most (1e-9 and less in usual ducts), unless a flow has passed from one friction law to
another in it: where one lies that near to a border, a second such pass is asked for. One Newton pass alone never
counts, as friction has only then begun to move.

Why written code: at six tools a loop in Python spends most of its time in the loop. Written out, every number is a
constant and every value a local variable. The first 256 of these are the quickest to reach, so the few that every duct
uses come first; at 96 tools that saves a fifth of all instructions. The text depends on nothing but the numbers of
the network. What does not end in ``MOST_PASSES`` returns None; ``steady`` then solves it slowly and surely.
"""

import itertools
import math
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

from gatekeeper.airflow.friction import (
    LAMINAR_END,
    LAMINAR_RE,
    ROUGH_DIVISOR,
    SMOOTH_FACTOR,
    TURBULENT_RE,
    TWO_OVER_LN10,
    inverse_root_colebrook,
)
from gatekeeper.airflow.network import Network

MOST_PASSES = 15
CLOSE_ENOUGH = 5e-5
"""The largest change of a leaf's flow in the last pass, as a share."""

STILL_M3S = 1e-14
"""Below this a duct counts as still, and its flow as settled."""

LEAST_LOSS = 1e-9
"""Stands in for the loss of a duct that has none at all, so that it can be divided by."""

_LEAST, _MOST = repr(1.0 - CLOSE_ENOUGH), repr(1.0 + CLOSE_ENOUGH)
_BORDER = 5.0 * CLOSE_ENOUGH
_USUAL_MS = 20.0
_USED_BY_ALL = ("q", "a", "s", "g", "c", "f", "t", "z", "d", "y", "n", "p")
_STIFF = 1e15

_Row = Sequence[float]
QuickSolve = Callable[[_Row, _Row, _Row, _Row, _Row, float, int], list[float] | None]


@dataclass(frozen=True, slots=True)
class DuctLaw:
    """The numbers of one duct: loss [Pa] at a flow Q [m3/s] is (k + r f) Q^2, Re = ``re_per_q`` Q.

    ``square``: velocity pressure over Q^2. ``base_k``: loss coefficients without the gate's. Turbulent: f = 1/x^2, x =
    -C log(``rough`` + ``smooth`` x / Q); above ``q_turbulent``. Laminar, up to ``q_laminar``: r f Q^2 = ``line`` Q.
    Between: r f = ``blend`` + ``blend_per_q`` Q. ``usual_x``: where x starts.
    """

    square: float
    base_k: float
    r: float
    re_per_q: float
    rough: float
    smooth: float
    q_laminar: float
    q_turbulent: float
    line: float
    blend: float
    blend_per_q: float
    usual_x: float

    def loss_and_slope(self, flow: float, k: float) -> tuple[float, float]:
        """Loss [Pa] and its slope [Pa s/m3] at a flow of 0 or more; ``k`` with the square in it."""
        if flow <= self.q_laminar:
            return (k * flow + self.line) * flow, 2.0 * k * flow + self.line
        if flow < self.q_turbulent:
            both = k + self.blend + self.blend_per_q * flow
            return both * flow * flow, (2.0 * both + self.blend_per_q * flow) * flow
        x = inverse_root_colebrook(self.re_per_q * flow, self.rough * ROUGH_DIVISOR)
        u = TWO_OVER_LN10 * self.smooth / (flow * (self.rough + self.smooth * x / flow))
        friction = self.r / (x * x)
        return (k + friction) * flow * flow, 2.0 * flow * (k + friction - friction * u / (1.0 + u))


def laws_of(network: Network) -> tuple[DuctLaw, ...]:
    """The laws of all ducts, in the network's order of ducts."""
    entry = {hood.node: hood.entry_loss for hood in network.hoods}
    laws: list[DuctLaw] = []
    for duct in network.ducts:
        area, air = duct.section_m2, network.air
        square = air.density_kg_m3 / (2.0 * area * area)
        re_per_q = air.density_kg_m3 * duct.diameter_m / (air.viscosity_pa_s * area)
        r = duct.friction_scale * duct.length_m / duct.diameter_m * square
        base_k = (duct.loss + entry.get(duct.upstream, 0.0)) * square
        if r == 0.0:
            base_k = max(base_k, LEAST_LOSS * square)
        ratio = duct.roughness_m / duct.diameter_m
        rise = (1.0 / inverse_root_colebrook(TURBULENT_RE, ratio) ** 2 - LAMINAR_END) / (TURBULENT_RE - LAMINAR_RE)
        laws.append(
            DuctLaw(
                square=square,
                base_k=base_k,
                r=r,
                re_per_q=re_per_q,
                rough=ratio / ROUGH_DIVISOR,
                smooth=SMOOTH_FACTOR / re_per_q,
                q_laminar=LAMINAR_RE / re_per_q,
                q_turbulent=TURBULENT_RE / re_per_q,
                line=64.0 * r / re_per_q,
                blend=r * (LAMINAR_END - rise * LAMINAR_RE),
                blend_per_q=r * rise * re_per_q,
                usual_x=inverse_root_colebrook(max(re_per_q * area * _USUAL_MS, TURBULENT_RE), ratio),
            )
        )
    return tuple(laws)


@dataclass(frozen=True, slots=True)
class FanPieces:
    """A fan's mantle less the collector's loss, piece by piece.

    ``starts`` and ``heights``: the points (flow, mantle - collector loss). Piece i is met by a system a + s Q where
    square Q^2 + (s + ``lines[i]``) Q + a - ``tops[i]`` = 0.
    """

    starts: tuple[float, ...]
    heights: tuple[float, ...]
    lines: tuple[float, ...]
    tops: tuple[float, ...]
    square: float

    def meeting(self, a: float, s: float) -> float:
        """The flow where a system that takes a + s Q meets the fan; ``s`` above 0."""
        place = 0
        while place < len(self.lines) - 1 and self.heights[place + 1] - s * self.starts[place + 1] > a:
            place += 1
        c, b = self.tops[place] - a, s + self.lines[place]
        return 2.0 * c / (b + math.sqrt(max(b * b + 4.0 * self.square * c, 0.0)))

    def height_at(self, flow: float) -> float:
        """The fan's mantle less the collector's loss at a flow."""
        place = 0
        while place < len(self.lines) - 1 and flow > self.starts[place + 1]:
            place += 1
        return self.tops[place] - self.lines[place] * flow - self.square * flow * abs(flow)

    @staticmethod
    def fixed_at(flow: float) -> "FanPieces":
        """A fan that moves one flow whatever it meets."""
        return FanPieces((0.0,), (_STIFF * flow,), (_STIFF,), (_STIFF * flow,), 0.0)


def fan_pieces(network: Network) -> FanPieces:
    """The fan's mantle and the collector of a network as one."""
    points, collector = network.fan.mantle(), network.collector
    line, square = collector.line_pa_s_m3, collector.square_pa_s2_m6
    slopes = [(p1 - p0) / (q1 - q0) for (q0, p0), (q1, p1) in itertools.pairwise(points)]
    return FanPieces(
        starts=tuple(q for q, _ in points),
        heights=tuple(p - line * q - square * q * q for q, p in points),
        lines=tuple(line - slope for slope in slopes),
        tops=tuple(p - slope * q for (q, p), slope in zip(points, slopes, strict=False)),
        square=square,
    )


def written_for(network: Network, laws: Sequence[DuctLaw]) -> QuickSolve:
    """The quick solve of one network: f(k, starts, heights, lines, tops, square, passes) -> flows, or None.

    ``k``: for each duct its whole K times the square; the rest as in FanPieces.
    """
    space: dict[str, object] = {"log": math.log, "sqrt": math.sqrt}
    exec(compile(text_for(network, laws), "<quick solve>", "exec"), space)
    solve: QuickSolve = space["solve"]  # type: ignore[assignment]
    return solve


def text_for(network: Network, laws: Sequence[DuctLaw]) -> str:
    """The Python text of the quick solve."""
    last = len(network.ducts) - 1
    names = ", ".join(f"k{place}" for place in range(last + 1)) + ","
    lines = ["def solve(k, starts, heights, lines, tops, square, passes):"]
    lines += [f" {' = '.join(_USED_BY_ALL)} = 0.0"]
    lines += [f" {names} = k"]
    lines += [f" y{place} = {law.usual_x / TWO_OVER_LN10!r}" for place, law in enumerate(laws) if law.r]
    lines += [f" {line}" for line in _first_pass(network, laws)]
    lines += [" was_close = False", " for turn in range(passes):", "  far = near = False"]
    lines += [f"  {line}" for line in _newton_pass(network, laws)]
    flows = ", ".join(f"q{place}" for place in range(last + 1))
    lines += [
        "  if far or not turn: was_close = False",
        f"  elif was_close or not near: return [{flows}]",
        "  else: was_close = True",
    ]
    lines += [" return None"]
    return "\n".join(lines) + "\n"


def _first_pass(network: Network, laws: Sequence[DuctLaw]) -> list[str]:
    """All friction held: conductances g (of a duct with all that feeds it) up, flows q down."""
    lines: list[str] = []
    for place in network.order:
        law, feeding = laws[place], network.feeding[place]
        whole = f"k{place} + {law.r / law.usual_x**2!r}" if law.r else f"k{place}"
        if not feeding:
            lines.append(f"g{place} = 1.0 / sqrt({whole})")
        else:
            lines.append(f"c = {_sum('g', feeding)}")
            lines.append(f"g{place} = c / sqrt(1.0 + ({whole}) * c * c)")
    lines += [
        f"c = {_sum('g', network.root_ducts)}",
        "m = square + 1.0 / (c * c)",
        "i = 0",
        "last = len(lines) - 1",
        "while i < last and (heights[i + 1] + square * starts[i + 1] ** 2) > m * starts[i + 1] ** 2: i += 1",
        "q = 2.0 * tops[i] / (lines[i] + sqrt(lines[i] ** 2 + 4.0 * m * tops[i]))",
    ]
    lines += _split("q = q / c", network.root_ducts)
    for place in reversed(network.order):
        feeding = network.feeding[place]
        if len(feeding) == 1:
            lines.append(f"q{feeding[0]} = q{place}")
        elif feeding:
            lines += _split(f"q = q{place} / ({_sum('g', feeding)})", feeding)
    return lines


def _split(head: str, ducts: Sequence[int]) -> list[str]:
    return [head, *(f"q{place} = q * g{place}" for place in ducts)]


def _newton_pass(network: Network, laws: Sequence[DuctLaw]) -> list[str]:
    """Tangents up: of a duct with all that feeds it, suction = a + s Q; flows q down, and whether
    any leaf's flow has changed by far or any duct lies near the border of two laws.
    """
    lines: list[str] = []
    alone = {group[0] for group in (*network.feeding, network.root_ducts) if len(group) == 1}
    for place in network.order:
        lines += _tangent(place, laws[place])
        lines += _add_feeding(place, network.feeding[place], is_alone=place in alone)
    gathered, a, s = _gathered(network.root_ducts, "root")
    lines += gathered
    lines += [
        f"a = {a}; s = {s}",
        "while i < last and heights[i + 1] - s * starts[i + 1] > a: i += 1",
        "while i > 0 and heights[i] - s * starts[i] < a: i -= 1",
        "c = tops[i] - a",
        "b = s + lines[i]",
        "q = 2.0 * c / (b + sqrt(b * b + 4.0 * square * c))",
    ]
    leaves = {place for place in network.order if not network.feeding[place]}
    lines += _shared(network.root_ducts, "q", "root", leaves)
    for place in reversed(network.order):
        lines += _shared(network.feeding[place], f"q{place}", str(place), leaves)
    return lines


def _tangent(place: int, law: DuctLaw) -> list[str]:
    """a and s of one duct at its last flow. Turbulent, y being x in units of 2 / ln 10 and z = q w:
    y + log(z / q) = 0 is brought one Newton step nearer.
    """
    k = f"k{place}"
    if not law.r:
        return [f"q = q{place}; c = {k} * q", "s = c + c; a = -c * q"]
    turbulent, laminar = law.q_turbulent, law.q_laminar
    step = TWO_OVER_LN10 * law.smooth
    return [
        f"q = q{place}",
        f"if q > {turbulent * (1.0 + _BORDER)!r} or q > {turbulent!r} and (near := True):",
        f" t = {step!r} * y{place}",
        f" z = {law.rough!r} * q + t",
        f" d = z + {step!r}",
        f" y{place} = y = (t - z * log(z / q)) / d",
        f" f = {law.r / TWO_OVER_LN10**2!r} * q / (y * y)",
        f" c = {k} * q",
        " s = 2.0 * (c + f * z / d)",
        " a = q * (c + f - s)",
        f"elif q < {laminar * (1.0 - _BORDER)!r} or q <= {laminar!r} and (near := True):",
        f" c = {k} * q",
        f" s = c + c + {law.line!r}",
        " a = -c * q",
        "else:",
        f" if q < {laminar * (1.0 + _BORDER)!r} or q > {turbulent * (1.0 - _BORDER)!r}: near = True",
        f" f = {law.blend_per_q!r} * q",
        f" c = ({k} + {law.blend!r} + f) * q",
        " s = 2.0 * c + f * q",
        " a = q * (c - s)",
    ]


def _add_feeding(place: int, feeding: Sequence[int], *, is_alone: bool) -> list[str]:
    """a and s of the duct become those with all that feeds it; g = 1/s and h = a/s for a duct that meets others, g = s
    and h = a for one that does not.
    """
    lines: list[str] = []
    a, s = "a", "s"
    if feeding:
        lines, above_a, above_s = _gathered(feeding, str(place))
        a, s = f"(a + {above_a})", f"s + {above_s}"
    if is_alone:
        return [*lines, f"g{place} = {s}; h{place} = {a}"]
    return [*lines, f"g{place} = g = 1.0 / ({s})", f"h{place} = {a} * g"]


def _gathered(ducts: Sequence[int], name: str) -> tuple[list[str], str, str]:
    """What ducts that meet take together: suction = a + s Q; lines to work it out, then a and s."""
    if len(ducts) == 1:
        return [], f"h{ducts[0]}", f"g{ducts[0]}"
    lines = [f"s{name} = p = 1.0 / ({_sum('g', ducts)})", f"j{name} = n = {_sum('h', ducts)}"]
    return lines, "n * p", "p"


def _shared(ducts: Sequence[int], total: str, name: str, leaves: Collection[int]) -> list[str]:
    """How a flow divides among the ducts that meet: from the node's suction, which is free of cancellation here."""
    lines = [f"p = ({total} + j{name}) * s{name}"] if len(ducts) > 1 else []
    for place in ducts:
        new = f"p * g{place} - h{place}" if len(ducts) > 1 else total
        if place in leaves:
            lines += [f"n = {new}", f"if not {_LEAST} < n / q{place} < {_MOST} and n > {STILL_M3S!r}: far = True"]
            new = "n"
        lines.append(f"q{place} = {new}")
    return lines


def _sum(letter: str, ducts: Sequence[int]) -> str:
    return " + ".join(f"{letter}{place}" for place in ducts)
