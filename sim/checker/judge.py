"""The checker itself: gathers entries into steps and has each step judged by every rule."""

from collections.abc import Iterable, Mapping
from typing import Any

from sim.checker.apply import Inputs
from sim.checker.due import Due
from sim.checker.facts import ShopFacts, read_shop
from sim.checker.form import INPUTS, KEYS, FormCheck
from sim.checker.gate_rules import GateRules
from sim.checker.motor_due import MotorDue
from sim.checker.motor_rules import MotorRules, message_state
from sim.checker.path_rules import PathRules
from sim.checker.quiet import is_quiet, next_turn
from sim.checker.step import Line, Step, read_line
from sim.checker.violation import Violation
from sim.checker.waking import new_run
from sim.checker.word_rules import WordRules
from sim.checker.world import World


class Checker:
    """Judges a record entry by entry.

    A step is judged as a whole, so its violations are returned with the first entry of the step after it; `finish`
    judges the last one.

    Args:
        punctual: whether whoever drives the core calls it at each of its deadlines. If so, a motor command later than
            one second after its time is blamed even where no earlier step could have carried it.
        quick: pass over quiet steps at which no rule can turn (see `quiet`). What is blamed first is the same.
    """

    def __init__(self, *, punctual: bool = False, quick: bool = False) -> None:
        self.world = World()
        due = Due()
        self._due = due
        self._form = FormCheck()
        self._paths = PathRules(self.world, due)
        self._gates = GateRules(self.world, due)
        self._motors = MotorRules(self.world, due, self._paths)
        self._owed = MotorDue(self.world, due, self._paths, punctual=punctual)
        self._words = WordRules(self.world, due)
        self._inputs = Inputs(self.world)
        self._quick = quick
        self._judged_s = float("-inf")
        self._quiet_until: float | None = None
        self._begun = False
        self._shop: ShopFacts | None = None
        self._place: tuple[Any, Any, Any] | None = None
        self._lines: list[Line] = []

    def feed(self, entry: Mapping[str, Any]) -> list[Violation]:
        """Take the next entry; return what is now known to be broken.

        Args:
            entry: one object of the record, as parsed from its JSON line.
        """
        found: list[Violation] = []
        place = (entry.get("boot"), entry.get("run"), entry.get("step"))
        if place != self._place:
            found += self.finish()
            self._place = place
        found += self._form.judge(entry, self._shop)
        readable = all(key in entry for key in KEYS) and isinstance(entry["seq"], int)
        if readable and isinstance(entry["t_s"], int | float):
            self._take(read_line(entry))
        return found

    def _take(self, line: Line) -> None:
        if line.kind == "shop":
            # The names of a run hold for the rest of this very step, too.
            self._begun = True
            self._shop = read_shop(line.value) if isinstance(line.value, Mapping) else None
        if self._begun and not line.kind.startswith("truth_"):
            self._lines.append(line)

    def finish(self) -> list[Violation]:
        """Judge the step whose end was not seen yet; entries may go on after it."""
        lines, self._lines = self._lines, []
        if not lines:
            return []
        step = Step(lines)
        for line in step.of("shop"):
            if isinstance(line.value, Mapping):
                new_run(self.world, step, line)
                self._gates.new_run()
                self._due.clear()
        if any(line.kind != "shop" for line in lines):
            self._judge(step)
        self.world.t_s = max(self.world.t_s, step.t_s) if not step.of("shop") else step.t_s
        return sorted(step.found, key=lambda violation: violation.seq)

    def _judge(self, step: Step) -> None:
        world, t_s = self.world, step.t_s
        lapsed = any(track.on and not track.is_on(t_s) for track in world.motors.values())
        self._motors.lapse(step)
        if self._quick and not lapsed and is_quiet(step) and self._passes(t_s):
            self._motors.commands(step)
            return
        step.moving = {name for name, gate in world.gates.items() if gate.moving(t_s)}
        world.end_causes(t_s)
        self._inputs.apply(step)
        step.moving &= {name for name, gate in world.gates.items() if gate.moving(t_s)}
        step.shutting = {name for name in step.moving if world.gates[name].command == "shut"}
        if step.of("kill"):
            return
        self._words.before(step)
        self._paths.before(step)
        self._gates.before(step)
        self._owed.before(step)
        self._motors.commands(step)
        self._carry_out(step)
        self._words.after(step)
        self._paths.after(step)
        self._gates.after(step)
        self._owed.after(step)
        self._judged_s, self._quiet_until = t_s, None

    def _passes(self, t_s: float) -> bool:
        """Whether nothing can have turned since the last step that was judged in full."""
        if self._due.is_open():
            return False
        if self._quiet_until is None:
            self._quiet_until = next_turn(self.world, self._judged_s)
        return t_s < self._quiet_until

    def _carry_out(self, step: Step) -> None:
        """Gate commands, beliefs, messages and reasons of the step; motor commands are already in."""
        for line in step.lines:
            gate = self.world.gates.get(line.subject or "")
            if line.kind == "gate_command" and gate is not None and line.word in ("open", "shut", "halt"):
                gate.order(line.word, step.t_s)
            elif line.kind == "gate_belief" and gate is not None:
                gate.belief = str(line.word)
                gate.stuck = gate.stuck or line.word == "stuck"
                gate.held = gate.held or line.word == "held"
            elif line.kind == "message" and isinstance(line.value, Mapping):
                self._message(line, line.value)
            elif line.kind == "state" and line.subject in self.world.motors:
                self.world.motors[line.subject].says = str(line.word)
            if gate is not None and line.rule in ("C3", "C3a") and line.word != "shut":
                gate.for_path_t = step.t_s
            if gate is not None and line.why is not None and line.kind not in INPUTS:
                gate.reason_t = step.t_s

    def _message(self, line: Line, value: Mapping[str, Any]) -> None:
        key = (line.subject, str(value.get("code")))
        if message_state(value):
            self.world.messages[key] = str(value.get("heap"))
        else:
            self.world.messages.pop(key, None)


def check_record(entries: Iterable[Mapping[str, Any]], *, punctual: bool = False) -> list[Violation]:
    """Judge a whole record.

    Args:
        entries: the record's entries, in order.
        punctual: see `Checker`.
    """
    checker = Checker(punctual=punctual)
    found = [violation for entry in entries for violation in checker.feed(entry)]
    return found + checker.finish()
