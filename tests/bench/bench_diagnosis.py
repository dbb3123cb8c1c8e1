"""False and true words of the watches on a collector's air: years of a healthy shop, a filter that loads, a blocked
branch.

The truth is the virtual shop's own air (``sim/duct_air.py``) at each load of the filter; the current of the motor, and
the suction at a hole in the main, are made from it with the spreads named below. The watches see the model for the
gates that are open, and what is measured. Run: ``python tests/bench/bench_diagnosis.py [YEARS]``.
"""

import math
import random
import sys
from dataclasses import dataclass

from gatekeeper.sensing.pressure_watch import PressureWatch, Way
from gatekeeper.sensing.suction_watch import Standing, SuctionWatch
from gatekeeper.service.air_systems import air_systems
from gatekeeper.shop.examples import example
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from sim.duct_air import LOAD_STEPS, PARTS, DuctAir
from sim.duct_air import Standing as Stands

#: Steady runs of a day, and working days of a year.
RUNS = 12
DAYS = 250
#: Spreads of the current, one standard deviation: the mains of the day, of one reading; the clamp's slow drift over a
#: year; and how far the air's density swings with the seasons. Our own assumptions.
MAINS, READING, DRIFT_A_YEAR, SEASON = 0.015, 0.01, 0.005, 0.03
#: What the motor takes of its full current to magnetise, and of its power without air. Textbook, for small motors.
MAGNETISES, IDLE_POWER = 0.45, 0.35


#: Of measured suction, one standard deviation: mains of the day (through the speed, twice), one reading, how a hose
#: hangs that day in one branch; the gauge's drift in a year; how far the model is off in one branch for good. Ours.
SPEED, SHOWN, HOSE, GAUGE_A_YEAR, MODEL = 0.006, 0.01, 0.02, 0.005, 0.15
#: The opening, in tenths, that a blocked branch has left.
BLOCKED = 3


@dataclass
class Room:
    """One shop's collector: per tool its set of gates, model flow and true flow by load."""

    model: dict[str, float]
    truth: dict[str, list[float]]
    most: float


def room_of(name: str) -> Room:
    path = example(name)
    shop = load_shop(path.read_text(encoding="utf-8"), path.name)
    assert not isinstance(shop, Faults)
    air = DuctAir(next(iter(air_systems(shop).values())))
    model, truth = {}, {}
    for tool in air.system.needs:
        own = set(shop.tools[tool].gates)
        openings = tuple(PARTS if gate in own else 0 for gate in air.gates)
        truth[tool] = [air.at(Stands(openings, step)).fan_m3s for step in range(LOAD_STEPS + 2)]
        model[tool] = truth[tool][0]
    return Room(model, truth, max(model.values()))


def air_short(room: Room, tool: str, load: float) -> float:
    """The share of air that a filter of this load costs; above full (1) it goes on as it went, and beyond."""
    step = min(load, 1.0) * LOAD_STEPS
    low = min(int(step), LOAD_STEPS - 1)
    truth = room.truth[tool]
    flow = truth[low] + (truth[low + 1] - truth[low]) * (step - low)
    return (1 - flow / room.model[tool]) * max(1.0, load)


def amps(flow: float, most: float, density: float) -> float:
    """The motor's current: magnetising across, power along, as shares of the full one."""
    power = (IDLE_POWER + (1 - IDLE_POWER) * flow / most) * density
    return 15.0 * math.hypot(MAGNETISES, power * math.sqrt(1 - MAGNETISES**2))


def day(watch: SuctionWatch, room: Room, number: int, load: float, chance: random.Random, phase: float) -> None:
    """One working day at one load of the filter, 0 to 1."""
    mains = 1 + chance.gauss(0, MAINS)
    drift = 1 + DRIFT_A_YEAR * number / DAYS
    density = 1 + SEASON * math.sin(2 * math.pi * number / DAYS + phase)
    for _ in range(RUNS):
        tool = chance.choice(list(room.model))
        flow = room.model[tool] * (1 - air_short(room, tool, load))
        seen = amps(flow, room.most, density) * mains * drift * (1 + chance.gauss(0, READING))
        watch.add(number, tool, room.model[tool], seen)


