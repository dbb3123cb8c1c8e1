"""How slowly a fan on a drive may turn: for sets of running tools and open gates the lowest speed that is enough.

Theory of operation. By the fan laws a fan at the share n of its speed moves n times the air at n squared of pressure
and takes n cubed of power. Friction and a filter's cloth do not quite follow them, so every speed that is given out
here was solved with the fan's curve at that very speed. A speed is enough when

- every running tool gets all of its need,
- in every duct with chips, and in the whole way of every open gate to the collector, the air keeps transport velocity,
- and it is not below the least speed of the drive.

The last two are floors: there is a speed of its own for them in each row, and the drive's driver holds it, whatever is
asked. So that they hold in the shop and not on paper only, the air is solved for a filter that is overdue for cleaning,
and for the weak end of a fan that is an estimate. Where even full speed is not enough, the row says full speed.

The table is made once, before the core lives, and its work is bounded by a count, as that of ``air_table``. A state
without a row runs at full speed. Speeds are whole per cent of full speed.
"""

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from enum import Enum

from gatekeeper.airflow.network import Collector
from gatekeeper.airflow.solve import Prepared
from gatekeeper.airflow.study import motor_power_w
from gatekeeper.airflow.tools import Tools
from gatekeeper.service.air_systems import AirSystem, duct_of
from gatekeeper.service.air_table import ComputedAir, Work
from gatekeeper.shop.model import Drive, Shop

#: Ducts times solves for one shop's table of speeds; about 0.4 s on an ordinary PC when all of it is spent.
MOST_WORK = 200_000
FULL = 100
#: An overdue filter has this many times the loss of a clean one, as in ``airflow.losses``.
OVERDUE_TIMES = 3.0
#: A clean filter of which the file says nothing takes this much where every gate is open. Our own.
USUAL_CLEAN_PA = 150.0

State = tuple[frozenset[str], frozenset[str]]


class Binds(Enum):
    """What keeps a speed from being lower."""

    NEED = "need"
    VELOCITY = "velocity"
    LEAST = "least"
    NOT_ENOUGH = "not enough"


@dataclass(frozen=True, slots=True)
class SpeedRow:
    """The lowest speed for one state, in whole per cent of full speed.

    Args:
        percent: at which everything is enough; 100 also where full speed is not.
        floor: below which chips would settle or the drive may not go; at most ``percent``.
        binds: what keeps ``percent`` from being lower.
        subject: the tool whose need, or the shop's duct whose velocity binds; None for the drive's least speed.
        flow_m3s: what passes the fan at ``percent``, with an overdue filter.
        slowest: the shop's duct with the slowest air there, and slowest_ms its velocity.
        main_ms: the slowest air in a length of main there; None where no main is on the way.
    """

    percent: int
    floor: int
    binds: Binds
    subject: str | None
    flow_m3s: float
    slowest: str
    slowest_ms: float
    main_ms: float | None


@dataclass(frozen=True, slots=True)
class SpeedTable:
    """One motor's rows by running tools and open gates. ``is_whole``: every state that is looked for was reached."""

    motor: str
    least: int
    rows: Mapping[State, SpeedRow]
    is_whole: bool = True

    def row(self, running: frozenset[str], open_gates: frozenset[str]) -> SpeedRow | None:
        """What is enough for one state; None where it was not computed."""
        return self.rows.get((running, open_gates))


def least_percent(drive: Drive) -> int:
    """The least speed of a drive that follows the air, in whole per cent of its full speed, rounded up."""
    assert drive.full_speed_hz is not None
    assert drive.least_speed_hz is not None
    return min(FULL, math.ceil(drive.least_speed_hz / drive.full_speed_hz * 100.0 - 1e-9))


def speed_tables(shop: Shop, air: ComputedAir, work: Work | None = None) -> dict[str, SpeedTable]:
    """The tables of all motors whose drive follows the air, by motor. ``work``: what may be spent for all of them."""
    work = work if work is not None else Work(MOST_WORK)
    return {
        name: speed_table(system, drive, air, work)
        for name, system in air.systems.items()
        if (drive := shop.drives.get(system.motor.switch.drive or "")) is not None and drive.follows_air
    }


def speed_table(system: AirSystem, drive: Drive, air: ComputedAir, work: Work) -> SpeedTable:
    """One motor's table."""
    search = SpeedSearch(system, least_percent(drive), work)
    rows: dict[State, SpeedRow] = {}
    is_whole = air.is_whole
    for state in _states(system, air):
        if state in rows:
            continue
        if work.left <= 0:
            is_whole = False
            break
        rows[state] = search.row(*state)
    return SpeedTable(system.motor.name, search.least, rows, is_whole)


def _states(system: AirSystem, air: ComputedAir) -> Iterator[State]:
    """What may stand open while what runs, the usual first: a table that is cut short lacks the rare ones.

    First every set of tools with the gates that the controller opens for it; then a fan that runs on with nothing
    running; then each set with one gate more, that is still open from before, parked as a path or opened by hand.
    """
    sets = [
        (running, frozenset(reading.open_gates), frozenset(system.tools.gates_of(running)))
        for (motor, running), reading in air.readings.items()
        if motor == system.motor.name
    ]
    for running, opened, own in sets:
        yield running, opened
        yield running, own
    nothing: frozenset[str] = frozenset()
    for gate in system.gates:
        yield nothing, frozenset({gate})
    for _, opened, own in sets:
        yield nothing, opened
        yield nothing, own
    for running, opened, own in sets:
        for gate in system.gates:
            yield running, opened | {gate}
            yield running, own | {gate}


