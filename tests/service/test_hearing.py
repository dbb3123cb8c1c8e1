"""What raw contacts and converter codes mean to the core."""

from pathlib import Path

import pytest

from gatekeeper.control.messages import (
    AirSeen,
    Event,
    HandSeen,
    InputSeen,
    MotorSeen,
    Requested,
    ShopKeySeen,
    SwitchSeen,
    ToolSeen,
)
from gatekeeper.devices.base import Block, ContactSeen
from gatekeeper.sensing.codes import codes_from_amperes
from gatekeeper.service.hearing import Contacts, Currents
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

TEXT = """
shop: {name: Hearing, units: metric, mains: 50 Hz, open_flue_nearby: no}
motors:
  collector:
    power: 1.5 kW
    phases: three
    inlet: 125 mm
    pressure_switch: GPIO16
    care: {full_bin: refuses the next start}
    switched_by: {pin: GPIO17, when_board_dies: drops}
    confirmed_by: {current_switch: GPIO18, within: 3 s}
gates:
  saw gate: {diameter: 100 mm, servo: {pin: GPIO12}, open_contact: GPIO19, shut_contact: GPIO20}
  bench gate: {diameter: 100 mm, servo: {pin: GPIO13}}
converters:
  clamps: {kind: MCP3208, bus: 0, chip_select: 0}
circuits:
  sockets: {sensor: {converter: clamps, channel: 1, range: 20 A}}
tools:
  saw: {gates: saw gate, sensor: {current_switch: GPIO21}}
  lathe: {gates: bench gate, circuit: sockets, band: 5 A to 9 A}
  drill: {gates: bench gate, circuit: sockets, band: 1 A to 3 A}
  planer: {gates: bench gate, sensor: {converter: clamps, channel: 0, range: 30 A}}
inputs:
  red button: {kind: red button, pin: GPIO5}
  smoke: {kind: fire, pin: GPIO6}
  bin door: {kind: door, pin: GPIO22, motors: collector}
  selector: {kind: hand-off-auto, hand_pin: GPIO23, auto_pin: GPIO24, motors: collector}
  key: {kind: shop key, pin: GPIO25}
  saw button: {kind: air here, pin: GPIO26, at: saw gate}
  reset key: {kind: reset, pin: GPIO27}
  stop knob: {kind: stop, pin: GPIO4}
  saw release: {kind: release, pin: GPIO15, at: saw gate}
  bin: {kind: bin full, pin: GPIO14}
  filter: {kind: filter pressure, pin: GPIO3}
  net key: {kind: broker key, pin: GPIO2}
  sparks button: {kind: sparks, pin: GPIO7}
brokers:
  home: {host: broker.local}
neighbours:
  homie: {broker: home, commands: yes}
"""


@pytest.fixture(scope="module")
def shop() -> Shop:
    read = load_shop(TEXT, "hearing.yaml")
    assert not isinstance(read, Faults), read.lines()
    return read


def say(contacts: Contacts, name: str, made: bool, t_s: float, for_s: float = 1.0) -> list[Event]:
    """A level that holds for a while."""
    events = contacts.hear(ContactSeen(t_s, name, made))
    return events + contacts.tick(t_s + for_s)


def held(contacts: Contacts, name: str, levels: list[bool]) -> list[Event]:
    """Levels, a second each; the events of the last one."""
    events: list[Event] = []
    for number, made in enumerate(levels):
        events = say(contacts, name, made, float(number))
    return events


@pytest.mark.parametrize(
    ("name", "levels", "expected"),
    [
        ("tool:saw", [False, True], [ToolSeen("saw", "running")]),
        ("confirm:collector", [False, True], [MotorSeen("collector", "running")]),
        ("confirm:collector", [False, True, False], [MotorSeen("collector", "still")]),
        ("air:collector", [False, True], [AirSeen("collector", True)]),
        ("input:red button", [True], [InputSeen("red button", "made")]),
        ("input:red button", [True, False], [InputSeen("red button", "open")]),
        ("input:smoke", [True, False], [InputSeen("smoke", "open")]),
        ("input:bin door", [True, False], [InputSeen("bin door", "open")]),
        ("input:key", [False, True], [ShopKeySeen("open")]),
        ("input:saw button", [False, True], [Requested("air_here", "saw gate", "button", for_s=600.0)]),
        ("input:reset key", [False, True], [Requested("reset", None, "local")]),
        ("input:stop knob", [False, True], [Requested("stop", "collector", "input")]),
        ("input:saw release", [False, True], [Requested("release", "saw gate", "local")]),
        # A button that is pressed already when the controller wakes asks for nothing.
        ("input:saw button", [True], []),
        ("input:reset key", [True], []),
        ("input:stop knob", [False, True, False], []),
    ],
)
def test_a_contact_means_what_the_shop_says(shop: Shop, name: str, levels: list[bool], expected: list[Event]) -> None:
    assert held(Contacts(shop), name, levels) == expected


