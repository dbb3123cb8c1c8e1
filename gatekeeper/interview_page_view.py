"""An interview as the page shows it: made of its answers alone, so that every phone and the terminal see the same."""

import difflib
import re
import zlib
from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from gatekeeper.airflow.tools import ENOUGH
from gatekeeper.interview.air import AirAlone, air_lines, air_of_text
from gatekeeper.interview.draft import ShopDraft
from gatekeeper.interview.drawing import Part, draft_parts, shop_parts
from gatekeeper.interview.engine import UNKNOWN, Interview, Question
from gatekeeper.interview.gates import Mover
from gatekeeper.interview.new import new_shop
from gatekeeper.interview.outfit import moved_of
from gatekeeper.interview_ending import Ending, new_ending, parts_ending
from gatekeeper.interview_keeping import (
    GATE,
    MOTOR,
    MOVE,
    NEW,
    RETIRE,
    CannotInterview,
    parts_interview,
    studied_draft,
    studied_parts,
)
from gatekeeper.layout.measures import Measures
from gatekeeper.service.face_interview import (
    AirView,
    EndView,
    GoingView,
    InterviewWhat,
    OfferedGate,
    QuestionView,
    SketchDuct,
)
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop, Units
from gatekeeper.shop.rewrite import CannotRewrite
from gatekeeper.shop.units import TABLE

Systems = tuple[tuple[str, tuple[SketchDuct, ...]], ...]

_OWN_UNITS: Mapping[str, Mapping[Units, tuple[str, ...]]] = {
    "length": {Units.INCH: ("in", "ft"), Units.METRIC: ("mm", "cm", "m")},
    "power": {Units.INCH: ("hp", "kW", "W"), Units.METRIC: ("kW", "W", "hp")},
    "flow": {Units.INCH: ("cfm",), Units.METRIC: ("m3/h", "l/s")},
}
"""Units that people of either habit measure in; the engine takes any other all the same where it is typed."""

_MOST_UNITS = 4
_MOST_KEPT = 32

_MOVED_BY: Mapping[Mover, str] = {
    Mover.HAND: "by hand",
    Mover.SEEN: "by hand, with a switch",
    Mover.SERVO: "by a servo",
    Mover.BRIDGE: "by a motor on an H-bridge",
    Mover.RELAYS: "by a motor on two relays",
    Mover.COIL: "by a solenoid or air valve",
    Mover.BROKER: "by a controller of its own, behind a broker",
}

ESTIMATED = "The fan is an estimate from its motor, and so are these figures; one reading of suction corrects them."


@dataclass(frozen=True, slots=True)
class Subject:
    """One interview about one file, with nothing answered yet.

    Args:
        what, title: which, and for people.
        head: the command that it answers.
        file: the shop file, as people call it.
        text: what the file says now; empty for a new shop.
        begun: the interview.
        drawn: the ducts of a draft.
        studied: a draft as a shop file whose air can be studied, or None.
        ending: what a finished draft comes to; raises CannotInterview.
        units: of a draft.
    """

    what: InterviewWhat
    title: str
    head: str
    file: str
    text: str
    begun: Interview[Any]
    drawn: Callable[[Any], Systems]
    studied: Callable[[Any], str | None]
    ending: Callable[[Any], Ending]
    units: Callable[[Any], Units]


def new_subject(out: Path) -> Subject:
    """A shop from nothing."""

    def drawn(draft: ShopDraft) -> Systems:
        return tuple((motor, sketch(parts)) for motor, parts in draft_parts(draft).items())

    return Subject(
        "new",
        "A new shop",
        NEW,
        str(out),
        "",
        new_shop(),
        drawn,
        studied_draft,
        lambda draft: new_ending(draft, str(out)),
        lambda draft: draft.units,
    )


