"""Whose air is whose, where chips fly, and the figures of one set."""

import math

import pytest

from gatekeeper.airflow.air import STANDARD_AIR
from gatekeeper.airflow.fan import FanCurve
from gatekeeper.airflow.network import Collector, Duct, Gate, Hood, Network
from gatekeeper.airflow.solve import prepare
from gatekeeper.airflow.study import band_of, free_delivery_m3s, motor_power_w, set_air, system_curve
from gatekeeper.airflow.tools import Draw, Tools

FAN = FanCurve((0.0, 0.2, 0.4, 0.5), (2500.0, 2200.0, 1200.0, 0.0))


def network(*, fan: FanCurve = FAN, leak_m2: float = 0.0) -> Network:
    """A trunk with a saw, and a far main with a planer on a hose and two sanders behind one gate."""
    return Network(
        air=STANDARD_AIR,
        ducts=(
            Duct("trunk", "near", "inlet", 3.0, 0.15, 0.0001),
            Duct("far main", "far", "near", 4.0, 0.15, 0.0001),
            Duct("saw drop", "saw", "near", 2.0, 0.1, 0.0001, 0.5),
            Duct("planer drop", "planer", "far", 2.0, 0.1, 0.0001, 0.5),
            Duct("planer hose", "planer end", "planer", 1.0, 0.1, 0.0009),
            Duct("sanding drop", "sanding", "far", 2.0, 0.1, 0.0001, 0.5),
            Duct("disc hose", "disc end", "sanding", 1.0, 0.08, 0.0009),
            Duct("belt hose", "belt end", "sanding", 1.0, 0.08, 0.0009),
        ),
        hoods=tuple(Hood(name, name, 0.9) for name in ("saw", "planer end", "disc end", "belt end")),
        gates=(
            Gate("saw gate", "saw drop", 0.1, leak_m2),
            Gate("planer gate", "planer drop", 0.1, leak_m2),
            Gate("sanding gate", "sanding drop", 0.1, leak_m2),
        ),
        collector=Collector("inlet", 500.0, 1000.0),
        fan=fan,
    )


def tools(*, fan: FanCurve = FAN, transport_ms: float = 20.0) -> Tools:
    draws = (
        Draw("saw", ("saw gate",), 0.15),
        Draw("planer", ("planer gate",), 0.15),
        Draw("disc sander", ("sanding gate",), 0.05),
        Draw("belt sander", ("sanding gate",), 0.10),
    )
    return Tools(prepare(network(fan=fan)), draws, transport_ms)


def named(system: Tools, places: tuple[int, ...]) -> list[str]:
    return [system.network.ducts[place].name for place in places]


def test_mains_carry_the_air_of_two_gates() -> None:
    system = tools()

    assert named(system, tuple(sorted(system.mains))) == ["trunk", "far main"]


def test_a_gate_that_never_moves_makes_no_main() -> None:
    prepared = prepare(network())
    system = Tools(prepared, [Draw("saw", ("saw gate",), 0.1)], gates=["saw gate", "planer gate"])

    assert named(system, tuple(sorted(system.mains))) == ["trunk"]


@pytest.mark.parametrize(
    ("tool", "ducts"),
    [
        ("saw", ["trunk", "saw drop"]),
        ("planer", ["trunk", "far main", "planer drop", "planer hose"]),
        ("belt sander", ["trunk", "far main", "sanding drop", "disc hose", "belt hose"]),
    ],
)
def test_chips_fly_from_the_hood_to_the_collector(tool: str, ducts: list[str]) -> None:
    system = tools()

    assert named(system, system.chips_of(tool)) == ducts


def test_one_running_tool_is_read_from_the_solution() -> None:
    system = tools()
    reading = system.read(["planer"], ["planer gate"])
    flow = reading.solution.flow_in("planer drop")

    assert reading.flow_m3s == {"planer": flow}
    assert reading.share == {"planer": pytest.approx(flow / 0.15)}
    assert list(reading.velocity_ms) == ["trunk", "far main", "planer drop", "planer hose"]
    assert reading.velocity_ms["trunk"] == pytest.approx(flow / (math.pi * 0.15**2 / 4))
    assert reading.main_ducts == {"trunk", "far main"}
    assert reading.extra == ()


def test_what_is_slow_is_told_for_mains_and_drops_apart() -> None:
    speeds = tools().read(["planer"], ["planer gate"]).velocity_ms
    between = (speeds["trunk"] + speeds["planer drop"]) / 2

    some = tools(transport_ms=between).read(["planer"], ["planer gate"])
    every = tools(transport_ms=100.0).read(["planer"], ["planer gate"])
    none = tools(transport_ms=1.0).read(["planer"], ["planer gate"])

    assert (some.slow_mains, some.slow_drops) == (("trunk", "far main"), ())
    assert (every.slow_mains, every.slow_drops) == (("trunk", "far main"), ("planer drop", "planer hose"))
    assert (none.slow_mains, none.slow_drops) == ((), ())
    assert (none.is_good, some.is_good) == (True, False)


def test_tools_that_share_a_gate_share_its_air_by_need() -> None:
    reading = tools().read(["disc sander", "belt sander"], ["sanding gate"])
    flow = reading.solution.flow_in("sanding drop")

    assert reading.flow_m3s == {"disc sander": pytest.approx(flow / 3), "belt sander": pytest.approx(flow * 2 / 3)}


