"""The guard under random orders of inputs and lists: a second statement of each rule, read off the whole history.

The witness below keeps no state but the history itself: what was seen and what was let through, each with its instant.
Every question ("is this gate proven open?", "how many starts are in hand?") is answered by looking back through it.
"""

import os
import random
from collections import Counter

from hypothesis import event, given, settings
from hypothesis import strategies as st

from gatekeeper.control.guard import Guard
from gatekeeper.control.messages import (
    HandSeen,
    InputSeen,
    Keep,
    Kept,
    Missed,
    MotorSeen,
    MoveGate,
    Requested,
    ShowSign,
    Stopping,
    SwitchMotor,
    SwitchSeen,
    Ticked,
    ToolSeen,
    Woke,
)
from gatekeeper.control.plan import GatePlan, InputKind, InputPlan, MotorPlan, Plan, ToolPlan

# Times are halves and wholes, so that sums are exact and limits are met exactly.
PLAN = Plan(
    {
        "fan": MotorPlan(
            "fan", path_minimum_m2=0.25, starts_per_hour=900.0, rest_s=6.0, spin_down_s=4.0, settle_s=1.0, confirm_s=2.0
        ),
        "vac": MotorPlan("vac", path_minimum_m2=0.5, relief_m2=0.25, starts_per_hour=1800.0, rest_s=1.0, settle_s=1.0),
    },
    {
        "a": GatePlan("a", "fan", 0.25, travel_s=1.0, dead_s=0.5, supply="air", has_switch=True),
        "b": GatePlan("b", "fan", 0.25, travel_s=2.0, dead_s=0.5, supply="air", clear_s=1.0),
        "c": GatePlan("c", "vac", 0.25, travel_s=1.0, supply="air", clear_s=5.0),
        "d": GatePlan("d", "vac", 0.25, actuated=False, has_switch=True),
    },
    {"saw": ToolPlan("saw", ("a", "b")), "lathe": ToolPlan("lathe", ("c",), spin_down_s=2.0)},
    supplies={"air": 2},
    inputs={
        "red": InputPlan("red", InputKind.EMERGENCY),
        "heat": InputPlan("heat", InputKind.FIRE),
        "bin": InputPlan("bin", InputKind.DOOR, ("fan",)),
    },
)
CAPACITY = 2.0


