"""Meters, worked contacts and circuits of several tools: what they mean to the core, and what ``check`` says before."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gatekeeper.control.messages import Event, MotorSeen, Requested, ToolSeen
from gatekeeper.control.supervisor import Supervisor
from gatekeeper.devices.base import ContactSeen, MeterSeen
from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.pins import open_pins
from gatekeeper.sensing.circuits import ToolBand, confusions
from gatekeeper.service.clock import HandClock
from gatekeeper.service.hearing import Contacts, Currents
from gatekeeper.service.hearing_meters import Meters
from gatekeeper.service.loop import ControlLoop
from gatekeeper.service.planning import plan_of
from gatekeeper.service.wiring import wire_up
from gatekeeper.service.wiring_sensors import meters_used, silent_bank
from gatekeeper.shop.findings import findings_of
from gatekeeper.shop.findings_sensors import told_apart
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

TEXT = """
shop: {name: Hearing, mains: 50 Hz, open_flue_nearby: no}
motors:
  collector:
    power: 1.5 kW
    phases: three
    inlet: 100 mm
    settle: 1 s
    switched_by: {pin: GPIO17, when_board_dies: drops}
    confirmed_by: {meter: fan meter, runs_above: 300 W, within: 5 s}
gates:
  saw gate: {diameter: 100 mm, servo: {pin: GPIO12}, travel: 500 ms}
  bench gate: {diameter: 100 mm, servo: {pin: GPIO13}, travel: 500 ms}
  floor gate: {diameter: 100 mm, servo: {pin: GPIO16}, travel: 500 ms}
brokers:
  home: {host: 127.0.0.1}
meters:
  fan meter: {broker: home, topic: shop/fan, every: 1 s}
  wall meter: {broker: home, topic: shop/wall, every: 1 s}
  saw meter: {broker: home, topic: shop/saw, every: 2 s}
  spare meter: {broker: home, topic: shop/spare, every: 2 s}
circuits:
  wall: {sensor: {meter: wall meter, runs_above: 1 A}}
  bench: {sensor: {current_switch: GPIO20}}
tools:
  saw: {gates: saw gate, sensor: {meter: saw meter, runs_above: 150 W}}
  lathe: {gates: saw gate, circuit: wall}
  drill: {gates: bench gate, circuit: wall}
  sander: {gates: bench gate, circuit: bench}
  router: {gates: floor gate, circuit: bench}
inputs:
  pressed: {kind: air here, pin: GPIO21, at: floor gate, ends_after: 5 min}
  held: {kind: air here, pin: GPIO22, at: saw, ends: let go}
