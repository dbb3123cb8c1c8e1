"""Sampling, control, page, disk and broker each fail alone while tools run: they raise, stand still, and flood.

On the running service before a virtual shop. What must be so: the shop goes on, or the controller ends with its motors
off; and somebody is told in words.
"""

import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest

from gatekeeper.control.messages import Entry, Event
from gatekeeper.control.snapshot import CoreView
from gatekeeper.control.supervisor import Supervisor
from gatekeeper.devices.base import Block, ContactSeen, MeterSeen
from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.converter import SpiBank
from gatekeeper.devices.pins import open_pins
from gatekeeper.launch import run_until_told
from gatekeeper.records import history_writer, state_writer
from gatekeeper.records.history import History
from gatekeeper.records.history_reading import HistoryReader
from gatekeeper.records.state import StateStore
from gatekeeper.records.state_form import Change, Encoded
from gatekeeper.service import facing, loop, sampling
from gatekeeper.service.clock import FastClock
from gatekeeper.service.face import MessageView
from gatekeeper.service.facing import ShopFace
from gatekeeper.service.notify import STALE_S, Heartbeat, ServiceManager
from gatekeeper.service.running import HISTORY_FILE, STATE_FILE, Service
from gatekeeper.service.viewing import Viewing
from gatekeeper.service.wiring_sensors import board_meters
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from sim.plant import VirtualShop

sys.path.insert(0, str(Path(__file__).parent.parent / "devices"))
from real_broker import Broker, Publisher

#: Only guards against hanging.
DEADLINE_S = 30.0
MOTOR = 17

SHOP = """
shop: {name: A shop whose parts fail, mains: 50 Hz, open_flue_nearby: no}
motors:
  fan:
    power: 1.5 kW
    spin_down: 8 s
    starts_per_hour: 60 per hour
    switched_by: {pin: GPIO17, when_board_dies: drops}
gates:
  planer gate: {diameter: 100 mm, servo: {pin: GPIO12}, travel: 500 ms}
  saw gate: {diameter: 100 mm, servo: {pin: GPIO13}, travel: 500 ms}
converters:
  planer board: {bus: 0, chip_select: 0}
tools:
  planer: {gates: planer gate, sensor: {converter: planer board, channel: 0, range: 30 A}}
  saw: {gates: saw gate, sensor: {current_switch: GPIO23}}
"""
WITH_METER = SHOP.replace(
    "{converter: planer board, channel: 0, range: 30 A}", "{meter: m, runs_above: 150 W}"
).replace(
    "converters:\n  planer board: {bus: 0, chip_select: 0}\n",
    "brokers:\n  house: {host: 127.0.0.1, port: PORT}\n"
    "meters:\n  m: {broker: house, topic: planer, every: 100 ms, silence: 4 s}\n",
)
NOBODY_KNOWS = "Nothing tells whether planer runs."
SENSOR_LOST = "The sensor of planer says nothing that can be relied on."
READS_WRONG = f"Converter planer board: reading it failed in the program (ZeroDivisionError). {NOBODY_KNOWS}"
HANGS = f"Converter planer board: its bus does not answer any more. Restart the board. {NOBODY_KNOWS}"
DISK_FAILS = "Not kept: the program failed while writing. After a restart the earlier value counts."
DISK_HANGS = "Not kept: the disk does not answer. Until it does, the earlier values count after a power cut."
HISTORY_HANGS = "The history is not being written: the disk does not answer. The shop runs on without it."
HISTORY_FAILS = (
    "The history is not being written, history.sqlite in {folder}: its structure is broken. If this comes again, "
    "replace the card or disk. The shop runs on without it."
)


