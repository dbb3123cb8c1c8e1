"""What the sensors of a shop say, at signals fidelity: the truth, late by what the real sensing takes, or a lie.

Theory of operation. A sense has a truth (yes or no) and a word (what the controller was told last). When the truth, as
it comes through the sensor, differs from the word, the new word is said after the sensor's own delay, unless the truth
went back in between. A fault changes what comes through. After each waking of the controller every sense says its first
word, which is no fresh one. The delays are those of the settings in ``gatekeeper.sensing``.
"""

from collections.abc import Callable
from enum import Enum

from gatekeeper.control.messages import Event, ToolSeen
from gatekeeper.sensing.circuits import STEADY_S, ToolBand, current_range_a
from gatekeeper.sensing.contact import ContactSettings
from gatekeeper.sensing.detector import DetectorSettings
from gatekeeper.sensing.seen import Reason
from gatekeeper.service.hearing import CIRCUIT, QUICK

#: A clamp's start is told after this many mains cycles (the budget P1), its stop after its hold and one cycle more.
START_CYCLES = 2.0
#: A noisy sensor changes its word this often, seconds.
NOISE_S = 4.0
_CLAMP = DetectorSettings()
_SWITCH = ContactSettings()


class Lie(Enum):
    """How a sensor can be wrong."""

    DEAD = "dead"  # of a contact: never made. Of a clamp and a converter: nothing that can be believed.
    STUCK_ON = "stuck on"
    SILENT = "silent"  # always no
    NOISY = "noisy"  # yes and no by turns while it should say yes
    LOOSE = "loose"  # stale, as a chattering contact is; a position switch comes and goes


Later = Callable[[float, Callable[[], None]], None]


class Delays:
    """How late a sense is. ``first_s``: from waking to its first word; ``lost_s``: from a fault to saying so."""

    __slots__ = ("first_s", "lost_s", "no_s", "yes_s")

    def __init__(self, yes_s: float, no_s: float, first_s: float, lost_s: float) -> None:
        self.yes_s, self.no_s, self.first_s, self.lost_s = yes_s, no_s, first_s, lost_s


def clamp_delays(mains_hz: float) -> Delays:
    """A clamp behind a converter."""
    cycle_s = 1.0 / mains_hz
    return Delays(START_CYCLES * cycle_s, _CLAMP.stop_hold_s + cycle_s, _CLAMP.settle_s + cycle_s, _CLAMP.missing_s)


def meter_delays(every_s: float, silence_s: float) -> Delays:
    """A meter that speaks every so often: late by half of that in the mean."""
    return Delays(every_s / 2, every_s / 2, every_s, silence_s)


SWITCH_DELAYS = Delays(_SWITCH.settle_s, _SWITCH.stop_hold_s, _SWITCH.settle_s, _SWITCH.missing_s)
QUICK_DELAYS = Delays(QUICK.settle_s, QUICK.stop_hold_s, QUICK.settle_s, _SWITCH.missing_s)
CIRCUIT_DELAYS = Delays(CIRCUIT.settle_s, CIRCUIT.stop_hold_s, CIRCUIT.stop_hold_s, CIRCUIT.settle_s)


class Sense:
    """One sensor with one yes or no.

    Args:
        delays: how late it is.
        later: runs something after so many seconds of the play.
        say: called with True, False or None (nothing that can be believed), and whether the change itself was watched.
    """

    def __init__(self, delays: Delays, later: Later, say: Callable[[bool | None, bool], None]) -> None:
        self._delays, self._later, self._say = delays, later, say
        self._truth = False
        self._word: bool | None = None
        self._has_spoken = False
        self._is_awake = False
        self._is_lost = False
        self._lie: Lie | None = None
        self._bias = False
        self._turn = 0

    @property
    def lie(self) -> Lie | None:
        """What is wrong with it."""
        return self._lie

    def feel(self, yes: bool) -> None:
        """The truth changes."""
        if yes is not self._truth:
            self._truth = yes
            self._judge()

    def wake(self) -> None:
        """The controller has begun to listen; nothing was said yet."""
        self._is_awake, self._has_spoken, self._word = True, False, None
        self._judge()

    def sleep(self) -> None:
        """Nobody listens."""
        self._is_awake = False
        self._turn += 1

    def lose(self, lost: bool) -> None:
        """What reads it (a converter) is gone, or back."""
        self._is_lost = lost
        self._judge()

    def break_it(self, lie: Lie | None) -> None:
        """Break it, or mend it (None)."""
        self._lie = lie
        self._bias = False
        self._judge()
        if lie is Lie.NOISY:
            self._later(NOISE_S, self._jump)

    def _jump(self) -> None:
        if self._lie is Lie.NOISY:
            self._bias = not self._bias
            self._judge()
            self._later(NOISE_S, self._jump)

    def _comes_through(self) -> bool | None:
        if self._is_lost:
            return None
        match self._lie:
            case None:
                return self._truth
            case Lie.DEAD | Lie.LOOSE:
                return None
            case Lie.STUCK_ON:
                return True
            case Lie.SILENT:
                return False
            case Lie.NOISY:
                return self._truth and not self._bias

    def _judge(self) -> None:
        """Say the new word after its delay; whatever was to be said before is not said any more."""
        self._turn += 1
        if not self._is_awake:
            return
        wanted = self._comes_through()
        if self._has_spoken and wanted is self._word:
            return
        if wanted is None:
            delay_s = self._delays.lost_s
        elif not self._has_spoken or self._word is None:
            delay_s = self._delays.first_s
        else:
            delay_s = self._delays.yes_s if wanted else self._delays.no_s
        turn = self._turn

        def speak() -> None:
            if turn == self._turn:
                fresh = self._has_spoken and self._word is not None
                self._has_spoken, self._word = True, wanted
                self._say(wanted, fresh)

        self._later(delay_s, speak)


