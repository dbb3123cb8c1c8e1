"""The walk along the pipe, from the collector outward: lengths, fittings, branches, and the machines at the ends.

A branch is walked to its end first; then the walk comes back to where the pipe parts and goes on along the main.
"""

import math
import re
from collections.abc import Callable
from dataclasses import dataclass

from gatekeeper.interview.draft import USUAL_MATERIAL, ShopDraft
from gatekeeper.interview.engine import NotUnderstood, Question, Walk, one_of
from gatekeeper.interview.machine_walk import walk_machine
from gatekeeper.interview.reading import DIAMETERS, NO_MORE, Size, choice_question, size, size_question
from gatekeeper.layout.measures import Measures
from gatekeeper.shop.written import Material

LENGTH, MACHINE = "length of duct", "machine"
ELBOW, BRANCH, OTHER_WIDTH = "elbow of another angle", "branch of another kind", "another diameter"
REDUCER = "reducer"
ELBOWS = ("90 elbow", "60 elbow", "45 elbow", "30 elbow")
BRANCHES = ("45 wye", "30 wye", "tee")
NEXT = (LENGTH, "90 elbow", "45 elbow", ELBOW, "45 wye", BRANCH, OTHER_WIDTH, MACHINE, NO_MORE)
"""What may come next along a pipe; the usual elbows and the usual branch by themselves."""

LONGEST_M = 200.0


def walk_pipes(draft: ShopDraft) -> Walk[None]:
    """Everything that hangs on the motor that was told last."""
    say = Measures(draft.units)
    motor = draft.here
    while True:
        first = not draft.on(motor)
        what: str = yield choice_question(
            "at the collector",
            f"What is joined to the {motor.name}?" if first else f"What else is joined straight to the {motor.name}?",
            "Walk from the collector outward. A machine may hang on the collector by its own hose, without any duct.",
            (LENGTH, MACHINE) if first else (LENGTH, MACHINE, NO_MORE),
            LENGTH if first else NO_MORE,
        )
        if what == NO_MORE:
            return
        if what == MACHINE:
            hoses = [machine.diameter for machine in draft.on(motor) if machine.duct is None]
            usual = hoses[-1] if hoses else usual_arm(draft.is_inch, motor.inlet)
            width, _ = yield from ask_diameter("How wide is the hose there?", usual)
            yield from walk_machine(draft, width, say, is_on_duct=False)
            continue
        if not draft.material:
            draft.material = yield choice_question(
                "material",
                "What are the ducts made of, most of them?",
                "Rougher walls take more air. A single duct of something else is mended in the file.",
                tuple(one.value for one in Material),
                USUAL_MATERIAL,
            )
        usual = motor.inlet or usual_arm(draft.is_inch)
        width, words = yield from ask_diameter("How wide is this duct?", usual)
        draft.open_duct(motor.name, width, (), words)
        yield from _length(draft)
        yield from _along(draft, motor.name, width, say, is_arm=False)
        # What leads to no machine is no part of the shop.
        draft.ducts = draft.leading_somewhere()


def usual_arm(is_inch: bool, main: Size | None = None) -> Size:
    """The width of a branch that Enter takes: 4 in or 100 mm, or that of a main which is narrower."""
    usual = Size("4 in", 0.1016) if is_inch else Size("100 mm", 0.1)
    return usual if main is None or main.si >= usual.si else main


def _along(draft: ShopDraft, towards: str, diameter: Size, say: Measures, *, is_arm: bool) -> Walk[None]:
    """Along one pipe to its end.

    Args:
        draft: with the duct that was begun.
        towards: where the next duct leads while none is begun.
        diameter: of the pipe here.
        say: the shop's units.
        is_arm: this is the side arm of a branch, where the machine is seldom far.
    """
    while True:
        usual = LENGTH if draft.opened is None else MACHINE if is_arm else None
        step: Step = yield _next_question(draft, towards, usual)
        if step.what == NO_MORE:
            draft.opened = None
            return
        if step.what in (BRANCH, OTHER_WIDTH):
            if draft.opened is not None:
                towards = draft.close_as_main()
            if step.what == BRANCH:
                yield from _branch(draft, towards, diameter, say, step.fitting)
            else:
                diameter, words = yield from ask_diameter("How wide is it from here on?", diameter)
                draft.open_duct(towards, diameter, (REDUCER,), words)
            continue
        if draft.opened is None:
            draft.open_duct(towards, diameter)
        if step.length is not None:
            draft.stretch(step.length, assumed=False)
        elif step.what == LENGTH:
            yield from _length(draft)
        elif step.what == ELBOW:
            draft.fit(step.fitting or (yield elbow_question(ELBOWS, ELBOWS[0])))
        else:
            yield from walk_machine(draft, diameter, say, is_on_duct=True)
            return


@dataclass(frozen=True, slots=True)
class Step:
    """One step along a pipe: a word of NEXT, with the fitting or the length where they were told at once."""

    what: str
    fitting: str = ""
    length: Size | None = None


