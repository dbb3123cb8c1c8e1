"""What is drawn below a question: the ducts so far as the page's own line drawing, and what each machine gets."""

import re
from collections.abc import Sequence

from gatekeeper.markup import Html, el, join
from gatekeeper.service.face import DuctView, GateView, GateWord
from gatekeeper.service.face_interview import GoingView, SketchDuct
from gatekeeper.web import drawing


def ducts_of(view: GoingView) -> Html:
    """The ducts of every collector, as a picture and as a list."""
    return el(
        "section",
        {"class": "sketch"},
        el("h2", None, "The ducts so far" if view.what == "new" else "The ducts"),
        [_system(motor, ducts) for motor, ducts in view.systems],
        el(
            "details",
            None,
            el("summary", None, "The ducts as a list"),
            [_listed(motor, ducts) for motor, ducts in view.systems],
        ),
    )


def _system(motor: str, ducts: Sequence[SketchDuct]) -> Html:
    by_name = {duct.name: duct for duct in ducts}
    lines = [
        DuctView(
            one.name, one.towards, motor, one.diameter_m, 0.0, None if one.machines is None else f"gate of {one.name}"
        )
        for one in ducts
    ]
    gates = [
        GateView(f"gate of {one.name}", motor, one.name, GateWord.SHUT, one.moves_itself, one.machines)
        for one in ducts
        if one.machines is not None
    ]
    top = join(el("b", None, motor), None if ducts else el("span", None, "nothing on it yet"))
    return drawing.system(motor, top, lines, gates, lambda _, duct: _words(by_name[duct.name]))


def _words(duct: SketchDuct) -> tuple[Html, int]:
    """Words beside one end of a duct."""
    if duct.is_begun:
        return join(el("b", {"class": "begun"}, "here, going on"), el("span", None, _unbroken(duct.size))), 1
    name = duct.name if not duct.machines else ", ".join(duct.machines)
    more = _unbroken(duct.size)
    if duct.machines is None:
        more += ", open end"
    elif not duct.machines:
        more += ", no machine is seen here"
    new = el("em", {"class": "fresh"}, " new") if duct.is_new else None
    return join(el("b", None, name, new), el("span", None, more)), 1


def _unbroken(size: str) -> str:
    """Measures whose numbers stay with their units."""
    return re.sub(r"(\d) (?=[^\W\d])", "\\1\u00a0", size)


def _listed(motor: str, ducts: Sequence[SketchDuct]) -> Html:
    def below(towards: str) -> Html | None:
        here = [one for one in ducts if one.towards == towards]
        if not here:
            return None
        return el("ul", {"class": "tree"}, [el("li", None, _said(one), below(one.name)) for one in here])

    return join(el("p", None, f"{motor}, air comes from:"), below(motor))


def _said(duct: SketchDuct) -> str:
    if duct.is_begun:
        return f"{duct.size}, going on."
    ends = ""
    if duct.machines is not None:
        by = "a gate that moves itself" if duct.moves_itself else "a gate moved by hand"
        ends = f"; {by}, {', '.join(duct.machines) or 'no machine is seen here'}"
    return f"{duct.name}: {duct.size}{ends}."


def air_of(view: GoingView) -> Html | None:
    """What each machine gets of the air, or nothing where that is not known yet."""
    if not view.air:
        return None
    rows = [
        el(
            "li",
            {"data-key": one.machine},
            el("b", None, one.machine),
            el("span", {"class": "gets"}, one.gets),
            el("small", None, f"needs {one.needs}" + (": too little" if one.is_short else "")),
        )
        for one in view.air
    ]
    return el(
        "section",
        None,
        el("h2", None, "Air, each running alone"),
        el("ul", {"class": "airs-of"}, rows),
        el("p", {"class": "soft"}, view.air_note) if view.air_note else None,
    )
