"""Faults of disk, clock, network and page, on the real service: its threads, its files, its page, a real broker."""

import contextlib
import functools
import http.client
import socket
import struct
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest

from gatekeeper.control.messages import Answer, Entry, Requested
from gatekeeper.control.snapshot import CoreView, GateNow
from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.pins import open_pins
from gatekeeper.records.history import History
from gatekeeper.records.history_reading import HistoryReader
from gatekeeper.records.history_writer import HistoryWriter
from gatekeeper.records.state import NotKeptError, StateStore
from gatekeeper.records.state_form import Change, Encoded
from gatekeeper.records.state_writer import StateWriter
from gatekeeper.service import running
from gatekeeper.service.clock import FastClock
from gatekeeper.service.facing import ShopFace
from gatekeeper.service.running import HISTORY_FILE, STATE_FILE, Service
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from gatekeeper.web.app import create_app
from gatekeeper.web.door import DoorSettings
from gatekeeper.web.serving import Serving
from sim.catalogue import on
from sim.catalogue_row import Layer
from sim.checker import check_record

sys.path.insert(0, str(Path(__file__).parent.parent / "devices"))
from real_broker import Broker, Publisher

#: Only guards against hanging.
DEADLINE_S = 30.0
MOTOR, SAW, PLANER = 17, 23, 24

SHOP = """
shop: {name: A shop for faults, mains: 50 Hz, open_flue_nearby: no}
motors:
  fan:
    power: 1.5 kW
    spin_down: 8 s
    starts_per_hour: 60 per hour
    switched_by: {pin: GPIO17, when_board_dies: drops}
gates:
  planer gate: {diameter: 100 mm, servo: {pin: GPIO12}, travel: 500 ms}
  saw gate: {diameter: 100 mm, servo: {pin: GPIO13}, travel: 500 ms}
tools:
  planer: {gates: planer gate, sensor: PLANER}
  saw: {gates: saw gate, sensor: {current_switch: GPIO23}}
"""
BY_SWITCH = SHOP.replace("PLANER", "{current_switch: GPIO24}")
BY_METER = SHOP.replace("PLANER", "{meter: planer meter, runs_above: 150 W}") + (
    "brokers:\n  house: {host: 127.0.0.1, port: PORT}\n"
    "meters:\n  planer meter: {broker: house, topic: planer, every: 100 ms, silence: 20 min}\n"
)


class Run:
    """The service on pins of its own, on a clock four times as fast."""

    def __init__(self, folder: Path, clock: FastClock, text: str, wall_s: Callable[[], float]) -> None:
        shop = load_shop(text, "shop.yaml")
        assert isinstance(shop, Shop), str(shop)
        pins = open_pins("mock", clock.now)
        self.hands = BenchPins(pins)
        self.service = Service(shop, pins, folder, clock=clock, wall_s=wall_s)
        self.entries: list[Entry] = []
        self._keep_record()
        for line in (SAW, PLANER):
            if f"GPIO{line}" in text:
                self.hands.drive(line, high=True)
        self.service.start()

    def _keep_record(self) -> None:
        """Hear every entry beside the history."""
        add = self.service.history.add

        def hear(entry: Entry) -> None:
            self.entries.append(entry)
            add(entry)

        self.service.loop._write = hear

    def until(self, true: Callable[[CoreView], bool], what: str) -> CoreView:
        ends_s = time.monotonic() + DEADLINE_S
        while time.monotonic() < ends_s:
            view = self.service.last_view
            if view is not None and true(view):
                return view
            threading.Event().wait(0.002)
        raise AssertionError(f"this never came: {what}; {self.service.last_view}")

    def ready(self) -> None:
        self.until(lambda view: view.awake and all(tool.reading == "stopped" for tool in view.tools), "awake")

    def switch(self, line: int, on: bool) -> None:
        self.hands.drive(line, high=not on)

    def ask(self, what: str, subject: str | None = None) -> Answer:
        return self.service.loop.ask(lambda ref: Requested(what, subject, "local", ref=ref)).result(DEADLINE_S)  # type: ignore[arg-type]

    def saw_is_served(self) -> None:
        self.switch(SAW, True)
        self.until(
            lambda view: view.motors[0].on and gate(view, "saw gate").is_open, "the saw's gate open and its fan on"
        )
        assert self.hands.level(MOTOR) == 1.0

    def troubles(self) -> dict[str, str]:
        return dict(self.service.troubles().sentences)

    def commands(self) -> list[tuple[str, str | None, object]]:
        """Every command but renewals."""
        found: list[tuple[str, str | None, object]] = []
        for entry in self.entries:
            if entry.kind in ("gate_command", "motor_command"):
                word = entry.value["what"] if isinstance(entry.value, dict) else entry.value
                found += [] if word == "renew" else [(entry.kind, entry.subject, word)]
        return found


