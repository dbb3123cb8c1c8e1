"""A measured pressure against day one: silent until it has learned, then below, above, or one branch alone."""

import json
import random

import pytest

from gatekeeper.sensing.pressure_watch import (
    BASE_DAYS,
    EACH_DAY,
    MOST_SETS,
    PressureVerdict,
    PressureWatch,
    Way,
)

#: What the model says at the gauge for each machine, pascals; what the gauge shows there on day one.
MODEL = {"planer": 2000.0, "saw": 1600.0, "sander": 1800.0}
SHOWS = {"planer": 2300.0, "saw": 1500.0, "sander": 1800.0}


def days(
    watch: PressureWatch, first: int, count: int, times: dict[str, float] | float = 1.0, runs: int = 4, seed: int = 1
) -> None:
    """So many days with so many runs of each machine, each showing ``times`` what it showed on day one."""
    chance = random.Random(seed)
    for day in range(first, first + count):
        for name, shows in SHOWS.items():
            share = times if isinstance(times, float) else times.get(name, 1.0)
            for _ in range(runs):
                watch.add(day, name, f"{name} gate", MODEL[name], shows * share * (1 + chance.gauss(0, 0.01)))


def learned() -> PressureWatch:
    watch = PressureWatch()
    days(watch, 0, BASE_DAYS + 1)
    return watch


def test_nothing_is_said_before_a_base_line_exists() -> None:
    watch = PressureWatch()
    for day in range(BASE_DAYS):
        assert watch.verdict() == PressureVerdict(Way.LEARNING, day - 1 if day else 0)
        assert watch.last_off is None
        days(watch, day, 1, 0.4 if day > 7 else 1.0)
    days(watch, BASE_DAYS, 1)
    assert watch.verdict().way is Way.WELL


def test_a_day_with_few_runs_does_not_count() -> None:
    watch = PressureWatch()
    for day in range(3 * BASE_DAYS):
        for _ in range(EACH_DAY - 1):
            watch.add(day, "saw", "saw gate", 1600.0, 1500.0)
    assert watch.verdict() == PressureVerdict(Way.LEARNING, 0)


def test_a_model_that_is_wrong_for_each_branch_in_its_own_way_is_no_deviation() -> None:
    watch = learned()
    days(watch, BASE_DAYS + 1, 40)
    assert watch.verdict() == PressureVerdict(Way.WELL, BASE_DAYS)
    assert watch.last_off == pytest.approx(0.0, abs=0.01)


@pytest.mark.parametrize(("times", "way"), [(0.8, Way.LOW), (0.88, Way.LOW), (1.2, Way.HIGH)])
def test_what_stays_below_or_above_is_told_with_its_share_and_is_over_when_it_is(times: float, way: Way) -> None:
    watch = learned()
    days(watch, 20, 12, times)
    verdict = watch.verdict()
    assert verdict.way is way
    assert verdict.off == pytest.approx(times - 1.0, abs=0.01)
    assert verdict.where in SHOWS
    assert not verdict.only_there
    days(watch, 40, 6)
    assert watch.verdict() == PressureVerdict(Way.WELL, BASE_DAYS)


@pytest.mark.parametrize("times", [0.95, 1.05])
def test_what_lies_within_the_slack_is_never_told(times: float) -> None:
    watch = learned()
    days(watch, 20, 200, times)
    assert watch.verdict().way is Way.WELL


def test_one_bad_day_proves_nothing() -> None:
    watch = learned()
    days(watch, 20, 1, 0.8)
    days(watch, 21, 2)
    assert watch.verdict().way is Way.WELL


@pytest.mark.parametrize(("times", "way"), [(1.25, Way.HIGH), (0.75, Way.LOW)])
def test_one_branch_alone_is_told_as_that_branch(times: float, way: Way) -> None:
    watch = learned()
    days(watch, 20, 8, {"saw": times})
    verdict = watch.verdict()
    assert verdict.way is way
    assert verdict.only_there
    assert verdict.where == "saw"
    assert verdict.off == pytest.approx(times - 1.0, abs=0.02)


def test_a_branch_is_measured_by_the_others_so_weather_and_filter_fall_out() -> None:
    watch = learned()
    days(watch, 20, 8, {"planer": 0.93, "saw": 1.07, "sander": 0.93})
    verdict = watch.verdict()
    assert (verdict.way, verdict.where, verdict.only_there) == (Way.HIGH, "saw", True)
    assert verdict.off == pytest.approx(0.14, abs=0.02)


def test_where_it_is_seen_most_is_named() -> None:
    watch = learned()
    days(watch, 20, 12, {"planer": 0.7, "saw": 0.85, "sander": 0.85})
    verdict = watch.verdict()
    assert (verdict.way, verdict.where, verdict.only_there) == (Way.LOW, "planer", False)


def test_a_press_of_cleaned_judges_anew_at_once() -> None:
    watch = learned()
    days(watch, 20, 12, 0.8)
    watch.mended()
    assert watch.verdict() == PressureVerdict(Way.WELL, BASE_DAYS)
    days(watch, 40, 12, 0.8)
    assert watch.verdict().way is Way.LOW


def test_gates_that_the_base_line_did_not_see_are_learned_while_all_is_well() -> None:
    watch = learned()
    for day in range(20, 24):
        days(watch, day, 1)
        for _ in range(5):
            watch.add(day, "lathe", "lathe gate", 1000.0, 1300.0)
    assert watch.verdict().way is Way.WELL
    for day in range(24, 34):
        days(watch, day, 1)
        for _ in range(5):
            watch.add(day, "lathe", "lathe gate", 1000.0, 0.7 * 1300.0)
    assert (watch.verdict().where, watch.verdict().only_there, watch.verdict().way) == ("lathe", True, Way.LOW)


def test_everything_is_kept_as_json_and_goes_on_as_if_nothing_had_been() -> None:
    one, other = PressureWatch(), PressureWatch()
    for day in range(40):
        times = 1.0 if day < 25 else 0.8
        days(one, day, 1, times, seed=day)
        days(other, day, 1, times, seed=day)
        other = PressureWatch(json.loads(json.dumps(other.state())))
        assert other.state() == one.state()
    assert one.verdict().way is Way.LOW
    assert other.verdict() == one.verdict()


@pytest.mark.parametrize(
    "change",
    [
        {"form": 2},
        {"days": [[1.0]]},
        {"days": "no"},
        {"sets": {"saw gate": [1.0, 2.0, 3.0]}},
        {"machines": {}},
        {"whole": [0.0, 0.0, [], "moon"]},
        {"branches": {"saw gate": 7}},
        {"spread": "wide"},
    ],
)
def test_a_record_that_cannot_be_read_begins_anew(change: dict[str, object]) -> None:
    kept = {**learned().state(), **change}
    assert PressureWatch(kept).verdict() == PressureVerdict(Way.LEARNING, 0)
    assert PressureWatch("no record").verdict() == PressureVerdict(Way.LEARNING, 0)


def test_more_sets_of_gates_than_it_holds_are_left_out() -> None:
    watch = PressureWatch()
    for number in range(MOST_SETS + 20):
        watch.add(0, "saw", f"set {number}", 1000.0, 900.0)
    assert len(watch.state()["sets"]) == MOST_SETS


def test_what_the_model_does_not_expect_is_no_run() -> None:
    watch = PressureWatch()
    watch.add(0, "saw", "saw gate", 0.0, 900.0)
    assert watch.state() == PressureWatch().state()
