"""An interview as a page: one question, large; below it the ducts so far and what each machine gets of the air."""

from collections.abc import Sequence

from gatekeeper.markup import Html, el, join
from gatekeeper.service.face_interview import (
    DoneView,
    EndView,
    GoingView,
    InterviewView,
    NextStep,
    OfferedGate,
    QuestionView,
)
from gatekeeper.web.interview_sketch import air_of, ducts_of
from gatekeeper.web.parts import hidden

UNKNOWN = "unknown"
#: Choices of more letters than this stand one below the other.
_LONG_CHOICE = 24
#: An explanation of more letters than this opens where somebody wants it: the same question comes many times.
_LONG_WORDS = 170
_LONGEST = 80
#: What somebody reads who starts the controller anew. The times are those of a board. Ours.
TAKE_OVER_CAUTION = (
    "The controller ends and starts again; that takes up to a minute. Meanwhile no gate moves and no collector starts: "
    "a machine that is switched on then gets no air. Tell whoever works here. Nothing starts by itself afterwards."
)


def content(view: InterviewView, base: str, *, may: bool, said: str | None, typed: str | None) -> Html:
    """The page without its frame.

    Args:
        view: where it stands.
        base: the address of the page; forms lead below it.
        may: this visitor may answer.
        said: what became of the last press, one sentence.
        typed: what stands in the field again after a slip.
    """
    told = el("p", {"class": "slip", "role": "status"}, said) if said else None
    if view.going is not None:
        return _going(view.going, base, may=may, told=told, typed=typed)
    return join(
        el("h1", None, "Written." if view.done is not None else "Machines"),
        told,
        el("p", None, view.done.said) if view.done is not None else None,
        el("p", {"class": "caution"}, view.refusal) if view.refusal else None,
        _waiting(view, base, may=may) if view.waiting is not None else None,
        _done(view.done) if view.done is not None else None,
        None if view.refusal else _machines(view, base, may=may),
    )


def title(view: InterviewView) -> str:
    """The page's title."""
    return view.going.title if view.going is not None else "Machines"


# ---------------------------------------------------------------- what goes on


def _going(view: GoingView, base: str, *, may: bool, told: Html | None, typed: str | None) -> Html:
    question = view.question
    where = f"{view.title}, question {view.count + 1}" if question is not None else view.title
    answer: Html | None
    if not may:
        answer = el("p", {"class": "target"}, el("a", {"href": f"/sign-in?back={base}"}, "Sign in to answer"))
    elif question is not None:
        answer = _answer(question, view.mark, base, typed)
    else:
        answer = None
    return join(
        el("p", {"class": "soft"}, where),
        el("h1", None, question.said if question is not None else "That is all. Is it right?"),
        told,
        _end(view.end, view, base, may=may) if view.end is not None else None,
        answer,
        _back(view, base) if may else None,
        _explained(question.explained) if question is not None else None,
        _changes(view),
        ducts_of(view),
        air_of(view),
        _give_up(view, base) if may and view.count else None,
    )


def _explained(words: str) -> Html:
    if len(words) <= _LONG_WORDS:
        return el("p", {"class": "soft explained"}, words)
    return el("details", None, el("summary", None, "What is meant"), el("p", {"class": "soft explained"}, words))


def _answer(question: QuestionView, mark: str, base: str, typed: str | None) -> Html:
    """The ways to answer: what is usual, the choices, a figure with its unit, a word, not known."""
    usual = question.default if question.default not in (None, UNKNOWN, *question.choices) else None
    return join(
        _form(base, mark, el("div", {"class": "picks one"}, _pick(usual, "as usual", is_usual=True)))
        if usual is not None
        else None,
        # A figure that may be given beside choices is the quickest answer, so it comes first.
        _written(question, mark, base, typed) if question.units else None,
        _choices(question, mark, base) if question.choices else None,
        _written(question, mark, base, typed)
        if not question.units and (question.own or not question.choices)
        else None,
        _form(base, mark, el("div", {"class": "picks one"}, _not_known(question)))
        if question.unknown is not None
        else None,
    )


