"""A small campaign; and that a campaign resumes, tells of a failure, plays it again alone, and makes it small."""

import io
import json
import random
import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from gatekeeper.control.messages import Command, Entry, Event, SwitchMotor
from gatekeeper.control.supervisor import Supervisor
from gatekeeper.shop import examples
from sim import campaign
from sim.campaign import Order, again, main, run, summary
from sim.campaign_half import Half, all_shops, combinations, day_of, half_of, judged, shop_called, stage_called
from sim.campaign_replay import shrunk
from sim.catalogue import BY_NAME, on
from sim.catalogue_row import Layer
from sim.checker import Checker
from sim.faulted_day import DAY_LENGTH_S, PART_S
from sim.half_hour import HALF_HOUR_S, Put, busy
from sim.happening import Happening, What
from sim.made_shops import made_shop, made_text
from sim.plant_faults import PlantFault
from sim.play import Game
from sim.truth_judge import TruthJudge

#: The seed and size of the campaign that every change has to pass.
SEED, HALF_HOURS = 5, 120


def test_no_rule_breaks_in_a_small_campaign() -> None:
    order = Order(SEED, all_shops())
    tally = run(order, half_hours=HALF_HOURS, jobs=1, out=io.StringIO())
    assert tally.half_hours == HALF_HOURS
    assert tally.problems == [], summary(order, tally)
    # Every example was played, and most faults came.
    assert len(tally.faults) > 50
    assert {"C2", "C3", "C4", "C5", "C6", "C9", "C12", "C13", "C15", "C21", "C22", "C23", "C24"} <= set(tally.rules)


def test_every_fault_comes_alone_and_in_each_pair() -> None:
    rows = on(Layer.SIGNALS)
    found = combinations(SEED)
    assert len(found) == len(rows) + len(rows) * (len(rows) - 1) // 2 == len(set(found))
    assert {len(combination) for combination in found} == {1, 2}
    assert combinations(SEED + 1) != found


def test_a_half_hour_follows_from_seed_shops_and_number() -> None:
    shops = all_shops()
    assert half_of(3, 17, shops) == half_of(3, 17, shops)
    assert half_of(3, 17, shops) != half_of(4, 17, shops)
    names = {half_of(3, number, shops).shop for number in range(60)}
    assert len(names) > 20
    assert set(examples.names()) <= set(shops)


def test_made_shops_differ_in_what_proves_an_open_gate_and_in_their_systems() -> None:
    shops = [made_shop(seed) for seed in range(60)]
    motors = [motor for shop in shops for motor in shop.motors.values() if motor.has_ducts]
    assert {motor.proof.value for motor in motors} == {"switches", "relief", "air", "time", "person"}
    assert {len([motor for motor in shop.motors.values() if motor.has_ducts]) for shop in shops} == {1, 2}
    assert any(len(tool.gates) > 1 for shop in shops for tool in shop.tools.values())
    assert made_text(7) == made_text(7)


def test_a_busy_half_hour_is_a_working_shop() -> None:
    shop = made_shop(1)
    happenings = busy(shop, random.Random(2))
    cuts = [one for one in happenings if one.what is What.TOOL_ON]
    assert len(cuts) > 5
    assert any(one.what is What.REQUEST for one in happenings)


# ---------------------------------------------------------------- a core with a bug, so that something is wrong


class Forgetful(Supervisor):
    """Believes that it has switched a motor on, and has not: a planted bug."""

    def handle(self, event: Event, now_s: float) -> tuple[Command, ...]:
        commands = super().handle(event, now_s)
        for entry in self.recorder.entries:
            if entry.kind == "motor_command" and isinstance(entry.value, dict) and entry.value["what"] == "on":
                entry.kind, entry.subject, entry.value = "tick", None, None
        return tuple(one for one in commands if not (isinstance(one, SwitchMotor) and one.what == "on"))


