"""What the page sees of care, and what it may ask: frozen views and one protocol, no logic. See ``face``."""

from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from gatekeeper.service.face_parts import Answer
from gatekeeper.service.face_words import Heap


@dataclass(frozen=True, slots=True)
class CarePress:
    """Something that a person says is done: ``what`` and ``motor`` go back unchanged."""

    what: str
    motor: str
    label: str


@dataclass(frozen=True, slots=True)
class CareJob:
    """One thing that wants doing from time to time.

    Args:
        title: "Bin of collector".
        state: how it stands, one sentence.
        heap: how soon it wants somebody; None while it is not due.
        presses: what may be said of it.
        last: when it was done last, by whom, one sentence.
    """

    title: str
    state: str
    heap: Heap | None
    presses: tuple[CarePress, ...]
    last: str


@dataclass(frozen=True, slots=True)
class CareReading:
    """One reading, ready for the screen; ``value``: in ``CareTrend.unit``."""

    at_wall_s: float
    value: float
    value_said: str
    by: str


@dataclass(frozen=True, slots=True)
class CareTrend:
    """Readings at one tap with the same gates open, oldest first; the first one is day one."""

    title: str
    unit: str
    said: str
    readings: tuple[CareReading, ...]


@dataclass(frozen=True, slots=True)
class CareGauge:
    """One pressure gauge that the controller reads.

    Args:
        name: its name.
        said: what it shows now, one sentence.
        watch_said: how that stands against day one, one sentence; None where nothing watches it.
        measured: a steady value of these minutes that may be written down as the reading; None where there is none.
    """

    name: str
    said: str
    watch_said: str | None = None
    measured: str | None = None


@dataclass(frozen=True, slots=True)
class CareMotor:
    """One collector for the monthly check.

    Args:
        name: its name.
        taps: where a gauge may be put.
        open_now: what stands open now, one sentence.
        stop_said: when a stop in mid-run was last proved, one sentence.
        can_see_stop: nothing confirms it, so a person says that it was seen.
        air_said: what its current says of its air, or None where no clamp watches it.
        gauges: the gauges of its air that the controller reads.
    """

    name: str
    taps: tuple[str, ...]
    open_now: str
    stop_said: str
    can_see_stop: bool
    air_said: str | None
    gauges: tuple[CareGauge, ...] = ()


@dataclass(frozen=True, slots=True)
class CareCount:
    """Hours and starts, or moves, since the record began."""

    name: str
    said: str


@dataclass(frozen=True, slots=True)
class CareView:
    """All of it at one instant.

    Args:
        told: what readings and currents say that is not in order, whole sentences.
        low_share: how far below day one a reading is told.
        example: how a reading is written here.
        waiting: a backup that is laid ready for the next start, one sentence.
        no_restore: why nothing can be restored from here, one sentence; None where it can.
    """

    jobs: tuple[CareJob, ...]
    motors: tuple[CareMotor, ...]
    trends: tuple[CareTrend, ...]
    counts: tuple[CareCount, ...]
    told: tuple[str, ...]
    low_share: float
    example: str
    waiting: str | None
    no_restore: str | None


class Upkeep(Protocol):
    """Care of one running shop. Every method reads or writes files: call it from a worker thread."""

    def view(self) -> CareView:
        """How everything stands."""
        ...

    def press(self, what: str, motor: str, by: str) -> Answer:
        """A person says that something was done; ``what`` and ``motor`` of an offered press."""
        ...

    def reading(self, motor: str, tap: str, value: str, by: str) -> Answer:
        """A reading of suction with the gates that stand open now."""
        ...

    def measured(self, gauge: str, by: str) -> Answer:
        """Write the newest steady value of a gauge down as the reading."""
        ...

    def backup(self) -> tuple[Path, str]:
        """A backup in a file that the caller removes, and the name to give it.

        Raises:
            UpkeepError: with one sentence.
        """
        ...

    def upload_to(self) -> Path:
        """A new, empty file of its own for an upload, on the disk of the state.

        Raises:
            UpkeepError: nothing can be restored here, or the disk has no room.
        """
        ...

    def lay_ready(self, upload: Path) -> Answer:
        """Check an uploaded backup and lay it ready for the next start; ``upload`` is gone afterwards."""
        ...

    def leave_out(self) -> Answer:
        """Take back a backup that was laid ready."""
        ...


class UpkeepError(Exception):
    """It cannot be done; the text is one plain sentence."""
