"""The sections of the book behind its first page: settings, wiring, tests, checks, care, events, the file itself."""

from collections.abc import Iterator
from dataclasses import astuple, dataclass
from datetime import datetime

from gatekeeper.book.by_hand import trials
from gatekeeper.book.facts import Facts
from gatekeeper.commissioning_print import drawn
from gatekeeper.layout.report_tables import table
from gatekeeper.markup import Html, el, join
from gatekeeper.records.care_log import Done
from gatekeeper.service.care import pressure
from gatekeeper.service.care_jobs import LOW_SHARE, hours
from gatekeeper.service.pin_table import (
    CLAMP_HEADINGS,
    GAUGE_HEADINGS,
    PIN_HEADINGS,
    clamp_table,
    gauge_table,
    pin_table,
)
from gatekeeper.service.upkeep import counts, job_said, stop_said, trend_view
from gatekeeper.service.wording import line
from gatekeeper.shop.model import Motor
from gatekeeper.trend import trend_svg

#: Events that are listed one by one, the newest, beside those that are counted. Ours.
MOST_EVENTS = 60
_DID = {
    "bin_emptied": "bin emptied",
    "filter_cleaned": "filter cleaned",
    "filter_changed": "filter changed",
    "suction": "reading of suction",
    "stop_proved": "stop in mid-run",
    "stop_seen": "stop seen by somebody",
    "day_one": "day one begun anew",
}


def wiring(facts: Facts) -> Html:
    """Every line of the board, and every clamp."""
    rows = [list(PIN_HEADINGS), *([str(cell) for cell in astuple(row)] for row in pin_table(facts.shop))]
    clamps = [list(CLAMP_HEADINGS), *([str(cell) for cell in astuple(row)] for row in clamp_table(facts.shop))]
    gauges = [list(GAUGE_HEADINGS), *([str(cell) for cell in astuple(row)] for row in gauge_table(facts.shop))]
    return join(
        el("h2", None, "Every line of the board"),
        el("div", {"class": "lines"}, table(rows)),
        join(el("h3", None, "Every clamp"), table(clamps)) if len(clamps) > 1 else None,
        join(el("h3", None, "Every pressure gauge"), table(gauges)) if len(gauges) > 1 else None,
        el("p", {"class": "note"}, "Drawings of each circuit: gatekeeper wiring with the same shop file."),
    )


def settings(facts: Facts) -> Html:
    """What is set: by the file, and since by whom."""
    shop, kept = facts.shop, facts.kept
    rows = [["Spin-down delay of", "Shop file", "In force", "Changed"]]
    for motor in shop.motors.values():
        rows.append([motor.name, _delay(motor.spin_down_s), _in_force(kept, motor.name), _changed(facts, motor.name)])
    for tool in shop.tools.values():
        own = "as its collector" if tool.spin_down_s is None else _delay(tool.spin_down_s)
        rows.append([tool.name, own, _in_force(kept, tool.name), _changed(facts, tool.name)])
    motors = [["Motor", "Power", "Starts an hour", "From", "Coasts", "Bin every", "Filter every"]]
    motors += [_motor_row(motor) for motor in shop.motors.values()]
    return join(el("h2", None, "Settings"), table(rows), el("h3", None, "Motors"), table(motors))


def _motor_row(motor: Motor) -> list[str]:
    care = [hours(motor.care.bin_every_s), hours(motor.care.filter_every_s)] if motor.has_ducts else ["", ""]
    power, starts = f"{motor.power_w:.0f} W", f"{motor.starts_per_hour:.3g}"
    return [motor.name, power, starts, motor.starts_from.value, _delay(motor.coast_s), *care]


def _delay(value_s: float) -> str:
    return f"{value_s:g} s"


def _in_force(kept: object, subject: str) -> str:
    value = kept.get(f"setting/{subject}/spin_down_s") if isinstance(kept, dict) else None
    return _delay(float(value)) if isinstance(value, int | float) else "as the file says"


def _changed(facts: Facts, subject: str) -> str:
    found = next((one for one in facts.changes if one.subject == subject and one.name == "spin_down_s"), None)
    return f"{_day(found.at_s)}, by {found.who}" if found is not None else ""


def tests(facts: Facts) -> Html:
    """What was tried, with lines to fill in, and the stops that the controller saw by itself."""
    motors = [motor for motor in facts.shop.motors.values() if motor.has_ducts]
    told = [el("li", None, f"{motor.name}: {stop_said(tuple(facts.log), motor)}") for motor in motors]
    return join(
        el("h2", None, "Tests before it is trusted"),
        el("div", {"class": "trials"}, table(trials(facts.shop))),
        el("h3", None, "Stops that were proved"),
        el("ul", {"class": "known"}, told),
    )


