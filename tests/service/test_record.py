"""`gatekeeper record`: what a clamp sees, as a file that replay reads; and every way in which it cannot be."""

import json
import math
import sys
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from gatekeeper import taking
from gatekeeper.cli import app
from gatekeeper.devices.base import Block
from gatekeeper.recording import read_recording
from gatekeeper.service.clamp_reading import clamp_of_machine, summary, take
from gatekeeper.taking import CannotTake, record_to_file

sys.path.insert(0, str(Path(__file__).parent))
from hand_plant import HandPlant, example_shop


def rms(samples: list[float]) -> float:
    return math.sqrt(sum(a * a for a in samples) / len(samples))


@pytest.mark.parametrize("kind", ["npz", "csv"])
def test_a_recording_is_the_current_at_its_measured_rate_and_replay_reads_it(tmp_path: Path, kind: str) -> None:
    shop = example_shop("garage-one-collector")
    plant = HandPlant(shop)
    out = tmp_path / f"saw.{kind}"
    lines = record_to_file(shop, "table saw", out, 8.0, plant.converters())

    # 60 Hz at 20 samples a cycle; the clock's starts and ends make the rate, not what somebody believes.
    assert lines[0].startswith("table saw: 8.0 s, ")
    assert " samples at 1200.0 a second, RMS " in lines[0]
    assert lines[1:] == [
        "At the end it does not run.",
        f"next: gatekeeper replay {out} --rate 1200.0 --mains 60 --plot {out}.svg",
    ]
    heard = read_recording(out, 1200.0, 60.0)
    assert heard.duration_s == pytest.approx(8.0, abs=0.1)
    samples = list(heard.samples_a[0])
    assert rms(samples[: int(1.9 * 1200)]) < 0.05
    assert rms(samples[int(4.0 * 1200) : int(5.0 * 1200)]) == pytest.approx(6.0, rel=0.02)
    assert rms(samples[int(6.2 * 1200) :]) < 0.05
    assert plant.switched == [("table saw", True), ("table saw", False)]
    assert [bank.is_closed for bank in plant.banks] == [True]
    assert sorted(path.name for path in tmp_path.iterdir()) == [out.name]


def test_the_facts_of_an_npz_stand_beside_the_current(tmp_path: Path) -> None:
    shop = example_shop("garage-one-collector")
    record_to_file(shop, "jointer", tmp_path / "j.npz", 1.0, HandPlant(shop).converters())
    with np.load(tmp_path / "j.npz", allow_pickle=False) as archive:
        facts = json.loads(str(archive["metadata_json"]))

    assert facts["machine"] == "jointer"
    assert facts["mains_hz"] == 60
    assert facts["fs_hz"] == pytest.approx(1200.0)


def test_a_tool_of_a_shared_circuit_and_a_motor_have_a_clamp_too(tmp_path: Path) -> None:
    shop = example_shop("shared-twelve")
    on_circuit = next(tool.name for tool in shop.tools.values() if tool.circuit is not None)
    for machine in (on_circuit, "collector"):
        assert record_to_file(shop, machine, tmp_path / f"{machine}.csv", 1.0, HandPlant(shop).converters())


def test_a_dead_converter_is_recorded_and_said_to_be_dead(tmp_path: Path) -> None:
    shop = example_shop("garage-one-collector")
    plant = HandPlant(shop)
    plant.plant.faults.mute("clamp board")
    lines = record_to_file(shop, "table saw", tmp_path / "x.csv", 2.0, plant.converters(is_virtual=False))

    assert lines[1] == (
        "The sensor is not to be believed. "
        "The reading does not move at all: look at the sensor's plug and the converter."
    )


