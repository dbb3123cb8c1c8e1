"""What is refused as a network, as a fan curve, as air, or as an argument of a table: whole sentences."""

import re
from dataclasses import replace

import pytest

from gatekeeper.airflow import losses
from gatekeeper.airflow.air import STANDARD_AIR, Air, air_at, pressure_at_pa, velocity_of_pressure_ms
from gatekeeper.airflow.fan import ESTIMATE_ERROR, FanCurve, estimated_curve, fan_laws
from gatekeeper.airflow.friction import friction_factor, hydraulic_diameter_m, slack_hose_factor
from gatekeeper.airflow.network import Collector, Duct, Gate, Hood, Network

FAN = FanCurve((0.0, 0.2, 0.4), (2400.0, 1700.0, 0.0))
DROPS = (
    Duct("a", "hood a", "joint", 2.0, 0.1, 1e-4, 0.4),
    Duct("b", "hood b", "joint", 2.0, 0.1, 1e-4, 0.4),
    Duct("main", "joint", "inlet", 2.0, 0.15, 1e-4, 0.4),
)
HOODS = (Hood("a", "hood a", 0.5), Hood("b", "hood b", 0.5))
GOOD = Network(STANDARD_AIR, DROPS, HOODS, (Gate("gate", "a", 0.1, 4e-5),), Collector("inlet", 300.0, 800.0), FAN)


def test_the_order_has_every_duct_after_those_that_feed_it():
    assert GOOD.feeding == ((), (), (0, 1))
    assert GOOD.order.index(2) == 2
    assert GOOD.root_ducts == (2,)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"ducts": ()}, "a system of ducts has at least one duct"),
        ({"ducts": (*DROPS, DROPS[0])}, 'two ducts are named "a"; give each its own name'),
        (
            {"gates": (Gate("gate", "a", 0.1, 0.0), Gate("gate", "b", 0.1, 0.0))},
            'two gates are named "gate"; give each its own name',
        ),
        (
            {"ducts": (*DROPS, Duct("c", "hood a", "inlet", 1.0, 0.1, 0.0))},
            'from one place two ducts lead on: "a" and "c"; air takes one way to the collector',
        ),
        (
            {"ducts": (*DROPS, Duct("c", "inlet", "out", 1.0, 0.1, 0.0))},
            'the duct "c" leads out of the collector\'s inlet',
        ),
        (
            {"ducts": (*DROPS, Duct("c", "x", "y", 1.0, 0.1, 0.0), Duct("d", "y", "x", 1.0, 0.1, 0.0))},
            'the duct "c" does not lead to the collector: it ends nowhere or runs in a ring',
        ),
        ({"hoods": HOODS[:1]}, 'hoods sit at the open ends of ducts and every open end has one; "hood b" does not fit'),
        (
            {"hoods": (*HOODS, Hood("c", "joint", 0.5))},
            'hoods sit at the open ends of ducts and every open end has one; "joint" does not fit',
        ),
        ({"hoods": (*HOODS, Hood("c", "hood b", 0.5))}, "two hoods sit at one end of a duct; one is enough"),
        ({"hoods": (HOODS[0], Hood("b", "hood b", -0.1))}, "the entry loss of a hood is 0 or more"),
        ({"gates": (Gate("gate", "c", 0.1, 0.0),)}, 'the gate "gate" is on a duct "c" that is not there'),
        (
            {"gates": (Gate("gate", "a", 0.1, 0.0), Gate("other", "a", 0.1, 0.0))},
            'the gates "gate" and "other" are on one duct; put one on each',
        ),
        (
            {"gates": (Gate("gate", "a", 0.1, -1.0),)},
            'the gate "gate" has a loss, a leak or a discharge coefficient below 0',
        ),
        ({"collector": Collector("inlet", -1.0, 0.0)}, "the losses of separator and filter are 0 or more"),
    ],
)
def test_what_is_no_network_is_refused(changes, said):
    with pytest.raises(ValueError, match=f"^{re.escape(said)}$"):
        replace(GOOD, **changes)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"diameter_m": 0.0}, 'the duct "a" has no opening; its diameter and its area are above 0'),
        ({"diameter_m": -0.1}, 'the duct "a" has no opening; its diameter and its area are above 0'),
        ({"length_m": -1.0}, 'the duct "a" has a length, a roughness or a loss below 0'),
        ({"length_m": float("nan")}, 'the duct "a" has a size that is no number'),
        ({"roughness_m": 0.011}, 'the duct "a" is rougher than a tenth of its diameter; no friction law holds there'),
    ],
)
def test_impossible_sizes_are_refused(change, said):
    with pytest.raises(ValueError, match=f"^{re.escape(said)}$"):
        replace(GOOD, ducts=(replace(DROPS[0], **change), *DROPS[1:]))


