"""`gatekeeper new` and `gatekeeper add` in the terminal: asks, keeps the answers, shows what comes of them, writes."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from gatekeeper.files import FileTrouble, write_new
from gatekeeper.interview.adding import CannotAdd, PartsDraft, add_machine, move_machine, retire_machine
from gatekeeper.interview.air import AirAlone, air_alone, air_lines, air_of_text
from gatekeeper.interview.commissioning import to_commission
from gatekeeper.interview.draft import ShopDraft
from gatekeeper.interview.drawing import draft_drawing, shop_drawing
from gatekeeper.interview.engine import UNKNOWN, Interview, NotUnderstood, Question
from gatekeeper.interview.new import new_shop
from gatekeeper.interview.text_edits import with_parts
from gatekeeper.interview.writing import assumed_lines, draft_text, without_waiting
from gatekeeper.layout.text import wrapped
from gatekeeper.shop.choosing import CannotChoose, Choice, choices_for, with_pins
from gatekeeper.shop.faults import Faults, did_you_mean, listed
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from gatekeeper.shop.rewrite import CannotRewrite

Draft = TypeVar("Draft")

HELP = "? explains a question, back takes the last answer back, Enter takes what stands in [ ], Ctrl-C stops and keeps."


class CannotInterview(Exception):
    """The command cannot go on; the message is one plain sentence."""


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


@dataclass(frozen=True, slots=True)
class _Kept:
    """The answers of an interview that is not over, in a file beside the shop's own."""

    path: Path
    head: str

    def answers(self) -> tuple[str, ...]:
        try:
            head, *answers = self.path.read_text(encoding="utf-8").splitlines()
        except FileNotFoundError:
            return ()
        except (OSError, ValueError):
            raise CannotInterview(f"{self.path}: this file cannot be read; take it away to begin anew.") from None
        if head != self.head:
            raise CannotInterview(
                f"{self.path}: these are the answers of {head}. Finish that first, or take the file away."
            )
        return tuple(answers)

    def keep(self, answers: tuple[str, ...]) -> None:
        try:
            write_new(self.path, "\n".join([self.head, *answers, ""]).encode("utf-8"), replace=True)
        except FileTrouble as trouble:
            raise CannotInterview(str(trouble)) from None

    def forget(self) -> None:
        self.path.unlink(missing_ok=True)


def interview_new(out: Path, face: Face) -> bool:
    """Ask for a new shop and write its file; whether it was written. Raises CannotInterview."""
    if out.exists():
        raise CannotInterview(f"{out}: this file is there already; to add a machine to it: gatekeeper add {out}")
    kept = _Kept(Path(f"{out}.answers"), "gatekeeper new")
    seen: dict[str, AirAlone] = {}

    def show(draft: ShopDraft) -> Iterator[str]:
        yield from draft_drawing(draft)
        if draft.machines and draft.opened is None:
            now = air_of_text(draft_text(draft, as_wired=True))
            yield from air_lines(seen, now, draft.units)
            seen.clear()
            seen.update(now)

    draft = _converse(new_shop(), kept, face, draft_drawing, show, str(out))
    if draft is None:
        return False
    text, choices, trouble = _with_own_pins(draft_text(draft), str(out), "")
    try:
        write_new(out, text.encode("utf-8"))
    except FileTrouble as wrong:
        raise CannotInterview(str(wrong)) from None
    kept.forget()
    face.say(f"Written: {out}.")
    _say_pins(face, choices, trouble)
    for assumed in assumed_lines(text):
        face.say(f"Assumed: {assumed}.")
    face.say(f"next: gatekeeper check {out}")
    return True


def interview_parts(path: Path, text: str, shop: Shop, face: Face, move: str | None, retire: str | None) -> bool:
    """Ask for a machine more, or for one that moves or leaves, and change the file; whether it was changed.

    Raises CannotInterview.
    """
    name = str(path)
    head, interview = _parts_interview(shop, text, move, retire)
    kept = _Kept(Path(f"{path}.answers"), head)
    before = air_alone(shop)
    motors = [motor.name for motor in shop.motors.values() if motor.has_ducts]
    for motor in motors:
        for line in shop_drawing(shop, motor):
            face.say(line)

    def show(draft: PartsDraft) -> Iterator[str]:
        if not draft.edits:
            return
        try:
            studied = load_shop(with_parts(text, name, draft.studied), name)
        except CannotRewrite as trouble:
            yield f"{trouble}."
            return
        assert not isinstance(studied, Faults), "what with_parts gives back is a shop"
        for motor in motors:
            yield from shop_drawing(studied, motor)
        yield from air_lines(before, air_alone(studied), shop.units)

    draft = _converse(interview, kept, face, lambda draft: list(show(draft)), show, name)
    if draft is None:
        return False
    try:
        changed = with_parts(without_waiting(text, draft.machine), name, draft.edits)
        changed, choices, trouble = _with_own_pins(changed, name, text)
        if path.read_bytes() != text.encode("utf-8"):
            raise CannotInterview(f"{name}: the file was changed meanwhile; ask again.")
        write_new(path, changed.encode("utf-8"), replace=True)
    except (CannotRewrite, FileTrouble) as wrong:
        raise CannotInterview(f"{wrong}.") from None
    kept.forget()
    new = load_shop(changed, name)
    assert not isinstance(new, Faults), "what with_parts gives back is a shop"
    face.say(f"Written: {name}. Everything else in it is as it was.")
    _say_pins(face, choices, trouble)
    face.say("To commission anew:")
    for line in to_commission(shop, new, name):
        face.say(f"  - {line}")
    face.say(f"next: gatekeeper check {name}")
    return True


def _parts_interview(shop: Shop, text: str, move: str | None, retire: str | None) -> tuple[str, Interview[PartsDraft]]:
    tool = move if move is not None else retire
    if tool is not None and tool not in shop.tools:
        there = listed(list(shop.tools), "and", 30)
        hint = did_you_mean(tool, shop.tools)
        raise CannotInterview(f'"{tool}" is no machine of this shop; they are {there}{hint or "."}')
    try:
        if move is not None:
            return f"gatekeeper add --move {move}", move_machine(shop, text, move)
        if retire is not None:
            return f"gatekeeper add --retire {retire}", retire_machine(shop, text, retire)
        return "gatekeeper add", add_machine(shop, text)
    except CannotAdd as trouble:
        raise CannotInterview(str(trouble)) from None


def _converse(
    interview: Interview[Draft],
    kept: _Kept,
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
            if not word:
                return stand.draft
            continue
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
        kept.keep(interview.answers)


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


def _with_own_pins(text: str, name: str, before: str) -> tuple[str, list[Choice], str]:
    """The text with pins for the new wires, those pins, and what went wrong; ``before``: the file until now."""
    try:
        old = {choice.path for choice in choices_for(before, name, move=False)} if before else set()
        choices = [choice for choice in choices_for(text, name, move=False) if choice.path not in old]
        return (with_pins(text, name, choices) if choices else text), choices, ""
    except (CannotChoose, CannotRewrite) as trouble:
        return text, [], f"{trouble}."


def _say_pins(face: Face, choices: list[Choice], trouble: str) -> None:
    if trouble:
        face.say(f"The pins are still to be chosen: {trouble}")
    for choice in choices:
        for line in wrapped(f"Pin: {choice.in_words}", "", "  "):
            face.say(line)
