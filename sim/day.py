"""Working days drawn from a pattern: who switches which tool on and off when. The same seed gives the same days.

A person takes one job after the other. The time that no job takes is spread between them at random; a job that would
run into a break waits for its end, one that finds its tool in use waits for the tool, and one for which the day is too
short is left out. Where a tool's gate is moved by hand, the person opens it before the first cut of a job and shuts it
after the last; where the shop has a key, somebody opens the shop before the work begins and shuts it afterwards.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from random import Random

from gatekeeper.shop.model import InputKind, Shop, Tool
from sim.day_pattern import Habit, Pattern
from sim.happening import Happening, What
from sim.scenario_fields import DAY_S, Between, Weekday

#: A hand gate is opened this long before the first cut of a job and shut this long after its last. Our own assumption.
GATE_BEFORE_S = 4.0
GATE_AFTER_S = 6.0
#: A play begins this long before people come to work, and goes on this long after they leave. Our own assumption.
BEFORE_S = 600.0
AFTER_S = 3600.0
#: The key is turned this long before and after the work. Our own assumption.
KEY_S = 300.0
#: A person walks to the next job at least this long. Our own assumption.
WALK_S = 20.0

_WEEK = tuple(Weekday)


@dataclass(frozen=True, slots=True)
class _Job:
    """One job at one tool: the instants at which it is on, counted from the job's beginning."""

    tool: str
    cuts: tuple[tuple[float, float], ...]

    @property
    def length_s(self) -> float:
        return self.cuts[-1][1]


def begins_s(pattern: Pattern) -> float:
    """When a play of such days begins, seconds after midnight of its first day."""
    return max(0.0, pattern.open.start_min * 60.0 - BEFORE_S)


def until_s(pattern: Pattern, days: int, begin_s: float) -> float:
    """When a play of so many days ends, seconds from its beginning at ``begin_s`` after midnight."""
    return (days - 1) * DAY_S + _end_s(pattern) + AFTER_S - begin_s


def working_days(shop: Shop, pattern: Pattern, days: int, seed: int, begin_s: float) -> Iterator[Happening]:
    """What people do on so many days, the first a Monday, in order of time.

    Args:
        begin_s: the play's beginning, seconds after the first midnight; instants count from there.
        days: days of the calendar, closed ones included.
    """
    for day in range(days):
        if _WEEK[day % len(_WEEK)] in pattern.closed:
            continue
        for happening in working_day(shop, pattern, Random(f"{seed} {day}")):
            at_s = day * DAY_S + happening.at_s - begin_s
            yield Happening(max(0.0, at_s), happening.what, happening.subject, happening.value)


def working_day(shop: Shop, pattern: Pattern, chance: Random) -> list[Happening]:
    """One day, in seconds after its midnight, in order of time."""
    jobs = [job for name, habit in pattern.habits.items() for job in _jobs(name, habit, chance)]
    chance.shuffle(jobs)
    happenings: list[Happening] = []
    taken: dict[str, list[tuple[float, float]]] = {}
    gates = _HandGates(shop)
    for person in range(pattern.people):
        for start_s, job in _laid_out(jobs[person :: pattern.people], pattern, chance, taken):
            gates.needs(shop.tools[job.tool], start_s, start_s + job.length_s)
            for on_s, off_s in job.cuts:
                happenings.append(Happening(start_s + on_s, What.TOOL_ON, job.tool))
                happenings.append(Happening(start_s + off_s, What.TOOL_OFF, job.tool))
    happenings += gates.happenings()
    if any(part.kind is InputKind.SHOP_KEY for part in shop.inputs.values()):
        happenings.append(Happening(max(0.0, _start_s(pattern) - KEY_S), What.SHOP_KEY, None, True))
        happenings.append(Happening(_end_s(pattern) + KEY_S, What.SHOP_KEY, None, False))
    return sorted(happenings, key=lambda happening: happening.at_s)


