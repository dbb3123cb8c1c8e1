"""Can this sensor be believed? From the readings of one meter to a fault of the sensor, never to a current.

Told apart, besides samples that do not come (`current`):

- **garbled**: readings that are no numbers or no codes;
- **stuck**: nothing moves at all far from the middle, or a line that was noisy at rest for a minute stands still for
  `FROZEN_S`;
- **lost bias**: the resting level is beyond half way from the middle to a rail, or one rail is held for much of a
  cycle;
- **open**: the level wanders, second after second, while no current flows, as an input does that hangs on nothing (a
  clamp passes no direct current, so behind one the level returns within a second); or both rails in turn hold nearly
  all samples for `clip_s`, which takes a current of five times the range, as a clamp does whose burden is off;
- **clipped**: rails touched without a break for `clip_s`. An inrush may clip: that still is a running tool.

A line that stands still in mid-range and always has is taken as a quiet converter with nothing on the wire. A clamp
pulled from a socket whose burden or bias stays behind looks the same, and cannot be told from silence by looking.
"""

import math

from gatekeeper.sensing.codes import FrontEnd
from gatekeeper.sensing.rms import Reading
from gatekeeper.sensing.seen import Reason

# Bias: allowed between a quarter and three quarters of the converter's range; one rail for two fifths of a cycle.
BIAS_OFF_AT_MOST = 0.5
ONE_RAIL_AT_MOST = 0.4
BIAS_LOST_S = 0.1
# Noise of half a step or more moves a third of all samples, so a second without any movement is no chance; what else
# could end it is a neighbour's pick-up, so it must have been there for a minute. Our own assumptions.
NOISY_STEPS = 0.5
# One sample of a cycle that moves by one step makes a tenth of one at 100 samples a cycle; less is a rounding error.
STILL_STEPS = 0.01
NOISY_FOR_S = 60.0
FROZEN_S = 2.0
# All samples but one of sixteen at the rails: a sine does that when its peak is more than five times the rail.
OPEN_AT_RAILS = 0.93
# Warm-up and supply move a bias by a hundredth of half the range in minutes; this is three times that in a second, in
# four seconds more than it stood still in. Our own assumptions.
WANDERS_OF_HALF_RANGE = 1 / 32
WANDERS_TIMES = 4


class Health:
    """The faults of one channel.

    Args:
        quarter_s: the step from reading to reading, seconds.
        clip_s: readings at the rails for longer than this are a fault.
        front: the front end whose codes the meter reads, or None when it reads amperes (then rails are unknown).
    """

    def __init__(self, quarter_s: float, clip_s: float, front: FrontEnd | None = None) -> None:
        self._clip_s = clip_s
        self._noisy_least_n = NOISY_FOR_S / quarter_s
        self._bias_off_ms = self._frozen_ms = self._wanders_a = math.inf
        self._still_ms = 0.0
        if front:
            half_range_a = 2 ** (front.bits - 1) * front.a_per_code
            self._bias_off_ms = (BIAS_OFF_AT_MOST * half_range_a) ** 2
            self._still_ms = (STILL_STEPS * front.a_per_code) ** 2
            self._frozen_ms = (NOISY_STEPS * front.a_per_code) ** 2
            self._wanders_a = WANDERS_OF_HALF_RANGE * half_range_a
        self._clip_since_s: float | None = None
        self._off_since_s: float | None = None
        self._still_since_s: float | None = None
        self._level_a = 0.0
        self._level_s: float | None = None
        self._wandered = 0
        self._is_open = False
        self._noisy_n = 0
        self._is_stuck = False

    def forget(self) -> None:
        """The sensor is lost: what was being timed begins anew, except the wandering, which ends when it is seen to."""
        self._clip_since_s = self._off_since_s = self._still_since_s = None

    def note_rest(self, rest_ms: float) -> None:
        """A reading at rest went into the level at rest, which now is this mean square."""
        if rest_ms >= self._frozen_ms:
            self._noisy_n += 1

    def judge(self, r: Reading, *, is_stale: bool, is_quiet: bool) -> Reason | bool:
        """Return a reason when the sensor cannot be believed, True while that is being decided, else False.

        Args:
            r: the newest reading.
            is_stale: the sensor is not believed now; what is wrong again is so at once.
            is_quiet: no current at the trip flowed up to the reading before.
        """
        if r.is_garbled:
            return Reason.GARBLED
        stands_still = self._stands_still(r)
        if stands_still is not False:
            return stands_still
        rails = r.low_n + r.high_n
        if not rails:
            self._clip_since_s = None
        one_rail = rails > ONE_RAIL_AT_MOST * r.n and not (r.low_n and r.high_n)
        t_s = r.t_s
        if r.mean_a * r.mean_a > self._bias_off_ms or one_rail:
            if self._off_since_s is None:
                self._off_since_s = t_s
            if t_s - self._off_since_s >= BIAS_LOST_S:
                return Reason.STUCK if r.cycle_ms <= self._still_ms else Reason.LOST_BIAS
            return True
        self._off_since_s = None
        if rails:
            if self._clip_since_s is None:
                self._clip_since_s = t_s
            if t_s - self._clip_since_s >= self._clip_s or is_stale:
                return Reason.OPEN if rails > OPEN_AT_RAILS * r.n else Reason.CLIPPED
        return Reason.OPEN if self._wanders(r, is_quiet) else False

    def _stands_still(self, r: Reading) -> Reason | bool:
        if r.cycle_ms > self._still_ms:
            self._still_since_s = None
            self._is_stuck = False
            return False
        if self._is_stuck:
            return Reason.STUCK
        if self._noisy_n < self._noisy_least_n:
            return False
        if self._still_since_s is None:
            self._still_since_s = r.t_s
        if r.t_s - self._still_since_s >= FROZEN_S:
            self._is_stuck, self._noisy_n = True, 0
            return Reason.STUCK
        return True

    def _wanders(self, r: Reading, is_quiet: bool) -> bool:
        """Look at the level once a second: True from four moves more than rests on, until the rests have made up."""
        if not is_quiet:
            self._level_s, self._wandered, self._is_open = None, 0, False
        elif self._level_s is None:
            self._level_s, self._level_a = r.t_s, r.mean_a
        elif r.t_s - self._level_s >= 1.0:
            moved = abs(r.mean_a - self._level_a) >= self._wanders_a
            self._wandered = min(self._wandered + 1, WANDERS_TIMES) if moved else max(self._wandered - 1, 0)
            self._level_s, self._level_a = r.t_s, r.mean_a
            self._is_open = self._wandered >= WANDERS_TIMES or (self._is_open and self._wandered > 0)
        return self._is_open
