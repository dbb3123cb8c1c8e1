"""What people must be told now: the standing messages and the sign lamps, worked out anew each step (C16, C20)."""

from math import inf

from gatekeeper.control.alarms import FAULTS, UNTIL_CLEARED, Standing, sentence, short_of_air
from gatekeeper.control.plan import InputKind
from gatekeeper.control.tables import STUCK
from gatekeeper.control.units import Gate, Motor, Tool
from gatekeeper.control.world import World

#: A tool that has run this long while its collector waits is cutting without air; longer than any gate's travel should
#: take and than the gap of C22. Our own.
NO_AIR_AFTER_S = 6.0
#: The same tools have run together for so long before it is said that their air is not enough: two tools on one circuit
#: both count as running until their current tells them apart. Our own.
SHORT_AFTER_S = 3.0


def standing_reasons(world: World, now_s: float) -> dict[tuple[str, str], str]:
    """Every message whose reason stands now, as (code, subject) to the rule behind it."""
    found: dict[tuple[str, str], str] = {}
    not_made = world.unhealthy if world.awake else _nothing
    for name in not_made(InputKind.FIRE):
        found["fire", name] = "C24"
    for name in not_made(InputKind.EMERGENCY):
        found["emergency", name] = "C13"
    if world.sparks:
        found["sparks", "the shop"] = "C24"
    elif world.fire and not not_made(InputKind.FIRE):
        found["fire", "not reset yet"] = "C24"
    if world.emergency and not not_made(InputKind.EMERGENCY):
        found["emergency", "not reset yet"] = "C13"
    for name in not_made(InputKind.DOOR):
        found["door_open", name] = "C14"
    for gate in world.gates.values():
        if gate.state is STUCK:
            found["gate_stuck", gate.name] = "C10"
        elif gate.held is not None:
            found["gate_held", gate.name] = "C26"
    for motor in world.motors.values():
        _motor_reasons(world, motor, found, now_s)
    for tool in world.tools.values():
        if tool.reading != "stopped":
            _tool_reasons(world, tool, found, now_s)
    return found


def _nothing(kind: InputKind) -> tuple[str, ...]:
    """Of circuits that were not read yet nobody says that they are open."""
    return ()


def _motor_reasons(world: World, motor: Motor, found: dict[tuple[str, str], str], now_s: float) -> None:
    name = motor.name
    if motor.out_of_service is not None:
        found["out_of_service", name] = "C14"
    if motor.latch is not None:
        found[motor.latch if motor.latch in FAULTS else "did_not_start", name] = "C9"
    if motor.store.locked:
        found["starts_lost", name] = "C8"
    if world.plan.air and world.awake:
        lasts = now_s >= short_from(world, motor)
        for short in short_tools(world, motor):
            if lasts or ("short_of_air", short) in world.alarms:
                found["short_of_air", short] = "C17"
    if motor.overrun and world.awake:  # while the sensors settle, its switch may not have been read yet (C15)
        found["runs_when_off", name] = "C9"
    if world.awake and world.path_lost(motor, now_s) and motor.fan_runs(now_s):
        found["no_path", name] = "C3"
    if motor.sensor_lost:
        found["motor_sensor_lost", name] = "C12"


def short_tools(world: World, motor: Motor) -> list[str]:
    """The running tools for which this motor's air is not enough (C17)."""
    running = frozenset(tool.name for tool in world.tools_of[motor.name] if tool.wants_gates)
    answer = world.plan.air.get((motor.name, running))
    return [short for short, _ in answer.short if short in running] if answer else []


def short_from(world: World, motor: Motor) -> float:
    """From when a shortage of the tools that run now is told, where it was not told before."""
    tools = world.tools_of[motor.name]
    starts = [tool.started_at for tool in tools if tool.wants_gates and tool.started_at is not None]
    stops = [tool.stopped_at for tool in tools if tool.stopped_at is not None]
    return max((*starts, *stops), default=-inf) + SHORT_AFTER_S


