"""The running controller and its neighbour at a real broker: what it hears, what it may ask, and what its loss costs.

The tests whose names begin with ``test_attack`` belong to the list in hardware/security.md.
"""

import json
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "devices"))
from real_broker import Broker, Publisher, until

from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.pins import open_pins
from gatekeeper.neighbours import join, speaker_for
from gatekeeper.records.state import StateStore
from gatekeeper.service.clock import SystemClock
from gatekeeper.service.facing import ShopFace
from gatekeeper.service.neighbour import HomieNeighbour
from gatekeeper.service.running import STATE_FILE, Service
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

TEXT = """
shop: {{name: Neighbourly shop, mains: 50 Hz}}
motors:
  collector: {{power: 2 kW, starts_per_hour: 30 per hour, settle: 0 s, spin_up: 0 s,
    switched_by: {{pin: GPIO17, when_board_dies: drops}}}}
feeders:
  main: {{gap: 0 s}}
gates:
  saw gate: {{diameter: 100 mm, servo: {{pin: GPIO12}}, travel: 100 ms}}
tools:
  table saw: {{gates: saw gate, sensor: {{current_switch: GPIO23}}}}
brokers:
  house: {{host: 127.0.0.1, port: {port}{login}}}
inputs:
  smoke: {{kind: fire, pin: GPIO16}}
{key}
page: {{remote_start: {start}}}
neighbours:
  homie: {{broker: house, commands: {commands}}}
"""
SENSOR, SMOKE, KEY, MOTOR = 23, 16, 24, 17
HOUR_S = 3600.0
BASE = "homie/5/dust-collection"


class Watcher:
    """Another client of the broker: what it was told last, by topic, and every word of state in order."""

    def __init__(self, broker: Broker) -> None:
        from paho.mqtt.client import Client, MQTTMessage
        from paho.mqtt.enums import CallbackAPIVersion

        self.told: dict[str, str] = {}
        self.kept: set[str] = set()
        self.states: list[str] = []
        self._client = Client(CallbackAPIVersion.VERSION2)

        def hear(client: Client, _: object, message: MQTTMessage) -> None:
            self.told[message.topic] = message.payload.decode(errors="replace")
            if message.retain:
                self.kept.add(message.topic)
            if message.topic == f"{BASE}/$state":
                self.states.append(message.payload.decode())

        self._client.on_message = hear
        self._client.on_connect = lambda client, *_: client.subscribe("#", 1)
        self._client.connect("127.0.0.1", broker.port, keepalive=60)
        self._client.loop_start()

    def says(self, topic: str, text: str) -> bool:
        return self.told.get(f"{BASE}/{topic}") == text

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


class Room:
    """The whole service on mock pins with its neighbour."""

    def __init__(
        self, folder: Path, broker: Broker, *, commands: bool, start: bool = False, login: str = "", key: bool = True
    ) -> None:
        at_board = "  let in: {kind: broker key, pin: GPIO24}" if commands and key else ""
        words = ["yes" if one else "no" for one in (start, commands)]
        text = TEXT.format(port=broker.port, key=at_board, start=words[0], commands=words[1], login=login)
        shop = load_shop(text, "shop.yaml")
        assert isinstance(shop, Shop), shop
        clock = SystemClock()
        pins = open_pins("mock", clock.now)
        self.hands = BenchPins(pins)
        speaker = speaker_for(shop)
        assert speaker is not None
        self.service = Service(shop, pins, folder, clock=clock)
        for line in (SENSOR, KEY):
            self.hands.drive(line, high=True)  # open contacts
        self.hands.drive(SMOKE, high=False)
        self.service.start()
        self.face = ShopFace(self.service)
        self.face.start()
        self.neighbour: HomieNeighbour = join(self.service, self.face, speaker)

    def turn_key(self, on: bool) -> None:
        self.hands.drive(KEY, high=not on)
        until(lambda: self.service.contacts.broker_may_ask() is on, "the key")

    def is_awake(self) -> None:
        until(lambda: self.face.view().tools[0].sensor.value == "stopped", "a sensor that is believed")

    def motor_runs(self) -> bool:
        return self.face.view().motors[0].runs

    def close(self) -> None:
        self.service.stop()
        self.face.stop()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    made = Broker(tmp_path)
    yield made
    made.thaw() if made._process is not None else None
    made.kill()


