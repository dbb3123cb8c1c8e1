"""Plays a shop against the core: honest machinery that can be broken, people, time, restarts; judged by the checker.

The machinery answers every command as real machinery would (a gate arrives and its switch says so, a motor is seen to
run), unless it was jammed, dead or welded; lies are told beside it. Every entry of the record goes to the checker of
the simulator, which knows nothing of the core. A broken rule, a fault in strict mode, or a command that the guard had
to drop raises ``Broken``.
"""

import heapq
import itertools
from collections import Counter

from gatekeeper.control.messages import (
    AirSeen,
    HandSeen,
    InputSeen,
    Keep,
    Kept,
    Missed,
    MotorSeen,
    MoveGate,
    QuietSeen,
    Requested,
    SettingChanged,
    ShopKeySeen,
    Stopping,
    SwitchMotor,
    SwitchSeen,
    Ticked,
    ToolSeen,
    Woke,
)
from gatekeeper.control.plan import Proof
from gatekeeper.control.supervisor import Supervisor
from sim.checker import Checker

#: Steps at one instant after which the core is held to be going in circles.
CIRCLE = 60
#: Share of the longest travel after which a real gate has arrived; delays of what sees motors and air, seconds.
ARRIVES, SEEN_RUNNING_S, SEEN_STILL_S, AIR_TELLS_S = 0.8, 0.5, 0.25, 0.75


class Broken(AssertionError):
    """A rule was broken; the text shows the last entries."""


