"""Who may come in: the name and origin of a request, the shop's own network, and what a visit may weigh.

Every request passes ``refuse_host`` and ``refuse_origin``; every POST also passes ``refuse_post``. All look at headers
and addresses only and answer with a ``Refusal`` or None. PINs, signed-in phones and limits are in the ``door_`` files.
"""

import ipaddress
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias
from urllib.parse import quote, urlsplit

from gatekeeper.web.door_sessions import SessionStore

Address: TypeAlias = ipaddress.IPv4Address | ipaddress.IPv6Address
Network: TypeAlias = ipaddress.IPv4Network | ipaddress.IPv6Network

#: A form of the page is a few hundred bytes; nothing larger is read.
LARGEST_BODY_BYTES = 4096
FORM = "application/x-www-form-urlencoded"
COOKIE = "gatekeeper_pass"
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
NEEDS_FULL_PIN = Refusal(
    403, "needs_full_pin", "The PIN for air does not open this. Sign in with the PIN for settings and release."
)
TOO_SLOW = Refusal(408, "too_slow", "The request did not arrive in time. Send it again from the page.")
NO_CHUNKS = Refusal(411, "no_chunks", "The request comes in pieces of unknown number. Send it whole, with its length.")
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
        air_pin: a PIN that only lets a phone ask for air; None: there is none.
        reading_open: everybody may look; else only who has signed in.
        encrypted: the page speaks https; then a cookie goes over nothing else.
        subnets: asks for the networks that this machine itself sits in, where an address is none of the private ones.
        keep_pin: makes another PIN durable (raises OSError); None where the PIN stands in the shop's file.
        metrics: figures for Prometheus may be read at /metrics.
        tries: where it outlives a restart who has to wait after wrong PINs; in memory only when None.
    """

    pin: str | None
    names: frozenset[str] = frozenset()
    addresses: frozenset[str] = frozenset()
    loopback_needs_pin: bool = False
    air_pin: str | None = None
    reading_open: bool = True
    encrypted: bool = False
    subnets: Callable[[], Sequence[Network]] = tuple
    keep_pin: Callable[[str], None] | None = None
    metrics: bool = False
    tries: SessionStore | None = None


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


def in_own_network(
    client: Address | None, reached: Address | None, subnets: Callable[[], Sequence[Network]] = tuple
) -> bool:
    """Whether ``client`` sits in the shop: loopback, link-local, private, in the /64 of the address it reached, or in
    one of the networks that this machine itself sits in.
    """
    if client is None:
        return False
    if client.is_loopback or client.is_link_local or client.is_private:
        return True
    if isinstance(client, ipaddress.IPv6Address) and isinstance(reached, ipaddress.IPv6Address):
        return int(client) >> 64 == int(reached) >> 64
    return any(client in network for network in subnets())


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


def refuse_origin(headers: Mapping[str, str], settings: DoorSettings) -> Refusal | None:
    """Refuse whatever says that another page sent it, reading too: a foreign page gets not even a stream."""
    origin = headers.get("origin")
    return None if origin is None or _is_own(origin, headers, settings) else WRONG_ORIGIN


def _is_own(origin: str, headers: Mapping[str, str], settings: DoorSettings) -> bool:
    try:
        parts = urlsplit(origin)
    except ValueError:
        return False
    # Where the page itself is not encrypted something in front of it may be, and says https.
    schemes = ("https",) if settings.encrypted else ("http", "https")
    return parts.scheme in schemes and parts.netloc.lower() == headers.get("host", "").lower()


def refuse_post(headers: Mapping[str, str]) -> Refusal | None:
    """Refuse a POST that says not where it comes from, of another kind, of unknown length, or too large."""
    if "origin" not in headers:
        return WRONG_ORIGIN
    if "transfer-encoding" in headers:
        return NO_CHUNKS
    length = headers.get("content-length")
    if length is None or not (length.isascii() and length.isdecimal() and len(length) < 16):
        return NO_LENGTH
    if int(length) > LARGEST_BODY_BYTES:
        return TOO_LARGE
    kind = headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != FORM and not (kind == "" and int(length) == 0):
        return WRONG_TYPE
    return None


# ---------------------------------------------------------------- the way back


def own_path(text: str | None) -> str:
    """``text`` when it is a path of this page, else the first page: no sign-in leads elsewhere."""
    if text and text.startswith("/") and not text.startswith("//") and "\\" not in text and text.isprintable():
        return text
    return "/"


def quoted(path: str) -> str:
    """A path of ours as part of an address."""
    return quote(path)
