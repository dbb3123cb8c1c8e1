"""A new process, as its record begins: what outlives the one before it, and what does not."""

from sim.checker.facts import read_shop
from sim.checker.form import TOL_S
from sim.checker.step import Line, Step
from sim.checker.tracks import GateTrack, MotorTrack, ToolTrack
from sim.checker.world import STORE_TOL, World

RESUME_WITHIN_S = 60.0
"""Rule C21: a process restarted within the same boot may resume a collector this long after its last beat, seconds."""


def new_run(world: World, step: Step, line: Line) -> None:
    """A `shop` entry: a new process. Latches, stores and what people set outlive it; beliefs do not."""
    old_motors, old_gates = world.motors, world.gates
    boot = line.boot
    same_boot = boot is not None and boot == world.boot
    world.shop = read_shop(line.value)
    world.gates = {}
    for name, gate_facts in world.shop.gates.items():
        gate = old_gates.get(name) or GateTrack(gate_facts)
        gate.facts = gate_facts
        gate.wake()
        if world.shop.damaged:
            gate.held = gate.stuck = False  # forgotten, but every motor wakes out of service: nothing moves (C14)
        world.gates[name] = gate
    world.tools = {name: ToolTrack() for name in world.shop.tools}
    motors: dict[str, MotorTrack] = {}
    for name, facts in world.shop.systems.items():
        motor = old_motors.get(name)
        declared = facts.starts_stored
        if motor is None:
            motor = MotorTrack(store=2.0 if declared is None else min(2.0, declared), store_t=line.t_s)
            motor.locked = bool(facts.starts_locked)
            silent = facts.starts_locked is None  # a record that tells of locks need not be guessed at
            motor.record_lost = motor.locked or (silent and declared is not None and declared < 1.0 - STORE_TOL)
        else:
            _carry_store(world, step, line, name, motor, same_boot, declared)
        motor.out_of_service = motor.out_of_service or facts.out_of_service or world.shop.damaged
        motor.latched = motor.latched and not world.shop.damaged
        motors[name] = motor
    world.motors = motors
    world.boot, world.woken, world.clean = boot, False, False
    world.wake_t = line.t_s
    world.emergency = world.emergency or "emergency" in world.shop.latched
    world.fire = world.fire or "fire" in world.shop.latched
    world.shop_shut = False
    world.setting_t = float("-inf")
    world.messages.clear()
    for circuits in world.circuits.values():
        circuits.clear()
    if not same_boot:
        world.feeder_motor_t.clear()
    world.feeder_tool_t.clear()
    world.feeder_doubt_t.clear()


def _carry_store(
    world: World, step: Step, line: Line, name: str, motor: MotorTrack, same_boot: bool, declared: float | None
) -> None:
    """Rule C8a across a restart: the store is kept, a motor that was on is charged one more, no time is invented."""
    last_t = world.t_s
    lapsed = motor.on and not motor.is_on(last_t)
    was_on = motor.is_on(last_t) and not world.clean
    kept = world.store(name, line.t_s if same_boot else last_t)
    rest_left = motor.rest_until - last_t
    if was_on or lapsed:
        motor.rest_until = last_t + world.shop.systems[name].rest_s if kept < 2.0 - STORE_TOL else motor.rest_until
        rest_left = motor.rest_until - last_t
    if not same_boot:
        motor.rest_until = line.t_s + rest_left if rest_left > 0 else float("-inf")
    charged = max(0.0, kept - 1.0) if was_on else kept
    locked = bool(world.shop.systems[name].starts_locked)
    lost_now = locked and not motor.locked  # one start, and only once a person has cleared the alarm
    motor.locked = locked
    if declared is not None and declared > (1.0 if lost_now else kept) + STORE_TOL:
        step.flag("C8a", line, name, f"{name} wakes with {declared:.3f} starts in store; only {kept:.3f} can be left.")
    fresh = line.t_s - motor.resumed_t >= 3600.0 or not same_boot
    motor.wake()
    if was_on and same_boot and not motor.latched and line.t_s - last_t <= RESUME_WITHIN_S + TOL_S and fresh:
        motor.resume_until = line.t_s + RESUME_WITHIN_S
    motor.rest_until = float("-inf") if lost_now else motor.rest_until
    motor.rest_excuse = line.t_s + world.shop.systems[name].rest_s
    silent = world.shop.systems[name].starts_locked is None
    motor.record_lost = locked or (silent and declared is not None and declared < charged - 0.5)
    motor.store = charged if declared is None else min(1.0 if lost_now else charged, declared)
    motor.store_t = line.t_s
