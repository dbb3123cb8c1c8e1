"""``gatekeeper study`` as its user runs it: what it prints, writes and keeps, and how it is stopped."""

import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from study_shops import SMALL

WORK = """\
scenario:
  name: A short morning
pattern:
  open: 8:00 to 9:00
  tools:
    mitre saw: {jobs: 1 to 1, cuts: 4 to 4, cut: 2 s to 6 s, pause: 8 s to 40 s}
    planer: {jobs: 1 to 1, cuts: 1 to 1, cut: 60 s to 100 s, pause: 20 s to 60 s}
"""
PROGRAM = [sys.executable, "-m", "gatekeeper", "study"]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "small.yaml").write_text(SMALL, encoding="utf-8")
    (tmp_path / "morning.yaml").write_text(WORK, encoding="utf-8")
    return tmp_path


def run(folder: Path, *words: str, answer: str = "") -> "subprocess.CompletedProcess[str]":
    environment = os.environ | {"XDG_CACHE_HOME": str(folder / "cache")}
    return subprocess.run(
        [*PROGRAM, *words], cwd=folder, input=answer, capture_output=True, text=True, timeout=120, env=environment
    )


def quick(folder: Path, *words: str, answer: str = "") -> "subprocess.CompletedProcess[str]":
    return run(
        folder, "small.yaml", "spin-down", "--days", "1", "--jobs", "1", "--work", "morning.yaml", *words, answer=answer
    )


def test_it_recommends_and_says_how_each_demand_came_out(folder: Path) -> None:
    done = quick(folder)

    lines = done.stdout.splitlines()
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert lines[0] == "Two machines (small.yaml): the spin-down delay, from one working day, seed 0 on."
    assert lines[2].startswith("Best: the collector keeps running ")
    assert lines[3:6] == [
        "  no chips left in the ducts: met (0.00 kg there at the end of a day).",
        "  at most 7 motor starts in any hour: met (2 in the worst hour; its budget is 13).",
        "  no cut without air after the first of a run: met (0 in one day).",
    ]
    assert re.fullmatch(r"  under 30 gate moves in any hour: met \(\d in the worst hour\)\.", lines[6])
    assert [line.split("  ")[1] for line in lines if line.startswith("  all ")] == [
        f"all {delay} s" for delay in (2, 5, 8, 12, 20, 30, 45, 60, 90, 120, 180, 240, 300)
    ]
    assert lines[-1] == "next: gatekeeper study small.yaml spin-down --write"


def test_the_answer_for_machines(folder: Path) -> None:
    done = quick(folder, "--json")

    told = json.loads(done.stdout)
    collector = told["collectors"]["collector"]
    assert (told["file"], told["shop"], told["days"], told["seed"]) == ("small.yaml", "Two machines", 1, 0)
    assert collector["in_the_file"] == {"spin_down_s": 8.0, "own_spin_down_s": {}}
    assert collector["found"]["cuts"] == 5
    assert len(collector["tried"]) == 13
    assert all(demand["is_met"] for demand in collector["demands"])


def test_the_second_time_nothing_is_played(folder: Path) -> None:
    first = quick(folder)
    (kept,) = (folder / "cache" / "gatekeeper" / "study").iterdir()
    before = kept.read_bytes()
    second = quick(folder)

    assert second.stdout == first.stdout
    assert kept.read_bytes() == before
    assert before.count(b"\n") >= 13


def test_writing_asks_first_and_keeps_the_comments(folder: Path) -> None:
    refused = quick(folder, "--write", answer="n\n")
    assert refused.stdout.endswith("Nothing was written.\n")
    assert (folder / "small.yaml").read_text(encoding="utf-8") == SMALL

    found = json.loads(quick(folder, "--json").stdout)["collectors"]["collector"]["spin_down_s"]
    assert found != 8.0
    done = quick(folder, "--yes")
    assert done.stdout.endswith(
        "Written; the page proposes them from the next start on. next: gatekeeper check small.yaml\n"
    )
    assert (folder / "small.yaml").read_text(encoding="utf-8") == SMALL.replace(
        "spin_down: 8 s    # the usual", f"spin_down: {found:g} s    # the usual"
    )
    assert quick(folder, "--yes").stdout.endswith("Nothing to write: the file has these delays already.\n")


def test_the_report_is_one_page_with_the_finding_as_its_title(folder: Path) -> None:
    done = quick(folder, "--report", "out.html")

    page = (folder / "out.html").read_text(encoding="utf-8")
    assert "Report written to out.html.\n" in done.stdout
    assert "<h1>Best: the collector keeps running " in page
    assert page.count("<figure>") == 6
    for words in ("spin-down delay, s", "starts in the worst hour", "cuts a day", "kWh a day", "hours a day"):
        assert words in page
    assert "http" not in page
    assert "<script" not in page


