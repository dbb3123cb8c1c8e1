"""Inside the emulated board: runs the program as a service manager does, ends it in every way, and reads the lines.

Speaks to the outside by lines that begin with a mark. Only Python's own library is used; the program is a process of
its own, the very command of the service's unit.
"""

import contextlib
import itertools
import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
import traceback
from collections.abc import Iterator
from pathlib import Path

from lines import Contacts, Trace, truth, until

MARK = "BOOT-JOB "
WATCHDOG_S = 10.0  # as in the unit
#: Only guards against hanging; an emulated board is slow.
LONGEST_S = 400.0
#: After this the leases of all motors are over (5 s) and the watchdog has not bitten yet (7.5 s at the soonest).
HUNG_S = 5.2
#: How long lines are watched for pulses, and how many changes are pulses.
WATCH_S, CHANGES = 1.6, 2
JOB = json.loads(Path("/job/job.json").read_text())
OUTPUTS = {one["holder"]: one for one in JOB["outputs"]}
SAW, PLANER, SANDER, ROUTER = 7, 8, 11, 14
CONTACTS = (4, SAW, PLANER, SANDER, ROUTER)
#: A machine that runs all the while, which no collector is started for: it lights the lamp for messages.
EDGER = 10
#: Sensors of the shop settle for 8 s before anything moves.
SETTLED_S = 12.0


def tell(**what: object) -> None:
    print(MARK + json.dumps(what), flush=True)


class Manager:
    """The part of a service manager that matters here: ready, watchdog, kill, and what runs after every end."""

    def __init__(self, number: int, program: list[str]) -> None:
        self.is_ready = False
        self.bites = False
        self._seen_s = time.monotonic()
        path = f"/run/notify-{number}"
        self._heard = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._heard.bind(path)
        about = {"NOTIFY_SOCKET": path, "WATCHDOG_USEC": str(int(WATCHDOG_S * 1e6))}
        command = [*program, "run", "/job/shop.yaml", "--pins", JOB["pins"], "--state", f"/run/state-{number}"]
        self.process = subprocess.Popen([*command, "--no-page"], env={**os.environ, **about}, stdout=sys.stderr)
        threading.Thread(target=self._hear, daemon=True).start()
        threading.Thread(target=self._watch, daemon=True).start()

    def _hear(self) -> None:
        while True:
            said = self._heard.recv(4096).decode().splitlines()
            self._seen_s = time.monotonic()
            self.is_ready = self.is_ready or "READY=1" in said

    def _watch(self) -> None:
        """As the service manager: abort, and then "go on" for one that was stopped."""
        while self.process.poll() is None:
            if self.is_ready and time.monotonic() - self._seen_s > WATCHDOG_S:
                self.bites = True
                self.process.send_signal(signal.SIGABRT)
                self.process.send_signal(signal.SIGCONT)
                return
            time.sleep(0.1)

    def until_ready(self) -> None:
        until(lambda: self.is_ready or self.process.poll() is not None, "not ready", LONGEST_S)
        if self.process.poll() is not None:
            raise RuntimeError(f"the program ended by itself with {self.process.returncode}")

    def ended(self) -> int:
        return self.process.wait(LONGEST_S)