class Rig:
    """The service, its page's views, and the virtual shop, four times as fast."""

    def __init__(self, folder: Path, text: str = SHOP, *, real_meters: bool = False) -> None:
        shop = load_shop(text, "shop.yaml")
        assert isinstance(shop, Shop), str(shop)
        self.clock = FastClock(4.0)
        pins = open_pins("mock", self.clock.now)
        self.hands = BenchPins(pins)
        self.plant = VirtualShop(shop, pins, self.clock)
        self.service = Service(
            shop,
            pins,
            folder,
            clock=self.clock,
            open_bank=self.plant.open_bank,
            open_meters=board_meters if real_meters else self.plant.open_meters,
        )
        self.face = ShopFace(self.service)
        self.plant.start()
        self.service.start()
        self.face.start()

    def stop(self) -> None:
        if self.service.is_alive:
            self.service.stop()
        self.plant.stop()
        self.face.stop()

    def until(self, true: Callable[[CoreView], bool], what: str) -> CoreView:
        ends_s = time.monotonic() + DEADLINE_S
        while time.monotonic() < ends_s:
            view = self.service.last_view
            if view is not None and true(view):
                return view
            threading.Event().wait(0.005)
        raise AssertionError(f"this never came: {what}; {self.face.view().messages}")

    def ready(self) -> None:
        self.until(lambda view: view.awake and all(tool.reading == "stopped" for tool in view.tools), "awake")

    def serves(self, tool: str) -> None:
        """A tool is switched on, and gets its gate and the fan."""
        self.plant.switch_tool(tool, True)
        self.until(
            lambda view: view.motors[0].on and any(g.name == f"{tool} gate" and g.is_open for g in view.gates),
            f"the {tool} served",
        )
        assert self.hands.level(MOTOR) == 1.0

    def rests(self, tool: str) -> None:
        """It is switched off, and the fan after its delay."""
        self.plant.switch_tool(tool, False)
        self.until(lambda view: not view.motors[0].on, "the fan off after its delay")

    def says(self, key: str, sentence: str) -> None:
        """The page says it, from this sentence on."""

        def told(_: CoreView) -> bool:
            return any(one.sentence == sentence and not one.cleared for one in self.told(key))

        self.until(told, f"{key} saying {sentence}")

    def says_no_more(self, key: str) -> None:
        self.until(lambda _: all(one.cleared for one in self.told(key)), f"the page without {key}")

    def told(self, key: str) -> list[MessageView]:
        """The page's messages of one key."""
        return [one for one in self.face.view().messages if one.key == key]


@pytest.fixture
def rig(tmp_path: Path) -> Iterator[Rig]:
    made = Rig(tmp_path)
    made.ready()
    yield made
    made.stop()


@pytest.fixture
def go() -> Iterator[threading.Event]:
    """What stands still does so until this is set."""
    event = threading.Event()
    yield event
    event.set()


# ---------------------------------------------------------------- sampling