@pytest.mark.parametrize(
    ("flows", "pressures", "said"),
    [
        ((0.0,), (1.0,), "a fan curve has at least two points, each with a flow and a pressure"),
        ((0.0, 1.0), (1.0,), "a fan curve has at least two points, each with a flow and a pressure"),
        ((0.0, 0.0), (1.0, 0.0), "the flows of a fan curve start at 0 or more and rise from point to point"),
        ((-1.0, 0.0), (1.0, 0.0), "the flows of a fan curve start at 0 or more and rise from point to point"),
        ((0.0, 1.0), (1.0, -1.0), "the pressures of a fan curve are 0 or more, and not all 0"),
        ((0.0, 1.0), (1.0, 1.0), "a fan curve falls at its end; otherwise it never meets the losses of the ducts"),
    ],
)
def test_what_is_no_fan_curve_is_refused(flows, pressures, said):
    with pytest.raises(ValueError, match=f"^{re.escape(said)}$"):
        FanCurve(flows, pressures)


def test_a_curve_between_before_and_beyond_its_points():
    curve = FanCurve((0.1, 0.2, 0.3), (1000.0, 800.0, 0.0))
    assert [curve.pressure_at(flow) for flow in (0.0, 0.1, 0.15, 0.2, 0.4)] == pytest.approx(
        [1200.0, 1000.0, 900.0, 800.0, -800.0]
    )
    assert [curve.is_beyond(flow) for flow in (0.05, 0.1, 0.3, 0.31)] == [True, False, False, True]
    rising = FanCurve((0.1, 0.2, 0.3), (800.0, 1000.0, 0.0))
    assert rising.pressure_at(0.0) == 800.0
    assert rising.peak_flow_m3s == 0.2
    assert [rising.is_rising_at(flow) for flow in (0.05, 0.15, 0.2, 0.25)] == [False, True, False, False]


def test_the_mantle_lies_level_over_every_dip():
    curve = FanCurve((0.0, 1.0, 2.0, 3.0, 4.0), (9.0, 5.0, 7.0, 6.0, 0.0))
    assert curve.mantle() == ((0.0, 9.0), (0.5, 7.0), (2.0, 7.0), (3.0, 6.0), (4.0, 0.0))
    assert FAN.mantle() == FAN.points()
    assert FanCurve((0.0, 1.0, 2.0), (5.0, 7.0, 0.0)).mantle() == ((0.0, 7.0), (1.0, 7.0), (2.0, 0.0))


def test_the_estimate_is_called_one_and_carries_its_band():
    curve = estimated_curve(1500.0)
    weak, strong = curve.band()
    assert curve.is_estimate
    assert curve.error == ESTIMATE_ERROR == 0.25
    assert not FAN.is_estimate
    assert weak.flows_m3s[-1] == pytest.approx(0.75 * curve.flows_m3s[-1])
    assert strong.pressures_pa[0] == pytest.approx(1.25 * curve.pressures_pa[0])
    best_w = max(flow * curve.pressure_at(flow) for flow in (place / 1000 for place in range(1000)))
    assert best_w == pytest.approx(0.30 * 1500.0, rel=0.02)
    vacuum = estimated_curve(1200.0, is_vacuum=True)
    assert vacuum.pressures_pa[0] == 22000.0
    assert vacuum.flows_m3s[-1] < 0.1
    with pytest.raises(ValueError, match=r"^a fan motor of 20 W is out of range; it lies between 50 W and 50 kW$"):
        estimated_curve(20.0)


