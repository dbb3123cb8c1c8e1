"""From the tracks of a play to lanes: which stint is drawn how, and the list of messages behind the flags."""

from collections.abc import Sequence

from gatekeeper.markup import Html
from gatekeeper.service.viewing_messages import words_of
from sim.figures import MessageAt, Span
from sim.report_facts import Day, cuts_at_hood, had_no_air, runs_on
from sim.report_lanes import Flag, Form, Lane, Stint, lanes_drawing

_HEAPS = {"now": "now", "today": "today", "when_you_can": "when you can"}


def day_lanes(day: Day) -> list[Html]:
    """The lanes of a play, folded by hours."""
    groups = [
        ("Machines", [_tool(day, name, spans) for name, spans in day.tracks.tools.items()]),
        ("Gates", [_gate(name, spans) for name, spans in day.tracks.gates.items()]),
        ("Motors", [_motor(day, name, spans) for name, spans in day.tracks.motors.items()]),
        ("What was broken", _troubles(day)),
    ]
    flags = [Flag(one.t_s, number) for number, one in _raised(day)]
    return lanes_drawing(groups, flags, day.figures.hours_s, day.clock, day.begin_s or 0.0)


def message_rows(day: Day) -> list[list[str]]:
    """The messages behind the flags, the head first."""
    rows = [["number", "at", "harm", "what was so", "what to do"]]
    for number, one in _raised(day):
        row = words_of(one.code, one.subject)
        rows.append([str(number), day.clock_with_s(one.t_s), _HEAPS[one.heap], row.happened, row.remedy])
    return rows


def _raised(day: Day) -> list[tuple[int, MessageAt]]:
    return list(enumerate((one for one in day.tracks.messages if one.is_raised), start=1))


def _tool(day: Day, name: str, spans: Sequence[Span]) -> Lane:
    without = {cut[0].t_s for cut in cuts_at_hood(day.tracks.hoods.get(name, ())) if had_no_air(cut)}
    stints = []
    for span in spans:
        airless = any(span.from_s - 1e-6 <= at_s <= span.to_s for at_s in without)
        stints.append(Stint(span.from_s, span.to_s, Form.FAILS if airless else Form.WORKS))
    return Lane(name, stints, ("cut", "cuts"), adds_time=True)


def _gate(name: str, spans: Sequence[Span]) -> Lane:
    forms = {"open": Form.LOW, "moving": Form.OUTLINE, "between": Form.FAILS}
    stints = [
        Stint(span.from_s, span.to_s, forms[span.word], counts=span.word == "moving", is_quiet=span.word != "moving")
        for span in spans
        if span.word in forms
    ]
    return Lane(name, stints, ("move", "moves"))


def _motor(day: Day, name: str, spans: Sequence[Span]) -> Lane:
    served = [day.tracks.tools[tool.name] for tool in day.shop.tools_of(name) if tool.name in day.tracks.tools]
    running = [span for span in spans if span.word == "running"]
    starts = {span.from_s for span in running}
    has_ducts = day.shop.motors[name].has_ducts
    stints = [Stint(span.from_s, span.to_s, Form.LINE, counts=False) for span in spans if span.word == "coasting"]
    for begin, end, for_tool in runs_on(running, served):
        form = Form.WORKS if for_tool or not has_ducts else Form.LOW
        stints.append(Stint(begin, end, form, counts=begin in starts))
    return Lane(name, stints, ("start", "starts"))


def _troubles(day: Day) -> list[Lane]:
    lanes: dict[str, list[Stint]] = {}
    for span in day.tracks.faults:
        lanes.setdefault(span.word, []).append(Stint(span.from_s, span.to_s, Form.FAILS))
    if day.tracks.controller:
        down = [Stint(span.from_s, span.to_s, Form.FAILS) for span in day.tracks.controller]
        lanes["controller down"] = down
    return [Lane(name, stints) for name, stints in lanes.items()]
