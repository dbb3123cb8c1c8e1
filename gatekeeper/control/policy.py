"""What should happen now: one list of commands from all that is believed, in the order of yielding.

``decide`` looks at the whole shop each time and proposes; it remembers nothing of its own, so no order of events can
leave it in a corner. Offs and halts come first, then moves, then motors on, then renewals.
"""

from typing import NamedTuple

from gatekeeper.control.messages import MoveGate, SwitchMotor
from gatekeeper.control.moves import Proposal, SystemWishes, ration, wishes
from gatekeeper.control.tables import MotorState
from gatekeeper.control.units import Gate, Motor
from gatekeeper.control.world import AIR_SPIN_UP_S, World

#: A lost path stops the fan one worst travel and this much later (C3).
PATH_LOST_EXTRA_S = 2.0
#: How long after a gate has shut its air proof may still fall silent; below the 2 s of C3a. Our own.
AIR_SPEAKS_S = 1.0
#: Pause between a release and the first motion (C26).
RELEASE_PAUSE_S = 3.0
#: How much longer than its travel a gate with a switch may take before it has missed, as a share and at least.
LATE_SHARE = 0.25
LATE_LEAST_S = 0.5
#: A filter shaker starts within this time after its collector has run out, or not at all (C21).
SHAKE_WITHIN_S = 60.0
#: A lease is at its half this much before it, as instants are sums of floats.
LEASE_TOLERANCE_S = 1e-9
#: A short move towards shut, at most this long (C10).
SHAKE_S = 1.0


class Hindrance(NamedTuple):
    """Why a motor that has a cause is not switched on, and the first instant at which it might be."""

    rule: str
    why: str
    until_s: float | None = None


def decide(world: World, now_s: float) -> tuple[list[Proposal], dict[str, SystemWishes]]:
    """The whole list for this step."""
    proposals = _offs(world, now_s)
    offed = {proposal.command.motor for proposal in proposals if isinstance(proposal.command, SwitchMotor)}
    for name, (rule, why) in world.halts.items():
        proposals.append(Proposal(MoveGate(name, "halt"), rule, why))
    plans: dict[str, SystemWishes] = {}
    for motor in world.motors.values():
        if motor.has_duct and not world.settling and world.blocked(motor) is None:
            plans[motor.name] = wishes(world, motor, now_s)
    moves = ration(world, plans, now_s)
    proposals += moves
    shut = {move.command.gate for move in moves if isinstance(move.command, MoveGate) and move.command.what != "open"}
    feeders: set[str] = set()
    for motor in world.motors.values():
        if motor.on:
            if motor.name not in offed and (again := renewal(motor, now_s)):
                proposals.append(again)
            continue
        if motor.name in offed or not world.cause_stands(motor, now_s):
            motor.wait_why = motor.wait_from = None
            continue
        hindrance = may_not_start(world, motor, now_s, shut, feeders)
        if hindrance is None:
            if motor.plan.feeder is not None:
                feeders.add(motor.plan.feeder)
            until = now_s + motor.plan.lease_s
            proposals.append(Proposal(SwitchMotor(motor.name, "on", until), "C5", _reason(world, motor, now_s)))
        else:
            _note_wait(world, motor, hindrance, now_s)
    return proposals, plans


def renewal(motor: Motor, now_s: float) -> Proposal | None:
    """The renewal of a lease that has come to its half, or None (C23)."""
    if now_s < motor.renew_from() - LEASE_TOLERANCE_S:
        return None
    return Proposal(SwitchMotor(motor.name, "renew", now_s + motor.plan.lease_s), "C23", "the lease is renewed")


def _reason(world: World, motor: Motor, now_s: float) -> str:
    tools = [tool.name for tool in world.tools_of[motor.name] if world.is_cause(tool, motor, now_s)]
    if tools and not motor.is_shaker:
        return f"{' and '.join(tools)} asked for air"
    return "its collector has stopped" if motor.is_shaker else "a person asked for a run"


