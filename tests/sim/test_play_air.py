"""Air and chips of a play: figures against what can be worked out by hand."""

import pytest
from play_shop import Heard, cut, stage

from sim.chips import BY_NAME_KG_H, Carriage, DuctChips, chips_kg_s, settling_share
from sim.cuts import Cut, caught_share_time
from sim.duct_air import Standing
from sim.figures import ARRIVED_SHARE
from sim.happening import Happening, What

SAW_KG_S = 6.0 / 3600.0


def test_a_cut_gets_its_air_when_fan_and_gate_are_there() -> None:
    heard = Heard(cut("saw", 30.0, 60.0))
    played = heard.game
    played.run(200.0)
    figures = played.played().figures

    # The fan starts 2.04 s after the saw, its speed rises in 3 s, the flow goes with it: until it is 90 % of the need.
    flow = stage().air["fan"].at(Standing((10, 0))).gate_m3s[0]
    need = 800 / 3600
    assert flow > need
    assert figures.late_air_s == pytest.approx(2.04 + ARRIVED_SHARE * need / flow * 3.0)
    assert figures.worst_late_air_s == figures.late_air_s
    assert figures.cuts_without_air == 0
    assert figures.tools["saw"].least_share == pytest.approx(flow / need)
    # The mean over the cut: nothing for 2.04 s, a straight rise in 3 s, all of it for the rest of 30 s.
    whole_s = 30.0 - 2.04 - 3.0 / 2
    assert figures.tools["saw"].mean_share == pytest.approx(whole_s / 30.0 * flow / need)


def test_chips_made_are_caught_or_escape_and_what_is_caught_is_somewhere() -> None:
    heard = Heard([*cut("saw", 30.0, 60.0), *cut("planer", 70.0, 71.0)])
    heard.game.run(200.0)
    figures = heard.game.played().figures

    assert figures.tools["saw"].chips_made_kg == pytest.approx(30.0 * SAW_KG_S)
    assert figures.chips_made_kg == pytest.approx(figures.chips_caught_kg + figures.chips_escaped_kg)
    held_kg = figures.chips_in_bin_kg + figures.dust_on_filter_kg + figures.chips_left_kg
    assert figures.chips_caught_kg == pytest.approx(held_kg)
    assert figures.chips_escaped_kg > 2.04 * SAW_KG_S * 0.99


def test_chips_left_in_the_ducts_are_told_duct_by_duct_the_most_first() -> None:
    heard = Heard(cut("planer", 30.0, 60.0))
    heard.game.run(60.2)  # some still flies
    figures = heard.game.figures()

    left = list(figures.chips_left_in_kg.values())
    assert left == sorted(left, reverse=True)
    assert set(figures.chips_left_in_kg) <= set(heard.game.shop.ducts)
    assert left
    assert sum(left) == pytest.approx(figures.chips_left_kg, abs=0.003)


def test_a_cut_shorter_than_the_start_has_no_air_and_the_next_one_in_the_delay_has() -> None:
    heard = Heard([*cut("saw", 30.0, 32.0), *cut("saw", 40.0, 45.0)])
    heard.game.run(200.0)
    figures = heard.game.played().figures

    assert (figures.cuts, figures.cuts_without_air, figures.cuts_without_air_after_first) == (2, 1, 0)
    assert figures.late_air_s == pytest.approx(2.0)  # the first cut counts whole, the second finds its air
    assert figures.motor_starts == 1


def test_a_cut_without_air_while_the_fan_runs_is_not_the_first() -> None:
    blocked = Happening(1.0, What.FAULT, "planer gate", "blocked branch")
    heard = Heard([blocked, *cut("saw", 30.0, 50.0), *cut("planer", 55.0, 60.0)])
    heard.game.run(200.0)
    figures = heard.game.played().figures

    assert (figures.cuts_without_air, figures.cuts_without_air_after_first) == (1, 1)


def test_a_play_without_air_knows_no_flows() -> None:
    from play_shop import shop_of

    from sim.play import play

    figures = play(shop_of(), cut("saw", 30.0, 60.0), until_s=100.0, with_air=False).figures

    assert not figures.air_is_known
    assert (figures.cuts, figures.motor_starts, figures.chips_made_kg) == (1, 1, 0.0)
    assert figures.tools["saw"].mean_share is None


def test_a_filter_that_fills_takes_air_and_a_blocked_one_nearly_all() -> None:
    air = stage().air["fan"]
    clean = air.at(Standing((10, 0))).fan_m3s

    assert air.at(Standing((10, 0), 10)).fan_m3s < 0.99 * clean
    assert air.at(Standing((10, 0), 11)).fan_m3s < 0.2 * clean
    open_out = air.at(Standing((10, 0), 0, True))
    assert open_out.fan_m3s > clean
    assert open_out.gate_m3s[0] < 0.9 * air.at(Standing((10, 0))).gate_m3s[0]
    assert air.at(Standing((0, 0))).fan_m3s < 0.05 * clean


def test_a_full_bin_loads_the_filter() -> None:
    def dust(full: bool) -> float:
        begins = [Happening(1.0, What.FAULT, "fan", "full bin")] if full else []
        heard = Heard([*begins, *cut("planer", 30.0, 330.0)])
        heard.game.run(400.0)
        return heard.game.figures().dust_on_filter_kg

    assert dust(True) == pytest.approx(25.0 * dust(False), rel=0.02)


