"""What each fact of the shop (sensors, switches, circuits) changes in what the core believes. No decision is made here.

People's requests are in ``people``, the passing of time in ``timers``.
"""

from gatekeeper.control.messages import (
    AirSeen,
    Event,
    HandSeen,
    InputSeen,
    Lapsed,
    Missed,
    MotorSeen,
    QuietSeen,
    ShopKeySeen,
    SwitchSeen,
    ToolSeen,
)
from gatekeeper.control.plan import InputKind
from gatekeeper.control.tables import GateState
from gatekeeper.control.units import Gate, Motor, Tool
from gatekeeper.control.world import World

#: A motor that ran and is seen still while on has this long to be seen again, where its plan names no time. Our own.
CONFIRM_AGAIN_S = 3.0


def take(world: World, event: Event, now_s: float) -> None:
    """Take in one fact of the shop."""
    match event:
        case ToolSeen(tool=name, state=state, fresh=fresh):
            tool_seen(world, world.tools[name], state, fresh, now_s)
        case SwitchSeen(gate=name, state=state):
            _switch_seen(world, world.gates[name], state, now_s)
        case Missed(gate=name):
            missed(world, world.gates[name])
        case Lapsed(motor=name):
            lapsed(world, world.motors[name], now_s)
        case MotorSeen(motor=name, state=state):
            _motor_seen(world, world.motors[name], state, now_s)
        case AirSeen(motor=name, moving=moving):
            world.motors[name].air = moving
        case InputSeen(input=name, state=state):
            _circuit_seen(world, name, state)
        case HandSeen(motor=name, state=state):
            _hand_seen(world, world.motors[name], state, now_s)
        case ShopKeySeen(state=state):
            _key_seen(world, state == "open", now_s)
        case QuietSeen(quiet=quiet):
            _quiet_seen(world, quiet)
        case _:
            raise TypeError(f"not a fact of the shop: {event!r}")


def lapsed(world: World, motor: Motor, now_s: float) -> None:
    """A lease ran out before it was renewed: a forced stop (C23)."""
    if motor.on and motor.name not in world.force_off:
        world.force(motor, "C23", f"{motor.name}: the lease ran out before it was renewed")
        world.raise_alarm("lease_lost", motor.name, now_s, rule="C23")


# ---------------------------------------------------------------- tools


def may_be_cause(world: World, motor: Motor) -> bool:
    """True where a start seen now is a fresh cause for a motor (C21): nothing blocks it, and it would be awake."""
    return (
        not world.settling
        and world.blocked(motor) is None
        and motor.hand == "auto"
        and motor.latch is None
        and not motor.store.locked
        and world.shop_open
        and not (motor.is_cleaner and world.quiet)
    )


def systems_woken_by(world: World, tool: Tool) -> list[Motor]:
    """The motors that a tool's start asks for: its systems, and the room air cleaner."""
    return [motor for motor in world.motors.values() if not motor.is_shaker and tool in world.tools_of[motor.name]]


def tool_seen(world: World, tool: Tool, state: str, fresh: bool, now_s: float) -> None:
    before = tool.reading
    if state == before:
        return
    tool.reading = state
    if state == "running":
        # Counted as stopped because nobody answered, it stays so: a flicker of a sensor stuck on is no new run (C12).
        unanswered = tool.overlong and tool.stale_at is not None and now_s < tool.stale_at + tool.plan.hold_s
        resumes = before == "stale" and tool.was_running and (tool.counting or unanswered)
        tool.said_stopped = False
        tool.was_running = False
        tool.hold_until = tool.stale_at = None
        if resumes:
            question(world, tool, now_s)  # its run may have grown too long meanwhile
            return
        _began(world, tool, before == "stopped" and fresh, now_s)
    elif state == "stopped":
        cut_until_now = (before == "running" or tool.was_running) and not tool.said_stopped
        tool.was_running = tool.said_stopped = tool.found = tool.overlong = False
        tool.hold_until = tool.stale_at = None
        tool.shut_start = False
        if tool.counting:
            count_stopped(world, tool, now_s)
        elif before == "running" or before == "stale":
            if cut_until_now:
                tool.stopped_at = now_s  # it was counted as stopped already, and stops only now: the latest binds (C5)
            _let_clear(world, tool, now_s)
        tool.ask_at = tool.answer_by = None
        tool.asked = False
    else:
        tool.stale_at = now_s
        tool.was_running = before == "running"
        tool.overlong = tool.overlong and not tool.said_stopped
        tool.said_stopped = False
        if tool.was_running and tool.counting:
            tool.hold_until = now_s + tool.plan.hold_s