"""


def read(text: str) -> Shop:
    shop = load_shop(text, "hearing.yaml")
    assert isinstance(shop, Shop), shop.lines()
    return shop


@pytest.fixture(scope="module")
def shop() -> Shop:
    return read(TEXT)


# ---------------------------------------------------------------- meters


def test_a_meter_speaks_for_its_tool_its_motor_or_all_tools_of_its_circuit(shop: Shop) -> None:
    meters = Meters(shop)
    said = {
        "saw meter": [ToolSeen("saw", "stopped", "This is how the tool was found at the first look.", fresh=False)],
        "fan meter": [MotorSeen("collector", "still")],
        "wall meter": [
            ToolSeen(tool, "stopped", "This is how the tool was found at the first look.", fresh=False)
            for tool in ("lathe", "drill")
        ],
    }
    for name, events in said.items():
        assert meters.hear(MeterSeen(0.0, name, 0.0)) == events
        meters.hear(MeterSeen(2.5, name, 0.0))
    assert meters.hear(MeterSeen(4.0, "saw meter", 400.0)) == [ToolSeen("saw", "running")]
    assert meters.hear(MeterSeen(4.0, "fan meter", 900.0)) == [MotorSeen("collector", "running")]
    assert meters.hear(MeterSeen(4.0, "wall meter", 6.0)) == [
        ToolSeen("lathe", "running"),
        ToolSeen("drill", "running"),
    ]
    assert meters.amperes() == {"lathe": 6.0, "drill": 6.0}


def test_a_lost_broker_and_silence_are_lost_sensors(shop: Shop) -> None:
    meters = Meters(shop)
    meters.hear(MeterSeen(0.0, "saw meter", 0.0))
    meters.hear(MeterSeen(0.0, "fan meter", 0.0))
    lost = "The meter's broker cannot be heard: look at the broker and the network."
    assert meters.hear(MeterSeen(1.0, "saw meter", None, is_lost=True)) == [ToolSeen("saw", "stale", lost, fresh=False)]
    assert meters.hear(MeterSeen(1.0, "fan meter", None, is_lost=True)) == [MotorSeen("collector", "lost")]
    assert meters.tick(4.0) == []
    silent = "The meter sends nothing: look at its power and its network."
    assert meters.tick(9.1) == [ToolSeen(tool, "stale", silent, fresh=False) for tool in ("lathe", "drill")]


def test_a_motors_meter_is_judged_no_sooner_than_it_can_speak(shop: Shop) -> None:
    assert plan_of(shop).motors["collector"].release_s == pytest.approx(1.0 + 2 * 1.0 + 0.25)


def test_only_meters_in_use_are_listened_to(shop: Shop) -> None:
    assert meters_used(shop) == ["fan meter", "wall meter", "saw meter"]


# ---------------------------------------------------------------- air here


def say(contacts: Contacts, name: str, made: bool, t_s: float) -> list[Event]:
    return contacts.hear(ContactSeen(t_s, name, made)) + contacts.tick(t_s + 0.5)


def test_a_press_asks_for_its_time_and_the_next_ends_what_still_stands(shop: Shop) -> None:
    contacts = Contacts(shop)
    asked: list[str] = []
    contacts.air_is_asked = lambda at: at in asked
    begins = [Requested("air_here", "floor gate", "button", for_s=300.0)]
    ends = [Requested("air_here", "floor gate", "button", for_s=0.0)]
    say(contacts, "input:pressed", False, 0.0)
    assert say(contacts, "input:pressed", True, 1.0) == begins
    assert say(contacts, "input:pressed", False, 2.0) == []
    asked.append("floor gate")
    assert say(contacts, "input:pressed", True, 3.0) == ends
    say(contacts, "input:pressed", False, 4.0)
    asked.clear()  # its time was over, or somebody stopped it at the page
    assert say(contacts, "input:pressed", True, 5.0) == begins


def test_a_switch_that_stays_asks_while_it_is_made(shop: Shop) -> None:
    contacts = Contacts(shop)
    assert say(contacts, "input:held", False, 0.0) == []
    assert say(contacts, "input:held", True, 1.0) == [Requested("air_here", "saw", "button", for_s=600.0)]
    assert say(contacts, "input:held", False, 2.0) == [Requested("air_here", "saw", "button", for_s=0.0)]


def test_a_switch_that_is_made_when_the_controller_wakes_asks_for_nothing_and_ends_nothing(shop: Shop) -> None:
    contacts = Contacts(shop)
    assert say(contacts, "input:held", True, 0.0) + say(contacts, "input:held", False, 1.0) == []


class Room:
    """The whole loop on mock pins and a clock that is moved by hand."""

    def __init__(self, shop: Shop) -> None:
        self.shop = shop
        self.clock = HandClock(100.0)
        self.pins = open_pins("mock", self.clock.now)
        self.hands = BenchPins(self.pins)
        self.meters = Meters(shop)
        self.wires = wire_up(shop, self.pins, lambda look: self.loop.post(look), open_bank=silent_bank)
        self.loop = ControlLoop(
            Supervisor(plan_of(shop), boot="b", run="r"), self.wires, Contacts(shop), self.clock, meters=self.meters
        )
        self.watts = dict.fromkeys(meters_used(shop), 0.0)
        self.loop.wake()
        self.pass_s(4.0)

    def pass_s(self, seconds: float) -> None:
        for _ in range(round(seconds / 0.25)):
            self.clock.advance(0.25)
            for name, value in self.watts.items():
                self.loop.post(MeterSeen(self.clock.now(), name, value))
            self.loop.step()

    def press(self, line: int) -> None:
        self.hands.drive(line, False)
        self.pass_s(0.5)
        self.hands.drive(line, True)
        self.pass_s(0.5)

    def motor_on(self) -> bool:
        return self.hands.level(17) == 1.0

    def open_gates(self) -> set[str]:
        view = self.loop._supervisor.snapshot()
        return {gate.name for gate in view.gates if gate.is_open}


def test_press_again_ends_air_here_in_the_running_shop(shop: Shop) -> None:
    room = Room(shop)
    room.press(21)
    room.watts["fan meter"] = 900.0
    room.pass_s(3.0)
    assert (room.motor_on(), "floor gate" in room.open_gates()) == (True, True)
    room.press(21)
    room.pass_s(20.0)
    assert not room.motor_on()
    room.press(21)
    room.pass_s(3.0)
    assert room.motor_on()


def test_air_here_ends_by_itself_after_its_time(shop: Shop) -> None:
    room = Room(shop)
    room.press(21)
    room.watts["fan meter"] = 900.0
    room.pass_s(290.0)
    assert room.motor_on()
    room.pass_s(30.0)
    assert not room.motor_on()


# ---------------------------------------------------------------- circuits with several tools


@pytest.mark.parametrize(
    ("circuit", "begin"),
    [
        ("wall", lambda room: room.watts.update({"wall meter": 5.0})),
        ("bench", lambda room: room.hands.drive(20, False)),
    ],
)
def test_where_nothing_tells_the_tools_apart_all_their_gates_open_and_check_says_so(
    shop: Shop, circuit: str, begin: object
) -> None:
    (said,) = [one.said for one in findings_of(shop) if (one.code, one.subject) == ("circuit_untold", circuit)]
    assert "the gates of all of them open" in said
    room = Room(shop)
    begin(room)  # type: ignore[operator]
    room.watts["fan meter"] = 900.0
    room.pass_s(6.0)
    gates = {gate for name in shop.circuits[circuit].tools for gate in shop.tools[name].gates}
    assert gates <= room.open_gates()
    assert room.motor_on()


BANDS = st.tuples(st.floats(0.3, 10.0), st.floats(1.05, 3.0)).map(lambda low: (low[0], low[0] * low[1]))


@settings(max_examples=100, deadline=None)
@given(bands=st.lists(BANDS, min_size=1, max_size=4))
def test_what_check_says_is_what_the_sensor_does(bands: list[tuple[float, float]]) -> None:
    named = [(f"tool {n}", band) for n, band in enumerate(bands)]
    assert told_apart(named) == confusions([ToolBand(name, *band) for name, band in named])


OVERLAPPING = """
shop: {name: Bands, mains: 50 Hz, open_flue_nearby: no}
motors:
  collector: {power: 1.5 kW, phases: three, inlet: 100 mm, switched_by: {pin: GPIO17, when_board_dies: drops}}
