"""What the checker of the record cannot see: whether the shop itself was as the record says, judged on the truth.

Four things are asked, each only where no fault of the play explains it otherwise:

1. ``blind``: a sensor's word is what is truly so, at the latest ``SEES_S`` after a change.
2. ``closed``: no fan that the controller has switched on pulls on truly shut gates for longer than one worst travel and
   2 s (C3).
3. ``runs on``: a motor that was told off, or whose lease ran out, comes to rest within its release and coast times.
4. ``silent``: a tool that has run for ``SPEAKS_S`` has its gates truly open and a fan truly turning, or a standing
   message or an out-of-order input says why not (C16, C20).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from gatekeeper.control.messages import Entry
from gatekeeper.shop.model import BoardDeath, Proof, Shop
from sim.catalogue_board import STANDS_STILL_S, STILL
from sim.catalogue_row import Part
from sim.half_hour import Put

#: A clamp's verdict is there within this time, a first look after waking too. The detector's own times and a breath.
SEES_S = 3.0
#: A running tool has its air, or is told why not, within this time: settling, a queue of gates and an inrush gap.
SPEAKS_S = 40.0
#: While nothing happens it looks this often.
LOOKS_S = 1.0
#: One step, and the rounding of the record.
STEP_S = 0.05
#: A slide this far open lets all air through; this far off the end of its way it counts as open to the truth.
OPEN = 0.9


@dataclass(frozen=True, slots=True)
class Untrue:
    """One thing that was not so. ``what`` is one of the four words above."""

    what: str
    t_s: float
    subject: str
    sentence: str

    def __str__(self) -> str:
        return f"{self.what} at {self.t_s:.3f} s: {self.sentence}"


class TruthJudge:
    """Hears every entry of a play, truth entries among them, with the play's own time.

    Args:
        shop: the shop.
        puts: the faults of the play.
    """

    def __init__(self, shop: Shop, puts: Sequence[Put]) -> None:
        self._shop = shop
        self._faults = [put.fault for put in puts]
        self._parts = {fault.part for fault in self._faults}
        self._gates = dict.fromkeys(shop.gates, 0.0)
        self._speeds = dict.fromkeys(shop.motors, 0.0)
        self._tools: dict[str, float | None] = dict.fromkeys(shop.tools)
        self._readings: dict[str, str | None] = dict.fromkeys(shop.tools)
        self._on_until: dict[str, float] = dict.fromkeys(shop.motors, -math.inf)
        self._rests_by: dict[str, float] = {}
        self._closed_since: dict[str, float] = {}
        self._blind_since: dict[str, float] = {}
        self._silent_since: dict[str, float] = {}
        self._standing: dict[tuple[str, str], str] = {}
        self._excused: set[str] = set()
        self._told: set[tuple[str, str]] = set()
        self._awake_s = math.inf
        self._deaf = sorted((put.from_s, put.from_s + STANDS_STILL_S) for put in puts if put.fault.name == STILL)
        self._hands = dict.fromkeys(shop.motors, "auto")
        worst = max((gate.travel_s + gate.dead_s for gate in shop.gates.values() if gate.is_actuated), default=0.0)
        self._closed_limit_s = worst + 2.0 + STEP_S
        #: A gate whose switches lie, or that nothing watches, is what somebody broke: the truth is not the record's.
        self._judges_gates = not self._parts & {Part.GATE, Part.SWITCH, Part.AIR}
        self._judges_sensors = Part.SENSOR not in self._parts
        self._judges_motors = not self._parts & {Part.MOTOR, Part.SENSOR}
        self._alone = {
            name
            for name, tool in shop.tools.items()
            if tool.circuit is None or len(shop.circuits[tool.circuit].tools) == 1
        }
        self._judged_s = -math.inf
        self._own = {name: shop.gates_of(name) for name in shop.motors}
        self.found: list[Untrue] = []

    # ---------------------------------------------------------------- hearing

    def hear(self, now_s: float, entry: Entry) -> None:
        """Take an entry, and judge what has become overdue by now."""
        kind, subject = entry.kind, entry.subject or ""
        handler = _HANDLERS.get(kind)
        if handler is not None:
            handler(self, now_s, subject, entry)
        if handler is not None or (kind == "tick" and now_s >= self._judged_s + LOOKS_S):
            self._judged_s = now_s
            self._judge(now_s)

    def finish(self, now_s: float) -> None:
        """The play ends: judge what has become overdue by then."""
        self._judge(now_s)

    def _gate(self, now_s: float, subject: str, entry: Entry) -> None:
        self._gates[subject] = float(entry.value)

    def _motor(self, now_s: float, subject: str, entry: Entry) -> None:
        self._speeds[subject] = float(entry.value)
        if self._speeds[subject] == 0.0:
            self._rests_by.pop(subject, None)

    def _tool(self, now_s: float, subject: str, entry: Entry) -> None:
        runs = float(entry.value) > 0.0
        if runs and self._tools[subject] is None:
            self._tools[subject] = now_s
        elif not runs:
            self._tools[subject] = None
            self._excused.discard(subject)
        self._blind_since.pop(subject, None)

    def _reading(self, now_s: float, subject: str, entry: Entry) -> None:
        value = entry.value
        self._readings[subject] = value["what"] if isinstance(value, dict) else value
        self._blind_since.pop(subject, None)

    def _command(self, now_s: float, subject: str, entry: Entry) -> None:
        if entry.value == "off":
            self._let_go(now_s, subject)
        else:
            # A lease is as long on the board's own clock as on the play's.
            self._on_until[subject] = now_s + float(entry.value["until_s"]) - entry.t_s
            self._rests_by.pop(subject, None)

    def _let_go(self, now_s: float, motor: str) -> None:
        self._on_until[motor] = -math.inf
        part = self._shop.motors[motor]
        later_s = part.switch.death_after_s if part.switch.board_death is BoardDeath.DROPS_LATER else 0.0
        if self._speeds[motor] > 0.0:
            self._rests_by[motor] = now_s + max(part.release_s, later_s) + later_s + part.coast_s + 1.0

    def _message(self, now_s: float, subject: str, entry: Entry) -> None:
        key = subject, str(entry.value["code"])
        if entry.value["what"] == "cleared":
            self._standing.pop(key, None)
        elif entry.value["what"] == "raised":
            self._standing[key] = str(entry.value["heap"])

    def _woke(self, now_s: float, subject: str, entry: Entry) -> None:
        self._awake_s = now_s
        self._readings = dict.fromkeys(self._shop.tools)
        self._standing.clear()
        self._blind_since.clear()
        self._silent_since.clear()
        for motor in self._shop.motors:
            self._let_go(now_s, motor)

    def _request(self, now_s: float, subject: str, entry: Entry) -> None:
        if entry.value["what"] == "stopped":
            self._excused.add(subject)  # a person's word counts until its next change of reading

    def _hand(self, now_s: float, subject: str, entry: Entry) -> None:
        self._hands[subject] = str(entry.value)
        self._rests_by.pop(subject, None)

    def _ended(self, now_s: float, subject: str, entry: Entry) -> None:
        """The controller is gone: nothing is asked until it is back."""
        self._awake_s = math.inf
        self._closed_since.clear()
        self._rests_by.clear()

    # ---------------------------------------------------------------- judging

    def _judge(self, now_s: float) -> None:
        if now_s < self._awake_s + SEES_S or any(from_s <= now_s < to_s + SEES_S for from_s, to_s in self._deaf):
            self._blind_since.clear()
            self._silent_since.clear()
            return
        if self._judges_sensors:
            self._see(now_s)
        for motor in self._shop.motors:
            if self._judges_gates and self._shop.motors[motor].has_ducts:
                self._pulls(now_s, motor)
            if self._judges_motors and now_s > self._rests_by.get(motor, math.inf):
                self._complain("runs on", now_s, motor, f"{motor} was told off and still turns")
                self._rests_by.pop(motor)
        if self._judges_gates and self._judges_motors:
            for tool in self._tools:
                self._serves(now_s, tool)

    def _see(self, now_s: float) -> None:
        for tool, since_s in self._tools.items():
            truly = "stopped" if since_s is None else "running"
            if tool not in self._alone or self._readings[tool] == truly:
                self._blind_since.pop(tool, None)
                continue
            begun_s = self._blind_since.setdefault(tool, now_s)
            if now_s > begun_s + SEES_S:
                said = self._readings[tool]
                self._complain("blind", now_s, tool, f"{tool} is {truly} and its sensor says {said}")

    def _pulls(self, now_s: float, motor: str) -> None:
        part = self._shop.motors[motor]
        driven = now_s <= self._on_until[motor] and self._speeds[motor] > 0.0 and self._hands[motor] == "auto"
        area_m2 = part.relief_m2 + sum(gate.area_m2 for gate in self._own[motor] if self._gates[gate.name] >= OPEN)
        if not driven or part.proof is Proof.PERSON or area_m2 >= part.path_minimum_m2 * (1 - 1e-6):
            self._closed_since.pop(motor, None)
            return
        begun_s = self._closed_since.setdefault(motor, now_s)
        if now_s > begun_s + self._closed_limit_s:
            self._complain("closed", now_s, motor, f"{motor} has pulled on shut gates since {begun_s:.3f} s")

    def _serves(self, now_s: float, tool: str) -> None:
        part = self._shop.tools[tool]
        missing = None
        if self._tools[tool] is not None and self._readings[tool] == "running":
            shut = (name for name in part.gates if self._shop.gates[name].is_actuated and self._gates[name] < OPEN)
            still = (name for name in part.systems if self._speeds[name] < OPEN)
            missing = next(shut, None) or next(still, None)
        if missing is None or tool in self._excused or self._is_told(tool):
            self._silent_since.pop(tool, None)
            return
        begun_s = self._silent_since.setdefault(tool, now_s)
        if now_s > begun_s + SPEAKS_S:
            word = "is not open" if missing in self._gates else "stands"
            self._complain("silent", now_s, tool, f"{tool} runs, {missing} {word}, and nothing says so")

    def _is_told(self, tool: str) -> bool:
        part = self._shop.tools[tool]
        about = {tool, *part.gates, *part.systems}
        return any(subject in about or code in _WHOLE_SHOP for subject, code in self._standing)

    def _complain(self, what: str, now_s: float, subject: str, sentence: str) -> None:
        if (what, subject) not in self._told:
            self._told.add((what, subject))
            self.found.append(Untrue(what, now_s, subject, sentence))


_WHOLE_SHOP = frozenset({"emergency", "fire", "door_open"})
_HANDLERS = {
    "truth_gate": TruthJudge._gate,
    "truth_motor": TruthJudge._motor,
    "truth_tool": TruthJudge._tool,
    "tool": TruthJudge._reading,
    "motor_command": TruthJudge._command,
    "message": TruthJudge._message,
    "wake": TruthJudge._woke,
    "request": TruthJudge._request,
    "hand": TruthJudge._hand,
    "stopped": TruthJudge._ended,
    "kill": TruthJudge._ended,
}
