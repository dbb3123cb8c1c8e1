"""The real ``gatekeeper run`` as a process of its own, on a bank of pins that a test's hands reach into."""

import json
import math
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from http.client import HTTPConnection
from pathlib import Path
from typing import Any

from gatekeeper.devices.pin_bank import BankLink

#: Only guards against hanging.
DEADLINE_S = 30.0


def until(true: Callable[[], object], what: str) -> None:
    """Wait for an event."""
    ends_s = time.monotonic() + DEADLINE_S
    while not true():
        assert time.monotonic() < ends_s, f"this never came: {what}"
        threading.Event().wait(0.01)


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class ShopProcess:
    """A bank of pins, and the program on it from ``start`` on.

    Args:
        folder: for shop file, state and socket.
        text: the shop file; ``{port}`` is where its page listens.
        program: what is run in place of ``-m gatekeeper``, for faults that only the process itself can have.
    """

    def __init__(self, folder: Path, text: str, program: Path | None = None) -> None:
        self.port = free_port()
        self.shop, self.state, self._pins = folder / "shop.yaml", folder / "state", folder / "pins"
        self.shop.write_text(text.replace("{port}", str(self.port)), encoding="utf-8")
        self._program = ["-m", "gatekeeper"] if program is None else [str(program)]
        self._bank = subprocess.Popen(
            [sys.executable, "-m", "gatekeeper.devices.pin_bank", str(self._pins)], stdout=subprocess.PIPE, text=True
        )
        assert self._bank.stdout is not None
        assert self._bank.stdout.readline() == "ready\n"
        self._bank.stdout.close()
        self.link = BankLink(str(self._pins))
        self._said = folder / "said"
        self.process: subprocess.Popen[bytes] | None = None

    def start(self, *more: str, word: str = "Page: ", **environment: str) -> None:
        """Start the program; returns when it has said ``word``, which it says when its page is open."""
        command = [sys.executable, *self._program, "run", str(self.shop), "--pins", f"bank:{self._pins}"]
        with self._said.open("wb") as said:
            self.process = subprocess.Popen(
                [*command, "--state", str(self.state), *more],
                stdout=said,
                stderr=subprocess.STDOUT,
                env=os.environ | {"PYTHONUNBUFFERED": "1"} | environment,
            )
        until(lambda: word in self.said() or self.process.poll() is not None, "the program's word")  # type: ignore[union-attr]
        assert self.is_running, self.said()

    @property
    def is_running(self) -> bool:
        """Whether the program lives."""
        return self.process is not None and self.process.poll() is None

    def said(self) -> str:
        """Everything that it printed, its log included."""
        return self._said.read_text(encoding="utf-8") if self._said.exists() else ""

    def end(self) -> int:
        """Ask it to end as a service manager does; its exit status."""
        assert self.process is not None
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(DEADLINE_S)

    def close(self) -> None:
        """Leave nothing behind."""
        if self.process is not None:
            self.process.kill()
            self.process.wait(DEADLINE_S)
        self.link.close()
        self._bank.kill()
        self._bank.wait(DEADLINE_S)

    # ---------------------------------------------------------------- hands and eyes

    def level(self, pin: int) -> float:
        """What is on a line."""
        return float(self.link.ask("look", pin)["level"])

    def contact(self, pin: int, made: bool) -> None:
        """Close or open a contact to ground on a line that is pulled up."""
        self.link.ask("drive", pin, level=0.0 if made else 1.0)

    def get(self, path: str) -> tuple[int, str]:
        """A page, asked for from the board itself."""
        return self._ask("GET", path, "")

    def figure(self, name: str) -> float:
        """One figure of the program's metrics, which the shop file must let be read; no number where it is not told."""
        lines = self.get("/metrics")[1].splitlines()
        return next((float(line.rpartition(" ")[2]) for line in lines if line.rpartition(" ")[0] == name), math.nan)

    def ask(self, path: str, form: str) -> dict[str, Any]:
        """A form sent from the board itself; the answer."""
        status, body = self._ask("POST", path, form)
        assert status == 200, (status, body)
        answer: dict[str, Any] = json.loads(body)
        return answer

    def _ask(self, method: str, path: str, form: str) -> tuple[int, str]:
        link = HTTPConnection("127.0.0.1", self.port, timeout=DEADLINE_S)
        headers = {
            "Origin": f"http://127.0.0.1:{self.port}",
            "Content-Type": "application/x-www-form-urlencoded",
            "Accept": "application/json",
        }
        try:
            link.request(method, path, form, headers if method == "POST" else {})
            answer = link.getresponse()
            return answer.status, answer.read().decode()
        finally:
            link.close()
