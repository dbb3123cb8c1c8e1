"""Which gates should move, and which of those moves may begin now (C1, C3, C4, C6, C7, C10, C11, C17).

``wishes`` looks at one system and says what each of its gates is wanted to do and why; ``ration`` puts the wishes of
the whole shop into one queue per supply and grants what the supplies carry. Both only propose; the guard judges.
"""

from collections.abc import Callable
from enum import IntEnum
from typing import Literal, NamedTuple

from gatekeeper.control.messages import MoveGate, SwitchMotor
from gatekeeper.control.tables import GateState
from gatekeeper.control.units import Gate, Motor
from gatekeeper.control.world import World

# What a state lets a wish do; an enum's members are slow to look up, and these are asked for each gate in each step.
_OPENING, _UNPROVEN, _SHAKING = GateState.OPENING, GateState.UNPROVEN, GateState.SHAKING
_GOES_OPEN = frozenset({GateState.OPEN, GateState.OPENING})
_GOES_SHUT = frozenset({GateState.SHUT, GateState.SHUTTING})
_NOT_SHUT = frozenset({GateState.OPEN, GateState.OPENING, GateState.UNPROVEN})
_NOT_OPEN = frozenset({GateState.SHUT, GateState.SHUTTING, GateState.UNPROVEN})
_NO_PATH = frozenset({GateState.SHUT, GateState.SHUTTING, GateState.UNPROVEN, GateState.SHAKING})


class Rank(IntEnum):
    """The queue of one supply, first served first (C11)."""

    TOOL = 1
    PATH = 2
    RETRY = 3
    SHUTTING = 4
    BY_HAND = 5
    EXTRA = 6
    HOMING = 7


class Wish(NamedTuple):
    """One gate wanted open or shut."""

    rank: Rank
    order: int
    gate: Gate
    what: Literal["open", "shut"]
    rule: str
    why: str


class Proposal(NamedTuple):
    """One command on its way to the guard."""

    command: MoveGate | SwitchMotor
    rule: str
    why: str


class Reason(NamedTuple):
    """Why a gate is to stay open."""

    rule: str
    why: str


class SystemWishes(NamedTuple):
    """What one system wants: moves, and the gates that must stay open with the reason of each."""

    wishes: list[Wish]
    keep: dict[str, Reason]


def wishes(world: World, motor: Motor, now_s: float) -> SystemWishes:
    """What each gate of one system is wanted to do."""
    keep: dict[str, Reason] = {}
    asked: dict[str, Wish] = {}
    working = False

    def ask(rank: Rank, order: int, gate: Gate, rule: str, why: str) -> None:
        keep.setdefault(gate.name, Reason(rule, why))
        if gate.name not in asked or (rank, order) < asked[gate.name][:2]:
            asked[gate.name] = Wish(rank, order, gate, "open", rule, why)

    for tool in world.tools_of[motor.name]:
        if tool.reading == "stopped":
            continue  # it asks for nothing
        for gate in world.own_gates[tool.name, motor.name]:
            if tool.wants_gates:
                working = True
                ask(Rank.RETRY if gate.tries else Rank.TOOL, tool.order, gate, "C4", f"{tool.name} runs")
            elif tool.may_run:
                keep.setdefault(gate.name, Reason("C1", f"nobody can say that {tool.name} stands still"))
    for gate in world.gates_of[motor.name]:
        if gate.clear_until is not None and gate.clear_until > now_s:
            keep.setdefault(gate.name, Reason("C6", "its branch is clearing"))
        if gate.hand == "open":
            ask(Rank.BY_HAND, 0, gate, "C16", gate.hand_why or "opened by hand")
    for name in motor.air_held if motor.on else ():
        gate = world.gates[name]
        ask(Rank.RETRY if gate.tries else Rank.PATH, 0, gate, "C3", "opened again: air was not proved without it")
    if motor.flush:
        ask(Rank.BY_HAND, 0, world.gates[motor.flush[0]], "C16", "its branch is being flushed")
    if world.plan.air:
        _extra(world, motor, working, keep, ask)
    _path(world, motor, working, now_s, keep, asked)
    result = list(asked.values())
    result += _shuts(world, motor, working, now_s, keep)
    return SystemWishes(result, keep)


