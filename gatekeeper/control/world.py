"""The whole shop as the core believes it, and the questions that every rule asks of it.

Nothing here decides. ``World`` holds the units, the circuits and the settings; what must happen because of an event
(a forced stop, a halt) is noted here by whoever handled the event, and carried out by the policy in the same step.
"""

from collections.abc import Collection
from typing import Any

from gatekeeper.control.alarms import FAULTS, Standing, sentence
from gatekeeper.control.keeping import (
    RESUME_BEAT_S,
    may_resume,
    out_of_service_of,
    setting_key,
    store_of,
)
from gatekeeper.control.machine import TableMachine
from gatekeeper.control.messages import Answer, Keep, Kept
from gatekeeper.control.plan import InputKind, Plan
from gatekeeper.control.record import Recorder
from gatekeeper.control.starts import StartStore
from gatekeeper.control.tables import (
    GATE_INITIAL,
    GATE_TABLE,
    MOTOR_INITIAL,
    MOTOR_TABLE,
    OPEN,
    STUCK,
    GateState,
    MotorState,
)
from gatekeeper.control.units import Gate, Motor, Tool

#: Relative tolerance on areas: sums of floats.
AREA_TOLERANCE = 1e-9
#: How long a fan may need before its air proof can speak, our own assumption.
AIR_SPIN_UP_S = 5.0


