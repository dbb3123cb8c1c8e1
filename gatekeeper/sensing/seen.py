"""What a sensor says about a tool: running, stopped, or that the sensor itself cannot be believed."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Protocol, TypeVar


class State(Enum):
    """What is known of a tool."""

    RUNNING = "running"
    STOPPED = "stopped"
    STALE = "stale"


class Reason(Enum):
    """Why a state was reported; `value` is the word for records, `sentence` the one for people."""

    STARTED = "started"
    ENDED = "ended"
    FIRST_LOOK = "first_look"
    RETURNED = "returned"
    TOLD_APART = "told_apart"
    NO_SAMPLES = "no_samples"
    STUCK = "stuck"
    CLIPPED = "clipped"
    LOST_BIAS = "lost_bias"
    OPEN = "open"
    GARBLED = "garbled"
    CHATTER = "chatter"
    TIME_OVER = "time_over"
    KEPT = "kept"
    NO_NUMBER = "no_number"
    NO_MESSAGES = "no_messages"
    NO_BROKER = "no_broker"

    @property
    def sentence(self) -> str:
        """One plain sentence for the page and the history."""
        return _SENTENCES[self]

    @property
    def is_fresh(self) -> bool:
        """True when the change itself was watched on good readings.

        False for a tool found running at the first look, after a sensor fault, or by telling the tools of one
        circuit apart: such a state is a fact, never a cause to start a motor.
        """
        return self in (Reason.STARTED, Reason.ENDED)


_SENTENCES = {
    Reason.STARTED: "The tool was seen to start.",
    Reason.ENDED: "The tool was seen to stop.",
    Reason.FIRST_LOOK: "This is how the tool was found at the first look.",
    Reason.RETURNED: "This is how the tool was found when its sensor came back.",
    Reason.TOLD_APART: "The running current of the circuit says which of its tools it is.",
    Reason.NO_SAMPLES: "The sensor gives no readings: look at the converter and its cable.",
    Reason.STUCK: "The reading does not move at all: look at the sensor's plug and the converter.",
    Reason.CLIPPED: "The current is beyond the sensor's range: fit a smaller burden resistor or a larger clamp.",
    Reason.LOST_BIAS: "The sensor's resting level is far from the middle: look at its bias resistors and its plug.",
    Reason.OPEN: "The input looks open: look at the clamp's plug, and whether its burden is loose or too large.",
    Reason.GARBLED: "The readings are not numbers that this converter can give: look at the converter and its cable.",
    Reason.CHATTER: "The contact opens and closes too often to be believed: look at its wires, or at its range.",
    Reason.TIME_OVER: "Its time is over; begin again when you go on.",
    Reason.KEPT: "The broker had kept this message of the meter; how old it is, nobody knows.",
    Reason.NO_NUMBER: "The meter sends messages without a number: look at its settings and the path to the number.",
    Reason.NO_MESSAGES: "The meter sends nothing: look at its power and its network.",
    Reason.NO_BROKER: "The meter's broker cannot be heard: look at the broker and the network.",
}


@dataclass(frozen=True, slots=True)
class Seen:
    """One change in what is known of a tool.

    Args:
        t_s: monotonic time of the decision, seconds.
        state: what is known from now on.
        reason: why.
        current_a: net RMS current at the decision, amperes; None from a contact and from a sensor that is stale.
        since_s: when what was seen began, seconds; never after `t_s`.
    """

    t_s: float
    state: State
    reason: Reason
    current_a: float | None
    since_s: float


@dataclass(frozen=True, slots=True)
class Block:
    """Evenly spaced samples of one channel, of any number.

    Args:
        start_s: monotonic time of the first sample, seconds.
        rate_hz: measured samples of this channel per second, above zero.
        values: converter codes, or amperes where the sensor was built without a front end.
    """

    start_s: float
    rate_hz: float
    values: Sequence[float]


@dataclass(frozen=True, slots=True)
class Level:
    """One look at a contact: an edge, or a poll that repeats the level.

    Args:
        t_s: monotonic time of the look, seconds.
        is_made: True when the contact is closed (the tool draws current).
    """

    t_s: float
    is_made: bool


R = TypeVar("R", contravariant=True)


class Sensor(Protocol[R]):
    """What the service needs of every kind of sensor. No clock inside: time comes with the readings."""

    @property
    def state(self) -> State | None:
        """The last state reported, or None before the first."""
        ...

    def feed(self, reading: R) -> list[Seen]:
        """Take the next readings; return the changes they prove, in order of time."""
        ...

    def tick(self, now_s: float) -> list[Seen]:
        """Say that it is `now_s` and nothing has come; return the changes that time alone proves."""
        ...

    def next_deadline(self) -> float | None:
        """Return the instant at which `tick` may have something to say, or None."""
        ...