class Witness:
    """The history: (instant, thing), where a thing is an event, an allowed command, or ("lapse", motor)."""

    def __init__(self):
        self.past = []

    def add(self, now_s, thing):
        self.past.append((now_s, thing))

    def last(self, kind, upto=None, **fields):
        """The latest thing of a kind with these fields, as (place, instant, thing)."""
        for place in reversed(range(len(self.past) if upto is None else upto)):
            at_s, thing = self.past[place]
            if isinstance(thing, kind) and all(getattr(thing, name) == value for name, value in fields.items()):
                return place, at_s, thing
        return None

    def reading(self, tool, upto=None):
        """The reading of a tool; "excused" where a person said that a lost one is stopped."""
        reading = None
        for _, thing in self.past[:upto]:
            if isinstance(thing, ToolSeen) and thing.tool == tool:
                keeps = reading == "excused" and thing.state == "stale"
                reading = "excused" if keeps else thing.state
            elif (
                isinstance(thing, Requested)
                and (thing.what, thing.subject) == ("stopped", tool)
                and reading in ("stale", None)
            ):
                reading = "excused"
        return reading

    # -------------------------------------------------------- what stands against everything

    def circuit(self, name, upto):
        found = self.last(InputSeen, upto, input=name)
        return found[2].state if found else "unread"

    def latched(self, name, upto, local_only):
        """Open since the last good reset."""
        for place in reversed(range(upto)):
            thing = self.past[place][1]
            if isinstance(thing, InputSeen) and (thing.input, thing.state) == (name, "open"):
                return True
            reset = isinstance(thing, Requested) and thing.what == "reset"
            if reset and (thing.who == "local" or not local_only) and self.circuit(name, place) == "made":
                return False
        return False

    def against(self, motor, upto=None):
        upto = len(self.past) if upto is None else upto
        if self.latched("heat", upto, True) or self.circuit("heat", upto) != "made":
            return "C24"
        if self.latched("red", upto, False) or self.circuit("red", upto) != "made":
            return "C13"
        words = [
            thing.what
            for _, thing in self.past[:upto]
            if isinstance(thing, Requested)
            and thing.what in ("out_of_service", "back_in_service")
            and thing.subject in (None, motor)
        ]
        if words[-1:] == ["out_of_service"] or (motor == "fan" and self.circuit("bin", upto) != "made"):
            return "C14"
        return None

    def hand(self, motor, upto=None):
        found = self.last(HandSeen, upto, motor=motor)
        return found[2].state if found else "auto"

    # -------------------------------------------------------- gates

    def proven(self, gate, now_s):
        plan = PLAN.gates[gate]
        motion = None  # (instant, direction, pause still to come)
        sure, switch, broken = False, None, False
        for at_s, thing in self.past:
            if isinstance(thing, SwitchSeen) and thing.gate == gate:
                switch, sure = thing.state, True
            elif isinstance(thing, Missed) and thing.gate == gate:
                broken = True
            elif isinstance(thing, MoveGate) and thing.gate == gate and thing.what == "halt":
                arrived = motion and motion[1] == "open" and at_s >= motion[2] + plan.travel_s
                broken = broken or not arrived
            elif isinstance(thing, MoveGate) and thing.gate == gate:
                leaves_s = at_s
                if motion and at_s < motion[0] + plan.dead_s + plan.travel_s:
                    leaves_s = max(at_s, motion[2]) if thing.what == motion[1] else at_s + plan.dead_s
                motion, broken = (at_s, thing.what, leaves_s), False
                sure = sure and thing.what == "open"
        timed = bool(motion) and motion[1] == "open" and not broken and now_s >= motion[2] + plan.travel_s
        if not plan.has_switch:
            return timed
        going_shut = motion and motion[1] == "shut" and now_s < motion[0] + plan.dead_s + plan.travel_s
        return switch == "open" and not going_shut and (sure or timed)

    def area(self, system, now_s):
        here = [gate for gate in PLAN.gates.values() if gate.system == system]
        return PLAN.motors[system].relief_m2 + sum(gate.area_m2 for gate in here if self.proven(gate.name, now_s))

    def moving(self, now_s):
        """The names of the gates that take a place on the supply."""
        result = set()
        for name, plan in PLAN.gates.items():
            motions = [(at_s, t.what) for at_s, t in self.past if isinstance(t, MoveGate) and t.gate == name]
            if motions and motions[-1][1] != "halt" and now_s < motions[-1][0] + plan.dead_s + plan.travel_s:
                result.add(name)
        return result

    def free_to_move(self, gate, now_s):
        found = [
            (at_s, thing)
            for at_s, thing in self.past
            if (isinstance(thing, Keep) and thing.key == f"stuck/{gate}" and thing.value)
            or (isinstance(thing, Requested) and thing.subject == gate and thing.what in ("hold", "release"))
        ]
        bound, released_s = False, None
        for at_s, thing in found:
            if isinstance(thing, Requested) and thing.what == "release":
                released_s = at_s if bound else released_s
                bound = False
            else:
                bound = True
        return not bound and (released_s is None or now_s >= released_s + 3.0)

    # -------------------------------------------------------- motors

    def lease_end(self, motor):
        """Until when it is on, or None."""
        end_s = None
        for _, thing in self.past:
            if isinstance(thing, SwitchMotor) and thing.motor == motor:
                end_s = None if thing.what == "off" else thing.until_s
            elif thing == ("lapse", motor):
                end_s = None
        return end_s

    def notice_lapses(self, now_s):
        for motor in PLAN.motors:
            end_s = self.lease_end(motor)
            if end_s is not None and end_s <= now_s:
                self.add(end_s, ("lapse", motor))

    def starts(self, motor, now_s, upto=None):
        refill_s = 3600.0 / PLAN.motors[motor].starts_per_hour
        level, then_s = CAPACITY, 0.0
        for at_s, thing in self.past[:upto]:
            if isinstance(thing, SwitchMotor) and (thing.motor, thing.what) == (motor, "on"):
                level, then_s = min(CAPACITY, level + (at_s - then_s) / refill_s) - 1.0, at_s
        return min(CAPACITY, level + (now_s - then_s) / refill_s)

    def rest_end(self, motor):
        end_s, is_on = 0.0, False
        for place, (at_s, thing) in enumerate(self.past):
            off = thing == ("lapse", motor)
            if isinstance(thing, SwitchMotor) and thing.motor == motor:
                off, is_on = thing.what == "off" and is_on, thing.what != "off"
            if off:
                is_on = False
                if self.starts(motor, at_s, place) < 1.0 - 1e-6:
                    end_s = at_s + PLAN.motors[motor].rest_s
        return end_s

    def forced(self, motor, place):
        """Whether the thing at this place is a forced stop of the motor."""
        thing = self.past[place][1]
        if isinstance(thing, Requested):
            return thing.what in ("stop", "out_of_service") and thing.subject in (None, motor)
        if isinstance(thing, InputSeen):
            return thing.state == "open" and (thing.input != "bin" or motor == "fan")
        if isinstance(thing, HandSeen):
            return thing.motor == motor and thing.state != "auto"
        return isinstance(thing, Stopping | Woke) or thing == ("lapse", motor)

    def causes(self, motor):
        """(place, end) of everything that is or was a reason to start and was not used up."""
        found = []
        used = max((p + 1 for p in range(len(self.past)) if self.forced(motor, p)), default=0)
        for place in range(used, len(self.past)):
            at_s, thing = self.past[place]
            if isinstance(thing, ToolSeen) and thing.state == "running" and self.allowed(motor, place):
                gates = [PLAN.gates[g] for g in PLAN.tools[thing.tool].gates if PLAN.gates[g].system == motor]
                if gates and self.reading(thing.tool, place) == "stopped" and at_s >= PLAN.motors[motor].settle_s:
                    found.append((place, self.cut_end(thing.tool, motor, place, gates)))
            elif isinstance(thing, Requested) and thing.what in ("run", "air_here") and self.allowed(motor, place):
                subject = thing.subject
                gates = PLAN.tools[subject].gates if subject in PLAN.tools else (subject,)
                systems = {PLAN.gates[g].system for g in gates if g in PLAN.gates} | {subject}
                if motor in systems:
                    found.append((place, at_s + thing.for_s))
                    for tool in PLAN.tools.values():
                        here = [PLAN.gates[g] for g in tool.gates if PLAN.gates[g].system == motor]
                        if thing.what == "run" and here and self.reading(tool.name, place) == "running":
                            found.append((place, self.cut_end(tool.name, motor, place, here)))
        return found

    def allowed(self, motor, place):
        return self.against(motor, place) is None and self.hand(motor, place) == "auto"

    def cut_end(self, tool, motor, begun, gates):
        own_s = PLAN.tools[tool].spin_down_s
        delay_s = PLAN.motors[motor].spin_down_s if own_s is None else own_s
        for place in range(begun + 1, len(self.past)):
            if self.reading(tool, place + 1) in ("stopped", "excused"):
                return self.past[place][0] + max(delay_s, *(gate.clear_s for gate in gates), 0.0)
        return float("inf")

    def tries(self, motor):
        """Times switched on since it was last seen to run or had a new reason."""
        fresh = {place for place, _ in self.causes(motor)}
        count = 0
        for place, (_, thing) in enumerate(self.past):
            if place in fresh or (isinstance(thing, MotorSeen) and thing.motor == motor and thing.state == "running"):
                count = 0
            elif isinstance(thing, SwitchMotor) and (thing.motor, thing.what) == (motor, "on"):
                count += 1
        return count


