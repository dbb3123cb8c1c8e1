"""What people ask for: every request is either done or refused with its reason, and always answered (C14, C16, C26).

Stop and out of service are never refused. Nothing here moves a gate or switches a motor: a request changes what is
wanted, and the policy does the rest in the same step.
"""

from collections.abc import Callable

from gatekeeper.control.alarms import FAULTS, Standing, gate_called
from gatekeeper.control.intake import block_system, count_stopped, everything_off, may_be_cause
from gatekeeper.control.messages import Answer, Requested, SettingChanged
from gatekeeper.control.plan import InputKind
from gatekeeper.control.policy import RELEASE_PAUSE_S
from gatekeeper.control.tables import GateState
from gatekeeper.control.units import Gate, Motor, Tool
from gatekeeper.control.world import World

#: A run that names no time lasts this long, and none lasts longer than the second.
RUN_DEFAULT_S = 600.0
RUN_LONGEST_S = 14400.0
#: A gate asked shut by hand is tried for this long.
SHUT_BY_HAND_S = 30.0
#: A spin-down delay may be set between nothing and this.
SPIN_DOWN_LONGEST_S = 3600.0


#: What to do after sparks, in the answer and in the message (common practice: air and a blow raise a dust cloud).
SPARKS_SEEN = (
    "Every motor is off. Do not open bin or filter: air feeds embers. Watch and smell for smouldering; "
    "if there is any, or in doubt, leave and call the fire service."
)


class Refused(Exception):
    """A request that is not done: a code for machines, a rule, a sentence for people."""

    def __init__(self, code: str, rule: str, sentence: str) -> None:
        super().__init__(sentence)
        self.code = code
        self.rule = rule
        self.sentence = sentence


def ask(world: World, request: Requested, now_s: float) -> None:
    """Take one request; its answer and any refusal are noted in the world."""
    try:
        done = _HANDLERS[request.what](world, request, now_s)
    except Refused as refused:
        world.recorder.write("refusal", request.subject, refused.code, rule=refused.rule, why=refused.sentence)
        world.answers.append(Answer(request.ref, False, refused.code, refused.sentence))
    else:
        world.answers.append(Answer(request.ref, True, "done", done))


def change(world: World, setting: SettingChanged, now_s: float) -> None:
    """Take one changed setting; it counts at once, in mid-countdown too (C5)."""
    subject, value = setting.subject, setting.value
    if setting.name != "spin_down_s" or subject not in (*world.motors, *world.tools):
        _refuse_setting(world, setting, "unknown", f"There is no setting {setting.name} of {subject}.")
    elif value is not None and not 0 <= value <= SPIN_DOWN_LONGEST_S:
        _refuse_setting(
            world, setting, "out_of_range", f"A spin-down delay is 0 to {SPIN_DOWN_LONGEST_S:.0f} s, not {value:g} s."
        )
    else:
        world.set_delay(subject, None if value is None else float(value))
        world.keep(f"setting/{subject}/spin_down_s", value)
        world.answers.append(Answer(setting.ref, True, "done", f"{subject}: set."))


def _refuse_setting(world: World, setting: SettingChanged, code: str, sentence: str) -> None:
    world.recorder.write("refusal", setting.subject, code, why=sentence)
    world.answers.append(Answer(setting.ref, False, code, sentence))


# ---------------------------------------------------------------- whom it is about


def _gate(world: World, request: Requested) -> Gate:
    gate = world.gates.get(request.subject or "")
    if gate is None:
        raise Refused("unknown", "C16", f"There is no gate {request.subject}.")
    return gate


def _tool(world: World, request: Requested) -> Tool:
    tool = world.tools.get(request.subject or "")
    if tool is None:
        raise Refused("unknown", "C16", f"There is no tool {request.subject}.")
    return tool


def _motors(world: World, request: Requested) -> list[Motor]:
    if request.subject is None:
        return list(world.motors.values())
    motor = world.motors.get(request.subject)
    if motor is None:
        raise Refused("unknown", "C16", f"There is no collector {request.subject}.")
    return [motor]


def _for_s(request: Requested, default_s: float) -> float:
    for_s = default_s if request.for_s is None else request.for_s
    if not 0 <= for_s <= RUN_LONGEST_S:
        raise Refused("out_of_range", "C16", f"A run lasts 0 to {RUN_LONGEST_S / 3600:.0f} h.")
    return for_s


# ---------------------------------------------------------------- gates


