"""Where the chips went, and how the starts of motors and the moves of gates kept within their budgets."""

from collections.abc import Sequence

from gatekeeper.layout.report_parts import Plot, svg_text
from gatekeeper.markup import Html, el
from sim.figures import Figures
from sim.report_axes import Axes
from sim.report_facts import Day, worst_in_an_hour

#: More moves of gates in an hour than this make the actuators of a small shop warm and loud. Our own.
MOVES_LIMIT = 30
_ROW = 26.0


def chips_plot(day: Day) -> Plot | None:
    """Of each machine's chips the share that its hood took; None where the air is not known or none were made."""
    made = {name: one for name, one in day.figures.tools.items() if one.chips_made_kg > 0.0}
    if not made:
        return None
    figures = day.figures
    wide, left, right = 640.0, 150.0, 522.0
    bottom = 16.0 + _ROW * len(made)
    parts: list[Html] = []
    for mark in (0, 25, 50, 75, 100):
        at = left + (right - left) * mark / 100.0
        parts.append(el("path", {"d": f"M{at:.1f} 8V{bottom:.1f}", "class": "grid"}))
        parts.append(svg_text(at, bottom + 16.0, str(mark), "middle"))
    rows = [
        [
            "machine",
            f"chips made, {day.weight_unit}",
            f"taken by its hood, {day.weight_unit}",
            f"into the room, {day.weight_unit}",
            "taken, %",
        ]
    ]
    for number, (name, one) in enumerate(made.items()):
        top = 14.0 + _ROW * number
        share = min(1.0, one.chips_caught_kg / one.chips_made_kg)
        end = left + (right - left) * share
        parts.append(svg_text(left - 8.0, top + 13.0, name, "end"))
        parts.append(el("path", {"d": f"M{left} {top}H{right}v16H{left}z", "class": "bar outline"}))
        parts.append(el("path", {"d": f"M{left} {top}H{end:.1f}v16H{left}z", "class": "bar works"}))
        told = f"{_percent(share)} of {day.weight(one.chips_made_kg)}"
        parts.append(svg_text(right + 8.0, top + 13.0, told, "start", "small"))
        gone_kg = max(0.0, one.chips_made_kg - one.chips_caught_kg)
        figs = [day.weight_number(value) for value in (one.chips_made_kg, one.chips_caught_kg, gone_kg)]
        rows.append([name, *(f"{value:.2f}" for value in figs), f"{share * 100:.1f}"])
    parts.append(el("path", {"d": f"M{left} 8V{bottom:.1f}H{right}", "class": "axis"}))
    parts.append(svg_text((left + right) / 2.0, bottom + 34.0, "share of its chips that its hood took, %", "middle"))
    box = {"viewBox": f"0 0 {wide:.0f} {bottom + 44:.0f}", "class": "plot", "role": "img"}
    svg = el("svg", {**box, "aria-label": "Chips taken by each hood"}, parts)
    rows.append(["lying in the ducts at the end", "", f"{day.weight_number(figures.chips_left_kg):.2f}", "", ""])
    return Plot(svg, _chips_sentence(day, figures), rows)


def _chips_sentence(day: Day, figures: Figures) -> str:
    made = figures.chips_made_kg
    told = (
        f"A full bar is what the hood took, an empty one what went into the room: of {day.weight(made)} in all, "
        f"{day.weight(figures.chips_caught_kg)} were taken ({_percent(figures.chips_caught_kg / made)}), "
        f"{day.weight(figures.chips_escaped_kg)} went onto the floor and into the room"
    )
    if figures.chips_left_kg >= 0.0005:
        return f"{told}, and of those taken {day.weight(figures.chips_left_kg)} still lay in the ducts at the end."
    return f"{told}; nothing lay in the ducts at the end."


