"""The study as one self-contained page: the finding as its title, drawing, what mends it, tables, and sources."""

from collections.abc import Sequence

from gatekeeper.airflow.needs import TRANSPORT_MS
from gatekeeper.airflow.tools import ENOUGH
from gatekeeper.layout.compare import rows_of
from gatekeeper.layout.findings import Finding, Harm
from gatekeeper.layout.report_parts import document, told_list
from gatekeeper.layout.report_plot import fan_plot
from gatekeeper.layout.report_tables import duct_table, machine_table, pair_table, table, triple_words
from gatekeeper.layout.report_tree import duct_tree
from gatekeeper.layout.speeds import counted, speed_note, speed_rows, speed_title
from gatekeeper.layout.study import LayoutStudy, SystemStudy
from gatekeeper.markup import Html, el, join


def report_page(studies: Sequence[LayoutStudy], findings: Sequence[Sequence[Finding]]) -> str:
    """The page of one study, or of two beside each other."""
    title = _title(studies, findings)
    first = studies[0]
    body = [
        el(
            "header", None, el("p", {"class": "shop"}, _names(studies)), el("h1", None, title), _lead(studies, findings)
        ),
        _beside(studies) if len(studies) > 1 else None,
        *(_part(study, found, is_only=len(studies) == 1) for study, found in zip(studies, findings, strict=True)),
        _computed(first),
    ]
    return document(title, body)


def _names(studies: Sequence[LayoutStudy]) -> str:
    return " beside ".join(f"{study.shop.name} ({study.name})" for study in studies) + ": the duct layout"


def _title(studies: Sequence[LayoutStudy], findings: Sequence[Sequence[Finding]]) -> str:
    """The worst finding; of two layouts which one leaves less to mend."""
    if len(studies) > 1:
        wrong = [sum(finding.is_short for finding in found) for found in findings]
        names = [study.name for study in studies]
        if wrong[0] == wrong[1]:
            return f"Both layouts, {names[0]} and {names[1]}, leave {_things(wrong[0])} to mend."
        better = 0 if wrong[0] < wrong[1] else 1
        less, more = names[better], names[1 - better]
        return f"Of two layouts {less} leaves {_things(wrong[better])} to mend, {more} {_things(wrong[1 - better])}."
    worst = next((finding for finding in findings[0] if finding.harm is not Harm.TO_KNOW), None)
    if worst is None:
        return "Every machine gets its air when it runs alone."
    return worst.title


def _things(number: int) -> str:
    return {0: "nothing", 1: "one thing"}.get(number, f"{number} things")


def _lead(studies: Sequence[LayoutStudy], findings: Sequence[Sequence[Finding]]) -> Html | None:
    """Under the title: its figures and the first thing that would mend it."""
    worst = next((finding for finding in findings[0] if finding.harm is not Harm.TO_KNOW), None)
    if len(studies) > 1 or worst is None:
        return None
    mends = next((remedy for remedy in worst.remedies if remedy.mends), None)
    told = f" What mends it: {_small(mends.said)}" if mends is not None else ""
    return el("p", {"class": "lead"}, worst.why + told)


def _part(study: LayoutStudy, findings: Sequence[Finding], *, is_only: bool) -> Html:
    systems = [system for system in study.systems.values() if system.sets]
    parts: list[Html | None] = [None if is_only else el("h2", {"class": "layout"}, f"{study.shop.name} ({study.name})")]
    parts += [_drawing(study, system) for system in systems]
    parts.append(_findings(findings))
    for system in systems:
        parts += [_tables(study, system), _speeds(study, system), _plot(study, system)]
    return el("section", None, parts)


def _drawing(study: LayoutStudy, system: SystemStudy) -> Html:
    name = system.system.motor.name
    when = "with every gate open" if study.is_all_open else "when the machine that is worst for it runs alone"
    say = study.measures
    key = el(
        "ul",
        {"class": "key"},
        [
            _key("plenty", f"{say.velocity(1.15 * TRANSPORT_MS)} and more"),
            _key("enough", f"from {say.velocity(TRANSPORT_MS)}: enough"),
            _key("slow", "slower: chips settle"),
            _key("still", f"below {say.velocity(0.7 * TRANSPORT_MS)}: chips stay"),
            _key("idle", "no chips pass"),
        ],
    )
    return el(
        "figure",
        None,
        el("h2", None, f"The ducts of the {name}"),
        key,
        el("div", {"class": "wide"}, duct_tree(study, system)),
        el(
            "figcaption",
            None,
            "Every length as long and as wide as it is, each to its own scale; a bar across a duct is its gate. Shown "
            f"is the slowest air {when}, and beside each machine what it gets of what it needs.",
        ),
    )


def _key(kind: str, words: str) -> Html:
    path = [el("path", {"d": "M2 8 H42", "class": f"duct {kind}", "stroke-width": 9})]
    if kind == "enough":
        path.append(el("path", {"d": "M2 8 H42", "class": "vein", "stroke-width": 2.5}))
    box: dict[str, str | int | float | bool | None] = {"viewBox": "0 0 44 16", "width": 44, "height": 16}
    return el("li", None, el("svg", {**box, "aria-hidden": "true"}, path), words)


