"""Who may come in: the name and origin of a request, the shop's own network, the PIN, and what a visit may weigh.

Every request passes ``refuse_host``; every POST also passes ``refuse_post``. Both look at headers and addresses only
and answer with a ``Refusal`` or None. ``PinLock`` and the session store hold the only secrets.
"""

import hashlib
import hmac
import ipaddress
import secrets
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Protocol, TypeAlias
from urllib.parse import urlsplit

Address: TypeAlias = ipaddress.IPv4Address | ipaddress.IPv6Address

#: A form of the page is a few hundred bytes; nothing larger is read.
LARGEST_BODY_BYTES = 4096
FORM = "application/x-www-form-urlencoded"
COOKIE = "gatekeeper_pass"
#: A phone stays signed in for 30 days: our own choice, a shop's phone is used daily.
SESSION_S = 30 * 24 * 3600.0
_MOST_SESSIONS = 64
#: Wrong PINs before waiting begins, for one address and for all together, and the longest waits (seconds).
_FREE_TRIES = 3
_FREE_TRIES_ALL = 20
_LONGEST_WAIT_S = 900.0
_LONGEST_WAIT_ALL_S = 60.0
#: Wrong tries are forgotten when none came for this long (seconds).
_FORGET_S = 3600.0
_MOST_ADDRESSES = 256
#: Headers that only a proxy sets: then the address is the proxy's and says nothing.
_PROXY_HEADERS = ("forwarded", "x-forwarded-for", "x-real-ip", "via")


@dataclass(frozen=True, slots=True)
class Refusal:
    """A refusal at the door: HTTP status (4xx), a code for scripts, one sentence for people."""

    status: int
    code: str
    sentence: str
    retry_after_s: int | None = None


class Refused(Exception):
    """Carries a refusal out of a handler."""

    def __init__(self, why: Refusal) -> None:
        super().__init__(why.sentence)
        self.why = why


WRONG_HOST = Refusal(
    421, "wrong_host", "This controller does not answer to that name. Use the address that it prints when it starts."
)
WRONG_ORIGIN = Refusal(403, "wrong_origin", "This request came from another page. Open the controller's own page.")
NO_LENGTH = Refusal(411, "no_length", "The request does not say how long it is. Send a Content-Length.")
TOO_LARGE = Refusal(413, "too_large", f"The request is too large. At most {LARGEST_BODY_BYTES} bytes are read.")
WRONG_TYPE = Refusal(415, "wrong_type", f"The request has the wrong content type. Send {FORM}.")
NOT_A_FORM = Refusal(400, "not_a_form", "The request's form cannot be read. Send it again from the page.")
NOT_HERE = Refusal(403, "not_here", "Stopping from the page works only inside the shop's own network.")
NEEDS_PIN = Refusal(401, "needs_pin", "Sign in with the shop's PIN first.")
NO_PIN_SET = Refusal(403, "no_pin_set", "No PIN is set, so nothing can be changed from the network.")
WRONG_PIN = Refusal(403, "wrong_pin", "That is not the PIN.")


