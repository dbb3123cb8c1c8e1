"""What the tests of the guard's causes share: shops, a guard that woke in them, and whether it lets a motor start."""

from gatekeeper.control.guard import Guard
from gatekeeper.control.messages import (
    InputSeen,
    Kept,
    Requested,
    SwitchMotor,
    ToolSeen,
    Woke,
)
from gatekeeper.control.plan import GatePlan, MotorKind, MotorPlan, Plan, ToolPlan

MANY = {"starts_capacity": 1e6, "rest_s": 0.0}


def word(text):
    """Equal to the literal, but never the same object."""
    return "".join(list(text))


def shop(inputs=(), resume=False, **plan):
    """A fan (saw, lathe) and a vacuum (lathe's second gate, and a planer), a room air cleaner and the fan's shaker."""
    motors = (
        MotorPlan("fan", spin_down_s=8.0, settle_s=2.0, coast_s=10.0, resume=resume, **MANY),
        MotorPlan("vac", MotorKind.VACUUM, spin_down_s=20.0, settle_s=2.0, resume=resume, **MANY),
        MotorPlan("room", MotorKind.AIR_CLEANER, settle_s=5.0, run_on_max_s=1000.0, **MANY),
        MotorPlan("shaker", MotorKind.SHAKER, follows=word("fan"), shake_s=15.0, **MANY),
    )
    gates = (
        GatePlan("a", "fan", 0.02, clear_s=3.0),
        GatePlan("b", "fan", 0.02, clear_s=12.0),
        GatePlan("c", "vac", 0.02, clear_s=40.0),
        GatePlan("d", "vac", 0.02, clear_s=3.0),
    )
    tools = (ToolPlan("saw", ("a",)), ToolPlan("lathe", ("a", "b", "c")), ToolPlan("planer", ("d",), spin_down_s=5.0))
    return Plan(
        {m.name: m for m in motors},
        {g.name: g for g in gates},
        {t.name: t for t in tools},
        inputs={source.name: source for source in inputs},
        **plan,
    )


MOTORS = ("fan", "vac", "room", "shaker")


def make(*inputs, kept=None, wake_s=0.0, plan=None):
    guard = Guard(plan or shop(inputs), kept or Kept())
    guard.plan.check()
    guard.observe(Woke(), wake_s)
    for source in inputs:
        guard.observe(InputSeen(source.name, "made"), wake_s)
    return guard


def tell(guard, now_s, tool, *states):
    for state in states:
        guard.observe(ToolSeen(word(tool), word(state)), now_s)


def ask(guard, now_s, what, subject=None, **more):
    guard.observe(Requested(word(what), subject and word(subject), **more), now_s)


def reasons(guard, now_s):
    """The motors that might be switched on now; the guard is put back."""
    state = guard.save()
    commands = [SwitchMotor(name, "on", 1e12) for name in MOTORS]
    judgement = guard.judge(commands, now_s)
    guard.restore(state)
    assert {dropped.rule for dropped in judgement.dropped} <= {"C21"}
    return {command.motor for command in judgement.allowed}


def switch(guard, now_s, motor, what, until_s=1e12):
    judgement = guard.judge([SwitchMotor(word(motor), word(what), until_s)], now_s)
    assert judgement.dropped == ()


def cut(guard, tool="saw", stop_s=100.0):
    tell(guard, 10.0, tool, "stopped", "running")
    tell(guard, stop_s, tool, "stopped")


def ends(guard, end_s, motor="fan"):
    assert motor in reasons(guard, end_s - 1e-3)
    assert motor not in reasons(guard, end_s)
    assert motor not in reasons(guard, end_s + 1e-3)


BEAT = {"t_s": 1000.0, "on": ["fan"], "resumed_s": None}


def resumed(wake_s=1010.0, seen_s=None, *, resume=True, same_boot=True, events=(), beat=BEAT, fresh=True, **values):
    """The reasons of a restarted process that finds saw and planer running."""
    kept = Kept({"beat": beat, **values}, fresh=fresh, same_boot=same_boot)
    guard = make(kept=kept, wake_s=wake_s, plan=shop(resume=resume))
    for event in events:
        guard.observe(event, wake_s)
    seen_s = wake_s if seen_s is None else seen_s
    tell(guard, seen_s, "saw", "running")
    tell(guard, seen_s, "planer", "running")
    return reasons(guard, seen_s)
