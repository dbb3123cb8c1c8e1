"""Breakers and overload relays in a play: who loses power when, and what comes back."""

import pytest
from play_shop import Heard, cut, stage

from sim.breakers import Breaker
from sim.electricity import inrush_times
from sim.happening import Happening, What


def test_on_an_ordinary_day_nothing_trips() -> None:
    happenings = [
        happening for start in range(10) for happening in cut("saw", 30.0 + 400.0 * start, 60.0 + 400.0 * start)
    ]
    heard = Heard(happenings)
    heard.game.run(4200.0)
    figures = heard.game.played().figures

    assert figures.breaker_trips == 0
    assert 0.1 < figures.motors["fan"].hottest < 0.5
    assert figures.motors["fan"].starts == 10
    assert figures.motors["fan"].starts_allowed == 14


def test_collector_and_tool_that_start_together_on_a_small_breaker_put_it_out() -> None:
    """The gap after an inrush (C22) keeps them apart where the controller starts the fan; Hand does not."""
    loads = {**stage().tool_loads, **stage().motor_loads}
    saw_a, fan_a = (inrush_times(loads[name]) * loads[name].running_a for name in ("saw", "fan"))
    between = Breaker(max(saw_a, fan_a) / 7.5 * 1.05, "C")
    by_hand = Happening(30.0, What.FAULT, "fan", "collector started at its own switch")

    apart = Heard(cut("saw", 30.0, 90.0), breakers={"main feeder": between})
    apart.game.run(60.0)
    together = Heard([*cut("saw", 30.0, 90.0), by_hand], breakers={"main feeder": between})
    together.game.run(60.0)

    assert apart.game.books.trips == 0
    assert together.game.books.trips == 1
    assert not together.game.plant.runs["saw"]
    assert not together.game.plant.drives["fan"].has_power


def test_a_breaker_put_in_again_gives_power_to_what_is_still_on() -> None:
    heard = Heard(
        [
            *cut("saw", 30.0, 90.0),
            Happening(40.0, What.FAULT, "main feeder", "tripped breaker"),
            Happening(50.0, What.MEND, "main feeder", "tripped breaker"),
        ]
    )
    heard.game.run(45.0)
    assert not heard.game.plant.runs["saw"]
    assert heard.when("tool", "saw", "stopped", 40.0) == pytest.approx(40.52)
    heard.game.run(55.0)

    assert heard.game.plant.runs["saw"]
    assert heard.game.played().figures.tools["saw"].cuts == 2


def test_a_motor_started_again_and_again_trips_its_overload() -> None:
    """Past the controller, which would not: a start every six seconds."""
    happenings = []
    for start in range(60):
        happenings += [
            Happening(10.0 + 6.0 * start, What.FAULT, "fan", "collector started at its own switch"),
            Happening(13.0 + 6.0 * start, What.MEND, "fan", "collector started at its own switch"),
        ]
    heard = Heard(happenings)
    heard.game.run(420.0)

    assert heard.game.books.trips >= 1
    assert heard.game.plant.electricity.hottest("fan") == pytest.approx(1.0, abs=0.01)


def test_a_breaker_for_a_feeder_that_is_not_there_is_refused() -> None:
    with pytest.raises(ValueError, match=r"This shop has no feeder called side\. It has: main feeder\."):
        Heard(breakers={"side": Breaker(16.0)})
