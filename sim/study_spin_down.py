"""The spin-down delays that many seeded days recommend, with the figures behind them.

Theory of operation. First every collector gets one delay for all its machines, from the shortest that clears its
longest branch up to five minutes, and the same days are played with each. Of these delays are kept, one demand after
the other, those that meet it in every single day; where none does, those within a tenth of the one that comes closest,
and that is said:

1. no chips left in the ducts,
2. motor starts: under eight in any hour, and within the motor's budget (its start store, C8),
3. no cut without air after the first of a run of cuts,
4. gate moves: under thirty in any hour.

Of those left the one with the least running time is taken: running time is noise and energy. Then each machine is
tried with delays of its own, shorter than that, the machine first that would save most; it gets one where all demands
are still met and it saves at least five minutes a day. Nothing is weighed against anything else.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from gatekeeper.control.plan import MotorPlan
from gatekeeper.shop.model import Shop
from sim.day_pattern import Pattern
from sim.stage import stage_of
from sim.study_days import Delays, Outcome
from sim.study_runs import DayAsked, Days, ShopText

#: Delays that are tried, seconds, as far as they clear the longest branch. Our own choice of steps.
STEPS_S = (5.0, 8.0, 12.0, 20.0, 30.0, 45.0, 60.0, 90.0, 120.0, 180.0, 240.0, 300.0)
#: Under so many starts in any hour, whatever the budget (the project's own promise for a day of short cuts).
STARTS_UNDER = 8
#: Under so many moves of one system's gates in any hour (likewise).
MOVES_UNDER = 30
#: A machine gets a delay of its own where that saves at least so much running time a day, seconds. Our own.
WORTH_S = 300.0
#: What no delay meets is as good as met within this of the least that any of them comes to. Our own.
CLOSE = 1.1
#: Chips in the ducts that nobody would find, kilograms. Our own.
NO_CHIPS_KG = 0.005


@dataclass(frozen=True, slots=True)
class Tried:
    """One delay of one collector over all days. Per-day figures are means; ``worst_*`` is over all days and hours."""

    delay_s: float
    days: int
    cuts: float
    airless: float
    airless_in_run: int
    starts: float
    worst_starts: int
    moves: float
    worst_moves: int
    running_s: float
    idle_s: float
    energy_kwh: float
    left_kg: float
    escaped_kg: float


@dataclass(frozen=True, slots=True)
class Demand:
    """One demand as it came out: what it asks, whether the recommended delay meets it, and in which words.

    ``is_hopeless``: no delay that was tried meets it.
    """

    asks: str
    is_met: bool
    said: str
    is_hopeless: bool = False

    @property
    def verdict(self) -> str:
        """How it came out, in a word or two."""
        return "met" if self.is_met else "no delay meets it" if self.is_hopeless else "not met"


@dataclass(frozen=True, slots=True)
class Answer:
    """What is recommended for one collector and its machines.

    ``now``: with the delays of the shop's file; ``tried``: one delay for all, by rising delay; ``common_s``: the best
    of them; ``own``: machines with a delay of their own; ``best``: the outcome with all of it; ``most_starts``: in any
    hour, as the second demand has it.
    """

    motor: str
    now_s: float
    now_own: Mapping[str, float]
    now: Tried
    tried: tuple[Tried, ...]
    common_s: float
    own: Mapping[str, float]
    best: Tried
    demands: tuple[Demand, ...]
    most_starts: int

    @property
    def changes_nothing(self) -> bool:
        """Whether the shop's file has these very delays."""
        return self.common_s == self.now_s and dict(self.own) == dict(self.now_own)


@dataclass(frozen=True, slots=True)
class SpinDownStudy:
    """The whole study: ``days`` of work drawn from ``seed`` on."""

    shop: Shop
    name: str
    days: int
    seed: int
    answers: tuple[Answer, ...]


def study_spin_down(text: ShopText, pattern: Pattern, days: Days, *, count: int, seed: int) -> SpinDownStudy:
    """Find the delays. Raises Stopped on Ctrl-C."""
    shop = text.shop()
    motors = [motor.name for motor in shop.motors.values() if motor.has_ducts and shop.tools_of(motor.name)]
    sweep = _Sweep(text, shop, pattern, days, range(seed, seed + count))
    return SpinDownStudy(shop, text.name, count, seed, tuple(sweep.answers(motors)))


