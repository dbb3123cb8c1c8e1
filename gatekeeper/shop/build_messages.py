"""Lamp and push: from the file's words to the model, what is wrong with them, and what the owner should hear."""

from collections.abc import Iterator

from gatekeeper.shop.faults import Fault
from gatekeeper.shop.finding import Finding, nice
from gatekeeper.shop.kinds import PasswordPlace
from gatekeeper.shop.model import Shop
from gatekeeper.shop.model_messages import MessageLamp, Messages, Push
from gatekeeper.shop.places import Tree
from gatekeeper.shop.reading import path_of
from gatekeeper.shop.written_messages import MessagesPart


def messages_of(part: MessagesPart) -> Messages:
    """How messages reach people."""
    lamp, push = part.lamp, part.push
    return Messages(
        lamp=MessageLamp(lamp.pin, lamp.heap) if lamp is not None else None,
        push=Push(push.url, push.url_from, push.token_from, push.heaps) if push is not None else None,
    )


def message_faults(tree: Tree, part: MessagesPart) -> Iterator[Fault]:
    """Every rule about lamp and push that these parts break."""
    if part.push is not None and (part.push.url is None) is (part.push.url_from is None):
        at = ("messages", "push")
        said = "a push needs one address: write url, or url_from and where the address is kept"
        yield Fault(tree.mark_of(at, key=True), path_of(at), said)
    if part.lamp is not None and part.lamp.pin.line in (0, 1):
        loc = ("messages", "lamp", "pin")
        said = "GPIO0 and GPIO1 belong to the board's own identification"
        yield Fault(tree.mark_of(loc), path_of(loc), said)


def message_findings(shop: Shop) -> Iterator[Finding]:
    """What the owner should hear about the push."""
    push = shop.messages.push
    if push is None:
        return
    if push.url is not None and push.url.startswith("http://"):
        said = "The push goes over plain http: whoever listens on the way reads the messages, and the token with them."
        yield nice("plain_push", "messages", said)
    for where in (push.url_from, push.token_from):
        if where is not None and where[0] is PasswordPlace.FILE:
            said = f"The file {where[1]} must be readable by the controller's own user, and by nobody else."
            yield nice("push_file", "messages", said)
