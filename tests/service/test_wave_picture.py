"""The picture of a replay: everything that was decided is in it, at its place, in words; and it is whole SVG."""

import math
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from gatekeeper.cli import app
from gatekeeper.service.wave_picture import (
    INKS,
    LEFT,
    RIGHT,
    WIDTH,
    Look,
    Mark,
    Picture,
    Words,
    svg_of,
    wave_picture,
)
from gatekeeper.service.wave_png import png_of

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
    return ET.fromstring(svg_of(wave_picture("saw & <planer>", samples, RATE_HZ, looks(), marks)))


def texts(root: ET.Element) -> list[str]:
    return [element.text or "" for element in root.iter(f"{SVG}text")]


def test_title_thresholds_states_and_decisions_are_there_in_words() -> None:
    said = texts(drawn([Mark(1.02, "Saw runs"), Mark(1.5, "Saw gate opens"), Mark(-1.0, "woke"), Mark(9.0, "later")]))

    assert said[0] == "saw & <planer>"
    assert {"stopped", "running", "stale", "trip 0.20 A", "stop under 0.12 A"} <= set(said)
    assert said[-2:] == ["    1.020 s   Saw runs", "    1.500 s   Saw gate opens"]


def points_of(shape: ET.Element) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in (point.split(",") for point in shape.get("points", "").split())]


def shapes(root: ET.Element, name: str, kind: str) -> list[list[tuple[float, float]]]:
    return [points_of(shape) for shape in root.iter(f"{SVG}{name}") if shape.get("class") == kind]


def test_boxes_and_marks_stand_where_it_happened() -> None:
    root = drawn([Mark(1.02, "Saw runs")])
    (run,), (lost,) = shapes(root, "polygon", "run"), shapes(root, "polygon", "lost")
    (mark,) = shapes(root, "polyline", "mark")

    assert [x for x, _ in run[:2]] == pytest.approx([x_of(1.0, 4.0), x_of(3.0, 4.0)], abs=0.1)
    assert lost[0][0] == pytest.approx(x_of(3.0, 4.0), abs=0.1)
    assert [x for x, _ in mark] == pytest.approx([x_of(1.02, 4.0)] * 2, abs=0.1)


def test_the_rms_is_a_line_that_breaks_off_where_nothing_is_known() -> None:
    root = drawn([])
    (rms,), (trip,) = shapes(root, "polyline", "rms"), shapes(root, "polyline", "trip")

    assert rms[-1][0] == pytest.approx(x_of(2.99, 4.0), abs=0.1)
    assert rms[0][1] > trip[0][1] > rms[-1][1]


def test_more_samples_than_columns_keep_their_peaks() -> None:
    samples = [0.0] * 100_000
    samples[50_001] = 37.0
    root = ET.fromstring(svg_of(wave_picture("spike", samples, 10_000.0, [], [])))
    (points,) = shapes(root, "polygon", "wave")

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


def replay_to(out: Path, tmp_path: Path) -> Result:
    np.savez(tmp_path / "saw.npz", current_A=5.0 * np.sin(2 * np.pi * 50 * np.arange(2000) / 2000))
    words = ["replay", str(tmp_path / "saw.npz"), "--rate", "2000", "--mains", "50", "--plot", str(out)]
    return CliRunner().invoke(app, words)


def test_a_png_is_the_same_picture_twice_as_fine(tmp_path: Path) -> None:
    pytest.importorskip("matplotlib", reason="matplotlib is in the report extra")
    from matplotlib.image import imread

    out = tmp_path / "saw.png"
    assert replay_to(out, tmp_path).exit_code == 0
    assert replay_to(tmp_path / "saw.svg", tmp_path).exit_code == 0
    root = ET.parse(tmp_path / "saw.svg").getroot()
    pixels = imread(out)
    assert pixels.shape[:2] == (2 * int(root.get("height", "")), 2 * WIDTH)

    (run,), (trip,) = shapes(root, "polygon", "run"), shapes(root, "polyline", "trip")

    def colour(x: float, y: float) -> str:
        red, green, blue = (round(255 * float(part)) for part in pixels[round(2 * y), round(2 * x)][:3])
        return f"#{red:02x}{green:02x}{blue:02x}"

    assert colour(5, 5) == "#ffffff"
    assert colour(run[1][0] - 3, run[2][1] - 3) == INKS["run"].fill
    along = {colour(LEFT + 0.5 * k, trip[0][1]) for k in range(100)}
    assert INKS["trip"].stroke in along  # dashed: drawn here and not there
    assert INKS["run"].fill in along or "#ffffff" in along


def test_words_are_drawn_as_they_are_written() -> None:
    pytest.importorskip("matplotlib", reason="matplotlib is in the report extra")
    plain = Picture("t", 200, 40, (Words(5, 20, "saw"),))
    odd = Picture("t", 200, 40, (Words(5, 20, "$saw_1$ & <2>"),))
    assert png_of(plain).startswith(b"\x89PNG")
    assert png_of(plain) == png_of(plain)
    assert len(png_of(odd)) > len(png_of(plain))


def test_without_matplotlib_it_says_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    done = replay_to(tmp_path / "saw.png", tmp_path)
    assert (done.exit_code, done.stdout) == (2, "")
    assert done.stderr == (
        "A .png is drawn by matplotlib, which is not installed: run pip install 'gatekeeper[report]', or name a file "
        "that ends in .svg.\n"
    )
    assert not (tmp_path / "saw.png").exists()


def test_another_kind_of_picture_is_refused_before_anything_runs() -> None:
    done = CliRunner().invoke(app, ["replay", "x.npz", "--rate", "2000", "--mains", "50", "--plot", "x.gif"])
    assert (done.exit_code, done.stdout) == (2, "")
    assert done.stderr == "x.gif is no picture that can be drawn; name a file that ends in .svg or .png.\n"


def test_a_picture_that_cannot_be_written_is_one_sentence(tmp_path: Path) -> None:
    np.savez(tmp_path / "saw.npz", current_A=np.zeros(2000))
    out = tmp_path / "nowhere" / "saw.svg"
    words = ["replay", str(tmp_path / "saw.npz"), "--rate", "2000", "--mains", "50", "--plot", str(out)]
    done = CliRunner().invoke(app, words)
    assert done.exit_code == 2
    assert done.stderr == f"{out}: this file cannot be written (No such file or directory)\n"
