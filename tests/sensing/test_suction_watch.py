"""The watch on a collector's air: silent at first, slow to speak, quiet again once it is mended."""

import json
import random

import pytest

from gatekeeper.sensing.suction_watch import BASE_DAYS, EACH_DAY, Standing, SuctionWatch, Verdict

FLOWS = {"planer": 0.30, "table saw": 0.24, "sander": 0.18}


def amps(flow: float) -> float:
    return 5.0 + 25.0 * flow


def work(
    watch: SuctionWatch, first: int, last: int, share: float = 1.0, only: str | None = None, noise: float = 0.0
) -> None:
    """Days of work; ``share`` of the model's air passes, at one machine only where it is named."""
    chance = random.Random(first)
    for day in range(first, last):
        of_day = 1 + chance.gauss(0, noise)
        for _ in range(EACH_DAY):
            for machine, flow in FLOWS.items():
                passes = flow * (share if only in (None, machine) else 1.0)
                watch.add(day, machine, flow, amps(passes) * of_day)


def test_it_is_silent_until_the_base_line_is_there() -> None:
    watch = SuctionWatch()
    assert watch.verdict() == Verdict(Standing.LEARNING, 0)
    work(watch, 0, BASE_DAYS, 1.0)
    assert watch.verdict() == Verdict(Standing.LEARNING, BASE_DAYS - 1)
    watch.add(BASE_DAYS, "planer", 0.3, amps(0.3))
    assert watch.verdict() == Verdict(Standing.WELL, BASE_DAYS)


def test_days_with_little_work_do_not_count() -> None:
    watch = SuctionWatch()
    for day in range(40):
        watch.add(day, "planer", 0.3, 12.0)
    assert watch.verdict() == Verdict(Standing.LEARNING, 0)


def test_less_air_is_told_after_days_with_its_share_and_the_worst_machine() -> None:
    watch = SuctionWatch()
    work(watch, 0, 11)
    work(watch, 11, 13, 0.85)
    assert watch.verdict().standing is Standing.WELL
    work(watch, 13, 20, 0.85)
    verdict = watch.verdict()
    assert verdict.standing is Standing.LOW
    assert verdict.suction_short == pytest.approx(1 - 0.85**2, abs=0.01)
    assert not verdict.only_there


def test_where_only_one_machine_is_short_it_is_that_branch() -> None:
    watch = SuctionWatch()
    work(watch, 0, 11)
    work(watch, 11, 40, 0.5, only="sander")
    verdict = watch.verdict()
    assert (verdict.standing, verdict.where, verdict.only_there) == (Standing.LOW, "sander", True)


def test_it_is_quiet_again_when_the_air_is_back_or_somebody_mended_it() -> None:
    watch = SuctionWatch()
    work(watch, 0, 11)
    work(watch, 11, 30, 0.85)
    assert watch.verdict().standing is Standing.LOW
    work(watch, 30, 33)
    assert watch.verdict().standing is Standing.LOW  # not after one good day
    work(watch, 33, 35)
    assert watch.verdict() == Verdict(Standing.WELL, BASE_DAYS)
    work(watch, 35, 60, 0.85)
    watch.mended()
    assert watch.verdict() == Verdict(Standing.WELL, BASE_DAYS)


def test_a_small_shortfall_and_noise_are_nothing() -> None:
    watch = SuctionWatch()
    work(watch, 0, 300, 1.0, noise=0.015)
    work(watch, 300, 500, 0.97, noise=0.015)
    assert watch.verdict().standing is Standing.WELL


def test_it_is_kept_as_json_at_any_instant() -> None:
    whole, kept = SuctionWatch(), SuctionWatch()
    for day in range(40):
        share = 1.0 if day < 11 else 0.85
        work(whole, day, day + 1, share)
        kept = SuctionWatch(json.loads(json.dumps(kept.state())))
        work(kept, day, day + 1, share)
        assert kept.verdict() == whole.verdict()
    assert whole.verdict().standing is Standing.LOW
    assert len(json.dumps(whole.state())) < 3000


@pytest.mark.parametrize("kept", [None, 7, {}, {"form": 2}, {"form": 1, "days": [[1]]}, {"form": 1, "days": "x"}])
def test_what_was_kept_and_cannot_be_read_begins_anew(kept: object) -> None:
    assert SuctionWatch(kept).verdict() == Verdict(Standing.LEARNING, 0)


def test_nonsense_is_passed_over() -> None:
    watch = SuctionWatch()
    for flow, current in ((0.0, 5.0), (-1.0, 5.0), (0.3, 0.0), (float("nan"), 5.0), (0.3, float("nan"))):
        watch.add(0, "planer", flow, current)
    assert watch.state()["days"] == []


def test_one_flow_alone_still_makes_a_base_line() -> None:
    watch = SuctionWatch()
    for day in range(31):
        for _ in range(EACH_DAY):
            watch.add(day, "planer", 0.3, 12.0 if day < 11 else 10.8)
    verdict = watch.verdict()
    assert verdict.standing is Standing.LOW
    # A tenth less current, half of which is there without air: a fifth less air.
    assert verdict.suction_short == pytest.approx(1 - 0.8**2, abs=0.01)