# ---------------------------------------------------------------- off


def _offs(world: World, now_s: float) -> list[Proposal]:
    proposals = []
    for motor in world.motors.values():
        if motor.on and motor.name not in world.force_off:
            _watch_path(world, motor, now_s)
        if not motor.on:
            motor.path_lost_by = None
            rule, why = world.force_off.get(motor.name, ("", ""))
            if rule and not (rule == "C25" and motor.hand == "hand"):
                # Told off even where it is not believed on, and at Hand: red button and fire come before C25.
                proposals.append(Proposal(SwitchMotor(motor.name, "off"), rule, why))
            continue
        if motor.name in world.force_off:
            rule, why = world.force_off[motor.name]
            proposals.append(Proposal(SwitchMotor(motor.name, "off"), rule, why))
        elif may_stop(world, motor, now_s):
            proposals.append(Proposal(SwitchMotor(motor.name, "off"), "C5", "the last delay has ended"))
    return proposals


def _watch_path(world: World, motor: Motor, now_s: float) -> None:
    if not world.path_lost(motor, now_s):
        motor.path_lost_by = None
        return
    if world.air_lost(motor, now_s):
        _reopen(world, motor, now_s)
    if motor.path_lost_by is None:
        motor.path_lost_by = now_s + world.worst_travel_s[motor.name] + PATH_LOST_EXTRA_S
        world.recorder.write(
            "path_lost", motor.name, rule="C3", why=f"{motor.name} has no gate that is proven open; one opens"
        )
    elif now_s >= motor.path_lost_by:
        world.force(motor, "C3", f"{motor.name} had no gate proven open for one worst travel and 2 s")


def _reopen(world: World, motor: Motor, now_s: float) -> None:
    """Air is not proved: the gate shut last opens again and stays, and those believed open are in doubt (C3a)."""
    open_now = tuple(gate.name for gate in world.gates_of[motor.name] if gate.is_open)
    if motor.air_last is None and (motor.air_held or motor.path_lost_by is not None):
        return
    again = motor.air_last or next(
        (gate.name for gate in world.gates_of[motor.name] if gate.can_serve and not gate.is_open), None
    )
    motor.air_last = None
    if again is not None:
        motor.air_held = (*motor.air_held, again)
        world.recorder.write("kept_open", again, rule="C3", why=f"{again}: air was not proved without it")
        motor.air_doubt = tuple(dict.fromkeys((*motor.air_doubt, *(name for name in open_now if name != again))))
    world.raise_alarm("air_not_proved", motor.name, now_s, rule="C3")


def parked_enough(world: World, motor: Motor) -> bool:
    """True where the path that a voluntary stop leaves behind is enough (C7)."""
    if not motor.path_binds:
        return True
    automatic = any(gate.can_serve for gate in world.gates_of[motor.name])
    area = motor.plan.relief_m2 + sum(
        gate.plan.area_m2
        for gate in world.gates_of[motor.name]
        if gate.is_open and (gate.plan.actuated or not automatic)
    )
    return world.enough(motor, area)


def may_stop(world: World, motor: Motor, now_s: float) -> bool:
    """True where a voluntary stop may come now (C5, C7, C8)."""
    stop = world.earliest_stop(motor, now_s)
    shaken_out = motor.is_shaker and world.cause_stands(world.motors[motor.plan.follows or ""], now_s)
    if shaken_out:
        return motor.store.has_start(now_s)
    return stop is not None and now_s >= stop and parked_enough(world, motor)


# ---------------------------------------------------------------- on


