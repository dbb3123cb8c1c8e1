"""Air at each hood against what its machine needs: over time for a short play, else how much of the cutting had it."""

from collections.abc import Sequence
from itertools import pairwise

from gatekeeper.layout.measures import Measures
from gatekeeper.layout.report_parts import Plot, svg_text
from gatekeeper.markup import Html
from sim.figures import HoodPoint
from sim.report_axes import Axes
from sim.report_facts import Day, cuts_at_hood

#: Up to here the air is drawn over time.
SHORT_S = 900.0
_PIECES = 4
_MOST_POINTS = 160
_TOLD_SHARES = (0.05, 0.25, 0.5, 0.75, 0.95)
_WIDE, _TALL = 440.0, 230.0


def hood_plots(day: Day) -> list[tuple[str, Plot]]:
    """One plot for each machine that ran and whose air is known, in the order of the shop's file."""
    over_time = day.figures.hours_s <= SHORT_S
    plots = []
    for tool in day.shop.tools:
        cuts = cuts_at_hood(day.tracks.hoods.get(tool, ()))
        if any(len(cut) > 1 for cut in cuts):
            plots.append((tool, _over_time(day, tool, cuts) if over_time else _by_share(day, tool, cuts)))
    return plots


def _by_share(day: Day, tool: str, cuts: Sequence[Sequence[HoodPoint]]) -> Plot:
    say = Measures(day.shop.units)
    need_m3s = cuts[0][0].need_m3s
    curve = duration_curve(cuts)
    total_s = curve[-1][0]
    most = max(need_m3s, max(flow for _, flow in curve)) * 1.12
    axes = Axes(
        most_x=100.0,
        most_y=say.flow_number(most),
        name_x="share of its cutting time, %",
        name_y=f"air at its hood, {say.flow_unit}",
        width=_WIDE,
        height=_TALL,
    )
    points = [(100.0 * at_s / total_s, say.flow_number(flow)) for at_s, flow in _thinned(curve)]
    enough = 100.0 * _time_above(curve, need_m3s) / total_s
    parts: list[Html] = [
        *axes.level(say.flow_number(need_m3s), f"needs {say.flow(need_m3s)}", is_below=True),
        axes.line(points, "flow-curve"),
    ]
    half = 100.0 * _time_above(curve, need_m3s / 2.0) / total_s
    sentence = f"{tool}: for {enough:.0f} % of the time of its {_cuts(len(cuts))} it had all the air it needs"
    sentence += "." if enough > 99.5 else f", for {half:.0f} % at least half of it."
    rows = [["in this share of its cutting time", f"at least this much air, {say.flow_unit}"]]
    rows += [[f"{share * 100:.0f} %", say.flow_bare(_flow_at(curve, share))] for share in _TOLD_SHARES]
    rows.append(["needs", say.flow_bare(need_m3s)])
    return Plot(axes.drawing(f"Air at the hood of the {tool}", parts), sentence, rows)


def _over_time(day: Day, tool: str, cuts: Sequence[Sequence[HoodPoint]]) -> Plot:
    say = Measures(day.shop.units)
    need_m3s = cuts[0][0].need_m3s
    most = max(need_m3s, max(point.flow_m3s for cut in cuts for point in cut)) * 1.12
    axes = Axes(
        most_x=day.figures.hours_s,
        most_y=say.flow_number(most),
        name_x="time from the beginning, s",
        name_y=f"air at its hood, {say.flow_unit}",
        width=_WIDE,
        height=_TALL,
    )
    parts: list[Html] = axes.level(say.flow_number(need_m3s), f"needs {say.flow(need_m3s)}", is_below=True)
    rows = [["at, s", f"air, {say.flow_unit}", f"needs, {say.flow_unit}"]]
    for number, cut in enumerate(cuts, start=1):
        points = [(point.t_s, say.flow_number(point.flow_m3s)) for point in cut]
        parts.append(axes.line(points, "flow-curve"))
        if len(cuts) > 1:
            parts.append(svg_text(axes.x(cut[0].t_s), axes.bottom - 4.0, str(number), "start", "small"))
        rows += [[f"{one.t_s:.1f}", say.flow_bare(one.flow_m3s), say.flow_bare(one.need_m3s)] for one in cut]
    best = max(point.flow_m3s for cut in cuts for point in cut)
    sentence = f"{tool}: at most {say.flow(best)} of the {say.flow(need_m3s)} that it needs, in {_cuts(len(cuts))}."
    return Plot(axes.drawing(f"Air at the hood of the {tool}", parts), sentence, rows)


def duration_curve(cuts: Sequence[Sequence[HoodPoint]]) -> list[tuple[float, float]]:
    """Seconds of cutting in which the flow was at least so much, the most air first; flows in m3/s."""
    pieces: list[tuple[float, float]] = []
    for cut in cuts:
        for before, after in pairwise(cut):
            wide_s = (after.t_s - before.t_s) / _PIECES
            if wide_s <= 0.0:
                continue
            step = (after.flow_m3s - before.flow_m3s) / _PIECES
            pieces += [(before.flow_m3s + step * (number + 0.5), wide_s) for number in range(_PIECES)]
    pieces.sort(reverse=True)
    curve, at_s = [(0.0, pieces[0][0])], 0.0
    for flow, wide_s in pieces:
        at_s += wide_s
        curve.append((at_s, flow))
    return curve


def _thinned(curve: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """At most ``_MOST_POINTS`` points, evenly over the time, the ends kept."""
    total, kept, next_s = curve[-1][0], [curve[0]], 0.0
    for point in curve[1:-1]:
        if point[0] >= next_s:
            kept.append(point)
            next_s = point[0] + total / _MOST_POINTS
    return [*kept, curve[-1]]


def _time_above(curve: Sequence[tuple[float, float]], flow_m3s: float) -> float:
    """How long there was at least this flow; what is short by less than a hundredth counts."""
    return max((at_s for at_s, flow in curve if flow >= flow_m3s * 0.99), default=0.0)


def _flow_at(curve: Sequence[tuple[float, float]], share: float) -> float:
    return next(flow for at_s, flow in curve if at_s >= share * curve[-1][0] - 1e-9)


def _cuts(count: int) -> str:
    return "one cut" if count == 1 else f"{count} cuts"
