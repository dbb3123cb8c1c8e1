"""What `gatekeeper commission` puts together: a controller of its own, on the board or virtual, and the walk."""

import getpass
import json
import signal
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import asdict
from enum import Enum
from pathlib import Path
from typing import Any

from gatekeeper.commissioning_print import record_page
from gatekeeper.commissioning_terminal import TerminalWalk
from gatekeeper.files import FileTrouble, write_new
from gatekeeper.launch import ENDING, Runs, installed_or_own, own_address
from gatekeeper.service.commissioning_kept import record_of
from gatekeeper.service.face import Bench
from gatekeeper.service.face_commissioning import Commissioning
from gatekeeper.shop.model import Shop
from gatekeeper.status_line import EndOfTyping, Terminal

Say = Callable[[str], None]
LONGEST_NAME = 40


class CannotCommission(Exception):
    """The command cannot go on; the message is one plain sentence."""


# ---------------------------------------------------------------- the record


def write_record(shop: Shop, name: str, folder: Path | None, out: str | None, *, as_json: bool) -> str:
    """Write the record as a page where ``out`` names one; what is to be printed in the terminal.

    Raises:
        CannotCommission: the page cannot be written.
    """
    record = record_of(shop, installed_or_own(name, folder), time.time())
    if out is not None:
        try:
            write_new(Path(out), record_page(record).encode(), replace=True)
        except FileTrouble as trouble:
            raise CannotCommission(str(trouble)) from None
    if as_json:
        return json.dumps(asdict(record, dict_factory=_plain), indent=2, ensure_ascii=False)
    return f"{record.sentence}\nThe record of {shop.name}: {out}. Print it, sign it, keep it with the shop's book."


