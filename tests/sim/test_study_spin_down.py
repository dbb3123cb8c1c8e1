"""The spin-down study: what it recommends for a day of short cuts, and how it chooses."""

from dataclasses import replace
from pathlib import Path

import pytest
from study_shops import SHOP, days, few_cuts, short_cuts

from gatekeeper.control.plan import MotorPlan
from gatekeeper.shop.examples import example
from sim.study_days import Outcome
from sim.study_runs import ShopText
from sim.study_spin_down import Answer, Demands, _mean, study_spin_down
from sim.study_words import delays_said, file_changes, spin_down_lines

PLAN = MotorPlan("collector", starts_per_hour=11.5)
WELL = Outcome(100, 4, 0, 20, 5, 40, 12, 4000.0, 1000.0, 2.0, 0.0, 0.1, 5.0, {})


@pytest.fixture(scope="module")
def answer(tmp_path_factory: pytest.TempPathFactory) -> Answer:
    """Two days of 120 short cuts, and the planer twice."""
    with days(tmp_path_factory.mktemp("days")) as played:
        study = study_spin_down(SHOP, short_cuts(planer_jobs=2), played, count=2, seed=0)
    (only,) = study.answers
    return only


def test_a_day_of_short_cuts_comes_out_under_the_promised_figures(answer: Answer) -> None:
    """Under eight motor starts and thirty gate moves an hour, and no cut without air after the first of a run."""
    assert answer.best.cuts >= 120
    assert answer.best.worst_starts < 8
    assert answer.best.worst_moves < 30
    assert answer.best.airless_in_run == 0
    assert answer.best.left_kg < 0.005
    assert [one.verdict for one in answer.demands] == ["met"] * 4


def test_so_it_does_in_the_garage_whose_mitre_saw_needs_an_extra_gate(tmp_path: Path) -> None:
    """The planer gate gives the main more air while the saw cuts: it stays open from one cut to the next."""
    garage = ShopText(example("garage-one-collector").read_text(encoding="utf-8"), "garage-one-collector")
    with days(tmp_path) as played:
        (answer,) = study_spin_down(garage, short_cuts(), played, count=1, seed=0).answers

    assert answer.best.cuts == 120
    assert answer.best.worst_starts < 8
    assert answer.best.worst_moves < 30
    assert answer.best.airless_in_run == 0
    assert 0 < answer.best.airless <= 10, "at most the first of each of the ten runs"
    assert 60.0 <= answer.common_s <= 120.0


def test_the_usual_delay_of_eight_seconds_would_not_do(answer: Answer) -> None:
    eight = next(one for one in answer.tried if one.delay_s == 8.0)

    assert eight.airless_in_run > 0
    assert eight.worst_starts >= 8
    assert eight.running_s > answer.best.running_s


def test_it_is_the_least_running_time_of_all_that_meet_the_demands(answer: Answer) -> None:
    good = [one for one in answer.tried if one.worst_starts < 8 and not one.airless_in_run and one.left_kg < 0.005]

    assert len(good) > 1
    assert min(good, key=lambda one: one.running_s).delay_s == answer.common_s
    assert answer.best.running_s <= min(one.running_s for one in good)


def test_a_machine_that_would_save_little_gets_no_delay_of_its_own(answer: Answer) -> None:
    """The planer runs twice a day: less than five minutes could be saved."""
    assert answer.own == {}
    assert delays_said(answer) == f"Best: the collector keeps running {answer.common_s:g} s after the last tool stops."


def test_delays_are_tried_from_the_clear_time_to_five_minutes(answer: Answer) -> None:
    assert [one.delay_s for one in answer.tried] == [2, 5, 8, 12, 20, 30, 45, 60, 90, 120, 180, 240, 300]


def chosen(*tried: Outcome) -> float:
    """Which one is taken, by its place."""
    every = [_mean(float(place), [one]) for place, one in enumerate(tried)]
    return Demands(PLAN, every).best(every).delay_s


