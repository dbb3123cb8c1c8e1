"""Whole pages, complete without any script: the same parts that the stream keeps live, in their frame."""

from collections.abc import Mapping

from gatekeeper.cautions import CAUTIONS
from gatekeeper.markup import Html, el, join
from gatekeeper.service.face import BenchControl, MotorView, ShopView, SpinDown, ToolView
from gatekeeper.web import calibration, drawing, parts, spin_down, words
from gatekeeper.web.frame import Visit, frame, live


def is_live(page: str, view: ShopView) -> bool:
    """Whether there is a page of that name to keep live."""
    if page in ("frame", "shop", "settings"):
        return True
    return page in {f"machine/{tool.name}" for tool in view.tools} or _calibrated(page, view) is not None


def _calibrated(page: str, view: ShopView) -> ToolView | None:
    """The machine that a page calibrates; None where there is no such page."""
    return next((t for t in view.tools if f"calibrate/{t.name}" == page and t.trip_note is not None), None)


def live_parts(page: str, view: ShopView, controls: tuple[BenchControl, ...]) -> dict[str, Html] | None:
    """The live parts of a page by the ids of their elements; None when there is no such page."""
    shared = {"stops": parts.stops(view)}
    if page == "frame":
        return shared
    if page == "shop":
        return shared | {
            "top": parts.top(view),
            "needs": parts.needs(view) or Html(""),
            "runs": parts.runs(view),
            "ducts": drawing.picture(view),
            "listed": drawing.listed(view),
            "spin": spin_down.every_motor(view),
            "messages": parts.messages(view),
            "bench": parts.bench(controls) if controls else Html(""),
        }
    if page == "settings":
        return shared | {"settings": settings(view)}
    calibrated = _calibrated(page, view)
    if calibrated is not None:
        return shared | calibration.live_parts(view, calibrated, controls)
    tool = next((tool for tool in view.tools if f"machine/{tool.name}" == page), None)
    if tool is None:
        return None
    own = spin_down.of_tool(view, tool)
    spin = join(el("h2", None, "Spin-down delay"), own) if own else Html("")
    sensed = calibration.link(tool) or Html("")
    return shared | {"machine": parts.machine_state(view, tool), "spin": spin, "sensed": sensed}


# ---------------------------------------------------------------- pages


def shop(view: ShopView, controls: tuple[BenchControl, ...], visit: Visit) -> Html:
    """The first page."""
    drawn = live_parts("shop", view, controls) or {}
    cautions = None
    if not visit.cautions_read:
        cautions = el(
            "section",
            {"class": "panel", "aria-labelledby": "first"},
            el("h2", {"id": "first"}, "Before you use this"),
            _cautions(),
            el("form", {"method": "post", "action": "/cautions"}, el("button", None, "I have read this")),
        )
    return frame(
        view,
        "Dust collection",
        "shop",
        visit,
        el(
            "div",
            {"class": "benched" if controls else None},
            el(
                "div",
                {"class": "columns"},
                el(
                    "div",
                    {"class": "so"},
                    live("top", drawn, "div"),
                    _to_bench() if controls else None,
                    live("needs", drawn),
                    cautions,
                    live("runs", drawn),
                ),
                el(
                    "section",
                    {"class": "air-ways"},
                    el("h2", None, "Ducts"),
                    live("ducts", drawn, "div"),
                    _legend(),
                    el("details", None, el("summary", None, "The ducts as a list"), live("listed", drawn, "div")),
                ),
                live("spin", drawn),
                live("messages", drawn),
            ),
            live("bench", drawn) if controls else None,
        ),
    )


def _to_bench() -> Html:
    link = el("a", {"href": "#bench"}, "Switch its machines on the bench")
    return el("p", {"class": "target to-bench"}, "This shop is virtual. ", link)


def _legend() -> Html:
    return el(
        "p",
        {"class": "soft"},
        "A bar along its duct: the gate is open. Across it: shut. Aslant: moving, or its place is not known. Broken in "
        "two: stuck. In brackets: held. With a knob: moved by hand.",
    )


def machine(view: ShopView, name: str, visit: Visit) -> Html | None:
    """A machine's own page; None when there is no such machine."""
    page = f"machine/{name}"
    drawn = live_parts(page, view, ())
    if drawn is None:
        return None
    return frame(
        view,
        name,
        page,
        visit,
        live("machine", drawn),
        live("spin", drawn),
        live("sensed", drawn),
        _to_commissioning(visit),
    )


def _to_machines(visit: Visit) -> Html | None:
    """The way to what stands in this shop."""
    if not visit.can_change_machines:
        return None
    return el(
        "p",
        {"class": "target"},
        el("a", {"href": "/machines"}, "Add, move or retire a machine, or make a gate automatic"),
    )


