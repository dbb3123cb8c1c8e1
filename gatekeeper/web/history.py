"""History: a day's lanes, a few plain numbers, and the record in words."""

from gatekeeper.markup import Html, el, join
from gatekeeper.service.face import DayLine, DayView, Lane, LaneSpan, ShopView
from gatekeeper.web.frame import Visit, frame

_DAY_S = 24 * 3600


def _lane(lane: Lane) -> Html:
    spans = [
        el(
            "rect",
            {"x": f"{span.start_s:.0f}", "y": 0, "width": f"{max(120.0, span.end_s - span.start_s):.0f}", "height": 1},
        )
        for span in lane.spans
    ]
    strip = el(
        "svg",
        {"viewBox": f"0 0 {_DAY_S} 1", "preserveAspectRatio": "none", "class": "lane", "aria-hidden": "true"},
        spans,
    )
    return el("li", {"data-key": lane.name}, el("span", None, lane.name), strip)


def _of_day(seconds_s: float) -> str:
    minutes = int(seconds_s) // 60
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def page(view: ShopView, day: DayView, visit: Visit) -> Html:
    """A day's lanes, its plain numbers, and its record in words."""
    place = day.days.index(day.day) if day.day in day.days else 0
    newer = day.days[place - 1] if place > 0 else None
    older = day.days[place + 1] if place + 1 < len(day.days) else None
    rows = [
        el("tr", None, el("th", {"scope": "row"}, lane.name), el("td", None, span.word), el("td", None, _from_to(span)))
        for lane in day.lanes
        for span in lane.spans
    ]
    head = el("tr", None, [el("th", {"scope": "col"}, name) for name in ("What", "How", "When")])
    hours = el("li", {"class": "hours", "aria-hidden": "true"}, el("span", None, ""), el("p", None, _hours()))
    return frame(
        view,
        f"History of {day.day}",
        "frame",
        visit,
        el("h1", None, f"History of {day.day}"),
        el(
            "p",
            {"class": "target"},
            el("a", {"href": f"/history?day={older}"}, f"Earlier: {older}") if older else None,
            el("a", {"href": f"/history?day={newer}"}, f"Later: {newer}") if newer else None,
        ),
        el("dl", None, [join(el("dt", None, one.label), el("dd", None, one.value)) for one in day.numbers]),
        el("h2", None, "The day"),
        el("ul", {"class": "lanes"}, [_lane(lane) for lane in day.lanes], hours),
        el("details", None, el("summary", None, "The day as a table"), el("table", None, head, rows)),
        el("h2", None, "What happened"),
        el("ul", {"class": "record"}, [_line(one) for one in day.lines])
        if day.lines
        else el("p", {"class": "soft"}, "Nothing happened on that day."),
    )


def _line(one: DayLine) -> Html:
    return el("li", None, el("time", None, one.at), " ", one.sentence)


def _hours() -> list[Html]:
    return [el("span", None, f"{hour}") for hour in (0, 6, 12, 18, 24)]


def _from_to(span: LaneSpan) -> str:
    return f"{_of_day(span.start_s)} to {_of_day(span.end_s)}"