def too_many(wait_s: float) -> Refusal:
    """The refusal while somebody has to wait after wrong PINs."""
    whole_s = max(1, -int(-wait_s // 1))
    return Refusal(429, "wait", f"Too many wrong PINs. Try again in {whole_s} s.", whole_s)


@dataclass(frozen=True, slots=True)
class DoorSettings:
    """What the door knows.

    Args:
        pin: the shop's PIN, 4 to 12 characters; None: nobody signs in, writing from the network is refused.
        names: host names that it answers to, beside ``localhost`` and the address that a request really reached.
        addresses: further addresses it is reached by (a forwarded port), as they stand in an address bar.
        loopback_needs_pin: True where others share the board; else a browser on the board itself may write.
    """

    pin: str | None
    names: frozenset[str] = frozenset()
    addresses: frozenset[str] = frozenset()
    loopback_needs_pin: bool = False


# ---------------------------------------------------------------- addresses


def address(text: str | None) -> Address | None:
    """An IP address without zone and brackets, IPv4 inside IPv6 taken out; None for anything else."""
    if text is None:
        return None
    try:
        found = ipaddress.ip_address(text.strip("[]").partition("%")[0])
    except ValueError:
        return None
    mapped = getattr(found, "ipv4_mapped", None)
    return mapped if mapped is not None else found


def in_own_network(client: Address | None, reached: Address | None) -> bool:
    """Whether ``client`` sits in the shop: loopback, link-local, private, or in the /64 of the address it reached."""
    if client is None:
        return False
    if client.is_loopback or client.is_link_local or client.is_private:
        return True
    if isinstance(client, ipaddress.IPv6Address) and isinstance(reached, ipaddress.IPv6Address):
        return int(client) >> 64 == int(reached) >> 64
    return False


def through_proxy(headers: Mapping[str, str]) -> bool:
    """Whether a proxy passed the request on."""
    return any(name in headers for name in _PROXY_HEADERS)


# ---------------------------------------------------------------- names and origins


def _host_name(host: str) -> str | None:
    """The name in a Host header, lower case, without port and final dot; None when it is no host at all."""
    try:
        parts = urlsplit("//" + host)
        _ = parts.port
    except ValueError:
        return None
    if parts.username is not None or parts.path or parts.query or parts.fragment or parts.hostname is None:
        return None
    return parts.hostname.removesuffix(".")


def refuse_host(headers: Mapping[str, str], reached: Address | None, settings: DoorSettings) -> Refusal | None:
    """Refuse a Host that is neither one of our names nor the very address the request reached (DNS rebinding)."""
    name = _host_name(headers.get("host", ""))
    if name is None:
        return WRONG_HOST
    if name == "localhost" or name in {known.lower().removesuffix(".") for known in settings.names}:
        return None
    literal = address(name)
    if literal is None:
        return WRONG_HOST
    allowed = {reached, *(address(known) for known in settings.addresses)}
    return None if literal in allowed else WRONG_HOST


def refuse_post(headers: Mapping[str, str]) -> Refusal | None:
    """Refuse a POST from another page, of another kind, of unknown length, or too large."""
    origin = headers.get("origin")
    if origin is None or urlsplit(origin).netloc.lower() != headers.get("host", "").lower():
        return WRONG_ORIGIN
    length = headers.get("content-length")
    if length is None or not length.isdecimal():
        return NO_LENGTH
    if int(length) > LARGEST_BODY_BYTES:
        return TOO_LARGE
    kind = headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != FORM and not (kind == "" and int(length) == 0):
        return WRONG_TYPE
    return None


# ---------------------------------------------------------------- PIN and sessions


@dataclass(slots=True)
class _Tries:
    wrong: int = 0
    last_s: float = 0.0


class PinLock:
    """The PIN, and the growing wait after wrong ones, per address and for all together.

    While somebody waits no PIN is looked at, so waiting cannot be tried out either. A whole /64 counts as one
    address, since one person owns all of it.
    """

    def __init__(self, pin: str | None) -> None:
        self._pin = None if pin is None else pin.encode()
        self._by_address: OrderedDict[str, _Tries] = OrderedDict()
        self._all = _Tries()

    def refuse(self, pin: str, client: Address | None, now_s: float) -> Refusal | None:
        """None when ``pin`` is right. ``now_s``: monotonic."""
        if self._pin is None:
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
        if hmac.compare_digest(self._pin, pin.encode()):
            mine.wrong = 0
            return None
        for tries in (mine, self._all):
            tries.wrong += 1
            tries.last_s = now_s
        return WRONG_PIN

    def _tries(self, client: Address | None) -> _Tries:
        key = str(int(client) >> 64) if isinstance(client, ipaddress.IPv6Address) else str(client)
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


class SessionStore(Protocol):
    """Where signed-in phones are kept: only hashes of their tokens, each with the instant it ends (wall clock)."""

    def put(self, token_hash: str, ends_wall_s: float) -> None:
        """Keep one; the oldest may be dropped to make room."""
        ...

    def ends_wall_s(self, token_hash: str) -> float | None:
        """When it ends, or None when it is not known."""
        ...

    def drop(self, token_hash: str) -> None:
        """Forget one; nothing happens when it is not known."""
        ...


@dataclass(slots=True)
class SessionsInMemory:
    """Sessions that end with the process."""

    _kept: OrderedDict[str, float] = field(default_factory=OrderedDict)

    def put(self, token_hash: str, ends_wall_s: float) -> None:
        self._kept[token_hash] = ends_wall_s
        while len(self._kept) > _MOST_SESSIONS:
            self._kept.popitem(last=False)

    def ends_wall_s(self, token_hash: str) -> float | None:
        return self._kept.get(token_hash)

    def drop(self, token_hash: str) -> None:
        self._kept.pop(token_hash, None)


class Sessions:
    """Gives out tokens, knows them again by their hash, takes them back."""

    def __init__(self, store: SessionStore, wall_s: Callable[[], float]) -> None:
        self._store = store
        self._wall_s = wall_s

    def open(self) -> str:
        """A new token for a cookie."""
        token = secrets.token_urlsafe(32)
        self._store.put(_hash(token), self._wall_s() + SESSION_S)
        return token

    def knows(self, token: str | None) -> bool:
        """Whether the token is ours and has not ended."""
        if token is None:
            return False
        ends_wall_s = self._store.ends_wall_s(_hash(token))
        return ends_wall_s is not None and self._wall_s() < ends_wall_s

    def close(self, token: str | None) -> None:
        """Sign out."""
        if token is not None:
            self._store.drop(_hash(token))


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def own_path(text: str | None) -> str:
    """``text`` when it is a path of this page, else the first page: no sign-in leads elsewhere."""
    if text and text.startswith("/") and not text.startswith("//") and "\\" not in text and text.isprintable():
        return text
    return "/"
