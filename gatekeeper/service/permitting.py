"""When the "air ready" contact of a machine is made: from what the core believes, and never to cut a machine (C28)."""

from gatekeeper.control.plan import Plan
from gatekeeper.control.snapshot import CoreView, MotorNow

#: The states in which a fan has its air: proved and not yet told off.
WITH_AIR = ("running", "spin_down")


def air_is_ready(view: CoreView, plan: Plan, tool: str) -> bool:
    """Whether every gate of a tool is open and every system behind them draws air.

    A hand gate without a switch counts as open, as on the sign: nobody but its user knows.
    """
    gates = {gate.name: gate for gate in view.gates}
    motors = {motor.name: motor for motor in view.motors}
    mine = [gates[name] for name in plan.tools[tool].gates]
    if view.fire or view.emergency or any(gate.held is not None or gate.worked for gate in mine):
        return False
    if not all(gate.is_open or not plan.gates[gate.name].actuated for gate in mine):
        return False
    return all(_draws(motors[name]) for name in plan.systems_of(tool))


def permits(view: CoreView, plan: Plan, tool: str, *, is_made: bool) -> bool:
    """Whether the contact is to be made: while air is ready, and on while the tool runs that it was made for."""
    runs = any(one.name == tool and one.reading != "stopped" for one in view.tools)
    return air_is_ready(view, plan, tool) or (is_made and runs)


def _draws(motor: MotorNow) -> bool:
    if motor.out_of_service is not None or motor.path_lost or motor.seen == "still":
        return False
    if motor.hand == "hand":
        return motor.seen == "running"
    return motor.on and motor.state in WITH_AIR