def _start_s(pattern: Pattern) -> float:
    return pattern.open.start_min * 60.0


def _end_s(pattern: Pattern) -> float:
    end_s = pattern.open.end_min * 60.0
    return end_s if end_s > _start_s(pattern) else end_s + DAY_S


def _drawn(span: Between, chance: Random) -> float:
    """A time, evenly on a logarithmic scale."""
    return math.exp(chance.uniform(math.log(span.least), math.log(span.most)))


def _jobs(tool: str, habit: Habit, chance: Random) -> Iterator[_Job]:
    for _ in range(chance.randint(int(habit.jobs.least), int(habit.jobs.most))):
        cuts: list[tuple[float, float]] = []
        at_s = 0.0
        for _ in range(chance.randint(int(habit.cuts.least), int(habit.cuts.most))):
            length_s = _drawn(habit.cut, chance)
            cuts.append((round(at_s, 2), round(at_s + length_s, 2)))
            at_s += length_s + _drawn(habit.pause, chance)
        yield _Job(tool, tuple(cuts))


def _laid_out(
    jobs: Sequence[_Job], pattern: Pattern, chance: Random, taken: dict[str, list[tuple[float, float]]]
) -> Iterator[tuple[float, _Job]]:
    """One person's jobs with their instants. ``taken``: by tool, when somebody is at it already."""
    end_s = _end_s(pattern)
    resting_s = sum((span.end_min - span.start_min) * 60.0 for span in pattern.breaks)
    idle_s = max(0.0, end_s - _start_s(pattern) - resting_s - sum(job.length_s for job in jobs))
    shares = [chance.expovariate(1.0) for _ in range(len(jobs) + 1)]
    gaps_s = [idle_s * share / sum(shares) for share in shares]
    at_s = _start_s(pattern)
    for job, gap_s in zip(jobs, gaps_s, strict=False):
        blocked = [*((span.start_min * 60.0, span.end_min * 60.0) for span in pattern.breaks), *taken.get(job.tool, ())]
        begin_s = round(_first_free(at_s + max(WALK_S, gap_s), job.length_s, blocked), 2)
        if begin_s + job.length_s > end_s:
            continue
        yield begin_s, job
        at_s = begin_s + job.length_s
        taken.setdefault(job.tool, []).append((begin_s - WALK_S, at_s + WALK_S))


def _first_free(at_s: float, length_s: float, blocked: Sequence[tuple[float, float]]) -> float:
    """The first instant from ``at_s`` on at which so long a stretch touches none of the blocked ones."""
    for from_s, to_s in sorted(blocked):
        if at_s < to_s and at_s + length_s > from_s:
            at_s = to_s
    return at_s


class _HandGates:
    """The gates that somebody moves by hand, and when they are needed."""

    def __init__(self, shop: Shop) -> None:
        self._shop = shop
        self._needed: dict[str, list[tuple[float, float]]] = {}

    def needs(self, tool: Tool, from_s: float, to_s: float) -> None:
        """The tool is used in that time."""
        for gate in tool.gates:
            if not self._shop.gates[gate].is_actuated:
                self._needed.setdefault(gate, []).append((from_s - GATE_BEFORE_S, to_s + GATE_AFTER_S))

    def happenings(self) -> Iterator[Happening]:
        """Each gate pulled open before it is needed and pushed shut when nobody needs it any more."""
        for gate, stretches in self._needed.items():
            open_until_s = -math.inf
            for from_s, to_s in sorted(stretches):
                if from_s > open_until_s:
                    if open_until_s > -math.inf:
                        yield Happening(open_until_s, What.MOVE_BY_HAND, gate, 0.0)
                    yield Happening(from_s, What.MOVE_BY_HAND, gate, 1.0)
                open_until_s = max(open_until_s, to_s)
            yield Happening(open_until_s, What.MOVE_BY_HAND, gate, 0.0)
