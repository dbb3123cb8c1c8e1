"""A played day as one self-contained page: the finding as its title, the lanes, the air, chips, starts, and sources."""

from collections.abc import Sequence
from importlib import resources
from typing import Protocol

from gatekeeper.layout.report_parts import Plot, document, told_list
from gatekeeper.layout.report_tables import table
from gatekeeper.markup import Html, el, join
from gatekeeper.shop.model import Shop
from sim.figures import Figures, Tracks
from sim.report_bars import MOVES_LIMIT, chips_plot, moves_plot, starts_plots
from sim.report_day import day_lanes, message_rows
from sim.report_facts import Day
from sim.report_flow import SHORT_S, hood_plots
from sim.report_lanes import spell
from sim.report_words import Broken, Harm, Told, findings_of, summary

#: Longer plays are told in figures; their lanes would be a book.
LANES_UP_TO_S = 26 * 3600.0
_KEY_BOX = {"viewBox": "0 0 44 16", "width": "44", "height": "16", "aria-hidden": "true"}


class HasPlayed(Protocol):
    """What a report needs of a play."""

    @property
    def figures(self) -> Figures: ...

    @property
    def tracks(self) -> Tracks: ...


def report_html(
    shop: Shop,
    name: str,
    played: HasPlayed,
    *,
    what: str,
    broken: Sequence[Broken] = (),
    begin_s: float | None = None,
    assumed: Sequence[str] = (),
) -> str:
    """The page.

    Args:
        shop, name: the shop and the name of its file.
        played: figures and tracks of the play.
        what: what was played and how it is played again, such as "a working day drawn with seed 7".
        broken: rules and expectations that did not hold.
        begin_s: the time of day at which the play began, seconds after midnight; None: times count from its beginning.
        assumed: what else the play rests on, in sentences, such as the pattern of work.
    """
    day = Day(shop, name, played.figures, played.tracks, begin_s, played.figures.hours_s <= SHORT_S)
    found = findings_of(day, broken)
    title = found[0].title if found else "Every cut got its air, and every motor kept within its starts."
    lead = [found[0].why, f"{summary(day)}."] if found else [f"{summary(day)}."]
    body = [
        el(
            "header",
            None,
            el("p", {"class": "shop"}, f"{shop.name} ({name}): {what}"),
            el("h1", None, title),
            el("p", {"class": "lead"}, " ".join(words for words in lead if words)),
        ),
        _broken(broken),
        _findings(found),
        _lanes(day),
        _figures_of("Air at the hoods", _flow_lead(day), hood_plots(day), is_small=True),
        _one("Where the chips went", chips_plot(day)),
        _figures_of("Starts of the motors", None, starts_plots(day), is_small=False),
        _one("Moves of the gates", moves_plot(day)),
        _motors_table(day),
        _tools_table(day),
        _computed(day, assumed),
    ]
    return document(title, body, _style())


def _style() -> str:
    return (resources.files("sim") / "report.css").read_text(encoding="utf-8")


def _broken(broken: Sequence[Broken]) -> Html | None:
    if not broken:
        return None
    return join(
        el("h2", None, "What did not hold"),
        el("ol", {"class": "findings"}, [el("li", None, el("b", None, one.said), _before(one)) for one in broken]),
    )


def _before(one: Broken) -> Html | None:
    if not one.before:
        return None
    return el("details", None, el("summary", None, "What happened before it"), el("pre", None, "\n".join(one.before)))


def _findings(found: Sequence[Told]) -> Html:
    found = [one for one in found if one.harm not in (Harm.RULE, Harm.EXPECTATION)]
    if not found:
        return join(el("h2", None, "What the day showed"), el("p", None, "Nothing to mend."))
    items = [el("li", None, el("b", None, one.title), f" {one.why}" if one.why else None) for one in found]
    return join(el("h2", None, "What the day showed, worst first"), el("ol", {"class": "findings"}, items))


def _lanes(day: Day) -> Html:
    if day.figures.hours_s > LANES_UP_TO_S:
        return join(
            el("h2", None, "The lanes"),
            el("p", None, f"Lanes are drawn for a day; this play is {spell(day.figures.hours_s)} long."),
        )
    rows = message_rows(day)
    return el(
        "section",
        None,
        el("h2", None, "The day as lanes" if day.figures.hours_s > SHORT_S else "The play as lanes"),
        _key(),
        day_lanes(day),
        el(
            "p",
            {"class": "note"},
            "What to see: a gate opens as its machine starts and stays open until its branch is clear, and the "
            "collector runs on from one cut to the next instead of starting anew. Bars closer together than a pixel "
            "are drawn as one, and none is thinner than that; the figures at the right count them all. A lane in which "
            "nothing happened in that time is left out.",
        ),
        _behind(rows, "The messages in a table") if len(rows) > 1 else None,
    )