def _extra(
    world: World,
    motor: Motor,
    working: bool,
    keep: dict[str, Reason],
    ask: Callable[[Rank, int, Gate, str, str], None],
) -> None:
    """Gates that the air wants beside the tools' own (C17): the seam is the plan's table."""
    if working:
        running = frozenset(tool.name for tool in world.tools_of[motor.name] if tool.wants_gates)
        answer = world.plan.air.get((motor.name, running))
        motor.extra = answer.extra if answer else ()
    usable = [
        gate
        for gate in map(world.gates.__getitem__, motor.extra)
        if gate.plan.as_extra and gate.can_serve and gate.hand != "shut"
    ]
    if working:
        for gate in usable:
            ask(Rank.EXTRA, 0, gate, "C17", "open as extra air for the main")
    elif motor.on and usable:
        # The next cut is likely to want the same: gates that move with every short cut wear out. The last tool's own
        # gates are the first that a stop leaves open (C7).
        own = [world.gates[name] for name in motor.parked if world.gates[name].hand != "shut"]
        for gate in (*own, *usable):
            if gate.is_open:
                why = "open as in the last cut until the collector stops or another tool starts"
                keep.setdefault(gate.name, Reason("C17", why))


def _path(
    world: World, motor: Motor, working: bool, now_s: float, keep: dict[str, Reason], asked: dict[str, Wish]
) -> None:
    """Add gates until the path will be enough (C2, C3, C7): the one in hand first, then the last tool's."""
    if not motor.path_binds:
        return
    gates = world.gates_of[motor.name]
    # At rest a hand gate may be moved by anybody: it is no path where an automatic one works (C7).
    only_automatic = (
        world.has_hand_gates[motor.name]
        and not any(tool.counting for tool in world.tools_of[motor.name])
        and any(gate.can_serve for gate in gates)
    )
    runs = motor.fan_runs(now_s)

    def must_wait(gate: Gate) -> bool:
        # While the fan has no path, a gate that must wait for a slot is none to count on (C3), nor, at rest, one that
        # comes only by hand (C7).
        by_hand = gate.name in asked and asked[gate.name].rank is Rank.BY_HAND
        coming = not (runs or by_hand) or gate.is_open or gate.state is _OPENING
        return not coming and _crowded(world, gate, now_s) and world.path_lost(motor, now_s)

    expected = motor.plan.relief_m2
    counted, queued, by_hand = set(), set(), []
    for gate in gates:
        if gate.state in _NO_PATH and gate.name not in asked:
            continue
        stays = gate.is_open and (gate.name in keep or not gate.can_serve)
        # One that comes only as extra air comes after everything else: it is no path to count on yet (C11).
        first = gate.name in asked and asked[gate.name].rank is not Rank.EXTRA
        comes = first and gate.can_serve and (gate.is_open or gate.may_move(now_s))
        if comes and must_wait(gate):
            queued.add(gate.name)
            comes = False
        if (stays or comes) and (gate.plan.actuated or not only_automatic):
            counted.add(gate.name)
            expected += gate.plan.area_m2
            if not gate.is_open and gate.name in asked and asked[gate.name].rank is Rank.BY_HAND:
                by_hand.append(gate)
    if by_hand and world.path_lost(motor, now_s):
        for gate in by_hand:  # it is the path, too, and in the queue the path goes first (C11)
            asked[gate.name] = asked[gate.name]._replace(rank=Rank.RETRY if gate.tries else Rank.PATH)
    if world.enough(motor, expected):
        return
    why = "kept open so that air can reach the fan" + ("" if runs else " at the next start")
    lost_at_rest = not runs and world.path_lost(motor, now_s)
    candidates = sorted(
        (gate for gate in gates if gate.can_serve and gate.name not in counted | queued),
        key=lambda gate: (
            not (gate.is_open or gate.may_move(now_s)),  # released a moment ago: another gate comes sooner
            # One that must wait for a slot: at rest one that need not comes instead of it (C7).
            lost_at_rest and not gate.is_open and gate.state is not _OPENING and _crowded(world, gate, now_s),
            gate.tries > 0 and not gate.is_open,  # it did not come when it was told: another one is tried first
            not (gate.is_open or gate.name in asked),  # one that is wanted anyhow
            not gate.is_open if working else gate.name not in motor.parked,
            not gate.is_open,
            gate.state is not GateState.OPENING,
        ),
    )
    for gate in candidates:
        keep.setdefault(gate.name, Reason("C3" if runs else "C7", why))
        if not gate.is_open:
            asked[gate.name] = Wish(Rank.RETRY if gate.tries else Rank.PATH, 0, gate, "open", "C3", why)
        if must_wait(gate):
            continue  # the next one is opened, too
        expected += gate.plan.area_m2
        if world.enough(motor, expected):
            return