def test_a_tool_found_running_is_no_fresh_start(shop: Shop) -> None:
    (seen,) = held(Contacts(shop), "tool:saw", [True])
    assert seen == ToolSeen("saw", "running", why="This is how the tool was found at the first look.", fresh=False)


def test_an_emergency_opens_at_the_first_look_and_is_made_only_after_it_held(shop: Shop) -> None:
    contacts = Contacts(shop)
    say(contacts, "input:red button", True, 0.0)
    assert contacts.hear(ContactSeen(2.0, "input:red button", False)) == []
    assert contacts.tick(2.006) == [InputSeen("red button", "open")]
    contacts.hear(ContactSeen(3.0, "input:red button", True))
    assert contacts.tick(3.05) == []
    assert contacts.tick(3.2) == [InputSeen("red button", "made")]


def test_a_circuit_that_nobody_reads_any_more_counts_as_open(shop: Shop) -> None:
    contacts = Contacts(shop)
    say(contacts, "input:red button", True, 0.0, for_s=0.5)
    assert InputSeen("red button", "open") in contacts.tick(60.0)


def test_position_switches_speak_together(shop: Shop) -> None:
    contacts = Contacts(shop)
    say(contacts, "shut:saw gate", True, 0.0)
    assert say(contacts, "open:saw gate", False, 1.0) == [SwitchSeen("saw gate", "shut")]
    assert say(contacts, "shut:saw gate", False, 2.0) == [SwitchSeen("saw gate", "between")]
    assert say(contacts, "open:saw gate", True, 3.0) == [SwitchSeen("saw gate", "open")]
    # Both at once cannot be: the gate is nowhere.
    assert say(contacts, "shut:saw gate", True, 4.0) == [SwitchSeen("saw gate", "between")]


@pytest.mark.parametrize(
    ("hand", "auto", "word"), [(True, False, "hand"), (False, True, "auto"), (False, False, "off"), (True, True, "off")]
)
def test_the_selector_needs_both_of_its_contacts(shop: Shop, hand: bool, auto: bool, word: str) -> None:
    contacts = Contacts(shop)
    assert say(contacts, "hand:selector", hand, 0.0) == []
    assert say(contacts, "auto:selector", auto, 1.0) == [HandSeen("collector", word)]  # type: ignore[arg-type]


# ---------------------------------------------------------------- currents


def block(shop: Shop, currents: Currents, start_s: float, amperes: list[list[float]]) -> Block:
    fronts = []
    for sensor in (shop.tools["planer"].sensor, shop.circuits["sockets"].sensor):
        assert sensor is not None
        assert sensor.channel is not None
        fronts.append(currents.front_end(sensor.channel))
    noise = [0.7 * ((7 * n) % 11 - 5) / 5 for n in range(997)]
    return Block(
        start_s,
        2000.0,
        tuple(codes_from_amperes(wave, front, noise) for wave, front in zip(amperes, fronts, strict=True)),
    )


def sine(rms_a: float, seconds: float) -> list[float]:
    from math import pi, sin, sqrt

    return [sqrt(2) * rms_a * sin(2 * pi * 50 * n / 2000) for n in range(int(2000 * seconds))]


