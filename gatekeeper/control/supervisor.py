"""The core: one event and the time in, one list of commands out.

Every step goes the same way. Timers are brought up to date, the event is taken in, the policy looks at the whole shop
and proposes a list, the guard judges it, and only what it lets through is told to the tables and sent. What changed is
written into the record. No clock, no I/O, no randomness: the same calls give the same answers.

A tick before the next change (``deadlines``) is shorter: nothing can have changed, so only leases are renewed, through
the guard like everything else.
"""

from collections.abc import Sequence
from math import inf
from typing import Any

from gatekeeper.control.deadlines import is_upkeep, next_change, next_upkeep
from gatekeeper.control.guard import Guard
from gatekeeper.control.intake import take
from gatekeeper.control.machine import NoRow
from gatekeeper.control.messages import (
    Command,
    Event,
    Kept,
    MoveGate,
    Requested,
    SettingChanged,
    ShowSign,
    Stopping,
    SwitchMotor,
    Ticked,
    Woke,
)
from gatekeeper.control.moves import Proposal, SystemWishes
from gatekeeper.control.people import ask, change
from gatekeeper.control.plan import Plan
from gatekeeper.control.policy import apply, decide, reconcile, renewal
from gatekeeper.control.record import Recorder
from gatekeeper.control.snapshot import CoreView, core_view
from gatekeeper.control.timers import advance, advance_flush
from gatekeeper.control.watch import new_signs, tell
from gatekeeper.control.world import World
from gatekeeper.control.writing import Told, write_event

#: How often the durable beat is written while a motor is on (C21, C8a).
BEAT_S = 20.0
#: After a fault of our own the shop is looked at again in so many seconds, whatever happens.
AFTER_FAULT_S = 1.0