def _crowded(world: World, gate: Gate, now_s: float) -> bool:
    """True where other gates take every slot of its supply."""
    supply = gate.plan.supply
    others = [g for g in world.gates.values() if g is not gate and g.plan.supply == supply and g.is_busy(now_s)]
    return supply is not None and len(others) >= world.plan.supplies.get(supply, 1)


def _shuts(world: World, motor: Motor, working: bool, now_s: float, keep: dict[str, Reason]) -> list[Wish]:
    """Gates that nobody wants open: the clear ones shut now, the unproven ones when a cut needs the air."""
    result = []
    needed = working or motor.fan_runs(now_s)
    for gate in world.gates_of[motor.name]:
        if gate.name in keep or not gate.plan.actuated:
            continue
        if gate.hand == "shut" and gate.state not in _GOES_SHUT:
            result.append(Wish(Rank.BY_HAND, 0, gate, "shut", "C16", gate.hand_why or "shut by hand"))
        elif gate.state in _GOES_OPEN:
            result.append(Wish(Rank.SHUTTING, 0, gate, "shut", "C6", "nothing runs on its branch and it is clear"))
        elif gate.state is _UNPROVEN and needed:
            why = "nobody knows where it stands and a cut needs the air"
            result.append(Wish(Rank.HOMING, 0, gate, "shut", "C15", why))
    return result


def ration(world: World, wishes_by_motor: dict[str, SystemWishes], now_s: float) -> list[Proposal]:
    """One queue per supply: grant what may move now, free a slot for a running tool, say who waits (C11, C4)."""
    wanted = [wish for system in wishes_by_motor.values() for wish in system.wishes]
    queue = [wish for wish in wanted if _has_to_move(world, wish, now_s) and wish.gate.may_move(now_s)]
    queue.sort(key=lambda wish: wish[:2])
    proposals: list[Proposal] = []
    waiting: set[str] = set()
    if queue:
        _grant(world, wanted, queue, proposals, waiting, now_s)
    for gate in world.gates.values():
        if gate.wait_from is not None and gate.name not in waiting:
            gate.wait_from = gate.wait_rule = None
    return proposals


def _grant(
    world: World, wanted: list[Wish], queue: list[Wish], proposals: list[Proposal], waiting: set[str], now_s: float
) -> None:
    """Go through the queue: add what may move now to the proposals, and who may not to the waiting."""
    busy: dict[str | None, list[Gate]] = {}
    for gate in world.gates.values():
        if gate.is_busy(now_s) and gate.name not in world.halts:
            busy.setdefault(gate.plan.supply, []).append(gate)
    needed = {wish.gate.name for wish in wanted if wish.what == "open" and wish.rank <= Rank.RETRY}
    spare = {wish.gate.plan.system: _Spare(world, world.motors[wish.gate.plan.system], now_s) for wish in queue}
    told: set[str] = set()
    #: Supplies on which a running tool's first attempt waits: a slot that a missed move leaves is not for its retry.
    #: Another gate of that tool's may use a slot that it holds itself.
    owed: dict[str | None, int] = {}
    for wish in queue:
        gate = wish.gate
        if gate.name in told:
            continue
        if wish.what == "shut" and not spare[gate.plan.system].may_lose(gate):
            if spare[gate.plan.system].waits_for_air():
                waiting.add(gate.name)
                _note_wait(world, gate, wish._replace(rule="C3"), now_s, "air is proved before the next one shuts")
            continue
        moving = busy.setdefault(gate.plan.supply, [])
        limit = world.plan.supplies.get(gate.plan.supply, 1) if gate.plan.supply is not None else None
        own = wish.rank is Rank.TOOL and wish.order == owed.get(gate.plan.supply)
        if (
            gate in moving
            and not gate.moves
            and gate.plan.supply in owed
            and not own
            and not _is_last_hope(world, wish, now_s)
        ):
            waiting.add(gate.name)
            _note_wait(world, gate, wish, now_s)
            continue
        if limit is not None and gate not in moving and len(moving) >= limit:
            freed = _free_a_slot(wish, moving, needed)
            if freed is None:
                waiting.add(gate.name)
                _note_wait(world, gate, wish, now_s)
                if wish.rank is Rank.TOOL:
                    owed.setdefault(gate.plan.supply, wish.order)
                if wish.what == "open" and (back := _reversible(world, gate, moving, told, now_s)):
                    why = "turned back: no gate is proven open and no other one can move"
                    proposals.append(Proposal(MoveGate(back.name, "open"), "C3", why))
                    told.add(back.name)
                continue
            moving.remove(freed)
            proposals.append(
                Proposal(MoveGate(freed.name, "halt"), "C4", f"halted so that {gate.name} can open at once")
            )
        if gate not in moving:
            moving.append(gate)
        if wish.what == "shut":
            spare[gate.plan.system].lose(gate)
        proposals.append(_move(world, wish))
        told.add(gate.name)