def _tool_reasons(world: World, tool: Tool, found: dict[tuple[str, str], str], now_s: float) -> None:
    if tool.reading == "stale":
        found["sensor_lost", tool.name] = "C12"
    if tool.asked and tool.counting:
        found["still_running", tool.name] = "C12"
    if tool.overlong and tool.reading == "running":
        found["counted_stopped", tool.name] = "C12"
    if not tool.wants_gates or not world.awake:
        return
    served = [world.motors[name] for name in world.systems_of[tool.name]]
    running = [motor for motor in served if motor.on or motor.hand == "hand"]
    if running and any(motor not in running and not _comes(world, motor, now_s) for motor in served):
        found["one_system_only", tool.name] = "C18"
    if running:
        doubted = {name for motor in served for name in motor.air_doubt}
        if any(not may_open(world, gate) for gate in tool.plan.gates) or doubted.issuperset(tool.plan.gates):
            found["not_collected", tool.name] = "C2"
    elif tool.found:
        found["found_running", tool.name] = "C21"
    elif tool.counting and all(_is_hopeless(world, tool, motor, now_s) for motor in served):
        found["no_air", tool.name] = "C16"


def _comes(world: World, motor: Motor, now_s: float) -> bool:
    """True where a motor that stands has a cause to start, and nothing has kept it from that for too long."""
    return world.cause_stands(motor, now_s) and not (motor.latch or world.blocked(motor) or _waits_long(motor, now_s))


def _waits_long(motor: Motor, now_s: float) -> bool:
    return motor.wait_from is not None and now_s >= motor.wait_from + NO_AIR_AFTER_S


def _is_hopeless(world: World, tool: Tool, motor: Motor, now_s: float) -> bool:
    """True where a motor will not come for a tool, or has kept it waiting for too long."""
    if not world.is_cause(tool, motor, now_s):
        return True
    if not all(may_open(world, gate) for gate in tool.plan.gates):
        return True
    return _waits_long(motor, now_s)


def may_open(world: World, name: str) -> bool:
    """False where a gate neither is open nor will be by itself; an unswitched hand gate is its person's."""
    gate = world.gates[name]
    return gate.is_open or gate.can_serve or (not gate.plan.actuated and not gate.plan.has_switch)


def tell(world: World, now_s: float) -> None:
    """Raise and clear messages so that they are exactly those whose reasons stand, and those that wait for a person."""
    reasons = standing_reasons(world, now_s)
    for key, rule in reasons.items():
        if key not in world.alarms:
            code, subject = key
            world.alarms[key] = Standing(now_s, now_s)
            value: dict[str, object] = {"what": "raised", "code": code, "heap": FAULTS[code].heap}
            said = sentence(code, subject)
            if code == "short_of_air":
                running = [tool.name for tool in world.tools.values() if tool.wants_gates]
                missing = world.plan.missing_air(subject, running)
                value["missing"] = round(missing, 3)
                said = short_of_air(subject, missing)
            world.recorder.write("message", subject, value, rule=rule, why=said)
    for code, subject in [key for key in world.alarms if key not in reasons and key[0] not in UNTIL_CLEARED]:
        del world.alarms[code, subject]
        world.recorder.write("message", subject, {"what": "cleared", "code": code, "heap": FAULTS[code].heap})


def new_signs(world: World, now_s: float) -> list[tuple[str, str]]:
    """What each sign lamp shows that did not show it before: coming, ready, no air; at a gate moving soon or held."""
    shown, new = world.signs, []
    for gate in world.gates.values():
        word = _gate_sign(gate)
        # One lamp for a gate and a tool of one name: the tool's word counts.
        if shown.get(gate.name, "dark") != word and gate.name not in world.tools:
            new.append((gate.name, word))
    for tool in world.tools.values():
        word = "dark" if tool.reading == "stopped" else _tool_sign(world, tool, now_s)
        if shown.get(tool.name, "dark") != word:
            new.append((tool.name, word))
    return new


def _gate_sign(gate: Gate) -> str:
    if gate.free_at is not None:
        return "moving_soon"
    return "held" if gate.held is not None or gate.state is STUCK else "dark"


def _tool_sign(world: World, tool: Tool, now_s: float) -> str:
    if not tool.wants_gates:
        return "dark"
    if tool.shut_start and not world.shop_open:
        return "shop_shut"
    served = [world.motors[name] for name in world.systems_of[tool.name]]
    if not any(motor.on or motor.hand == "hand" or world.cause_stands(motor, now_s) for motor in served):
        return "no_air"
    if any(not may_open(world, name) for name in tool.plan.gates):
        return "no_air"
    gates_ready = all(world.gates[name].is_open or not world.gates[name].plan.actuated for name in tool.plan.gates)
    motors_ready = any((motor.on and motor.confirmed) or motor.hand == "hand" for motor in served)
    return "ready" if gates_ready and motors_ready else "coming"