def test_what_if_a_gate_were_moved_by_hand(folder: Path) -> None:
    words = ("what-if", "--days", "1", "--jobs", "1", "--work", "morning.yaml")
    done = run(folder, "small.yaml", *words, "--by-hand", "planer gate", "--report", "out.html")

    lines = done.stdout.splitlines()
    assert done.returncode == 0, done.stderr
    assert lines[0] == "small.yaml and small.yaml with planer gate moved by hand: one working day, seed 0 on."
    assert any(line.startswith("  - Gate moves a day: ") and line.endswith(", better.") for line in lines)
    page = (folder / "out.html").read_text(encoding="utf-8")
    assert "<h2>Side by side</h2>" in page
    assert "Gate moves a day" in page


def test_what_if_nothing_changes(folder: Path) -> None:
    (folder / "same.yaml").write_text(SMALL, encoding="utf-8")
    words = ("what-if", "--days", "1", "--jobs", "1", "--work", "morning.yaml", "--against", "same.yaml")
    done = run(folder, "small.yaml", *words)

    assert done.stdout == "small.yaml and same.yaml: one working day, seed 0 on.\n\nNothing changes.\n"


def test_what_if_a_weaker_fan_and_a_machine_that_is_not_there(folder: Path) -> None:
    other = SMALL.replace("power: 1.5 kW", "power: 0.37 kW").replace("  planer: {gates", "  jointer: {gates")
    (folder / "other.yaml").write_text(other, encoding="utf-8")
    words = ("what-if", "--days", "1", "--jobs", "1", "--work", "morning.yaml")
    fan = run(folder, "small.yaml", *words, "--fan-of", "other.yaml")
    against = run(folder, "small.yaml", *words, "--against", "other.yaml")

    assert fan.stdout.startswith("small.yaml and small.yaml with the fan of other.yaml: one working day, seed 0 on.\n")
    assert "  - Air of the planer, of its need: " in fan.stdout
    assert "  - Energy a day: " in fan.stdout
    assert against.stdout.endswith("Left out, because only one of the two has it: planer and jointer.\n")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("small.yaml", "spin-dwn"), "spin-dwn is no study; there are spin-down and what-if."),
        (
            ("small.yaml", "what-if"),
            "Say what is otherwise: --against SHOP2.yaml, --fan-of SHOP2.yaml, --automate GATE or --by-hand GATE.",
        ),
        (
            ("small.yaml", "spin-down", "--by-hand", "planer gate"),
            "--by-hand belongs to what-if: gatekeeper study small.yaml what-if --by-hand ...",
        ),
        (
            ("small.yaml", "what-if", "--by-hand", "planer gate", "--write"),
            "--write and --yes belong to spin-down; what-if writes nothing into a shop file.",
        ),
        (
            ("small.yaml", "what-if", "--automate", "planer gate"),
            "planer gate moves by itself already; name a gate that is moved by hand.",
        ),
        (
            ("small.yaml", "what-if", "--automate", "planar gate"),
            'Two machines has no gate planar gate; it has mitre gate and planer gate; did you mean "planer gate"?',
        ),
        (
            ("one-evening", "spin-down", "--write"),
            "one-evening is an example and stays as it is; copy it to a file of yours first.",
        ),
        (
            ("small.yaml", "spin-down", "--write", "--json"),
            "--json answers machines and --write asks people; take one of them.",
        ),
        (
            ("small.yaml", "what-if", "--against", "recording-bench"),
            "small.yaml and recording-bench have no machine in common, so no day can be worked in both.",
        ),
        (
            ("small.yaml", "spin-down", "--cache", "small.yaml"),
            "small.yaml: days cannot be kept there (File exists); name another with --cache.",
        ),
    ],
)
def test_a_wrong_word_is_one_sentence_and_plays_nothing(folder: Path, words: tuple[str, ...], said: str) -> None:
    done = run(folder, *words)

    assert (done.returncode, done.stdout, done.stderr) == (2, "", f"{said}\n")
    assert [file.read_text(encoding="utf-8") for file in (folder / "cache").rglob("*.jsonl")] in ([], [""])


def test_ctrl_c_keeps_what_is_done_and_the_same_command_goes_on(folder: Path) -> None:
    """The signal reaches the whole group of processes, as from a terminal; no worker prints a word of it."""
    words = ("small.yaml", "spin-down", "--days", "400", "--jobs", "2", "--cache", "kept")
    running = subprocess.Popen(
        [*PROGRAM, *words],
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    kept: list[Path] = []
    deadline = time.monotonic() + 60.0
    while time.monotonic() < deadline and running.poll() is None:
        kept = list((folder / "kept").glob("*.jsonl")) if (folder / "kept").is_dir() else []
        if kept and kept[0].stat().st_size > 2000:
            break
        os.sched_yield()
    os.killpg(running.pid, signal.SIGINT)
    out, err = running.communicate(timeout=60)

    assert running.returncode == 1
    assert out == ""
    days = kept[0].read_text(encoding="utf-8").splitlines()
    assert err == f"Stopped. {len(days)} of 5200 days of this step are kept; the same command goes on from there.\n"
    assert all(json.loads(line)["day"]["collector"]["cuts"] >= 0 for line in days)
