"""Commissioning as pages: the step in hand with what is seen now, the stages, one stage's steps, the record."""

from collections.abc import Iterator, Sequence
from urllib.parse import quote

from gatekeeper.commissioning_print import box, drawn
from gatekeeper.commissioning_words import FINDS_FAULT, WORDS, capital, found, is_about
from gatekeeper.markup import Html, el, join
from gatekeeper.service.face import BenchControl, Press, ShopView
from gatekeeper.service.face_commissioning import (
    LEAVE_OUT,
    PUT_BY,
    CommissioningRecord,
    CommissioningView,
    Field,
    StageView,
    StepOffer,
    StepState,
    StepView,
    WalkView,
)
from gatekeeper.web import parts, words
from gatekeeper.web.frame import Visit, frame, live

#: The page's name among the streams.
LIVE = "commission"
HOME = "/commission"
#: Fields of a step travel with this before their own name, so that none can stand for one of ours.
VALUE = "value."
LONGEST_NAME = 40
LONGEST_VALUE = 120
_OPEN = (StepState.DUE, StepState.STALE, StepState.NOW)
#: So many things that are seen leave room for the buttons on a small phone.
MOST_SEEN = 3
#: A prompt of more letters is set smaller, so that the buttons stay on the screen.
LONG_PROMPT = 80
#: So many buttons stay in sight however long the step is.
MOST_UNDER_THUMB = 3
#: Boxes of the drawn list: its pitch and how many stand in a row.
_PITCH, _ROW = 16, 20


def stage_path(key: str) -> str:
    """The address of a stage's own page."""
    return f"{HOME}/{quote(key, safe='')}"


# ---------------------------------------------------------------- the page of the walk


def page(
    shop: ShopView,
    view: CommissioningView,
    controls: Sequence[BenchControl],
    name: str,
    visit: Visit,
    last: str | None = None,
) -> Html:
    """The whole page.

    Args:
        shop, view, controls: what is so.
        name: who tries it, as this phone was told; empty where nobody has said.
        visit: of the visitor.
        last: the step that was in hand last.
    """
    shown = live_parts(shop, view, controls, last)
    return frame(
        shop,
        "Commissioning",
        LIVE,
        visit,
        None if name else who(name),
        live("step", shown),
        live("bench", shown) if controls else None,
        live("stages", shown),
        who(name) if name else None,
        el("p", {"class": "target"}, el("a", {"href": f"{HOME}/record"}, "The record, to print")),
    )


def live_parts(
    shop: ShopView, view: CommissioningView, controls: Sequence[BenchControl], last: str | None = None
) -> dict[str, Html]:
    """The live parts of the page."""
    walk = view.walk
    mine = [control for control in controls if walk is not None and is_about(walk, control)]
    return {
        "stops": parts.stops(shop),
        "step": _walk(shop, view, walk) if walk is not None else _between(view, last),
        "bench": parts.bench(mine, all_open=True) if mine else Html(""),
        "stages": _stages(view),
    }


def who(name: str) -> Html:
    """Who walks through: asked first, changed later."""
    form = el(
        "form",
        {"method": "post", "action": f"{HOME}/who", "class": "pin"},
        el(
            "label",
            None,
            "Your name, as it is to stand in the record ",
            el("input", {"name": "by", "maxlength": LONGEST_NAME, "required": True, "value": name or None}),
        ),
        el("button", None, "This is me"),
    )
    if not name:
        return el("section", {"class": "panel", "aria-label": "Who"}, el("p", {"class": "what"}, "Who tries it?"), form)
    return el("details", None, el("summary", None, f"{name} tries it. Somebody else?"), form)


# ---------------------------------------------------------------- between two steps


def _between(view: CommissioningView, last: str | None) -> Html:
    following = found(view, view.next_key)
    lead: Html | None = None
    if following is not None:
        stage, step = following
        begin = [_offer(step.key, None, one, (), is_list=False) for one in step.offers[:1]]
        lead = join(
            el("h2", None, f"Next: {step.title}"),
            el("p", None, stage.why),
            el("div", {"class": "thumb"}, el("div", {"class": "offers"}, begin)),
        )
    told = el("ul", {"class": "cautions"}, [el("li", None, one) for one in view.cautions])
    if view.done:
        told = el("details", {"data-key": "first"}, el("summary", None, "Before you begin"), told)
    return join(
        el("h1", None, view.sentence),
        _came_of(view, last),
        None if view.done else told,
        lead,
        told if view.done else None,
    )


def _came_of(view: CommissioningView, last: str | None) -> Html | None:
    """What came of the step that was in hand last; most end by themselves, so nobody was answered."""
    known = found(view, last)
    if known is None or known[1].result is None or known[1].state in _OPEN:
        return None
    step = known[1]
    return el(
        "ul",
        {"class": "cards"},
        el(
            "li",
            {"class": "card now" if step.state is StepState.FAILED else "card"},
            el("p", None, el("b", None, step.title), f": {WORDS[step.state]}"),
            el("p", None, step.result),
        ),
    )