@pytest.fixture
def bug(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sim.game.Supervisor", Forgetful)


ONE = Order(1, ("one-evening",))


def test_a_failure_is_told_with_shop_seed_faults_and_the_ten_entries_before(
    bug: None, capsys: pytest.CaptureFixture[str]
) -> None:
    tally = run(ONE, half_hours=1, out=io.StringIO())
    (problem,) = tally.problems
    assert problem["problem"]["judge"] == "rule"
    told = summary(ONE, tally)
    assert f"one-evening, seed 1, half-hour 0: {' and '.join(problem['faults'])}\n" in told
    assert f"rule: {problem['problem']['sentence']}\n" in told
    assert len(problem["problem"]["before"]) == 11
    assert told.endswith("Again: python -m sim.campaign --seed 1 --shop 'one-evening' --only 0")
    assert main(["--seed", "1", "--shop", "one-evening", "--only", "0"]) == 1
    said = capsys.readouterr().out
    assert said.startswith("one-evening, seed 1, half-hour 0\n")
    assert f"rule: {problem['problem']['sentence']}\n" in said


def test_a_failure_is_made_small(bug: None, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    half = half_of(1, 0, ("one-evening",))
    verdict = judged(half)
    small, still = shrunk(half, verdict, False)
    assert still.problem is not None
    assert [one.what for one in small.happenings] == [What.TOOL_ON]
    record = tmp_path / "record.jsonl"
    words = ["--seed", "1", "--shop", "one-evening", "--only", "0", "--shrink", "--record", str(record)]
    assert main(words) == 1
    assert capsys.readouterr().out.count("tool on") == 1
    kinds = {json.loads(line)["kind"] for line in record.read_text(encoding="utf-8").splitlines()}
    assert {"shop", "truth_motor", "truth_tool", "tool"} <= kinds


def test_passing_over_quiet_steps_changes_no_first_blame(monkeypatch: pytest.MonkeyPatch) -> None:
    blamed = 0
    for number in range(10):
        if number == 5:
            monkeypatch.setattr("sim.game.Supervisor", Forgetful)
        half = half_of(SEED, number, all_shops())
        entries: list[Entry] = []
        game = Game(stage_called(half.shop), seed=number, watch=entries.append, with_tracks=False)
        for happening in half.happenings:
            game.happen(happening)
        game.run(HALF_HOUR_S)
        verdicts = []
        for is_quick in (False, True):
            checker = Checker(punctual=True, quick=is_quick)
            found = [violation for entry in entries for violation in checker.feed(entry.as_json())]
            verdicts.append(found + checker.finish())
        assert verdicts[0][:1] == verdicts[1][:1]
        blamed += bool(verdicts[0])
    assert blamed == 5


# ---------------------------------------------------------------- results that are kept


def quick(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Half-hours that are only counted."""
    played: list[int] = []

    def count(half: Half, *, with_air: bool = False) -> object:
        played.append(half.number)
        return campaign.Verdict(half.number, half.shop, tuple(put.fault.name for put in half.puts), 10, None, {"C5": 1})

    monkeypatch.setattr(campaign, "judged", count)
    return played


def test_results_are_kept_and_the_same_command_goes_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    played, results = quick(monkeypatch), tmp_path / "results.jsonl"
    first = run(ONE, half_hours=40, results=results, out=io.StringIO())
    assert (first.half_hours, first.entries, first.rules["C5"]) == (40, 400, 40)
    assert played == list(range(40))
    # The last line was cut off by a power cut: its batch is played again, and what comes after it.
    text = results.read_text(encoding="utf-8")
    results.write_text(text[:-20], encoding="utf-8")
    again_all = run(ONE, half_hours=55, results=results, out=io.StringIO())
    assert played[40:] == list(range(20, 55))
    assert (again_all.half_hours, again_all.entries) == (55, 550)
    assert run(ONE, half_hours=55, results=results, out=io.StringIO()).half_hours == 55
    assert len(played) == 75


def test_results_of_another_campaign_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    quick(monkeypatch)
    results = tmp_path / "results.jsonl"
    run(ONE, half_hours=20, results=results, out=io.StringIO())
    words = f"{results} holds the results of another campaign. Name another file, or take it away."
    with pytest.raises(ValueError, match=re.escape(words)):
        run(replace(ONE, seed=2), half_hours=20, results=results, out=io.StringIO())


def test_ctrl_c_keeps_what_is_done(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    played, results, out = quick(monkeypatch), tmp_path / "results.jsonl", io.StringIO()

    def interrupted(order: Order, batches: Sequence[int], last: int, jobs: int) -> object:
        for number, batch in enumerate(batches):
            if number == 2:
                raise KeyboardInterrupt
            yield campaign.play_batch((order, batch, last))

    monkeypatch.setattr(campaign, "verdicts_of", interrupted)
    tally = run(ONE, half_hours=200, results=results, out=out)
    assert tally.half_hours == len(played) == 40
    assert out.getvalue().startswith("Stopped. What is done is kept.\n40 of 200 half-hours, ")
    assert len(results.read_text(encoding="utf-8").splitlines()) == 3


def test_several_processes_give_what_one_gives() -> None:
    order = Order(2, ("one-evening", "recording-bench"))
    alone = run(order, half_hours=45, jobs=1, out=io.StringIO())
    together = run(order, half_hours=45, jobs=2, out=io.StringIO())
    assert (together.half_hours, together.entries, together.faults) == (45, alone.entries, alone.faults)
    assert together.problems == alone.problems == []


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("nowhere", "nowhere: No such file or directory. Name an example, a shop file, or a made shop such as made 7."),
        ("made x", "made x: No such file or directory. Name an example, a shop file, or a made shop such as made 7."),
    ],
)
def test_a_shop_that_is_none_is_one_sentence(name: str, said: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(ValueError, match=re.escape(said)):
        shop_called(name)
    assert main(["--shop", name, "--half-hours", "20"]) == 2
    assert capsys.readouterr().err == f"{said}\n"


def test_the_command_again_names_what_differs_from_a_plain_one() -> None:
    assert again(Order(4, all_shops()), 9) == "python -m sim.campaign --seed 4 --only 9"
    assert again(Order(4, ("made 7",), True), 9) == "python -m sim.campaign --seed 4 --shop 'made 7' --air --only 9"


# ---------------------------------------------------------------- the judge of the truth finds what is planted


def broken(shop: str, what: Happening, *cuts: Happening) -> str | None:
    """What the truth says of a play with a fault that its half-hour does not own up to."""
    half = Half(0, 0, shop, (what, *cuts), ())
    problem = judged(half).problem
    return None if problem is None else f"{problem.judge}: {problem.sentence}"


SAW = "table saw"


def test_a_sensor_that_lies_is_found() -> None:
    silent = Happening(1.0, What.FAULT, SAW, PlantFault.SENSOR_SILENT)
    found = broken("garage-one-collector", silent, Happening(20.0, What.TOOL_ON, SAW))
    assert found is not None
    assert re.fullmatch(r"truth: blind at \d+\.\d{3} s: table saw is running and its sensor says stopped", found)


def test_a_fan_on_shut_gates_is_found() -> None:
    # On a shop with travel time alone the core cannot see that no gate moves; the truth can.
    stage = stage_called("recording-bench")
    stuck = [Happening(0.1, What.FAULT, name, PlantFault.STUCK_GATE) for name in stage.shop.gates]
    found = broken("recording-bench", stuck[0], *stuck[1:], Happening(20.0, What.TOOL_ON, "machine"))
    assert found is not None
    assert re.fullmatch(r"truth: closed at \d+\.\d{3} s: collector has pulled on shut gates since 2\d\.\d{3} s", found)


def test_a_motor_that_runs_on_is_found() -> None:
    welded = Happening(1.0, What.FAULT, "collector", PlantFault.CONTACTOR_WELDED)
    found = broken(
        "recording-bench", welded, Happening(20.0, What.TOOL_ON, "machine"), Happening(30.0, What.TOOL_OFF, "machine")
    )
    assert found is not None
    assert re.fullmatch(r"truth: runs on at \d+\.\d{3} s: collector was told off and still turns", found)


def test_a_cut_of_which_nothing_tells_is_found() -> None:
    silent = Happening(1.0, What.FAULT, "collector", PlantFault.CONTACTOR_SILENT)
    found = broken("recording-bench", silent, Happening(20.0, What.TOOL_ON, "machine"))
    assert found is not None
    assert re.fullmatch(r"truth: silent at \d+\.\d{3} s: machine runs, collector stands, and nothing says so", found)


def test_what_a_fault_explains_is_not_blamed() -> None:
    row = BY_NAME["silent contactor that nothing watches"]
    put = Put(row, "collector", 1.0, float("inf"))
    judge = TruthJudge(stage_called("recording-bench").shop, (put,))
    assert judge.found == []
    happenings = (
        Happening(1.0, What.FAULT, "collector", PlantFault.CONTACTOR_SILENT),
        Happening(20.0, What.TOOL_ON, "machine"),
    )
    assert judged(Half(0, 0, "recording-bench", happenings, (put,))).problem is None


def test_a_day_has_a_fault_or_two_in_each_of_its_parts_and_is_put_right_before_the_next() -> None:
    day = day_of(3, 5, ("shared-twelve",))
    assert day == day_of(3, 5, ("shared-twelve",))
    assert day != day_of(3, 6, ("shared-twelve",))
    assert day.length_s == DAY_LENGTH_S
    cuts = [one for one in day.happenings if one.what is What.TOOL_ON]
    assert len(cuts) > 20
    assert all(put.until_s // PART_S == put.from_s // PART_S for put in day.puts)
    assert len({put.from_s // PART_S for put in day.puts}) > 1


def test_a_small_campaign_by_days_finds_nothing_wrong_and_counts_its_half_hours(tmp_path: Path) -> None:
    out = io.StringIO()
    order = Order(SEED, ("one-evening", "garage-one-collector", "long-narrow"), by_days=True)
    tally = run(order, half_hours=20 * 16, results=tmp_path / "days.jsonl", out=out)
    assert tally.problems == []
    assert tally.half_hours == 320
    assert sum(tally.faults.values()) > 20
    assert again(order, 7).endswith(" --days --only 7")
    with pytest.raises(ValueError, match="another campaign"):
        run(Order(SEED, order.shops), half_hours=20, results=tmp_path / "days.jsonl", out=out)
