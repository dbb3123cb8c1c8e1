"""Opening hours and quiet hours of a play: said at their minute, as the service says them."""

from collections.abc import Callable

from gatekeeper.control.messages import Event, QuietSeen, ShopKeySeen
from gatekeeper.service.hours import within
from gatekeeper.shop.model import Hours, Span
from sim.senses import Later

DAY_S = 86400.0
#: Rounding must not bring a look to just before its minute.
_AFTER_S = 1e-6


class WallHours:
    """The hours of one shop by the play's wall clock.

    Args:
        hours: from the shop's file.
        wall_s: the wall clock, seconds after some midnight.
        later: runs something after so many seconds of the play.
        feed: takes the events.
    """

    def __init__(self, hours: Hours, wall_s: Callable[[], float], later: Later, feed: Callable[[Event], None]) -> None:
        self._hours, self._wall_s, self._later, self._feed = hours, wall_s, later, feed
        self._turn = 0

    def begin(self) -> None:
        """Say what is so, and go on saying it: a controller has begun to listen, or the clock was set."""
        self._turn += 1
        if self._hours.open is not None:
            self._look(self._hours.open, self._say_open, self._turn)
        if self._hours.quiet is not None:
            self._look(self._hours.quiet, self._say_quiet, self._turn)

    def end(self) -> None:
        """Nobody listens any more."""
        self._turn += 1

    def _look(self, span: Span, say: Callable[[bool], None], turn: int) -> None:
        if turn != self._turn:
            return
        wall_s = self._wall_s() % DAY_S
        say(within(span, int(wall_s // 60)))
        ahead = [(minute * 60.0 - wall_s) % DAY_S or DAY_S for minute in (span.start_min, span.end_min)]
        self._later(min(ahead) + _AFTER_S, lambda: self._look(span, say, turn))

    def _say_open(self, is_open: bool) -> None:
        self._feed(ShopKeySeen("open" if is_open else "shut"))

    def _say_quiet(self, quiet: bool) -> None:
        self._feed(QuietSeen(quiet))
