"""Leave for a broker's commands, given by a person: by a key at the board, or by a press on the page for a time.

It is kept in memory only: after a restart nobody has given leave. The shop's file must allow commands as well, or
nothing is heard of them at all.
"""

import logging
import threading
import time
from collections.abc import Callable

from gatekeeper.service.face_broker import BrokerView
from gatekeeper.service.face_parts import Answer
from gatekeeper.shop.model import Shop

#: For how long leave can be given: one job, or a working day. Ours.
OFFERS = ((3600.0, "Let them in for an hour"), (8 * 3600.0, "Let them in for 8 hours"))

_LOG = logging.getLogger(__name__)


class BrokerLeave:
    """Implements ``gatekeeper.service.face_broker.BrokerDoor``.

    Args:
        shop: names the broker, and whether it may start anything.
        key_is_on: whether a broker key at the board is on.
        note: keeps who gave or took leave: (who, seconds or None).
        clock: monotonic seconds.
    """

    def __init__(
        self,
        shop: Shop,
        key_is_on: Callable[[], bool],
        note: Callable[[str, float | None], None],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        assert shop.neighbours.homie is not None
        self._broker, self._starts = shop.neighbours.homie.broker, shop.page.remote_start
        self._key_is_on, self._note, self._clock = key_is_on, note, clock
        self._lock = threading.Lock()
        self._given: tuple[float, str] | None = None

    def stands(self) -> bool:
        """Whether a command that comes now is taken."""
        return self._key_is_on() or self._left_s() > 0

    def _left_s(self) -> float:
        with self._lock:
            return 0.0 if self._given is None else max(0.0, self._given[0] - self._clock())

    def view(self) -> BrokerView:
        """How it stands now."""
        left_s, given = self._left_s(), self._given
        if self._key_is_on():
            said = "Taken: the broker key at the board is on."
        elif left_s > 0 and given is not None:
            minutes = max(1, -int(-left_s // 60))
            left = f"{minutes} min" if minutes < 120 else f"{minutes // 60} h {minutes % 60} min".removesuffix(" 0 min")
            said = f"Taken for {left} more, or until a restart. Let in by {given[1]}."
        else:
            said = "None is taken: nobody in the shop lets them in."
        can = (
            "stop motors and ask for air, and that starts the collector"
            if self._starts
            else ("stop motors and ask for air; they cannot start a motor")
        )
        caution = f"Whoever may publish at {self._broker} can then {can}."
        return BrokerView(f"Commands from the broker {self._broker}", said, left_s > 0, OFFERS, caution)

    def let_in(self, for_s: float, by: str) -> Answer:
        """Take commands for one of the offered times, from now on."""
        if for_s not in [offered_s for offered_s, _ in OFFERS]:
            return Answer(False, "no_such_time", "Commands can be let in for an hour or for 8 hours.")
        with self._lock:
            self._given = (self._clock() + for_s, by)
        _LOG.warning("commands of the broker %s are let in for %.0f min by %s", self._broker, for_s / 60, by)
        self._note(by, for_s)
        hours = for_s / 3600
        return Answer(True, "done", f"Commands are taken for {hours:g} hour{'' if hours == 1 else 's'}.")

    def keep_out(self, by: str) -> Answer:
        """Take no more of them."""
        with self._lock:
            stood, self._given = self._given is not None, None
        if stood:
            _LOG.warning("commands of the broker %s are kept out by %s", self._broker, by)
            self._note(by, None)
        if self._key_is_on():
            return Answer(
                False, "key_is_on", "They are still taken: the broker key at the board is on. Turn it off there."
            )
        return Answer(True, "done", "Commands of the broker are not taken any more.")
