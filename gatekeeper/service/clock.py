"""Clocks: the one the shop runs on, one that runs faster for a demo, and one that is moved by hand."""

import time
from typing import Protocol


class Clock(Protocol):
    """Monotonic seconds, and how long a real wait lasts for a time on this clock."""

    def now(self) -> float:
        """Monotonic seconds on this clock."""
        ...

    def real_s(self, seconds: float) -> float:
        """How long one must really wait for ``seconds`` to pass on this clock."""
        ...


class SystemClock:
    """The board's own monotonic clock (C19)."""

    def now(self) -> float:
        return time.monotonic()

    def real_s(self, seconds: float) -> float:
        return seconds


class FastClock:
    """The monotonic clock, faster by a factor, from the instant it was made.

    Args:
        speed: how many seconds pass in a real one, above 0.
    """

    def __init__(self, speed: float) -> None:
        if not speed > 0:
            raise ValueError(f"The speed is {speed:g}; it must be more than 0.")
        self._speed = speed
        self._begun_s = time.monotonic()

    def now(self) -> float:
        return self._begun_s + (time.monotonic() - self._begun_s) * self._speed

    def real_s(self, seconds: float) -> float:
        return seconds / self._speed


class HandClock:
    """A clock that moves only when told, and never back: for replay and tests."""

    def __init__(self, now_s: float = 0.0) -> None:
        self._now_s = now_s

    def now(self) -> float:
        return self._now_s

    def real_s(self, seconds: float) -> float:
        return 0.0

    def advance(self, seconds: float) -> None:
        """Let time pass.

        Raises:
            ValueError: the time is negative.
        """
        if seconds < 0:
            raise ValueError(f"time cannot go back by {-seconds:g} s")
        self._now_s += seconds

    def jump_to(self, now_s: float) -> None:
        """Go to an instant not before now."""
        self.advance(now_s - self._now_s)
