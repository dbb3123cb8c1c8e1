"""The one sentence at the top, and what needs somebody without being a message.

The order of the sentence is the order of harm: fire, the emergency circuit, messages that hurt now, who waits for air
and why, what runs, what clears, what keeps everything still, and last that nothing runs.
"""

from collections.abc import Iterator, Sequence

from gatekeeper.control.alarms import gate_called
from gatekeeper.control.plan import MotorKind
from gatekeeper.control.snapshot import MotorNow, ToolNow
from gatekeeper.service.coil_gates import at_the_gate
from gatekeeper.service.face import Attention, Heap, MessageView, Saying
from gatekeeper.service.viewing_messages import words_of
from gatekeeper.service.viewing_motors import reason, waits
from gatekeeper.service.viewing_scene import Scene, cap, listing, made
from gatekeeper.service.viewing_tools import question

SPARKS = "Sparks were seen. Do not open bin or filter. Watch for smouldering; in doubt leave, call the fire service."
FIRE = "Heat, smoke or the building's alarm. Do not open bin or filter. Leave, call the fire service."
#: Which message of the first heap is told first; those of the service follow in their own order.
_WORST_FIRST = (
    "runs_when_off",
    "not_collected",
    "no_air",
    "found_running",
    "no_path",
    "did_not_start",
    "stopped_itself",
    "short_of_air",
)
#: Messages for today that are told at the top while nothing runs.
_TODAY_FIRST = ("gate_stuck", "door_open", "still_running", "starts_lost", "records_damaged")


def top_sentence(scene: Scene, messages: Sequence[MessageView]) -> Saying:
    """What is so, in one sentence."""
    core = scene.core
    codes = {alarm.code for alarm in core.alarms}
    if "sparks" in codes and "fire" not in codes:
        return Saying(SPARKS)
    if core.fire or "fire" in codes:
        return Saying(FIRE)
    if core.emergency or any(alarm.code == "emergency" for alarm in core.alarms):
        return Saying(_emergency(scene))
    if not core.awake:
        text = "The controller has just woken. Every motor is off until the sensors have settled"
        if scene.ahead(core.settle_until_s) is None:
            return Saying(f"{text}.")
        return Saying(f"{text}, in {{time}}.", until_s=core.settle_until_s)
    return (
        _hurts_now(scene, messages)
        or _waits(scene)
        or _cuts(scene)
        or _runs_without_tool(scene)
        or _clears(scene)
        or _stays_still(scene, messages)
        or Saying("Nothing runs. Ready.")
    )


def _emergency(scene: Scene) -> str:
    if scene.core.open_circuits:
        text = words_of("emergency", listing(scene.core.open_circuits))
        return f"{text.happened} {text.remedy}"
    return f"{words_of('emergency', 'not reset yet').happened} Find out why, then press Reset."


def _hurts_now(scene: Scene, messages: Sequence[MessageView]) -> Saying | None:
    now = [message for message in messages if message.heap is Heap.NOW and not message.cleared]
    if not now:
        return None
    first = min(now, key=lambda message: _rank(message, _WORST_FIRST))
    if first.key.startswith("no_air:"):
        tool = (first.stands_for or (first.key,))[0].partition(":")[2]
        waiting = [motor for motor in scene.motors_of(tool) if motor.wait_why is not None]
        if waiting:
            said = waits(scene, waiting[0])
            return Saying(f"{first.sentence} {said.text}", said.until_s)
    return Saying(f"{first.sentence} {first.remedy}")


def _rank(message: MessageView, order: tuple[str, ...]) -> int:
    code = message.key.partition(":")[0]
    return order.index(code) if code in order else len(order)


# ---------------------------------------------------------------- waits, cuts


def _waits(scene: Scene) -> Saying | None:
    """A tool that waits for its motor or its gate; short waits on a feeder are no news."""
    for motor in scene.core.motors:
        if motor.wait_why is None or motor.name not in scene.ground.ducted:
            continue
        tools = [tool.name for tool in scene.counting_on(motor.name) if tool.has_cause]
        if not tools or motor.wait_why.startswith(("an inrush on", "another motor", "no open gate")):
            continue
        said = waits(scene, motor)
        return Saying(f"{_wait(tools)} for air. {said.text}", said.until_s)
    for gate in scene.core.gates:
        tools = [name for name in scene.ground.tools_at[gate.name] if scene.tools[name].wants_gates]
        if gate.waits and tools and not gate.is_open:
            return Saying(f"{_wait(tools)} for air. {cap(gate_called(gate.name))} opens when another gate has moved.")
    return None


def _wait(tools: list[str]) -> str:
    return f"{cap(listing(tools))} {'waits' if len(tools) == 1 else 'wait'}"


def _cuts(scene: Scene) -> Saying | None:
    tools = [tool for tool in scene.core.tools if tool.counting]
    if not tools:
        return None
    collectors = _collectors(scene, tools)
    lost = [tool.name for tool in tools if tool.reading == "stale"]
    if len(tools) == 1:
        (tool,) = tools
        if lost:
            return Saying(f"{cap(tool.name)} counts as running; its sensor is lost. {collectors}")
        return Saying(f"{cap(tool.name)} running, {{time}} into the cut. {collectors}", since_s=tool.started_at_s)
    return Saying(f"{cap(listing(tool.name for tool in tools))} running. {collectors}")


def _collectors(scene: Scene, tools: list[ToolNow]) -> str:
    """How the motors of running tools stand: "Collector on."."""
    names: dict[str, list[str]] = {}
    for motor in scene.core.motors:
        if any(motor.name in scene.ground.systems_of[tool.name] for tool in tools):
            names.setdefault(_stands(motor), []).append(motor.name)
    return " ".join(f"{cap(listing(motors))} {word}." for word, motors in names.items())