gates:
  saw gate: {diameter: 100 mm, servo: {pin: GPIO12}}
  bench gate: {diameter: 100 mm, servo: {pin: GPIO13}}
  far gate: {diameter: 100 mm, servo: {pin: GPIO16}}
converters:
  board: {kind: MCP3208, chip_select: 0}
circuits:
  wall: {sensor: {converter: board, channel: 0, range: 30 A}}
tools:
  lathe: {gates: saw gate, circuit: wall, band: 3 A to 6 A}
  drill: {gates: bench gate, circuit: wall, band: 5 A to 7 A}
  mortiser: {gates: far gate, circuit: wall, band: 1 A to 1.2 A}
"""


@pytest.mark.parametrize(
    ("drawn_a", "runs"),
    [(1.1, {"mortiser"}), (3.5, {"lathe"}), (5.5, {"lathe", "drill", "mortiser"})],
)
def test_in_the_overlap_of_two_bands_all_that_may_run_count_as_running(drawn_a: float, runs: set[str]) -> None:
    from math import pi, sin, sqrt

    from gatekeeper.devices.base import Block
    from gatekeeper.sensing.codes import codes_from_amperes

    shop = read(OVERLAPPING)
    (said,) = [one.said for one in findings_of(shop) if one.code == "circuit_untold"]
    assert said == (
        "Their currents do not tell lathe alone from drill alone, lathe alone from lathe and mortiser together and 9 "
        "more: in doubt, the gates of all of these open. Bands that overlap less, or two clamps, end that."
    )
    currents = Currents(shop)
    channel = shop.circuits["wall"].sensor.channel
    assert channel is not None
    noise = [0.7 * ((7 * n) % 11 - 5) / 5 for n in range(997)]
    state: dict[str, str] = {}
    for second in range(4):
        rms_a = drawn_a if second else 0.0
        wave = [sqrt(2) * rms_a * sin(2 * pi * 50 * n / 2000) for n in range(2000)]
        codes = codes_from_amperes(wave, currents.front_end(channel), noise)
        for event in currents.hear("board", Block(float(second), 2000.0, (codes,))):
            assert isinstance(event, ToolSeen)
            state[event.tool] = event.state
    assert {tool for tool, word in state.items() if word == "running"} == runs


def test_seven_tools_with_bands_are_refused_and_seven_without_are_heard_together() -> None:
    names = [f"tool {n}" for n in range(7)]
    lines = [
        f"  {name}: {{gates: saw gate, circuit: wall, band: {n + 1} A to {n + 1.5} A}}" for n, name in enumerate(names)
    ]
    text = OVERLAPPING.partition("tools:")[0] + "tools:\n"
    refused = load_shop(text + "\n".join(lines), "seven.yaml")
    assert not isinstance(refused, Shop)
    assert [fault.said for fault in refused.each] == [
        "at most 6 tools of one circuit can be told apart; take its band out, or use two clamps"
    ]
    bare = read(text + "\n".join(line.partition(", band")[0] + "}" for line in lines))
    (probe,) = Currents(bare)._probes["board"]
    assert (probe.circuit, probe.tools) == (None, tuple(names))
