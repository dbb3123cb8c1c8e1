"""Rules about single gates and their slots: C1, C4, C6, C10, C11, and who may not be moved (C13, C14, C24 to C26)."""

from collections.abc import Iterable
from dataclasses import dataclass

from sim.checker.due import Due
from sim.checker.form import TOL_S
from sim.checker.step import Line, Step
from sim.checker.tracks import GateTrack
from sim.checker.world import World

AT_ONCE_S = 1.0
"""How long a thing that has become possible may take, seconds (rules C5 and C20 name one second)."""

RETRY_WITHIN_S = 10.0
"""How long after a miss behind a running tool the core may leave its gate without a new try, seconds."""

NO_MOTION = {
    "C13": "moved although the emergency circuit was opened and nobody has reset it",
    "C14": "moved although it is out of service",
    "C15": "moved before the sensors had settled after waking",
    "C24": "moved although the fire alarm is latched",
    "C25": "moved although its system is switched off by hand",
    "C26": "moved although it is held, stuck or was released less than 3 s ago",
}


@dataclass(slots=True)
class Waiting:
    """A gate whose tool has started and which could not be opened in that step."""

    tool: str
    start_t: float
    said: bool = False


class GateRules:
    """Judges the gate commands of one step."""

    def __init__(self, world: World, due: Due) -> None:
        self.world = world
        self.due = due
        self.waiting: dict[str, Waiting] = {}

    def new_run(self) -> None:
        """Nothing waits in a new process."""
        self.waiting.clear()

    # --- the list, before it is carried out ------------------------------------------------------------------------

    def before(self, step: Step) -> None:
        """Every open and shut of the list."""
        for line in step.of("gate_command"):
            gate = self.world.gates.get(line.subject or "")
            if gate is None or line.word not in ("open", "shut"):
                continue
            name = gate.facts.gate
            rule = self.world.gate_forbidden(name, step.t_s)
            if rule is not None:
                step.flag(rule, line, name, f"{name} was {NO_MOTION[rule]}.")
                continue
            if line.word == "shut":
                self._shut(step, line, gate)
            self._order(step, line, gate)

    def _shut(self, step: Step, line: Line, gate: GateTrack) -> None:
        name = gate.facts.gate
        for tool in self.world.shop.gate_tools[name]:
            track = self.world.tools[tool]
            if track.possibly_running():
                lost = "may still run: its sensor is lost" if track.state == "stale" else "is running"
                step.flag("C1", line, name, f"{name} was told to shut while {tool} {lost}.")
                return
            if self._clearing(tool, name, step):
                step.flag("C6", line, name, f"{name} was told to shut before the clear time of {tool} was over.")
                return

    def _clearing(self, tool: str, name: str, step: Step) -> bool:
        track = self.world.tools[tool]
        if track.stop_t is None or not track.others_ran:
            return False
        if not any(motor in step.was_on for motor in self.world.shop.gate_systems[name]):
            return False
        return step.t_s < track.stop_t + self.world.gates[name].facts.clear_s - TOL_S

    def _order(self, step: Step, line: Line, gate: GateTrack) -> None:
        """Rule C4 with C11: nothing takes a slot while a running tool's gate waits for one."""
        name, supply = gate.facts.gate, gate.facts.supply
        if name in step.moving or gate.at_rest_as_told(str(line.word), step.t_s):
            return
        if line.word == "open" and self._is_lost_path(gate, step.t_s):
            return
        served = step.subjects("gate_command", "open")
        behind = [self.world.tools[tool] for tool in self.world.shop.gate_tools[name]] if line.word == "open" else []
        starts = [track.start_t for track in behind if track.state in ("running", "stale")]
        for other, waiting in self.waiting.items():
            if other == name or other in served or self.world.gates[other].facts.supply != supply:
                continue
            if self.world.gate_excused(other, step.t_s) or not self.world.tools[waiting.tool].possibly_running():
                continue
            if self.world.gates[other].missed:
                continue  # its first attempt was made: retries wait for other first attempts and for paths
            if self.world.gates[other].opening() or any(start <= waiting.start_t for start in starts):
                continue
            step.flag("C4", line, name, f"{name} was moved while {other} of the running {waiting.tool} waits.")
            return

    def _is_lost_path(self, gate: GateTrack, t_s: float) -> bool:
        """A fan has no path, and this gate of its duct has its slot still: C3 comes before C11 and C4."""
        motors = self.world.shop.gate_systems[gate.facts.gate]
        return gate.maybe_holds_slot(t_s) and any(
            self.world.shop.path_binds(motor)
            and (self.world.fan_runs(motor, t_s) or self._may_run_by_hand(motor, t_s))
            and not self.world.path_enough(motor, t_s)
            for motor in motors
        )

    def _may_run_by_hand(self, motor: str, t_s: float) -> bool:
        """At Hand a fan may run unseen, and coast when the switch has left it."""
        track = self.world.motors[motor]
        return track.mode == "hand" or t_s < track.mode_t + self.world.shop.systems[motor].coast_s

    def _runners(self, gate: str) -> list[str]:
        served = [(tool, self.world.tools[tool]) for tool in self.world.shop.gate_tools[gate]]
        return [tool for tool, track in served if track.state == "running" and not track.said_stopped]

    # --- after the list --------------------------------------------------------------------------------------------

    def after(self, step: Step) -> None:
        """What the list should have done, and how many actuators it set going."""
        self._slots(step)
        self._halts(step)
        for line, _ in step.tool_starts:
            self._starts(step, line)
        self._wait(step)
        for name, gate in self.world.gates.items():
            self._retry(step, name, gate)
            self._clear(step, name, gate)

    def _slots(self, step: Step) -> None:
        begun = [line for line in step.of("gate_command") if line.word in ("open", "shut")]
        for supply, at_once in self.world.shop.at_once.items():
            moving = {n for n, g in self.world.gates.items() if g.facts.supply == supply and g.moving(step.t_s)}
            new = [line for line in begun if line.subject in moving and line.subject not in step.moving]
            if len(moving) > at_once and new:
                sentence = f"{len(moving)} gates move at once on {supply}; {at_once} may."
                step.flag("C11", new[-1], new[-1].subject, sentence)

    def _halts(self, step: Step) -> None:
        halted = step.subjects("gate_command", "halt")
        for name, (line, rule) in step.halts.items():
            gate = self.world.gates.get(name)
            if gate is None or gate.facts.spring or gate.facts.can_halt is False or name not in step.moving:
                continue
            if name not in halted and gate.moving(step.t_s):
                step.flag(rule, line, name, f"{name} was not halted in the step that forbids it to move.")

    def _starts(self, step: Step, line: Line) -> None:
        tool = line.subject or ""
        for name in self.world.shop.tools[tool].gates:
            gate = self.world.gates.get(name)
            if gate is None or not gate.facts.actuated or gate.opening() or gate.confirmed_open(step.t_s):
                continue
            if self.world.gate_excused(name, step.t_s):
                self.waiting[name] = Waiting(tool, line.t_s)
            elif name in step.shutting:
                step.flag("C1", line, name, f"{name} was moving shut when {tool} started, and was not reversed.")
            elif self.world.slot_free(gate.facts.supply, step.t_s, name) and not self._earlier(
                gate, tool, line.t_s, step
            ):
                step.flag("C4", line, name, f"{name} was not opened in the step that saw {tool} start.")
            else:
                before = self.waiting.get(name)  # it waits already for another tool: one wait is told once
                self.waiting[name] = Waiting(tool, line.t_s, said=before is not None and before.said)
                self._stop_a_move(step, line, gate)

    def _earlier(self, gate: GateTrack, tool: str, start_t: float, step: Step) -> bool:
        """Whether the slot that this gate itself may still take is owed to a tool that started earlier."""
        return any(
            waiting.tool != tool
            and waiting.start_t <= start_t
            and not self.world.gate_excused(name, step.t_s)
            and self.world.gates[name].facts.supply == gate.facts.supply
            for name, waiting in self.waiting.items()
        )

    def _stop_a_move(self, step: Step, line: Line, gate: GateTrack) -> None:
        """Rule C4: a shutting that no running tool needs gives up its slot, where the driver can halt."""
        halted = step.subjects("gate_command", "halt")
        idle = [
            name
            for name in sorted(step.shutting)
            if (other := self.world.gates[name]).facts.supply == gate.facts.supply
            and other.facts.can_halt is True
            and other.moving(step.t_s)
            and not any(self.world.tools[tool].possibly_running() for tool in self.world.shop.gate_tools[name])
        ]
        if idle and not halted:
            name = gate.facts.gate
            step.flag("C4", line, name, f"{name} waits for a slot and {idle[0]}, which nobody needs, was not stopped.")

    def _wait(self, step: Step) -> None:
        for name, waiting in list(self.waiting.items()):
            gate = self.world.gates[name]
            if not self.world.tools[waiting.tool].possibly_running() or gate.opening() or gate.confirmed_open(step.t_s):
                del self.waiting[name]
                self.due.forget("C4", name)
                continue
            free = self.world.slot_free(gate.facts.supply, step.t_s, name)
            excused = self.world.gate_excused(name, step.t_s)
            excused = excused or (
                gate.maybe_holds_slot(step.t_s) and self._earlier(gate, waiting.tool, waiting.start_t, step)
            )
            if self.due.overdue("C4", name, free and not excused, step.t_s, AT_ONCE_S):
                step.late("C4", name, f"{name} of the running {waiting.tool} still waits although a slot is free.")
            self._said(step, name, waiting, queued=not free and not excused)

    def _said(self, step: Step, name: str, waiting: Waiting, *, queued: bool) -> None:
        """Rule C20: a wait of over one second in the queue is in the history."""
        since = waiting.start_t - TOL_S
        spoken = self.world.gates[name].reason_t >= since or any(
            line.why and line.subject == waiting.tool for line in step.lines
        )
        waiting.said = waiting.said or spoken
        if queued and not waiting.said and step.t_s > waiting.start_t + AT_ONCE_S + TOL_S:
            waiting.said = True
            step.late("C20", name, f"{name} has waited over 1 s for a slot and the history does not say why.")

    def _retry(self, step: Step, name: str, gate: GateTrack) -> None:
        """Rule C10: a missed opening is tried again, or the gate is declared stuck."""
        if not gate.missed or gate.command != "open":
            self.due.forget("C10", f"{name} {gate.missed_seq}")
            return
        due = (
            not gate.confirmed_open(step.t_s)
            and bool(self._runners(name))
            and not self.world.gate_excused(name, step.t_s)
            and self.world.slot_free(gate.facts.supply, step.t_s, name)
        )
        if self.due.overdue("C10", f"{name} {gate.missed_seq}", due, step.t_s, gate.facts.travel_s + RETRY_WITHIN_S):
            step.late("C10", name, f"{name} missed its opening behind a running tool and was not tried again.")

    def _clear(self, step: Step, name: str, gate: GateTrack) -> None:
        """Rule C6: after the clear time the gate shuts as soon as path and slots allow, or says why it stays open."""
        due = self._must_shut(step, name, gate)
        if self.due.overdue("C6", name, due, step.t_s, AT_ONCE_S):
            step.late("C6", name, f"{name} stays open after its clear time without a reason, while another tool runs.")

    def _must_shut(self, step: Step, name: str, gate: GateTrack) -> bool:
        shop, t_s = self.world.shop, step.t_s
        if not gate.confirmed_open(t_s) or gate.command == "shut" or gate.by_hand:
            return False
        tracks = [self.world.tools[tool] for tool in shop.gate_tools[name]]
        stops = [track.stop_t for track in tracks if track.stop_t is not None]
        if any(track.state != "stopped" for track in tracks) or not shop.gate_systems[name]:
            return False
        # A tool that was said to have stopped, or whose sensor was lost, may have cut until its reading says so.
        if not stops or t_s < max(*stops, *(track.back_t for track in tracks)) + gate.facts.clear_s:
            return False
        if gate.reason_t >= max(stops):
            return False
        if self.world.gate_excused(name, t_s) or not self.world.slot_free(gate.facts.supply, t_s, name):
            return False
        doubted = [other for other, track in self.world.gates.items() if track.open_before_told(t_s)]
        return all(
            shop.path_binds(motor)
            and self.world.motors[motor].is_on(t_s)
            and self.world.path_enough(motor, t_s, (name, *doubted))
            and self._own_air(motor, name)
            and self._air_allows(motor)
            for motor in shop.gate_systems[name]
        )

    def _air_allows(self, motor: str) -> bool:
        """Rule C3a: nothing shuts while the air is not proved."""
        return self.world.shop.proof_of(motor) != "air" or self.world.motors[motor].air is True

    def _own_air(self, motor: str, without: str) -> bool:
        """Whether another tool runs on this motor and has all its gates here open, so that nothing keeps this one."""
        shop = self.world.shop
        running = [tool for tool in shop.motor_tools[motor] if self.world.tools[tool].state == "running"]
        gates: Iterable[str] = {g for tool in running for g in shop.tools[tool].gates if motor in shop.gate_systems[g]}
        return bool(running) and all(g != without and self.world.gates[g].opening() for g in gates)