def _is_last_hope(world: World, wish: Wish, now_s: float) -> bool:
    """True where a fan has no path and none of its gates is on its way: path comes before the queue (C3, C11)."""
    motor = world.motors[wish.gate.plan.system]
    lost = wish.what == "open" and motor.fan_runs(now_s) and world.path_lost(motor, now_s)
    return lost and not any(gate.state is _OPENING for gate in world.gates_of[motor.name])


def _has_to_move(world: World, wish: Wish, now_s: float) -> bool:
    state = wish.gate.state
    if wish.what == "shut":
        return state in _NOT_SHUT
    if state is _SHAKING:
        until, motor = wish.gate.shake_until, world.motors[wish.gate.plan.system]
        lost = motor.fan_runs(now_s) and world.path_lost(motor, now_s)
        return until is None or until <= now_s or wish.rank is Rank.TOOL or lost
    return state in _NOT_OPEN


def _move(world: World, wish: Wish) -> Proposal:
    gate = wish.gate
    shake = (
        wish.what == "open"
        and gate.tries > 0
        and wish.rule != "C3"  # a path is wanted at once
        and gate.plan.shake
        and not gate.shaken
        and gate.state is GateState.UNPROVEN
        and gate.clear_until is None
        and not any(tool.may_run for tool in world.tools_at[gate.name])
        and world.enough(world.motors[gate.plan.system], world.open_area(world.motors[gate.plan.system], (gate.name,)))
    )
    if shake:
        world.shaking.add(gate.name)
        return Proposal(MoveGate(gate.name, "shut"), "C10", "a short back-and-forth to shake chips loose")
    return Proposal(MoveGate(gate.name, wish.what), wish.rule, wish.why)


def _free_a_slot(wish: Wish, moving: list[Gate], needed: set[str]) -> Gate | None:
    """A moving gate that no running tool and no path needs, whose driver can stop it (C4)."""
    if wish.rank is not Rank.TOOL:
        return None
    return next((gate for gate in moving if gate.name not in needed and gate.plan.can_halt and gate.moves), None)


def _reversible(world: World, gate: Gate, moving: list[Gate], told: set[str], now_s: float) -> Gate | None:
    """A gate of the same duct on its way to shut: turned back it keeps its slot and gives a lost path soonest (C3)."""
    motor = world.motors[gate.plan.system]
    if not (motor.fan_runs(now_s) and world.path_lost(motor, now_s)):
        return None
    duct = (other for other in moving if other.plan.system == motor.name and other.name not in told)
    back = (GateState.SHUTTING, GateState.SHAKING)
    return next((other for other in duct if other.state in back and other.may_move(now_s)), None)


def _note_wait(world: World, gate: Gate, wish: Wish, now_s: float, why: str | None = None) -> None:
    """Say why a gate does not move yet: for want of a slot, where no other reason is given (C20)."""
    if gate.wait_from is None or gate.wait_rule != wish.rule:
        gate.wait_from, gate.wait_rule = now_s, wish.rule
        rule, why = ("C11", "until another gate has moved") if why is None else (wish.rule, f"until {why}")
        world.recorder.write("queued", gate.name, wish.what, rule=rule, why=f"{gate.name} waits {why}")


class _Spare:
    """How much proven area a system could lose in this list and still have a path (C3)."""

    def __init__(self, world: World, motor: Motor, now_s: float) -> None:
        self.world = world
        self.motor = motor
        self.lost: set[str] = set()
        self.binds = motor.path_binds
        self.by_air = motor.proves_air and motor.on
        self.air_speaks = motor.air is True and (motor.air_next is None or motor.air_next <= now_s)

    def may_lose(self, gate: Gate) -> bool:
        """True where the path stays enough without the gate and all that went before it in this list."""
        if self.waits_for_air():
            return False
        return not self.binds or self.world.enough(
            self.motor, self.world.open_area(self.motor, {*self.lost, gate.name})
        )

    def waits_for_air(self) -> bool:
        """True where what the gate shut last did to the air is not seen yet (C3a)."""
        return self.by_air and (bool(self.lost) or not self.air_speaks)

    def lose(self, gate: Gate) -> None:
        """The list shuts this gate."""
        self.lost.add(gate.name)
