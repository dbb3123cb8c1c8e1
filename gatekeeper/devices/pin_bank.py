"""A bank of pins in a process of its own that keeps every level when its controller dies.

Mock pins die with their process, so killing it proves nothing. This bank stays, as the lines of a board do: with
``keep_levels`` an output left behind goes on being driven, which is what Raspberry Pi OS does; without, it falls back
to its boot pull, which is what Debian's own kernel does (both seen on an emulated board, not on a real one).

    python -m gatekeeper.devices.pin_bank SOCKET [--fall-back]

prints ``ready`` when it listens. Talk is one JSON object a line: {"do": ..., "pin": ..., ...} and one answer each.

=============  ========================  ===========================================================================
do             further keys              what happens
=============  ========================  ===========================================================================
claim_output   level                     the line is an output of this connection, at that level in one step
claim_input    pull                      the line is an input of this connection, with pull up, down or floating
write          level                     an output of this connection gets the level
pulse          frequency_hz, duty        an output of this connection sends pulses; frequency null ends them, low
read                                     answers the level
drive          level                     somebody outside puts a level on an input
look                                     answers function, level, pull, held and the history of what was driven
watch                                    from now on this connection gets {"edge": pin, "level": ...} lines only
=============  ========================  ===========================================================================
"""

import json
import socket
import socketserver
import sys
import threading
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from gatekeeper.devices.base import DeviceError

LINES = 28
PULLED_UP_AT_BOOT = range(9)  # GPIO 0 to 8 pull up, 9 to 27 pull down until claimed


@dataclass(slots=True)
class Line:
    """One line of the bank."""

    pull: str
    level: float
    function: str = "input"
    frequency_hz: float | None = None
    owner: object | None = None
    driven: list[float | None] = field(default_factory=lambda: [None])

    def note(self) -> None:
        """Add what is driven now to the history, if it is new."""
        level = self.level if self.function == "output" else None
        if self.driven[-1] != level:
            self.driven.append(level)


def boot_line(pin: int) -> Line:
    """A line as it is after power on."""
    up = pin in PULLED_UP_AT_BOOT
    return Line(pull="up" if up else "down", level=float(up))


class Bank:
    """The lines and the rules of who may do what with them; one lock over all."""

    def __init__(self, *, keep_levels: bool = True) -> None:
        self._keep_levels = keep_levels
        self._lines = [boot_line(pin) for pin in range(LINES)]
        self._watchers: list[Any] = []
        self._lock = threading.Lock()

    def answer(self, caller: object, asked: dict[str, Any]) -> dict[str, Any]:
        """Do one thing and say how it went: ``{"ok": ...}`` or ``{"fault": sentence}``."""
        with self._lock:
            try:
                do = getattr(self, f"_do_{asked['do']}")
                return {"ok": do(caller, self._lines[asked["pin"]], asked)}
            except DeviceError as fault:
                return {"fault": str(fault)}

    def watch(self, watcher: Any) -> None:
        """Send every edge of an input to ``watcher`` (a writable file) from now on."""
        with self._lock:
            self._watchers.append(watcher)

    def leave(self, caller: object) -> None:
        """The caller is gone: its lines belong to nobody."""
        with self._lock:
            self._watchers = [watcher for watcher in self._watchers if watcher is not caller]
            for pin, line in enumerate(self._lines):
                if line.owner is caller:
                    line.owner = None
                    if not self._keep_levels:
                        boot = boot_line(pin)
                        line.function, line.pull, line.level = boot.function, boot.pull, boot.level
                        line.note()

    def _do_claim_output(self, caller: object, line: Line, asked: dict[str, Any]) -> None:
        self._claim(caller, line, asked)
        line.function, line.level, line.frequency_hz = "output", float(asked["level"]), None
        line.note()

    def _do_claim_input(self, caller: object, line: Line, asked: dict[str, Any]) -> None:
        self._claim(caller, line, asked)
        line.function, line.pull, line.frequency_hz = "input", asked["pull"], None
        line.note()
        if line.pull != "floating":
            self._put(asked["pin"], line, float(line.pull == "up"))

    def _do_write(self, caller: object, line: Line, asked: dict[str, Any]) -> None:
        self._own_output(caller, line, asked)
        line.level = float(asked["level"])
        line.note()

    def _do_pulse(self, caller: object, line: Line, asked: dict[str, Any]) -> None:
        self._own_output(caller, line, asked)
        line.frequency_hz = asked["frequency_hz"]
        line.level = 0.0 if line.frequency_hz is None else float(asked["duty"])
        line.note()

    def _do_read(self, caller: object, line: Line, asked: dict[str, Any]) -> float:
        return line.level

    def _do_drive(self, caller: object, line: Line, asked: dict[str, Any]) -> None:
        if line.function != "input":
            raise DeviceError(f"GPIO {asked['pin']} is an output and cannot be driven from outside.")
        self._put(asked["pin"], line, float(asked["level"]))

    def _do_look(self, caller: object, line: Line, asked: dict[str, Any]) -> dict[str, Any]:
        return {
            "function": line.function,
            "level": line.level,
            "pull": line.pull,
            "held": line.owner is not None,
            "driven": line.driven,
        }

    def _claim(self, caller: object, line: Line, asked: dict[str, Any]) -> None:
        if line.owner not in (None, caller):
            raise DeviceError(f"GPIO {asked['pin']} is held by another program")
        line.owner = caller

    def _own_output(self, caller: object, line: Line, asked: dict[str, Any]) -> None:
        if line.owner is not caller or line.function != "output":
            raise DeviceError(f"GPIO {asked['pin']} is no output of this program")

    def _put(self, pin: int, line: Line, level: float) -> None:
        if line.level == level:
            return
        line.level = level
        for watcher in self._watchers:
            watcher.tell({"edge": pin, "level": level})


