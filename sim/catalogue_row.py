"""What one row of the catalogue of faults says, and the ways in which most rows put their fault in and take it away."""

import math
import random
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from gatekeeper.shop.model import Gate, Motor, Shop
from sim.happening import Happening, What
from sim.plant_faults import PlantFault
from sim.trial import Trial


class Layer(StrEnum):
    """Where a fault is tried: from the core's events, from converter codes and pins, or in the running service."""

    SIGNALS = "signals"
    SAMPLES = "samples"
    SERVICE = "service"


class Part(StrEnum):
    """What breaks, for the table's order and headings."""

    GATE = "gates"
    SWITCH = "position switches"
    SENSOR = "sensors"
    MOTOR = "motors"
    AIR = "air and chips"
    BOARD = "the board and its program"
    DISK = "clock, disk and network"
    PEOPLE = "people"


Subjects = Callable[[Shop], tuple[str, ...]]
#: Shop, subject, when, until when (infinite: nobody takes it away), and a source of chance.
Happens = Callable[[Shop, str, float, float, random.Random], list[Happening]]
#: A complaint, or None where the written outcome holds.
Holds = Callable[[Trial], str | None]

#: The subject of a row that is about the shop as a whole.
WHOLE_SHOP = ""


@dataclass(frozen=True, slots=True)
class Fault:
    """One row.

    Args:
        name: our own name in trade words; unique.
        part: what breaks.
        breaks: what is wrong, in one clause.
        put_in, taken_away: how, in the virtual shop.
        outcome: what must be so, within which time: one sentence.
        rules: the control rules behind it.
        layers: where it is tried.
        subjects: what in a shop it can befall; empty where the shop has nothing of the kind.
        happens: the fault as happenings; None for a row of the service layer alone.
        holds: whether the outcome holds in a trial; None for a row of the service layer alone.
    """

    name: str
    part: Part
    breaks: str
    put_in: str
    taken_away: str
    outcome: str
    rules: tuple[str, ...]
    layers: tuple[Layer, ...]
    subjects: Subjects
    happens: Happens | None = None
    holds: Holds | None = None


def breaking(fault: PlantFault) -> Happens:
    """Put one fault of the machinery in, and take it away again where there is an end."""

    def happens(shop: Shop, subject: str, at_s: float, until_s: float, draw: random.Random) -> list[Happening]:
        return spell(What.FAULT, What.MEND, subject, fault, at_s, until_s)

    return happens


def spell(
    begins: What, ends: What, subject: str | None, value: Any, at_s: float, until_s: float, after: Any = None
) -> list[Happening]:
    """Something that begins and, where it has an end, ends (with ``after`` as its value, or the same)."""
    found = [Happening(at_s, begins, subject, value)]
    if math.isfinite(until_s):
        found.append(Happening(until_s, ends, subject, value if after is None else after))
    return found


def whole_shop(shop: Shop) -> tuple[str, ...]:
    """For faults of the board and the people: every shop has them."""
    return (WHOLE_SHOP,)


def gates_with(true: Callable[[Gate, Motor], bool]) -> Subjects:
    """The gates of which something is true, given the motor on whose duct they sit."""
    return lambda shop: tuple(name for name, gate in shop.gates.items() if true(gate, shop.motors[gate.motor]))


def motors_with(true: Callable[[Motor], bool]) -> Subjects:
    """The motors of which something is true."""
    return lambda shop: tuple(name for name, motor in shop.motors.items() if true(motor))