class CircuitSense:
    """One sensor on a circuit with several tools, told apart by their currents as ``gatekeeper.sensing`` does.

    Args:
        bands: the tools and their bands; empty where they cannot be told apart.
        names: the tools.
        running_a: by tool, what it draws.
        run_up_s: how long the longest start of its tools takes.
        later: as for ``Sense``.
        tell: takes the events.
        delays: of the one sensor.
    """

    def __init__(
        self,
        names: tuple[str, ...],
        bands: tuple[ToolBand, ...],
        running_a: dict[str, float],
        run_up_s: float,
        delays: Delays,
        later: Later,
        tell: Callable[[Event], None],
    ) -> None:
        self._names, self._running_a, self._steady_s = names, running_a, run_up_s + STEADY_S
        self._later, self._tell = later, tell
        self._ranges = _ranges(bands)
        self._truth: set[str] = set()
        self._told: frozenset[str] = frozenset()
        self._turn = 0
        self.sense = Sense(delays, later, self._said)
        self._yes: bool | None = None

    def feel(self, tool: str, yes: bool) -> None:
        """The truth about one of its tools changes."""
        before = len(self._truth)
        (self._truth.add if yes else self._truth.discard)(tool)
        self.sense.feel(bool(self._truth))
        if before and self._truth and self._yes and self._ranges:
            self._turn += 1
            turn = self._turn
            if yes:
                self._later(START_CYCLES / 50.0, lambda: self._more(turn))
            self._later(self._steady_s if yes else STEADY_S, lambda: self._tell_apart(turn))

    def wake(self) -> None:
        """The controller has begun to listen."""
        self._turn += 1
        self._yes, self._told = None, frozenset()
        self.sense.wake()

    def sleep(self) -> None:
        """Nobody listens."""
        self._turn += 1
        self.sense.sleep()

    def _said(self, yes: bool | None, fresh: bool) -> None:
        self._yes = yes
        self._turn += 1
        why = None if fresh else Reason.FIRST_LOOK.sentence
        if yes is None:
            self._told = frozenset()
            for name in self._names:
                self._tell(ToolSeen(name, "stale", Reason.LOST_BIAS.sentence, False))
        elif yes:
            self._told = frozenset(self._names)
            for name in self._names:
                self._tell(ToolSeen(name, "running", why, fresh))
            if self._ranges:
                turn = self._turn
                self._later(self._steady_s, lambda: self._tell_apart(turn))
        else:
            before, self._told = self._told or frozenset(self._names), frozenset()
            for name in self._names:
                if name in before:
                    self._tell(ToolSeen(name, "stopped", why, fresh))

    def _more(self, turn: int) -> None:
        """Another start on a circuit that runs: until it is steady again, all are said to run."""
        if turn != self._turn or not self._yes or self._told == frozenset(self._names):
            return
        if self._amperes() > self._ranges[self._told][1]:
            self._report(frozenset(self._names), Reason.STARTED)

    def _tell_apart(self, turn: int) -> None:
        if turn != self._turn or not self._yes:
            return
        amperes = self._amperes()
        possible = [group for group, (low, high) in self._ranges.items() if low <= amperes <= high]
        told = frozenset(name for group in possible for name in group) or frozenset(self._names)
        self._report(told, Reason.TOLD_APART)

    def _amperes(self) -> float:
        return sum(self._running_a[name] for name in self._truth)

    def _report(self, told: frozenset[str], reason: Reason) -> None:
        before, self._told = self._told, told
        why = None if reason.is_fresh else reason.sentence
        for name in self._names:
            if (name in told) is not (name in before):
                self._tell(ToolSeen(name, "running" if name in told else "stopped", why, reason.is_fresh))


def _ranges(bands: tuple[ToolBand, ...]) -> dict[frozenset[str], tuple[float, float]]:
    groups: list[tuple[ToolBand, ...]] = [()]
    for band in bands:
        groups += [(*group, band) for group in groups]
    return {frozenset(band.tool for band in group): current_range_a(group) for group in groups if group}
