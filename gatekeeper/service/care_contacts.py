"""Contacts at a bin and at a filter: full or not, and when a full bin keeps its motor from the next start.

A full bin never ends a cut. Where the shop file says so it counts as an open door (C14) from the moment at which its
motor is off and no tool of its system runs; until then it only warns. One thread, the control thread, owns this.
"""

from collections.abc import Callable

from gatekeeper.control.messages import Event, InputSeen
from gatekeeper.shop.model import FullBin, Input, InputKind, Shop

CARE_KINDS = (InputKind.BIN_FULL, InputKind.FILTER_PRESSURE)
#: A level or a pressure must stand this long, seconds: chips fly past a sensor. Ours.
STANDS_S = 5.0


def refuses(shop: Shop, source: Input) -> bool:
    """Whether this input is a bin that refuses the next start."""
    return source.kind is InputKind.BIN_FULL and any(
        shop.motors[motor].care.full_bin is FullBin.REFUSES for motor in source.systems
    )


class CareContacts:
    """What bins and filters say.

    Args:
        shop: the shop.

    ``is_idle`` says of a motor whether it is off and no tool of its system runs; whoever owns the core sets it.
    ``standing``: the inputs that have said yes for long enough, for any thread.
    """

    def __init__(self, shop: Shop) -> None:
        self._inputs = {source.name: source for source in shop.inputs.values() if source.kind in CARE_KINDS}
        self._refusing = frozenset(name for name, source in self._inputs.items() if refuses(shop, source))
        self._since_s: dict[str, float] = {}
        self._told: dict[str, str] = {}
        self.is_idle: Callable[[str], bool] = lambda motor: True
        self.standing: frozenset[str] = frozenset()

    def seen(self, source: Input, at_s: float, *, yes: bool | None) -> list[Event]:
        """A contact changed; a lost one says nothing new."""
        if yes is None:
            return []
        if yes:
            self._since_s.setdefault(source.name, at_s)
            return []
        self._since_s.pop(source.name, None)
        self.standing -= {source.name}
        return self._tell(source.name, "made")

    def due(self, now_s: float) -> list[Event]:
        """What time has made of it; asked about once a second."""
        self.standing = frozenset(name for name, since_s in self._since_s.items() if now_s - since_s >= STANDS_S)
        events: list[Event] = []
        for name in sorted(self.standing & self._refusing):
            if self._told.get(name) != "open" and all(self.is_idle(motor) for motor in self._inputs[name].systems):
                events += self._tell(name, "open")
        return events

    def _tell(self, name: str, state: str) -> list[Event]:
        if name not in self._refusing or self._told.get(name) == state:
            return []
        self._told[name] = state
        return [InputSeen(name, "open" if state == "open" else "made")]
