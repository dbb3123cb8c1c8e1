"""The planer of the invented shop in every step of its calibration, as the page must show it."""

from dataclasses import replace

from shop_views import NOW_S, shop

from gatekeeper.service.face import (
    CalibrationOffer,
    CalibrationPress,
    CalibrationStep,
    CalibrationView,
    CurrentPoint,
    Saying,
    ShopView,
)

TRIP_NOTE = "It counts as running from 0.48 A: reckoned from its plate."
LEAVE = CalibrationOffer("leave", "Leave it as it is")
SENTENCES = (
    "Off it draws nothing; the converter's noise is 0.021 A.",
    "Running free it draws 6.00 A, at most 9.40 A was seen.",
    "Trip: 0.55 A. That is 26.3 times what is there when it is off, and running free is 10.9 times the trip.",
)


def with_clamps(view: ShopView) -> ShopView:
    """Every machine but the lathe has a clamp."""
    tools = tuple(tool if tool.name == "Lathe" else replace(tool, trip_note=TRIP_NOTE) for tool in view.tools)
    return replace(view, tools=tools)


def points(seconds: float, on_ago_s: float | None, off_ago_s: float = 0.0) -> tuple[CurrentPoint, ...]:
    """A start ``on_ago_s`` before now with its inrush, and a stop."""
    made = []
    for k in range(int(4 * seconds), -1, -1):
        ago_s = k / 4
        current_a = 0.015 + 0.008 * (k % 3)
        if on_ago_s is not None and off_ago_s <= ago_s <= on_ago_s:
            current_a = 41.0 if on_ago_s - ago_s < 0.5 else 6.0
        made.append(CurrentPoint(ago_s, current_a))
    return tuple(made)


def ends(text: str, left_s: float) -> Saying:
    return Saying(text, until_s=NOW_S + left_s)


def at(step: CalibrationStep, prompt: str, **more: object) -> ShopView:
    made = CalibrationView(
        machine="Planer",
        step=step,
        prompt=prompt,
        ends=None,
        notes=(),
        live_a=0.02,
        place="channel 2 of clamp board",
        points=points(3, None),
        trip_a=0.48,
        proposed_a=None,
        offers=(LEAVE,),
    )
    return replace(with_clamps(shop()), calibration=replace(made, **more))  # type: ignore[arg-type]


def offers(press: CalibrationPress, label: str) -> tuple[CalibrationOffer, ...]:
    return (CalibrationOffer(press, label), LEAVE)


def before() -> ShopView:
    return with_clamps(shop())


def off_first() -> ShopView:
    note = (
        "The controller goes on meanwhile: when the machine runs, its gate opens and its collector comes on as always."
    )
    return at(CalibrationStep.OFF_FIRST, "Leave Planer off, and switch nothing else on.", notes=(note,))


def switch_on() -> ShopView:
    return at(
        CalibrationStep.SWITCH_ON,
        "Switch Planer on now.",
        ends=ends("Ends by itself in {time}.", 87),
        points=points(8, None),
    )


def run_free() -> ShopView:
    note = "The file has it on channel 0 of clamp board. Writing what comes of this sets that right, too."
    return at(
        CalibrationStep.RUN_FREE,
        "Planer is seen. Let it run free for a few seconds.",
        notes=(note,),
        live_a=6.0,
        points=points(12, 2.5),
    )


def cut() -> ShopView:
    return at(
        CalibrationStep.CUT,
        "Cut with it for a few seconds, or go on without.",
        ends=ends("Goes on by itself in {time}.", 24),
        live_a=9.4,
        points=points(20, 10),
        offers=offers("go_on", "Go on"),
    )


def switch_off() -> ShopView:
    return at(
        CalibrationStep.SWITCH_OFF,
        "Switch Planer off.",
        ends=ends("Ends by itself in {time}.", 81),
        live_a=6.0,
        points=points(30, 16),
        offers=offers("go_on", "It is off"),
    )


def proposed() -> ShopView:
    where = "It is written into /etc/gatekeeper/corner-shop.yaml, comments kept, and counts at once."
    return at(
        CalibrationStep.PROPOSED,
        "Proposed trip: 0.55 A.",
        ends=ends("Nothing is written yet. Left alone, it ends by itself in {time}.", 590),
        notes=(*SENTENCES, where),
        live_a=None,
        points=points(30, 20, 4),
        proposed_a=0.55,
        offers=offers("write", "Write it"),
    )


def written() -> ShopView:
    return at(
        CalibrationStep.WRITTEN,
        "Written. Planer counts as running from 0.55 A.",
        notes=SENTENCES,
        live_a=None,
        points=points(30, 20, 4),
        proposed_a=0.55,
        offers=(CalibrationOffer("leave", "Done"),),
    )


def refused() -> ShopView:
    return at(
        CalibrationStep.REFUSED,
        "It draws 3.10 A while it is off and 4.00 A running free: too near to tell. Put the clamp behind what draws "
        "when it is off, or use another kind of sensor.",
        notes=("Nothing was changed.",),
        live_a=None,
        points=points(30, 20, 4),
        offers=(CalibrationOffer("begin", "Begin again"), CalibrationOffer("leave", "Done")),
    )


STEPS = {
    "before": before,
    "off-first": off_first,
    "switch-on": switch_on,
    "run-free": run_free,
    "cut": cut,
    "switch-off": switch_off,
    "proposed": proposed,
    "written": written,
    "refused": refused,
}
