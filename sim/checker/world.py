"""The shop as the record tells it: every entry is applied here, in order; the rules only read."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from sim.checker.facts import ShopFacts
from sim.checker.form import TOL_S
from sim.checker.tracks import GateTrack, MotorTrack, ToolTrack

AREA_TOL_M2 = 1e-9
STORE_TOL = 0.002
"""Starts are given to a few digits: two thousandths of a start are not judged."""


@dataclass(slots=True)
class World:
    """Everything that has to be known to judge the next step."""

    shop: ShopFacts = field(default_factory=ShopFacts)
    gates: dict[str, GateTrack] = field(default_factory=dict)
    tools: dict[str, ToolTrack] = field(default_factory=dict)
    motors: dict[str, MotorTrack] = field(default_factory=dict)
    boot: object = None
    t_s: float = 0.0
    wake_t: float = 0.0
    woken: bool = False
    clean: bool = True
    circuits: dict[str, dict[str, bool]] = field(default_factory=lambda: {"emergency": {}, "fire": {}, "door": {}})
    emergency: bool = False
    fire: bool = False
    tools_out: set[str] = field(default_factory=set)
    shop_shut: bool = False
    setting_t: float = float("-inf")
    feeder_motor_t: dict[str, float] = field(default_factory=dict)
    feeder_tool_t: dict[str, float] = field(default_factory=dict)
    feeder_doubt_t: dict[str, float] = field(default_factory=dict)
    messages: dict[tuple[str | None, str], str] = field(default_factory=dict)

    # --- gates and paths -------------------------------------------------------------------------------------------

    def path_m2(self, motor: str, t_s: float, without: Iterable[str] = ()) -> float:
        """Confirmed-open area on a motor's own duct, standing relief included, some gates left out."""
        left_out = set(without)
        system = self.shop.systems[motor]
        area = system.relief_m2
        for name in system.gates:
            gate = self.gates.get(name)
            if gate is not None and name not in left_out and gate.confirmed_open(t_s):
                area += gate.facts.area_m2
        return area

    def path_enough(self, motor: str, t_s: float, without: Iterable[str] = ()) -> bool:
        """Whether that area reaches the motor's minimum."""
        return self.path_m2(motor, t_s, without) >= self.shop.systems[motor].path_minimum_m2 - AREA_TOL_M2

    def path_since(self, motor: str, t_s: float) -> float:
        """The latest instant at which a path that is enough now can have become so."""
        system = self.shop.systems[motor]
        area, need = system.relief_m2, system.path_minimum_m2 - AREA_TOL_M2
        since = float("-inf")
        proven = [self.gates[name] for name in system.gates if name in self.gates]
        # The open switch of a stuck gate need not be believed: such gates count last.
        for gate in sorted((g for g in proven if g.confirmed_open(t_s)), key=lambda g: (g.stuck, g.open_since())):
            if area >= need:
                break
            area += gate.facts.area_m2
            since = max(since, gate.open_since())
        return since

    def slot_free(self, supply: str | None, t_s: float, besides: str) -> bool:
        """Whether the core, however it counts, has a slot for one more actuator of this supply."""
        if supply is None or supply not in self.shop.at_once:
            return True
        busy = sum(
            1
            for name, gate in self.gates.items()
            if name != besides and gate.facts.supply == supply and gate.maybe_holds_slot(t_s)
        )
        return busy < self.shop.at_once[supply]

    # --- what forbids ----------------------------------------------------------------------------------------------

    def _door_open(self, motor: str) -> bool:
        for name, is_open in self.circuits["door"].items():
            systems = self.shop.inputs.get(name, ())
            if is_open and (not systems or motor in systems):
                return True
        return False

    def unread(self) -> bool:
        """Whether a circuit of the shop was not read since waking and the record says that it counts as open."""
        kinds = self.shop.input_kinds.items()
        return any(name not in self.circuits.get(kind, {name}) and self.message_up((name,)) for name, kind in kinds)

    def motor_out(self, motor: str) -> bool:
        """Out of service by a person or by a door (rule C14)."""
        return self.motors[motor].out_of_service or self._door_open(motor)

    def motor_forbidden(self, motor: str, t_s: float) -> str | None:
        """The first rule, in the order of yielding, that forbids switching this motor on."""
        if self.fire:
            return "C24"
        if self.emergency:
            return "C13"
        if self.motor_out(motor):
            return "C14"
        if self.motors[motor].mode in ("off", "hand"):
            return "C25"
        if self.shop_shut:
            return "C27"
        if not self.settled(motor, t_s, -TOL_S):
            return "C15"
        return None

    def gates_by_hand(self, motor: str) -> None:
        """Somebody asked for air on this duct: which gates that opens is not in the record."""
        for name in self.shop.systems[motor].gates:
            self.gates[name].by_hand = True

    def says_latched(self, motor: str) -> bool:
        """Whether the record says that this motor waits for a person, and tells them (rule C9)."""
        return self.motors[motor].says == "latched" and self.message_up((motor,), "now")

    def settled(self, motor: str, t_s: float, slack_s: float) -> bool:
        """Whether this motor's sensors have had their time since waking."""
        return self.woken and t_s >= self.wake_t + self.shop.systems[motor].settle_s + slack_s

    def gate_forbidden(self, name: str, t_s: float) -> str | None:
        """The first rule, in the order of yielding, that forbids moving this gate."""
        gate, systems = self.gates[name], self.shop.gate_systems[name]
        if self.fire:
            return "C24"
        if self.emergency:
            return "C13"
        if gate.out_of_service or any(self.motor_out(motor) for motor in systems):
            return "C14"
        if gate.stuck or gate.held or gate.resting_after_press(t_s, -TOL_S):
            return "C26"
        if systems and all(self.motors[motor].mode == "off" for motor in systems):
            return "C25"
        if not self.woken or (systems and not any(self.settled(motor, t_s, -TOL_S) for motor in systems)):
            return "C15"
        return None

    def gate_excused(self, name: str, t_s: float) -> bool:
        """Whether any reading of the rules lets the core leave this gate where it is."""
        gate, systems = self.gates[name], self.shop.gate_systems[name]
        return (
            not gate.facts.actuated
            or self.unread()
            or self.gate_forbidden(name, t_s) is not None
            or gate.resting_after_press(t_s, TOL_S)
            or any(self.motors[motor].mode == "off" for motor in systems)
            or any(not self.settled(motor, t_s, TOL_S) for motor in systems)
            or any(tool in self.tools_out for tool in self.shop.gate_tools[name])
        )

    # --- tools -----------------------------------------------------------------------------------------------------

    def run_on_s(self, tool: str, motor: str) -> tuple[float, float]:
        """Spin-down delay and longest clear time that this tool's stop asks of this motor, as now set."""
        own = self.shop.tools[tool].spin_down_s
        delay_s = self.shop.systems[motor].spin_down_s if own is None else own
        gates = [self.gates[name] for name in self.shop.tools[tool].gates if name in self.gates]
        clear_s = max((g.facts.clear_s for g in gates if motor in self.shop.gate_systems[g.facts.gate]), default=0.0)
        return delay_s, clear_s

    def run_on_until(self, tool: str, motor: str, stop_t: float) -> float:
        """The instant until which that stop keeps the motor running (rule C5)."""
        return stop_t + max(self.run_on_s(tool, motor))

    def overlong(self, tool: str, t_s: float) -> bool:
        """Rule C12: longer on than the tool's longest plausible run."""
        track = self.tools[tool]
        return (
            track.state == "running"
            and t_s >= max(track.start_t, track.vouched_t) + self.shop.tools[tool].longest_run_s - TOL_S
        )

    def cause_stands(self, tool: str, motor: str, t_s: float) -> bool:
        """Whether this tool's last good start still is a cause for the motor, by any reading."""
        track = self.tools[tool]
        if motor not in track.causes:
            return False
        if track.state == "running" and not track.said_stopped:
            return True
        if track.state == "stale" and not track.said_stopped and track.lost_running:
            return t_s <= track.stale_t + self.shop.tools[tool].hold_s + max(self.run_on_s(tool, motor)) + TOL_S
        return track.stop_t is not None and t_s <= self.run_on_until(tool, motor, track.stop_t) + TOL_S

    def end_causes(self, t_s: float) -> None:
        """A cause that is over stays over: a delay made longer afterwards brings none back (rules C5, C21)."""
        for name, track in self.tools.items():
            for motor in tuple(track.causes):
                if not self.cause_stands(name, motor, t_s):
                    del track.causes[motor]
                elif track.stop_t is not None and track.state == "stopped":
                    track.causes[motor] &= t_s < self.run_on_until(name, motor, track.stop_t) - TOL_S

    # --- motors ----------------------------------------------------------------------------------------------------

    def store(self, motor: str, t_s: float) -> float:
        """Starts in store; without a rate the motor has no limit and the store is always full."""
        track, rate = self.motors[motor], self.shop.systems[motor].starts_per_hour
        if rate is None:
            return 2.0
        return min(2.0, track.store + rate * max(0.0, t_s - track.store_t) / 3600.0)

    def store_ready_t(self, motor: str) -> float:
        """When one whole start is in store."""
        track, rate = self.motors[motor], self.shop.systems[motor].starts_per_hour
        if rate is None or track.store >= 1.0:
            return float("-inf")
        return track.store_t + (1.0 - track.store) * 3600.0 / rate if rate > 0 else float("inf")

    def charge(self, motor: str, t_s: float) -> None:
        """Take one start out of the store."""
        track = self.motors[motor]
        track.store, track.store_t = max(0.0, self.store(motor, t_s) - 1.0), t_s

    def consume(self, motor: str) -> None:
        """A forced stop uses up every cause that stood (rule C21)."""
        track = self.motors[motor]
        for tool in self.tools.values():
            tool.causes.pop(motor, None)
        track.runs.clear()
        track.any_cut = track.failed = False  # what comes next is another cause, with a retry of its own
        track.retry_causes.clear()
        track.retry_runs.clear()

    def forced_off(self, motor: str, t_s: float) -> None:
        """The motor was on and is stopped for another reason than rule C5."""
        track = self.motors[motor]
        track.on, track.off_t, track.ran_until = False, t_s, t_s
        rested_t = t_s + self.shop.systems[motor].rest_s
        if self.store(motor, t_s) < 1.0 - STORE_TOL:
            track.rest_until = rested_t
        elif self.store(motor, t_s) < 1.0 + STORE_TOL:
            track.rest_excuse = max(track.rest_excuse, rested_t)  # too close to say whether it was emptied
        self.consume(motor)

    def fan_runs(self, motor: str, t_s: float) -> bool:
        """The term of the rules: commanded on, or seen running, or within its coast time after either."""
        track = self.motors[motor]
        if track.is_on(t_s) or track.seen == "running":
            return True
        return t_s < track.ran_until + self.shop.systems[motor].coast_s - TOL_S

    def start_gap_t(self, motor: str, *, doubtful: bool) -> float:
        """When the feeder's gap after the last start on it is over; `doubtful` counts tools found running too."""
        feeder = self.shop.systems[motor].feeder
        if feeder is None:
            return float("-inf")
        last = max(
            self.feeder_motor_t.get(feeder, float("-inf")),
            self.feeder_tool_t.get(feeder, float("-inf")),
            self.feeder_doubt_t.get(feeder, float("-inf")) if doubtful else float("-inf"),
        )
        return last + self.shop.gap_s.get(feeder, 0.0)

    def message_up(self, subjects: Iterable[str], heap: str | None = None) -> bool:
        """Whether a message about one of these subjects is raised and not cleared."""
        wanted = set(subjects)
        return any(
            subject in wanted and (heap is None or found == heap) for (subject, _), found in self.messages.items()
        )
