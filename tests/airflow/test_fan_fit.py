"""One reading of suction fixes the fan: the factor comes back from the curve's own reading, and only within bounds."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gatekeeper.airflow.air import Air
from gatekeeper.airflow.fan import FanCurve, estimated_curve
from gatekeeper.airflow.fan_reading import LEAST_FACTOR, MOST_FACTOR, FanFit, NoFit, fan_fit, suction_at
from gatekeeper.airflow.network import Collector, Duct, Gate, Hood, Network
from gatekeeper.airflow.solve import Prepared, prepare

AIR = Air(1.2041, 1.8205e-5)


def two_drops(fan: FanCurve, filter_line: float = 0.0) -> Prepared:
    """A main with two drops, each with a gate."""
    ducts = (
        Duct("main", "joint", "inlet", 4.0, 0.15, 0.00015, 0.4),
        Duct("near", "near hood", "joint", 2.0, 0.1, 0.00015, 0.5),
        Duct("far", "far hood", "joint", 5.0, 0.1, 0.00015, 0.9),
    )
    hoods = (Hood("near hood", "near hood", 0.93), Hood("far hood", "far hood", 0.93))
    gates = (Gate("near gate", "near", 0.1, 4e-5), Gate("far gate", "far", 0.1, 4e-5))
    return prepare(Network(AIR, ducts, hoods, gates, Collector("inlet", filter_line, 0.0), fan))


TAPS = st.sampled_from(["main", "near", "far"])
OPENED = st.sampled_from([("near gate",), ("far gate",), ("near gate", "far gate")])


@given(
    factor=st.floats(LEAST_FACTOR + 1e-6, MOST_FACTOR - 1e-6),
    tap=TAPS,
    opened=OPENED,
    power_w=st.floats(400.0, 5000.0),
    filter_line=st.sampled_from([0.0, 600.0]),
)
@settings(max_examples=60, deadline=None)
def test_a_reading_from_a_corrected_model_gives_back_its_factor(
    factor: float, tap: str, opened: tuple[str, ...], power_w: float, filter_line: float
) -> None:
    plain = two_drops(estimated_curve(power_w), filter_line)
    moved = plain.with_fan(plain.network.fan.scaled(factor**0.5))
    fit = fan_fit(plain, tap, suction_at(moved, tap, opened), opened)
    assert fit.factor == pytest.approx(factor, rel=1e-6)
    assert fit.speed_ratio**2 == pytest.approx(fit.factor, rel=1e-12)
    # Any other place and any other gates then show the same as the moved fan: it is one curve, not one point.
    corrected = plain.with_fan(fit.curve)
    for elsewhere in ("main", "near", "far"):
        for others in (("near gate",), ("far gate",)):
            assert suction_at(corrected, elsewhere, others) == pytest.approx(
                suction_at(moved, elsewhere, others), rel=1e-5
            )


@given(tap=TAPS, opened=OPENED, low=st.floats(0.64, 1.32), step=st.floats(0.001, 0.04))
@settings(max_examples=40, deadline=None)
def test_a_larger_reading_asks_for_a_larger_factor(tap: str, opened: tuple[str, ...], low: float, step: float) -> None:
    plain = two_drops(estimated_curve(1500.0), 400.0)
    before_pa = suction_at(plain, tap, opened)
    factors = [fan_fit(plain, tap, share * before_pa, opened).factor for share in (low, low + step)]
    assert factors[0] < factors[1]


def test_a_reading_by_the_curve_itself_changes_nothing() -> None:
    plain = two_drops(estimated_curve(1500.0))
    fit = fan_fit(plain, "main", suction_at(plain, "main", ["near gate"]), ["near gate"])
    assert fit.factor == pytest.approx(1.0, rel=1e-9)
    assert fit.before_pa == pytest.approx(suction_at(plain, "main", ["near gate"]), rel=1e-12)


@pytest.mark.parametrize("share", [0.4, 1.8])
def test_what_no_estimate_is_off_by_is_refused_with_its_bounds(share: float) -> None:
    plain = two_drops(estimated_curve(1500.0))
    before_pa = suction_at(plain, "main", ["near gate"])
    with pytest.raises(NoFit) as refused:
        fan_fit(plain, "main", share * before_pa, ["near gate"])
    assert refused.value.before_pa == pytest.approx(before_pa)
    # Friction falls a little with speed, so the bounds of suction lie near those of the factor.
    assert refused.value.least_pa == pytest.approx(LEAST_FACTOR * before_pa, rel=0.02)
    assert refused.value.most_pa == pytest.approx(MOST_FACTOR * before_pa, rel=0.02)


def test_the_curve_moves_along_the_fan_laws() -> None:
    plain = two_drops(estimated_curve(1500.0))
    fit: FanFit = fan_fit(plain, "main", 1.2 * suction_at(plain, "main", ["near gate"]), ["near gate"])
    before = plain.network.fan
    assert fit.curve.flows_m3s == pytest.approx([flow * fit.speed_ratio for flow in before.flows_m3s])
    assert fit.curve.pressures_pa == pytest.approx([pa * fit.factor for pa in before.pressures_pa])
    assert 1.19 < fit.factor < 1.22


def test_a_place_that_is_not_there_is_a_key_error() -> None:
    with pytest.raises(KeyError):
        fan_fit(two_drops(estimated_curve(1500.0)), "moon", 500.0, ["near gate"])
