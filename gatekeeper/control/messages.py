"""What goes into the core and what comes out. Frozen values only; events are past tense, commands are verbs.

``Event`` in, ``Command`` out, ``Entry`` for the record. The words inside are those of the record (RULES, "The
record"): they are stable and documented there.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

ToolState = Literal["running", "stopped", "stale"]
SwitchState = Literal["open", "shut", "between"]
CircuitState = Literal["open", "made"]
HandState = Literal["hand", "off", "auto"]
Who = Literal["local", "page", "button", "broker", "input"]


# ---------------------------------------------------------------- events


@dataclass(frozen=True, slots=True)
class Woke:
    """The first event of every run; what was kept is given to the supervisor when it is made."""


@dataclass(frozen=True, slots=True)
class Ticked:
    """Time has passed; sent at ``next_deadline`` or later."""


@dataclass(frozen=True, slots=True)
class Stopping:
    """The process is asked to end: every motor off, a clean stop is kept."""


@dataclass(frozen=True, slots=True)
class ToolSeen:
    """A sensor's verdict on a tool. ``stale`` means the sensor can no longer be believed; ``why`` says how.

    ``fresh`` is False where the change itself was not watched on good readings (found at the first look, told apart
    on a shared circuit): a fact, but no cause to start a motor (C21).
    """

    tool: str
    state: ToolState
    why: str | None = None
    fresh: bool = True


@dataclass(frozen=True, slots=True)
class SwitchSeen:
    """A gate's position switches changed."""

    gate: str
    state: SwitchState


@dataclass(frozen=True, slots=True)
class Missed:
    """The driver reports that a gate did not arrive."""

    gate: str
    why: str | None = None


@dataclass(frozen=True, slots=True)
class Lapsed:
    """The switch of a motor reports that its lease had run out before it was renewed: the motor is off."""

    motor: str


@dataclass(frozen=True, slots=True)
class MotorSeen:
    """What confirms a motor changed: by current, auxiliary contact or drive.

    ``lost`` says that this sensor can no longer be believed; the motor is then as one that nothing confirms.
    """

    motor: str
    state: Literal["running", "still", "lost"]


@dataclass(frozen=True, slots=True)
class AirSeen:
    """The air proof of a system: pressure, flow or the collector's current says that air moves."""

    motor: str
    moving: bool


@dataclass(frozen=True, slots=True)
class InputSeen:
    """An emergency, fire or door circuit: ``made`` is the healthy state, a broken wire is ``open``."""

    input: str
    state: CircuitState


@dataclass(frozen=True, slots=True)
class HandSeen:
    """The Hand-Off-Auto switch of a motor."""

    motor: str
    state: HandState


@dataclass(frozen=True, slots=True)
class ShopKeySeen:
    """The shop is open or shut, by key or by hours."""

    state: Literal["open", "shut"]


@dataclass(frozen=True, slots=True)
class QuietSeen:
    """Quiet hours for the room air cleaner began or ended."""

    quiet: bool


#: What a person, a button or a neighbour may ask. The subject is a gate, a motor, a tool or None (see each).
RequestWhat = Literal[
    "open",  # gate: open it for for_s
    "shut",  # gate: shut it
    "hold",  # gate: fingers: no motion until released (worked on)
    "release",  # gate: end of hold, worked-on or stuck; moves 3 s later at the soonest
    "air_here",  # tool or gate: open it and run its collectors for for_s
    "run",  # motor: run for for_s; also takes up tools that were found running
    "stop",  # motor or None for all: off at once
    "sweep",  # motor or None: the floor-sweep gates, for for_s
    "flush",  # motor: each branch in turn, for its clear time
    "reset",  # None: after an emergency or a fire (fire only locally)
    "sparks",  # None: somebody saw sparks; the same as a fire alarm, and as that reset only locally
    "clear",  # motor: a latched fault, a lost start record; gate: alarms; code:subject: one message; None: all
    "out_of_service",  # motor or None for all
    "back_in_service",  # motor or None for all
    "stopped",  # tool: a person says that it is stopped
    "still_running",  # tool: a person says that it still cuts
    "seen",  # message: a person has read it (subject: code:subject)
]