def _movable(world: World, gate: Gate) -> None:
    if not gate.plan.actuated:
        raise Refused("by_hand", "C16", f"{gate_called(gate.name)} is moved by hand.")
    if blocked := world.blocked(world.motors[gate.plan.system]):
        raise Refused("blocked", blocked[0], f"{gate_called(gate.name)} stays: {blocked[1]}.")
    if gate.held is not None or gate.state is GateState.STUCK:
        raise Refused("held", "C26", f"{gate_called(gate.name)} is held. Press Release first.")


def _open(world: World, request: Requested, now_s: float) -> str:
    gate = _gate(world, request)
    _movable(world, gate)
    for_s = _for_s(request, world.plan.hand_open_s)
    gate.hand, gate.hand_until, gate.hand_why = "open", now_s + for_s, f"opened by hand for {for_s:.0f} s"
    return f"{gate_called(gate.name)} opens and stays open for {for_s:.0f} s."


def _shut(world: World, request: Requested, now_s: float) -> str:
    gate = _gate(world, request)
    _movable(world, gate)
    busy = [tool.name for tool in world.tools_at[gate.name] if tool.may_run]
    if busy:
        raise Refused("tool_runs", "C1", f"{gate_called(gate.name)} stays open: {' and '.join(busy)} may be running.")
    motor = world.motors[gate.plan.system]
    if motor.path_binds and not world.enough(motor, world.open_area(motor, (gate.name,))):
        raise Refused(
            "last_path",
            "C3",
            f"{gate_called(gate.name)} stays open: it is the only one of {motor.name} that is proven open.",
        )
    if gate.name in motor.flush:  # the later word counts: its branch is left out of the flush
        motor.flush_from = None if motor.flush[0] == gate.name else motor.flush_from
        motor.flush = tuple(name for name in motor.flush if name != gate.name)
        motor.flush_until = motor.flush_until if motor.flush else None
    gate.hand, gate.hand_until, gate.hand_why = "shut", now_s + SHUT_BY_HAND_S, "shut by hand"
    return f"{gate_called(gate.name)} shuts."


def _hold(world: World, request: Requested, now_s: float) -> str:
    gate = _gate(world, request)
    gate.held = request.text or "held"
    gate.worked = True
    gate.free_at = gate.hand = gate.hand_until = gate.hand_why = None
    if gate.moves or gate.busy_until is not None:
        world.halt(gate, "C26", f"{gate_called(gate.name)} is held")
    world.keep(f"held/{gate.name}", {"why": gate.held, "worked": True})
    return f"{gate_called(gate.name)} is held until somebody presses Release."


def _release(world: World, request: Requested, now_s: float) -> str:
    gate = _gate(world, request)
    if gate.held is None and gate.state is not GateState.STUCK:
        raise Refused("not_held", "C26", f"{gate_called(gate.name)} is not held.")
    if gate.state is GateState.STUCK:
        world.gate_machine.fire(gate, "released")
        world.keep(f"stuck/{gate.name}", None)
        if gate.switch in ("open", "shut") and gate.sure and gate.doubt_until is None:
            world.gate_machine.fire(gate, f"saw_{gate.switch}")
    if gate.held is not None:
        gate.held = None
        gate.worked = False
        world.keep(f"held/{gate.name}", None)
    gate.tries = 0
    gate.shaken = False
    gate.free_at = now_s + RELEASE_PAUSE_S
    return f"{gate_called(gate.name)} may move in {RELEASE_PAUSE_S:.0f} s."


# ---------------------------------------------------------------- runs


def _startable(world: World, motor: Motor) -> None:
    if blocked := world.blocked(motor):
        raise Refused("blocked", blocked[0], f"{motor.name} stays off: {blocked[1]}.")
    if motor.hand != "auto":
        raise Refused("by_hand", "C25", f"{motor.name} is run by hand at its switch.")
    if motor.latch is not None:
        raise Refused("latched", "C9", f"{motor.name} is latched off. Press Clear first.")
    if motor.store.locked:
        raise Refused("starts_lost", "C8", f"The record of starts of {motor.name} was lost. Press Clear first.")
    if not world.shop_open:
        raise Refused("shop_shut", "C27", "The shop is shut.")
    if not may_be_cause(world, motor):
        raise Refused("waking", "C15", "The sensors are settling. Ask again in a moment.")


def _from_afar(world: World, request: Requested) -> bool:
    return request.who in ("page", "broker") and not world.plan.remote_start


def _refuse_afar() -> Refused:
    return Refused("no_remote_start", "C21", "Starting a motor from here is switched off in this shop.")