def test_holes_are_counted_and_the_rate_is_that_of_the_whole(tmp_path: Path) -> None:
    """A bus that is taken away for 0.3 s after each read: fewer samples in the same time, and it is said."""
    shop = example_shop("garage-one-collector")
    plant = HandPlant(shop)
    converters = plant.converters(is_virtual=False)
    bank = converters.open(shop, "clamp board")
    read = bank.read

    def late(samples: int) -> Block:
        block = read(samples)
        plant.clock.advance(0.3)
        return block

    bank.read = late  # type: ignore[method-assign]
    taken = take(bank, clamp_of_machine(shop, "table saw"), 5.0, 60.0)

    assert taken.holes == pytest.approx(5.0 / 0.36, abs=2)
    assert taken.rate_hz == pytest.approx(len(taken.samples_a) / 5.2, rel=0.1)
    assert summary(taken, "table saw", "x.csv")[2] == (
        f"The converter was not read without a break: {taken.holes} holes of more than 5 ms."
    )


@pytest.mark.parametrize(
    ("machine", "name", "seconds", "said"),
    [
        (
            "table saw",
            "saw.wav",
            5.0,
            "saw.wav is no kind of recording that can be written; name a file in .npz or .csv.",
        ),
        ("table saw", "saw.csv", 0.5, "0.5 s cannot be recorded; 1 to 600 s can."),
        ("table saw", "saw.csv", math.nan, "nan s cannot be recorded; 1 to 600 s can."),
        (
            "table sow",
            "saw.csv",
            5.0,
            "This shop has no machine called table sow; it has table saw, jointer, planer, bandsaw, drum sander, "
            'mitre saw and collector; did you mean "table saw"?',
        ),
        (
            "kettle",
            "saw.csv",
            5.0,
            "This shop has no machine called kettle; it has table saw, jointer, planer, bandsaw, drum sander, "
            "mitre saw and collector.",
        ),
    ],
)
def test_what_cannot_be_recorded_is_one_sentence(
    tmp_path: Path, machine: str, name: str, seconds: float, said: str
) -> None:
    shop = example_shop("garage-one-collector")
    with pytest.raises(CannotTake) as caught:
        record_to_file(shop, machine, tmp_path / name, seconds, HandPlant(shop).converters())
    assert str(caught.value) == said
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("machine", "why"),
    [
        ("table saw", "a current switch watches it, which only says yes or no"),
        ("collector", "nothing watches it"),
    ],
)
def test_a_machine_without_a_clamp_is_refused(tmp_path: Path, machine: str, why: str) -> None:
    shop = example_shop("one-evening")
    with pytest.raises(CannotTake) as caught:
        record_to_file(shop, machine, tmp_path / "x.csv", 2.0, HandPlant(shop).converters())
    assert str(caught.value) == f"{machine} has no clamp on a converter: {why}."


# ---------------------------------------------------------------- the command


def command(*words: str) -> Result:
    return CliRunner().invoke(app, ["record", *words])


def test_the_command_records_and_does_not_write_over_a_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shop = example_shop("garage-one-collector")
    monkeypatch.setattr(taking, "converters_for", lambda *_: HandPlant(shop).converters())
    out = tmp_path / "saw.csv"
    done = command("garage-one-collector", "table saw", str(out), "--seconds", "2", "--pins", "virtual")
    again = command("garage-one-collector", "table saw", str(out), "--seconds", "2", "--pins", "virtual")

    assert (done.exit_code, len(done.stdout.splitlines())) == (0, 3)
    assert out.read_text(encoding="utf-8").startswith("seconds,amperes\n0.000000,")
    assert (again.exit_code, again.stderr) == (2, f"{out}: this file is there already; name another\n")


def test_pins_that_are_none_and_a_board_that_is_not_there(tmp_path: Path) -> None:
    out = str(tmp_path / "saw.csv")
    wrong = command("garage-one-collector", "table saw", out, "--pins", "brass")
    none = command("garage-one-collector", "table saw", out)

    assert (wrong.exit_code, wrong.stderr) == (
        2,
        "There are no pins called 'brass'. Allowed are 'lgpio', 'gpiod', 'mock' and 'virtual'.\n",
    )
    if not Path("/dev/spidev0.0").exists():
        assert none.stderr == "There is no /dev/spidev0.0. Switch SPI on for this board, then start again.\n"
    assert none.exit_code == 2
