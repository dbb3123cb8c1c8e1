"""One current sensor on a circuit with several tools: which of them run?

Theory of operation. Each tool has a band of running current, from idling to loaded. Any set of tools running together
draws between the sum of its bands' lower ends, added as currents up to 60 degrees apart in phase (a motor beside a
heater), and the plain sum of the upper ends. Once the current has been steady for `STEADY_S`, the sets whose range
holds it are the possible ones; every tool that is in any of them is reported running. So where the bands leave one
answer, that is the answer; where they leave several, or none, the doubt goes to more open gates: with no possible set
all tools of the circuit are reported running. From a start, or when the current rises above what the present set can
draw, until it is steady again, all are reported running as well: an inrush says nothing of whose it is, and the gate
must not wait for it.

A fault of the sensor is a fault of every tool on it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from gatekeeper.sensing.current import CurrentSensor
from gatekeeper.sensing.seen import Block, Reason, Seen, State

STEADY_S = 0.5
# Steady: the highest cycle within a quarter of the lowest; mains and load of an idling machine vary less.
STEADY_RATIO = 1.25
MOST_TOOLS = 6


@dataclass(frozen=True, slots=True)
class ToolBand:
    """The running current of one tool.

    Args:
        tool: its name.
        low_a: net RMS current idling, amperes, above 0.
        high_a: net RMS current under full load, amperes, not below `low_a`.

    Raises:
        ValueError: a current is outside its range.
    """

    tool: str
    low_a: float
    high_a: float

    def __post_init__(self) -> None:
        if not 0 < self.low_a <= self.high_a < math.inf:
            raise ValueError(
                f"The running current of {self.tool} goes from {self.low_a} A to {self.high_a} A; "
                "it must start above 0 A and must not end below its start."
            )


@dataclass(frozen=True, slots=True)
class ToolSeen:
    """A change in what is known of one tool of a circuit."""

    tool: str
    seen: Seen


def current_range_a(bands: Sequence[ToolBand]) -> tuple[float, float]:
    """Return the least and the most net RMS current, amperes, of these tools running together."""
    lows = [band.low_a for band in bands]
    squares = sum(low * low for low in lows)
    cross = sum(a * b for a, b in combinations(lows, 2))
    return math.sqrt(squares + cross), sum(band.high_a for band in bands)


def confusions(bands: Sequence[ToolBand]) -> list[tuple[tuple[str, ...], tuple[str, ...]]]:
    """Return the pairs of sets of tools whose currents overlap, so that `check` can say so beforehand."""
    sets = _sets(bands)
    return [
        (names, other_names)
        for (names, low, high), (other_names, other_low, other_high) in combinations(sets, 2)
        if low <= other_high and other_low <= high
    ]


def _sets(bands: Sequence[ToolBand]) -> list[tuple[tuple[str, ...], float, float]]:
    return [
        (tuple(band.tool for band in group), *current_range_a(group))
        for size in range(1, len(bands) + 1)
        for group in combinations(bands, size)
    ]


class CircuitSensor:
    """The tools of one circuit behind one current sensor.

    Args:
        sensor: the sensor on the circuit's wire.
        bands: one band for each tool, 1 to 6 of them, with different names.

    Raises:
        ValueError: no tool, too many, or a name twice.
    """

    def __init__(self, sensor: CurrentSensor, bands: Sequence[ToolBand]) -> None:
        names = [band.tool for band in bands]
        if not 1 <= len(names) <= MOST_TOOLS:
            raise ValueError(f"The circuit carries {len(names)} tools; 1 to {MOST_TOOLS} are allowed on one sensor.")
        if len(set(names)) < len(names):
            raise ValueError("The circuit names the same tool twice; each tool is named once.")
        self._sensor = sensor
        self._names = names
        self._sets = _sets(bands)
        self._high_of = {frozenset(group): high for group, _, high in self._sets}
        self._running: frozenset[str] = frozenset()
        self._state: State | None = None
        self._steady_since_s: float | None = None
        self._least_a = self._most_a = 0.0

    @property
    def running(self) -> frozenset[str]:
        """The tools now reported as running."""
        return self._running

    def feed(self, reading: Block) -> list[ToolSeen]:
        """Take a block of samples; return the changes it proves, tool by tool, in order of time.

        Raises:
            ValueError: the block's rate is under 8 samples a mains cycle.
        """
        out: list[ToolSeen] = []
        for r, net_a, changes in self._sensor.follow(reading):
            for seen in changes:
                out += self._spread(seen)
            if r is not None and self._state is State.RUNNING and net_a is not None:
                out += self._tell_apart(r.t_s, net_a)
        return out

    def tick(self, now_s: float) -> list[ToolSeen]:
        """Say that it is `now_s`; return the loss of the sensor, for every tool, when samples are overdue."""
        return [tool_seen for seen in self._sensor.tick(now_s) for tool_seen in self._spread(seen)]

    def next_deadline(self) -> float | None:
        """Return when samples become overdue, or None."""
        return self._sensor.next_deadline()

    def _spread(self, seen: Seen) -> list[ToolSeen]:
        """Pass a change of the whole circuit on to its tools."""
        was = self._state
        self._state = seen.state
        before, self._running = self._running, frozenset()
        self._steady_since_s = None
        if seen.state is State.RUNNING:
            self._running = frozenset(self._names)
        if seen.state is State.STOPPED and was is State.RUNNING:
            return [ToolSeen(name, seen) for name in self._names if name in before]
        return [ToolSeen(name, seen) for name in self._names]

    def _tell_apart(self, t_s: float, net_a: float) -> list[ToolSeen]:
        everything = frozenset(self._names)
        if self._steady_since_s is None or not self._is_steady_with(net_a):
            self._steady_since_s = t_s
            self._least_a = self._most_a = net_a
            if self._running != everything and net_a > self._high_of[self._running]:
                return self._report(everything, t_s, net_a, Reason.STARTED)
            return []
        if t_s - self._steady_since_s < STEADY_S:
            return []
        possible = [group for group, low, high in self._sets if low <= self._most_a and self._least_a <= high]
        told = frozenset(name for group in possible for name in group) or everything
        self._steady_since_s = t_s
        self._least_a = self._most_a = net_a
        return self._report(told, t_s, net_a, Reason.TOLD_APART)

    def _is_steady_with(self, net_a: float) -> bool:
        self._least_a, self._most_a = min(self._least_a, net_a), max(self._most_a, net_a)
        return self._most_a <= STEADY_RATIO * self._least_a

    def _report(self, running: frozenset[str], t_s: float, net_a: float, reason: Reason) -> list[ToolSeen]:
        before, self._running = self._running, running
        return [
            ToolSeen(name, Seen(t_s, State.RUNNING if name in running else State.STOPPED, reason, net_a, t_s))
            for name in self._names
            if (name in running) != (name in before)
        ]
