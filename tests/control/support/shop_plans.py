"""Small invented shops for the proofs of the core, each with something that the others lack."""

from gatekeeper.control.plan import (
    AirAnswer,
    GatePlan,
    InputKind,
    InputPlan,
    MotorKind,
    MotorPlan,
    Plan,
    Proof,
    ToolPlan,
)

RED = InputPlan("red", InputKind.EMERGENCY)
HEAT = InputPlan("heat", InputKind.FIRE)


def _named(*things):
    return {thing.name: thing for thing in things}


def _fan(name="fan", **more):
    numbers = {"path_minimum_m2": 0.01, "starts_per_hour": 60.0, "rest_s": 20.0, "coast_s": 5.0, "lease_s": 10.0}
    return MotorPlan(name, **(numbers | more))


def two_tools(**fan):
    """Two tools, two gates, one collector, no switches: travel time alone is the proof."""
    return Plan(
        _named(_fan(**fan)),
        _named(GatePlan("g1", "fan", 0.01, supply="air"), GatePlan("g2", "fan", 0.01, supply="air", clear_s=6.0)),
        _named(ToolPlan("saw", ("g1",)), ToolPlan("planer", ("g2",), spin_down_s=12.0, longest_run_s=600.0)),
        supplies={"air": 1},
        inputs=_named(RED, HEAT, InputPlan("bin", InputKind.DOOR, ("fan",))),
        answer_s=60.0,
        remote_start=True,
        sweep_gates=("g2",),
    )


def two_systems():
    """Three tools on two systems, one of them on both; one feeder for everything, one supply that moves one."""
    return Plan(
        _named(
            _fan("fan", feeder="north", resume=True),
            _fan("vac", kind=MotorKind.VACUUM, feeder="north", rest_s=5.0),
        ),
        _named(
            GatePlan("g1", "fan", 0.01, supply="air", travel_s=3.0),
            GatePlan("g2", "fan", 0.02, supply="air", can_halt=False),
            GatePlan("v1", "vac", 0.01, supply="air", travel_s=1.0),
            GatePlan("v2", "vac", 0.01, supply="air", dead_s=0.5),
        ),
        _named(
            ToolPlan("saw", ("g1", "v1"), feeder="north", hold_s=60.0),
            ToolPlan("planer", ("g2",), feeder="north"),
            ToolPlan("sander", ("v2",), spin_down_s=0.0),
        ),
        supplies={"air": 1},
        feeders={"north": 2.0},
        inputs=_named(RED, InputPlan("filter", InputKind.DOOR, ("vac",))),
        sweep_gates=("g2", "v2"),
    )


def switches():
    """Gates with position switches, a run sensor, a restart that may resume."""
    return Plan(
        _named(_fan(confirm_s=3.0, resume=True, proof=Proof.SWITCHES)),
        _named(
            GatePlan("g1", "fan", 0.01, has_switch=True, supply="air", dead_s=0.5),
            GatePlan("g2", "fan", 0.01, has_switch=True, supply="air", sees_shut=False, retries=1),
            GatePlan("g3", "fan", 0.01, has_switch=True, supply="air", spring_return=True, shake=False),
        ),
        _named(ToolPlan("saw", ("g1",)), ToolPlan("planer", ("g2",), longest_run_s=900.0), ToolPlan("lathe", ("g3",))),
        supplies={"air": 2},
        inputs=_named(RED, HEAT),
        answer_s=30.0,
    )


def mixed_hand():
    """One automatic gate, one hand gate with a switch, one without."""
    return Plan(
        _named(_fan(confirm_s=2.0)),
        _named(
            GatePlan("g1", "fan", 0.01, supply="air"),
            GatePlan("h1", "fan", 0.01, actuated=False, has_switch=True),
            GatePlan("h2", "fan", 0.01, actuated=False),
        ),
        _named(ToolPlan("saw", ("g1",)), ToolPlan("planer", ("h1",)), ToolPlan("lathe", ("h2",))),
        supplies={"air": 1},
        inputs=_named(RED),
        sweep_gates=("g1", "h1"),
    )


def by_person():
    """Only hand gates without switches: the path is the person's."""
    return Plan(
        _named(_fan(proof=Proof.PERSON, confirm_s=2.0)),
        _named(GatePlan("h1", "fan", 0.01, actuated=False), GatePlan("h2", "fan", 0.01, actuated=False)),
        _named(ToolPlan("saw", ("h1",)), ToolPlan("planer", ("h2",))),
        inputs=_named(HEAT),
        remote_start=True,
    )