# ---------------------------------------------------------------- chips in ducts, alone


def two_ducts() -> DuctChips:
    return DuctChips(Carriage((5.0, 10.0), (1, -1), (0, 1)))


def test_a_steady_stream_fills_a_duct_with_what_flies_in_it() -> None:
    chips = two_ducts()
    # Chips fly at half of 25 m/s: 0.4 s in the first duct, 0.8 s in the second.
    arrived = chips.pass_time(100.0, (25.0, 25.0), 1.0, 1.0, {0: 10.0})

    assert chips.flying_kg == [pytest.approx(0.1 * 0.4), pytest.approx(0.1 * 0.8)]
    assert arrived == pytest.approx(10.0 - 0.1 * 1.2)


def test_a_duct_empties_in_length_over_chip_velocity() -> None:
    chips = two_ducts()
    chips.pass_time(100.0, (25.0, 25.0), 1.0, 1.0, {0: 10.0})

    assert chips.pass_time(1.19, (25.0, 25.0), 1.0, 1.0, {}) == pytest.approx(0.1 * 1.19)
    assert chips.in_ducts_kg == pytest.approx(0.1 * 0.01)

    whole = two_ducts()
    whole.pass_time(100.0, (25.0, 25.0), 1.0, 1.0, {0: 10.0})
    whole.pass_time(1.2001, (25.0, 25.0), 1.0, 1.0, {})
    assert whole.in_ducts_kg == pytest.approx(0.0, abs=1e-12)


def test_chips_settle_where_air_is_slow_and_fly_again() -> None:
    chips = two_ducts()
    chips.pass_time(10.0, (25.0, 8.0), 1.0, 1.0, {0: 1.0})
    assert chips.settled_kg[1] == pytest.approx(1.0 - chips.flying_kg[0])

    # Not yet at transport velocity: of what still flew in the first duct (0.04 kg) half comes through.
    assert chips.pass_time(10.0, (25.0, 15.0), 1.0, 1.0, {}) == pytest.approx(0.02)
    assert chips.pass_time(10.0, (25.0, 20.0), 1.0, 1.0, {}) == pytest.approx(0.98)
    assert chips.in_ducts_kg == pytest.approx(0.0)


def test_a_fan_that_coasts_drops_what_flies() -> None:
    chips = two_ducts()
    chips.pass_time(100.0, (25.0, 25.0), 1.0, 1.0, {0: 10.0})
    flying = chips.in_ducts_kg
    arrived = chips.pass_time(0.5, (25.0, 25.0), 1.0, 0.0, {})

    assert chips.flying_kg == [0.0, 0.0]
    assert chips.in_ducts_kg == pytest.approx(flying - arrived)


def test_settling_goes_in_a_straight_line_below_transport_velocity() -> None:
    assert [settling_share(v) for v in (25.0, 20.0, 15.0, 10.0, 0.0)] == [0.0, 0.0, 0.5, 1.0, 1.0]


def test_what_a_hood_takes_is_flow_over_need_at_most_all() -> None:
    assert caught_share_time(10.0, 0.5, 0.5) == 5.0
    assert caught_share_time(10.0, 1.5, 3.0) == 10.0
    # A rise from 0 to 2 in 10 s: a half over the first 5 s, all of it over the last 5 s.
    assert caught_share_time(10.0, 0.0, 2.0) == pytest.approx(7.5)
    assert caught_share_time(10.0, 2.0, 0.0) == pytest.approx(7.5)


def test_the_air_arrives_on_a_straight_line() -> None:
    one = Cut(10.0, 1.0, True)
    for t_s, flow in ((10.0, 0.0), (12.0, 0.0), (16.0, 2.0), (30.0, 2.0), (40.0, 2.0), (40.0, 1.0), (50.0, 1.0)):
        one.point(t_s, flow)

    # It needs 1: there when 0.9 is, and what came beyond the need was not waited for.
    assert one.arrived_s() == pytest.approx(12.0 + 4.0 * 0.45)
    assert one.least_share() == pytest.approx(1.0)
    poor = Cut(10.0, 4.0, True, points=list(one.points), most_m3s=2.0)
    assert poor.arrived_s() == pytest.approx(12.0 + 4.0 * 0.9)
    assert poor.least_share() == pytest.approx(0.25)
    assert one.points == [(10.0, 0.0), (12.0, 0.0), (16.0, 2.0), (40.0, 2.0), (40.0, 1.0), (50.0, 1.0)]
    # A fan that coasts is no air that has come; a gate that springs open is there at once.
    coasting = Cut(0.0, 1.0, False)
    for t_s, flow in ((0.0, 1.0), (3.0, 0.5), (6.0, 0.5), (6.0, 1.2), (20.0, 1.2)):
        coasting.point(t_s, flow)
    assert coasting.arrived_s() == 6.0
    assert coasting.least_share() == pytest.approx(1.2)
    never = Cut(10.0, 1.0, True, points=[(10.0, 0.0)])
    assert never.arrived_s() is None
    assert never.least_share() is None


def test_chips_by_the_machines_name() -> None:
    tools = stage().shop.tools

    assert chips_kg_s(tools["saw"]) == pytest.approx(SAW_KG_S)
    assert chips_kg_s(tools["planer"]) == pytest.approx(dict(BY_NAME_KG_H)["planer"] / 3600.0)