def parts_subject(path: Path, text: str, shop: Shop, head: str) -> Subject:
    """A change of one part of a shop that is there. Raises CannotInterview."""
    name = str(path)
    what, title = _what_of(head)
    known = {part.name for motor in shop.motors.values() for part in shop_parts(shop, motor.name)}

    def studied(draft: Any) -> str | None:
        try:
            return studied_parts(draft, text, name)
        except CannotRewrite:
            return None

    def drawn(draft: Any) -> Systems:
        changed = studied(draft)
        then = shop if changed is None else load_shop(changed, name)
        assert not isinstance(then, Faults), "what is studied is a shop"
        motors = [motor.name for motor in then.motors.values() if motor.has_ducts]
        return tuple((motor, sketch(shop_parts(then, motor), known)) for motor in motors)

    return Subject(
        what,
        title,
        head,
        name,
        text,
        parts_interview(shop, text, head),
        drawn,
        studied,
        lambda draft: parts_ending(shop, text, name, draft),
        lambda _: shop.units,
    )


def _what_of(head: str) -> tuple[InterviewWhat, str]:
    """What the command of an interview asks for, and what that is called."""
    if head.startswith(MOVE):
        return "move", f"Another way for the {head.removeprefix(MOVE)}"
    if head.startswith(RETIRE):
        return "retire", f"The {head.removeprefix(RETIRE)} leaves"
    if head.startswith(GATE):
        return "gate", f"What moves the {head.removeprefix(GATE)}"
    return ("motor", "A collector more") if head == MOTOR else ("add", "A machine more")


def offered_gates(shop: Shop) -> tuple[OfferedGate, ...]:
    """The gates of a shop, those that people move by hand first: the first automatic gate is the usual wish."""
    machines: dict[str, list[str]] = {}
    for tool in shop.tools.values():
        for gate in tool.gates:
            machines.setdefault(gate, []).append(tool.name)
    return tuple(
        OfferedGate(gate.name, tuple(machines.get(gate.name, ())), f"moved {_MOVED_BY[moved_of(gate).by]}")
        for gate in sorted(shop.gates.values(), key=lambda gate: gate.is_actuated)
    )


def mark_of(subject: Subject, answers: tuple[str, ...]) -> str:
    """Where an interview stands, short: another for any other answers, or any other text of the file."""
    stands = "\n".join([subject.head, subject.text, *answers])
    return f"{len(answers)}.{zlib.crc32(stands.encode()):08x}"


@dataclass(slots=True)
class Eye:
    """Makes views and remembers the last ones, so that looking at a page again costs the controller next to nothing.

    Not for several threads at once.
    """

    _views: "OrderedDict[str, GoingView]" = field(default_factory=OrderedDict)
    _airs: "OrderedDict[str, Mapping[str, AirAlone]]" = field(default_factory=OrderedDict)
    _walked: "OrderedDict[str, Interview[Any]]" = field(default_factory=OrderedDict)

    def view(self, subject: Subject, interview: Interview[Any]) -> GoingView:
        """The view of an interview of this subject, as far as it is answered."""
        mark = mark_of(subject, interview.answers)
        made: GoingView = _remembered(self._views, mark, lambda: self._made(subject, interview, mark))
        return made

    def taken_up(self, subject: Subject, answers: tuple[str, ...]) -> Interview[Any]:
        """The interview with these answers, as far as they are understood."""
        walked: Interview[Any] = _remembered(
            self._walked, mark_of(subject, answers), lambda: subject.begun.taken_up(answers)
        )
        return walked

    def _made(self, subject: Subject, interview: Interview[Any], mark: str) -> GoingView:
        stand = interview.stand()
        units = subject.units(stand.draft)
        told = _assumed(interview)
        now, changes = self._air(subject, interview, units)
        say = Measures(units)
        return GoingView(
            what=subject.what,
            title=subject.title,
            mark=mark,
            count=len(interview.answers),
            last=interview.answers[-1] if interview.answers else "",
            question=None if stand.question is None else question_view(stand.question, units),
            told=(*told, *changes),
            systems=subject.drawn(stand.draft),
            air=tuple(
                AirView(name, say.flow(air.flow_m3s), say.flow(air.need_m3s), air.flow_m3s < ENOUGH * air.need_m3s)
                for name, air in now.items()
            ),
            air_note=ESTIMATED if any(air.is_estimate for air in now.values()) else "",
            end=None if stand.question is not None else _end(subject, stand.draft),
        )

    def _air(
        self, subject: Subject, interview: Interview[Any], units: Units
    ) -> tuple[Mapping[str, AirAlone], list[str]]:
        """The air by the newest layout that can be studied, and what the last answer changed of it."""
        layouts = self._layouts(subject, interview)
        now, is_by_last = next(layouts, (subject.text, False))
        air = self._of(now)
        if not is_by_last:
            return air, []
        before, _ = next(layouts, (subject.text, False))
        return air, air_lines(self._of(before), air, units) if before != now else []

    def _layouts(self, subject: Subject, interview: Interview[Any]) -> Iterator[tuple[str, bool]]:
        """Layouts that can be studied, the newest first, and whether the last answer made it."""
        is_last = True
        while True:
            text = subject.studied(interview.stand().draft)
            if text is not None:
                yield text, is_last
            if not interview.answers:
                return
            interview, is_last = interview.back(), False

    def _of(self, text: str) -> Mapping[str, AirAlone]:
        return _remembered(self._airs, text, lambda: air_of_text(text)) if text else {}


