"""Walks every state that three small shops can reach, breadth first, and judges every step.

    python tests/bench/walk.py [--states 20000] [--shop two|three|shaking]

A step is one event of a bounded alphabet, or a jump to the next deadline; what the core then wants at the same instant
is served with it. The core is put from state to state by ``save`` and ``restore``. Two states are the same when their
keys are: instants count from now, what only the record or the page can see is left out (``key_of``). Each step is
judged by invariants that cost little; when one fails the path is told, and played once more before the checker of the
simulator. All times are small whole numbers, so that states repeat.

A walk begins at rest and, besides, at the end of each of its shop's ``LEADS``: scripted ways to states that lie deep,
judged like every other step. All that follows from them is walked like the rest.
"""

import argparse
import sys
import time
from collections import Counter, deque
from dataclasses import dataclass, field
from typing import Any

from gatekeeper.control.messages import (
    Command,
    Event,
    HandSeen,
    InputSeen,
    Missed,
    MotorSeen,
    MoveGate,
    Requested,
    SettingChanged,
    SwitchMotor,
    SwitchSeen,
    Ticked,
    ToolSeen,
    Woke,
)
from gatekeeper.control.plan import GatePlan, InputKind, InputPlan, MotorPlan, Plan, ToolPlan
from gatekeeper.control.supervisor import Supervisor
from gatekeeper.control.tables import MotorState
from sim.checker import check_record

