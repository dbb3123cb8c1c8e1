"""One thing to try, and the words for how it ended."""

from dataclasses import dataclass
from enum import Enum


class Stage(Enum):
    """The stages in the order of the walk; the value is its word on the disk."""

    TOOLS = "tools"
    INPUTS = "inputs"
    GATES = "gates"
    CONTACTORS = "contactors"
    STOPS = "stops"
    BONDING = "bonding"
    STARTS = "first start"
    SUCTION = "suction"


class Kind(Enum):
    """What is tried; the value is the first half of a step's key, and stays as it is: results are kept under it."""

    SEE_TOOL = "tool"
    CONTACT = "contact"
    SELECTOR = "selector"
    ENDS = "ends"
    JOG = "gate"
    HAND_GATE = "hand gate"
    CLICK = "contactor"
    TURN = "rotation"
    STOP = "stop"
    BOND = "bond"
    START = "start"
    SUCTION = "suction"

    @property
    def stage(self) -> Stage:
        """The stage that it belongs to."""
        return _STAGES[self]


_STAGES = {
    Kind.SEE_TOOL: Stage.TOOLS,
    Kind.CONTACT: Stage.INPUTS,
    Kind.SELECTOR: Stage.INPUTS,
    Kind.ENDS: Stage.GATES,
    Kind.JOG: Stage.GATES,
    Kind.HAND_GATE: Stage.GATES,
    Kind.CLICK: Stage.CONTACTORS,
    Kind.TURN: Stage.CONTACTORS,
    Kind.STOP: Stage.STOPS,
    Kind.BOND: Stage.BONDING,
    Kind.START: Stage.STARTS,
    Kind.SUCTION: Stage.SUCTION,
}

#: What is so of the part that a step proves, as (what, how it is); kept with each result.
Facts = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Step:
    """One step.

    Args:
        kind, subject: what is tried, of which part; for a contact the subject is ``meaning:name`` as the wiring has it.
        title: in words.
        facts: what is so of that part by the shop file.
    """

    kind: Kind
    subject: str
    title: str
    facts: Facts

    @property
    def key(self) -> str:
        """Which; stable over restarts."""
        return f"{self.kind.value}/{self.subject}"

    @property
    def stage(self) -> Stage:
        """Its stage."""
        return self.kind.stage


class Outcome(Enum):
    """How a step ended; the value is its word on the disk."""

    PASSED = "passed"
    FAILED = "failed"
    LEFT_OUT = "left out"


@dataclass(frozen=True, slots=True)
class Figure:
    """Something measured: what, the figure with its unit, and what it was compared with (empty where with nothing)."""

    what: str
    value: str
    against: str = ""