# ---------------------------------------------------------------- the step in hand


def _walk(shop: ShopView, view: CommissioningView, walk: WalkView) -> Html:
    by_name = {field.name: field for field in walk.fields}
    answers = [one for one in walk.offers if one.press not in (LEAVE_OUT, PUT_BY)]
    # The first answer stands open with what it asks; others that ask something are folded away behind the plain ones.
    main = [one for place, one in enumerate(answers) if not one.fields or place == 0]
    aside = [one for one in walk.offers if one not in main]
    is_plain = len(main) <= MOST_UNDER_THUMB and not any(one.fields for one in main)
    is_plain = is_plain and not all(one.press in FINDS_FAULT for one in main)
    is_crowded = sum(one.how is Press.HOLD for one in main) > MOST_UNDER_THUMB
    beside = [one for one in dict.fromkeys(offer.caution for offer in main) if one and one not in walk.cautions]
    return join(
        el("p", {"class": "soft"}, _place(view, walk)),
        el(
            "h1",
            {"class": "long" if len(walk.prompt.text) > LONG_PROMPT else None},
            words.said(walk.prompt, shop.now_s),
        ),
        [el("p", {"class": "caution"}, one) for one in walk.cautions],
        _seen(walk),
        el(
            "div",
            {"class": "thumb" if is_plain else "answers"},
            [el("p", {"class": "caution"}, one) for one in beside],
            el("p", {"class": "soft scripted"}, "What moves is held for one second.") if is_crowded else None,
            el(
                "div",
                {"class": "offers"},
                [
                    _offer(walk.key, walk.number, one, _fields(one, by_name), is_list=False, is_terse=is_crowded)
                    for one in main
                ],
            ),
        )
        if main
        else None,
        [el("p", None, note) for note in walk.notes],
        el("div", {"class": "offers"}, [_aside(walk, one, _fields(one, by_name)) for one in aside]) if aside else None,
    )


def _place(view: CommissioningView, walk: WalkView) -> str:
    stage = next((one for one in view.stages if one.key == walk.stage), None)
    if stage is None:
        return walk.title
    keys = [step.key for step in stage.steps]
    number = f", {keys.index(walk.key) + 1} of {len(keys)}" if walk.key in keys and len(keys) > 1 else ""
    return f"{stage.title}{number}: {walk.title}"


def _seen(walk: WalkView) -> Html | None:
    """What the controller sees at this instant; what is worth looking at stands first, the rest is folded away."""
    if not walk.live:
        return None
    first, rest = walk.live[:MOST_SEEN], walk.live[MOST_SEEN:]
    if not rest:
        return _seen_rows(first)
    more = el("summary", None, f"What else is seen ({len(rest)})")
    return join(_seen_rows(first), el("details", {"data-key": "seen"}, more, _seen_rows(rest)))


def _seen_rows(seen: Sequence[tuple[str, str]]) -> Html:
    rows = [el("div", None, el("dt", None, capital(what)), el("dd", None, word)) for what, word in seen]
    return el("dl", {"class": "seen"}, rows)


def _fields(offer: StepOffer, by_name: dict[str, Field]) -> list[Field]:
    return [by_name[name] for name in offer.fields if name in by_name]


def _offer(
    key: str, number: int | None, one: StepOffer, fields: Sequence[Field], *, is_list: bool, is_terse: bool = False
) -> Html:
    """One press as a form.

    ``is_list``: the press leads to the page of the walk, so no script sends it. ``is_terse``: how it is held is said
    once for all.
    """
    hold = one.how is Press.HOLD
    return el(
        "form",
        {
            "method": "post",
            "action": HOME,
            "class": "asks" if fields else "fault" if one.press in FINDS_FAULT else None,
            "data-ask": not is_list,
            # What is typed belongs to the question that it answers; a bare button stays under the finger.
            "data-key": f"{key} {one.press} {number}" if fields else f"{key} {one.press}",
        },
        parts.hidden("key", key),
        parts.hidden("press", one.press),
        parts.hidden("number", number),
        [_field(field) for field in fields],
        el(
            "button",
            {"class": "start" if hold else "quiet" if one.press == PUT_BY else None, "data-hold": hold and not is_list},
            one.label,
            el("small", None, " hold for one second") if hold and not is_list and not is_terse else None,
        ),
    )


def _aside(walk: WalkView, one: StepOffer, fields: Sequence[Field]) -> Html:
    """What is no answer to the step: put by at once, or folded away with its field."""
    form = _offer(walk.key, walk.number, one, fields, is_list=False)
    if not fields:
        return form
    return el("details", {"data-key": f"{walk.key} {one.press}"}, el("summary", None, one.label), form)