@dataclass(frozen=True, slots=True)
class Requested:
    """Somebody asks for something.

    Args:
        what: which request.
        subject: gate, motor or tool by name, or None.
        who: the door it came through; only ``local`` resets a fire.
        for_s: how long, where it makes sense; None for the default.
        text: free words that go into the history (who, why).
        ref: the asker's own handle; comes back in ``Answer``.
    """

    what: RequestWhat
    subject: str | None = None
    who: Who = "local"
    for_s: float | None = None
    text: str | None = None
    ref: str | None = None


@dataclass(frozen=True, slots=True)
class SettingChanged:
    """A setting: ``spin_down_s`` of a motor or of a tool (None takes the tool's own away again)."""

    subject: str
    name: Literal["spin_down_s"]
    value: float | None
    who: Who = "local"
    ref: str | None = None


Event = (
    Woke
    | Ticked
    | Stopping
    | ToolSeen
    | SwitchSeen
    | Missed
    | Lapsed
    | MotorSeen
    | AirSeen
    | InputSeen
    | HandSeen
    | ShopKeySeen
    | QuietSeen
    | Requested
    | SettingChanged
)


# ---------------------------------------------------------------- commands


@dataclass(frozen=True, slots=True)
class MoveGate:
    """Move one gate, or halt it where it is."""

    gate: str
    what: Literal["open", "shut", "halt"]


@dataclass(frozen=True, slots=True)
class SwitchMotor:
    """Switch a motor. ``on`` and ``renew`` are leases that end at ``until_s`` on the monotonic clock."""

    motor: str
    what: Literal["on", "off", "renew"]
    until_s: float | None = None


@dataclass(frozen=True, slots=True)
class ShowSign:
    """Set the sign lamp at a gate or tool."""

    subject: str
    what: Literal["dark", "coming", "ready", "no_air", "moving_soon", "held", "shop_shut"]


@dataclass(frozen=True, slots=True)
class Keep:
    """Make a value durable; ``value`` None forgets it. An ``Answer`` later in the same list waits for it."""

    key: str
    value: Any


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer to a request or setting: accepted, or refused with a code and a sentence."""

    ref: str | None
    accepted: bool
    code: str
    sentence: str


Command = MoveGate | SwitchMotor | ShowSign | Keep | Answer


# ---------------------------------------------------------------- what is kept, and the record


@dataclass(frozen=True, slots=True)
class Kept:
    """What an earlier run made durable.

    Args:
        values: every kept key and value (see ``gatekeeper.control.keeping`` for the keys).
        fresh: True on the first start of an installation: nothing is missing, nothing was ever kept.
        damaged: True where the kept values could not be read: latches count as set, stores as lost.
        same_boot: True where the board was not restarted since; only then are kept instants on the same clock.
    """

    values: Mapping[str, Any] = field(default_factory=dict)
    fresh: bool = True
    damaged: bool = False
    same_boot: bool = False


@dataclass(slots=True)
class Entry:
    """One entry of the record. See RULES, "The record", for kinds and values."""

    seq: int
    step: int
    t_s: float
    boot: str
    run: str
    kind: str
    subject: str | None = None
    value: Any = None
    cause: int | None = None
    rule: str | None = None
    why: str | None = None

    def as_json(self) -> dict[str, Any]:
        """The entry as a JSON object with the documented keys."""
        return {
            "seq": self.seq,
            "step": self.step,
            "t_s": self.t_s,
            "boot": self.boot,
            "run": self.run,
            "kind": self.kind,
            "subject": self.subject,
            "value": self.value,
            "cause": self.cause,
            "rule": self.rule,
            "why": self.why,
        }
