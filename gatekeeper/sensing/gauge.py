"""A pressure transmitter: from its signal to a steady pressure, or why it cannot be believed. Slow by intent.

Theory of operation. The signal is a straight line between two points. It is smoothed over some seconds, since air in a
duct is never still and nothing here is in a hurry: pressures serve people who look after a shop, and move nothing.
A transmitter whose smallest signal is above nothing (4 mA, half a volt) tells of its own faults: by an agreement of its
makers (NAMUR NE 43, from memory) a loop means a pressure from 3.8 mA to 20.5 mA, and a fault at 3.6 mA or less and at
21 mA or more. Both bounds are taken as shares of the span, for voltages too.
"""

import math
from dataclasses import dataclass
from enum import Enum

#: The bounds of NE 43 as shares of the span: (4 - 3.6) / 16 below the low point, (21 - 20) / 16 above the high one.
BELOW_SHARE = 0.4 / 16.0
ABOVE_SHARE = 1.0 / 16.0
#: The time in which most of a step (63 %) shows, and how long a fault or its end must last, seconds. Ours.
SMOOTHS_S = 2.0
FAULT_S = 2.0
#: Silent for longer than this, a transmitter on a converter is lost, seconds. Ours.
SILENT_S = 10.0


class GaugeState(Enum):
    """What can be said of a transmitter."""

    WAITING = "nothing has come yet"
    GOOD = "good"
    BROKEN = "below its zero"
    BEYOND = "beyond its range"
    SILENT = "silent"


@dataclass(frozen=True, slots=True)
class GaugeScale:
    """Two points of a transmitter.

    Args:
        low_signal, high_signal: volts or amperes, the first smaller, 0 or more.
        low_pa, high_pa: what they stand for, pascals, not the same.

    Raises:
        ValueError: the points are not such.
    """

    low_signal: float
    low_pa: float
    high_signal: float
    high_pa: float

    def __post_init__(self) -> None:
        numbers = (self.low_signal, self.low_pa, self.high_signal, self.high_pa)
        if not all(map(math.isfinite, numbers)) or not 0.0 <= self.low_signal < self.high_signal:
            raise ValueError("The signals of a gauge's two points are 0 or more, and the second is the larger.")
        if self.low_pa == self.high_pa:
            raise ValueError("The two points of a gauge stand for the same pressure; nothing could be read from it.")

    def pa_of(self, signal: float) -> float:
        """The pressure that a signal stands for."""
        share = (signal - self.low_signal) / (self.high_signal - self.low_signal)
        return self.low_pa + share * (self.high_pa - self.low_pa)

    def signal_of(self, pa: float) -> float:
        """The signal of a pressure."""
        share = (pa - self.low_pa) / (self.high_pa - self.low_pa)
        return self.low_signal + share * (self.high_signal - self.low_signal)

    @property
    def broken_below(self) -> float:
        """A signal below this is a fault; below 0, so never, where the smallest signal is nothing."""
        if self.low_signal == 0.0:
            return -math.inf
        return self.low_signal - BELOW_SHARE * (self.high_signal - self.low_signal)

    @property
    def beyond_above(self) -> float:
        """A signal above this is no pressure that it can show."""
        return self.high_signal + ABOVE_SHARE * (self.high_signal - self.low_signal)


@dataclass(frozen=True, slots=True)
class GaugeReading:
    """What a transmitter says at one instant. ``pa``: None unless it is good; ``signal``: the newest, as it came."""

    state: GaugeState
    pa: float | None = None
    signal: float | None = None


class GaugeSensor:
    """One transmitter, smoothed. No clock inside: time comes with the signals.

    Args:
        scale: its two points; None where what comes is pascals already.
        silent_s: silent for longer than this it is lost, seconds, above 0.
    """

    def __init__(self, scale: GaugeScale | None, silent_s: float = SILENT_S) -> None:
        self._scale = scale
        self._silent_s = silent_s
        self._began_s: float | None = None
        self._heard_s: float | None = None
        self._signal: float | None = None
        self._pa: float | None = None
        self._state = GaugeState.WAITING
        self._other_since_s: float | None = None

    def feed(self, t_s: float, signal: float) -> None:
        """The next signal (or pascals), at an instant not before the last one; one that is no number is none."""
        if not math.isfinite(signal):
            return
        was_s, self._heard_s, self._signal = self._heard_s, t_s, signal
        if was_s is not None and t_s - was_s > self._silent_s:
            self._pa, self._state = None, GaugeState.WAITING
        found = self._judged(signal)
        if found is not self._state and self._state is not GaugeState.WAITING:
            # A spike is no fault, and one good sample no end of it.
            if self._other_since_s is None:
                self._other_since_s = t_s
            if t_s - self._other_since_s < FAULT_S:
                return
        self._other_since_s = None
        if found is not self._state:
            self._state, self._pa = found, None
        if found is GaugeState.GOOD:
            pa = self._scale.pa_of(signal) if self._scale is not None else signal
            if self._pa is None or was_s is None:
                self._pa = pa
            else:
                self._pa += (pa - self._pa) * (1.0 - math.exp(-(t_s - was_s) / SMOOTHS_S))

    def lose(self) -> None:
        """What carries it is lost, and says so."""
        self._pa, self._state, self._other_since_s = None, GaugeState.SILENT, None

    def reading(self, now_s: float) -> GaugeReading:
        """What it says now; silence counts from the first asking where nothing has ever come."""
        if self._began_s is None:
            self._began_s = now_s
        last_s = self._heard_s if self._heard_s is not None else self._began_s
        if now_s - last_s > self._silent_s:
            return GaugeReading(GaugeState.SILENT)
        return GaugeReading(self._state, self._pa, self._signal)

    def _judged(self, signal: float) -> GaugeState:
        if self._scale is None:
            return GaugeState.GOOD
        if signal < self._scale.broken_below:
            return GaugeState.BROKEN
        return GaugeState.BEYOND if signal > self._scale.beyond_above else GaugeState.GOOD
