"""From the shop's file to the wires: what is claimed and how, and which line each command of each driver moves."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from gatekeeper.devices.actuators import HandGate, SpringGate
from gatekeeper.devices.base import ContactSeen, DeviceError, Miss, Position
from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.converter import SpiBank
from gatekeeper.devices.mqtt_gate import MqttGate
from gatekeeper.devices.pins import OutputLine, Pins, open_pins, outputs_off
from gatekeeper.devices.reversing import BridgeGate, RelayPairGate
from gatekeeper.devices.servos import BankServoGate, ServoGate
from gatekeeper.devices.signs import MEANING
from gatekeeper.service.wiring import (
    Wires,
    channels_used,
    contacts_of,
    output_lines,
    poll_all,
    wire_up,
)
from gatekeeper.service.wiring_sensors import bank_for, board_bank, silent_bank
from gatekeeper.shop.claims import SPI_LINES, SPI_SELECTS
from gatekeeper.shop.examples import example, names
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Converter, Gate, Shop

EVERY_KIND = """
shop: {name: Every kind, units: metric, mains: 50 Hz, open_flue_nearby: no}
motors:
  fan:
    power: 1 kW
    inlet: 100 mm
    pressure_switch: GPIO2
    switched_by: {pin: GPIO17, when_board_dies: drops}
    confirmed_by: {current_switch: GPIO3}
  vacuum: {kind: tool vacuum, power: 1 kW, inlet: 50 mm, switched_by: {pin: GPIO5 active low, when_board_dies: drops}}
ducts:
  main: {towards: fan, diameter: 100 mm, length: 2 m}
  hose: {towards: vacuum, diameter: 50 mm, length: 2 m}
gates:
  turned: {duct: main, servo: {pin: GPIO12, open: 1800 us, shut: 900 us}, travel: 1 s}
  driven:
    duct: main
    relays: {open: GPIO16, shut: GPIO20, dead_time: 500 ms}
    travel: 3 s
    open_contact: GPIO4
    shut_contact: GPIO6 normally closed
  pulled open: {duct: main, coil: {pin: GPIO22, holds: open}, travel: 2 s, open_contact: GPIO19}
  pulled shut: {duct: main, coil: {pin: GPIO23 active low, holds: shut}, travel: 2 s}
  pushed: {duct: hose, open_contact: GPIO13}
circuits:
  wall: {sensor: {current_switch: GPIO14}}
converters:
  far board: {kind: MCP3008, chip_select: 1}
  spare board: {chip_select: 0}
tools:
  saw: {gates: [turned, driven], sensor: {converter: far board, channel: 4, range: 20 A}}
  drill: {gates: [pulled open, pulled shut], circuit: wall}
  sander: {gates: pushed, sensor: {current_switch: GPIO15}}
inputs:
  mushroom: {kind: red button, pin: GPIO18}
  selector: {kind: hand-off-auto, hand_pin: GPIO24, auto_pin: GPIO25, motors: fan}
signs:
  lamp: {pin: GPIO26, at: saw}
  other lamp: {pin: GPIO27 active low, at: saw}
