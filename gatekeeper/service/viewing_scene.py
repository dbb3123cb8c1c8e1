"""One instant of the shop, ready to be asked: what the core believes by name, and what it would accept now.

``Ground`` holds what never changes while the controller runs and is made once; ``Scene`` is made for every view. The
questions here mirror the refusals of ``gatekeeper.control.people``: an offer that would be refused is not made.
"""

from collections.abc import Iterable, Mapping

from gatekeeper.control.alarms import gate_called
from gatekeeper.control.plan import GatePlan, MotorKind, MotorPlan, Plan, Proof
from gatekeeper.control.snapshot import CoreView, GateNow, MotorNow, ToolNow
from gatekeeper.service.face import Offer, Press
from gatekeeper.service.viewing_notes import Notes
from gatekeeper.shop.model import InputKind, Shop

#: How long a run from the page lasts, and a gate that is opened from it.
RUN_S = 600.0
START_CAUTION = "This starts a motor that you may not see. See that no hand is in a gate, a duct, the bin or the fan."
RELEASE_CAUTION = "It moves 3 s after the press. Take fingers and tools out of the slot first."
SPARKS_CAUTION = (
    "Every motor goes off, in mid-cut too, and every gate stays where it is. It is reset at the controller's own reset "
    "key, never from here."
)
SPARKS_NO_RESET = (
    "Every motor goes off, in mid-cut too, every gate stays where it is, and the whole shop is out of service until "
    "somebody brings it back here."
)
#: Relative tolerance on areas, as the core has it: sums of floats.
_AREA_TOLERANCE = 1e-9


def cap(text: str) -> str:
    """A sentence begins with a capital, whatever the shop's own names do."""
    return text[:1].upper() + text[1:]


def plain(text: str) -> str:
    """Free words of a person inside a sentence: braces there would be taken for a running time."""
    return text.replace("{", "(").replace("}", ")")


def listing(names: Iterable[str], most: int = 3) -> str:
    """Names in words: "a", "a and b", "a, b and c", "a, b and 4 more"."""
    every = list(names)
    if len(every) > most:
        every = [*every[: most - 1], f"{len(every) - most + 1} more"]
    return every[0] if len(every) == 1 else f"{', '.join(every[:-1])} and {every[-1]}" if every else ""


def has_reset(shop: Shop) -> bool:
    """True where a fire alarm can be reset: only at an input in the shop itself."""
    return any(source.kind is InputKind.RESET for source in shop.inputs.values())


class Ground:
    """What a view needs of the shop and never changes: who is served by whom, and what is wired.

    Args:
        shop: the shop's file.
        plan: what the core runs on, made from the same file.
    """

    def __init__(self, shop: Shop, plan: Plan) -> None:
        self.shop = shop
        self.plan = plan
        self.systems_of = {name: plan.systems_of(name) for name in plan.tools}
        self.gates_of = {name: plan.gates_of(name) for name in plan.motors}
        self.tools_of = {
            name: tuple(plan.tools)
            if motor.kind is MotorKind.AIR_CLEANER
            else tuple(tool for tool in plan.tools if name in self.systems_of[tool])
            for name, motor in plan.motors.items()
        }
        self.tools_at = {
            name: tuple(tool.name for tool in plan.tools.values() if name in tool.gates) for name in plan.gates
        }
        self.clear_s = {
            **{name: max((gate.clear_s for gate in self.gates_of[name]), default=0.0) for name in plan.motors},
            **{tool.name: max(plan.gates[gate].clear_s for gate in tool.gates) for tool in plan.tools.values()},
        }
        self.has_hand_switch = frozenset(
            motor
            for source in shop.inputs.values()
            if source.kind is InputKind.HAND_OFF_AUTO
            for motor in source.systems
        )
        self.has_reset = has_reset(shop)
        self.ducted = frozenset(
            name for name, motor in plan.motors.items() if motor.kind in (MotorKind.COLLECTOR, MotorKind.VACUUM)
        )


