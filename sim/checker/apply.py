"""Applies the inputs of a step to the world: readings and circuits; what people ask for is in ``people``."""

from collections.abc import Callable

from sim.checker.effects import force, take_out, tool_stops
from sim.checker.facts import apply_setting
from sim.checker.form import TOL_S, field_of
from sim.checker.people import People
from sim.checker.step import Line, Step
from sim.checker.tracks import ToolTrack
from sim.checker.world import World


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
            "request": People(world).apply,
            "setting": self._setting,
        }

    def apply(self, step: Step) -> None:
        """Everything that came in with this step."""
        for line in step.inputs:
            handler = self._by_kind.get(line.kind)
            if handler is not None:
                handler(step, line)

    def _wake(self, step: Step, line: Line) -> None:
        self.world.woken, self.world.wake_t = True, line.t_s
        for motor in self.world.motors:
            force(self.world, step, line, motor, "C15")

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
                tool_stops(self.world, name, track, line.t_s)
                if self.world.overlong(name, line.t_s):  # it may count as stopped since long ago (C12)
                    track.causes = dict.fromkeys(track.causes, False)
            track.back_t = line.t_s
            track.state, track.said_stopped, track.lost_running = "stopped", False, False
        elif line.word == "stale" and track.state != "stale":
            track.lost_running = track.state == "running" and not track.said_stopped
            track.doubted = track.state == "running" and track.said_stopped  # the word and the sensor never agreed
            track.lost_overlong = track.lost_running and self.world.overlong(name, line.t_s)
            track.state, track.stale_t = "stale", line.t_s

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
                take_out(self.world, step, line, motor)
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

    def _hand(self, step: Step, line: Line) -> None:
        motor = self.world.motors.get(line.subject or "")
        if motor is None or motor.mode == line.word:
            return
        motor.mode, motor.mode_t = str(line.word), line.t_s
        if line.word == "off":
            force(self.world, step, line, line.subject or "", "C25")
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