def _remembered(kept: "OrderedDict[str, Any]", key: str, make: Callable[[], Any]) -> Any:
    if key not in kept:
        kept[key] = make()
        while len(kept) > _MOST_KEPT:
            kept.popitem(last=False)
    return kept[key]


def question_view(question: Question, units: Units) -> QuestionView:
    """A question as the page asks it."""
    return QuestionView(
        question.said,
        question.explained,
        question.default,
        question.choices,
        question.own,
        question.unknown,
        _units(question, units) if question.kind else (),
    )


def _units(question: Question, units: Units) -> tuple[str, ...]:
    """The units to offer; first that of the default, or of what is assumed."""
    known = _OWN_UNITS.get(question.kind, {}).get(units) or tuple(TABLE[question.kind])[:_MOST_UNITS]
    usual = f"{question.default or ''} {question.unknown or ''}"
    if question.kind == "length" and not re.search(r"\d", usual):
        known = known[::-1]  # how far along the pipe, not how wide
    first = [unit for unit in known if re.search(rf"\d {re.escape(unit)}(?![\w/])", usual)]
    return (*first, *(unit for unit in known if unit not in first))


def sketch(parts: list[Part], known: "set[str] | None" = None) -> tuple[SketchDuct, ...]:
    """Parts as lines of a picture; ``known``: the names that are in the file, all where it is None."""
    gates: dict[str, list[Part]] = {}
    for part in parts:
        if part.diameter_m == 0:
            gates.setdefault(part.towards, []).append(part)
    drawn = []
    for part in parts:
        if part.diameter_m == 0:
            continue
        here = gates.get(part.name, [])
        ends = here[0].ends if here else part.ends
        is_new = known is not None and part.name not in known
        machines, moves = ends if ends is not None else (None, False)
        drawn.append(
            SketchDuct(part.name, part.towards, part.diameter_m, part.size, machines, moves, part.is_begun, is_new)
        )
        for gate in here[1:]:
            assert gate.ends is not None, "a gate has an end"
            is_new = known is not None and gate.name not in known
            drawn.append(SketchDuct(gate.name, part.name, part.diameter_m, gate.size, *gate.ends, is_new=is_new))
    return tuple(drawn)


def _assumed(interview: Interview[Any]) -> tuple[str, ...]:
    if not interview.answers or interview.answers[-1].lower() != UNKNOWN:
        return ()
    asked = interview.back().stand().question
    return () if asked is None or asked.unknown is None else (f"Assumed: {asked.unknown}",)


def _end(subject: Subject, draft: Any) -> EndView:
    try:
        ending = subject.ending(draft)
    except CannotInterview as trouble:
        return EndView(subject.file, "", "", (), (), str(trouble))
    if not subject.text:
        return EndView(subject.file, ending.text, "", ending.assumed, ending.anew)
    both = difflib.unified_diff(subject.text.splitlines(), ending.text.splitlines(), n=0, lineterm="")
    lines = list(both)[2:]  # after the names of the two
    new, gone = ("\n".join(line[1:] for line in lines if line.startswith(sign)) for sign in "+-")
    return EndView(subject.file, new, gone, ending.assumed, ending.anew)