class Scene:
    """One instant.

    Args:
        ground: the shop.
        core: what the core believes.
        notes: what the service adds.
    """

    def __init__(self, ground: Ground, core: CoreView, notes: Notes) -> None:
        self.ground = ground
        self.plan: Plan = ground.plan
        self.core = core
        self.notes = notes
        self.now_s = core.now_s
        self.gates: Mapping[str, GateNow] = {gate.name: gate for gate in core.gates}
        self.motors: Mapping[str, MotorNow] = {motor.name: motor for motor in core.motors}
        self.tools: Mapping[str, ToolNow] = {tool.name: tool for tool in core.tools}
        self.frozen = core.fire or core.emergency or bool(core.open_circuits)

    def wall(self, instant_s: float) -> float:
        """An instant of the monotonic clock on the wall clock."""
        return instant_s + self.notes.wall_offset_s

    def ahead(self, instant_s: float | None) -> float | None:
        """The instant while it lies ahead, else None."""
        return instant_s if instant_s is not None and instant_s > self.now_s else None

    # ---------------------------------------------------------------- who is concerned

    def counting_on(self, motor: str) -> list[ToolNow]:
        """The tools that count as running on a motor."""
        return [self.tools[name] for name in self.ground.tools_of[motor] if self.tools[name].counting]

    def without_air(self, motor: str) -> list[ToolNow]:
        """Tools that run on a motor which has no reason to start for them."""
        return [tool for tool in self.counting_on(motor) if tool.found or not tool.has_cause]

    def motors_of(self, tool: str) -> list[MotorNow]:
        """The motors whose systems serve a tool."""
        return [self.motors[name] for name in self.ground.systems_of[tool]]

    # ---------------------------------------------------------------- what would be accepted

    def startable(self, motor: MotorNow) -> bool:
        """True where a run asked from the page would be accepted now."""
        is_cleaner = self.plan.motors[motor.name].kind is MotorKind.AIR_CLEANER
        return (
            self.plan.remote_start
            and self.core.awake
            and self.core.shop_open
            and motor.blocked is None
            and motor.hand == "auto"
            and motor.latch is None
            and not motor.starts_locked
            and not (is_cleaner and self.core.quiet)
        )

    def movable(self, gate: GateNow) -> bool:
        """True where a gate would take an order by hand now."""
        plan = self.plan.gates[gate.name]
        return (
            plan.actuated and self.motors[plan.system].blocked is None and gate.held is None and gate.belief != "stuck"
        )

    def may_shut(self, gate: GateNow) -> bool:
        """True where a gate would be shut by hand now: nothing may run behind it, and air still reaches the fan."""
        if not self.movable(gate) or any(self.tools[name].may_run for name in self.ground.tools_at[gate.name]):
            return False
        motor = self.plan.motors[self.plan.gates[gate.name].system]
        if motor.proof is Proof.PERSON:
            return True
        return self.enough(motor, (other for other in self.ground.gates_of[motor.name] if other.name != gate.name))

    def enough(self, motor: MotorPlan, gates: Iterable[GatePlan]) -> bool:
        """True where those of the gates that are open let enough air to the fan."""
        area_m2 = motor.relief_m2 + sum(gate.area_m2 for gate in gates if self.gates[gate.name].is_open)
        return area_m2 >= motor.path_minimum_m2 * (1 - _AREA_TOLERANCE)

    # ---------------------------------------------------------------- offers that several parts share

    def start_offer(self, motor: MotorNow) -> Offer | None:
        """Start or run a motor, held for one second with its caution; None where it would be refused."""
        if not self.startable(motor):
            return None
        wanted = bool(self.without_air(motor.name)) and not motor.on
        label = f"Start {motor.name}" if wanted else f"Run {motor.name} for 10 min"
        return Offer("run", motor.name, label, RUN_S, Press.HOLD, START_CAUTION)

    def release_offer(self, gate: GateNow) -> Offer | None:
        """Release a held or stuck gate."""
        if gate.held is None and gate.belief != "stuck":
            return None
        label = f"Release {gate_called(gate.name)}"
        return Offer("release", gate.name, label, press=Press.HOLD, caution=RELEASE_CAUTION)

    def shut_offer(self, gate: GateNow) -> Offer | None:
        """Shut a gate by hand."""
        return Offer("shut", gate.name, f"Shut {gate_called(gate.name)}") if self.may_shut(gate) else None

    def reset_offer(self) -> Offer | None:
        """Reset after an emergency; never after a fire, which is reset at the controller only."""
        accepted = self.core.emergency and not self.core.fire and not self.core.open_circuits
        return Offer("reset", None, "Reset", caution="Nothing starts by itself.") if accepted else None

    def sparks_offer(self) -> Offer | None:
        """Somebody saw sparks: off as for a fire, and what ends that is said before the press."""
        if self.core.fire or all(motor.out_of_service is not None for motor in self.core.motors):
            return None
        caution = SPARKS_CAUTION if self.ground.has_reset else SPARKS_NO_RESET
        return Offer("sparks", None, "I saw sparks", press=Press.HOLD, caution=caution)

    def clear_offer(self, motor: MotorNow) -> Offer | None:
        """Clear a latched fault or a lost record of starts."""
        if motor.latch is None and not motor.starts_locked:
            return None
        return Offer("clear", motor.name, f"Clear {motor.name}", caution="Nothing starts by itself.")

    def back_offer(self, motor: MotorNow) -> Offer | None:
        """Bring a motor back into service."""
        if motor.out_of_service is None:
            return None
        caution = "Is everybody out, and every door shut? Nothing starts by itself."
        return Offer("back_in_service", motor.name, f"{cap(motor.name)} back in service", caution=caution)

    def stopped_offer(self, tool: ToolNow) -> Offer | None:
        """A person's word that a tool is stopped, where the sensor's cannot be had or is in doubt."""
        wanted = (tool.reading == "stale" and tool.may_run) or (tool.counting and tool.asked)
        return Offer("stopped", tool.name, f"{cap(tool.name)} is stopped") if wanted else None

    def still_running_offer(self, tool: ToolNow) -> Offer | None:
        """A person's word that a tool still cuts."""
        wanted = tool.counting and tool.asked
        return Offer("still_running", tool.name, f"{cap(tool.name)} still runs") if wanted else None


def made(*offers: Offer | None) -> tuple[Offer, ...]:
    """Those of the offers that stand."""
    return tuple(offer for offer in offers if offer is not None)
