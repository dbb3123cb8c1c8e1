"""What the web may see of the running controller, and what it may ask: frozen views and protocols, no logic.

The controller hands out one immutable ``ShopView`` per change. Everything in it is finished: sentences are whole, the
offers are those that make sense now, and nothing has to be worked out from rules. Two things are left to whoever
draws it: units on the screen, and the time that passes. For the second, every instant that is named ``_s`` lies on
the controller's own monotonic clock, whose present value is ``ShopView.now_s``; every instant that is named
``_wall_s`` is seconds since 1970 by the wall clock and is for people only.

Nothing here imports devices, records or any web library.
"""

from concurrent.futures import Future
from dataclasses import dataclass
from enum import Enum
from typing import Protocol

from gatekeeper.control.messages import RequestWhat, Who

__all__ = [
    "Answer",
    "Attention",
    "Beat",
    "Bench",
    "BenchChoice",
    "BenchControl",
    "DayLine",
    "DayNumber",
    "DayView",
    "DuctView",
    "Face",
    "GateView",
    "GateWord",
    "HandWord",
    "Heap",
    "Lane",
    "LaneSpan",
    "MessageView",
    "MotorView",
    "Offer",
    "OutOfService",
    "Press",
    "RequestWhat",
    "Saying",
    "SensorWord",
    "ShopView",
    "SpinDown",
    "Starts",
    "StopView",
    "StopWord",
    "ToolView",
    "Units",
    "Who",
]


# ---------------------------------------------------------------- words


class Units(Enum):
    """How the shop's people read lengths and velocities."""

    INCH = "inch"
    METRIC = "metric"


class Heap(Enum):
    """Which of the three heaps a message lies on: how soon it hurts somebody or something."""

    NOW = "now"
    TODAY = "today"
    WHEN_YOU_CAN = "when you can"


class GateWord(Enum):
    """Where a gate stands, in the words of the page."""

    OPEN = "open"
    SHUT = "shut"
    OPENING = "opening"
    SHUTTING = "shutting"
    NOT_KNOWN = "not known"
    STUCK = "stuck"
    HELD = "held"


class SensorWord(Enum):
    """What a tool's sensor says, or that it can no longer be believed."""

    RUNNING = "running"
    STOPPED = "stopped"
    LOST = "lost"


class HandWord(Enum):
    """A motor's Hand-Off-Auto switch."""

    HAND = "hand"
    OFF = "off"
    AUTO = "auto"


class Press(Enum):
    """How a button is pressed. ``HOLD``: for one second, with its caution in sight; always so for a motor start."""

    TAP = "tap"
    HOLD = "hold"


class StopWord(Enum):
    """How far a stop that somebody asked for has come."""

    SENT = "sent"
    STOPPING = "stopping"  # confirmed: the motor's own feedback says that it was switched off
    STOPPED = "stopped"  # confirmed, and the coast time is over
    NOT_CONFIRMED = "not confirmed"  # 2 s went by without a confirmation, or nothing is wired that could confirm


# ---------------------------------------------------------------- small parts


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


# ---------------------------------------------------------------- what is so


@dataclass(frozen=True, slots=True)
class MotorView:
    """A collector, tool vacuum, air cleaner or filter shaker.

    Args:
        name: as in the shop's file.
        kind: "collector", "tool vacuum", "air cleaner" or "filter shaker".
        word: its state in a word or two ("off", "starting", "on", "running on", "coming to rest", "out of service").
        runs: it counts as running: commanded on, confirmed, or within its coast time.
        reason: why it runs or may not, and its end; given whenever it runs.
        stops_at_s: end of the countdown when it is counting down.
        spin_down: None on motors without one.
        starts: None where no count is kept.
        hand: None where no Hand-Off-Auto switch is wired.
        out_of_service: None while it is in service.
        stop: the last stop that a person asked for.
        has_ducts: it draws through ducts and gates.
    """

    name: str
    kind: str
    word: str
    runs: bool
    reason: Saying | None = None
    stops_at_s: float | None = None
    spin_down: SpinDown | None = None
    starts: Starts | None = None
    hand: HandWord | None = None
    out_of_service: OutOfService | None = None
    stop: StopView | None = None
    has_ducts: bool = True
    offers: tuple[Offer, ...] = ()


