"""A shop file with every figure worked out by hand, and the defaults that the one-evening shop lives on."""

import math

import pytest

from gatekeeper.shop import examples
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import (
    AirProofKind,
    BoardDeath,
    Coil,
    Contact,
    Fitting,
    GateEnd,
    Output,
    Proof,
    Shop,
    StartsFrom,
    Units,
)

AREA_100_M2 = math.pi * 0.1**2 / 4


def shop_of(name: str) -> Shop:
    shop = load_shop(examples.example(name).read_text(encoding="utf-8"), name)
    assert isinstance(shop, Shop)
    return shop


def with_lines(extra_motor: str = "", extra_gates: str = "", gate: str = "servo: {pin: GPIO12}") -> Shop:
    text = f"""
shop: {{name: Test, mains: 50 Hz}}
motors:
  collector: {{power: 1.5 kW, phases: three, switched_by: {{pin: GPIO17, when_board_dies: drops}}{extra_motor}}}
gates:
  saw gate: {{diameter: 100 mm, {gate}}}
{extra_gates}
tools:
  saw: {{gates: saw gate, sensor: {{current_switch: GPIO23}}}}
"""
    shop = load_shop(text, "test.yaml")
    assert isinstance(shop, Shop), shop
    return shop


def test_the_one_evening_shop_lives_on_defaults() -> None:
    shop = shop_of("one-evening")
    motor, gate, tool = shop.motors["collector"], shop.gates["saw gate"], shop.tools["table saw"]

    assert shop.units is Units.INCH
    assert shop.mains_hz == 60
    assert motor.switch.output == Output(17)
    assert motor.switch.board_death is BoardDeath.DROPS
    assert (motor.spin_down_s, motor.coast_s, motor.release_s, motor.settle_s) == (10.0, 10.0, 1.0, 2.0)
    assert (motor.starts_per_hour, motor.rest_s, motor.starts_from) == (12.9, 76.0, StartsFrom.ESTIMATE)
    assert motor.proof is Proof.PERSON
    assert motor.path_minimum_m2 == pytest.approx(math.pi * 0.1016**2 / 4)
    assert motor.feeder == "main feeder"
    assert shop.feeders["main feeder"].gap_s == 2.0
    assert (gate.is_actuated, gate.supply, gate.duct, gate.clear_s) == (False, None, None, 3.0)
    assert tool.sensor is not None
    assert tool.sensor.contact == Contact(23)
    assert (tool.spin_down_s, tool.longest_run_s, tool.hold_s) == (None, 7200.0, 1800.0)
    assert (shop.page.listen, shop.page.port, shop.page.remote_start) == ("127.0.0.1", 8080, False)


def test_the_long_shed_has_two_systems_and_a_saw_on_both() -> None:
    shop = shop_of("long-narrow")
    saw, collector, vacuum = shop.tools["panel saw"], shop.motors["collector"], shop.motors["vacuum"]

    assert saw.systems == ("collector", "vacuum")
    assert collector.proof is Proof.SWITCHES
    assert vacuum.proof is Proof.TIME
    assert (vacuum.starts_per_hour, vacuum.rest_s, vacuum.starts_from) == (40.0, 20.0, StartsFrom.GIVEN)
    assert (vacuum.switch.board_death, vacuum.switch.death_after_s) == (BoardDeath.DROPS_LATER, 5.0)
    assert vacuum.path_minimum_m2 == pytest.approx(math.pi * 0.036**2 / 4)
    assert shop.motors["air cleaner"].runs_s == pytest.approx(140 * 8 / 0.25)
    assert [gate.name for gate in shop.gates_of("vacuum")] == ["saw guard gate", "bench gate"]
    assert [tool.name for tool in shop.tools_of("vacuum")] == ["panel saw", "bench outlet"]
    assert shop.tools["bench outlet"].is_outlet
    assert shop.tools["lathe"].band_a == (4.0, 9.0)
    assert shop.circuits["east sockets"].tools == ("lathe", "pillar drill")
    assert shop.ducts["saw drop"].motor == "collector"
    assert shop.ducts["saw drop"].fittings == (Fitting("wye", 45.0, 1), Fitting("elbow", 90.0, 1))


def test_a_clear_time_comes_from_the_whole_run_of_duct() -> None:
    shop = shop_of("long-narrow")

    # lathe drop 2 + 1.5 m, main east 5 m, main middle 5 m, main west 4 m; chips at 10 m/s; one second more
    assert shop.gates["lathe gate"].clear_s == pytest.approx(17.5 / 10 + 1)


def test_a_clamp_by_range_and_by_burden_agree() -> None:
    shop = shop_of("garage-one-collector")
    sensor = shop.tools["table saw"].sensor
    assert sensor is not None
    assert sensor.channel is not None

    # 3.3 V / 2 is the peak; / sqrt(2) x 2000 turns / 40 A
    assert sensor.channel.burden_ohm == pytest.approx(1.65 / math.sqrt(2) * 2000 / 40)
    assert sensor.trip_a is None


def test_the_trip_that_the_checks_assume_is_the_detectors_own() -> None:
    from gatekeeper.sensing.detector import DetectorSettings
    from gatekeeper.shop.clamps import TRIP_LEAST_A, TRIP_SHARE_OF_RUNNING

    assert DetectorSettings.for_tool().trip_a == TRIP_LEAST_A
    assert DetectorSettings.for_tool(rated_a=10.0).trip_a == pytest.approx(TRIP_SHARE_OF_RUNNING * 10)


