"""``gatekeeper simulate`` as its users run it: in a process of its own, by its texts, its lines and its exit status."""

import json
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from gatekeeper.cli import app
from sim.checker import Checker, Violation, check_record


def run(*words: str, cwd: Path | None = None) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [sys.executable, "-m", "gatekeeper", *words], capture_output=True, text=True, cwd=cwd, check=False, timeout=120
    )


def in_process(*words: str) -> tuple[int, list[str], str]:
    done = CliRunner().invoke(app, ["simulate", *words])
    return done.exit_code, done.stdout.splitlines(), done.stderr


def written(folder: Path, text: str) -> str:
    path = folder / "try.yaml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_a_scenario_that_ships_is_played_by_its_name(tmp_path: Path) -> None:
    done = run("simulate", "garage-one-collector", "red-button-in-mid-cut", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    lines = done.stdout.splitlines()
    assert lines[0] == "Back-wall garage (garage-one-collector)"
    assert lines[1].startswith("Red button in mid-cut: 2 min 50 s played in ")
    assert lines[2].startswith("2 cuts in 3 min, 2 motor starts, ")
    assert lines[4] == "motor      starts  most in an hour  allowed     ran    energy"
    assert lines[5].split()[:4] == ["collector", "2", "2", "13"]
    assert lines[7].split()[:3] == ["tool", "cuts", "cut"]
    assert lines[8].split()[:4] == ["planer", "2", "45.0", "s"]
    assert lines[-4:] == [
        "Expected: 5 things, and all came so.",
        "Control rules: none is broken.",
        "",
        "next: gatekeeper simulate garage-one-collector --day",
    ]
    assert list(tmp_path.iterdir()) == []


def test_a_broken_expectation_is_told_with_its_story(tmp_path: Path) -> None:
    file = written(
        tmp_path,
        """scenario: {name: Too quick}
happens:
  - {at: 5 s, breaks: planer gate, how: slow gate}
  - {at: 10 s, starts: planer, lasting: 20 s}
expects:
  - {motor: collector, must_be: running, by: 13 s}
  - {gate: planer gate, must_be: open, by: 10.5 s}
  - {motor: collector, must_be: off, since: 20 s}
""",
    )
    status, lines, said = in_process("one-evening", file)
    assert (status, said != "") == (2, True)
    status, lines, said = in_process("garage-one-collector", file)
    assert (status, said) == (1, "")
    told = lines[lines.index("Expected: 3 things, 2 did not come so.") :]
    assert told[:4] == [
        "Expected: 3 things, 2 did not come so.",
        "Control rules: none is broken.",
        "",
        "Line 7 expects: planer gate is open by 10.5 s. Not so at 10.500 s: planer gate was moving.",
    ]
    assert told[4] == "What happened before it:"
    story = told[5:15]
    assert "   5.000 s  Outside: planer gate breaks (slow gate)" in story
    assert story[-2].endswith("s  Collector waits: an inrush on subpanel dies away first")
    assert story[-1].endswith("s  Planer gate opens: planer runs")
    assert told[15:18] == [
        "",
        "After it:",
        "  - Line 8 expects: collector is off from 20 s. Not so at 20.000 s: collector was running.",
    ]
    assert told[-1] == f"next: gatekeeper simulate garage-one-collector {file} --report out.html"


def test_a_broken_rule_is_told_with_its_story(monkeypatch: pytest.MonkeyPatch) -> None:
    class Strict(Checker):
        """Knows one rule more: no collector may ever be switched on."""

        def feed(self, entry: Mapping[str, Any]) -> list[Violation]:
            found = super().feed(entry)
            value = entry["value"]
            if entry["kind"] == "motor_command" and isinstance(value, dict) and value["what"] == "on":
                said = "The collector is switched on."
                found.append(Violation("C28", entry["seq"], entry["t_s"], entry["subject"], said))
            return found

    monkeypatch.setattr("sim.scenario_play.Checker", Strict)
    status, lines, said = in_process("garage-one-collector", "planer-then-saw")
    assert (status, said) == (1, "")
    told = lines[lines.index("Expected: 10 things, and all came so.") :]
    assert told[1:3] == ["Control rules: broken once.", ""]
    assert told[3].startswith("Control rule C28 is broken at 12.")
    assert told[3].endswith(" s: The collector is switched on.")
    assert told[4] == "What happened before it:"
    assert len(told[5:-2]) == 10
    events = [line.split("  ")[-1] for line in told[5:-2]]
    assert "Planer gate opens: planer runs" in events
    assert not [said for said in events if said.startswith("Collector is switched on")]
    assert told[-1] == "next: gatekeeper simulate garage-one-collector planer-then-saw --report out.html"


def test_the_record_comes_as_lines_with_the_truth_and_the_figures_last() -> None:
    status, lines, said = in_process("garage-one-collector", "planer-then-saw", "--json", "--seed", "3")
    assert (status, said) == (0, "")
    entries: list[dict[str, Any]] = [json.loads(line) for line in lines]
    last = entries.pop()
    assert entries[0]["kind"] == "shop"
    assert [entry["seq"] for entry in entries] == sorted({entry["seq"] for entry in entries})
    kinds = {entry["kind"] for entry in entries}
    assert {"truth_gate", "truth_motor", "truth_tool", "tool", "gate_command", "motor_command"} <= kinds
    assert check_record(entries, punctual=True) == []
    assert list(last) == [
        "kind",
        "scenario",
        "seed",
        "fidelity",
        "begins_s",
        "until_s",
        "expected",
        "offences",
        "figures",
    ]
    assert (last["kind"], last["scenario"], last["seed"]) == ("figures", "Planer, then table saw", 3)
    assert (last["begins_s"], last["until_s"], last["expected"], last["offences"]) == (28800.0, 136.0, 10, [])
    assert last["figures"]["cuts"] == 2
    assert last["figures"]["tools"]["planer"]["cut_s"] == pytest.approx(30.0, abs=0.2)


def test_offences_stand_in_the_last_line(tmp_path: Path) -> None:
    text = "scenario: {name: A try}\nhappens: [{at: 10 s, starts: planer}]\nexpects: [{figure: cuts, at_most: 0}]\n"
    status, lines, _ = in_process("garage-one-collector", written(tmp_path, text), "--json")
    assert status == 1
    (offence,) = json.loads(lines[-1])["offences"]
    assert (offence["at_s"], offence["rule"], offence["line"]) == (70.0, None, 3)
    assert (offence["said"], offence["instead"]) == ("cuts: at most 0", "it came to 1")
    assert len(offence["before"]) == 10


def test_the_same_seed_plays_the_same_day() -> None:
    first, again, other = (in_process("one-evening", "--day", "--json", "--seed", seed) for seed in ("1", "1", "2"))
    assert first[0] == 0
    assert first[1] == again[1]
    assert first[1] != other[1]


def test_a_day_says_what_it_was_drawn_with() -> None:
    status, lines, _ = in_process("one-evening", "--day", "--seed", "5")
    assert status == 0
    assert lines[1].startswith("A working day, drawn with seed 5: 9 h 10 min played in ")
    assert lines[-1] == "next: gatekeeper study one-evening spin-down"
    assert in_process("one-evening")[1][1].startswith("A working day, drawn with seed 0: 9 h 10 min played in ")


def test_a_wrong_scenario_shows_every_fault_and_what_to_do(tmp_path: Path) -> None:
    text = (
        "scenario: {name: A try, shop: garage-one-collector}\nhappens:\n"
        "  - {at: 5, starts: planer}\n  - {at: 5 s, stops: planner}\n"
    )
    file = written(tmp_path, text)
    done = run("simulate", "garage-one-collector", file)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.splitlines() == [
        "Stops you: 2 things.",
        "",
        f'{file}:3:10: happens > item 1 > at: "5" is no time; write a number and a unit, such as 12 s, 1 min 30 s, '
        "8:05 or day 2 8:05",
        "     3 |   - {at: 5, starts: planer}",
        "       |          ^",
        f'{file}:4:22: happens > item 2 > stops: "planner" is no tool of Back-wall garage; it has table saw, jointer, '
        'planer, bandsaw, drum sander and mitre saw; did you mean "planer"?',
        "     4 |   - {at: 5 s, stops: planner}",
        "       |                      ^",
        "",
        f"next: mend line 3, then gatekeeper simulate garage-one-collector {file}",
    ]


def test_a_scenario_for_another_shop_says_for_which() -> None:
    status, lines, said = in_process("one-evening", "planer-then-saw")
    assert (status, lines) == (2, [])
    assert said.splitlines()[1] == "It was written for the shop garage-one-collector; this is one-evening."


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("garage-one-collector", "--day", "--year"), "--day and --year are given; leave one of them out."),
        (("garage-one-collector", "--fidelity", "sample"), "sample is no fidelity; there are signals and samples."),
    ],
)
def test_words_that_do_not_fit(words: tuple[str, ...], said: str) -> None:
    assert in_process(*words) == (2, [], said + "\n")