REFUSED = [
    (lambda: Air(0.0, 1.8e-5), "an air density of 0 kg/m3 is none; it lies between 0.3 and 3"),
    (lambda: Air(1.2, 1.8), "a viscosity of 1.8 Pa s is none of air; about 0.000018 is"),
    (lambda: air_at(0.0, 80.0), "a room at 80 C is out of range; it lies between -30 C and 60 C"),
    (lambda: pressure_at_pa(12000.0), "an altitude of 12000 m is out of range; it lies between -500 m and 11000 m"),
    (lambda: velocity_of_pressure_ms(-1.0, 1.2), "a velocity pressure of -1 Pa is below zero; it never is"),
    (lambda: friction_factor(0.0, 0.0), "a Reynolds number of 0 has no friction factor; it lies above 0"),
    (lambda: friction_factor(1e5, 0.2), "a roughness of 0.2 of the diameter is out of range; it lies from 0 to 0.1"),
    (lambda: hydraulic_diameter_m(0.0, 0.1), "a duct of 0 m by 0.1 m has no opening; both sides are above 0"),
    (
        lambda: slack_hose_factor(0.3, 0.1),
        "a hose hung at 0.3 of its full length is out of range; it lies between 0.5 and 1",
    ),
    (lambda: fan_laws(1, 1, 1, speed_ratio=0.0), "the ratios of speed, density and diameter of a fan are above 0"),
    (
        lambda: losses.elbow(90, 1.5, 6),
        "an elbow of 6 pieces is not in the published table; use 3, 4, 5, or 0 for smooth",
    ),
    (
        lambda: losses.elbow(90, 3.0),
        "a radius over diameter of 3 is outside of the published table; it lies between 0.5 and 2.5",
    ),
    (
        lambda: losses.elbow(200),
        "an elbow angle of 200 is outside of the published table; it lies between 0 and 180",
    ),
    (
        lambda: losses.contraction(11.0),
        "an area ratio of 11 is outside of the published table; it lies between 1 and 10",
    ),
    (lambda: losses.expansion(0.5), "an area ratio of 0.5 is no widening; it is at least 1"),
    (lambda: losses.expansion(2.0, 181.0), "a cone angle of 181 degrees is out of range; it lies between 0 and 180"),
    (lambda: losses.hood_entry_of(1.1), "an entry coefficient of 1.1 is none; it lies above 0 and is at most 1"),
    (
        lambda: losses.part_open_loss(1.5, 0.1, 1e6),
        "a gate open by 1.5 is out of range; it lies between 0 (shut) and 1 (open)",
    ),
    (
        lambda: losses.filter_line_pa_s_m3(100.0, 0.0),
        "a filter's loss is 0 or more at a flow above 0, and its loading is 1 (clean) or more",
    ),
    (lambda: losses.separator_square_pa_s2_m6(-1.0, 1.0), "a separator's loss is 0 or more at a flow above 0"),
]


@pytest.mark.parametrize(("call", "said"), REFUSED, ids=[said[:40] for _, said in REFUSED])
def test_what_lies_outside_of_a_law_is_refused_in_a_sentence(call, said):
    with pytest.raises(ValueError, match=f"^{re.escape(said)}$"):
        call()


def test_part_open_meets_the_published_rows_and_both_ends():
    assert losses.part_open_loss(0.5, 0.05, 1e6) == pytest.approx(2.06)
    assert losses.part_open_loss(0.125, 0.05, 1e6) == pytest.approx(97.8)
    assert losses.part_open_loss(0.0, 0.05, 1e6) == 1e6
    assert losses.part_open_loss(1.0, 0.05, 1e6) == 0.05
    assert losses.part_open_loss(0.5, 5.0, 1e6) == pytest.approx(5.0)


def test_a_loaded_filter_is_a_steeper_line_and_a_separator_a_square():
    assert losses.filter_line_pa_s_m3(250.0, 0.5) == 500.0
    assert losses.filter_line_pa_s_m3(250.0, 0.5, loading=3.0) == 1500.0
    assert losses.separator_square_pa_s2_m6(500.0, 0.5) == 2000.0
