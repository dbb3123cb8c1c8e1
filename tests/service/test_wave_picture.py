"""The picture of a replay: everything that was decided is in it, at its place, in words; and it is whole SVG."""

import math
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from gatekeeper.cli import app
from gatekeeper.service.wave_picture import LEFT, RIGHT, WIDTH, Look, Mark, wave_svg

SVG = "{http://www.w3.org/2000/svg}"
RATE_HZ = 1000.0


def x_of(t_s: float, seconds: float) -> float:
    return LEFT + (WIDTH - LEFT - RIGHT) * t_s / seconds


def looks() -> list[Look]:
    """Stopped for a second, running at 5 A for two, then lost."""
    found = []
    for k in range(-20, 420):
        t_s = k / 100
        state = "stopped" if t_s < 1 else "running" if t_s < 3 else "stale"
        found.append(Look(t_s, {"stopped": 0.02, "running": 5.0, "stale": None}[state], 0.2, state))
    return found


def drawn(marks: list[Mark], seconds: float = 4.0) -> ET.Element:
    samples = [5.0 * math.sqrt(2) * math.sin(2 * math.pi * 50 * k / RATE_HZ) for k in range(round(seconds * RATE_HZ))]
    return ET.fromstring(wave_svg("saw & <planer>", samples, RATE_HZ, looks(), marks))


def texts(root: ET.Element) -> list[str]:
    return [element.text or "" for element in root.iter(f"{SVG}text")]


def test_title_thresholds_states_and_decisions_are_there_in_words() -> None:
    said = texts(drawn([Mark(1.02, "Saw runs"), Mark(1.5, "Saw gate opens"), Mark(-1.0, "woke"), Mark(9.0, "later")]))

    assert said[0] == "saw & <planer>"
    assert {"stopped", "running", "stale", "trip 0.20 A", "stop under 0.12 A"} <= set(said)
    assert said[-2:] == ["    1.020 s   Saw runs", "    1.500 s   Saw gate opens"]


def test_boxes_and_marks_stand_where_it_happened() -> None:
    root = drawn([Mark(1.02, "Saw runs")])
    boxes = {box.get("class"): box for box in root.iter(f"{SVG}rect")}
    (mark,) = [line for line in root.iter(f"{SVG}line") if line.get("class") == "mark"]

    assert float(boxes["run"].get("x", "")) == pytest.approx(x_of(1.0, 4.0), abs=0.1)
    assert float(boxes["run"].get("width", "")) == pytest.approx(x_of(3.0, 4.0) - x_of(1.0, 4.0), abs=0.1)
    assert float(boxes["lost"].get("x", "")) == pytest.approx(x_of(3.0, 4.0), abs=0.1)
    assert float(mark.get("x1", "")) == pytest.approx(x_of(1.02, 4.0), abs=0.1)


def test_the_rms_is_a_line_that_breaks_off_where_nothing_is_known() -> None:
    (rms,) = [line for line in drawn([]).iter(f"{SVG}polyline") if line.get("class") == "rms"]
    points = [tuple(map(float, point.split(","))) for point in rms.get("points", "").split()]
    (trip,) = [line for line in drawn([]).iter(f"{SVG}line") if line.get("class") == "trip"]

    assert points[-1][0] == pytest.approx(x_of(2.99, 4.0), abs=0.1)
    assert points[0][1] > float(trip.get("y1", "")) > points[-1][1]


def test_more_samples_than_columns_keep_their_peaks() -> None:
    samples = [0.0] * 100_000
    samples[50_001] = 37.0
    root = ET.fromstring(wave_svg("spike", samples, 10_000.0, [], []))
    (wave,) = root.iter(f"{SVG}polygon")
    points = [tuple(map(float, point.split(","))) for point in wave.get("points", "").split()]

    assert len(points) < 2 * WIDTH
    highest = min(points, key=lambda point: point[1])
    assert highest[0] == pytest.approx(x_of(5.0, 10.0), abs=1.0)
    assert highest[1] < 50 + 200 * (1 - 37 / 50) / 2 + 1


def test_long_lists_of_decisions_end_with_their_number() -> None:
    assert texts(drawn([Mark(0.1 * k, f"word {k}") for k in range(30)]))[-1] == "and 6 more"


def test_the_command_draws_what_it_prints(tmp_path: Path) -> None:
    t_s = np.arange(4000) / 2000
    current = np.where((t_s > 0.4) & (t_s < 1.2), 5.0 * np.sin(2 * np.pi * 50 * t_s), 0.0)
    np.savez(tmp_path / "saw.npz", current_A=current)
    words = [
        "replay",
        str(tmp_path / "saw.npz"),
        "--rate",
        "2000",
        "--mains",
        "50",
        "--plot",
        str(tmp_path / "saw.svg"),
    ]
    done = CliRunner().invoke(app, words)

    assert done.exit_code == 0
    said = texts(ET.parse(tmp_path / "saw.svg").getroot())
    assert said[0] == "saw.npz: 2000 samples a second, 50 Hz mains"
    printed = dict(re.findall(r"^ *(\d+\.\d{3})  (Machine (?:runs|stopped))$", done.stdout, re.MULTILINE))
    assert list(printed.values()) == ["Machine runs", "Machine stopped"]
    for second, word in printed.items():
        assert f"{float(second):9.3f} s   {word}" in said


def test_another_kind_of_picture_is_refused_before_anything_runs(tmp_path: Path) -> None:
    done = CliRunner().invoke(app, ["replay", "x.npz", "--rate", "2000", "--mains", "50", "--plot", "x.png"])
    assert (done.exit_code, done.stdout) == (2, "")
    assert done.stderr == "x.png is no picture that can be drawn; name a file that ends in .svg.\n"


def test_a_picture_that_cannot_be_written_is_one_sentence(tmp_path: Path) -> None:
    np.savez(tmp_path / "saw.npz", current_A=np.zeros(2000))
    out = tmp_path / "nowhere" / "saw.svg"
    words = ["replay", str(tmp_path / "saw.npz"), "--rate", "2000", "--mains", "50", "--plot", str(out)]
    done = CliRunner().invoke(app, words)
    assert done.exit_code == 2
    assert done.stderr == f"{out}: this file cannot be written (No such file or directory)\n"
