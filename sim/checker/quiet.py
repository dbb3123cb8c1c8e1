"""Steps in which only leases are renewed: nothing but time has changed, and most of them can be passed over.

Every rule about time turns at an instant that follows from what the tracks hold: an order and its travel, a stop and
its delay. `next_turn` gives the earliest of them; before it, and with no obligation open, a quiet step cannot be blamed
for anything but its renewals. An instant that were missing here could only make a blame come later, never make one.
"""

from collections.abc import Iterator

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
    ahead = t_s + LONGEST_S
    for instant in _instants(world):
        # A turn counts from just after its instant to well within the tolerance of the rules.
        if t_s < instant + TOL_S < ahead:
            ahead = instant + TOL_S
    return ahead - 2 * TOL_S


def _instants(world: World) -> Iterator[float]:
    for gate in world.gates.values():
        yield from _of_gate(gate)
    for name, tool in world.tools.items():
        yield from _of_tool(world, name, tool)
    for name, motor in world.motors.items():
        yield from _of_motor(world, name, motor)


def _of_gate(gate: GateTrack) -> Iterator[float]:
    travel_s, dead_s = gate.facts.travel_s, gate.facts.dead_s
    yield gate.command_t + travel_s
    yield gate.command_t + dead_s + travel_s
    yield gate.command_t + dead_s + travel_s + SWITCH_GRACE_S
    yield gate.released_t + AFTER_PRESS_S


def _of_tool(world: World, name: str, tool: ToolTrack) -> Iterator[float]:
    facts = world.shop.tools[name]
    yield max(tool.start_t, tool.vouched_t) + facts.longest_run_s
    yield tool.stale_t + facts.hold_s
    stops = [tool.stale_t + facts.hold_s, tool.back_t]
    if tool.stop_t is not None:
        stops.append(tool.stop_t)
    for stop_t in stops:
        for motor in world.shop.tool_motors[name]:
            for run_on_s in world.run_on_s(name, motor):
                yield stop_t + run_on_s
        for gate in facts.gates:
            if gate in world.gates:
                yield stop_t + world.gates[gate].facts.clear_s


def _of_motor(world: World, name: str, motor: MotorTrack) -> Iterator[float]:
    facts = world.shop.systems[name]
    yield motor.rest_until
    yield motor.rest_excuse
    yield motor.resume_until
    yield world.store_ready_t(name)
    yield world.wake_t + facts.settle_s
    yield motor.on_t + (facts.confirm_s or 0.0)
    for doubtful in (False, True):
        yield world.start_gap_t(name, doubtful=doubtful)
    for since in (motor.off_t, motor.told_t, motor.seen_t, motor.mode_t, motor.ran_until):
        yield since + facts.coast_s
        yield since + max(facts.release_s, facts.coast_s)
    if motor.path_lost_t is not None:
        yield motor.path_lost_t + world.shop.worst_travel_s() + 2.0
    for run in motor.runs:
        for since in (run.since_t, motor.on_t):
            yield since + (run.for_s or 0.0)
