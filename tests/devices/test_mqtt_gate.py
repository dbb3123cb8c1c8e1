"""A gate behind a broker: a real Mosquitto, which is killed and started again; and what is believed of silence."""

import queue
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from gatekeeper.devices.base import DeviceError, Miss, Position
from gatekeeper.devices.bench_gate import FakeOutlet
from gatekeeper.devices.mqtt_gate import GateBroker, GateSeen, GateWords, MqttGate

sys.path.insert(0, str(Path(__file__).parent))
from real_broker import SOON_S, Broker, Publisher, until

COMMANDS, STATES = "shop/saw gate/set", "shop/saw gate/state"
WORDS = GateWords("OPEN", "CLOSE", "STOP", "is open", "is shut")


# --- on a real broker -------------------------------------------------------------------------------------------------


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    made = Broker(tmp_path)
    yield made
    made.kill()


class Node:
    """The gate's own controller, as the broker sees one: hears its commands."""

    def __init__(self, broker: Broker) -> None:
        self.heard: queue.Queue[tuple[str, bool]] = queue.Queue()
        subscribed: queue.Queue[bool] = queue.Queue()
        self._client = Client(CallbackAPIVersion.VERSION2)
        self._client.on_message = lambda _client, _data, message: self.heard.put(
            (message.payload.decode(), message.retain)
        )
        self._client.on_subscribe = lambda *_: subscribed.put(True)
        self._client.connect("127.0.0.1", broker.port)
        self._client.subscribe(COMMANDS)
        self._client.loop_start()
        assert subscribed.get(timeout=SOON_S)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


class Bench:
    """One gate on a real broker."""

    def __init__(self, broker: Broker) -> None:
        self.link = GateBroker("home", "127.0.0.1", broker.port)
        self.seen: queue.Queue[GateSeen] = queue.Queue()
        self.gate = MqttGate(
            self.link, "saw", commands_to=COMMANDS, states_from=STATES, words=WORDS, travel_s=3.0, report=self.seen.put
        )
        self.link.start()
        until(lambda: self.link.trouble is None, "the connection")

    def expect(self, position: Position) -> None:
        seen = self.seen.get(timeout=SOON_S)
        assert (seen.gate, seen.position) == ("saw", position)


@pytest.fixture
def bench(broker: Broker) -> Iterator[Bench]:
    made = Bench(broker)
    yield made
    made.link.close()


def test_commands_reach_the_gate_and_its_states_reach_us(broker: Broker, bench: Bench) -> None:
    node, says = Node(broker), Publisher(broker)
    bench.gate.open(100.0)
    assert node.heard.get(timeout=SOON_S) == ("OPEN", False)
    says.say(STATES, "is open")
    bench.expect(Position.OPEN)
    assert bench.gate.position() is Position.OPEN
    bench.gate.shut(101.0)
    bench.gate.halt(101.5)
    assert [node.heard.get(timeout=SOON_S)[0] for _ in range(2)] == ["CLOSE", "STOP"]
    says.say(STATES, "going somewhere")
    bench.expect(Position.BETWEEN)
    node.close()
    says.close()


def test_no_command_is_kept_for_a_gate_that_comes_later(broker: Broker, bench: Bench) -> None:
    first = Node(broker)
    bench.gate.open(100.0)
    assert first.heard.get(timeout=SOON_S) == ("OPEN", False)
    late = Node(broker)
    bench.gate.shut(101.0)
    assert late.heard.get(timeout=SOON_S) == ("CLOSE", False)
    assert late.heard.empty()
    first.close()
    late.close()


def test_a_broker_that_goes_away_leaves_the_place_unknown_and_comes_back(broker: Broker, bench: Bench) -> None:
    says = Publisher(broker)
    says.say(STATES, "is open")
    bench.expect(Position.OPEN)
    says.close()
    broker.kill()
    bench.expect(Position.BETWEEN)
    assert bench.link.trouble == f"The broker home at 127.0.0.1:{broker.port} went away."
    with pytest.raises(DeviceError) as caught:
        bench.gate.open(100.0)
    assert str(caught.value) == (
        f"The broker home at 127.0.0.1:{broker.port} is not reached, so {COMMANDS} was not told OPEN."
    )
    broker.start()
    until(lambda: bench.link.trouble is None, "the second connection")
    node = Node(broker)
    bench.gate.shut(200.0)
    # What could not be sent before is not sent now.
    assert node.heard.get(timeout=SOON_S) == ("CLOSE", False)
    node.close()


def test_a_state_that_the_broker_had_kept_says_nothing(broker: Broker) -> None:
    says = Publisher(broker)
    says.say(STATES, "is open", keep=True)
    bench = Bench(broker)
    says.say(STATES, "is shut")
    bench.expect(Position.SHUT)
    assert bench.seen.empty()
    bench.link.close()
    says.close()


# --- what is believed, by a clock that the test moves -----------------------------------------------------------------


class Room:
    """One gate without a network."""

    def __init__(self, silence_s: float | None = None) -> None:
        self.now_s = 100.0
        self.missed: list[Miss] = []
        self.seen: list[Position] = []
        self.sent: list[str] = []
        self.outlet = FakeOutlet(lambda _topic, word: self.sent.append(word))
        self.gate = MqttGate(
            self.outlet, "saw", commands_to=COMMANDS, states_from=STATES, words=WORDS, travel_s=3.0,
            silence_s=silence_s, report=lambda seen: self.seen.append(seen.position), clock=lambda: self.now_s,
            on_miss=self.missed.append,
        )  # fmt: skip

    def open(self) -> None:
        self.gate.open(self.now_s)

    def end(self) -> None:
        self.now_s += 3.0
        self.gate.tick(self.now_s)


def test_a_silent_gate_is_a_miss() -> None:
    room = Room()
    room.open()
    room.end()
    assert room.missed == [Miss(103.0, "saw", Position.OPEN, Position.BETWEEN)]


def test_what_it_said_before_the_command_is_no_arrival() -> None:
    room = Room()
    room.outlet.say(STATES, "is open")
    room.now_s += 1.0
    room.open()
    room.end()
    assert room.missed == [Miss(104.0, "saw", Position.OPEN, Position.BETWEEN)]


def test_what_it_says_after_the_command_is() -> None:
    room = Room()
    room.open()
    room.now_s += 1.0
    room.outlet.say(STATES, "is open")
    room.end()
    assert (room.missed, room.seen) == ([], [Position.OPEN])


def test_the_wrong_end_is_a_miss_and_seen() -> None:
    room = Room()
    room.open()
    room.outlet.say(STATES, "is shut")
    room.end()
    assert room.missed == [Miss(103.0, "saw", Position.OPEN, Position.SHUT)]


def test_silent_for_too_long_its_place_is_unknown() -> None:
    room = Room(silence_s=10.0)
    assert room.gate.next_deadline() is None
    room.outlet.say(STATES, "is open")
    assert room.gate.next_deadline() == 110.0
    room.gate.tick(109.9)
    assert room.gate.position() is Position.OPEN
    room.gate.tick(110.0)
    assert (room.gate.position(), room.seen) == (Position.BETWEEN, [Position.OPEN, Position.BETWEEN])


def test_a_lost_broker_makes_its_place_unknown_at_once() -> None:
    room = Room()
    room.outlet.say(STATES, "is shut")
    room.outlet.lose()
    assert (room.gate.position(), room.seen) == (Position.BETWEEN, [Position.SHUT, Position.BETWEEN])
