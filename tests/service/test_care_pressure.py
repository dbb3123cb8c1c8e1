"""Measured pressures in care: steady runs against the model, a filter's thresholds, words, and what is laid ready."""

import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from gatekeeper.control.messages import Woke
from gatekeeper.control.snapshot import CoreView
from gatekeeper.control.supervisor import Supervisor
from gatekeeper.records.care_log import Done
from gatekeeper.sensing.pressure_watch import BASE_DAYS, PressureVerdict, Way
from gatekeeper.service.air_systems import AirSystem, air_systems
from gatekeeper.service.care_jobs import FilterLoad, jobs_of, sentences
from gatekeeper.service.care_pressure import (
    MEASURED_AGAIN_S,
    MEASURED_FILE,
    Measured,
    PressureCare,
    gauge_said,
    read_measured,
    told,
)
from gatekeeper.service.planning import plan_of
from gatekeeper.shop.examples import example
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

TEXT = (
    example("garage-one-collector")
    .read_text(encoding="utf-8")
    .replace("converters:\n", "converters:\n  air board: {kind: ADS1115}\n")
    + """
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
    clean_at: 400 Pa
    today_at: 600 Pa
"""
)
#: A wall clock far from any other.
WALL_S = 1_800_000_000.0


def garage() -> Shop:
    shop = load_shop(TEXT, "garage.yaml")
    assert isinstance(shop, Shop), shop.lines()
    return shop


SHOP = garage()
SYSTEMS: Mapping[str, AirSystem] = air_systems(SHOP)


def woken() -> CoreView:
    core = Supervisor(plan_of(SHOP), boot="b", run="r")
    core.handle(Woke(), 0.0)
    return core.snapshot()


CORE = woken()


def works(machine: str = "planer", gate: str = "planer gate") -> CoreView:
    """The collector at speed, one machine running, its gate open."""
    core = CORE
    motor = replace(core.motors[0], on=True, seen="running", switched_at_s=0.0)
    tools = tuple(replace(tool, counting=tool.name == machine) for tool in core.tools)
    gates = tuple(
        replace(one, belief="open" if one.name == gate else "shut", is_open=one.name == gate) for one in core.gates
    )
    return replace(core, motors=(motor,), tools=tools, gates=gates)


def model_pa(gate: str = "planer gate", speed: float = 1.0) -> float:
    prepared = SYSTEMS["collector"].prepared
    moved = prepared.with_fan(prepared.network.fan.scaled(speed))
    return -moved.solve({gate}).ducts()["main near"].static_downstream_pa


class Bench:
    """Care's pressures with a clock of the test's own; ``main`` and ``filter`` are what the gauges show."""

    def __init__(self, folder: Path, kept: Mapping[str, Any] | None = None) -> None:
        self.care = PressureCare(SHOP, SYSTEMS, kept or {}, folder)
        self.now_s, self.day = 100.0, 0
        self.main: float | None = 2000.0
        self.filter: float | None = 200.0
        self.speed: Callable[[str], float | None] = lambda motor: 1.0

    def run(self, runs: int = 1, machine: str = "planer", gate: str = "planer gate") -> None:
        """So many steady runs, one for each minute and what eight looks take."""
        for _ in range(runs):
            for _ in range(67):
                self.now_s += 1.0
                shown = {"main gauge": self.main, "filter gauge": self.filter}
                self.care.look(works(machine, gate), self.now_s, WALL_S + self.now_s, self.day, shown, self.speed)


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


# ---------------------------------------------------------------- against day one


def test_suction_below_day_one_is_told_with_the_machine_and_what_to_look_at(bench: Bench) -> None:
    for day in range(BASE_DAYS + 1):
        bench.day = day
        bench.main, bench.filter = 1.1 * model_pa(), 200.0
        bench.run(3)
        bench.main = 1.1 * model_pa("saw gate")
        bench.run(3, "table saw", "saw gate")
    assert bench.care.sentences() == {}
    for day in range(BASE_DAYS + 1, BASE_DAYS + 6):
        bench.day = day
        bench.main, bench.filter = 0.8 * 1.1 * model_pa(), 300.0
        bench.run(3)
        bench.main = 0.8 * 1.1 * model_pa("saw gate")
        bench.run(3, "table saw", "saw gate")
    (said,) = bench.care.sentences().items()
    assert said[0] == "pressure_low:collector"
    assert said[1].endswith(
        "is 20% below day one, measured by main gauge, and the filter takes 50% more for the same air: clean the "
        "filter, then the bin."
    )
    bench.care.done("filter_cleaned", "collector")
    assert bench.care.sentences() == {}
    (_, verdict) = bench.care.verdicts()["main gauge"]
    assert verdict.way is Way.WELL
    bench.care.done("day_one", "collector")
    (_, verdict) = bench.care.verdicts()["main gauge"]
    assert verdict == PressureVerdict(Way.LEARNING, 0)


