"""Rules about switching motors: C2, C8, C9, C21 to C23 at each command, C5 for when a voluntary stop may come."""

from collections.abc import Mapping
from typing import Any

from sim.checker.due import Due
from sim.checker.form import TOL_S, field_of
from sim.checker.path_rules import PathRules
from sim.checker.step import Line, Step
from sim.checker.tracks import MotorTrack
from sim.checker.world import STORE_TOL, World

OFF_AT_ONCE = frozenset({"C13", "C15", "C24"})
"""Rules under which every motor is told off, whether it is believed on or not."""

NO_START = {
    "C13": "although the emergency circuit was opened and nobody has reset it",
    "C14": "although it is out of service",
    "C15": "before the sensors had settled after waking",
    "C24": "although the fire alarm is latched",
    "C25": "although its hand switch does not stand at auto",
    "C27": "although the shop is shut",
}


class MotorRules:
    """Judges the motor commands of one step, one after the other, and carries them into the world."""

    def __init__(self, world: World, due: Due, paths: PathRules) -> None:
        self.world = world
        self.due = due
        self.paths = paths

    def lapse(self, step: Step) -> None:
        """A lease that ran out before this step, or that its switch says ran out, was a forced stop (rule C23)."""
        for line in step.of("lapse"):
            reported = self.world.motors.get(line.subject or "")
            if reported is not None and reported.on:
                self.world.forced_off(line.subject or "", min(step.t_s, reported.until_s))
        for motor, track in self.world.motors.items():
            if track.on and not track.is_on(step.t_s):
                self.world.forced_off(motor, track.until_s)
            if track.is_on(step.t_s):
                step.was_on.add(motor)

    def commands(self, step: Step) -> None:
        """Every motor command of the list, in its order."""
        for line in step.of("motor_command"):
            motor = line.subject or ""
            if motor not in self.world.motors:
                step.flag("C28", line, line.subject, f"{line.subject} is not a motor that we start, and was commanded.")
            elif line.word == "on":
                self._on(step, line, motor)
            elif line.word == "renew":
                self._renew(step, line, motor)
            elif line.word == "off":
                self._off(step, line, motor)

    # --- on --------------------------------------------------------------------------------------------------------

    def _on(self, step: Step, line: Line, motor: str) -> None:
        world, track = self.world, self.world.motors[motor]
        rule = world.motor_forbidden(motor, step.t_s)
        if rule is not None:
            step.flag(rule, line, motor, f"{motor} was switched on {NO_START[rule]}.")
        else:
            self._may_start(step, line, motor, track)
        world.charge(motor, step.t_s)
        track.on, track.on_t, track.on_seq = True, step.t_s, line.seq
        track.confirmed = track.seen == "running" or track.sensor_lost
        track.told_off = False
        track.until_s = self._until(step, line, motor)
        track.path_lost_t = None
        feeder = world.shop.systems[motor].feeder
        if feeder is not None:
            world.feeder_motor_t[feeder] = step.t_s

    def _may_start(self, step: Step, line: Line, motor: str, track: MotorTrack) -> None:
        world, t_s = self.world, step.t_s
        shut = step.subjects("gate_command", "shut")
        if track.latched:
            step.flag("C9", line, motor, f"{motor} failed to start twice and was switched on uncleared.")
        elif not self._cause(motor, track, t_s):
            step.flag("C21", line, motor, f"{motor} was switched on without a fresh cause.")
        if world.shop.path_binds(motor):
            if not world.path_enough(motor, t_s):
                step.flag("C2", line, motor, f"{motor} was switched on before its path was proven open.")
            elif not world.path_enough(motor, t_s, shut):
                step.flag("C2", line, motor, f"{motor} was switched on by a list that shuts its path.")
        if track.locked:
            step.flag("C8", line, motor, f"{motor} was switched on with the record of its starts lost.")
        if world.store(motor, t_s) < 1.0 - STORE_TOL:
            if not track.free_start:
                step.flag("C8", line, motor, f"{motor} was switched on with no whole start in store.")
            track.free_start = False
        elif t_s < track.rest_until - TOL_S:
            step.flag("C8", line, motor, f"{motor} was switched on before its rest time was over.")
        if t_s < world.start_gap_t(motor, doubtful=False) - TOL_S:
            step.flag("C22", line, motor, f"{motor} was switched on too soon after another start on its feeder.")

    def _cause(self, motor: str, track: MotorTrack, t_s: float) -> bool:
        """Whether any reading of rule C21 finds a cause; a retry of rule C9 and a resume use theirs up."""
        world = self.world
        if any(world.cause_stands(tool, motor, t_s) for tool in world.tools):
            return True
        if any(run.for_s is None or t_s <= run.since_t + run.for_s + TOL_S for run in track.runs):
            return True
        if not world.shop.spins_down(motor) and track.any_cut:
            return True
        if track.failed and self._retry_cause(motor, track, t_s):
            return True
        if t_s <= track.resume_until:
            track.resume_until, track.resumed_t = float("-inf"), t_s
            return True
        return False

    def _retry_cause(self, motor: str, track: MotorTrack, t_s: float) -> bool:
        world = self.world
        stands = False
        for tool, sure in track.retry_causes.items():
            world.tools[tool].causes[motor] = sure
            stands = world.cause_stands(tool, motor, t_s) or stands
        track.runs.extend(track.retry_runs)
        stands = stands or any(run.for_s is None or t_s <= run.since_t + run.for_s + TOL_S for run in track.runs)
        track.retry_causes, track.retry_runs = {}, []
        return stands

    def _until(self, step: Step, line: Line, motor: str) -> float:
        until_s, lease_s = field_of(line.value, "until_s"), self.world.shop.systems[motor].lease_s
        if not isinstance(until_s, int | float) or isinstance(until_s, bool) or until_s <= step.t_s:
            step.flag("C23", line, motor, f"{motor} was switched on without a lease that ends after now.")
            return float("inf")
        if lease_s is not None and until_s > step.t_s + lease_s + TOL_S:
            step.flag("C23", line, motor, f"{motor} has a lease longer than its driver's {lease_s:g} s.")
        return float(until_s)

    def _renew(self, step: Step, line: Line, motor: str) -> None:
        track = self.world.motors[motor]
        rule = self.world.motor_forbidden(motor, step.t_s)
        if rule is not None and rule != "C27":
            step.flag(rule, line, motor, f"{motor} was kept on {NO_START[rule]}.")
        elif not track.is_on(step.t_s):
            step.flag("C23", line, motor, f"The lease of {motor} was renewed although it is not on.")
            return
        track.until_s = self._until(step, line, motor)

    # --- off -------------------------------------------------------------------------------------------------------

    def _off(self, step: Step, line: Line, motor: str) -> None:
        track = self.world.motors[motor]
        track.told_off, track.told_t = True, step.t_s
        if not track.is_on(step.t_s):
            return
        if motor in step.forced or step.t_s >= track.until_s - TOL_S:  # at its very end a lease is over
            self.world.forced_off(motor, step.t_s)
        elif self._failed(motor, track, step.t_s) and not self._due_anyhow(step, line, motor, track):
            self._fail(motor, track, step.t_s)
        elif self._forced(line, motor, track, step.t_s):
            self.world.forced_off(motor, step.t_s)
        else:
            self._voluntary(step, line, motor, track)

    def _failed(self, motor: str, track: MotorTrack, t_s: float) -> bool:
        confirm_s = self.world.shop.systems[motor].confirm_s
        if confirm_s is None or t_s < track.on_t + confirm_s - TOL_S:
            return False
        just_now = track.seen == "running" and track.seen_t == t_s  # seen in the very step that judges it
        return not track.confirmed or track.seen == "still" or just_now

    def _due_anyhow(self, step: Step, line: Line, motor: str, track: MotorTrack) -> bool:
        """Whether a stop of a motor that was confirmed is as rule C5 would have it, and the record names no other."""
        flawless = self._too_early(motor, track, step.t_s) is None and self.paths.on_voluntary_stop(step, motor) is None
        return (
            line.rule != "C9" and track.confirmed and flawless and self.world.store(motor, step.t_s) >= 1.0 - STORE_TOL
        )

    def _fail(self, motor: str, track: MotorTrack, t_s: float) -> None:
        """Rule C9: off for want of confirmation. The first time leaves one retry to its cause, the second latches."""
        again = track.failed
        causes = {n: tool.causes[motor] for n, tool in self.world.tools.items() if motor in tool.causes}
        runs, any_cut = list(track.runs), track.any_cut
        self.world.forced_off(motor, t_s)
        track.failed, track.latched = True, again
        if not again:
            track.retry_causes, track.retry_runs, track.any_cut = causes, runs, any_cut

    def _forced(self, line: Line, motor: str, track: MotorTrack, t_s: float) -> bool:
        """Other reasons that the record shows: forbidden, lease over, no path, no air, a tool that never stops.

        Whether the last of them is a forced stop or the end of a delay is open: it is what the record calls it.
        """
        world = self.world
        if t_s >= track.until_s - TOL_S:
            return True
        if world.motor_forbidden(motor, t_s) not in (None, "C27"):
            return True
        if line.rule in ("C3", "C3a") and track.air is not True and world.shop.proof_of(motor) == "air":
            return True  # air was lost, or never proved
        if track.air is False and track.confirmed and line.rule != "C5":
            return True
        if world.shop.path_binds(motor) and not world.path_enough(motor, t_s):
            return True
        if line.rule in ("C3", "C3a") and world.shop.path_binds(motor):
            dead_s = max((gate.facts.dead_s for gate in world.gates.values()), default=0.0)
            if t_s <= world.path_since(motor, t_s) + dead_s + TOL_S:
                return True  # the core may count the dead time with every move
            stuck = [name for name in world.shop.systems[motor].gates if world.gates[name].stuck]
            if not world.path_enough(motor, t_s, stuck):
                return True  # a switch that says open since before the move that stuck may not be believed
        running = [tool for tool in world.shop.motor_tools[motor] if world.tools[tool].state == "running"]
        return line.rule != "C5" and bool(running) and all(world.overlong(tool, t_s) for tool in running)

    def _voluntary(self, step: Step, line: Line, motor: str, track: MotorTrack) -> None:
        world, t_s = self.world, step.t_s
        if world.shop.spins_down(motor):
            early = self._too_early(motor, track, t_s)
            if early is not None:
                step.flag("C5", line, motor, early)
            if world.store(motor, t_s) < 1.0 - STORE_TOL:
                step.flag("C8", line, motor, f"{motor} was stopped by its spin-down with no whole start in store.")
            unparked = self.paths.on_voluntary_stop(step, motor)
            if unparked is not None:
                step.flag("C7", line, motor, unparked)
        store_short = world.store(motor, t_s) < 1.0 - STORE_TOL
        track.on, track.off_t, track.ran_until = False, t_s, t_s
        world.consume(motor)
        for name, other in world.motors.items():
            facts = world.shop.systems[name]
            other.any_cut |= facts.kind == "shaker" and facts.follows in (None, motor)
        if store_short:
            track.rest_until = t_s + world.shop.systems[motor].rest_s

    def _too_early(self, motor: str, track: MotorTrack, t_s: float) -> str | None:
        """Why a voluntary stop may not come yet, by the mildest reading of every term of rule C5."""
        world = self.world
        for name in world.shop.motor_tools[motor]:
            tool, facts = world.tools[name], world.shop.tools[name]
            if tool.state == "running" and not tool.said_stopped:
                if not world.overlong(name, t_s):
                    return f"{motor} was stopped while {name} is running."
            elif tool.state == "stale" and tool.lost_running and not tool.said_stopped:
                if not tool.lost_overlong and t_s < tool.stale_t + facts.hold_s - TOL_S:
                    return f"{motor} was stopped although {name} may still run: its sensor is lost."
            elif tool.stop_t is not None and (motor in tool.causes or tool.stop_t >= track.on_t - TOL_S):
                end = world.run_on_until(name, motor, tool.stop_t)
                if t_s < end - TOL_S:
                    return f"{motor} was stopped {end - t_s:.3f} s before the run-on of {name} was over."
        has_sweeps = sum(bool(facts.gates) for facts in world.shop.systems.values()) == 1
        for run in track.runs:
            if run.what == "sweep" and not has_sweeps:
                continue  # the record does not say on which system a floor sweep is
            end = run.since_t + (run.for_s or 0.0)
            if not run.ended and t_s < end - TOL_S:
                return f"{motor} was stopped {end - t_s:.3f} s before its run by hand was over."
        return None


def active(value: Any) -> bool:
    """Whether a field of a message says yes: true, or an instant (zero included)."""
    return value is not None and value is not False


def message_state(value: Mapping[str, Any]) -> bool:
    """Whether a message is raised and not cleared."""
    return active(value.get("raised", True)) and not active(value.get("cleared"))
