"""The flow in every duct for any set of open gates, and what a gauge would show there.

``prepare`` a network once, then ``solve`` each set of open gates; a solve keeps nothing for the next one. It always
ends with an answer: what the quick solve leaves open is done by the slow and sure one. Mass balances to rounding,
pressures to better than one part in a million.
"""

import math
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace

from gatekeeper.airflow.air import velocity_pressure_pa
from gatekeeper.airflow.fan import FanCurve
from gatekeeper.airflow.losses import leak_loss, part_open_loss
from gatekeeper.airflow.network import Collector, Gate, Network
from gatekeeper.airflow.passes import MOST_PASSES, DuctLaw, FanPieces, QuickSolve, fan_pieces, laws_of, written_for
from gatekeeper.airflow.steady import steady_flows

_SCAN = 8
_SCALAR_STEPS = 60


@dataclass(frozen=True, slots=True)
class DuctAir:
    """The air in one duct. Pressures are gauge pressures of the room's air: suction is below 0.

    Total and static pressure at both ends; ``static_upstream_pa`` of a duct with a hood is behind the hood (the hood
    static suction, with its sign). ``loss_pa``: total pressure lost from its upstream to its downstream node, with hood
    and gate.
    """

    name: str
    flow_m3s: float
    velocity_ms: float
    reynolds: float
    total_upstream_pa: float
    total_downstream_pa: float
    static_upstream_pa: float
    static_downstream_pa: float
    velocity_pressure_pa: float
    loss_pa: float


@dataclass(frozen=True, slots=True)
class Solution:
    """The state of a network: ``flows_m3s`` by the network's order of ducts. The rest is worked out when asked for."""

    prepared: "Prepared"
    k: list[float]
    flows_m3s: list[float]

    @property
    def flow_m3s(self) -> float:
        """What passes the fan."""
        return sum(self.flows_m3s[place] for place in self.prepared.network.root_ducts)

    @property
    def fan_pressure_pa(self) -> float:
        """The fan's static pressure at the operating point."""
        return self.prepared.network.fan.pressure_at(self.flow_m3s)

    @property
    def collector_loss_pa(self) -> float:
        """What separator and filter take."""
        collector, flow = self.prepared.network.collector, self.flow_m3s
        return (collector.line_pa_s_m3 + collector.square_pa_s2_m6 * flow) * flow

    @property
    def is_beyond_curve(self) -> bool:
        """Whether the operating point lies beyond the points of the fan curve: a finding, since it is a guess there."""
        return self.prepared.network.fan.is_beyond(self.flow_m3s)

    @property
    def is_on_rising_part(self) -> bool:
        """Whether the fan works left of its peak, where it hunts."""
        return self.prepared.network.fan.is_rising_at(self.flow_m3s)

    def flow_in(self, duct: str) -> float:
        """Flow [m3/s] in one duct. Raises KeyError for a duct that is not there."""
        return self.flows_m3s[self.prepared.network.duct_places[duct]]

    def ducts(self) -> dict[str, DuctAir]:
        """The air in every duct, by name."""
        network, prepared = self.prepared.network, self.prepared
        dead = prepared.dead_with(self.k)
        entry = {hood.node: hood.entry_loss for hood in network.hoods}
        total_at = {network.collector.inlet_node: self.collector_loss_pa - self.fan_pressure_pa}
        states: dict[int, DuctAir] = {}
        for place in reversed(network.order):
            duct, flow, law = network.ducts[place], self.flows_m3s[place], prepared.laws[place]
            down = total_at[duct.downstream]
            loss = law.loss_and_slope(flow, self.k[place])[0]
            if place in dead and (self.k[place] >= prepared.sealed_k[place] or not network.feeding[place]):
                loss = -down
            # A gauge behind a hood and the room's own air leave no more than rounding between them.
            up = down + loss if network.feeding[place] else 0.0
            total_at[duct.upstream] = up
            velocity = flow / duct.section_m2
            pressure = velocity_pressure_pa(velocity, network.air.density_kg_m3)
            behind_hood = up - entry.get(duct.upstream, 0.0) * pressure
            states[place] = DuctAir(
                name=duct.name,
                flow_m3s=flow,
                velocity_ms=velocity,
                reynolds=law.re_per_q * flow,
                total_upstream_pa=up,
                total_downstream_pa=down,
                static_upstream_pa=behind_hood - pressure,
                static_downstream_pa=down - pressure,
                velocity_pressure_pa=pressure,
                loss_pa=loss,
            )
        return {duct.name: states[place] for place, duct in enumerate(network.ducts)}