class _Sweep:
    """Plays sets of delays over the same days."""

    def __init__(self, text: ShopText, shop: Shop, pattern: Pattern, days: Days, seeds: range) -> None:
        self._text, self._shop, self._pattern, self._days, self._seeds = text, shop, pattern, days, seeds
        self._plan = stage_of(shop).plan

    def answers(self, motors: Sequence[str]) -> list[Answer]:
        now = Delays(
            tuple((name, self._shop.motors[name].spin_down_s) for name in motors),
            tuple(
                sorted(
                    (tool.name, tool.spin_down_s) for tool in self._shop.tools.values() if tool.spin_down_s is not None
                )
            ),
        )
        steps = {name: self._steps(name) for name in motors}
        longest = max(len(each) for each in steps.values())
        # All collectors are swept in the same days: none can see another's delay.
        sets = [
            Delays(tuple((name, steps[name][min(at, len(steps[name]) - 1)]) for name in motors))
            for at in range(longest)
        ]
        outcomes = self._play([now, *sets])
        answers, common = [], {}
        for name in motors:
            tried = {}
            for delays, days in zip(sets, outcomes[1:], strict=True):
                delay_s = dict(delays.motors)[name]
                tried[delay_s] = _mean(delay_s, [day[name] for day in days])
            demands = Demands(self._plan.motors[name], list(tried.values()))
            common[name] = demands.best(list(tried.values())).delay_s
            answers.append((name, tried, demands))
        return [self._answer(name, tried, demands, now, outcomes[0], common) for name, tried, demands in answers]

    def _steps(self, motor: str) -> list[float]:
        """From the shortest whole second that clears the longest branch, as the controller computes it."""
        clear_s = float(math.ceil(max(gate.clear_s for gate in self._plan.gates_of(motor))))
        return sorted({clear_s, *(step for step in STEPS_S if step > clear_s)})

    def _play(self, sets: Sequence[Delays]) -> list[list[dict[str, Outcome]]]:
        """For each set of delays the outcomes of all days, the same days for each."""
        asked = [DayAsked(self._text, self._pattern, seed, delays) for delays in sets for seed in self._seeds]
        outcomes = self._days.outcomes(asked)
        count = len(self._seeds)
        return [outcomes[at : at + count] for at in range(0, len(outcomes), count)]

    def _answer(
        self,
        motor: str,
        tried: Mapping[float, Tried],
        demands: "Demands",
        now: Delays,
        now_days: Sequence[Mapping[str, Outcome]],
        common: Mapping[str, float],
    ) -> Answer:
        delays = Delays(tuple(common.items()))
        best = tried[common[motor]]
        own, best = self._own_delays(motor, delays, best, demands)
        mine = {tool.name for tool in self._shop.tools_of(motor)}
        now_s = dict(now.motors)[motor]
        return Answer(
            motor=motor,
            now_s=now_s,
            now_own={tool: value for tool, value in now.tools if tool in mine},
            now=_mean(now_s, [day[motor] for day in now_days]),
            tried=tuple(tried.values()),
            common_s=common[motor],
            own=own,
            best=best,
            demands=demands.told(best),
            most_starts=demands.most_starts,
        )

    def _own_delays(
        self, motor: str, delays: Delays, best: Tried, demands: "Demands"
    ) -> tuple[dict[str, float], Tried]:
        """Machines for which a shorter delay of their own is worth it, the one that saves most first."""
        tools = [tool.name for tool in self._shop.tools_of(motor)]
        if len(tools) < 2:
            return {}, best
        own: dict[str, float] = {}
        common_s = dict(delays.motors)[motor]
        shorter = [step for step in self._steps(motor) if step < common_s]
        waiting = list(tools)
        while waiting and shorter:
            # Every machine left, at the shortest delay: what could be saved at all.
            least = self._tried(motor, [delays.with_tool(tool, shorter[0]) for tool in waiting])
            gains = {tool: best.running_s - one.running_s for tool, one in zip(waiting, least, strict=True)}
            waiting = sorted((tool for tool in waiting if gains[tool] >= WORTH_S), key=lambda tool: -gains[tool])
            if not waiting:
                break
            tool = waiting.pop(0)
            every = self._tried(motor, [delays.with_tool(tool, step) for step in shorter])
            for step, one in zip(shorter, every, strict=True):
                if demands.keeps(one, best) and best.running_s - one.running_s >= WORTH_S:
                    own[tool], best = step, one
                    delays = delays.with_tool(tool, step)
                    break
        return own, best

    def _tried(self, motor: str, sets: Sequence[Delays]) -> list[Tried]:
        return [
            _mean(dict(delays.motors)[motor], [day[motor] for day in days])
            for delays, days in zip(sets, self._play(sets), strict=True)
        ]