def may_not_start(world: World, motor: Motor, now_s: float, shut: set[str], feeders: set[str]) -> Hindrance | None:
    """Why a motor with a cause may not be switched on in this list; None where it may."""
    if motor.on:
        return Hindrance("C23", "it is on")
    if blocked := world.blocked(motor):
        return Hindrance(*blocked)
    if world.settling:
        return Hindrance("C15", "the sensors settle first", world.settle_until)
    if motor.hand != "auto":
        return Hindrance("C25", f"{motor.name} is run by hand")
    if motor.latch is not None:
        return Hindrance("C9", f"{motor.name} is latched off; press Clear")
    if not world.shop_open:
        return Hindrance("C27", "the shop is shut")
    if motor.path_binds and not world.enough(motor, world.open_area(motor, shut)):
        return Hindrance("C2", "no open gate is proven yet")
    if not motor.store.may_start(now_s):
        until = motor.store.may_start_at()
        why = "the record of its starts was lost; press Clear" if until is None else "the motor rests: no start is left"
        return Hindrance("C8", why, until)
    feeder = motor.plan.feeder
    if feeder is not None:
        if feeder in feeders:
            return Hindrance("C22", f"another motor starts on {feeder}", now_s + world.plan.feeders[feeder])
        free_at = world.feeder_free_at.get(feeder)
        if free_at is not None and now_s < free_at:
            return Hindrance("C22", f"an inrush on {feeder} dies away first", free_at)
    return None


def _note_wait(world: World, motor: Motor, hindrance: Hindrance, now_s: float) -> None:
    if motor.retrying and hindrance.rule not in ("C22", "C23"):
        # The one retry is for now or never (C9).
        world.force(motor, "C9", f"{motor.name}: no retry, {hindrance.why}")
        world.force_off.pop(motor.name)
        motor.latch = "did_not_start"
        world.keep(f"latched/{motor.name}", motor.latch)
        return
    if motor.wait_why != hindrance.why:
        motor.wait_why = hindrance.why
        motor.wait_from = now_s if motor.wait_from is None else motor.wait_from
        world.recorder.write(
            "waiting",
            motor.name,
            {"what": "waiting", "until_s": hindrance.until_s},
            rule=hindrance.rule,
            why=f"{motor.name} waits: {hindrance.why}",
        )


# ---------------------------------------------------------------- what really left for the wires


def apply(world: World, command: MoveGate | SwitchMotor, now_s: float) -> None:
    """Tell the units about a command that the guard let through."""
    if isinstance(command, MoveGate):
        _apply_move(world, world.gates[command.gate], command.what, now_s)
    else:
        _apply_switch(world, world.motors[command.motor], command, now_s)


def _apply_move(world: World, gate: Gate, what: str, now_s: float) -> None:
    fire = world.gate_machine.fire
    if what == "halt":
        fire(gate, "halted")
        gate.busy_until = gate.arrive_by = gate.shake_until = None
        return
    end_s = now_s + gate.plan.dead_s + gate.plan.travel_s  # summed as the guard does: they must agree to the last bit
    late_s = max(LATE_LEAST_S, LATE_SHARE * gate.plan.travel_s) if gate.plan.has_switch else 0.0
    gate.busy_until = end_s
    gate.arrive_by = end_s + late_s
    if what == "open":
        fire(gate, "order_open")
        gate.shake_until = gate.doubt_until = None
        return
    gate.sure = False
    gate.doubt_until = gate.busy_until if gate.plan.has_switch else None
    motor = world.motors[gate.plan.system]
    if gate.name in world.shaking:
        fire(gate, "order_shake")
        gate.shaken = True
        gate.arrive_by = None
        gate.shake_until = now_s + gate.plan.dead_s + min(SHAKE_S, gate.plan.travel_s / 2)
    else:
        fire(gate, "order_shut")
    if motor.on and motor.proves_air:
        # One at a time, so that what its shutting did to the air is seen before the next one (C3a).
        motor.air_last = gate.name
        motor.air_next = end_s + AIR_SPEAKS_S


