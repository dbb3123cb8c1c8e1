"""What ``gatekeeper layout`` says of a drive that runs no faster than the machines need."""

import json
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner

sys.path.insert(0, str(Path(__file__).parents[1] / "service"))

from driven_shops import DRIVEN, air_of, made

from gatekeeper.cli import app
from gatekeeper.service.drive_table import saved_w, speed_tables

GOLDEN = Path(__file__).parent / "golden"


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    (tmp_path / "driven.yaml").write_text(DRIVEN, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return "driven.yaml"


def run(*words: str) -> str:
    result = CliRunner().invoke(app, ["layout", *words])
    assert result.exit_code in (0, 1), result.output
    return result.stdout


def test_the_table_of_speeds_is_printed(file: str, golden: Callable[[Path, str], None]) -> None:
    golden(GOLDEN / "driven.txt", run(file))


def test_in_inches_velocities_and_power_are_those_of_the_trade(file: str) -> None:
    Path("inch.yaml").write_text(DRIVEN.replace("units: metric", "units: inch"), encoding="utf-8")
    lines = run("inch.yaml").splitlines()
    begins = lines.index("How fast the drive of the collector runs, 50 to 100 % of full speed.")
    assert [" ".join(line.split()) for line in lines[begins + 1 : begins + 6]] == [
        "running speed air main slowest saves",
        "% cfm ft/min ft/min hp",
        "table saw 87 860 3970 3970 1.2 any slower, and chips settle in main",
        "bandsaw 87 860 3970 3970 1.2 any slower, and chips settle in main",
        "planer 66 860 3980 3960 2.8 any slower, and chips settle in planer drop",
    ]


def test_machines_get_the_same_in_si(file: str) -> None:
    told = json.loads(run(file, "--json"))["speeds"]["collector"]
    shop = made(DRIVEN)
    air = air_of(shop)
    table = speed_tables(shop, air)["collector"]
    assert (told["least_percent"], told["is_whole"], len(told["sets"])) == (50, True, 7)
    (planer,) = [one for one in told["sets"] if one["running"] == ["planer"]]
    row = table.rows[frozenset({"planer"}), frozenset({"planer gate"})]
    assert planer == {
        "running": ["planer"],
        "open_gates": ["planer gate"],
        "speed_percent": 66,
        "floor_percent": 66,
        "binds": "velocity",
        "subject": "planer drop",
        "fan_flow_m3s": row.flow_m3s,
        "main_velocity_ms": row.main_ms,
        "slowest_duct": "planer drop",
        "slowest_velocity_ms": row.slowest_ms,
        "saved_power_w": saved_w(air.systems["collector"], frozenset({"planer gate"}), 66),
    }


def test_the_report_has_singles_and_pairs(file: str) -> None:
    run(file, "--report", "out.html")
    page = Path("out.html").read_text(encoding="utf-8")
    assert "How fast the drive of the collector runs, 50 to 100 % of full speed." in page
    assert "table saw with bandsaw" in page
    assert "the bandsaw needs no more; the air in saw drop keeps 20.4 m/s" in page


def test_with_every_gate_open_or_one_speed_there_is_nothing_to_say(file: str) -> None:
    Path("fixed.yaml").write_text(DRIVEN.replace("speed: from the air", "speed: 50"), encoding="utf-8")
    for words in ((file, "--all-open"), ("fixed.yaml",)):
        assert "How fast the drive" not in run(*words)
        assert "speeds" not in json.loads(run(*words, "--json"))
