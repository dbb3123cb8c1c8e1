"""Feeders with their breakers, and the overload relays of the motors: what has current, and what trips by itself.

A start draws the RMS of its inrush over the run-up, as one step, and its running current after that. Everything on a
feeder adds up in phase. A motor's overload relay is set to its running current. Three phases are taken as one.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from gatekeeper.shop.model import Shop
from sim.breakers import OVERLOAD, Breaker, Warming, breaker_for
from sim.currents import INDUCTION_AGE_S, INDUCTION_TIMES, UNIVERSAL_TAU_S, Load, LoadKind
from sim.faults import known
from sim.senses import Later

#: A feeder's breaker carries this many times the running currents of all that hangs on it. Our own: no shop file gives
#: a rating, and a shop whose breakers trip on an ordinary day has been rewired.
MARGIN = 1.0
#: A motor that runs loaded takes this share of the current its overload relay is set to. Our own.
LOADED_TIMES = 0.85


@dataclass(slots=True)
class _Feeder:
    breaker: Breaker
    warming: Warming
    draws: dict[str, float] = field(default_factory=dict)
    turn: int = 0
    is_tripped: bool = False
    is_forced: bool = False


def inrush_times(load: Load) -> float:
    """RMS over the run-up of a start, in times the running current."""
    if load.kind is LoadKind.INDUCTION:
        share = (load.start_times - 1.0) / (INDUCTION_TIMES[0] - 1.0)
        times = [1.0 + (value - 1.0) * share for value in INDUCTION_TIMES]
        square = sum(
            (late - early) * (a * a + a * b + b * b) / 3.0
            for early, late, a, b in zip(INDUCTION_AGE_S, INDUCTION_AGE_S[1:], times, times[1:], strict=False)
        )
        return math.sqrt(square / INDUCTION_AGE_S[-1])
    if load.kind is LoadKind.UNIVERSAL:
        extra, ends = load.start_times - 1.0, load.run_up_s / UNIVERSAL_TAU_S
        return math.sqrt(1.0 + (2.0 * extra + extra * extra / 2.0) / ends)
    return 1.0


class Electricity:
    """The current of one shop.

    Args:
        shop: the shop.
        tool_loads, motor_loads: what its machines and motors draw.
        now: the instant of the play.
        later: runs something after so many seconds.
        feeds: called when what has power may have changed.
        tripped: called with the feeder or motor whose breaker or overload relay has tripped.
        breakers: by feeder; one that is left out gets the breaker that its machines want.

    Raises:
        ValueError: a breaker for a feeder that is not there.
    """

    def __init__(
        self,
        shop: Shop,
        tool_loads: Mapping[str, Load],
        motor_loads: Mapping[str, Load],
        now: Callable[[], float],
        later: Later,
        feeds: Callable[[], None],
        tripped: Callable[[str], None] = lambda name: None,
        breakers: Mapping[str, Breaker] | None = None,
    ) -> None:
        self._now, self._later = now, later
        self._feeds, self._tripped = feeds, tripped
        self._loads = {**tool_loads, **motor_loads}
        self._feeder_of = {name: tool.feeder for name, tool in shop.tools.items()}
        self._feeder_of |= {name: motor.feeder for name, motor in shop.motors.items()}
        self._inrush = {name: inrush_times(load) for name, load in self._loads.items()}
        self.is_live = True
        now_s = now()
        self._feeders: dict[str, _Feeder] = {}
        for name in shop.feeders:
            breaker = (breakers or {}).get(name) or self._fitting(name)
            self._feeders[name] = _Feeder(breaker, Warming(breaker.curve, now_s))
        for name in breakers or {}:
            known("feeder", name, self._feeders)
        self._overloads = {name: Warming(OVERLOAD, now_s) for name in shop.motors}
        self._overload_out: set[str] = set()
        self._overload_forced: set[str] = set()
        self._turns = dict.fromkeys(self._loads, 0)

    def breaker(self, feeder: str) -> Breaker:
        """The breaker of a feeder."""
        return self._feeders[known("feeder", feeder, self._feeders)].breaker

    def hottest(self, motor: str) -> float:
        """The most heat of a motor's overload relay until now, in shares of what trips it."""
        self._overloads[motor].settle(self._now())
        return self._overloads[motor].hottest

    # ---------------------------------------------------------------- who has power

    def feeds_tool(self, name: str) -> bool:
        """A tool's feeder has power."""
        feeder = self._feeders[self._feeder_of[name]]
        return self.is_live and not (feeder.is_tripped or feeder.is_forced)

    def feeds_motor(self, name: str) -> bool:
        """A motor's feeder has power, and its overload relay is in."""
        return self.feeds_tool(name) and name not in self._overload_out and name not in self._overload_forced

    def mains(self, is_live: bool) -> None:
        """The whole shop loses its power, or has it again."""
        self.is_live = is_live
        self._feeds()

    def trip_feeder(self, name: str, out: bool) -> None:
        """Somebody, or a fault, puts a feeder's breaker out, or in again."""
        feeder = self._feeders[known("feeder", name, self._feeders)]
        feeder.is_forced = out
        if not out:
            feeder.is_tripped = False
        self._feeds()

    def trip_motor(self, name: str, out: bool) -> None:
        """A fault puts a motor's overload relay out, or somebody in again."""
        (self._overload_forced.add if out else self._overload_forced.discard)(name)
        if not out:
            self._overload_out.discard(name)
        self._feeds()

    # ---------------------------------------------------------------- who draws

    def tool(self, name: str, runs: bool) -> None:
        """A tool has started or stopped to draw."""
        self._draw(name, runs, None)

    def motor(self, name: str, runs: bool) -> None:
        """A motor has started or stopped to draw."""
        self._draw(name, runs, self._overloads[name])

    def _draw(self, name: str, runs: bool, overload: Warming | None) -> None:
        load = self._loads[name]
        self._turns[name] += 1
        turn = self._turns[name]
        if not runs:
            self._carry(name, 0.0, overload)
            return
        times = self._inrush[name]
        self._carry(name, times * load.running_a, overload)
        if times > 1.0:

            def runs_up() -> None:
                if self._turns[name] == turn:
                    self._carry(name, load.running_a, overload)

            self._later(load.run_up_s, runs_up)

    def _carry(self, name: str, amperes: float, overload: Warming | None) -> None:
        now_s = self._now()
        feeder_name = self._feeder_of[name]
        feeder = self._feeders[feeder_name]
        if amperes:
            feeder.draws[name] = amperes
        else:
            feeder.draws.pop(name, None)
        feeder.turn += 1
        turn = feeder.turn
        after_s = feeder.warming.carry(now_s, sum(feeder.draws.values()) / feeder.breaker.rated_a)
        if after_s < math.inf:

            def trips() -> None:
                if feeder.turn == turn:
                    feeder.is_tripped = True
                    self._tripped(feeder_name)
                    self._feeds()

            self._later(after_s, trips)
        if overload is not None:
            self._carry_overload(name, amperes, overload)

    def _carry_overload(self, name: str, amperes: float, overload: Warming) -> None:
        turn = self._turns[name]
        after_s = overload.carry(self._now(), LOADED_TIMES * amperes / self._loads[name].running_a)
        if after_s < math.inf:

            def trips() -> None:
                if self._turns[name] == turn and overload.times > OVERLOAD.holds_times:
                    self._overload_out.add(name)
                    self._tripped(name)
                    self._feeds()

            self._later(after_s, trips)

    def _fitting(self, feeder: str) -> Breaker:
        return breaker_for(
            MARGIN * sum(self._loads[name].running_a for name, on in self._feeder_of.items() if on == feeder)
        )