#: What the past beyond this cannot change: longer than any delay of the two shops, seconds.
FAR_S = 15.0
FAN: dict[str, Any] = {
    "path_minimum_m2": 0.01,
    "spin_down_s": 2.0,
    "starts_per_hour": 900.0,
    "rest_s": 2.0,
    "coast_s": 1.0,
    "lease_s": 4.0,
    "settle_s": 1.0,
}
TWO = Plan(
    {"fan": MotorPlan("fan", **FAN)},
    {
        "g1": GatePlan("g1", "fan", 0.01, travel_s=1.0, clear_s=1.0, supply="air", retries=1),
        "g2": GatePlan("g2", "fan", 0.01, travel_s=1.0, clear_s=1.0, supply="air", retries=1),
    },
    {"saw": ToolPlan("saw", ("g1",), longest_run_s=12.0, hold_s=4.0), "planer": ToolPlan("planer", ("g2",))},
    supplies={"air": 1},
    inputs={"red": InputPlan("red", InputKind.EMERGENCY)},
    answer_s=4.0,
)
THREE = Plan(
    {
        "fan": MotorPlan("fan", **FAN, feeder="north", confirm_s=1.0),
        "vac": MotorPlan("vac", **FAN, feeder="north"),
    },
    {
        "g1": GatePlan("g1", "fan", 0.01, travel_s=2.0, clear_s=1.0, supply="air", has_switch=True, retries=0),
        "g2": GatePlan("g2", "fan", 0.01, travel_s=1.0, clear_s=1.0, supply="air", shake=False),
        "v1": GatePlan("v1", "vac", 0.01, travel_s=1.0, clear_s=1.0, supply="air"),
    },
    {"saw": ToolPlan("saw", ("g1", "v1")), "planer": ToolPlan("planer", ("g2",)), "lathe": ToolPlan("lathe", ("v1",))},
    supplies={"air": 1},
    feeders={"north": 1.0},
)
#: A gate with a switch that may be shaken, beside one that keeps the path.
SHAKING = Plan(
    {"fan": MotorPlan("fan", **FAN)},
    {
        "g1": GatePlan("g1", "fan", 0.01, travel_s=2.0, clear_s=1.0, supply="air", has_switch=True, retries=1),
        "g2": GatePlan("g2", "fan", 0.01, travel_s=1.0, clear_s=1.0, supply="air", retries=1),
    },
    {"saw": ToolPlan("saw", ("g1",)), "planer": ToolPlan("planer", ("g2",))},
    supplies={"air": 1},
    inputs={"red": InputPlan("red", InputKind.EMERGENCY)},
)
JUMP = "to the next deadline"
ALPHABETS: dict[str, tuple[Plan, tuple[Event | str, ...]]] = {
    "two": (
        TWO,
        (
            JUMP,
            *(ToolSeen(tool, state) for tool in TWO.tools for state in ("running", "stopped")),
            ToolSeen("saw", "stale"),
            Missed("g1"),
            Missed("g2"),
            InputSeen("red", "open"),
            InputSeen("red", "made"),
            Requested("reset"),
            Requested("stop"),
            Requested("run", "fan", for_s=3.0),
            Requested("hold", "g2"),
            Requested("release", "g2"),
            Requested("release", "g1"),
            Requested("shut", "g1"),
            HandSeen("fan", "hand"),
            HandSeen("fan", "auto"),
            SettingChanged("fan", "spin_down_s", 5.0),
        ),
    ),
    "three": (
        THREE,
        (
            JUMP,
            *(ToolSeen(tool, state) for tool in THREE.tools for state in ("running", "stopped")),
            SwitchSeen("g1", "open"),
            SwitchSeen("g1", "between"),
            SwitchSeen("g1", "shut"),
            MotorSeen("fan", "running"),
            MotorSeen("fan", "still"),
            Requested("clear", "fan"),
            Requested("release", "g1"),
            Requested("open", "g1", for_s=6.0),
            Requested("out_of_service", "vac"),
            Requested("back_in_service", "vac"),
            HandSeen("fan", "hand"),
            HandSeen("fan", "off"),
            HandSeen("fan", "auto"),
        ),
    ),
    "shaking": (
        SHAKING,
        (
            JUMP,
            *(ToolSeen(tool, state) for tool in SHAKING.tools for state in ("running", "stopped")),
            SwitchSeen("g1", "open"),
            SwitchSeen("g1", "between"),
            SwitchSeen("g1", "shut"),
            Missed("g1"),
            Missed("g2"),
            Requested("open", "g1", for_s=6.0),
            Requested("shut", "g1"),
            Requested("hold", "g1"),
            Requested("release", "g1"),
            InputSeen("red", "open"),
            InputSeen("red", "made"),
            Requested("reset"),
        ),
    ),
}
#: To a gate that is shut; to a fan that was tried twice and is latched, and to one whose retry waits for the feeder
#: while its path is lost; to a gate in the second of its shake.
_SHUT = (JUMP, ToolSeen("saw", "running"), JUMP, JUMP)
_LATCHED = (JUMP, JUMP, ToolSeen("planer", "running"), JUMP, JUMP, JUMP, JUMP)
_RETRY = (JUMP, SwitchSeen("g1", "open"), JUMP, JUMP, ToolSeen("saw", "running"), JUMP)
_SHAKES = (JUMP, ToolSeen("planer", "running"), JUMP, JUMP, Requested("open", "g1", for_s=6.0), JUMP, Missed("g1"))
LEADS: dict[str, tuple[tuple[Event | str, ...], ...]] = {
    "two": (_SHUT,),
    "three": (_LATCHED, (*_LATCHED, HandSeen("fan", "off")), _RETRY),
    "shaking": (_SHAKES,),
}

#: Rows that no walk reaches, each with what it would take: none. A row that nothing can use is no row.
REASONS: dict[tuple[str, str, Any], str] = {}
#: Fields that only the record, the page or the durable beat can see.
UNSEEN = frozenset({"started_at", "stale_at", "beat_at", "hand_why", "wait_why", "run_what", "sensor_why"})


class Wrong(AssertionError):
    """A step broke an invariant."""


def _relative(name: str, value: Any, now_s: float) -> Any:
    if name in UNSEEN:
        return None
    if name == "store":
        rest = value.rest_until_s
        resting = None if rest is None or rest <= now_s else round(rest - now_s, 3)
        return round(value.level_at(now_s), 3), resting, value.locked
    if name == "out_of_service":
        return value is not None
    if isinstance(value, float) and name != "cut_s":
        return max(-FAR_S, round(value - now_s, 3))
    return value


