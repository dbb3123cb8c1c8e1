"""Machines in words: what the sensor says, since when it runs, its delay, and what can be asked at it."""

from gatekeeper.control.snapshot import ToolNow
from gatekeeper.service.face import Offer, Press, Saying, SensorWord, ToolView
from gatekeeper.service.viewing_motors import spin_down
from gatekeeper.service.viewing_scene import RUN_S, START_CAUTION, Scene, cap, made

_WORDS = {"running": SensorWord.RUNNING, "stopped": SensorWord.STOPPED}


def tool_view(scene: Scene, now: ToolNow, current_a: float | None) -> ToolView:
    """One machine as the page shows it."""
    plan = scene.plan.tools[now.name]
    sensor = _WORDS.get(now.reading, SensorWord.LOST)
    runs = sensor is SensorWord.RUNNING
    return ToolView(
        name=now.name,
        sensor=sensor,
        sensor_note=None if sensor is not SensorWord.LOST else _note(now),
        gates=plan.gates,
        motors=scene.ground.systems_of[now.name],
        since_s=now.started_at_s if runs else None,
        current_a=current_a if sensor is not SensorWord.LOST else None,
        trip_note=scene.notes.trip_notes.get(now.name),
        spin_down=spin_down(scene, now.name, now.spin_down_s, plan.spin_down_s),
        offers=_offers(scene, now),
    )


def _note(now: ToolNow) -> str:
    if now.reading == "unknown":
        return "Its sensor has not been read yet since the controller woke."
    if not now.may_run:
        return "Its sensor says nothing that can be relied on. Somebody has said that the machine is stopped."
    return "Its sensor says nothing that can be relied on. Its gate stays as it is; say when the machine is stopped."


def question(scene: Scene, now: ToolNow) -> Saying | None:
    """What must be asked about a machine, or None."""
    if now.counting and now.asked:
        if scene.ahead(now.answer_by_s) is None:
            return Saying(f"{cap(now.name)} runs longer than it plausibly would. Does it still cut?")
        text = (
            f"{cap(now.name)} runs longer than it plausibly would. Does it still cut? Its collector stops in {{time}}."
        )
        return Saying(text, until_s=now.answer_by_s)
    if now.reading == "stale" and now.may_run:
        if now.counting and scene.ahead(now.hold_until_s) is not None:
            text = f"Is {now.name} stopped? Its sensor is lost; it counts as running for {{time}} more."
            return Saying(text, until_s=now.hold_until_s)
        return Saying(f"Is {now.name} stopped? Its sensor is lost, and its gate stays as it is until somebody says so.")
    return None


def _offers(scene: Scene, now: ToolNow) -> tuple[Offer, ...]:
    return made(
        _air_here(scene, now), _end_air_here(scene, now), scene.still_running_offer(now), scene.stopped_offer(now)
    )


def _end_air_here(scene: Scene, now: ToolNow) -> Offer | None:
    """While air that was asked for runs: take it away again."""
    gates = [scene.gates[name] for name in scene.plan.tools[now.name].gates]
    by_hand = [gate for gate in gates if gate.hand == "open"]
    runs = any(motor.run_what == "air_here" for motor in scene.motors_of(now.name))
    if not (runs and len(by_hand) == sum(scene.plan.gates[gate.name].actuated for gate in gates)):
        return None
    return Offer("air_here", now.name, f"End air at {now.name}", 0.0)


def _air_here(scene: Scene, now: ToolNow) -> Offer | None:
    gates = [scene.gates[name] for name in scene.plan.tools[now.name].gates]
    movable = all(scene.movable(gate) for gate in gates if scene.plan.gates[gate.name].actuated)
    if now.counting or not movable or not all(scene.startable(motor) for motor in scene.motors_of(now.name)):
        return None
    return Offer("air_here", now.name, f"Air at {now.name} for 10 min", RUN_S, Press.HOLD, START_CAUTION)
