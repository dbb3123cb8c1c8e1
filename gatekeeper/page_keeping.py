"""The page of an unattended shop, looked after: where it ends by a fault, hangs or cannot listen, it is opened again.

Its own small thread does nothing else. No thread of the shop ever waits for it, and what stands against the page is
told like any other trouble: at the shop's lamp, to the phone, in the journal, and on the page when it is back.
"""

import logging
import threading
import time
from collections.abc import Callable
from typing import Protocol

#: This often it is looked after.
LOOK_S = 1.0
#: The wait before the first new try; doubled after each further one, up to the longest.
FIRST_WAIT_S, LONGEST_WAIT_S = 1.0, 300.0
#: After so long without trouble all is well: the word is taken back, and the next wait is a short one again.
STEADY_S = 600.0
#: Looks in a row without an answer after which it hangs: far longer than any page takes to make.
SILENT_LOOKS = 30

AWAY = "The page {why}. The shop runs on; the page is tried again in {wait_s:.0f} s."
BACK = "The page {why}, and was opened again{often}. The shop ran on."

_LOG = logging.getLogger(__name__)


class OnePage(Protocol):
    """One page from its opening to its end, see ``gatekeeper.launch``."""

    @property
    def is_running(self) -> bool: ...

    def answers(self) -> bool: ...

    def stop(self) -> None: ...


class KeptPage:
    """A page that comes back.

    Args:
        opened: opens it; raises OSError where it cannot listen.
        where: the address that it listens on, in words.
        report: takes ("page", sentence or None): what stands against it.
        clock: monotonic seconds.
    """

    def __init__(
        self,
        opened: Callable[[], OnePage],
        where: str,
        report: Callable[[str, str | None], None],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._opened, self._where, self._report, self._clock = opened, where, report, clock
        self._page: OnePage | None = None
        self._why = ""
        self._failures = 0
        self._silent = 0
        self._next_s = self._since_s = clock()
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, name="page keeping", daemon=True)

    @property
    def is_open(self) -> bool:
        """Whether there is a page now."""
        return self._page is not None

    def start(self) -> None:
        """Open it for the first time, in the caller's thread, and look after it from now on."""
        self.look()
        self._thread.start()

    def stop(self) -> None:
        """End it, and look no more. One that is just being opened ends with the process."""
        self._ending.set()
        if self._thread.is_alive():
            self._thread.join(LOOK_S)
        if self._page is not None:
            self._page.stop()

    def look(self) -> None:
        """Look once: at the page that there is, or whether it is time to open one."""
        if self._page is None:
            if self._clock() >= self._next_s:
                self._open()
            return
        why = self._what_ails(self._page)
        if why is not None:
            page, self._page = self._page, None
            page.stop()
            self._failed(why)
        elif self._failures and self._clock() - self._since_s >= STEADY_S:
            self._failures = 0
            self._report("page", None)

    def _what_ails(self, page: OnePage) -> str | None:
        if not page.is_running:
            return "ended by a fault in the program"
        self._silent = 0 if page.answers() else self._silent + 1
        return "did not answer any more" if self._silent >= SILENT_LOOKS else None

    def _open(self) -> None:
        self._silent = 0
        try:
            self._page = self._opened()
        except OSError as fault:
            self._failed(f"cannot listen on {self._where} ({fault.strerror or type(fault).__name__})")
        except Exception as fault:
            # Of whatever kind: a page that cannot be made must not take the shop with it.
            _LOG.exception("the page could not be opened")
            self._failed(f"could not be opened ({type(fault).__name__})")
        else:
            self._since_s = self._clock()
            if self._failures:
                often = f" after {self._failures} tries" if self._failures > 1 else ""
                self._report("page", BACK.format(why=self._why, often=often))

    def _failed(self, why: str) -> None:
        self._why = why
        wait_s = min(LONGEST_WAIT_S, FIRST_WAIT_S * 2 ** min(self._failures, 20))
        self._failures += 1
        self._next_s = self._clock() + wait_s
        said = AWAY.format(why=why, wait_s=wait_s)
        _LOG.error("%s", said)
        self._report("page", said)

    def _run(self) -> None:
        while not self._ending.wait(LOOK_S):
            try:
                self.look()
            except Exception:  # nobody looks after this thread
                _LOG.exception("the page could not be looked after")
