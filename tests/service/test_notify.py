"""What a service manager hears, on a real unix socket; and the real program under one."""

import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from gatekeeper.devices.pins import open_pins
from gatekeeper.service.notify import STALE_S, Heartbeat, ServiceManager
from gatekeeper.service.running import Service
from gatekeeper.service.wiring_sensors import bank_for
from gatekeeper.shop.examples import example
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

#: Only guards against hanging.
DEADLINE_S = 30.0
UNDER_CONTROL = "STATUS=The shop is under control."


class Ear:
    """The manager's end of the socket."""

    def __init__(self, address: str) -> None:
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.socket.bind("\0" + address[1:] if address.startswith("@") else address)
        self.address = address

    def heard(self) -> list[str]:
        """The lines of all that came, waiting for nothing."""
        lines: list[str] = []
        self.socket.setblocking(False)
        while True:
            try:
                lines += self.socket.recv(4096).decode().split("\n")
            except BlockingIOError:
                return lines

    def next(self) -> list[str]:
        """The lines of the next datagram, waited for."""
        self.socket.settimeout(DEADLINE_S)
        return self.socket.recv(4096).decode().split("\n")


@pytest.fixture(params=["path", "abstract"])
def ear(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Ear]:
    address = str(tmp_path / "told") if request.param == "path" else f"@gatekeeper-test-{os.getpid()}"
    made = Ear(address)
    yield made
    made.socket.close()


class Bench:
    """A heartbeat whose clock and marks a test moves."""

    def __init__(self, ear: Ear, watchdog_s: float | None) -> None:
        environment = {"NOTIFY_SOCKET": ear.address}
        if watchdog_s is not None:
            environment |= {"WATCHDOG_USEC": f"{watchdog_s * 1e6:.0f}", "WATCHDOG_PID": str(os.getpid())}
        self.now_s = 100.0
        self.marks = {"The control thread": 100.0, "The thread that reads clamps": 100.0}
        self.heart = Heartbeat(ServiceManager(environment), lambda: self.marks, lambda: self.now_s)

    def step(self, after_s: float, *, silent: str = "") -> None:
        self.now_s += after_s
        self.marks |= {name: self.now_s for name in self.marks if name != silent}
        self.heart.beat()


def test_ready_is_said_once_and_only_when_all_is_set_up(ear: Ear) -> None:
    bench = Bench(ear, None)
    bench.step(0.5)
    assert ear.heard() == []
    bench.heart.all_is_set_up()
    bench.step(0.5)
    assert ear.heard() == ["READY=1", UNDER_CONTROL]
    bench.step(50.0)
    assert ear.heard() == []


def test_signs_of_life_come_four_times_in_a_watchdog_time_however_fast_the_steps(ear: Ear) -> None:
    bench = Bench(ear, 8.0)
    bench.heart.all_is_set_up()
    for _ in range(100):
        bench.step(0.125)
    assert ear.heard() == ["WATCHDOG=1", "READY=1", UNDER_CONTROL, *["WATCHDOG=1"] * 6]


def test_a_thread_that_hangs_stops_the_signs_of_life_though_the_steps_go_on(
    ear: Ear, caplog: pytest.LogCaptureFixture
) -> None:
    bench = Bench(ear, 8.0)
    bench.heart.all_is_set_up()
    bench.step(0.5)
    ear.heard()
    for _ in range(40):
        bench.step(0.5, silent="The thread that reads clamps")
    signs = ear.heard()
    assert signs == ["WATCHDOG=1", "STATUS=The thread that reads clamps gives no sign of life."]
    assert STALE_S < 8.0 / 2
    assert caplog.text.count("gives no sign of life") == 1
    bench.step(0.5)
    assert ear.heard() == ["WATCHDOG=1", UNDER_CONTROL]


def test_not_ready_while_a_thread_hangs_from_the_beginning(ear: Ear) -> None:
    bench = Bench(ear, None)
    bench.heart.all_is_set_up()
    bench.step(STALE_S + 0.1, silent="The control thread")
    assert ear.heard() == ["STATUS=The control thread gives no sign of life."]


def test_another_process_s_watchdog_is_not_ours(ear: Ear) -> None:
    other = {"NOTIFY_SOCKET": ear.address, "WATCHDOG_USEC": "8000000", "WATCHDOG_PID": "1"}
    assert ServiceManager(other).watchdog_s is None
    assert ServiceManager({"WATCHDOG_USEC": "8000000"}).watchdog_s == 8.0
    assert ServiceManager({"WATCHDOG_USEC": "soon"}).watchdog_s is None


def test_without_a_manager_nothing_is_sent_and_nothing_fails(tmp_path: Path) -> None:
    assert not ServiceManager({}).tell("READY=1")
    assert not ServiceManager({"NOTIFY_SOCKET": "no-path"}).is_listening


def test_a_manager_that_went_away_or_does_not_read_holds_nobody_up(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    address = str(tmp_path / "told")
    assert not ServiceManager({"NOTIFY_SOCKET": address}).tell("READY=1")
    assert "could not be told READY=1" in caplog.text
    deaf = Ear(address)
    taken = [ServiceManager({"NOTIFY_SOCKET": address}).tell("x" * 1000) for _ in range(5000)]
    assert taken[0]
    assert not taken[-1]
    deaf.socket.close()


def test_a_word_that_was_not_taken_is_said_again(ear: Ear, monkeypatch: pytest.MonkeyPatch) -> None:
    bench = Bench(ear, 8.0)
    bench.heart.all_is_set_up()
    with monkeypatch.context() as patched:
        patched.setattr(ServiceManager, "tell", lambda *_: False)
        bench.step(0.5)
    bench.step(2.0)
    assert ear.heard() == ["WATCHDOG=1", "READY=1", UNDER_CONTROL]


def test_each_thread_that_the_shop_rests_on_has_a_mark_that_moves(tmp_path: Path) -> None:
    shop = load_shop(example("garage-one-collector").read_text(encoding="utf-8"), "shop.yaml")
    assert isinstance(shop, Shop)
    service = Service(shop, open_pins("mock"), tmp_path, open_bank=bank_for("mock"))
    before = service.marks()
    assert list(before) == ["The control thread", "The guardian of the motors' relays"]
    seen: list[bool] = []

    def look() -> None:
        seen.append(all(at_s > before[name] for name, at_s in service.marks().items()))
        if seen[-1]:
            service.loop.end()

    service.after_step = look
    service.start()
    assert service.wait(DEADLINE_S)
    service.stop()
    assert seen[-1]


def test_the_real_program_says_ready_lives_and_says_that_it_ends(ear: Ear, tmp_path: Path) -> None:
    command = [sys.executable, "-m", "gatekeeper", "run", "one-evening", "--pins", "mock", "--no-page"]
    told = os.environ | {"NOTIFY_SOCKET": ear.address, "WATCHDOG_USEC": "400000"}
    program = subprocess.Popen([*command, "--state", str(tmp_path / "state")], env=told, stdout=subprocess.DEVNULL)
    try:
        assert ear.next() == ["WATCHDOG=1", "READY=1", UNDER_CONTROL]
        assert ear.next() == ["WATCHDOG=1"]
        program.send_signal(signal.SIGTERM)
        last = ear.next()
        while last == ["WATCHDOG=1"]:
            last = ear.next()
        assert last == ["STOPPING=1", "STATUS=Ending: motors are off."]
        assert program.wait(DEADLINE_S) == 0
    finally:
        program.kill()
        program.wait()
