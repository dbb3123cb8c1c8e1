"""A gate's position switches at signals fidelity."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum

from gatekeeper.control.messages import Event, SwitchSeen
from gatekeeper.devices.inputs import PositionSwitches
from gatekeeper.shop.model import Gate
from sim.senses import QUICK_DELAYS, Later


class SwitchLie(Enum):
    """How position switches can be wrong."""

    DEAD = "dead"  # neither is ever made
    SAYS_OPEN = "says open"  # the open one is always made, the shut one as it is
    SAYS_SHUT = "says shut"  # the shut one is always made, the open one never
    LOOSE = "loose"  # while the gate stands at an end they come and go


#: A loose one comes and goes this often, seconds.
LOOSE_S = 1.5


@dataclass(slots=True)
class _Contact:
    """One of the two as the gate's driver reads it, raw."""

    name: str
    is_made: bool = False

    def level(self) -> bool:
        return not self.is_made

    def made(self) -> bool:
        return self.is_made

    def poll(self, now_s: float) -> None:
        """The driver reads it itself."""

    def close(self) -> None:
        """There is no line."""


class GateSwitches:
    """The switches of one gate that has at least one.

    Args:
        gate: the gate.
        later: runs something after so many seconds of the play.
        tell: takes the events.
    """

    def __init__(self, gate: Gate, later: Later, tell: Callable[[Event], None]) -> None:
        self.name = gate.name
        self._later, self._tell = later, tell
        self._open = _Contact(f"open:{gate.name}") if gate.open_contact is not None else None
        self._shut = _Contact(f"shut:{gate.name}") if gate.shut_contact is not None else None
        self._at_open = self._at_shut = False
        self._lie: SwitchLie | None = None
        self._is_off = False
        self._is_awake = False
        self._said: str | None = None
        self._turn = 0

    def for_driver(self) -> PositionSwitches:
        """The same switches for the gate's driver."""
        return PositionSwitches(self._open, self._shut)

    def feel(self, at_open: bool, at_shut: bool) -> None:
        """Where the gate stands changes."""
        self._at_open, self._at_shut = at_open, at_shut
        self._judge()

    def break_it(self, lie: SwitchLie | None) -> None:
        """Break them, or mend them (None)."""
        self._lie, self._is_off = lie, False
        self._judge()
        if lie is SwitchLie.LOOSE:
            self._later(LOOSE_S, self._jump)

    def wake(self) -> None:
        """The controller has begun to listen."""
        self._is_awake, self._said = True, None
        self._judge()

    def sleep(self) -> None:
        """Nobody listens."""
        self._is_awake = False
        self._turn += 1

    def _jump(self) -> None:
        if self._lie is SwitchLie.LOOSE:
            self._is_off = not self._is_off
            self._judge()
            self._later(LOOSE_S, self._jump)

    def _judge(self) -> None:
        at_open, at_shut = self._at_open, self._at_shut
        match self._lie:
            case SwitchLie.DEAD:
                at_open = at_shut = False
            case SwitchLie.SAYS_OPEN:
                at_open = True
            case SwitchLie.SAYS_SHUT:
                at_open, at_shut = False, True
            case SwitchLie.LOOSE if self._is_off:
                at_open = at_shut = False
            case _:
                pass
        if self._open is not None:
            self._open.is_made = at_open
        if self._shut is not None:
            self._shut.is_made = at_shut
        if not self._is_awake:
            return
        self._turn += 1
        word = self._word()
        if word == self._said:
            return
        turn = self._turn

        def speak() -> None:
            if turn == self._turn:
                self._said = word
                self._tell(SwitchSeen(self.name, word))  # type: ignore[arg-type]

        self._later(QUICK_DELAYS.yes_s, speak)

    def _word(self) -> str:
        is_open = self._open is not None and self._open.is_made
        is_shut = self._shut is not None and self._shut.is_made
        if is_open is is_shut:
            return "between"
        return "open" if is_open else "shut"
