"""How many pins of the board are left for what an interview still offers, so that it offers nothing without a pin.

A count and no choice: which wire gets which pin is chosen when the file is written (``shop.choosing``).
"""

from dataclasses import dataclass

from gatekeeper.shop.choosing import WANTED, CannotChoose, Role, choices_for
from gatekeeper.shop.claims import I2C_LINES, taken_lines
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.places import read_tree

FOR_OUTPUTS = frozenset(WANTED[Role.MOTOR])
FOR_ANYTHING = frozenset(WANTED[Role.CONTACT])

NO_PINS = " The board has no pins left for more than this."
"""What a question adds where something is not offered."""


@dataclass(frozen=True, slots=True)
class Pins:
    """What something takes: ``outputs`` need a pin that is low at power-up, ``contacts`` any."""

    outputs: int = 0
    contacts: int = 0

    def __add__(self, other: "Pins") -> "Pins":
        return Pins(self.outputs + other.outputs, self.contacts + other.contacts)


@dataclass(frozen=True, slots=True)
class Room:
    """What is left.

    Args:
        outputs: pins for outputs.
        lines: pins altogether.
        i2c: a chip on I2C can be had.
    """

    outputs: int = len(FOR_OUTPUTS)
    lines: int = len(FOR_ANYTHING)
    i2c: bool = True

    def has(self, wanted: Pins) -> bool:
        """Whether this much is left; what takes no pin always fits, also where more is taken than there is."""
        together = wanted.outputs + wanted.contacts
        return wanted.outputs <= max(0, self.outputs) and together <= max(0, self.lines)

    def less(self, taken: Pins) -> "Room":
        """What is left after this much."""
        return Room(self.outputs - taken.outputs, self.lines - taken.outputs - taken.contacts, self.i2c)


def text_room(text: str, *, has_i2c: bool) -> Room:
    """What is left in the file of a shop; ``has_i2c``: a chip is on I2C already."""
    tree = read_tree(text.removeprefix("\ufeff"), "")
    assert not isinstance(tree, Faults), "the text of a shop can be read"
    taken = taken_lines(tree)
    try:
        taken |= {choice.line for choice in choices_for(text, "", move=False)}
    except CannotChoose:
        return Room(0, 0, has_i2c)
    free = FOR_ANYTHING - taken
    return Room(len(free & FOR_OUTPUTS), len(free), has_i2c or not taken & set(I2C_LINES))
