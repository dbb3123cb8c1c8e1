"""The first entry of each run: all that somebody who checks the record from outside must know of the shop."""

from typing import Any

from gatekeeper.control.world import World


def shop_entry(world: World, now_s: float, *, damaged: bool = False) -> dict[str, Any]:
    """The value of the ``shop`` entry (RULES, "The record")."""
    plan = world.plan
    return {
        "systems": {
            name: {
                "kind": str(motor.plan.kind),
                "gates": [gate.name for gate in world.gates_of[name]],
                "path_minimum_m2": motor.plan.path_minimum_m2,
                "relief_m2": motor.plan.relief_m2,
                "starts_per_hour": motor.plan.starts_per_hour,
                "starts_capacity": motor.plan.starts_capacity,
                "starts_stored": round(motor.store.level_at(now_s), 6),
                "starts_locked": motor.store.locked,
                "rest_s": motor.plan.rest_s,
                "coast_s": motor.plan.coast_s,
                "release_s": motor.plan.release_s,
                "confirm_s": motor.plan.confirm_s,
                "settle_s": motor.plan.settle_s,
                "lease_s": motor.plan.lease_s,
                "spin_down_s": motor.plan.spin_down_s,
                "feeder": motor.plan.feeder,
                "resume": motor.plan.resume,
                "follows": motor.plan.follows,
                "shake_s": motor.plan.shake_s if motor.is_shaker else None,
                "run_on_s": [motor.plan.run_on_min_s, motor.plan.run_on_max_s] if motor.is_cleaner else None,
            }
            for name, motor in world.motors.items()
        },
        "gates": {
            name: {
                "area_m2": gate.plan.area_m2,
                "travel_s": gate.plan.travel_s,
                "actuated": gate.plan.actuated,
                "switch": gate.plan.has_switch,
                "sees_shut": gate.plan.sees_shut,
                "supply": gate.plan.supply,
                "clear_s": gate.plan.clear_s,
                "dead_s": gate.plan.dead_s,
                "can_halt": gate.plan.can_halt,
                "spring": gate.plan.spring_return,
            }
            for name, gate in world.gates.items()
        },
        "tools": {
            name: {
                "gates": list(tool.plan.gates),
                "systems": list(world.systems_of[name]),
                "spin_down_s": tool.plan.spin_down_s,
                "longest_run_s": tool.plan.longest_run_s,
                "hold_s": tool.plan.hold_s,
                "feeder": tool.plan.feeder,
            }
            for name, tool in world.tools.items()
        },
        "supplies": {name: {"at_once": number} for name, number in plan.supplies.items()},
        "feeders": {name: {"gap_s": gap_s} for name, gap_s in plan.feeders.items()},
        "inputs": {
            name: {"kind": str(source.kind), "systems": list(source.systems)} for name, source in plan.inputs.items()
        },
        "proof": {name: str(motor.plan.proof) for name, motor in world.motors.items()},
        "settings": {f"{subject}/spin_down_s": value for subject, value in world.settings.items()},
        "answer_s": plan.answer_s,
        "remote_start": plan.remote_start,
        "damaged": damaged,
        "latched": {
            "emergency": world.emergency,
            "fire": world.fire,
            "out_of_service": [name for name, motor in world.motors.items() if motor.out_of_service is not None],
            "motors": {name: motor.latch for name, motor in world.motors.items() if motor.latch is not None},
            "held": [name for name, gate in world.gates.items() if gate.held is not None],
            "stuck": [name for name, gate in world.gates.items() if gate.state == "stuck"],
        },
    }