def key_of(core: Supervisor, now_s: float) -> tuple[Any, ...]:
    """The state relative to now: equal keys go on alike."""
    world = core.world
    ranks = {order: rank for rank, order in enumerate(sorted(tool.order for tool in world.tools.values()))}
    units: list[Any] = []
    for unit in (*world.gates.values(), *world.motors.values(), *world.tools.values()):
        names, values = type(unit).FIELDS, unit.save()
        units.append(
            tuple(
                ranks[value] if name == "order" else _relative(name, value, now_s)
                for name, value in zip(names, values, strict=True)
            )
        )
    flags = tuple(_relative(name, getattr(world, name), now_s) for name in type(world).FIELDS if name != "order")
    feeders = tuple(max(0.0, round(free_s - now_s, 3)) for free_s in world.feeder_free_at.values())
    alarms = tuple(sorted(world.alarms))
    settings = tuple(sorted(world.settings.items()))
    return (*units, flags, feeders, alarms, settings, tuple(world.circuits.items()), core.guard.save_relative(now_s))


@dataclass
class Walk:
    """One walk of one shop.

    Args:
        plan: the shop.
        alphabet: what may happen in every state.
        most: how many states are looked at, at most.
        leads: scripted ways to states from which the walk begins, besides rest.
    """

    plan: Plan
    alphabet: tuple[Event | str, ...]
    most: int
    leads: tuple[tuple[Event | str, ...], ...] = ()
    states: int = 0
    transitions: int = 0
    closed: bool = False
    reached: Counter[tuple[str, str, Any]] = field(default_factory=Counter)
    _shut_now: set[str] = field(default_factory=set)

    def run(self) -> None:
        """Walk until nothing new is found or the bound is reached.

        Raises:
            Wrong: where a step breaks an invariant.
        """
        core = Supervisor(self.plan, strict=True)
        now_s = 100.0
        begin: list[tuple[Event | str, float]] = [(Woke(), now_s)]
        begin += [(InputSeen(name, "made"), now_s) for name in self.plan.inputs]
        begin += [(ToolSeen(name, "stopped", fresh=False), now_s) for name in self.plan.tools]
        core.handle(Woke(), now_s)
        core.world.gate_machine.reached = Counter()
        core.world.motor_machine.reached = Counter()
        for event, at_s in begin[1:]:
            self._serve(core, event, at_s, begin)  # type: ignore[arg-type]
        seen = {key_of(core, now_s)}
        rest = (core.save(), now_s, None)
        ahead: deque[tuple[Any, float, Any]] = deque([rest])
        for lead in self.leads:
            core.restore(rest[0])
            at_s, path = now_s, None
            for what in lead:
                went = self._go(core, what, at_s, begin, path)
                if went is None:
                    raise Wrong(f"a lead jumps where nothing is due\n{self._story(begin, path)}")
                at_s, path = went
            seen.add(key_of(core, at_s))
            ahead.append((core.save(), at_s, path))
        while ahead and len(seen) < self.most:
            saved, at_s, path = ahead.popleft()
            for what in self.alphabet:
                core.restore(saved)
                went = self._go(core, what, at_s, begin, path)
                if went is None:
                    continue
                key = key_of(core, went[0])
                if key not in seen:
                    seen.add(key)
                    ahead.append((core.save(), *went))
        self.states, self.closed = len(seen), not ahead
        for machine in (core.world.gate_machine, core.world.motor_machine):
            for (happened, source), number in (machine.reached or {}).items():
                self.reached[machine.name, happened, source] += number

    def _go(self, core: Supervisor, what: Event | str, at_s: float, begin: list[Any], path: Any) -> Any:
        """One event or jump: when it was and the path with it; None where nothing is due."""
        event: Any = what
        if what == JUMP:
            due_s = core.next_deadline()
            if due_s is None:
                return None
            at_s, event = due_s, Ticked()
        path = (path, (event, at_s))
        self._serve(core, event, at_s, begin, path)
        self.transitions += 1
        return at_s, path

    def _serve(self, core: Supervisor, event: Event, at_s: float, begin: list[Any], path: Any = None) -> None:
        try:
            for _ in range(40):
                commands = core.handle(event, at_s)
                self._judge(core, commands, at_s)
                due_s = core.next_deadline()
                if due_s is None or due_s > at_s:
                    return
                event = Ticked()
            raise Wrong("40 steps at one instant")
        except Exception as error:
            raise Wrong(f"{type(error).__name__}: {error}\n{self._story(begin, path)}") from error

    def _judge(self, core: Supervisor, commands: tuple[Command, ...], at_s: float) -> None:
        world = core.world
        for entry in core.recorder.take():
            if entry.kind in ("dropped", "fault"):
                raise Wrong(f"{entry.kind} {entry.subject} {entry.value}: {entry.why}")
        shut = {c.gate for c in commands if isinstance(c, MoveGate) and c.what == "shut"}
        for tool in world.tools.values():
            if tool.reading == "running" and shut & set(tool.plan.gates):
                raise Wrong(f"C1: a gate of {tool.name} is told to shut")
        for command in commands:
            if isinstance(command, SwitchMotor) and command.what == "on":
                motor = world.motors[command.motor]
                if not world.enough(motor, world.open_area(motor, shut)):
                    raise Wrong(f"C2: {motor.name} is switched on without a path")
        for name, at_once in self.plan.supplies.items():
            busy = [gate.name for gate in world.gates.values() if gate.plan.supply == name and gate.is_busy(at_s)]
            if len(busy) > at_once:
                raise Wrong(f"C11: {busy} move at once on {name}")
        for motor in world.motors.values():
            if motor.on and (world.blocked(motor) is not None or motor.lease_until is None):
                raise Wrong(f"{motor.name} is on although it is blocked or has no lease")
            if motor.on != (motor.state in (MotorState.STARTING, MotorState.RUNNING, MotorState.SPIN_DOWN)):
                raise Wrong(f"{motor.name} is {motor.state} with on = {motor.on}")
        for gate in world.gates.values():
            if gate.moves and (gate.held is not None or world.frozen() is not None):
                raise Wrong(f"C26 or C13: {gate.name} moves")

    def _story(self, begin: list[Any], path: Any) -> str:
        """The path, and what the checker of the simulator says when it is played once more."""
        events: list[tuple[Event, float]] = []
        while path is not None:
            path, last = path
            events.append(last)
        events = [*begin, *reversed(events)]
        core, told = Supervisor(self.plan), [f"{at_s:9.3f} {event}" for event, at_s in events]
        for event, at_s in events:
            core.handle(event, at_s)
            while (due_s := core.next_deadline()) is not None and due_s <= at_s:
                core.handle(Ticked(), at_s)
        found = check_record(entry.as_json() for entry in core.recorder.take())
        return "\n".join([*told, "the checker says:", *(map(str, found) if found else ["nothing"])])


