"""Gauges on the whole: the real service on a virtual shop, its page of care, and what is broken on the way."""

import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from gatekeeper.demo import Demo
from gatekeeper.service.clock import FastClock
from gatekeeper.service.running import Service
from gatekeeper.shop.examples import example
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from sim.bench import VirtualBench
from sim.faults import SensorFault
from sim.plant import VirtualShop
from sim.plant_faults import PlantFault

#: Only guards against hanging.
DEADLINE_S = 60.0
TEXT = (
    example("garage-one-collector")
    .read_text(encoding="utf-8")
    .replace("converters:\n", "converters:\n  air board: {kind: ADS1115}\n")
    + """
brokers:
  house: {host: broker.local}
meters:
  pascals: {broker: house, topic: air/suction, every: 1 s}
gauges:
  main gauge:
    duct: main near
    converter: air board
    channel: 1
    points: [500 mV at 0 Pa, 4.5 V at 5 kPa]
    divider: [10 kohm, 20 kohm]
  filter gauge:
    filter_of: collector
    converter: clamp board
    channel: 6
    points: [4 mA at 0 Pa, 20 mA at 2.5 kPa]
    resistor: 150 ohm
    clean_at: 1 kPa
  net gauge: {duct: riser, meter: pascals, counts_in: mm wg}
"""
)


class Room:
    """A garage with gauges under the real controller."""

    def __init__(self, folder: Path) -> None:
        shop = load_shop(TEXT, "garage.yaml")
        assert isinstance(shop, Shop), shop.lines()
        self.folder = folder
        self.demo = Demo(shop, folder, VirtualShop, VirtualBench, FastClock(4.0))
        self.demo.start()
        self.until(self.is_at_rest)

    @property
    def service(self) -> Service:
        return self.demo._service

    @property
    def plant(self) -> VirtualShop:
        plant = self.demo._plant
        assert isinstance(plant, VirtualShop)
        return plant

    def until(self, true: Callable[[], object], every: Callable[[], None] = lambda: None) -> None:
        ends_s = time.monotonic() + DEADLINE_S
        while not true():
            assert time.monotonic() < ends_s, self.service.last_view
            every()
            time.sleep(0.02)

    def is_at_rest(self) -> bool:
        core = self.service.last_view
        return core is not None and core.awake and all(tool.reading == "stopped" for tool in core.tools)

    def planer_runs(self) -> None:
        """On a starved machine what is found running starts nothing, so again."""
        for _ in range(5):
            self.until(self.is_at_rest)
            assert self.demo.bench.work("tool:planer", "on").accepted
            ends_s = time.monotonic() + DEADLINE_S / 4
            while time.monotonic() < ends_s:
                core = self.service.last_view
                if core is not None and core.motors[0].seen == "running":
                    return
                time.sleep(0.02)
            assert self.demo.bench.work("tool:planer", "off").accepted
        raise AssertionError("never ran")

    def look_each_second(self) -> None:
        """As care's own thread does, but by the shop's clock."""
        at_s = self.service.clock.now()
        self.until(lambda: self.service.clock.now() >= at_s + 1.0)
        self.service.care.look()

    def troubles(self) -> dict[str, str]:
        return dict(self.service.troubles().sentences)


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    made = Room(tmp_path)
    yield made
    made.demo.stop()


def test_what_is_so_in_the_ducts_is_measured_and_may_be_the_monthly_reading(room: Room) -> None:
    upkeep, care = room.demo.upkeep, room.service.care
    answer = upkeep.measured("main gauge", "Ada")
    assert (answer.accepted, answer.code) == (False, "nothing_measured")
    assert not upkeep.measured("filter gauge", "Ada").accepted
    assert not upkeep.measured("moon", "Ada").accepted
    room.planer_runs()
    room.until(lambda: len(care.pressure.measured()) == 2, room.look_each_second)
    so = {name: room.plant.gauges.pa(name) for name in room.service.shop.gauges}
    measured = {one.gauge: one for one in care.pressure.measured()}
    assert so["main gauge"] > 1000.0
    assert so["filter gauge"] > 100.0
    assert measured["main gauge"].pa == pytest.approx(so["main gauge"], rel=0.01)
    assert measured["net gauge"].pa == pytest.approx(so["net gauge"], rel=0.01)
    assert "planer gate" in measured["main gauge"].gates
    shown = {one.name: one for one in upkeep.view().motors[0].gauges}
    assert shown["main gauge"].measured is not None
    assert shown["main gauge"].watch_said == "Learning what main gauge shows on a good day: 0 of 10 working days."
    assert shown["filter gauge"].measured is None
    room.until(lambda: upkeep.view().motors[0].gauges[1].said.endswith(" in wg across the filter now."))
    answer = upkeep.measured("main gauge", "Ada")
    assert answer.accepted
    assert answer.sentence.startswith("Written down: ")
    assert answer.sentence.endswith(", measured by main gauge.")
    (trend,) = upkeep.view().trends
    assert trend.readings[0].by == "Ada, measured by main gauge"
    assert (room.folder / "measured.json").is_file()
    # A starved machine may miss a converter for a moment; nothing stands for good.
    of_them = ("gauge", "converter", "broker")
    room.until(lambda: not any(code.partition(":")[0] in of_them for code in room.troubles()))


def test_what_is_broken_is_said_once_and_heals(room: Room) -> None:
    def stands(code: str) -> Callable[[], bool]:
        return lambda: code in room.troubles()

    room.until(lambda: all(one.pa is not None for one in room.service.gauges.readings().values()))
    room.plant.faults.break_sensor("gauge:main gauge", SensorFault.DEAD)
    room.plant.faults.break_sensor("gauge:net gauge", SensorFault.DEAD)
    room.until(stands("gauge:main gauge"))
    assert room.troubles()["gauge:main gauge"] == (
        "The gauge main gauge gives 0.00 V, and no pressure is 0.50 V: a wire is broken, or it has no supply."
    )
    room.until(stands("gauge:net gauge"))
    assert room.troubles()["gauge:net gauge"] == "Nothing comes from the gauge net gauge: its pressure is not known."
    room.plant.faults.break_sensor("gauge:main gauge", None)
    room.plant.faults.break_sensor("gauge:net gauge", None)
    room.until(lambda: not stands("gauge:main gauge")() and not stands("gauge:net gauge")())
    # A chip without its plug is one trouble, and not one for each gauge on it.
    room.plant.faults.mute("air board", True)
    room.until(stands("converter:air board"))
    room.until(lambda: room.service.gauges.pressures()["main gauge"] is None)
    assert not stands("gauge:main gauge")()


def test_a_blocked_filter_takes_all_and_the_duct_loses_its_suction(room: Room) -> None:
    room.planer_runs()
    room.until(lambda: room.plant.motors()["collector"].speed == 1.0)
    assert room.plant.gauges.pa("main gauge") > 1500.0
    room.plant.life.air.break_system(PlantFault.BLOCKED_FILTER, "collector", True)
    # Its air switch soon stops the fan; until then nearly all of the fan's pressure lies across the filter.
    assert room.plant.gauges.pa("filter gauge") > 5 * room.plant.gauges.pa("main gauge")
    room.until(lambda: (room.service.gauges.pressures()["filter gauge"] or 0.0) > 1000.0)
