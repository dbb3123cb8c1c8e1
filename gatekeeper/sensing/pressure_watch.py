"""Is a pressure still what it was at first? From a measured pressure and what the air model says for the open gates.

Theory of operation. For a set of open gates the model gives what a gauge ought to show; on the first days the share
that it really shows is learned, for each set by itself, since the model is never right to the percent and is wrong in
its own way for each branch. Later each steady run gives the share of day one: 0.8 is a fifth below. A day's mean of
these goes into two one-sided sums, one for below and one for above, which speak when small deviations of one sign add
up and are quiet again when they are over: one day proves nothing, for density goes with the weather and the mains.

A branch by itself is told by its deviation from all the others on the same day, in sums of its own: weather, mains and
filter are the same for all and fall out.

Nothing is said before a base line exists: ``BASE_DAYS`` days with at least ``EACH_DAY`` steady runs each; a set of
gates is compared once it has been seen ``SET_RUNS`` times.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from typing import Any

#: Days of the base line, steady runs that make a day count, and runs after which a set of gates is known. Ours.
BASE_DAYS = 10
EACH_DAY = 5
SET_RUNS = 5
#: A deviation below this share is none, and the sum from which it is told; at least what the spread of the base line's
#: own days asks for. Ours.
SLACK, TOLD_AT = 0.08, 0.20
SLACK_SPREADS, TOLD_AT_SPREADS = 2.0, 6.0
#: It is over when the mean of the last days falls below this share of the slack. Ours.
OVER_SHARE = 0.5
LAST_DAYS = 3
#: A branch is compared on a day with so many runs of it, and as many of all others together. Ours.
BRANCH_RUNS = 3
MOST_SETS = 64
_MOST_OFF = 0.8


class Way(Enum):
    """What can be said at present."""

    LEARNING = "learning"
    WELL = "well"
    LOW = "low"
    HIGH = "high"


@dataclass(frozen=True, slots=True)
class PressureVerdict:
    """What can be said at present.

    Args:
        way: learning, as on day one, below it or above it.
        base_days: days of the base line that are there, 0 to ``BASE_DAYS``.
        off: how far from day one, as a share: -0.2 is a fifth below. Of the last days that counted.
        where: the machine at which it was seen most; None while well.
        only_there: the others are as on day one: it is that machine's branch.
    """

    way: Way
    base_days: int
    off: float = 0.0
    where: str | None = None
    only_there: bool = False


@dataclass(slots=True)
class _Sums:
    """One thing that is watched day by day: its sums below and above, its last days, and what stands."""

    low: float = 0.0
    high: float = 0.0
    last: list[float] = field(default_factory=list)
    told: str = ""

    def day(self, off: float, slack: float, told_at: float) -> None:
        """One day's deviation."""
        self.last = [*self.last, off][-LAST_DAYS:]
        # The sums must not grow for ever, or a mended filter would be believed only after as long again.
        self.low = min(2 * told_at, max(0.0, self.low - off - slack))
        self.high = min(2 * told_at, max(0.0, self.high + off - slack))
        if self.told and abs(self.off) < OVER_SHARE * slack:
            self.__init__()  # type: ignore[misc]
        elif self.low >= told_at:
            self.told = Way.LOW.value
        elif self.high >= told_at:
            self.told = Way.HIGH.value

    @property
    def off(self) -> float:
        return sum(self.last) / len(self.last) if self.last else 0.0

    def state(self) -> list[Any]:
        return [self.low, self.high, self.last, self.told]


