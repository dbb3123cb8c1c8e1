"""Rules about the open path of a fan: C3, C3a and C7."""

from sim.checker.due import Due
from sim.checker.form import TOL_S
from sim.checker.gate_rules import AT_ONCE_S
from sim.checker.step import Step
from sim.checker.tracks import GateTrack
from sim.checker.world import World

STOP_SLACK_S = 2.0
"""Rule C3: with no path, the collector stops within one worst travel plus this, seconds."""

AIR_PROOF_S = 2.0
"""Rule C3a: the old path is opened again when air is not proved within this after its shutting, seconds."""


class PathRules:
    """Judges what each list leaves of each motor's path."""

    def __init__(self, world: World, due: Due) -> None:
        self.world = world
        self.due = due

    def before(self, step: Step) -> None:
        """Shuts of the list, against the path that was proven before it; and whether a path was lost from outside."""
        for motor in self.world.motors:
            if self.world.shop.path_binds(motor):
                self._shuts(step, motor)
                self._notice_loss(step, motor)

    def _shuts(self, step: Step, motor: str) -> None:
        gates = self.world.shop.systems[motor].gates
        gone: list[str] = []
        for line in step.of("gate_command", "shut"):
            if line.subject not in gates:
                continue
            gone.append(line.subject or "")
            if self.world.path_enough(motor, step.t_s, gone):
                continue
            rule, when = ("C3", "runs") if self.world.fan_runs(motor, step.t_s) else ("C7", "rests")
            sentence = f"{line.subject} was told to shut and leaves {motor}, which {when}, no path."
            step.flag(rule, line, line.subject, sentence)
            return

    def _notice_loss(self, step: Step, motor: str) -> None:
        track = self.world.motors[motor]
        driven = motor in step.was_on or (track.mode == "hand" and track.seen == "running")
        if not driven or self.world.path_enough(motor, step.t_s):
            track.path_lost_t = None
        elif track.path_lost_t is None:
            track.path_lost_t = step.t_s

    def after(self, step: Step) -> None:
        """What was done about a path that is not there."""
        for motor in self.world.motors:
            if not self.world.shop.path_binds(motor):
                continue
            self._lost_running(step, motor)
            self._lost_at_rest(step, motor)
            self._no_air(step, motor)

    def _openable(self, step: Step, motor: str) -> list[str]:
        return [
            name
            for name in self.world.shop.systems[motor].gates
            if name in self.world.gates
            and not self.world.gate_excused(name, step.t_s)
            and not self.world.gates[name].confirmed_open(step.t_s)
            and not (self.world.gates[name].missed and self.world.gates[name].maybe_moving(step.t_s))
            and self.world.slot_free(self.world.gates[name].facts.supply, step.t_s, name)
        ]

    def _on_the_way(self, step: Step, motor: str) -> bool:
        for name in self.world.shop.systems[motor].gates:
            gate = self.world.gates.get(name)
            if gate is not None and gate.opening() and gate.maybe_moving(step.t_s):
                return True
        return False

    def _own_gate_waits(self, step: Step, motor: str) -> bool:
        """Whether a running tool's gate waits for its supply: it comes before a path at rest (C11, C15)."""
        for tool in self.world.shop.motor_tools[motor]:
            for name in self.world.shop.tools[tool].gates:
                gate = self.world.gates.get(name)
                if gate is None or name not in self.world.shop.systems[motor].gates:
                    continue
                able = not self.world.gate_excused(name, step.t_s) and not gate.missed
                waits = able and not self.world.slot_free(gate.facts.supply, step.t_s, name)
                if waits and self.world.tools[tool].possibly_running():
                    return True
        return False

    def _lost_running(self, step: Step, motor: str) -> None:
        track = self.world.motors[motor]
        lost_t = track.path_lost_t
        if lost_t is None:
            self.due.forget("C3 open", motor)
            self.due.forget("C3 stop", motor)
            return
        opened = any(line.subject in self.world.shop.systems[motor].gates for line in step.of("gate_command", "open"))
        openable = self._openable(step, motor)
        runs = track.is_on(step.t_s) or track.mode == "hand"
        idle = runs and not opened and bool(openable) and not self._on_the_way(step, motor)
        if idle and self.due.once("C3 open", motor):
            step.late("C3", motor, f"{motor} has lost its path and {openable[0]}, which could be opened, was not.")
        worst_s = self.world.shop.worst_travel_s() + STOP_SLACK_S
        overdue = track.is_on(step.t_s) and track.mode != "hand" and step.t_s > lost_t + worst_s + TOL_S
        if overdue and self.due.once("C3 stop", motor):
            step.late("C3", motor, f"{motor} has had no path for over {worst_s:g} s and was not stopped.")

    def _lost_at_rest(self, step: Step, motor: str) -> None:
        track = self.world.motors[motor]
        lost = (
            not track.is_on(step.t_s)
            and track.path_lost_t is None
            and not self.world.path_enough(motor, step.t_s)
            and not self._on_the_way(step, motor)
            and not self._own_gate_waits(step, motor)
            # One on its way to shut takes the slot itself: at rest nothing asks that it be turned back.
            and any(
                not (self.world.gates[name].command == "shut" and self.world.gates[name].maybe_holds_slot(step.t_s))
                for name in self._openable(step, motor)
            )
        )
        if self.due.overdue("C7", motor, lost, step.t_s, AT_ONCE_S):
            step.late("C7", motor, f"{motor} rests without a path although a gate could be opened.")

    def _no_air(self, step: Step, motor: str) -> None:
        """Rule C3a, proof by air: no air after a shutting opens the old path again."""
        track, system = self.world.motors[motor], self.world.shop.systems[motor]
        if track.air is not False:
            self.due.forget("C3a", motor)
            return
        gates = [self.world.gates[name] for name in system.gates if name in self.world.gates]
        shuts = [g for g in gates if g.command == "shut" and track.on_t <= g.command_t <= track.air_t + TOL_S]
        applies = (
            self.world.shop.proof_of(motor) == "air"
            and track.is_on(step.t_s)
            and bool(shuts)
            and track.path_lost_t is None
            and not self._opened_again(gates, max((g.command_t for g in shuts), default=0.0))
        )
        limit_s = max((gate.facts.travel_s + gate.facts.dead_s for gate in shuts), default=0.0) + AIR_PROOF_S
        can = any(not self.world.gate_excused(gate.facts.gate, step.t_s) for gate in shuts)
        if self.due.overdue("C3a", motor, applies and can, step.t_s, limit_s):
            step.late("C3a", motor, f"{motor} proves no air since a gate was shut, and no gate was opened again.")

    def _opened_again(self, gates: list[GateTrack], shut_t: float) -> bool:
        """Whether a gate was opened for the path after the last shutting: the gates shut before it need not open."""
        return any(gate.command == "open" and min(gate.command_t, gate.for_path_t) >= shut_t for gate in gates)

    def on_voluntary_stop(self, step: Step, motor: str) -> str | None:
        """Rule C7 for a voluntary stop: a sentence when the list parks the motor without a path of its own moving."""
        if not self.world.shop.path_binds(motor):
            return None
        shut = step.subjects("gate_command", "shut")
        if not self.world.path_enough(motor, step.t_s, shut):
            return f"{motor} was stopped by its spin-down and is left without a path."
        system = self.world.shop.systems[motor]
        if system.relief_m2 >= system.path_minimum_m2 > 0:
            return None
        gates = [self.world.gates[name] for name in system.gates if name in self.world.gates]
        left = [gate for gate in gates if gate.confirmed_open(step.t_s) and gate.facts.gate not in shut]
        able = [gate for gate in gates if gate.facts.gate not in step.subjects("gate_belief", "stuck")]
        works = any(gate.facts.actuated and not self.world.gate_excused(gate.facts.gate, step.t_s) for gate in able)
        if left and works and not any(gate.facts.actuated for gate in left):
            return f"{motor} is parked on a hand gate alone although an automatic gate works."
        return None
