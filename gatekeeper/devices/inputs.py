"""Contact inputs: dry contacts, the Hand-Off-Auto switch, position switches.

Edges come in the back end's own thread and may be lost. So an edge only makes us read the level again and hand on what
differs, and ``poll``, once a second, does the same without any edge. Nothing here debounces: that is pure code.
"""

import threading

from gatekeeper.devices.base import Contact, ContactSeen, Position, ReportContact, SelectorState
from gatekeeper.devices.pins import Pins


class ContactInput:
    """One dry contact between a GPIO line and ground (pull up) or 3.3 V (pull down).

    A contact that must tell of a broken wire is a normally closed one: ``made`` is then the good state, and an open
    contact, a broken wire and a lost plug all read as not made. The red button, the fire detector and the door inputs
    are wired like that. A current switch (self-powered, solid state or dry) is a normally open one: made means that
    current flows, and a broken wire cannot be told from a stopped tool.

    Wiring: two wires, a 1 to 10 kilo-ohm outside pull where the run is long, never mains on this contact.

    Args:
        pins: the board's lines.
        name: the contact's name.
        pin: GPIO number; 2 and 3 only with pull "up", which is fixed there.
        pull: "up" with the contact to ground, "down" with the contact to 3.3 V.
        report: called with a ``ContactSeen`` whenever the state differs from the one reported last, in the thread
            that saw it. It must only put it on a queue. When it raises, the state counts as not reported.

    Raises:
        DeviceError: the line cannot be claimed with that pull.
    """

    def __init__(
        self, pins: Pins, name: str, pin: int, *, pull: str = "up", report: ReportContact | None = None
    ) -> None:
        self.name = name
        self._pins = pins
        self._report = report
        self._made_level = pull == "down"
        self._lock = threading.Lock()
        self._reported: bool | None = None
        self._lost_edges = 0
        self._line = pins.contact(name, pin, pull, self._edge if report is not None else None)

    def level(self) -> bool:
        """The raw level of the line now, True for high."""
        return bool(self._line.level)

    def made(self) -> bool:
        """True while the circuit is closed."""
        return self.level() is self._made_level

    @property
    def lost_edges(self) -> int:
        """How many edges could not be handed on; ``poll`` made up for them."""
        return self._lost_edges

    def poll(self, now_s: float) -> None:
        """Read the level again and report it when it differs from the one reported last; the first poll always does."""
        self._look(now_s)

    def close(self) -> None:
        """Give the line back."""
        self._pins.release(self._line)

    def _edge(self) -> None:
        """In a thread that is not ours: nothing may be raised into it."""
        try:
            self._look(self._pins.clock())
        except Exception:
            self._lost_edges += 1

    def _look(self, now_s: float) -> None:
        if self._report is None:
            return
        with self._lock:
            made = self.made()
            if made is not self._reported:
                self._report(ContactSeen(now_s, self.name, made))
                self._reported = made


class HandOffAuto:
    """A Hand-Off-Auto switch read through two contacts, one made in Hand and one made in Auto.

    Neither made is Off; so is a broken wire. Both made cannot be, and counts as Off: nothing is commanded then.
    """

    def __init__(self, hand: Contact, auto: Contact) -> None:
        self._hand = hand
        self._auto = auto

    def state(self) -> SelectorState:
        """Where the switch stands now, raw."""
        hand, auto = self._hand.made(), self._auto.made()
        if hand == auto:
            return SelectorState.OFF
        return SelectorState.HAND if hand else SelectorState.AUTO

    def fault(self) -> str | None:
        """A sentence when both contacts are made, else None."""
        if self._hand.made() and self._auto.made():
            return (
                f"The Hand-Off-Auto switch says Hand and Auto at once ({self._hand.name}, {self._auto.name}). "
                "It counts as Off. Check its wiring."
            )
        return None


class PositionSwitches:
    """One or two contacts at a gate's ends, made when the gate stands there.

    With the switch at one end only, the other end reads as between: what nobody sees is not claimed.

    Args:
        at_open: made when the gate is fully open, or None.
        at_shut: made when the gate is fully shut, or None.
    """

    def __init__(self, at_open: Contact | None = None, at_shut: Contact | None = None) -> None:
        self._at_open = at_open
        self._at_shut = at_shut

    def position(self) -> Position:
        """Where the gate stands now, raw; both made at once is between."""
        is_open, is_shut = self._ends()
        if is_open == is_shut:
            return Position.BETWEEN
        return Position.OPEN if is_open else Position.SHUT

    def sees(self, end: Position) -> bool:
        """True when there is a switch at that end."""
        return (self._at_open if end is Position.OPEN else self._at_shut) is not None

    def fault(self) -> str | None:
        """A sentence when both switches are made, else None."""
        if self._at_open is not None and self._at_shut is not None and all(self._ends()):
            return (
                f"Both position switches are made at once ({self._at_open.name}, {self._at_shut.name}). "
                "The gate counts as between. Check the switches and their wires."
            )
        return None

    def _ends(self) -> tuple[bool, bool]:
        return (
            self._at_open is not None and self._at_open.made(),
            self._at_shut is not None and self._at_shut.made(),
        )
