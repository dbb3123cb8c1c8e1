"""A small shop and days of short cuts, for studies that must be quick."""

from pathlib import Path

from gatekeeper.shop.model import Span
from sim.day_pattern import Habit, Pattern
from sim.scenario_fields import Between
from sim.study_runs import Days, ShopText
from sim.study_store import DayStore

SMALL = """\
# Two machines on one collector.
shop: {name: Two machines, units: metric, mains: 50 Hz, open_flue_nearby: no}
motors:
  collector:
    power: 1.5 kW
    inlet: 125 mm
    spin_down: 8 s    # the usual
    spin_up: 2 s
    switched_by: {pin: GPIO17, when_board_dies: drops}
ducts:
  main: {towards: collector, diameter: 125 mm, length: 4 m}
  mitre drop: {towards: main, diameter: 125 mm, length: 1 m}
  planer drop: {towards: main, diameter: 125 mm, length: 1 m}
gates:
  mitre gate: {duct: mitre drop, servo: {pin: GPIO12}, travel: 1 s}
  planer gate: {duct: planer drop, servo: {pin: GPIO13}, travel: 1 s}
tools:
  mitre saw: {gates: mitre gate, needs: 500 m3/h, sensor: {current_switch: GPIO23}}
  planer: {gates: planer gate, needs: 500 m3/h, sensor: {current_switch: GPIO24}}
"""
SHOP = ShopText(SMALL, "small.yaml")
DAY = Span(8 * 60, 16 * 60)


def short_cuts(planer_jobs: int = 0) -> Pattern:
    """120 cuts of 2 to 6 s at the mitre saw, twelve in a row, with up to 100 s between them."""
    habits = {"mitre saw": Habit(Between(10, 10), Between(12, 12), Between(2, 6), Between(8, 100))}
    if planer_jobs:
        jobs = Between(planer_jobs, planer_jobs)
        habits["planer"] = Habit(jobs, Between(2, 2), Between(60, 200), Between(20, 60))
    return Pattern(DAY, (), frozenset(), 1, habits)


def few_cuts() -> Pattern:
    """One hour with a handful of cuts."""
    habits = {
        "mitre saw": Habit(Between(1, 1), Between(4, 4), Between(2, 6), Between(8, 40)),
        "planer": Habit(Between(1, 1), Between(1, 1), Between(60, 100), Between(20, 60)),
    }
    return Pattern(Span(8 * 60, 9 * 60), (), frozenset(), 1, habits)


def days(folder: Path, processes: int = 1) -> Days:
    return Days(DayStore(folder, "test", "now"), processes)
