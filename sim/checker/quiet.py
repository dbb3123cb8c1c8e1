"""Steps in which only leases are renewed: nothing but time has changed, and most of them can be passed over.

Every rule about time turns at an instant that follows from what the tracks hold: an order and its travel, a stop and
its delay. `next_turn` gives the earliest of them; before it, and with no obligation open, a quiet step cannot be blamed
for anything but its renewals. An instant that were missing here could only make a blame come later, never make one.
"""

from sim.checker.form import TOL_S
from sim.checker.step import Step
from sim.checker.tracks import AFTER_PRESS_S, SWITCH_GRACE_S, GateTrack, MotorTrack, ToolTrack
from sim.checker.world import World

LONGEST_S = 60.0
"""A quiet step this long after the last one that was judged in full is judged in full, whatever turns, seconds."""


def is_quiet(step: Step) -> bool:
    """Whether the step renews leases and does nothing else."""
    return step.kinds <= {"tick", "motor_command"} and all(line.word == "renew" for line in step.of("motor_command"))


def next_turn(world: World, t_s: float) -> float:
    """The first instant after `t_s` at which any rule may turn without an entry that says so."""
    ahead, since = t_s + LONGEST_S, t_s - TOL_S
    found: list[float] = []
    for gate in world.gates.values():
        _of_gate(found, gate)
    for name, tool in world.tools.items():
        _of_tool(found, world, name, tool)
    for name, motor in world.motors.items():
        _of_motor(found, world, name, motor)
    # A turn counts from just after its instant to well within the tolerance of the rules.
    return min(ahead, min((instant for instant in found if since < instant), default=ahead)) - TOL_S


def _of_gate(found: list[float], gate: GateTrack) -> None:
    travel_s, dead_s = gate.facts.travel_s, gate.facts.dead_s
    moved = gate.command_t + travel_s
    found += (moved, moved + dead_s, moved + dead_s + SWITCH_GRACE_S, gate.released_t + AFTER_PRESS_S)


def _of_tool(found: list[float], world: World, name: str, tool: ToolTrack) -> None:
    facts = world.shop.tools[name]
    found.append(max(tool.start_t, tool.vouched_t) + facts.longest_run_s)
    held_t = tool.stale_t + facts.hold_s
    found.append(held_t)
    stops = (held_t, tool.back_t) if tool.stop_t is None else (held_t, tool.back_t, tool.stop_t)
    for motor in world.shop.tool_motors[name]:
        for run_on_s in world.run_on_s(name, motor):
            found += [stop_t + run_on_s for stop_t in stops]
    for gate in facts.gates:
        if gate in world.gates:
            found += [stop_t + world.gates[gate].facts.clear_s for stop_t in stops]


def _of_motor(found: list[float], world: World, name: str, motor: MotorTrack) -> None:
    facts = world.shop.systems[name]
    found += (
        motor.rest_until,
        motor.rest_excuse,
        motor.resume_until,
        world.store_ready_t(name),
        world.wake_t + facts.settle_s,
        motor.on_t + (facts.confirm_s or 0.0),
        world.start_gap_t(name, doubtful=False),
        world.start_gap_t(name, doubtful=True),
    )
    for since in (motor.off_t, motor.told_t, motor.seen_t, motor.mode_t, motor.ran_until):
        found.append(since + facts.coast_s)
        if facts.release_s > facts.coast_s:
            found.append(since + facts.release_s)
    if motor.path_lost_t is not None:
        found.append(motor.path_lost_t + world.shop.worst_travel_s() + 2.0)
    for run in motor.runs:
        for_s = run.for_s or 0.0
        found += (run.since_t + for_s, motor.on_t + for_s)