class Player:
    """One shop under play.

    Args:
        plan: the shop.
        punctual: every deadline of the core is served on time; otherwise ``late`` may let it stand still.
        kept: what an earlier run left, for a first start that is not fresh.
    """

    def __init__(self, plan, *, punctual=True, kept=None, start_s=100.0):
        self.plan = plan
        self.punctual = punctual
        self.checker = Checker(punctual=punctual)
        self.counts = Counter()
        self.now_s = start_s
        self.boots = self.runs = 0
        self.seq = 0
        self.kept_values = dict(kept.values) if kept else {}
        self.last_keeps = []
        self.held_back = []
        self.tail = []
        self.ticket = itertools.count()
        self.truth_tool = dict.fromkeys(plan.tools, "stopped")
        self.truth_gate = dict.fromkeys(plan.gates, "between")
        self.truth_circuit = dict.fromkeys(plan.inputs, "made")
        self.truth_hand = dict.fromkeys(plan.motors, "auto")
        self.truth_key, self.truth_quiet = "open", False
        self.jammed, self.dead, self.welded = set(), set(), set()
        self._start(kept or Kept(), new_boot=True)

    # ---------------------------------------------------------------- a run of the process

    def _start(self, kept, *, new_boot):
        self.boots += new_boot
        self.runs += 1
        self.due = []
        self.gate_way = {}
        self.running = dict.fromkeys(self.plan.motors, False)
        self.lease_s = {}
        self.air_told = {}
        self.core = Supervisor(self.plan, kept, boot=f"boot {self.boots}", run=f"run {self.runs}", strict=True)
        self.core.recorder.seq = self.seq
        self.step(Woke())

    def read_everything(self):
        """What a service reads at once when it wakes."""
        for name, state in self.truth_circuit.items():
            self.step(InputSeen(name, state))
        for name, state in self.truth_hand.items():
            self.step(HandSeen(name, state))
        for name, gate in self.plan.gates.items():
            if gate.has_switch:
                self._tell_switch(name)
        for name, motor in self.plan.motors.items():
            if motor.confirm_s is not None:
                self.step(MotorSeen(name, "running" if name in self.welded else "still"))
        self.step(ShopKeySeen(self.truth_key))
        for name, state in self.truth_tool.items():
            self.step(ToolSeen(name, state, fresh=False))

    def restart(self, *, clean=False, same_boot=True, down_s=2.0, lost=False, damaged=False, silent=False):
        """The process ends, cleanly or not, and begins again with exactly what was made durable.

        ``lost``: the last step reached neither the kept values nor the record. ``silent``: nothing is read yet.
        """
        if clean:
            self.step(Stopping())
        if lost:
            self.held_back, self.last_keeps = [], []
        self._commit()
        self._judge_held_back()
        self.now_s = self.now_s + down_s if same_boot else 3.0
        values = {} if damaged else dict(self.kept_values)
        if damaged:
            self.kept_values = {}
        self._start(Kept(values, fresh=False, damaged=damaged, same_boot=same_boot), new_boot=not same_boot)
        if not silent:
            self.read_everything()
        self.counts[f"restart {'clean' if clean else 'killed'}, {'same' if same_boot else 'new'} boot"] += 1
        self.counts["restart damaged"] += damaged
        self.counts["restart, last step lost"] += lost

    # ---------------------------------------------------------------- one step

    def step(self, event):
        """One event now, and all that the core wants to do at the same instant."""
        commands = list(self._one(event))
        for _ in range(CIRCLE):
            due_s = self.core.next_deadline()
            if due_s is None or due_s > self.now_s:
                return commands
            commands += self._one(Ticked())
        raise Broken(f"{CIRCLE} steps at {self.now_s}\n{self._story()}")

    def _one(self, event):
        self._commit()
        self.counts[type(event).__name__] += 1
        try:
            commands = self.core.handle(event, self.now_s)
        except Exception as error:
            raise Broken(f"{type(error).__name__}: {error} at {event}\n{self._story()}") from error
        entries = self.core.recorder.take()
        self.seq = self.core.recorder.seq
        self._judge_held_back()
        self.held_back = entries
        self.tail = [*self.tail, *entries][-60:]
        for entry in entries:
            self.counts[f"rule {entry.rule}"] += entry.rule is not None
            if entry.kind in ("dropped", "fault"):
                raise Broken(f"{entry.kind}: {entry.subject} {entry.value}: {entry.why}\n{self._story()}")
        self.last_keeps = [command for command in commands if isinstance(command, Keep)]
        for command in commands:
            if isinstance(command, MoveGate):
                self._move(command)
            elif isinstance(command, SwitchMotor):
                self._switch(command)
        return commands

    def _commit(self):
        for keep in self.last_keeps:
            if keep.value is None:
                self.kept_values.pop(keep.key, None)
            else:
                self.kept_values[keep.key] = keep.value
        self.last_keeps = []

    def _judge_held_back(self):
        entries, self.held_back = self.held_back, []
        found = [violation for entry in entries for violation in self.checker.feed(entry.as_json())]
        if found:
            raise Broken("\n".join(map(str, found)) + "\n" + self._story())

    def finish(self):
        """Judge what was not judged yet."""
        self._judge_held_back()
        if found := self.checker.finish():
            raise Broken("\n".join(map(str, found)) + "\n" + self._story())

    def _story(self):
        return "\n".join(
            f"{e.seq:5} {e.t_s:10.3f} {e.kind:14} {e.subject or '-':10} {e.value} {e.rule or ''} {e.why or ''}"
            for e in self.tail
        )

    # ---------------------------------------------------------------- time

    def wait(self, for_s):
        """Time passes; every deadline and everything the machinery does on the way is served."""
        end_s = self.now_s + for_s
        while True:
            due_s = self.core.next_deadline()
            own_s = self.due[0][0] if self.due else None
            next_s = min(instant for instant in (due_s, own_s, end_s) if instant is not None)
            if next_s > end_s or (next_s == end_s and due_s != end_s and own_s != end_s):
                break
            self.now_s = max(self.now_s, next_s)
            if own_s is not None and own_s <= self.now_s:
                self._act()
            else:
                self.step(Ticked())
        self.now_s = end_s

    def to_next_deadline(self):
        """Time passes until the core wants to be called."""
        due_s = self.core.next_deadline()
        self.wait(1.0 if due_s is None else max(0.0, due_s - self.now_s))

    def late(self, for_s):
        """The loop stands still; then everything comes at once. A punctual player only waits."""
        if self.punctual:
            self.wait(for_s)
            return
        self.now_s += for_s
        self.counts["stood still"] += 1
        while self.due and self.due[0][0] <= self.now_s:
            self._act()
        self.step(Ticked())

    # ---------------------------------------------------------------- the machinery

    def _later(self, in_s, act):
        heapq.heappush(self.due, (self.now_s + in_s, next(self.ticket), act))

    def _act(self):
        heapq.heappop(self.due)[2]()

    def _tell_switch(self, name):
        state = self.truth_gate[name]
        blind = state == "shut" and not (self.plan.gates[name].sees_shut and self.plan.gates[name].actuated)
        self.step(SwitchSeen(name, "between" if blind else state))

    def _move(self, command):
        name, plan = command.gate, self.plan.gates[command.gate]
        way = object()
        before = self.gate_way.get(name)
        self.gate_way[name] = way
        if command.what == "halt":
            return

        def leaves():
            if self.gate_way[name] is way and self.truth_gate[name] != command.what and name not in self.jammed:
                self.truth_gate[name] = "between"
                if plan.has_switch:
                    self._tell_switch(name)

        def arrives():
            if self.gate_way[name] is way and name not in self.jammed:
                moved, self.truth_gate[name] = self.truth_gate[name] != command.what, command.what
                if plan.has_switch and moved:
                    self._tell_switch(name)
                self._later(AIR_TELLS_S, self._tell_air)

        def reports():
            if self.gate_way[name] is way and name in self.jammed and not plan.has_switch:
                self.step(Missed(name, "no end of travel"))

        dead_s = plan.dead_s if before is not None else 0.0
        self._later(dead_s + 0.1 * plan.travel_s, leaves)
        self._later(dead_s + ARRIVES * plan.travel_s, arrives)
        self._later(dead_s + 0.95 * plan.travel_s, reports)

    def _switch(self, command):
        name = command.motor
        if command.what == "off":
            self.lease_s.pop(name, None)
            self._later(SEEN_STILL_S, lambda: self._motor_is(name, False))
            return
        self.lease_s[name] = until_s = command.until_s
        if command.what == "on":
            self._later(SEEN_RUNNING_S, lambda: self._motor_is(name, True))

        def ran_out():
            if self.lease_s.get(name) == until_s:
                del self.lease_s[name]
                self._motor_is(name, False)

        self._later(until_s - self.now_s, ran_out)

    def _motor_is(self, name, running):
        told_on = name in self.lease_s or self.truth_hand[name] == "hand"
        running = (running and told_on and name not in self.dead) or name in self.welded
        if not running and told_on and name not in self.dead:
            return
        if self.running[name] != running:
            self.running[name] = running
            if self.plan.motors[name].confirm_s is not None:
                self.step(MotorSeen(name, "running" if running else "still"))
            self._later(AIR_TELLS_S, self._tell_air)

    def _tell_air(self):
        for name, motor in self.plan.motors.items():
            if motor.proof is Proof.AIR:
                ways = [gate.name for gate in self.plan.gates_of(name) if self.truth_gate[gate.name] == "open"]
                moving = self.running[name] and bool(ways or motor.relief_m2)
                if self.air_told.get(name) != moving:
                    self.air_told[name] = moving
                    self.step(AirSeen(name, moving))

    # ---------------------------------------------------------------- what may happen

    def _pick(self, names, index):
        names = tuple(names)
        return names[index % len(names)] if names else None

    def tool(self, index, state, fresh=True):
        """A tool starts, stops, or its sensor is lost."""
        name = self._pick(self.plan.tools, index)
        if state != "stale":
            self.truth_tool[name] = state
        self.counts[f"tool {state}{'' if fresh else ', not fresh'}"] += 1
        self.step(ToolSeen(name, state, fresh=fresh))

    def gate_says(self, index, state):
        """A switch speaks, whatever is so: somebody moved the gate, or it lies."""
        name = self._pick((n for n, gate in self.plan.gates.items() if gate.has_switch), index)
        self.counts["switch from outside" if name else "no switch here"] += 1
        if name is None:
            self.step(Ticked())
            return
        self.truth_gate[name] = state
        self.step(SwitchSeen(name, state))

    def misses(self, index):
        """A driver reports a miss, whatever is so."""
        name = self._pick((n for n, gate in self.plan.gates.items() if gate.actuated), index)
        self.counts["miss from outside" if name else "no actuator here"] += 1
        self.step(Missed(name, "reported") if name else Ticked())

    def motor_says(self, index, state):
        """What sees a motor speaks, whatever is so."""
        name = self._pick((n for n, motor in self.plan.motors.items() if motor.confirm_s is not None), index)
        self.counts["motor seen from outside" if name else "nothing sees a motor here"] += 1
        self.step(MotorSeen(name, state) if name else Ticked())

    def air_says(self, index, moving):
        """The air proof speaks, whatever is so."""
        name = self._pick((n for n, motor in self.plan.motors.items() if motor.proof is Proof.AIR), index)
        self.counts["air from outside" if name else "no air proof here"] += 1
        if name is None:
            self.step(Ticked())
            return
        self.air_told[name] = moving
        self.step(AirSeen(name, moving))

    def circuit(self, index, state):
        """A red button, a fire input or a door."""
        name = self._pick(self.plan.inputs, index)
        self.truth_circuit[name] = state
        self.counts[f"{self.plan.inputs[name].kind} {state}"] += 1
        self.step(InputSeen(name, state))

    def hand(self, index, state):
        """The Hand-Off-Auto switch; the person at Hand starts the fan by wire."""
        name = self._pick(self.plan.motors, index)
        self.truth_hand[name] = state
        self.counts[f"switch at {state}"] += 1
        self.step(HandSeen(name, state))
        self._later(1.0, lambda: self._motor_is(name, state == "hand"))

    def key(self, state):
        """The shop's key."""
        self.truth_key = state
        self.counts[f"shop {state}"] += 1
        self.step(ShopKeySeen(state))

    def quiet(self, quiet):
        """Quiet hours."""
        self.truth_quiet = quiet
        self.step(QuietSeen(quiet))

    def ask(self, what, index, who="local", for_s=None):
        """A person's request; what it may be about depends on what is asked."""
        gates, motors, tools = tuple(self.plan.gates), tuple(self.plan.motors), tuple(self.plan.tools)
        subjects = {
            "open": gates,
            "shut": gates,
            "hold": gates,
            "release": gates,
            "air_here": (*tools, *gates),
            "run": motors,
            "stop": (None, *motors),
            "sweep": (None, *motors),
            "flush": motors,
            "reset": (None,),
            "clear": (*motors, *gates, None),
            "out_of_service": (*motors, None),
            "back_in_service": (None, *motors),
            "stopped": tools,
            "still_running": tools,
            "seen": tuple(f"{code}:{about}" for code, about in self.core.world.alarms) or ("nothing:at all",),
        }[what]
        subject = "no such name" if index == -1 else subjects[index % len(subjects)]
        self.counts[f"asked {what}"] += 1
        return self.step(Requested(what, subject, who, for_s))

    def setting(self, index, value):
        """A spin-down delay is changed."""
        name = self._pick((*self.plan.motors, *self.plan.tools), index)
        self.counts["setting"] += 1
        self.step(SettingChanged(name, "spin_down_s", value))

    def breaks(self, what, index, broken):
        """A gate jams, a motor is dead or its contactor welds; or it is mended."""
        group = {"jam": self.jammed, "dead": self.dead, "weld": self.welded}[what]
        name = self._pick(self.plan.gates if what == "jam" else self.plan.motors, index)
        self.counts[f"{what} {'begins' if broken else 'ends'}"] += 1
        (group.add if broken else group.discard)(name)
