"""A machine being calibrated: what to do now, its current as a picture, what came of it, and the buttons."""

import math
from collections.abc import Sequence

from gatekeeper.markup import Html, el, join
from gatekeeper.service.face import (
    BenchControl,
    CalibrationOffer,
    CalibrationStep,
    CalibrationView,
    CurrentPoint,
    ShopView,
    ToolView,
)
from gatekeeper.web import parts, words
from gatekeeper.web.frame import Visit, frame, live

#: Drawn units of the picture; amperes on a logarithmic line, since a trip and an inrush belong on one picture.
_LEFT, _WIDTH, _TOP, _HIGH = 44.0, 316.0, 12.0, 150.0
_FROM_A, _DECADES = 0.01, 4
_SECONDS = 30.0

_WALKING = (
    CalibrationStep.OFF_FIRST,
    CalibrationStep.SWITCH_ON,
    CalibrationStep.RUN_FREE,
    CalibrationStep.CUT,
    CalibrationStep.SWITCH_OFF,
)


def walk_of(view: ShopView, tool: ToolView) -> CalibrationView | None:
    """The walk at this machine, or None."""
    return view.calibration if view.calibration is not None and view.calibration.machine == tool.name else None


def live_parts(view: ShopView, tool: ToolView, controls: Sequence[BenchControl]) -> dict[str, Html]:
    """The live parts of a machine's page for calibrating."""
    walk = walk_of(view, tool)
    own = [control for control in controls if control.key == f"tool:{tool.name}"]
    return {
        "walk": _walk(view, walk) if walk is not None else _before(view, tool),
        "current": _current(walk) if walk is not None else Html(""),
        "told": _notes(walk) if walk is not None and walk.step in _WALKING else Html(""),
        "bench": parts.bench(own) if own else Html(""),
    }


def page(view: ShopView, tool: ToolView, controls: Sequence[BenchControl], visit: Visit) -> Html:
    """The page in its frame."""
    drawn = live_parts(view, tool, controls)
    back = el("a", {"href": words.machine_path(tool.name)}, f"To {tool.name}")
    return frame(
        view,
        f"Calibrate {tool.name}",
        f"calibrate/{tool.name}",
        visit,
        live("walk", drawn),
        live("current", drawn, "div"),
        live("told", drawn, "div"),
        live("bench", drawn) if controls else None,
        el("p", {"class": "target"}, back),
    )


def link(tool: ToolView) -> Html | None:
    """On the machine's own page: from which current it counts as running, and the way to here."""
    if tool.trip_note is None:
        return None
    way = el("a", {"href": words.calibration_path(tool.name)}, f"Calibrate {tool.name}")
    return join(el("h2", None, "Its current"), el("p", None, tool.trip_note), el("p", {"class": "target"}, way))


# ---------------------------------------------------------------- what to do


def _before(view: ShopView, tool: ToolView) -> Html:
    other = view.calibration
    if other is not None and parts.is_calibrating(view):
        way = el("a", {"href": words.calibration_path(other.machine)}, f"To {other.machine}")
        return join(
            el("h1", None, f"Calibrate {tool.name}"),
            el("p", None, f"{words.title(other.machine)} is being calibrated now. Finish or leave that first."),
            el("p", {"class": "target"}, way),
        )
    return join(
        el("h1", None, f"Calibrate {tool.name}"),
        el("p", None, tool.trip_note or ""),
        el(
            "p",
            None,
            "About a minute at the machine finds the right current: leave it off, switch it on, let it run free, cut "
            "if you like, switch it off. This page asks for each step and shows what its clamp sees.",
        ),
        el(
            "p",
            {"class": "caution"},
            "The controller goes on meanwhile: when the machine runs, its gate opens and its collector comes on as "
            "always. Nothing is changed before you press Write it.",
        ),
        _buttons(tool.name, (CalibrationOffer("begin", "Begin"),)),
    )


def _walk(view: ShopView, walk: CalibrationView) -> Html:
    which = words.title(walk.machine)
    if walk.step in _WALKING:
        which += f", step {_WALKING.index(walk.step) + 1} of {len(_WALKING)}"
    asked = el("h1", None, walk.prompt)
    if walk.step is CalibrationStep.REFUSED:
        asked = join(el("h1", {"class": "loud"}, "Not calibrated."), el("p", {"class": "what"}, walk.prompt))
    return join(
        el("p", {"class": "soft"}, which),
        asked,
        el("p", None, words.said(walk.ends, view.now_s)) if walk.ends is not None else None,
        None if walk.step in _WALKING else _notes(walk),
        _buttons(walk.machine, walk.offers),
    )


def _notes(walk: CalibrationView) -> Html:
    return join(*(el("p", None, note) for note in walk.notes))


def _buttons(machine: str, offers: Sequence[CalibrationOffer]) -> Html:
    forms = [
        el(
            "form",
            {"method": "post", "action": "/calibrate", "data-ask": True, "data-key": one.press},
            parts.hidden("machine", machine),
            parts.hidden("press", one.press),
            el("button", {"class": "quiet" if one.press == "leave" and len(offers) > 1 else None}, one.label),
        )
        for one in offers
    ]
    return el("div", {"class": "offers"}, forms)


# ---------------------------------------------------------------- the picture


def _current(walk: CalibrationView) -> Html:
    now = None
    if walk.live_a is not None:
        amperes = el("b", {"class": "amperes"}, words.amperes(walk.live_a))
        now = el("p", {"class": "count"}, amperes, f" on {walk.place}")
    proposed = f"Solid: the proposed trip, {walk.proposed_a:g} A. " if walk.proposed_a is not None else ""
    when = "before" if walk.step is CalibrationStep.WRITTEN else "in force"
    return join(
        now,
        _picture(walk),
        el(
            "p",
            {"class": "soft"},
            f"The last half minute, without what stands on the wire when the machine is off. {proposed}"
            f"Dashed: the trip {when}, {walk.trip_a:.3g} A.",
        ),
    )


def _x(point: CurrentPoint) -> float:
    return _LEFT + _WIDTH * max(0.0, 1 - point.ago_s / _SECONDS)


def _y(current_a: float) -> float:
    decades = math.log10(min(max(current_a / _FROM_A, 1.0), 10.0**_DECADES))
    return _TOP + _HIGH * (1 - decades / _DECADES)


def _level(kind: str, current_a: float) -> Html:
    return el("path", {"class": kind, "d": f"M{_LEFT:.0f} {_y(current_a):.1f}h{_WIDTH:.0f}"})


def _picture(walk: CalibrationView) -> Html:
    grid: list[Html] = []
    for decade in range(_DECADES + 1):
        current_a = _FROM_A * 10.0**decade
        grid.append(_level("grid", current_a))
        grid.append(el("text", {"x": f"{_LEFT - 6:.0f}", "y": f"{_y(current_a) + 5:.0f}"}, f"{current_a:g}"))
    spots = [f"{_x(point):.1f} {_y(point.current_a):.0f}" for point in walk.points]
    line = el("path", {"class": "amps", "d": "M" + "L".join(spots)}) if len(spots) > 1 else None
    return el(
        "svg",
        {
            "class": "wave",
            "viewBox": f"0 0 {_LEFT + _WIDTH + 2:.0f} {_TOP + _HIGH + 8:.0f}",
            "role": "img",
            "aria-label": "The current of the last half minute, in amperes on a logarithmic line",
        },
        grid,
        _level("old", walk.trip_a),
        _level("new", walk.proposed_a) if walk.proposed_a is not None else None,
        line,
    )