def healthy(room: Room, years: int) -> int:
    """False words in so many years: the filter loads to a fifth and is cleaned, over and over."""
    false = 0
    for year in range(years):
        chance, watch, told = random.Random(year), SuctionWatch(), False
        phase = chance.uniform(0, 2 * math.pi)
        for number in range(DAYS):
            day(watch, room, number, 0.2 * (number % 20) / 20, chance, phase)
            low = watch.verdict().standing is Standing.LOW
            false += low and not told
            told = low
    return false


def loading(room: Room, times: int) -> tuple[int, list[int], list[float], list[float]]:
    """A filter that loads to four times full in 240 days: found, after how many days, true and told shortfall."""
    days, true, said = [], [], []
    for seed in range(times):
        chance, watch = random.Random(1000 + seed), SuctionWatch()
        phase = chance.uniform(0, 2 * math.pi)
        for number in range(12 + 240):
            load = max(0, number - 12) / 60
            day(watch, room, number, load, chance, phase)
            verdict = watch.verdict()
            if verdict.standing is Standing.LOW:
                days.append(number - 12)
                true.append(max(1 - (1 - air_short(room, tool, load)) ** 2 for tool in room.model))
                said.append(verdict.suction_short)
                break
    return len(days), days, true, said


@dataclass
class Tap:
    """Suction at a hole in the main near the collector: per tool by the model, by load of the filter, and blocked."""

    model: dict[str, float]
    truth: dict[str, list[float]]
    blocked: dict[str, float]


def tap_of(name: str, duct: str) -> Tap:
    path = example(name)
    shop = load_shop(path.read_text(encoding="utf-8"), path.name)
    assert not isinstance(shop, Faults)
    air = DuctAir(next(iter(air_systems(shop).values())))
    model, truth, blocked = {}, {}, {}
    for tool in air.system.needs:
        own = set(shop.tools[tool].gates)

        def shown(opening: int, step: int, own: set[str] = own) -> float:
            openings = tuple(opening if gate in own else 0 for gate in air.gates)
            return air.pressures_at(Stands(openings, step)).suction_pa[duct]

        truth[tool] = [shown(PARTS, step) for step in range(LOAD_STEPS + 2)]
        model[tool], blocked[tool] = truth[tool][0], shown(BLOCKED, 0)
    return Tap(model, truth, blocked)


def suction(tap: Tap, tool: str, load: float) -> float:
    """What is so at the hole with a filter of this load; above full (1) it goes on as it went, and beyond."""
    step = min(load, 1.0) * LOAD_STEPS
    low = min(int(step), LOAD_STEPS - 1)
    truth = tap.truth[tool]
    lost = 1 - (truth[low] + (truth[low + 1] - truth[low]) * (step - low)) / truth[0]
    return truth[0] * (1 - min(0.9, lost * max(1.0, load)))


class Days:
    """Working days at one hole, with everything that is not quite so."""

    def __init__(self, tap: Tap, seed: int) -> None:
        self.tap, self.chance, self.watch = tap, random.Random(seed), PressureWatch()
        self.phase = self.chance.uniform(0, 2 * math.pi)
        self.off = {tool: self.chance.gauss(1, MODEL) for tool in tap.model}

    def day(self, number: int, load: float, blocked: str | None = None) -> None:
        chance = self.chance
        whole = 1 + chance.gauss(0, SPEED) + GAUGE_A_YEAR * number / DAYS
        whole *= 1 + SEASON * math.sin(2 * math.pi * number / DAYS + self.phase)
        hose = {tool: 1 + chance.gauss(0, HOSE) for tool in self.tap.model}
        for _ in range(RUNS):
            tool = chance.choice(list(self.tap.model))
            so = self.tap.blocked[tool] if tool == blocked else suction(self.tap, tool, load)
            shown = so * whole * hose[tool] * (1 + chance.gauss(0, SHOWN))
            self.watch.add(number, tool, tool, self.tap.model[tool] * max(0.4, self.off[tool]), shown)


