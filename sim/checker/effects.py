"""What several inputs do alike: a forced stop, a system out of service, a tool that stops."""

from sim.checker.step import Line, Step
from sim.checker.tracks import ToolTrack
from sim.checker.world import World


def force(world: World, step: Step, line: Line, motor: str, rule: str) -> None:
    """A forced stop of this motor: causes are gone, and the step owes an `off` where one was not sent yet."""
    world.consume(motor)
    step.forced.add(motor)
    step.told_off.setdefault(motor, (line, rule))


def take_out(world: World, step: Step, line: Line, motor: str) -> None:
    """Out of service by a person or a door (rule C14): off, and every gate of that system halted if it moves."""
    if motor not in world.motors:
        return
    force(world, step, line, motor, "C14")
    for gate in world.shop.systems[motor].gates:
        step.halts.setdefault(gate, (line, "C14"))


def tool_stops(world: World, name: str, track: ToolTrack, t_s: float) -> None:
    """A tool has stopped at this instant; whether others of its motors ran then is noted, too."""
    track.stop_t = t_s
    motors = world.shop.tool_motors[name]
    track.others_ran = any(
        other != name and world.tools[other].possibly_running()
        for motor in motors
        for other in world.shop.motor_tools[motor]
    )
