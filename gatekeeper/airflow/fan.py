"""Fans: curves by points with straight lines between, the fan laws, and an estimate from motor power.

Theory of operation. A fan curve is static pressure over flow. Losses rise strictly with flow, so a falling curve meets
them once. A curve that rises first may meet them several times; the state that a fan keeps is then a meeting where the
losses rise faster than the curve, and of these the one at the largest flow is taken: a fan that comes up to speed on
open ducts arrives there. To find it, the solve uses the curve's *mantle*: at each flow the highest pressure of the
curve from there on. The mantle never rises, so it is met once; where it is the curve itself, that is the answer.
Where it is a flat piece laid over a dip, the answer lies further left on the curve and is searched for (``solve``).
"""

import itertools
from dataclasses import dataclass

ESTIMATE_ERROR = 0.25
"""The error band, to either side, of flows and pressures of an estimated curve. Our own assumption."""

_WHEEL_EFFICIENCY = 0.30
_VACUUM_EFFICIENCY = 0.35
_VACUUM_SHUT_PA = 22000.0
_SHUT_PA_AT_1KW = 2050.0
_SHUT_EXPONENT = 0.30
_BEST_SHARE = 2.0 / 3.0**1.5
_ESTIMATE_POINTS = 12


@dataclass(frozen=True, slots=True)
class FanCurve:
    """Static pressure over flow. ``error``: half width of the band as a share, 0 for a curve that was given.

    Flows rise strictly and are 0 or more; pressures are 0 or more; the last piece falls. Left of the first point the
    first piece goes on if it falls, else level; right of the last point the last piece goes on (the result says so).
    """

    flows_m3s: tuple[float, ...]
    pressures_pa: tuple[float, ...]
    error: float = 0.0

    def __post_init__(self) -> None:
        if len(self.flows_m3s) != len(self.pressures_pa) or len(self.flows_m3s) < 2:
            raise ValueError("a fan curve has at least two points, each with a flow and a pressure")
        if self.flows_m3s[0] < 0.0 or any(b <= a for a, b in itertools.pairwise(self.flows_m3s)):
            raise ValueError("the flows of a fan curve start at 0 or more and rise from point to point")
        if min(self.pressures_pa) < 0.0 or max(self.pressures_pa) == 0.0:
            raise ValueError("the pressures of a fan curve are 0 or more, and not all 0")
        if self.pressures_pa[-1] >= self.pressures_pa[-2]:
            raise ValueError("a fan curve falls at its end; otherwise it never meets the losses of the ducts")
        if not 0.0 <= self.error < 1.0:
            raise ValueError("the error of a fan curve is a share from 0 to below 1")

    @property
    def is_estimate(self) -> bool:
        return self.error > 0.0

    @property
    def rises(self) -> bool:
        """Whether it rises anywhere, so that several operating points are possible."""
        return any(b > a for a, b in itertools.pairwise(self.pressures_pa))

    @property
    def peak_flow_m3s(self) -> float:
        """The flow of the highest point (the last of them); left of it a fan hunts and rumbles."""
        highest = max(self.pressures_pa)
        return max(flow for flow, here in zip(self.flows_m3s, self.pressures_pa, strict=True) if here == highest)

    def points(self) -> tuple[tuple[float, float], ...]:
        """The points from flow 0 on."""
        points = tuple(zip(self.flows_m3s, self.pressures_pa, strict=True))
        if self.flows_m3s[0] == 0.0:
            return points
        (q0, p0), (q1, p1) = points[:2]
        return ((0.0, max(p0, p0 + (p0 - p1) * q0 / (q1 - q0))), *points)

    def pressure_at(self, flow_m3s: float) -> float:
        """Static pressure [Pa] at a flow of 0 or more; below 0 beyond free delivery."""
        points = self.points()
        for (q0, p0), (q1, p1) in itertools.pairwise(points):
            if flow_m3s <= q1 or q1 == points[-1][0]:
                return p0 + (p1 - p0) * (flow_m3s - q0) / (q1 - q0)
        raise AssertionError("a curve has a last piece")

    def is_beyond(self, flow_m3s: float) -> bool:
        """Whether a flow lies beyond the points that were given, so that the pressure there is a guess."""
        slack = 1e-9 * self.flows_m3s[-1]
        return not self.flows_m3s[0] - slack <= flow_m3s <= self.flows_m3s[-1] + slack

    def is_rising_at(self, flow_m3s: float) -> bool:
        """Whether the curve rises at a flow."""
        pieces = itertools.pairwise(self.points())
        return any(q0 <= flow_m3s < q1 and p1 > p0 for (q0, p0), (q1, p1) in pieces)

    def mantle(self) -> tuple[tuple[float, float], ...]:
        """Points of the highest pressure from each flow on: never rising; the curve's own where it falls."""
        points = self.points()
        level = points[-1][1]
        built = [points[-1]]
        for (q0, p0), (q1, p1) in reversed(list(itertools.pairwise(points))):
            if p0 > level:
                if p1 < level:
                    built.append((q0 + (q1 - q0) * (p0 - level) / (p0 - p1), level))
                built.append((q0, p0))
                level = p0
            elif q0 == 0.0:
                built.append((0.0, level))
        return tuple(reversed(built))

    def scaled(self, speed_ratio: float = 1.0, density_ratio: float = 1.0) -> "FanCurve":
        """The curve of the same fan at another speed and in other air, by the fan laws."""
        at = [
            fan_laws(flow, pressure, 0.0, speed_ratio=speed_ratio, density_ratio=density_ratio)
            for flow, pressure in zip(self.flows_m3s, self.pressures_pa, strict=True)
        ]
        return FanCurve(tuple(q for q, _, _ in at), tuple(p for _, p, _ in at), self.error)

    def band(self) -> "tuple[FanCurve, FanCurve]":
        """The weak and the strong end of the error band: flows and pressures less and more by the share ``error``."""
        weak, strong = (
            FanCurve(
                tuple(flow * share for flow in self.flows_m3s),
                tuple(pressure * share for pressure in self.pressures_pa),
                self.error,
            )
            for share in (1.0 - self.error, 1.0 + self.error)
        )
        return weak, strong


