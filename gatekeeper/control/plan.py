"""What the core must know of a shop: frozen numbers, no text from any file, no devices.

Everything is SI: metres squared, seconds. Names are the shop's own names. A ``Plan`` is built once, from a
checked config (``gatekeeper.service.planning``) or by hand in a test, and never changes while the core runs;
what a person may change while it runs is a *setting* (``gatekeeper.control.messages.SettingChanged``).
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class MotorKind(StrEnum):
    """What a motor moves."""

    COLLECTOR = "collector"
    VACUUM = "vacuum"
    AIR_CLEANER = "air_cleaner"
    SHAKER = "shaker"


class Proof(StrEnum):
    """What proves that air can reach a fan (RULES, C3a)."""

    SWITCHES = "switches"
    RELIEF = "relief"
    AIR = "air"
    TIME = "time"
    PERSON = "person"


class InputKind(StrEnum):
    """Inputs that stop things; the words are those of the record."""

    EMERGENCY = "emergency"
    FIRE = "fire"
    DOOR = "door"


@dataclass(frozen=True, slots=True)
class GatePlan:
    """One gate on one system.

    Args:
        name: the gate's name.
        system: the motor whose duct it sits on.
        area_m2: free area when open, more than 0.
        travel_s: the longest time a full move takes, more than 0.
        actuated: False for a gate moved by hand.
        has_switch: True where a position switch says that it is open; without one a full travel time is the proof
            (an actuated gate) or nothing is (a hand gate).
        sees_shut: True where a switch also says that it is shut; without one the travel time is believed once the
            other switch no longer says open.
        supply: the supply that feeds its actuator and rations moves; None for no ration.
        clear_s: time its branch needs to empty after the cut.
        dead_s: pause the driver makes before it reverses a move.
        can_halt: True where the driver can stop it in mid-travel.
        spring_return: True where the gate falls back by a spring: a halt holds it where it is.
        as_extra: False where it must never be opened as extra air (C17).
        retries: attempts after the first before the gate counts as stuck.
        shake: True where a short back-and-forth may shake chips loose (C10).
    """

    name: str
    system: str
    area_m2: float
    travel_s: float = 2.0
    actuated: bool = True
    has_switch: bool = False
    sees_shut: bool = True
    supply: str | None = None
    clear_s: float = 3.0
    dead_s: float = 0.0
    can_halt: bool = True
    spring_return: bool = False
    as_extra: bool = True
    retries: int = 2
    shake: bool = True


@dataclass(frozen=True, slots=True)
class MotorPlan:
    """One motor that we start. Collectors and vacuums have gates; an air cleaner and a shaker have none.

    Args:
        name, kind: which motor.
        feeder: the feeder it starts on; None for one of its own.
        spin_down_s: how long it keeps running after the last tool stops, unless a setting says otherwise.
        path_minimum_m2: confirmed-open area without which it may not run.
        relief_m2: area of a port that is never shut.
        proof: what proves the path (C3a).
        starts_per_hour: refill of the start store; starts_capacity: what the store holds (2, C8).
        rest_s: rest after a forced stop that left less than one start in store.
        coast_s: how long air still moves after the motor is off.
        release_s: how long a current may still be seen after "off".
        confirm_s: time in which a running motor must be seen; None where nothing sees it.
        lease_s: how long one "on" holds without a renewal.
        settle_s: pause after waking in which nothing moves.
        resume: True where the restart of the process within one boot may resume a run (C21, the sole exception).
        run_on_min_s, run_on_max_s, run_on_full_cut_s: air cleaner only: it runs on between the two, by how much was
            cut since it last stopped; the longest from ``run_on_full_cut_s`` of cutting (two to eight hours: common
            practice; the slope is ours).
        follows, shake_s: shaker only: the motor whose run it follows, and for how long it shakes.
    """

    name: str
    kind: MotorKind = MotorKind.COLLECTOR
    feeder: str | None = None
    spin_down_s: float = 8.0
    path_minimum_m2: float = 0.0
    relief_m2: float = 0.0
    proof: Proof = Proof.TIME
    starts_per_hour: float = 8.0
    starts_capacity: float = 2.0
    rest_s: float = 80.0
    coast_s: float = 10.0
    release_s: float = 1.0
    confirm_s: float | None = None
    lease_s: float = 5.0
    settle_s: float = 2.0
    resume: bool = False
    run_on_min_s: float = 7200.0
    run_on_max_s: float = 28800.0
    run_on_full_cut_s: float = 14400.0
    follows: str | None = None
    shake_s: float = 20.0


@dataclass(frozen=True, slots=True)
class ToolPlan:
    """One tool: its gates (on one system or two), and how its stops count.

    Args:
        gates: names of its gates; may be shared with other tools.
        spin_down_s: replaces the collector's delay for this tool's stops; None for the collector's.
        longest_run_s: longest plausible run before the controller asks whether it still cuts.
        hold_s: how long a lost sensor's tool still counts as running.
        feeder: the feeder it starts on; None for one of its own.
    """

    name: str
    gates: tuple[str, ...]
    spin_down_s: float | None = None
    longest_run_s: float = 7200.0
    hold_s: float = 1800.0
    feeder: str | None = None


@dataclass(frozen=True, slots=True)
class InputPlan:
    """An input that stops things: ``systems`` empty means the whole shop (doors name their motors)."""

    name: str
    kind: InputKind
    systems: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class AirAnswer:
    """What the air says for one set of running tools on one system.

    Args:
        extra: gates to open beside the tools' own, in order of use.
        short: names of tools that get less than they need, with the missing part (0 to 1).
    """

    extra: tuple[str, ...] = ()
    short: tuple[tuple[str, float], ...] = ()

    def missing(self, tool: str) -> float:
        """The missing part of one tool's air; 0 where it has enough."""
        return next((share for name, share in self.short if name == tool), 0.0)


