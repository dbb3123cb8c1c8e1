"""True RMS over one whole mains cycle, renewed every quarter cycle, from samples in blocks of any length.

How it works. Samples are cut into quarters of a mains cycle, by time (rate over mains frequency), not by count, so the
sampling need not be locked to the mains. The frequency is the one given until the current itself shows another
(`mains`). Each quarter is summed once; a cycle is the last four quarters, a half cycle the last two. The mean of the
cycle is removed, so a bias, or a drift of it, is no current. Leftover samples wait for the next block, so how the
samples were split into blocks changes nothing.

Error without lock. The window is a whole number of samples, the cycle is not, and where in the cycle they fall changes
from window to window; at 16 samples or more it is under 3 % of RMS for one cycle and averages out over several
(README, "Error when unlocked").

Between blocks, a hole of a quarter cycle or more empties the window: no reading mixes samples from both sides of it.
Smaller steps of the start time are the jitter of a scan and only move the clock of the readings.
"""

import math
from collections.abc import Sequence
from enum import Enum
from typing import NamedTuple

from gatekeeper.sensing.codes import FrontEnd
from gatekeeper.sensing.mains import MainsTracker
from gatekeeper.sensing.seen import Block

# Quarters: the finest step at which an eight-samples-a-cycle scan still has two samples to sum.
QUARTERS = 4
MIN_SAMPLES_PER_CYCLE = 8
# A current above this is no current, whatever the clamp: the readings are garbled. Our own assumption.
ABSURD_MS_A2 = 1e12
# The frequency is looked for in currents above this: amperes, or steps of the converter where codes are fed.
CLEAR_A, CLEAR_STEPS = 0.1, 4.0


class Quality(Enum):
    """How far a reading can be believed."""

    FINE = "fine"
    AFTER_GAP = "after_gap"
    CLIPPED = "clipped"
    GARBLED = "garbled"