class PressureWatch:
    """One gauge's watch.

    Args:
        kept: what ``state`` gave before; anything else begins anew.
    """

    def __init__(self, kept: Any = None) -> None:
        self._days: list[list[float]] = []  # of the base line: runs, sum of shares over the set's own mean
        self._sets: dict[str, list[float]] = {}  # runs, and sum of measured over expected
        self._day: int | None = None
        self._runs: dict[str, list[float]] = {}  # today's, by set: runs, and sum of measured over expected
        self._machines: dict[str, str] = {}
        self._whole = _Sums()
        self._branches: dict[str, _Sums] = {}
        self._where: str | None = None
        self._spread = 0.0
        if isinstance(kept, Mapping):
            self._recall(kept)

    # ------------------------------------------------------------ observations

    def add(self, day: int, machine: str, gates: str, expected: float, measured: float) -> None:
        """One steady run: gates at rest, fan at speed.

        Args:
            day: a count of days that only grows; a smaller one is taken as the present one.
            machine: whose gates were open.
            gates: the set of gates that were open, as one word.
            expected: what the model says, above 0; in any unit, always the same.
            measured: what the gauge showed, in any unit, always the same.
        """
        if not expected > 0:
            return
        if self._day is None or day > self._day:
            self._end_day()
            self._day = day
        if gates not in self._sets and len(self._sets) >= MOST_SETS:
            return
        self._sets.setdefault(gates, [0.0, 0.0])
        self._machines[gates] = machine
        runs = self._runs.setdefault(gates, [0.0, 0.0])
        runs[0] += 1
        runs[1] += measured / expected

    def mended(self) -> None:
        """Somebody cleaned or mended something: what stood is judged anew from now on."""
        self._whole, self._branches, self._where = _Sums(), {}, None

    @property
    def last_off(self) -> float | None:
        """How far the last days lay from day one, as a share, told or not; None before there are any."""
        return self._whole.off if self._is_learned and self._whole.last else None

    def verdict(self) -> PressureVerdict:
        """What can be said at present."""
        if not self._is_learned:
            return PressureVerdict(Way.LEARNING, len(self._days))
        if self._whole.told:
            return PressureVerdict(Way(self._whole.told), BASE_DAYS, self._whole.off, self._where)
        told = {gates: sums for gates, sums in self._branches.items() if sums.told}
        if told:
            gates, sums = max(told.items(), key=lambda one: abs(one[1].off))
            return PressureVerdict(Way(sums.told), BASE_DAYS, sums.off, self._machines.get(gates), True)
        return PressureVerdict(Way.WELL, BASE_DAYS)

    # ------------------------------------------------------------ days

    @property
    def _is_learned(self) -> bool:
        return len(self._days) >= BASE_DAYS

    def _end_day(self) -> None:
        runs, self._runs = self._runs, {}
        if sum(count for count, _ in runs.values()) < EACH_DAY:
            return
        offs = self._offs(runs)
        if not self._is_learned:
            self._learn(runs)
            if offs:
                self._days.append([float(sum(runs[gates][0] for gates in offs)), _mean(offs, runs)])
            else:
                self._days.append([0.0, 0.0])
            if len(self._days) >= BASE_DAYS:
                known = [mean for count, mean in self._days if count]
                self._spread = (sum(mean * mean for mean in known) / max(1, len(known) - 1)) ** 0.5
            return
        # A set that the base line did not see is learned from the days on which all is well.
        if not self._whole.told and abs(self._whole.off) < SLACK:
            self._learn({gates: one for gates, one in runs.items() if self._sets[gates][0] < SET_RUNS})
        if sum(runs[gates][0] for gates in offs) < EACH_DAY:
            return
        slack, told_at = max(SLACK, SLACK_SPREADS * self._spread), max(TOLD_AT, TOLD_AT_SPREADS * self._spread)
        whole = _mean(offs, runs)
        self._whole.day(whole, slack, told_at)
        self._where = self._machines[max(offs, key=lambda gates: offs[gates] * (1 if whole >= 0 else -1))]
        for gates, off in offs.items():
            others = {other: offs[other] for other in offs if other != gates}
            if runs[gates][0] >= BRANCH_RUNS and sum(runs[other][0] for other in others) >= BRANCH_RUNS:
                self._branches.setdefault(gates, _Sums()).day(off - _mean(others, runs), SLACK, TOLD_AT)

    def _learn(self, runs: Mapping[str, list[float]]) -> None:
        for gates, (count, total) in runs.items():
            self._sets[gates][0] += count
            self._sets[gates][1] += total

    def _offs(self, runs: Mapping[str, list[float]]) -> dict[str, float]:
        """How far today's runs lie from the base line, by set that is known."""
        found = {}
        for gates, (count, total) in runs.items():
            known, base = self._sets[gates]
            if known >= SET_RUNS and base > 0:
                off = (total / count) / (base / known) - 1.0
                found[gates] = max(-_MOST_OFF, min(_MOST_OFF, off))
        return found

    # ------------------------------------------------------------ keeping

    def state(self) -> dict[str, Any]:
        """All of it as JSON values, a few hundred bytes."""
        return {
            "form": 1,
            "days": self._days,
            "sets": self._sets,
            "day": self._day,
            "runs": self._runs,
            "machines": self._machines,
            "whole": self._whole.state(),
            "branches": {gates: sums.state() for gates, sums in self._branches.items()},
            "where": self._where,
            "spread": self._spread,
        }

    def _recall(self, kept: Mapping[str, Any]) -> None:
        try:
            if kept["form"] != 1:
                return
            self._days = [[float(one) for one in pair] for pair in kept["days"]]
            self._sets = {str(name): _pair(pair) for name, pair in kept["sets"].items()}
            self._day = None if kept["day"] is None else int(kept["day"])
            self._runs = {str(name): _pair(pair) for name, pair in kept["runs"].items() if name in self._sets}
            self._machines = {str(name): str(machine) for name, machine in kept["machines"].items()}
            self._whole = _sums(kept["whole"])
            self._branches = {str(name): _sums(sums) for name, sums in kept["branches"].items()}
            self._where = None if kept["where"] is None else str(kept["where"])
            self._spread = float(kept["spread"])
            if any(name not in self._machines for name in self._sets) or any(len(day) != 2 for day in self._days):
                raise ValueError("a set without its machine")
        except (KeyError, TypeError, ValueError, IndexError, AttributeError):
            # A record that cannot be read costs the base line, never the shop.
            self.__init__()  # type: ignore[misc]


def _mean(offs: Mapping[str, float], runs: Mapping[str, list[float]]) -> float:
    """The mean of some sets' deviations, each with the weight of its runs."""
    return sum(offs[gates] * runs[gates][0] for gates in offs) / sum(runs[gates][0] for gates in offs)


def _pair(kept: Any) -> list[float]:
    count, total = kept
    return [float(count), float(total)]


def _sums(kept: Any) -> _Sums:
    low, high, last, told = kept
    if told not in ("", Way.LOW.value, Way.HIGH.value):
        raise ValueError("no such word")
    return _Sums(float(low), float(high), [float(one) for one in last], str(told))