@dataclass(frozen=True, slots=True)
class _Air:
    """The air at one speed: how much more than enough there is, as ratios, and for whom it is least."""

    need_ratio: float
    tool: str | None
    velocity_ratio: float
    duct: str
    main_ms: float | None
    flow_m3s: float

    @property
    def is_enough(self) -> bool:
        return self.need_ratio >= 1.0 and self.velocity_ratio >= 1.0


class SpeedSearch:
    """Finds rows for one system. One thread owns it.

    Args:
        system: its ducts and tools.
        least: the drive's least speed, whole per cent of full speed, 1 to 100.
        work: what may be spent; a row that is begun is finished.
    """

    def __init__(self, system: AirSystem, least: int, work: Work) -> None:
        self._system, self.least, self._work = system, least, work
        prepared = system.prepared
        fan = prepared.network.fan
        self._fan = fan.band()[0] if fan.is_estimate else fan
        self._collector = self._overdue(prepared)
        self._at: dict[int, Tools] = {}

    def row(self, running: frozenset[str], open_gates: frozenset[str]) -> SpeedRow:
        """The lowest speed for one state; every gate of a running tool is among the open ones, and one gate is open."""
        tools = self._system.tools
        order = tuple(tool for tool in tools.draws if tool in running)
        gates = tuple(gate for gate in self._system.gates if gate in open_gates)
        dusty = {place for tool in order for place in tools.chips_of(tool)}
        dusty |= {place for gate in gates for place in tools.branch_of(gate)}
        known: dict[int, _Air] = {}

        def at(percent: int) -> _Air:
            if percent not in known:
                known[percent] = self._air(percent, order, gates, sorted(dusty))
            return known[percent]

        full = at(FULL)
        if not full.is_enough:
            is_need = full.need_ratio < 1.0
            subject = full.tool if is_need else duct_of(full.duct)
            return self._row(FULL, FULL, Binds.NOT_ENOUGH, subject, full)
        percent = self._lowest(lambda value: at(value).is_enough, min(full.need_ratio, full.velocity_ratio))
        floor = self._lowest(lambda value: at(value).velocity_ratio >= 1.0, full.velocity_ratio)
        here = at(percent)
        if percent <= self.least:
            return self._row(percent, percent, Binds.LEAST, None, here)
        below = at(percent - 1)
        if below.need_ratio < 1.0:
            return self._row(percent, min(floor, percent), Binds.NEED, below.tool, here)
        return self._row(percent, min(floor, percent), Binds.VELOCITY, duct_of(below.duct), here)

    def _lowest(self, is_enough: Callable[[int], bool], ratio: float) -> int:
        """The lowest speed from the least on that is enough and has no gap above it that the search saw.

        By the laws it lies near the full speed over the least ratio there; it is looked for from there.
        """
        percent = min(FULL, max(self.least, math.ceil(100.0 / ratio)))
        while percent < FULL and not is_enough(percent):
            percent += 1
        while percent > self.least and is_enough(percent - 1):
            percent -= 1
        return percent

    def _air(self, percent: int, order: tuple[str, ...], gates: tuple[str, ...], dusty: list[int]) -> _Air:
        self._work.spend(self._system)
        tools = self._tools_at(percent)
        reading = tools.read(order, gates)
        flows, ducts = reading.solution.flows_m3s, tools.network.ducts
        need, tool = min(((share, name) for name, share in reading.share.items()), default=(math.inf, None))
        speeds = {place: flows[place] / ducts[place].section_m2 for place in dusty}
        slowest = min(speeds, key=speeds.__getitem__)
        main_ms = min((speed for place, speed in speeds.items() if place in tools.mains), default=None)
        ratio = speeds[slowest] / tools.transport_ms
        return _Air(need, tool, ratio, ducts[slowest].name, main_ms, reading.solution.flow_m3s)

    def _tools_at(self, percent: int) -> Tools:
        found = self._at.get(percent)
        if found is None:
            fan = self._fan.scaled(percent / 100.0)
            prepared = self._system.prepared.with_fan(fan, self._collector)
            found = self._at[percent] = self._system.tools.with_prepared(prepared)
        return found

    def _overdue(self, prepared: Prepared) -> Collector:
        """The collector with a filter that is overdue for cleaning."""
        clean = prepared.network.collector
        line = clean.line_pa_s_m3
        if line <= 0.0:
            line = USUAL_CLEAN_PA / max(prepared.solve(tuple(self._system.gates)).flow_m3s, 1e-6)
        return Collector(clean.inlet_node, OVERDUE_TIMES * line, clean.square_pa_s2_m6)

    def _row(self, percent: int, floor: int, binds: Binds, subject: str | None, air: _Air) -> SpeedRow:
        speed = air.velocity_ratio * self._system.tools.transport_ms
        return SpeedRow(percent, floor, binds, subject, air.flow_m3s, duct_of(air.duct), speed, air.main_ms)


def saved_w(system: AirSystem, open_gates: frozenset[str], percent: int) -> float:
    """What a fan's motor takes less at a speed than at full speed with the same gates open, W: an estimate.

    By the fan laws from the motor's estimated power over flow (``motor_power_w``), with a clean filter; what drive and
    motor lose is left out.
    """
    network, share = system.prepared.network, percent / 100.0
    gates = tuple(gate for gate in system.gates if gate in open_gates)
    full_m3s = system.prepared.solve(gates).flow_m3s
    slow_m3s = system.prepared.with_fan(network.fan.scaled(share)).solve(gates).flow_m3s
    plate_w = system.motor.power_w
    slow_w = share**3 * motor_power_w(network.fan, plate_w, slow_m3s / share)
    return motor_power_w(network.fan, plate_w, full_m3s) - slow_w
