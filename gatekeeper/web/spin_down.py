"""The spin-down delay as a control of its own: a large number, minus, plus, a scale, the effect in words, undo."""

import math

from gatekeeper.markup import Html, el, join
from gatekeeper.service.face import MotorView, Saying, ShopView, SpinDown, ToolView
from gatekeeper.web import words
from gatekeeper.web.parts import hidden


def effect(spin: SpinDown, value_s: float, of_tool: bool) -> str:
    """What a delay does, in words; ``static/page.js`` says the same while a finger drags."""
    branch = "Its own branch needs" if of_tool else "The longest branch needs"
    when = "after this machine stops" if of_tool else "after the last tool stops"
    return f"Keeps running {words.seconds(value_s)} {when}. {branch} {words.seconds(spin.clear_s)} to clear."


def lowest_s(spin: SpinDown) -> int:
    """The lowest delay that needs no hold: the clear time in whole seconds, within the range."""
    return math.ceil(min(max(spin.low_s, spin.clear_s), spin.high_s))


def _step(spin: SpinDown, value_s: float, label: str, sign: str, css: str) -> Html:
    possible = lowest_s(spin) <= value_s <= spin.high_s
    return el(
        "form",
        {"method": "post", "action": "/spin-down", "data-step": css},
        hidden("subject", spin.subject),
        hidden("value_s", f"{value_s:g}"),
        el("button", {"class": "step", "aria-label": label, "disabled": not possible}, sign),
    )


def _undo(spin: SpinDown, label: str) -> Html:
    return el(
        "form",
        {"method": "post", "action": "/undo", "data-ask": True, "data-key": "undo"},
        hidden("subject", spin.subject),
        el("button", None, label),
    )


def undo_label(spin: SpinDown) -> str:
    """The undo button's words: what it brings back."""
    if spin.previous_s is None:
        return "Undo: follow the collector again"
    return f"Undo: back to {words.seconds(spin.previous_s)}"


def control(view: ShopView, spin: SpinDown, follows_s: float, of_tool: bool) -> Html:
    """The control of one delay. ``follows_s``: what holds while a tool has none of its own."""
    value_s = follows_s if spin.value_s is None else spin.value_s
    low = lowest_s(spin)
    subject = spin.subject
    undo = None
    if spin.can_undo and spin.undo_until_s is not None and spin.undo_until_s > view.now_s:
        undo = el("div", {"class": "undo", "data-gone": f"{spin.undo_until_s:.1f}"}, _undo(spin, undo_label(spin)))
    follow = None
    if of_tool and spin.value_s is None:
        follow = el("p", {"class": "soft"}, f"{subject} has no delay of its own. It follows its collector.")
    elif of_tool:
        follow = el(
            "form",
            {"method": "post", "action": "/spin-down", "data-ask": True, "data-key": "follow"},
            hidden("subject", subject),
            el("button", {"class": "quiet"}, "Follow the collector"),
        )
    return el(
        "div",
        {
            "class": "spin",
            "data-key": subject,
            "data-subject": subject,
            "data-value": f"{value_s:g}",
            "data-clear": f"{spin.clear_s:g}",
            "data-low": f"{spin.low_s:g}",
            "data-of-tool": of_tool,
        },
        el("h3", None, subject),
        el(
            "div",
            {"class": "dial"},
            _step(spin, math.ceil(value_s) - 1, f"{subject}: one second less", "−", "less"),
            el("output", {"class": "number"}, el("b", None, f"{value_s:g}"), " s"),
            _step(spin, math.floor(value_s) + 1, f"{subject}: one second more", "+", "more"),
        ),
        el(
            "input",
            {
                "type": "range",
                "min": low,
                "max": math.floor(spin.high_s),
                "step": 1,
                "value": f"{max(low, value_s):g}",
                "aria-label": f"{subject}: spin-down delay in seconds",
                "class": "scripted",
            },
        ),
        el(
            "p",
            {"class": "ends scripted"},
            el("span", None, words.seconds(low)),
            el("span", None, words.seconds(spin.high_s)),
        ),
        el("p", {"class": "effect"}, effect(spin, value_s, of_tool)),
        _below(spin, value_s) if lowest_s(spin) > spin.low_s else None,
        undo,
        follow,
    )


def _below(spin: SpinDown, value_s: float) -> Html:
    """The way below the clear time: one deliberate hold, or without scripts a form that asks once more."""
    return join(
        el(
            "button",
            {"type": "button", "class": "quiet scripted", "data-unlock": True},
            f"Hold to go below {words.seconds(lowest_s(spin))}",
        ),
        el(
            "form",
            {"method": "post", "action": "/spin-down", "class": "unscripted"},
            hidden("subject", spin.subject),
            el(
                "label",
                None,
                "Seconds ",
                el(
                    "input",
                    {
                        "name": "value_s",
                        "type": "number",
                        "inputmode": "numeric",
                        "min": f"{spin.low_s:g}",
                        "max": f"{spin.high_s:g}",
                        "value": f"{value_s:g}",
                    },
                ),
            ),
            el("button", None, "Set"),
        ),
    )


def of_motor(view: ShopView, motor: MotorView) -> Html | None:
    """A motor's control, or nothing where it has no delay."""
    spin = motor.spin_down
    if spin is None or spin.value_s is None:
        return None
    # Outside of the control itself, which stands still under the finger while this keeps counting; and always there,
    # so that nothing moves under the finger when the countdown begins.
    state = Saying(f"{motor.name}: {motor.word}.")
    if motor.stops_at_s is not None:
        state = Saying(f"{motor.name} stops in {{time}}.", until_s=motor.stops_at_s)
    counts = el("p", {"class": "count", "data-key": f"count {motor.name}"}, words.said(state, view.now_s))
    return join(counts, control(view, spin, spin.value_s, of_tool=False))


def of_tool(view: ShopView, tool: ToolView) -> Html | None:
    """A tool's control; while it has no delay of its own it shows its collector's."""
    if tool.spin_down is None:
        return None
    followed = [m.spin_down.value_s for m in view.motors if m.name in tool.motors and m.spin_down]
    follows_s = max((value for value in followed if value is not None), default=tool.spin_down.clear_s)
    return control(view, tool.spin_down, follows_s, of_tool=True)


def every_motor(view: ShopView) -> Html:
    """The controls of all motors."""
    drawn = [of_motor(view, motor) for motor in view.motors]
    return join(el("h2", None, "Spin-down delay"), [one for one in drawn if one])
