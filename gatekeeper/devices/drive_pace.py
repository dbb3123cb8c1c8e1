"""How fast a drive is told to run, its two floors, and whether it does.

Whoever chooses a speed may choose wrongly. What is sent to a drive therefore passes ``sent_hz``, which knows the least
speed of the drive, its full speed, and a floor of its own that the present state of the ducts gives. What cannot be
asked, or is no number, is full speed.
"""

import logging
import math
from dataclasses import dataclass
from typing import Protocol

from gatekeeper.devices.base import DeviceError

#: A speed counts as taken within this share of full speed. Our own.
TAKEN_SHARE = 0.02
#: A drive that shows its speed has this long to get there, seconds: ramps of fans are set to a few ten seconds at most
#: (common practice).
RAMP_S = 30.0
#: One that only gives its reference back has this long.
BACK_S = 1.0

_LOG = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class SpeedRange:
    """The speeds between which a drive may be told, in Hz: 0 < least <= full.

    Raises:
        DeviceError: they are no such.
    """

    least_hz: float
    full_hz: float

    def __post_init__(self) -> None:
        if not 0.0 < self.least_hz <= self.full_hz < math.inf:
            raise DeviceError(
                f"A drive that runs from {self.least_hz:g} to {self.full_hz:g} Hz has no speed to run at."
            )


class Pace(Protocol):
    """Who chooses a drive's speed. Asked in the drive's own thread at each exchange; must not block.

    ``speed_hz``: the speed wanted now. ``floor_hz``: below which no duct with chips keeps its velocity now; asked last,
    so that it knows whatever came meanwhile.
    """

    def speed_hz(self) -> float: ...

    def floor_hz(self) -> float: ...


def sent_hz(limits: SpeedRange, pace: Pace | None) -> tuple[float, float]:
    """What a drive is told, and its floor, both in Hz. Never below the floors and never above full speed."""
    if pace is None:
        return limits.full_hz, limits.least_hz
    try:
        asked_hz, floor_hz = pace.speed_hz(), pace.floor_hz()
    except Exception:
        # Whatever is wrong with the choosing, the air must not suffer.
        _LOG.exception("a drive's speed could not be chosen")
        return limits.full_hz, limits.full_hz
    if not (math.isfinite(asked_hz) and math.isfinite(floor_hz)):
        return limits.full_hz, limits.full_hz
    floor_hz = min(limits.full_hz, max(limits.least_hz, floor_hz))
    return min(limits.full_hz, max(floor_hz, asked_hz)), floor_hz


class SpeedWatch:
    """Whether a drive runs as fast as it is told. One thread owns it; what it says may be read by any.

    Args:
        name: the motor's name.
        full_hz: its full speed.
        sees: the drive shows the speed that it runs at; else its reference is read back.
    """

    def __init__(self, name: str, full_hz: float, *, sees: bool) -> None:
        self._name, self._full_hz = name, full_hz
        self._allowed_s = RAMP_S if sees else BACK_S
        self._told_hz: float | None = None
        self._off_since_s: float | None = None
        #: The speed that the drive reports, Hz; None while it is not known.
        self.seen_hz: float | None = None
        #: Since when it has been told this very speed, monotonic seconds; infinite while it is told none.
        self.told_since_s = math.inf
        #: A sentence while it does not take the speed; else None.
        self.trouble: str | None = None

    def rests(self) -> None:
        """It is told to stop, or is not heard: nothing is known, and nothing stands against it."""
        self._told_hz = self._off_since_s = self.seen_hz = self.trouble = None
        self.told_since_s = math.inf

    def untold(self, refusal: str) -> None:
        """It refuses to say how fast it runs."""
        self.seen_hz = self._off_since_s = None
        self.trouble = f"The drive of {self._name} does not tell its speed. {refusal}"

    def look(self, now_s: float, told_hz: float, floor_hz: float, seen_hz: float, refusal: str | None) -> None:
        """One exchange.

        Args:
            now_s: monotonic.
            told_hz: what it was told.
            floor_hz: below which its ducts do not keep their velocity, or the drive may not run.
            seen_hz: what it reports.
            refusal: what it said where it refused the speed.
        """
        self.seen_hz = seen_hz
        if told_hz != self._told_hz:
            self._told_hz, self.told_since_s = told_hz, now_s
            self._off_since_s = None
        if refusal is not None:
            self.trouble = (
                f"The drive of {self._name} does not take its speed. {refusal} It is left at the {seen_hz:g} Hz "
                "that it reports."
            )
            return
        if abs(seen_hz - told_hz) <= TAKEN_SHARE * self._full_hz:
            self._off_since_s = self.trouble = None
            return
        if self._off_since_s is None:
            self._off_since_s = now_s
        if now_s - self._off_since_s >= self._allowed_s:
            low = ""
            if seen_hz < floor_hz - TAKEN_SHARE * self._full_hz:
                low = f" Below {floor_hz:g} Hz chips may settle in the duct."
            self.trouble = (
                f"The drive of {self._name} does not take its speed: told {told_hz:g} Hz, it reports {seen_hz:g} Hz "
                f"and is left at that.{low}"
            )