def test_a_drive_that_turns_slower_is_compared_with_a_model_at_that_speed(bench: Bench) -> None:
    for day in range(BASE_DAYS + 1):
        bench.day, bench.main = day, model_pa()
        bench.run(6)
    bench.speed = lambda motor: 0.7
    for day in range(BASE_DAYS + 1, BASE_DAYS + 12):
        bench.day, bench.main = day, model_pa(speed=0.7)
        bench.run(6)
    assert bench.care.verdicts()["main gauge"][1].way is Way.WELL
    assert model_pa(speed=0.7) < 0.55 * model_pa()
    assert bench.care.measured()[0].speed == 0.7


def test_nothing_is_taken_while_a_pressure_or_a_speed_is_not_known(bench: Bench) -> None:
    bench.main = None
    bench.run(2)
    assert bench.care.measured() == ()
    bench.main, bench.speed = 2000.0, lambda motor: None
    bench.run(2)
    assert bench.care.measured() == ()
    bench.speed = lambda motor: 1.0
    bench.run()
    (one,) = bench.care.measured()
    assert (one.gauge, one.motor, one.tap, one.gates, one.pa) == (
        "main gauge",
        "collector",
        "main near",
        ("planer gate",),
        2000.0,
    )


def test_what_was_learned_is_kept_and_goes_on(bench: Bench, tmp_path: Path) -> None:
    bench.filter = 700.0
    bench.run(3)
    assert bench.care.owes
    keeps = {keep.key: json.loads(json.dumps(keep.value)) for keep in bench.care.keeps()}
    assert sorted(keeps) == ["care/filter gauge/pressure", "care/main gauge/pressure"]
    assert not bench.care.owes
    again = Bench(tmp_path, keeps)
    assert again.care.loads() == bench.care.loads()
    assert {keep.key: keep.value for keep in again.care.keeps()} == {}
    assert Bench(tmp_path, {"care/filter gauge/pressure": {"level": {"word": "today", "last": "x"}}}).care.loads() == {}


# ---------------------------------------------------------------- the filter


def test_a_filter_calls_by_two_of_four_runs_first_when_you_can_then_today(bench: Bench) -> None:
    bench.filter = 420.0
    bench.run()
    assert bench.care.loads() == {}
    bench.filter = 380.0
    bench.run()
    bench.filter = 430.0
    bench.run()
    assert bench.care.loads() == {"collector": FilterLoad(430.0, 400.0, is_today=False)}
    bench.filter = 610.0
    bench.run(2)
    assert bench.care.loads() == {"collector": FilterLoad(610.0, 400.0, is_today=True)}
    # Less air through a small machine takes less, and does not end it.
    bench.filter = 300.0
    bench.run(3)
    assert bench.care.loads()["collector"].is_today
    bench.care.done("bin_emptied", "collector")
    assert bench.care.loads()["collector"].is_today
    bench.care.done("filter_cleaned", "collector")
    assert bench.care.loads() == {}


def test_a_filter_that_somebody_cleaned_without_a_word_is_seen_to_be(bench: Bench) -> None:
    bench.filter = 450.0
    bench.run(2)
    bench.filter = 319.0
    bench.run(5)
    assert bench.care.loads() != {}
    bench.run()
    assert bench.care.loads() == {}


def test_a_fan_that_turns_slower_calls_for_nothing(bench: Bench) -> None:
    bench.filter, bench.speed = 700.0, lambda motor: 0.8
    bench.run(4)
    assert bench.care.loads() == {}


def filter_job(load: FilterLoad | None, cleaned_running_s: float | None = None) -> dict[str, str]:
    log = []
    if cleaned_running_s is not None:
        log = [Done(WALL_S, "filter_cleaned", "collector", "Ada", {"running_s": -cleaned_running_s})]
    jobs = jobs_of(SHOP, log, [], frozenset(), WALL_S, {"collector": load} if load is not None else {})
    return sentences(jobs, [], {}, lambda pa: f"{pa:.0f} Pa")


def test_a_loaded_filter_stands_in_the_heap_that_its_threshold_says() -> None:
    assert filter_job(None) == {}
    assert filter_job(FilterLoad(430.0, 400.0, is_today=False)) == {
        "filter_loaded:collector": "The filter of collector takes 430 Pa; from 400 Pa on it wants cleaning."
    }
    assert filter_job(FilterLoad(610.0, 400.0, is_today=True)) == {
        "filter_called:collector": "The filter of collector takes 610 Pa; from 400 Pa on it wants cleaning."
    }


def test_a_filter_that_calls_soon_after_a_cleaning_sends_one_to_the_bin() -> None:
    assert filter_job(FilterLoad(430.0, 400.0, is_today=False), 4.2 * 3600.0) == {
        "filter_loaded:collector": "The filter of collector takes 430 Pa; from 400 Pa on it wants cleaning. It was "
        "cleaned 4.2 h of running ago: look into the bin first, for a full one sends its dust to the filter."
    }