def _plain(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    return {key: value.value if isinstance(value, Enum) else value for key, value in pairs}


# ---------------------------------------------------------------- the walk


def commission_real(shop: Shop, name: str, text: str, pins: str, state: Path | None, by: str | None, say: Say) -> bool:
    """Run the shop's controller on the board, without its page, and walk; whether nothing is due any more.

    Raises:
        CannotCommission: the controller cannot be started, or one runs already.
    """
    from gatekeeper.devices.base import DeviceError
    from gatekeeper.devices.pins import open_pins
    from gatekeeper.service.calibration_file import shop_file_of
    from gatekeeper.service.commissioning_walk import ShopCommissioning
    from gatekeeper.service.facing import ShopFace
    from gatekeeper.service.lock import AlreadyRunning
    from gatekeeper.service.running import Service
    from gatekeeper.service.upkeep import ShopUpkeep
    from gatekeeper.service.wiring_sensors import bank_for, meters_for

    folder = installed_or_own(name, state)
    try:
        service = Service(shop, open_pins(pins), folder, open_bank=bank_for(pins), open_meters=meters_for(pins))
    except AlreadyRunning as trouble:
        raise CannotCommission(f"{trouble} Or walk on its own page: {' or '.join(addresses(shop))}") from None
    except DeviceError as trouble:
        raise CannotCommission(str(trouble)) from None
    except OSError as trouble:
        raise CannotCommission(
            f"The state folder {folder} cannot be used ({trouble.strerror}); name another with --state."
        ) from None
    file = shop_file_of(name, text)
    with ExitStack() as opened:
        opened.enter_context(ending_by_interrupt(service))
        opened.callback(service.stop)
        service.start()
        face = ShopFace(service, file=file)
        face.start()
        opened.callback(face.stop)
        say(f"{shop.name}: running on {pins}, without its page. State in {folder}.")
        upkeep = ShopUpkeep(lambda: service, file)
        commissioning = ShopCommissioning(lambda: service, face, upkeep, lambda: face, who="local")
        return _walk(commissioning, service, by, service.clock.now, None, say, name, folder)


def commission_virtual(
    shop: Shop, name: str, text: str, plant_of: Any, bench_of: Any, state: Path | None, by: str | None, say: Say
) -> bool:
    """The same on a virtual shop, with a bench to switch its machines; whether nothing is due any more.

    Args:
        plant_of, bench_of: make the virtual shop and its bench.
        state: where its record is kept; a passing folder for None, for nothing of it is so in a real shop.

    Raises:
        CannotCommission: the copy of the shop's file cannot be written.
    """
    from gatekeeper.demo import Demo, own_copy
    from gatekeeper.service.clock import SystemClock
    from gatekeeper.service.lock import AlreadyRunning

    with ExitStack() as opened:
        passing = opened.enter_context(tempfile.TemporaryDirectory(prefix="gatekeeper-commission-"))
        folder = state if state is not None else Path(passing)
        clock = SystemClock()
        try:
            copy = own_copy(folder, text, is_kept=state is not None)
            demo = Demo(shop, folder, plant_of, bench_of, clock, copy)
        except (FileTrouble, AlreadyRunning) as trouble:
            raise CannotCommission(str(trouble)) from None
        opened.enter_context(ending_by_interrupt(demo))
        opened.callback(demo.stop)
        demo.start()
        kept = f"Its record is kept in {folder}" if state is not None else "Nothing of this is kept"
        say(f"{shop.name}: a virtual shop under the real controller. {kept}.")
        return _walk(demo.commissioning_by("local"), demo, by, clock.now, demo.bench, say, name, state)


def _walk(
    commissioning: Commissioning,
    running: Runs,
    by: str | None,
    now_s: Callable[[], float],
    bench: Bench | None,
    say: Say,
    name: str,
    folder: Path | None,
) -> bool:
    """Ask who it is, walk, and say what comes next. ``folder``: where the record is kept; None where it is not."""
    terminal = Terminal(say)
    try:
        with terminal.open():
            who = _one_line(by or "") or _who(terminal)
            is_over = TerminalWalk(commissioning, terminal, who, now_s, bench, lambda: running.is_alive).go()
    except (EndOfTyping, KeyboardInterrupt):
        say("")
        is_over = False
    record = commissioning.record()
    say(record.sentence)
    where = f" --state {folder}" if folder is not None and bench is not None else ""
    pins = " --pins virtual" if bench is not None else ""
    if is_over:
        if folder is not None:
            say(f"next: gatekeeper commission {name}{where} --print record.html")
        else:
            say(f"next: gatekeeper commission {name}")
    else:
        if folder is not None:
            say(f"Stopped. What was done is kept in {folder}; the same command goes on.")
        say(f"next: gatekeeper commission {name}{pins}{where}")
    return is_over


def _who(terminal: Terminal) -> str:
    """Who walks through; the name that the system knows where nothing is typed."""
    try:
        known = getpass.getuser()
    except (KeyError, OSError):  # no such user, or nobody at a terminal
        known = ""
    while True:
        terminal.say(f"Who tries it?{f' [{known}]' if known else ''}")
        line = None
        while line is None:
            line = terminal.read("", 1.0)
        name = _one_line(line) or known
        if name:
            return name


def _one_line(text: str) -> str:
    seen = "".join(mark if mark.isprintable() else " " for mark in text)
    return " ".join(seen.split())[:LONGEST_NAME].strip()


def addresses(shop: Shop) -> list[str]:
    """Where the page of a controller that runs this shop is read: on this machine, and from a phone where it may."""
    scheme = "https" if shop.page.certificate and shop.page.key else "http"
    found = [f"{scheme}://127.0.0.1:{shop.page.port}/commission"]
    own = own_address()
    if shop.page.listen not in ("127.0.0.1", "localhost", "::1") and own is not None:
        found.append(f"{scheme}://{own}:{shop.page.port}/commission")
    return found


@contextmanager
def ending_by_interrupt(running: Runs) -> Iterator[None]:
    """While this is open every ending signal drops the motors first, then ends the walk as Ctrl-C does."""

    def end(_number: int, _frame: object) -> None:
        running.motors_off()
        for number in ENDING:  # the end itself is not interrupted
            signal.signal(number, signal.SIG_IGN)
        raise KeyboardInterrupt

    before = {number: signal.signal(number, end) for number in ENDING}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