def commissioning(facts: Facts) -> Html:
    """What was tried part by part, by whom, with figures; and what is still to be tried."""
    record = facts.commissioning
    told = el("p", None, f"{record.sentence} Walk through it on the page, or: gatekeeper commission {facts.name}")
    return join(el("h2", None, "Commissioning"), told, drawn(record, "h3"))


def checks(facts: Facts) -> Html:
    """The monthly checks, drawn, with the table behind."""
    parts: list[Html] = [el("h2", None, "Monthly checks")]
    for trend in facts.trends:
        view = trend_view(trend, facts.shop)
        points = [(one.at_wall_s, one.value) for one in view.readings]
        rows = [["Day", "Suction", "By"], *([_day(one.at_wall_s), one.value_said, one.by] for one in view.readings)]
        parts.append(
            el(
                "figure",
                None,
                el("h3", None, f"{trend.motor}: {view.title}"),
                el("div", {"class": "drawn"}, trend_svg(points, view.unit, LOW_SHARE, view.said)),
                el("figcaption", None, f"{view.said} The broken line is {LOW_SHARE:.0%} below day one."),
                table(rows),
            )
        )
    if len(parts) == 1:
        sample = pressure(1500.0, facts.shop.units)
        parts.append(
            el("p", None, f"No reading yet. The first one is day one; a line to begin with, such as {sample}:")
        )
        parts.append(
            el("div", {"class": "trials"}, table([["Day", "Tap", "Gates open", "Suction", "By"], *[[""] * 5] * 4]))
        )
    return join(*parts)


def care(facts: Facts) -> Html:
    """What is due, hours and starts, and what was done."""
    due = [["What", "How it stands", "Last"], *(list(job_said(job)) for job in facts.jobs)]
    ran = [["", "Since the record began"], *([one.name, one.said] for one in counts(tuple(facts.totals)))]
    did = [["Day", "What", "Of", "By"]]
    did += [[_day(one.at_s), _DID.get(one.what, one.what), one.subject, one.who] for one in _newest(facts)][:60]
    return join(
        el("h2", None, "Care"),
        table(due),
        join(el("h3", None, "Hours, starts and moves"), table(ran)) if len(ran) > 1 else None,
        join(el("h3", None, "What was done"), table(did)) if len(did) > 1 else None,
    )


def _newest(facts: Facts) -> list[Done]:
    return sorted(facts.log, key=lambda one: -one.at_s)


@dataclass(slots=True)
class _Event:
    said: str
    first_s: float
    last_s: float
    count: int


def events(facts: Facts) -> Html:
    """What happened, each kind of thing once with its count; the newest first."""
    rows = [["What", "Times", "First", "Last"]]
    found = sorted(_events(facts), key=lambda event: -event.last_s)[:MOST_EVENTS]
    rows += [[event.said, str(event.count), _day(event.first_s), _day(event.last_s)] for event in found]
    since = f"In the record since {_day(facts.entries[0].wall_s)}." if facts.entries else ""
    return join(
        el("h2", None, "Events"),
        join(el("p", None, since), table(rows))
        if found
        else el("p", None, "Nothing out of the ordinary is in the record."),
    )


def _events(facts: Facts) -> Iterator[_Event]:
    found: dict[str, _Event] = {}
    for dated in facts.entries:
        entry = dated.entry
        what = entry.value.get("what") if isinstance(entry.value, dict) else entry.value
        is_event = (entry.kind == "message" and what == "raised") or entry.kind in ("fault", "dropped", "gap")
        is_asked = entry.kind == "request" and what in ("out_of_service", "back_in_service", "reset")
        said = line(entry) if is_event or is_asked else None
        if said is None:
            continue
        known = found.setdefault(said, _Event(said, dated.wall_s, dated.wall_s, 0))
        known.count += 1
        known.last_s = max(known.last_s, dated.wall_s)
    yield from found.values()


def shop_file(facts: Facts) -> Html:
    """The shop file as it is written: with it and this book the shop can be set up anew."""
    return join(el("h2", None, "The shop file"), el("p", {"class": "note"}, facts.name), el("pre", None, facts.text))


def _day(wall_s: float) -> str:
    return datetime.fromtimestamp(wall_s).strftime("%Y-%m-%d")
