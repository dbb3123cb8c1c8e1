"""From a checked shop to what the core needs of it: numbers and names, no pins, no ducts."""

from collections.abc import Mapping

from gatekeeper.control.plan import GatePlan, InputKind, InputPlan, MotorKind, MotorPlan, Plan, Proof, ToolPlan
from gatekeeper.sensing.contact import ContactSettings
from gatekeeper.sensing.detector import DetectorSettings
from gatekeeper.service.air_table import ComputedAir
from gatekeeper.service.care_contacts import refuses
from gatekeeper.shop.model import Gate, Meter, Motor, Shop, Tool
from gatekeeper.shop.model import InputKind as ShopInputKind
from gatekeeper.shop.model import MotorKind as ShopMotorKind

#: A few mains cycles and one poll of the loop, on top of the sensor's own hold.
SENSOR_LAG_S = 0.25
#: A drive that ramps down says that it runs until it stands; our own figure, most ramps are shorter.
DRIVE_RAMP_S = 20.0

_KINDS = {
    ShopMotorKind.COLLECTOR: MotorKind.COLLECTOR,
    ShopMotorKind.TOOL_VACUUM: MotorKind.VACUUM,
    ShopMotorKind.AIR_CLEANER: MotorKind.AIR_CLEANER,
    ShopMotorKind.FILTER_SHAKER: MotorKind.SHAKER,
}

_STOPPING_INPUTS = {
    ShopInputKind.RED_BUTTON: InputKind.EMERGENCY,
    ShopInputKind.FIRE: InputKind.FIRE,
    ShopInputKind.DOOR: InputKind.DOOR,
}

_WHOLE_SHOP = (InputKind.EMERGENCY, InputKind.FIRE)
"""Inputs that always speak for the whole shop, whatever motors they are listed with (C18)."""


def plan_of(shop: Shop, air: ComputedAir | None = None) -> Plan:
    """The plan of a shop.

    Args:
        shop: the checked shop.
        air: what was computed of its ducts: the table of C17, and the clear times of gates for which the file gives
            none. Without it the table is empty, and clear times are those assumed.
    """
    clear_s = air.clear_s if air is not None else {}
    used = {gate for tool in shop.tools.values() for gate in tool.gates}
    plan = Plan(
        motors={name: _motor(motor, shop.meters) for name, motor in shop.motors.items()},
        gates={name: _gate(gate, clear_s.get(name)) for name, gate in shop.gates.items()},
        tools={name: _tool(tool) for name, tool in shop.tools.items()},
        supplies={name: supply.at_once for name, supply in shop.supplies.items()},
        feeders={name: feeder.gap_s for name, feeder in shop.feeders.items()},
        inputs=_inputs(shop),
        air=air.table if air is not None else {},
        remote_start=shop.page.remote_start,
        sweep_gates=tuple(gate for gate in shop.gates if gate not in used),
    )
    plan.check()
    return plan


def _motor(motor: Motor, meters: Mapping[str, Meter]) -> MotorPlan:
    usual = MotorPlan(motor.name)
    is_cleaner, is_shaker = motor.kind is ShopMotorKind.AIR_CLEANER, motor.kind is ShopMotorKind.FILTER_SHAKER
    return MotorPlan(
        name=motor.name,
        kind=_KINDS[motor.kind],
        feeder=motor.feeder,
        spin_down_s=motor.spin_down_s,
        path_minimum_m2=motor.path_minimum_m2,
        relief_m2=motor.relief_m2,
        proof=Proof(motor.proof.value),
        starts_per_hour=motor.starts_per_hour,
        rest_s=motor.rest_s,
        coast_s=motor.coast_s,
        release_s=motor.release_s + _says_still_after_s(motor, meters),
        confirm_s=motor.confirm_s if motor.confirmed_by is not None else None,
        settle_s=motor.settle_s,
        resume=motor.resume,
        run_on_min_s=motor.runs_s if is_cleaner else usual.run_on_min_s,
        run_on_max_s=motor.runs_longest_s if is_cleaner else usual.run_on_max_s,
        follows=motor.follows,
        shake_s=motor.runs_s if is_shaker else usual.shake_s,
    )


def _says_still_after_s(motor: Motor, meters: Mapping[str, Meter]) -> float:
    """How much later than the current itself its sensor says "still": a motor is not judged before (C9)."""
    if motor.confirmed_by is None:
        return 0.0
    if motor.confirmed_by.drive is not None:
        return DRIVE_RAMP_S
    if motor.confirmed_by.channel is not None:
        return DetectorSettings().stop_hold_s + SENSOR_LAG_S
    if motor.confirmed_by.metered is not None:
        return 2 * meters[motor.confirmed_by.metered.meter].every_s + SENSOR_LAG_S
    return ContactSettings().stop_hold_s + SENSOR_LAG_S


def _gate(gate: Gate, computed_clear_s: float | None) -> GatePlan:
    return GatePlan(
        name=gate.name,
        system=gate.motor,
        area_m2=gate.area_m2,
        travel_s=gate.travel_s,
        actuated=gate.is_actuated,
        has_switch=gate.has_open_switch,
        sees_shut=gate.has_shut_switch or not gate.has_open_switch,
        supply=gate.supply,
        clear_s=gate.clear_s if gate.clear_is_given or computed_clear_s is None else computed_clear_s,
        dead_s=gate.dead_s,
        can_halt=gate.can_halt,
        spring_return=gate.spring_return,
        as_extra=gate.as_extra,
    )


def _tool(tool: Tool) -> ToolPlan:
    return ToolPlan(
        name=tool.name,
        gates=tool.gates,
        spin_down_s=tool.spin_down_s,
        longest_run_s=tool.longest_run_s,
        hold_s=tool.hold_s,
        feeder=tool.feeder,
    )


def _inputs(shop: Shop) -> dict[str, InputPlan]:
    inputs: dict[str, InputPlan] = {}
    for name, part in shop.inputs.items():
        kind = InputKind.DOOR if refuses(shop, part) else _STOPPING_INPUTS.get(part.kind)
        if kind is not None:
            inputs[name] = InputPlan(name, kind, () if kind in _WHOLE_SHOP else part.systems)
    return inputs