def _began(world: World, tool: Tool, seen_to_start: bool, now_s: float) -> None:
    world.order += 1
    tool.order = world.order
    tool.started_at = now_s
    tool.overlong = tool.asked = False
    tool.answer_by = None
    tool.ask_at = now_s + tool.plan.longest_run_s
    if not any(other.counting for other in world.tools.values()):
        for motor in world.motors.values():
            motor.cut_from = now_s
    tool.counting = True
    woken = systems_woken_by(world, tool)
    causes = {motor.name for motor in woken if seen_to_start and may_be_cause(world, motor)}
    resumed = {motor.name for motor in woken if not seen_to_start and motor.resume and world.blocked(motor) is None}
    tool.causes = frozenset(causes | resumed)
    tool.resumed_until = world.resume_until if resumed else None
    served = [world.motors[name] for name in world.systems_of[tool.name]]
    tool.found = not any(motor.name in tool.causes or motor.on for motor in served)
    tool.shut_start = not world.shop_open
    if tool.plan.feeder is not None:
        note_inrush(world, tool.plan.feeder, now_s)
    for name in tool.plan.gates:
        gate = world.gates[name]
        if gate.state not in (GateState.OPENING, GateState.STUCK):
            gate.tries = 0
            gate.shaken = False
    for motor in woken:
        motor.parked = tuple(name for name in tool.plan.gates if world.gates[name].plan.system == motor.name)
        if motor.flush:
            motor.flush, motor.flush_from, motor.flush_until = (), None, None
        if not world.shop_open:
            world.raise_alarm("shop_shut_start", tool.name, now_s, rule="C27")


def count_stopped(world: World, tool: Tool, now_s: float) -> None:
    """A tool no longer counts as running: its delay and its clear time begin."""
    tool.counting = False
    tool.stopped_at = now_s
    if not any(other.counting for other in world.tools.values()):
        for motor in world.motors.values():
            if motor.cut_from is not None:
                world.note_cut(motor, motor.cut_s + now_s - motor.cut_from)
                motor.cut_from = None
    for name in world.systems_of[tool.name]:
        world.motors[name].parked = tuple(gate for gate in tool.plan.gates if world.gates[gate].plan.system == name)
    _let_clear(world, tool, now_s)


def _let_clear(world: World, tool: Tool, now_s: float) -> None:
    for name in tool.plan.gates:
        gate = world.gates[name]
        gate.clear_until = max(gate.clear_until or 0.0, now_s + gate.plan.clear_s)


def question(world: World, tool: Tool, now_s: float) -> None:
    """A run past all sense: asked about, then counted as stopped (C12)."""
    # Only a sensor that says "running" can be stuck on; a lost one has its hold.
    if tool.counting and tool.reading == "running" and tool.ask_at is not None and now_s >= tool.ask_at:
        if not tool.asked:
            tool.asked = True
            tool.answer_by = now_s + (world.plan.answer_s if world.shop_open else 0.0)
        elif not world.shop_open and tool.answer_by is not None:
            tool.answer_by = min(tool.answer_by, now_s)
        if tool.answer_by is not None and now_s >= tool.answer_by:
            tool.answer_by = tool.ask_at = None
            tool.overlong = True
            count_stopped(world, tool, now_s)


def note_inrush(world: World, feeder: str, now_s: float) -> None:
    """An inrush was seen or made on a feeder (C22)."""
    world.feeder_free_at[feeder] = now_s + world.plan.feeders[feeder]


# ---------------------------------------------------------------- gates


def _switch_seen(world: World, gate: Gate, state: str, now_s: float) -> None:
    gate.switch, gate.sure = state, True
    if state == "open" and gate.doubt_until is not None and now_s < gate.doubt_until:
        # Believed when the time of its shutting is over.
        world.gate_machine.fire(gate, "saw_open" if gate.moves else "saw_between")
        return
    was_opening, was_shutting = gate.state is GateState.OPENING, gate.state is GateState.SHUTTING
    world.gate_machine.fire(gate, f"saw_{state}")
    if (was_opening and state == "open") or (was_shutting and state == "shut"):
        arrived(gate)


def arrived(gate: Gate) -> None:
    """A move has come to its end: its misses are forgotten."""
    gate.arrive_by = None
    gate.tries = 0
    gate.shaken = False


