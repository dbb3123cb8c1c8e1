"""What the service remembers for the page: who stopped, who changed a delay, and troubles of its own parts."""

import threading
from dataclasses import replace

from gatekeeper.control.messages import Who
from gatekeeper.control.snapshot import CoreView
from gatekeeper.service.drive_table import FULL
from gatekeeper.service.face import Heap
from gatekeeper.service.running import Service
from gatekeeper.service.troubles import TROUBLES, kept_apart
from gatekeeper.service.viewing_notes import ExtraMessage, Notes, SpeedNow, SpinDownChange, StopAsked

#: Changes from one address closer together than this are one change, and the undo is offered for as long.
ONE_CHANGE_S = 10.0
#: The wall clock was set when it moved by more than this against the monotonic one.
CLOCK_SET_S = 2.0

_HEAPS = {"now": Heap.NOW, "today": Heap.TODAY, "when_you_can": Heap.WHEN_YOU_CAN}


class Memory:
    """One service's memory; every method may be called from any thread.

    Args:
        service: whose.
    """

    def __init__(self, service: Service) -> None:
        self._service = service
        self._lock = threading.Lock()
        self._stops: dict[str, StopAsked] = {}
        self._changes: dict[str, tuple[SpinDownChange, str, float]] = {}
        self._delays: dict[str, float | None] = {}
        self._troubles: dict[str, ExtraMessage] = {}
        self._out_since: dict[str, float] = {}
        self._offset_s = service.wall_s() - service.clock.now()
        self._amperes: dict[str, float | None] = {}
        self._recall()

    def _recall(self) -> None:
        """Who changed what before this run: kept with the settings."""
        for subject in (*self._service.plan.motors, *self._service.plan.tools):
            for change in self._service.store.changes(1, subject, "spin_down_s"):
                done = SpinDownChange(change.who, change.at_s, change.old, True)
                self._changes[subject] = (done, "", 0.0)
            for change in self._service.store.changes(1, subject, "out_of_service"):
                self._out_since[subject] = change.at_s

    @staticmethod
    def asker(who: Who, address: str | None) -> str:
        """Who asked, in words that follow "by"."""
        door = {"page": "the page", "local": "the controller", "button": "a button", "broker": "the broker"}
        return door.get(who, "an input") + (f", from {address}" if address else "")

    # ---------------------------------------------------------------- what people did

    def note_stop(self, subject: str | None, who: Who, address: str | None) -> None:
        """Somebody asked for a stop."""
        motors = self._service.plan.motors if subject is None else [subject]
        with self._lock:
            for motor in motors:
                self._stops[motor] = StopAsked(who, address, self._service.clock.now())

    def note_out_of_service(self, motor: str) -> None:
        """A motor was taken out of service now, by the wall clock."""
        with self._lock:
            self._out_since[motor] = self._service.wall_s()

    def spin_down_of(self, subject: str) -> float | None:
        """The delay that is set for a subject now; None where the shop's file or its collector speaks."""
        with self._lock:
            return self._delays.get(subject)

    def note_spin_down(
        self, subject: str, before_s: float | None, value_s: float | None, who: Who, address: str | None
    ) -> None:
        """A delay was changed; changes close together from one place count as one."""
        now_s, asker = self._service.clock.now(), self.asker(who, address)
        with self._lock:
            last = self._changes.get(subject)
            if last is not None and last[1] == asker and now_s - last[2] < ONE_CHANGE_S and last[0].can_undo:
                before_s = last[0].previous_s
            change = SpinDownChange(asker, self._service.wall_s(), before_s, True, now_s + ONE_CHANGE_S)
            self._changes[subject] = (change, asker, now_s)
            self._delays[subject] = value_s

    def undo_of(self, subject: str) -> tuple[bool, float | None]:
        """Whether there is something to undo, and what it brings back."""
        with self._lock:
            last = self._changes.get(subject)
            return (last is not None and last[0].can_undo, last[0].previous_s if last else None)

    def forget_spin_down(self, subject: str, who: Who, address: str | None) -> None:
        """A change was taken back."""
        with self._lock:
            last = self._changes.get(subject)
            if last is not None:
                self._delays[subject] = last[0].previous_s
                done = SpinDownChange(self.asker(who, address), self._service.wall_s())
                self._changes[subject] = (done, "", 0.0)

    # ---------------------------------------------------------------- what the core and the parts say

    def look(self, core: CoreView) -> None:
        """Bring the memory up to date with the core's view."""
        now_s, wall_s = self._service.clock.now(), self._service.wall_s()
        with self._lock:
            if abs(wall_s - now_s - self._offset_s) > CLOCK_SET_S:
                self._offset_s = wall_s - now_s
            for motor in core.motors:
                self._delays[motor.name] = motor.spin_down_s if motor.spin_down_set else None
                if motor.on:
                    self._stops.pop(motor.name, None)
            for tool in core.tools:
                self._delays[tool.name] = tool.spin_down_s if tool.spin_down_set else None
            self._hear(wall_s)
        measured = {**self._service.currents.amperes(), **self._service.meters.amperes()}
        self._amperes = {name: None if value is None else round(value, 1) for name, value in measured.items()}

    def _hear(self, wall_s: float) -> None:
        standing = dict(self._service.troubles().sentences)
        for code in [code for code in self._troubles if code not in standing]:
            del self._troubles[code]
        for code, sentence in standing.items():
            known = self._troubles.get(code)
            if known is None:
                kind, subject = kept_apart(code)
                # A code that nobody put into the table must not end the thread that draws the page.
                row = TROUBLES.get(kind, TROUBLES["device"])
                self._troubles[code] = ExtraMessage(
                    kind, subject, _HEAPS[row.heap], sentence, row.cause, row.remedy, wall_s, wall_s
                )
            elif known.sentence != sentence:  # the same trouble, told anew
                again = replace(known, sentence=sentence, last_wall_s=wall_s, count=known.count + 1)
                self._troubles[code] = again

    def note_seen(self, key: str) -> bool:
        """Somebody has read a message of the service's own; False where none of that key stands."""
        code, _, subject = key.partition(":")
        with self._lock:
            for name, known in self._troubles.items():
                if (known.code, known.subject) == (code, subject):
                    self._troubles[name] = replace(known, seen=True)
                    return True
        return False

    def amperes(self) -> dict[str, float | None]:
        """The newest currents, to a tenth of an ampere."""
        return self._amperes

    def notes(self) -> Notes:
        """All of it, for one view."""
        with self._lock:
            return Notes(
                wall_offset_s=self._offset_s,
                spin_downs={subject: change for subject, (change, _, _) in self._changes.items()},
                stops=dict(self._stops),
                extra=tuple(self._troubles.values()),
                out_since_wall=dict(self._out_since),
                speeds=self._speeds(),
            )

    def _speeds(self) -> dict[str, SpeedNow]:
        """How fast each drive that follows the air is seen to run, else is told to, and why."""
        found = {}
        for motor, pace in self._service.paces.items():
            seen, told = self._service.speed_seen(motor), pace.now
            found[motor] = SpeedNow(round(seen * FULL) if seen is not None else told.percent, told.saying)
        return found
