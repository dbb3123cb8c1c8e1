"""One seeded day of a study, played and boiled down: what each collector did, and what its machines got.

Days and delays go to other processes and their outcomes come back and are kept, so both are plain values.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from sim.figures import HoodPoint, Span
from sim.play import Played
from sim.report_facts import cuts_at_hood, had_no_air, merged, worst_in_an_hour
from sim.stage import Stage

#: Cuts of one machine with shorter pauses between them are one run of cuts: the time to lay up the next piece. Our own.
RUN_PAUSE_S = 120.0


@dataclass(frozen=True, slots=True)
class Delays:
    """The delays of one variant: of every collector and tool vacuum, and of the tools that have one of their own."""

    motors: tuple[tuple[str, float], ...]
    tools: tuple[tuple[str, float], ...] = ()

    def with_tool(self, tool: str, delay_s: float | None) -> "Delays":
        """The same with another delay for one tool; None: it follows its collector."""
        others = [(name, value) for name, value in self.tools if name != tool]
        if delay_s is not None:
            others.append((tool, delay_s))
        return replace(self, tools=tuple(sorted(others)))

    def of(self, tool: str, motor: str) -> float:
        """What counts after a stop of this tool."""
        own = dict(self.tools).get(tool)
        return dict(self.motors)[motor] if own is None else own


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one collector (or tool vacuum) and its machines did in one day.

    cuts, airless: cuts of its machines, and those in which the air never reached half of the need.
    airless_in_run: those of them that were not the first of a run of cuts (``RUN_PAUSE_S``).
    starts, worst_starts: of the motor, in the day and in the worst hour.
    moves, worst_moves: of its gates that move by themselves, likewise.
    running_s, energy_kwh: of the motor. ``idle_s``: what of it no machine ran.
    left_kg, escaped_kg, made_kg: chips in all ducts at the end, into the room, and made; of the whole shop.
    shares: by machine, its air as a share of its need, the mean over its cutting time.
    """

    cuts: int
    airless: int
    airless_in_run: int
    starts: int
    worst_starts: int
    moves: int
    worst_moves: int
    running_s: float
    idle_s: float
    energy_kwh: float
    left_kg: float
    escaped_kg: float
    made_kg: float
    shares: Mapping[str, float]

    def as_json(self) -> dict[str, Any]:
        return asdict(self)


def with_delays(stage: Stage, delays: Delays) -> Stage:
    """The same shop with other delays; what was solved of its air is shared."""
    motors = dict(stage.plan.motors)
    for name, delay_s in delays.motors:
        motors[name] = replace(motors[name], spin_down_s=delay_s)
    own = dict(delays.tools)
    tools = {name: replace(tool, spin_down_s=own.get(name)) for name, tool in stage.plan.tools.items()}
    return replace(stage, plan=replace(stage.plan, motors=motors, tools=tools))


def outcomes_of(stage: Stage, played: Played) -> dict[str, Outcome]:
    """By collector or tool vacuum, what came of a day."""
    figures, tracks = played.figures, played.tracks
    found = {}
    for motor in stage.shop.motors.values():
        if not motor.has_ducts:
            continue
        tools = [tool.name for tool in stage.shop.tools_of(motor.name)]
        cuts = [figures.tools[name].cuts for name in tools if name in figures.tools]
        hoods = {name: tracks.hoods.get(name, []) for name in tools}
        moves = [
            span.from_s
            for gate in stage.shop.gates_of(motor.name)
            for span in tracks.gates.get(gate.name, ())
            if span.word == "moving" and gate.is_actuated
        ]
        running = [span for span in tracks.motors.get(motor.name, ()) if span.word == "running"]
        busy = merged([(span.from_s, span.to_s) for name in tools for span in tracks.tools.get(name, ())])
        mine = figures.motors[motor.name]
        found[motor.name] = Outcome(
            cuts=sum(cuts),
            airless=sum(figures.tools[name].without_air for name in tools if name in figures.tools),
            airless_in_run=sum(airless_in_run(points) for points in hoods.values()),
            starts=mine.starts,
            worst_starts=mine.worst_starts_in_an_hour,
            moves=len(moves),
            worst_moves=max(count for _, count in worst_in_an_hour(moves)),
            running_s=mine.running_s,
            idle_s=max(0.0, mine.running_s - _overlap_s(running, busy)),
            energy_kwh=mine.energy_kwh,
            left_kg=figures.chips_left_kg,
            escaped_kg=figures.chips_escaped_kg,
            made_kg=figures.chips_made_kg,
            shares={
                name: figures.tools[name].mean_share or 0.0
                for name in tools
                if name in figures.tools and figures.tools[name].mean_share is not None
            },
        )
    return found


def airless_in_run(points: Sequence[HoodPoint]) -> int:
    """Cuts without air that followed another cut of the same machine within ``RUN_PAUSE_S``."""
    count, last_end_s = 0, -RUN_PAUSE_S - 1.0
    for cut in cuts_at_hood(points):
        if had_no_air(cut) and cut[0].t_s - last_end_s <= RUN_PAUSE_S:
            count += 1
        last_end_s = cut[-1].t_s
    return count


def _overlap_s(running: Sequence[Span], busy: Sequence[tuple[float, float]]) -> float:
    return sum(max(0.0, min(span.to_s, end) - max(span.from_s, begin)) for span in running for begin, end in busy)


def outcomes_from_json(kept: Mapping[str, Mapping[str, Any]]) -> dict[str, Outcome]:
    """What ``Outcome.as_json`` gave, by motor. Raises TypeError for anything else."""
    return {motor: Outcome(**values) for motor, values in kept.items()}
