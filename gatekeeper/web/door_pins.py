"""The PINs, and the growing wait after wrong ones, per address and for all together."""

import hmac
import ipaddress
import json
from collections import OrderedDict
from dataclasses import dataclass

from gatekeeper.web.door import NO_PIN_SET, WRONG_PIN, Address, Refusal, too_many
from gatekeeper.web.door_rights import Right

#: Wrong PINs before waiting begins, for one address and for all together, and the longest waits (seconds).
_FREE_TRIES = 3
_FREE_TRIES_ALL = 20
_LONGEST_WAIT_S = 900.0
_LONGEST_WAIT_ALL_S = 60.0
#: Wrong tries are forgotten when none came for this long (seconds).
_FORGET_S = 3600.0
_MOST_ADDRESSES = 256
#: What is kept over a restart is written at most this often (seconds): 288 times a day under any siege. Ours.
_WRITE_APART_S = 300.0
#: Of the addresses that wait, the latest so many are kept: a few kilobytes.
_MOST_KEPT = 64
#: No kept number is larger: far beyond the longest wait.
_MOST_WRONG = 40
_FORM = 1


@dataclass(slots=True)
class _Tries:
    wrong: int = 0
    last_s: float = 0.0


class PinLock:
    """The PIN for everything and, where there is one, the PIN for air only.

    While somebody waits no PIN is looked at, so waiting cannot be tried out either. A whole /64 counts as one
    address, since one person owns all of it. Waits outlive a restart: ``kept`` is what an earlier run wrote, and its
    waits begin anew at ``now_s``, since nobody knows how long the board was off.
    """

    def __init__(
        self, pin: str | None, air_pin: str | None = None, kept: str | None = None, now_s: float = 0.0
    ) -> None:
        self._by_address: OrderedDict[str, _Tries] = OrderedDict()
        self._all = _Tries()
        self._air_pin = None if air_pin is None else air_pin.encode()
        self._pin = None if pin is None else pin.encode()
        self._is_written = True
        self._next_write_s = now_s
        if kept is not None:
            self._restore(kept, now_s)

    def set(self, pin: str) -> None:
        """Another PIN for everything from now on."""
        self._pin = pin.encode()

    def is_air_pin(self, pin: str) -> bool:
        """Whether a new PIN would be the one for air only."""
        return self._air_pin is not None and hmac.compare_digest(self._air_pin, pin.encode())

    def look(self, pin: str, client: Address | None, now_s: float) -> Right | Refusal:
        """The right that ``pin`` gives, or why it gives none. ``now_s``: monotonic."""
        if self._pin is None and self._air_pin is None:
            return NO_PIN_SET
        mine = self._tries(client)
        for tries in (mine, self._all):
            if now_s - tries.last_s > _FORGET_S:
                tries.wrong = 0
        wait_s = max(
            self._wait_s(mine, _FREE_TRIES, _LONGEST_WAIT_S, now_s),
            self._wait_s(self._all, _FREE_TRIES_ALL, _LONGEST_WAIT_ALL_S, now_s),
        )
        if wait_s > 0:
            return too_many(wait_s)
        # Both are always compared, so that the time it takes tells nothing of either.
        given = pin.encode()
        is_pin = self._pin is not None and hmac.compare_digest(self._pin, given)
        is_air = self._air_pin is not None and hmac.compare_digest(self._air_pin, given)
        if is_pin or is_air:
            self._is_written &= mine.wrong < _FREE_TRIES
            mine.wrong = 0
            return Right.SETTINGS if is_pin else Right.AIR
        for tries in (mine, self._all):
            tries.wrong += 1
            tries.last_s = now_s
        self._is_written &= mine.wrong < _FREE_TRIES and self._all.wrong < _FREE_TRIES_ALL
        return WRONG_PIN

    # ------------------------------------------------------------ over a restart

    def to_keep(self, now_s: float, *, at_end: bool = False) -> str | None:
        """The text to be kept now: who has to wait. None where nothing is new or the last one is too young."""
        if self._is_written or (now_s < self._next_write_s and not at_end):
            return None
        self._is_written, self._next_write_s = True, now_s + _WRITE_APART_S
        waiting = [(owner, tries.wrong) for owner, tries in self._by_address.items() if tries.wrong >= _FREE_TRIES]
        body = {"form": _FORM, "all": self._all.wrong, "by": dict(waiting[-_MOST_KEPT:])}
        return json.dumps(body, separators=(",", ":"))

    def _restore(self, kept: str, now_s: float) -> None:
        """What cannot be understood counts as nothing."""
        try:
            body = json.loads(kept)
            whole, by = body["all"], body["by"]
            is_ours = body["form"] == _FORM and all(type(n) is int and n >= 0 for n in (whole, *by.values()))
        except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
            return
        if is_ours:
            self._all = _Tries(min(whole, _MOST_WRONG), now_s)
            for owner, wrong in list(by.items())[-_MOST_KEPT:]:
                self._by_address[owner] = _Tries(min(wrong, _MOST_WRONG), now_s)

    def _tries(self, client: Address | None) -> _Tries:
        key = one_owner(client)
        tries = self._by_address.setdefault(key, _Tries())
        self._by_address.move_to_end(key)
        while len(self._by_address) > _MOST_ADDRESSES:
            self._by_address.popitem(last=False)
        return tries

    @staticmethod
    def _wait_s(tries: _Tries, free: int, longest_s: float, now_s: float) -> float:
        if tries.wrong < free:
            return 0.0
        wait_s = min(longest_s, float(2 ** min(tries.wrong - free + 1, 20)))
        return tries.last_s + wait_s - now_s


def one_owner(client: Address | None) -> str:
    """Everything that one person owns for sure: an IPv4 address, or a whole /64 of IPv6."""
    return f"{int(client) >> 64:x}::/64" if isinstance(client, ipaddress.IPv6Address) else str(client)
