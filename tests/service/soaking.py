"""Working days of a shop through the service's own objects, on a clock moved by hand, and what they cost and leave.

Really here: ``Service`` with its supervisor, control loop, wires and drivers (on mock pins), keeper and history with
their threads and files, lease guardian, and ``ShopFace`` with the page's views. Its control thread, the converters'
threads, care's thread and the web server are not started: the loop is stepped by hand, and what the clamps would see
is handed in as the events that they would post. Nights pass in steps of minutes, and the shop has no contacts.
"""

import gc
import os
import re
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from random import Random

import pytest

from gatekeeper.control.messages import MotorSeen, ToolSeen
from gatekeeper.devices.pins import open_pins
from gatekeeper.records import history_writer
from gatekeeper.records.history import History
from gatekeeper.service import running
from gatekeeper.service.clock import HandClock
from gatekeeper.service.facing import ShopFace
from gatekeeper.service.running import HISTORY_FILE, STATE_FILE, Service
from gatekeeper.service.wiring_sensors import silent_bank
from gatekeeper.shop.examples import example
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from sim.day import begins_s, working_day
from sim.day_pattern import default_pattern
from sim.happening import Happening, What

DAY_S = 86_400.0
#: The longest step of a night, and how late a clamp sees a machine and a motor; in the shop's seconds.
NIGHT_STEP_S = 300.0
SEEN_S = 0.05
#: The history's writer writes this often.
WRITE_S = 3.0


@dataclass(frozen=True)
class Measured:
    """What the process and its files hold."""

    rss_kb: int
    handles: int
    threads: int
    objects: int
    state_bytes: int
    history_bytes: int
    log_bytes: int
    lost: int


class Soak:
    """A shop that works day after day.

    Args:
        folder: for its files.
        name: one of the example shops with a clamp at each machine.
        keep_days: how long the history is kept; the service's own is 400 days.
        patched: sets what differs from the service: how long is kept, and that trimming does not wait ten real minutes.
    """

    def __init__(self, folder: Path, name: str, keep_days: float, patched: pytest.MonkeyPatch) -> None:
        path = example(name)
        # Without its inputs: contacts are looked at every second of the shop, and a year has thirty million.
        text = re.sub(r"(?ms)^inputs:\n(  .*\n)+", "", path.read_text(encoding="utf-8"))
        text = re.sub(r"(?m)^    pressure_switch: .*\n", "", text)
        shop = load_shop(text, path.name)
        assert isinstance(shop, Shop), str(shop)
        patched.setattr(history_writer, "TRIM_EVERY_S", 0.0)
        patched.setattr(running, "History", lambda path: History(path, keep_days=keep_days))
        self.shop, self._folder = shop, folder
        self._pattern = default_pattern(shop)
        self.clock = HandClock(begins_s(self._pattern))
        self._begin_wall_s = time.mktime((2025, 1, 6, 0, 0, 0, 0, 0, -1))
        pins = open_pins("mock", self.clock.now)
        self.service = Service(shop, pins, folder, clock=self.clock, open_bank=silent_bank, wall_s=self._wall_s)
        self.face = ShopFace(self.service)
        self.service.keeper.start()
        self.service.history.start()
        self.service.loop.wake()
        self._day = 0
        self._every_s, self._write_due_s = 3600.0, 0.0
        self._seen: dict[str, bool] = {}
        for tool in shop.tools:
            self.service.loop.post(ToolSeen(tool, "stopped"))
        self._pass_to(self.clock.now() + 60.0)
        assert self.service.last_view is not None
        assert self.service.last_view.alarms == (), self.service.last_view.alarms

    def _wall_s(self) -> float:
        return self._begin_wall_s + self.clock.now()

    def close(self) -> None:
        """End; nothing is left running."""
        self.service.keeper.stop(30.0)
        self.service.history.stop(30.0)
        self.service.wires.close()
        self.service._lock.release()

    def work_a_day(self, *, written_as_it_comes: bool = False) -> None:
        """One working day and the night after it.

        Args:
            written_as_it_comes: the history is written every three seconds of the shop, as the service does, and not
                once an hour.
        """
        midnight_s = self._day * DAY_S
        self._every_s = WRITE_S if written_as_it_comes else 3600.0
        for happening in working_day(self.shop, self._pattern, Random(self._day)):
            self._pass_to(midnight_s + happening.at_s)
            self._happens(happening)
        self._pass_to(midnight_s + DAY_S / 2 + 5 * 3600.0)
        # Somebody looks at the day, and changes a delay.
        self.face.history(None)
        asked = self.face.set_spin_down(next(iter(self.shop.motors)), 10.0 + self._day % 20, "page", "192.168.1.5")
        self.service.loop.step()
        assert asked.result(30.0).accepted
        self._day += 1
        self._pass_to(self._day * DAY_S + begins_s(self._pattern))
        assert self.service.history.flush(60.0)

    def _happens(self, happening: Happening) -> None:
        if happening.what in (What.TOOL_ON, What.TOOL_OFF):
            word = "running" if happening.what is What.TOOL_ON else "stopped"
            self.service.loop.post(ToolSeen(happening.subject or "", word))  # type: ignore[arg-type]
            self._look()

    def _pass_to(self, at_s: float) -> None:
        while self.clock.now() < at_s:
            self._look()
            now_s = self.clock.now()
            due = [self.service.loop._supervisor.next_deadline()]
            due += [gate.next_deadline() for gate in self.service.wires.gates.values()]
            soonest_s = min([one for one in due if one is not None], default=at_s)
            self.clock.jump_to(max(now_s + 0.001, min(at_s, soonest_s, now_s + NIGHT_STEP_S)))
        self._look()

    def _look(self) -> None:
        loop, view = self.service.loop, self.service.last_view
        loop.step()
        self.service.guardian.step()
        for name, motor in self.service.wires.motors.items():
            if self.shop.motors[name].confirmed_by is not None and self._seen.get(name) is not motor.is_on():
                self._seen[name] = motor.is_on()
                loop.post(MotorSeen(name, "running" if motor.is_on() else "still"))
                loop.step()
        if self.service.last_view is not view and self.service.last_view is not None:
            self.face._make(self.service.last_view)
        if self.clock.now() >= self._write_due_s:
            self._write_due_s = self.clock.now() + self._every_s
            assert self.service.history.flush(60.0)

    def measure(self) -> Measured:
        """Now, with nothing left to collect."""
        gc.collect()
        status = Path("/proc/self/status").read_text(encoding="ascii")
        sizes = {path.name: path.stat().st_size for path in self._folder.iterdir()}
        return Measured(
            rss_kb=int(status.split("VmRSS:")[1].split()[0]),
            handles=len(os.listdir("/proc/self/fd")),
            threads=threading.active_count(),
            objects=len(gc.get_objects()),
            state_bytes=sizes[STATE_FILE],
            history_bytes=sizes[HISTORY_FILE],
            log_bytes=sizes.get(f"{HISTORY_FILE}-wal", 0),
            lost=self.service.history.lost,
        )