def _apply_switch(world: World, motor: Motor, command: SwitchMotor, now_s: float) -> None:
    if command.what == "off":
        _apply_off(world, motor, now_s)
        return
    motor.lease_until = command.until_s
    if command.what == "renew":
        return
    motor.on = True
    motor.retrying = False
    motor.confirmed = motor.plan.confirm_s is None or motor.seen == "running" or motor.sensor_lost
    motor.confirm_by = None if motor.confirmed or motor.plan.confirm_s is None else now_s + motor.plan.confirm_s
    motor.overrun = False
    motor.stop_check_at = None
    motor.wait_why = motor.wait_from = None
    world.motor_machine.fire(motor, "switched_on")
    world.keep(f"on/{motor.name}", True)
    world.new_store(motor, motor.store.charged(now_s), now_s)
    motor.air_from = now_s + AIR_SPIN_UP_S
    motor.air_last = motor.air_next = None
    motor.air_held = motor.air_doubt = ()
    if motor.plan.feeder is not None:
        world.feeder_free_at[motor.plan.feeder] = now_s + world.plan.feeders[motor.plan.feeder]
    if motor.is_shaker:
        motor.run_until = now_s + motor.plan.shake_s
        motor.shake_by = None


def _apply_off(world: World, motor: Motor, now_s: float) -> None:
    was_on, motor.on = motor.on, False
    # A lease that ran out had stopped it at its end, before this step (C23).
    stopped_s = now_s if motor.lease_until is None else min(now_s, motor.lease_until)
    motor.lease_until = motor.confirm_by = None
    motor.extra = ()
    if not was_on:
        return
    forced = motor.name in world.force_off
    motor.coast_until = now_s + motor.plan.coast_s
    by_current = motor.plan.confirm_s is not None
    motor.stop_check_at = now_s + (motor.plan.release_s if by_current else motor.plan.coast_s)
    world.motor_machine.fire(motor, "switched_off")
    world.keep(f"on/{motor.name}", None)
    world.new_store(motor, motor.store.stopped(stopped_s, motor.plan.rest_s), now_s)
    if motor.is_cleaner:
        world.note_cut(motor, 0.0)
    if motor.is_shaker:
        motor.run_until = motor.run_what = None  # cut short by a tool's start it does not come back
    if not forced:
        motor.retry_used = False
        shaker = world.shaker_of.get(motor.name)
        if shaker is not None and world.shop_open and world.blocked(shaker) is None and shaker.hand == "auto":
            if shaker.on:  # it goes on for this run, too, instead of stopping and starting anew (C8)
                shaker.run_until = now_s + motor.plan.coast_s + shaker.plan.shake_s
            else:
                shaker.shake_by = now_s + motor.plan.coast_s + SHAKE_WITHIN_S


def reconcile(world: World, motor: Motor, now_s: float) -> None:
    """Bring a motor's state into step with what is so, by its table."""
    fire, state = world.motor_machine.fire, MotorState
    if motor.on:
        if motor.state is state.STARTING and motor.confirmed:
            fire(motor, "proved")
        if world.in_use(motor, now_s):
            if motor.state is state.SPIN_DOWN:
                fire(motor, "wanted")
        elif motor.state in (state.STARTING, state.RUNNING):
            fire(motor, "emptied")
        return
    if motor.hand == "hand":
        if motor.state is not state.BY_HAND:
            fire(motor, "hand_taken")
        return
    if motor.state is state.BY_HAND:
        fire(motor, "hand_left")
    if world.blocked(motor) is not None:
        if motor.state is not state.BLOCKED:
            fire(motor, "blocked")
        return
    if motor.state is state.BLOCKED:
        fire(motor, "unblocked")
    if motor.latch is not None:
        if motor.state is not state.LATCHED:
            fire(motor, "latched")
        return
    if motor.state is state.LATCHED:
        fire(motor, "cleared")
    if world.cause_stands(motor, now_s):
        if motor.state is not state.WAITING:
            fire(motor, "asked")
    elif motor.state is state.WAITING:
        fire(motor, "unasked")
    elif motor.state is state.COASTING and motor.coast_until is None and motor.seen != "running":
        fire(motor, "stilled")
