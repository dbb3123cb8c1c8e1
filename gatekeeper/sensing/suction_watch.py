"""Does a collector still move the air that it moved at first? From the current of its motor, without any air sensor.

Theory of operation. A dust fan takes more current the more air it moves. For a set of open gates the air model says how
much should pass; on the first days a straight line is learned from that flow to the current. Later the line, read
backwards, says what really passes. A filter that loads, a full bin or a torn hose show as less air than the model, day
after day, whatever gates are open. One day proves nothing (the mains, the weather): the days' shortfalls go into a
one-sided cumulative sum, which speaks only when they add up, and is quiet again when they are over.

Nothing is said before a base line exists: ``BASE_DAYS`` days with at least ``EACH_DAY`` steady runs each.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Any

#: Days of the base line, and steady runs that make a day count. Ours.
BASE_DAYS = 10
EACH_DAY = 5
#: Less air than this share is no shortfall at all, and the sum from which it is told; at least what the base line's
#: own spread asks for. Ours.
SLACK = 0.08
TOLD_AT = 0.20
SLACK_SPREADS = 2.0
TOLD_AT_SPREADS = 6.0
#: It is over when the mean of the last days falls below this share of the slack. Ours.
OVER_SHARE = 0.5
LAST_DAYS = 3
#: Where the base line saw hardly two different flows, this share of the current is taken to be there without air. Ours.
IDLE_SHARE = 0.5
LEAST_SPREAD_OF_FLOW = 0.08
#: The part of the current that follows the flow lies between these shares of it. Ours.
SLOPE_LEAST, SLOPE_MOST = 0.2, 0.9
_MOST_SHORT = 0.6


class Standing(Enum):
    """What can be said at present."""

    LEARNING = "learning"
    WELL = "well"
    LOW = "low"


@dataclass(frozen=True, slots=True)
class Verdict:
    """What can be said at present.

    Args:
        standing: learning, well or low.
        base_days: days of the base line that are there, 0 to ``BASE_DAYS``.
        suction_short: how far suction lies below day one, share 0 to 1: it goes with the square of the air.
        where: the machine at which it was seen most, on the last day that counted; None while well.
        only_there: the others are well: it is that machine's branch.
    """

    standing: Standing
    base_days: int
    suction_short: float = 0.0
    where: str | None = None
    only_there: bool = False


@dataclass(slots=True)
class _Day:
    """Sums of one day's steady runs; ``by_machine``: runs, and the sum of their shortfalls."""

    day: int
    runs: int = 0
    flow: float = 0.0
    amps: float = 0.0
    flow2: float = 0.0
    flow_amps: float = 0.0

    def add(self, flow: float, amps: float) -> None:
        self.runs += 1
        self.flow += flow
        self.amps += amps
        self.flow2 += flow * flow
        self.flow_amps += flow * amps