def test_demands_come_one_after_the_other() -> None:
    """Chips before starts, starts before cuts without air, those before gate moves, and running time last."""
    chips, starts = replace(WELL, left_kg=0.5), replace(WELL, worst_starts=9)
    airless, moves = replace(WELL, airless_in_run=3), replace(WELL, worst_moves=40)
    long = replace(WELL, running_s=9000.0)

    assert chosen(chips, starts, airless, moves, long) == 4
    assert chosen(chips, starts, airless, moves) == 3
    assert chosen(chips, starts, airless) == 2
    assert chosen(chips, starts) == 1


def test_of_equals_the_shorter_delay_is_taken() -> None:
    assert chosen(WELL, WELL) == 0


def test_what_no_delay_meets_is_said_and_does_not_decide() -> None:
    many = replace(WELL, worst_moves=50)
    more, fewer_starts = replace(many, worst_starts=9), replace(many, running_s=5000.0)
    every = [_mean(float(place), [one]) for place, one in enumerate((more, fewer_starts))]
    asked = Demands(PLAN, every)

    assert asked.best(every).delay_s == 1
    assert [one.verdict for one in asked.told(every[1])] == ["met", "met", "met", "no delay meets it"]


def test_what_no_delay_meets_counts_as_met_within_a_tenth() -> None:
    """50 moves against 54 is as good as the same, against 56 it is not."""
    longest, near, far = (
        replace(WELL, worst_moves=50, running_s=9000.0),
        replace(WELL, worst_moves=54, running_s=5000.0),
        replace(WELL, worst_moves=56, running_s=1000.0),
    )

    assert chosen(longest, near, far) == 1


def test_the_motors_own_budget_may_be_less() -> None:
    """Two starts in store and 1.9 an hour: three in an hour."""
    every = [_mean(8.0, [WELL])]

    told = Demands(replace(PLAN, starts_per_hour=1.9), every).told(every[0])
    assert told[1].asks == "at most 3 motor starts in any hour"
    assert told[1].said == "5 in the worst hour; its budget is 3"
    assert told[1].verdict == "no delay meets it"


def test_a_machine_gets_a_delay_of_its_own_where_that_saves_time(tmp_path: Path) -> None:
    """Long cuts at the planer all day beside the short ones: after the planer nobody needs the collector."""
    with days(tmp_path) as played:
        study = study_spin_down(SHOP, short_cuts(planer_jobs=12), played, count=1, seed=3)
    (answer,) = study.answers

    alike = next(one for one in answer.tried if one.delay_s == answer.common_s)
    assert set(answer.own) == {"planer"}
    assert answer.own["planer"] < answer.common_s
    assert alike.running_s - answer.best.running_s >= 300.0
    assert delays_said(answer) == (
        f"Best: the collector keeps running {answer.common_s:g} s after the last tool stops; "
        f"{answer.own['planer']:g} s are enough after the planer."
    )


def test_the_file_is_told_what_differs_from_it() -> None:
    tried = _mean(60.0, [WELL])
    answer = Answer("collector", 8.0, {"mitre saw": 90.0}, tried, (tried,), 60.0, {"planer": 5.0}, tried, (), 7)

    assert file_changes([answer]) == [
        (("motors", "collector"), "60 s"),
        (("tools", "planer"), "5 s"),
        (("tools", "mitre saw"), "60 s"),
    ]
    same = replace(answer, now_s=60.0, now_own={"planer": 5.0})
    assert same.changes_nothing
    assert file_changes([same]) == []


def test_the_same_days_give_the_same_answer_on_any_number_of_cores(tmp_path: Path) -> None:
    told = []
    for name, processes in (("one", 1), ("two", 2)):
        with days(tmp_path / name, processes) as played:
            study = study_spin_down(SHOP, few_cuts(), played, count=1, seed=5)
            assert played.played > 0
        told.append(spin_down_lines(study))

    assert told[0] == told[1]
    assert told[0][0] == "Two machines (small.yaml): the spin-down delay, from one working day, seed 5 on."
