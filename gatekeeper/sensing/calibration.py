"""Calibrating one machine: which clamp sees it, what it draws off, free and cutting, and the trip that follows.

Theory of operation. Every clamp of the shop is listened to at once. First at rest, so that each has its own level; then
the machine is switched on, and the clamp whose current rises is its clamp, whatever the file says. Running free until
it is steady, cutting if the person likes, and off again, since electronics may draw more after a run than before.

The trip lies at the geometric middle between what must not count and what must:

    lowest  = the greatest of 4 times the converter's noise, 2 times the level at rest, and 0.05 A
    highest = 0.6 times the least current running free

A stop is told under 0.6 of the trip, so at 2 times the level at rest that level is a stop with a fifth in hand. Where
the lowest is above the highest there is no honest trip, and the reason is said instead.

No clock and no converter in here: time comes with the samples, and `go_on` is the person's press.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from gatekeeper.sensing.codes import FrontEnd
from gatekeeper.sensing.health import Health
from gatekeeper.sensing.rms import CycleMeter, Reading
from gatekeeper.sensing.seen import Block, Reason

#: A converter's name and a channel on it.
Place = tuple[str, int]

REST_S = 3.0
#: How long a person may take for a switch.
PATIENCE_S = 90.0
#: Seven cycles of four windows above the threshold are no spike (see the detector), with four times as much in hand.
SEEN_WINDOWS = 28
COMPARE_S = 0.5
#: Another clamp that sees this share of the rise makes it doubtful whose wire it is. Our own assumption.
ALSO_SEEN = 0.3
RUN_UP_S = 2.0
STEADY_S = 1.0
STEADY_RATIO = 1.25
UNSTEADY_S = 20.0
COLLECT_S = 2.0
CUT_S = 30.0
CUT_MEAN_S = 0.5
#: Off: the current is under this share of the one running free, for this long.
OFF_SHARE = 0.7
OFF_S = 1.0
GONE_S = 1.0

NOISE_MARGIN = 4.0
REST_MARGIN = 2.0
IDLE_SHARE = 0.6
LEAST_TRIP_A = 0.05


class Step(Enum):
    """Where the walk is."""

    REST = "rest"
    ON = "on"
    FREE = "free"
    CUT = "cut"
    OFF = "off"
    DONE = "done"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class Proposal:
    """What was found, all currents RMS amperes.

    Args:
        place: the channel that saw the machine.
        is_swapped: whether the file says another.
        trip_a: the trip to write, rounded to two figures.
        lowest_a: the least trip that has its margins to the noise and to the level at rest.
        noise_a: the converter's noise.
        rest_a: the level while the machine is off, noise and standby together, before or after the run.
        idle_a: running free, without the level at rest.
        running_a: the highest half second while cutting, or running free where nothing was cut.
    """

    place: Place
    is_swapped: bool
    trip_a: float
    lowest_a: float
    noise_a: float
    rest_a: float
    idle_a: float
    running_a: float

    @property
    def standby_a(self) -> float:
        """What the machine's electronics draw while it is off; 0 where it is less than the noise."""
        standby_a = math.sqrt(max(self.rest_a**2 - self.noise_a**2, 0.0))
        return standby_a if standby_a > self.noise_a else 0.0

    @property
    def sentences(self) -> tuple[str, ...]:
        """What was measured and what margins the trip has."""
        standby = f"{self.standby_a:.2f} A" if self.standby_a else "nothing"
        over_rest = self.trip_a / max(self.rest_a, self.noise_a)
        return (
            f"Off it draws {standby}; the converter's noise is {self.noise_a:.3f} A.",
            f"Running free it draws {self.idle_a:.2f} A, at most {self.running_a:.2f} A was seen.",
            f"Trip: {self.trip_a:g} A. That is {over_rest:.1f} times what is there when it is off, "
            f"and running free is {self.idle_a / self.trip_a:.1f} times the trip.",
        )


