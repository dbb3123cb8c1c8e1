"""Puts a step into the record: the event that began it, and what differs from what was told last."""

from collections.abc import Mapping
from typing import Any

from gatekeeper.control.alarms import gate_called
from gatekeeper.control.messages import (
    AirSeen,
    Event,
    HandSeen,
    InputSeen,
    Lapsed,
    Missed,
    MotorSeen,
    QuietSeen,
    Requested,
    SettingChanged,
    ShopKeySeen,
    Stopping,
    SwitchSeen,
    Ticked,
    ToolSeen,
    Woke,
)
from gatekeeper.control.moves import Reason, SystemWishes
from gatekeeper.control.policy import may_not_start
from gatekeeper.control.shop_entry import shop_entry
from gatekeeper.control.units import Motor
from gatekeeper.control.world import World

#: Reasons of a gate to be open that other entries tell: its tool's readings, and a request with its time.
TOLD_OTHERWISE = frozenset({"C1", "C4", "C6", "C16"})


def write_event(world: World, event: Event, now_s: float, *, damaged: bool) -> None:
    """Begin a step's entries with its event; ``damaged``: the kept values could not be read."""
    write = world.recorder.write_event
    match event:
        case Woke():
            world.recorder.write("shop", None, shop_entry(world, now_s, damaged=damaged))
            write("wake")
        case Ticked():
            write("tick")
        case Stopping():
            write("stopped")
        case ToolSeen(tool=name, state=state, why=why, fresh=fresh):
            write("tool", name, state if fresh else {"what": state, "fresh": False}, why=why)
        case SwitchSeen(gate=name, state=state):
            write("switch", name, state)
        case Missed(gate=name, why=why):
            write("miss", name, why=why)
        case Lapsed(motor=name):
            write("lapse", name)
        case MotorSeen(motor=name, state="lost"):
            write("motor_sensor", name, "lost")
        case MotorSeen(motor=name, state=state):
            write("motor_seen", name, state)
        case AirSeen(motor=name, moving=moving):
            write("air", name, moving)
        case InputSeen(input=name, state=state):
            write(str(world.plan.inputs[name].kind), name, state)
        case HandSeen(motor=name, state=state):
            write("hand", name, state)
        case ShopKeySeen(state=state):
            write("shop_key", None, state)
        case QuietSeen(quiet=quiet):
            write("quiet", None, quiet)
        case Requested():
            write(
                "request",
                event.subject,
                {"what": event.what, "who": event.who, "for_s": event.for_s},
                why=event.text,
            )
        case SettingChanged():
            write("setting", event.subject, {"name": event.name, "value": event.value, "who": event.who})


class Told:
    """What the record was last told of each gate and motor: only what differs is written."""

    def __init__(self) -> None:
        self._beliefs: dict[str, str] = {}
        self._states: dict[str, tuple[str, float | None, float | None]] = {}
        self._reasons: dict[str, Reason] = {}

    def save(self) -> tuple[Any, ...]:
        """The whole memory as one value."""
        return tuple(self._beliefs.items()), tuple(self._states.items()), tuple(self._reasons.items())

    def restore(self, state: tuple[Any, ...]) -> None:
        """Put a saved memory back."""
        beliefs, states, reasons = state
        self._beliefs, self._states, self._reasons = dict(beliefs), dict(states), dict(reasons)

    def write_changes(self, world: World, plans: Mapping[str, SystemWishes], now_s: float) -> None:
        """Beliefs, reasons to stay open and motor states that differ from those last written."""
        for gate in world.gates.values():
            belief = gate.belief
            if self._beliefs.get(gate.name) != belief:
                self._beliefs[gate.name] = belief
                proof = None
                if gate.is_open:
                    proof = "switch" if gate.plan.has_switch else "time"
                world.recorder.write("gate_belief", gate.name, {"what": str(belief), "proof": proof})
        for motor in world.motors.values():
            self._write_state(world, motor, now_s)
            if motor.on and motor.name in plans:
                self._write_reasons(world, plans[motor.name].keep)

    def _write_reasons(self, world: World, keep: Mapping[str, Reason]) -> None:
        """Why a gate stays open although no tool behind it runs and its branch is clear: what C6 yields to (C20)."""
        for name, reason in keep.items():
            if self._reasons.get(name) == reason:
                continue
            self._reasons[name] = reason
            if world.gates[name].is_open and reason.rule not in TOLD_OTHERWISE:
                why = f"{gate_called(name)} stays open: {reason.why}"
                world.recorder.write("kept_open", name, {"yields": "C6"}, rule=reason.rule, why=why)

    def _write_state(self, world: World, motor: Motor, now_s: float) -> None:
        stop = world.earliest_stop(motor, now_s) if motor.on else None
        start = None
        if motor.wait_why is not None:
            hindrance = may_not_start(world, motor, now_s, set(), set())
            start = hindrance.until_s if hindrance else None
        shown = (motor.state, _thousandths(stop), _thousandths(start))
        if self._states.get(motor.name) == shown:
            return
        self._states[motor.name] = shown
        store = motor.store
        stretched = stop is not None and store.level_at(stop) < 1.0 + 1e-6 and not store.has_start(now_s)
        world.recorder.write(
            "state",
            motor.name,
            {
                "what": str(motor.state),
                "earliest_stop_s": shown[1],
                "earliest_start_s": shown[2],
                "starts_stored": round(store.level_at(now_s), 6),
            },
            rule="C8" if stretched else None,
            why="the motor rests: it runs on instead of starting hot" if stretched else motor.wait_why,
        )


def _thousandths(instant: float | None) -> float | None:
    return None if instant is None else round(instant, 3)
