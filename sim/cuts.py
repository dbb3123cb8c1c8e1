"""One cut: the air that came to its hood, and what it threw."""

from dataclasses import dataclass, field

from sim.figures import ARRIVED_SHARE, HAS_AIR_SHARE, STAYS_S


@dataclass(slots=True)
class Cut:
    """One stretch of a tool running.

    Args:
        began_s: its start, seconds of the play.
        need_m3s: the flow that the tool needs, above 0.
        is_first: no collector or vacuum of the tool had current at its start.
    """

    began_s: float
    need_m3s: float
    is_first: bool
    points: list[tuple[float, float]] = field(default_factory=list)
    made_kg: float = 0.0
    caught_kg: float = 0.0
    share_s: float = 0.0
    most_m3s: float = 0.0

    def point(self, t_s: float, flow_m3s: float) -> None:
        """The flow at an instant; it goes in a straight line from the last point."""
        points = self.points
        if points and points[-1] == (t_s, flow_m3s):
            return
        if len(points) > 1 and points[-1][1] == points[-2][1] == flow_m3s:
            points[-1] = t_s, flow_m3s  # a level stretch is its two ends
            return
        points.append((t_s, flow_m3s))
        self.most_m3s = max(self.most_m3s, flow_m3s)

    @property
    def has_air(self) -> bool:
        """The flow reached half of the need."""
        return self.most_m3s >= HAS_AIR_SHARE * self.need_m3s

    @property
    def _goal_m3s(self) -> float:
        # More than the need comes when another tool stops: nobody waited for that.
        return ARRIVED_SHARE * min(self.most_m3s, self.need_m3s)

    def arrived_s(self) -> float | None:
        """The first instant from which the flow stays at the goal for a while; None for a cut without air.

        The goal is 0.9 of the need, or of the most that it got where that is less. What a fan gives that only coasts,
        and is gone a moment later, is no air that has come.
        """
        if not self.has_air:
            return None
        goal = self._goal_m3s
        before_s, before = self.points[0]
        arrived_s, is_there = before_s, before >= goal
        for t_s, flow in self.points[1:]:
            if is_there != (flow >= goal):
                crossed_s = before_s + (t_s - before_s) * (goal - before) / (flow - before)
                if is_there and crossed_s - arrived_s >= STAYS_S:
                    return arrived_s
                is_there = not is_there
                arrived_s = crossed_s if is_there else arrived_s
            before_s, before = t_s, flow
        return arrived_s

    def least_share(self) -> float | None:
        """The least flow over need once the air has been there for a while, or at the end of a shorter cut.

        None for a cut without air.
        """
        arrived_s = self.arrived_s()
        if arrived_s is None:
            return None
        from_s = min(arrived_s + STAYS_S, self.points[-1][0])
        before_s, before = self.points[0]
        least = self.points[-1][1]
        for t_s, flow in self.points[1:]:
            if t_s > from_s:
                if before_s < from_s:
                    before += (flow - before) * (from_s - before_s) / (t_s - before_s)
                least = min(least, before, flow)
            before_s, before = t_s, flow
        return least / self.need_m3s


def caught_share_time(passed_s: float, begins: float, ends: float) -> float:
    """Seconds times the caught share, where flow over need goes in a straight line from ``begins`` to ``ends``."""
    low, high = min(begins, ends), max(begins, ends)
    if high <= 1.0:
        return passed_s * (low + high) / 2.0
    if low >= 1.0:
        return passed_s
    full = (high - 1.0) / (high - low)
    return passed_s * (full + (1.0 - full) * (low + 1.0) / 2.0)
