"""The monthly check in the terminal with a measured value, and the fan estimate corrected there."""

import json
import re
from pathlib import Path

from typer.testing import CliRunner

from gatekeeper.cli import app
from gatekeeper.records.care_log import CareLog
from gatekeeper.service.care_pressure import MEASURED_FILE
from gatekeeper.shop.examples import example

ESTIMATED = re.sub(r"    fan_curve:\n(      - .*\n)+", "", example("garage-one-collector").read_text(encoding="utf-8"))
READING = ("--suction", "5.2 in wg", "--at", "main near", "--open", "planer gate")
ROWS = [
    {"gauge": "main gauge", "motor": "collector", "at_s": 1.8e9, "tap": "main near", "gates": ["planer gate"]}
    | {"pa": 1500.0, "measured": "main gauge", "measured_at_s": 1.8e9},
    {"gauge": "far gauge", "motor": "collector", "at_s": 1.8e9, "tap": "main far", "gates": ["planer gate"]}
    | {"pa": 1400.0, "measured": "far gauge", "measured_at_s": 1.8e9},
]


def checkup(shop: Path | str, folder: Path, *words: str, status: int = 0) -> str:
    done = CliRunner().invoke(app, ["checkup", str(shop), "--state", str(folder), *words])
    assert done.exit_code == status, done.output
    return done.output


def lay(folder: Path, rows: list[dict[str, object]]) -> None:
    (folder / MEASURED_FILE).write_text(json.dumps(rows), encoding="utf-8")


def test_a_measured_value_is_offered_and_taken_once(tmp_path: Path) -> None:
    lay(tmp_path, ROWS[:1])
    offered = checkup("garage-one-collector", tmp_path).splitlines()[0]
    assert re.fullmatch(
        r"Measured 2027-01-1\d \d\d:\d\d by main gauge: 6\.0 in wg at main near with planer gate open\. "
        r"Write it down with --measured\.",
        offered,
    )
    said = checkup("garage-one-collector", tmp_path, "--measured", "--who", "Ada")
    assert said.startswith("Written down: 6.0 in wg at main near with planer gate open, measured by main gauge.\n")
    assert "One reading: this is day one." in said
    (done,) = CareLog(tmp_path / "care.jsonl").read()
    assert (done.what, done.subject, done.who) == ("suction", "collector", "Ada, measured by main gauge")
    assert done.more["gates"] == ["planer gate"]
    assert "Write it down" not in checkup("garage-one-collector", tmp_path)
    again = checkup("garage-one-collector", tmp_path, "--measured", status=2)
    assert again == "This very value of main gauge is written down already.\n"


def test_of_several_gauges_one_is_named_by_its_tap(tmp_path: Path) -> None:
    lay(tmp_path, ROWS)
    assert "Write it down with --measured --at 'main far'." in checkup("garage-one-collector", tmp_path)
    said = checkup("garage-one-collector", tmp_path, "--measured", status=2)
    assert said == "Say with --at which of the measured values you mean; there is main near and main far.\n"
    said = checkup("garage-one-collector", tmp_path, "--measured", "--at", "main far")
    assert said.startswith("Written down: 5.6 in wg at main far with planer gate open, measured by far gauge.\n")


def test_without_a_value_it_says_how_to_get_one(tmp_path: Path) -> None:
    assert checkup("garage-one-collector", tmp_path, "--measured", status=2) == (
        "No gauge has shown a steady value yet. Start a machine with the controller running, and wait until its gate "
        "has stood open for half a minute.\n"
    )
    lay(tmp_path, ROWS)
    said = checkup("garage-one-collector", tmp_path, "--measured", *READING, status=2)
    assert said == "A measured value knows its own gates and speed; leave --suction, --open and --speed out.\n"


def test_a_fan_estimate_is_corrected_by_what_is_typed_and_written_only_when_told(tmp_path: Path) -> None:
    shop = tmp_path / "mine.yaml"
    shop.write_text(ESTIMATED, encoding="utf-8")
    said = checkup(shop, tmp_path, "--correct-fan", *READING)
    line = "suction_reading: {duct: main near, suction: 5.2 in wg, open: [planer gate]}"
    assert said.startswith("By the estimate, collector gives 6.4 in wg at main near with planer gate open; the gauge")
    assert "planer: 465 cfm alone instead of 515 cfm, 10 % less; it needs 450 cfm.\n" in said
    assert said.endswith(
        f"For {shop}, under motors > collector: {line}\nnext: the same with --write puts it there, comments kept\n"
    )
    assert shop.read_text(encoding="utf-8") == ESTIMATED
    assert not (tmp_path / "care.jsonl").exists()
    said = checkup(shop, tmp_path, "--correct-fan", "--write", *READING)
    assert said.endswith(
        f"Written into {shop}: {line}\nIt counts from the controller's next start on.\nnext: gatekeeper layout {shop}\n"
    )
    changed = shop.read_text(encoding="utf-8")
    assert changed.replace(f"    {line}\n", "", 1) == ESTIMATED


def test_the_last_reading_on_record_or_a_measured_one_does_as_well(tmp_path: Path) -> None:
    shop = tmp_path / "mine.yaml"
    shop.write_text(ESTIMATED, encoding="utf-8")
    none = checkup(shop, tmp_path, "--correct-fan", status=2)
    assert none == (
        "No reading is written down yet. Give one: --suction '1.5 kPa' --at DUCT --open GATE, or --measured.\n"
    )
    checkup(shop, tmp_path, *READING)
    assert "the gauge showed 5.2 in wg, 19 % less." in checkup(shop, tmp_path, "--correct-fan")
    # Read at nine tenths of its speed, it is 1 / 0.81 of that at full speed.
    lay(tmp_path, [ROWS[0] | {"pa": 1215.0, "speed": 0.9}])
    assert "the gauge showed 6.0 in wg, 6 % less." in checkup(shop, tmp_path, "--correct-fan", "--measured")
    typed = checkup(shop, tmp_path, "--correct-fan", "--speed", "90", "--suction", "1215 Pa", *READING[2:])
    assert "the gauge showed 6.0 in wg, 6 % less." in typed


def test_a_given_curve_and_an_example_stay_as_they_are(tmp_path: Path) -> None:
    said = checkup("garage-one-collector", tmp_path, "--correct-fan", *READING)
    assert "The curve is given and stays as it is." in said
    assert said.endswith("\n\nnext: gatekeeper layout garage-one-collector\n")
    for words, refused in (
        (("--suction", "9 moons", *READING[2:]), '"9 moons" is no suction; write such as "1.5 kPa" or "6 in wg".\n'),
        (("--suction", "5 in wg"), "Say where the tap is with --at; there is inlet of collector, riser, main near, "),
        (("--suction", "5 in wg", "--at", "main near"), "Say which gates stood open; without one no air moves, and "),
        ((*READING, "--speed", "3"), "A speed of 3 % is none; write 10 to 150.\n"),
    ):
        assert checkup("garage-one-collector", tmp_path, "--correct-fan", *words, status=2).startswith(refused)
