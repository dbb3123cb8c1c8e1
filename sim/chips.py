"""Chips: how many a tool throws, which of them a hood takes, and where they lie or fly in the ducts.

Theory of operation. Of what a tool throws, the share ``flow / need`` is drawn into its hood, at most all of it. In a
duct chips fly at half of the air's velocity (as the clear times have it). At transport velocity or more none settles;
at half of it or less all do; between, the share goes in a straight line. What has settled flies again once the duct is
at transport velocity. Every duct holds two heaps, flying and settled; the flying one is spread evenly along it. So mass
is kept exactly, and a duct at a steady velocity empties in just length over chip velocity; where something changes on
the way, what is left then is spread anew, and the last of it takes up to one such time longer.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from gatekeeper.airflow.needs import TRANSPORT_MS
from gatekeeper.shop.build import CHIPS_OVER_AIR
from gatekeeper.shop.model import Tool

#: Words of a machine's name, and the chips it throws while it runs, kilograms an hour. Our own, of the order of what
#: one person feeds: a thicknesser at 4 m/min taking 1.5 mm off 200 mm of hardwood throws 50 kg in an hour of feeding.
BY_NAME_KG_H: tuple[tuple[str, float], ...] = (
    ("thicknesser", 40.0),
    ("planer", 40.0),
    ("moulder", 20.0),
    ("jointer", 20.0),
    ("router", 8.0),
    ("lathe", 5.0),
    ("mitre", 3.0),
    ("cross-cut", 3.0),
    ("bandsaw", 2.0),
    ("scroll", 0.3),
    ("drill", 1.0),
    ("sander", 1.5),
    ("saw", 6.0),
)
USUAL_KG_H = 3.0
#: At this velocity and below everything settles. Our own.
SETTLES_ALL_MS = TRANSPORT_MS / 2
#: Of what reaches the collector, this share is too fine for its separator and lands on the filter. Our own.
TO_FILTER = 0.02
#: A full bin lets this much more of it pass on to the filter. Our own.
TO_FILTER_WHEN_FULL = 0.5
#: A filter is full with this much dust for each watt of its motor, kilograms. Our own.
FILTER_HOLDS_KG_PER_W = 0.0008
#: A bin holds this many kilograms for each watt of its motor: 100 litres at 130 kg/m3 for 1.5 kW. Our own.
BIN_HOLDS_KG_PER_W = 0.009
#: Of the dust on a filter, this share is left after a shaker has done its time. Our own.
LEFT_BY_SHAKER = 0.2


def chips_kg_s(tool: Tool) -> float:
    """What a tool throws while it runs, kilograms a second; from its name."""
    name = tool.name.lower()
    return next((rate for word, rate in BY_NAME_KG_H if word in name), USUAL_KG_H) / 3600.0


def settling_share(velocity_ms: float) -> float:
    """Which share of flying chips settles at a velocity, 0 to 1."""
    return min(1.0, max(0.0, (TRANSPORT_MS - velocity_ms) / (TRANSPORT_MS - SETTLES_ALL_MS)))


@dataclass(frozen=True, slots=True)
class Carriage:
    """How the ducts of a system carry chips: lengths and onward ducts by place, and the order from hoods to collector.

    ``onward``: -1 for the collector.
    """

    lengths_m: Sequence[float]
    onward: Sequence[int]
    order: Sequence[int]


_NONE = (0.0, 0.0, 1.0)


class DuctChips:
    """The chips in the ducts of one system.

    Args:
        carriage: the ducts.
    """

    def __init__(self, carriage: Carriage) -> None:
        self._carriage = carriage
        count = len(carriage.lengths_m)
        self.flying_kg = [0.0] * count
        self.settled_kg = [0.0] * count
        self._share = [1.0] * count
        self._is_empty = True

    @property
    def in_ducts_kg(self) -> float:
        """Everything that lies or flies there."""
        return sum(self.flying_kg) + sum(self.settled_kg)

    @property
    def by_place_kg(self) -> list[float]:
        """What lies or flies in each duct."""
        return [flying + settled for flying, settled in zip(self.flying_kg, self.settled_kg, strict=True)]

    def pass_time(
        self,
        passed_s: float,
        velocity_ms: Sequence[float],
        begins: float,
        ends: float,
        entering_kg: Mapping[int, float],
    ) -> float:
        """Let time pass with a fan whose speed goes in a straight line; returns what reached the collector, kg.

        Args:
            passed_s: how long, 0 or more.
            velocity_ms: of each duct at the fan's full speed.
            begins, ends: the fan's speed at the beginning and at the end, 0 to 1.
            entering_kg: what enters each duct from outside in that time, evenly.
        """
        if self._is_empty and not entering_kg:
            return 0.0
        flying, settled, share = self.flying_kg, self.settled_kg, self._share
        lengths, onward = self._carriage.lengths_m, self._carriage.onward
        most = max(begins, ends)
        #: What flies into each duct, and from which share of the time until which.
        arriving: dict[int, tuple[float, float, float]] = {}
        arrived_kg = 0.0
        is_empty = True
        for place in self._carriage.order:
            comes_kg, since, until = arriving.pop(place, _NONE)
            enters_kg = entering_kg.get(place, 0.0)
            if enters_kg:
                comes_kg, since, until = comes_kg + enters_kg, 0.0, 1.0
            stock_kg = flying[place]
            if not (comes_kg or stock_kg or settled[place]):
                continue
            full_ms = velocity_ms[place]
            if settled[place] and most * full_ms >= TRANSPORT_MS:
                stock_kg, settled[place] = stock_kg + settled[place], 0.0
            elif stock_kg:
                falls_kg = stock_kg * _further(share[place], settling_share(begins * full_ms))
                stock_kg, settled[place] = stock_kg - falls_kg, settled[place] + falls_kg
            here = settling_share(most * full_ms)
            comes_kg, settled[place] = comes_kg * (1.0 - here), settled[place] + comes_kg * here
            way = 0.0
            if full_ms > 0.0:
                way = CHIPS_OVER_AIR * full_ms * passed_s * _moving_speed(begins, ends, SETTLES_ALL_MS / full_ms)
            stock_goes = new_goes = first = 0.0
            if way > 0.0:
                first = lengths[place] / way  # which share of the time one chip takes through this duct
                stock_goes = stock_kg if first <= 1.0 else stock_kg / first
                if comes_kg:
                    new_goes = comes_kg * min(1.0, max(0.0, 1.0 - first - since) / (until - since))
            left_kg = stock_kg - stock_goes + comes_kg - new_goes
            share[place] = settling_share(ends * full_ms)
            falls_kg = left_kg * _further(here, share[place])
            settled[place] += falls_kg
            flying[place] = left_kg - falls_kg
            if left_kg > 0.0 or settled[place] > 0.0:
                is_empty = False
            goes_kg = stock_goes + new_goes
            if goes_kg > 0.0:
                after = onward[place]
                if after < 0:
                    arrived_kg += goes_kg
                else:
                    goes_since = 0.0 if stock_goes else since + first
                    goes_until = min(1.0, until + first) if new_goes else min(1.0, first)
                    before_kg, before_since, before_until = arriving.get(after, (0.0, 1.0, 0.0))
                    arriving[after] = (
                        before_kg + goes_kg,
                        min(before_since, goes_since),
                        max(before_until, goes_until),
                    )
        self._is_empty = is_empty
        return arrived_kg


def _further(before: float, after: float) -> float:
    """Which share of what still flies settles when the settling share goes from ``before`` to ``after``."""
    return (after - before) / (1.0 - before) if after > before else 0.0


def _moving_speed(begins: float, ends: float, least: float) -> float:
    """Mean of a fan's speed over a stretch, taking it as 0 wherever it is below ``least``."""
    if begins == ends:
        return begins if begins >= least else 0.0
    low, high = min(begins, ends), max(begins, ends)
    if high < least:
        return 0.0
    low_moving = max(low, least)
    share = (high - low_moving) / (high - low)
    return share * (high + low_moving) / 2.0
