"""Two layouts side by side: what every machine gets alone, how many run together, and what is found in one only."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from gatekeeper.airflow.study import SetAir
from gatekeeper.layout.findings import Finding, Harm
from gatekeeper.layout.measures import Measures
from gatekeeper.layout.study import LayoutStudy
from gatekeeper.layout.text import aligned, wrapped

_NONE = "-"
_Figure = Callable[[SetAir, str, Measures], tuple[float, str]]


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the comparison, as words: the same figure of both layouts. ``better``: 1, 2, or 0 for neither."""

    what: str
    first: str
    second: str
    better: int


def rows_of(first: LayoutStudy, second: LayoutStudy) -> list[Row]:
    """Every figure that is compared, in the units of the first."""
    say = first.measures
    rows: list[Row] = []
    one, two = _machines(first), _machines(second)
    for name in dict.fromkeys([*one, *two]):
        rows.append(_row(f"{name} gets, {say.flow_unit}", one.get(name), two.get(name), say, _flow))
    for name in dict.fromkeys([*one, *two]):
        rows.append(_row(f"{name}: slowest duct, {say.velocity_unit}", one.get(name), two.get(name), say, _slowest))
    for size, word in ((2, "pairs"), (3, "triples")):
        counts = [_fed(study, size) for study in (first, second)]
        if any(total for _, total in counts):
            (one_fed, one_all), (two_fed, two_all) = counts
            better = 0 if one_fed == two_fed or not (one_all and two_all) else 1 + (two_fed > one_fed)
            said = [f"{fed} of {total}" if total else _NONE for fed, total in counts]
            rows.append(Row(f"{word} with enough air", said[0], said[1], better))
    return rows


def comparison_lines(
    first: LayoutStudy, second: LayoutStudy, findings: tuple[Sequence[Finding], Sequence[Finding]]
) -> list[str]:
    """The comparison as lines."""
    lines = [f"{first.shop.name} ({first.name}) beside {second.shop.name} ({second.name})", ""]
    table = [["", first.name, second.name, "better"]]
    for row in rows_of(first, second):
        table.append([row.what, row.first, row.second, ("", "first", "second")[row.better]])
    lines += aligned(table)
    for study, own, others in zip((first, second), findings, reversed(findings), strict=True):
        there = {(finding.code, finding.title) for finding in others}
        only = [one for one in own if one.harm is not Harm.TO_KNOW and (one.code, one.title) not in there]
        lines += ["", f"Only in {study.name}:"] if only else ["", f"Nothing is wrong in {study.name} only."]
        for finding in only:
            lines += wrapped(finding.title, "- ", "  ")
    return lines


def _machines(study: LayoutStudy) -> dict[str, tuple[SetAir, str]]:
    """By machine (with its system where it draws on two) the set in which it is told."""
    told: dict[str, tuple[SetAir, str]] = {}
    for name, system in study.systems.items():
        for air in system.alone:
            for tool in air.reading.running:
                label = tool if len(study.shop.tools[tool].systems) == 1 else f"{tool} ({name})"
                told[label] = air, tool
    return told


def _flow(air: SetAir, tool: str, say: Measures) -> tuple[float, str]:
    own = air.air_of(tool)
    return own.flow_m3s, say.flow_span(own.low_m3s, own.high_m3s)


def _slowest(air: SetAir, tool: str, say: Measures) -> tuple[float, str]:
    speed = min(air.reading.velocity_ms.values())
    return speed, say.velocity_bare(speed)


def _row(
    what: str, one: tuple[SetAir, str] | None, two: tuple[SetAir, str] | None, say: Measures, figure: _Figure
) -> Row:
    told = [figure(*each, say) if each is not None else None for each in (one, two)]
    words = [each[1] if each is not None else _NONE for each in told]
    better = 0
    if told[0] is not None and told[1] is not None and words[0] != words[1]:
        better = 1 if told[0][0] > told[1][0] else 2
    return Row(what, words[0], words[1], better)


def _fed(study: LayoutStudy, size: int) -> tuple[int, int]:
    sets = [air for system in study.systems.values() for air in system.of_size(size)] if not study.is_all_open else []
    return sum(not air.reading.short for air in sets), len(sets)