#: The seam of C17: from (system, set of running tools) to what the air needs. A set that is not in it was not computed.
AirTable = Mapping[tuple[str, frozenset[str]], AirAnswer]


@dataclass(frozen=True, slots=True)
class Plan:
    """A whole shop as the core sees it. Every mapping is keyed by name; order is the order of the config.

    Args:
        supplies: how many actuators may move at once on each supply, at least 1.
        feeders: gap after an inrush on each feeder, 0 to 5 s (C22).
        answer_s: how long the question "does it still cut?" waits for an answer (C12).
        remote_start: True where a request from the page or a broker may start a motor.
        hand_open_s: how long a gate opened by hand request stays open when the request names no time.
        sweep_gates: gates used by a floor sweep.
    """

    motors: Mapping[str, MotorPlan]
    gates: Mapping[str, GatePlan]
    tools: Mapping[str, ToolPlan]
    supplies: Mapping[str, int] = field(default_factory=dict)
    feeders: Mapping[str, float] = field(default_factory=dict)
    inputs: Mapping[str, InputPlan] = field(default_factory=dict)
    air: AirTable = field(default_factory=dict)
    answer_s: float = 600.0
    remote_start: bool = False
    hand_open_s: float = 600.0
    sweep_gates: tuple[str, ...] = ()

    def gates_of(self, system: str) -> tuple[GatePlan, ...]:
        """The gates on one system's duct, in order."""
        return tuple(gate for gate in self.gates.values() if gate.system == system)

    def systems_of(self, tool: str) -> tuple[str, ...]:
        """The systems that serve a tool, in the order of its gates, each once."""
        return tuple(dict.fromkeys(self.gates[gate].system for gate in self.tools[tool].gates))

    def missing_air(self, tool: str, running: Collection[str]) -> float:
        """The largest part (0 to 1) of its air that a tool misses on one of its systems while ``running`` run."""
        worst = 0.0
        for system in self.systems_of(tool):
            here = frozenset(name for name in running if system in self.systems_of(name))
            answer = self.air.get((system, here))
            worst = max(worst, answer.missing(tool) if answer is not None else 0.0)
        return worst

    def check(self) -> None:
        """Raise ValueError on a plan that cannot be: unknown names or impossible numbers (our bug, not the user's)."""
        for gate in self.gates.values():
            if gate.system not in self.motors:
                raise ValueError(f"gate {gate.name}: no motor {gate.system}")
            if gate.area_m2 <= 0 or gate.travel_s <= 0:
                raise ValueError(f"gate {gate.name}: area and travel must be more than 0")
            if gate.supply is not None and self.supplies.get(gate.supply, 0) < 1:
                raise ValueError(f"gate {gate.name}: no supply {gate.supply} that moves at least one")
        for tool in self.tools.values():
            for name in tool.gates:
                if name not in self.gates:
                    raise ValueError(f"tool {tool.name}: no gate {name}")
        starters: tuple[MotorPlan | ToolPlan, ...] = (*self.motors.values(), *self.tools.values())
        for starter in starters:
            if starter.feeder is not None and starter.feeder not in self.feeders:
                raise ValueError(f"{starter.name}: no feeder {starter.feeder}")
        for motor in self.motors.values():
            if motor.starts_per_hour <= 0:
                raise ValueError(f"motor {motor.name}: starts an hour must be more than 0")
            if motor.kind is MotorKind.SHAKER and motor.follows not in self.motors:
                raise ValueError(f"shaker {motor.name}: no motor {motor.follows} to follow")
        for source in self.inputs.values():
            for system in source.systems:
                if system not in self.motors:
                    raise ValueError(f"input {source.name}: no motor {system}")
