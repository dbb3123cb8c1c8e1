"""Applies what people ask for to the world: stops, runs, holds, releases, words about a tool."""

from sim.checker.effects import take_out, tool_stops
from sim.checker.step import NOT_A_CAUSE, Line, Request, Step
from sim.checker.tracks import PersonRun
from sim.checker.world import World


class People:
    """Applies what people ask for."""

    def __init__(self, world: World) -> None:
        self.world = world

    def apply(self, step: Step, line: Line) -> None:
        """One request, unless it was refused."""
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
                take_out(self.world, step, line, motor)
        elif subject in world.motors:
            world.motors[subject].out_of_service = True
            take_out(self.world, step, line, subject)
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
                tool_stops(self.world, name, track, request.line.t_s)
            track.said_stopped = True
