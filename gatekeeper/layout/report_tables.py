"""The tables of the report: machines alone, pairs, triples, and every length of duct with chips in it."""

from collections.abc import Sequence

from gatekeeper.airflow.needs import TRANSPORT_MS
from gatekeeper.airflow.study import SetAir
from gatekeeper.airflow.tools import ENOUGH
from gatekeeper.layout.report_tree import worst_velocities
from gatekeeper.layout.study import LayoutStudy, SystemStudy
from gatekeeper.layout.text import machine_rows
from gatekeeper.markup import Html, el
from gatekeeper.service.air_systems import duct_of

_MOST_PAIRED = 16
_MOST_TRIPLES = 12
_SHORT_WORDS = 20


def table(rows: Sequence[Sequence[str]], loud: Sequence[int] = ()) -> Html:
    """A table of words: the first row is its head, ``loud`` the rows that are ruled."""
    head = el("thead", None, el("tr", None, [el("th", {"scope": "col"}, cell) for cell in rows[0]]))
    body = [
        el(
            "tr",
            {"class": "bad" if place in loud else None},
            el("th", {"scope": "row"}, row[0]),
            [el("td", {"class": _kind(cell)}, cell) for cell in row[1:]],
        )
        for place, row in enumerate(rows[1:])
    ]
    return el("div", {"class": "wide"}, el("table", None, head, el("tbody", None, body)))


def machine_table(study: LayoutStudy, system: SystemStudy) -> Html:
    """What every machine gets alone, or all of them together where every gate stays open."""
    say = study.measures
    head = [
        "machine",
        f"needs, {say.flow_unit}",
        f"gets, {say.flow_unit}",
        f"drop, {say.velocity_unit}",
        f"slowest main, {say.velocity_unit}",
        f"static at the hood, {say.pressure_unit}",
        "",
        f"fan, {say.flow_unit}",
        f"fan, {say.pressure_unit}",
        "motor takes",
    ]
    rows, loud = [head], []
    for air in system.alone:
        for row in machine_rows(air, say, with_extra=not study.is_all_open):
            fan = say.flow_span(air.fan_low_m3s, air.fan_high_m3s)
            power = f"about {say.power(air.motor_w)}"
            rows.append([*row, fan, say.pressure_bare(air.fan_static_pa), power])
            if "short" in row[-1]:
                loud.append(len(rows) - 2)
    return table(rows, loud)


def pair_table(system: SystemStudy) -> Html | None:
    """Every pair as a field of a triangle; None where there is no pair."""
    names = [air.reading.running[0] for air in system.of_size(1)]
    pairs = {frozenset(air.reading.running): air for air in system.of_size(2)}
    if not pairs or len(names) > 2 * _MOST_PAIRED:
        return None
    numbers = [str(place) for place in range(1, len(names) + 1)]
    head = el("tr", None, el("th", {"scope": "col"}, ""), [el("th", {"scope": "col"}, number) for number in numbers])
    body = []
    for place, name in enumerate(names):
        fields = []
        for other in names[: place + 1]:
            air = system.sets[frozenset({name})] if other == name else pairs.get(frozenset({name, other}))
            fields.append(_field(air, alone=other == name))
        body.append(el("tr", None, el("th", {"scope": "row"}, f"{place + 1}. {name}"), fields))
    return el("table", {"class": "pairs"}, el("thead", None, head), el("tbody", None, body))


def _field(air: SetAir | None, *, alone: bool) -> Html:
    if air is None:
        return el("td", None, "-")
    share = min(tool.share for tool in air.tools)
    slow = " s" if air.reading.slow_mains or air.reading.slow_drops else ""
    kind = [word for word, holds in (("bad", share < ENOUGH), ("alone", alone)) if holds]
    return el("td", {"class": " ".join(kind) or None}, f"{share * 100:.0f}{slow}")


def triple_words(system: SystemStudy) -> Html | None:
    """Which triples have enough air, in words."""
    triples = system.of_size(3)
    if not triples:
        return None
    fed = [air for air in triples if not air.reading.short]
    said = f"Of {len(triples)} sets of three, {len(fed) or 'none'} {'has' if len(fed) == 1 else 'have'} enough air"
    named = "; ".join(", ".join(air.reading.running) for air in fed[:_MOST_TRIPLES])
    more = f"; and {len(fed) - _MOST_TRIPLES} more" if len(fed) > _MOST_TRIPLES else ""
    return el("p", None, f"{said}{': ' + named + more if fed else ''}.")


def duct_table(study: LayoutStudy, system: SystemStudy) -> Html:
    """Every length of the shop's own with the slowest air in it, and for which machine."""
    say = study.measures
    head = [
        "length of duct",
        "diameter",
        "length",
        f"slowest air, {say.velocity_unit}",
        "when this runs",
        "",
        "pairs that are slow",
    ]
    rows, loud = [head], []
    worst = worst_velocities(system)
    pairs = system.of_size(2)
    for name, (speed, running) in worst.items():
        duct = study.shop.ducts.get(name)
        if duct is None or duct_of(name) != name:
            continue
        through = [air for air in pairs if name in air.reading.velocity_ms]
        slow = sum(air.reading.velocity_ms[name] < TRANSPORT_MS for air in through)
        rows.append(
            [
                name,
                say.diameter(duct.diameter_m),
                say.length(duct.length_m + duct.flex_m),
                say.velocity_bare(speed),
                running,
                "slow" if speed < TRANSPORT_MS else "enough",
                f"{slow} of {len(through)}" if through else "-",
            ]
        )
        if speed < TRANSPORT_MS:
            loud.append(len(rows) - 2)
    return table(rows, loud)


def _kind(cell: str) -> str | None:
    """Figures stand to the right, words to the left; only long words are broken into lines."""
    if not cell or cell[0].isdigit() or cell[0] == "-":
        return None
    return "words long" if len(cell) > _SHORT_WORDS else "words"
