"""How much air a machine needs where nobody says."""

import math

import pytest

from gatekeeper.airflow.needs import PORT_MS, need_of, wants_collector

CFM = 0.3048**3 / 60
FOUR_INCH_M = 0.1016


def test_what_the_file_says_goes_first() -> None:
    need = need_of("planer", FOUR_INCH_M, 0.2)

    assert (need.flow_m3s, need.is_given, need.source) == (0.2, True, "as the shop file says")


@pytest.mark.parametrize(
    ("machine", "port_in", "cfm", "source"),
    [
        ("Jointer", 6, 440, "handbook sheet recalled: jointer, knives of 6 to 12 in"),
        ("surface planer", 6, 440, "handbook sheet recalled: jointer, knives of 6 to 12 in"),
        ("big planer", 6, 785, "handbook sheet recalled: planer, knives up to 20 in"),
        ("thicknesser", 7, 785, "handbook sheet recalled: planer, knives up to 20 in"),
        ("table saw", 5, 350, "handbook sheet recalled: table saw, blade up to 16 in"),
        ("wide bandsaw", 6, 700, "handbook sheet recalled: bandsaw, blade up to 2 in"),
        ("disc sander", 5, 350, "handbook sheet recalled: disc sander, disc up to 12 in"),
        ("edge sander", 5, 440, "handbook sheet recalled: belt sander, belt up to 6 in"),
    ],
)
def test_the_sheets_by_name(machine: str, port_in: float, cfm: float, source: str) -> None:
    need = need_of(machine, port_in * 0.0254)

    assert need.flow_m3s / CFM == pytest.approx(cfm)
    assert (need.source, need.is_given, need.sheet_m3s) == (source, False, None)


def test_a_port_carries_no_more_than_its_area_at_4000_feet_a_minute() -> None:
    need = need_of("planer", FOUR_INCH_M)

    assert need.flow_m3s == pytest.approx(math.pi * FOUR_INCH_M**2 / 4 * 4000 * 0.3048 / 60)
    assert need.flow_m3s / CFM == pytest.approx(349, abs=0.5)
    assert need.source == "its port at 4000 ft/min"
    assert need.sheet_m3s is not None
    assert need.sheet_m3s / CFM == pytest.approx(785)


def test_349_and_350_cfm_are_the_same_thing() -> None:
    assert need_of("table saw", FOUR_INCH_M).sheet_m3s is None


@pytest.mark.parametrize(
    ("port_in", "cfm"), [(4, 350), (4.5, 440), (5, 550), (6, 785), (7, 1100), (8, 1400), (9, 1765), (10, 2200)]
)
def test_a_machine_of_no_sheet_takes_the_handbook_volume_of_its_port(port_in: float, cfm: float) -> None:
    # Published volumes, item wood-4000rule of the trade figures: area times 4000 ft/min within 3 %.
    need = need_of("lathe", port_in * 0.0254)

    assert need.flow_m3s / CFM == pytest.approx(cfm, rel=0.03)
    assert pytest.approx(20.32) == PORT_MS


def test_a_port_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^a port of 0 m is none; its diameter is more than 0$"):
        need_of("lathe", 0.0)


@pytest.mark.parametrize(("port_m", "is_large"), [(0.0635, False), (0.08, False), (0.1, True), (0.1016, True)])
def test_four_inches_and_more_want_a_collector(port_m: float, is_large: bool) -> None:
    assert wants_collector(port_m) is is_large
