"""What stands behind the drawings of a report: folding, merging, counting, the share of time with so much air."""

import re

import pytest

from sim.figures import HoodPoint, Span
from sim.report_facts import cuts_at_hood, had_no_air, merged, runs_on, worst_in_an_hour
from sim.report_flow import duration_curve
from sim.report_lanes import Form, Lane, Stint, lanes_drawing, rows_of_time, spell


def clock(at_s: float) -> str:
    return f"{at_s:.0f}"


def test_up_to_an_hour_and_a_half_is_one_row() -> None:
    assert rows_of_time(5400.0) == [(0.0, 5400.0)]


def test_longer_ones_fold_at_the_full_hours_of_the_clock() -> None:
    """From 7:50 on, for two hours: the rows of 7, 8 and 9 o'clock."""
    assert rows_of_time(7200.0, 7 * 3600.0 + 3000.0) == [(-3000.0, 600.0), (600.0, 4200.0), (4200.0, 7800.0)]


def test_bars_that_touch_on_paper_become_one_and_are_all_counted() -> None:
    """Sixty seconds on 660 pixels: two cuts 20 ms apart touch, the third stands alone."""
    stints = [Stint(1.0, 2.0, Form.WORKS), Stint(2.02, 3.0, Form.WORKS), Stint(10.0, 10.001, Form.WORKS)]
    (row,) = lanes_drawing([("Machines", [Lane("saw", stints, ("cut", "cuts"), True)])], [], 60.0, clock)

    assert row.count('class="bar works"') == 1
    drawn = re.search(r'd="([^"]*)" class="bar works"', row)
    assert drawn is not None
    assert drawn.group(1).count("M") == 2
    left, right = re.findall(r"M([\d.]+) [\d.]+H([\d.]+)", drawn.group(1))[1]
    assert float(right) - float(left) == pytest.approx(1.4, abs=0.11)
    assert "3 cuts, 2 s" in row


def test_a_stint_over_the_hour_is_counted_where_it_begins() -> None:
    lane = Lane("saw", [Stint(3000.0, 4200.0, Form.WORKS)], ("cut", "cuts"), True)
    first, second = lanes_drawing([("Machines", [lane])], [], 7200.0, clock)

    assert "1 cut, 10 min" in first
    assert ">10 min<" in second


def test_moves_too_thin_for_an_outline_are_strokes() -> None:
    lane = Lane("gate", [Stint(100.0, 101.5, Form.OUTLINE), Stint(300.0, 400.0, Form.OUTLINE)], ("move", "moves"))
    (row,) = lanes_drawing([("Gates", [lane])], [], 3600.0, clock)

    drawn = re.search(r'd="([^"]*)" class="bar outline"', row)
    assert drawn is not None
    assert re.fullmatch(r"M[\d.]+ [\d.]+V[\d.]+M[\d.]+ [\d.]+H[\d.]+V[\d.]+H[\d.]+z", drawn.group(1))


def test_hours_in_which_nothing_is_new_are_a_sentence() -> None:
    lane = Lane("gate", [Stint(0.0, 10000.0, Form.LOW, counts=False, is_quiet=True)], ("move", "moves"))

    assert lanes_drawing([("Gates", [lane])], [], 10000.0, clock) == [
        '<p class="note">0 to 10000: nothing ran and nothing moved.</p>'
    ]


def test_a_motor_runs_for_a_machine_or_runs_on() -> None:
    running = [Span(0.0, 50.0, "running"), Span(100.0, 120.0, "running")]
    one = [Span(0.0, 10.0, "running"), Span(17.0, 40.0, "running")]
    other = [Span(5.0, 15.0, "running"), Span(99.0, 130.0, "running")]

    assert runs_on(running, [one, other]) == [
        (0.0, 15.0, True),
        (15.0, 17.0, False),
        (17.0, 40.0, True),
        (40.0, 50.0, False),
        (100.0, 120.0, True),
    ]


def test_spans_that_touch_are_merged() -> None:
    assert merged([(5.0, 9.0), (0.0, 3.0), (3.0, 4.0), (6.0, 7.0)]) == [(0.0, 4.0), (5.0, 9.0)]


def test_how_many_lie_in_the_last_hour() -> None:
    assert worst_in_an_hour([10.0, 20.0, 3615.0]) == [
        (0.0, 0),
        (10.0, 1),
        (20.0, 2),
        (3610.0, 1),
        (3615.0, 2),
        (3620.0, 1),
        (7215.0, 0),
    ]


def test_a_cut_whose_air_never_reached_half_had_none() -> None:
    points = [
        HoodPoint(0.0, 0.0, 0.2),
        HoodPoint(4.0, 0.09, 0.2, is_last=True),
        HoodPoint(10.0, 0.1, 0.2),
        HoodPoint(12.0, 0.2, 0.2, is_last=True),
    ]

    assert [had_no_air(cut) for cut in cuts_at_hood(points)] == [True, False]


def test_the_share_of_time_with_so_much_air() -> None:
    """Ten seconds at 0.2, and ten in a straight line down to 0: sorted, the flat part first."""
    cut = [HoodPoint(0.0, 0.2, 0.2), HoodPoint(10.0, 0.2, 0.2), HoodPoint(20.0, 0.0, 0.2, is_last=True)]
    curve = duration_curve([cut])

    assert curve[-1][0] == pytest.approx(20.0)
    assert max(at_s for at_s, flow in curve if flow >= 0.2 - 1e-9) == pytest.approx(10.0)
    assert [flow for at_s, flow in curve if at_s == pytest.approx(15.0)] == [pytest.approx(0.125)]


@pytest.mark.parametrize(
    ("time_s", "words"),
    [(0.4, "0 s"), (99.0, "99 s"), (100.0, "2 min"), (5400.0, "90 min"), (7200.0, "2 h"), (7500.0, "2 h 05 min")],
)
def test_a_time_as_people_say_it(time_s: float, words: str) -> None:
    assert spell(time_s) == words
