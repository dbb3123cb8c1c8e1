"""A contact that somebody works, as the sensor of battery tools, air tools and hand work.

Theory of operation. The contact is debounced as any other (`contact`). A run begins when the contact is seen to be
made, and ends in one of two ways: by press again (a button, a foot switch), or when it is let go (a hose that hangs
back on its hook, air that stands still in the line). A run of either kind may also end by itself after a time; a
contact that is still made then must be seen open, and made again, before the next run.

Pressed at the first look, a button asks for nothing, since nobody saw the press; what is held at the first look is
found running, which starts nothing. After a fault, a run by presses goes on until its time is over: nobody saw it end.
"""

import math

from gatekeeper.sensing.contact import ContactSensor, ContactSettings
from gatekeeper.sensing.seen import Level, Reason, Seen, State


class WorkedSensor:
    """Says from the levels of one contact whether somebody works with what it stands for.

    Args:
        settings: of the contact.
        by_presses: a press begins and the next ends; else it lasts while the contact is made.
        ends_after_s: after this time a run ends by itself, above 0; None: never.

    Raises:
        ValueError: the time is not above 0 s.
    """

    def __init__(
        self, settings: ContactSettings | None = None, *, by_presses: bool, ends_after_s: float | None
    ) -> None:
        if ends_after_s is not None and not 0 < ends_after_s < math.inf:
            raise ValueError(f"The run ends after {ends_after_s} s; it must be more than 0 s.")
        self._contact = ContactSensor(settings)
        self._by_presses = by_presses
        self._ends_after_s = ends_after_s
        self._until_s: float | None = None
        self._is_spent = False
        self.state: State | None = None

    def feed(self, reading: Level) -> list[Seen]:
        """Take one look at the contact; return the changes that it and the time up to it prove."""
        return self._told(reading.t_s, self._contact.feed(reading))

    def tick(self, now_s: float) -> list[Seen]:
        """Say that it is `now_s`; return the changes that time alone proves."""
        return self._told(now_s, self._contact.tick(now_s))

    def next_deadline(self) -> float | None:
        """Return when `tick` may have something to say; None when only a new look can change anything."""
        ahead = [due for due in (self._contact.next_deadline(), self._until_s) if due is not None]
        return min(ahead, default=None)

    def _told(self, now_s: float, changes: list[Seen]) -> list[Seen]:
        seen: list[Seen] = []
        for change in changes:
            seen += self._time_out(change.t_s)
            seen += self._pressed(change) if self._by_presses else self._held(change)
        return seen + self._time_out(now_s)

    def _pressed(self, change: Seen) -> list[Seen]:
        if change.state is State.STALE:
            self.state = State.STALE
            return [change]
        if self.state in (None, State.STALE):
            is_on = self.state is State.STALE and self._until_s is not None
            return [self._enter(State.RUNNING if is_on else State.STOPPED, change)]
        if change.reason is not Reason.STARTED:
            return []
        if self.state is State.RUNNING:
            return [self._enter(State.STOPPED, change, Reason.ENDED)]
        return [self._begin(change)]

    def _held(self, change: Seen) -> list[Seen]:
        if change.state is State.STALE:
            self.state = State.STALE
            return [change]
        if change.state is State.STOPPED:
            was_spent, self._is_spent = self._is_spent, False
            return [] if was_spent and self.state is State.STOPPED else [self._enter(State.STOPPED, change)]
        if self._is_spent:
            return [] if self.state is State.STOPPED else [self._enter(State.STOPPED, change)]
        return [self._begin(change)]

    def _begin(self, change: Seen) -> Seen:
        if self._until_s is None and self._ends_after_s is not None:
            self._until_s = change.t_s + self._ends_after_s
        return self._enter(State.RUNNING, change)

    def _enter(self, state: State, change: Seen, reason: Reason | None = None) -> Seen:
        self.state = state
        if state is State.STOPPED:
            self._until_s = None
        return Seen(change.t_s, state, reason or change.reason, None, change.since_s)

    def _time_out(self, now_s: float) -> list[Seen]:
        until_s = self._until_s
        if until_s is None or now_s < until_s:
            return []
        self._until_s = None
        self._is_spent = not self._by_presses
        if self.state is not State.RUNNING:
            return []
        self.state = State.STOPPED
        return [Seen(until_s, State.STOPPED, Reason.TIME_OVER, None, until_s)]
