"""The bench of a virtual shop, as the page works it; and the shop in real time."""

from collections.abc import Iterator
from threading import Event, Thread

import pytest
from plant_rig import Rig, example_shop, shop_from

from gatekeeper.devices.base import ContactSeen
from gatekeeper.devices.pins import open_pins
from gatekeeper.service.clock import FastClock, SystemClock
from gatekeeper.service.face import Answer, Bench, BenchControl
from gatekeeper.service.wiring import wire_up
from sim.bench import VirtualBench
from sim.plant import VirtualShop

GENEROUS_S = 30.0

WITH_SELECTOR = """
shop: {name: One drop, units: metric, mains: 50 Hz, open_flue_nearby: no}
motors:
  collector: {power: 1.5 kW, inlet: 125 mm, switched_by: {pin: GPIO17, when_board_dies: drops}}
gates:
  saw gate: {diameter: 100 mm, servo: {pin: GPIO18}, travel: 2 s}
tools:
  saw: {gates: saw gate, sensor: {current_switch: GPIO20}}
inputs:
  selector: {kind: hand-off-auto, hand_pin: GPIO22, auto_pin: GPIO23, motors: collector}
"""


@pytest.fixture
def rig() -> Iterator[Rig]:
    made = Rig(example_shop("long-narrow"))
    made.run(6.0)
    yield made
    made.close()


def bench_of(rig: Rig) -> VirtualBench:
    def dies() -> None:
        rig.close()

    return VirtualBench(rig.plant, on_plug_pulled=dies, on_plug_in=rig.boot)


def found(bench: Bench, key: str) -> BenchControl:
    return next(control for control in bench.controls() if control.key == key)


def choices(control: BenchControl) -> dict[str, str]:
    return {choice.to: choice.label for choice in control.choices}


def test_every_part_is_there_once_in_its_group_in_order(rig: Rig) -> None:
    controls = bench_of(rig).controls()
    groups = list(dict.fromkeys(control.group for control in controls))

    assert groups == ["Machines", "Gates", "Sensors", "Collectors", "Circuits", "Board"]
    assert [c.label for c in controls if c.group == "Machines"] == list(rig.shop.tools)
    assert [c.label for c in controls if c.group == "Gates"] == list(rig.shop.gates)
    assert [c.label for c in controls if c.group == "Collectors"] == list(rig.shop.motors)
    assert [c.label for c in controls if c.group == "Circuits"] == ["door stop", "bin door", "bin level"]
    assert len({control.key for control in controls}) == len(controls)
    assert all(control.choices for control in controls)


def test_a_machine_is_switched_on_and_off(rig: Rig) -> None:
    bench = bench_of(rig)
    assert found(bench, "tool:planer").word == "off"
    assert choices(found(bench, "tool:planer")) == {"on": "Switch on"}

    assert bench.work("tool:planer", "on") == Answer(True, "done", "planer: running.")
    assert choices(found(bench, "tool:planer")) == {"off": "Switch off"}
    rig.run(8.0)
    assert found(bench, "gate:planer gate").word == "open"
    assert found(bench, "motor:collector").word == "running"
    bench.work("tool:planer", "off")
    assert not rig.plant.tool_is_on("planer")


def test_a_gate_is_jammed_made_slow_and_freed(rig: Rig) -> None:
    bench = bench_of(rig)
    assert choices(found(bench, "gate:planer gate")) == {"jam": "Jam", "slow": "Make slow"}
    assert bench.work("gate:planer gate", "jam").sentence == "planer gate: jammed, shut."
    assert choices(found(bench, "gate:planer gate")) == {"free": "Free"}
    bench.work("gate:planer gate", "free")
    assert bench.work("gate:planer gate", "slow").sentence == "planer gate: slow, shut."
    rig.plant.switch_tool("planer", True)
    rig.run(2.0)
    assert found(bench, "gate:planer gate").word == "slow, moving, 20 % open"


def test_a_hand_gate_is_moved_by_hand(rig: Rig) -> None:
    bench = bench_of(rig)
    assert choices(found(bench, "gate:lathe gate")) == {"open": "Open by hand", "jam": "Jam"}
    bench.work("gate:lathe gate", "open")
    rig.run(1.0)
    assert found(bench, "gate:lathe gate").word == "open"
    assert choices(found(bench, "gate:lathe gate")) == {"shut": "Shut by hand", "jam": "Jam"}


def test_sensors_and_converters_are_killed_and_healed(rig: Rig) -> None:
    bench = bench_of(rig)
    clamp, contact = found(bench, "sensor:tool:planer"), found(bench, "sensor:open:planer gate")
    assert (clamp.label, clamp.word, choices(clamp)) == ("Sensor of planer", "well", {"dead": "Kill"})
    assert contact.label == "Open switch of planer gate"
    assert choices(contact) == {"dead": "Kill", "stuck_on": "Stick on", "loose": "Loosen a wire"}

    assert bench.work("sensor:tool:planer", "dead").sentence == "Sensor of planer: dead."
    rig.run(2.0)
    assert rig.alarms() == {"sensor_lost:planer"}
    bench.work("sensor:tool:planer", "heal")
    rig.run(2.0)
    assert rig.alarms() == set()
    assert bench.work("converter:clamp board", "mute").sentence == "Converter clamp board: silent."
    rig.run(2.0)
    assert "sensor_lost:panel saw" in rig.alarms()
    bench.work("converter:clamp board", "heal")
    rig.run(2.0)
    assert rig.alarms() == set()