def test_sampling_that_raises_is_a_lost_sensor_and_comes_back(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    rig.serves("planer")
    with monkeypatch.context() as broken:
        broken.setattr(SpiBank, "read", lambda *_: 1 / 0)
        rig.says("converter:planer board", READS_WRONG)
        # Its gate stays, and everything else goes on.
        rig.plant.switch_tool("saw", True)
        view = rig.until(lambda view: view.gates[1].is_open, "the saw's gate open")
        assert view.gates[0].is_open
        assert view.motors[0].on
    rig.says_no_more("converter:planer board")


def test_sampling_that_stands_still_is_a_lost_sensor_and_comes_back(
    rig: Rig, go: threading.Event, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sampling, "HANGS_S", 0.5)
    rig.serves("planer")
    read = SpiBank.read

    def hangs(bank: SpiBank, scans: int) -> Block:
        assert go.wait(DEADLINE_S)
        return read(bank, scans)

    monkeypatch.setattr(SpiBank, "read", hangs)
    rig.says("converter:planer board", HANGS)
    rig.serves("saw")
    # The planer ran: its gate stays open, and its fan runs on until its sensor has been lost for the hold (C12).
    assert rig.service.last_view is not None
    assert (rig.service.last_view.tools[0].reading, rig.service.last_view.gates[0].is_open) == ("stale", True)
    # A new start would not mend the bus: the service manager goes on hearing signs of life.
    begun_s = rig.clock.now()
    rig.until(lambda _: rig.clock.now() - begun_s > 2 * STALE_S, "a long silence of the bus")
    assert all(rig.clock.now() - at_s < STALE_S for at_s in rig.service.marks().values())
    assert rig.hands.level(MOTOR) == 1.0
    go.set()
    rig.says_no_more("converter:planer board")


def test_a_flood_of_looks_at_contacts_holds_nothing_up(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(loop, "MOST_WAITING", 500)
    over = threading.Event()

    def chatter() -> None:
        made = False
        while not over.is_set():
            for _ in range(600):
                made = not made
                rig.service.loop.post(ContactSeen(rig.clock.now(), "tool:planer flood", made))
            over.wait(0.002)  # all threads of this test share one interpreter

    hear = rig.service.loop._contacts.hear
    monkeypatch.setattr(
        rig.service.loop._contacts, "hear", lambda look: [] if look.name.endswith("flood") else hear(look)
    )
    crowd = [threading.Thread(target=chatter, daemon=True) for _ in range(2)]
    for one in crowd:
        one.start()
    try:
        rig.serves("saw")
        rig.says("flood:", "More came from contacts and meters than the controller can take in, and some was left out.")
        # Longer than any lease: it is renewed in the flood.
        begun_s = rig.clock.now()
        rig.until(lambda _: rig.clock.now() > begun_s + 12.0, "two leases")
        assert rig.service.last_view is not None
        assert rig.service.last_view.motors[0].on
        assert len(rig.service.loop._inbox) <= 500 + 10
    finally:
        over.set()
        for one in crowd:
            one.join(DEADLINE_S)
    rig.rests("saw")


# ---------------------------------------------------------------- control


def test_control_that_raises_ends_the_program_with_its_motors_off(
    rig: Rig, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    rig.serves("saw")
    monkeypatch.setattr(Supervisor, "handle", lambda *_: 1 / 0)
    ended: list[float | None] = []
    # What the command runs: it comes back by itself, and the service manager starts it anew.
    assert run_until_told(rig.service, None, lambda: ended.append(rig.hands.level(MOTOR))) == 1
    assert ended == [0.0]
    assert "the control thread ended by a fault" in caplog.text
    assert dict(rig.service.troubles().sentences)["control"] == (
        "The control thread ended by a fault; every motor was switched off."
    )


def test_control_that_stands_still_drops_its_motors_and_every_sign_of_life(
    rig: Rig, go: threading.Event, monkeypatch: pytest.MonkeyPatch
) -> None:
    rig.serves("saw")
    handle = Supervisor.handle

    def hangs(core: Supervisor, event: Event, now_s: float) -> object:
        assert go.wait(DEADLINE_S)
        return handle(core, event, now_s)

    monkeypatch.setattr(Supervisor, "handle", hangs)
    # The guardian needs nobody: the lease ends.
    rig.until(lambda _: rig.hands.level(MOTOR) == 0.0, "the relay dropped")
    # On every phone the last sign of life grows old, and the service manager hears nothing.
    rig.until(lambda _: rig.face.beat().now_s - rig.face.beat().step_s > STALE_S, "an old sign of life")
    manager = ServiceManager({})
    told: list[str] = []
    monkeypatch.setattr(ServiceManager, "is_listening", True)
    monkeypatch.setattr(ServiceManager, "tell", lambda _self, *said: told.append(*said) is None)
    heart = Heartbeat(manager, rig.service.marks, rig.clock.now)
    heart.all_is_set_up()
    heart.beat()
    assert told == ["STATUS=The control thread gives no sign of life."]
    go.set()
    # Back again, in the middle of the step that stood still: it says what happened, and nothing starts by itself (C21).
    rig.says("lease_lost:fan", "Fan was switched off because the controller was late.")
    assert rig.hands.level(MOTOR) == 0.0


def test_a_flood_of_requests_does_not_hold_control_up(rig: Rig) -> None:
    """Straight into the loop, past the page's own limits: thousands at once, and a tool starts among them."""
    rig.plant.switch_tool("saw", True)
    answers = [rig.face.request("hold", "planer gate", "page") for _ in range(3000)]
    rig.serves("saw")
    assert {answer.result(DEADLINE_S).code for answer in answers} <= {"done"}
    begun_s = rig.clock.now()
    rig.until(lambda _: rig.clock.now() > begun_s + 6.0, "more than a lease")
    assert rig.hands.level(MOTOR) == 1.0


# ---------------------------------------------------------------- the page


def test_views_that_raise_grow_old_on_the_phone_and_come_back(
    rig: Rig, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(facing, "REFRESH_S", 0.1)
    with monkeypatch.context() as broken:
        broken.setattr(Viewing, "view", lambda *_, **__: 1 / 0)
        rig.serves("saw")
        rig.until(lambda _: rig.face.beat().now_s - rig.face.beat().step_s > STALE_S, "an old sign of life")
        assert "the page's view could not be made" in caplog.text
        rig.rests("saw")
    rig.until(lambda _: rig.face.beat().now_s - rig.face.beat().step_s < STALE_S, "a fresh sign of life")


def test_views_that_stand_still_grow_old_on_the_phone(
    rig: Rig, go: threading.Event, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(facing, "REFRESH_S", 0.1)
    view = Viewing.view

    def hangs(*given: object, **named: object) -> object:
        assert go.wait(DEADLINE_S)
        return view(*given, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(Viewing, "view", hangs)
    rig.serves("saw")
    rig.until(lambda _: rig.face.beat().now_s - rig.face.beat().step_s > STALE_S, "an old sign of life")
    rig.rests("saw")
    go.set()
    rig.until(lambda _: rig.face.beat().now_s - rig.face.beat().step_s < STALE_S, "a fresh sign of life")


# ---------------------------------------------------------------- the disk


def test_a_disk_that_raises_anything_is_said_and_owed(
    rig: Rig, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    with monkeypatch.context() as broken:
        broken.setattr(History, "write", lambda *_: 1 / 0)
        broken.setattr(StateStore, "put_encoded", lambda *_, **__: 1 / 0)
        rig.serves("saw")
        rig.says("not_kept:", DISK_FAILS)
        rig.says("history_not_written:", HISTORY_FAILS.format(folder=tmp_path))
        rig.rests("saw")
    rig.says_no_more("history_not_written:")
    rig.serves("saw")
    rig.says_no_more("not_kept:")


def test_a_disk_that_stands_still_is_said_and_holds_nothing_up(
    rig: Rig, go: threading.Event, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(state_writer, "STALLED_S", 0.2)
    monkeypatch.setattr(history_writer, "STALLED_S", 0.2)
    write, put = History.write, StateStore.put_encoded

    def slow_write(self: History, entries: Sequence[tuple[Entry, float]]) -> None:
        assert go.wait(DEADLINE_S)
        write(self, entries)

    def slow_put(self: StateStore, texts: Encoded, changes: Sequence[Change] = ()) -> None:
        assert go.wait(DEADLINE_S)
        put(self, texts, changes)

    monkeypatch.setattr(History, "write", slow_write)
    monkeypatch.setattr(StateStore, "put_encoded", slow_put)
    asked = rig.face.request("out_of_service", "fan", "page")
    rig.until(lambda view: view.motors[0].out_of_service is not None, "out of service at once")
    rig.says("not_kept:", DISK_HANGS)
    rig.says("history_not_written:", HISTORY_HANGS)
    # It is not answered before it is durable (C14).
    assert not asked.done()
    rig.plant.switch_tool("saw", True)
    rig.until(lambda view: view.tools[1].reading == "running", "the saw seen")
    go.set()
    assert asked.result(DEADLINE_S).accepted
    rig.says_no_more("not_kept:")
    rig.says_no_more("history_not_written:")
    store = StateStore(tmp_path / STATE_FILE)
    assert "out_of_service/fan" in store.load("another boot").values
    store.close()


def test_a_flood_of_entries_is_bounded_and_says_what_it_left_out(rig: Rig, tmp_path: Path) -> None:
    rig.serves("saw")
    for number in range(60_000):
        rig.service.history.add(Entry(10**6 + number, 1, 0.0, "boot", "run", "tick"))
    assert len(rig.service.history._buffer) <= history_writer.CAPACITY + 1
    rig.rests("saw")
    assert rig.service.history.flush(DEADLINE_S)
    lost = rig.service.history.lost
    assert lost >= 60_000 - 2 * history_writer.CAPACITY
    found = [one.entry for one in HistoryReader(tmp_path / HISTORY_FILE).last(100_000)]
    assert sum(entry.value["lost"] for entry in found if entry.kind == "gap") == lost


# ---------------------------------------------------------------- the broker


@pytest.fixture
def metered(tmp_path: Path) -> Iterator[tuple[Rig, Broker, Publisher]]:
    (tmp_path / "broker").mkdir()
    broker = Broker(tmp_path / "broker")
    publisher = Publisher(broker)
    rig = Rig(tmp_path / "state", WITH_METER.replace("PORT", str(broker.port)), real_meters=True)

    def hears(watts: float, reading: str) -> None:
        def is_so(view: CoreView) -> bool:
            publisher.post("planer", f"{watts}")
            return view.tools[0].reading == reading

        rig.until(is_so, f"the planer {reading}")

    hears(0.0, "stopped")
    rig.ready()
    yield rig, broker, publisher
    rig.stop()
    publisher.close()
    broker.kill()


def test_a_broker_that_says_nonsense_or_nothing_is_a_lost_sensor(metered: tuple[Rig, Broker, Publisher]) -> None:
    rig, _, publisher = metered
    publisher.post("planer", "not a number")
    rig.until(lambda view: view.tools[0].reading == "stale", "the lost sensor")
    rig.says("broker:house", f"A message of m cannot be read: there is no number in it. {NOBODY_KNOWS}")
    rig.serves("saw")


def test_a_broker_that_stands_still_is_a_lost_sensor(metered: tuple[Rig, Broker, Publisher]) -> None:
    rig, broker, _ = metered
    broker.freeze()
    rig.until(lambda view: view.tools[0].reading == "stale", "the lost sensor")
    rig.says("sensor_lost:planer", SENSOR_LOST)
    rig.serves("saw")


def test_a_broker_that_floods_holds_nothing_up(metered: tuple[Rig, Broker, Publisher]) -> None:
    rig, _, publisher = metered
    over = threading.Event()

    def flood() -> None:
        while not over.is_set():
            for _ in range(50):
                publisher.post("planer", "0")
            over.wait(0.01)  # all threads of this test share one interpreter

    crowd = threading.Thread(target=flood, daemon=True)
    crowd.start()
    try:
        rig.serves("saw")
        begun_s = rig.clock.now()
        rig.until(lambda _: rig.clock.now() > begun_s + 12.0, "two leases")
        assert rig.hands.level(MOTOR) == 1.0
    finally:
        over.set()
        crowd.join(DEADLINE_S)
    rig.rests("saw")


def test_what_meters_post_is_left_out_before_what_people_ask(monkeypatch: pytest.MonkeyPatch, rig: Rig) -> None:
    monkeypatch.setattr(loop, "MOST_WAITING", 0)
    before_s = rig.service.loop.left_out_s
    rig.service.loop.post(MeterSeen(0.0, "nobody", 1.0))
    assert rig.service.loop.left_out_s > before_s
    assert rig.face.request("stop", None, "page").result(DEADLINE_S).accepted
