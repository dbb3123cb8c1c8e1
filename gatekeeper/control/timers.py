"""What the passing of time changes in what the core believes: moves end, clear times, holds, runs and leases run out.

``advance`` is called at the beginning of each step, before the event. No decision is made here.
"""

from gatekeeper.control.intake import arrived, count_stopped, lapsed, missed, question, tool_seen
from gatekeeper.control.tables import GateState
from gatekeeper.control.units import Gate, Motor, Tool
from gatekeeper.control.world import World


def advance(world: World, now_s: float, change_s: float) -> None:
    """Bring every timer up to date; before ``change_s`` only leases and causes can have run out."""
    if now_s >= change_s:
        if not world.awake and world.settle_until is not None and now_s >= world.settle_until:
            _settled(world, now_s)
        for gate in world.gates.values():
            _advance_gate(world, gate, now_s)
        for tool in world.tools.values():
            if tool.reading != "stopped" or tool.resumed_until is not None:
                _advance_tool(world, tool, now_s)
    for motor in world.motors.values():
        _advance_motor(world, motor, now_s)


def _settled(world: World, now_s: float) -> None:
    world.awake = True
    world.settle_until = None
    for motor in world.motors.values():
        if motor.resume:
            motor.resume = False
            if any(motor.name in tool.causes for tool in world.tools_of[motor.name]):
                world.resumed_s = now_s
    for tool in world.tools.values():
        if tool.reading == "unknown":
            tool_seen(world, tool, "stale", False, now_s)
            world.recorder.write(
                "tool", tool.name, "stale", rule="C12", why=f"{tool.name}: no reading since the controller woke"
            )


def _advance_gate(world: World, gate: Gate, now_s: float) -> None:
    if gate.arrive_by is not None and now_s >= gate.arrive_by:
        target = {GateState.OPENING: "open", GateState.SHUTTING: "shut"}.get(gate.state)
        if target is None:
            gate.arrive_by = None
        elif _has_arrived(gate, target):
            world.gate_machine.fire(gate, "arrived")
            arrived(gate)
        else:
            world.recorder.write(
                "gate_late", gate.name, target, rule="C10", why=f"{gate.name}: the switch does not say {target} in time"
            )
            missed(world, gate)
    if gate.busy_until is not None and now_s >= gate.busy_until:
        gate.busy_until = None
    if gate.doubt_until is not None and now_s >= gate.doubt_until:
        gate.doubt_until = None
        if gate.state is GateState.UNPROVEN and gate.switch == "open" and gate.sure:
            world.gate_machine.fire(gate, "saw_open")
    if gate.clear_until is not None and now_s >= gate.clear_until:
        gate.clear_until = None
    if gate.free_at is not None and now_s >= gate.free_at:
        gate.free_at = None
    if gate.hand_until is not None and now_s >= gate.hand_until:
        gate.hand = gate.hand_until = gate.hand_why = None


def _has_arrived(gate: Gate, target: str) -> bool:
    if not gate.plan.has_switch:
        return True
    if target == "shut" and not gate.plan.sees_shut:
        return gate.switch != "open"
    return gate.switch == target


def _advance_tool(world: World, tool: Tool, now_s: float) -> None:
    if tool.hold_until is not None and now_s >= tool.hold_until:
        tool.hold_until = None
        if tool.counting:
            count_stopped(world, tool, now_s)
    question(world, tool, now_s)
    if tool.resumed_until is not None and now_s >= tool.resumed_until:
        tool.resumed_until = None
        tool.causes = frozenset(name for name in tool.causes if world.motors[name].on)
        tool.found = not any(world.motors[name].on for name in world.systems_of[tool.name])


def _advance_motor(world: World, motor: Motor, now_s: float) -> None:
    for tool in world.tools_of[motor.name]:
        if motor.name in tool.causes and not world.is_cause(tool, motor, now_s):
            tool.causes -= {motor.name}  # over once and for all: a longer delay set later brings no cause back
    if motor.coast_until is not None and now_s >= motor.coast_until:
        motor.coast_until = None
    if motor.run_until is not None and now_s >= motor.run_until:
        motor.run_until = motor.run_what = None
    if motor.stop_check_at is not None and now_s >= motor.stop_check_at:
        motor.stop_check_at = None
        motor.overrun = not motor.on and motor.seen == "running" and motor.hand != "hand"
    if motor.lease_is_over(now_s):
        lapsed(world, motor, now_s)
    if motor.on and motor.confirm_by is not None and now_s >= motor.confirm_by:
        _not_confirmed(world, motor, now_s)
    if motor.flush_until is not None and now_s >= motor.flush_until:
        motor.flush, motor.flush_from, motor.flush_until = (), None, None


def _not_confirmed(world: World, motor: Motor, now_s: float) -> None:
    motor.confirm_by = None
    again = (
        not motor.retry_used
        and world.cause_stands(motor, now_s)
        and motor.store.has_start(now_s)
        and world.blocked(motor) is None
        and (not motor.path_binds or world.enough(motor, world.open_area(motor)))
    )
    if again:
        motor.retry_used = motor.retrying = True
        world.force_off[motor.name] = ("C9", f"{motor.name} was not seen to run in time; one retry")
        return
    code = "stopped_itself" if motor.confirmed else "did_not_start"
    world.force(motor, "C9", f"{motor.name} was not seen to run in time; latched")
    motor.latch = code
    world.keep(f"latched/{motor.name}", code)


def advance_flush(world: World, motor: Motor, now_s: float) -> None:
    """Go on to the first branch that is still to be cleared and can be (C16); called when the event is taken in."""
    while motor.flush:
        gate = world.gates[motor.flush[0]]
        if gate.is_open and motor.flush_from is None:
            motor.flush_from = now_s
        done = motor.flush_from is not None and now_s >= motor.flush_from + gate.plan.clear_s
        if gate.can_serve and not done:
            return
        motor.flush, motor.flush_from = motor.flush[1:], None
        if not motor.flush:
            motor.flush_until = None
