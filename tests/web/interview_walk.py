"""Answers for a small new shop, by what each question is about: further questions take what is usual."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from gatekeeper.interview.engine import UNKNOWN, Question
from gatekeeper.interview.new import new_shop
from gatekeeper.interviewing import Face, interview_new

#: What has to be told of a shed; a list is taken from its beginning.
SHED: dict[str, tuple[str, ...]] = {
    "name": ("Shed & sons",),
    "units": ("inch",),
    "power": ("2 hp",),
    "at the collector": ("length of duct", "nothing more"),
    "length": ("8 ft", "7.5 ft", "unknown"),
    "diameter": ("6 in", "4 in", "4 in"),
    "next": ("45 wye", "machine", "45 wye", "machine", "nothing more"),
    "machine": ("bandsaw", "old planer"),
    "alike": ("no",),
    "gate": ("by hand", "servo"),
}


@dataclass
class Script:
    """Answers as they are wanted."""

    told: dict[str, list[str]]

    def answer(self, question: Question) -> str:
        waiting = self.told.get(question.about)
        if waiting:
            return waiting.pop(0)
        if question.default is not None:
            return question.default
        return UNKNOWN if question.unknown is not None else question.choices[0]


def shed() -> Script:
    return Script({about: list(answers) for about, answers in SHED.items()})


def shed_answers() -> Iterator[tuple[Question, str]]:
    """Every question of the shed, with its answer."""
    script, interview = shed(), new_shop()
    while (question := interview.stand().question) is not None:
        answer = script.answer(question)
        yield question, answer
        interview = interview.answered(answer)


def as_the_terminal_writes(path: Path, answers: list[str]) -> bytes:
    """The file that the terminal makes of the same answers."""
    lines = [*answers, ""]

    def ask(_: str) -> str | None:
        return lines.pop(0) if lines else None

    said: Callable[[str], None] = [].append
    assert interview_new(path, Face(said, ask)) is True
    return path.read_bytes()
