"""Whether a play came as a scenario expects: every expectation that broke, with its first offending instant."""

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from gatekeeper.airflow.tools import ENOUGH
from gatekeeper.control.alarms import sentence
from sim.expect import (
    UNIT_OF,
    Being,
    Expectation,
    Figure,
    FigureExpected,
    MessageExpected,
    StartsApartExpected,
    StateExpected,
    Timing,
)
from sim.figures import Figures, HoodPoint, MotorFigures, Span, ToolFigures, Tracks

HOUR_S = 3600.0
#: Two instants closer than this are one: a play's times are exact, a record's are given to 1 ms.
SAME_S = 0.001
#: Slack of a figure against its limit, in the figure's unit: the rounding of sums.
TINY = 1e-9

_Stretch = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Broken:
    """An expectation that did not come: ``at_s`` the first instant at which that is so, and what was so instead."""

    expectation: Expectation
    at_s: float
    instead: str


def judge(expected: Iterable[Expectation], figures: Figures, tracks: Tracks, end_s: float) -> list[Broken]:
    """Every broken expectation of a play that ended at ``end_s``, the first offence first."""
    judged = (_judged(one, figures, tracks, end_s) for one in expected)
    return sorted((one for one in judged if one is not None), key=lambda one: (one.at_s, one.expectation.line))


def _judged(one: Expectation, figures: Figures, tracks: Tracks, end_s: float) -> Broken | None:
    match one:
        case StateExpected():
            return _state(one, tracks, end_s)
        case MessageExpected():
            return _message(one, tracks, end_s)
        case FigureExpected():
            return _figure(one, figures, tracks, end_s)
        case StartsApartExpected():
            return _apart(one, tracks)


# ---------------------------------------------------------------- states


def _state(one: StateExpected, tracks: Tracks, end_s: float) -> Broken | None:
    so = _stretches(one, tracks, end_s)
    to_s = min(one.to_s, end_s)
    match one.timing:
        case Timing.BY:
            came = any(from_s <= to_s + SAME_S and until_s > one.from_s - SAME_S for from_s, until_s in so)
            wrong_s = None if came else to_s
        case Timing.AT:
            is_so = any(from_s <= to_s + SAME_S and until_s >= to_s - SAME_S for from_s, until_s in so)
            wrong_s = None if is_so else to_s
        case Timing.NEVER:
            wrong_s = next(
                (max(a, one.from_s) for a, b in so if a < to_s - SAME_S and b > one.from_s + SAME_S),
                None,
            )
        case Timing.ALL_THE_TIME:
            wrong_s = _first_gap(so, one.from_s, to_s)
    return None if wrong_s is None else Broken(one, wrong_s, _instead(one, tracks, wrong_s))


def _stretches(one: StateExpected, tracks: Tracks, end_s: float) -> list[_Stretch]:
    """The stretches of time in which it is so, in order and apart."""
    if one.kind == "gate":
        return _joined(s for s in tracks.gates.get(one.subject, ()) if s.word == one.being.value)
    if one.being is Being.COLLECTED:
        return _collected(tracks.hoods.get(one.subject, ()))
    spans = tracks.motors.get(one.subject, ()) if one.kind == "motor" else tracks.tools.get(one.subject, ())
    turning = _joined(spans)
    running = _joined(s for s in spans if s.word == "running")
    match one.being:
        case Being.RUNNING:
            return running
        case Being.OFF:
            return _rest(running, end_s)
        case _:
            return _rest(turning, end_s)


def _joined(spans: Iterable[Span]) -> list[_Stretch]:
    joined: list[_Stretch] = []
    for span in spans:
        if joined and span.from_s <= joined[-1][1] + SAME_S:
            joined[-1] = (joined[-1][0], span.to_s)
        else:
            joined.append((span.from_s, span.to_s))
    return joined


def _rest(stretches: Iterable[_Stretch], end_s: float) -> list[_Stretch]:
    """The time between stretches, from the beginning of the play to its end."""
    rest, last_s = [], 0.0
    for from_s, until_s in stretches:
        if from_s > last_s:
            rest.append((last_s, from_s))
        last_s = until_s
    return [*rest, (last_s, end_s)] if last_s < end_s else rest


def _collected(points: Sequence[HoodPoint]) -> list[_Stretch]:
    """When the flow at a hood is what its tool needs, to the share that counts as enough; flows change linearly."""
    enough: list[Span] = []
    for before, after in itertools.pairwise(points):
        if before.is_last or after.t_s <= before.t_s:
            continue
        least_m3s = ENOUGH * after.need_m3s
        low, high = before.flow_m3s - least_m3s, after.flow_m3s - least_m3s
        crossed_s = before.t_s + (after.t_s - before.t_s) * (low / (low - high) if low != high else 0.0)
        if low >= 0 and high >= 0:
            enough.append(Span(before.t_s, after.t_s, ""))
        elif high >= 0:
            enough.append(Span(crossed_s, after.t_s, ""))
        elif low >= 0:
            enough.append(Span(before.t_s, crossed_s, ""))
    return _joined(enough)


def _first_gap(stretches: Iterable[_Stretch], from_s: float, to_s: float) -> float | None:
    """The first instant of a stretch of time that none of these covers, or None."""
    covered_s = from_s
    for begun_s, until_s in stretches:
        if begun_s > covered_s + SAME_S:
            break
        covered_s = max(covered_s, until_s)
        if covered_s > to_s - SAME_S:
            return None
    return covered_s


