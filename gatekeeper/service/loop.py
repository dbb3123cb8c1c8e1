"""The control loop: the one place that owns the supervisor and the drivers.

Anybody may ``post`` an event, from any thread; ``step`` takes what waits, lets the core decide, and puts its commands
on the wires at once. Everything slow is handed on: durable values to the keeper, entries to the history, views to
whoever looks. With a clock that is moved by hand and no thread the same loop serves replay, simulator and tests.
"""

import math
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from threading import Condition
from typing import Literal, Protocol

from gatekeeper.control.messages import (
    Answer,
    Command,
    Entry,
    Event,
    Keep,
    Lapsed,
    Missed,
    MotorSeen,
    MoveGate,
    ShowSign,
    Stopping,
    SwitchMotor,
    SwitchSeen,
    Ticked,
    Woke,
)
from gatekeeper.control.snapshot import CoreView
from gatekeeper.control.supervisor import Supervisor
from gatekeeper.devices.base import ContactSeen, DeviceError, MeterSeen, Miss
from gatekeeper.devices.modbus_drive import DriveSeen
from gatekeeper.devices.mqtt_gate import GateSeen
from gatekeeper.devices.servos import BankServoGate, ServoGate
from gatekeeper.service.clock import Clock
from gatekeeper.service.hearing import Contacts
from gatekeeper.service.hearing_meters import Meters
from gatekeeper.service.permitting import permits
from gatekeeper.service.wiring import Wires

#: Contacts are read again this often, whatever edges came (HARDWARE: never trust edges alone).
POLL_S = 1.0
#: The longest sleep of the loop: the watchdog and the page want a sign of life.
BREATH_S = 0.5
#: Events taken in one step before time has its turn: leases are renewed and gates end their moves in any flood.
MOST_AT_ONCE = 200
#: More may not wait: further looks at contacts and meters are left out; contacts are read again each second anyway.
MOST_WAITING = 20_000
#: An "air ready" contact opens this long after the loop's last step.
PERMIT_S = 2.0

Done = Callable[[bool, str | None], None]


@dataclass(frozen=True, slots=True)
class Nudge:
    """Somebody who sets the ends of a servo gate wants its servo at a pulse width for a moment."""

    gate: str
    width_s: float
    for_s: float
    told: "Future[Answer]"


class Keeper(Protocol):
    """Makes values durable and says so; never blocks."""

    def submit(self, keeps: Iterable[Keep], done: Done) -> None: ...


class NoKeeper:
    """Keeps in memory only: for replay and simulation."""

    def __init__(self) -> None:
        self.values: dict[str, object] = {}

    def submit(self, keeps: Iterable[Keep], done: Done) -> None:
        for keep in keeps:
            if keep.value is None:
                self.values.pop(keep.key, None)
            else:
                self.values[keep.key] = keep.value
        done(True, None)