def relief():
    """A port that is never shut: every gate may shut."""
    return Plan(
        _named(_fan(proof=Proof.RELIEF, relief_m2=0.01)),
        _named(GatePlan("g1", "fan", 0.01, supply="air"), GatePlan("g2", "fan", 0.01, supply="air")),
        _named(ToolPlan("saw", ("g1",)), ToolPlan("planer", ("g2",))),
        supplies={"air": 1},
        inputs=_named(RED),
    )


def air_proof():
    """A pressure sensor proves the air."""
    return Plan(
        _named(_fan(proof=Proof.AIR, confirm_s=3.0)),
        _named(
            GatePlan("g1", "fan", 0.01, supply="air"),
            GatePlan("g2", "fan", 0.01, supply="air"),
            GatePlan("g3", "fan", 0.01, supply="air", as_extra=False),
        ),
        _named(ToolPlan("saw", ("g1",)), ToolPlan("planer", ("g2",)), ToolPlan("lathe", ("g3",))),
        supplies={"air": 1},
        inputs=_named(RED),
    )


def shared_gate():
    """Two tools behind one gate, a tool with two gates, two supplies, gates of two sizes."""
    return Plan(
        _named(_fan(path_minimum_m2=0.015)),
        _named(
            GatePlan("g1", "fan", 0.02, supply="air"),
            GatePlan("g2", "fan", 0.01, supply="servo"),
            GatePlan("g3", "fan", 0.01, supply="servo", has_switch=True),
        ),
        _named(ToolPlan("saw", ("g1",)), ToolPlan("router", ("g1",)), ToolPlan("planer", ("g2", "g3"))),
        supplies={"air": 1, "servo": 1},
        inputs=_named(RED, InputPlan("any door", InputKind.DOOR)),
        sweep_gates=("g3",),
    )


def cleaner_and_shaker():
    """A room air cleaner, a filter shaker, one feeder for all three motors."""
    return Plan(
        _named(
            _fan(feeder="north", confirm_s=3.0),
            MotorPlan(
                "cleaner",
                kind=MotorKind.AIR_CLEANER,
                feeder="north",
                starts_per_hour=60.0,
                run_on_min_s=60.0,
                run_on_max_s=300.0,
                run_on_full_cut_s=120.0,
                lease_s=20.0,
                rest_s=10.0,
            ),
            MotorPlan(
                "shaker",
                kind=MotorKind.SHAKER,
                follows="fan",
                feeder="north",
                shake_s=10.0,
                starts_per_hour=120.0,
                coast_s=1.0,
                lease_s=20.0,
                rest_s=5.0,
            ),
        ),
        _named(GatePlan("g1", "fan", 0.01, supply="air"), GatePlan("g2", "fan", 0.01, supply="air")),
        _named(ToolPlan("saw", ("g1",), feeder="north"), ToolPlan("planer", ("g2",))),
        supplies={"air": 1},
        feeders={"north": 2.0},
        inputs=_named(RED, HEAT),
    )


def extra_air():
    """The air table asks for extra gates and names who is short."""
    return Plan(
        _named(_fan()),
        _named(
            GatePlan("g1", "fan", 0.01, supply="air"),
            GatePlan("g2", "fan", 0.01, supply="air"),
            GatePlan("g3", "fan", 0.01, supply="air"),
        ),
        _named(ToolPlan("saw", ("g1",)), ToolPlan("planer", ("g2",))),
        supplies={"air": 2},
        inputs=_named(RED),
        air={
            ("fan", frozenset({"saw"})): AirAnswer(extra=("g3",)),
            ("fan", frozenset({"saw", "planer"})): AirAnswer(short=(("saw", 0.2),)),
        },
    )


#: Every shop by name.
PLANS = {
    "two tools": two_tools(),
    "two systems": two_systems(),
    "switches": switches(),
    "mixed hand": mixed_hand(),
    "by person": by_person(),
    "relief": relief(),
    "air proof": air_proof(),
    "shared gate": shared_gate(),
    "cleaner and shaker": cleaner_and_shaker(),
    "extra air": extra_air(),
}
