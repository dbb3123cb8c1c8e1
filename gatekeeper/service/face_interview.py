"""What the page sees of an interview: the question that is due, the ducts so far, the air, what will be written.

Frozen views and one protocol. See ``face``.
"""

from dataclasses import dataclass
from typing import Literal, Protocol

from gatekeeper.service.face_parts import Answer

#: A shop from nothing; a machine more, one that gets another way to the collector, one that leaves; a motor more; a
#: gate that gets something else to move it.
InterviewWhat = Literal["new", "add", "move", "retire", "motor", "gate"]


@dataclass(frozen=True, slots=True)
class QuestionView:
    """The question that is due.

    Args:
        said: the question. explained: what it is for.
        default: the answer that may be taken as it stands, or None.
        choices: words to choose from; empty for figures and names.
        own: what an answer beside the choices is called; empty where only a choice is taken.
        unknown: what is taken where nobody knows, one sentence; None where it has to be known.
        units: units of a figure, the likeliest first; empty where words are asked for.
    """

    said: str
    explained: str
    default: str | None = None
    choices: tuple[str, ...] = ()
    own: str = ""
    unknown: str | None = None
    units: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SketchDuct:
    """One line of the picture of ducts.

    Args:
        name: of the duct, or of the gate where that sits straight on the collector.
        towards: the duct or collector that it leads to.
        diameter_m: drawn as line width.
        size: its measures in words.
        machines: what stands at its end; None where nothing does, empty for a gate that no machine is seen at.
        moves_itself: its gate does; without meaning where there is none.
        is_begun: it is being told just now.
        is_new: it is not in the file yet.
    """

    name: str
    towards: str
    diameter_m: float
    size: str
    machines: tuple[str, ...] | None = None
    moves_itself: bool = False
    is_begun: bool = False
    is_new: bool = False


@dataclass(frozen=True, slots=True)
class AirView:
    """What one machine gets of the air while it runs alone, and what it needs, in the shop's units."""

    machine: str
    gets: str
    needs: str
    is_short: bool


@dataclass(frozen=True, slots=True)
class EndView:
    """All is answered: what will be written.

    Args:
        file: where.
        text: the lines that are new in it; of a new shop the whole.
        gone: the lines that leave it.
        assumed: what in it is an estimate.
        anew: what is to be commissioned anew, whole sentences.
        trouble: why it cannot be written, one sentence; None where it can.
    """

    file: str
    text: str
    gone: str
    assumed: tuple[str, ...]
    anew: tuple[str, ...]
    trouble: str | None = None


@dataclass(frozen=True, slots=True)
class GoingView:
    """An interview that goes on.

    Args:
        what, title: which; the title is for people ("A machine more").
        mark: where it stands; goes back with every press, so that two phones do not answer one question twice.
        count: how many answers there are.
        last: the last answer; empty where there is none.
        question: the one that is due; None where all is answered.
        told: what the last answer did, whole sentences.
        systems: the ducts of each collector.
        air: the machines and their air.
        air_note: what to know of these figures, one sentence; empty where nothing.
        end: what will be written; None while a question is due.
    """

    what: InterviewWhat
    title: str
    mark: str
    count: int
    last: str
    question: QuestionView | None
    told: tuple[str, ...]
    systems: tuple[tuple[str, tuple[SketchDuct, ...]], ...]
    air: tuple[AirView, ...]
    air_note: str
    end: EndView | None


@dataclass(frozen=True, slots=True)
class NextStep:
    """What comes after: a sentence, and the command to type or the page to open; either may be empty."""

    said: str
    command: str = ""
    path: str = ""


@dataclass(frozen=True, slots=True)
class DoneView:
    """An interview that was written: one sentence, pins, assumptions, what to commission anew, what comes next."""

    said: str
    pins: tuple[str, ...]
    assumed: tuple[str, ...]
    anew: tuple[str, ...]
    steps: tuple[NextStep, ...]


@dataclass(frozen=True, slots=True)
class OfferedGate:
    """A gate that may get something else to move it.

    Args:
        name: of the gate.
        machines: those that it serves; empty where none is seen there.
        moved: what moves it now, in words ("moved by hand").
    """

    name: str
    machines: tuple[str, ...]
    moved: str


@dataclass(frozen=True, slots=True)
class InterviewView:
    """All that there is to see.

    Args:
        going: the interview that goes on, or None.
        done: the last one that was written, until another begins.
        machines: those that can be moved or retired; empty for a new shop.
        refusal: why nothing can be changed here, one sentence; None where it can.
        waiting: what of the file does not count yet, one sentence; None where the controller runs by the file.
        stays: why the controller cannot be started anew now, and what to do, one sentence; None where it can.
        commands: the commands that do the same in the terminal.
        gates: those that may get something else to move them, gates moved by hand first; empty for a new shop.
    """

    going: GoingView | None
    done: DoneView | None
    machines: tuple[str, ...] = ()
    refusal: str | None = None
    waiting: str | None = None
    stays: str | None = None
    commands: tuple[str, ...] = ()
    gates: tuple[OfferedGate, ...] = ()


class Interviews(Protocol):
    """Interviews about one shop file. Every method may read and write files: call it from a worker thread.

    An answer with an empty sentence has nothing to say: the page shows where the interview stands now.
    """

    def view(self) -> InterviewView:
        """Where it stands, by the files as they are now."""
        ...

    def begin(self, what: str, name: str) -> Answer:
        """Begin to ask: "add" or "motor"; "move" or "retire" with the name of a machine; "gate" with that of a gate."""
        ...

    def answer(self, mark: str, text: str) -> Answer:
        """Answer the question that is due."""
        ...

    def back(self, mark: str) -> Answer:
        """Take the last answer back."""
        ...

    def write(self, mark: str) -> Answer:
        """Write what came of it."""
        ...

    def leave(self, mark: str) -> Answer:
        """Give it up: the answers go, the file stays as it is."""
        ...

    def take_over(self) -> Answer:
        """Start the controller anew, so that it runs by the file. Refused while anything runs."""
        ...
