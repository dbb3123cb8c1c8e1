"""When the core wants to be called: the instants at which something happens by itself.

There are two kinds. At a *change* the shop may have to do something else than before, and the whole policy is asked.
Between two changes nothing happens by itself; there is only *upkeep*: leases are renewed (C23) and the beat is kept.
"""

from math import inf

from gatekeeper.control.policy import may_not_start
from gatekeeper.control.units import Gate, Motor, Tool
from gatekeeper.control.watch import NO_AIR_AFTER_S, short_from, short_tools
from gatekeeper.control.world import World

#: An upkeep that should have come already comes this much later, so that time goes on.
SOON_S = 1e-6


def next_change(world: World, now_s: float) -> float:
    """The first instant after now at which something may change by itself; infinite where nothing will."""
    ahead: set[float | None] = {world.settle_until}
    ahead.update(*map(Gate.instants, world.gates.values()))
    ahead.update(*map(Tool.instants, world.tools.values()))
    ahead.update(*map(Motor.instants, world.motors.values()))
    for motor in world.motors.values():
        if motor.on:
            ahead.add(world.earliest_stop(motor, now_s))
            if motor.is_shaker:
                ahead.add(motor.store.whole_start_at())  # from then on it may yield to its collector
        elif world.cause_stands(motor, now_s):
            hindrance = may_not_start(world, motor, now_s, set(), set())
            ahead.add(hindrance.until_s if hindrance else None)
            ahead.update(world.due(tool, motor) for tool in world.tools_of[motor.name])
        if world.plan.air and short_tools(world, motor):
            ahead.add(short_from(world, motor))
        if motor.wait_from is not None:
            ahead.add(motor.wait_from + NO_AIR_AFTER_S)
        if motor.flush and motor.flush_from is not None:
            ahead.add(motor.flush_from + world.gates[motor.flush[0]].plan.clear_s)
    return min((instant for instant in ahead if instant is not None and instant > now_s), default=inf)


def next_upkeep(world: World, now_s: float) -> float:
    """The first instant after now at which a lease is to be renewed or the beat kept; infinite while nothing runs."""
    first = inf
    for motor in world.motors.values():
        if motor.on:
            first = min(first, motor.renew_from(), inf if motor.beat_at is None else motor.beat_at)
    return first if first > now_s else now_s + SOON_S


def is_upkeep(world: World, change_s: float, now_s: float) -> bool:
    """True before the next change, where no lease has run out either: nothing but upkeep can be due."""
    return now_s < change_s and not any(motor.lease_is_over(now_s) for motor in world.motors.values())