def gate(view: CoreView, name: str) -> GateNow:
    return next(found for found in view.gates if found.name == name)


Start = Callable[..., Run]


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Start]:
    runs: list[Run] = []
    clock = FastClock(4.0)

    def make(text: str = BY_SWITCH, wall_s: Callable[[], float] = time.time) -> Run:
        runs.append(Run(tmp_path, clock, text, wall_s))
        return runs[-1]

    yield make
    for run in runs:
        if run.service.is_alive:
            run.service.stop()


@pytest.fixture
def go(monkeypatch: pytest.MonkeyPatch) -> Iterator[threading.Event]:
    """A disk on which every write waits until this is set."""
    event = threading.Event()
    write, put = History.write, StateStore.put_encoded

    def slow_write(self: History, entries: Sequence[tuple[Entry, float]]) -> None:
        assert event.wait(DEADLINE_S)
        write(self, entries)

    def slow_put(self: StateStore, texts: Encoded, changes: Sequence[Change] = ()) -> None:
        assert event.wait(DEADLINE_S)
        put(self, texts, changes)

    monkeypatch.setattr(History, "write", slow_write)
    monkeypatch.setattr(StateStore, "put_encoded", slow_put)
    yield event
    event.set()


def slow_disk(start: Start, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, go: threading.Event) -> None:
    small = functools.partial(HistoryWriter, capacity=30, every_s=0.05)
    monkeypatch.setattr(running, "HistoryWriter", small)
    run = start()
    run.ready()
    run.saw_is_served()
    run.switch(SAW, False)
    run.until(lambda view: not view.motors[0].on, "the fan off after its delay")
    assert run.service.history.lost > 0
    assert check_record(entry.as_json() for entry in run.entries) == []
    go.set()
    assert run.service.history.flush(DEADLINE_S)
    written = [dated.entry for dated in HistoryReader(tmp_path / HISTORY_FILE).last(10_000)]
    gaps = [entry for entry in written if entry.kind == "gap"]
    lost = sum(entry.value["lost"] for entry in gaps)
    assert lost == run.service.history.lost
    assert gaps[0].why == f"The disk was too slow: {gaps[0].value['lost']} entries of the record could not be kept."


