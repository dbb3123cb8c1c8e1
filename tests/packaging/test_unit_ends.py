"""Every end of the service as its unit says it: what ends the program, and what runs afterwards. On the real program.

A small stand-in for the service manager follows the unit's own two commands, with this environment's program, an
example shop and a bank of pins that keeps every level when its controller dies, as Raspberry Pi OS does.
"""

import os
import re
import shlex
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from gatekeeper.devices.pin_bank import BankLink

UNIT = (Path(__file__).parents[2] / "hardware" / "gatekeeper.service").read_text(encoding="utf-8")
MOTOR, SENSOR = 17, 23
#: Shorter than the unit's, so that the test need not wait for it.
WATCHDOG_S = 1.0
#: Only guards against hanging.
DEADLINE_S = 30.0


@dataclass
class Manager:
    """Starts, watches and ends the one service."""

    folder: Path
    link: BankLink
    program: "subprocess.Popen[bytes] | None" = None

    def __post_init__(self) -> None:
        self.ear = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.ear.bind(str(self.folder / "told"))

    def command(self, key: str) -> list[str]:
        (line,) = re.findall(rf"^{key}=(.*)$", UNIT, re.MULTILINE)
        line = line.replace("/etc/gatekeeper/shop.yaml", "one-evening")
        words = shlex.split(line.replace("${GATEKEEPER_PINS}", f"bank:{self.folder / 'pins'}"))
        return [sys.executable, "-m", "gatekeeper", *words[1:]]

    def start(self) -> None:
        environment = os.environ | {
            "NOTIFY_SOCKET": str(self.folder / "told"),
            "WATCHDOG_USEC": f"{WATCHDOG_S * 1e6:.0f}",
            "STATE_DIRECTORY": str(self.folder / "state"),
        }
        command = [*self.command("ExecStart"), "--no-page"]
        self.program = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        self.ear.settimeout(DEADLINE_S)
        assert "READY=1" in self.ear.recv(4096).decode().split("\n")

    def until_silent(self) -> None:
        """Hear signs of life until none comes for the watchdog's time."""
        self.ear.settimeout(WATCHDOG_S)
        ends_s = time.monotonic() + DEADLINE_S
        while time.monotonic() < ends_s:
            try:
                self.ear.recv(4096)
            except TimeoutError:
                return
        raise AssertionError("it never fell silent")

    def end(self, *signals: signal.Signals) -> int:
        assert self.program is not None
        for one in signals:
            self.program.send_signal(one)
        return self.program.wait(DEADLINE_S)

    def after_the_end(self) -> str:
        done = subprocess.run(self.command("ExecStopPost"), capture_output=True, text=True, check=True, timeout=60)
        return done.stdout

    def motor(self) -> float:
        return float(self.link.ask("look", MOTOR)["level"])

    def until(self, true: Callable[[], bool]) -> None:
        ends_s = time.monotonic() + DEADLINE_S
        while not true():
            assert time.monotonic() < ends_s, "nothing happened"

    def run_the_motor(self) -> None:
        """A machine starts, after the sensors have settled: the collector runs."""
        self.link.ask("drive", SENSOR, level=1.0)
        self.start()
        settled_s = time.monotonic() + 2.5
        self.until(lambda: time.monotonic() > settled_s)
        self.link.ask("drive", SENSOR, level=0.0)
        self.until(lambda: self.motor() == 1.0)


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[Manager]:
    pins = tmp_path / "pins"
    command = [sys.executable, "-m", "gatekeeper.devices.pin_bank", str(pins)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as bank:
        assert bank.stdout is not None
        assert bank.stdout.readline() == "ready\n"
        made = Manager(tmp_path, BankLink(str(pins)))
        yield made
        if made.program is not None:
            made.program.kill()
            made.program.wait()
        made.ear.close()
        made.link.close()
        bank.kill()


def test_asked_to_stop_it_drops_the_motor_itself(manager: Manager) -> None:
    manager.run_the_motor()
    assert manager.end(signal.SIGTERM) == 0
    assert manager.motor() == 0.0
    assert manager.after_the_end() == "1 of 1 outputs are off.\n"
    assert manager.motor() == 0.0


@pytest.mark.parametrize("kind", ["killed", "hung"])
def test_after_a_kill_and_after_the_watchdog_the_unit_drops_the_motor(manager: Manager, kind: str) -> None:
    manager.run_the_motor()
    if kind == "killed":
        assert manager.end(signal.SIGKILL) == -signal.SIGKILL
    else:
        assert manager.program is not None
        manager.program.send_signal(signal.SIGSTOP)
        manager.until_silent()
        assert manager.program.poll() is None
        # What the service manager sends when a watchdog's time is over; the second one lets a stopped program hear it.
        assert manager.end(signal.SIGABRT, signal.SIGCONT) == -signal.SIGABRT
    manager.until(lambda: not manager.link.ask("look", MOTOR)["held"])
    assert manager.motor() == 1.0
    manager.after_the_end()
    assert manager.motor() == 0.0
