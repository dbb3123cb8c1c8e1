"""A power meter that speaks now and then, as a sensor.

Theory of operation. Every live number decides: at or above the trip the tool runs; below 0.6 of it, it has stopped;
between, nothing changes. The sign does not matter: a meter on a turned wire counts the same.

A change is a start or a stop only where the number before was live too, and came no longer ago than ``silence_s``.
What else is known is found, never seen to happen, and starts nothing:

- the first live number, and the first after a loss;
- whatever comes within ``settle_s`` after these, since a frozen network hands out all it had kept back at once;
- a number that the broker had kept. One above the trip counts as found running, since a gate that opens in vain harms
  nobody; one below says nothing, since it would let the gate of a running tool shut.

A message without a number, a lost broker and silence are faults of the sensor at once.
"""

import math
from dataclasses import dataclass

from gatekeeper.sensing.seen import Reason, Seen, State

RELEASE_OF_TRIP = 0.6
#: No machine of a shop draws this many watts or amperes: the message is garbled. Our own assumption.
ABSURD = 1e6


@dataclass(frozen=True, slots=True)
class MeterReading:
    """One message of a meter.

    Args:
        t_s: monotonic time at which it came, seconds.
        value: its number; None when there was none in it.
        is_kept: the broker had kept it, so nobody knows how old it is.
    """

    t_s: float
    value: float | None
    is_kept: bool = False


@dataclass(frozen=True, slots=True)
class MeterSettings:
    """What the sensor needs to know.

    Args:
        trip: at or above this the tool runs, in the unit of the numbers, above 0.
        silence_s: silent for longer than this, the meter is lost, 0.1 to 36,000 s.
        settle_s: changes this soon after the first number are none, 0 to 36,000 s; how often the meter speaks.

    Raises:
        ValueError: a value is outside its range.
    """

    trip: float
    silence_s: float
    settle_s: float

    def __post_init__(self) -> None:
        if not 0 < self.trip < math.inf:
            raise ValueError(f"The tool is to run above {self.trip}; it must be more than 0.")
        if not 0.1 <= self.silence_s <= 36_000:
            raise ValueError(f"The longest silence is {self.silence_s} s; 0.1 to 36000 s are allowed.")
        if not 0 <= self.settle_s <= 36_000:
            raise ValueError(f"The meter settles for {self.settle_s} s; 0 to 36000 s are allowed.")


class MeterSensor:
    """Says from the messages of one meter whether its tool runs."""

    def __init__(self, settings: MeterSettings) -> None:
        self._settings = settings
        self.state: State | None = None
        self.value: float | None = None
        self._heard_s: float | None = None
        self._waiting_since_s: float | None = None
        self._settled_s = -math.inf

    def feed(self, reading: MeterReading) -> list[Seen]:
        """Take one message; return the changes that it and the time up to it prove."""
        seen = self.tick(reading.t_s)
        t_s, value = reading.t_s, reading.value
        if value is None or not abs(value) < ABSURD:
            return seen if reading.is_kept else seen + self._lose(t_s, Reason.NO_NUMBER)
        is_above = abs(value) >= self._settings.trip
        if reading.is_kept:
            if is_above and self.state is not State.RUNNING:
                self.state = State.RUNNING
                if self._heard_s is None:
                    self._waiting_since_s = t_s  # else its silence counts from its last live word
                seen.append(Seen(t_s, State.RUNNING, Reason.KEPT, None, t_s))
            return seen
        before_s, self._heard_s, self._waiting_since_s, self.value = self._heard_s, t_s, t_s, abs(value)
        if before_s is None:
            self._settled_s = t_s + self._settings.settle_s
        stays = self.state is State.RUNNING and abs(value) >= RELEASE_OF_TRIP * self._settings.trip
        now = State.RUNNING if is_above or stays else State.STOPPED
        if now is self.state:
            return seen
        reason = Reason.FIRST_LOOK if self.state is None else Reason.RETURNED
        if before_s is not None and t_s >= self._settled_s:
            reason = Reason.STARTED if now is State.RUNNING else Reason.ENDED
        self.state = now
        since_s = before_s if reason.is_fresh and before_s is not None else t_s
        return [*seen, Seen(t_s, now, reason, None, since_s)]

    def lose(self, t_s: float) -> list[Seen]:
        """The broker is lost."""
        return self.tick(t_s) + self._lose(t_s, Reason.NO_BROKER)

    def tick(self, now_s: float) -> list[Seen]:
        """Say that it is `now_s`; return the loss of the meter when it has been silent for too long."""
        if self._waiting_since_s is None:
            self._waiting_since_s = now_s
        overdue_s = self._waiting_since_s + self._settings.silence_s
        return self._lose(overdue_s, Reason.NO_MESSAGES) if now_s >= overdue_s else []

    def next_deadline(self) -> float | None:
        """Return when silence will have been too long; None while lost, and before the first look at the time."""
        if self._waiting_since_s is None or (self.state is State.STALE and self._heard_s is None):
            return None
        return self._waiting_since_s + self._settings.silence_s

    def _lose(self, t_s: float, reason: Reason) -> list[Seen]:
        self._heard_s = self.value = None
        if self.state is State.STALE:
            return []
        self.state = State.STALE
        return [Seen(t_s, State.STALE, reason, None, t_s)]