def _findings(findings: Sequence[Finding]) -> Html:
    wrong = [finding for finding in findings if finding.harm is not Harm.TO_KNOW]
    known = [finding for finding in findings if finding.harm is Harm.TO_KNOW]
    parts: list[Html] = [el("h2", None, "What to mend, worst first" if wrong else "Nothing to mend")]
    if wrong:
        parts.append(el("ol", {"class": "findings"}, [_finding(finding) for finding in wrong]))
    if known:
        parts.append(el("h3", None, "Good to know"))
        parts.append(
            el("ul", {"class": "known"}, [el("li", None, el("b", None, one.title), f" {one.why}") for one in known])
        )
    return join(parts)


def _finding(finding: Finding) -> Html:
    remedies = [
        el(
            "li",
            {"class": "mends" if remedy.mends else None},
            remedy.said,
            el("b", None, " This mends it.") if remedy.mends else None,
        )
        for remedy in finding.remedies
    ]
    return el(
        "li", None, el("b", None, finding.title), f" {finding.why}", el("ul", None, remedies) if remedies else None
    )


def _tables(study: LayoutStudy, system: SystemStudy) -> Html:
    name = system.system.motor.name
    how = "with every gate open" if study.is_all_open else "alone"
    parts: list[Html | None] = [
        el("h2", None, f"What each machine on the {name} gets {how}"),
        machine_table(study, system),
        el(
            "p",
            {"class": "note"},
            f"Short: less than {ENOUGH * 100:.0f} % of the need. Static: what a gauge shows behind the hood.",
        ),
    ]
    pairs = None if study.is_all_open else pair_table(system)
    if pairs is not None:
        parts += [
            el("h2", None, f"Two machines at a time on the {name}"),
            el("div", {"class": "wide"}, pairs),
            el(
                "p",
                {"class": "note"},
                "In each field how much of its need the worse of the two gets, in percent. Ruled fields are short of "
                "air; s: a main or drop is too slow. On the diagonal each machine alone.",
            ),
            triple_words(system),
        ]
    parts += [el("h3", None, "Every length with chips in it"), duct_table(study, system)]
    return join(parts)


def _speeds(study: LayoutStudy, system: SystemStudy) -> Html | None:
    """How fast a drive that follows the air runs; None for a motor of one speed."""
    speeds = study.speeds.get(system.system.motor.name)
    if speeds is None:
        return None
    head, units, *rows = speed_rows(study, system, speeds, most_tools=2)
    head = [f"{word}, {unit}" if unit else word for word, unit in zip(head, units, strict=True)]
    return join(
        [
            el("h2", None, speed_title(system, speeds)),
            table([head, *rows]),
            el("p", {"class": "note"}, " ".join([*counted(system, speeds), speed_note()])),
        ]
    )


def _plot(study: LayoutStudy, system: SystemStudy) -> Html:
    plot = fan_plot(study, system)
    return el(
        "figure",
        None,
        el("h2", None, f"The fan of the {system.system.motor.name}"),
        plot.svg,
        el("figcaption", None, plot.sentence),
        table(plot.rows),
    )


def _beside(studies: Sequence[LayoutStudy]) -> Html:
    one, two = studies[0], studies[1]
    rows = [["", one.name, two.name, "better"]]
    rows += [[row.what, row.first, row.second, ("", "first", "second")[row.better]] for row in rows_of(one, two)]
    return join(el("h2", None, "Side by side"), table(rows))


def _computed(study: LayoutStudy) -> Html:
    air = next(iter(study.systems.values())).system.tools.network.air
    say = study.measures
    told = [
        "Incompressible, steady flow of one kind of air on a tree of ducts: friction by Darcy and Weisbach with "
        "Colebrook's factor, fittings, hoods and gates as losses on velocity pressure, a shut gate as a leaking slit, "
        f"and the fan by its curve. The air: {air.density_kg_m3:.3f} kg/m3.",
        f"Chips want {say.velocity(TRANSPORT_MS)}: HSE HSG258 for wood shavings, EN 12779 for dry chips (both "
        "recalled). The ACGIH table has 18 to 20 m/s for average dust and 20 to 23 m/s for heavy sawdust (seen in a "
        "reprint).",
        "Fittings: SMACNA HVAC Systems Duct Design, 4th edition. Hoods and branches: ACGIH Industrial Ventilation. "
        "A port or hood that the shop file does not describe is taken as a plain end.",
        "Needs that the file does not give: ACGIH woodworking sheets, recalled, and a port's area at 4000 ft/min.",
        "A fan known by its motor only is an estimate of our own, within 25 % in flow and pressure. What its motor "
        "takes: about 40 % of the plate on shut ducts, all of it at free delivery; our own assumption.",
        "Extra gates are those that the running controller opens: it uses this very table.",
        "Losses of fittings are known to 5 to 20 %. Measure after you build: one suction reading says more than this "
        "page. Local code decides about gates, filters, fire and explosion.",
    ]
    return el(
        "section",
        None,
        el("h2", None, "How this was computed, and from what"),
        told_list(told),
    )


def _small(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]
