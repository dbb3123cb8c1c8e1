"""Tools on a system of ducts: which air is whose, where chips fly, and whether it is enough. Knows no rule of gates.

A *length of main* is a duct through which the air of two gates or more can pass; everything else between a hood and
a main is its *drop*.
"""

import math
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from gatekeeper.airflow.needs import TRANSPORT_MS
from gatekeeper.airflow.solve import Prepared, Solution

ENOUGH = 0.98
"""From this share of its need on a tool counts as fed: losses of fittings are not known to the percent. Our own."""


@dataclass(frozen=True, slots=True)
class Draw:
    """One tool on one system. ``need_m3s``: what it needs there through all of ``gates`` together, more than 0."""

    tool: str
    gates: tuple[str, ...]
    need_m3s: float


@dataclass(frozen=True, slots=True)
class Reading:
    """What the air does while some tools run, with ``open_gates`` open and all others shut.

    ``flow_m3s`` and ``share`` (of the need) by running tool; ``velocity_ms`` by duct with chips in it, in the order of
    the network; ``main_ducts``: those of them that are lengths of main. ``extra``: open gates of no running tool.
    """

    running: tuple[str, ...]
    open_gates: tuple[str, ...]
    extra: tuple[str, ...]
    flow_m3s: Mapping[str, float]
    share: Mapping[str, float]
    velocity_ms: Mapping[str, float]
    main_ducts: frozenset[str]
    slow_mains: tuple[str, ...]
    slow_drops: tuple[str, ...]
    solution: Solution

    @property
    def short(self) -> tuple[tuple[str, float], ...]:
        """The tools that get less than they need, with the missing share (0 to 1)."""
        return tuple((tool, 1.0 - share) for tool, share in self.share.items() if share < ENOUGH)

    @property
    def is_good(self) -> bool:
        """Whether every tool is fed and no chip settles."""
        return not (self.short or self.slow_mains or self.slow_drops)


