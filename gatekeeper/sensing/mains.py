"""The frequency of the mains, estimated from a current that flows, so that the meter's window is one true cycle.

How it works. Of each cycle the meter has the means of its four quarters. Their differences are the current multiplied
by two square waves a quarter cycle apart, hence the phase of its fundamental. Over ten cycles (the 200 ms of
IEC 61000-4-30) the phase is a straight line over time whose slope is the frequency, whatever the window's own length
was; harmonics move the line, not its slope.

When it is trusted. The fundamental must be a fair part of the current, the phase must lie on a line, and the slope must
be a frequency that mains or a generator has. Noise, a standby draw of a few steps and a start in the middle of the ten
cycles fail that. A trusted estimate counts once it is `APART` from the frequency in force; it is kept for a minute
without a new one, then the given frequency counts again.
"""

import math

LOWEST_HZ, HIGHEST_HZ = 44.5, 65.5
#: Ten cycles of four readings.
READINGS = 40
#: A window that is off by this much reads wrong by half of it at most, so a nearer estimate is not followed.
APART = 0.005
#: The fundamental's part of the mean square. The short pulses of a charger still have a third.
FUNDAMENTAL_LEAST = 0.15
#: RMS distance of the phases from their line, rad: noise alone gives 1 and more, a window a fifth too long 0.2.
CROOKED_AT_MOST = 0.35
KEPT_S = 60.0
#: Mean square of a sine over the square of the two differences: (pi / 8)^2 / 2.
_MS_OF_SQUARES = math.pi**2 / 128


class MainsTracker:
    """Follows the frequency of one current.

    Args:
        given_hz: nominal frequency, hertz; in force until an estimate is trusted.
    """

    def __init__(self, given_hz: float) -> None:
        self._given_hz = given_hz
        self.hz = given_hz
        self._times_s: list[float] = []
        self._phases: list[float] = []
        self._trusted_s = -math.inf

    def forget(self) -> None:
        """Drop the phases at hand, not the frequency in force: samples are missing."""
        self._times_s.clear()
        self._phases.clear()

    def take(self, t_s: float, first: float, second: float, third: float, fourth: float, cycle_ms: float) -> bool:
        """Take one cycle's quarter means and its mean square; return True when the frequency in force has changed."""
        cosine = first + second - third - fourth
        sine = first - second - third + fourth
        if (cosine * cosine + sine * sine) * _MS_OF_SQUARES < FUNDAMENTAL_LEAST * cycle_ms:
            self.forget()
            return False
        phases = self._phases
        phase = math.atan2(sine, cosine)
        if phases:
            phase += 2 * math.pi * round((phases[-1] - phase) / (2 * math.pi) + 0.25)
        phases.append(phase)
        self._times_s.append(t_s)
        if len(phases) < READINGS:
            return False
        found_hz = self._line_hz()
        self.forget()
        if found_hz is None:
            return False
        self._trusted_s = t_s
        if abs(found_hz / self.hz - 1) <= APART:
            return False
        self.hz = found_hz
        return True

    def rest(self, t_s: float) -> bool:
        """No current to speak of; return True when the frequency in force has changed: the estimate is too old."""
        if self._phases:
            self.forget()
        if self.hz == self._given_hz or t_s - self._trusted_s < KEPT_S:
            return False
        self.hz = self._given_hz
        return True

    def _line_hz(self) -> float | None:
        """The slope of the best line through the phases, or None where they lie on none."""
        times_s, phases = self._times_s, self._phases
        mid_s, mid = sum(times_s) / READINGS, sum(phases) / READINGS
        spread = sum([(t_s - mid_s) ** 2 for t_s in times_s])
        if not spread > 0:
            return None
        slope = sum([(t_s - mid_s) * (p - mid) for t_s, p in zip(times_s, phases, strict=True)]) / spread
        off = sum([(p - mid - slope * (t_s - mid_s)) ** 2 for t_s, p in zip(times_s, phases, strict=True)])
        hz = slope / (2 * math.pi)
        if math.sqrt(off / READINGS) > CROOKED_AT_MOST or not LOWEST_HZ <= hz <= HIGHEST_HZ:
            return None
        return hz