def missed(world: World, gate: Gate) -> None:
    if gate.sure and gate.state in (GateState.OPEN, GateState.SHUT) and gate.switch == str(gate.state):
        why = f"{gate.name}: its driver reports a miss, its switch says {gate.switch}; the switch is believed"
        world.recorder.write("miss_doubted", gate.name, gate.switch, rule="C10", why=why)
        return
    counts = gate.state is not GateState.STUCK
    world.gate_machine.fire(gate, "missed")
    gate.arrive_by = None
    if not counts:
        return
    gate.tries += 1
    if gate.tries > gate.plan.retries:
        world.gate_machine.fire(gate, "gave_up")
        gate.hand = gate.hand_until = gate.hand_why = None
        world.keep(f"stuck/{gate.name}", True)


# ---------------------------------------------------------------- motors and circuits


def _motor_seen(world: World, motor: Motor, state: str, now_s: float) -> None:
    motor.sensor_lost = state == "lost"
    if state == "lost":
        motor.seen = motor.confirm_by = None
        motor.confirmed = motor.confirmed or motor.on
        return
    before, motor.seen = motor.seen, state
    if state == "running":
        if motor.on:
            motor.confirmed = True
            motor.confirm_by = None
        elif motor.stop_check_at is None and before != "running":
            # Judged after the release time (C9): the switch that was turned to Hand may speak a moment later.
            motor.stop_check_at = now_s + motor.plan.release_s
    else:
        motor.overrun = False
        motor.stop_check_at = None if not motor.on else motor.stop_check_at
        if before == "running" and not motor.on:
            motor.coast_until = now_s + motor.plan.coast_s
        if motor.on and motor.confirmed and motor.confirm_by is None:
            # It ran and is seen still: time to be seen again, no second start of its own (a trip is a person's).
            motor.confirm_by = now_s + (motor.plan.confirm_s or CONFIRM_AGAIN_S)
            motor.retry_used = True


def _circuit_seen(world: World, name: str, state: str) -> None:
    world.see_circuit(name, state)
    source = world.plan.inputs[name]
    if state == "made":
        return
    if source.kind is InputKind.EMERGENCY:
        if not world.emergency:
            world.keep("emergency", True)
        world.emergency = True
        everything_off(world, "C13", f"{name}: the emergency circuit opened")
    elif source.kind is InputKind.FIRE:
        if not world.fire:
            world.keep("fire", True)
        world.fire = True
        everything_off(world, "C24", f"{name}: heat, smoke or the building's alarm")
    else:
        for motor in world.motors.values():
            if not source.systems or motor.name in source.systems:
                block_system(world, motor, "C14", f"{name} is open")


def everything_off(world: World, rule: str, why: str) -> None:
    """Every motor is told off and every gate stands still (C13, C24)."""
    for motor in world.motors.values():
        world.force(motor, rule, why)
    for gate in world.gates.values():
        world.halt(gate, rule, why)
        gate.hand = gate.hand_until = gate.hand_why = None


def block_system(world: World, motor: Motor, rule: str, why: str) -> None:
    """A motor is forced off and each moving gate of its system is halted (C14)."""
    world.force(motor, rule, why)
    for gate in world.gates_of[motor.name]:
        gate.hand = gate.hand_until = gate.hand_why = None
        if gate.moves or gate.busy_until is not None:
            world.halt(gate, rule, why)


def _hand_seen(world: World, motor: Motor, state: str, now_s: float) -> None:
    before, motor.hand = motor.hand, state
    if state == before:
        return
    if state == "off":
        block_system(world, motor, "C25", f"the switch of {motor.name} was turned to Off")
    elif state == "hand":
        motor.overrun = False
        world.force(motor, "C25", f"the switch of {motor.name} was turned to Hand")
    if before == "hand":
        motor.coast_until = now_s + motor.plan.coast_s
        if motor.seen == "running":
            motor.stop_check_at = now_s + max(motor.plan.release_s, motor.plan.coast_s)


def _key_seen(world: World, shop_open: bool, now_s: float) -> None:
    """Unlocking starts nothing: shutting the shop uses up what has not started yet (C21, C27)."""
    if world.shop_open and not shop_open:
        for motor in world.motors.values():
            if not motor.on:
                world.use_up(motor)
    world.shop_open = shop_open
    for tool in world.tools.values():
        question(world, tool, now_s)  # nobody is there any more to answer (C12)


def _quiet_seen(world: World, quiet: bool) -> None:
    world.quiet = quiet
    if quiet:
        for motor in world.motors.values():
            if motor.is_cleaner:
                motor.run_until = motor.run_what = None
                for tool in world.tools_of[motor.name]:
                    tool.causes -= {motor.name}