@pytest.fixture
def room(tmp_path: Path, broker: Broker) -> Iterator[Callable[..., Room]]:
    opened: list[Room] = []

    def made(**more: object) -> Room:
        opened.append(Room(tmp_path / f"state{len(opened)}", broker, **more))  # type: ignore[arg-type]
        return opened[-1]

    yield made
    for one in opened:
        if one.service.is_alive:
            one.close()


@pytest.fixture
def watcher(broker: Broker) -> Iterator[Watcher]:
    made = Watcher(broker)
    yield made
    made.close()


@pytest.fixture
def stranger(broker: Broker) -> Iterator[Publisher]:
    made = Publisher(broker)
    yield made
    made.close()


def is_ready(watcher: Watcher) -> None:
    until(lambda: watcher.states[-1:] == ["ready"], "ready")


# ---------------------------------------------------------------- what it hears


def test_the_broker_hears_of_everything_and_keeps_it(
    room: Callable[..., Room], watcher: Watcher, broker: Broker
) -> None:
    shop = room(commands=False)
    is_ready(watcher)
    assert watcher.states == ["init", "ready"]
    description = json.loads(watcher.told[f"{BASE}/$description"])
    assert set(description["nodes"]) == {"shop", "collector", "table-saw", "saw-gate"}
    shop.is_awake()
    shop.hands.drive(SENSOR, high=False)
    until(lambda: watcher.says("table-saw/runs", "true") and watcher.says("collector/runs", "true"), "the run")
    until(lambda: watcher.says("saw-gate/place", "open"), "the gate")
    late = Watcher(broker)
    until(lambda: late.says("collector/runs", "true"), "what was kept")
    late.close()
    assert {f"{BASE}/$state", f"{BASE}/$description", f"{BASE}/collector/runs"} <= late.kept
    shop.close()
    until(lambda: watcher.states[-1] == "disconnected", "the word of going")


def test_every_topic_that_was_described_is_said_and_no_other(room: Callable[..., Room], watcher: Watcher) -> None:
    room(commands=True)
    is_ready(watcher)
    nodes = json.loads(watcher.told[f"{BASE}/$description"])["nodes"]
    described = {
        f"{BASE}/{node}/{key}"
        for node, body in nodes.items()
        for key, one in body["properties"].items()
        if one.get("retained", True)
    }
    said = {topic for topic in watcher.told if "$" not in topic}
    assert said == described


def test_a_broker_that_is_killed_frozen_and_started_again_costs_nothing_and_is_told_anew(
    room: Callable[..., Room], broker: Broker, watcher: Watcher
) -> None:
    shop = room(commands=False)
    is_ready(watcher)
    shop.is_awake()
    broker.kill()
    until(lambda: "broker:house (Homie)" in dict(shop.service.troubles().sentences), "the trouble")
    said = dict(shop.service.troubles().sentences)["broker:house (Homie)"]
    assert said.startswith(f"The broker house (Homie) at 127.0.0.1:{broker.port} ")
    shop.hands.drive(SENSOR, high=False)  # the shop works on
    until(shop.motor_runs, "the collector without a broker")
    broker.start()
    again = Watcher(broker)
    until(lambda: again.says("collector/runs", "true") and again.states[-1:] == ["ready"], "the news")
    assert again.states[0] in ("init", "ready")
    assert "broker:house (Homie)" not in dict(shop.service.troubles().sentences)
    broker.freeze()
    shop.hands.drive(SENSOR, high=True)
    until(lambda: shop.face.view().tools[0].sensor.value == "stopped", "the stop while the broker is frozen")
    broker.thaw()
    until(lambda: again.says("table-saw/runs", "false"), "the news after the thaw")
    again.close()


def test_a_wrong_password_is_told_and_nothing_else_happens(room: Callable[..., Room], tmp_path: Path) -> None:
    (tmp_path / "b").mkdir()
    (tmp_path / "password").write_text("wrong\n")
    broker = Broker(tmp_path / "b", "gatekeeper", "right")
    login = f", user: gatekeeper, password_from: file {tmp_path / 'password'}"
    shop = Room(tmp_path / "c", broker, commands=False, login=login)
    until(lambda: "does not let us in" in str(shop.neighbour.trouble), "the refusal")
    shop.close()
    broker.kill()


# ---------------------------------------------------------------- what it may ask


