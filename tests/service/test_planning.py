"""From a checked shop to the core's plan."""

import math

import pytest

from gatekeeper.control.plan import GatePlan, InputKind, InputPlan, MotorKind, Plan, Proof, ToolPlan
from gatekeeper.service.planning import plan_of
from gatekeeper.shop import examples
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop


def plan_for(name: str) -> Plan:
    shop = load_shop(examples.example(name).read_text(encoding="utf-8"), name)
    assert isinstance(shop, Shop)
    return plan_of(shop)


@pytest.mark.parametrize("name", examples.names())
def test_every_example_gives_a_plan_whose_parts_fit(name: str) -> None:
    plan = plan_for(name)

    plan.check()
    for tool in plan.tools:
        assert plan.systems_of(tool)


def test_the_long_shed_by_hand() -> None:
    plan = plan_for("long-narrow")
    collector, vacuum, cleaner = plan.motors["collector"], plan.motors["vacuum"], plan.motors["air cleaner"]

    assert (collector.kind, vacuum.kind, cleaner.kind) == (
        MotorKind.COLLECTOR,
        MotorKind.VACUUM,
        MotorKind.AIR_CLEANER,
    )
    assert (collector.proof, vacuum.proof) == (Proof.SWITCHES, Proof.TIME)
    assert collector.relief_m2 == pytest.approx(math.pi * 0.1**2 / 4)
    assert (collector.starts_per_hour, collector.rest_s, collector.coast_s) == (9.9, 80.0, 18.0)
    assert (collector.confirm_s, vacuum.confirm_s, cleaner.confirm_s) == (4.0, 2.0, None)
    assert (cleaner.run_on_min_s, cleaner.run_on_max_s) == (pytest.approx(4480.0), pytest.approx(4480.0))
    assert plan.gates["saw cabinet gate"] == GatePlan(
        name="saw cabinet gate",
        system="collector",
        area_m2=pytest.approx(math.pi * 0.125**2 / 4),
        travel_s=4.0,
        actuated=True,
        has_switch=True,
        supply="relay supply",
        clear_s=pytest.approx((3 + 1 + 4) / 10 + 1),
        dead_s=0.2,
    )
    assert (plan.gates["planer gate"].has_switch, plan.gates["planer gate"].sees_shut) == (True, False)
    assert (plan.gates["planer gate"].can_halt, plan.gates["planer gate"].spring_return) == (False, True)
    assert (plan.gates["lathe gate"].actuated, plan.gates["lathe gate"].supply) == (False, None)
    assert plan.tools["planer"] == ToolPlan("planer", ("planer gate",), 6.0, 7200.0, 1800.0, "three-phase line")
    assert plan.systems_of("panel saw") == ("collector", "vacuum")
    assert plan.supplies == {"relay supply": 2}
    assert plan.feeders == {"three-phase line": 3.0, "bench line": 2.0}
    assert plan.inputs == {
        "door stop": InputPlan("door stop", InputKind.EMERGENCY),
        "bin door": InputPlan("bin door", InputKind.DOOR, ("collector",)),
    }
    assert plan.remote_start is False


def test_a_shaker_follows_and_an_air_cleaner_runs_on() -> None:
    plan = plan_for("shared-twelve")

    shaker, cleaner = plan.motors["shaker"], plan.motors["air cleaner"]
    assert (shaker.kind, shaker.follows, shaker.shake_s) == (MotorKind.SHAKER, "collector", 30.0)
    assert (cleaner.run_on_min_s, cleaner.run_on_max_s) == (7200.0, 21600.0)


def test_a_gate_of_no_tool_is_for_the_floor_sweep() -> None:
    assert plan_for("one-evening").sweep_gates == ("planer gate",)