def test_an_extra_gate_is_told_and_a_short_tool_with_its_missing_share() -> None:
    system = tools()
    alone, crowd = system.read(["planer"], ["planer gate"]), system.read(["planer"], ["planer gate", "saw gate"])

    assert crowd.extra == ("saw gate",)
    assert crowd.flow_m3s["planer"] < alone.flow_m3s["planer"]
    short = Tools(system.prepared, [Draw("planer", ("planer gate",), alone.flow_m3s["planer"] * 2)])
    assert short.read(["planer"], ["planer gate"]).short == (("planer", pytest.approx(0.5)),)


def test_a_tool_within_two_percent_of_its_need_is_fed() -> None:
    prepared = prepare(network())
    flow = Tools(prepared, [Draw("saw", ("saw gate",), 1.0)]).read(["saw"], ["saw gate"]).flow_m3s["saw"]

    for share, is_short in ((0.981, False), (0.979, True)):
        reading = Tools(prepared, [Draw("saw", ("saw gate",), flow / share)]).read(["saw"], ["saw gate"])
        assert bool(reading.short) is is_short


def test_two_gates_in_a_row_count_their_air_once() -> None:
    found = network()
    gates = (*found.gates, Gate("far gate", "far main", 0.1, 0.0))
    row = Network(found.air, found.ducts, found.hoods, gates, found.collector, found.fan)
    system = Tools(prepare(row), [Draw("planer", ("planer gate", "far gate"), 0.1)])
    reading = system.read(["planer"], ["planer gate", "far gate"])

    assert reading.flow_m3s["planer"] == pytest.approx(reading.solution.flow_in("planer drop"))
    assert named(system, system.chips_of("planer")) == ["trunk", "far main", "planer drop", "planer hose"]


@pytest.mark.parametrize(
    ("draw", "said"),
    [
        (Draw("saw", ("no gate",), 0.1), 'the tool "saw" has a gate "no gate" that is not on these ducts'),
        (Draw("saw", ("saw gate",), 0.0), 'the tool "saw" needs a gate and a flow above 0'),
        (Draw("saw", ("saw gate",), math.inf), 'the tool "saw" needs a gate and a flow above 0'),
        (Draw("saw", (), 0.1), 'the tool "saw" needs a gate and a flow above 0'),
    ],
)
def test_a_draw_that_cannot_be_is_refused(draw: Draw, said: str) -> None:
    with pytest.raises(ValueError) as refused:
        Tools(prepare(network()), [draw])
    assert str(refused.value) == said


# ---------------------------------------------------------------- the figures of one set


def test_a_set_has_the_fans_and_the_hoods_figures() -> None:
    system = tools()
    reading = system.read(["planer"], ["planer gate"])
    air = set_air(system, reading, 1500.0, band_of(system))
    told = air.air_of("planer")
    state = reading.solution.ducts()["planer hose"]

    assert air.fan_flow_m3s == reading.solution.flow_m3s
    assert (air.fan_low_m3s, air.fan_high_m3s) == (air.fan_flow_m3s, air.fan_flow_m3s)
    assert air.fan_static_pa == pytest.approx(FAN.pressure_at(air.fan_flow_m3s))
    # Behind a hood a gauge shows (1 + K) velocity pressures of suction.
    assert told.hood_static_pa == pytest.approx(-1.9 * state.velocity_pressure_pa)
    assert told.drop_ms == pytest.approx(min(reading.velocity_ms["planer drop"], reading.velocity_ms["planer hose"]))
    assert (told.low_m3s, told.high_m3s) == (told.flow_m3s, told.flow_m3s)
    assert (air.is_beyond_curve, air.is_on_rising_part) == (False, False)


def test_an_estimated_fan_carries_its_error_through() -> None:
    system = tools(fan=FanCurve(FAN.flows_m3s, FAN.pressures_pa, 0.25))
    reading = system.read(["planer"], ["planer gate"])
    told = set_air(system, reading, 1500.0, band_of(system)).air_of("planer")
    weak = tools(fan=FanCurve(tuple(q * 0.75 for q in FAN.flows_m3s), tuple(p * 0.75 for p in FAN.pressures_pa)))

    assert told.low_m3s == pytest.approx(weak.read(["planer"], ["planer gate"]).flow_m3s["planer"])
    assert told.low_m3s < told.flow_m3s < told.high_m3s


def test_a_curve_that_ends_early_makes_the_point_a_guess() -> None:
    system = tools(fan=FanCurve((0.0, 0.02), (2500.0, 2400.0)))
    air = set_air(system, system.read(["saw"], ["saw gate"]), 1500.0, band_of(system))

    assert air.is_beyond_curve is True


def test_motor_power_rises_from_idle_to_the_plate() -> None:
    assert free_delivery_m3s(FAN) == 0.5
    assert free_delivery_m3s(FanCurve((0.0, 0.4), (2000.0, 1000.0))) == pytest.approx(0.8)
    assert motor_power_w(FAN, 1000.0, 0.0) == pytest.approx(400.0)
    assert motor_power_w(FAN, 1000.0, 0.25) == pytest.approx(700.0)
    assert motor_power_w(FAN, 1000.0, 0.7) == pytest.approx(1000.0)


def test_the_system_curve_passes_through_the_operating_point() -> None:
    system = tools()
    reading = system.read(["planer"], ["planer gate"])
    flow = reading.solution.flow_m3s
    still, there, double = system_curve(system, reading, (0.0, flow, 2 * flow))

    assert still == 0.0
    assert there == pytest.approx(reading.solution.fan_pressure_pa)
    ducts_pa = reading.solution.fan_pressure_pa - reading.solution.collector_loss_pa
    assert double == pytest.approx(4 * ducts_pa + (500.0 + 1000.0 * 2 * flow) * 2 * flow)