class Reading(NamedTuple):
    """One look at the last whole cycle. All figures in amperes or amperes squared; zero is the converter's rest level.

    Fields: `t_s` end of the window; `cycle_ms` mean square of the cycle about its own mean; `mean_a` that mean;
    `half_ms`, `half_mean_a` mean square (about zero) and mean of the last half cycle; `n` samples in the cycle;
    `low_n`, `high_n` how many stood at the lower and the upper rail; `is_fresh` first reading after a hole or at all;
    `quarters` the samples themselves, as fed; `a_per_unit` amperes per unit of those.
    """

    t_s: float
    cycle_ms: float
    mean_a: float
    half_ms: float
    half_mean_a: float
    n: int
    low_n: int
    high_n: int
    is_fresh: bool
    quarters: tuple[Sequence[float], ...]
    a_per_unit: float

    @property
    def rms_a(self) -> float:
        """RMS of the cycle, amperes, noise still in it."""
        return math.sqrt(max(self.cycle_ms, 0.0))

    @property
    def quality(self) -> Quality:
        """The worst that can be said of this reading."""
        if self.is_garbled:
            return Quality.GARBLED
        if self.low_n or self.high_n:
            return Quality.CLIPPED
        return Quality.AFTER_GAP if self.is_fresh else Quality.FINE

    @property
    def is_garbled(self) -> bool:
        """True when the samples were not numbers, or absurd."""
        return not self.cycle_ms < ABSURD_MS_A2

    @property
    def shape(self) -> float:
        """Mean of the magnitude over RMS: sine 0.90, triangle 0.87, square 1; the short pulses of a charger below 0.6.

        Unlike a crest factor it does not hang on whether a sample met the very top of a pulse.
        """
        samples = [x for quarter in self.quarters for x in quarter]
        return _shape_about(samples, sum(samples) / len(samples))

    @property
    def late_shape(self) -> float:
        """The same of the last three quarters about their median: what they say where a surge may be in the first.

        Between short pulses the current rests, so the median is the level even while that creeps back after a surge.
        """
        samples = [x for quarter in self.quarters[1:] for x in quarter]
        return _shape_about(samples, sorted(samples)[len(samples) // 2])


def _shape_about(samples: Sequence[float], level: float) -> float:
    off = [abs(x - level) for x in samples]
    rms = math.sqrt(sum([x * x for x in off]) / len(off))
    return sum(off) / len(off) / rms if rms > 0 else 1.0


def net_rms_a(reading_ms: float, noise_ms: float) -> float:
    """Return RMS amperes with the noise floor subtracted in squares, never below zero."""
    return math.sqrt(max(reading_ms - noise_ms, 0.0))


class CycleMeter:
    """Turns the samples of one channel into readings.

    Args:
        mains_hz: nominal mains frequency, 40 to 70 Hz; another of 45 to 65 Hz is found from the current and followed.
        front: the clamp and converter whose codes will be fed, or None when amperes will be.

    Raises:
        ValueError: the mains frequency is outside its range.
    """

    def __init__(self, mains_hz: float, front: FrontEnd | None = None) -> None:
        if not 40 <= mains_hz <= 70:
            raise ValueError(f"The mains frequency is {mains_hz} Hz; 40 to 70 Hz are allowed.")
        self._nominal_hz = mains_hz
        self._mains = MainsTracker(mains_hz)
        self._clear_ms = (CLEAR_STEPS * front.a_per_code if front else CLEAR_A) ** 2
        self.a_per_unit = front.a_per_code if front else 1.0
        # Half a step is taken off because a converter rounds down.
        self._zero = front.rest_code - 0.5 if front else 0.0
        self._low: float = 0 if front else -math.inf
        self._high: float = front.top_code if front else math.inf
        self._zeros: dict[int, list[float]] = {}
        self._rate_hz = 0.0
        self._per_quarter = 0.0
        self._anchor_s = 0.0
        self._count = 0
        self._pending: list[float] = []
        self._carry = 0.0
        self._need = 0
        self._ring: list[tuple[int, float, float, int, int, Sequence[float]]] = []
        self._is_fresh = True
        self._end_s: float | None = None

    @property
    def end_s(self) -> float | None:
        """The end of the last sample fed, seconds; None before the first."""
        return self._end_s

    @property
    def mains_hz(self) -> float:
        """The frequency that the window follows now, hertz."""
        return self._mains.hz

    @property
    def quarter_s(self) -> float:
        """A quarter of a nominal cycle, seconds."""
        return 1 / (QUARTERS * self._nominal_hz)

    def feed(self, block: Block) -> list[Reading]:
        """Take a block; return one reading per quarter cycle completed by it, none while the first cycle fills.

        Raises:
            ValueError: the rate is too low for the mains frequency (under 8 samples a cycle).
        """
        if not block.values:
            return []
        self._place(block)
        pending = self._pending
        pending.extend(block.values)
        readings: list[Reading] = []
        at = 0
        while len(pending) - at >= self._need:
            quarter = pending[at : at + self._need]
            at += self._need
            self._count += self._need
            reading = self._close(quarter)
            self._next_need()
            if reading is not None:
                readings.append(reading)
        del pending[:at]
        self._end_s = self._anchor_s + (self._count + len(pending)) / self._rate_hz
        return readings

    def _place(self, block: Block) -> None:
        """Set the clock by the block's start; empty the window where samples are missing."""
        if block.rate_hz != self._rate_hz:
            least_hz = MIN_SAMPLES_PER_CYCLE * self._nominal_hz
            if not block.rate_hz >= least_hz or math.isinf(block.rate_hz):
                raise ValueError(
                    f"{block.rate_hz:g} samples a second are too few for {self._nominal_hz:g} Hz mains; "
                    f"at least {least_hz:g} are needed."
                )
            if self._end_s is not None:
                self._anchor_s = self._end_s - len(self._pending) / block.rate_hz
                self._count = 0
            self._rate_hz = block.rate_hz
            self._set_window()
            if self._need == 0:
                self._next_need()
        if self._end_s is None:
            self._anchor_s = block.start_s
            return
        step_s = block.start_s - self._end_s
        if abs(step_s) >= self.quarter_s:
            self._pending.clear()
            self._ring.clear()
            self._mains.forget()
            self._is_fresh = True
            # The clock of the readings never goes back: a block from the past is taken as if it came now.
            self._anchor_s, self._count = max(block.start_s, self._end_s), 0
        elif abs(step_s) * self._rate_hz > 1:
            self._anchor_s += step_s

    def _set_window(self) -> None:
        """A quarter in samples; a frequency too high for this rate is not followed."""
        most_hz = self._rate_hz / MIN_SAMPLES_PER_CYCLE
        self._per_quarter = self._rate_hz / (QUARTERS * min(self._mains.hz, most_hz))

    def _next_need(self) -> None:
        self._carry += self._per_quarter
        self._need = int(self._carry)
        self._carry -= self._need

    def _close(self, quarter: list[float]) -> Reading | None:
        n = len(quarter)
        zeros = self._zeros.get(n)
        if zeros is None:
            zeros = self._zeros[n] = [self._zero] * n
        scale = self.a_per_unit
        root = math.dist(quarter, zeros) * scale
        low_n = high_n = 0
        low, high = self._low, self._high
        if min(quarter) <= low or max(quarter) >= high:
            low_n = sum([x <= low for x in quarter])
            high_n = sum([x >= high for x in quarter])
            if min(quarter) < low or max(quarter) > high:
                root = math.nan
        ring = self._ring
        ring.append((n, (sum(quarter) - n * self._zero) * scale, root * root, low_n, high_n, quarter))
        if len(ring) < QUARTERS:
            return None
        if len(ring) > QUARTERS:
            del ring[0]
        (n1, s1, q1, l1, h1, x1), (n2, s2, q2, l2, h2, x2), (n3, s3, q3, l3, h3, x3), (n4, s4, q4, l4, h4, x4) = ring
        half_n = n3 + n4
        total = n1 + n2 + half_n
        half_sum = s3 + s4
        half_square = q3 + q4
        mean = (s1 + s2 + half_sum) / total
        is_fresh, self._is_fresh = self._is_fresh, False
        t_s = self._anchor_s + self._count / self._rate_hz
        cycle_ms = (q1 + q2 + half_square) / total - mean * mean
        mains = self._mains
        if self._clear_ms < cycle_ms < ABSURD_MS_A2:
            if mains.take(t_s, s1 / n1, s2 / n2, s3 / n3, s4 / n4, cycle_ms):
                self._set_window()
        elif mains.rest(t_s):
            self._set_window()
        return Reading(
            t_s,
            cycle_ms,
            mean,
            half_square / half_n,
            half_sum / half_n,
            total,
            l1 + l2 + l3 + l4,
            h1 + h2 + h3 + h4,
            is_fresh,
            (x1, x2, x3, x4),
            scale,
        )
