"""A broker without a network, for gates behind one."""

from collections.abc import Callable

from gatekeeper.devices.base import DeviceError
from gatekeeper.devices.mqtt_gate import Hear


class FakeOutlet:
    """Hands words on at once, both ways.

    Args:
        on_send: called with topic and word.
    """

    def __init__(self, on_send: Callable[[str, str], None] = lambda topic, word: None) -> None:
        self._on_send = on_send
        self._hears: dict[str, Hear] = {}
        self.is_lost = False

    def listen(self, topic: str, hear: Hear) -> None:
        self._hears[topic] = hear

    def send(self, topic: str, word: str) -> None:
        if self.is_lost:
            raise DeviceError(f"The broker is not reached, so {topic} was not told {word}.")
        self._on_send(topic, word)

    def leave(self, topic: str) -> None:
        self._hears.pop(topic, None)

    def say(self, topic: str, word: str, *, is_kept: bool = False) -> None:
        """A gate says something."""
        hear = self._hears.get(topic)
        if hear is not None and not self.is_lost:
            hear(word, is_kept)

    def lose(self) -> None:
        """The broker goes away."""
        self.is_lost = True
        for hear in tuple(self._hears.values()):
            hear(None, False)