def test_a_scenario_that_is_not_there() -> None:
    status, lines, said = in_process("garage-one-collector", "planer-then-sew")
    assert (status, lines) == (2, [])
    assert said.startswith("planer-then-sew: there is no such file; name a scenario file, or one that ships: ")
    assert said.endswith('; did you mean "planer-then-saw"?\n')


def test_the_report_is_written_and_named(tmp_path: Path) -> None:
    out = tmp_path / "out.html"
    status, lines, _ = in_process("garage-one-collector", "planer-then-saw", "--report", str(out))
    assert status == 0
    assert lines[-2:] == [f"Written: {out}", "next: gatekeeper simulate garage-one-collector --day"]
    page = out.read_text(encoding="utf-8")
    assert "Planer, then table saw" in page
    status, _, said = in_process("one-evening", "hand-gates-first", "--report", str(tmp_path / "none" / "out.html"))
    assert status == 2
    assert said == f"{tmp_path / 'none' / 'out.html'}: this file cannot be written (No such file or directory)\n"


def test_a_scenario_at_samples_fidelity_comes_the_same(tmp_path: Path) -> None:
    text = """scenario: {name: A cut, lasts: 30 s}
happens: [{at: 8 s, starts: planer, lasting: 8 s}]
expects:
  - {gate: planer gate, must_be: open, by: 10 s}
  - {motor: collector, must_be: running, since: 11 s, until: 22 s}
  - {motor: collector, must_be: off, since: 23 s}
"""
    for fidelity in ("signals", "samples"):
        status, lines, said = in_process("garage-one-collector", written(tmp_path, text), "--fidelity", fidelity)
        assert (status, said) == (0, "")
        assert "Expected: 3 things, and all came so." in lines


def test_the_schema_of_a_scenario_is_printed() -> None:
    done = CliRunner().invoke(app, ["schema", "--scenario"])
    assert done.exit_code == 0
    schema = json.loads(done.stdout)
    assert (schema["title"], list(schema["properties"])) == (
        "A scenario",
        ["scenario", "happens", "pattern", "expects"],
    )
    assert json.loads(CliRunner().invoke(app, ["schema"]).stdout)["title"] == "A shop"