def all_rows(core: Supervisor) -> set[tuple[str, str, Any]]:
    """Every row of both tables."""
    machines = (core.world.gate_machine, core.world.motor_machine)
    return {(machine.name, row.event, row.source) for machine in machines for row in machine.table}


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--states", type=int, default=20000)
    parser.add_argument("--shop", choices=sorted(ALPHABETS))
    options = parser.parse_args()
    reached: Counter[tuple[str, str, Any]] = Counter()
    for name in [options.shop] if options.shop else ALPHABETS:
        plan, alphabet = ALPHABETS[name]
        walk, began = Walk(plan, alphabet, options.states, LEADS[name]), time.perf_counter()
        walk.run()
        took_s = time.perf_counter() - began
        end = "closed" if walk.closed else f"bound of {options.states} states reached"
        print(f"{name}: {walk.states} states, {walk.transitions} transitions, {end}, {took_s:.0f} s")
        reached += walk.reached
    core = Supervisor(TWO)
    core.handle(Woke(), 0.0)
    rows = all_rows(core)
    print(f"{len(rows & reached.keys())} of {len(rows)} table rows reached")
    unexplained = 0
    for row in sorted(rows - reached.keys(), key=str):
        unexplained += row not in REASONS
        print(f"  not reached: {row[0]} {row[1]} in {row[2]}: {REASONS.get(row, 'not within this bound')}")
    return 1 if unexplained else 0


if __name__ == "__main__":
    sys.exit(main())