def _stands(motor: MotorNow) -> str:
    if motor.hand == "hand":
        return "run by hand"
    if motor.on:
        return "on" if motor.confirmed else "starting"
    return "about to start" if motor.wait_why is not None else "off"


# ---------------------------------------------------------------- runs on, clears, rests


def _runs_without_tool(scene: Scene) -> Saying | None:
    for motor in scene.core.motors:
        if motor.hand == "hand" or (motor.name in scene.ground.ducted and motor.on and motor.run_until_s is not None):
            said = reason(scene, motor)
            if said is not None:
                return _about(motor, said)
        if motor.run_until_s is not None and motor.wait_why is not None:
            return _about(motor, waits(scene, motor))
    return None


def _about(motor: MotorNow, said: Saying) -> Saying:
    """A motor's reason with its name: "Collector rests: it may start in 3 min."."""
    if said.text.startswith("Motor rests"):
        return Saying(cap(motor.name) + said.text.removeprefix("Motor"), said.until_s, said.since_s)
    return Saying(f"{cap(motor.name)}: {said.text[:1].lower()}{said.text[1:]}", said.until_s, said.since_s)


def _clears(scene: Scene) -> Saying | None:
    order = [motor for motor in scene.core.motors if motor.name in scene.ground.ducted]
    order.sort(key=lambda motor: -(motor.earliest_stop_s or 0.0))
    for motor in order:
        if motor.on and scene.ahead(motor.earliest_stop_s) is not None and not motor.path_lost:
            if motor.stretched:
                return Saying("Motor rests: runs on {time} instead of starting hot.", until_s=motor.earliest_stop_s)
            return Saying(f"Clearing: {motor.name} stops in {{time}}.", until_s=motor.earliest_stop_s)
    for motor in (*order, *(other for other in scene.core.motors if other not in order)):
        if motor.fan_runs:
            said = reason(scene, motor)
            if said is not None:
                return _about(motor, said)
    return None


def _stays_still(scene: Scene, messages: Sequence[MessageView]) -> Saying | None:
    """Nothing runs, and something keeps it so."""
    today = [one for one in messages if one.heap is Heap.TODAY and not one.cleared and _rank(one, _TODAY_FIRST) < 5]
    if today:
        first = min(today, key=lambda message: _rank(message, _TODAY_FIRST))
        return Saying(f"{first.sentence} {first.remedy}")
    ducted = [motor for motor in scene.core.motors if motor.name in scene.ground.ducted]
    out = [motor.name for motor in ducted if motor.out_of_service is not None]
    if out:
        verb, them = ("is", "it") if len(out) == 1 else ("are", "them")
        return Saying(f"{cap(listing(out))} {verb} out of service. Nothing starts {them}.")
    if not scene.core.shop_open:
        return Saying("The shop is shut. No motor starts.")
    for motor in ducted:
        said = reason(scene, motor)
        if said is not None:
            return _about(motor, said)
    return None


# ---------------------------------------------------------------- what needs somebody


def attention(scene: Scene) -> tuple[Attention, ...]:
    """Questions first, then fans that stay on, gates that stay open, and what waits for a person's press.

    What a message of the first heap already says, with its offers, is not said twice.
    """
    return (*_questions(scene), *_fans(scene), *_gates(scene), *_presses(scene))


def _questions(scene: Scene) -> Iterator[Attention]:
    for tool in scene.core.tools:
        said = question(scene, tool)
        if said is not None:
            yield Attention(Heap.TODAY, said, made(scene.still_running_offer(tool), scene.stopped_offer(tool)))


def _fans(scene: Scene) -> Iterator[Attention]:
    for motor in scene.core.motors:
        is_shaker = scene.plan.motors[motor.name].kind is MotorKind.SHAKER
        if is_shaker or motor.overrun or scene.counting_on(motor.name):
            continue
        stays = motor.hand == "hand" or (
            motor.on
            and (motor.stretched or motor.run_until_s is not None or scene.ahead(motor.earliest_stop_s) is None)
        )
        said = reason(scene, motor) if stays else None
        if said is not None:
            yield Attention(Heap.WHEN_YOU_CAN, _about(motor, said))


def _gates(scene: Scene) -> Iterator[Attention]:
    for gate in scene.core.gates:
        tools = scene.ground.tools_at[gate.name]
        if gate.hand == "open" and gate.is_open and not any(scene.tools[name].wants_gates for name in tools):
            text = f"{cap(gate_called(gate.name))} stays open for {{time}} more, as asked by hand."
            yield Attention(Heap.WHEN_YOU_CAN, Saying(text, until_s=gate.hand_until_s), made(scene.shut_offer(gate)))


def _presses(scene: Scene) -> Iterator[Attention]:
    for gate in scene.core.gates:
        release = scene.release_offer(gate)
        if release is not None:
            stuck = gate.belief == "stuck"
            code = "gate_stuck" if stuck else "gate_held"
            row = at_the_gate(scene.ground.shop, code, gate.name, words_of(code, gate.name))
            harm = Heap.TODAY if stuck else Heap.WHEN_YOU_CAN
            yield Attention(harm, Saying(f"{row.happened} {row.remedy}"), (release,))
    for motor in scene.core.motors:
        back = scene.back_offer(motor)
        if back is not None:
            yield Attention(Heap.WHEN_YOU_CAN, Saying(f"{cap(motor.name)} is out of service."), (back,))
        clear = scene.clear_offer(motor) if motor.latch is None else None
        if clear is not None:
            row = words_of("starts_lost", motor.name)
            yield Attention(Heap.TODAY, Saying(f"{row.happened} {row.remedy}"), (clear,))