def test_with_leave_in_the_file_and_the_key_on_air_and_stop_can_be_asked(
    room: Callable[..., Room], watcher: Watcher, stranger: Publisher
) -> None:
    shop = room(commands=True, start=True)
    is_ready(watcher)
    shop.turn_key(True)
    until(lambda: watcher.says("shop/commands", "true"), "the word of the key")
    stranger.say(f"{BASE}/table-saw/air/set", "true")
    until(shop.motor_runs, "air")
    stranger.say(f"{BASE}/collector/stop/set", "true")
    until(lambda: shop.face.view().motors[0].word != "on", "the stop")
    assert shop.neighbour.dropped == 0


def test_a_start_wants_leave_for_starts_as_well(
    room: Callable[..., Room], watcher: Watcher, stranger: Publisher
) -> None:
    shop = room(commands=True, start=False)
    is_ready(watcher)
    shop.turn_key(True)
    shop.is_awake()
    stranger.say(f"{BASE}/table-saw/air/set", "true")
    until(lambda: watcher.says("saw-gate/place", "open"), "the gate, which may be asked for")
    assert not shop.motor_runs()


def test_a_press_on_the_page_lets_commands_in_and_keeps_them_out_again(
    room: Callable[..., Room], watcher: Watcher, stranger: Publisher
) -> None:
    """Where no key is wired; the same leave that the settings page asks."""
    shop = room(commands=True, start=True, key=False)
    leave = shop.neighbour.leave
    assert leave is not None
    is_ready(watcher)
    shop.is_awake()
    assert leave.let_in(HOUR_S, "the page, from 192.168.1.23").accepted
    until(lambda: watcher.says("shop/commands", "true"), "the word of the leave")
    stranger.say(f"{BASE}/table-saw/air/set", "true")
    until(shop.motor_runs, "air")
    stranger.say(f"{BASE}/collector/stop/set", "true")
    until(lambda: shop.face.view().motors[0].word != "on", "the stop")
    assert leave.keep_out("the page, from 192.168.1.23").accepted
    until(lambda: watcher.says("shop/commands", "false"), "the word of no leave")
    stranger.say(f"{BASE}/table-saw/air/set", "true")
    until(lambda: shop.neighbour.dropped == 1, "the dropped command")
    shop.close()
    store = StateStore(shop.service.folder / STATE_FILE)
    store.load("another boot")
    kept = [(one.who, one.name, one.new) for one in store.changes()]
    store.close()
    by = "the page, from 192.168.1.23"
    assert kept == [(by, "broker_commands_s", None), (by, "broker_commands_s", 3600.0)]


def test_leave_ends_by_itself_and_with_the_program(
    room: Callable[..., Room], watcher: Watcher, stranger: Publisher, broker: Broker
) -> None:
    shop = room(commands=True, start=True, key=False)
    leave = shop.neighbour.leave
    assert leave is not None
    is_ready(watcher)
    shop.is_awake()
    leave.let_in(HOUR_S, "the page")
    began_s = leave._clock()
    leave._clock = lambda: began_s + HOUR_S + 1.0
    stranger.say(f"{BASE}/table-saw/air/set", "true")
    until(lambda: shop.neighbour.dropped == 1, "the dropped command")
    until(lambda: watcher.says("shop/commands", "false"), "the word of no leave")
    leave._clock = lambda: began_s
    shop.close()
    again = Room(shop.service.folder, broker, commands=True, start=True, key=False)
    assert again.neighbour.leave is not None
    assert not again.neighbour.leave.stands()
    again.close()


def _entries(shop: Room) -> list[object]:
    from gatekeeper.records.history_reading import HistoryReader
    from gatekeeper.service.running import HISTORY_FILE

    shop.service.history.flush(1.0)
    return [one.entry for one in HistoryReader(shop.service.folder / HISTORY_FILE).last(200)]


def test_attack_commands_where_the_shops_file_gives_no_leave(
    room: Callable[..., Room], watcher: Watcher, stranger: Publisher
) -> None:
    shop = room(commands=False, start=True)
    is_ready(watcher)
    for word in ("true", "false"):
        stranger.say(f"{BASE}/table-saw/air/set", word)
        stranger.say(f"{BASE}/collector/stop/set", word)
    _started_nothing(shop, watcher)
    assert shop.neighbour.dropped == 0  # not even heard


