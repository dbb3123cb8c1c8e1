"""What the core believes at one instant, as frozen values that any thread may read.

Words of the record and numbers only; whoever shows them makes the sentences. Instants are on the monotonic clock.
"""

from dataclasses import dataclass

from gatekeeper.control.alarms import Standing
from gatekeeper.control.moves import SystemWishes
from gatekeeper.control.plan import InputKind
from gatekeeper.control.policy import may_not_start
from gatekeeper.control.units import Gate, Motor, Tool
from gatekeeper.control.world import World


@dataclass(frozen=True, slots=True)
class GateNow:
    """One gate: its belief and proof, why it stays open or moves, and until when where that has an end.

    ``hand`` is what a person asked of it ("open", "shut"), until ``hand_until_s``; ``clear_until_s`` ends its branch's
    clear time. ``until_s`` is the one of the two that binds.
    """

    name: str
    belief: str
    is_open: bool
    proof: str | None
    reason: str | None
    until_s: float | None
    held: str | None
    worked: bool
    may_move_at_s: float | None
    waits: bool
    tries: int
    hand: str | None
    hand_until_s: float | None
    clear_until_s: float | None


@dataclass(frozen=True, slots=True)
class MotorNow:
    """One motor: its state, what is seen of it, when it stops or may start, and what a person has said about it.

    ``switched_at_s`` is the instant at which it was last told on or off in this run, or of waking; ``path_lost_by_s``
    when a lost path stops it.
    """

    name: str
    state: str
    on: bool
    seen: str | None
    confirmed: bool
    fan_runs: bool
    coast_until_s: float | None
    in_use: bool
    wanted_until_s: float | None
    earliest_stop_s: float | None
    stretched: bool
    wait_why: str | None
    may_start_at_s: float | None
    starts: float
    starts_locked: bool
    hand: str
    out_of_service: tuple[str, str, float] | None
    latch: str | None
    blocked: tuple[str, str] | None
    doors: tuple[str, ...]
    run_until_s: float | None
    run_what: str | None
    overrun: bool
    path_lost: bool
    path_lost_by_s: float | None
    switched_at_s: float
    spin_down_s: float
    spin_down_set: bool


@dataclass(frozen=True, slots=True)
class ToolNow:
    """One tool: its sensor's word, since when it runs, and what it may be missing.

    ``may_run``: nobody can say that it stands still, so its gates are not shut (C1, C12). ``answer_by_s``: until when
    the question "does it still cut?" waits. ``hold_until_s``: until when a lost sensor's tool counts as running.
    """

    name: str
    reading: str
    counting: bool
    wants_gates: bool
    may_run: bool
    started_at_s: float | None
    stopped_at_s: float | None
    found: bool
    asked: bool
    answer_by_s: float | None
    hold_until_s: float | None
    has_cause: bool
    spin_down_s: float | None
    spin_down_set: bool
    sign: str


@dataclass(frozen=True, slots=True)
class AlarmNow:
    """One standing message."""

    code: str
    subject: str
    standing: Standing


@dataclass(frozen=True, slots=True)
class CoreView:
    """The whole core at one instant; mappings are tuples in the plan's order."""

    now_s: float
    seq: int
    awake: bool
    settle_until_s: float | None
    fire: bool
    emergency: bool
    open_circuits: tuple[str, ...]
    shop_open: bool
    quiet: bool
    gates: tuple[GateNow, ...]
    motors: tuple[MotorNow, ...]
    tools: tuple[ToolNow, ...]
    alarms: tuple[AlarmNow, ...]


