"""The spin-down delay against clear times worked out by hand for one simple shop.

The shop is one straight line of 125 mm duct from a planer to a collector. Its fan gives between 1000 and 1010 m3/h
whatever the duct asks (up to 3900 Pa), so the air is known without solving anything:

    area             pi / 4 x 0.125 m x 0.125 m           = 0.012272 m2
    flow             1005 m3/h, to 0.5 %                  = 0.27917 m3/s
    air              0.27917 / 0.012272                   = 22.75 m/s   (above 20 m/s: nothing settles)
    chips            half of it                           = 11.37 m/s   (chips at half the air's speed: our own)
    23 m of duct     23 m / 11.37 m/s                     = 2.02 s, and 1 s of margin (our own): 3.02 s
    63 m of duct     63 m / 11.37 m/s                     = 5.54 s, and 1 s of margin:           6.54 s

The friction of 63 m is 0.0165 x 63 / 0.125 x 1.2 / 2 x 22.75^2 = 2.6 kPa (Moody's chart, recalled), below the 3.9 kPa.
"""

import pytest

from gatekeeper.control.messages import Requested
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from sim.figures import Span
from sim.happening import Happening, What
from sim.play import Played, play
from sim.stage import stage_of

LINE = """
shop: {name: One long line, units: metric, mains: 50 Hz, altitude: 0 m, open_flue_nearby: no}
motors:
  collector:
    power: 3 kW
    inlet: 125 mm
    spin_down: DELAY s
    spin_up: 1 s
    coast: 1 s
    switched_by: {pin: GPIO17, when_board_dies: drops}
    fan_curve: [0 m3/h at 4000 Pa, 1000 m3/h at 3900 Pa, 1010 m3/h at 0 Pa]
ducts:
  main: {towards: collector, diameter: 125 mm, length: LENGTH m}
gates:
  gate: {duct: main, servo: {pin: GPIO12}, travel: 500 ms}
tools:
  planer: {gates: gate, needs: 900 m3/h, sensor: {current_switch: GPIO23}}
"""
#: Metres of duct, and the seconds in which chips fly through.
BRANCHES = [(23, 2.02), (63, 5.54)]
MARGIN_S = 1.0
BEGIN_S, END_S = 30.0, 90.0


def line(length_m: int, delay_s: float) -> Shop:
    shop = load_shop(LINE.replace("DELAY", f"{delay_s:g}").replace("LENGTH", str(length_m)), "line.yaml")
    assert not isinstance(shop, Faults), shop.lines()
    return shop


def cut(*more: Happening, begin_s: float = BEGIN_S, end_s: float = END_S) -> list[Happening]:
    return [Happening(begin_s, What.TOOL_ON, "planer"), Happening(end_s, What.TOOL_OFF, "planer"), *more]


def ran_on_s(played: Played) -> float:
    """How long the collector ran on after the planer's wire had no current any more."""
    (running,) = _running(played)
    return running.to_s - played.tracks.tools["planer"][-1].to_s


def _running(played: Played) -> list[Span]:
    return [span for span in played.tracks.motors["collector"] if span.word == "running"]


@pytest.mark.parametrize(("length_m", "flies_s"), BRANCHES)
def test_the_clear_time_is_length_over_the_speed_of_chips(length_m: int, flies_s: float) -> None:
    plan = stage_of(line(length_m, 1.0)).plan

    assert plan.gates["gate"].clear_s == pytest.approx(flies_s + MARGIN_S, rel=0.01)


@pytest.mark.parametrize(("length_m", "flies_s"), BRANCHES)
def test_a_delay_that_is_too_short_still_clears_the_branch(length_m: int, flies_s: float) -> None:
    """The file says 1 s; the collector stays on for the clear time. The current switch says "still" 0.45 s late."""
    played = play(line(length_m, 1.0), cut(), until_s=200.0)

    assert ran_on_s(played) == pytest.approx(flies_s + MARGIN_S + 0.45, abs=0.15)
    assert played.figures.chips_caught_kg > 0.5
    assert played.figures.chips_left_kg == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("delay_s", [20.0, 90.0])
def test_a_longer_delay_counts_from_the_last_stop(delay_s: float) -> None:
    """Two cuts, the second 15 s after the first: one run, and the delay counts from the end of the second."""
    second = cut(begin_s=END_S + 15.0, end_s=END_S + 45.0)
    played = play(line(63, delay_s), [*cut(), *second], until_s=400.0)

    assert ran_on_s(played) == pytest.approx(delay_s + 0.45, abs=0.15)


def test_a_pause_longer_than_the_delay_is_a_start_more() -> None:
    """8 s of delay against 30 s of pause: two starts; 40 s of delay: one."""
    happenings = [*cut(), *cut(begin_s=END_S + 30.0, end_s=END_S + 60.0)]

    assert len(_running(play(line(63, 8.0), happenings, until_s=400.0))) == 2
    assert len(_running(play(line(63, 40.0), happenings, until_s=400.0))) == 1


@pytest.mark.parametrize(("part", "is_clear"), [(0.4, False), (1.1, True)])
@pytest.mark.parametrize(("length_m", "flies_s"), BRANCHES)
def test_a_stop_before_the_chips_are_through_leaves_some(
    length_m: int, flies_s: float, part: float, is_clear: bool
) -> None:
    """Somebody presses Stop before all that flies has arrived, and right after it has."""
    # The planer throws chips until its wheel stands: from there on it is that they fly.
    stands_s = play(line(length_m, 60.0), cut(), until_s=200.0).tracks.tools["planer"][-1].to_s
    stop = Happening(stands_s + part * flies_s, What.REQUEST, None, Requested("stop", "collector", "local"))
    played = play(line(length_m, 60.0), cut(stop), until_s=200.0)

    assert (played.figures.chips_left_kg < 1e-6) is is_clear