def test_a_current_starts_its_own_tool_and_a_circuit_tells_its_tools_apart(shop: Shop) -> None:
    currents = Currents(shop)
    rest = currents.hear("clamps", block(shop, currents, 0.0, [sine(0, 1), sine(0, 1)]))
    assert {(seen.tool, seen.state, seen.fresh) for seen in rest if isinstance(seen, ToolSeen)} == {
        ("planer", "stopped", False),
        ("lathe", "stopped", False),
        ("drill", "stopped", False),
    }
    seen = currents.hear("clamps", block(shop, currents, 1.0, [sine(6, 2), sine(2, 2)]))
    words = [(event.tool, event.state, event.fresh) for event in seen if isinstance(event, ToolSeen)]
    assert ("planer", "running", True) in words
    assert ("lathe", "running", True) in words
    assert ("drill", "running", True) in words
    assert words[-1] == ("lathe", "stopped", False)
    assert currents.amperes()["planer"] == pytest.approx(6.0, rel=0.03)


def test_silence_of_a_converter_is_a_lost_sensor_never_a_tool(shop: Shop) -> None:
    currents = Currents(shop)
    currents.hear("clamps", block(shop, currents, 0.0, [sine(0, 1), sine(0, 1)]))
    lost = currents.lost("clamps", 5.0)
    assert {(event.tool, event.state) for event in lost if isinstance(event, ToolSeen)} == {
        ("planer", "stale"),
        ("lathe", "stale"),
        ("drill", "stale"),
    }


def polled(contacts: Contacts, name: str, made: bool, from_s: int, until_s: int) -> list[tuple[int, Event]]:
    """A level that is read once a second, as the loop does; the events with the second at which they came."""
    return [
        (second, event)
        for second in range(from_s, until_s)
        for event in [*contacts.poll(float(second), [(name, made)]), *contacts.tick(second + 0.5)]
    ]


def test_a_full_bin_keeps_its_motor_from_the_next_start_and_never_ends_a_cut(shop: Shop) -> None:
    contacts = Contacts(shop)
    idle = False
    contacts.care.is_idle = lambda motor: idle
    assert polled(contacts, "input:bin", False, 0, 10) == [(0, InputSeen("bin", "made"))]
    assert polled(contacts, "input:bin", True, 10, 15) == []
    assert contacts.care.standing == frozenset()
    assert polled(contacts, "input:bin", True, 15, 40) == []  # the cut goes on
    assert contacts.care.standing == {"bin"}
    idle = True
    assert polled(contacts, "input:bin", True, 40, 60) == [(40, InputSeen("bin", "open"))]
    assert polled(contacts, "input:bin", False, 60, 70) == [(60, InputSeen("bin", "made"))]
    assert contacts.care.standing == frozenset()


def test_a_bin_that_is_full_at_waking_is_never_said_to_be_empty(shop: Shop) -> None:
    assert polled(Contacts(shop), "input:bin", True, 0, 20) == [(5, InputSeen("bin", "open"))]


def test_chips_that_fly_past_the_bin_sensor_are_no_full_bin(shop: Shop) -> None:
    contacts = Contacts(shop)
    polled(contacts, "input:bin", False, 0, 5)
    for second in range(10, 30, 5):
        assert polled(contacts, "input:bin", True, second, second + 4) == []
        assert polled(contacts, "input:bin", False, second + 4, second + 5) == []
        assert contacts.care.standing == frozenset()


def test_a_filter_that_takes_too_much_pressure_is_only_told(shop: Shop) -> None:
    contacts = Contacts(shop)
    assert polled(contacts, "input:filter", False, 0, 5) == []
    assert polled(contacts, "input:filter", True, 5, 15) == []
    assert contacts.care.standing == {"filter"}


def test_a_broker_key_lets_the_brokers_commands_in_while_it_is_on(shop: Shop) -> None:
    contacts = Contacts(shop)
    assert not contacts.broker_may_ask()
    assert polled(contacts, "input:net key", True, 0, 3) == []
    assert contacts.broker_may_ask()
    assert polled(contacts, "input:net key", False, 3, 6) == []
    assert not contacts.broker_may_ask()


def test_a_press_says_that_somebody_saw_sparks(shop: Shop) -> None:
    assert held(Contacts(shop), "input:sparks button", [False, True]) == [Requested("sparks", None, "button")]


def test_the_file_of_this_test_names_every_meaning() -> None:
    """A new meaning of a contact must be tested here, too."""
    source = Path(__file__).read_text(encoding="utf-8")
    from gatekeeper.shop.model import InputKind

    for kind in InputKind:
        assert f"kind: {kind.value}," in source