# ---------------------------------------------------------------- words


GAUGE = SHOP.gauges["main gauge"]


@pytest.mark.parametrize(
    ("verdict", "filter_off", "said"),
    [
        (
            PressureVerdict(Way.LOW, 10, -0.2, "planer"),
            None,
            "Suction at planer is 20% below day one, measured by main gauge: look in this order: bin, filter, hose.",
        ),
        (
            PressureVerdict(Way.LOW, 10, -0.2, "planer"),
            0.15,
            "Suction at planer is 20% below day one, measured by main gauge: look in this order: bin, filter, hose.",
        ),
        (
            PressureVerdict(Way.LOW, 10, -0.2, "planer"),
            0.6,
            "Suction at planer is 20% below day one, measured by main gauge, and the filter takes 60% more for the "
            "same air: clean the filter, then the bin.",
        ),
        (
            PressureVerdict(Way.LOW, 10, -0.2, "planer"),
            0.02,
            "Suction at planer is 20% below day one, measured by main gauge, and the filter takes no more than then: "
            "look in this order: hose, gates that leak, fan.",
        ),
        (
            PressureVerdict(Way.LOW, 10, -0.2, "planer", only_there=True),
            None,
            "Suction with planer running is 20% below day one, measured by main gauge, and with the others it is not: "
            "its branch leaks. Look in this order: hose, gate, hood.",
        ),
        (
            PressureVerdict(Way.HIGH, 10, 0.25, "planer", only_there=True),
            0.0,
            "Suction with planer running is 25% above day one, measured by main gauge, and with the others it is not: "
            "its branch lets less air in. Look in this order: gate, hose, hood.",
        ),
        (
            PressureVerdict(Way.HIGH, 10, 0.25, "planer"),
            None,
            "Suction is 25% above day one, measured by main gauge, whatever runs: less air comes through in front of "
            "main near. Look in this order: main, gates, hoods.",
        ),
        (
            PressureVerdict(Way.HIGH, 10, 0.25, "planer"),
            -0.3,
            "Suction is 25% above day one, measured by main gauge and the filter takes less, whatever runs: less air "
            "comes through in front of main near. Look in this order: main, gates, hoods.",
        ),
    ],
)
def test_filter_branch_and_leak_are_told_apart_where_two_gauges_allow(
    verdict: PressureVerdict, filter_off: float | None, said: str
) -> None:
    assert told(GAUGE, verdict, filter_off) == said


def test_a_gauge_says_of_itself_how_far_it_is() -> None:
    assert gauge_said(GAUGE, PressureVerdict(Way.LEARNING, 3)) == (
        "Learning what main gauge shows on a good day: 3 of 10 working days."
    )
    assert gauge_said(GAUGE, PressureVerdict(Way.WELL, 10)) == "By main gauge suction is as on day one."
    assert gauge_said(GAUGE, PressureVerdict(Way.LOW, 10, -0.21)) == "By main gauge suction is about 21% below day one."


# ---------------------------------------------------------------- laid ready for the terminal


def test_the_newest_value_is_laid_ready_and_written_seldom(bench: Bench, tmp_path: Path) -> None:
    path = tmp_path / MEASURED_FILE
    assert read_measured(tmp_path) == []
    bench.run()
    (one,) = bench.care.measured()
    assert read_measured(tmp_path) == [replace(one, pa=round(one.pa, 1))]
    path.unlink()
    bench.main = 1900.0
    bench.run()
    assert not path.exists()
    bench.run(1, "table saw", "saw gate")
    assert [found.gates for found in read_measured(tmp_path)] == [("saw gate",)]
    path.unlink()
    bench.run(int(MEASURED_AGAIN_S / 67) + 1, "table saw", "saw gate")
    assert path.exists()


@pytest.mark.parametrize("text", ["", "{}", "[1]", '[{"gauge": "g"}]', "\x00", '[{"gates": 3}]'])
def test_a_damaged_file_of_values_is_none(tmp_path: Path, text: str) -> None:
    (tmp_path / MEASURED_FILE).write_text(text, encoding="utf-8")
    assert read_measured(tmp_path) == []


def test_a_value_knows_whether_it_is_written_down() -> None:
    one = Measured("main gauge", "collector", "main near", ("planer gate",), 1234.56, WALL_S, 1.0)
    slow = replace(one, speed=0.8)
    assert one.more() == {
        "tap": "main near",
        "gates": ["planer gate"],
        "pa": 1234.6,
        "measured": "main gauge",
        "measured_at_s": WALL_S,
    }
    assert slow.more()["speed"] == 0.8
    log = [Done(WALL_S + 5.0, "suction", "collector", "Ada", one.more())]
    assert one.is_in(log)
    assert not replace(one, at_s=WALL_S + 1.0).is_in(log)
    assert not one.is_in([])
