"""A shop's systems of ducts with the tools on them, ready to be asked what the air does; the same in study and shop."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from gatekeeper.airflow.needs import Need, need_of
from gatekeeper.airflow.solve import Prepared, prepare
from gatekeeper.airflow.tools import Draw, Reading, Tools
from gatekeeper.service.ducting import network_of
from gatekeeper.shop.model import Gate, Motor, Proof, Shop, Tool

#: Relative tolerance on areas, as the core has it.
_AREA_TOLERANCE = 1e-9


@dataclass(frozen=True, slots=True)
class AirSystem:
    """One collector or tool vacuum, its ducts and its tools.

    ``needs``: by tool, on this system. ``extras``: the gates that the controller may open beside the tools' own.
    """

    motor: Motor
    tools: Tools
    needs: Mapping[str, Need]
    gates: Mapping[str, Gate]
    extras: tuple[str, ...]

    @property
    def prepared(self) -> Prepared:
        return self.tools.prepared

    def path_is_enough(self, open_gates: Collection[str]) -> bool:
        """Whether these gates, once open, are a path that the core would count (C3): unseen hand gates are none."""
        if self.motor.proof is Proof.PERSON:
            return True
        area_m2 = self.motor.relief_m2
        for name in open_gates:
            gate = self.gates[name]
            if gate.is_actuated or gate.has_open_switch:
                area_m2 += gate.area_m2
        return area_m2 >= self.motor.path_minimum_m2 * (1 - _AREA_TOLERANCE)

    def read(self, running: Collection[str], open_gates: Collection[str]) -> Reading:
        """What the air does while these tools run."""
        return self.tools.read(running, open_gates)


def air_systems(shop: Shop) -> dict[str, AirSystem]:
    """Every system of a shop that has gates, by its motor's name.

    Raises:
        ValueError: one sentence about ducts that cannot be solved.
    """
    return {
        motor.name: air_system(shop, motor)
        for motor in shop.motors.values()
        if motor.has_ducts and shop.gates_of(motor.name)
    }


def air_system(shop: Shop, motor: Motor) -> AirSystem:
    """One system of a shop. Raises ValueError as ``air_systems`` does."""
    gates = {gate.name: gate for gate in shop.gates_of(motor.name)}
    needs: dict[str, Need] = {}
    draws: list[Draw] = []
    for tool in shop.tools_of(motor.name):
        own = tuple(gate for gate in tool.gates if gate in gates)
        needs[tool.name] = _need(shop, tool, motor.name, [gates[gate] for gate in own])
        draws.append(Draw(tool.name, own, needs[tool.name].flow_m3s))
    extras = tuple(gate.name for gate in gates.values() if gate.is_actuated and gate.as_extra)
    tools = Tools(prepare(network_of(shop, motor.name)), draws, gates=gates)
    return AirSystem(motor, tools, needs, gates, extras)


def duct_of(network_duct: str) -> str:
    """The shop's own duct that a length of the network belongs to: its hose and its further gates have lengths."""
    return network_duct.partition("/")[0]


def _need(shop: Shop, tool: Tool, motor: str, own: list[Gate]) -> Need:
    """A tool's need on one system. What the file gives is for the system of its largest gate."""
    largest = max((shop.gates[gate] for gate in tool.gates), key=lambda gate: gate.diameter_m)
    # Several gates on one system are taken as one port of their joint area.
    port_m = sum(gate.diameter_m**2 for gate in own) ** 0.5
    if len(tool.systems) == 1 and tool.port_diameter_m is not None:
        port_m = min(port_m, tool.port_diameter_m)
    if largest.motor == motor:
        return need_of(tool.name, port_m, tool.needs_flow_m3s)
    # A second system beside the tool's own takes what its port carries; the machine's sheet is for the first.
    return need_of("", port_m)