def check(witness, commands, allowed, now_s):
    """Every rule, for what was let through of one list. The witness takes the list over on the way."""
    shuts = [c for c in allowed if isinstance(c, MoveGate) and c.what == "shut"]
    motions = [c for c in allowed if isinstance(c, MoveGate) and c.what != "halt"]
    assert len({c.gate for c in motions}) == len(motions)
    for command in commands:
        if isinstance(command, Keep):
            witness.add(now_s, command)
    for command in motions:
        plan = PLAN.gates[command.gate]
        assert witness.against(plan.system) is None
        assert witness.hand(plan.system) != "off"
        assert witness.free_to_move(command.gate, now_s), "C26"
        assert plan.actuated
    for command in shuts:
        for tool in PLAN.tools.values():
            assert command.gate not in tool.gates or witness.reading(tool.name) in ("stopped", "excused"), "C1"
    for command in allowed:
        if isinstance(command, MoveGate):
            witness.add(now_s, command)
            on_air = {g for g in witness.moving(now_s) if PLAN.gates[g].supply == "air"}
            assert len(on_air) <= 2, "C11"
    for command in shuts:
        system = PLAN.gates[command.gate].system
        assert witness.area(system, now_s) >= PLAN.motors[system].path_minimum_m2, "C3"
    for command in allowed:
        if not isinstance(command, SwitchMotor):
            continue
        if command.what != "off":
            motor, plan = command.motor, PLAN.motors[command.motor]
            assert witness.against(motor) is None
            assert witness.hand(motor) == "auto"
        if command.what == "renew":
            assert witness.lease_end(motor) is not None, "C23"
        if command.what == "on":
            assert witness.area(motor, now_s) >= plan.path_minimum_m2, "C2"
            assert witness.starts(motor, now_s) >= 1.0 - 1e-6, "C8"
            assert now_s >= witness.rest_end(motor), "C8 rest"
            assert any(now_s < end_s for _, end_s in witness.causes(motor)), "C21"
            assert plan.confirm_s is None or witness.tries(motor) < 2, "C21 retry"
        witness.add(now_s, command)