@dataclass(frozen=True, slots=True)
class GateView:
    """One gate.

    Args:
        name: as in the shop's file.
        motor: the collector whose system it is on.
        duct: the duct it sits on.
        word: where it stands.
        automatic: False for a gate moved by hand.
        tools: the machines it serves.
        reason: why it is open, moving, waiting or held, and until when; given whenever it is not simply shut.
        proof: how its place is known, in words ("its switch says so", "a full travel time has passed, no switch").
    """

    name: str
    motor: str
    duct: str
    word: GateWord
    automatic: bool
    tools: tuple[str, ...]
    reason: Saying | None = None
    proof: str = ""
    offers: tuple[Offer, ...] = ()


@dataclass(frozen=True, slots=True)
class ToolView:
    """One machine.

    Args:
        name: as in the shop's file.
        sensor: what its sensor says.
        sensor_note: a sentence when the sensor is lost, else None.
        gates, motors: by name.
        since_s: since when it runs; None while it stands.
        current_a: the last current, true RMS; None where a contact tells.
        spin_down: its own, always given (``value_s`` None: it follows its collector's).
    """

    name: str
    sensor: SensorWord
    sensor_note: str | None
    gates: tuple[str, ...]
    motors: tuple[str, ...]
    since_s: float | None = None
    current_a: float | None = None
    spin_down: SpinDown | None = None
    offers: tuple[Offer, ...] = ()


@dataclass(frozen=True, slots=True)
class DuctView:
    """One duct of the tree. Air leaves it towards ``towards``: another duct, or its motor.

    Args:
        diameter_m: hydraulic diameter, drawn as line width.
        length_m: centre-line length.
        gate: the gate that sits on it, or None.
        moves: air moves in it now.
        velocity_ms: how fast, where that is known.
    """

    name: str
    towards: str
    motor: str
    diameter_m: float
    length_m: float
    gate: str | None = None
    moves: bool = False
    velocity_ms: float | None = None


@dataclass(frozen=True, slots=True)
class MessageView:
    """A message that says what happened, why, and what to do.

    Args:
        key: code and subject ("gate_stuck:Bandsaw gate"); the subject of a ``seen`` request.
        sentence: what is so. cause: the likely cause. remedy: what to do, a verb first.
        first_wall_s, last_wall_s, count: first and last time, and how often.
        seen: a person has read it. cleared: it is over and stays for the reader only.
        subject: the motor, gate or tool it is about, or None; shown on that machine's own page.
    """

    key: str
    heap: Heap
    sentence: str
    cause: str
    remedy: str
    first_wall_s: float
    last_wall_s: float
    count: int = 1
    seen: bool = False
    cleared: bool = False
    subject: str | None = None
    offers: tuple[Offer, ...] = ()


@dataclass(frozen=True, slots=True)
class ShopView:
    """All that is so at one instant.

    Args:
        version: grows by at least one with every change of anything else in here.
        seq: number of the last entry of the record that it contains.
        now_s: monotonic clock when it was made. wall_s: wall clock when it was made.
        name: the shop's name.
        sentence: the one sentence at the top.
        harm: the worst that stands, or None.
        remote_start: a motor may be started from the page.
        motors, gates, tools, ducts: in the order of the shop's file.
        messages: newest first.
        cautions: sentences about this shop ("Single-phase motor: the starts are an estimate").
        offers: what may be done with the whole shop (reset, out of service, sweep).
    """

    version: int
    seq: int
    now_s: float
    wall_s: float
    name: str
    units: Units
    sentence: Saying
    harm: Heap | None
    remote_start: bool
    attention: tuple[Attention, ...]
    motors: tuple[MotorView, ...]
    gates: tuple[GateView, ...]
    tools: tuple[ToolView, ...]
    ducts: tuple[DuctView, ...]
    messages: tuple[MessageView, ...]
    cautions: tuple[str, ...] = ()
    offers: tuple[Offer, ...] = ()


@dataclass(frozen=True, slots=True)
class Beat:
    """The sign of life of the control thread.

    Args:
        now_s: the controller's monotonic clock, read just now.
        step_s: the instant of the control thread's last finished step on the same clock. It must come from the
            step itself, at least once a second, and from no other timer: when it falls three seconds behind
            ``now_s``, the page calls everything old.
    """

    now_s: float
    step_s: float