class Prepared:
    """A network made ready for many solves. Use ``prepare``."""

    def __init__(self, network: Network, laws: tuple[DuctLaw, ...], quick: QuickSolve) -> None:
        self.network, self.laws, self._quick = network, laws, quick
        self.fan = fan_pieces(network)
        self._curve = (self.fan.starts, self.fan.heights, self.fan.lines, self.fan.tops, self.fan.square)
        self._has_mantle = network.fan.rises
        places = network.duct_places
        self._gates: dict[str, tuple[int, float]] = {}
        self.sealed_k = [math.inf] * len(laws)
        shut = [law.base_k for law in laws]
        for gate in network.gates:
            place = places[gate.duct]
            law = laws[place]
            self._gates[gate.name] = (place, law.base_k + gate.open_loss * law.square)
            shut[place] = law.base_k + self._shut_loss(gate) * law.square
            if gate.leak_area_m2 == 0.0:
                self.sealed_k[place] = shut[place]
        self.shut_k = tuple(shut)
        self._has_seals = any(math.isfinite(k) for k in self.sealed_k)
        self._by_name = {gate.name: gate for gate in network.gates}

    def with_fan(self, fan: FanCurve, collector: Collector | None = None) -> "Prepared":
        """The same ducts on another fan, or with another state of separator and filter; nothing is prepared anew."""
        network = replace(self.network, fan=fan, collector=collector or self.network.collector)
        return Prepared(network, self.laws, self._quick)

    def loss_coefficients(
        self, open_gates: Collection[str], part_open: Mapping[str, float] | None = None
    ) -> list[float]:
        """Each duct's loss over flow squared, friction left out, with these gates open and all others shut.

        ``part_open``: gates that stand between, by how far they are open (0 to 1). Raises ValueError for a gate that is
        not there.
        """
        k = list(self.shut_k)
        gates = self._gates
        try:
            for name in open_gates:
                place, open_k = gates[name]
                k[place] = open_k
        except KeyError as unknown:
            raise ValueError(f"there is no gate {unknown} on these ducts") from None
        for name, opening in (part_open or {}).items():
            if name not in gates:
                raise ValueError(f"there is no gate '{name}' on these ducts")
            gate, place = self._by_name[name], gates[name][0]
            law = self.laws[place]
            k[place] = law.base_k + part_open_loss(opening, gate.open_loss, self._shut_loss(gate)) * law.square
        return k

    def open_loss_coefficients(self, gates: Iterable[str]) -> tuple[list[int], list[float]]:
        """For each gate the place of its duct, and that duct's loss over flow squared with the gate open."""
        try:
            both = [self._gates[name] for name in gates]
        except KeyError as unknown:
            raise ValueError(f"there is no gate {unknown} on these ducts") from None
        return [place for place, _ in both], [open_k for _, open_k in both]

    def solve(self, open_gates: Collection[str], part_open: Mapping[str, float] | None = None) -> Solution:
        """The flows with ``open_gates`` open and all others shut, or ``part_open`` by a share of 0 to 1.

        Raises ValueError for a gate that is not there; never fails to find the flows.
        """
        k = self.loss_coefficients(open_gates, part_open)
        return Solution(self, k, self._flows(k))

    def dead_with(self, k: Collection[float]) -> frozenset[int]:
        """The ducts through which nothing can pass: sealed, or with all ways in or out sealed."""
        if not self._has_seals:
            return frozenset()
        sealed = {place for place, here in enumerate(k) if here >= self.sealed_k[place]}
        if not sealed:
            return frozenset()
        network, dead = self.network, set(sealed)
        for place in reversed(network.order):
            if place in dead:
                dead.update(network.feeding[place])
        for place in network.order:
            feeding = network.feeding[place]
            if feeding and all(other in dead for other in feeding):
                dead.add(place)
        return frozenset(dead)

    def _flows(self, k: list[float]) -> list[float]:
        dead = self.dead_with(k) if self._has_seals else frozenset()
        if len(dead) == len(k):
            return [0.0] * len(k)
        flows = self._flows_on(k, self.fan, dead)
        if self._has_mantle:
            flows = self._below_mantle(k, flows, dead)
        return flows

    def _flows_on(self, k: list[float], fan: FanPieces, dead: frozenset[int]) -> list[float]:
        try:
            flows = self._quick(k, fan.starts, fan.heights, fan.lines, fan.tops, fan.square, MOST_PASSES)
        except (ValueError, ZeroDivisionError, OverflowError):
            flows = None
        if flows is None or min(flows) < 0.0:
            flows, _ = steady_flows(self.network, self.laws, k, fan, dead)
        if dead:
            for place in self.network.order:
                feeding = self.network.feeding[place]
                if place in dead:
                    flows[place] = 0.0
                elif feeding:
                    flows[place] = sum(flows[other] for other in feeding)
        return flows

    def _below_mantle(self, k: list[float], flows: list[float], dead: frozenset[int]) -> list[float]:
        """Where the mantle lies over a dip of the curve, the meeting with the curve itself, at the largest flow."""
        fan, collector = self.network.fan, self.network.collector
        high = sum(flows[place] for place in self.network.root_ducts)
        found = flows

        def spare(flow: float) -> float:
            nonlocal found
            found = self._flows_on(k, FanPieces.fixed_at(flow), dead)
            loss = (collector.line_pa_s_m3 + collector.square_pa_s2_m6 * flow) * flow
            return fan.pressure_at(flow) - loss - self._suction(k, found, dead)

        mantle = self.fan.height_at(high) + (collector.line_pa_s_m3 + collector.square_pa_s2_m6 * high) * high
        if mantle - fan.pressure_at(high) <= 1e-9 * mantle:
            return flows
        low = high
        marks = sorted({high * part / _SCAN for part in range(1, _SCAN)} | {q for q in fan.flows_m3s if 0.0 < q < high})
        for flow in reversed(marks):
            if spare(flow) > 0.0:
                low = flow
                break
            high = flow
        else:
            low = 0.0
        while high - low > 1e-13 * high:
            middle = (low + high) / 2.0
            if not low < middle < high:
                break
            low, high = (middle, high) if spare(middle) > 0.0 else (low, middle)
        spare((low + high) / 2.0)
        return found

    def _suction(self, k: list[float], flows: list[float], dead: frozenset[int]) -> float:
        """Suction at the collector's inlet: the losses along one open way."""
        total, ways = 0.0, self.network.root_ducts
        while ways:
            place = next(place for place in ways if place not in dead)
            total += self.laws[place].loss_and_slope(flows[place], k[place])[0]
            ways = self.network.feeding[place]
        return total

    def _shut_loss(self, gate: Gate) -> float:
        duct = self.network.ducts[self.network.duct_places[gate.duct]]
        return leak_loss(duct.section_m2, gate.leak_area_m2, gate.discharge)


def prepare(network: Network) -> Prepared:
    """Make a network ready: about half a millisecond a duct, once."""
    laws = laws_of(network)
    return Prepared(network, laws, written_for(network, laws))