def _field(field: Field) -> Html:
    name = f"{VALUE}{field.name}"
    if field.choices:
        options = [el("option", {"value": one, "selected": one == field.value}, one) for one in field.choices]
        return el("label", None, f"{field.label} ", el("select", {"name": name}, options))
    example = f", such as {field.example} " if field.example else " "
    typed = el("input", {"name": name, "maxlength": LONGEST_VALUE, "autocomplete": "off", "value": field.value or None})
    return el("label", None, f"{field.label}{example}", typed)


# ---------------------------------------------------------------- stages and steps


def _stages(view: CommissioningView) -> Html:
    here = view.walk.stage if view.walk is not None else None
    return join(
        el("h2", None, "Stages"),
        el("p", {"class": "soft"}, view.sentence) if view.walk is not None else None,
        el("ol", {"class": "lines"}, [_stage_line(stage, is_here=stage.key == here) for stage in view.stages]),
    )


def _stage_line(stage: StageView, *, is_here: bool) -> Html:
    return el(
        "li",
        {"data-key": stage.key, "aria-current": "step" if is_here else None},
        el("p", {"class": "target"}, el("a", {"href": stage_path(stage.key)}, el("b", None, stage.title))),
        el("p", {"class": "soft"}, _counted(stage)),
        _boxes(stage.steps),
    )


def _counted(stage: StageView) -> str:
    """How far a stage has come."""
    count = len(stage.steps)
    done = sum(step.state not in _OPEN for step in stage.steps)
    said = [f"{done} of {count} done" if done < count else "All done" if count > 1 else "Done"]
    for state in (StepState.FAILED, StepState.STALE, StepState.LEFT_OUT):
        some = sum(step.state is state for step in stage.steps)
        if some:
            said.append(f"{some} {WORDS[state]}")
    return ", ".join(said) + "."


def _boxes(steps: Sequence[StepView]) -> Html:
    """The stage as the boxes of a list of paper: ticked, crossed, struck, empty; drawn only, the words stand above."""
    kinds: dict[str, list[str]] = {}
    for place, step in enumerate(steps):
        x, y = 1 + _PITCH * (place % _ROW), 1 + _PITCH * (place // _ROW)
        frame_kind = {StepState.STALE: "dashed", StepState.NOW: "thick"}.get(step.state, "")
        kinds.setdefault(frame_kind, []).append(f"M{x} {y}h12v12h-12z")
        for kind, path in _marks(step.state, x, y):
            kinds.setdefault(kind, []).append(path)
    wide, high = _PITCH * min(len(steps), _ROW), _PITCH * ((len(steps) - 1) // _ROW + 1)
    drawing = [el("path", {"class": kind or None, "d": "".join(paths)}) for kind, paths in kinds.items()]
    return el(
        "svg",
        {"class": "boxes", "viewBox": f"0 0 {wide} {high}", "width": wide, "height": high, "aria-hidden": "true"},
        drawing,
    )


def _marks(state: StepState, x: int, y: int) -> Iterator[tuple[str, str]]:
    match state:
        case StepState.PASSED:
            yield "tick", f"M{x + 2} {y + 6}l3 4 5-8"
        case StepState.FAILED:
            yield "cross", f"M{x + 2.5} {y + 2.5}l7 7m0-7l-7 7"
        case StepState.LEFT_OUT:
            yield "", f"M{x + 2} {y + 6}h8"
        case _:
            return


def stage_page(shop: ShopView, view: CommissioningView, key: str, visit: Visit) -> Html | None:
    """One stage with all its steps; None when there is no such stage."""
    stage = next((one for one in view.stages if one.key == key), None)
    if stage is None:
        return None
    busy = view.walk
    return frame(
        shop,
        stage.title,
        "frame",
        visit,
        el("h1", None, stage.title),
        el("p", None, stage.why),
        el("p", {"class": "caution"}, f"In hand now: {busy.title}. To begin another puts it by.")
        if busy is not None
        else None,
        el("ol", {"class": "steps"}, [_step(step) for step in stage.steps]),
        el("p", {"class": "target"}, el("a", {"href": HOME}, "To the step in hand" if busy else "To all stages")),
    )


def _step(step: StepView) -> Html:
    offers = [_offer(step.key, None, one, (), is_list=True) for one in step.offers]
    return el(
        "li",
        {"aria-current": "step" if step.state is StepState.NOW else None},
        box(step.state),
        el(
            "div",
            None,
            el("p", None, el("b", None, step.title), f": {WORDS[step.state]}"),
            el("p", {"class": "soft"}, step.result) if step.result else None,
            el("div", {"class": "offers"}, offers) if offers else None,
        ),
    )


def record_page(shop: ShopView, record: CommissioningRecord, visit: Visit) -> Html:
    """The record in the page's frame, for reading and for printing from the phone."""
    return frame(
        shop,
        "Record of commissioning",
        "frame",
        visit,
        el("p", {"class": "soft"}, f"{record.shop}, {words.clock(record.made_wall_s)}"),
        el("h1", None, record.sentence),
        drawn(record),
        el("p", {"class": "target"}, el("a", {"href": HOME}, "To commissioning")),
    )
