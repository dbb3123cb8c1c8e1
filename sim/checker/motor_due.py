"""What is owed to a motor: offs that may not wait, starts that a cause asks for, stops that nothing holds back."""

from sim.checker.due import Due
from sim.checker.form import TOL_S
from sim.checker.gate_rules import AT_ONCE_S
from sim.checker.motor_rules import OFF_AT_ONCE
from sim.checker.path_rules import PathRules
from sim.checker.step import Step
from sim.checker.tracks import MotorTrack
from sim.checker.world import World


class MotorDue:
    """Judges, after each list, what it left undone for the motors (rules C5, C9, C13 to C16, C24)."""

    def __init__(self, world: World, due: Due, paths: PathRules, *, punctual: bool) -> None:
        self.world = world
        self.due = due
        self.paths = paths
        self.punctual = punctual

    def before(self, step: Step) -> None:
        """With a punctual clock, a command may not come later than its time either."""
        if not self.punctual:
            return
        for line in step.of("motor_command"):
            motor = line.subject or ""
            if motor not in self.world.motors or motor in step.forced:
                continue
            track = self.world.motors[motor]
            if line.word == "on" and motor not in step.was_on:
                due_t = self._start_due_t(motor, track, step.t_s)
                if due_t is not None and step.t_s > due_t + AT_ONCE_S + TOL_S:
                    step.flag("C5", line, motor, f"{motor} was switched on {step.t_s - due_t:.3f} s after it could be.")
            if line.word == "off" and motor in step.was_on:
                due_t = self._stop_due_t(step, motor, track)
                if due_t is not None and step.t_s > due_t + AT_ONCE_S + TOL_S:
                    step.flag("C5", line, motor, f"{motor} was stopped {step.t_s - due_t:.3f} s after nothing held it.")

    def after(self, step: Step) -> None:
        """Everything owed."""
        self._told_off(step)
        for motor, track in self.world.motors.items():
            self._start(step, motor, track)
            self._stop(step, motor, track)
            self._confirm(step, motor, track)
            self._still_running(step, motor, track)

    def _told_off(self, step: Step) -> None:
        offs = step.subjects("motor_command", "off")
        for motor, (line, rule) in step.told_off.items():
            owed = rule in OFF_AT_ONCE or motor in step.was_on
            if owed and motor not in offs:
                step.flag(rule, line, motor, f"{motor} was not told off in the step that demands it.")

    def _start_due_t(self, motor: str, track: MotorTrack, t_s: float) -> float | None:
        """The instant from which a sure cause could have had this motor on, or None while anything forbids it."""
        world = self.world
        if not world.shop.spins_down(motor) or world.unread() or world.motor_forbidden(motor, t_s) is not None:
            return None
        if (
            track.latched
            or track.failed
            or world.says_latched(motor)
            or track.seen == "running"
            or track.record_lost
            or not self._open(motor, t_s)
        ):
            return None
        causes = [
            tool.start_t
            for name, tool in world.tools.items()
            if tool.causes.get(motor) and tool.state != "stale" and self._surely(name, motor, t_s)
        ]
        causes += [
            run.since_t
            for run in track.runs
            if run.sure and not run.ended and run.for_s and t_s < run.since_t + run.for_s - TOL_S
        ]
        if not causes:
            return None
        due_t = max(
            min(causes),
            world.path_since(motor, t_s) if world.shop.path_binds(motor) else float("-inf"),
            world.start_gap_t(motor, doubtful=True),
            world.store_ready_t(motor),
            track.rest_until,
            track.rest_excuse,
            world.wake_t + world.shop.systems[motor].settle_s,
            track.off_t,
        )
        return due_t if due_t <= t_s else None

    def _open(self, motor: str, t_s: float) -> bool:
        """Whether the path is surely enough: a switch that says open of a gate that missed or is stuck is not."""
        gates = [self.world.gates[n] for n in self.world.shop.systems[motor].gates if n in self.world.gates]
        doubted = [gate.facts.gate for gate in gates if gate.missed or gate.stuck]
        return not self.world.shop.path_binds(motor) or self.world.path_enough(motor, t_s, doubted)

    def _surely(self, name: str, motor: str, t_s: float) -> bool:
        tool = self.world.tools[name]
        if tool.said_stopped or self.world.overlong(name, t_s):
            return False
        if tool.state == "running":
            return True
        return tool.stop_t is not None and t_s < tool.stop_t + self.world.run_on_s(name, motor)[0] - TOL_S

    def _start(self, step: Step, motor: str, track: MotorTrack) -> None:
        due_t = None if track.is_on(step.t_s) else self._start_due_t(motor, track, step.t_s)
        if due_t is None or step.t_s <= due_t + AT_ONCE_S + TOL_S:
            self.due.forget("C5 on", motor)
        elif self.due.once("C5 on", motor):
            step.late("C5", motor, f"{motor} could be on for its cause since {step.t_s - due_t:.3f} s, and is not.")

    def _stop_due_t(self, step: Step, motor: str, track: MotorTrack) -> float | None:
        """The instant at which nothing holds this running motor any more, or None while something does."""
        world, t_s = self.world, step.t_s
        if not world.shop.spins_down(motor) or track.mode in ("hand", "off"):
            return None
        tools = [(name, world.tools[name]) for name in world.shop.motor_tools[motor]]
        if any(tool.state == "running" and not tool.said_stopped for _, tool in tools):
            return None
        if world.shop.path_binds(motor) and not world.path_enough(motor, t_s):
            return None
        if self.paths.on_voluntary_stop(step, motor) is not None:
            return None  # C7 holds it until an automatic gate is open
        ends = [track.on_t, world.setting_t, world.store_ready_t(motor)]
        if world.shop.path_binds(motor):
            dead_s = max((gate.facts.dead_s for gate in world.gates.values()), default=0.0)
            ends.append(world.path_since(motor, t_s) + dead_s)
        for name, tool in tools:
            if tool.state == "stale" and not tool.said_stopped:
                ends.append(world.run_on_until(name, motor, tool.stale_t + world.shop.tools[name].hold_s))
            elif tool.stop_t is not None:
                ends.append(
                    world.run_on_until(name, motor, max(tool.stop_t, tool.back_t) if tool.doubted else tool.stop_t)
                )
        for run in track.runs:
            if run.for_s is None:
                return None
            ends.append(max(run.since_t, track.on_t) + run.for_s)
        latest = max(ends)
        return latest if latest <= t_s else None

    def _stop(self, step: Step, motor: str, track: MotorTrack) -> None:
        due_t = self._stop_due_t(step, motor, track) if track.is_on(step.t_s) else None
        if due_t is None or step.t_s <= due_t + AT_ONCE_S + TOL_S:
            self.due.forget("C5 off", motor)
        elif self.due.once("C5 off", motor):
            step.late("C5", motor, f"{motor} still runs {step.t_s - due_t:.3f} s after nothing holds it any more.")

    def _confirm(self, step: Step, motor: str, track: MotorTrack) -> None:
        """Rule C9: no confirmation in time, off."""
        confirm_s = self.world.shop.systems[motor].confirm_s
        unconfirmed = track.is_on(step.t_s) and not track.confirmed and track.mode != "hand"
        if confirm_s is None or not unconfirmed or step.t_s <= track.on_t + confirm_s + TOL_S:
            self.due.forget("C9 off", motor)
        elif self.due.once("C9 off", motor):
            step.late("C9", motor, f"{motor} was not seen to run within {confirm_s:g} s and was not switched off.")

    def _still_running(self, step: Step, motor: str, track: MotorTrack) -> None:
        """Rule C9: running when told off is an alarm once the release and coast times are over, but not in Hand."""
        facts = self.world.shop.systems[motor]
        # Leaving Hand, it may coast as long; and after waking the sensors settle first (C15).
        settled_t = self.world.wake_t + facts.settle_s
        since = max(track.off_t, track.told_t, track.seen_t, track.mode_t, settled_t)
        wrong = track.seen == "running" and not track.on and track.told_off and track.mode != "hand"
        limit_s = max(facts.release_s, facts.coast_s) + AT_ONCE_S
        if not wrong or step.t_s <= since + limit_s + TOL_S:
            self.due.forget("C9 alarm", motor)
        elif not self.world.message_up((motor,), "now") and self.due.once("C9 alarm", motor):
            step.late("C9", motor, f"{motor} runs although it was told off, and no alarm says so.")
