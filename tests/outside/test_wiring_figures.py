"""Figures of the wiring plan against what others publish.

Sources: NEC Table 430.248 (three copies agree), 430.22, 430.32, 430.43 and 430.52, as collected in
shared/trade/figures.yaml; IEC 60063 (series E12 and E24, rule and lists from memory); ASTM B258 (wire gauges, areas as
printed in general tables, from memory); IEC 60228 and IEC 60127 (cross-sections and fuse ratings, from memory). Servo
pulses of 1 to 2 ms are common practice and no standard.
"""

from fractions import Fraction
from pathlib import Path

import pytest
import yaml

from gatekeeper.shop.clamps import SOLD, sold_below
from gatekeeper.shop.motor_starts import HP_W
from gatekeeper.shop.written import ServoPart
from gatekeeper.wiring_plan.cables import (
    FUSES_A,
    GAUGES,
    SOLD_MM2,
    fuse_a,
    gauge_area_mm2,
    gauge_for,
    least_area_mm2,
    sold_area_mm2,
)
from gatekeeper.wiring_plan.electrician import HARD_WIRED
from gatekeeper.wiring_plan.motor_figures import (
    BREAKER_SHARE,
    DELAY_FUSE_SHARE,
    OVERLOAD_SHARES,
    SINGLE_PHASE_A,
    THREE_PHASE_A,
    WIRE_SHARE,
    estimated_current_a,
    feeder_current_a,
    table_current,
)

FIGURES = Path(__file__).parents[3] / "shared" / "trade" / "figures.yaml"


@pytest.fixture(scope="module")
def figures() -> dict[str, dict[str, object]]:
    if not FIGURES.is_file():
        pytest.skip("missing shared data: the collected trade figures (shared/trade/figures.yaml)")
    return {item["id"]: item for item in yaml.safe_load(FIGURES.read_text(encoding="utf-8"))["items"]}


def horsepower(written: str) -> float:
    """1-1/2 and 1/6 as numbers."""
    return float(sum(Fraction(part) for part in str(written).split("-")))


def test_every_row_of_the_single_phase_table(figures) -> None:
    rows = {name: item for name, item in figures.items() if name.startswith("nec248-")}
    published = {
        horsepower(item["inputs"]["hp"]): {int(volts[:-1]): amperes for volts, amperes in item["value"].items()}
        for item in rows.values()
    }

    assert len(rows) == 12
    assert {round(hp, 9): row for hp, row in SINGLE_PHASE_A.items()} == {
        round(hp, 9): row for hp, row in published.items()
    }


def test_shares_for_wire_breaker_fuse_and_overload(figures) -> None:
    assert figures["nec43022"]["value"] == 100 * WIRE_SHARE
    assert figures["nec43052"]["value"]["inverse_time"] == 100 * BREAKER_SHARE
    assert figures["nec43052"]["value"]["dual_element"] == 100 * DELAY_FUSE_SHARE
    assert figures["nec43032"]["value"] == [pytest.approx(100 * share) for share in OVERLOAD_SHARES]
    assert figures["nec43043"]["value"] == "not allowed where automatic restart can injure people"
    assert [said for said in HARD_WIRED if "430.43" in said] == [
        "Overload relay at each motor, reset by hand: one that resets by itself would let the motor start by itself "
        "(NEC 430.43 has it so)."
    ]


@pytest.mark.parametrize(
    ("hp", "phases", "listed"), [(2.0, 1, 2.0), (1.01, 1, 1.0), (1.1, 1, 1.5), (4.0, 3, 5.0), (0.1, 1, 1 / 6)]
)
def test_a_power_between_two_rows_takes_the_larger(hp: float, phases: int, listed: float) -> None:
    found = table_current(hp * HP_W, phases)
    assert found is not None
    assert found.listed_hp == listed


def test_beyond_the_tables_there_is_no_row() -> None:
    assert table_current(11 * HP_W, 1) is None
    assert table_current(30 * HP_W, 3) is None


