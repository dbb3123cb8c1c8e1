"""Steady runs of a collector, for the watches on its air: gates at rest, fan at speed, a mean current or pressure."""

from collections.abc import Mapping
from dataclasses import dataclass

from gatekeeper.control.snapshot import CoreView
from gatekeeper.service.air_systems import AirSystem

#: The fan has come up to speed and the gates have stood for this long before anything counts, seconds. Ours.
STANDS_S = 8.0
#: A steady run is the mean of so many looks, and the next of the same gates is not before this time, seconds. Ours.
LOOKS = 8
APART_S = 60.0
#: Sets of gates whose flow is remembered.
_MOST_KEPT = 64


@dataclass(frozen=True, slots=True)
class SteadyRun:
    """One steady run.

    Args:
        machine: whose gates were open.
        opened: the gates that stood open.
        flow_m3s: what the model says passes the fan at full speed.
        value: the mean of what was measured: a current, amperes, or a pressure, pascals.
    """

    machine: str
    opened: frozenset[str]
    flow_m3s: float
    value: float


class SteadyRuns:
    """Finds them for one collector. One thread owns it.

    Args:
        system: its ducts and tools.
        spin_up_s: start to full flow.
    """

    def __init__(self, system: AirSystem, spin_up_s: float) -> None:
        self._system, self._spin_up_s = system, spin_up_s
        self._flows: dict[frozenset[str], float] = {}
        self._open: frozenset[str] | None = None
        self._since_s = 0.0
        self._looks: list[float] = []
        self._last_s: dict[frozenset[str], float] = {}

    def look(self, core: CoreView, now_s: float, value: float | None) -> SteadyRun | None:
        """One look, about once a second; a steady run when one is whole. ``value``: None where it is not known."""
        motor = next(one for one in core.motors if one.name == self._system.motor.name)
        gates = [gate for gate in core.gates if gate.name in self._system.gates]
        at_rest = all(gate.belief not in ("opening", "shutting", "unproven") for gate in gates)
        machine = next((t.name for t in core.tools if t.counting and t.name in self._system.needs), None)
        opened = frozenset(gate.name for gate in gates if gate.is_open)
        runs = motor.on and motor.seen != "still" and motor.hand == "auto"
        if not (runs and at_rest and machine and opened) or value is None or opened != self._open:
            self._open = opened if runs and at_rest else None
            self._since_s, self._looks = now_s, []
            return None
        last_s = self._last_s.get(opened)
        begins_s = max(self._since_s, motor.switched_at_s + self._spin_up_s)
        if now_s - begins_s < STANDS_S or (last_s is not None and now_s - last_s < APART_S):
            return None
        self._looks.append(value)
        if len(self._looks) < LOOKS:
            return None
        mean, self._looks = sum(self._looks) / LOOKS, []
        self._last_s[opened] = now_s
        if len(self._last_s) > _MOST_KEPT:
            self._last_s.pop(next(iter(self._last_s)))
        assert machine is not None
        return SteadyRun(machine, opened, self.flow_m3s(opened), mean)

    def flow_m3s(self, opened: frozenset[str]) -> float:
        """What the model says passes the fan."""
        if opened not in self._flows:
            if len(self._flows) >= _MOST_KEPT:
                self._flows.pop(next(iter(self._flows)))
            prepared = self._system.prepared
            flows = prepared.solve(opened).flows_m3s
            self._flows[opened] = sum(flows[place] for place in prepared.network.root_ducts)
        return self._flows[opened]


def runs_of(systems: Mapping[str, AirSystem]) -> dict[str, SteadyRuns]:
    """One for every collector whose current is measured."""
    return {
        name: SteadyRuns(system, system.motor.spin_up_s)
        for name, system in systems.items()
        if system.motor.confirmed_by is not None and system.motor.confirmed_by.channel is not None
    }