GATES, MOTORS, TOOLS = st.sampled_from("abcd"), st.sampled_from(["fan", "vac"]), st.sampled_from(["saw", "lathe"])
USUAL = st.one_of(
    st.builds(ToolSeen, TOOLS, st.sampled_from(["running", "stopped", "stale"])),
    st.builds(ToolSeen, TOOLS, st.sampled_from(["running", "stopped"])),
    st.builds(SwitchSeen, st.sampled_from("ad"), st.sampled_from(["open", "open", "shut", "between"])),
    st.builds(MotorSeen, MOTORS, st.sampled_from(["running", "still"])),
    st.builds(Requested, st.just("run"), MOTORS, for_s=st.sampled_from([0.0, 2.0, 60.0])),
    st.builds(Requested, st.just("air_here"), st.sampled_from(["a", "c", "saw", "lathe"]), for_s=st.just(4.0)),
    st.builds(Requested, st.just("stopped"), TOOLS),
    st.just(Ticked()),
)
TROUBLE = st.one_of(
    st.builds(Missed, GATES),
    st.builds(InputSeen, st.sampled_from(["red", "heat", "bin"]), st.sampled_from(["made", "made", "open"])),
    st.builds(HandSeen, MOTORS, st.sampled_from(["auto", "auto", "hand", "off"])),
    st.builds(
        Requested,
        st.sampled_from(["stop", "out_of_service", "back_in_service", "back_in_service"]),
        st.sampled_from([None, "fan", "vac"]),
    ),
    st.builds(Requested, st.sampled_from(["hold", "release", "release"]), GATES),
    st.builds(Requested, st.just("reset"), st.none(), st.sampled_from(["local", "local", "page"])),
    st.just(Stopping()),
)
EVENTS = st.sampled_from([USUAL, USUAL, USUAL, USUAL, TROUBLE]).flatmap(lambda kind: kind)
MOVES = st.builds(MoveGate, st.sampled_from("abc"), st.sampled_from(["open", "open", "shut", "halt"]))
SWITCHES = st.builds(
    SwitchMotor, MOTORS, st.sampled_from(["on", "on", "off", "renew"]), st.sampled_from([2.0, 8.0, 60.0])
)
OTHERS = st.one_of(
    st.builds(MoveGate, st.just("d"), st.sampled_from(["open", "shut", "halt"])),
    st.builds(Keep, st.builds("stuck/{}".format, GATES), st.booleans()),
    st.just(ShowSign("a", "coming")),
)
COMMANDS = st.sampled_from([MOVES, MOVES, MOVES, MOVES, SWITCHES, SWITCHES, SWITCHES, OTHERS]).flatmap(lambda c: c)
STEPS = st.tuples(
    st.sampled_from([0.0, 0.5, 1.0, 2.0, 3.0, 7.5]), st.lists(EVENTS, max_size=2), st.lists(COMMANDS, max_size=5)
)
#: A shop that has woken well, so that more than the latches is met.
WELL = (
    [InputSeen(name, "made") for name in ("red", "heat", "bin")]
    + [ToolSeen(name, "stopped") for name in ("saw", "lathe")]
    + [SwitchSeen(name, "open") for name in "ad"]
    + [Requested("run", name, for_s=60.0) for name in ("fan", "vac")]
)


