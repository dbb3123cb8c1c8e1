"""What the running service knows and the core does not: who asked for what and when, and troubles of its own parts."""

import time
from collections.abc import Mapping
from dataclasses import dataclass, field

from gatekeeper.control.messages import Who
from gatekeeper.service.face import Heap, Saying

_FROM = {
    "local": "at the controller",
    "page": "from the page",
    "button": "by a button",
    "broker": "over the network",
    "input": "by an input",
}


@dataclass(frozen=True, slots=True)
class SpinDownChange:
    """The last change of one subject's spin-down delay.

    Args:
        changed_by: who, in words that follow "by" ("the page, from 192.168.1.23").
        changed_wall_s: when, by the wall clock.
        previous_s: what an undo brings back; None for "follows the collector's".
        can_undo: there is something to undo.
        undo_until_s: until when the undo is offered beside the control, on the monotonic clock.
    """

    changed_by: str
    changed_wall_s: float
    previous_s: float | None = None
    can_undo: bool = False
    undo_until_s: float | None = None


@dataclass(frozen=True, slots=True)
class StopAsked:
    """The last stop that a person asked of one motor; a stop of everything is noted with each motor.

    Args:
        who: the door that it came through.
        address: where the asker sits, or None.
        asked_s: when, on the monotonic clock; not after the step that handled it.
    """

    who: Who
    address: str | None
    asked_s: float

    @property
    def asker(self) -> str:
        """Who asked, in words: "from the page by 192.168.1.23"."""
        return _FROM[self.who] + (f" by {self.address}" if self.address else "")


@dataclass(frozen=True, slots=True)
class ExtraMessage:
    """A message about the service's own parts (a value not kept, a history or a driver in trouble).

    Args:
        code, subject: its key; the subject may be a motor, gate or tool, and then shows on that machine's page.
        sentence, cause, remedy: whole sentences, ready for the screen.
        first_wall_s, last_wall_s, count: first and last time by the wall clock, and how often.
    """

    code: str
    subject: str
    heap: Heap
    sentence: str
    cause: str
    remedy: str
    first_wall_s: float
    last_wall_s: float
    count: int = 1
    seen: bool = False


@dataclass(frozen=True, slots=True)
class SpeedNow:
    """How fast a drive that follows the air runs: whole per cent of full speed, and why in a sentence."""

    percent: int
    saying: Saying


@dataclass(frozen=True, slots=True)
class Notes:
    """All that the service adds to one view.

    Args:
        wall_offset_s: wall clock minus monotonic clock. Measure it once and change it only when the wall clock was
            set: the times of standing messages move with it.
        spin_downs: per motor or tool whose delay was changed.
        stops: per motor, the last stop asked by a person.
        extra: messages of the service itself.
        out_since_wall: per motor out of service since an earlier run, since when; the core's own instant lies on a
            clock that may be another boot's.
        trip_notes: per tool with a clamp, from which current it counts as running, one sentence.
        speeds: per motor on a drive that follows the air.
    """

    wall_offset_s: float
    spin_downs: Mapping[str, SpinDownChange] = field(default_factory=dict)
    stops: Mapping[str, StopAsked] = field(default_factory=dict)
    extra: tuple[ExtraMessage, ...] = ()
    out_since_wall: Mapping[str, float] = field(default_factory=dict)
    trip_notes: Mapping[str, str] = field(default_factory=dict)
    speeds: Mapping[str, SpeedNow] = field(default_factory=dict)


def clock(wall_s: float) -> str:
    """A time of the day for people: "14:03"."""
    return time.strftime("%H:%M", time.localtime(wall_s))
