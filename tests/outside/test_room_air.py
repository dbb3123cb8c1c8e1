"""Room air against the air-change table of the CDC (Guidelines for Environmental Infection Control in Health-Care
Facilities, 2003, Table B.1, perfect mixing and no source), as collected in shared/trade/figures.yaml.
"""

from pathlib import Path
from typing import Any

import pytest
import yaml

from sim.room_air import after

FIGURES = Path(__file__).parents[3] / "shared" / "trade" / "figures.yaml"


def _rows() -> list[dict[str, Any]]:
    if not FIGURES.exists():
        pytest.skip("the collected trade figures (shared/trade/figures.yaml) are not beside this checkout")
    rows = yaml.safe_load(FIGURES.read_text(encoding="utf-8"))
    found = rows if isinstance(rows, list) else next(value for value in rows.values() if isinstance(value, list))
    return [row for row in found if row["id"].startswith("ach-") and "ACH" in row["inputs"]]


def test_dust_is_gone_in_the_published_minutes() -> None:
    rows = _rows()

    assert {row["inputs"]["ACH"] for row in rows} >= {2, 4, 6, 8, 10, 12, 20}
    for row in rows:
        changes = row["inputs"]["ACH"]
        for minutes, left in ((row["value"]["t99_min"], 0.01), (row["value"]["t999_min"], 0.001)):
            # The table rounds to whole minutes: half a minute earlier there is more left, half a minute later less.
            assert after(1.0, changes, (minutes - 0.6) * 60.0) > left
            assert after(1.0, changes, (minutes + 0.6) * 60.0) < left


def test_a_steady_source_settles_at_source_over_air_changes() -> None:
    assert after(0.0, 6.0, 100 * 3600.0, source_per_s=0.5) == pytest.approx(0.5 * 3600.0 / 6.0)
    assert after(3.0, 0.0, 60.0, source_per_s=0.5) == pytest.approx(33.0)
