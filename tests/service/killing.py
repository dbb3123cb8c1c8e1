"""The real program on a bank of pins, under load, killed at random instants; and what its files hold afterwards.

Load: a machine that is switched on and off all the while (each start is charged and kept), a delay that is changed
through the page as fast as it is answered, and the history that is written beside it.
"""

import contextlib
import http.client
import json
import random
import signal
import socket
import subprocess
import sys
import threading
from dataclasses import dataclass, field
from pathlib import Path

from gatekeeper.devices.pin_bank import BankLink
from gatekeeper.records.history import History
from gatekeeper.records.history_reading import HistoryReader
from gatekeeper.records.state import StateStore
from gatekeeper.service.running import HISTORY_FILE, STATE_FILE
from gatekeeper.shop.examples import example

SHOP = "one-evening"
MOTOR, SENSOR = 17, 23
SETTING = "setting/collector/spin_down_s"
#: Only guards against hanging.
DEADLINE_S = 60.0


@dataclass
class Tally:
    """What came of the kills so far."""

    kills: int = 0
    acknowledged: int = 0
    with_motor_on: int = 0
    with_journal: int = 0
    lost: list[str] = field(default_factory=list)


class Killing:
    """One shop that is started and killed again and again.

    Args:
        folder: for its files and sockets.
        seed: of the instants.
    """

    def __init__(self, folder: Path, seed: int) -> None:
        self.tally = Tally()
        self._chance = random.Random(seed)
        self._pins, self._state = folder / "pins", folder / "state"
        self._shop, self._said = folder / "shop.yaml", folder / "said"
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self._port = int(probe.getsockname()[1])
        text = example(SHOP).read_text(encoding="utf-8") + f"\npage: {{port: {self._port}}}\n"
        self._shop.write_text(text, encoding="utf-8")
        self._bank = subprocess.Popen(
            [sys.executable, "-m", "gatekeeper.devices.pin_bank", str(self._pins)], stdout=subprocess.PIPE, text=True
        )
        assert self._bank.stdout is not None
        assert self._bank.stdout.readline() == "ready\n"
        self._link = BankLink(str(self._pins))
        self._value = 10
        self._answered: float | None = None
        self._asked: list[float] = []

    def close(self) -> None:
        """End the bank of pins."""
        self._link.close()
        self._bank.kill()
        self._bank.wait(DEADLINE_S)
        assert self._bank.stdout is not None
        self._bank.stdout.close()

    def kill_once(self, longest_s: float = 5.0) -> None:
        """Start, work, kill within ``longest_s`` of the page's coming, and look at what is there."""
        self._link.ask("drive", SENSOR, level=1.0)
        command = [sys.executable, "-m", "gatekeeper", "run", str(self._shop), "--pins", f"bank:{self._pins}"]
        with self._said.open("w", encoding="utf-8") as said:
            program = subprocess.Popen(
                [*command, "--state", str(self._state)], stdout=subprocess.PIPE, stderr=said, text=True
            )
        try:
            assert program.stdout is not None
            if not program.stdout.readline().startswith("One evening in the shed: running on bank:"):
                self.tally.lost.append("the next start failed")
                return
            if self._link.ask("look", MOTOR)["level"] != 0.0:
                self.tally.lost.append("the motor was not off when the next start said that it runs")
            while (line := program.stdout.readline()) and not line.startswith("Page: "):
                pass
            killer = threading.Timer(self._chance.uniform(0.0, longest_s), program.kill)
            killer.start()
            self._work(program)
            killer.join()
            if program.wait(DEADLINE_S) != -signal.SIGKILL:
                self.tally.lost.append(f"it ended by itself: {self._said.read_text(encoding='utf-8')[-2000:]}")
        finally:
            program.kill()
            program.wait(DEADLINE_S)
            assert program.stdout is not None
            program.stdout.close()
        self.tally.kills += 1
        self.tally.with_motor_on += self._link.ask("look", MOTOR)["level"] == 1.0
        self._look()

    def _work(self, program: "subprocess.Popen[str]") -> None:
        runs = False
        while program.poll() is None:
            if not runs or self._chance.random() < 0.1:
                runs = not runs
                self._link.ask("drive", SENSOR, level=0.0 if runs else 1.0)
            self._value = 10 + (self._value - 9) % 590
            with contextlib.suppress(OSError, http.client.HTTPException, ValueError):
                self._asked.append(float(self._value))
                if self._set_delay(self._value):
                    self._answered = float(self._value)
                    self._asked = []
                    self.tally.acknowledged += 1

    def _set_delay(self, value_s: int) -> bool:
        with contextlib.closing(http.client.HTTPConnection("127.0.0.1", self._port, timeout=DEADLINE_S)) as link:
            link.request(
                "POST",
                "/spin-down",
                f"subject=collector&value_s={value_s}&held=1",
                {
                    "Origin": f"http://127.0.0.1:{self._port}",
                    "Content-Type": "application/x-www-form-urlencoded",
                    "Accept": "application/json",
                },
            )
            with link.getresponse() as answer:
                return bool(json.loads(answer.read())["accepted"])

    def _look(self) -> None:
        journal = self._state / f"{STATE_FILE}-journal"
        self.tally.with_journal += journal.exists() and journal.stat().st_size > 0
        store = StateStore(self._state / STATE_FILE)
        kept = store.load("another boot")
        store.close()
        found = kept.values.get(SETTING)
        if kept.damaged:
            self.tally.lost.append(f"kept values damaged: {store.trouble}")
        # The last value that was answered, or one that was on its way when the kill came.
        elif found not in (self._answered, *self._asked):
            self.tally.lost.append(f"delay {found}, answered {self._answered}, on its way {self._asked}")
        self._answered, self._asked = found, []
        history = History(self._state / HISTORY_FILE)
        aside = history.open()
        history.close()
        if aside is not None:
            self.tally.lost.append(aside)
        last = HistoryReader(self._state / HISTORY_FILE).last(2000)
        numbers = [dated.entry.seq for dated in last if dated.entry.run == last[-1].entry.run]
        if numbers and numbers != list(range(numbers[0], numbers[0] + len(numbers))):
            self.tally.lost.append(f"entries are missing within a run: {numbers}")
