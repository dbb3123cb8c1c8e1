"""Motor starts against the published table (NEMA MG 10-2001, Table 2-3) as collected in shared/trade/figures.yaml."""

from pathlib import Path
from typing import Any

import pytest
import yaml

from gatekeeper.shop.motor_starts import HP_W, LB_FT2_KGM2, TABLE, starts_allowed

FIGURES = Path(__file__).parents[3] / "shared" / "trade" / "figures.yaml"
EXAMPLE = "mg10-example"


def _rows() -> list[dict[str, Any]]:
    if not FIGURES.exists():
        pytest.skip("the collected trade figures (shared/trade/figures.yaml) are not beside this checkout")
    rows = yaml.safe_load(FIGURES.read_text(encoding="utf-8"))
    found = rows if isinstance(rows, list) else next(value for value in rows.values() if isinstance(value, list))
    return [row for row in found if row["id"].startswith("mg10-")]


def test_every_row_is_as_published_and_none_is_invented() -> None:
    published = {
        (row["inputs"]["poles"], row["inputs"]["hp"]): (row["value"]["A"], row["value"]["B"], row["value"]["C_s"])
        for row in _rows()
        if row["id"] != EXAMPLE
    }

    assert published == TABLE


def test_the_worked_example() -> None:
    (row,) = [row for row in _rows() if row["id"] == EXAMPLE]
    given = row["inputs"]

    allowed = starts_allowed(given["hp"] * HP_W, given["poles"], given["Wk2_lbft2"] * LB_FT2_KGM2)

    assert allowed is not None
    assert allowed.starts_per_hour == pytest.approx(row["value"], abs=0.005)
    assert allowed.rest_s == 58.0
