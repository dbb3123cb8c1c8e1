"""What every device of a kind promises: the protocols, the values that cross them, and the one root error.

All times are seconds on one monotonic clock, given by the caller as ``now_s``; no driver sleeps and none but
``LeaseGuard`` and a meter link owns a thread. All drivers take plain typed parameters and know nothing of the shop's
config.

Writing a driver: what must and what may be overridden

=================  ==========================================================  ==================================
kind               must give                                                   may give
=================  ==========================================================  ==================================
gate actuator      ``open shut halt tick next_deadline close``, ``fate``       position switches, a miss callback
motor switch       ``on renew off tick next_deadline close``, ``fate``         a callback for a lease that ran out
contact            ``level made poll close``                                   edges (never trusted alone)
sign               ``show close``                                              any set of words it can light
converter bank     ``read close``, ``channels``, ``full_scale``                a pace between two scans
meter link         ``start close``, ``trouble``; reports in its own thread     any number of meters on one broker
=================  ==========================================================  ==================================

A driver whose tests pass the contract suite of its kind (``tests/devices/``) may be wired into a shop.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Protocol, runtime_checkable


class DeviceError(Exception):
    """A device cannot be set up or cannot do what it was told; the text is one or more plain sentences."""


class Position(Enum):
    """Where a gate stands, as its position switches say."""

    OPEN = "open"
    SHUT = "shut"
    BETWEEN = "between"


class SelectorState(Enum):
    """Where a Hand-Off-Auto switch stands."""

    HAND = "hand"
    OFF = "off"
    AUTO = "auto"


class BoardDeath(Enum):
    """What an output does when the board loses its power or dies."""

    DROPS = "drops"
    DROPS_LATER = "drops after its own time"
    STAYS = "stays"


@dataclass(frozen=True, slots=True)
class Fate:
    """What an output does without us, in words a person can read.

    Args:
        at_power_up: from power on until our program has claimed the line.
        when_process_dies: after a crash, a kill or a freeze of our program while the board stays powered.
        when_board_dies: which of the three ways of ``BoardDeath`` it goes.
        in_words: the same as a sentence for ``check``.
    """

    at_power_up: str
    when_process_dies: str
    when_board_dies: BoardDeath
    in_words: str


@dataclass(frozen=True, slots=True)
class Miss:
    """A gate that did not arrive: its travel time is over and its switches say something else.

    Args:
        t_s: when the driver looked, monotonic seconds.
        gate: the gate's name.
        wanted: where it was sent.
        seen: what the switches said.
    """

    t_s: float
    gate: str
    wanted: Position
    seen: Position


@dataclass(frozen=True, slots=True)
class ContactSeen:
    """A contact's raw state that differs from the one last reported; not yet debounced.

    Args:
        t_s: when the level was read, monotonic seconds.
        name: the contact's name.
        made: True when the circuit is closed, False when it is open or its wire is broken.
    """

    t_s: float
    name: str
    made: bool


@dataclass(frozen=True, slots=True)
class Block:
    """One block of converter codes.

    Args:
        start_s: when the first scan began, monotonic seconds.
        rate_hz: measured scans a second, that is samples a second and channel.
        codes: for each channel its codes, oldest first, each from 0 to the bank's ``full_scale``.
    """

    start_s: float
    rate_hz: float
    codes: tuple[Sequence[int], ...]


@dataclass(frozen=True, slots=True)
class MeterSeen:
    """What came, or did not come, of one meter behind a broker.

    Args:
        t_s: when it came here, monotonic seconds; when it was measured, nobody says.
        name: the meter's name.
        value: the number in the message; None when there is none in it, or when the broker is lost.
        is_kept: the broker had kept the message and gave it out again: how old it is, nobody knows.
        is_lost: the broker cannot be reached, or does not let us read.
    """

    t_s: float
    name: str
    value: float | None
    is_kept: bool = False
    is_lost: bool = False


ReportMiss = Callable[[Miss], None]
ReportContact = Callable[[ContactSeen], None]
ReportLapse = Callable[[float, str], None]
ReportMeter = Callable[[MeterSeen], None]
Clock = Callable[[], float]


@runtime_checkable
class GateActuator(Protocol):
    """Moves one gate.

    ``open`` and ``shut`` start a move and return at once; the caller calls ``tick`` at ``next_deadline`` (late is
    allowed, early does nothing). The same command again during its own move changes nothing; a reversal counts its
    travel anew. ``halt`` takes effect before it returns. Nothing moves at construction. After ``close`` every
    command raises ``DeviceError``.
    """

    name: str
    travel_s: float
    dead_s: float
    can_halt: bool
    spring_return: bool
    fate: Fate

    def open(self, now_s: float) -> None: ...

    def shut(self, now_s: float) -> None: ...

    def halt(self, now_s: float) -> None: ...

    def tick(self, now_s: float) -> None: ...

    def next_deadline(self) -> float | None: ...

    def position(self) -> Position | None: ...

    def close(self) -> None: ...


@runtime_checkable
class MotorSwitch(Protocol):
    """Switches one motor's contactor coil, on a lease.

    ``on`` gives a lease up to ``until_s``; ``renew`` lengthens a lease that still runs and returns False, without
    switching anything on, when there is none. ``tick`` switches off once the lease has run out and returns True when
    it did. Power is never on at construction, and off after ``close``. Every method may be called from any thread.
    """

    name: str
    fate: Fate

    def on(self, now_s: float, until_s: float) -> None: ...

    def renew(self, now_s: float, until_s: float) -> bool: ...

    def off(self) -> None: ...

    def is_on(self) -> bool: ...

    def tick(self, now_s: float) -> bool: ...

    def next_deadline(self) -> float | None: ...

    def close(self) -> None: ...


@runtime_checkable
class Contact(Protocol):
    """Reads one dry contact. Edges may be lost: whoever owns it calls ``poll`` once a second."""

    name: str

    def level(self) -> bool: ...

    def made(self) -> bool: ...

    def poll(self, now_s: float) -> None: ...

    def close(self) -> None: ...


@runtime_checkable
class Sign(Protocol):
    """Shows one word at a drop or a gate; a word it cannot show raises ``DeviceError``. ``tick`` makes it blink."""

    name: str

    def show(self, word: str, now_s: float) -> None: ...

    def tick(self, now_s: float) -> None: ...

    def next_deadline(self) -> float | None: ...

    def close(self) -> None: ...


@runtime_checkable
class ConverterBank(Protocol):
    """One analog-to-digital converter with all its channels.

    ``read`` blocks until it has that many samples of every channel, so it belongs in a thread of its own.
    """

    name: str
    channels: int
    full_scale: int

    def read(self, samples_per_channel: int) -> Block: ...

    def close(self) -> None: ...


@runtime_checkable
class MeterLink(Protocol):
    """Hears the meters of one broker in a thread of its own; what it hears goes to a ``ReportMeter``.

    ``start`` and ``close`` return at once, whatever the network does; after ``close`` nothing is reported.
    ``trouble`` is a sentence while the broker cannot be heard, else None.
    """

    name: str

    @property
    def trouble(self) -> str | None: ...

    def start(self) -> None: ...

    def close(self) -> None: ...
