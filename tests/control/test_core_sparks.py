"""Somebody saw sparks: the same as a fire alarm in every way, the reset included (C24)."""

import pytest

from gatekeeper.control.alarms import FAULTS
from gatekeeper.control.messages import (
    Answer,
    Command,
    InputSeen,
    Kept,
    MoveGate,
    Requested,
    SwitchMotor,
    Ticked,
    ToolSeen,
    Woke,
)
from gatekeeper.control.people import SPARKS_SEEN
from gatekeeper.control.plan import GatePlan, InputKind, InputPlan, MotorKind, MotorPlan, Plan, ToolPlan
from gatekeeper.control.supervisor import Supervisor


def plan() -> Plan:
    return Plan(
        motors={
            "fan": MotorPlan("fan", path_minimum_m2=0.01),
            "vac": MotorPlan("vac", MotorKind.VACUUM, path_minimum_m2=0.001),
        },
        gates={
            "saw gate": GatePlan("saw gate", "fan", 0.02, supply="s"),
            "planer gate": GatePlan("planer gate", "fan", 0.02, supply="s"),
            "router gate": GatePlan("router gate", "vac", 0.002, supply="s"),
        },
        tools={
            "saw": ToolPlan("saw", ("saw gate",)),
            "planer": ToolPlan("planer", ("planer gate",)),
            "router": ToolPlan("router", ("router gate",)),
        },
        supplies={"s": 2},
        inputs={"heat": InputPlan("heat", InputKind.FIRE)},
        remote_start=True,
    )


class Core:
    def __init__(self, kept: Kept | None = None) -> None:
        self.supervisor = Supervisor(plan(), kept, strict=True)
        self.now_s = 0.0
        self.kept: dict[str, object] = {}
        self.handle(Woke())
        self.handle(InputSeen("heat", "made"))
        for tool in plan().tools:
            self.handle(ToolSeen(tool, "stopped"))
        self.run(10.0)

    def handle(self, event: object) -> list[Command]:
        commands = self.supervisor.handle(event, self.now_s)  # type: ignore[arg-type]
        for command in commands:
            if hasattr(command, "key"):
                self.kept[command.key] = command.value
        return commands

    def run(self, for_s: float) -> list[Command]:
        found: list[Command] = []
        for _ in range(round(for_s * 10)):
            self.now_s += 0.1
            found += self.handle(Ticked())
        return found

    def ask(self, what: str, subject: str | None = None, who: str = "page") -> tuple[Answer, list[Command]]:
        commands = self.handle(Requested(what, subject, who, ref="r"))  # type: ignore[arg-type]
        (answer,) = [command for command in commands if isinstance(command, Answer)]
        return answer, commands

    def alarms(self) -> set[tuple[str, str]]:
        return {(alarm.code, alarm.subject) for alarm in self.supervisor.snapshot().alarms}


@pytest.fixture
def core() -> Core:
    made = Core()
    for tool in ("saw", "router"):
        made.handle(ToolSeen(tool, "running"))
        made.run(8.0)
    assert [motor.on for motor in made.supervisor.snapshot().motors] == [True, True]
    return made


def test_every_motor_goes_off_in_that_step_and_a_moving_gate_is_halted(core: Core) -> None:
    core.handle(ToolSeen("planer", "running"))
    answer, commands = core.ask("sparks")
    assert (answer.accepted, answer.sentence) == (True, SPARKS_SEEN)
    offs = {command.motor for command in commands if isinstance(command, SwitchMotor)}
    assert offs == {"fan", "vac"}
    moves = [c for c in commands if isinstance(c, MoveGate)]
    assert MoveGate("planer gate", "halt") in moves
    assert {move.what for move in moves} == {"halt"}
    later = core.run(60.0)
    assert [c for c in later if isinstance(c, MoveGate) or (isinstance(c, SwitchMotor) and c.what == "on")] == []
    assert ("sparks", "the shop") in core.alarms()
    assert FAULTS["sparks"].heap == "now"


@pytest.mark.parametrize("who", ["page", "button", "broker", "input"])
def test_only_the_reset_in_the_shop_ends_it_and_starts_nothing(core: Core, who: str) -> None:
    core.ask("sparks")
    answer, _ = core.ask("reset", who=who)
    assert (answer.accepted, answer.code) == (False, "local_only")
    answer, _ = core.ask("reset", who="local")
    assert answer.accepted
    later = core.run(30.0)
    assert [c for c in later if isinstance(c, SwitchMotor)] == []
    assert ("sparks", "the shop") not in core.alarms()
    core.handle(ToolSeen("saw", "stopped"))
    fresh = core.handle(ToolSeen("saw", "running"))
    assert any(isinstance(c, SwitchMotor) and c.what == "on" for c in fresh)


def test_it_outlives_a_power_cut(core: Core) -> None:
    core.ask("sparks", who="button")
    after = Core(Kept({key: value for key, value in core.kept.items() if value is not None}, fresh=False))
    assert after.supervisor.snapshot().fire
    assert ("sparks", "the shop") in after.alarms()
    started = after.handle(ToolSeen("saw", "running"))
    assert [c for c in (*started, *after.run(10.0)) if isinstance(c, SwitchMotor | MoveGate)] == []
    answer, _ = after.ask("reset", who="local")
    assert answer.accepted
    assert after.kept["sparks"] is None
    assert after.kept["fire"] is None


def test_a_detector_that_speaks_as_well_is_told_beside_it(core: Core) -> None:
    core.ask("sparks")
    core.handle(InputSeen("heat", "open"))
    assert {("sparks", "the shop"), ("fire", "heat")} <= core.alarms()
    answer, _ = core.ask("reset", who="local")
    assert (answer.accepted, answer.code) == (False, "still_open")
    core.handle(InputSeen("heat", "made"))
    assert ("sparks", "the shop") in core.alarms()


def test_the_guard_holds_it_whatever_the_rest_of_the_core_believes(core: Core, monkeypatch: pytest.MonkeyPatch) -> None:
    world = core.supervisor.world
    core.supervisor.strict = False
    core.ask("sparks")
    world.fire = world.sparks = False  # a core that forgot
    core.handle(ToolSeen("saw", "stopped"))
    commands = [*core.handle(ToolSeen("saw", "running")), *core.run(10.0)]
    assert [c for c in commands if isinstance(c, MoveGate) or (isinstance(c, SwitchMotor) and c.what == "on")] == []