def live(steps):
    """Lead a guard and a witness through a life, and check every list; what came of each command is counted."""
    guard, witness, now_s, counts = Guard(PLAN, Kept()), Witness(), 0.0, Counter()
    for wait_s, events, commands in steps:
        now_s += wait_s
        witness.notice_lapses(now_s)
        for thing in events:
            guard.observe(thing, now_s)
            witness.add(now_s, thing)
        commands = [
            SwitchMotor(c.motor, c.what, now_s + c.until_s) if isinstance(c, SwitchMotor) else c for c in commands
        ]
        before = guard.save()
        judgement = guard.judge(commands, now_s)
        after = guard.save()
        guard.restore(before)
        assert guard.judge(judgement.allowed, now_s).allowed == judgement.allowed
        assert guard.save() == after
        for command in commands:
            harmless = getattr(command, "what", None) in ("off", "halt") or isinstance(command, Keep | ShowSign)
            assert not harmless or command in judgement.allowed
        counts.update(f"dropped by {dropped.rule}" for dropped in judgement.dropped)
        counts.update(f"let through: {getattr(c, 'what', type(c).__name__)}" for c in judgement.allowed)
        check(witness, commands, judgement.allowed, now_s)
    return counts


@settings(max_examples=10 if os.environ.get("MUTATING") else 100, deadline=None, derandomize=True)
@given(well=st.sampled_from([True, True, True, False]), steps=st.lists(STEPS, min_size=4, max_size=25))
def test_nothing_that_a_rule_forbids_is_let_through(well, steps):
    for what in live([(0.0, [Woke(), *(WELL if well else [])], []), *steps]):
        event(what)


def drawn(dice):
    """One step of a long life: most of them busy, some with trouble."""
    tool, gate, motor = dice.choice(["saw", "lathe"]), dice.choice("abc"), dice.choice(["fan", "fan", "vac"])
    usual = [
        ToolSeen(tool, dice.choice(["running", "stopped", "stopped", "stale"])),
        ToolSeen(tool, "running"),
        SwitchSeen(dice.choice("ad"), dice.choice(["open", "open", "shut", "between"])),
        MotorSeen(motor, dice.choice(["running", "running", "still"])),
        Requested("run", motor, for_s=dice.choice([2.0, 60.0])),
        Requested("air_here", dice.choice(["a", "c", "saw", "lathe"]), for_s=4.0),
        Requested("stopped", tool),
        Ticked(),
    ]
    trouble = [
        Missed(gate),
        InputSeen(dice.choice(["red", "heat", "bin"]), "open"),
        HandSeen(motor, dice.choice(["hand", "off"])),
        Requested(dice.choice(["stop", "out_of_service"]), dice.choice([None, motor])),
        Requested("hold", gate),
        Requested("reset", None, "page"),
        Stopping(),
    ]
    cures = [InputSeen(name, "made") for name in ("red", "heat", "bin")]
    cures += [HandSeen(name, "auto") for name in PLAN.motors] + [Requested("release", name) for name in "abc"]
    cures += [Requested("reset"), Requested("back_in_service")]
    events = dice.choices([*usual, *usual], k=dice.choice([0, 1, 1, 2]))
    if dice.random() < 0.12:
        events.append(dice.choice(trouble))
    if dice.random() < 0.2:
        events += cures
    commands = [
        MoveGate(gate, dice.choice(["open", "open", "shut"])),
        MoveGate(dice.choice("abc"), dice.choice(["open", "shut", "shut", "halt"])),
        SwitchMotor(motor, dice.choice(["on", "on", "on", "off", "renew"]), dice.choice([2.0, 8.0, 60.0])),
        SwitchMotor(motor, "on", 8.0),
    ]
    commands = [command for command in commands if dice.random() < 0.5]
    if dice.random() < 0.02:
        commands.append(Keep(f"stuck/{gate}", True))
    dice.shuffle(commands)
    return dice.choice([0.0, 0.5, 0.5, 1.0, 1.5, 2.0, 3.0, 7.5]), events, commands


def test_long_busy_lives_meet_every_rule_and_break_none():
    counts = Counter()
    for seed in range(5 if os.environ.get("MUTATING") else 40):
        dice = random.Random(seed)
        counts += live([(0.0, [Woke(), *WELL], []), *(drawn(dice) for _ in range(60))])
    print(dict(counts))
    for rule in ("C1", "C2", "C3", "C8", "C11", "C13", "C14", "C21", "C23", "C24", "C25", "C26"):
        assert counts[f"dropped by {rule}"] > 0
    for what in ("open", "shut", "halt", "on", "off", "renew"):
        assert counts[f"let through: {what}"] > 0