def core_view(world: World, plans: dict[str, SystemWishes], now_s: float) -> CoreView:
    """Freeze what is believed now."""
    wishes = {wish.gate.name: wish for system in plans.values() for wish in system.wishes}
    keeps = {name: reason.why for system in plans.values() for name, reason in system.keep.items()}
    circuits = [name for kind in (InputKind.FIRE, InputKind.EMERGENCY) for name in world.unhealthy(kind)]
    return CoreView(
        now_s=now_s,
        seq=world.recorder.seq,
        awake=world.awake,
        settle_until_s=world.settle_until,
        fire=world.fire,
        emergency=world.emergency,
        open_circuits=tuple(circuits),
        shop_open=world.shop_open,
        quiet=world.quiet,
        gates=tuple(
            _gate_now(gate, wishes[gate.name].why if gate.name in wishes else keeps.get(gate.name))
            for gate in world.gates.values()
        ),
        motors=tuple(_motor_now(world, motor, now_s) for motor in world.motors.values()),
        tools=tuple(_tool_now(world, tool, now_s) for tool in world.tools.values()),
        alarms=tuple(AlarmNow(code, subject, standing) for (code, subject), standing in world.alarms.items()),
    )


def _gate_now(gate: Gate, reason: str | None) -> GateNow:
    until = gate.hand_until if gate.hand is not None else gate.clear_until
    proof = None
    if gate.is_open:
        proof = "switch" if gate.plan.has_switch else "time"
    return GateNow(
        name=gate.name,
        belief=str(gate.belief),
        is_open=gate.is_open,
        proof=proof,
        reason=reason,
        until_s=until,
        held=gate.held,
        worked=gate.worked,
        may_move_at_s=gate.free_at,
        waits=gate.wait_from is not None,
        tries=gate.tries,
        hand=gate.hand,
        hand_until_s=gate.hand_until,
        clear_until_s=gate.clear_until,
    )


def _motor_now(world: World, motor: Motor, now_s: float) -> MotorNow:
    wanted = world.wanted_until(motor, now_s) if motor.on else None
    stop = world.earliest_stop(motor, now_s) if motor.on else None
    hindrance = may_not_start(world, motor, now_s, set(), set()) if motor.wait_why is not None else None
    return MotorNow(
        name=motor.name,
        state=str(motor.state),
        on=motor.on,
        seen=motor.seen,
        confirmed=motor.confirmed,
        fan_runs=motor.fan_runs(now_s),
        coast_until_s=motor.coast_until,
        in_use=world.in_use(motor, now_s),
        wanted_until_s=wanted,
        earliest_stop_s=stop,
        stretched=stop is not None and wanted is not None and stop > wanted + 1e-3,
        wait_why=motor.wait_why,
        may_start_at_s=hindrance.until_s if hindrance else motor.store.may_start_at(),
        starts=motor.store.level_at(now_s),
        starts_locked=motor.store.locked,
        hand=motor.hand,
        out_of_service=motor.out_of_service,
        latch=motor.latch,
        blocked=world.blocked(motor),
        doors=tuple(world.open_doors(motor.name)),
        run_until_s=motor.asked_until(),
        run_what="flush" if motor.flush_until is not None else motor.run_what,
        overrun=motor.overrun,
        path_lost=world.path_lost(motor, now_s),
        path_lost_by_s=motor.path_lost_by,
        switched_at_s=motor.store.at_s,
        spin_down_s=world.settings.get(motor.name, motor.plan.spin_down_s),
        spin_down_set=motor.name in world.settings,
    )


def _tool_now(world: World, tool: Tool, now_s: float) -> ToolNow:
    served = [world.motors[name] for name in world.systems_of[tool.name]]
    return ToolNow(
        name=tool.name,
        reading=tool.reading,
        counting=tool.counting,
        wants_gates=tool.wants_gates,
        may_run=tool.may_run,
        started_at_s=tool.started_at,
        stopped_at_s=tool.stopped_at,
        found=tool.found,
        asked=tool.asked,
        answer_by_s=tool.answer_by,
        hold_until_s=tool.hold_until,
        has_cause=any(world.is_cause(tool, motor, now_s) for motor in served),
        spin_down_s=world.settings.get(tool.name, tool.plan.spin_down_s),
        spin_down_set=tool.name in world.settings,
        sign=world.signs.get(tool.name, "dark"),
    )
