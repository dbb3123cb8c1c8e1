"""Choosing pins: for every wire whose pin is still to be chosen, and for every output on a pin that moves at power-up.

What may start a motor chooses first and gets the quiet pins, then what moves gates, then servos and lamps, then
contacts, which are content with what is left. A wire that stands well stays where it is. Pure: text in, text out.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from gatekeeper.shop.claims import PIN_KEYS, taken_lines
from gatekeeper.shop.faults import Faults, listed
from gatekeeper.shop.fields import line_of
from gatekeeper.shop.lines import (
    CONSOLE_LINE,
    HEADER_PINS,
    IDENTITY_LINES,
    LOW_BUT_SHARED,
    PULLED_UP_AT_BOOT,
    QUIET,
    TO_BE_CHOSEN,
    UP_AND_PLAIN,
)
from gatekeeper.shop.places import Tree, read_tree
from gatekeeper.shop.rewrite import Change, rewritten


class Role(Enum):
    """What hangs on a pin, in the order in which they choose."""

    MOTOR = "starts a motor or permits a start"
    MOVES = "moves a gate by a relay"
    SERVO = "sends pulses to a servo"
    ENABLE = "lets a bank of servos send pulses while it is low"
    LAMP = "lights a lamp"
    CONTACT = "is read"


ROLES: dict[tuple[str, ...], Role] = {
    ("motors", "*", "switched_by", "pin"): Role.MOTOR,
    ("motors", "*", "switched_by", "start"): Role.MOTOR,
    ("motors", "*", "switched_by", "stop"): Role.MOTOR,
    ("permits", "*", "pin"): Role.MOTOR,
    ("gates", "*", "bridge", "open"): Role.MOVES,
    ("gates", "*", "bridge", "shut"): Role.MOVES,
    ("gates", "*", "bridge", "enable"): Role.MOVES,
    ("gates", "*", "relays", "open"): Role.MOVES,
    ("gates", "*", "relays", "shut"): Role.MOVES,
    ("gates", "*", "coil", "pin"): Role.MOVES,
    ("gates", "*", "servo", "pin"): Role.SERVO,
    ("servo_banks", "*", "enable"): Role.ENABLE,
    ("signs", "*", "pin"): Role.LAMP,
    ("signs", "*", "coming"): Role.LAMP,
    ("signs", "*", "no_air"): Role.LAMP,
    ("messages", "lamp", "pin"): Role.LAMP,
}
"""What the keys of ``PIN_KEYS`` are; those that are not here are contacts."""

WANTED: dict[Role, tuple[int, ...]] = {
    Role.MOTOR: QUIET + LOW_BUT_SHARED,
    Role.MOVES: QUIET + LOW_BUT_SHARED,
    Role.SERVO: LOW_BUT_SHARED + QUIET,
    Role.ENABLE: UP_AND_PLAIN + LOW_BUT_SHARED + QUIET,
    Role.LAMP: LOW_BUT_SHARED + QUIET,
    Role.CONTACT: (*UP_AND_PLAIN, 4, *LOW_BUT_SHARED, *reversed(QUIET), 15, 14, 9, 10, 11, 7, 8, 3, 2),
}
ON_WHEN_LOW = UP_AND_PLAIN

WITH_CARE = {
    **dict.fromkeys((2, 3), "free while nothing is on I2C; the board's own resistors hold it up"),
    4: "1-wire must stay off",
    **dict.fromkeys((14, 15), "the serial console must be off"),
    **dict.fromkeys((7, 8, 9, 10, 11), "free while no converter is on the first SPI bus"),
}
"""What else has to be so where these lines are taken."""


class CannotChoose(Exception):
    """There is no pin to give; the message is one plain sentence."""


@dataclass(frozen=True, slots=True)
class Wanting:
    """One written pin: its path in the file, the line it has (None: to be chosen), and the words behind it."""

    path: tuple[str, ...]
    role: Role
    line: int | None
    words: str

    @property
    def active_low(self) -> bool:
        return self.words == "active low"


@dataclass(frozen=True, slots=True)
class Choice:
    """A pin for one wire, and why this one."""

    path: tuple[str, ...]
    line: int
    was: int | None
    words: str
    why: str

    @property
    def written(self) -> str:
        """As it stands in the file."""
        return f"GPIO{self.line} {self.words}".rstrip()

    @property
    def in_words(self) -> str:
        """A sentence or two for the person who wires it."""
        before = "" if self.was is None else f" instead of GPIO{self.was}"
        where = f"GPIO{self.line} (header pin {HEADER_PINS[self.line]}){before}"
        return f"{' > '.join(self.path)}: {where}. {self.why}"


def choices_for(text: str, name: str, *, move: bool = True) -> list[Choice]:
    """The pins that a shop file still wants, in the order of choosing; empty when every pin stands well.

    ``move``: also better pins for outputs that would move at power-up; else only for wires that have none.

    Raises:
        CannotChoose: the file cannot be read, or no pin is left for a wire; says which, and what to do.
    """
    tree = read_tree(text, name)
    if isinstance(tree, Faults):
        raise CannotChoose(f"{name}: this file cannot be read; mend it first (gatekeeper check {name})")
    every = list(_written(tree))
    to_serve = [one for one in every if one.line is None or (move and _wrong(one) is not None)]
    # Whoever is moved gives its own line free for the others.
    taken = taken_lines(tree) - {one.line for one in to_serve if one.line is not None}
    found: list[Choice] = []
    order = list(Role)
    for one in sorted(to_serve, key=lambda wanting: order.index(wanting.role)):
        line = next((line for line in _lines_for(one) if line not in taken), None)
        if line is None:
            raise CannotChoose(_nothing_left(one, every))
        taken.add(line)
        found.append(Choice(one.path, line, one.line, one.words, _why(one, line)))
    return found


def with_pins(text: str, name: str, choices: list[Choice]) -> str:
    """The text of a shop file with these pins in it, everything else as it was. Raises CannotRewrite."""
    return rewritten(text, name, [Change(one.path[:-1], one.path[-1], one.written) for one in choices])


def _written(tree: Tree) -> Iterator[Wanting]:
    for pattern in PIN_KEYS:
        for loc, raw in tree.leaves(*pattern):
            path = tuple(str(step) for step in loc)
            written = " ".join(raw.split())
            line = line_of(written)
            words = written.removeprefix(TO_BE_CHOSEN) if line is None else _behind(written, line)
            if line is not None or written.startswith(TO_BE_CHOSEN):
                yield Wanting(path, ROLES.get(pattern, Role.CONTACT), line, words.strip())


def _behind(written: str, line: int) -> str:
    """The words behind a pin."""
    return written.partition(str(line))[2]


def _lines_for(one: Wanting) -> tuple[int, ...]:
    return ON_WHEN_LOW if one.active_low else WANTED[one.role]


def _wrong(one: Wanting) -> str | None:
    """What is wrong with the line that an output has, or None. Contacts drive nothing and may stand anywhere."""
    line = one.line
    assert line is not None
    if line in IDENTITY_LINES:
        return "belongs to the board's own identification"
    if one.role in (Role.CONTACT, Role.ENABLE):
        return None
    if one.active_low:
        return None if line in PULLED_UP_AT_BOOT else "is pulled down while the board starts, and this relay is on then"
    if line in PULLED_UP_AT_BOOT:
        return "is pulled up while the board starts"
    if line == CONSOLE_LINE:
        return "is driven high by the serial console while the board starts"
    return None


def _why(one: Wanting, line: int) -> str:
    said = []
    if one.line is not None:
        said.append(f"GPIO{one.line} {_wrong(one)}.")
    if one.role is Role.CONTACT:
        pull = "pulled up already while the board starts" if line in PULLED_UP_AT_BOOT else "left over by the outputs"
        said.append(f"A contact drives nothing and may stand anywhere; this one is {pull}.")
    elif one.role is Role.ENABLE:
        said.append("Its 10 k to 3.3 V holds the bank off, on any line that nothing drives.")
    elif one.active_low:
        said.append("Pulled up while the board starts, so a relay that is on when low stays off; add 10 k to 3.3 V.")
    elif line in QUIET:
        said.append("Low while the board starts and wanted by no bus.")
    else:
        said.append("Low while the board starts; free as long as neither sound nor a second SPI bus is in use.")
    care = WITH_CARE.get(line)
    if care is not None:
        said.append(f"Mind: {care}.")
    return " ".join(said)


def _nothing_left(one: Wanting, every: list[Wanting]) -> str:
    lines = _lines_for(one)
    holders = [" > ".join(other.path) for other in every if other.line in lines and other.role is Role.CONTACT]
    said = f"{' > '.join(one.path)}: no pin is left that is quiet at power-up ({listed([f'GPIO{n}' for n in lines])})"
    if holders:
        return f"{said}; contacts may stand anywhere: write to be chosen at {listed(holders, 'or', 4)} and ask again"
    return f"{said}; take a device away, or put gates on a driver that needs fewer pins"
