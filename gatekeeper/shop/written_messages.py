"""How messages reach people, as it is written in a shop file."""

from typing import Annotated

from gatekeeper.shop.fields import OutputPin, Reads, choice, refuse
from gatekeeper.shop.fields_sensing import PasswordFrom
from gatekeeper.shop.kinds import MessageHeap
from gatekeeper.shop.part import Part
from gatekeeper.shop.part import key as _key


def _address(value: object) -> str:
    from urllib.parse import urlsplit

    text = value if isinstance(value, str) else ""
    if not text.isascii() or not text.isprintable() or " " in text or len(text) > 500:
        raise refuse("write one address, such as https://push.example/shop, without blanks")
    try:
        parts = urlsplit(text)
        known = parts.scheme in ("http", "https") and bool(parts.hostname) and (parts.port is None or parts.port > 0)
    except ValueError:
        known = False
    if not known:
        raise refuse("this is no address of the web; it begins with https:// or http:// and names a host")
    if parts.username is not None or parts.password is not None:
        raise refuse("a password does not stand in this file; take it out of the address and use token_from")
    return text


WebAddress = Annotated[
    str, Reads(_address, {"type": "string", "pattern": "^https?://", "examples": ["https://push.example/shop"]})
]


def _heaps(value: object) -> tuple[MessageHeap, ...]:
    words = value if isinstance(value, list) else [value]
    read = choice(MessageHeap).read
    heaps = tuple(dict.fromkeys(read(word) for word in words))
    if not heaps:
        raise refuse("this list is empty; name at least one of now, today and when you can")
    return heaps  # type: ignore[return-value]


Heaps = Annotated[
    tuple[MessageHeap, ...],
    Reads(_heaps, {"type": ["string", "array"], "items": {"enum": [heap.value for heap in MessageHeap]}}),
]


class LampPart(Part):
    """One lamp for the whole shop, lit while a message stands."""

    pin: OutputPin = _key("Its pin.")
    heap: Annotated[MessageHeap, choice(MessageHeap)] = _key(
        "Lit while a message of this heap or a worse one stands: now, today or when you can. Default now.",
        MessageHeap.NOW,
    )


class PushPart(Part):
    """Messages to one phone: each is sent once, as a line of plain text, by an HTTP POST to an address of your own."""

    url: WebAddress | None = _key("Where to, beginning with https:// or http://. No redirect is followed.", None)
    url_from: PasswordFrom | None = _key(
        "Where the address is, if whoever knows it may send too: environment and a variable's name, or file and a "
        "full path. In place of url.",
        None,
    )
    token_from: PasswordFrom | None = _key(
        "Where the token is, if the service asks for one (it is sent as Authorization: Bearer): environment and a "
        "variable's name, or file and a full path. Never in this file.",
        None,
    )
    heaps: Heaps = _key(
        "Which messages: now, today, when you can. Default now and today.", (MessageHeap.NOW, MessageHeap.TODAY)
    )


class MessagesPart(Part):
    """How messages reach people beside the page. Each is off unless it is written here."""

    lamp: LampPart | None = _key("A lamp for the whole shop.", None)
    push: PushPart | None = _key("Messages to one phone.", None)