class ControlLoop:
    """One running shop.

    Args:
        supervisor: the core; nobody else may touch it from now on.
        wires: the drivers.
        contacts: what the contacts mean.
        clock: monotonic time.
        meters: what the meters mean.
        keeper: makes values durable.
        write: takes every entry of the record; must not block.
        show: takes a new view of the core after each step; must not block.
    """

    def __init__(
        self,
        supervisor: Supervisor,
        wires: Wires,
        contacts: Contacts,
        clock: Clock,
        *,
        meters: Meters | None = None,
        keeper: Keeper | None = None,
        write: Callable[[Entry], None] = lambda entry: None,
        show: Callable[[CoreView], None] | None = None,
    ) -> None:
        self._supervisor = supervisor
        self._wires = wires
        self._contacts = contacts
        contacts.air_is_asked = self._air_is_asked
        contacts.care.is_idle = self._is_idle
        self._meters = meters
        self._clock = clock
        self._keeper: Keeper = keeper or NoKeeper()
        self._write = write
        self._show = show
        self._inbox: deque[Event | ContactSeen | MeterSeen | DriveSeen | GateSeen | Nudge] = deque()
        self._bell = Condition()
        self._answers: dict[str, Future[Answer]] = {}
        self._next_poll_s = 0.0
        self._refs = 0
        self._ended = False
        self._clean = True
        self.stepped_s = clock.now()
        #: When a look was left out in a flood, last.
        self.left_out_s = -math.inf
        self.trouble: str | None = None

    # ---------------------------------------------------------------- from any thread

    @property
    def contacts(self) -> Contacts:
        """What the contacts mean; only to be looked at."""
        return self._contacts

    def post(self, event: Event | ContactSeen | MeterSeen | DriveSeen | GateSeen) -> None:
        """Hand in an event; returns at once. In a flood, looks at contacts and meters are left out."""
        with self._bell:
            if len(self._inbox) >= MOST_WAITING and isinstance(event, ContactSeen | MeterSeen):
                self.left_out_s = self._clock.now()
                return
            self._inbox.append(event)
            self._bell.notify()

    def ask(self, build: Callable[[str], Event]) -> "Future[Answer]":
        """Hand in a request; ``build`` gets the handle that its answer will bear."""
        future: Future[Answer] = Future()
        with self._bell:
            self._refs += 1
            ref = f"r{self._refs}"
            self._answers[ref] = future
            self._inbox.append(build(ref))
            self._bell.notify()
        return future

    def nudge(self, gate: str, width_s: float, for_s: float) -> "Future[Answer]":
        """Move a servo to a pulse width while somebody sets its ends; refused unless the gate is held and the fan off.

        This goes past the policy and the guard, and is right only because of what is asked for first, in the control
        thread itself: the gate is held, so the core moves it by no rule and counts it as no path (C26); its place is
        made unproven before the first pulse; the motor of its system stands still, so neither is a tool's air taken
        away nor a fan left without a path (C1 to C3); and nothing forbids every motion there (C13, C14, C24, C25). A
        press moves it, as C26 wants it.
        """
        told: Future[Answer] = Future()
        with self._bell:
            self._inbox.append(Nudge(gate, width_s, for_s, told))
            self._bell.notify()
        return told

    def on_miss(self, miss: Miss) -> None:
        """For the gates' drivers."""
        self.post(Missed(miss.gate, f"sent {miss.wanted.value}, seen {miss.seen.value}"))

    def end(self, *, clean: bool = True) -> None:
        """Ask ``run`` to return: after a last, clean step, or at once as in a power cut."""
        with self._bell:
            self._ended = True
            self._clean = clean
            self._bell.notify()

    # ---------------------------------------------------------------- the loop's own thread

    def wake(self) -> None:
        """The first step. Every output is at its rest level before."""
        self._handle(Woke(), self._clock.now())

    def step(self) -> None:
        """Take in what waits, then whatever time has brought."""
        for _ in range(MOST_AT_ONCE):
            if not self._inbox:
                break
            waiting = self._inbox.popleft()
            now_s = self._clock.now()
            if isinstance(waiting, ContactSeen):
                for event in self._contacts.hear(waiting):
                    self._handle(event, now_s)
            elif isinstance(waiting, DriveSeen):
                said: Literal["running", "still", "lost"] = "running" if waiting.runs else "still"
                self._handle(MotorSeen(waiting.motor, "lost" if waiting.runs is None else said), now_s)
            elif isinstance(waiting, GateSeen):
                self._handle(SwitchSeen(waiting.gate, waiting.position.value), now_s)
            elif isinstance(waiting, Nudge):
                waiting.told.set_result(self._nudge(waiting, now_s))
            elif isinstance(waiting, MeterSeen):
                for event in self._meters.hear(waiting) if self._meters is not None else ():
                    self._handle(event, now_s)
            else:
                self._handle(waiting, now_s)
        now_s = self._clock.now()
        if now_s >= self._next_poll_s:
            self._next_poll_s = now_s + POLL_S
            self._poll(now_s)
        for event in self._contacts.tick(now_s):
            self._handle(event, now_s)
        for event in self._meters.tick(now_s) if self._meters is not None else ():
            self._handle(event, now_s)
        for gate in self._wires.gates.values():
            due = gate.next_deadline()
            if due is not None and due <= now_s:
                self._drive(gate.name, lambda gate=gate: gate.tick(now_s))  # type: ignore[misc]
        due = self._supervisor.next_deadline()
        while due is not None and due <= now_s:
            self._handle(Ticked(), now_s)
            due = self._supervisor.next_deadline()
        self._blink(now_s)
        self._permit(now_s)
        self.stepped_s = now_s

    def next_wake_s(self) -> float:
        """The instant of the next step when nothing is handed in."""
        ahead = [self._next_poll_s, self._clock.now() + BREATH_S]
        ahead += [due for gate in self._wires.gates.values() if (due := gate.next_deadline()) is not None]
        ahead += [due for at in self._wires.signs.values() for sign in at if (due := sign.next_deadline()) is not None]
        ahead += [due for due in (self._supervisor.next_deadline(), self._contacts.next_deadline()) if due is not None]
        return min(ahead)

    def run(self, healthy: Callable[[], None] = lambda: None) -> None:
        """Step until ``end`` is called; ``healthy`` is called after each whole step (the watchdog)."""
        while True:
            self.step()
            healthy()
            with self._bell:
                if self._ended:
                    break
                if not self._inbox:
                    wait_s = self._clock.real_s(self.next_wake_s() - self._clock.now())
                    if wait_s > 0:
                        self._bell.wait(wait_s)
        if self._clean:
            self.finish()

    def finish(self) -> None:
        """The last step: motors off, the clean stop is kept, open requests are answered."""
        self._handle(Stopping(), self._clock.now())
        with self._bell:
            left, self._answers = list(self._answers.values()), {}
            left += [waiting.told for waiting in self._inbox if isinstance(waiting, Nudge)]
        for future in left:
            future.set_result(Answer(None, False, "ending", "The controller is ending."))

    def _blink(self, now_s: float) -> None:
        for signs in self._wires.signs.values():
            for sign in signs:
                due = sign.next_deadline()
                if due is not None and due <= now_s:
                    self._drive(sign.name, lambda sign=sign: sign.tick(now_s))  # type: ignore[misc]

    def _permit(self, now_s: float) -> None:
        """Make and renew the "air ready" contacts whose air is ready; they open by themselves without it."""
        view = self._supervisor.snapshot() if self._wires.permits else None
        for tool, contacts in self._wires.permits.items():
            for contact in contacts:
                assert view is not None
                if permits(view, self._supervisor.plan, tool, is_made=contact.is_on()):
                    self._drive(contact.name, lambda contact=contact: contact.on(now_s, now_s + PERMIT_S))  # type: ignore[misc]
                elif contact.is_on():
                    self._drive(contact.name, contact.off)

    def _poll(self, now_s: float) -> None:
        looks = [(name, contact.made()) for name, contact in self._wires.contacts.items()]
        for event in self._contacts.poll(now_s, looks):
            self._handle(event, now_s)

    def _is_idle(self, motor: str) -> bool:
        """Whether a motor is off and no tool of its system runs."""
        view, plan = self._supervisor.snapshot(), self._supervisor.plan
        is_off = all(not one.on for one in view.motors if one.name == motor)
        tools = [
            name for name, tool in plan.tools.items() if any(plan.gates[gate].system == motor for gate in tool.gates)
        ]
        return is_off and not any(tool.may_run for tool in view.tools if tool.name in tools)

    def _nudge(self, nudge: Nudge, now_s: float) -> Answer:
        view, driver = self._supervisor.snapshot(), self._wires.gates.get(nudge.gate)
        if not isinstance(driver, ServoGate | BankServoGate):
            return Answer(None, False, "no_servo", f"{nudge.gate} is moved by no servo.")
        gate = next(one for one in view.gates if one.name == nudge.gate)
        system = self._supervisor.plan.gates[nudge.gate].system
        motor = next(one for one in view.motors if one.name == system)
        if motor.blocked is not None:
            return Answer(None, False, "blocked", f"{nudge.gate} stays: {motor.blocked[1]}.")
        if not gate.worked:
            return Answer(None, False, "not_held", f"{nudge.gate} is not held. Hold it first.")
        if motor.fan_runs or motor.seen == "running" or motor.hand == "hand":
            return Answer(
                None, False, "fan_runs", f"The fan of {system} turns or may be started by hand. Stop it first."
            )
        if gate.tries == 0:
            # Wherever it was believed to stand: from now on nobody knows. Release forgets the count again.
            self._handle(Missed(nudge.gate, "its ends are being set"), now_s)
        try:
            driver.nudge(now_s, nudge.width_s, nudge.for_s)
        except DeviceError as fault:
            return Answer(None, False, "not_moved", str(fault))
        return Answer(None, True, "nudged", f"Pulses of {nudge.width_s * 1000:.2f} ms.")

    def _air_is_asked(self, at: str) -> bool:
        """Whether somebody has asked for air at a tool or gate, and that run still stands."""
        view, plan = self._supervisor.snapshot(), self._supervisor.plan
        wanted = plan.tools[at].gates if at in plan.tools else (at,)
        systems = {plan.gates[name].system for name in wanted}
        by_hand = [gate.hand for gate in view.gates if gate.name in wanted and plan.gates[gate.name].actuated]
        runs = any(motor.name in systems and motor.run_what == "air_here" for motor in view.motors)
        return runs and all(word == "open" for word in by_hand)

    def _handle(self, event: Event, now_s: float) -> None:
        commands = self._supervisor.handle(event, now_s)
        self._carry_out(commands, now_s)
        for entry in self._supervisor.recorder.take():
            self._write(entry)
        if self._show is not None:
            self._show(self._supervisor.snapshot())

    def _carry_out(self, commands: Sequence[Command], now_s: float) -> None:
        keeps: list[Keep] = []
        answers: list[Answer] = []
        for command in commands:
            match command:
                case SwitchMotor():
                    self._drive(command.motor, lambda command=command: self._switch(command, now_s))  # type: ignore[misc]
                case MoveGate():
                    self._drive(command.gate, lambda command=command: self._move(command, now_s))  # type: ignore[misc]
                case ShowSign():
                    for sign in self._wires.signs.get(command.subject, ()):
                        self._drive(sign.name, lambda sign=sign, command=command: sign.show(command.what, now_s))  # type: ignore[misc]
                case Keep():
                    keeps.append(command)
                case Answer():
                    answers.append(command)
        if keeps:
            self._keeper.submit(keeps, lambda kept, why: self._answer(answers, kept, why))
        elif answers:
            self._answer(answers, True, None)

    def _switch(self, command: SwitchMotor, now_s: float) -> None:
        switch = self._wires.motors[command.motor]
        if command.what == "off" or command.until_s is None:
            switch.off()
        elif command.what == "on":
            switch.on(now_s, command.until_s)
        elif not switch.renew(now_s, command.until_s):
            # Its guardian was quicker: this very step took longer than the lease (C23).
            self._inbox.append(Lapsed(command.motor))

    def _move(self, command: MoveGate, now_s: float) -> None:
        gate = self._wires.gates[command.gate]
        if command.what == "open":
            gate.open(now_s)
        elif command.what == "shut":
            gate.shut(now_s)
        else:
            gate.halt(now_s)

    def _drive(self, name: str, act: Callable[[], object]) -> None:
        """A driver's failure is a fact of the shop, never the end of the loop."""
        try:
            act()
        except DeviceError as fault:
            self.trouble = f"{name}: {fault}"
            if name in self._wires.gates:
                self._inbox.append(Missed(name, str(fault)))

    def _answer(self, answers: Sequence[Answer], kept: bool, why: str | None) -> None:
        """Give the answers of one step; one that rests on a value that could not be kept says so (C14)."""
        for answer in answers:
            with self._bell:
                future = self._answers.pop(answer.ref or "", None)
            if future is None:
                continue
            if answer.accepted and not kept:
                answer = Answer(answer.ref, False, "not_kept", f"{answer.sentence} {why or 'It could not be kept.'}")
            future.set_result(answer)
