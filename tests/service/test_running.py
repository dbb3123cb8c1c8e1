"""The whole service on mock pins: damage, a control thread that dies, and the record over several runs."""

import json
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from gatekeeper.control.messages import ToolSeen
from gatekeeper.control.snapshot import CoreView
from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.pins import open_pins
from gatekeeper.records.history_reading import HistoryReader
from gatekeeper.service.clock import FastClock
from gatekeeper.service.facing import ShopFace
from gatekeeper.service.lock import AlreadyRunning
from gatekeeper.service.running import HISTORY_FILE, STATE_FILE, Service
from gatekeeper.shop.examples import example
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from sim.checker import check_record

MOTOR, SENSOR = 17, 23
#: Only guards against hanging.
DEADLINE_S = 30.0


def shop_of(name: str) -> Shop:
    path = example(name)
    shop = load_shop(path.read_text(encoding="utf-8"), path.name)
    assert not isinstance(shop, Faults)
    return shop


class Run:
    """One run of the service on pins of its own."""

    def __init__(self, folder: Path, clock: FastClock, name: str = "one-evening") -> None:
        self.pins = open_pins("mock", clock.now)
        self.hands = BenchPins(self.pins)
        self.service = Service(shop_of(name), self.pins, folder, clock=clock)
        self.seen: list[CoreView] = []
        self.service.listen(self.seen.append)
        self.hands.drive(SENSOR, high=True)
        self.service.start()

    def until(self, true: Callable[[CoreView], bool]) -> CoreView:
        ends_s = time.monotonic() + DEADLINE_S
        while time.monotonic() < ends_s:
            view = self.service.last_view
            if view is not None and true(view):
                return view
        raise AssertionError(f"never came: {self.service.last_view}")

    def motor_runs(self) -> None:
        self.until(lambda view: view.awake and view.tools[0].reading == "stopped")
        self.hands.drive(SENSOR, high=False)
        self.until(lambda view: view.motors[0].on)


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Callable[..., Run]]:
    runs: list[Run] = []
    clocks: dict[float, FastClock] = {}

    def make(speed: float = 4.0) -> Run:
        # One clock for all runs, as it is within one boot.
        runs.append(Run(tmp_path, clocks.setdefault(speed, FastClock(speed))))
        return runs[-1]

    yield make
    for run in runs:
        if run.service.is_alive:
            run.service.stop()


def test_a_damaged_state_file_is_set_aside_and_every_motor_is_out_of_service(
    start: Callable[..., Run], tmp_path: Path
) -> None:
    first = start()
    first.motor_runs()
    first.service.stop()
    state = tmp_path / STATE_FILE
    damaged = b"\x00" * 100 + state.read_bytes()[100:]
    state.write_bytes(damaged)
    second = start()
    second.until(lambda view: view.awake)
    second.hands.drive(SENSOR, high=False)
    view = second.until(lambda view: view.tools[0].reading == "running")
    assert view.motors[0].out_of_service == ("the controller", "the kept record could not be read", 0.0)
    assert not view.motors[0].on
    assert ("records_damaged", "the controller") in [(alarm.code, alarm.subject) for alarm in view.alarms]
    (kept,) = [path for path in tmp_path.iterdir() if ".damaged-" in path.name and path.stat().st_size == len(damaged)]
    assert kept.read_bytes() == damaged
    codes = [code for code, _ in second.service.troubles().sentences]
    assert codes == ["kept_damaged"]
    face = ShopFace(second.service)
    face.start()
    assert any("set aside" in message.sentence for message in face.view().messages)
    face.stop()
    second.service.stop()
    # It outlives the next start, too: nobody has brought the motor back.
    third = start()
    assert third.until(lambda view: view.awake).motors[0].out_of_service is not None


def test_when_the_control_thread_dies_the_motors_go_off_and_the_service_says_so(
    start: Callable[..., Run], monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    run = start()
    run.motor_runs()
    assert run.hands.level(MOTOR) == 1.0

    def die(*_arguments: object) -> None:
        raise RuntimeError("planted")

    monkeypatch.setattr(run.service.loop, "step", die)
    run.service.loop.post(ToolSeen("table saw", "stale"))
    assert run.service.wait(DEADLINE_S)
    assert run.hands.level(MOTOR) == 0.0
    assert not run.service.is_alive
    assert ("control", "The control thread ended by a fault; every motor was switched off.") in (
        run.service.troubles().sentences
    )
    assert "planted" in caplog.text
    run.service.stop()


def test_a_second_service_on_the_same_folder_is_refused(start: Callable[..., Run], tmp_path: Path) -> None:
    start()
    with pytest.raises(AlreadyRunning, match=r"^Another controller \(process \d+\) already runs this shop from "):
        Service(shop_of("one-evening"), open_pins("mock"), tmp_path)


def test_the_record_is_one_list_over_all_runs_and_breaks_no_rule(start: Callable[..., Run], tmp_path: Path) -> None:
    for _ in range(2):
        run = start(40.0)  # the motor runs on for minutes rather than start hot the next time
        run.motor_runs()
        run.hands.drive(SENSOR, high=True)
        run.until(lambda view: not view.motors[0].on and view.motors[0].state == "at_rest")
        run.service.stop()
    entries = [dated.entry for dated in HistoryReader(tmp_path / HISTORY_FILE).last(100_000)]
    assert [entry.seq for entry in entries] == list(range(1, len(entries) + 1))
    assert sum(entry.kind == "shop" for entry in entries) == 2
    assert (
        sum(
            entry.kind == "motor_command" and isinstance(entry.value, dict) and entry.value["what"] == "on"
            for entry in entries
        )
        == 2
    )
    record = [json.loads(json.dumps(entry.as_json())) for entry in entries]
    assert check_record(record) == []
