"""What the guard remembers, from inputs and allowed commands alone: the half of the guard that has no opinion.

Every instant is an "until" or a "from" on the caller's monotonic clock: ``-inf`` is long past, ``inf`` never comes.
What a cut or a person's press leaves behind is a *cause*, without which no motor is switched on (C21); a forced stop
uses up every cause that stood. ``guard.py`` is the other half: it forbids.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from math import inf
from operator import attrgetter
from typing import Any

from gatekeeper.control import messages as told
from gatekeeper.control.messages import Event, Kept, MoveGate, SwitchMotor
from gatekeeper.control.plan import InputKind, MotorKind, Plan

START_TOLERANCE = 1e-6  # in starts: a refill is a float
RELEASE_PAUSE_S = 3.0  # C26: from the release to the first motion
REQUEST_RUN_S = 3600.0  # C21: a person's run without a time of its own
SHAKE_GRACE_S = 60.0  # C21: how late, after coast and shake time, a shaker may still begin
DELAY_LONGEST_S = 3600.0  # C5: a longer spin-down delay is no setting
BEAT_AGE_S, RESUME_GAP_S = 60.0, 3600.0  # C21, sole exception: age of the last beat; once an hour

RUN_REQUESTS = frozenset({"run", "air_here", "sweep", "flush"})

Refusal = tuple[str | None, str]  # a rule (None where the list made no sense) and a plain sentence


@dataclass(slots=True)
class _Tool:
    spin_down_s: float | None
    reading: str = "unread"  # as it came, or "excused": stale, but a person said that the tool is stopped


@dataclass(slots=True)
class _Gate:
    held: bool
    stuck: bool
    switch: str = ""
    sure: bool = False  # the switch has spoken since the last shut command
    way: str = ""  # the last direction, until its time is over, halted or not
    end_s: float = -inf  # when that time is over
    slot_s: float = -inf  # until when it takes a place on its supply
    pause_s: float = -inf  # end of the driver's pause before a reversed move
    due_s: float = inf  # from when the travel time proves it open
    free_s: float = -inf  # from when it may move after a release


@dataclass(slots=True)
class _Motor:
    spin_down_s: float
    out: bool
    hand: str = "auto"
    locked: bool = False  # the record of its starts was lost, and nobody has cleared that yet
    full_s: float = inf  # when its store of starts is full again
    ready_s: float = -inf  # end of the rest after a stop that left less than one start
    lease_s: float = -inf  # end of the lease; -inf while off
    settled_s: float = inf  # from when a tool's start counts after waking
    tries: int = 0  # times switched on without being seen to run and without a new cause
    stops: frozenset[tuple[str, float]] = frozenset()  # causes: a tool and its stop, inf while it cuts
    run_s: float = -inf  # cause: a person's run, until
    shake_s: float = -inf  # cause: the run that a shaker follows, until
    resume_s: float = -inf  # until when tools found running are a cause (the sole exception)
    resumed: frozenset[str] = frozenset()  # the tools that are a cause by that alone
    resumed_s: float = -inf  # until when they are, unless the motor is on by then

    def mark(self, tool: str, stop_s: float) -> None:
        self.stops = frozenset(entry for entry in self.stops if entry[0] != tool) | {(tool, stop_s)}

    def end_resumption(self) -> None:
        if self.lease_s == -inf:
            self.stops = frozenset(entry for entry in self.stops if entry[0] not in self.resumed)
        self.resumed = frozenset()


_READERS: dict[Any, Any] = {kind: attrgetter(*kind.__slots__) for kind in (_Tool, _Gate, _Motor)}
_INSTANTS = {
    _Tool: (),
    _Gate: ("end_s", "slot_s", "pause_s", "due_s", "free_s"),
    _Motor: ("full_s", "ready_s", "lease_s", "settled_s", "run_s", "shake_s", "resume_s", "resumed_s"),
}


class GuardMemory:
    """What was seen and done in one shop; no clock, no I/O. ``kept`` is read here and at waking, never later."""

    def __init__(self, plan: Plan, kept: Kept) -> None:
        self.plan, self.kept = plan, kept
        self.awake = False
        self.emergency, self.fire = self._latched("emergency"), self._latched("fire")
        self.made: frozenset[str] = frozenset()  # inputs last read as made
        values, setting = kept.values, self._setting
        self.tools = {n: _Tool(setting(n, t.spin_down_s)) for n, t in plan.tools.items()}
        self.gates = {n: _Gate(bool(values.get(f"held/{n}")), bool(values.get(f"stuck/{n}"))) for n in plan.gates}
        self.motors = {
            n: _Motor(setting(n, m.spin_down_s), self._latched(f"out_of_service/{n}")) for n, m in plan.motors.items()
        }
        self._items: tuple[Any, ...] = (*self.tools.values(), *self.gates.values(), *self.motors.values())
        self.stuck_keys = {f"stuck/{n}": gate for n, gate in self.gates.items()}
        self.tools_at = {n: tuple(t.name for t in plan.tools.values() if n in t.gates) for n in plan.gates}
        self._serves = {n: self._tools_served(n) for n in plan.motors}
        self._shakers = {n: tuple(s for s, m in plan.motors.items() if m.follows == n) for n in plan.motors}
        self._inputs: dict[InputKind, dict[str, frozenset[str]]] = {kind: {} for kind in InputKind}
        for source in plan.inputs.values():
            named = source.systems if source.kind == InputKind.DOOR else ()  # fire and emergency are the shop's
            self._inputs[source.kind][source.name] = frozenset(named or plan.motors)
        self._stoppers = {
            kind: {
                motor: frozenset(name for name, motors in inputs.items() if motor in motors) for motor in plan.motors
            }
            for kind, inputs in self._inputs.items()
        }
        if kept.damaged:  # without an input of its kind nobody could ever reset it
            self.emergency = bool(self._inputs[InputKind.EMERGENCY])
            self.fire = bool(self._inputs[InputKind.FIRE])

    def _latched(self, key: str) -> bool:
        return self.kept.damaged or bool(self.kept.values.get(key))

    def _setting(self, subject: str, planned: Any) -> Any:
        kept = self.kept.values.get(f"setting/{subject}/spin_down_s")
        return planned if kept is None else kept

    def _tools_served(self, motor: str) -> dict[str, float]:
        """The tools whose start is a cause for a motor, each with the least time it outlasts the stop (s)."""
        plan = self.plan.motors[motor]
        if plan.kind == MotorKind.AIR_CLEANER:
            return dict.fromkeys(self.plan.tools, plan.run_on_max_s)
        clear = {gate.name: gate.clear_s for gate in self.plan.gates_of(motor)}
        own = {tool.name: [clear[gate] for gate in tool.gates if gate in clear] for tool in self.plan.tools.values()}
        return {name: max(times) for name, times in own.items() if times}

    # ---------------------------------------------------------------- the state as one value

    def save(self) -> tuple[Any, ...]:
        """The whole state as one hashable value."""
        return self.awake, self.emergency, self.fire, self.made, tuple(_READERS[type(i)](i) for i in self._items)

    def save_relative(self, now_s: float) -> tuple[Any, ...]:
        """The state seen from ``now_s``, instants to 1 us, past ones -inf: restored, it goes on from a clock at 0."""
        self.elapse(now_s)
        before = self.save()
        for item in self._items:
            for name in _INSTANTS[type(item)]:
                instant_s = getattr(item, name)
                setattr(item, name, round(instant_s - now_s, 6) if instant_s > now_s else -inf)
        for motor in self.motors.values():
            motor.stops = frozenset((tool, round(stop_s - now_s, 6)) for tool, stop_s in motor.stops)
        relative = self.save()
        self.restore(before)
        return relative

    def restore(self, state: tuple[Any, ...]) -> None:
        """Go back to a saved state of the same shop."""
        self.awake, self.emergency, self.fire, self.made, rows = state
        for item, row in zip(self._items, rows, strict=True):
            for name, value in zip(item.__slots__, row, strict=True):
                setattr(item, name, value)

    # ---------------------------------------------------------------- time and waking

    def elapse(self, now_s: float) -> None:
        """What time alone does: moves end, leases run out (a forced stop), causes end."""
        if not self.awake:
            self._wake(now_s)
        for gate in self.gates.values():
            if gate.end_s <= now_s:
                gate.way = ""
        for name, motor in self.motors.items():
            if -inf < motor.lease_s <= now_s:
                self._note_off(name, motor.lease_s)
                self._force((name,))
            if motor.resumed and motor.resumed_s <= now_s:
                motor.end_resumption()
            if motor.stops:
                motor.stops = frozenset(entry for entry in motor.stops if self._cause_end_s(name, *entry) > now_s)

    def _wake(self, now_s: float) -> None:
        self._force(self.motors)
        beat = self.kept.values.get("beat") if self.kept.same_boot else None
        for name, motor in self.motors.items():
            plan = self.plan.motors[name]
            motor.settled_s = now_s + plan.settle_s
            latched = self.emergency or self.fire or motor.out
            if plan.resume and beat and name in beat["on"] and not latched and self._hour_passed(beat, now_s):
                motor.resume_s = beat["t_s"] + BEAT_AGE_S
                motor.resumed_s = now_s + BEAT_AGE_S
            if not self.awake:
                self._open_store(name, now_s)
        self.awake = True

    def _hour_passed(self, beat: Any, now_s: float) -> bool:
        return beat["resumed_s"] is None or now_s - beat["resumed_s"] >= RESUME_GAP_S

    def _open_store(self, name: str, now_s: float) -> None:
        """The starts in hand at waking (C8a); the outage counts as no time."""
        motor, plan, values = self.motors[name], self.plan.motors[name], self.kept.values
        level, record = plan.starts_capacity, values.get(f"starts/{name}")
        if self.kept.damaged or (record is None and not self.kept.fresh):
            level, motor.locked = 1.0, True
        elif record is not None:
            level = record["level"]
        if values.get(f"on/{name}") and not values.get("clean_stop"):
            level = max(level - 1.0, 0.0)
            if level < 1.0 - START_TOLERANCE:
                motor.ready_s = now_s + plan.rest_s  # when it stopped is not known: at the latest now
        motor.full_s = now_s + (plan.starts_capacity - level) * 3600.0 / plan.starts_per_hour

    def too_few_starts(self, name: str, at_s: float) -> bool:
        plan = self.plan.motors[name]
        missing = max(0.0, self.motors[name].full_s - at_s) * plan.starts_per_hour / 3600.0
        return plan.starts_capacity - missing < 1.0 - START_TOLERANCE

    def _note_off(self, name: str, at_s: float) -> None:
        motor = self.motors[name]
        motor.lease_s = -inf
        if self.too_few_starts(name, at_s):
            motor.ready_s = at_s + self.plan.motors[name].rest_s

    def _cause_end_s(self, motor: str, tool: str, stop_s: float) -> float:
        own_s = self.tools[tool].spin_down_s
        return stop_s + max(self.motors[motor].spin_down_s if own_s is None else own_s, self._serves[motor][tool])

    def _force(self, names: Iterable[str]) -> None:
        """A forced stop uses up all causes that stood (C21)."""
        for name in names:
            motor = self.motors[name]
            motor.stops, motor.resumed = frozenset(), frozenset()
            motor.run_s = motor.shake_s = motor.resume_s = -inf

    # ---------------------------------------------------------------- inputs

    def observe(self, event: Event, now_s: float) -> None:
        """Take in one input of this step, before the list is judged. A name that the plan lacks is a KeyError."""
        self.elapse(now_s)
        if isinstance(event, told.Woke):
            self._wake(now_s)
        elif isinstance(event, told.Stopping):
            self._force(self.motors)
        elif isinstance(event, told.ToolSeen):
            self._see_tool(event.tool, event.state, event.fresh, now_s)
        elif isinstance(event, told.SwitchSeen):
            self.gates[event.gate].switch, self.gates[event.gate].sure = event.state, True
        elif isinstance(event, told.Missed):
            self.gates[event.gate].due_s = inf
        elif isinstance(event, told.Lapsed):
            self._force((event.motor,))
        elif isinstance(event, told.MotorSeen) and event.state == "running":
            self.motors[event.motor].tries, self.motors[event.motor].shake_s = 0, -inf
        elif isinstance(event, told.InputSeen):
            self._see_input(event.input, event.state == "made")
        elif isinstance(event, told.HandSeen):
            self.motors[event.motor].hand = event.state
            self._force((event.motor,) if event.state != "auto" else ())
        elif isinstance(event, told.SettingChanged):
            if event.value is not None and not 0 <= event.value <= DELAY_LONGEST_S:
                return  # refused
            sides: Any = ((self.tools, self.plan.tools), (self.motors, self.plan.motors))
            for things, plans in sides:
                if event.subject in things:
                    planned = plans[event.subject].spin_down_s
                    things[event.subject].spin_down_s = planned if event.value is None else event.value
        elif isinstance(event, told.Requested):
            self._see_request(event, now_s)

    def _see_tool(self, name: str, state: str, watched: bool, now_s: float) -> None:
        tool = self.tools[name]
        before = tool.reading
        tool.reading = before if (before, state) == ("excused", "stale") else state  # still the same loss
        for system, motor in self.motors.items():
            if state == "running" and name in self._serves[system]:
                awake = now_s >= motor.settled_s and not self.forbidden(system, moving=False)
                fresh = watched and before == "stopped" and awake
                resumes = before == "unread" and now_s <= motor.resume_s
                if fresh or resumes:
                    motor.mark(name, inf)
                    motor.resumed = motor.resumed | {name} if resumes else motor.resumed - {name}
                    motor.tries = 0
        if state == "stopped":
            self._end_cut(name, now_s)

    def _end_cut(self, tool: str, now_s: float) -> None:
        for motor in self.motors.values():
            if (tool, inf) in motor.stops:
                motor.mark(tool, now_s)

    def _see_input(self, name: str, made: bool) -> None:
        self.made = self.made | {name} if made else self.made - {name}
        if not made:
            kind = self.plan.inputs[name].kind
            self.emergency = self.emergency or kind == InputKind.EMERGENCY
            self.fire = self.fire or kind == InputKind.FIRE
            self._force(self._inputs[kind][name])

    def _see_request(self, event: told.Requested, now_s: float) -> None:
        what, subject = event.what, event.subject
        motors = self.motors if subject is None else [name for name in self.motors if name == subject]
        gate, tool = self.gates.get(str(subject)), self.tools.get(str(subject))
        if what in RUN_REQUESTS:
            self._see_run_request(event, now_s)
        elif what in ("stop", "out_of_service"):
            self._force(motors)
            for name in motors:
                self.motors[name].out = self.motors[name].out or what == "out_of_service"
        elif what == "back_in_service":
            for name in motors:
                self.motors[name].out = False
        elif what == "clear" and subject in self.motors:
            self.motors[subject].locked = False
        elif what == "reset":
            self.emergency = self.emergency and not self._inputs[InputKind.EMERGENCY].keys() <= self.made
            self.fire = self.fire and not (event.who == "local" and self._inputs[InputKind.FIRE].keys() <= self.made)
        elif what == "sparks":
            self.fire = True
            self._force(list(self.motors))
        elif what == "hold" and gate:
            gate.held = True
        elif what == "release" and gate and (gate.held or gate.stuck):
            gate.held, gate.stuck, gate.free_s = False, False, now_s + RELEASE_PAUSE_S
        elif what == "stopped" and tool and tool.reading in ("stale", "unread"):
            tool.reading = "excused"
            self._end_cut(str(subject), now_s)

    def _see_run_request(self, event: told.Requested, now_s: float) -> None:
        """A person's run: a cause wherever nothing forbids it at that instant."""
        gates: Any = self.plan.sweep_gates if event.what == "sweep" and event.subject is None else (event.subject,)
        systems = {event.subject, *(plan.system for name, plan in self.plan.gates.items() if name in gates)}
        if event.subject in self.tools:
            systems.update(self.plan.systems_of(event.subject))
        for name in self.motors:
            if name in systems and not self.forbidden(name, moving=False):
                motor = self.motors[name]
                long_s = REQUEST_RUN_S if event.for_s is None or event.what == "flush" else event.for_s
                motor.run_s, motor.tries = max(motor.run_s, now_s + long_s), 0
                for tool in self._serves[name]:
                    if event.what == "run" and self.tools[tool].reading == "running":
                        motor.mark(tool, inf)  # the press takes up what was found running
                        motor.resumed -= {tool}

    # ---------------------------------------------------------------- what allowed commands do

    def move(self, command: MoveGate, now_s: float) -> None:
        gate, plan = self.gates[command.gate], self.plan.gates[command.gate]
        if command.what == "halt":
            gate.slot_s = -inf
            if now_s < gate.due_s:
                gate.due_s = inf  # halted on its way: unproven
            return
        if gate.way not in ("", command.what):
            gate.pause_s = now_s + plan.dead_s
        gate.way = command.what
        gate.end_s = gate.slot_s = now_s + plan.dead_s + plan.travel_s
        gate.due_s = max(now_s, gate.pause_s) + plan.travel_s if command.what == "open" else inf
        gate.sure = gate.sure and command.what == "open"

    def switch_off(self, name: str, now_s: float) -> None:
        if self.motors[name].lease_s > -inf:
            self._note_off(name, now_s)
            for shaker in self._shakers[name]:
                if not self.forbidden(shaker, moving=False):
                    wait_s = self.plan.motors[name].coast_s + self.plan.motors[shaker].shake_s + SHAKE_GRACE_S
                    self.motors[shaker].shake_s, self.motors[shaker].tries = now_s + wait_s, 0

    def switch_on(self, command: SwitchMotor, now_s: float) -> None:
        motor, plan = self.motors[command.motor], self.plan.motors[command.motor]
        motor.lease_s = command.until_s or -inf
        if command.what == "on":
            motor.full_s = max(motor.full_s, now_s) + 3600.0 / plan.starts_per_hour
            if plan.confirm_s is None:
                motor.shake_s = -inf  # once for each run that it follows
            else:
                motor.tries += 1

    # ---------------------------------------------------------------- what stands against everything

    def _unmade(self, kind: InputKind, motor: str) -> bool:
        return not self._stoppers[kind][motor] <= self.made

    def forbidden(self, name: str, moving: bool) -> Refusal | None:
        """What forbids a motor to run, or (moving) its gates to move, whatever else is true."""
        motor = self.motors[name]
        if self.fire or self._unmade(InputKind.FIRE, name):
            return "C24", "Fire alarm: nothing starts and no gate moves until it is reset in the shop itself."
        if self.emergency or self._unmade(InputKind.EMERGENCY, name):
            return "C13", "Red button: nothing starts and no gate moves until a person resets it."
        if motor.out or self._unmade(InputKind.DOOR, name):
            return "C14", f"{name} is out of service or a door of it is open: it does not run, no gate of it moves."
        if motor.hand == "off":
            return "C25", f"The switch of {name} stands at off: it does not run and no gate of it moves."
        if motor.hand == "hand" and not moving:
            return "C25", f"{name} runs by hand: it is started and stopped at its switch."
        return None