class _Talk(socketserver.StreamRequestHandler):
    """One connection."""

    def handle(self) -> None:
        bank: Bank = self.server.bank  # type: ignore[attr-defined]
        try:
            for line in self.rfile:
                asked = json.loads(line)
                if asked["do"] == "watch":
                    bank.watch(self)
                    self.tell({"ok": None})
                else:
                    self.tell(bank.answer(self, asked))
        except ConnectionError:
            pass  # a killed controller looks like this
        finally:
            bank.leave(self)

    def tell(self, told: dict[str, Any]) -> None:
        """Send one line; a watcher that is gone is noticed when its own read ends."""
        try:
            self.wfile.write(json.dumps(told).encode() + b"\n")
        except OSError:
            return


class _Server(socketserver.ThreadingUnixStreamServer):
    daemon_threads = True

    def __init__(self, path: str, bank: Bank) -> None:
        self.bank = bank
        super().__init__(path, _Talk)


def serve(path: str, *, keep_levels: bool = True) -> None:
    """Listen on the unix socket ``path`` until the process ends."""
    with _Server(path, Bank(keep_levels=keep_levels)) as server:
        print("ready", flush=True)
        server.serve_forever()


class BankLink:
    """One connection to a bank; one question at a time, from any thread.

    Args:
        path: the unix socket.

    Raises:
        DeviceError: no bank listens there.
    """

    def __init__(self, path: str) -> None:
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            self._socket.connect(path)
        except OSError as fault:
            self._socket.close()
            raise DeviceError(f"No pin bank listens at {Path(path).name}. Start it first.") from fault
        self._file = self._socket.makefile("rwb")
        self._lock = threading.Lock()

    def ask(self, do: str, pin: int = 0, **more: Any) -> Any:
        """Ask one thing; returns what the bank answers.

        Raises:
            DeviceError: the bank refused, or is gone.
        """
        with self._lock:
            try:
                self._file.write(json.dumps({"do": do, "pin": pin, **more}).encode() + b"\n")
                self._file.flush()
                line = self._file.readline()
            except (OSError, ValueError) as fault:
                raise DeviceError("The pin bank is gone.") from fault
        if not line:
            raise DeviceError("The pin bank is gone.")
        told = json.loads(line)
        if "fault" in told:
            raise DeviceError(told["fault"])
        return told["ok"]

    def edge(self) -> tuple[int, float] | None:
        """After ``ask("watch")``: wait for the next edge, as (pin, level); None when the connection is closed."""
        try:
            line = self._file.readline()
        except (OSError, ValueError):
            return None
        if not line:
            return None
        told = json.loads(line)
        return told["edge"], told["level"]

    def close(self) -> None:
        """End the connection; a waiting ``edge`` returns."""
        try:
            self._socket.shutdown(socket.SHUT_RDWR)
        except OSError:
            return
        self._socket.close()


def main(arguments: list[str]) -> None:
    """Run the bank from the command line."""
    serve(arguments[0], keep_levels="--fall-back" not in arguments[1:])


if __name__ == "__main__":
    main(sys.argv[1:])
