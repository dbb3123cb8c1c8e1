"""A current switch with a dry contact, or any other contact, as a sensor.

Theory of operation. A new level counts once it has lasted `settle_s` unbroken (debounce); no timer runs in here:
`next_deadline` says when `tick` would confirm it. Every raw change of level is counted; more than `most_changes` of
them within `CHATTER_S` is a fault, and the contact is stale until it has kept still for `calm_s`. Edges alone are not
trusted: when neither an edge nor a poll came for `missing_s`, the contact is stale as well.

What it cannot tell: a broken wire of a contact that closes on current looks like a tool at rest.
"""

import math
from collections import deque
from dataclasses import dataclass

from gatekeeper.sensing.seen import Level, Reason, Seen, State

CHATTER_S = 1.0


@dataclass(frozen=True, slots=True)
class ContactSettings:
    """What the contact sensor needs to know.

    Args:
        settle_s: how long a made contact must last to be a running tool, 0.005 to 5 s. Solid-state contacts need
            50 ms (they pulse with the mains near their threshold).
        stop_hold_s: how long an open contact must last to be a stopped tool, 0.005 to 60 s.
        most_changes: raw changes of level within one second that are still believed, 2 to 1000.
        calm_s: how long a chattering contact must keep still to be believed again, 0.1 to 60 s.
        missing_s: longest time without an edge or a poll, 0.1 to 3600 s, or infinity where nobody polls.

    Raises:
        ValueError: a value is outside its range.
    """

    settle_s: float = 0.05
    stop_hold_s: float = 0.25
    most_changes: int = 20
    calm_s: float = 2.0
    missing_s: float = 5.0

    def __post_init__(self) -> None:
        for name, value, low, high in (
            ("The settling time of the contact", self.settle_s, 0.005, 5.0),
            ("The hold before a stop", self.stop_hold_s, 0.005, 60.0),
            ("The calm after chatter", self.calm_s, 0.1, 60.0),
        ):
            if not low <= value <= high:
                raise ValueError(f"{name} is {value} s; {low:g} to {high:g} s are allowed.")
        if not 2 <= self.most_changes <= 1000:
            raise ValueError(f"The contact may change {self.most_changes} times a second; 2 to 1000 are allowed.")
        if not (0.1 <= self.missing_s <= 3600 or self.missing_s == math.inf):
            raise ValueError(f"The longest time between looks is {self.missing_s} s; 0.1 to 3600 s are allowed.")


class ContactSensor:
    """Says from the levels of one contact whether its tool runs."""

    def __init__(self, settings: ContactSettings | None = None) -> None:
        self._settings = settings or ContactSettings()
        self.state: State | None = None
        self._is_made: bool | None = None
        self._since_s = 0.0
        self._looked_s: float | None = None
        self._changes: deque[float] = deque()

    def feed(self, reading: Level) -> list[Seen]:
        """Take one look at the contact; return the changes that it and the time up to it prove."""
        t_s = reading.t_s if self._looked_s is None else max(reading.t_s, self._looked_s)
        seen = self.tick(t_s)
        self._looked_s = t_s
        if reading.is_made is self._is_made:
            return seen
        is_first = self._is_made is None
        self._is_made, self._since_s = reading.is_made, t_s
        if is_first:
            return seen
        changes = self._changes
        changes.append(t_s)
        while changes[0] <= t_s - CHATTER_S:
            changes.popleft()
        if len(changes) > self._settings.most_changes:
            seen += self._lose(t_s, Reason.CHATTER)
        return seen

    def tick(self, now_s: float) -> list[Seen]:
        """Say that it is `now_s`; return the changes that time alone proves."""
        seen: list[Seen] = []
        if self._looked_s is None:
            self._looked_s = now_s
        overdue_s = self._looked_s + self._settings.missing_s
        due_s = self._due_s()
        if due_s is not None and due_s <= min(now_s, overdue_s):
            reason = Reason.FIRST_LOOK if self.state is None else Reason.RETURNED
            if self.state in (State.RUNNING, State.STOPPED):
                reason = Reason.STARTED if self._is_made else Reason.ENDED
            self.state = State.RUNNING if self._is_made else State.STOPPED
            seen.append(Seen(due_s, self.state, reason, None, self._since_s))
        if now_s >= overdue_s:
            seen += self._lose(overdue_s, Reason.NO_SAMPLES)
        return seen

    def next_deadline(self) -> float | None:
        """Return when `tick` may have something to say; None when only a new look can change anything."""
        due_s = self._due_s()
        if self._looked_s is None or self.state is State.STALE:
            return due_s
        overdue_s = self._looked_s + self._settings.missing_s
        first_s = overdue_s if due_s is None else min(due_s, overdue_s)
        return first_s if math.isfinite(first_s) else None

    def _due_s(self) -> float | None:
        """When the present level will have lasted long enough to be news; None when it is none."""
        if self._is_made is None:
            return None
        if self.state is State.STALE:
            return self._since_s + self._settings.calm_s
        if self.state is (State.RUNNING if self._is_made else State.STOPPED):
            return None
        # Before the first report there is no stop to hold: both levels need the same time.
        is_stop = self.state is State.RUNNING
        return self._since_s + (self._settings.stop_hold_s if is_stop else self._settings.settle_s)

    def _lose(self, t_s: float, reason: Reason) -> list[Seen]:
        if reason is Reason.NO_SAMPLES:
            # What the level was before the hole says nothing of now: the next look is a first one.
            self._is_made = None
            self._changes.clear()
        if self.state is State.STALE:
            return []
        self.state = State.STALE
        return [Seen(t_s, State.STALE, reason, None, t_s)]