class Walk:
    """One boot: every way to end."""

    def __init__(self) -> None:
        self.trace = Trace()
        self.contacts = Contacts()
        self._number = 0
        self.contacts.put(EDGER, True)
        for pin in CONTACTS:
            self.contacts.put(pin, False)

    def all_ways(self) -> None:
        own, with_fault = [sys.executable, "-m", "gatekeeper"], [sys.executable, "/job/hung.py"]
        self.look("before the program")
        manager = self.work(own)
        manager.process.send_signal(signal.SIGTERM)
        self.after(manager, "SIGTERM")
        manager = self.work(own)
        manager.process.kill()
        self.after(manager, "SIGKILL")
        manager = self.work(with_fault)
        with told("/run/fail"):
            self.after(manager, "a fault of the control thread")
        manager = self.work(with_fault)
        with told("/run/stand-still"):
            time.sleep(HUNG_S)
            self.look("control thread hangs")
            assert not manager.bites, "the watchdog was quicker than the look"
            self.after(manager, "watchdog, control thread hung", bites=True)
        manager = self.work(own)
        manager.process.send_signal(signal.SIGSTOP)
        time.sleep(HUNG_S)
        self.look("whole program frozen")
        assert not manager.bites, "the watchdog was quicker than the look"
        self.after(manager, "watchdog, whole program frozen", bites=True)
        manager = self.work(own)
        manager.process.kill()
        manager.ended()
        self.start(own, "started after SIGKILL, without outputs-off").process.kill()

    def start(self, program: list[str], moment: str) -> Manager:
        """Start with every contact open, and look once it says that it is ready."""
        self._number += 1
        for pin in CONTACTS:
            self.contacts.put(pin, False)
        self.trace.forget()
        began_s = time.monotonic()
        manager = Manager(self._number, program)
        manager.until_ready()
        took_s = time.monotonic() - began_s
        self.look(moment, watch_s=0.0, took_s=round(took_s, 1))
        return manager

    def work(self, program: list[str]) -> Manager:
        """Start, and bring on every output that machines can; the last is a button that is pressed for 2 s."""
        manager = self.start(program, "ready")
        time.sleep(SETTLED_S)
        self.contacts.put(SAW, True)
        self.contacts.put(SANDER, True)
        self.until_on("contactor relay")
        self.until_on("steady-pulse relay")
        self.contacts.put(PLANER, True)
        self.until_on("bridge gate, opening")
        time.sleep(1.0)
        self.look("working")
        self.contacts.put(ROUTER, True)
        self.until_on("starter, start relay")
        self.trace.forget()
        return manager

    def after(self, manager: Manager, how: str, *, bites: bool = False) -> None:
        """Wait for the end, look, and run what the service's unit runs then."""
        status = manager.ended()
        assert manager.bites is bites
        self.look(f"after {how}", status=status)
        command = [sys.executable, "-m", "gatekeeper", "outputs-off", "/job/shop.yaml", "--pins", JOB["pins"]]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        said = [*done.stdout.splitlines(), *done.stderr.splitlines()]
        self.look(f"outputs-off after {how}", status=done.returncode, said=said)

    def look(self, moment: str, *, watch_s: float = WATCH_S, **more: object) -> None:
        """Tell what was called since the last look, and then what the lines do."""
        called = told_by(self.trace.calls())
        self.trace.forget()
        time.sleep(watch_s)
        calls = self.trace.calls()
        now = truth()
        lines = {
            holder: "pulses" if changes(calls, one["pin"]) >= CHANGES else now[one["pin"]]
            for holder, one in OUTPUTS.items()
        }
        self.trace.forget()
        tell(moment=moment, lines=lines, **called, **more)

    def until_on(self, holder: str) -> None:
        one = OUTPUTS[holder]
        wanted = "high" if one["active_high"] else "low"
        until(lambda: truth()[one["pin"]] == wanted, f"{holder} is not on", LONGEST_S)


def told_by(calls: list[tuple[str, int, int]]) -> dict[str, list[str]]:
    """What drivers did: how outputs were claimed, which were on at any time, in which order they went off for good."""
    by_pin = {one["pin"]: (holder, one["active_high"]) for holder, one in OUTPUTS.items()}
    claimed: dict[str, bool] = {}
    on: list[str] = []
    off: list[str] = []
    for what, pin, level in calls:
        if pin not in by_pin or what not in ("claim", "set"):
            continue
        holder, active_high = by_pin[pin]
        is_on = bool(level) is active_high
        if what == "claim":
            claimed.setdefault(holder, is_on)
        if is_on:
            off = [one for one in off if one != holder]
            on += [holder] if holder not in on else []
        elif holder not in off:
            off.append(holder)
    return {
        "claimed_off": [holder for holder, is_on in claimed.items() if not is_on],
        "claimed_on": [holder for holder, is_on in claimed.items() if is_on],
        "put_on": on,
        "put_off": off,
    }


def changes(calls: list[tuple[str, int, int]], pin: int) -> int:
    """How often the level of a line was changed."""
    levels = [level for what, line, level in calls if what == "set" and line == pin]
    return sum(one != other for one, other in itertools.pairwise(levels))


@contextlib.contextmanager
def told(path: str) -> Iterator[None]:
    """The fault of ``hung.py`` while that file is there."""
    Path(path).touch()
    yield
    Path(path).unlink()


def main() -> None:
    tell(kernel=os.uname().release, python=sys.version.split()[0])
    keeps = Path("/sys/module/pinctrl_bcm2835/parameters/persist_gpio_outputs").read_text().strip()
    tell(keeps_levels=keeps)
    try:
        Walk().all_ways()
    except BaseException:
        tell(fault=traceback.format_exc())
    tell(end=True)


main()
time.sleep(3600)
