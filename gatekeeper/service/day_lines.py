"""A day's record as lines in words: what befell several parts at once for one cause is one line, with their names."""

from collections.abc import Iterable, Sequence
from datetime import datetime

from gatekeeper.control.messages import Entry
from gatekeeper.records.history_reading import Dated
from gatekeeper.service.face import DayLine
from gatekeeper.service.one_cause import TOGETHER
from gatekeeper.service.viewing_scene import cap, listing
from gatekeeper.service.wording import line, word_of

#: What several parts tell within this time has one cause.
AT_ONCE_S = 1.0
_MOST_NAMES = 8
_SENSORS = {
    "sensor_lost": "The sensors of {subject} say nothing that can be relied on.",
    "motor_sensor_lost": "The sensors that see whether {subject} run say nothing that can be relied on.",
}


def lines(dated: Iterable[Dated]) -> list[DayLine]:
    """The lines of a day, in order of time."""
    found: list[tuple[float, str, tuple[str, str] | None, dict[str, None]]] = []
    open_: dict[tuple[str, str], int] = {}
    for one in dated:
        said = line(one.entry)
        if said is None:
            continue
        key = _alike(one.entry)
        at = open_.get(key) if key is not None else None
        if key is not None and at is not None and 0 <= one.wall_s - found[at][0] <= AT_ONCE_S:
            found[at][3].setdefault(one.entry.subject or "")
            continue
        if key is not None:
            open_[key] = len(found)
        found.append((one.wall_s, said, key, {one.entry.subject or "": None}))
    return [
        DayLine(
            datetime.fromtimestamp(wall_s).strftime("%H:%M:%S"),
            _together(key, list(names)) if key and len(names) > 1 else said,
        )
        for wall_s, said, key, names in found
    ]


def _alike(entry: Entry) -> tuple[str, str] | None:
    """What makes two entries the same news about two parts; None for what is always told by itself."""
    word = word_of(entry)
    if entry.kind == "message" and word in ("raised", "cleared") and isinstance(entry.value, dict):
        code = str(entry.value.get("code"))
        return (word, code) if code in TOGETHER or code in _SENSORS else None
    return ("raised", "sensor_lost") if entry.kind == "tool" and word == "stale" else None


def _together(key: tuple[str, str], names: Sequence[str]) -> str:
    word, code = key
    said = cap((TOGETHER.get(code) or _SENSORS[code]).format(subject=listing(names, most=_MOST_NAMES)))
    return said if word == "raised" else f"Over: {said}"
