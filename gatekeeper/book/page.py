"""The book as one self-contained page that prints in black: what to do without the controller comes first."""

from gatekeeper import __version__, commissioning_print
from gatekeeper.book import by_hand, sections
from gatekeeper.book.facts import Facts
from gatekeeper.cautions import CAUTIONS
from gatekeeper.layout.measures import Measures
from gatekeeper.layout.report_parts import document, told_list
from gatekeeper.layout.report_tables import table
from gatekeeper.layout.report_tree import duct_tree
from gatekeeper.layout.study import study_layout
from gatekeeper.markup import Html, el, join
from gatekeeper.service.care_jobs import Trend
from gatekeeper.shop.model import Fitting

#: Rules behind those of every report: paper, long cells, lines to write on.
STYLE = """
th, td, thead th:first-child { text-align: left; }
.lines td, .lines th { white-space: normal; text-align: left; font-size: .72rem; min-width: 5.5rem; }
.lines tbody th { min-width: 4rem; }
.trials td, .trials th { white-space: normal; text-align: left; }
.trials td { height: 2.2rem; min-width: 6rem; }
.blank { border-bottom: 1px solid var(--ink); list-style: none; padding: .7rem 0 .1rem; max-width: 40rem; }
.drawn { max-width: 34rem; }
.drawn svg text { stroke: none; font-size: 9px; }
pre { white-space: pre-wrap; overflow-wrap: anywhere; font-size: .75rem; line-height: 1.35; }
td { overflow-wrap: anywhere; }
@media print {
  section { break-before: page; }
  html { font-size: 10pt; }
  body { padding: 0; }
  svg.tree { min-width: 0; }
}
"""


def book_page(facts: Facts) -> str:
    """The whole book."""
    shop = facts.shop
    due = [job for job in facts.jobs if job.is_due]
    low = [trend for trend in facts.trends if trend.is_low]
    head = el(
        "header",
        None,
        el("p", {"class": "shop"}, f"The book of {shop.name}, made on {facts.made_at:%Y-%m-%d}, version {__version__}"),
        el("h1", None, _title(len(due), low)),
        [el("p", {"class": "note"}, sentence) for sentence in facts.missing],
    )
    body = [
        head,
        by_hand.by_hand(shop),
        by_hand.to_call(shop),
        el("h2", None, "Before anything else"),
        told_list(CAUTIONS),
        el("section", None, _as_built(facts)),
        el("section", None, sections.wiring(facts)),
        el("section", None, sections.settings(facts), sections.tests(facts)),
        el("section", None, sections.commissioning(facts)),
        el("section", None, sections.checks(facts), sections.care(facts), sections.events(facts)),
        el("section", None, sections.shop_file(facts)),
    ]
    return document(f"The book of {shop.name}", body, STYLE + commissioning_print.STYLE)


def _title(due: int, low: list[Trend]) -> str:
    if low:
        return f"Suction at {low[0].tap} is {low[0].below:.0%} below day one."
    if due:
        return "One thing is due." if due == 1 else f"{due} things are due."
    return "How this shop is built, and how it runs without its controller."


def _as_built(facts: Facts) -> Html:
    """The drawing of every system, and its lengths."""
    shop = facts.shop
    drawings: list[Html] = [el("h2", None, "As built: the ducts")]
    if not shop.ducts:
        rows = [
            ["Gate", "Diameter", "On"],
            *([g.name, Measures(shop.units).diameter(g.diameter_m), g.motor] for g in shop.gates.values()),
        ]
        return join(*drawings, el("p", None, "The shop file describes no ducts; its gates:"), table(rows))
    try:
        study = study_layout(shop, facts.name)
    except ValueError as unsolved:
        drawings.append(el("p", None, f"The air in the ducts was not computed, so they are not drawn: {unsolved}."))
    else:
        for system in study.systems.values():
            drawings.append(el("figure", None, el("div", {"class": "wide"}, duct_tree(study, system))))
        drawings.append(
            el(
                "p",
                {"class": "note"},
                "A bar across a duct is its gate. Beside each machine what it gets of what it needs.",
            )
        )
    say = Measures(shop.units)
    rows = [["Duct", "Leads to", "Diameter", "Length", "Hose", "Fittings"]]
    for duct in shop.ducts.values():
        size = say.diameter(duct.diameter_m)
        if duct.width_m is not None and duct.height_m is not None:
            size = f"{say.diameter(duct.width_m)} x {say.diameter(duct.height_m)}"
        hose = say.length(duct.flex_m) if duct.flex_m else ""
        fittings = ", ".join(_fitting(one) for one in duct.fittings)
        rows.append([duct.name, duct.towards, size, say.length(duct.length_m), hose, fittings])
    return join(*drawings, table(rows))


def _fitting(fitting: Fitting) -> str:
    angle = f"{fitting.angle_deg:.0f} " if fitting.angle_deg else ""
    return f"{fitting.count} x {angle}{fitting.kind}" if fitting.count > 1 else f"{angle}{fitting.kind}"
