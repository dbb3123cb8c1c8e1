"""Recorded currents through codes, sensing, core and drivers: right starts, and each gate before its collector."""

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from gatekeeper.control.messages import Entry
from gatekeeper.recording import Recording
from gatekeeper.service.replaying import Replay
from gatekeeper.service.wording import word_of
from gatekeeper.shop.examples import example
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

WAVES = Path(__file__).parents[3] / "shared" / "waves"
needs_waves = pytest.mark.skipif(not WAVES.is_dir(), reason="missing shared data: the recordings of real currents")

#: file, rate, mains, starts that a person sees in it. The motor of the last one runs from the first sample.
FILES = [
    ("plaid_1429_air_conditioner", 4000, 60, 1),
    ("plaid_1376_hairdryer", 4000, 60, 1),
    ("plaid_1046_microwave", 4000, 60, 1),
    ("freiburg_kettle", 2000, 50, 1),
    ("seq_plaid_1429_air_conditioner", 4000, 60, 2),
    ("seq_plaid_1376_hairdryer", 4000, 60, 2),
    ("seq_plaid_1046_microwave", 4000, 60, 2),
    ("seq_freiburg_kettle", 2000, 50, 2),
]
COPIES: dict[str, Callable[[np.ndarray, int], np.ndarray]] = {
    "as it is": lambda wave, rate: wave,
    "twice as strong": lambda wave, rate: 2 * wave,
    "half as strong": lambda wave, rate: 0.5 * wave,
    "inverted": lambda wave, rate: -wave,
    "shifted by 1 A": lambda wave, rate: wave + 1.0,
    "later by 0.3 s": lambda wave, rate: np.concatenate([np.resize(wave[: rate // 10], 3 * rate // 10), wave]),
}


def bench() -> Shop:
    path = example("recording-bench")
    shop = load_shop(path.read_text(encoding="utf-8"), path.name)
    assert not isinstance(shop, Faults)
    return shop


def wave(name: str) -> np.ndarray:
    with np.load(WAVES / f"{name}.npz") as kept:
        return np.asarray(kept["current_A"], dtype=float)


def run(samples: np.ndarray, rate: int, mains: int) -> tuple[Replay, list[Entry]]:
    replay = Replay(bench(), Recording((samples.tolist(),), float(rate), float(mains), "test"))
    return replay, list(replay.entries())


def starts(entries: list[Entry]) -> list[Entry]:
    return [entry for entry in entries if entry.kind == "tool" and entry.value == "running"]


def orders(entries: list[Entry], kind: str, subject: str, word: str) -> list[float]:
    return [
        entry.t_s for entry in entries if entry.kind == kind and entry.subject == subject and word_of(entry) == word
    ]


def assert_gate_before_collector(replay: Replay, entries: list[Entry]) -> None:
    """Each start's own gate is ordered open in the very step that saw it, and before the collector; on the pins too."""
    ons = orders(entries, "motor_command", "collector", "on")
    opens = [entry for entry in entries if entry.kind == "gate_command" and entry.value == "open"]
    opened = [entry for entry in opens if entry.subject == "machine gate"]
    assert ons
    assert opened
    first = starts(entries)[0]
    assert opened[0].step == first.step
    assert opened[0].seq < next(
        entry.seq for entry in entries if entry.kind == "motor_command" and word_of(entry) == "on"
    )
    servo = [t_s for t_s, level in replay.levels(12) if level]
    relay = [t_s for t_s, level in replay.levels(17) if level]
    assert servo[0] <= relay[0]
    assert servo[0] == pytest.approx(first.t_s, abs=0.01)


@needs_waves
@pytest.mark.parametrize("copy", COPIES, ids=str)
@pytest.mark.parametrize(("name", "rate", "mains", "expected"), FILES, ids=[row[0] for row in FILES])
def test_a_recording_gives_its_starts_and_each_gate_opens_before_the_collector(
    name: str, rate: int, mains: int, expected: int, copy: str
) -> None:
    replay, entries = run(COPIES[copy](wave(name), rate), rate, mains)
    assert len(starts(entries)) == expected
    assert_gate_before_collector(replay, entries)
    assert orders(entries, "motor_command", "collector", "on")[0] >= replay.began_s
    assert [entry for entry in entries if entry.kind == "dropped"] == []
    replay.close()


@needs_waves
@pytest.mark.parametrize(("name", "rate", "mains", "expected"), FILES[:4], ids=[row[0] for row in FILES[:4]])
def test_a_recording_joined_to_itself_gives_twice_its_starts(name: str, rate: int, mains: int, expected: int) -> None:
    once = wave(name)
    quiet = np.resize(once[: rate // 10], 2 * rate)
    replay, entries = run(np.concatenate([once, quiet, once]), rate, mains)
    assert len(starts(entries)) == 2 * expected
    assert_gate_before_collector(replay, entries)
    replay.close()


@needs_waves
def test_a_motor_that_runs_from_the_first_sample_is_found_and_starts_nothing() -> None:
    samples = np.asarray(wave("itsc_induction_motor_steady")[0][:, 0])
    replay, entries = run(samples, 1000, 60)
    assert starts(entries) == []
    found = [entry for entry in entries if entry.kind == "tool" and word_of(entry) == "running"]
    assert [entry.value for entry in found] == [{"what": "running", "fresh": False}]
    assert orders(entries, "gate_command", "machine gate", "open")
    assert orders(entries, "motor_command", "collector", "on") == []
    assert all(not level for _, level in replay.levels(17))
    codes = [entry.value["code"] for entry in entries if entry.kind == "message" and word_of(entry) == "raised"]
    assert codes == ["found_running"]
    replay.close()


def test_a_silent_wire_moves_nothing_but_the_path_at_rest() -> None:
    replay, entries = run(np.zeros(4000), 2000, 50)
    assert [entry for entry in entries if entry.kind == "tool" and word_of(entry) == "running"] == []
    assert [(entry.subject, entry.value) for entry in entries if entry.kind == "gate_command"] == [
        ("sweep gate", "open")
    ]
    assert orders(entries, "motor_command", "collector", "on") == []
    assert all(not level for _, level in replay.levels(17))
    replay.close()


def test_a_shop_without_a_clamp_is_refused_in_words() -> None:
    path = example("one-evening")
    shop = load_shop(path.read_text(encoding="utf-8"), path.name)
    assert not isinstance(shop, Faults)
    with pytest.raises(
        ValueError, match=r"^The shop has no tool with a clamp on a converter; a recording needs one\.$"
    ):
        Replay(shop, Recording(([0.0] * 100,), 1000.0, 50.0, "test"))


# ---------------------------------------------------------------- the command


def command(*words: str) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [sys.executable, "-m", "gatekeeper", "replay", *words], capture_output=True, text=True, check=False, timeout=60
    )


def tone(path: Path, seconds: float = 1.0) -> Path:
    t_s = np.arange(int(2000 * seconds)) / 2000
    np.savez(path, current_A=np.where(t_s > 0.4, 5.0 * np.sin(2 * np.pi * 50 * t_s), 0.0))
    return path


def test_the_command_prints_a_timeline_with_its_summary(tmp_path: Path) -> None:
    done = command(str(tone(tmp_path / "tone.npz")), "--rate", "2000", "--mains", "50")
    assert done.returncode == 0
    assert done.stderr == ""
    lines = done.stdout.splitlines()
    assert lines[0] == "   second  what happens"
    assert lines[-1] == "1 start of the tool seen; the collector was switched on once."
    assert any(line.endswith("Machine gate opens: machine runs") for line in lines)


def test_the_command_prints_the_record_for_machines(tmp_path: Path) -> None:
    done = command(str(tone(tmp_path / "tone.npz")), "--rate", "2000", "--mains", "50", "--json")
    entries = [json.loads(line) for line in done.stdout.splitlines()]
    assert entries[0]["kind"] == "shop"
    assert [entry["seq"] for entry in entries] == list(range(1, len(entries) + 1))
    assert sum(entry["kind"] == "tool" and entry["value"] == "running" for entry in entries) == 1


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("nosuch.npz", "--rate", "2000", "--mains", "50"), "There is no file nosuch.npz to read.\n"),
        (
            ("x.wav", "--rate", "2000", "--mains", "50"),
            "x.wav is no kind of recording that can be read; .npz and .csv are.\n",
        ),
        (
            ("x.csv", "--rate", "100", "--mains", "50"),
            "The rate is 100 samples a second; 400 to 1,000,000 are allowed at 50 Hz mains.\n",
        ),
        (("x.csv", "--rate", "2000", "--mains", "50", "--speed", "0"), "The speed is 0; it must be more than 0.\n"),
    ],
)
def test_the_command_says_in_one_sentence_what_is_wrong(words: tuple[str, ...], said: str) -> None:
    done = command(*words)
    assert (done.returncode, done.stdout, done.stderr) == (2, "", said)
