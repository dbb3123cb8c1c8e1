"""The bench of a virtual shop: what people may do to it from the page."""

from dataclasses import dataclass
from typing import Protocol

from gatekeeper.service.face_parts import Answer


@dataclass(frozen=True, slots=True)
class BenchChoice:
    """One thing that can be done to a part of a virtual shop: the word for ``Bench.work``, and the button's text."""

    to: str
    label: str


@dataclass(frozen=True, slots=True)
class BenchControl:
    """One part of a virtual shop: a tool to switch, a gate to jam, a sensor to kill, a circuit to break, the plug.

    Args:
        key: for ``Bench.work``, unique.
        group: heading it stands under ("Machines", "Gates", "Sensors", "Circuits", "Board").
        label: its name. word: how it is now ("off", "running", "jammed").
        choices: what can be done to it now.
    """

    key: str
    group: str
    label: str
    word: str
    choices: tuple[BenchChoice, ...]


class Bench(Protocol):
    """What a virtual shop lets people do to it. Only a simulator implements this; the page draws it when given."""

    def controls(self) -> tuple[BenchControl, ...]:
        """All parts, in order, grouped. Cheap; may be called from any thread."""
        ...

    def work(self, key: str, to: str) -> Answer:
        """Do one of the choices. Refuses an unknown key or word with a sentence. May be called from any thread."""
        ...