def _started_nothing(shop: Room, watcher: Watcher) -> None:
    """What was sent before started nothing, and the motor would have run if somebody had let it."""
    shop.is_awake()
    assert not shop.motor_runs()
    shop.hands.drive(SENSOR, high=False)
    until(lambda: watcher.says("collector/runs", "true"), "the run by the machine itself")
    assert [one.subject for one in _entries(shop) if one.kind == "request"] == []  # type: ignore[attr-defined]


def test_attack_commands_while_nobody_at_the_board_allows_them(
    room: Callable[..., Room], watcher: Watcher, stranger: Publisher
) -> None:
    shop = room(commands=True, start=True)
    is_ready(watcher)
    stranger.say(f"{BASE}/table-saw/air/set", "true")
    until(lambda: shop.neighbour.dropped == 1, "the dropped command")
    shop.turn_key(True)
    shop.turn_key(False)
    stranger.say(f"{BASE}/table-saw/air/set", "true")
    until(lambda: shop.neighbour.dropped == 2, "the dropped command")
    _started_nothing(shop, watcher)


def test_attack_a_command_that_the_broker_kept(
    room: Callable[..., Room], watcher: Watcher, stranger: Publisher, broker: Broker
) -> None:
    stranger.say(f"{BASE}/table-saw/air/set", "true", keep=True)
    shop = room(commands=True, start=True)
    shop.turn_key(True)
    is_ready(watcher)
    stranger.say(f"{BASE}/collector/stop/set", "nonsense")
    until(lambda: shop.neighbour.dropped == 1, "a later word")  # so the kept one was before it, and dropped unheard
    _started_nothing(shop, watcher)


@pytest.mark.parametrize(
    ("topic", "word"),
    [
        ("shop/reset/set", b"true"),
        ("collector/run/set", b"true"),
        ("saw-gate/place/set", b"shut"),
        ("table-saw/air/set", b"true" * 5000),
        ("table-saw/air/set", b"\xff\xfe"),
        ("table-saw/air/set", b""),
        ("table-saw/air/set/set", b"true"),
        ("$state", b"ready"),
        ("$description", b"{"),
    ],
)
def test_attack_forged_topics_and_payloads(
    room: Callable[..., Room], watcher: Watcher, stranger: Publisher, topic: str, word: bytes
) -> None:
    shop = room(commands=True, start=True)
    shop.turn_key(True)
    is_ready(watcher)
    stranger.say(f"{BASE}/{topic}", word)
    _started_nothing(shop, watcher)


def test_attack_resetting_a_fire_from_the_network(
    room: Callable[..., Room], watcher: Watcher, stranger: Publisher
) -> None:
    shop = room(commands=True, start=True)
    shop.turn_key(True)
    is_ready(watcher)
    shop.hands.drive(SMOKE, high=True)
    until(lambda: watcher.told.get(f"{BASE}/$alert/now", "") != "", "the alarm")
    shop.hands.drive(SMOKE, high=False)
    until(lambda: "not reset yet" in str(shop.face.view().messages), "a whole circuit")
    stranger.say(f"{BASE}/table-saw/air/set", "true")
    for who in ("page", "broker"):
        answer = shop.face.request("reset", None, who).result(30.0)  # type: ignore[arg-type]
        assert (answer.accepted, answer.code) == (False, "local_only")
    assert not shop.motor_runs()


def test_attack_a_flood_of_commands(room: Callable[..., Room], watcher: Watcher, stranger: Publisher) -> None:
    shop = room(commands=True, start=False)
    shop.turn_key(True)
    is_ready(watcher)
    for _ in range(2000):
        stranger.post(f"{BASE}/collector/stop/set", "true")
    stranger.say(f"{BASE}/collector/stop/set", "true")
    said = "The broker house (Homie) is flooded with commands. None is heard for 60 s."
    until(lambda: shop.neighbour.trouble == said, "the word of the flood")
    shop.hands.drive(SMOKE, high=True)  # the broker still hears of the shop
    until(lambda: watcher.told.get(f"{BASE}/$alert/now", "") != "", "the alarm")
    until(lambda: not shop.service.loop._inbox, "an empty inbox")
    asked = [one for one in _entries(shop) if one.kind == "request"]  # type: ignore[attr-defined]
    assert 0 < len(asked) < 40
