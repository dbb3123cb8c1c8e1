"""The start store of one motor (C8, C8a): a start is always in hand.

The store holds at most ``capacity`` starts, refills steadily at ``per_hour``, and every "on" takes one. Instants are
on the monotonic clock of this run; between runs only the level is kept, so an outage counts as no time.
"""

from dataclasses import dataclass, replace

#: Tolerance on one whole start: the refill is a sum of floats.
START_TOLERANCE = 1e-9


@dataclass(frozen=True, slots=True)
class StartStore:
    """How many starts are in hand.

    Args:
        level: starts in store at ``at_s``, 0 to capacity.
        at_s: the instant of the level.
        per_hour: refill, more than 0.
        capacity: most it can hold.
        rest_until_s: after a forced stop that left less than one start: no start before this instant.
        locked: a lost record: no start until a person has cleared the alarm (C8a).
    """

    level: float
    at_s: float
    per_hour: float
    capacity: float = 2.0
    rest_until_s: float | None = None
    locked: bool = False

    def level_at(self, now_s: float) -> float:
        """Starts in store at an instant not before ``at_s``."""
        return min(self.capacity, self.level + max(0.0, now_s - self.at_s) * self.per_hour / 3600.0)

    def has_start(self, now_s: float) -> bool:
        """True while one whole start is in store."""
        return self.level_at(now_s) >= 1.0 - START_TOLERANCE

    def whole_start_at(self) -> float:
        """The instant from which one whole start is in store."""
        missing = max(0.0, 1.0 - self.level)
        return self.at_s + missing * 3600.0 / self.per_hour

    def may_start_at(self) -> float | None:
        """The first instant at which a start is allowed; None while the store is locked."""
        if self.locked:
            return None
        start = self.whole_start_at()
        return start if self.rest_until_s is None else max(start, self.rest_until_s)

    def may_start(self, now_s: float) -> bool:
        """True where a start is allowed now."""
        return (
            not self.locked
            and self.has_start(now_s)
            and (self.rest_until_s is None or now_s >= self.rest_until_s - START_TOLERANCE)
        )

    def charged(self, now_s: float, starts: float = 1.0) -> "StartStore":
        """The store after ``starts`` starts were taken, never below nothing."""
        return replace(self, level=max(0.0, self.level_at(now_s) - starts), at_s=now_s, rest_until_s=None)

    def stopped(self, now_s: float, rest_s: float) -> "StartStore":
        """The store after the motor was told off: without a whole start in hand the motor must rest as well."""
        rest = None if self.has_start(now_s) else now_s + rest_s
        return replace(self, level=self.level_at(now_s), at_s=now_s, rest_until_s=rest)

    def unlocked(self) -> "StartStore":
        """The store after a person has cleared the alarm of a lost record."""
        return replace(self, locked=False)
