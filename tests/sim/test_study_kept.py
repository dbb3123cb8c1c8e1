"""Kept days: found again, torn lines passed over, and a study that was stopped goes on."""

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pytest
from study_shops import SHOP, days, few_cuts

from sim.figures import HoodPoint
from sim.stage import stage_of
from sim.study_days import Delays, airless_in_run, with_delays
from sim.study_runs import DayAsked, Days, Stopped, play_one
from sim.study_store import DayStore, cache_folder, key_of, program_hash


def asked(*seeds: int, delay_s: float = 8.0) -> list[DayAsked]:
    return [DayAsked(SHOP, few_cuts(), seed, Delays((("collector", delay_s),))) for seed in seeds]


def test_a_day_is_played_once(tmp_path: Path) -> None:
    with days(tmp_path) as first:
        played = first.outcomes(asked(1, 2, 1))
        assert (first.played, first.found) == (2, 0)
    with days(tmp_path) as second:
        assert second.outcomes(asked(1, 2, 1)) == played
        assert (second.played, second.found) == (0, 2)
    assert played[0] == played[2]
    assert played[0]["collector"].cuts == 5


def test_a_day_has_another_name_for_another_seed_delay_or_shop() -> None:
    other = DayAsked(type(SHOP)(SHOP.text + "# more\n", SHOP.name), few_cuts(), 1, asked(1)[0].delays)
    names = {asked(1)[0].key, asked(2)[0].key, asked(1, delay_s=9.0)[0].key, other.key}

    assert len(names) == 4
    assert asked(1)[0].key in names


def test_what_is_torn_is_played_again(tmp_path: Path) -> None:
    """The board loses its power in mid-line: that day is lost, those before it are not, and the next is whole."""
    with days(tmp_path) as first:
        first.outcomes(asked(1, 2))
    path = tmp_path / "test.now.jsonl"
    path.write_bytes(path.read_bytes()[:-40])
    with days(tmp_path) as second:
        second.outcomes(asked(1, 2, 3))
        assert (second.played, second.found) == (2, 1)
    with days(tmp_path) as third:
        third.outcomes(asked(1, 2, 3))
        assert (third.played, third.found) == (0, 3)


def test_days_of_another_version_of_the_program_are_removed(tmp_path: Path) -> None:
    for shop, program in (("mine", "old"), ("other", "old"), ("mine", "new")):
        store = DayStore(tmp_path, shop, program)
        store.keep("a", {})
        store.close()

    assert sorted(path.name for path in tmp_path.iterdir()) == ["mine.new.jsonl", "other.old.jsonl"]


@pytest.mark.parametrize("line", ["[]", '{"key": 1}', "nonsense", '{"day": {}}'])
def test_lines_of_another_form_are_passed_over(tmp_path: Path, line: str) -> None:
    (tmp_path / "test.now.jsonl").write_text(f"{line}\n", encoding="utf-8")
    store = DayStore(tmp_path, "test", "now")

    assert store.get("a") is None
    store.keep("a", {"collector": {}})
    store.close()
    again = DayStore(tmp_path, "test", "now")
    assert again.get("a") == {"collector": {}}
    again.close()


def test_a_study_that_is_stopped_keeps_what_is_done(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl-C in the third day: two are kept, and the next study plays the rest."""
    count = 0

    def stops_in_the_third(work: tuple[str, DayAsked]) -> tuple[str, dict[str, Any]]:
        nonlocal count
        count += 1
        if count == 3:
            raise KeyboardInterrupt
        return play_one(work)

    monkeypatch.setattr("sim.study_runs.play_one", stops_in_the_third)
    with days(tmp_path) as first, pytest.raises(Stopped, match=r"^2 of 4 days$"):
        first.outcomes(asked(1, 2, 3, 4))
    monkeypatch.undo()
    with days(tmp_path) as second:
        second.outcomes(asked(1, 2, 3, 4))
        assert (second.played, second.found) == (2, 2)


def test_progress_is_told_after_each_day(tmp_path: Path) -> None:
    told: list[tuple[int, int]] = []
    with Days(DayStore(tmp_path, "test", "now"), 1, lambda done, total: told.append((done, total))) as played:
        played.outcomes(asked(1, 2))

    assert told == [(0, 2), (1, 2), (2, 2)]


def test_the_cache_is_the_users_unless_named(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    assert cache_folder() == tmp_path / "gatekeeper" / "study"
    monkeypatch.delenv("XDG_CACHE_HOME")
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    assert cache_folder() == tmp_path / "home" / ".cache" / "gatekeeper" / "study"
    assert cache_folder("here") == Path("here")


def test_the_program_is_its_own_content() -> None:
    assert program_hash() == program_hash()
    assert len(program_hash()) == 64
    assert key_of("a", "b") != key_of("ab", "")


def test_delays_are_set_and_a_machine_without_its_own_follows() -> None:
    stage = stage_of(SHOP.shop(), with_air=False)
    set_ = with_delays(stage, Delays((("collector", 33.0),), (("planer", 4.0),)))

    assert set_.plan.motors["collector"].spin_down_s == 33.0
    assert set_.plan.tools["planer"].spin_down_s == 4.0
    assert set_.plan.tools["mitre saw"].spin_down_s is None
    assert set_.air is stage.air


def cut(begin_s: float, end_s: float, flow_m3s: float) -> Iterable[HoodPoint]:
    return [HoodPoint(begin_s, 0.0, 0.2), HoodPoint(end_s, flow_m3s, 0.2, is_last=True)]


def test_the_first_of_a_run_may_be_without_air_and_no_other() -> None:
    points = [*cut(0.0, 3.0, 0.0), *cut(20.0, 23.0, 0.05), *cut(60.0, 63.0, 0.2), *cut(184.0, 187.0, 0.05)]

    assert airless_in_run(points) == 1


def test_outcomes_are_plain_values(tmp_path: Path) -> None:
    _, day = play_one(("key", asked(1)[0]))

    assert json.loads(json.dumps(day)) == day
    assert day["collector"]["starts"] >= 1
    assert day["collector"]["shares"]["planer"] > 0.9
