"""How the messages of a checked shop reach people. Part of ``model``."""

from dataclasses import dataclass

from gatekeeper.shop.kinds import MessageHeap, PasswordPlace
from gatekeeper.shop.model_drivers import Output


@dataclass(frozen=True, slots=True)
class MessageLamp:
    """A lamp for the whole shop; lit while a message of ``heap`` or a worse one stands."""

    output: Output
    heap: MessageHeap


@dataclass(frozen=True, slots=True)
class Push:
    """Messages to one phone. Exactly one of ``url`` and ``url_from`` is given; ``token_from``: None for no token."""

    url: str | None
    url_from: tuple[PasswordPlace, str] | None
    token_from: tuple[PasswordPlace, str] | None
    heaps: tuple[MessageHeap, ...]


@dataclass(frozen=True, slots=True)
class Messages:
    """How messages reach people beside the page; each None is off."""

    lamp: MessageLamp | None = None
    push: Push | None = None
