"""The guard: the last word on every list of commands, whatever the rest of the core believes (RULES, "The guard").

It is told the inputs of a step (``observe``), then judges the list as a whole (``judge``): C1, C2, C3, C8, C11, C13,
C14, C21, C24, C25, C26 and what hangs on them. Its memory (``guard_memory.py``) comes from inputs and commands alone;
it shares no belief with the core, and it may only forbid. Motor off, gate halt, signs, records and answers always pass:
none of them starts or moves anything.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from gatekeeper.control.guard_memory import GuardMemory, Refusal
from gatekeeper.control.messages import Command, Keep, MoveGate, SwitchMotor
from gatekeeper.control.plan import MotorKind, Proof

PATH_TOLERANCE = 1e-9  # relative: sums of areas are floats

MAYBE_RUNNING = frozenset({"unread", "running", "stale"})
GATELESS = frozenset({MotorKind.AIR_CLEANER, MotorKind.SHAKER})


@dataclass(frozen=True, slots=True)
class Dropped:
    """A command that was not let through: its rule (None where the list made no sense) and a plain sentence."""

    command: Command
    rule: str | None
    why: str


@dataclass(frozen=True, slots=True)
class Judgement:
    """What may be done and what was dropped, both in list order."""

    allowed: tuple[Command, ...]
    dropped: tuple[Dropped, ...]


class Guard(GuardMemory):
    """Judges lists of commands for one shop, and keeps in memory what it let through."""

    # ---------------------------------------------------------------- judging a list

    def judge(self, commands: Sequence[Command], now_s: float) -> Judgement:
        """Judge a list as a whole, and take over what is allowed of it."""
        self.elapse(now_s)
        for command in commands:
            if isinstance(command, Keep) and command.key in self.stuck_keys and command.value:
                self.stuck_keys[command.key].stuck = True
        refused: dict[int, Refusal] = {}
        moves = {i: c for i, c in enumerate(commands) if isinstance(c, MoveGate)}
        if moves:
            self._judge_moves(moves, refused, now_s)
        for i, move in moves.items():
            if i not in refused:
                self.move(move, now_s)
        for i, command in enumerate(commands):
            if isinstance(command, SwitchMotor):
                if command.motor not in self.motors:
                    refused[i] = None, f"There is no motor {command.motor} in this shop."
                elif command.what == "off":
                    self.switch_off(command.motor, now_s)
                elif refusal := self._refuse_motor(command, now_s):
                    refused[i] = refusal
                else:
                    self.switch_on(command, now_s)
        allowed = tuple(command for i, command in enumerate(commands) if i not in refused)
        return Judgement(allowed, tuple(Dropped(commands[i], *refused[i]) for i in sorted(refused)))

    def _judge_moves(self, moves: Mapping[int, MoveGate], refused: dict[int, Refusal], now_s: float) -> None:
        last = {c.gate: i for i, c in moves.items() if c.what != "halt"}
        going = {name for name, gate in self.gates.items() if now_s < gate.slot_s}
        gone = set()  # what counts for nothing after this list
        for i, c in moves.items():
            if c.gate not in self.gates:
                refused[i] = None, f"There is no gate {c.gate} in this shop."
            elif c.what == "halt":
                going.discard(c.gate)
            elif i != last[c.gate]:
                refused[i] = None, f"Gate {c.gate} is told twice in one list: only the last counts."
            elif refusal := self._refuse_move(c, going, now_s):
                refused[i] = refusal
            else:
                going.add(c.gate)
                if c.what == "shut" or not self.plan.gates[c.gate].has_switch:
                    gone.add(c.gate)
        for i, c in reversed(list(moves.items())):
            shuts = c.what == "shut" and i not in refused
            if shuts and not self._air_can_pass(self.plan.gates[c.gate].system, now_s, gone):
                refused[i] = "C3", f"Gate {c.gate} is not shut: without it too little is known to be open on its duct."
                gone.discard(c.gate)

    # ---------------------------------------------------------------- judging one command

    def _is_open(self, name: str, now_s: float) -> bool:
        gate = self.gates[name]
        timed = gate.due_s <= now_s
        if self.plan.gates[name].has_switch:
            return gate.switch == "open" and gate.way != "shut" and (gate.sure or timed)
        return timed

    def _air_can_pass(self, motor: str, now_s: float, without: set[str]) -> bool:
        """Enough is proven open on the motor's duct, or it has no duct, or its path is the person's (C2, C3)."""
        plan = self.plan.motors[motor]
        if plan.proof == Proof.PERSON or plan.kind in GATELESS:
            return True
        gates = [gate for gate in self.plan.gates_of(motor) if gate.name not in without]
        area_m2 = plan.relief_m2 + sum(gate.area_m2 for gate in gates if self._is_open(gate.name, now_s))
        return area_m2 >= plan.path_minimum_m2 * (1.0 - PATH_TOLERANCE)

    def _refuse_move(self, command: MoveGate, going: set[str], now_s: float) -> Refusal | None:
        name = command.gate
        gate, plan = self.gates[name], self.plan.gates[name]
        if forbidden := self.forbidden(plan.system, moving=True):
            return forbidden
        if gate.held or gate.stuck or now_s < gate.free_s:
            return "C26", f"Gate {name} is held, stuck or just released: it moves 3 s after its release, not before."
        if not plan.actuated:
            return "C16", f"Gate {name} is moved by hand: there is nothing to command."
        cutting = [tool for tool in self.tools_at[name] if self.tools[tool].reading in MAYBE_RUNNING]
        if command.what == "shut" and cutting:
            return "C1", f"Gate {name} is not shut: {cutting[0]} runs, or may run for all that is known."
        if plan.supply is not None and name not in going:
            taken = sum(self.plan.gates[other].supply == plan.supply for other in going)
            if taken >= self.plan.supplies[plan.supply]:
                return "C11", f"Gate {name} has to wait: as many gates as supply {plan.supply} can move are moving."
        return None

    def _refuse_motor(self, command: SwitchMotor, now_s: float) -> Refusal | None:
        name = command.motor
        motor, plan = self.motors[name], self.plan.motors[name]
        if forbidden := self.forbidden(name, moving=False):
            return forbidden
        if command.until_s is None:
            return "C23", f"{name} is not switched on without an end: a run is lent for seconds and renewed."
        if command.what == "renew":
            return None if motor.lease_s > now_s else ("C23", f"{name} is not on: there is nothing to renew.")
        if not (motor.stops or now_s < motor.run_s or now_s < motor.shake_s):
            return "C21", f"{name} has no fresh reason to start: no tool was seen to start and nobody asked."
        if plan.confirm_s is not None and motor.tries > 1:
            return "C21", f"{name} was switched on twice and not seen to run: a third time needs a fresh reason."
        if not self._air_can_pass(name, now_s, set()):
            return "C2", f"{name} is not switched on: too little is known to be open on its duct."
        if motor.locked:
            return "C8", f"{name} is not switched on: the record of its starts was lost. Clear that alarm first."
        if now_s < motor.ready_s or self.too_few_starts(name, now_s):
            return "C8", f"{name} is not switched on: it was started too often and has to rest."
        return None