# ---------------------------------------------------------------- history


@dataclass(frozen=True, slots=True)
class LaneSpan:
    """A stretch of a day, in seconds after local midnight (0 to 90000: days of 25 hours exist)."""

    start_s: float
    end_s: float
    word: str


@dataclass(frozen=True, slots=True)
class Lane:
    """One lane of a day: a motor, tool or gate, and when it did what."""

    name: str
    spans: tuple[LaneSpan, ...]


@dataclass(frozen=True, slots=True)
class DayNumber:
    """One plain number with its unit in words: ("Hours of dust collector", "3.4 h")."""

    label: str
    value: str


@dataclass(frozen=True, slots=True)
class DayLine:
    """One line of the record in words, with its wall clock ("14:03:22")."""

    at: str
    sentence: str


@dataclass(frozen=True, slots=True)
class DayView:
    """A day of the shop. ``day`` and ``days`` are ISO dates; ``days`` are those with a record, newest first."""

    day: str
    days: tuple[str, ...]
    lanes: tuple[Lane, ...]
    numbers: tuple[DayNumber, ...]
    lines: tuple[DayLine, ...]


# ---------------------------------------------------------------- asking


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer to a request: done or queued, or refused with a code and one sentence that says why."""

    accepted: bool
    code: str
    sentence: str


class Face(Protocol):
    """The running controller as the web sees it. Every method may be called from any thread.

    ``view``, ``beat``, ``request``, ``set_spin_down`` and ``undo`` return at once; a ``Future`` is done when the
    core has answered and, where the answer promises something durable, when that is on the disk.
    """

    def view(self) -> ShopView:
        """The newest view; the same object until something changes."""
        ...

    def beat(self) -> Beat:
        """The control thread's last sign of life."""
        ...

    def wait_for_change(self, version: int, timeout_s: float) -> bool:
        """Block the calling thread until the view is newer than ``version``. False when ``timeout_s`` went by."""
        ...

    def request(
        self,
        what: RequestWhat,
        subject: str | None,
        who: Who,
        for_s: float | None = None,
        text: str | None = None,
        address: str | None = None,
    ) -> "Future[Answer]":
        """Ask the core. ``address``: where the asker sits, for the history and for "who stopped"."""
        ...

    def set_spin_down(
        self, subject: str, value_s: float | None, who: Who, address: str | None = None
    ) -> "Future[Answer]":
        """Change the spin-down delay of a motor or tool, at once. None takes a tool's own away again."""
        ...

    def undo(self, subject: str, who: Who, address: str | None = None) -> "Future[Answer]":
        """Bring back the spin-down delay of a motor or tool as it was before the last change.

        A finger that drags the scale makes many changes: those from one address less than ten seconds apart count
        as one, and ``SpinDown.previous_s`` is the value before the first of them.
        """
        ...

    def history(self, day: str | None) -> DayView:
        """A day's record, today for None. Reads files: call it from a worker thread.

        Raises:
            LookupError: there is no record of that day.
        """
        ...


# ---------------------------------------------------------------- the bench of a virtual shop


@dataclass(frozen=True, slots=True)
class BenchChoice:
    """One thing that can be done to a part of a virtual shop: the word for ``Bench.work``, and the button's text."""

    to: str
    label: str


@dataclass(frozen=True, slots=True)
class BenchControl:
    """One part of a virtual shop: a tool to switch, a gate to jam, a sensor to kill, a circuit to break, the plug.

    Args:
        key: for ``Bench.work``, unique.
        group: heading it stands under ("Machines", "Gates", "Sensors", "Circuits", "Board").
        label: its name. word: how it is now ("off", "running", "jammed").
        choices: what can be done to it now.
    """

    key: str
    group: str
    label: str
    word: str
    choices: tuple[BenchChoice, ...]


class Bench(Protocol):
    """What a virtual shop lets people do to it. Only a simulator implements this; the page draws it when given."""

    def controls(self) -> tuple[BenchControl, ...]:
        """All parts, in order, grouped. Cheap; may be called from any thread."""
        ...

    def work(self, key: str, to: str) -> Answer:
        """Do one of the choices. Refuses an unknown key or word with a sentence. May be called from any thread."""
        ...