class Supervisor:
    """The pure core of one shop.

    Args:
        plan: the shop.
        kept: what an earlier run made durable.
        boot, run: names of this start of the board and of this process, for the record.
        seq: number of the record's last entry, from an earlier run.
        strict: raise on a fault of our own (tests); otherwise it is recorded and the motors are told off.
    """

    def __init__(
        self,
        plan: Plan,
        kept: Kept | None = None,
        *,
        boot: str = "boot",
        run: str = "run",
        seq: int = 0,
        strict: bool = False,
    ) -> None:
        self.plan = plan
        self.kept = kept if kept is not None else Kept()
        self.recorder = Recorder(boot, run, seq)
        self.strict = strict
        self.world: World
        self.guard: Guard
        self._now_s = 0.0
        self._change_s = -inf  # when something may next change by itself
        self._told = Told()
        self._plans: dict[str, SystemWishes] = {}
        self._woke = False

    # ---------------------------------------------------------------- one step

    def handle(self, event: Event, now_s: float) -> tuple[Command, ...]:
        """Take in one event at an instant not before the last one, and say what to do.

        Raises:
            ValueError: where time goes back, or the first event is not ``Woke``.
        """
        if not self._woke:
            if not isinstance(event, Woke):
                raise ValueError("the first event must be Woke")
            self._wake(now_s)
        elif now_s < self._now_s:
            raise ValueError(f"time cannot go back: {now_s} after {self._now_s}")
        self._now_s = now_s
        world = self.world
        world.force_off, world.halts = {}, {}
        world.keeps, world.answers = [], []
        world.shaking.clear()
        self.recorder.begin(now_s)
        try:
            if isinstance(event, Ticked) and is_upkeep(world, self._change_s, now_s):
                return self._keep_up(event, now_s)
            return self._step(event, now_s)
        except (NoRow, KeyError, TypeError, ArithmeticError) as error:
            if self.strict:
                raise
            return self._fall_back(error, now_s)

    def _step(self, event: Event, now_s: float) -> tuple[Command, ...]:
        world = self.world
        write_event(world, event, now_s, damaged=self.kept.damaged)
        self.guard.observe(event, now_s)
        advance(world, now_s, self._change_s)
        if not isinstance(event, Ticked):
            self._take(event, now_s)
            advance(world, now_s, now_s)  # what the event made due at once: a run of 0 s
        for motor in world.motors.values():
            advance_flush(world, motor, now_s)
            reconcile(world, motor, now_s)
        proposals, self._plans = decide(world, now_s)
        sent = self._judge(proposals, now_s)
        if sent or world.keeps:  # a start, a stop or a latch
            for motor in world.motors.values():
                reconcile(world, motor, now_s)
        tell(world, now_s)
        self._told.write_changes(world, self._plans, now_s)
        self._beat(now_s)
        commands = [*sent, *self._new_signs(now_s), *world.keeps, *world.answers]
        # What a list did may allow more at the same instant: look again at once, as a step of its own.
        again = any(not (isinstance(command, SwitchMotor) and command.what == "renew") for command in sent)
        self._change_s = now_s if again else next_change(world, now_s)
        return tuple(commands)

    def _keep_up(self, event: Event, now_s: float) -> tuple[Command, ...]:
        """Before the next change: renew leases and keep the beat, and nothing else."""
        world = self.world
        write_event(world, event, now_s, damaged=False)
        proposals = [again for motor in world.motors.values() if motor.on and (again := renewal(motor, now_s))]
        sent = self._judge(proposals, now_s)
        self._beat(now_s)
        return (*sent, *world.keeps)

    def _wake(self, now_s: float) -> None:
        self._woke = True
        self.world = World(self.plan, self.kept, self.recorder, now_s)
        self.guard = Guard(self.plan, self.kept)

    def _take(self, event: Event, now_s: float) -> None:
        world = self.world
        match event:
            case Woke():
                settle_s = max((motor.settle_s for motor in self.plan.motors.values()), default=0.0)
                world.settle_until = now_s + settle_s
                for motor in world.motors.values():
                    resume = motor.resume
                    world.force(motor, "C15", "every motor is off when the controller wakes")
                    motor.resume = resume
                self._keep_what_was_taken_up(now_s)
            case Stopping():
                for motor in world.motors.values():
                    world.force(motor, "C23", "the controller was asked to end")
                world.keep("clean_stop", True)
            case Requested():
                ask(world, event, now_s)
            case SettingChanged():
                change(world, event, now_s)
            case _:
                take(world, event, now_s)

    def _keep_what_was_taken_up(self, now_s: float) -> None:
        """What a first start or a damaged record begins with must outlive this run, too (C8a, C14)."""
        world = self.world
        world.keep("clean_stop", None)
        for motor in world.motors.values():
            world.keep_store(motor, now_s)
            world.keep(f"on/{motor.name}", None)
        if not self.kept.same_boot:
            world.keep("beat", None)  # its instant is on another clock
        if self.kept.damaged:
            world.raise_alarm("records_damaged", "the controller", now_s)
            world.keep("emergency", True if world.emergency else None)
            world.keep("fire", True if world.fire else None)
            for motor in world.motors.values():
                if motor.out_of_service is not None:
                    who, why, since_s = motor.out_of_service
                    world.keep(f"out_of_service/{motor.name}", {"who": who, "why": why, "since_s": since_s})

    def _judge(self, proposals: Sequence[Proposal], now_s: float) -> list[Command]:
        """Let the guard judge the whole list, tell the units what really leaves, and write it down."""
        world = self.world
        if not (proposals or world.keeps):
            return []
        why = {id(proposal.command): proposal for proposal in proposals}
        # What the step makes durable (a stuck gate, a hold) is part of the list that is judged.
        judgement = self.guard.judge([*world.keeps, *(proposal.command for proposal in proposals)], now_s)
        sent: list[Command] = []
        for command in judgement.allowed:
            if not isinstance(command, (MoveGate, SwitchMotor)):
                continue
            proposal = why[id(command)]
            apply(world, command, now_s)
            sent.append(command)
            if isinstance(command, MoveGate):
                self.recorder.write("gate_command", command.gate, command.what, rule=proposal.rule, why=proposal.why)
            else:
                value: Any = command.what
                if command.until_s is not None:
                    value = {"what": command.what, "until_s": round(command.until_s, 3)}
                self.recorder.write("motor_command", command.motor, value, rule=proposal.rule, why=proposal.why)
        for dropped in judgement.dropped:
            if isinstance(dropped.command, MoveGate):
                self.recorder.write(
                    "dropped", dropped.command.gate, dropped.command.what, rule=dropped.rule, why=dropped.why
                )
                subject = dropped.command.gate
            elif isinstance(dropped.command, SwitchMotor):
                self.recorder.write(
                    "dropped", dropped.command.motor, dropped.command.what, rule=dropped.rule, why=dropped.why
                )
                subject = dropped.command.motor
            else:
                continue
            if ("core_fault", subject) not in world.alarms:
                world.raise_alarm("core_fault", subject, now_s, rule=dropped.rule)
        return sent

    def _fall_back(self, error: Exception, now_s: float) -> tuple[Command, ...]:
        """A fault of our own in mid-step: every motor off, said aloud; gates stay where they are."""
        sentence = f"{type(error).__name__}: {error}"
        self.recorder.write("fault", None, type(error).__name__, why=sentence)
        commands = []
        for motor in self.world.motors.values():
            self.world.force(motor, "C20", "a fault in the program")
            if motor.on:
                apply(self.world, SwitchMotor(motor.name, "off"), now_s)
            self.recorder.write("motor_command", motor.name, "off", rule="C20", why="a fault in the program")
            commands.append(SwitchMotor(motor.name, "off"))
        self.guard.judge(commands, now_s)
        self.world.raise_alarm("core_fault", type(error).__name__, now_s)
        self._change_s = now_s + AFTER_FAULT_S
        return tuple(commands)

    # ---------------------------------------------------------------- the end of a step

    def _new_signs(self, now_s: float) -> list[Command]:
        commands: list[Command] = []
        for subject, word in new_signs(self.world, now_s):
            self.world.signs[subject] = word
            self.recorder.write("sign", subject, word)
            commands.append(ShowSign(subject, word))  # type: ignore[arg-type]
        return commands

    def _beat(self, now_s: float) -> None:
        """Keep, every now and then, which motors are on: for C21's exception and the stores of C8a."""
        world = self.world
        changed = any(keep.key.startswith("on/") for keep in world.keeps)
        running = [motor for motor in world.motors.values() if motor.on]
        due = [motor for motor in running if motor.beat_at is None or now_s >= motor.beat_at]
        if not (changed or due):
            return
        for motor in world.motors.values():
            motor.beat_at = now_s + BEAT_S if motor.on else None
        for motor in due:
            world.keep_store(motor, now_s)  # what it has refilled since its start is not lost with a kill
        world.keep(
            "beat",
            {"t_s": round(now_s, 3), "on": [motor.name for motor in running], "resumed_s": world.resumed_s},
        )

    # ---------------------------------------------------------------- what others may ask

    def next_deadline(self) -> float | None:
        """The next instant at which something happens by itself; None where nothing will."""
        if not self._woke:
            return None
        if self._change_s <= self._now_s:
            return self._now_s
        due_s = min(self._change_s, next_upkeep(self.world, self._now_s))
        return None if due_s == inf else due_s

    def snapshot(self) -> CoreView:
        """What is believed now, frozen, for any thread to read."""
        return core_view(self.world, self._plans, self._now_s)

    def save(self) -> tuple[Any, ...]:
        """All that the next step depends on, as one value."""
        return self.world.save(), self.guard.save(), self._now_s, self._change_s, self._told.save()

    def restore(self, state: tuple[Any, ...]) -> None:
        """Put a saved state back; the record goes on from where it is."""
        world, guard, self._now_s, self._change_s, told = state
        self.world.restore(world)
        self.guard.restore(guard)
        self._told.restore(told)
