"""Breakers against the trip band of IEC 60898-1 and overload relays against class 10 of IEC 60947-4-1.

Both standards are recalled, not read: conventional currents 1.13 and 1.45 for one hour; at 2.55 times the rating 1 to
60 s up to 32 A; instantaneous 3 to 5 (B), 5 to 10 (C), 10 to 20 (D); class 10: holds 1.05 for two hours, trips at 1.2
within two, at 1.5 (warm) within four minutes, at 7.2 from cold between 4 and 10 s.
"""

import math

import pytest

from sim.breakers import BREAKERS, OVERLOAD, Breaker, Warming, breaker_for

HOUR_S = 3600.0


@pytest.mark.parametrize("kind", ["B", "C", "D"])
def test_the_thermal_release_lies_in_the_band(kind: str) -> None:
    curve = BREAKERS[kind]

    assert curve.trips_after_s(1.13) > HOUR_S
    assert curve.trips_after_s(1.45) < HOUR_S
    assert 1.0 < curve.trips_after_s(2.55) < 60.0


@pytest.mark.parametrize(("kind", "holds", "trips"), [("B", 3.0, 5.0), ("C", 5.0, 10.0), ("D", 10.0, 20.0)])
def test_the_magnetic_release_lies_in_the_band(kind: str, holds: float, trips: float) -> None:
    curve = BREAKERS[kind]

    assert curve.trips_after_s(holds) > 0.1
    assert curve.trips_after_s(trips) == 0.0


def test_the_overload_relay_is_of_class_10() -> None:
    assert OVERLOAD.trips_after_s(1.05) > 2 * HOUR_S
    assert OVERLOAD.trips_after_s(1.2) < 2 * HOUR_S
    assert OVERLOAD.trips_after_s(1.5, heat=1.0) < 240.0
    assert 4.0 < OVERLOAD.trips_after_s(7.2) < 10.0


def test_heat_gained_in_pieces_is_the_heat_of_the_whole() -> None:
    """By the closed form: from cold, the heat after t is m squared times (1 - exp(-t / tau))."""
    whole = Warming(OVERLOAD, 0.0)
    whole.carry(0.0, 3.0)
    for now_s in (1.0, 2.5, 7.0):
        whole.settle(now_s)

    assert whole.heat == pytest.approx(9.0 * (1.0 - math.exp(-7.0 / OVERLOAD.tau_s)))


def test_a_breaker_is_the_next_one_made() -> None:
    assert breaker_for(17.0) == Breaker(20.0, "C")
    assert breaker_for(20.0, "D") == Breaker(20.0, "D")
    with pytest.raises(ValueError, match="A breaker is of type B, C or D, not K"):
        Breaker(16.0, "K")
