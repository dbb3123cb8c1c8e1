"""Signed-in phones: given a token each, known again by its hash, listed, and taken back one by one or all at once."""

import hashlib
import hmac
import json
import secrets
import threading
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from typing import Any, Protocol

from gatekeeper.web.door_rights import Right

#: A phone stays signed in for 30 days: our own choice, a shop's phone is used daily.
SESSION_S = 30 * 24 * 3600.0
MOST_SESSIONS = 64
_FORM = 1
#: The cost of trying out a PIN on a stolen file of sessions (scrypt: about 16 MB and some ten milliseconds each).
_SCRYPT_N, _SCRYPT_R, _SCRYPT_P = 2**14, 8, 1


@dataclass(frozen=True, slots=True)
class Session:
    """One signed-in phone.

    Args:
        handle: names it on the page; opens nothing.
        token_hash: of the token in its cookie.
        right: what it may do.
        since_wall_s, seen_wall_s, ends_wall_s: wall clock.
        address: where it was seen last, or None.
    """

    handle: str
    token_hash: str
    right: Right
    since_wall_s: float
    seen_wall_s: float
    ends_wall_s: float
    address: str | None


class SessionStore(Protocol):
    """Where a text outlives the process."""

    def read(self) -> str | None:
        """The text, or None where there is none or it cannot be read."""
        ...

    def write(self, text: str) -> None:
        """Make it durable.

        Raises:
            OSError: the disk said no.
        """
        ...


class InMemory:
    """A text that ends with the process."""

    def __init__(self) -> None:
        self._text: str | None = None

    def read(self) -> str | None:
        """The text."""
        return self._text

    def write(self, text: str) -> None:
        """Keep it."""
        self._text = text


class Sessions:
    """Gives out tokens, knows them again, takes them back. Every method may be called from any thread.

    What was kept counts only under the very PINs that were in force when it was written: a PIN that was changed by
    whatever way signs every phone out. A text that cannot be understood counts as no phone signed in.

    Args:
        store: where they are kept.
        wall_s: the wall clock; the only one that goes on while the board is off. Set back, it makes phones stay longer.
        pins: the PINs in force, any text.
    """

    def __init__(self, store: SessionStore, wall_s: Callable[[], float], pins: str = "") -> None:
        self._store = store
        self._wall_s = wall_s
        self._lock = threading.Lock()
        self._writing = threading.Lock()
        self._kept: dict[str, Session] = {}
        salt, mark, found = _read(store.read())
        self._pins, self._salt = pins, salt or secrets.token_hex(16)
        self._mark = _mark(self._pins, self._salt)
        if mark is not None and hmac.compare_digest(mark, self._mark):
            now_s = wall_s()
            self._kept = {one.token_hash: one for one in found if now_s < one.ends_wall_s}

    def open(self, right: Right, address: str | None) -> str:
        """A new token for a cookie. The oldest phone makes room where there are too many."""
        token, now_s = secrets.token_urlsafe(32), self._wall_s()
        made = Session(secrets.token_hex(6), _hash(token), right, now_s, now_s, now_s + SESSION_S, address)
        with self._lock:
            self._kept[made.token_hash] = made
            while len(self._kept) > MOST_SESSIONS:
                self._kept.pop(min(self._kept, key=lambda key: self._kept[key].seen_wall_s))
        return token

    def right_of(self, token: str | None, address: str | None = None) -> Right:
        """What the phone with this token may do; ``NOTHING`` where the token is not ours or has ended."""
        found = self._find(token)
        if found is None:
            return Right.NOTHING
        if address is not None:
            with self._lock:
                if found.token_hash in self._kept:
                    seen = replace(found, seen_wall_s=self._wall_s(), address=address)
                    self._kept[found.token_hash] = seen
        return found.right

    def handle_of(self, token: str | None) -> str | None:
        """The handle of the phone with this token."""
        found = self._find(token)
        return found.handle if found is not None else None

    def listed(self) -> list[Session]:
        """Every signed-in phone, the one seen last first."""
        now_s = self._wall_s()
        with self._lock:
            there = [one for one in self._kept.values() if now_s < one.ends_wall_s]
        return sorted(there, key=lambda one: -one.seen_wall_s)

    def close(self, token: str | None) -> None:
        """Sign one phone out by its token."""
        with self._lock:
            self._kept.pop(_hash(token), None) if token is not None else None

    def revoke(self, handle: str) -> bool:
        """Sign one phone out by its handle; False where there is none of it."""
        with self._lock:
            found = [key for key, one in self._kept.items() if one.handle == handle]
            for key in found:
                del self._kept[key]
        return bool(found)

    def revoke_all(self, pins: str | None = None) -> None:
        """Sign every phone out; with ``pins``, those are in force from now on."""
        with self._lock:
            self._kept.clear()
            if pins is not None:
                self._pins = pins
                self._mark = _mark(pins, self._salt)

    def save(self) -> None:
        """Make it durable as it is now. May wait for the disk: from a worker thread only.

        Raises:
            OSError: the disk said no; in this process it counts all the same.
        """
        with self._writing:  # of two that write at once the later one has the newer list
            with self._lock:
                kept = [asdict(one) | {"right": one.right.name} for one in self._kept.values()]
                text = json.dumps({"form": _FORM, "salt": self._salt, "mark": self._mark, "phones": kept})
            self._store.write(text)

    def _find(self, token: str | None) -> Session | None:
        if token is None:
            return None
        with self._lock:
            found = self._kept.get(_hash(token))
        return found if found is not None and self._wall_s() < found.ends_wall_s else None


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode(errors="replace")).hexdigest()


def _mark(pins: str, salt: str) -> str:
    return hashlib.scrypt(pins.encode(), salt=salt.encode(), n=_SCRYPT_N, r=_SCRYPT_R, p=_SCRYPT_P).hex()


def _read(text: str | None) -> tuple[str | None, str | None, list[Session]]:
    """Salt, mark and sessions; nothing of a text that is not exactly what ``save`` writes."""
    try:
        found: Any = json.loads(text) if text else None
        if not isinstance(found, dict) or found["form"] != _FORM:
            return None, None, []
        phones = [_session(one) for one in found["phones"][:MOST_SESSIONS]]
        return _hex(found["salt"]), _hex(found["mark"]), phones
    except (ValueError, KeyError, TypeError, RecursionError, OverflowError):
        return None, None, []


def _session(one: dict[str, Any]) -> Session:
    address = one["address"]
    if address is not None and not isinstance(address, str):
        raise TypeError("an address is a text")
    return Session(
        handle=_hex(one["handle"]),
        token_hash=_hex(one["token_hash"]),
        right=Right[one["right"]],
        since_wall_s=_instant(one["since_wall_s"]),
        seen_wall_s=_instant(one["seen_wall_s"]),
        ends_wall_s=_instant(one["ends_wall_s"]),
        address=address,
    )


def _instant(value: object) -> float:
    """Seconds since 1970 that a calendar has a day for."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value < 2**33:
        raise ValueError("no instant")
    return float(value)


def _hex(text: object) -> str:
    if not isinstance(text, str) or not text.isascii() or not text.isalnum():
        raise ValueError("not one of ours")
    return text
