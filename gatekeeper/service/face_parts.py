"""Small parts of the page's views: sayings, offers, delays, starts, stops, answers. See ``gatekeeper.service.face``."""

from dataclasses import dataclass

from gatekeeper.control.messages import RequestWhat
from gatekeeper.service.face_words import Heap, Press, StopWord


@dataclass(frozen=True, slots=True)
class Saying:
    """A whole sentence that may hold one running time.

    Args:
        text: the sentence. ``{time}`` in it, at most once, stands for the time left until ``until_s``, or the time
            passed since ``since_s``; the page fills it in and keeps it counting.
        until_s: the instant that is counted down to.
        since_s: the instant that is counted up from. At most one of the two is given.
    """

    text: str
    until_s: float | None = None
    since_s: float | None = None


@dataclass(frozen=True, slots=True)
class Offer:
    """Something a person may do now, drawn as a button. Only what makes sense now is offered.

    Args:
        what, subject, for_s: go back unchanged to ``Face.request``.
        label: the verb on the button, with its object ("Release Bandsaw gate").
        press: ``HOLD`` for everything that starts a motor.
        caution: a sentence shown beside the button and before a start; None where nothing can go wrong.
        asks_text: True where the person must say who and why (out of service).
    """

    what: RequestWhat
    subject: str | None
    label: str
    for_s: float | None = None
    press: Press = Press.TAP
    caution: str | None = None
    asks_text: bool = False


@dataclass(frozen=True, slots=True)
class Attention:
    """Something that needs somebody and is not a message: a question, a fan that stays on, a gate that stays open."""

    harm: Heap
    saying: Saying
    offers: tuple[Offer, ...] = ()


@dataclass(frozen=True, slots=True)
class SpinDown:
    """The spin-down delay of one motor or tool as it is now, and what the page needs to change it.

    Args:
        subject: the motor's or tool's name.
        value_s: the delay in force; None on a tool that follows its collector's.
        low_s, high_s: the range that ``set_spin_down`` takes, whole seconds, low below high.
        default_s: what the shop's file says; None on a tool for which it says nothing.
        clear_s: the longest clear time that it covers: of the whole system for a motor, of its own gates for a tool.
        previous_s: what ``undo`` would bring back; None also when that is "follows the collector's".
        can_undo: there is something to undo.
        undo_until_s: until when the page offers the undo beside the control (ten seconds); the settings view offers
            it as long as ``can_undo``.
        changed_by: who changed it last, in words ("the page, from 192.168.1.23"); None while it is the default.
        changed_wall_s: when.
    """

    subject: str
    value_s: float | None
    low_s: float
    high_s: float
    default_s: float | None
    clear_s: float
    previous_s: float | None = None
    can_undo: bool = False
    undo_until_s: float | None = None
    changed_by: str | None = None
    changed_wall_s: float | None = None


@dataclass(frozen=True, slots=True)
class Starts:
    """A motor's starts in hand.

    Args:
        now: starts in hand, 0 to ``most``.
        most: how many it holds (two, as a rule).
        per_hour: how fast they come back.
        estimate: True where the figures are an estimate (single-phase motors).
        next_at_s: the earliest instant of a start, when that is not now.
    """

    now: float
    most: float
    per_hour: float
    estimate: bool = False
    next_at_s: float | None = None


@dataclass(frozen=True, slots=True)
class OutOfService:
    """Who took a motor out of service, why, and since when (wall clock; None when the record was damaged)."""

    who: str
    why: str
    since_wall_s: float | None


@dataclass(frozen=True, slots=True)
class StopView:
    """The last stop that a person asked for, while it matters.

    Every motor that a stop spoke to carries one from the same step on, also when it stood still already (then
    ``STOPPED`` at once), until it is started again.

    Args:
        word: how far it has come; never ``STOPPING`` before it is confirmed.
        sentence: the whole of it, with who stopped and when: "Stopped from the page by 192.168.1.23 at 14:03."
    """

    word: StopWord
    sentence: str


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer to a request: done or queued, or refused with a code and one sentence that says why."""

    accepted: bool
    code: str
    sentence: str