def _instead(one: StateExpected, tracks: Tracks, at_s: float) -> str:
    """What was so at that instant, from the shop itself."""
    if one.being is Being.COLLECTED:
        point = next(
            (point for point in reversed(tracks.hoods.get(one.subject, ())) if point.t_s <= at_s + SAME_S), None
        )
        if point is None or point.is_last:
            return f"{one.subject} did not run"
        return f"{one.subject} had {100 * point.flow_m3s / point.need_m3s:.0f} % of the air it needs"
    tracked = {"gate": tracks.gates, "motor": tracks.motors, "tool": tracks.tools}[one.kind]
    rest = {"gate": "unknown", "motor": "still", "tool": "off"}[one.kind]
    spans = [span for span in tracked.get(one.subject, ()) if span.from_s <= at_s + SAME_S and at_s < span.to_s]
    word = spans[-1].word if spans else rest
    return f"{one.subject} was {'standing half way' if word == 'between' else word}"


# ---------------------------------------------------------------- messages


def _message(one: MessageExpected, tracks: Tracks, end_s: float) -> Broken | None:
    found = [
        message
        for message in tracks.messages
        if message.is_raised
        and (one.code == "any" or message.code == one.code or (one.code == "alarm" and message.heap == "now"))
        and one.about in (None, message.subject)
        and one.from_s - SAME_S <= message.t_s <= one.to_s + SAME_S
    ]
    if not one.is_never:
        return None if found else Broken(one, min(one.to_s, end_s), "it was not raised")
    if not found:
        return None
    first = found[0]
    return Broken(one, first.t_s, f"raised: {sentence(first.code, first.subject)}")


# ---------------------------------------------------------------- figures


def figure_of(figure: Figure, of: str | None, figures: Figures) -> float:
    """A figure in the unit of ``sim.expect.UNIT_OF``; counts as they are."""
    motor = figures.motors.get(of, MotorFigures()) if of is not None else None
    tool = figures.tools.get(of, ToolFigures()) if of is not None else None
    match figure:
        case Figure.GATE_MOVES:
            return figures.gate_moves
        case Figure.GATE_MOVES_IN_AN_HOUR:
            return figures.worst_moves_in_an_hour
        case Figure.MOTOR_STARTS:
            return motor.starts if motor else figures.motor_starts
        case Figure.MOTOR_STARTS_IN_AN_HOUR:
            return motor.worst_starts_in_an_hour if motor else figures.worst_starts_in_an_hour
        case Figure.CUTS:
            return tool.cuts if tool else figures.cuts
        case Figure.CUTS_WITHOUT_AIR:
            return tool.without_air if tool else figures.cuts_without_air
        case Figure.CUTS_WITHOUT_AIR_LATER:
            return figures.cuts_without_air_after_first
        case Figure.LATE_AIR:
            return tool.late_air_s if tool else figures.late_air_s
        case Figure.RUNNING:
            return motor.running_s if motor else figures.noise_s
        case Figure.ENERGY:
            return motor.energy_kwh if motor else figures.energy_kwh
        case Figure.CHIPS_LEFT:
            return figures.chips_left_kg
        case Figure.CHIPS_ESCAPED:
            return figures.chips_escaped_kg
        case Figure.CHIPS_CAUGHT:
            made_kg = tool.chips_made_kg if tool else figures.chips_made_kg
            caught_kg = tool.chips_caught_kg if tool else figures.chips_caught_kg
            return 100.0 * caught_kg / made_kg if made_kg > 0 else 100.0


def _figure(one: FigureExpected, figures: Figures, tracks: Tracks, end_s: float) -> Broken | None:
    value = figure_of(one.figure, one.of, figures)
    too_much = one.at_most is not None and value > one.at_most + TINY
    too_little = one.at_least is not None and value < one.at_least - TINY
    if not too_much and not too_little:
        return None
    at_s = _passed_s(one, tracks) if too_much else None
    return Broken(one, end_s if at_s is None else at_s, f"it came to {shown(one.figure, value)}")


def shown(figure: Figure, value: float) -> str:
    """A figure as people read it."""
    match UNIT_OF.get(figure):
        case "time":
            return f"{value:.1f} s"
        case "kWh":
            return f"{value:.2f} kWh"
        case "kg":
            return f"{1000 * value:.0f} g" if value < 1 else f"{value:.1f} kg"
        case "%":
            return f"{value:.1f} %"
        case _:
            return f"{value:g}"


def _passed_s(one: FigureExpected, tracks: Tracks) -> float | None:
    """When a count passed its limit, where the tracks tell it."""
    match one.figure:
        case Figure.GATE_MOVES | Figure.GATE_MOVES_IN_AN_HOUR:
            tracked, word = tracks.gates, "moving"
        case Figure.MOTOR_STARTS | Figure.MOTOR_STARTS_IN_AN_HOUR:
            tracked, word = tracks.motors, "running"
        case _:
            return None
    begun = sorted(
        span.from_s for name, spans in tracked.items() for span in spans if span.word == word and one.of in (None, name)
    )
    assert one.at_most is not None
    over = int(one.at_most)
    window_s = HOUR_S if "hour" in one.figure.value else math.inf
    return next((begun[i] for i in range(over, len(begun)) if begun[i] - begun[i - over] < window_s), None)


def _apart(one: StartsApartExpected, tracks: Tracks) -> Broken | None:
    starts = sorted((s.from_s, name) for name, spans in tracks.motors.items() for s in spans if s.word == "running")
    for (before_s, first), (after_s, second) in itertools.pairwise(starts):
        if after_s - before_s < one.apart_s - SAME_S and first != second:
            return Broken(one, after_s, f"{second} started {after_s - before_s:.1f} s after {first}")
    return None
