"""Pressures against figures from outside: units, current loops, velocity pressure.

Sources. Units: NIST SP 811, appendix B (inch of water, conventional, 249.0889 Pa; millimetre of water, conventional,
9.80665 Pa; millibar 100 Pa), recalled. Current loops of 4 to 20 mA with 4 mA at the low end of the range and straight
between (IEC 60381-1), and the levels 3.6 mA, 3.8 mA, 20.5 mA and 21 mA of NAMUR NE 43, both recalled; that 12 mA is
the middle of the range is common practice in every trade. Velocity pressure: V = 4005 sqrt(VP) with V in ft/min and VP
in inches of water at standard air of 0.075 lb/ft3, as in every handbook of industrial ventilation (recalled).
"""

import pytest

from gatekeeper.airflow.air import velocity_pressure_pa
from gatekeeper.sensing.gauge import GaugeScale
from gatekeeper.shop.fields_gauges import PressureUnit
from gatekeeper.shop.units import parse

LOOP = GaugeScale(0.004, 0.0, 0.020, 2500.0)


@pytest.mark.parametrize(
    ("written", "pa", "rel"),
    [
        ("1 in wg", 249.0889, 1e-5),
        ("1 mm wg", 9.80665, 1e-12),
        ("1 mbar", 100.0, 1e-12),
        ("1 hPa", 100.0, 1e-12),
        ("1 kPa", 1000.0, 1e-12),
        ("10 in wg", 2490.889, 1e-5),
    ],
)
def test_units_of_pressure(written: str, pa: float, rel: float) -> None:
    assert parse(written, "pressure") == pytest.approx(pa, rel=rel)


def test_every_unit_that_a_meter_may_count_in_is_the_same_unit_that_a_file_is_written_in() -> None:
    for unit in PressureUnit:
        assert unit.pa == parse(f"1 {unit.value}", "pressure")


@pytest.mark.parametrize(("ma", "share"), [(4.0, 0.0), (8.0, 0.25), (12.0, 0.5), (16.0, 0.75), (20.0, 1.0)])
def test_a_current_loop_is_straight_between_its_ends(ma: float, share: float) -> None:
    assert LOOP.pa_of(ma / 1000.0) == pytest.approx(share * 2500.0, abs=1e-9)


def test_the_levels_of_ne_43_are_told_apart() -> None:
    # A fault is 3.6 mA or less, and 21 mA or more; 3.8 mA to 20.5 mA are pressures.
    assert LOOP.broken_below == pytest.approx(0.0036)
    assert LOOP.beyond_above == pytest.approx(0.021)
    for ma in (3.8, 20.5):
        assert LOOP.broken_below < ma / 1000.0 < LOOP.beyond_above


@pytest.mark.parametrize(("ft_min", "in_wg"), [(4005.0, 1.0), (2000.0, 0.249), (5664.0, 2.0)])
def test_velocity_pressure_as_a_pitot_tube_shows_it(ft_min: float, in_wg: float) -> None:
    standard_kg_m3 = 0.075 * 0.45359237 / 0.3048**3
    pa = velocity_pressure_pa(ft_min * 0.3048 / 60.0, standard_kg_m3)
    assert pa / parse("1 in wg", "pressure") == pytest.approx(in_wg, rel=2e-3)
