"""`gatekeeper new` and `gatekeeper add` in the terminal: asks, keeps the answers, shows what comes of them, writes."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from gatekeeper.interview.adding import PartsDraft
from gatekeeper.interview.air import AirAlone, air_alone, air_lines, air_of_text
from gatekeeper.interview.draft import ShopDraft
from gatekeeper.interview.drawing import draft_drawing, shop_drawing
from gatekeeper.interview.engine import UNKNOWN, Interview, NotUnderstood, Question
from gatekeeper.interview.new import new_shop
from gatekeeper.interview_ending import Ending, new_ending, parts_ending, write_new_shop, write_parts
from gatekeeper.interview_keeping import (
    ADD,
    GATE,
    MOTOR,
    MOVE,
    NEW,
    RETIRE,
    AnsweredElsewhere,
    CannotInterview,
    Kept,
    answers_beside,
    parts_interview,
    studied_draft,
    studied_parts,
)
from gatekeeper.layout.text import wrapped
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from gatekeeper.shop.rewrite import CannotRewrite

Draft = TypeVar("Draft")

HELP = "? explains a question, back takes the last answer back, Enter takes what stands in [ ], Ctrl-C stops and keeps."


@dataclass(frozen=True, slots=True)
class Face:
    """How the walk meets the person. ``ask``: one line of an answer, None where there is none any more."""

    say: Callable[[str], None]
    ask: Callable[[str], str | None]


def terminal_face(say: Callable[[str], None]) -> Face:
    """The terminal that the program runs in, or what is sent into it."""

    def ask(prompt: str) -> str | None:
        try:
            return input(prompt)
        except (EOFError, KeyboardInterrupt):
            return None
        except UnicodeDecodeError:
            return "\x00"

    return Face(say, ask)


def interview_new(out: Path, face: Face) -> bool:
    """Ask for a new shop and write its file; whether it was written. Raises CannotInterview."""
    if out.exists():
        raise CannotInterview(f"{out}: this file is there already; to add a machine to it: gatekeeper add {out}")
    kept = Kept(answers_beside(out), NEW)
    seen: dict[str, AirAlone] = {}

    def show(draft: ShopDraft) -> Iterator[str]:
        yield from draft_drawing(draft)
        studied = studied_draft(draft)
        if studied is not None:
            now = air_of_text(studied)
            yield from air_lines(seen, now, draft.units)
            seen.clear()
            seen.update(now)

    draft = _converse(new_shop(), kept, face, draft_drawing, show, str(out))
    if draft is None:
        return False
    ending = new_ending(draft, str(out))
    write_new_shop(out, ending)
    kept.forget()
    face.say(f"Written: {out}.")
    _say_pins(face, ending)
    for assumed in ending.assumed:
        face.say(f"Assumed: {assumed}.")
    face.say(f"next: gatekeeper check {out}")
    return True


def interview_parts(
    path: Path,
    text: str,
    shop: Shop,
    face: Face,
    move: str | None,
    retire: str | None,
    *,
    gate: str | None = None,
    motor: bool = False,
) -> bool:
    """Ask for a machine more, for one that moves or leaves, for a gate or for a motor more, and change the file.

    Returns:
        Whether it was changed.

    Raises:
        CannotInterview: it cannot go on; says why.
    """
    name = str(path)
    head = f"{MOVE}{move}" if move is not None else f"{RETIRE}{retire}" if retire is not None else ADD
    head = MOTOR if motor else f"{GATE}{gate}" if gate is not None else head
    interview = parts_interview(shop, text, head)
    kept = Kept(answers_beside(path), head)
    before = air_alone(shop)
    for line in _drawn(shop):
        face.say(line)

    def show(draft: PartsDraft) -> Iterator[str]:
        try:
            changed = studied_parts(draft, text, name)
        except CannotRewrite as trouble:
            yield f"{trouble}."
            return
        if changed is None:
            return
        studied = load_shop(changed, name)
        assert not isinstance(studied, Faults), "what with_parts gives back is a shop"
        yield from _drawn(studied)
        yield from air_lines(before, air_alone(studied), shop.units)

    draft = _converse(interview, kept, face, lambda draft: list(show(draft)), show, name)
    if draft is None:
        return False
    ending = parts_ending(shop, text, name, draft)
    before_it = write_parts(path, text, ending)
    kept.forget()
    face.say(f"Written: {name}. Everything else in it is as it was; its text until now is kept in {before_it}.")
    _say_pins(face, ending)
    face.say("To commission anew:")
    for line in ending.anew:
        face.say(f"  - {line}")
    face.say(f"next: gatekeeper check {name}")
    return True


def _drawn(shop: Shop) -> Iterator[str]:
    """Every system of a shop, drawn."""
    for motor in shop.motors.values():
        if motor.has_ducts:
            yield from shop_drawing(shop, motor.name)


def _converse(
    interview: Interview[Draft],
    kept: Kept,
    face: Face,
    drawn: Callable[[Draft], list[str]],
    show: Callable[[Draft], Iterator[str]],
    out: str,
) -> Draft | None:
    """Ask until the interview is over and its end is confirmed; None where the person stopped before.

    ``drawn``: what is worth showing anew when it changes; ``show``: that, and what the air does.
    """
    face.say(HELP)
    earlier = kept.answers()
    if earlier:
        interview = interview.taken_up(earlier)
        count = len(interview.answers)
        face.say(f"Going on after {count} answer{'' if count == 1 else 's'} kept in {kept.path}.")
    known = earlier
    last: list[str] = []
    while True:
        stand = interview.stand()
        now = drawn(stand.draft)
        if now != last and len(now) > 1:
            face.say("")
            for line in show(stand.draft):
                face.say(line)
        last = now
        if stand.question is None:
            face.say("")
            said = face.ask(f"That is all. Enter writes {out}; back takes the last answer back: ")
        else:
            _say_question(face, stand.question)
            said = face.ask("> ")
        if said is None:
            face.say("")
            face.say(_stopped(len(interview.answers), kept.path))
            return None
        word = said.strip().lower()
        if word == "back":
            face.say("Taken back." if interview.answers else "This is the first question.")
            interview = interview.back()
        elif stand.question is None:
            if word:
                continue
            if kept.answers() == known:
                return stand.draft
        elif word == "?":
            for line in wrapped(stand.question.explained, "  ", "  "):
                face.say(line)
            if stand.question.unknown is not None:
                face.say(f"  You may answer {UNKNOWN}. {stand.question.unknown}")
            continue
        else:
            try:
                interview = interview.answered(said)
            except NotUnderstood as trouble:
                for line in wrapped(str(trouble), "  ", "  "):
                    face.say(line)
                continue
            if interview.answers[-1].lower() == UNKNOWN and stand.question.unknown is not None:
                face.say(f"  Assumed: {stand.question.unknown}")
        try:
            kept.keep(interview.answers, known)
            known = interview.answers
        except AnsweredElsewhere:
            known = kept.answers()
            interview = interview.taken_up(known)
            face.say("Somebody answered on the page meanwhile; going on from there.")


def _stopped(count: int, path: Path) -> str:
    if not count:
        return "Stopped. Nothing was answered."
    answers = "Your answer is" if count == 1 else f"Your {count} answers are"
    return f"Stopped. {answers} kept in {path}; the same command goes on."


def _say_question(face: Face, question: Question) -> None:
    default = f" [{question.default}]" if question.default is not None else ""
    face.say("")
    for line in wrapped(f"{question.said}{default}", "", ""):
        face.say(line)
    for number, choice in enumerate(question.choices, start=1):
        face.say(f"  {number:2d} {choice}")


def _say_pins(face: Face, ending: Ending) -> None:
    if ending.pin_trouble:
        face.say(f"The pins are still to be chosen: {ending.pin_trouble}")
    for choice in ending.choices:
        for line in wrapped(f"Pin: {choice.in_words}", "", "  "):
            face.say(line)
