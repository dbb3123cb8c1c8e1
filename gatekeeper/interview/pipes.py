"""The walk along the pipe, from the collector outward: lengths, fittings, branches, and the machines at the ends.

A branch is walked to its end first; then the walk comes back to where the pipe parts and goes on along the main.
"""

import math
import re

from gatekeeper.interview.draft import COLLECTOR, USUAL_MATERIAL, DraftMachine, ShopDraft
from gatekeeper.interview.engine import NotUnderstood, Question, Walk, one_of
from gatekeeper.interview.machine import ask_gate, ask_hose, ask_name, ask_port_and_need, ask_seen
from gatekeeper.interview.reading import Size, choice_question, size, size_question
from gatekeeper.layout.measures import Measures
from gatekeeper.shop.written import Material

LENGTH, ELBOW, BRANCH, MACHINE, NO_MORE = "length of duct", "elbow", "branch", "machine", "nothing more"
OTHER_WIDTH = "another diameter"
REDUCER = "reducer"
ELBOWS = ("90 elbow", "60 elbow", "45 elbow", "30 elbow")
BRANCHES = ("45 wye", "30 wye", "tee")
LONGEST_M = 200.0
DIAMETERS = ("length", "20 mm", "1 m")


def walk_pipes(draft: ShopDraft) -> Walk[None]:
    """Everything that hangs on the collector."""
    say = Measures(draft.units)
    while True:
        first = not draft.machines
        what: str = yield choice_question(
            "at the collector",
            "What is joined to the collector?" if first else "What else is joined straight to the collector?",
            "Walk from the collector outward. A machine may hang on the collector by its own hose, without any duct.",
            (LENGTH, MACHINE) if first else (LENGTH, MACHINE, NO_MORE),
            LENGTH if first else NO_MORE,
        )
        if what == NO_MORE:
            return
        usual = draft.inlet or (Size("4 in", 0.1016) if draft.is_inch else Size("100 mm", 0.1))
        if what == MACHINE:
            width, _ = yield from ask_diameter("How wide is the hose there?", usual)
            yield from _machine(draft, width, say, is_on_duct=False)
            continue
        if not draft.material:
            draft.material = yield choice_question(
                "material",
                "What are the ducts made of, most of them?",
                "Rougher walls take more air. A single duct of something else is mended in the file.",
                tuple(one.value for one in Material),
                USUAL_MATERIAL,
            )
        width, words = yield from ask_diameter("How wide is this duct?", usual)
        draft.open_duct(COLLECTOR, width, (), words)
        yield from _length(draft)
        yield from _along(draft, COLLECTOR, width, say, is_arm=False)
        # What leads to no machine is no part of the shop.
        draft.ducts = draft.leading_somewhere()


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
        what: str = yield choice_question(
            "next",
            _next_said(draft, towards),
            "A length of straight duct, an elbow, a branch (the pipe parts; its side arm is walked first), another "
            "diameter from here on, or the machine at its end. Nothing more: what leads to no machine is left out.",
            (LENGTH, ELBOW, BRANCH, OTHER_WIDTH, MACHINE, NO_MORE),
            usual,
        )
        if what == NO_MORE:
            draft.opened = None
            return
        if what in (BRANCH, OTHER_WIDTH):
            if draft.opened is not None:
                towards = draft.close_as_main()
            if what == BRANCH:
                yield from _branch(draft, towards, diameter, say)
            else:
                diameter, words = yield from ask_diameter("How wide is it from here on?", diameter)
                draft.open_duct(towards, diameter, (REDUCER,), words)
            continue
        if draft.opened is None:
            draft.open_duct(towards, diameter)
        if what == LENGTH:
            yield from _length(draft)
        elif what == ELBOW:
            draft.fit((yield elbow_question(ELBOWS, ELBOWS[0])))
        else:
            yield from _machine(draft, diameter, say, is_on_duct=True)
            return


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


def ask_length(before_m: float, *, is_inch: bool) -> Walk[tuple[Size, bool]]:
    """A straight length beside ``before_m`` of the same duct, and whether it is assumed."""
    plain = size("length", "0 m", "200 m")

    def read(answer: str) -> Size:
        length = plain(answer)
        if before_m + length.si > LONGEST_M:
            raise NotUnderstood("With what is there already this duct is longer than 200 m; mend the length.")
        return length

    usual = Size("10 ft", 3.048) if is_inch else Size("3 m", 3.0)
    may_assume = before_m + usual.si <= LONGEST_M
    length: Size | None = yield Question(
        "length",
        "How far does it go straight?",
        "Measure along the duct, without elbows. Write a number and a unit, such as 12 ft or 3.5 m; at most 200 m.",
        read,
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


def _branch(draft: ShopDraft, towards: str, diameter: Size, say: Measures) -> Walk[None]:
    kind = yield from ask_branch()
    width, words = yield from ask_diameter("How wide is the side arm?", diameter)
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


def _machine(draft: ShopDraft, diameter: Size, say: Measures, *, is_on_duct: bool) -> Walk[None]:
    """The machine at the end of the duct that was begun, or straight on the collector."""
    name = yield from ask_name(draft.taken)
    drop: str | None = None
    if is_on_duct:
        hose, is_assumed = yield from ask_hose(say)
        drop = draft.close_as_drop(name, hose, flex_assumed=is_assumed)
    joined = yield from ask_port_and_need(name, diameter, say)
    servo = yield from ask_gate(name)
    seen = yield from ask_seen(name, draft.free_channel())
    draft.machines.append(DraftMachine(name, drop, diameter, joined.port, joined.needs, servo, seen))


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
    widest_m = max((duct.diameter.si for duct in draft.leading_somewhere() if duct.towards == COLLECTOR), default=0.0)
    gates_m = [machine.diameter.si for machine in draft.machines]
    inlet_m = draft.inlet.si if draft.inlet is not None else widest_m or max(gates_m, default=0.0)
    return math.pi / 4 * (inlet_m**2 / 4 - sum(one**2 for one in gates_m))
