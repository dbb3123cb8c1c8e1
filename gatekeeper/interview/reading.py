"""How answers are read: quantities in the person's own units, names that a shop file takes, yes and no."""

from collections.abc import Callable, Collection
from dataclasses import dataclass

from pydantic_core import PydanticCustomError

from gatekeeper.interview.engine import NotUnderstood, Question, one_of
from gatekeeper.shop.fields import name_fault, quantity
from gatekeeper.shop.sense import names_sparks
from gatekeeper.shop.units import parse, units_of

YES_NO = ("yes", "no")
RESERVED = ("back", "unknown", "none", "main feeder", "gate supply")
"""Words that mean something else in an interview or in a shop."""

NO_MORE = "nothing more"
DIAMETERS = ("length", "20 mm", "1 m")

LONGEST_NAME = 32
"""The name of a machine: its duct and gate are called after it, and 40 characters fit on a sign."""


@dataclass(frozen=True, slots=True)
class Size:
    """A quantity as the person wrote it, and in SI."""

    text: str
    si: float


def size(kind: str, least: str, most: str) -> Callable[[str], Size]:
    """How an answer is read: a quantity between two others, ends included; a shop file has the same limits."""
    reads = quantity(kind, least, most)

    def read(answer: str) -> Size:
        text = answer
        # The marks for inch and foot would need quotes in a shop file.
        for mark, unit in (('"', " in"), ("'", " ft")):
            text = text[:-1].rstrip() + unit if text.endswith(mark) else text
        try:
            reads.read(text)
            return Size(text, parse(text, kind))
        except PydanticCustomError as error:
            raise NotUnderstood(f"{_sentence(error.message())}") from None

    return read


def size_question(
    about: str,
    said: str,
    explained: str,
    limits: tuple[str, str, str],
    default: str | None = None,
    unknown: str | None = None,
) -> Question:
    """A question for a quantity; ``limits``: its kind, the least and the most."""
    kind, least, most = limits
    told = f"{explained} Write a number and a unit ({units_of(kind)}), {least} to {most}."
    return Question(about, said, told, size(kind, least, most), default, (), unknown, kind)


def choice_question(
    about: str,
    said: str,
    explained: str,
    choices: tuple[str, ...],
    default: str | None = None,
    unknown: str | None = None,
) -> Question:
    """A question for one word of a list."""
    return Question(about, said, explained, one_of(choices), default, choices, unknown)


def yes_no_question(about: str, said: str, explained: str, default: str, unknown: str | None = None) -> Question:
    """A question for yes or no; its answer means ``"yes"`` or ``"no"``."""
    return choice_question(about, said, explained, YES_NO, default, unknown)


def shop_name(answer: str) -> str:
    """The name of a shop: one line that fits on a page."""
    if len(answer) > 80:
        raise NotUnderstood("This is too long for the name of a shop; at most 80 characters fit.")
    return answer


def machine_name(
    taken: Collection[str], offered: tuple[str, ...], *, with_parts: bool, again: tuple[str, ...] = ()
) -> Callable[[str], str]:
    """How the name of a machine is read: one of ``offered`` by its number, else a name of the person's own.

    ``taken``: every name that the shop has already. ``with_parts``: its duct, gate, button and sign must get their
    names, too. ``again``: machines that may be named a second time.
    """

    def read(answer: str) -> str:
        name = answer
        if name.isascii() and name.isdigit() and 1 <= int(name[:4]) <= len(offered):
            name = offered[int(name[:4]) - 1]
        known = next((word for word in again if word.lower() == name.lower()), None)
        if known is not None:
            return known
        wrong = name_fault(name)
        if wrong is not None:
            raise NotUnderstood(_sentence(wrong))
        if len(name) > LONGEST_NAME:
            raise NotUnderstood(
                f'"{name}" is too long: its gate is named after it. At most {LONGEST_NAME} characters fit.'
            )
        if name.lower() in RESERVED:
            raise NotUnderstood(f'"{name}" means something else here; give the machine another name.')
        sparks = names_sparks(name)
        if sparks is not None:
            raise NotUnderstood(
                f'By its name ("{sparks}") this makes sparks, flame, ash or vapour, and wood dust burns. Give it a '
                "collector made for that, on ducts of its own, and leave it out here."
            )
        words = (name, *parts_of(name)) if with_parts else (name,)
        clash = next((word for word in words if is_taken(word, taken)), None)
        if clash is not None:
            raise NotUnderstood(
                f'The shop has "{clash}" already; give this machine a name of its own, such as {_next(name, taken)}.'
            )
        return name

    return read


def motor_name(taken: Collection[str]) -> Callable[[str], str]:
    """How the name of a motor is read; what may be called after it must be free, too."""

    def read(answer: str) -> str:
        wrong = name_fault(answer)
        if wrong is not None:
            raise NotUnderstood(_sentence(wrong))
        if len(answer) > LONGEST_NAME:
            raise NotUnderstood(f'"{answer}" is too long; at most {LONGEST_NAME} characters fit.')
        if answer.lower() in RESERVED or any(is_taken(word, taken) for word in (answer, *at_motor(answer))):
            raise NotUnderstood(f'"{answer}" means something else here already; give it another name.')
        return answer

    return read


def at_motor(motor: str) -> tuple[str, str, str]:
    """What may be called after a motor: its switch, the contact at its bin, its drive."""
    return f"{motor} switch", f"{motor} bin", f"{motor} drive"


def drop_of(machine: str) -> str:
    """What the duct down to a machine is called."""
    return f"{machine} drop"


def gate_of(machine: str) -> str:
    """What the gate of a machine is called."""
    return f"{machine} gate"


def button_of(machine: str) -> str:
    """What the button at a machine is called."""
    return f"{machine} button"


def sign_of(machine: str) -> str:
    """What the sign at a machine is called."""
    return f"{machine} sign"


def parts_of(machine: str) -> tuple[str, ...]:
    """What may be called after a machine."""
    return drop_of(machine), gate_of(machine), button_of(machine), sign_of(machine)


def is_taken(word: str, taken: Collection[str]) -> bool:
    """Whether a name is among others; a shop does not tell small letters from large."""
    return word.lower() in {other.lower() for other in taken}


def free_motor_name(word: str, taken: Collection[str]) -> str:
    """A name for a motor, with a number behind it until it and what is called after it are free."""
    number, name = 2, word
    while any(is_taken(one, taken) for one in (name, *at_motor(name))):
        name, number = f"{word} {number}", number + 1
    return name


def free_name(word: str, taken: Collection[str]) -> str:
    """The word, or with a number behind it where the shop has it already."""
    number = 2
    free = word
    while is_taken(free, taken):
        free, number = f"{word} {number}", number + 1
    return free


def _next(name: str, taken: Collection[str]) -> str:
    number = 2
    while any(is_taken(word, taken) for word in (f"{name} {number}", *parts_of(f"{name} {number}"))):
        number += 1
    return f"{name} {number}"


def _sentence(said: str) -> str:
    return said[:1].upper() + said[1:].rstrip(".") + "."
