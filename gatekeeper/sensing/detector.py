"""From readings to running, stopped or stale: when is a current a tool?

Theory of operation. Three kinds of evidence, each renewed every quarter of a mains cycle:

- **Enough**: the net RMS of the last cycle (noise subtracted in squares) is at or above the trip. The trip is a
  current in amperes that the tool passes and nothing else on the wire does; it is raised to three times the level
  learned at rest when that is higher, since white noise stays under 2.4 times its RMS in any cycle of eight samples.
- **Lasting**: a charging spike is one short event, a running tool draws in every cycle. A spike no longer than half a
  cycle touches at most three quarters, so it lifts at most four half-cycle windows and six whole-cycle windows in a
  row. Five half-cycle windows or seven whole-cycle windows in a row are therefore no spike. The first is the fast way
  (1 to 1.75 cycles); the second serves currents that flow in one half of the wave only. The fast way also asks that
  the last half cycles swing about their own mean: a clamp answers a one-sided surge with a level that creeps back for
  a tenth of a second, and that is no current. A sine has 0.59 of its mean square or more in one of two half cycles a
  quarter apart, wherever they begin. Half cycles are measured
  from the level learned at rest, and half cycles that are full while the whole cycle, whose own mean is removed, is
  empty are a step of that level: it is learned anew.
- **Like a tool**: a small current in short pulses feeds electronics (a lamp, a charger, a resting drive), not a
  machine. Where nothing is known of the tool, such a current must reach `spiky_trip_a`, for six cycles; on top of it, a
  current of another shape must last seven windows, since the standing one lends it no evidence. The fast way asks for
  the shape of the last three quarters, where no surge of the switching on is left. Where the trip comes from the
  tool's own figures, the shape is not asked.

A stop is the net RMS below 0.6 of the trip until `stop_hold_s` is over; only a current that is back and lasting (as
above) begins the wait anew, so a lone spike does not stretch it, and a few lost cycles are no stop. What stood on the
wire for a second before the start and was no tool then (a lamp, a drive that idles) is none when it is left over after
it: a current at most a quarter above that counts as gone too.

A sensor that cannot be believed (`health`) is `stale`, never a current, until `settle_s` of good readings are in; then
it is reported as found, which is no start.
"""

import math
from dataclasses import dataclass

from gatekeeper.sensing.codes import FrontEnd
from gatekeeper.sensing.health import Health
from gatekeeper.sensing.rms import QUARTERS, Reading, net_rms_a
from gatekeeper.sensing.seen import Reason, Seen, State

# The smallest current taken as a machine when nothing is known of it: above a standby draw (43 mA measured) and line
# filters, below the no-load current of the smallest sanders. Our own assumption.
UNKNOWN_TRIP_A = 0.2
# A machine known by its plate: its no-load current is a quarter or more of the plate, a drive's idle may be a tenth.
TRIP_OF_RATED = 0.08
# Electronics and lamps up to about 60 W at 120 V draw less than this in their short pulses. Our own assumption.
UNKNOWN_SPIKY_TRIP_A = 1.0
SPIKY_SHAPE = 0.6
SPIKY_SHAPE_WHILE_RUNNING = 0.5
SPIKY_WINDOWS = 6 * QUARTERS
HALF_WINDOWS = 5
SWING_OF_TRIP_MS = 0.5
CYCLE_WINDOWS = 7
RELEASE_OF_TRIP = 0.6
STANDING_S = 1.0
STANDING_LEEWAY = 1.25
TRIP_OVER_REST = 3.0
REST_AT_MOST_OF_TRIP = 0.5
REST_LEARNED_S = 5.0
BIAS_LEARNED_S = 0.5


@dataclass(frozen=True, slots=True)
class DetectorSettings:
    """What the detector needs to know.

    Args:
        trip_a: a net RMS current at or above this is the tool running, amperes, above 0.
        spiky_trip_a: the same for a current in short pulses; equal to `trip_a` where the tool is known.
        stop_hold_s: how long the current must be gone before the tool counts as stopped, 0.05 to 60 s.
        settle_s: good readings asked for after a sensor fault, 0.05 to 10 s.
        missing_s: a hole in the samples longer than this is a sensor fault, 0.05 to 60 s.
        clip_s: readings at the rails for longer than this are a sensor fault, 0.1 to 60 s; longer than any inrush.

    Raises:
        ValueError: a value is outside its range.
    """

    trip_a: float = UNKNOWN_TRIP_A
    spiky_trip_a: float = UNKNOWN_SPIKY_TRIP_A
    stop_hold_s: float = 0.5
    settle_s: float = 0.2
    missing_s: float = 0.5
    clip_s: float = 3.0

    def __post_init__(self) -> None:
        if not 0 < self.trip_a < math.inf:
            raise ValueError(f"The trip current is {self.trip_a} A; it must be more than 0 A.")
        if not self.trip_a <= self.spiky_trip_a < math.inf:
            raise ValueError(
                f"The trip current for short pulses is {self.spiky_trip_a} A; it must not be less than {self.trip_a} A."
            )
        for name, value, low, high in (
            ("The hold before a stop", self.stop_hold_s, 0.05, 60),
            ("The settling time", self.settle_s, 0.05, 10),
            ("The longest hole in the samples", self.missing_s, 0.05, 60),
            ("The longest time at the rails", self.clip_s, 0.1, 60),
        ):
            if not low <= value <= high:
                raise ValueError(f"{name} is {value} s; {low:g} to {high} s are allowed.")

    @classmethod
    def for_tool(cls, rated_a: float | None = None, trip_a: float | None = None) -> "DetectorSettings":
        """Derive the settings: from a trip (calibrated) if given, else from the plate current, else the defaults.

        Raises:
            ValueError: the plate current or the trip is not above 0 A.
        """
        if trip_a is not None:
            return cls(trip_a=trip_a, spiky_trip_a=trip_a)
        if rated_a is None:
            return cls()
        if not 0 < rated_a < math.inf:
            raise ValueError(f"The plate current is {rated_a} A; it must be more than 0 A.")
        trip_a = max(UNKNOWN_TRIP_A, TRIP_OF_RATED * rated_a)
        return cls(trip_a=trip_a, spiky_trip_a=trip_a)