def test_the_two_tables_agree_where_physics_ties_them() -> None:
    """A three-phase motor draws its single-phase brother's current over the square root of 3; within a quarter."""
    for hp, row in THREE_PHASE_A.items():
        single = SINGLE_PHASE_A.get(hp)
        if single is not None:
            assert row[230] == pytest.approx(single[230] / 3**0.5, rel=0.25)
        assert row[460] == pytest.approx(row[230] / 2, rel=0.02)


def test_estimates_lie_by_the_code_table() -> None:
    """At the table's own volts, within two fifths: what it is, an estimate."""
    for hp in (1.0, 2.0, 3.0, 5.0):
        assert estimated_current_a(hp * HP_W, 1) == pytest.approx(SINGLE_PHASE_A[hp][230], rel=0.4)
        at_400_v = THREE_PHASE_A[hp][460] * 460 / 400
        assert estimated_current_a(hp * HP_W, 3) == pytest.approx(at_400_v, rel=0.4)


def test_a_feeder_carries_a_quarter_more_for_its_largest_motor() -> None:
    assert feeder_current_a([12.0, 8.0], [6.0]) == pytest.approx(12.0 * 1.25 + 8.0 + 6.0)
    assert feeder_current_a([], [6.0, 4.0]) == 10.0


E24_LISTED_OTHERWISE = {2.6: 2.7, 2.9: 3.0, 3.2: 3.3, 3.5: 3.6, 3.8: 3.9, 4.2: 4.3, 4.6: 4.7, 8.3: 8.2}
"""Where the standard keeps older values beside its own rule (from memory)."""


def series(steps: int) -> list[float]:
    """The rule of IEC 60063: the powers of the ``steps``-th root of ten, to two figures."""
    return [round(10 ** (step / steps), 1) for step in range(steps)]


def test_the_resistors_on_sale_are_series_e24() -> None:
    listed = [E24_LISTED_OTHERWISE.get(value, value) for value in series(24)]
    assert [round(10 * value) for value in listed] == list(SOLD)


def test_series_e12_is_every_second_one_of_e24() -> None:
    assert list(SOLD[::2]) == [10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82]


@pytest.mark.parametrize(
    ("ohm", "sold"), [(58.3, 56.0), (77.8, 75.0), (116.7, 110.0), (145.8, 130.0), (22.0, 22.0), (9.99, 9.1)]
)
def test_the_burden_on_sale_is_the_next_one_below(ohm: float, sold: float) -> None:
    assert sold_below(ohm) == pytest.approx(sold)


@pytest.mark.parametrize(
    ("gauge", "area_mm2"),
    [(24, 0.205), (22, 0.326), (20, 0.518), (18, 0.823), (16, 1.31), (14, 2.08), (12, 3.31), (10, 5.26)],
)
def test_areas_of_wire_gauges(gauge: int, area_mm2: float) -> None:
    assert gauge_area_mm2(gauge) == pytest.approx(area_mm2, rel=0.005)


def test_cores_and_fuses_are_ones_that_are_sold() -> None:
    assert SOLD_MM2 == (0.25, 0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0)
    assert FUSES_A == (0.5, 0.63, 0.8, 1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0, 10.0)
    for needed in (0.2, 0.5, 0.51, 1.4, 2.5, 5.9):
        assert sold_area_mm2(needed) >= needed
        assert gauge_area_mm2(gauge_for(needed)) >= needed
    assert sold_area_mm2(99.0) == 10.0
    assert (gauge_for(0.5), gauge_for(0.53), gauge_for(99.0)) == (20, 18, GAUGES[-1])
    assert (fuse_a(3.0), fuse_a(5.0), fuse_a(1.5), fuse_a(99.0)) == (3.15, 5.0, 1.6, 10.0)


def test_the_voltage_lost_in_a_cable_is_ohms_law() -> None:
    """10 m there and back, 3 A, 1.5 mm2 of copper: 20 x 0.0175 / 1.5 x 3 = 0.7 V, by hand."""
    assert least_area_mm2(3.0, 10.0, 0.7) == pytest.approx(1.5)


def test_servo_pulses_begin_where_common_practice_has_them() -> None:
    """1 ms at one end and 2 ms at the other: common practice, no standard."""
    part = ServoPart.model_validate({"pin": "GPIO12"})
    assert (part.shut, part.open) == (0.001, 0.002)
