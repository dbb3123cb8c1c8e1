"""What the tests of the guard on gates share: shops, a guard that woke in them, and what it lets pass."""

from gatekeeper.control.guard import Guard
from gatekeeper.control.messages import (
    Kept,
    MoveGate,
    Requested,
    SwitchMotor,
    Woke,
)
from gatekeeper.control.plan import GatePlan, MotorPlan, Plan

ON = SwitchMotor("fan", "on", 1e9)


def word(text):
    """Equal to the literal, but never the same object."""
    return "".join(list(text))


def opens(gate):
    return MoveGate(gate, word("open"))


def shuts(gate):
    return MoveGate(gate, word("shut"))


def halts(gate):
    return MoveGate(gate, word("halt"))


def make(*gates, tools=(), supplies=None, kept=None, **motor):
    motors = {"fan": MotorPlan(**{"name": "fan", "path_minimum_m2": 0.02, "rest_s": 0.0, **motor})}
    if any(gate.system == "other" for gate in gates):
        motors["other"] = MotorPlan("other", path_minimum_m2=0.02)
    plan = Plan(motors, {g.name: g for g in gates}, {t.name: t for t in tools}, supplies or {})
    plan.check()
    guard = Guard(plan, kept or Kept())
    guard.observe(Woke(), 0.0)
    return guard


def gate(name, area_m2=0.02, **more):
    return GatePlan(name, **{"system": "fan", "area_m2": area_m2, "travel_s": 2.0, "dead_s": 0.5, **more})


def verdict(guard, now_s, *commands):
    """Which commands pass, by place; the guard's state moves on."""
    judgement = guard.judge(commands, now_s)
    assert len(judgement.allowed) + len(judgement.dropped) == len(commands)
    dropped = list(judgement.dropped)
    result = []
    for command in commands:
        if dropped and dropped[0].command is command:
            result.append(dropped.pop(0).rule or "list")
        else:
            result.append("ok")
    assert not dropped
    return result


def would(guard, now_s, *commands):
    """The same as ``verdict``, but the guard is put back."""
    state = guard.save()
    result = verdict(guard, now_s, *commands)
    guard.restore(state)
    return result


def starts(guard, now_s):
    """Whether the path is enough to switch the fan on (somebody asks for a run first)."""
    state = guard.save()
    guard.observe(Requested("run", "fan"), now_s)
    result = verdict(guard, now_s, ON)
    guard.restore(state)
    assert result in (["ok"], ["C2"])
    return result == ["ok"]


def only(guard, now_s, command):
    judgement = guard.judge([command], now_s)
    assert judgement.allowed == ()
    (dropped,) = judgement.dropped
    return dropped


def rationed(places, *names, **more):
    gates = [gate(n, supply=word("air")) for n in names]
    return make(*gates, gate("y", supply="oil"), gate("z"), supplies={"air": places, "oil": 1}, relief_m2=1.0, **more)
