"""Serving the page that asks for a new shop: from the command `new --page`, and at the first start of a board."""

import signal
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from gatekeeper.door_parts import door_before_shop, phones_in
from gatekeeper.interview_keeping import answers_beside
from gatekeeper.interview_page import NewShopPage
from gatekeeper.launch import ENDING, Page, addresses_of, print_code
from gatekeeper.service.notify import ServiceManager

#: Where a board asks for its shop; a new shop's own page is there, too, unless its file says otherwise.
PORT = 8080
GOES_ON = "Open the shop's page. The controller starts now; give it a minute."
#: After the file is written the page stays so long, for the answer and whoever reads it.
STAYS_S = 5.0
_LOOK_S = 0.25


def open_new_page(asked: NewShopPage, folder: Path, *, port: int, lan: bool) -> Page:
    """Start the page of an interview for a new shop.

    Args:
        asked: the interview.
        folder: where a PIN that was made, and signed-in phones, are kept; later the shop's own.
        port: where to listen; 0 lets the system choose.
        lan: listen on every address of this machine, for phones.

    Raises:
        OSError: the address cannot be listened on, or no PIN can be kept.
    """
    from gatekeeper.web.interview_app import create_interview_app
    from gatekeeper.web.serving import Serving

    settings = door_before_shop(folder)
    app = create_interview_app(asked, settings, phones_in(folder))
    serving = Serving(app, "0.0.0.0" if lan else "127.0.0.1", port)
    serving.start()
    return Page(serving, settings.pin or "", addresses_of("http", serving.port, is_open=lan))


def serve_new(out: Path, folder: Path, say: Callable[[str], None], *, port: int, lan: bool) -> bool:
    """Ask on a page until a signal ends it; whether the file was written by then. Raises OSError as the page does."""
    asked = NewShopPage(out)
    page = open_new_page(asked, folder, port=port, lan=lan)
    say(f"This page asks for a new shop and writes {out}:")
    for address in page.addresses:
        say(f"  {address}")
    if lan:
        print_code(page.addresses)
        say("Anybody on this network can look. Answering needs the PIN.")
    say(f"PIN: {page.pin}")
    say(f"Answers are kept in {answers_beside(out)}; the terminal goes on with them, too: gatekeeper new {out}")
    say("Ctrl-C ends the page and keeps them.")
    is_said = False
    try:
        with _told() as told:
            while not told.wait(_LOOK_S):
                if asked.wait_until_written(0) and not is_said:
                    is_said = True
                    say(f"Written: {out}. The page stays until Ctrl-C. next: gatekeeper check {out}")
    finally:
        page.stop()
    return asked.wait_until_written(0)


def ask_first(out: Path, folder: Path, say: Callable[[str], None], *, port: int, manager: ServiceManager) -> bool:
    """At the first start of a board: ask for the shop, write its file, and go on; False where a signal ended it before.

    The service manager is told that all is well meanwhile, so that it waits for as long as the person takes.

    Raises:
        OSError: the page cannot listen, or no PIN can be kept.
    """
    asked = NewShopPage(out, GOES_ON)
    page = open_new_page(asked, folder, port=port, lan=True)
    say(f"There is no shop file {out} yet. This page asks for it: {'  '.join(page.addresses)}  PIN: {page.pin}")
    manager.tell("READY=1", f"STATUS=Asking for the shop on {page.addresses[-1]} of {socket.gethostname()}.")
    try:
        with _told() as told:
            while not asked.wait_until_written(_LOOK_S):
                manager.tell("WATCHDOG=1")
                if told.is_set():
                    return False
            manager.tell("WATCHDOG=1")
            is_ending = told.wait(STAYS_S)
            manager.tell("WATCHDOG=1")
    finally:
        page.stop()
    say(f"Written: {out}.")
    return not is_ending


@contextmanager
def _told() -> Iterator[threading.Event]:
    """Set by a signal that would end the program; afterwards signals are as they were."""
    told = threading.Event()
    before = {number: signal.signal(number, lambda _number, _frame: told.set()) for number in ENDING}
    try:
        yield told
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