def healthy_pressure(tap: Tap, years: int) -> int:
    """False words in so many years: the filter loads to a fifth and is cleaned, over and over."""
    false = 0
    for year in range(years):
        days, told = Days(tap, year), False
        for number in range(DAYS):
            days.day(number, 0.2 * (number % 20) / 20)
            speaks = days.watch.verdict().way in (Way.LOW, Way.HIGH)
            false += speaks and not told
            told = speaks
    return false


def loading_pressure(tap: Tap, times: int) -> tuple[list[int], list[float], list[float]]:
    """The same filter as above by its suction: after how many days, true and told shortfall."""
    found: list[int] = []
    true: list[float] = []
    said: list[float] = []
    for seed in range(times):
        days = Days(tap, 1000 + seed)
        for number in range(12 + 240):
            load = max(0, number - 12) / 60
            days.day(number, load)
            verdict = days.watch.verdict()
            if verdict.way is Way.LOW:
                found.append(number - 12)
                true.append(sum(1 - suction(tap, tool, load) / tap.model[tool] for tool in tap.model) / len(tap.model))
                said.append(-verdict.off)
                break
    return found, true, said


def blocked_branch(tap: Tap, times: int) -> tuple[int, int, list[int]]:
    """One branch blocked to three tenths from the 30th day on: told as that branch, told otherwise, after how long."""
    right = wrong = 0
    days_needed: list[int] = []
    tools = list(tap.model)
    for seed in range(times):
        days, tool = Days(tap, 2000 + seed), tools[seed % len(tools)]
        for number in range(70):
            days.day(number, 0.0, tool if number >= 30 else None)
            verdict = days.watch.verdict()
            if verdict.way in (Way.LOW, Way.HIGH):
                is_right = verdict.only_there and verdict.where == tool and verdict.way is Way.HIGH
                right, wrong = right + is_right, wrong + (not is_right)
                days_needed.append(number - 29)
                break
    return right, wrong, sorted(days_needed)


def tell_pressure(name: str, duct: str, years: int) -> None:
    tap = tap_of(name, duct)
    full = max(1 - tap.truth[tool][LOAD_STEPS] / tap.model[tool] for tool in tap.model)
    up = [tap.blocked[tool] / tap.model[tool] - 1 for tool in tap.model]
    false = healthy_pressure(tap, years)
    print(f"{name}, a gauge in {duct}: suction lost with a full filter {full:.0%}")
    print(f"  healthy: {false} false messages in {years} years ({false / years:.3f} a year)")
    found, true, said = loading_pressure(tap, 100)
    if found:
        found.sort()
        print(
            f"  loading to four times full in 240 days: found {len(found)} of 100, after {found[len(found) // 2]} in "
            f"the middle; true shortfall then {sum(true) / len(true):.0%}, told {sum(said) / len(said):.0%}"
        )
    right, wrong, needed = blocked_branch(tap, 60)
    middle = f", after {needed[len(needed) // 2]} days in the middle" if needed else ""
    print(
        f"  a branch blocked to three tenths (suction up by {min(up):.0%} to {max(up):.0%}): told as that branch "
        f"{right} of 60, otherwise {wrong}{middle}"
    )


def main() -> None:
    years = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    for name in ("garage-one-collector", "long-narrow"):
        room = room_of(name)
        full = max(1 - (room.truth[tool][LOAD_STEPS] / room.model[tool]) ** 2 for tool in room.model)
        false = healthy(room, years)
        found, days, true, said = loading(room, 100)
        print(f"{name}: suction lost with a full filter, at the worst machine: {full:.0%}")
        print(f"  healthy: {false} false messages in {years} years ({false / years:.3f} a year)")
        if days:
            days.sort()
            print(
                f"  loading to four times full in 240 days: found {found} of 100, after {days[len(days) // 2]} in the "
                f"middle; true shortfall then {sum(true) / len(true):.0%}, told {sum(said) / len(said):.0%}"
            )
        else:
            print("  loading to four times full in 240 days: never found")
    tell_pressure("garage-one-collector", "main near", years)
    tell_pressure("long-narrow", "main west", years)


if __name__ == "__main__":
    main()