class Tools:
    """The tools of one system, on its ducts.

    Args:
        prepared: the ducts, ready to be solved.
        draws: its tools.
        transport_ms: velocity that chips need, more than 0.
        gates: the gates that can move, all if not given; only these make a length of duct a main.

    Raises:
        ValueError: a tool names a gate that is not on these ducts, or needs nothing.
    """

    def __init__(
        self,
        prepared: Prepared,
        draws: Iterable[Draw],
        transport_ms: float = TRANSPORT_MS,
        gates: Collection[str] | None = None,
    ) -> None:
        self.prepared = prepared
        self.network = network = prepared.network
        self.draws = {draw.tool: draw for draw in draws}
        self.transport_ms = transport_ms
        places = network.duct_places
        self.gate_places = {gate.name: places[gate.duct] for gate in network.gates}
        self._gate_at = {place: name for name, place in self.gate_places.items()}
        self._above = self._gates_above()
        self._onward = self._way_on()
        self._counting = frozenset(self.gate_places if gates is None else gates)
        self.mains = frozenset(place for place, above in enumerate(self._above) if len(above & self._counting) > 1)
        self._chips: dict[str, tuple[int, ...]] = {}
        self._flow_places: dict[str, tuple[int, ...]] = {}
        for draw in self.draws.values():
            self._enter(draw)

    def with_prepared(self, prepared: Prepared) -> "Tools":
        """The same tools on the same ducts with another fan or filter."""
        return Tools(prepared, self.draws.values(), self.transport_ms, self._counting)

    def ways_of(self, gate: str) -> tuple[int, ...]:
        """The ducts from a gate's own to the collector, in the direction of the air."""
        way, place = [], self.gate_places[gate]
        while place >= 0:
            way.append(place)
            place = self._onward[place]
        return tuple(way)

    def chips_of(self, tool: str) -> tuple[int, ...]:
        """The ducts that carry a tool's chips, in the network's order of ducts."""
        return self._chips[tool]

    def branch_of(self, gate: str) -> tuple[int, ...]:
        """The ducts through which a gate's air goes, from their open ends to the collector, in the network's order."""
        return tuple(sorted({*self.ways_of(gate), *self._upstream(self.gate_places[gate], frozenset({gate}))}))

    def gates_of(self, running: Iterable[str]) -> tuple[str, ...]:
        """The own gates of some tools, each once."""
        return tuple(dict.fromkeys(gate for tool in running for gate in self.draws[tool].gates))

    def read(self, running: Iterable[str], open_gates: Iterable[str]) -> Reading:
        """What the air does for some running tools with these gates open. Raises KeyError for a tool that is not here.

        Where several running tools share a gate, its air counts for each in proportion to its need.
        """
        tools, gates = tuple(running), tuple(open_gates)
        solution, own = self.prepared.solve(gates), self.gates_of(tools)
        flows, ducts = solution.flows_m3s, self.network.ducts
        wanted: dict[int, float] = {}
        for tool in tools:
            for place in self._flow_places[tool]:
                wanted[place] = wanted.get(place, 0.0) + self._wish(tool)
        got = {
            tool: math.fsum(flows[place] * self._wish(tool) / wanted[place] for place in self._flow_places[tool])
            for tool in tools
        }
        dusty = sorted({place for tool in tools for place in self._chips[tool]})
        velocity = {place: flows[place] / ducts[place].section_m2 for place in dusty}
        slow = [place for place in dusty if velocity[place] < self.transport_ms]
        return Reading(
            running=tools,
            open_gates=gates,
            extra=tuple(gate for gate in gates if gate not in own),
            flow_m3s=got,
            share={tool: got[tool] / self.draws[tool].need_m3s for tool in tools},
            velocity_ms={ducts[place].name: velocity[place] for place in dusty},
            main_ducts=frozenset(ducts[place].name for place in dusty if place in self.mains),
            slow_mains=tuple(ducts[place].name for place in slow if place in self.mains),
            slow_drops=tuple(ducts[place].name for place in slow if place not in self.mains),
            solution=solution,
        )

    def _wish(self, tool: str) -> float:
        """What a tool wants of each of its drops when it has several."""
        return self.draws[tool].need_m3s / len(self._flow_places[tool])

    def _enter(self, draw: Draw) -> None:
        for gate in draw.gates:
            if gate not in self.gate_places:
                raise ValueError(f'the tool "{draw.tool}" has a gate "{gate}" that is not on these ducts')
        if not draw.gates or not 0.0 < draw.need_m3s < math.inf:
            raise ValueError(f'the tool "{draw.tool}" needs a gate and a flow above 0')
        own = frozenset(draw.gates)
        chips: set[int] = set()
        for gate in draw.gates:
            chips.update(self.ways_of(gate))
            chips.update(self._upstream(self.gate_places[gate], own))
        self._chips[draw.tool] = tuple(sorted(chips))
        # A gate further down the way of another gate of the same tool passes the same air once more.
        behind = {place for gate in draw.gates for place in self.ways_of(gate)[1:]}
        places = {self.gate_places[gate] for gate in draw.gates}
        self._flow_places[draw.tool] = tuple(sorted(places - behind))

    def _upstream(self, place: int, own: Collection[str]) -> set[int]:
        """The ducts before a gate that lead to its tool only: not those behind a gate that is none of its own."""
        found: set[int] = set()
        for other in self.network.feeding[place]:
            gates = self._above[other]
            if not gates or any(gate in own for gate in gates):
                found.add(other)
                found |= self._upstream(other, own)
        return found

    def _gates_above(self) -> list[frozenset[str]]:
        """For each duct the gates on it and on all ducts that lead into it."""
        above: list[frozenset[str]] = [frozenset()] * len(self.network.ducts)
        for place in self.network.order:
            here = {self._gate_at[place]} if place in self._gate_at else set()
            above[place] = frozenset(here.union(*(above[other] for other in self.network.feeding[place])))
        return above

    def _way_on(self) -> list[int]:
        onward = [-1] * len(self.network.ducts)
        for place, feeding in enumerate(self.network.feeding):
            for other in feeding:
                onward[other] = place
        return onward
