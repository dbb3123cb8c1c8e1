"""From the text of a scenario file to a scenario, or to every fault in it."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from gatekeeper.shop.faults import Faults, in_order
from gatekeeper.shop.model import Shop
from gatekeeper.shop.places import read_through
from gatekeeper.shop.reading import Written, read_as
from gatekeeper.shop.schema import schema_of
from sim.day import begins_s as day_begins_s
from sim.day import until_s, working_days
from sim.day_pattern import Pattern, default_pattern, pattern_of
from sim.expect import Expectation, MessageExpected, StateExpected
from sim.happening import Happening
from sim.scenario_expects import expectations
from sim.scenario_happens import happenings
from sim.scenario_reading import Reading, clock
from sim.scenario_written import HeadPart, PatternPart, ScenarioFile

#: A scenario that does not say how long it is played goes on this long after the last that happens or is expected.
AFTER_S = 60.0
#: Time of day at the beginning of a scenario that says none, seconds after midnight.
BEGINS_S = 8 * 3600.0


@dataclass(frozen=True, slots=True)
class Scenario:
    """What is played in a shop.

    Args:
        name: in a few words.
        begins_s: the play's beginning, seconds after the midnight of a Monday.
        until_s: the play's end, seconds from its beginning.
        happenings: what happens from outside, in order, drawn days left out.
        expected: what must be so.
        pattern: working days drawn from it, or None.
        days: how many of them; 0 without a pattern.
    """

    name: str
    begins_s: float
    until_s: float
    happenings: tuple[Happening, ...] = ()
    expected: tuple[Expectation, ...] = ()
    pattern: Pattern | None = None
    days: int = 0

    def all_that_happens(self, shop: Shop, seed: int) -> Iterator[Happening]:
        """What happens and what is drawn, in order of time."""
        if self.pattern is None:
            yield from self.happenings
            return
        waiting = list(reversed(self.happenings))
        for drawn in working_days(shop, self.pattern, self.days, seed, self.begins_s):
            while waiting and waiting[-1].at_s <= drawn.at_s:
                yield waiting.pop()
            yield drawn
        yield from reversed(waiting)


def days_of_work(shop: Shop, days: int, pattern: Pattern | None = None) -> Scenario:
    """So many days of the calendar drawn from a pattern, the shop's default if none is given."""
    drawn = pattern if pattern is not None else default_pattern(shop)
    begin_s = day_begins_s(drawn)
    name = "A working day" if days == 1 else f"{days} days"
    return Scenario(name, begin_s, until_s(drawn, days, begin_s), (), (), drawn, days)


def load_scenario(text: str, name: str, shop: Shop, *, days: int | None = None) -> Scenario | Faults:
    """Read a scenario for a shop from ``text``; ``name`` is the file's name for messages. Pure: no file is opened.

    Args:
        days: play so many days of work, whatever the file says; the default pattern where it has none.

    Returns the scenario, or every fault at once. Only a text that is no YAML at all shows its first fault alone.
    """
    tree = read_through(text, name, "scenario:, happens:, expects:")
    if isinstance(tree, Faults):
        return tree
    whole, faults = read_as(tree, ScenarioFile)
    reading = Reading(tree, shop)
    head, own = _head(tree.plain()), _pattern_part(tree.plain())
    pattern = None
    if own is not None or days is not None:
        pattern = pattern_of(shop, own) if own is not None else default_pattern(shop)
        _check_pattern(reading, pattern, own)
        days = days or (own.days if own is not None else None) or 1
        reading.begins_s = head.begins if head.begins is not None else day_begins_s(pattern)
        reading.ends_s = head.lasts or until_s(pattern, days, reading.begins_s)
    else:
        reading.begins_s = BEGINS_S if head.begins is None else head.begins
        reading.ends_s = head.lasts
        if "happens" not in tree.root.entries:
            reading.fault('nothing happens here; write a list "happens", or a "pattern" of days', "scenario", key=True)
    found, expected = happenings(reading), expectations(reading)
    refused = {fault.mark for fault in tree.faults}
    faults = [*tree.faults, *(fault for fault in [*faults, *reading.faults] if fault.mark not in refused)]
    if faults or whole is None:
        return Faults(name, tree.text, in_order(faults))
    ends_s = reading.ends_s
    if ends_s is None:
        ends_s = max([0.0, *(one.at_s for one in found), *map(_last_of, expected)]) + AFTER_S
    return Scenario(whole.scenario.name, reading.begins_s, ends_s, tuple(found), tuple(expected), pattern, days or 0)


def scenario_schema() -> dict[str, Any]:
    """The JSON Schema of a scenario file."""
    return schema_of(ScenarioFile, "A scenario")


def _head(plain: dict[str, Any]) -> HeadPart:
    """The head as far as it can be read: its times place everything else, and its faults are noted elsewhere."""
    written = plain.get("scenario")
    kept: dict[str, Any] = {"name": "unnamed"}
    for key in ("begins", "lasts"):
        if isinstance(written, dict) and key in written and _read(HeadPart, kept | {key: written[key]}) is not None:
            kept[key] = written[key]
    return HeadPart.model_validate(kept)


def _pattern_part(plain: dict[str, Any]) -> PatternPart | None:
    """The pattern as far as it can be read; None without one."""
    written = plain.get("pattern")
    if not isinstance(written, dict):
        return None
    kept = {key: value for key, value in written.items() if _read(PatternPart, {key: value}) is not None}
    return PatternPart.model_validate(kept)


def _read(written: type[Written], plain: dict[str, Any]) -> Written | None:
    try:
        return written.model_validate(plain)
    except ValidationError:
        return None


def _check_pattern(reading: Reading, pattern: Pattern, own: PatternPart | None) -> None:
    """What only the whole pattern and the shop can show."""
    for tool in reading.tree.keys("pattern", "tools"):
        reading.known(tool, ("tool",), "pattern", "tools", tool, key=True)
    opens_min = pattern.open.start_min
    closes_min = pattern.open.end_min + (24 * 60 if pattern.open.end_min < opens_min else 0)
    if own is not None and own.breaks is not None:
        for place, span in enumerate(own.breaks):
            if not opens_min < span.start_min < span.end_min < closes_min:
                hours = f"{clock(opens_min * 60)} to {clock(closes_min % (24 * 60) * 60)}"
                reading.fault(
                    f"break {place + 1} does not lie inside of the working hours, {hours}", "pattern", "breaks"
                )


def _last_of(one: Expectation) -> float:
    """The last instant that an expectation names, 0 where it names none."""
    match one:
        case StateExpected() | MessageExpected():
            return max(at_s for at_s in (one.from_s, one.to_s) if math.isfinite(at_s))
        case _:
            return 0.0