def _run_for(motor: Motor, what: str, until_s: float) -> None:
    if motor.run_until is None or until_s > motor.run_until:
        motor.run_until, motor.run_what = until_s, what


def _run(world: World, request: Requested, now_s: float) -> str:
    motors = _motors(world, request)
    if request.subject is None:
        raise Refused("which", "C16", "Say which collector.")
    if _from_afar(world, request):
        raise _refuse_afar()
    for_s = _for_s(request, RUN_DEFAULT_S)
    for motor in motors:
        _startable(world, motor)
        _run_for(motor, "run", now_s + for_s)
        for tool in world.tools_of[motor.name]:
            if tool.counting and tool.reading == "running":  # a lost one never causes a start (C12)
                tool.causes |= {motor.name}
                tool.found, tool.resumed_until = False, None
    return f"{request.subject} runs for {for_s:.0f} s."


def _air_here(world: World, request: Requested, now_s: float) -> str:
    if request.subject in world.tools:
        gates = [world.gates[name] for name in world.tools[request.subject].plan.gates]
    else:
        gates = [_gate(world, request)]
    for_s = _for_s(request, RUN_DEFAULT_S)
    if for_s == 0:
        for gate in gates:
            if gate.hand == "open":
                gate.hand = gate.hand_until = gate.hand_why = None
            motor = world.motors[gate.plan.system]
            if motor.run_what == "air_here":
                motor.run_until = motor.run_what = None
        return "Air here ends."
    afar = _from_afar(world, request)
    for gate in gates:
        if gate.plan.actuated:
            _movable(world, gate)
        if not afar:
            _startable(world, world.motors[gate.plan.system])
    for gate in gates:
        if gate.plan.actuated:
            gate.hand, gate.hand_until, gate.hand_why = "open", now_s + for_s, f"air here for {for_s:.0f} s"
        if not afar:
            _run_for(world.motors[gate.plan.system], "air_here", now_s + for_s)
    if afar:
        return "The gate opens. Starting a motor from here is switched off in this shop."
    return f"Air comes for {for_s:.0f} s."


def _sweep(world: World, request: Requested, now_s: float) -> str:
    motors = [motor for motor in _motors(world, request) if motor.has_duct]
    gates = [
        world.gates[name]
        for name in world.plan.sweep_gates
        if any(world.gates[name].plan.system == motor.name for motor in motors)
    ]
    if not gates:
        raise Refused("no_sweep", "C16", "This shop has no floor-sweep gate there.")
    if _from_afar(world, request):
        raise _refuse_afar()
    for_s = _for_s(request, RUN_DEFAULT_S)
    for gate in gates:
        if gate.plan.actuated:
            _movable(world, gate)
        _startable(world, world.motors[gate.plan.system])
    for gate in gates:
        if gate.plan.actuated:
            gate.hand, gate.hand_until, gate.hand_why = "open", now_s + for_s, f"floor sweep for {for_s:.0f} s"
        _run_for(world.motors[gate.plan.system], "sweep", now_s + for_s)
    return f"Floor sweep for {for_s:.0f} s."


def _flush(world: World, request: Requested, now_s: float) -> str:
    (motor,) = _motors(world, request) if request.subject is not None else (None,)
    if motor is None or not motor.has_duct:
        raise Refused("which", "C16", "Say which collector's branches to flush.")
    if _from_afar(world, request):
        raise _refuse_afar()
    _startable(world, motor)
    gates = [gate for gate in world.gates_of[motor.name] if gate.can_serve]
    if not gates:
        raise Refused("by_hand", "C16", f"{motor.name} has no gate that moves by itself.")
    motor.flush = tuple(gate.name for gate in gates)
    motor.flush_from = None
    whole_s = sum(2 * gate.plan.travel_s + 2 * gate.plan.dead_s + gate.plan.clear_s + 2 for gate in gates)
    motor.flush_until = now_s + min(RUN_LONGEST_S, whole_s + 30)
    return f"{len(gates)} branches are flushed one after the other."


def _stop(world: World, request: Requested, now_s: float) -> str:
    motors = _motors(world, request)
    for motor in motors:
        world.force(motor, "C16", f"stopped by a person ({request.who})")
    return "Stop was sent."


# ---------------------------------------------------------------- latches