def _next_question(draft: ShopDraft, towards: str, usual: str | None) -> Question:
    plain = one_of((*NEXT, *(word for word in (*ELBOWS, *BRANCHES) if word not in NEXT)))
    by_number = one_of(NEXT)
    elbow = elbow_question(ELBOWS, ELBOWS[0]).read
    before_m = sum(length.si for length in draft.opened.lengths) if draft.opened is not None else 0.0
    how_long = length_reader(before_m)

    def read(answer: str) -> Step:
        if re.fullmatch(r"[0-9]+", answer):
            word = by_number(answer)
        elif re.match(r"[1-9] ?x ", answer):
            return Step(ELBOW, elbow(answer))
        else:
            try:
                word = plain(answer)
            except NotUnderstood:
                if not answer[:1].isdigit():
                    raise
                return Step(LENGTH, "", how_long(answer))
        if word in ELBOWS:
            return Step(ELBOW, word)
        return Step(BRANCH, word) if word in BRANCHES else Step(word)

    return Question(
        "next",
        _next_said(draft, towards),
        "A length of straight duct, an elbow, a branch (the pipe parts; its side arm is walked first), another "
        "diameter from here on, or the machine at its end. Nothing more: what leads to no machine is left out. "
        f"Quicker: write {'12 ft' if draft.is_inch else '3.5 m'} for a length, or 2 x 45 elbow, at once.",
        read,
        usual,
        NEXT,
        kind="length",
        own=f"A length or a fitting, such as {'12 ft' if draft.is_inch else '3.5 m'} or 2 x 45 elbow",
    )


def _next_said(draft: ShopDraft, towards: str) -> str:
    """The question for the next part, with the place of the walk."""
    if draft.opened is None:
        return f"Back where the pipe parts, at the end of {towards}: what comes next along it?"
    lengths = draft.opened.lengths
    where = f"{lengths[0].text} from {draft.opened.towards}" if len(lengths) == 1 else f"beyond {draft.opened.towards}"
    return f"What comes next along the pipe, {where}?"


def _length(draft: ShopDraft) -> Walk[None]:
    """One straight length on the duct that was begun."""
    assert draft.opened is not None
    before_m = sum(length.si for length in draft.opened.lengths)
    length, is_assumed = yield from ask_length(before_m, is_inch=draft.is_inch)
    draft.stretch(length, assumed=is_assumed)


def length_reader(before_m: float) -> Callable[[str], Size]:
    """How a straight length is read, beside ``before_m`` of the same duct."""
    plain = size("length", "0 m", "200 m")

    def read(answer: str) -> Size:
        length = plain(answer)
        if before_m + length.si > LONGEST_M:
            raise NotUnderstood("With what is there already this duct is longer than 200 m; mend the length.")
        return length

    return read


def ask_length(before_m: float, *, is_inch: bool) -> Walk[tuple[Size, bool]]:
    """A straight length beside ``before_m`` of the same duct, and whether it is assumed."""
    usual = Size("10 ft", 3.048) if is_inch else Size("3 m", 3.0)
    may_assume = before_m + usual.si <= LONGEST_M
    length: Size | None = yield Question(
        "length",
        "How far does it go straight?",
        "Measure along the duct, without elbows. Write a number and a unit, such as 12 ft or 3.5 m; at most 200 m.",
        length_reader(before_m),
        None,
        (),
        f"The length is taken as {usual.text}." if may_assume else None,
        "length",
    )
    return (usual, True) if length is None else (length, False)


def elbow_question(choices: tuple[str, ...], default: str) -> Question:
    """A question for an elbow, or several alike; ``choices`` may hold another word beside elbows."""
    plain = one_of(choices)

    def read(answer: str) -> str:
        counted = re.fullmatch(r"([1-9]) ?x ?([0-9].*)", answer)
        if counted is None:
            return plain(answer)
        word = plain(counted[2])
        return word if counted[1] == "1" or word not in ELBOWS else f"{counted[1]} x {word}"

    return Question(
        "elbow",
        "Which elbow?",
        f"By the angle that the air turns. Several alike are written 2 x {ELBOWS[2]}.",
        read,
        default,
        choices,
        own=f"Several alike, such as 2 x {ELBOWS[2]}",
    )


def _branch(draft: ShopDraft, towards: str, diameter: Size, say: Measures, kind: str) -> Walk[None]:
    """``kind``: the fitting, or empty where it is still to be asked."""
    if not kind:
        kind = yield from ask_branch()
    arms = [duct.diameter for duct in draft.ducts if set(duct.fittings) & set(BRANCHES)]
    usual = usual_arm(draft.is_inch, diameter)
    width, words = yield from ask_diameter("How wide is the side arm?", arms[-1] if arms else usual)
    draft.open_duct(towards, width, (kind,), words)
    yield from _length(draft)
    yield from _along(draft, towards, width, say, is_arm=True)


def ask_branch() -> Walk[str]:
    """The fitting by which a pipe parts."""
    kind: str = yield choice_question(
        "branch",
        "How does the pipe part?",
        "A wye leads in at a slant, a tee square; the slant takes less air.",
        BRANCHES,
        BRANCHES[0],
    )
    return kind


def ask_diameter(said: str, usual: Size) -> Walk[tuple[Size, tuple[str, ...]]]:
    """A diameter, and words for it where it is assumed."""
    given: Size | None = yield size_question(
        "diameter",
        said,
        "The diameter of the pipe.",
        DIAMETERS,
        usual.text,
        f"The diameter is taken as {usual.text}.",
    )
    return (given, ()) if given is not None else (usual, ("its diameter",))


def missing_path_m2(draft: ShopDraft) -> float:
    """How much opening is missing before the collector could ever run: a quarter of its inlet has to be open."""
    motor = draft.here
    ducts = [duct.diameter.si for duct in draft.leading_somewhere() if duct.towards == motor.name]
    gates_m = [machine.diameter.si for machine in draft.on(motor)]
    inlet_m = motor.inlet.si if motor.inlet is not None else max(ducts, default=0.0) or max(gates_m, default=0.0)
    return math.pi / 4 * (inlet_m**2 / 4 - sum(one**2 for one in gates_m))
