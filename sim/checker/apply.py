"""Applies the inputs of a step to the world: readings, people, circuits, waking."""

from collections.abc import Callable

from sim.checker.facts import apply_setting, read_shop
from sim.checker.form import TOL_S, field_of
from sim.checker.step import NOT_A_CAUSE, Line, Request, Step
from sim.checker.tracks import GateTrack, MotorTrack, PersonRun, ToolTrack
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


class Inputs:
    """Applies input entries one after the other."""

    def __init__(self, world: World) -> None:
        self.world = world
        self._by_kind: dict[str, Callable[[Step, Line], None]] = {
            "wake": self._wake,
            "stopped": self._stopped,
            "miss": self._miss,
            "tool": self._tool,
            "switch": self._switch,
            "motor_seen": self._motor_seen,
            "motor_sensor": self._motor_sensor,
            "air": self._air,
            "emergency": self._circuit,
            "fire": self._circuit,
            "door": self._circuit,
            "hand": self._hand,
            "shop_key": self._shop_key,
            "request": self._request,
            "setting": self._setting,
        }

    def apply(self, step: Step) -> None:
        """Everything that came in with this step."""
        for line in step.inputs:
            handler = self._by_kind.get(line.kind)
            if handler is not None:
                handler(step, line)

    def _force(self, step: Step, line: Line, motor: str, rule: str) -> None:
        """A forced stop of this motor: causes are gone, and the step owes an `off` where one was not sent yet."""
        self.world.consume(motor)
        step.forced.add(motor)
        step.told_off.setdefault(motor, (line, rule))

    def _wake(self, step: Step, line: Line) -> None:
        self.world.woken, self.world.wake_t = True, line.t_s
        for motor in self.world.motors:
            self._force(step, line, motor, "C15")

    def _stopped(self, step: Step, line: Line) -> None:
        self.world.clean = True
        for motor in self.world.motors:
            self.world.consume(motor)
            step.forced.add(motor)

    def _miss(self, step: Step, line: Line) -> None:
        gate = self.world.gates.get(line.subject or "")
        if gate is not None:
            gate.missed, gate.missed_t, gate.missed_seq = True, line.t_s, line.seq

    def _switch(self, step: Step, line: Line) -> None:
        gate = self.world.gates.get(line.subject or "")
        if gate is not None:
            gate.see_switch(str(line.word), line.t_s)

    def _tool(self, step: Step, line: Line) -> None:
        name = line.subject or ""
        track = self.world.tools.get(name)
        if track is None:
            return
        if line.word == "running" and track.state != "running":
            self._tool_runs(step, line, name, track)
        elif line.word == "stopped" and track.state != "stopped":
            if (track.state == "running" or track.lost_running) and not track.said_stopped:
                self._tool_stops(name, track, line.t_s)
                if self.world.overlong(name, line.t_s):  # it may count as stopped since long ago (C12)
                    track.causes = dict.fromkeys(track.causes, False)
            track.back_t = line.t_s
            track.state, track.said_stopped, track.lost_running = "stopped", False, False
        elif line.word == "stale" and track.state != "stale":
            track.lost_running = track.state == "running" and not track.said_stopped
            track.doubted = track.state == "running" and track.said_stopped  # the word and the sensor never agreed
            track.lost_overlong = track.lost_running and self.world.overlong(name, line.t_s)
            track.state, track.stale_t = "stale", line.t_s

    def _tool_stops(self, name: str, track: ToolTrack, t_s: float) -> None:
        track.stop_t = t_s
        motors = self.world.shop.tool_motors[name]
        track.others_ran = any(
            other != name and self.world.tools[other].possibly_running()
            for motor in motors
            for other in self.world.shop.motor_tools[motor]
        )

    def _tool_runs(self, step: Step, line: Line, name: str, track: ToolTrack) -> None:
        world, facts = self.world, self.world.shop.tools[name]
        good = track.state == "stopped" and field_of(line.value, "fresh") is not False
        within_hold = track.state == "stale" and line.t_s < track.stale_t + facts.hold_s - TOL_S
        goes_on = within_hold and track.lost_running and not track.said_stopped
        if not goes_on:
            track.causes.clear()
            track.start_t, track.start_seq = line.t_s, line.seq
            step.tool_starts.append((line, good))
        track.state, track.said_stopped, track.lost_running, track.doubted = "running", False, False, False
        if facts.feeder is not None:
            (world.feeder_tool_t if good else world.feeder_doubt_t)[facts.feeder] = line.t_s
        if not good:
            return
        for motor in world.shop.tool_motors[name]:
            forbidden = world.motor_forbidden(motor, line.t_s)
            if forbidden == "C25" and world.motors[motor].mode == "hand":
                track.causes[motor] = False
            elif forbidden in (None, "C15") and not world.motors[motor].latched:
                track.causes[motor] = (
                    forbidden is None
                    and name not in world.tools_out
                    and not world.unread()
                    and not world.says_latched(motor)
                )
        for motor, motor_track in world.motors.items():
            if world.shop.systems[motor].kind != "shaker" and world.motor_forbidden(motor, line.t_s) in (None, "C15"):
                motor_track.any_cut = True  # a shaker's cause is the run that it follows

    def _motor_seen(self, step: Step, line: Line) -> None:
        motor = self.world.motors.get(line.subject or "")
        if motor is None:
            return
        motor.sensor_lost = False
        if motor.seen == "running" and line.word == "still":
            motor.ran_until = max(motor.ran_until, line.t_s)
        if motor.seen != line.word:
            motor.seen, motor.seen_t = str(line.word), line.t_s
        if line.word == "running" and motor.on:
            motor.confirmed, motor.failed = True, False

    def _motor_sensor(self, step: Step, line: Line) -> None:
        """A lost run sensor says nothing: what ran is not known to run on, and no confirmation is owed (C9, C12)."""
        motor = self.world.motors.get(line.subject or "")
        if motor is None:
            return
        if motor.seen == "running":
            motor.ran_until = max(motor.ran_until, line.t_s)
        motor.seen, motor.seen_t, motor.sensor_lost = None, line.t_s, True
        motor.confirmed = motor.confirmed or motor.on

    def _air(self, step: Step, line: Line) -> None:
        motor = self.world.motors.get(line.subject or "")
        if motor is None:
            return
        proved = line.word in (True, "true")
        if motor.air is not proved:
            motor.air, motor.air_t = proved, line.t_s
        if proved and motor.on:
            motor.confirmed, motor.failed = True, False

    def _circuit(self, step: Step, line: Line) -> None:
        world, name = self.world, line.subject or ""
        circuits = world.circuits[line.kind]
        first_word = name not in circuits
        opened = line.word == "open" and not circuits.get(name, False)
        circuits[name] = line.word == "open"
        if not opened:
            return
        if line.kind == "door":
            for motor in world.shop.inputs.get(name, ()) or tuple(world.motors):
                self._take_out(step, line, motor)
            return
        was_latched = world.emergency if line.kind == "emergency" else world.fire
        world.emergency = world.emergency or line.kind == "emergency"
        world.fire = world.fire or line.kind == "fire"
        rule = "C13" if line.kind == "emergency" else "C24"
        for motor, track in world.motors.items():
            self.world.consume(motor)
            step.forced.add(motor)
            if not was_latched and not (first_word and track.told_off):
                step.told_off[motor] = (line, rule)
        for gate in world.gates:
            step.halts.setdefault(gate, (line, rule))

    def _take_out(self, step: Step, line: Line, motor: str) -> None:
        """Out of service by a person or a door (rule C14): off, and every gate of that system halted if it moves."""
        if motor not in self.world.motors:
            return
        self._force(step, line, motor, "C14")
        for gate in self.world.shop.systems[motor].gates:
            step.halts.setdefault(gate, (line, "C14"))

    def _hand(self, step: Step, line: Line) -> None:
        motor = self.world.motors.get(line.subject or "")
        if motor is None or motor.mode == line.word:
            return
        motor.mode, motor.mode_t = str(line.word), line.t_s
        if line.word == "off":
            self._force(step, line, line.subject or "", "C25")
        elif line.word == "hand":
            self.world.consume(line.subject or "")  # the person takes over; whether an `off` is sent too is not said
            step.forced.add(line.subject or "")

    def _shop_key(self, step: Step, line: Line) -> None:
        self.world.shop_shut = line.word == "shut"
        for name, motor in self.world.motors.items():
            if self.world.shop_shut and not motor.is_on(line.t_s):
                self.world.consume(name)

    def _setting(self, step: Step, line: Line) -> None:
        name = field_of(line.value, "name")
        if isinstance(name, str) and not step.refused(line):
            apply_setting(self.world.shop, line.subject, name, field_of(line.value, "value"))
            self.world.setting_t = line.t_s

    # --- people ----------------------------------------------------------------------------------------------------

    def _request(self, step: Step, line: Line) -> None:
        if step.refused(line):
            return
        request = step.read_request(line)
        step.granted.append(request)
        handler = {
            "stop": self._stop,
            "reset": self._reset,
            "sparks": self._sparks,
            "clear": self._clear,
            "out_of_service": self._out_of_service,
            "back_in_service": self._back_in_service,
            "hold": self._hold,
            "release": self._release,
            "open": self._by_hand,
            "shut": self._by_hand,
            "stopped": self._said_stopped,
            "still_running": self._said_running,
        }.get(request.what)
        if handler is not None:
            handler(step, request)
        elif request.what not in NOT_A_CAUSE:
            self._asks_for_air(request)

    def _stop(self, step: Step, request: Request) -> None:
        world, subject = self.world, request.line.subject
        if subject is None or subject in world.motors:
            for motor in world.motors if subject is None else (subject,):
                world.consume(motor)
                step.forced.add(motor)
                if world.motors[motor].is_on(request.line.t_s):
                    step.told_off.setdefault(motor, (request.line, "C16"))
            return
        for motor in self._motors_of(subject):
            step.forced.add(motor)
            for tool in world.tools.values():
                if motor in tool.causes:
                    tool.causes[motor] = False

    def _motors_of(self, subject: str | None) -> tuple[str, ...]:
        shop = self.world.shop
        if subject is None:
            return tuple(shop.systems)
        if subject in shop.systems:
            return (subject,)
        return shop.tool_motors.get(subject) or shop.gate_systems.get(subject, ())

    def _asks_for_air(self, request: Request) -> None:
        line, world = request.line, self.world
        for motor in self._motors_of(line.subject):
            track = world.motors[motor]
            if request.what == "air_here" and request.for_s == 0:
                # It ends the run that an earlier one asked for, from wherever it comes; which run that is may be open.
                for run in track.runs:
                    run.ended = run.ended or any(other.what == "air_here" for other in track.runs)
            if track.latched or track.mode == "off":
                continue
            if request.who in ("page", "broker") and not world.shop.remote_start:
                world.gates_by_hand(motor)
                continue  # a gate may open; no motor starts from there
            if world.motor_forbidden(motor, line.t_s) in (None, "C15", "C25"):
                sure = request.what == "run" and line.subject == motor and track.mode != "hand"
                for_s = None if request.what == "flush" else request.for_s  # a flush lasts as long as its branches take
                track.runs.append(PersonRun(line.t_s, line.seq, for_s, sure, request.what))
            if request.what == "run":
                # The press takes up what was found running.
                for name in world.shop.motor_tools[motor]:
                    if world.tools[name].state == "running":
                        world.tools[name].causes.setdefault(motor, False)
                cuts = any(tool.state == "running" for tool in world.tools.values())
                track.any_cut |= cuts and world.shop.systems[motor].kind == "air_cleaner"
            else:
                world.gates_by_hand(motor)

    def _reset(self, step: Step, request: Request) -> None:
        world = self.world
        name = request.line.subject
        for kind in ("emergency", "fire"):
            if world.shop.input_kinds.get(name or "", kind) != kind:
                continue
            if any(world.circuits[kind].values()) or (kind == "fire" and request.who != "local"):
                continue
            if kind == "emergency":
                world.emergency = False
            else:
                world.fire = False

    def _sparks(self, step: Step, request: Request) -> None:
        """Whoever says that there were sparks is a fire detector (rule C24)."""
        world = self.world
        for motor in world.motors:
            world.consume(motor)
            step.forced.add(motor)
            if not world.fire:
                step.told_off[motor] = (request.line, "C24")
        world.fire = True
        for gate in world.gates:
            step.halts.setdefault(gate, (request.line, "C24"))

    def _clear(self, step: Step, request: Request) -> None:
        world, subject = self.world, request.line.subject
        for motor, track in world.motors.items():
            if subject == motor:
                if track.latched or track.says == "latched" or track.locked:
                    world.consume(motor)  # a latch and a lost record both need a fresh cause after the person's word
                track.latched = track.failed = False
                track.free_start = track.record_lost
                track.record_lost = track.locked = False

    def _out_of_service(self, step: Step, request: Request) -> None:
        world, line = self.world, request.line
        subject = line.subject
        if subject is None:
            for motor in world.motors:
                world.motors[motor].out_of_service = True
                self._take_out(step, line, motor)
        elif subject in world.motors:
            world.motors[subject].out_of_service = True
            self._take_out(step, line, subject)
        elif subject in world.gates:
            world.gates[subject].out_of_service = True
            step.halts.setdefault(subject, (line, "C14"))
        else:
            world.tools_out.add(subject)
            for motor in world.shop.tool_motors.get(subject, ()):
                if motor in world.tools[subject].causes:
                    world.tools[subject].causes[motor] = False

    def _back_in_service(self, step: Step, request: Request) -> None:
        world, subject = self.world, request.line.subject
        if subject is None:
            for motor in world.motors.values():
                motor.out_of_service = False
        elif subject in world.motors:
            world.motors[subject].out_of_service = False
        elif subject in world.gates:
            world.gates[subject].out_of_service = False
        else:
            world.tools_out.discard(subject)

    def _hold(self, step: Step, request: Request) -> None:
        gate = self.world.gates.get(request.line.subject or "")
        if gate is not None:
            gate.held = True
            step.halts.setdefault(gate.facts.gate, (request.line, "C26"))

    def _release(self, step: Step, request: Request) -> None:
        gate = self.world.gates.get(request.line.subject or "")
        if gate is not None:
            gate.held = gate.stuck = False
            gate.released_t = request.line.t_s

    def _by_hand(self, step: Step, request: Request) -> None:
        gate = self.world.gates.get(request.line.subject or "")
        if gate is not None:
            gate.by_hand = request.what == "open"

    def _said_running(self, step: Step, request: Request) -> None:
        track = self.world.tools.get(request.line.subject or "")
        if track is not None:
            track.vouched_t = request.line.t_s

    def _said_stopped(self, step: Step, request: Request) -> None:
        name = request.line.subject or ""
        track = self.world.tools.get(name)
        if track is not None and track.possibly_running():
            if track.state == "running" or track.lost_running:
                self._tool_stops(name, track, request.line.t_s)
            track.said_stopped = True