def test_the_smallest_path_is_the_smallest_port_but_never_below_a_quarter_of_the_inlet() -> None:
    assert with_lines().motors["collector"].path_minimum_m2 == pytest.approx(AREA_100_M2)
    wide = with_lines(", inlet: 200 mm", "  other gate: {diameter: 150 mm}", "servo: {pin: GPIO12}")
    assert wide.motors["collector"].path_minimum_m2 == pytest.approx(AREA_100_M2)
    wider = with_lines(", inlet: 300 mm", "  other gate: {diameter: 150 mm}", "servo: {pin: GPIO12}")
    assert wider.motors["collector"].path_minimum_m2 == pytest.approx(math.pi * 0.15**2 / 4)


@pytest.mark.parametrize(
    ("motor", "gate", "other", "proof"),
    [
        ("", "servo: {pin: GPIO12}", "", Proof.TIME),
        ("", "servo: {pin: GPIO12}, open_contact: GPIO13", "", Proof.SWITCHES),
        ("", "servo: {pin: GPIO12}, shut_contact: GPIO13", "", Proof.TIME),
        (", pressure_switch: GPIO16", "servo: {pin: GPIO12}", "", Proof.AIR),
        (", relief_port: 100 mm", "servo: {pin: GPIO12}", "", Proof.RELIEF),
        (", relief_port: 90 mm", "servo: {pin: GPIO12}", "", Proof.TIME),
        ("", "as_extra: yes", "", Proof.PERSON),
        (", pressure_switch: GPIO16", "as_extra: yes", "", Proof.PERSON),
        ("", "open_contact: GPIO13", "  other gate: {diameter: 100 mm}", Proof.SWITCHES),
        ("", "servo: {pin: GPIO12}, open_contact: GPIO13", "  other gate: {diameter: 100 mm}", Proof.SWITCHES),
        (", relief_port: 100 mm", "as_extra: yes", "", Proof.RELIEF),
    ],
)
def test_what_proves_an_open_gate(motor: str, gate: str, other: str, proof: Proof) -> None:
    assert with_lines(motor, other, gate).motors["collector"].proof is proof


@pytest.mark.parametrize(
    ("gate", "supply", "travel_s", "dead_s", "spring_return"),
    [
        ("servo: {pin: GPIO12}", "gate supply", 2.0, 0.0, False),
        ("relays: {open: GPIO12, shut: GPIO13}", "gate supply", 6.0, 0.2, False),
        ("coil: {pin: GPIO12, holds: open}", "gate supply", 2.0, 0.0, True),
        ("coil: {pin: GPIO12, holds: shut}, travel: 1500 ms", "gate supply", 1.5, 0.0, True),
        ("as_extra: yes", None, 6.0, 0.0, False),
    ],
)
def test_each_way_of_moving_a_gate_has_its_usual_times(
    gate: str, supply: str | None, travel_s: float, dead_s: float, spring_return: bool
) -> None:
    built = with_lines(gate=gate).gates["saw gate"]

    assert (built.supply, built.travel_s, built.dead_s, built.spring_return) == (
        supply,
        travel_s,
        dead_s,
        spring_return,
    )
    assert built.is_actuated is (supply is not None)


def test_a_coil_keeps_its_line_its_level_and_its_end() -> None:
    gate = with_lines(gate="coil: {pin: GPIO12 active low, holds: shut}").gates["saw gate"]

    assert gate.coil == Coil(Output(12, active_low=True), GateEnd.SHUT)
    assert gate.coil.holds.other is GateEnd.OPEN


def test_an_air_proof_keeps_its_kind() -> None:
    motor = with_lines(", flow_switch: GPIO16 normally closed").motors["collector"]

    assert motor.air_proof == Contact(16, normally_closed=True)
    assert motor.air_proof_kind is AirProofKind.FLOW


def test_red_button_fire_and_door_open_on_a_broken_wire() -> None:
    shop = shop_of("shared-twelve")

    assert shop.inputs["red buttons"].contact == Contact(5, normally_closed=True)
    assert shop.inputs["smoke detector"].contact == Contact(6, normally_closed=True)
    assert shop.inputs["filter door"].contact == Contact(23, normally_closed=True)
    assert shop.inputs["reset key"].contact == Contact(4, normally_closed=False)
    assert shop.inputs["filter door"].systems == ("collector", "shaker")


def test_a_rectangular_duct_has_its_area_and_its_hydraulic_diameter() -> None:
    text = """
shop: {name: Test, mains: 50 Hz}
motors:
  collector: {power: 1.5 kW, switched_by: {pin: GPIO17, when_board_dies: drops}}
ducts:
  box: {towards: collector, width: 200 mm, height: 100 mm, length: 3 m}
gates:
  saw gate: {duct: box}
tools:
  saw: {gates: saw gate, sensor: {current_switch: GPIO23}}
"""
    shop = load_shop(text, "test.yaml")
    assert isinstance(shop, Shop)

    assert shop.ducts["box"].area_m2 == pytest.approx(0.02)
    assert shop.ducts["box"].diameter_m == pytest.approx(2 * 0.2 * 0.1 / 0.3)
    assert shop.gates["saw gate"].area_m2 == pytest.approx(0.02)
