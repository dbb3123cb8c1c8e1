"""What came of a play, in figures, and what a report draws of it."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

#: A cut got air once the flow at its hood reached this share of its tool's need. Our own.
HAS_AIR_SHARE = 0.5
#: The air has come once the flow reached this share of the tool's need, or of the most that the cut got where that is
#: less. Our own.
ARRIVED_SHARE = 0.9
#: And stayed there for this long, seconds, or to the cut's end. Our own.
STAYS_S = 5.0


@dataclass(frozen=True, slots=True)
class MotorFigures:
    """One motor that the controller starts, as it really ran.

    starts: how often its contactor closed and current flowed.
    running_s: how long current flowed, seconds.
    energy_kwh: rated power times ``running_s``: as if it were always fully loaded; on a drive that runs slower times
        the cube of its speed.
    worst_starts_in_an_hour: the most starts in any 3600 s.
    starts_allowed: what its start store allows in any 3600 s: two, and what refills in an hour.
    hottest: the most heat of its windings as its overload relay reckons it, in shares of what trips it.
    """

    starts: int = 0
    running_s: float = 0.0
    energy_kwh: float = 0.0
    worst_starts_in_an_hour: int = 0
    starts_allowed: int = 0
    hottest: float = 0.0


@dataclass(frozen=True, slots=True)
class ToolFigures:
    """One tool.

    cuts, cut_s: how often it ran and for how long together, seconds.
    without_air: cuts in which the flow at its hood never reached half of its need.
    mean_share: flow over need, mean over its running time; None where the air was not solved or it never ran.
    least_share: the least flow over need once the air had been there for ``STAYS_S`` (see ``late_air_s``), or at the
        end of a shorter cut; None likewise.
    chips_made_kg, chips_caught_kg: chips that it threw, and those of them that its hood took.
    late_air_s: of all its cuts, seconds from start to arrival of the air.
    """

    cuts: int = 0
    cut_s: float = 0.0
    without_air: int = 0
    mean_share: float | None = None
    least_share: float | None = None
    chips_made_kg: float = 0.0
    chips_caught_kg: float = 0.0
    late_air_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Figures:
    """What came of a play. A *cut* is one stretch of a tool running, from switching on to standing without current.

    hours_s: how long the play was, seconds.
    cuts, cut_s: of all tools, also those that still ran at the end.
    cuts_without_air: cuts in which the flow at the hood never reached half (``HAS_AIR_SHARE``) of the tool's need.
    cuts_without_air_after_first: those of them that began while a collector or vacuum of the tool ran already. A cut
        that finds all of them off is the first of a run of cuts.
    late_air_s: sum over cuts of the time from the tool's start to the first instant at which the flow at its hood was
        ``ARRIVED_SHARE`` of the tool's need, or of the most that the cut got where that is less, and
        stayed there for ``STAYS_S``; the whole cut where it is one without air.
    worst_late_air_s: the largest of them among the cuts that got air.
    chips_made_kg: what the tools threw. It is made up of
    chips_caught_kg: drawn into a hood, and
    chips_escaped_kg: not drawn in: on the floor and in the room.
    chips_left_kg: of those caught, what lies or flies in the ducts at the end.
    chips_left_in_kg: the same by duct, the most first, without what is a gram or less.
    chips_in_bin_kg, dust_on_filter_kg: of those caught, what the collector holds at the end.
    motors, tools: one by one, by name.
    motor_starts: of all collectors and tool vacuums.
    worst_starts_in_an_hour: the largest of them for one motor.
    energy_kwh: of all motors that the controller starts.
    gate_moves: how often a gate's slide was set in motion by its actuator; ``worst_moves_in_an_hour``: of all gates
        together in any 3600 s.
    busiest_gate: the one with the most moves in any 3600 s, ``busiest_gate_moves_in_an_hour`` of them; None where none
        was moved by an actuator.
    noise_s: how long at least one collector or tool vacuum had current.
    breaker_trips: how often a breaker or an overload relay tripped by itself.
    messages: how often each message was raised, by code.
    refusals: how often a request was refused, by code.
    faults_put: how often something was broken.
    room_dust_worst_mg_m3, room_dust_left_mg_m3: fine dust in the room's air, at the worst and at the end; None where
        the file does not give the air cleaner's room and flow.
    air_is_known: False where the air of at least one system was not solved; then the figures of air and chips leave
        its tools out.
    """

    hours_s: float
    cuts: int = 0
    cut_s: float = 0.0
    cuts_without_air: int = 0
    cuts_without_air_after_first: int = 0
    late_air_s: float = 0.0
    worst_late_air_s: float = 0.0
    chips_made_kg: float = 0.0
    chips_caught_kg: float = 0.0
    chips_escaped_kg: float = 0.0
    chips_left_kg: float = 0.0
    chips_left_in_kg: Mapping[str, float] = field(default_factory=dict)
    chips_in_bin_kg: float = 0.0
    dust_on_filter_kg: float = 0.0
    motors: Mapping[str, MotorFigures] = field(default_factory=dict)
    tools: Mapping[str, ToolFigures] = field(default_factory=dict)
    motor_starts: int = 0
    worst_starts_in_an_hour: int = 0
    energy_kwh: float = 0.0
    gate_moves: int = 0
    worst_moves_in_an_hour: int = 0
    busiest_gate: str | None = None
    busiest_gate_moves_in_an_hour: int = 0
    noise_s: float = 0.0
    breaker_trips: int = 0
    messages: Mapping[str, int] = field(default_factory=dict)
    refusals: Mapping[str, int] = field(default_factory=dict)
    faults_put: int = 0
    room_dust_worst_mg_m3: float | None = None
    room_dust_left_mg_m3: float | None = None
    air_is_known: bool = True

    def as_json(self) -> dict[str, Any]:
        """All figures as one JSON object with the names above; numbers rounded to six places."""
        rounded: dict[str, Any] = _rounded(asdict(self))
        return rounded


def _rounded(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _rounded(inner) for key, inner in value.items()}
    return round(value, 6) if isinstance(value, float) else value


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time in which something was so; ``word`` says what."""

    from_s: float
    to_s: float
    word: str


@dataclass(frozen=True, slots=True)
class HoodPoint:
    """The air at one hood at one instant; between two points of one cut the flow goes in a straight line.

    A point with ``is_last`` ends a cut.
    """

    t_s: float
    flow_m3s: float
    need_m3s: float
    is_last: bool = False


@dataclass(frozen=True, slots=True)
class MessageAt:
    """A message that was raised or cleared. ``heap``: "now", "today" or "when_you_can"."""

    t_s: float
    code: str
    subject: str
    heap: str
    is_raised: bool


@dataclass(frozen=True, slots=True)
class Tracks:
    """What a report draws. All times are seconds from the beginning of the play; spans in order, without overlap.

    tools: spans with the word "running".
    gates: spans with the words "open", "shut", "moving", "between" (it stands half way).
    motors: spans with the words "running", "coasting"; a motor that stands still has no span.
    hoods: by tool, the air at its hood while it runs, as points.
    messages: in order.
    controller: spans in which the controller was down, word "down".
    faults: spans in which something was broken, word "what: whom".
    """

    tools: Mapping[str, list[Span]] = field(default_factory=dict)
    gates: Mapping[str, list[Span]] = field(default_factory=dict)
    motors: Mapping[str, list[Span]] = field(default_factory=dict)
    hoods: Mapping[str, list[HoodPoint]] = field(default_factory=dict)
    messages: list[MessageAt] = field(default_factory=list)
    controller: list[Span] = field(default_factory=list)
    faults: list[Span] = field(default_factory=list)