def fan_laws(
    flow_m3s: float,
    pressure_pa: float,
    power_w: float,
    *,
    speed_ratio: float = 1.0,
    density_ratio: float = 1.0,
    diameter_ratio: float = 1.0,
) -> tuple[float, float, float]:
    """Flow, pressure and power of a fan of the same shape: Q ~ n D^3, p ~ rho n^2 D^2, P ~ rho n^3 D^5.

    Ratios are new over old, above 0. Source: the fan laws of every handbook; exact for fans of the same shape while
    Reynolds number and compression are left out.
    """
    if min(speed_ratio, density_ratio, diameter_ratio) <= 0.0:
        raise ValueError("the ratios of speed, density and diameter of a fan are above 0")
    return (
        flow_m3s * speed_ratio * diameter_ratio**3,
        pressure_pa * density_ratio * speed_ratio**2 * diameter_ratio**2,
        power_w * density_ratio * speed_ratio**3 * diameter_ratio**5,
    )


def fan_static_pressure(outlet_static: float, inlet_static: float, inlet_velocity_pressure: float) -> float:
    """Fan static pressure = SP at the outlet - SP at the inlet - VP at the inlet, all in one unit of pressure."""
    return outlet_static - inlet_static - inlet_velocity_pressure


def estimated_curve(power_w: float, *, is_vacuum: bool = False) -> FanCurve:
    """A curve of the usual shape for a motor of ``power_w`` (plate power, 50 to 50000), an estimate within 25 %.

    Our own assumption, from the usual make of such machines, to be replaced by the maker's curve or one reading: shut
    pressure 2050 Pa at 1 kW rising with the power to 0.3 (one wheel on a two-pole motor), 22 kPa for a tool vacuum;
    pressure falling with the square of the flow; at the best point 30 % (vacuum 35 %) of the plate power in the air.
    """
    if not 50.0 <= power_w <= 50000.0:
        raise ValueError(f"a fan motor of {power_w:g} W is out of range; it lies between 50 W and 50 kW")
    shut_pa = _VACUUM_SHUT_PA if is_vacuum else _SHUT_PA_AT_1KW * (power_w / 1000.0) ** _SHUT_EXPONENT
    efficiency = _VACUUM_EFFICIENCY if is_vacuum else _WHEEL_EFFICIENCY
    free_m3s = efficiency * power_w / (_BEST_SHARE * shut_pa)
    shares = [place / _ESTIMATE_POINTS for place in range(_ESTIMATE_POINTS + 1)]
    flows = tuple(free_m3s * share for share in shares)
    return FanCurve(flows, tuple(shut_pa * (1.0 - share * share) for share in shares), ESTIMATE_ERROR)