class Demands:
    """The demands on one collector's delay, the first the most binding."""

    def __init__(self, plan: MotorPlan, tried: Sequence[Tried]) -> None:
        self._tried = tried
        self._budget = math.floor(plan.starts_capacity + plan.starts_per_hour)
        self.most_starts = min(STARTS_UNDER - 1, self._budget)
        self._left_kg = max(NO_CHIPS_KG, CLOSE * min(one.left_kg for one in tried))
        self._airless = CLOSE * min(one.airless_in_run for one in tried)
        self._moves = max(MOVES_UNDER - 1, CLOSE * min(one.worst_moves for one in tried))

    def misses(self, one: Tried) -> tuple[float, float, float, float]:
        """By how much each demand is missed; all 0 where all are met."""
        return (
            max(0.0, one.left_kg - self._left_kg),
            float(max(0, one.worst_starts - self.most_starts)),
            max(0.0, one.airless_in_run - self._airless),
            max(0.0, one.worst_moves - self._moves),
        )

    def best(self, tried: Sequence[Tried]) -> Tried:
        """One demand after the other, then the least running time; of equals the shorter delay."""
        return min(tried, key=lambda one: (*self.misses(one), round(one.running_s), one.delay_s))

    def keeps(self, one: Tried, best: Tried) -> bool:
        """Whether it misses no demand by more than the best one so far."""
        return all(mine <= others for mine, others in zip(self.misses(one), self.misses(best), strict=True))

    def told(self, best: Tried) -> tuple[Demand, ...]:
        """Each demand and how it came out."""
        tried = self._tried
        return (
            Demand(
                "no chips left in the ducts",
                best.left_kg <= NO_CHIPS_KG,
                f"{best.left_kg:.2f} kg there at the end of a day",
                all(one.left_kg > NO_CHIPS_KG for one in tried),
            ),
            Demand(
                f"at most {self.most_starts} motor starts in any hour",
                best.worst_starts <= self.most_starts,
                f"{best.worst_starts} in the worst hour; its budget is {self._budget}",
                all(one.worst_starts > self.most_starts for one in tried),
            ),
            Demand(
                "no cut without air after the first of a run",
                best.airless_in_run == 0,
                f"{best.airless_in_run} in {_days(best.days)}",
                all(one.airless_in_run for one in tried),
            ),
            Demand(
                f"under {MOVES_UNDER} gate moves in any hour",
                best.worst_moves < MOVES_UNDER,
                f"{best.worst_moves} in the worst hour",
                all(one.worst_moves >= MOVES_UNDER for one in tried),
            ),
        )


def _days(count: int) -> str:
    return "one day" if count == 1 else f"{count} days"


def _mean(delay_s: float, days: Sequence[Outcome]) -> Tried:
    count = len(days)

    def mean(values: Sequence[float]) -> float:
        return sum(values) / count

    return Tried(
        delay_s=delay_s,
        days=count,
        cuts=mean([day.cuts for day in days]),
        airless=mean([day.airless for day in days]),
        airless_in_run=sum(day.airless_in_run for day in days),
        starts=mean([day.starts for day in days]),
        worst_starts=max(day.worst_starts for day in days),
        moves=mean([day.moves for day in days]),
        worst_moves=max(day.worst_moves for day in days),
        running_s=mean([day.running_s for day in days]),
        idle_s=mean([day.idle_s for day in days]),
        energy_kwh=mean([day.energy_kwh for day in days]),
        left_kg=mean([day.left_kg for day in days]),
        escaped_kg=mean([day.escaped_kg for day in days]),
    )