"""


OTHER_DRIVERS = Path(__file__).parents[1] / "shop" / "golden" / "driver-bites.yaml"


def shop_from(text: str) -> Shop:
    shop = load_shop(text, "shop.yaml")
    assert not isinstance(shop, Faults), shop
    return shop


def shop_of(name: str) -> Shop:
    return shop_from(example(name).read_text(encoding="utf-8"))


@dataclass
class Wired:
    """A shop on mock pins, with what was heard of it."""

    shop: Shop
    pins: Pins = field(default_factory=lambda: open_pins("mock", lambda: 7.0))
    seen: list[ContactSeen] = field(default_factory=list)
    missed: list[Miss] = field(default_factory=list)
    opened: list[tuple[str, int]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.hands = BenchPins(self.pins)
        self.wires: Wires = wire_up(
            self.shop, self.pins, self.seen.append, on_miss=self.missed.append, open_bank=self.open_bank
        )

    def open_bank(self, converter: Converter, channels: int) -> SpiBank:
        self.opened.append((converter.name, channels))
        return silent_bank(converter, channels)

    def levels(self, *lines: int) -> list[float | None]:
        return [self.hands.level(line) for line in lines]


@pytest.fixture
def wired() -> Wired:
    return Wired(shop_from(EVERY_KIND))


def kind_of(gate: Gate) -> type[object]:
    if gate.servo is not None:
        return ServoGate
    if gate.bank_servo is not None:
        return BankServoGate
    if gate.bridge is not None:
        return BridgeGate
    if gate.behind_broker is not None:
        return MqttGate
    if gate.relays is not None:
        return RelayPairGate
    return SpringGate if gate.coil is not None else HandGate


MADE = {"every kind": EVERY_KIND, "other drivers": OTHER_DRIVERS.read_text(encoding="utf-8")}
SHOPS = [*names(), *MADE]


@pytest.fixture(params=SHOPS)
def any_shop(request: pytest.FixtureRequest) -> Shop:
    return shop_from(MADE[request.param]) if request.param in MADE else shop_of(request.param)


def test_every_output_is_claimed_at_its_off_level_in_one_step(any_shop: Shop) -> None:
    hands = Wired(any_shop).hands
    outputs = output_lines(any_shop)

    driven = {line.pin: hands.levels(line.pin) for line in outputs}
    assert driven == {line.pin: [None, 0.0 if line.active_high else 1.0] for line in outputs}
    others = set(range(28)) - set(driven)
    assert {line: hands.levels(line) for line in others} == {line: [None] for line in others}


def test_no_line_has_two_holders(any_shop: Shop) -> None:
    lines = [line.pin for line in output_lines(any_shop)]
    lines += [contact.line for contact in contacts_of(any_shop).values()]
    for bus, wires in SPI_LINES.items():
        on_bus = [converter for converter in any_shop.converters.values() if converter.bus == bus]
        lines += [*wires, *(SPI_SELECTS[bus][converter.chip_select] for converter in on_bus)] if on_bus else []

    assert len(lines) == len(set(lines))


def test_everything_in_the_file_has_its_driver(any_shop: Shop) -> None:
    wires = Wired(any_shop).wires

    assert {name: type(gate) for name, gate in wires.gates.items()} == {
        name: kind_of(gate) for name, gate in any_shop.gates.items()
    }
    assert {name: (gate.travel_s, gate.dead_s, gate.spring_return) for name, gate in wires.gates.items()} == {
        name: (gate.travel_s if gate.is_actuated else 0.0, gate.dead_s, gate.spring_return)
        for name, gate in any_shop.gates.items()
    }
    assert list(wires.motors) == list(any_shop.motors)
    assert [sign.name for at in wires.signs.values() for sign in at] == list(any_shop.signs)
    assert {name: contact.name for name, contact in wires.contacts.items()} == {
        name: name for name in contacts_of(any_shop)
    }


def test_a_contact_is_named_by_what_it_means() -> None:
    assert {name: contact.line for name, contact in contacts_of(shop_from(EVERY_KIND)).items()} == {
        "input:mushroom": 18,
        "hand:selector": 24,
        "auto:selector": 25,
        "open:driven": 4,
        "shut:driven": 6,
        "open:pulled open": 19,
        "open:pushed": 13,
        "tool:sander": 15,
        "circuit:wall": 14,
        "confirm:fan": 3,
        "air:fan": 2,
    }


def test_a_contact_speaks_by_its_name(wired: Wired) -> None:
    poll_all(wired.wires.contacts.values(), 7.0)
    wired.seen.clear()
    wired.hands.drive(18, False)
    wired.hands.drive(15, False)
    wired.hands.drive(18, True)

    assert [(seen.name, seen.made) for seen in wired.seen] == [
        ("input:mushroom", True),
        ("tool:sander", True),
        ("input:mushroom", False),
    ]


# ---------------------------------------------------------------- what a command does to which line


def test_a_servo_gets_its_pulses_for_its_travel(wired: Wired) -> None:
    gate = wired.wires.gates["turned"]
    gate.open(10.0)
    assert wired.levels(12) == [pytest.approx(0.0018 * 50)]
    gate.tick(11.0)
    gate.shut(20.0)
    gate.tick(21.0)

    assert wired.hands.levels(12) == [None, 0.0, pytest.approx(0.09), 0.0, pytest.approx(0.045), 0.0]


@pytest.mark.parametrize(("word", "on"), [("", 1.0), (" active low", 0.0)])
def test_a_relay_pair_turns_round_after_its_dead_time(word: str, on: float) -> None:
    pair = "open: GPIO16, shut: GPIO20,"
    wired = Wired(shop_from(EVERY_KIND.replace(pair, f"open: GPIO16{word}, shut: GPIO20{word},")))
    off, gate = 1.0 - on, wired.wires.gates["driven"]
    gate.open(10.0)
    assert wired.levels(16, 20) == [on, off]
    gate.shut(11.0)
    assert wired.levels(16, 20) == [off, off]
    gate.tick(11.4)
    assert wired.levels(16, 20) == [off, off]
    gate.tick(11.5)
    assert wired.levels(16, 20) == [off, on]
    gate.tick(14.5)
    assert wired.levels(16, 20) == [off, off]


def test_a_coil_is_on_for_the_end_that_it_holds_and_stays_on(wired: Wired) -> None:
    held_open, held_shut = wired.wires.gates["pulled open"], wired.wires.gates["pulled shut"]
    held_open.open(10.0)
    held_shut.shut(10.0)
    assert wired.levels(22, 23) == [1.0, 0.0]
    for gate in (held_open, held_shut):
        gate.tick(12.0)
    assert wired.levels(22, 23) == [1.0, 0.0]
    held_open.shut(20.0)
    held_shut.open(20.0)
    assert wired.levels(22, 23) == [0.0, 1.0]


def test_a_halt_leaves_a_coil_as_it_is_and_stops_the_others(wired: Wired) -> None:
    gates = wired.wires.gates
    for name in ("turned", "driven", "pulled open"):
        gates[name].open(10.0)
    gates["pulled shut"].shut(10.0)
    for gate in gates.values():
        gate.halt(10.5)

    assert wired.levels(12, 16, 20, 22, 23) == [0.0, 0.0, 0.0, 1.0, 0.0]


def test_a_hand_gate_takes_no_command_and_knows_its_switch(wired: Wired) -> None:
    gate = wired.wires.gates["pushed"]
    with pytest.raises(DeviceError, match=r"^Gate pushed is moved by hand\. Open it yourself\.$"):
        gate.open(10.0)
    assert gate.position() is Position.BETWEEN
    wired.hands.drive(13, False)
    assert gate.position() is Position.OPEN


@pytest.mark.parametrize(("name", "travel_s"), [("driven", 3.0), ("pulled open", 2.0)])
def test_a_gate_that_did_not_arrive_is_told(wired: Wired, name: str, travel_s: float) -> None:
    gate = wired.wires.gates[name]
    gate.open(10.0)
    gate.tick(10.0 + travel_s)

    assert wired.missed == [Miss(10.0 + travel_s, name, Position.OPEN, Position.BETWEEN)]


def test_a_motor_is_on_for_its_lease_only(wired: Wired) -> None:
    fan, vacuum = wired.wires.motors["fan"], wired.wires.motors["vacuum"]
    fan.on(10.0, 15.0)
    vacuum.on(10.0, 15.0)
    assert wired.levels(17, 5) == [1.0, 0.0]
    fan.off()
    assert wired.levels(17, 5) == [0.0, 0.0]
    assert vacuum.tick(15.1)
    assert wired.levels(17, 5) == [0.0, 1.0]


def test_the_lamps_of_a_place_show_every_word_of_the_core(wired: Wired) -> None:
    shown = {}
    for word in MEANING:
        for lamp in wired.wires.signs["saw"]:
            lamp.show(word, 7.0)
        shown[word] = wired.levels(26, 27)

    assert shown == {word: [0.0, 1.0] if word == "dark" else [1.0, 0.0] for word in MEANING}


# ---------------------------------------------------------------- converters


def test_a_converter_is_opened_up_to_its_highest_channel_in_use_and_a_spare_one_not(wired: Wired) -> None:
    assert wired.opened == [("far board", 5)]
    assert list(wired.wires.banks) == ["far board"]
    assert channels_used(wired.shop, "spare board") == 0
    assert {name: channels_used(shop_of("shared-twelve"), name) for name in ("west board", "east board")} == {
        "west board": 8,
        "east board": 8,
    }


def test_without_a_board_every_sensor_counts_as_lost() -> None:
    bank = silent_bank(shop_from(EVERY_KIND).converters["far board"], 5)
    block = bank.read(3)

    assert [set(codes) for codes in block.codes] == [{0}] * 5


@pytest.mark.parametrize(
    ("pins", "opens"),
    [("mock", silent_bank), ("bank:here", silent_bank), ("lgpio", board_bank), ("gpiod:chip", board_bank)],
)
def test_where_converters_are(pins: str, opens: Callable[[Converter, int], SpiBank]) -> None:
    assert bank_for(pins) is opens


# ---------------------------------------------------------------- the end


def test_the_end_puts_everything_off_motors_first(wired: Wired) -> None:
    wired.wires.motors["fan"].on(10.0, 15.0)
    wired.wires.motors["vacuum"].on(10.0, 15.0)
    for name in ("turned", "driven", "pulled open"):
        wired.wires.gates[name].open(10.0)
    wired.wires.gates["pulled shut"].shut(10.0)
    order: list[tuple[int, float | None]] = []
    for line in output_lines(wired.shop):
        wired.hands.watch(line.pin, lambda _, level, pin=line.pin: order.append((pin, level)))  # type: ignore[misc]
    wired.wires.close()

    assert [change for change in order if change[1] is not None] == [
        (17, 0.0),
        (5, 1.0),
        (12, 0.0),
        (16, 0.0),
        (22, 0.0),
        (23, 1.0),
    ]


def test_the_list_of_outputs_names_each_and_puts_it_off() -> None:
    lines = output_lines(shop_from(EVERY_KIND))
    assert lines == [
        OutputLine("fan", 17),
        OutputLine("vacuum", 5, active_high=False),
        OutputLine("turned", 12),
        OutputLine("driven, opening relay", 16),
        OutputLine("driven, shutting relay", 20),
        OutputLine("pulled open, coil", 22),
        OutputLine("pulled shut, coil", 23, active_high=False),
        OutputLine("lamp", 26),
        OutputLine("other lamp", 27, active_high=False),
    ]

    pins = open_pins("mock", lambda: 7.0)
    assert outputs_off(pins, lines) == []
    assert {line.pin: BenchPins(pins).level(line.pin) for line in lines} == {
        line.pin: 0.0 if line.active_high else 1.0 for line in lines
    }