class SuctionWatch:
    """One collector's watch.

    Args:
        kept: what ``state`` gave before; anything else begins anew.
    """

    def __init__(self, kept: Any = None) -> None:
        self._base: list[_Day] = []
        self._today: _Day | None = None
        self._short: dict[str, list[float]] = {}
        self._sum = 0.0
        self._last: list[float] = []
        self._low = False
        self._where: str | None = None
        self._only_there = False
        self._line: tuple[float, float, float] | None = None
        if isinstance(kept, Mapping):
            self._recall(kept)

    # ------------------------------------------------------------ observations

    def add(self, day: int, machine: str, flow_m3s: float, amps: float) -> None:
        """One steady run: gates at rest, fan at speed.

        Args:
            day: a count of days that only grows; a smaller one is taken as the present one.
            machine: whose gates were open.
            flow_m3s: what the model says for the gates that are open, above 0.
            amps: the mean current, above 0.
        """
        if not (flow_m3s > 0 and amps > 0):
            return
        if self._today is not None and day > self._today.day:
            self._end_day()
        if self._today is None:
            self._today = _Day(day)
        self._today.add(flow_m3s, amps)
        if self._line is not None:
            idle_a, slope, _ = self._line
            share = (amps - idle_a) / (slope * flow_m3s)
            kept = self._short.setdefault(machine, [0.0, 0.0])
            kept[0] += 1
            kept[1] += max(-_MOST_SHORT, min(_MOST_SHORT, 1.0 - share))

    def mended(self) -> None:
        """Somebody cleaned or emptied something: what stood is judged anew from now on."""
        self._sum, self._last, self._low, self._where, self._only_there = 0.0, [], False, None, False

    def verdict(self) -> Verdict:
        """What can be said at present."""
        if self._line is None:
            return Verdict(Standing.LEARNING, len(self._base))
        short = max(0.0, sum(self._last) / len(self._last)) if self._last else 0.0
        standing = Standing.LOW if self._low else Standing.WELL
        where = self._where if self._low else None
        return Verdict(standing, BASE_DAYS, 1.0 - (1.0 - short) ** 2, where, self._low and self._only_there)

    # ------------------------------------------------------------ days

    def _end_day(self) -> None:
        today, self._today = self._today, None
        short, self._short = self._short, {}
        if today is None or today.runs < EACH_DAY:
            return
        if self._line is None:
            self._base.append(today)
            if len(self._base) >= BASE_DAYS:
                self._line = _line(self._base)
            return
        _, _, spread = self._line
        runs = sum(count for count, _ in short.values())
        if runs < EACH_DAY:
            return
        mean = sum(total for _, total in short.values()) / runs
        slack = max(SLACK, SLACK_SPREADS * spread)
        self._last = [*self._last, mean][-LAST_DAYS:]
        self._sum = max(0.0, self._sum + mean - slack)
        if self._sum >= max(TOLD_AT, TOLD_AT_SPREADS * spread):
            self._low = True
        # The sum must not grow for ever, or a mended filter would be believed only after as long again.
        self._sum = min(self._sum, 2 * max(TOLD_AT, TOLD_AT_SPREADS * spread))
        if self._low and sum(self._last) / len(self._last) < OVER_SHARE * slack:
            self.mended()
        if self._low:
            by_machine = Counter({name: total / count for name, (count, total) in short.items()})
            self._where, worst = by_machine.most_common(1)[0]
            others = [value for name, value in by_machine.items() if name != self._where]
            self._only_there = bool(others) and max(others) < slack < worst

    # ------------------------------------------------------------ keeping

    def state(self) -> dict[str, Any]:
        """All of it as JSON values, a few hundred bytes."""
        days = [*self._base, *([self._today] if self._today is not None else [])]
        return {
            "form": 1,
            "days": [[d.day, d.runs, d.flow, d.amps, d.flow2, d.flow_amps] for d in days],
            "base": len(self._base),
            "short": self._short,
            "sum": self._sum,
            "last": self._last,
            "low": self._low,
            "where": self._where,
            "only_there": self._only_there,
        }

    def _recall(self, kept: Mapping[str, Any]) -> None:
        try:
            if kept["form"] != 1:
                return
            days = [_Day(int(row[0]), int(row[1]), *(float(value) for value in row[2:6])) for row in kept["days"]]
            base = int(kept["base"])
            self._base, rest = days[:base], days[base:]
            self._today = rest[0] if rest else None
            self._short = {str(name): [float(one) for one in pair] for name, pair in kept["short"].items()}
            self._sum, self._last = float(kept["sum"]), [float(one) for one in kept["last"]]
            self._low, self._only_there = bool(kept["low"]), bool(kept["only_there"])
            self._where = None if kept["where"] is None else str(kept["where"])
            self._line = _line(self._base) if len(self._base) >= BASE_DAYS else None
        except (KeyError, TypeError, ValueError, IndexError, AttributeError):
            # A record that cannot be read costs the base line, never the shop.
            self.__init__()  # type: ignore[misc]


def _line(days: list[_Day]) -> tuple[float, float, float]:
    """From flow to current: the current without air, amperes a m3/s, and the spread of the days' air as a share."""
    runs = sum(day.runs for day in days)
    flow, amps = sum(day.flow for day in days) / runs, sum(day.amps for day in days) / runs
    variance = max(0.0, sum(day.flow2 for day in days) / runs - flow * flow)
    shared = sum(day.flow_amps for day in days) / runs - flow * amps
    slope = (1.0 - IDLE_SHARE) * amps / flow
    if variance > (LEAST_SPREAD_OF_FLOW * flow) ** 2:
        slope = min(SLOPE_MOST * amps / flow, max(SLOPE_LEAST * amps / flow, shared / variance))
    idle_a = amps - slope * flow
    off = [(day.amps / day.runs - idle_a) / (slope * day.flow / day.runs) - 1.0 for day in days]
    spread = (sum(one * one for one in off) / max(1, len(off) - 1)) ** 0.5
    return idle_a, slope, spread
