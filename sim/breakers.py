"""Breakers and overload relays: how much heat a current has left behind, and when that trips.

Theory of operation. A trip element warms like a body with one time constant: its heat h goes towards m squared, where
m is the current over the rated one, and it trips when h reaches k squared. So a steady current m trips from cold after
tau x ln(m^2 / (m^2 - k^2)), and never below k. A magnetic release trips at once from its own multiple on.
"""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class TripCurve:
    """One kind of breaker or relay.

    holds_times: k, the multiple of the rated current that it only just carries for good.
    tau_s: its time constant.
    at_once_times: from this multiple on it trips at once; infinite for an overload relay.
    """

    holds_times: float
    tau_s: float
    at_once_times: float

    def trips_after_s(self, times: float, heat: float = 0.0) -> float:
        """How long a steady ``times`` the rated current takes to trip it; 0 at once, infinite for never.

        Args:
            times: current over rated current, 0 or more.
            heat: what it holds already, 0 (cold) to ``holds_times`` squared.
        """
        if times >= self.at_once_times or heat >= self.holds_times**2:
            return 0.0
        if times <= self.holds_times:
            return math.inf
        goal = times * times
        return self.tau_s * math.log((goal - heat) / (goal - self.holds_times**2))

    def heat_after(self, heat: float, times: float, passed_s: float) -> float:
        """Its heat after ``passed_s`` seconds of a steady current."""
        goal = times * times
        return goal + (heat - goal) * math.exp(-passed_s / self.tau_s)


#: Circuit breakers of types B, C and D. Bands of IEC 60898-1, recalled: carries 1.13 for an hour, trips at 1.45 within
#: one; at 2.55 within 1 to 60 s; at once between 3 and 5, 5 and 10, 10 and 20. The middle of each is ours.
BREAKERS = {
    "B": TripCurve(1.3, 60.0, 4.0),
    "C": TripCurve(1.3, 60.0, 7.5),
    "D": TripCurve(1.3, 60.0, 15.0),
}
#: An overload relay of class 10. IEC 60947-4-1, recalled: carries 1.05 times its setting, trips at 1.2 within two
#: hours, and at 7.2 within 4 to 10 s from cold. The middle is ours.
OVERLOAD = TripCurve(1.125, 283.0, math.inf)
#: Ratings that breakers are made for, amperes. IEC 60898-1, recalled.
RATINGS_A = (6.0, 10.0, 13.0, 16.0, 20.0, 25.0, 32.0, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0)


@dataclass(frozen=True, slots=True)
class Breaker:
    """A breaker: its rated current, amperes, above 0, and its type "B", "C" or "D".

    Raises:
        ValueError: there is no such breaker.
    """

    rated_a: float
    kind: str = "C"

    def __post_init__(self) -> None:
        if not 0.0 < self.rated_a < math.inf:
            raise ValueError(f"A breaker is rated above 0 A, not {self.rated_a:g} A.")
        if self.kind not in BREAKERS:
            raise ValueError(f"A breaker is of type B, C or D, not {self.kind}.")

    @property
    def curve(self) -> TripCurve:
        return BREAKERS[self.kind]


def breaker_for(amperes: float, kind: str = "C") -> Breaker:
    """The smallest breaker rated for a current; one of just that rating where none is made so large."""
    return Breaker(next((rating for rating in RATINGS_A if rating >= amperes), max(amperes, RATINGS_A[0])), kind)


class Warming:
    """The heat of one trip element over time.

    Args:
        curve: what it is.
        now_s: the instant from which on it is watched; it is cold and without current.
    """

    def __init__(self, curve: TripCurve, now_s: float) -> None:
        self.curve = curve
        self.heat = 0.0
        self.times = 0.0
        self.hottest = 0.0
        self._at_s = now_s

    def carry(self, now_s: float, times: float) -> float:
        """From now on it carries ``times`` its rated current; returns after how many seconds that trips it."""
        self.settle(now_s)
        self.times = times
        return self.curve.trips_after_s(times, self.heat)

    def settle(self, now_s: float) -> None:
        """Work out its heat now."""
        if now_s > self._at_s:
            self.heat = self.curve.heat_after(self.heat, self.times, now_s - self._at_s)
            self._at_s = now_s
            self.hottest = max(self.hottest, self.heat / self.curve.holds_times**2)