def _form(base: str, mark: str, *content: Html, css: str | None = None) -> Html:
    return el("form", {"method": "post", "action": f"{base}/answer", "class": css}, hidden("mark", mark), *content)


def _pick(answer: str, more: str = "", *, is_usual: bool = False) -> Html:
    attributes = {"name": "answer", "value": answer, "class": "usual" if is_usual else None}
    return el("button", attributes, answer, el("small", None, f" {more}") if more else None)


def _choices(question: QuestionView, mark: str, base: str) -> Html:
    is_long = any(len(choice) > _LONG_CHOICE for choice in question.choices)
    picks = [_pick(choice, is_usual=choice == question.default) for choice in question.choices]
    return _form(base, mark, el("div", {"class": "picks one" if is_long else "picks"}, picks))


def _not_known(question: QuestionView) -> Html:
    is_usual = question.default == UNKNOWN
    return el(
        "button",
        {"name": "answer", "value": UNKNOWN, "class": "usual" if is_usual else "unsure"},
        "Not known",
        el("small", None, f" {question.unknown}"),
    )


def _written(question: QuestionView, mark: str, base: str, typed: str | None) -> Html:
    field: dict[str, str | int | bool | None] = {
        "id": "written",
        "name": "written",
        "maxlength": _LONGEST,
        "required": True,
        "autocomplete": "off",
        "value": typed or None,
    }
    if question.units:
        units = [
            el("button", {"name": "unit", "value": unit, "aria-label": f"in {unit}"}, unit) for unit in question.units
        ]
        return _form(
            base,
            mark,
            el("label", {"for": "written"}, "A number, then its unit"),
            el(
                "div",
                {"class": f"figure u{len(units)}"},
                el("input", {**field, "inputmode": "decimal", "enterkeyhint": "done"}),
                units,
            ),
        )
    return _form(
        base,
        mark,
        el("label", {"for": "written"}, question.own or "In your words"),
        el("div", {"class": "figure u1"}, el("input", {**field, "enterkeyhint": "go"}), el("button", None, "Take it")),
    )


def _back(view: GoingView, base: str) -> Html:
    """Back is there from the first question on, so that it is never looked for."""
    first = not view.count
    label = el("small", None, " this is the first question" if first else f" takes back: {view.last}")
    button = el("button", {"class": "back", "disabled": first}, "Back", label)
    return el("form", {"method": "post", "action": f"{base}/back"}, hidden("mark", view.mark), button)


def _give_up(view: GoingView, base: str) -> Html:
    answers = "1 answer goes" if view.count == 1 else f"{view.count} answers go"
    form = el(
        "form",
        {"method": "post", "action": f"{base}/leave"},
        hidden("mark", view.mark),
        el("p", {"class": "caution"}, f"The {answers}; no shop file is changed."),
        el("button", None, "Give this up"),
    )
    return el("details", None, el("summary", None, "Give it up"), form)


def _changes(view: GoingView) -> Html | None:
    """What the last answer did."""
    if not view.told:
        return None
    lines = [el("p", None, one) for one in view.told]
    return el("section", {"class": "panel told", "aria-label": "What the last answer did"}, lines)


# ---------------------------------------------------------------- the end


def _end(end: EndView, view: GoingView, base: str, *, may: bool) -> Html:
    if end.trouble is not None:
        return el("p", {"class": "caution"}, end.trouble)
    what = "The file as it will be written" if view.what == "new" else "The lines that are new in it"
    write = el(
        "form",
        {"method": "post", "action": f"{base}/write"},
        hidden("mark", view.mark),
        el("button", {"class": "usual write"}, "Write it"),
    )
    return join(
        el("p", None, f"It goes into {end.file}; nothing is written before you press."),
        _list("Assumed, because nobody knew; measure it one day", end.assumed),
        _list("To commission anew", end.anew),
        write if may else None,
        _shown(what, end.text),
        _shown("The lines that go", end.gone),
    )


def _shown(what: str, text: str) -> Html | None:
    return el("details", None, el("summary", None, what), el("pre", None, text)) if text else None


def _list(head: str, lines: Sequence[str]) -> Html | None:
    if not lines:
        return None
    return join(el("h2", None, head), el("ul", {"class": "cautions"}, [el("li", None, one) for one in lines]))


