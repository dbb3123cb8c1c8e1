"""What all driven gates share: one move, kept as data and carried on by ticks.

Theory of operation. A driver keeps one move as data: where to, when the drive may begin, and when it ends. A command
sets the move, ``tick`` carries it on, ``next_deadline`` says when it wants the next tick. A late tick only makes things
later: a drive whose end has passed is ended at the next tick, whatever else is due. No driver sleeps.

    at rest --open/shut--> [waiting for the dead time] --> driving --travel over--> at rest, and a look at the switches
    any state --halt--> at rest at once (a spring-return gate keeps its coil as it is)
"""

import threading
from abc import ABC, abstractmethod
from dataclasses import dataclass

from gatekeeper.devices.base import DeviceError, Fate, Miss, Position, ReportMiss
from gatekeeper.devices.inputs import PositionSwitches


@dataclass(frozen=True, slots=True)
class Move:
    """A move under way: where to, from when the drive acts, until when, and whether it acts already."""

    to: Position
    begins_s: float
    ends_s: float
    driving: bool


class TimedGate(ABC):
    """What all driven gates share. A driver gives ``_drive``, ``_end_drive`` and ``_let_go``; it may override
    ``_begins_s`` and ``halt``, and set the class facts below.
    """

    can_halt = True
    spring_return = False
    fate: Fate

    def __init__(
        self,
        name: str,
        *,
        travel_s: float,
        overrun_s: float,
        dead_s: float,
        switches: PositionSwitches | None,
        on_miss: ReportMiss | None,
    ) -> None:
        if not 0.0 < travel_s < 600.0:
            raise DeviceError(f"The travel time of gate {name} is {travel_s:g} s. It must lie between 0 s and 600 s.")
        if overrun_s < 0.0:
            raise DeviceError(f"The overrun of gate {name} is {overrun_s:g} s. It must not be negative.")
        self.name = name
        self.travel_s = travel_s
        self.dead_s = dead_s
        self._overrun_s = overrun_s
        self._switches = switches
        self._on_miss = on_miss
        self._move: Move | None = None
        self._closed = False
        self._lock = threading.RLock()

    def open(self, now_s: float) -> None:
        """Start to open; returns at once. Raises DeviceError after ``close``."""
        self._go(now_s, Position.OPEN)

    def shut(self, now_s: float) -> None:
        """Start to shut; returns at once. Raises DeviceError after ``close``."""
        self._go(now_s, Position.SHUT)

    def halt(self, now_s: float) -> None:
        """Stop where it is, before this returns; the gate's place is unproven then."""
        with self._lock:
            self._move = None
            self._end_drive(now_s)

    def tick(self, now_s: float) -> None:
        """Carry the move on: begin a drive whose dead time is over, end one whose travel is over."""
        miss: Miss | None = None
        with self._lock:
            move = self._move
            if move is None:
                return
            if not move.driving and now_s >= move.begins_s:
                self._begin(now_s, move.to)
            elif move.driving and now_s >= move.ends_s:
                self._move = None
                self._end_drive(now_s)
                miss = self._look(now_s, move.to)
        if miss is not None and self._on_miss is not None:
            self._on_miss(miss)

    def next_deadline(self) -> float | None:
        """When the next ``tick`` is due, monotonic seconds, or None at rest."""
        move = self._move
        if move is None:
            return None
        return move.ends_s if move.driving else move.begins_s

    def position(self) -> Position | None:
        """What the position switches say now, or None without switches."""
        return None if self._switches is None else self._switches.position()

    def close(self) -> None:
        """End the drive and give the lines back; later commands raise DeviceError."""
        with self._lock:
            if self._closed:
                return
            self._closed = True
            self._move = None
            self._let_go()

    def _go(self, now_s: float, to: Position) -> None:
        with self._lock:
            if self._closed:
                raise DeviceError(f"The actuator of gate {self.name} is closed and cannot move any more.")
            if self._move is not None and self._move.to is to:
                return
            if self._move is not None and self._move.driving:
                self._stop_before_reversal(now_s)
            begins_s = self._begins_s(now_s, to)
            if begins_s <= now_s:
                self._begin(now_s, to)
            else:
                self._move = Move(to, begins_s, begins_s, driving=False)

    def _begin(self, now_s: float, to: Position) -> None:
        self._drive(now_s, to)
        self._move = Move(to, now_s, now_s + self.travel_s + self._overrun_s, driving=True)

    def _look(self, now_s: float, wanted: Position) -> Miss | None:
        if self._switches is None or not self._switches.sees(wanted):
            return None
        seen = self._switches.position()
        return None if seen is wanted else Miss(now_s, self.name, wanted, seen)

    def _stop_before_reversal(self, now_s: float) -> None:
        """Most actuators must be off before they run the other way."""
        self._end_drive(now_s)

    def _begins_s(self, now_s: float, to: Position) -> float:
        """The earliest instant at which a drive that way may begin."""
        return now_s

    @abstractmethod
    def _drive(self, now_s: float, to: Position) -> None:
        """Begin to drive that way."""

    @abstractmethod
    def _end_drive(self, now_s: float) -> None:
        """End the drive."""

    @abstractmethod
    def _let_go(self) -> None:
        """Give the lines back."""
