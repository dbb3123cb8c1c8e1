"""False and true words of the watch on a collector's air: years of a healthy shop, and a filter that loads.

The truth is the virtual shop's own air (``sim/duct_air.py``) at each load of the filter; the current of the motor is
made from it with the spreads named below. The watch sees the model for the gates that are open, and the current. Run:
``python tests/bench/bench_diagnosis.py [YEARS]``.
"""

import math
import random
import sys
from dataclasses import dataclass

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


if __name__ == "__main__":
    main()
