"""A study as one self-contained page: the recommended delays and what every other delay would cost, or two shops."""

import math
from collections.abc import Callable, Sequence
from importlib import resources

from gatekeeper.layout.report_parts import Plot, document, told_list
from gatekeeper.layout.report_tables import table
from gatekeeper.markup import Html, el, join
from sim.report_axes import Axes
from sim.report_lanes import spell
from sim.study_days import RUN_PAUSE_S
from sim.study_spin_down import MOVES_UNDER, STARTS_UNDER, WORTH_S, Answer, SpinDownStudy, Tried
from sim.study_what_if import WhatIf, left_out_words
from sim.study_words import delays_said

_WIDE, _TALL = 440.0, 240.0
_MARKS_S = (2, 5, 10, 20, 30, 60, 120, 300)


def spin_down_page(study: SpinDownStudy) -> str:
    """The page of a spin-down study."""
    title = " ".join(delays_said(answer) for answer in study.answers)
    body = [
        el(
            "header",
            None,
            el("p", {"class": "shop"}, f"{study.shop.name} ({study.name}): the spin-down delay"),
            el("h1", None, title),
            el("p", {"class": "lead"}, _lead(study)),
        ),
        *(part for answer in study.answers for part in _answer(answer)),
        _computed(study),
    ]
    return document(title, body, _style())


def what_if_page(study: WhatIf) -> str:
    """The page of two shops through the same days."""
    changed = [one for one in study.differences if not one.is_none]
    title = changed[0].said if changed else "The same days come out the same in both."
    rows = [["", study.first, study.second, ""]]
    rows += [[one.what, one.figure(one.first), one.figure(one.second), one.verdict] for one in study.differences]
    body = [
        el(
            "header",
            None,
            el("p", {"class": "shop"}, f"{study.first} beside {study.second}: {_days(study.days, study.seed)}"),
            el("h1", None, title),
        ),
        el("h2", None, "What changes, what harms people first"),
        told_list([one.said for one in changed] or ["Nothing."]),
        el("p", {"class": "note"}, left_out) if (left_out := left_out_words(study)) else None,
        el("h2", None, "Side by side"),
        table(rows),
        el("h2", None, "How this was computed, and from what"),
        told_list([_same_days(study.days, study.seed), *_MODEL]),
    ]
    return document(title, body, _style())


def _style() -> str:
    return (resources.files("sim") / "report.css").read_text(encoding="utf-8")


def _days(count: int, seed: int) -> str:
    return (
        f"one working day, seed {seed}" if count == 1 else f"{count} working days, seeds {seed} to {seed + count - 1}"
    )


def _lead(study: SpinDownStudy) -> str:
    parts = []
    for answer in study.answers:
        now, best = answer.now, answer.best
        parts.append(
            f"Against {answer.now_s:g} s in the shop's file: {best.starts:.1f} motor starts a day instead of "
            f"{now.starts:.1f}, {best.airless:.1f} cuts made before the air came instead of {now.airless:.1f}, "
            f"{spell(best.running_s)} of running instead of {spell(now.running_s)}."
        )
    return " ".join(parts)


def _answer(answer: Answer) -> list[Html | None]:
    demands = [
        el("li", None, el("b", None, f"{_cap(one.asks)}: {one.verdict}."), f" {_cap(one.said)}.")
        for one in answer.demands
    ]
    own = None
    if answer.own or answer.now_own:
        rows = [["machine", "recommended", "in the file"]]
        for tool in dict.fromkeys((*answer.own, *answer.now_own)):
            rows.append([tool, *(_own(delay_s) for delay_s in (answer.own.get(tool), answer.now_own.get(tool)))])
        own = join(el("h3", None, "Machines with a delay of their own"), table(rows))
    return [
        el("h2", None, f"What the {answer.motor} was asked, in this order"),
        el("ol", {"class": "findings"}, demands),
        own,
        el("h2", None, f"What each delay of the {answer.motor} costs"),
        el(
            "p",
            {"class": "note"},
            "In these drawings all machines have the one delay. The full upright line is the delay that was found, the "
            "dashed one that of the shop's file.",
        ),
        el("div", {"class": "plots"}, [_figure(name, plot) for name, plot in _plots(answer)]),
        el("details", None, el("summary", None, "All figures in a table"), table(_rows(answer))),
    ]


def _cap(words: str) -> str:
    return words[:1].upper() + words[1:]


def _own(delay_s: float | None) -> str:
    return "as the collector" if delay_s is None else f"{delay_s:g} s"


def _figure(name: str, plot: Plot) -> Html:
    behind = el("details", None, el("summary", None, "The figures in a table"), table(plot.rows))
    return el("figure", None, el("h3", None, name), plot.svg, el("figcaption", None, plot.sentence), behind)