def starts_plots(day: Day) -> list[tuple[str, Plot]]:
    """For each motor that ran: its starts in the last hour, against what its budget allows."""
    plots = []
    for name, spans in day.tracks.motors.items():
        starts = [span.from_s for span in spans if span.word == "running"]
        if starts:
            allowed = day.figures.motors[name].starts_allowed
            words = f"its budget: {allowed} in an hour"
            plot = _counts(day, starts, allowed, words, "starts in the last hour")
            worst = max(count for _, count in plot[1])
            verdict = "within its budget" if worst <= allowed else "OVER its budget"
            sentence = (
                f"{name}: {len(starts)} {'start' if len(starts) == 1 else 'starts'}, at most {worst} in any hour, "
                f"{verdict} of {allowed}."
            )
            rows = [["start", "at", "starts in the hour before it, this one counted"]]
            rows += [
                [str(place + 1), day.clock_with_s(at_s), str(sum(at_s - 3600.0 < one <= at_s for one in starts))]
                for place, at_s in enumerate(starts)
            ]
            plots.append((name, Plot(plot[0], sentence, rows)))
    return plots


def moves_plot(day: Day) -> Plot | None:
    """Moves of the busiest gate in the last hour; None where none moved by itself."""
    figures = day.figures
    if figures.busiest_gate is None:
        return None
    moves = [span.from_s for span in day.tracks.gates.get(figures.busiest_gate, ()) if span.word == "moving"]
    if not moves:
        return None
    svg, _ = _counts(
        day, moves, MOVES_LIMIT, f"{MOVES_LIMIT} in an hour: more is hard on an actuator", "moves in the last hour"
    )
    sentence = (
        f"The busiest, {figures.busiest_gate}: at most {figures.busiest_gate_moves_in_an_hour} moves in any hour; one "
        f"that is turned back on its way is counted twice and drawn once. All gates together: {figures.gate_moves} "
        f"moves, at most {figures.worst_moves_in_an_hour} in any hour."
    )
    rows = [["gate", "moves", "stands open for"]]
    for name, spans in day.tracks.gates.items():
        count = sum(span.word == "moving" for span in spans)
        open_s = sum(span.to_s - span.from_s for span in spans if span.word == "open")
        rows.append([name, str(count), f"{open_s / 60.0:.0f} min"])
    return Plot(svg, sentence, rows)


def _counts(
    day: Day, instants: Sequence[float], limit: int, words: str, name_y: str
) -> tuple[Html, list[tuple[float, int]]]:
    """A step line of how many lay in the last hour, and a dashed line at the limit."""
    until_s = day.figures.hours_s
    steps = [step for step in worst_in_an_hour(instants) if step[0] <= until_s]
    most = max(limit, max(count for _, count in steps)) * 1.25
    axes = Axes(
        most_x=until_s,
        most_y=most,
        name_x="time" if day.begin_s is None else "time of day",
        name_y=name_y,
        width=640.0,
        height=220.0,
        marks_x=time_marks(day, until_s),
    )
    drawn = axes.steps([*((at_s, float(count)) for at_s, count in steps), (until_s, float(steps[-1][1]))], "steps")
    svg = axes.drawing(f"{name_y}: at most {max(count for _, count in steps)}", [drawn, *axes.level(limit, words)])
    return svg, steps


def time_marks(day: Day, until_s: float) -> list[tuple[float, str]]:
    """Round instants along a play, in words."""
    steps = (1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 86400, 604800, 2592000)
    step = next((step for step in steps if until_s / step <= 9.5), 2592000 * 3)
    clock = day.clock_with_s if step < 60 else day.clock
    first_s = -(day.begin_s or 0.0) % step
    return [(first_s + at_s, clock(first_s + at_s)) for at_s in range(0, int(until_s - first_s) + 1, step)]


def _percent(share: float) -> str:
    """A share that is not all is never told as all."""
    number = share * 100.0
    return f"{min(number, 99.9):.1f} %" if 99.0 <= number < 99.995 else f"{number:.0f} %"
