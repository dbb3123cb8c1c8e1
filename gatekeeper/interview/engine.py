"""An interview as a pure state machine: questions in walking order, the answers given so far, what comes of them.

A walk is a generator: it yields a question, is sent what the answer means, and writes into its draft. Where an
interview stands follows from its answers alone, so that taking one back is leaving it out, and going on after a power
cut is reading the answers again.
"""

from collections.abc import Callable, Generator
from dataclasses import dataclass, replace
from typing import Any, Generic, TypeAlias, TypeVar

from gatekeeper.shop.faults import shortened

UNKNOWN = "unknown"
"""The answer for what nobody knows yet."""

Draft = TypeVar("Draft")
Walked = TypeVar("Walked")


class NotUnderstood(ValueError):
    """An answer that cannot be taken; its text is the sentence for the person who gave it."""


@dataclass(frozen=True, slots=True)
class Question:
    """One question.

    Args:
        about: a short word for it that does not change.
        said: the question itself.
        explained: what it is for, and what a good answer looks like.
        read: what an answer means; raises NotUnderstood.
        default: the answer that an empty one stands for, or None where there is none.
        choices: the words to choose from, or some of them; empty for figures and names.
        unknown: what is taken where nobody knows, as a sentence, or None where it has to be known.
        kind: the kind of quantity that is asked for (of ``shop.units``); empty for words.
        own: what an answer beside the choices is called ("another name"); empty where only a choice is taken.
    """

    about: str
    said: str
    explained: str
    read: Callable[[str], Any]
    default: str | None = None
    choices: tuple[str, ...] = ()
    unknown: str | None = None
    kind: str = ""
    own: str = ""

    def settled(self, text: str) -> str:
        """An answer as it is kept. Raises NotUnderstood."""
        plain = " ".join(text.split())
        if not plain.isprintable():
            raise NotUnderstood("This answer has a character that cannot be printed; write it again.")
        if not plain:
            if self.default is None:
                raise NotUnderstood("There is no default here; write an answer, or ? for what is meant.")
            plain = self.default
        self.meaning(plain)
        return plain

    def meaning(self, answer: str) -> Any:
        """What a kept answer means; None for what is unknown. Raises NotUnderstood."""
        if answer.lower() == UNKNOWN:
            if self.unknown is None:
                raise NotUnderstood(f"This has to be known. {self.explained}")
            return None
        return self.read(answer)


Walk: TypeAlias = Generator[Question, Any, Walked]
"""A walk or a part of one: yields questions, is sent what the answers mean."""


@dataclass(frozen=True, slots=True)
class Stand(Generic[Draft]):
    """Where an interview stands: the question that is due (None: it is over), and its draft so far."""

    question: Question | None
    draft: Draft


@dataclass(frozen=True, slots=True)
class Interview(Generic[Draft]):
    """A walk with the answers given so far, each one understood.

    Args:
        begin: makes an empty draft.
        walk: the questions that fill it.
        answers: what was answered, in order.
    """

    begin: Callable[[], Draft]
    walk: Callable[[Draft], Walk[None]]
    answers: tuple[str, ...] = ()

    def stand(self) -> Stand[Draft]:
        """Walk from the beginning to the question that is due. Raises NotUnderstood for an answer of another walk."""
        draft = self.begin()
        steps = self.walk(draft)
        try:
            question = next(steps)
            for answer in self.answers:
                question = steps.send(question.meaning(answer))
        except StopIteration:
            return Stand(None, draft)
        return Stand(question, draft)

    def answered(self, text: str) -> "Interview[Draft]":
        """The interview with one more answer; when it is over, itself. Raises NotUnderstood."""
        question = self.stand().question
        if question is None:
            return self
        return replace(self, answers=(*self.answers, question.settled(text)))

    def back(self) -> "Interview[Draft]":
        """The interview without its last answer; at the beginning, itself."""
        return replace(self, answers=self.answers[:-1])

    def taken_up(self, answers: tuple[str, ...]) -> "Interview[Draft]":
        """The interview with earlier answers, as far as they are understood."""
        taken = replace(self, answers=())
        for answer in answers:
            try:
                further = taken.answered(answer)
            except NotUnderstood:
                break
            if further is taken:
                break
            taken = further
        return taken


def one_of(words: tuple[str, ...]) -> Callable[[str], str]:
    """How an answer is read: one of these words, its number in the list, or a beginning that fits one of them only."""

    def read(answer: str) -> str:
        small = answer.lower()
        if small.isascii() and small.isdigit() and 1 <= int(small[:4]) <= len(words):
            return words[int(small[:4]) - 1]
        fitting = [word for word in words if word.lower() == small] or [
            word for word in words if word.lower().startswith(small)
        ]
        if len(fitting) == 1:
            return fitting[0]
        if len(fitting) > 1:
            raise NotUnderstood(f'"{shortened(answer)}" fits several: {", ".join(fitting)}. Write more of it.')
        raise NotUnderstood(f'"{shortened(answer)}" is not one of these. Write its number or its word.')

    return read
