"""One state of a shop's ducts: these gates open, all others shut. As values, and as data for machines."""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from gatekeeper.airflow.solve import DuctAir, Solution
from gatekeeper.service.air_systems import AirSystem, air_systems
from gatekeeper.shop.faults import did_you_mean, listed
from gatekeeper.shop.model import Shop


class UnknownGateError(Exception):
    """A gate that this shop has not; its text is the sentence for the person who named it."""


@dataclass(frozen=True, slots=True)
class ToolState:
    """A tool all of whose gates are open, as if it ran alone of those that share them."""

    tool: str
    flow_m3s: float
    need_m3s: float


@dataclass(frozen=True, slots=True)
class SystemState:
    """One system. ``ducts`` in the order of the network."""

    name: str
    open_gates: tuple[str, ...]
    shut_gates: tuple[str, ...]
    solution: Solution
    ducts: tuple[DuctAir, ...]
    tools: tuple[ToolState, ...]


@dataclass(frozen=True, slots=True)
class AirState:
    """A whole shop."""

    shop: Shop
    systems: tuple[SystemState, ...]


def state_of(shop: Shop, open_gates: Collection[str]) -> AirState:
    """Solve one state.

    Raises:
        UnknownGateError: a gate that this shop has not.
        ValueError: one sentence about ducts that cannot be solved.
    """
    for gate in open_gates:
        if gate not in shop.gates:
            hint = did_you_mean(gate, shop.gates)
            there = listed(list(shop.gates), "and")
            raise UnknownGateError(f'"{gate}" is no gate of this shop; they are {there}{hint or "."}')
    return AirState(shop, tuple(_system(system, open_gates) for system in air_systems(shop).values()))


def _system(system: AirSystem, open_gates: Collection[str]) -> SystemState:
    opened = tuple(gate for gate in system.gates if gate in open_gates)
    solution = system.prepared.solve(opened)
    told = solution.ducts()
    tools = []
    for draw in system.tools.draws.values():
        if set(draw.gates) <= set(opened):
            flow_m3s = system.read((draw.tool,), opened).flow_m3s[draw.tool]
            tools.append(ToolState(draw.tool, flow_m3s, draw.need_m3s))
    return SystemState(
        name=system.motor.name,
        open_gates=opened,
        shut_gates=tuple(gate for gate in system.gates if gate not in opened),
        solution=solution,
        ducts=tuple(told[duct.name] for duct in system.tools.network.ducts),
        tools=tuple(tools),
    )


def state_data(state: AirState, name: str) -> dict[str, Any]:
    """The same for machines: SI units, each in its key's name. Described in this folder's README."""
    return {
        "file": name,
        "shop": state.shop.name,
        "open_gates": [gate for system in state.systems for gate in system.open_gates],
        "systems": {system.name: _system_data(system) for system in state.systems},
    }


def _system_data(system: SystemState) -> dict[str, Any]:
    solution = system.solution
    network = solution.prepared.network
    sizes = {duct.name: duct for duct in network.ducts}
    return {
        "open_gates": list(system.open_gates),
        "shut_gates": list(system.shut_gates),
        "air_density_kg_m3": network.air.density_kg_m3,
        "air_viscosity_pa_s": network.air.viscosity_pa_s,
        "fan_flow_m3s": solution.flow_m3s,
        "fan_static_pressure_pa": solution.fan_pressure_pa,
        "fan_is_estimate": network.fan.is_estimate,
        "fan_error_share": network.fan.error,
        "is_beyond_fan_curve": solution.is_beyond_curve,
        "is_on_rising_part": solution.is_on_rising_part,
        "collector_loss_pa": solution.collector_loss_pa,
        "ducts": {
            duct.name: {
                "diameter_m": sizes[duct.name].diameter_m,
                "area_m2": sizes[duct.name].section_m2,
                "length_m": sizes[duct.name].length_m,
                "flow_m3s": duct.flow_m3s,
                "velocity_ms": duct.velocity_ms,
                "reynolds": duct.reynolds,
                "velocity_pressure_pa": duct.velocity_pressure_pa,
                "total_pressure_upstream_pa": duct.total_upstream_pa,
                "total_pressure_downstream_pa": duct.total_downstream_pa,
                "static_pressure_upstream_pa": duct.static_upstream_pa,
                "static_pressure_downstream_pa": duct.static_downstream_pa,
                "loss_pa": duct.loss_pa,
            }
            for duct in system.ducts
        },
        "tools": {
            tool.tool: {
                "flow_m3s": tool.flow_m3s,
                "need_m3s": tool.need_m3s,
                "share_of_need": tool.flow_m3s / tool.need_m3s,
            }
            for tool in system.tools
        },
    }
