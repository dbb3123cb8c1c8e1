"""Figures of the frozen view that only the page's sentences need."""

from gatekeeper.control.messages import InputSeen, Missed, Requested, Ticked, ToolSeen, Woke
from gatekeeper.control.plan import GatePlan, InputKind, InputPlan, MotorPlan, Plan, ToolPlan
from gatekeeper.control.snapshot import GateNow, MotorNow, ToolNow
from gatekeeper.control.supervisor import Supervisor


def core() -> Supervisor:
    plan = Plan(
        motors={"fan": MotorPlan("fan", path_minimum_m2=0.005)},
        gates={"saw gate": GatePlan("saw gate", "fan", 0.01, clear_s=4.0)},
        tools={"saw": ToolPlan("saw", ("saw gate",), longest_run_s=100.0, hold_s=60.0)},
        inputs={"button": InputPlan("button", InputKind.EMERGENCY)},
    )
    made = Supervisor(plan, strict=True)
    made.handle(Woke(), 10.0)
    made.handle(InputSeen("button", "made"), 10.1)
    made.handle(ToolSeen("saw", "stopped"), 10.2)
    run_to(made, 13.0)
    return made


def run_to(made: Supervisor, until_s: float) -> None:
    due = made.next_deadline()
    while due is not None and due <= until_s:
        made.handle(Ticked(), due)
        due = made.next_deadline()
    made.handle(Ticked(), until_s)


def parts(made: Supervisor) -> tuple[GateNow, MotorNow, ToolNow]:
    view = made.snapshot()
    return view.gates[0], view.motors[0], view.tools[0]


def test_waking_says_until_when_the_sensors_settle() -> None:
    made = core()
    assert made.snapshot().settle_until_s is None
    fresh = Supervisor(made.plan, strict=True)
    fresh.handle(Woke(), 10.0)
    assert fresh.snapshot().settle_until_s == 12.0
    assert fresh.snapshot().tools[0].may_run is True


def test_what_a_person_asked_of_a_gate_and_what_its_branch_needs_are_told_apart() -> None:
    made = core()
    made.handle(ToolSeen("saw", "running"), 20.0)
    run_to(made, 30.0)
    made.handle(Requested("open", "saw gate", for_s=50.0), 30.0)
    made.handle(ToolSeen("saw", "stopped"), 31.0)
    gate, motor, tool = parts(made)
    assert (gate.hand, gate.hand_until_s, gate.clear_until_s) == ("open", 80.0, 35.0)
    assert motor.switched_at_s == 20.0
    assert (tool.may_run, tool.answer_by_s, tool.hold_until_s) == (False, None, None)


def test_a_lost_sensor_a_question_and_a_lost_path_show_their_ends() -> None:
    made = core()
    made.handle(ToolSeen("saw", "running"), 20.0)
    run_to(made, 30.0)
    run_to(made, 39.0)
    made.handle(ToolSeen("saw", "stale"), 40.0)
    assert parts(made)[2].hold_until_s == 100.0
    run_to(made, 49.0)
    made.handle(ToolSeen("saw", "running"), 50.0)
    run_to(made, 121.0)
    assert parts(made)[2].answer_by_s == 720.0
    assert parts(made)[1].path_lost_by_s is None
    made.handle(Missed("saw gate"), 122.0)
    assert parts(made)[1].path_lost_by_s == 126.0
    made.handle(Requested("stop"), 123.0)
    assert parts(made)[1].switched_at_s == 123.0