def _to_commissioning(visit: Visit) -> Html | None:
    """The way to what was tried in this shop, and what is still to be tried."""
    if not visit.can_commission:
        return None
    return el("p", {"class": "target"}, el("a", {"href": "/commission"}, "Try this shop part by part"))


def calibrate(view: ShopView, name: str, controls: tuple[BenchControl, ...], visit: Visit) -> Html | None:
    """The page that calibrates a machine; None when there is no such machine, or no clamp watches it."""
    tool = _calibrated(f"calibrate/{name}", view)
    return calibration.page(view, tool, controls, visit) if tool is not None else None


def settings(view: ShopView) -> Html:
    """Every setting with its range, default, who changed it, and undo."""
    cards: list[Html] = []
    for motor in view.motors:
        if motor.spin_down is not None:
            link = el("a", {"href": "/#spin"}, "Change")
            cards.append(_setting(motor.spin_down, "the collector's delay", link, _starts(motor)))
    for tool in view.tools:
        if tool.spin_down is not None:
            link = el("a", {"href": words.machine_path(tool.name) + "#spin"}, "Change")
            cards.append(_setting(tool.spin_down, "follows the collector", link))
    return join(
        el("h1", None, "Settings"),
        el("p", None, "Spin-down delay: how long the collector keeps running after the last tool stops."),
        el("ul", {"class": "cards"}, cards),
    )


def _starts(motor: MotorView) -> str | None:
    """How many starts the motor has in hand."""
    starts = motor.starts
    if starts is None:
        return None
    about = "about " if starts.estimate else ""
    return f"Starts in hand: {starts.now:.1f} of {starts.most:g}; {about}{starts.per_hour:.3g} an hour come back."


def _setting(spin: SpinDown, without: str, link: Html, starts: str | None = None) -> Html:
    def told(value_s: float | None) -> str:
        return without if value_s is None else words.seconds(value_s)

    changed = "Never changed."
    if spin.changed_by is not None:
        when = f" at {words.clock(spin.changed_wall_s)}" if spin.changed_wall_s is not None else ""
        changed = f"Last changed by {spin.changed_by}{when}."
    undo = None
    if spin.can_undo:
        undo = el(
            "form",
            {"method": "post", "action": "/undo", "data-ask": True},
            el("input", {"type": "hidden", "name": "subject", "value": spin.subject}),
            el("button", None, spin_down.undo_label(spin)),
        )
    return el(
        "li",
        {"class": "card", "data-key": spin.subject},
        el("p", {"class": "what"}, el("b", None, spin.subject), ": ", told(spin.value_s)),
        el(
            "p",
            None,
            f"From {words.seconds(spin.low_s)} to {words.seconds(spin.high_s)}. "
            f"The shop's file says: {told(spin.default_s)}. Clear time: {words.seconds(spin.clear_s)}.",
        ),
        el("p", {"class": "soft"}, changed),
        el("p", {"class": "soft"}, starts) if starts else None,
        el("div", {"class": "offers"}, undo, el("p", {"class": "target"}, link)),
    )


def settings_page(view: ShopView, visit: Visit, door_part: Html) -> Html:
    """The settings in their frame, and below them who has signed in."""
    shown = live("settings", {"settings": settings(view)})
    return frame(view, "Settings", "settings", visit, shown, _to_machines(visit), _to_commissioning(visit), door_part)


def _cautions() -> Html:
    return el("ul", {"class": "cautions"}, [el("li", None, one) for one in CAUTIONS])


def cautions(view: ShopView, visit: Visit) -> Html:
    """The cautions, and what is particular about this shop."""
    own = None
    if view.cautions:
        items = [el("li", None, one) for one in view.cautions]
        own = join(el("h2", None, "In this shop"), el("ul", {"class": "cautions"}, items))
    return frame(view, "Cautions", "frame", visit, el("h1", None, "Cautions"), _cautions(), own)


def sign_in(view: ShopView, visit: Visit, form: Html) -> Html:
    """Where the PIN is typed."""
    return frame(view, "Sign in", "frame", visit, form)


def confirm(view: ShopView, visit: Visit, caution: str, label: str, action: str, fields: Mapping[str, str]) -> Html:
    """The second press of what needs a hold, for scripts off and for those who cannot hold."""
    inputs = [el("input", {"type": "hidden", "name": name, "value": value}) for name, value in fields.items()]
    return frame(
        view,
        label,
        "frame",
        visit,
        el("h1", None, f"{label}?"),
        el("p", {"class": "caution"}, caution),
        el(
            "form",
            {"method": "post", "action": action},
            inputs,
            el("input", {"type": "hidden", "name": "held", "value": "1"}),
            el("button", {"class": "start"}, label),
        ),
        el("p", {"class": "target"}, el("a", {"href": visit.path}, "No, back")),
    )
