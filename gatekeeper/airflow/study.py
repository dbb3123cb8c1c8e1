"""What a person wants to know of one set of running tools: flows, velocities, suction at the hoods, the fan's work.

Numbers only; which sets are looked at and which gates stand open is for the caller to say.
"""

from dataclasses import dataclass

from gatekeeper.airflow.fan import FanCurve
from gatekeeper.airflow.tools import Reading, Tools

_IDLE_POWER = 0.4
"""Share of the plate power that a radial wheel takes on shut ducts; it rises in a straight line to all of it at free
delivery. Our own assumption, from the usual shape of such fans' power curves."""


@dataclass(frozen=True, slots=True)
class ToolAir:
    """One running tool. ``low_m3s`` and ``high_m3s`` differ from ``flow_m3s`` where the fan is an estimate.

    ``hood_static_pa``: behind its hood, below 0. ``drop_ms``: in the slowest length of its drop.
    """

    tool: str
    need_m3s: float
    flow_m3s: float
    low_m3s: float
    high_m3s: float
    hood_static_pa: float
    drop_ms: float

    @property
    def share(self) -> float:
        return self.flow_m3s / self.need_m3s


@dataclass(frozen=True, slots=True)
class SetAir:
    """One set of running tools. ``motor_w``: an estimate of what the fan's motor takes."""

    reading: Reading
    tools: tuple[ToolAir, ...]
    fan_flow_m3s: float
    fan_low_m3s: float
    fan_high_m3s: float
    fan_static_pa: float
    motor_w: float
    is_beyond_curve: bool
    is_on_rising_part: bool

    def air_of(self, tool: str) -> ToolAir:
        """One of its tools. Raises StopIteration for another."""
        return next(air for air in self.tools if air.tool == tool)


@dataclass(frozen=True, slots=True)
class Band:
    """The same tools on the weak and the strong end of an estimated fan; both None where the curve was given."""

    weak: Tools | None = None
    strong: Tools | None = None


def band_of(tools: Tools) -> Band:
    """The band of a system's fan."""
    fan = tools.network.fan
    if not fan.is_estimate:
        return Band()
    weak, strong = (tools.with_prepared(tools.prepared.with_fan(end)) for end in fan.band())
    return Band(weak, strong)


def set_air(tools: Tools, reading: Reading, plate_w: float, band: Band) -> SetAir:
    """All that is said of one set. ``plate_w``: the fan motor's power on its plate, more than 0."""
    solution = reading.solution
    ends = [end.read(reading.running, reading.open_gates) for end in (band.weak, band.strong) if end is not None]
    weak, strong = ends if ends else (reading, reading)
    states = solution.ducts()
    network = tools.network
    told: list[ToolAir] = []
    for tool in reading.running:
        chips = tools.chips_of(tool)
        own = [place for place in chips if place not in tools.mains] or list(chips)
        leaves = [place for place in own if not network.feeding[place]] or own
        drops = [reading.velocity_ms[network.ducts[place].name] for place in own]
        told.append(
            ToolAir(
                tool=tool,
                need_m3s=tools.draws[tool].need_m3s,
                flow_m3s=reading.flow_m3s[tool],
                low_m3s=weak.flow_m3s[tool],
                high_m3s=strong.flow_m3s[tool],
                hood_static_pa=max(states[network.ducts[place].name].static_upstream_pa for place in leaves),
                drop_ms=min(drops),
            )
        )
    flow = solution.flow_m3s
    return SetAir(
        reading=reading,
        tools=tuple(told),
        fan_flow_m3s=flow,
        fan_low_m3s=weak.solution.flow_m3s,
        fan_high_m3s=strong.solution.flow_m3s,
        fan_static_pa=solution.fan_pressure_pa,
        motor_w=motor_power_w(network.fan, plate_w, flow),
        is_beyond_curve=solution.is_beyond_curve,
        is_on_rising_part=solution.is_on_rising_part,
    )


def free_delivery_m3s(fan: FanCurve) -> float:
    """The flow at which a fan makes no pressure: its last piece, carried on to zero."""
    (q0, p0), (q1, p1) = fan.points()[-2:]
    return q1 + p1 * (q1 - q0) / (p0 - p1)


def motor_power_w(fan: FanCurve, plate_w: float, flow_m3s: float) -> float:
    """What a fan's motor of ``plate_w`` takes at a flow of 0 or more: an estimate, at most its plate power."""
    return plate_w * min(1.0, _IDLE_POWER + (1.0 - _IDLE_POWER) * flow_m3s / free_delivery_m3s(fan))


def system_curve(tools: Tools, reading: Reading, flows_m3s: tuple[float, ...]) -> tuple[float, ...]:
    """The pressure [Pa] that ducts, separator and filter ask at other total flows with the same gates open.

    By the square of the flow from the operating point for the ducts, and by their own laws for separator and filter.
    """
    solution, collector = reading.solution, tools.network.collector
    flow = solution.flow_m3s
    ducts_pa = solution.fan_pressure_pa - solution.collector_loss_pa
    return tuple(
        (ducts_pa * (at / flow) ** 2 if flow > 0.0 else 0.0)
        + (collector.line_pa_s_m3 + collector.square_pa_s2_m6 * at) * at
        for at in flows_m3s
    )