def _done(view: DoneView) -> Html:
    return join(
        _list("Pins", view.pins),
        _list("Assumed, because nobody knew; measure it one day", view.assumed),
        _list("To commission anew", view.anew),
        el("h2", None, "What comes next") if view.steps else None,
        el("ul", {"class": "after"}, [_step(one) for one in view.steps]) if view.steps else None,
    )


def _step(step: NextStep) -> Html:
    what: Html | str = el("a", {"href": step.path}, step.said) if step.path else step.said
    return el("li", None, what, el("code", None, step.command) if step.command else None)


# ---------------------------------------------------------------- nothing goes on


def _machines(view: InterviewView, base: str, *, may: bool) -> Html | None:
    if not view.machines:
        return None
    if not may:
        sign = el(
            "a", {"href": f"/sign-in?back={base}"}, "Sign in to add, move or retire a machine, or make a gate automatic"
        )
        return el("p", {"class": "target"}, sign)
    rows = [
        el(
            "li",
            {"data-key": name},
            el("b", None, name),
            el("div", {"class": "offers"}, _begin(base, "move", name, "Move"), _begin(base, "retire", name, "Retire")),
        )
        for name in view.machines
    ]
    each = el("ul", {"class": "bench machines"}, rows)
    return join(
        el("h2", None, "Machines") if view.done is not None else None,
        el(
            "p",
            None,
            "Each asks a few questions and then changes the shop's file at that one place, and nothing else.",
        ),
        _begin(base, "add", "", "Add a machine"),
        el("div", {"class": "offers"}, _begin(base, "motor", "", "Add a collector, vacuum or air cleaner")),
        _gates(view.gates, base),
        each if view.done is None else el("details", None, el("summary", None, "Move or retire a machine"), each),
        el(
            "details",
            None,
            el("summary", None, "The same in the terminal"),
            el("ul", {"class": "after"}, [el("li", None, el("code", None, one)) for one in view.commands]),
        ),
    )


def _gates(gates: Sequence[OfferedGate], base: str) -> Html | None:
    """Every gate with what moves it, and the way to something else."""
    if not gates:
        return None
    rows = [
        el(
            "li",
            {"data-key": gate.name},
            el(
                "span",
                None,
                el("b", None, gate.name),
                el("small", None, f"{', '.join(gate.machines) or 'no machine is seen here'}; {gate.moved}"),
            ),
            el("div", {"class": "offers"}, _begin(base, "gate", gate.name, "Change")),
        )
        for gate in gates
    ]
    return el(
        "details",
        None,
        el("summary", None, "Make a gate automatic, or change what moves it"),
        el(
            "p",
            {"class": "soft"},
            "One gate at a time. Its place stays, and so does all else that the file says of it.",
        ),
        el("ul", {"class": "bench gates"}, rows),
    )


def _begin(base: str, what: str, name: str, label: str) -> Html:
    is_add = what == "add"
    spoken = None
    if name:
        spoken = f"{label} what moves {name}" if what == "gate" else f"{label} {name}"
    return el(
        "form",
        {"method": "post", "action": f"{base}/begin"},
        hidden("what", what),
        hidden("gate" if what == "gate" else "machine", name),
        el("button", {"class": "usual write" if is_add else None, "aria-label": spoken}, label),
    )


def _waiting(view: InterviewView, base: str, *, may: bool) -> Html:
    """What does not count yet, and the way to let it count."""
    way: Html | None = None
    if view.stays is not None:
        way = join(el("p", None, view.stays), el("p", {"class": "target"}, el("a", {"href": base}, "Look again")))
    elif may:
        form = el(
            "form",
            {"method": "post", "action": f"{base}/take-over"},
            el("p", {"class": "caution"}, TAKE_OVER_CAUTION),
            el("button", {"class": "start"}, "Start it anew now"),
        )
        way = el("details", None, el("summary", None, "Start the controller anew"), form)
    return el(
        "section",
        {"class": "panel", "aria-label": "Not counting yet"},
        el("p", {"class": "what"}, view.waiting or ""),
        way,
    )