def _plots(answer: Answer) -> list[tuple[str, Plot]]:
    best = next(one for one in answer.tried if one.delay_s == answer.common_s)
    first, last = answer.tried[0], answer.tried[-1]
    return [
        (
            "Motor starts",
            _plot(
                answer,
                "starts in the worst hour",
                lambda one: one.worst_starts,
                f"With {first.delay_s:g} s the motor starts up to {first.worst_starts} times in an hour, with "
                f"{best.delay_s:g} s up to {best.worst_starts} times.",
                (answer.most_starts, f"at most {answer.most_starts} are asked"),
            ),
        ),
        (
            "Cuts made before the air came",
            _plot(
                answer,
                "cuts a day",
                lambda one: one.airless,
                f"{best.airless:.1f} of {best.cuts:.0f} cuts a day get no air with {best.delay_s:g} s: the collector "
                f"starts with them and they are over before it turns. With {first.delay_s:g} s it is "
                f"{first.airless:.1f}.",
            ),
        ),
        (
            "Gate moves",
            _plot(
                answer,
                "moves in the worst hour",
                lambda one: one.worst_moves,
                f"Up to {best.worst_moves} moves in an hour with {best.delay_s:g} s.",
                (MOVES_UNDER, f"under {MOVES_UNDER} are asked"),
            ),
        ),
        (
            "Chips left in the ducts",
            _plot(
                answer,
                "kg at the end of a day",
                lambda one: one.left_kg,
                f"{best.left_kg:.2f} kg lie in the ducts when the day ends with {best.delay_s:g} s, "
                f"{first.left_kg:.2f} kg with {first.delay_s:g} s.",
            ),
        ),
        (
            "Energy",
            _plot(
                answer,
                "kWh a day",
                lambda one: one.energy_kwh,
                f"{best.energy_kwh:.1f} kWh a day with {best.delay_s:g} s, {last.energy_kwh:.1f} with "
                f"{last.delay_s:g} s, {first.energy_kwh:.1f} with {first.delay_s:g} s.",
            ),
        ),
        (
            "Noise",
            _plot(
                answer,
                "hours a day",
                lambda one: one.running_s / 3600.0,
                f"It can be heard for {spell(best.running_s)} a day with {best.delay_s:g} s; for "
                f"{spell(best.idle_s)} of them no machine cuts.",
            ),
        ),
    ]


def _plot(
    answer: Answer,
    name_y: str,
    value: Callable[[Tried], float],
    sentence: str,
    limit: tuple[float, str] | None = None,
) -> Plot:
    """One figure over the delays, which stand on a logarithmic axis: from 5 to 10 s matters as much as 50 to 100."""
    most = max([value(one) for one in answer.tried] + ([limit[0]] if limit else []))
    low, high = answer.tried[0].delay_s, answer.tried[-1].delay_s
    axes = Axes(
        most_x=math.log(high * 1.05),
        least_x=math.log(low * 0.95),
        most_y=max(most * 1.15, 0.1),
        name_x="spin-down delay, s",
        name_y=name_y,
        width=_WIDE,
        height=_TALL,
        marks_x=[(math.log(mark), str(mark)) for mark in _MARKS_S if low * 0.95 <= mark <= high * 1.05],
    )
    points = [(math.log(one.delay_s), value(one)) for one in answer.tried]
    parts = [axes.line(points, "flow-curve")]
    parts += [axes.dot(x, y) for x, y in points]
    parts.append(axes.upright(math.log(answer.common_s), "axis"))
    if low * 0.95 <= answer.now_s <= high * 1.05 and answer.now_s != answer.common_s:
        parts.append(axes.upright(math.log(answer.now_s), "level"))
    if limit is not None:
        parts += axes.level(*limit)
    rows = [["delay, s", name_y]]
    rows += [[f"{one.delay_s:g}", f"{value(one):.2f}".removesuffix(".00")] for one in answer.tried]
    return Plot(axes.drawing(f"{name_y} over the delay", parts), sentence, rows)


def _rows(answer: Answer) -> list[list[str]]:
    head = [
        "",
        "delay, s",
        "starts a day",
        "in the worst hour",
        "cuts without air a day",
        "after the first of a run, all days",
        "moves a day",
        "in the worst hour",
        "runs, h a day",
        "of it idle, h",
        "energy, kWh a day",
        "chips left, kg",
    ]
    rows = [head, ["in the file", *_cells(answer.now)], ["found", *_cells(answer.best)]]
    return rows + [["all alike", *_cells(one)] for one in answer.tried]


def _cells(one: Tried) -> list[str]:
    return [
        f"{one.delay_s:g}",
        f"{one.starts:.1f}",
        str(one.worst_starts),
        f"{one.airless:.1f}",
        str(one.airless_in_run),
        f"{one.moves:.1f}",
        str(one.worst_moves),
        f"{one.running_s / 3600.0:.2f}",
        f"{one.idle_s / 3600.0:.2f}",
        f"{one.energy_kwh:.1f}",
        f"{one.left_kg:.2f}",
    ]


def _same_days(count: int, seed: int) -> str:
    return f"The same {_days(count, seed)}, drawn from a pattern of work, were played in each variant."


_MODEL: Sequence[str] = (
    "The controller in these days is the very program that runs a shop; machines, gates, motors, air and people are "
    "computed. The pattern of work is an assumption: the answer is as good as it is.",
    "A cut had no air when the flow at its hood never reached half of its need.",
    "Energy is the plate's power times the time under current, so rather too much.",
    "Chips are a stated simple model (sim/README.md): believe the comparison more than the figure.",
)


def _computed(study: SpinDownStudy) -> Html:
    told = [
        _same_days(study.days, study.seed),
        "Of all delays that meet the demands in every day, one demand after the other in the order above, the one with "
        "the least running time is taken; running time is noise and energy. What no delay meets counts as met within a "
        "tenth of the least that any comes to. Nothing is weighed against anything else.",
        f"A run of cuts: pauses of at most {RUN_PAUSE_S:.0f} s between the cuts of one machine. That figure, under "
        f"{STARTS_UNDER} starts and under {MOVES_UNDER} moves in an hour are our own. A motor's budget is two starts "
        "and what the published table (NEMA MG 10-2001, table 2-3) allows it in an hour; for single-phase motors it "
        "is an estimate.",
        f"A machine gets a delay of its own where that saves {spell(WORTH_S)} of running a day and breaks no demand.",
        *_MODEL,
    ]
    return el("section", None, el("h2", None, "How this was computed, and from what"), told_list(told))
