"""Opening hours and quiet hours: the only use of the wall clock that reaches the core, as events (C18, C19, C27)."""

import threading
from collections.abc import Callable
from datetime import datetime

from gatekeeper.control.messages import Event, QuietSeen, ShopKeySeen
from gatekeeper.shop.model import Hours, Span

#: Between two looks at the wall clock.
LOOK_S = 15.0


def within(span: Span, minute: int) -> bool:
    """True where a minute of the day lies in a span; one that starts later than it ends runs past midnight."""
    if span.start_min <= span.end_min:
        return span.start_min <= minute < span.end_min
    return minute >= span.start_min or minute < span.end_min


def minute_of_day(wall_s: float) -> int:
    """Minutes after local midnight."""
    local = datetime.fromtimestamp(wall_s)
    return local.hour * 60 + local.minute


class HoursWatch:
    """Posts the beginning and the end of hours and quiet hours.

    Args:
        hours: from the shop's file.
        post: takes the events; must not block.
        wall_s: the wall clock, seconds since 1970.
    """

    def __init__(self, hours: Hours, post: Callable[[Event], None], wall_s: Callable[[], float]) -> None:
        self._hours = hours
        self._post = post
        self._wall_s = wall_s
        self._said_open: bool | None = None
        self._said_quiet: bool | None = None
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, name="hours", daemon=True)

    def look(self) -> None:
        """Look at the wall clock once and post what has changed."""
        minute = minute_of_day(self._wall_s())
        if self._hours.open is not None:
            is_open = within(self._hours.open, minute)
            if is_open is not self._said_open:
                self._said_open = is_open
                self._post(ShopKeySeen("open" if is_open else "shut"))
        if self._hours.quiet is not None:
            quiet = within(self._hours.quiet, minute)
            if quiet is not self._said_quiet:
                self._said_quiet = quiet
                self._post(QuietSeen(quiet))

    def start(self) -> None:
        """Look now and from time to time; nothing at all for a shop without hours."""
        if self._hours.open is not None or self._hours.quiet is not None:
            self._thread.start()

    def stop(self) -> None:
        """Look no more."""
        self._ending.set()
        if self._thread.is_alive():
            self._thread.join(1.0)

    def _run(self) -> None:
        while True:
            self.look()
            if self._ending.wait(LOOK_S):
                return
