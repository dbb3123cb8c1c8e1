"""What may be asked through the page, and how a form becomes a request."""

from typing import get_args

from gatekeeper.service.face import RequestWhat

#: Requests that start a motor: a hold of one second, a caution, and only where the shop's file allows them.
STARTS: frozenset[RequestWhat] = frozenset({"run", "air_here", "sweep", "flush"})

_WORDS: dict[str, RequestWhat] = {word: word for word in get_args(RequestWhat)}

CAUTION = (
    "This starts a motor that you may not see. Make sure that nobody has a hand in a gate, a duct, the bin or the fan."
)


def request_word(word: str) -> RequestWhat | None:
    """The request of that name, or None."""
    return _WORDS.get(word)