def _reset(world: World, request: Requested, now_s: float) -> str:
    if open_now := [*world.unhealthy(InputKind.FIRE), *world.unhealthy(InputKind.EMERGENCY)]:
        raise Refused("still_open", "C13", f"Not yet: {' and '.join(open_now)} is still open.")
    if not (world.fire or world.emergency):
        raise Refused("nothing", "C13", "There is nothing to reset.")
    if world.fire and request.who != "local":
        raise Refused("local_only", "C24", "A fire is reset at the controller itself, never from the network.")
    for key in ("fire", "sparks", "emergency"):
        if getattr(world, key):
            setattr(world, key, False)
            world.keep(key, None)
    for motor in world.motors.values():
        world.force(motor, "C21", "reset starts nothing")
    return "Reset. Nothing starts by itself."


def _sparks(world: World, request: Requested, now_s: float) -> str:
    """Somebody saw sparks: whoever says so is a detector (C24). Gates and fan keep still, so no ember gets more air."""
    world.fire = world.sparks = True
    world.keep("fire", True)
    world.keep("sparks", True)
    everything_off(world, "C24", "somebody saw sparks")
    return SPARKS_SEEN


def _clear(world: World, request: Requested, now_s: float) -> str:
    subject = request.subject
    cleared = False
    motor = world.motors.get(subject or "")
    if motor is not None:
        if motor.latch is not None:
            motor.latch = None
            world.keep(f"latched/{motor.name}", None)
            cleared = True
        if motor.store.locked:
            world.new_store(motor, motor.store.unlocked(), now_s)
            cleared = True
    for code, about in [key for key in world.alarms if subject in (None, key[1], f"{key[0]}:{key[1]}")]:
        del world.alarms[code, about]
        world.recorder.write("message", about, {"what": "cleared", "code": code, "heap": FAULTS[code].heap})
        cleared = True
    if not cleared:
        raise Refused("nothing", "C9", "There is nothing to clear.")
    return "Cleared. Nothing starts by itself."


def _out_of_service(world: World, request: Requested, now_s: float) -> str:
    for motor in _motors(world, request):
        motor.out_of_service = (request.who, request.text or "", now_s)
        block_system(world, motor, "C14", f"{motor.name} was taken out of service")
        world.keep(
            f"out_of_service/{motor.name}", {"who": request.who, "why": request.text or "", "since_s": round(now_s, 3)}
        )
    return "Out of service. This is no padlock: lock the disconnect."


def _back_in_service(world: World, request: Requested, now_s: float) -> str:
    motors = [motor for motor in _motors(world, request) if motor.out_of_service is not None]
    if not motors:
        raise Refused("nothing", "C14", "It is in service.")
    for motor in motors:
        motor.out_of_service = None
        world.keep(f"out_of_service/{motor.name}", None)
    return "Back in service. Nothing starts by itself."


# ---------------------------------------------------------------- tools and messages


def _stopped(world: World, request: Requested, now_s: float) -> str:
    tool = _tool(world, request)
    if not (tool.reading == "stale" or tool.counting):
        raise Refused("nothing", "C12", f"{tool.name} counts as stopped already.")
    cut_until_now = tool.counting or (tool.was_running and not tool.said_stopped)
    tool.said_stopped = True
    tool.hold_until = None
    tool.ask_at = tool.answer_by = None
    if cut_until_now:
        tool.overlong = tool.reading == "running"
        count_stopped(world, tool, now_s)
    return f"{tool.name} counts as stopped."


def _still_running(world: World, request: Requested, now_s: float) -> str:
    tool = _tool(world, request)
    if not tool.counting:
        raise Refused("nothing", "C12", f"{tool.name} does not count as running.")
    tool.asked = False
    tool.answer_by = None
    tool.ask_at = now_s + tool.plan.longest_run_s
    return f"{tool.name} counts as running."


def _seen(world: World, request: Requested, now_s: float) -> str:
    code, _, about = (request.subject or "").partition(":")
    standing = world.alarms.get((code, about))
    if standing is None:
        raise Refused("unknown", "C20", "That message no longer stands.")
    world.alarms[code, about] = Standing(standing.since_s, standing.last_s, standing.count, seen=True)
    world.recorder.write("message", about, {"what": "seen", "code": code, "heap": FAULTS[code].heap})
    return "Seen."


_HANDLERS: dict[str, Callable[[World, Requested, float], str]] = {
    "open": _open,
    "shut": _shut,
    "hold": _hold,
    "release": _release,
    "air_here": _air_here,
    "run": _run,
    "stop": _stop,
    "sweep": _sweep,
    "flush": _flush,
    "reset": _reset,
    "sparks": _sparks,
    "clear": _clear,
    "out_of_service": _out_of_service,
    "back_in_service": _back_in_service,
    "stopped": _stopped,
    "still_running": _still_running,
    "seen": _seen,
}