class Calibration:
    """One walk.

    Args:
        name: the machine, for the sentences.
        wires: every channel that is listened to, with its clamp and converter.
        own: the machine's channel as the file says; one of `wires`.
        mains_hz: nominal mains frequency, 40 to 70 Hz.

    Raises:
        ValueError: the mains frequency is outside its range.
    """

    def __init__(self, name: str, wires: Mapping[Place, FrontEnd], own: Place, mains_hz: float) -> None:
        self.step = Step.REST
        self.refusal: str | None = None
        self.proposal: Proposal | None = None
        self.found: Place | None = None
        self.live_a: dict[Place, float] = {}
        self._name, self._own, self._fronts = name, own, dict(wires)
        self._title = name[:1].upper() + name[1:]
        self._meters = {place: CycleMeter(mains_hz, front) for place, front in wires.items()}
        self._quarter_s = self._meters[own].quarter_s
        self._health = {place: Health(self._quarter_s, 3.0, front) for place, front in wires.items()}
        self._faults: dict[Place, Reason] = {}
        self._began_s: float | None = None
        self._rest: dict[Place, tuple[float, int]] = {}
        self._rest_ms: dict[Place, float] = {}
        self._runs: dict[Place, int] = {}
        self._rises: dict[Place, float] = {}
        self._first_seen_s: float | None = None
        self._recent: list[tuple[float, float, bool]] = []
        self._steady_s: float | None = None
        self._low_since_s: float | None = None
        self._idle_ms = self._least_ms = self._most_ms = 0.0
        self._may_go_on = False
        self._left_out: set[Place] = set()

    @property
    def prompt(self) -> str:
        """What the person is asked to do, or what came of it."""
        match self.step:
            case Step.REST:
                return f"Leave {self._name} off, and switch nothing else on."
            case Step.ON:
                return f"Switch {self._name} on now."
            case Step.FREE:
                return f"{self._title} is seen. Let it run free for a few seconds."
            case Step.CUT:
                return "Cut with it for a few seconds, or go on without."
            case Step.OFF:
                return f"Switch {self._name} off."
            case Step.DONE:
                return "Done."
            case Step.REFUSED:
                return self.refusal or ""

    @property
    def shown(self) -> Place:
        """Whose current is worth showing: that of the clamp that was found; before that, of the one that sees most
        where that is more than noise, else of the machine's own."""
        if self.found is not None or self.step is Step.REST:
            return self.found or self._own
        seeing = [
            place
            for place, live_a in self.live_a.items()
            if place not in self._left_out and live_a * live_a > self._threshold_ms(place)
        ]
        return max(seeing, key=lambda place: self.live_a[place], default=self._own)

    def go_on(self) -> None:
        """The person has done what was asked, or leaves it out. Counts while cutting and while switching off."""
        if self.step in (Step.CUT, Step.OFF):
            self._may_go_on = True

    def leave_out(self, place: Place) -> None:
        """What this channel sees from now on is known to be something else, such as a collector switched on."""
        if place in self._left_out or place == self.found:
            return
        self._left_out.add(place)
        self._runs.pop(place, None)
        self._rises.pop(place, None)
        if all(run < SEEN_WINDOWS for run in self._runs.values()):
            self._first_seen_s = None
            self._rises.clear()

    def feed(self, place: Place, block: Block) -> None:
        """Take samples of one channel.

        Raises:
            ValueError: the block's rate is under 8 samples a mains cycle.
            KeyError: no such channel.
        """
        for reading in self._meters[place].feed(block):
            if self.step not in (Step.DONE, Step.REFUSED):
                self._take(place, reading)

    # ---------------------------------------------------------------- inside

    def _take(self, place: Place, r: Reading) -> None:
        rise_ms = r.cycle_ms - self._rest_ms.get(place, 0.0)
        self.live_a[place] = math.sqrt(max(rise_ms, 0.0)) if rise_ms < math.inf else 0.0
        is_quiet = not rise_ms > self._threshold_ms(place)
        fault = self._health[place].judge(r, is_stale=False, is_quiet=is_quiet)
        if self._began_s is None:
            self._began_s = r.t_s
        if isinstance(fault, Reason):
            self._take_fault(place, fault, r.t_s)
            return
        if fault:
            return
        self._faults.pop(place, None)
        if self.step is Step.REST:
            self._listen(place, r)
        elif self.step is Step.ON:
            self._look_for(place, r, rise_ms)
        elif place == self.found:
            self._follow(r, rise_ms)

    def _take_fault(self, place: Place, fault: Reason, t_s: float) -> None:
        """A clamp that cannot be believed is left out, unless it is the one or there is no other."""
        self._faults[place] = fault
        if place == self.found or (self.step is Step.REST and not self._rest and self._passed_s(t_s) >= REST_S):
            self._refuse(f"The clamp cannot be believed. {fault.sentence}")
        elif self.step is Step.ON and self._passed_s(t_s) >= PATIENCE_S:
            self._refuse(self._unseen())

    def _threshold_ms(self, place: Place) -> float:
        """A rise above this is more than noise and than the unrest of what stood there before."""
        told_a = NOISE_MARGIN * self._fronts[place].noise_a
        return max(told_a * told_a, self._rest_ms.get(place, 0.0) / 4)

    def _enter(self, step: Step, t_s: float) -> None:
        self.step, self._began_s, self._may_go_on = step, t_s, False
        self._recent.clear()
        self._steady_s = self._low_since_s = None

    def _refuse(self, said: str) -> None:
        self.step, self.refusal = Step.REFUSED, said

    def _passed_s(self, t_s: float) -> float:
        return t_s - (self._began_s if self._began_s is not None else t_s)

    def _listen(self, place: Place, r: Reading) -> None:
        total, n = self._rest.get(place, (0.0, 0))
        self._rest[place] = (total + r.cycle_ms, n + 1)
        if self._passed_s(r.t_s) < REST_S:
            return
        self._rest_ms = {key: total / n for key, (total, n) in self._rest.items()}
        self._enter(Step.ON, r.t_s)

    def _look_for(self, place: Place, r: Reading, rise_ms: float) -> None:
        if place in self._rest_ms and place not in self._left_out:
            self._runs[place] = self._runs.get(place, 0) + 1 if rise_ms > self._threshold_ms(place) else 0
            if self._first_seen_s is None and self._runs[place] >= SEEN_WINDOWS:
                self._first_seen_s = r.t_s
            if self._first_seen_s is not None:
                self._rises[place] = self._rises.get(place, 0.0) + max(rise_ms, 0.0)
        if self._first_seen_s is not None and r.t_s - self._first_seen_s >= COMPARE_S:
            self._choose(r.t_s)
        elif self._passed_s(r.t_s) >= PATIENCE_S:
            self._refuse(self._unseen())

    def _unseen(self) -> str:
        fault = self._faults.get(self._own)
        why = (
            f" {fault.sentence}" if fault is not None else " Look at its clamp: one conductor only, plug in its socket."
        )
        return f"No clamp saw {self._name} start within {PATIENCE_S:g} s.{why}"

    def _choose(self, t_s: float) -> None:
        in_order = sorted(self._rises, key=lambda place: self._rises[place], reverse=True)
        first = in_order[0]
        also = [place for place in in_order[1:] if self._rises[place] >= ALSO_SEEN**2 * self._rises[first]]
        if also:
            names = " and ".join(f"channel {channel} of {converter}" for converter, channel in [first, *also])
            self._refuse(
                f"More than one clamp saw it: {names}. Let nothing else start, and look whose wires they hold."
            )
            return
        self.found = first
        self._enter(Step.FREE, t_s)

    def _follow(self, r: Reading, rise_ms: float) -> None:
        if self.step in (Step.FREE, Step.CUT) and self._is_gone(r.t_s, rise_ms):
            if self.step is Step.FREE:
                self._refuse(f"{self._title} stopped before it was measured. Begin again, and let it run.")
            else:
                self._enter(Step.OFF, r.t_s)
            return
        self._recent.append((r.t_s, rise_ms, bool(r.low_n or r.high_n)))
        match self.step:
            case Step.FREE:
                self._measure_free(r.t_s)
            case Step.CUT:
                self._measure_cut(r.t_s)
            case _:
                self._measure_off(r.t_s, rise_ms)

    def _is_gone(self, t_s: float, rise_ms: float) -> bool:
        assert self.found is not None
        if rise_ms > self._threshold_ms(self.found):
            self._low_since_s = None
            return False
        self._low_since_s = t_s if self._low_since_s is None else self._low_since_s
        return t_s - self._low_since_s >= GONE_S

    def _last(self, seconds: float, t_s: float) -> list[float]:
        return [ms for at_s, ms, _ in self._recent if at_s > t_s - seconds]

    def _measure_free(self, t_s: float) -> None:
        passed_s = self._passed_s(t_s)
        if self._steady_s is None:
            if passed_s < RUN_UP_S:
                return
            last = self._last(STEADY_S, t_s)
            if max(last) > STEADY_RATIO**2 * max(min(last), 0.0) and passed_s < UNSTEADY_S:
                return
            self._steady_s = t_s
            self._recent.clear()
        elif t_s - self._steady_s >= COLLECT_S:
            values = sorted(ms for _, ms, _ in self._recent)
            if sum(clipped for _, _, clipped in self._recent) > len(values) / 10:
                self._refuse(f"Running free, {self._name} already is beyond its clamp's range: fit a smaller burden.")
                return
            self._idle_ms = values[len(values) // 2]
            self._least_ms = values[len(values) // 10]
            self._most_ms = self._idle_ms
            self._enter(Step.CUT, t_s)

    def _measure_cut(self, t_s: float) -> None:
        if self._passed_s(t_s) >= CUT_MEAN_S:
            last = self._last(CUT_MEAN_S, t_s)
            self._most_ms = max(self._most_ms, sum(last) / len(last))
            del self._recent[: -len(last)]
        if self._may_go_on or self._passed_s(t_s) >= CUT_S:
            self._enter(Step.OFF, t_s)

    def _measure_off(self, t_s: float, rise_ms: float) -> None:
        if self._steady_s is None:
            is_low = self._may_go_on or rise_ms < OFF_SHARE**2 * self._idle_ms
            self._low_since_s = None if not is_low else t_s if self._low_since_s is None else self._low_since_s
            if self._low_since_s is not None and t_s - self._low_since_s >= OFF_S:
                self._steady_s = t_s
                self._recent.clear()
            elif self._passed_s(t_s) >= PATIENCE_S:
                self._refuse(
                    f"Its current did not fall within {PATIENCE_S:g} s. If {self._name} is off, something else draws "
                    "on that wire: put the clamp on the machine's own."
                )
        elif t_s - self._steady_s >= COLLECT_S:
            values = [ms for _, ms, _ in self._recent]
            self._decide(sum(values) / len(values))

    def _decide(self, after_ms: float) -> None:
        assert self.found is not None
        before_ms = self._rest_ms[self.found]
        noise_a = self._fronts[self.found].noise_a
        rest_a = math.sqrt(max(before_ms, before_ms + after_ms, 0.0))
        least_a = math.sqrt(max(self._least_ms, 0.0))
        lowest_a = max(NOISE_MARGIN * noise_a, REST_MARGIN * rest_a, LEAST_TRIP_A)
        highest_a = IDLE_SHARE * least_a
        if lowest_a > highest_a:
            self._refuse(self._too_near(least_a, rest_a, noise_a, lowest_a / highest_a if highest_a else math.inf))
            return
        self.proposal = Proposal(
            self.found,
            self.found != self._own,
            rounded(math.sqrt(lowest_a * highest_a), lowest_a, highest_a),
            lowest_a,
            noise_a,
            rest_a,
            math.sqrt(max(self._idle_ms, 0.0)),
            math.sqrt(max(self._most_ms, 0.0)),
        )
        self.step = Step.DONE

    def _too_near(self, least_a: float, rest_a: float, noise_a: float, short: float) -> str:
        if REST_MARGIN * rest_a > max(NOISE_MARGIN * noise_a, LEAST_TRIP_A):
            return (
                f"It draws {rest_a:.2f} A while it is off and {least_a:.2f} A running free: too near to tell. "
                "Put the clamp behind what draws when it is off, or use another kind of sensor."
            )
        loops = math.ceil(short) if short < 10 else 10
        return (
            f"Running free it draws {least_a:.2f} A, and this clamp cannot tell "
            f"{max(NOISE_MARGIN * noise_a, LEAST_TRIP_A):.2f} A from nothing: lead the wire through it {loops} times, "
            "or use a larger burden."
        )


def rounded(value: float, lowest: float, highest: float) -> float:
    """Two figures where that stays between the limits, else three; never outside of them. All above zero."""
    for figures in (2, 3):
        short = float(f"{value:.{figures}g}")
        if lowest <= short <= highest:
            return short
    return value
