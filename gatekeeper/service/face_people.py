"""What the page sees of an inspection and of a change at a collector: frozen views and one protocol. See ``face``."""

from dataclasses import dataclass
from typing import Protocol

from gatekeeper.service.face_parts import Answer, Saying


@dataclass(frozen=True, slots=True)
class Trial:
    """One thing to try, and what must happen then; whole sentences."""

    tried: str
    happens: str


@dataclass(frozen=True, slots=True)
class Chapter:
    """Trials of one kind. ``why``: one sentence for whoever walks through."""

    title: str
    why: str
    trials: tuple[Trial, ...]


@dataclass(frozen=True, slots=True)
class Inspection:
    """The whole list; ``before``: what whoever walks through reads first."""

    before: tuple[str, ...]
    chapters: tuple[Chapter, ...]


@dataclass(frozen=True, slots=True)
class ChangeStep:
    """One step of a change, past, present or to come. ``done_by``: who pressed it and when, in words."""

    title: str
    done_by: str | None


@dataclass(frozen=True, slots=True)
class ChangeView:
    """One change that goes on at one motor.

    Args:
        motor, job: which ("bin", "bag" or "filter").
        title: "Bin of collector".
        steps: all of them in order.
        now: what is to be done now, whole sentences; may count down.
        label: the press that says that it is done; None while only time or a sensor can tell.
        stays: why there is no press yet, one sentence; None where there is one.
        asks_reading: the step takes a reading of suction, such as ``example``; it may be left out.
        example: how a reading is written here.
        taps: where a gauge may be put.
        before: the last reading at these gates, in words, or None.
        number: of the present step, from 0; goes back with the press, so that a second press counts once.
    """

    motor: str
    job: str
    title: str
    steps: tuple[ChangeStep, ...]
    now: Saying
    label: str | None
    stays: str | None
    number: int
    asks_reading: bool = False
    example: str = ""
    taps: tuple[str, ...] = ()
    before: str | None = None


@dataclass(frozen=True, slots=True)
class ChangesView:
    """Changes that go on, and those that could be begun, as (motor, job, label)."""

    going: tuple[ChangeView, ...]
    offers: tuple[tuple[str, str, str], ...]


class People(Protocol):
    """What people walk through around one running shop. Every method may write files: call it from a worker thread."""

    def inspection(self) -> Inspection:
        """What to try in this shop, and what must happen."""
        ...

    def changes(self) -> ChangesView:
        """The changes that go on, at this instant."""
        ...

    def begin(self, motor: str, job: str, by: str) -> Answer:
        """Begin a change: the motor goes out of service. One at a time for each motor."""
        ...

    def press(self, motor: str, number: int, by: str, tap: str = "", reading: str = "") -> Answer:
        """The present step is done. ``reading``: what the gauge showed, where the step asks for it."""
        ...

    def leave(self, motor: str, by: str) -> Answer:
        """Give a change up: the motor stays out of service until somebody brings it back."""
        ...