def full_disk(start: Start, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    put, is_full = StateStore.put_encoded, True

    def none_fits(self: StateStore, texts: Encoded, changes: Sequence[Change] = ()) -> None:
        if is_full:
            raise NotKeptError("Not kept: no room.")
        put(self, texts, changes)

    monkeypatch.setattr(StateStore, "put_encoded", none_fits)
    monkeypatch.setattr(running, "StateWriter", functools.partial(StateWriter, retry_first_s=0.05))
    run = start()
    run.ready()
    run.saw_is_served()
    answer = run.ask("out_of_service", "fan")
    assert (answer.accepted, answer.code) == (False, "not_kept")
    assert answer.sentence == "Out of service. This is no padlock: lock the disconnect. Not kept: no room."
    # It is obeyed all the same.
    run.until(lambda view: view.motors[0].out_of_service is not None and not view.motors[0].on, "out of service")
    assert run.troubles()["not_kept"] == "Not kept: no room."
    is_full = False
    run.until(lambda view: "not_kept" not in run.troubles(), "kept by itself")
    run.service.lose_power()
    store = StateStore(tmp_path / STATE_FILE)
    assert "out_of_service/fan" in store.load("another boot").values
    store.close()


def corrupt_file_of_kept_values(start: Start, tmp_path: Path) -> None:
    first = start()
    first.ready()
    first.service.stop()
    state = tmp_path / STATE_FILE
    damaged = b"\x00" * 100 + state.read_bytes()[100:]
    state.write_bytes(damaged)
    run = start()
    run.ready()
    aside = [path for path in tmp_path.iterdir() if path.name.startswith(f"{STATE_FILE}.damaged-")]
    assert damaged in [path.read_bytes() for path in aside]
    view = run.until(lambda view: bool(view.alarms), "a message")
    assert {alarm.code for alarm in view.alarms} == {"records_damaged", "starts_lost", "out_of_service"}
    assert list(run.troubles()) == ["kept_damaged"]
    run.switch(SAW, True)
    run.until(lambda view: view.tools[1].reading == "running", "the saw seen")
    assert not run.until(lambda view: True, "a view").motors[0].on
    assert run.ask("back_in_service", "fan").accepted
    assert run.ask("clear", "fan").accepted
    run.until(lambda view: gate(view, "saw gate").is_open, "the saw's gate")
    assert {word for kind, _, word in run.commands() if kind == "motor_command"} == {"off"}
    run.switch(SAW, False)
    run.until(lambda view: view.tools[1].reading == "stopped", "the saw stopped")
    run.saw_is_served()


def corrupt_history(start: Start, tmp_path: Path) -> None:
    path = tmp_path / HISTORY_FILE
    path.write_bytes(b"junk" * 2000)
    run = start()
    run.ready()
    run.saw_is_served()
    run.until(lambda view: "history_damaged" in run.troubles(), "the message")
    assert run.service.history.flush(DEADLINE_S)
    (aside,) = [found for found in tmp_path.iterdir() if found.name.startswith(f"{HISTORY_FILE}.damaged-")]
    assert aside.read_bytes() == b"junk" * 2000
    assert HistoryReader(path).last(10_000)[0].entry.kind == "shop"


def dead_broker(start: Start, tmp_path: Path) -> None:
    broker = Broker(tmp_path)
    publisher = Publisher(broker)
    try:
        run = start(BY_METER.replace("PORT", str(broker.port)))

        def says(watts: float, reading: str) -> None:
            def is_so(view: CoreView) -> bool:
                publisher.post("planer", f"{watts}")
                return view.tools[0].reading == reading

            run.until(is_so, f"the planer {reading}")

        says(0.0, "stopped")
        run.ready()
        # A change within one interval of the first number is found, not seen.
        settled_s = run.service.clock.now() + 1.0
        run.until(lambda view: run.service.clock.now() > settled_s, "the meter settled")
        says(0.0, "stopped")
        says(300.0, "running")
        run.until(lambda view: view.motors[0].on and gate(view, "planer gate").is_open, "served")
        broker.kill()
        view = run.until(lambda view: view.tools[0].reading == "stale", "the lost sensor")
        view = run.until(lambda view: bool(view.alarms), "its message")
        assert [(alarm.code, alarm.subject) for alarm in view.alarms] == [("sensor_lost", "planer")]
        # Everything else goes on: the saw is served, and the planer's gate is not shut for it.
        run.saw_is_served()
        run.switch(SAW, False)
        run.until(lambda view: view.tools[1].reading == "stopped", "the saw stopped")
        view = run.until(lambda view: gate(view, "saw gate").belief == "shut", "the saw's gate shut again")
        assert gate(view, "planer gate").is_open
        assert view.motors[0].on
        assert check_record(entry.as_json() for entry in run.entries) == []
    finally:
        publisher.close()
        broker.kill()


@contextlib.contextmanager
def page_of(run: Run) -> Iterator[Serving]:
    """The real page of a run."""
    face = ShopFace(run.service)
    face.start()
    serving = Serving(create_app(face, DoorSettings("1234")))
    serving.start()
    yield serving
    serving.stop()
    face.stop()


def flooded_page(start: Start) -> None:
    run = start()
    run.ready()
    answered: list[int] = []
    failed: list[BaseException] = []
    over = threading.Event()

    def ask_on_and_on(port: int) -> None:
        try:
            while not over.is_set():
                with contextlib.closing(http.client.HTTPConnection("127.0.0.1", port, timeout=DEADLINE_S)) as link:
                    link.request("GET", "/")
                    with link.getresponse() as answer:
                        answer.read()
                        answered.append(answer.status)
                    body, head = "subject=fan&value_s=20", {"Content-Type": "application/x-www-form-urlencoded"}
                    link.request("POST", "/spin-down", body, head)
                    with link.getresponse() as answer:
                        answer.read()
                        answered.append(answer.status)
        except Exception as fault:
            failed.append(fault)

    with page_of(run) as serving:
        crowd = [threading.Thread(target=ask_on_and_on, args=(serving.port,)) for _ in range(12)]
        for one in crowd:
            one.start()
        run.until(lambda view: len(answered) >= 60, "sixty answers")
        run.saw_is_served()
        since = len(answered)
        run.until(lambda view: len(answered) >= since + 120, "a hundred and twenty more")
        over.set()
        for one in crowd:
            one.join(DEADLINE_S)
    assert failed == []
    assert set(answered) <= {200, 403, 429, 503}
    assert run.until(lambda view: True, "a view").motors[0].on
    assert not [entry for entry in run.entries if entry.kind == "message" and entry.value["code"] == "lease_lost"]


def lost_network(start: Start) -> None:
    run = start()
    run.ready()
    with page_of(run) as serving:
        phone = socket.create_connection(("127.0.0.1", serving.port), DEADLINE_S)
        phone.sendall(b"GET /live?page=shop HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        assert b"200 OK" in phone.recv(4096)
        run.saw_is_served()
        # No farewell: the connection is torn off.
        phone.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        phone.close()
        run.switch(SAW, False)
        run.until(lambda view: not view.motors[0].on, "the fan off after its delay")
        run.saw_is_served()
        with contextlib.closing(http.client.HTTPConnection("127.0.0.1", serving.port, timeout=DEADLINE_S)) as link:

            def shows() -> str:
                link.request("GET", "/")
                with link.getresponse() as answer:
                    return answer.read().decode()

            run.until(lambda view: "Saw running" in shows(), "a page that shows the saw running")
    assert check_record(entry.as_json() for entry in run.entries) == []


def clock_step(start: Start) -> None:
    leaps = [0.0]
    run = start(wall_s=lambda: time.time() + sum(leaps))
    run.ready()
    run.saw_is_served()
    leaps.append(7200.0)
    since = len(run.commands())
    run.switch(SAW, False)
    run.until(lambda view: view.tools[1].reading == "stopped", "the saw stopped")
    leaps.append(-14_400.0)
    run.until(lambda view: not view.motors[0].on, "the fan off after its delay")
    assert [word for kind, _, word in run.commands()[since:] if kind == "motor_command"] == ["off"]
    stopped_s = max(entry.t_s for entry in run.entries if entry.kind == "tool" and entry.value == "stopped")
    off_s = max(entry.t_s for entry in run.entries if entry.kind == "motor_command" and entry.value == "off")
    assert off_s >= stopped_s + 8.0 - 0.001
    assert check_record(entry.as_json() for entry in run.entries) == []


#: A row that has a trial of its own elsewhere: a process that is really killed.
ELSEWHERE = {
    "program killed in mid-cut": (
        "service/test_kill.py",
        "def test_after_a_kill_the_next_start_puts_the_motor_off_before_anything_else_and_keeps_it_off(",
    )
}

TRIALS: dict[str, Callable[..., None]] = {
    "clock step": clock_step,
    "slow disk": slow_disk,
    "full disk": full_disk,
    "corrupt file of kept values": corrupt_file_of_kept_values,
    "corrupt history": corrupt_history,
    "dead broker": dead_broker,
    "flooded page": flooded_page,
    "lost network": lost_network,
}


def test_every_row_of_the_service_is_tried() -> None:
    assert {*TRIALS, *ELSEWHERE} == {row.name for row in on(Layer.SERVICE)}
    for file, line in ELSEWHERE.values():
        assert line in (Path(__file__).parent.parent / file).read_text(encoding="utf-8")


@pytest.mark.parametrize("name", TRIALS)
def test_the_written_outcome_holds_in_the_service(name: str, request: pytest.FixtureRequest) -> None:
    trial = TRIALS[name]
    wanted = trial.__code__.co_varnames[: trial.__code__.co_argcount]
    trial(**{argument: request.getfixturevalue(argument) for argument in wanted})
