"""Gates on a coil against a spring, and a motor behind a timer relay, before the whole real stack."""

from collections.abc import Callable, Iterator

import pytest
from plant_rig import Rig, example_shop, shop_from

from gatekeeper.devices.bench import BenchPins
from sim.faults import GateFault

TWO_ENDS = """
shop: {name: Air and springs, units: metric, mains: 50 Hz, open_flue_nearby: no}
motors:
  collector:
    power: 1.5 kW
    phases: three
    inlet: 125 mm
    relief_port: 125 mm
    coast: 6 s
    switched_by: {pin: GPIO17, when_board_dies: drops}
gates:
  falls shut: {diameter: 100 mm, coil: {pin: GPIO16, holds: open}, travel: 2 s, open_contact: GPIO4}
  falls open: {diameter: 100 mm, coil: {pin: GPIO22 active low, holds: shut}, travel: 2 s, open_contact: GPIO5}
supplies:
  air: {at_once: 2}
tools:
  saw: {gates: falls shut, sensor: {current_switch: GPIO20}}
  planer: {gates: falls open, sensor: {current_switch: GPIO21}}
inputs:
  mushroom: {kind: red button, pin: GPIO23}
"""
COILS = (16, 22)

Make = Callable[[str], Rig]


@pytest.fixture
def make() -> Iterator[Make]:
    """A settled shop with a controller that has been awake for a while."""
    made: list[Rig] = []

    def build(text: str) -> Rig:
        made.append(Rig(example_shop(text) if "\n" not in text else shop_from(text)))
        made[-1].run(10.0)
        return made[-1]

    yield build
    for rig in made:
        rig.close()


def stands(rig: Rig) -> list[float]:
    return [rig.plant.gates()[gate].position for gate in ("falls shut", "falls open")]


def levels(rig: Rig) -> list[float | None]:
    return [BenchPins(rig.wires.pins).level(line) for line in COILS]


def test_a_start_opens_its_gate_by_coil_or_by_spring(make: Make) -> None:
    rig = make(TWO_ENDS)
    rig.plant.switch_tool("saw", True)
    rig.run(12.0)
    assert (stands(rig), levels(rig)) == ([1.0, 0.0], [1.0, 0.0])

    rig.plant.switch_tool("saw", False)
    rig.run(2.0)
    rig.plant.switch_tool("planer", True)
    rig.run(30.0)
    assert (stands(rig), levels(rig)) == ([0.0, 1.0], [0.0, 1.0])
    assert rig.alarms() == set()


def test_the_red_button_leaves_every_coil_as_it_is(make: Make) -> None:
    rig = make(TWO_ENDS)
    rig.plant.switch_tool("saw", True)
    rig.run(12.0)
    before = (stands(rig), levels(rig))
    rig.plant.set_input("mushroom", True)
    rig.run(20.0)

    assert not rig.plant.motors()["collector"].has_power
    assert before == ([1.0, 0.0], [1.0, 0.0])
    assert (stands(rig), levels(rig)) == before


def test_the_red_button_in_mid_move_lets_the_move_end(make: Make) -> None:
    rig = make(TWO_ENDS)
    rig.plant.switch_tool("planer", True)
    rig.run(12.0)
    rig.plant.switch_tool("planer", False)
    rig.plant.switch_tool("saw", True)
    rig.until(lambda: 0.1 < stands(rig)[0] < 0.9, 5.0)
    rig.plant.set_input("mushroom", True)
    rig.run(0.1)
    held = levels(rig)
    rig.run(10.0)

    assert held[0] == 1.0
    assert levels(rig) == held
    assert stands(rig)[0] == 1.0


def test_without_power_each_spring_brings_its_gate_to_its_end(make: Make) -> None:
    rig = make(TWO_ENDS)
    rig.plant.switch_tool("saw", True)
    rig.run(12.0)
    rig.plant.pull_plug()
    rig.clock.advance(0.9)
    rig.plant.step()
    assert stands(rig) == [pytest.approx(0.5), pytest.approx(0.5)]
    rig.clock.advance(1.0)
    rig.plant.step()

    assert stands(rig) == [0.0, 1.0]


def test_a_jam_holds_a_gate_against_its_spring(make: Make) -> None:
    rig = make(TWO_ENDS)
    rig.plant.switch_tool("saw", True)
    rig.run(12.0)
    rig.plant.faults.break_gate("falls shut", GateFault.JAMMED)
    rig.plant.pull_plug()
    rig.clock.advance(5.0)
    rig.plant.step()

    assert stands(rig) == [1.0, 1.0]


def test_the_sheds_timer_relay_runs_on_at_a_usual_stop_and_nothing_complains(make: Make) -> None:
    rig = make("long-narrow")
    rig.plant.switch_tool("bench outlet", True)
    rig.run(12.0)
    rig.plant.switch_tool("bench outlet", False)
    vacuum = rig.wires.motors["vacuum"]
    assert vacuum.is_on()
    rig.until(lambda: not vacuum.is_on(), 15.0)
    runs_on_s = rig.until(lambda: not rig.plant.motors()["vacuum"].has_power, 10.0)
    rig.run(20.0)

    assert runs_on_s == pytest.approx(5.2, abs=0.05)
    assert rig.alarms("now", "today") == set()
