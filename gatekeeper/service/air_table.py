"""The table of C17: from the tools that run to the gates that the air wants, and to who is short; and clear times.

Theory of operation. It is made once, before the core starts, and never on the control path. For every single tool, pair
and triple of each system, in this order, the air is solved with the tools' own gates open. Where a length of main with
chips in it is slower than they need, further gates are tried one after the other: each time the one is taken that
leaves the fewest slow lengths and the fastest slowest one, as long as no tool and no drop loses what it had. Of these
steps the shortest is kept that has the fewest slow lengths; where none is won, no gate is opened. A set whose own gates
are too small for the fan gets the gate that keeps its path by the same measure.

The work is bounded by a count and not by a clock, so that the laptop and the board make the very same table. For a set
that was not reached there is no row: the core then opens the tools' own gates and keeps its path (C1 to C3).
"""

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from gatekeeper.airflow.tools import ENOUGH, Reading, Tools
from gatekeeper.control.plan import AirAnswer, AirTable
from gatekeeper.service.air_systems import AirSystem, air_systems
from gatekeeper.shop.build import CHIPS_OVER_AIR, CLEAR_MARGIN_S
from gatekeeper.shop.model import Shop

#: Ducts times solves for one shop's table; about 0.3 s on an ordinary PC when all of it is spent.
MOST_WORK = 200_000
#: Tools in the largest set.
MOST_TOOLS = 3
#: Extra gates for one set.
MOST_EXTRAS = 3
#: A tool that is short already may lose this share of its air to an extra gate, not more. Our own.
_LOSS = 0.02
#: The longest clear time that is believed, as in the shop's file.
_LONGEST_CLEAR_S = 120.0
#: Stands in for air that does not move at all.
_STILL_MS = 1e-3

Key = tuple[str, frozenset[str]]


@dataclass(slots=True)
class Work:
    """What may still be spent on a table, in ducts times solves."""

    left: int = MOST_WORK

    def spend(self, system: AirSystem) -> None:
        self.left -= len(system.tools.network.ducts)


@dataclass(frozen=True, slots=True)
class ComputedAir:
    """The air of a whole shop, as the core, the page and the study use it.

    ``readings``: for every row of ``table`` what the air does with the row's extra gates open. ``clear_s``: by gate,
    how long its branch needs to empty at the slowest air that the table has for it. ``is_whole``: no set was left out.
    """

    systems: Mapping[str, AirSystem]
    table: AirTable
    readings: Mapping[Key, Reading]
    clear_s: Mapping[str, float]
    is_whole: bool = True


def air_table(shop: Shop) -> AirTable:
    """Only the table, for a shop whose ducts can be solved. Raises ValueError where they cannot."""
    return computed_air(air_systems(shop)).table


def computed_air(systems: Mapping[str, AirSystem], work: Work | None = None) -> ComputedAir:
    """The table of all systems, with what belongs to it. ``work``: what may be spent, ``MOST_WORK`` if not given."""
    work = work if work is not None else Work()
    readings: dict[Key, Reading] = {}
    table: dict[Key, AirAnswer] = {}
    is_whole = True
    for system, running in _sets(systems):
        if work.left <= 0:
            is_whole = False
            break
        reading = best_reading(system, running, work)
        key = system.motor.name, frozenset(running)
        readings[key] = reading
        table[key] = AirAnswer(reading.extra, reading.short)
    return ComputedAir(systems, table, readings, _clear_times(systems, readings), is_whole)


def best_reading(system: AirSystem, running: tuple[str, ...], work: Work | None = None) -> Reading:
    """What the air does while these tools run, with the extra gates that the table opens for them."""
    work = work if work is not None else Work()
    base = system.read(running, system.tools.gates_of(running))
    work.spend(system)
    steps = [base]
    while len(steps) <= MOST_EXTRAS:
        last = steps[-1]
        has_path = system.path_is_enough(last.open_gates)
        if has_path and not last.slow_mains:
            break
        tried = list(_tried(system, last, base if has_path else None, work))
        if not tried:
            break
        steps.append(min(tried, key=_by_merit))
    able = [step for step in steps if system.path_is_enough(step.open_gates)]
    # Of equals the first is kept: the fewest gates.
    return min(able or [base], key=lambda step: len(step.slow_mains))


def _sets(systems: Mapping[str, AirSystem]) -> Iterator[tuple[AirSystem, tuple[str, ...]]]:
    for size in range(1, MOST_TOOLS + 1):
        for system in systems.values():
            for running in itertools.combinations(system.tools.draws, size):
                yield system, running


def _tried(system: AirSystem, last: Reading, base: Reading | None, work: Work) -> Iterator[Reading]:
    """One more gate, each in turn. ``base``: what no tool and no drop may lose; None where the path is wanted first."""
    places = system.tools.network.duct_places
    slow = {places[duct] for duct in last.slow_mains}
    for gate in system.extras:
        if gate in last.open_gates or (base is not None and not slow.intersection(system.tools.ways_of(gate))):
            continue
        reading = system.read(last.running, (*last.open_gates, gate))
        work.spend(system)
        if base is None or _takes_nothing(base, reading):
            yield reading


def _takes_nothing(base: Reading, reading: Reading) -> bool:
    """Whether a reading leaves every tool and every drop what it had: enough, or nearly all of the little."""
    if not set(reading.slow_drops) <= set(base.slow_drops):
        return False
    if not set(reading.slow_mains) <= set(base.slow_mains):
        return False
    return all(
        share >= ENOUGH if base.share[tool] >= ENOUGH else share >= base.share[tool] * (1.0 - _LOSS)
        for tool, share in reading.share.items()
    )


def _by_merit(reading: Reading) -> tuple[int, float]:
    slowest = min((reading.velocity_ms[duct] for duct in reading.slow_mains), default=0.0)
    return len(reading.slow_mains), -slowest


def _clear_times(systems: Mapping[str, AirSystem], readings: Mapping[Key, Reading]) -> dict[str, float]:
    """By gate, the longest time that chips take from its hood to the collector, over all rows in which its tool runs.

    Both with the row's extra gates open and without: these shut once the tool has stopped. Chips move at half the air's
    velocity, plus one second: assumptions of our own, as for ducts that are not solved.
    """
    clear: dict[str, float] = {}
    for (motor, _), reading in readings.items():
        tools = systems[motor].tools
        without = [tools.read(reading.running, tools.gates_of(reading.running))] if reading.extra else []
        for here in (reading, *without):
            for tool in here.running:
                for gate in tools.draws[tool].gates:
                    clear[gate] = max(clear.get(gate, 0.0), _clear_s(tools, here, tool, gate))
    return clear


def _clear_s(tools: Tools, reading: Reading, tool: str, gate: str) -> float:
    way = {*tools.ways_of(gate), *(place for place in tools.chips_of(tool) if place not in tools.mains)}
    ducts = [tools.network.ducts[place] for place in way]
    travel_s = sum(duct.length_m / (CHIPS_OVER_AIR * max(reading.velocity_ms[duct.name], _STILL_MS)) for duct in ducts)
    return min(travel_s + CLEAR_MARGIN_S, _LONGEST_CLEAR_S)
