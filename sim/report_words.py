"""What a day showed, in words, the worst first: rules and expectations, people's lungs, motors, ducts, gates."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

from gatekeeper.control.alarms import FAULTS
from gatekeeper.layout.measures import Measures
from gatekeeper.service.viewing_messages import words_of
from gatekeeper.shop.faults import listed
from sim.report_bars import MOVES_LIMIT
from sim.report_facts import Day, cuts_at_hood, had_no_air
from sim.report_lanes import spell

#: A hood that gets less than this share of its need on the mean is short, as in the layout study.
ENOUGH = 0.98
#: Chips in the ducts at the end, as a share of those taken, that are worth a word. Our own.
LEFT_SHARE = 0.005
#: Chips into the room, as a share of those made, that are worth a word. Our own.
ESCAPED_SHARE = 0.05
_MOST_TIMES = 4
#: So many ducts are named in which chips lie.
_MOST_DUCTS = 3
_NEARLY_ALL = 0.9


class Harm(IntEnum):
    """What a finding harms; the lower the worse."""

    RULE = 1
    EXPECTATION = 2
    SOMEBODY = 3
    LUNGS = 4
    MOTOR = 5
    DUCT = 6
    TODAY = 7
    GATES = 8
    LATER = 9


@dataclass(frozen=True, slots=True)
class Broken:
    """A control rule or an expectation that did not hold. ``before``: what happened right before it, in order."""

    said: str
    is_rule: bool
    before: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Told:
    """One finding: a sentence, and what is behind it."""

    harm: Harm
    title: str
    why: str = ""


def findings_of(day: Day, broken: Sequence[Broken] = ()) -> list[Told]:
    """All findings of a play, the worst first."""
    found = [Told(Harm.RULE if one.is_rule else Harm.EXPECTATION, one.said) for one in broken]
    found += _messages(day)
    found += _no_air(day)
    found += _short(day)
    found += _chips(day)
    found += _motors(day)
    found += _gates(day)
    return sorted(found, key=lambda one: one.harm)


def summary(day: Day) -> str:
    """The day in one sentence, for a title when nothing was found, and for the lead."""
    figures = day.figures
    counts = [
        _many(figures.cuts, "cut", "cuts"),
        _many(figures.motor_starts, "motor start", "motor starts"),
        _many(figures.gate_moves, "gate move", "gate moves"),
    ]
    told = f"{counts[0]} in {spell(figures.hours_s)}, {counts[1]}, {counts[2]}, {figures.energy_kwh:.1f} kWh"
    return f"{told}, collectors heard for {spell(figures.noise_s)}"


def _messages(day: Day) -> list[Told]:
    """Every message that was raised, once for each code and subject, with how often and when."""
    raised: dict[tuple[str, str], list[float]] = {}
    for one in day.tracks.messages:
        if one.is_raised:
            raised.setdefault((one.code, one.subject), []).append(one.t_s)
    harms = {"now": Harm.SOMEBODY, "today": Harm.TODAY, "when_you_can": Harm.LATER}
    found = []
    for (code, subject), times in raised.items():
        row = words_of(code, subject)
        often = f"At {_times(day, times)}."
        found.append(Told(harms[FAULTS[code].heap], row.happened, f"{often} {row.remedy}"))
    return found


def _no_air(day: Day) -> list[Told]:
    found = []
    for tool, points in day.tracks.hoods.items():
        without = [cut[0].t_s for cut in cuts_at_hood(points) if had_no_air(cut)]
        if without:
            of = day.figures.tools[tool].cuts
            title = f"{_cap(tool)} cut without air {_often(len(without))} in {_many(of, 'cut', 'cuts')}."
            why = f"At {_times(day, without)}. The air never reached half of what it needs before the cut was over."
            found.append(Told(Harm.LUNGS, title, why))
    return found


def _short(day: Day) -> list[Told]:
    found = []
    say = Measures(day.shop.units)
    for tool, one in day.figures.tools.items():
        if one.mean_share is None or one.mean_share >= ENOUGH or one.without_air == one.cuts:
            continue
        points = day.tracks.hoods.get(tool, ())
        need = f" It needs {say.flow(points[0].need_m3s)}." if points else ""
        found.append(
            Told(
                Harm.LUNGS,
                f"{_cap(tool)} gets {one.mean_share * 100:.0f} % of its air on the mean.",
                f"Over {spell(one.cut_s)} of cutting, the waits for the air counted.{need}",
            )
        )
    return found


def _chips(day: Day) -> list[Told]:
    figures, found = day.figures, []
    if figures.chips_made_kg > 0.0 and figures.chips_escaped_kg > ESCAPED_SHARE * figures.chips_made_kg:
        share = figures.chips_escaped_kg / figures.chips_made_kg
        found.append(
            Told(
                Harm.LUNGS,
                f"{share * 100:.0f} % of the chips went into the room.",
                f"{day.weight(figures.chips_escaped_kg)} of {day.weight(figures.chips_made_kg)}: thrown before the air "
                "came, or where a hood gets less than its machine needs.",
            )
        )
    if figures.chips_caught_kg > 0.0 and figures.chips_left_kg > LEFT_SHARE * figures.chips_caught_kg:
        found.append(
            Told(
                Harm.DUCT,
                f"{_cap(day.weight(figures.chips_left_kg))} of chips lay in the ducts at the end.",
                _lying(day)
                + "They settle where the air is too slow, or the collector stopped before they were through.",
            )
        )
    return found


def _lying(day: Day) -> str:
    """Where most of the chips lie, as a sentence before the next."""
    most = list(day.figures.chips_left_in_kg.items())[:_MOST_DUCTS]
    if most and most[0][1] >= _NEARLY_ALL * day.figures.chips_left_kg:
        return f"Nearly all of it in {most[0][0]}. "
    told = listed([f"{day.weight(kg)} in {duct}" for duct, kg in most], "and")
    return f"{_cap(told)}. " if most else ""


def _motors(day: Day) -> list[Told]:
    found = []
    for name, one in day.figures.motors.items():
        if one.worst_starts_in_an_hour > one.starts_allowed:
            found.append(
                Told(
                    Harm.MOTOR,
                    f"{_cap(name)} started {one.worst_starts_in_an_hour} times in an hour; its budget is "
                    f"{one.starts_allowed}.",
                    "Every start heats the windings. A longer spin-down delay makes fewer of them.",
                )
            )
    if day.figures.breaker_trips:
        times = _often(day.figures.breaker_trips)
        found.append(Told(Harm.MOTOR, f"A breaker or an overload relay tripped {times}."))
    return found


def _gates(day: Day) -> list[Told]:
    name, worst = day.figures.busiest_gate, day.figures.busiest_gate_moves_in_an_hour
    if name is None or worst <= MOVES_LIMIT:
        return []
    why = f"{MOVES_LIMIT} are taken as enough for a small actuator; the lanes show when it moved."
    return [Told(Harm.GATES, f"{_cap(name)} moved {worst} times in one hour.", why)]


def _times(day: Day, times: Sequence[float]) -> str:
    told = listed([day.clock_with_s(at_s) for at_s in times[:_MOST_TIMES]], "and")
    more = len(times) - _MOST_TIMES
    return told if more <= 0 else f"{told} and {more} more times"


def _often(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def _many(count: int, one: str, many: str) -> str:
    return f"{count} {one if count == 1 else many}"


def _cap(words: str) -> str:
    return words[:1].upper() + words[1:]
