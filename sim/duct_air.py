"""The air of one system for every way that its gates stand, remembered: what the plays ask at each change."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from gatekeeper.airflow.network import Collector, Duct, Hood
from gatekeeper.airflow.solve import Prepared, Solution, prepare
from gatekeeper.service.air_systems import AirSystem

#: Gates that stand between are taken at tenths of their opening.
PARTS = 10
#: How a filter's load is told apart: in steps of this share of full.
LOAD_STEPS = 10
#: A full filter has this many times the loss of a clean one; a blocked one this many. Our own.
FULL_TIMES, BLOCKED_TIMES = 3.0, 400.0
#: A clean filter of which the file says nothing takes this much where all gates are open, for what is added. Our own.
USUAL_CLEAN_PA = 150.0
#: An open clean-out is a hole of this share of the inlet's area, straight at the collector. Our own.
CLEAN_OUT_SHARE = 0.5
#: A plain opening. Textbook.
CLEAN_OUT_ENTRY = 0.93


@dataclass(frozen=True, slots=True)
class Standing:
    """How one system stands.

    openings: of each of its gates in the shop's order, in tenths; a blocked branch counts as shut.
    filter_step: 0 (clean) to ``LOAD_STEPS`` (full), and one more where it is blocked.
    is_cleanout_open: its clean-out stands open.
    percent: the speed that its fan is told, of full speed: friction and filter do not quite follow it.
    """

    openings: tuple[int, ...]
    filter_step: int = 0
    is_cleanout_open: bool = False
    percent: int = 100


@dataclass(frozen=True, slots=True)
class AirAt:
    """The air for one ``Standing`` at the fan's full speed; at less speed all of it goes down in proportion.

    Of a fan that is told less than full speed it is exact there, and carried on to full speed in proportion.

    gate_m3s: by gate, in the order of ``Standing.openings``. velocity_ms: by duct of the network, in its order.
    fan_m3s: what passes the fan.
    """

    gate_m3s: tuple[float, ...]
    velocity_ms: tuple[float, ...]
    fan_m3s: float


@dataclass(frozen=True, slots=True)
class PressuresAt:
    """What gauges would show for one ``Standing`` at the speed that its fan is told; they go with its square.

    suction_pa: static suction at the end of each duct of the network, by its name. filter_pa: lost in the filter.
    """

    suction_pa: Mapping[str, float]
    filter_pa: float


class DuctAir:
    """One system's air. One thread owns it.

    Args:
        system: the motor, its ducts and its tools.
    """

    def __init__(self, system: AirSystem) -> None:
        self.system = system
        self.network = system.prepared.network
        self.gates = tuple(system.gates)
        self.gate_places = tuple(system.tools.gate_places[gate] for gate in self.gates)
        self.needs_m3s = {tool: need.flow_m3s for tool, need in system.needs.items()}
        self.onward = _onward(self.network.feeding)
        self._kept: dict[Standing, AirAt] = {}
        self._pressures: dict[Standing, PressuresAt] = {}
        self._prepared: dict[tuple[int, bool, int], Prepared] = {(0, False, 100): system.prepared}
        self._alone_m3s: float | None = None

    def at(self, standing: Standing) -> AirAt:
        """The air for one way to stand, solved at the first asking."""
        found = self._kept.get(standing)
        if found is None:
            found = self._kept[standing] = self._solve(standing)
        return found

    def pressures_at(self, standing: Standing) -> "PressuresAt":
        """The pressures for one way to stand, solved at the first asking; only gauges ask."""
        found = self._pressures.get(standing)
        if found is None:
            solution = self._solution(standing)
            line = solution.prepared.network.collector.line_pa_s_m3
            ducts = {name: -duct.static_downstream_pa for name, duct in solution.ducts().items()}
            found = self._pressures[standing] = PressuresAt(ducts, line * solution.flow_m3s)
        return found

    @property
    def smallest_alone_m3s(self) -> float:
        """What passes the fan with the narrowest gate alone open and a clean filter."""
        if self._alone_m3s is None:
            areas = [self.system.gates[gate].area_m2 for gate in self.gates]
            least = areas.index(min(areas))
            openings = tuple(PARTS if place == least else 0 for place in range(len(self.gates)))
            self._alone_m3s = self.at(Standing(openings)).fan_m3s
        return self._alone_m3s

    def entries_of(self, tool: str) -> tuple[int, ...]:
        """The ducts at whose open ends a tool's chips come in."""
        carry = set(self.system.tools.chips_of(tool))
        feeding = self.network.feeding
        return tuple(place for place in sorted(carry) if not carry.intersection(feeding[place]))

    def _solve(self, standing: Standing) -> AirAt:
        solution = self._solution(standing)
        flows = solution.flows_m3s
        if standing.percent != 100:
            flows = [flow * 100.0 / standing.percent for flow in flows]
        ducts = self.network.ducts
        return AirAt(
            tuple(flows[place] for place in self.gate_places),
            # A clean-out's own duct is the last one and carries no chips.
            tuple(flow / duct.section_m2 for flow, duct in zip(flows, ducts, strict=False)),
            sum(flows[place] for place in solution.prepared.network.root_ducts),
        )

    def _solution(self, standing: Standing) -> Solution:
        prepared = self._prepared_for(standing.filter_step, standing.is_cleanout_open, standing.percent)
        opened = [gate for gate, opening in zip(self.gates, standing.openings, strict=True) if opening >= PARTS]
        partly = {
            gate: opening / PARTS
            for gate, opening in zip(self.gates, standing.openings, strict=True)
            if 0 < opening < PARTS
        }
        return prepared.solve(opened, partly)

    def _prepared_for(self, filter_step: int, is_cleanout_open: bool, percent: int) -> Prepared:
        key = filter_step, is_cleanout_open, percent
        if key not in self._prepared:
            clean = self.network.collector
            if filter_step > LOAD_STEPS:
                times = BLOCKED_TIMES
            else:
                times = 1.0 + (FULL_TIMES - 1.0) * filter_step / LOAD_STEPS
            added = (times - 1.0) * (clean.line_pa_s_m3 or USUAL_CLEAN_PA / self._most_m3s())
            collector = Collector(clean.inlet_node, clean.line_pa_s_m3 + added, clean.square_pa_s2_m6)
            base = self._with_cleanout() if is_cleanout_open else self.system.prepared
            fan = self.network.fan if percent == 100 else self.network.fan.scaled(percent / 100.0)
            self._prepared[key] = base.with_fan(fan, collector)
        return self._prepared[key]

    def _most_m3s(self) -> float:
        """What passes the fan with every gate open and a clean filter."""
        return self.at(Standing((PARTS,) * len(self.gates))).fan_m3s

    def _with_cleanout(self) -> Prepared:
        network = self.network
        inlet_m2 = max(network.ducts[place].section_m2 for place in network.root_ducts)
        diameter_m = math.sqrt(4.0 * CLEAN_OUT_SHARE * inlet_m2 / math.pi)
        hole = Duct("clean-out", "clean-out", network.collector.inlet_node, 0.1, diameter_m, 0.00015)
        return prepare(
            replace(
                network,
                ducts=(*network.ducts, hole),
                hoods=(*network.hoods, Hood("clean-out", "clean-out", CLEAN_OUT_ENTRY)),
            )
        )


def _onward(feeding: Sequence[Sequence[int]]) -> tuple[int, ...]:
    """For each duct the place of the one that it leads into, -1 for the collector."""
    onward = [-1] * len(feeding)
    for place, before in enumerate(feeding):
        for other in before:
            onward[other] = place
    return tuple(onward)
