"""What the page sees of a broker's leave to send commands: a frozen view and one protocol. See ``face``."""

from dataclasses import dataclass
from typing import Protocol

from gatekeeper.service.face_parts import Answer


@dataclass(frozen=True, slots=True)
class BrokerView:
    """Whether commands are taken now.

    Args:
        title: "Commands from the broker house".
        sentence: what is so, and until when or by whose key.
        can_end: a leave given here stands and can be taken back here; a key can only be turned.
        offers: for how long it can be given here, as (seconds, label).
        caution: what letting them in means.
    """

    title: str
    sentence: str
    can_end: bool
    offers: tuple[tuple[float, str], ...]
    caution: str


class BrokerDoor(Protocol):
    """Lets a broker's commands in. From any thread; never blocks."""

    def view(self) -> BrokerView:
        """How it stands now."""
        ...

    def let_in(self, for_s: float, by: str) -> Answer:
        """Take commands for one of the offered times; ``by`` says who gave leave, in words."""
        ...

    def keep_out(self, by: str) -> Answer:
        """Take no more of them, from this instant on."""
        ...
