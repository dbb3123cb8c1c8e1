"""A machine's first start, held against what is promised: every figure is read from the record, none is measured here.

What the sensor itself needs, two mains cycles and a scan, is not in the record: it begins when the start was seen.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from gatekeeper.commissioning.judging import Check, GateOf, MotorOf, first_start
from gatekeeper.commissioning.record import Going
from gatekeeper.commissioning.steps import Figure, Step
from gatekeeper.commissioning.words import CAUTIONS
from gatekeeper.control.policy import LATE_LEAST_S, LATE_SHARE
from gatekeeper.service.commissioning_scene import (
    Scene,
    Shown,
    Turn,
    Verdict,
    ended,
    failed,
    going_on,
    passed,
    unknown_press,
)
from gatekeeper.service.face import Saying
from gatekeeper.service.face_commissioning import StepOffer
from gatekeeper.service.viewing_scene import cap, listing, plain

#: What has not come by now after the start does not come. Longer than any gap, gate and confirmation of most shops;
#: a gate that takes longer has its own time added. Ours.
PATIENCE_S = 20.0
_REST, _START, _RUNS = "rest", "start", "runs"


class FirstStart:
    """See ``commissioning_scene.Way``."""

    def begin(self, scene: Scene, step: Step) -> tuple[str, dict[str, Any]]:
        """At rest first."""
        return _REST, {}

    def resumed(self, scene: Scene, step: Step, going: Going) -> tuple[str, dict[str, Any]]:
        """Once more, from rest."""
        return self.begin(scene, step)

    def look(self, scene: Scene, step: Step, going: Going) -> Turn | None:
        """At rest; started; everything that was promised has come, or does not come any more."""
        tool = step.subject
        if going.phase == _REST:
            return None if _not_at_rest(scene, tool) else going_on("Now start it.", _START, _before(scene, tool))
        checks = self._checks(scene, tool, going)
        if checks is None:
            if going.phase == _START and (_not_at_rest(scene, tool) is not None):
                return going_on("Something else moved.", _REST, {})
            return None
        if any(check.later for check in checks) and not self._is_late(scene, tool, going):
            return going_on("It is seen.", _RUNS, going.memo) if going.phase == _START else None
        return ended(_judged(tool, checks))

    def _checks(self, scene: Scene, tool: str, going: Going) -> tuple[Check, ...] | None:
        plan = scene.service.plan
        was_open = going.memo["open"]
        gates = []
        for name in scene.shop.tools[tool].gates:
            gate = plan.gates[name]
            late_s = max(LATE_LEAST_S, LATE_SHARE * gate.travel_s) if gate.has_switch else 0.0
            gates.append(GateOf(name, gate.actuated, gate.dead_s + gate.travel_s + late_s, name in was_open))
        motors = [MotorOf(name, plan.motors[name].confirm_s, False) for name in scene.shop.tools[tool].systems]
        return first_start(scene.since(int(going.memo["mark"])), tool, gates, motors)

    def _is_late(self, scene: Scene, tool: str, going: Going) -> bool:
        seen = (e for e in scene.since(int(going.memo["mark"])) if e.kind == "tool" and e.subject == tool)
        first = next(seen, None)
        longest_s = max((scene.service.plan.gates[name].travel_s for name in scene.shop.tools[tool].gates), default=0.0)
        return first is not None and scene.now_s - first.t_s > PATIENCE_S + longest_s

    def press(self, scene: Scene, step: Step, going: Going, press: str, values: Mapping[str, str]) -> Turn:
        """It runs, and nothing is seen of it."""
        if going.phase == _START and press == "nothing":
            return ended(failed("It was started, and the controller saw nothing of it. Nothing was told to move."))
        raise unknown_press(press)

    def show(self, scene: Scene, step: Step, going: Going) -> Shown:
        """As it is now."""
        tool = step.subject
        if going.phase == _REST:
            return Shown(_not_at_rest(scene, tool) or Saying("One moment."), live=_live(scene, tool))
        if going.phase == _START:
            offers = (StepOffer("nothing", "It runs, and nothing is seen"),)
            prompt = f"Start {plain(tool)} as on any day, and let it run."
            said = ("Its motors start now. What is promised: gate told in the same step, motor told on within 1 s.",)
            return Shown(Saying(prompt), said, _live(scene, tool), (), offers, CAUTIONS[step.kind])
        checks = self._checks(scene, tool, going) or ()
        notes = tuple(f"{cap(check.figure.what)}: {check.figure.value}." for check in checks if not check.later)
        return Shown(Saying(f"{cap(plain(tool))} is seen. Let it run."), notes, _live(scene, tool))


def _before(scene: Scene, tool: str) -> dict[str, Any]:
    is_open = [name for name in scene.shop.tools[tool].gates if scene.gate(name).is_open]
    return {"mark": scene.mark, "open": is_open}


def _not_at_rest(scene: Scene, tool: str) -> Saying | None:
    """Why a start now would show nothing, or None."""
    if scene.tool(tool).reading == "stale":
        return Saying(f"The sensor of {plain(tool)} says nothing that can be relied on. Look at its clamp and wire.")
    if scene.tool(tool).reading != "stopped":
        return Saying(f"Switch {plain(tool)} off first.")
    for name in scene.shop.tools[tool].systems:
        motor, called = scene.motor(name), plain(name)
        if motor.out_of_service is not None or motor.blocked is not None:
            why = motor.blocked[1] if motor.blocked is not None else "it is out of service"
            return Saying(f"{cap(called)} may not start: {plain(why)}.")
        if motor.hand != "auto":
            return Saying(f"The switch of {called} stands at {motor.hand}. Turn it to Auto.")
        if motor.latch is not None or motor.starts_locked:
            return Saying(f"{cap(called)} is latched off. Press Clear at its message first.")
        if motor.on:
            return Saying(f"{cap(called)} runs. Wait until it has stopped.")
        if motor.may_start_at_s is not None and motor.may_start_at_s > scene.now_s:
            said = f"{cap(called)} rests: no start is in hand for {{time}}."
            return Saying(said, until_s=motor.may_start_at_s)
    if not scene.core.shop_open:
        return Saying("The shop is shut. Open it by its key, or in its hours.")
    moving = [name for name in scene.shop.tools[tool].gates if scene.gate(name).belief in ("opening", "shutting")]
    return Saying(f"Wait until {plain(listing(moving))} stands.") if moving else None


def _live(scene: Scene, tool: str) -> tuple[tuple[str, str], ...]:
    gates = tuple((name, scene.gate(name).belief) for name in scene.shop.tools[tool].gates)
    motors = tuple((name, "told on" if scene.motor(name).on else "off") for name in scene.shop.tools[tool].systems)
    reading = {"running": "runs", "stopped": "off", "stale": "its sensor is lost"}[scene.tool(tool).reading]
    return ((tool, reading), *gates, *motors)


def _judged(tool: str, checks: Sequence[Check]) -> Verdict:
    figures: list[Figure] = [check.figure for check in checks]
    broken = [check.figure for check in checks if not check.is_kept]
    if not broken:
        return passed(f"{cap(tool)} was started, and everything came within what is promised.", figures)
    said = "; ".join(f"{one.what}: {one.value}, promised {one.against}" for one in broken)
    return failed(f"{cap(tool)} was started, and not all came as promised. {cap(said)}.", figures)
