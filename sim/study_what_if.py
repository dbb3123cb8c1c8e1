"""Two shops through the same seeded days: what changes, in words with figures, what harms people first."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from gatekeeper.shop.faults import listed
from sim.day_pattern import Pattern
from sim.study_days import Outcome
from sim.study_runs import DayAsked, Days, ShopText

#: Differences below this share of the larger figure are called none. Our own.
SAME_SHARE = 0.01


@dataclass(frozen=True, slots=True)
class Difference:
    """One figure in both shops. ``is_air``: it is the air of one machine."""

    what: str
    unit: str
    first: float
    second: float
    digits: int
    less_is_better: bool = True
    is_air: bool = False

    @property
    def is_none(self) -> bool:
        """Too small to be told, or too small to be seen in the figures as they are printed."""
        most = max(abs(self.first), abs(self.second))
        alike = f"{self.first:.{self.digits}f}" == f"{self.second:.{self.digits}f}"
        return alike or abs(self.first - self.second) <= SAME_SHARE * most

    def figure(self, value: float) -> str:
        return f"{value:.{self.digits}f}{self.unit}"

    @property
    def said(self) -> str:
        """ "Motor starts a day: 12.4 instead of 18.2, better." """
        if self.is_none:
            return f"{self.what}: {self.figure(self.first)}, the same."
        told = f"{self.what}: {self.figure(self.second)} instead of {self.figure(self.first)}"
        return f"{told}, {self.verdict}."

    @property
    def verdict(self) -> str:
        """Whether the second is better or worse than the first, or the same."""
        if self.is_none:
            return "the same"
        return "better" if (self.second < self.first) == self.less_is_better else "worse"


@dataclass(frozen=True, slots=True)
class WhatIf:
    """Both shops through ``days`` days from ``seed`` on; ``left_out``: machines that only one of them has."""

    first: str
    second: str
    days: int
    seed: int
    left_out: tuple[str, ...]
    differences: tuple[Difference, ...]


def what_if(first: ShopText, second: ShopText, pattern: Pattern, days: Days, *, count: int, seed: int) -> WhatIf:
    """Play both.

    Raises:
        ValueError: they have no machine in common, or a change names what is not there.
        Stopped: somebody pressed Ctrl-C.
    """
    here, there = first.shop(), second.shop()
    both = {name: habit for name, habit in pattern.habits.items() if name in here.tools and name in there.tools}
    if not both:
        raise ValueError(f"{first.name} and {second.name} have no machine in common, so no day can be worked in both.")
    left_out = [name for name in here.tools if name not in there.tools]
    left_out += [name for name in there.tools if name not in here.tools]
    pattern = replace(pattern, habits=both)
    asked = [DayAsked(shop, pattern, seed + day, None) for shop in (first, second) for day in range(count)]
    outcomes = days.outcomes(asked)
    told = _differences(outcomes[:count], outcomes[count:])
    changes = second.changes.said
    name = f"{first.name} with {changes}" if changes else second.name
    return WhatIf(first.name, name, count, seed, tuple(left_out), tuple(told))


def left_out_words(study: WhatIf) -> str | None:
    """Which machines were left out, or None."""
    if not study.left_out:
        return None
    return f"Left out, because only one of the two has it: {listed(list(study.left_out), 'and')}."


def _differences(first: Sequence[dict[str, Outcome]], second: Sequence[dict[str, Outcome]]) -> list[Difference]:
    def both(value: Callable[[Outcome], float]) -> tuple[float, float]:
        """Of all motors together, a day on the mean."""
        return _a_day(first, value), _a_day(second, value)

    def worst(value: Callable[[Outcome], float]) -> tuple[float, float]:
        return _most(first, value), _most(second, value)

    def once(value: Callable[[Outcome], float]) -> tuple[float, float]:
        """Of the whole shop: every motor's outcome has it."""
        return _of_shop(first, value), _of_shop(second, value)

    told = [
        Difference("Cuts without air a day", "", *both(lambda day: day.airless), 1),
        Difference("Cuts without air after the first of a run, a day", "", *both(lambda day: day.airless_in_run), 1),
        Difference("Chips into the room a day", " kg", *once(lambda day: day.escaped_kg), 2),
        Difference("Chips left in the ducts at the end of a day", " kg", *once(lambda day: day.left_kg), 2),
    ]
    tools = dict.fromkeys(
        tool for days in (first, second) for day in days for one in day.values() for tool in one.shares
    )
    for tool in tools:
        shares = _share(first, tool), _share(second, tool)
        told.append(Difference(f"Air of the {tool}, of its need", " %", *shares, 0, less_is_better=False, is_air=True))
    return [
        *told,
        Difference("Motor starts a day", "", *both(lambda day: day.starts), 1),
        Difference("Motor starts in the worst hour", "", *worst(lambda day: day.worst_starts), 0),
        Difference("Gate moves a day", "", *both(lambda day: day.moves), 1),
        Difference("Gate moves in the worst hour", "", *worst(lambda day: day.worst_moves), 0),
        Difference("Collectors run a day", " h", *both(lambda day: day.running_s / 3600.0), 2),
        Difference("Energy a day", " kWh", *both(lambda day: day.energy_kwh), 1),
    ]


def _a_day(days: Sequence[dict[str, Outcome]], value: Callable[[Outcome], float]) -> float:
    return sum(value(one) for day in days for one in day.values()) / len(days)


def _most(days: Sequence[dict[str, Outcome]], value: Callable[[Outcome], float]) -> float:
    return max(value(one) for day in days for one in day.values())


def _of_shop(days: Sequence[dict[str, Outcome]], value: Callable[[Outcome], float]) -> float:
    return sum(value(next(iter(day.values()))) for day in days) / len(days)


def _share(days: Sequence[dict[str, Outcome]], tool: str) -> float:
    """In percent, the mean over the days in which it ran; 0 where it never did."""
    shares = [one.shares[tool] for day in days for one in day.values() if tool in one.shares]
    return 100.0 * sum(shares) / len(shares) if shares else 0.0