def test_a_collector_is_welded_tripped_and_healed(rig: Rig) -> None:
    bench = bench_of(rig)
    assert choices(found(bench, "motor:vacuum")) == {
        "welded": "Weld the contactor",
        "does_not_start": "Trip its overload, or open its disconnect",
    }
    assert bench.work("motor:vacuum", "does_not_start").sentence == "vacuum: does not start, still."
    rig.plant.switch_tool("bench outlet", True)
    rig.run(10.0)
    assert "did_not_start:vacuum" in rig.alarms()
    rig.run(5.0)  # the timer relay behind its relay
    assert bench.work("motor:vacuum", "heal").sentence == "vacuum: still."


def test_circuits_are_broken_and_made(rig: Rig) -> None:
    bench = bench_of(rig)
    assert choices(found(bench, "input:door stop")) == {"yes": "Press it"}
    assert bench.work("input:door stop", "yes").sentence == "door stop: pressed."
    rig.run(1.0)
    assert "emergency:door stop" in rig.alarms()
    assert choices(found(bench, "input:door stop")) == {"no": "Pull it out"}
    bench.work("input:door stop", "no")
    assert bench.work("input:bin door", "yes").sentence == "bin door: open."


def test_buttons_keys_and_selectors() -> None:
    school = VirtualShop(example_shop("school-room"), open_pins("mock"), SystemClock())
    bench = VirtualBench(school)
    assert found(bench, "input:reset key") == BenchControl(
        "input:reset key", "Buttons", "reset key", "reset", found(bench, "input:reset key").choices
    )
    assert choices(found(bench, "input:reset key")) == {"press": "Press"}
    assert bench.work("input:reset key", "press").accepted
    assert found(bench, "input:teacher key").word == "shop open"
    assert bench.work("input:teacher key", "no").sentence == "teacher key: shop shut."

    bench = VirtualBench(VirtualShop(shop_from(WITH_SELECTOR), open_pins("mock"), SystemClock()))
    assert choices(found(bench, "input:selector")) == {"hand": "Turn to hand", "off": "Turn to off"}
    assert bench.work("input:selector", "hand").sentence == "selector: hand."
    assert found(bench, "motor:collector").word == "spinning up"


def test_the_plug_is_pulled_and_goes_back_in(rig: Rig) -> None:
    bench = bench_of(rig)
    rig.plant.switch_tool("planer", True)
    rig.run(8.0)
    assert bench.work("board:plug", "pull").sentence == "The board's plug: pulled."
    rig.clock.advance(1.0)
    assert found(bench, "motor:collector").word == "coasting"
    assert choices(found(bench, "board:plug")) == {"in": "Plug it in again"}
    bench.work("tool:planer", "off")
    assert bench.work("board:plug", "in").sentence == "The board's plug: in."
    rig.run(6.0)
    assert rig.runs == 2
    assert rig.alarms("now") == set()


def test_a_bench_without_a_controller_to_end_has_no_plug(rig: Rig) -> None:
    bench = VirtualBench(rig.plant)

    assert "Board" not in {control.group for control in bench.controls()}
    assert bench.work("board:plug", "pull") == Answer(
        False, "no_such_part", "There is nothing called board:plug on the bench."
    )


def test_what_makes_no_sense_is_refused_with_a_sentence(rig: Rig) -> None:
    bench = bench_of(rig)

    assert bench.work("tool:planer", "off") == Answer(
        False, "no_such_choice", "planer is off. It can be put to: on, not to off."
    )
    assert bench.work("gate:planer gate", "open").accepted is False  # it moves by itself
    assert bench.work("tool:", "on").accepted is False


# ---------------------------------------------------------------- in real time


def test_in_real_time_a_contact_follows_a_machine_and_a_reader_is_let_go_at_the_end() -> None:
    shop = example_shop("recording-bench")
    clock = FastClock(2.0)
    pins = open_pins("mock", clock.now)
    plant = VirtualShop(shop, pins, clock)
    wires = wire_up(shop, pins, lambda look: None, open_bank=plant.open_bank)
    bank = wires.banks["clamp board"]
    plant.start()
    plant.switch_tool("machine", True)
    loud, quit_reading, ended = Event(), Event(), Event()

    def read() -> None:
        while not quit_reading.is_set():
            block = bank.read(20)
            assert block.rate_hz == pytest.approx(1000.0)
            if max(block.codes[0]) > 2500:
                loud.set()
        ended.set()

    Thread(target=read, daemon=True).start()
    assert loud.wait(GENEROUS_S)
    quit_reading.set()
    plant.stop()
    assert ended.wait(GENEROUS_S)
    plant.stop()  # twice does no harm
    wires.close()


def test_in_real_time_a_current_switch_is_made() -> None:
    shop = example_shop("one-evening")
    clock = SystemClock()
    pins = open_pins("mock", clock.now)
    plant = VirtualShop(shop, pins, clock)
    made = Event()

    def see(look: ContactSeen) -> None:
        if look.made:
            made.set()

    wires = wire_up(shop, pins, see, open_bank=plant.open_bank)
    plant.start()
    plant.start()  # twice is once
    plant.switch_tool("table saw", True)
    assert made.wait(GENEROUS_S)
    plant.stop()
    wires.close()
