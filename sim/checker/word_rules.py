"""Rules about what must be said: C10, C12, C14, C16, C20, C27, and beliefs without proof (C3a, C8)."""

from sim.checker.due import Due
from sim.checker.form import TOL_S, field_of
from sim.checker.step import Step
from sim.checker.violation import GUARD
from sim.checker.world import STORE_TOL, World


class WordRules:
    """Judges the words of one step: reasons, alarms, beliefs, refusals."""

    def __init__(self, world: World, due: Due) -> None:
        self.world = world
        self.due = due
        self._missed: set[str] = set()

    def before(self, step: Step) -> None:
        """Entries that need nothing but themselves, and what was proven before the list."""
        self._reasons(step)
        self._refusals(step)
        self._missed = {name for name, gate in self.world.gates.items() if gate.missed and gate.command == "open"}
        started = {line.subject for line, _ in step.tool_starts}
        for line in step.of("gate_command", "open"):
            if line.subject not in self._missed or line.why is not None:
                continue
            if not started.intersection(self.world.shop.gate_tools[line.subject or ""]) and not step.granted:
                step.flag("C20", line, line.subject, f"{line.subject} was opened again after a miss, without a reason.")

    def _reasons(self, step: Step) -> None:
        for line in step.of("dropped"):
            step.flag(GUARD, line, line.subject, f"The guard had to drop a command: {line.why or 'no reason given'}")
        silent = step.of("refusal") + step.of("dropped") + step.of("gate_command", "halt")
        for line in sorted(silent, key=lambda line: line.seq):
            if line.why is None:
                step.flag("C20", line, line.subject, f"`{line.kind}` gives no reason.")

    def _refusals(self, step: Step) -> None:
        always = {"out_of_service": "C14", "stop": "C16"}
        for line in step.of("request"):
            rule = always.get(str(line.word))
            known = line.subject is None or line.subject in self.world.motors
            if rule is not None and known and step.refused(line):
                step.flag(rule, line, line.subject, f"`{line.word}` was refused; it is always obeyed.")

    def after(self, step: Step) -> None:
        """Beliefs, stores and alarms, with the step's own messages already up."""
        self._beliefs(step)
        self._stores(step)
        self._lost(step)
        self._stuck(step)
        self._shop_shut(step)

    def _beliefs(self, step: Step) -> None:
        for line in step.of("gate_belief"):
            gate = self.world.gates.get(line.subject or "")
            if gate is None or self._persons(gate.facts.gate):
                continue
            if line.word == "open" and not gate.confirmed_open(step.t_s):
                step.flag("C3a", line, line.subject, f"{line.subject} is believed open and nothing proves it.")
            elif line.word == "shut" and not gate.confirmed_shut(step.t_s):
                step.flag("C3a", line, line.subject, f"{line.subject} is believed shut and nothing proves it.")
            elif line.word == "open" and not gate.facts.switch and not (line.why or field_of(line.value, "proof")):
                step.flag("C20", line, line.subject, f"{line.subject} is believed open; what proves it is not said.")

    def _persons(self, gate: str) -> bool:
        systems = self.world.shop.gate_systems[gate]
        return bool(systems) and all(self.world.shop.path_is_the_persons(motor) for motor in systems)

    def _stores(self, step: Step) -> None:
        for line in step.of("state"):
            said = field_of(line.value, "starts_stored")
            motor = line.subject or ""
            if motor not in self.world.motors or not isinstance(said, int | float) or isinstance(said, bool):
                continue
            have = self.world.store(motor, step.t_s)
            if said > have + STORE_TOL and not self.world.motors[motor].free_start:
                step.flag("C8", line, motor, f"{motor} says {said:.3f} starts in store; only {have:.3f} can be left.")

    def _lost(self, step: Step) -> None:
        """Rule C12: from the first stale reading there is an alarm; a run past all sense raises a question."""
        for line in step.of("tool", "stale"):
            tool = line.subject or ""
            if tool in self.world.tools and not self.world.message_up((tool,)):
                step.flag("C12", line, tool, f"The sensor of {tool} is lost and no alarm says so.")
        for name, track in self.world.tools.items():
            due = self.world.overlong(name, step.t_s) and not track.said_stopped
            if not due:
                self.due.forget("C12 question", name)
            elif self.due.overdue("C12 question", name, not self.world.message_up((name,)), step.t_s, 1.0):
                step.late("C12", name, f"{name} has run past its longest plausible run and nobody is asked.")

    def _stuck(self, step: Step) -> None:
        """Rule C10: a running tool behind a stuck gate is the highest alarm."""
        for name, gate in self.world.gates.items():
            tools = self.world.shop.gate_tools[name]
            for tool in tools:
                if not gate.stuck:
                    self.due.forget("C10 alarm", f"{name} {tool}")
                    continue
                behind = gate.stuck and not gate.confirmed_open(step.t_s) and self.world.tools[tool].state == "running"
                behind = behind and not self.world.tools[tool].said_stopped
                behind = behind and all(self.world.settled(motor, step.t_s, TOL_S) for motor in self.world.motors)
                said = self.world.message_up((tool, name, *self.world.shop.tool_motors[tool]), "now")
                if not behind or said:
                    self.due.forget("C10 alarm", f"{name} {tool}")
                elif self.due.once("C10 alarm", f"{name} {tool}"):
                    step.late("C10", name, f"{name} is stuck and {tool} runs behind it; no alarm says so.")

    def _shop_shut(self, step: Step) -> None:
        """Rule C27: a tool that starts while the shop is shut lights the sign and tells the steward."""
        if not self.world.shop_shut:
            return
        for line, _ in step.tool_starts:
            tool = line.subject or ""
            about = {tool, *self.world.shop.tools[tool].gates}
            told = any(other.kind == "sign" and other.subject in about for other in step.lines)
            if not told and not self.world.message_up(about):
                step.flag("C27", line, tool, f"{tool} started while the shop is shut; nothing tells of it.")