def _key() -> Html:
    shown = [
        ("M2 3h40v11H2z", "works", "machine cuts; motor runs for a machine"),
        ("M2 6h40v5H2z", "low", "gate open; motor runs on"),
        ("M2 3.6h12v9.8H2zM24 3.6v9.8M30 3.6v9.8", "outline", "gate moves"),
        ("M2 7.7h40v1.6H2z", "line", "motor coasts"),
        ("M2 3h40v11H2zM2 3L42 14M2 14L42 3", "fails", "cut without air; gate half way; broken"),
        ("M20 1v14", "flag", "message, with its number in the list"),
    ]
    items = []
    for path, kind, words in shown:
        kinds = kind if kind == "flag" else f"bar {kind}"
        drawn = el("svg", _KEY_BOX, el("path", {"d": path, "class": kinds}))
        items.append(el("li", None, drawn, words))
    return el("ul", {"class": "key"}, items)


def _flow_lead(day: Day) -> str:
    if day.figures.hours_s <= SHORT_S:
        return "The thick line is the air while the machine cuts, the dashed one what it needs."
    return (
        "All cutting time of a machine is laid side by side, the seconds with the most air first. Where the thick line "
        "is above the dashed one it had enough; the drop at the right end is the wait for the collector and the gate."
    )


def _figures_of(head: str, lead: str | None, plots: Sequence[tuple[str, Plot]], *, is_small: bool) -> Html | None:
    if not plots:
        return None
    figures = [
        el(
            "figure",
            None,
            el("h3", None, name),
            plot.svg,
            el("figcaption", None, plot.sentence),
            _behind(plot.rows),
        )
        for name, plot in plots
    ]
    return el(
        "section",
        None,
        el("h2", None, head),
        el("p", {"class": "note"}, lead) if lead else None,
        el("div", {"class": "plots"}, figures) if is_small else figures,
    )


def _one(head: str, plot: Plot | None) -> Html | None:
    if plot is None:
        return None
    return el("figure", None, el("h2", None, head), plot.svg, el("figcaption", None, plot.sentence), _behind(plot.rows))


def _behind(rows: Sequence[Sequence[str]], words: str = "The figures in a table") -> Html:
    return el("details", None, el("summary", None, words), table(rows))


def _motors_table(day: Day) -> Html | None:
    if not day.figures.motors:
        return None
    rows = [["motor", "starts", "most in an hour", "its budget in an hour", "ran for", "energy, kWh"]]
    loud = []
    for name, one in day.figures.motors.items():
        if one.worst_starts_in_an_hour > one.starts_allowed:
            loud.append(len(rows) - 1)
        rows.append(
            [
                name,
                str(one.starts),
                str(one.worst_starts_in_an_hour),
                str(one.starts_allowed),
                spell(one.running_s),
                f"{one.energy_kwh:.2f}",
            ]
        )
    told = f"A collector or tool vacuum could be heard for {spell(day.figures.noise_s)}."
    return join(el("h2", None, "Motors, energy, noise"), table(rows, loud), el("p", {"class": "note"}, told))


def _tools_table(day: Day) -> Html | None:
    used = {name: one for name, one in day.figures.tools.items() if one.cuts}
    if not used:
        return None
    rows = [
        [
            "machine",
            "cuts",
            "cut for",
            "without air",
            "waited for air, a cut",
            "air on the mean, %",
            "least of it, %",
        ]
    ]
    for name, one in used.items():
        shares = ["-" if share is None else f"{share * 100:.0f}" for share in (one.mean_share, one.least_share)]
        wait = f"{one.late_air_s / one.cuts:.1f} s"
        rows.append([name, str(one.cuts), spell(one.cut_s), str(one.without_air), wait, *shares])
    note = (
        "Shares are of what the machine needs. The least is counted from when the air was there, so it may be above "
        "the mean, which has the wait in it."
    )
    return join(el("h2", None, "Machines"), table(rows), el("p", {"class": "note"}, note))


def _computed(day: Day, assumed: Sequence[str]) -> Html:
    told = [
        "The controller in this play is the very program that runs a shop; only machines, gates, motors, air and "
        "people around it are computed. The play leaps from event to event and is the same each time.",
        "Air: the network of the layout study (gatekeeper layout), solved for every set of open gates, with the "
        "collector's speed while it spins up and coasts. "
        + ("" if day.figures.air_is_known else "Here a system's air could not be solved: its machines are left out."),
        "A cut has air once half of its need moves at its hood; it has waited until nine tenths of the most that it "
        "gets are there. Both shares are our own.",
        "Energy is the plate's power times the time under current: as if fully loaded, so rather too much. The budget "
        "of starts is the published table for the motor's power and poles (NEMA MG 10-2001, table 2-3), two starts in "
        "store and what refills in an hour; for single-phase motors it is an estimate.",
        f"{MOVES_LIMIT} moves of one gate in an hour, the limit for a small actuator, is our own figure, no published "
        "one.",
        "Chips are a stated simple model (sim/README.md): believe the comparison of two plays more than the pounds of "
        "one.",
        *assumed,
    ]
    return el("section", None, el("h2", None, "How this was computed, and from what"), told_list(told))