class Detector:
    """Decides from the readings of one meter. Feed every reading in order.

    Args:
        settings: see there.
        quarter_s: the step from reading to reading, a quarter of a mains cycle, seconds.
        front: the front end whose codes the meter reads, or None when it reads amperes (then rails are unknown).
    """

    def __init__(self, settings: DetectorSettings, quarter_s: float, front: FrontEnd | None = None) -> None:
        self._settings = settings
        self._quarter_s = quarter_s
        self._rest_most_n = REST_LEARNED_S / quarter_s
        self._bias_most_n = BIAS_LEARNED_S / quarter_s
        self._health = Health(quarter_s, settings.clip_s, front)
        self.state: State | None = None
        self.net_a: float | None = None
        self._trip_ms = settings.trip_a**2
        self._rest_cap_ms = (REST_AT_MOST_OF_TRIP * settings.trip_a) ** 2
        self._rest_ms = 0.0
        self._rest_n = 0
        self._bias_a = 0.0
        self._half_run = self._cycle_run = self._spiky_run = self._back_run = 0
        self._swing_ms = self._swing_before_ms = 0.0
        self._low_since_s: float | None = None
        self._good_since_s: float | None = None
        self._like_run = 0
        self._is_spiky = False
        self._standing_most_n = STANDING_S / quarter_s
        self._standing_n = 0
        self._standing_ms = 0.0
        self._least_ms = math.inf

    @property
    def rest_a(self) -> float:
        """The level learned at rest, RMS amperes: noise and standby draw."""
        return math.sqrt(self._rest_ms)

    @property
    def trip_a(self) -> float:
        """The trip in force, amperes: the one set, or three times the level at rest."""
        return math.sqrt(max(self._trip_ms, TRIP_OVER_REST**2 * self._rest_ms))

    def lose(self, t_s: float, reason: Reason) -> list[Seen]:
        """Take the sensor as lost from `t_s` on. Returns the change, or nothing if it was lost already."""
        self._forget_evidence()
        self._good_since_s = None
        self.net_a = None
        if self.state is State.STALE:
            return []
        self.state = State.STALE
        return [Seen(t_s, State.STALE, reason, None, t_s)]

    def step(self, r: Reading) -> list[Seen]:
        """Take one reading; return the change it proves, if any."""
        t_s = r.t_s
        if r.is_fresh:
            # What lasted is counted within unbroken samples; what is timed goes on over a short hole.
            self._half_run = self._cycle_run = self._spiky_run = self._back_run = 0
        suspect = self._health.judge(r, is_stale=self.state is State.STALE, is_quiet=not self._cycle_run)
        if isinstance(suspect, Reason):
            return self.lose(t_s, suspect)
        if self._rest_n == 0:
            self._bias_a = r.mean_a
        self._weigh(r)
        if suspect:
            self._good_since_s = None
            self.net_a = self.net_a if self.state is State.RUNNING else None
            return []
        if self._good_since_s is None:
            self._good_since_s = t_s
        if self.state is State.STOPPED:
            return self._step_stopped(r)
        if self.state is State.RUNNING:
            return self._step_running(r)
        return self._step_unknown(r)

    # Evidence

    def _forget_evidence(self) -> None:
        self._half_run = self._cycle_run = self._spiky_run = self._back_run = 0
        self._low_since_s = None
        self._health.forget()

    def _weigh(self, r: Reading) -> None:
        """Count how many windows in a row are at or above the trip."""
        net_ms = r.cycle_ms - self._rest_ms
        self.net_a = net_a = math.sqrt(net_ms) if net_ms > 0 else 0.0
        trip_ms = max(self._trip_ms, TRIP_OVER_REST * TRIP_OVER_REST * self._rest_ms)
        bias = self._bias_a
        half_ms = r.half_ms - 2 * bias * r.half_mean_a + bias * bias - self._rest_ms
        self._half_run = self._half_run + 1 if half_ms >= trip_ms else 0
        self._swing_before_ms, self._swing_ms = self._swing_ms, r.half_ms - r.half_mean_a * r.half_mean_a
        if net_ms >= trip_ms:
            self._cycle_run += 1
            self._spiky_run = self._spiky_run + 1 if net_a >= self._settings.spiky_trip_a else 0
        else:
            self._cycle_run = self._spiky_run = self._like_run = 0
            self._is_spiky = False

    def _is_start(self, r: Reading) -> bool:
        if not self._cycle_run or (self._cycle_run < CYCLE_WINDOWS and not self._is_fast_start()):
            return False
        if self._settings.spiky_trip_a <= self._settings.trip_a or self._spiky_run >= SPIKY_WINDOWS:
            return True
        if self._cycle_run < CYCLE_WINDOWS and r.late_shape < SPIKY_SHAPE:
            return False
        if r.shape < SPIKY_SHAPE:
            self._is_spiky, self._like_run = True, 0
            return False
        self._like_run += 1
        return not self._is_spiky or self._like_run >= CYCLE_WINDOWS

    def _is_fast_start(self) -> bool:
        if self._half_run < HALF_WINDOWS:
            return False
        return max(self._swing_ms, self._swing_before_ms) - self._rest_ms >= SWING_OF_TRIP_MS * self._trip_ms

    def _learn_rest(self, r: Reading) -> None:
        """Follow the level at rest and the bias: a plain mean at first, then the last few seconds."""
        self._rest_n += 1
        n = self._rest_n
        self._rest_ms += (min(max(r.cycle_ms, 0.0), self._rest_cap_ms) - self._rest_ms) / min(n, self._rest_most_n)
        if self._half_run >= HALF_WINDOWS:
            # Half cycles full and the whole one empty: the resting level has stepped.
            self._bias_a, self._half_run = r.mean_a, 0
        self._bias_a += (r.mean_a - self._bias_a) / min(n, self._bias_most_n)
        self._health.note_rest(self._rest_ms)

    def _watch_standing(self) -> None:
        """The least current of each whole second at rest: no spike and no beginning of a start is in it."""
        net_a = self.net_a or 0.0
        self._least_ms = min(self._least_ms, net_a * net_a)
        self._standing_n += 1
        if self._standing_n >= self._standing_most_n:
            self._standing_ms, self._least_ms, self._standing_n = self._least_ms, math.inf, 0

    # States

    def _step_unknown(self, r: Reading) -> list[Seen]:
        """First look, or after a fault: report the tool as it is found, once that can be said."""
        t_s = r.t_s
        since_s = self._good_since_s if self._good_since_s is not None else t_s
        is_first = self.state is None
        if not is_first and t_s - since_s < self._settings.settle_s:
            self.net_a = None
            return []
        reason = Reason.FIRST_LOOK if is_first else Reason.RETURNED
        if self._is_start(r):
            return [self._enter(State.RUNNING, reason, t_s, t_s)]
        # A current that has not lasted yet is neither: called stopped now, it would be a start in a moment.
        if self._cycle_run and (t_s - since_s < self._settings.settle_s or self._cycle_run < CYCLE_WINDOWS):
            return []
        self._learn_rest(r)
        self.net_a = net_rms_a(r.cycle_ms, self._rest_ms)
        return [self._enter(State.STOPPED, reason, t_s, t_s)]

    def _step_stopped(self, r: Reading) -> list[Seen]:
        self._watch_standing()
        if not self._cycle_run:
            self._learn_rest(r)
            return []
        if not self._is_start(r):
            return []
        lasted_s = (max(self._half_run, self._cycle_run) - 1) * self._quarter_s
        return [self._enter(State.RUNNING, Reason.STARTED, r.t_s, r.t_s - lasted_s)]

    def _step_running(self, r: Reading) -> list[Seen]:
        t_s = r.t_s
        if not self._is_low(r):
            self._back_run += 1
            if self._back_run >= CYCLE_WINDOWS:
                self._low_since_s = None
            return []
        self._back_run = 0
        if self._low_since_s is None:
            self._low_since_s = t_s
        if t_s - self._low_since_s < self._settings.stop_hold_s:
            return []
        return [self._enter(State.STOPPED, Reason.ENDED, t_s, self._low_since_s)]

    def _is_low(self, r: Reading) -> bool:
        net_a = self.net_a or 0.0
        if net_a < RELEASE_OF_TRIP * self.trip_a:
            return True
        spiky_a = self._settings.spiky_trip_a
        if net_a < spiky_a and net_a * net_a <= STANDING_LEEWAY * STANDING_LEEWAY * self._standing_ms:
            return True
        return (
            spiky_a > self._settings.trip_a
            and net_a < RELEASE_OF_TRIP * spiky_a
            and r.shape < SPIKY_SHAPE_WHILE_RUNNING
        )

    def _enter(self, state: State, reason: Reason, t_s: float, since_s: float) -> Seen:
        self.state = state
        self._low_since_s = None
        self._back_run = 0
        self._least_ms, self._standing_n = math.inf, 0
        return Seen(t_s, state, reason, self.net_a, since_s)