class World:
    """Units, circuits, settings, and the notes of the present step.

    Args:
        plan: the shop.
        kept: what an earlier run made durable.
        recorder: where facts are written.
        now_s: the instant at which this run begins.
    """

    FIELDS = (
        "emergency", "fire", "sparks", "shop_open", "quiet", "settle_until", "order", "resumed_s", "awake",
    )  # fmt: skip

    def __init__(self, plan: Plan, kept: Kept, recorder: Recorder, now_s: float) -> None:
        plan.check()
        self.plan = plan
        self.recorder = recorder
        self.gate_machine = TableMachine("gate", GateState, GATE_TABLE, GATE_INITIAL)
        self.motor_machine = TableMachine("motor", MotorState, MOTOR_TABLE, MOTOR_INITIAL)
        self.gates = {name: Gate(gate) for name, gate in plan.gates.items()}
        self.motors = {name: Motor(motor, store_of(motor, kept, now_s)) for name, motor in plan.motors.items()}
        self.tools = {name: Tool(tool) for name, tool in plan.tools.items()}
        for gate in self.gates.values():
            self.gate_machine.add(gate)
        for motor in self.motors.values():
            self.motor_machine.add(motor)
        self._set_circuits(dict.fromkeys(plan.inputs, "unknown"))
        self.settings: dict[str, float] = {}
        self.feeder_free_at: dict[str, float] = {}
        self.alarms: dict[tuple[str, str], Standing] = {}
        self.signs: dict[str, str] = {}
        self.emergency = kept.damaged or bool(kept.values.get("emergency"))
        self.fire = kept.damaged or bool(kept.values.get("fire"))
        self.sparks = not kept.damaged and bool(kept.values.get("sparks"))
        if kept.damaged:
            # Without a circuit in the shop nobody could ever reset it.
            self.emergency &= any(source.kind is InputKind.EMERGENCY for source in plan.inputs.values())
            self.fire &= any(source.kind is InputKind.FIRE for source in plan.inputs.values())
        self.shop_open = True
        self.quiet = False
        self.awake = False
        self.settle_until: float | None = None
        self.order = 0
        beat = kept.values.get("beat")
        resumed = beat.get("resumed_s") if isinstance(beat, dict) and kept.same_boot else None
        self.resumed_s: float | None = resumed
        self.resume_until = now_s + RESUME_BEAT_S  # a start after this resumes nothing any more
        self._run_on: dict[str, dict[str, float]] = {}
        self._take_up(kept, now_s)
        self._index()
        self._note_delays()
        # The notes of one step.
        self.force_off: dict[str, tuple[str, str]] = {}
        self.halts: dict[str, tuple[str, str]] = {}
        self.keeps: list[Keep] = []
        self.answers: list[Answer] = []
        self.shaking: set[str] = set()

    def _take_up(self, kept: Kept, now_s: float) -> None:
        for gate in self.gates.values():
            held = kept.values.get(f"held/{gate.name}")
            if held and not kept.damaged:
                fields = held if isinstance(held, dict) else {}
                gate.held = str(fields.get("why") or "held")
                gate.worked = bool(fields.get("worked"))
            if kept.values.get(f"stuck/{gate.name}") and not kept.damaged:
                self.gate_machine.fire(gate, "gave_up")
        for motor in self.motors.values():
            motor.out_of_service = out_of_service_of(motor.name, kept)
            latch = kept.values.get(f"latched/{motor.name}")
            motor.latch = str(latch) if latch else None
            motor.resume = may_resume(motor.plan, kept, now_s) and motor.out_of_service is None
        for subject in (*self.plan.motors, *self.plan.tools):
            value = kept.values.get(setting_key(subject))
            if isinstance(value, int | float) and not isinstance(value, bool) and 0 <= value <= 3600:
                self.settings[subject] = float(value)

    def _index(self) -> None:
        self.gates_of = {
            name: tuple(gate for gate in self.gates.values() if gate.plan.system == name) for name in self.motors
        }
        self.systems_of = {name: self.plan.systems_of(name) for name in self.tools}
        everyone = tuple(self.tools.values())
        self.tools_of = {
            name: everyone
            if motor.is_cleaner
            else tuple(tool for tool in everyone if name in self.systems_of[tool.name])
            for name, motor in self.motors.items()
        }
        self.tools_at = {name: tuple(tool for tool in everyone if name in tool.plan.gates) for name in self.gates}
        self.clear_s = {
            (tool.name, name): max(
                (self.gates[gate].plan.clear_s for gate in tool.plan.gates if self.gates[gate].plan.system == name),
                default=0.0,
            )
            for tool in everyone
            for name in self.motors
        }
        self.own_gates = {
            (tool.name, name): tuple(gate for gate in gates if gate.name in tool.plan.gates)
            for tool in everyone
            for name, gates in self.gates_of.items()
        }
        self.has_hand_gates = {
            name: any(not gate.plan.actuated for gate in gates) for name, gates in self.gates_of.items()
        }
        self.worst_travel_s = {
            name: max((gate.plan.travel_s for gate in gates if gate.plan.actuated), default=0.0)
            for name, gates in self.gates_of.items()
        }
        self.shaker_of = {motor.plan.follows: motor for motor in self.motors.values() if motor.plan.follows is not None}

    # ---------------------------------------------------------------- the state as one value

    def save(self) -> tuple[Any, ...]:
        """Everything that the next step depends on, as one tuple of immutable values."""
        return (
            tuple(gate.save() for gate in self.gates.values()),
            tuple(motor.save() for motor in self.motors.values()),
            tuple(tool.save() for tool in self.tools.values()),
            tuple(getattr(self, name) for name in self.FIELDS),
            tuple(self.circuits.items()),
            tuple(self.settings.items()),
            tuple(self.feeder_free_at.items()),
            tuple(self.alarms.items()),
            tuple(self.signs.items()),
        )

    def restore(self, state: tuple[Any, ...]) -> None:
        """Put a saved state back."""
        gates, motors, tools, flags, circuits, settings, feeders, alarms, signs = state
        for gate, values in zip(self.gates.values(), gates, strict=True):
            gate.restore(values)
        for motor, values in zip(self.motors.values(), motors, strict=True):
            motor.restore(values)
        for tool, values in zip(self.tools.values(), tools, strict=True):
            tool.restore(values)
        for name, value in zip(self.FIELDS, flags, strict=True):
            setattr(self, name, value)
        self._set_circuits(dict(circuits))
        self.settings = dict(settings)
        self._note_delays()
        self.feeder_free_at = dict(feeders)
        self.alarms = dict(alarms)
        self.signs = dict(signs)

    # ---------------------------------------------------------------- circuits and blocks

    def see_circuit(self, name: str, state: str) -> None:
        """A circuit was read."""
        self._set_circuits(self.circuits | {name: state})

    def _set_circuits(self, circuits: dict[str, str]) -> None:
        self.circuits = circuits
        not_made = [source for name, source in self.plan.inputs.items() if circuits[name] != "made"]
        self._not_made = {kind: tuple(source.name for source in not_made if source.kind is kind) for kind in InputKind}
        self._fire_open = bool(self._not_made[InputKind.FIRE])
        self._emergency_open = bool(self._not_made[InputKind.EMERGENCY])
        self._open_doors = {
            motor: tuple(
                source.name
                for source in not_made
                if source.kind is InputKind.DOOR and (not source.systems or motor in source.systems)
            )
            for motor in self.plan.motors
        }

    def unhealthy(self, kind: InputKind) -> tuple[str, ...]:
        """Circuits of a kind that are not made: open, or never read since waking."""
        return self._not_made[kind]

    def frozen(self) -> tuple[str, str] | None:
        """Why the whole shop stands still, as (rule, reason), or None."""
        if self.fire or self._fire_open:
            return ("C24", "the fire input is open or not reset")
        if self.emergency or self._emergency_open:
            return ("C13", "the emergency circuit is open or not reset")
        return None

    def open_doors(self, motor: str) -> tuple[str, ...]:
        """Doors that keep a motor off."""
        return self._open_doors[motor]

    def blocked(self, motor: Motor) -> tuple[str, str] | None:
        """Why a motor must not run and its gates must not move, as (rule, reason), or None."""
        if frozen := self.frozen():
            return frozen
        if motor.out_of_service is not None:
            return ("C14", f"{motor.name} is out of service")
        if doors := self.open_doors(motor.name):
            return ("C14", f"a door is open: {', '.join(doors)}")
        if motor.hand == "off":
            return ("C25", f"the switch of {motor.name} is at Off")
        return None

    @property
    def settling(self) -> bool:
        """True while sensors settle after waking (C15)."""
        return not self.awake

    # ---------------------------------------------------------------- air paths

    def open_area(self, motor: Motor, without: Collection[str] = ()) -> float:
        """Confirmed-open area on a motor's own duct, with its relief, m2."""
        area_m2 = motor.plan.relief_m2
        for gate in self.gates_of[motor.name]:
            if (gate.state is OPEN or (gate.state is STUCK and gate.is_open)) and gate.name not in without:
                area_m2 += gate.plan.area_m2
        return area_m2

    @staticmethod
    def enough(motor: Motor, area_m2: float) -> bool:
        """True where an area reaches the motor's minimum path."""
        return area_m2 >= motor.plan.path_minimum_m2 * (1 - AREA_TOLERANCE)

    def air_lost(self, motor: Motor, now_s: float) -> bool:
        """True where the air proof should have spoken by now and has not."""
        return (
            motor.proves_air
            and motor.on
            and motor.air is not True
            and motor.air_from is not None
            and now_s >= motor.air_from
        )

    def path_lost(self, motor: Motor, now_s: float) -> bool:
        """True where a fan has no path enough, by gates or by air."""
        return motor.path_binds and (not self.enough(motor, self.open_area(motor)) or self.air_lost(motor, now_s))

    # ---------------------------------------------------------------- delays and causes

    def delay_s(self, tool: Tool, motor: Motor) -> float:
        """The spin-down delay of one tool's stop on one motor, as now set (C5)."""
        if motor.is_cleaner:
            share = min(1.0, motor.cut_s / motor.plan.run_on_full_cut_s)
            return motor.plan.run_on_min_s + share * (motor.plan.run_on_max_s - motor.plan.run_on_min_s)
        own = self.settings.get(tool.name, tool.plan.spin_down_s)
        return own if own is not None else self.settings.get(motor.name, motor.plan.spin_down_s)

    def set_delay(self, subject: str, delay_s: float | None) -> None:
        """Set the spin-down delay of a motor or a tool; None takes the setting away."""
        if delay_s is None:
            self.settings.pop(subject, None)
        else:
            self.settings[subject] = delay_s
        self._note_delays()

    def _note_delays(self) -> None:
        for motor in self.motors.values():
            self._note_delays_of(motor)

    def _note_delays_of(self, motor: Motor) -> None:
        """How long each tool's stop keeps a motor running: its delay or its clear time."""
        self._run_on[motor.name] = {
            tool.name: max(self.delay_s(tool, motor), self.clear_s[tool.name, motor.name])
            for tool in self.tools_of[motor.name]
        }

    def note_cut(self, motor: Motor, cut_s: float) -> None:
        """What was cut since an air cleaner last stopped: its delay follows from that."""
        motor.cut_s = cut_s
        if motor.is_cleaner:
            self._note_delays_of(motor)

    def due(self, tool: Tool, motor: Motor) -> float | None:
        """Until when a tool's last stop keeps a motor running; None where it never ran."""
        if tool.stopped_at is None:
            return None
        return tool.stopped_at + self._run_on[motor.name][tool.name]

    def is_cause(self, tool: Tool, motor: Motor, now_s: float) -> bool:
        """True where a tool's fresh run, or the delay after it, is a cause to start a motor."""
        if motor.name not in tool.causes:
            return False
        if tool.counting:
            return True
        return tool.stopped_at is not None and now_s < tool.stopped_at + self._run_on[motor.name][tool.name]

    def cause_stands(self, motor: Motor, now_s: float) -> bool:
        """True where something asks for this motor that may also start it (C21)."""
        asked_until = motor.asked_until()
        if asked_until is not None and now_s < asked_until:
            return True
        if motor.is_shaker:
            followed = self.motors[motor.plan.follows or ""]
            due = motor.shake_by is not None and now_s < motor.shake_by
            return due and not followed.fan_runs(now_s) and not self.cause_stands(followed, now_s)
        return any(tool.causes and self.is_cause(tool, motor, now_s) for tool in self.tools_of[motor.name])

    def in_use(self, motor: Motor, now_s: float) -> bool:
        """True while a tool counts as running on a motor or a person's run lasts."""
        asked_until = motor.asked_until()
        return (asked_until is not None and now_s < asked_until) or (
            not motor.is_shaker and any(tool.counting for tool in self.tools_of[motor.name])
        )

    def wanted_until(self, motor: Motor, now_s: float) -> float | None:
        """The instant at which the last delay, clear time and timed run end; None while it is in use by a tool."""
        asked_until = motor.asked_until()
        latest = now_s if asked_until is None else asked_until
        if motor.is_shaker:
            return latest
        if motor.is_cleaner and self.quiet:
            return now_s
        run_on = self._run_on[motor.name]
        for tool in self.tools_of[motor.name]:
            if tool.counting:
                return None
            if tool.stopped_at is not None and tool.stopped_at + run_on[tool.name] > latest:
                latest = tool.stopped_at + run_on[tool.name]
        return latest

    def earliest_stop(self, motor: Motor, now_s: float) -> float | None:
        """When a voluntary stop may come (C5, C8); None while a tool keeps the motor running."""
        latest = self.wanted_until(motor, now_s)
        if latest is None or motor.store.level_at(latest) >= 1.0:
            return latest
        return max(latest, motor.store.whole_start_at())

    # ---------------------------------------------------------------- notes of the step

    def force(self, motor: Motor, rule: str, why: str) -> None:
        """A forced stop: off in this step, and every cause that stood is used up (C21)."""
        self.use_up(motor)
        self.force_off.setdefault(motor.name, (rule, why))

    def use_up(self, motor: Motor) -> None:
        """No cause that stood starts this motor any more (C21)."""
        motor.run_until = motor.run_what = None
        motor.flush, motor.flush_from, motor.flush_until = (), None, None
        motor.retrying = motor.retry_used = False
        motor.shake_by = None
        motor.resume = False
        for tool in self.tools_of[motor.name]:
            tool.causes -= {motor.name}

    def halt(self, gate: Gate, rule: str, why: str) -> None:
        """Halt a gate in this step."""
        if gate.plan.actuated:
            self.halts.setdefault(gate.name, (rule, why))

    def keep(self, key: str, value: Any) -> None:
        """Make a value durable with this step."""
        self.keeps.append(Keep(key, value))

    def keep_store(self, motor: Motor, now_s: float) -> None:
        """Make a motor's start store durable."""
        self.keep(
            f"starts/{motor.name}", {"level": round(motor.store.level_at(now_s), 6), "locked": motor.store.locked}
        )

    def new_store(self, motor: Motor, store: StartStore, now_s: float) -> None:
        """Give a motor another start store, durably."""
        motor.store = store
        self.keep_store(motor, now_s)

    def raise_alarm(self, code: str, subject: str, now_s: float, *, rule: str | None = None) -> None:
        """Raise a message that stays until a person clears it, or count it again."""
        standing = self.alarms.get((code, subject))
        if standing is None:
            self.alarms[code, subject] = Standing(now_s, now_s)
        else:
            self.alarms[code, subject] = Standing(standing.since_s, now_s, standing.count + 1, standing.seen)
        self.recorder.write(
            "message",
            subject,
            {"code": code, "heap": FAULTS[code].heap, "what": "raised"},
            rule=rule,
            why=sentence(code, subject),
        )
