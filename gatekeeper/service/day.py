"""One day of the record as the page shows it: lanes, a few plain numbers, and the lines in words."""

from datetime import date, datetime, timedelta

from gatekeeper.records.history_reading import HistoryReader
from gatekeeper.records.history_reading import Lane as RecordLane
from gatekeeper.service.day_lines import lines
from gatekeeper.service.face import DayNumber, DayView, Lane, LaneSpan

#: Lines shown of one day, the newest.
MOST_LINES = 400
#: Days offered, counted back from today.
DAYS_OFFERED = 60

#: What is drawn of each kind of lane; everything else is left blank.
_DRAWN = {
    "tool": {"running": "running", "stale": "sensor lost"},
    "motor_command": {"on": "on"},
    "gate_belief": {"open": "open", "opening": "opening", "shutting": "shutting", "stuck": "stuck", "held": "held"},
}


def day_view(reader: HistoryReader, day: str | None, now_wall_s: float) -> DayView:
    """One day; today for None.

    Raises:
        LookupError: there is no record of that day.
        HistoryUnreadableError: the history cannot be read now.
    """
    today = datetime.fromtimestamp(now_wall_s).date()
    days = _days(reader, today)
    try:
        wanted = today if day is None else date.fromisoformat(day)
    except ValueError:
        raise LookupError(f"There is no day {day}.") from None
    if day is not None and wanted.isoformat() not in days:
        raise LookupError(f"There is no record of {wanted.isoformat()}.")
    begin_s, end_s = _bounds(wanted)
    lanes = reader.lanes(begin_s, end_s, now_wall_s if wanted == today else None)
    dated = reader.between(begin_s, end_s)
    return DayView(
        day=wanted.isoformat(),
        days=days,
        lanes=tuple(shown for lane in _in_order(lanes) if (shown := _lane(lane, begin_s)).spans),
        numbers=_numbers(lanes, reader),
        lines=tuple(reversed(lines(dated)[-MOST_LINES:])),
    )


def _bounds(day: date) -> tuple[float, float]:
    begin = datetime(day.year, day.month, day.day)
    return begin.timestamp(), (begin + timedelta(days=1)).timestamp()


def _days(reader: HistoryReader, today: date) -> tuple[str, ...]:
    """The days that have a record, newest first; today always."""
    found = [today.isoformat()]
    for back in range(1, DAYS_OFFERED):
        day = today - timedelta(days=back)
        if reader.between(*_bounds(day), limit=1):
            found.append(day.isoformat())
    return tuple(found)


def _in_order(lanes: list[RecordLane]) -> list[RecordLane]:
    order = {"motor_command": 0, "tool": 1, "gate_belief": 2}
    return sorted(lanes, key=lambda lane: order.get(lane.kind, 3))


def _lane(lane: RecordLane, begin_s: float) -> Lane:
    words = _DRAWN.get(lane.kind, {})
    spans = tuple(
        LaneSpan(span.begin_s - begin_s, span.end_s - begin_s, words[span.word])
        for span in lane.spans
        if span.word in words
    )
    return Lane(lane.subject, spans)


def _numbers(lanes: list[RecordLane], reader: HistoryReader) -> tuple[DayNumber, ...]:
    """Hours and starts of the day, and since the record began."""
    numbers = []
    for lane in _in_order(lanes):
        if lane.kind == "gate_belief":
            continue
        word = "on" if lane.kind == "motor_command" else "running"
        spans = [span for span in lane.spans if span.word == word]
        if spans:
            hours = sum(span.end_s - span.begin_s for span in spans) / 3600
            numbers.append(DayNumber(f"Hours of {lane.subject}", f"{hours:.1f} h, {_starts(len(spans))}"))
    for total in reader.totals():
        if total.kind == "motor":
            hours = total.running_s / 3600
            numbers.append(DayNumber(f"{total.subject} in all", f"{hours:.1f} h, {_starts(total.starts)}"))
    return tuple(numbers)


def _starts(number: int) -> str:
    return "1 start" if number == 1 else f"{number} starts"
