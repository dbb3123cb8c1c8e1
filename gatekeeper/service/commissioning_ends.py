"""The two ends of a servo gate: nudged at the gate, by eye, and written into the shop file.

The gate is held all the while (C26), so the core leaves it alone, and its motor must stand still; both are asked anew
in the control thread at each nudge (``ControlLoop.nudge``, which also says why that is right).
"""

from collections.abc import Mapping
from typing import Any

from gatekeeper.commissioning.facts import of_ends, pulse_said, pulses_s
from gatekeeper.commissioning.record import Going
from gatekeeper.commissioning.steps import Figure, Outcome, Step
from gatekeeper.commissioning.words import CAUTIONS
from gatekeeper.devices.servos import LONGEST_PULSE_S, SHORTEST_PULSE_S
from gatekeeper.service.calibration_file import CannotCalibrate
from gatekeeper.service.commissioning_gates import RESTART, is_pending
from gatekeeper.service.commissioning_scene import (
    ANSWER_S,
    NO_ANSWER,
    NotNow,
    Scene,
    Shown,
    Turn,
    Verdict,
    ended,
    failed,
    going_on,
    refused,
    unknown_press,
)
from gatekeeper.service.face import Answer, Press, Saying
from gatekeeper.service.face_commissioning import StepOffer
from gatekeeper.service.viewing_scene import RELEASE_CAUTION, cap, plain
from gatekeeper.shop.model import Gate
from gatekeeper.shop.rewrite import Change

#: One nudge, microseconds: about 2 degrees of a servo that turns 90 degrees a millisecond (common practice). Ours.
NUDGE_US, BIG_NUDGE_US = 20, 100
#: Two ends nearer than this are one.
LEAST_APART_US = 100
#: Pulses go on this long after a nudge, and a whole travel longer where an end is driven to. Ours.
NUDGED_S = 1.0
_HOLD, _NUDGE, _RELEASE = "hold", "nudge", "release"
_STEPS = {"more": NUDGE_US, "less": -NUDGE_US, "much_more": BIG_NUDGE_US, "much_less": -BIG_NUDGE_US}


class SetEnds:
    """See ``commissioning_scene.Way``. ``ends``: pulses, us, by "open" and "shut"; ``at``: the end in hand."""

    def begin(self, scene: Scene, step: Step) -> tuple[str, dict[str, Any]]:
        """Held first."""
        if is_pending(scene, step.subject):
            raise NotNow(RESTART.format(gate=step.subject), "restart")
        open_s, shut_s = _pulses(scene.shop.gates[step.subject])
        memo = {"ends": {"open": round(open_s * 1e6), "shut": round(shut_s * 1e6)}, "at": "open"}
        return (_NUDGE if scene.gate(step.subject).worked else _HOLD), memo

    def resumed(self, scene: Scene, step: Step, going: Going) -> tuple[str, dict[str, Any]]:
        """What was found so far stays found; the hold outlives a restart."""
        if going.phase == _NUDGE and not scene.gate(step.subject).worked:
            return _HOLD, going.memo
        return going.phase, going.memo

    def look(self, scene: Scene, step: Step, going: Going) -> Turn | None:
        """Somebody else's release, from this page or at the gate, is seen here."""
        is_held = scene.gate(step.subject).worked
        if going.phase == _NUDGE and not is_held:
            return going_on("Released.", _HOLD, going.memo)
        if going.phase == _RELEASE and not is_held:
            return Turn(Answer(True, "done", "Released. It moves no sooner than in 3 s."), closes=True)
        return None

    def press(self, scene: Scene, step: Step, going: Going, press: str, values: Mapping[str, str]) -> Turn:
        """Hold, go to an end, nudge, write, release."""
        gate, memo = scene.shop.gates[step.subject], going.memo
        if going.phase == _HOLD and press == "hold":
            answer = scene.ask("hold", gate.name, why="its ends are set")
            return going_on(answer.sentence, _NUDGE, memo) if answer.accepted else refused(answer)
        if going.phase == _RELEASE and press == "release":
            return refused(scene.ask("release", gate.name, why="its ends are set"))
        if going.phase != _NUDGE:
            raise unknown_press(press)
        if press in ("open", "shut"):
            return self._drive(scene, gate, {**memo, "at": press}, gate.travel_s + NUDGED_S)
        if press in _STEPS:
            return self._nudge(scene, gate, memo, _STEPS[press])
        if press == "write":
            return self._write(scene, step, gate, memo)
        raise unknown_press(press)

    def _nudge(self, scene: Scene, gate: Gate, memo: Mapping[str, Any], by_us: int) -> Turn:
        at = str(memo["at"])
        least, most = round(SHORTEST_PULSE_S * 1e6), round(LONGEST_PULSE_S * 1e6)
        pulse_us = min(most, max(least, int(memo["ends"][at]) + by_us))
        if pulse_us == memo["ends"][at]:
            raise NotNow(
                f"A servo takes {least / 1000:g} ms to {most / 1000:g} ms, and this is its last.", "last_pulse"
            )
        return self._drive(scene, gate, {**memo, "ends": {**memo["ends"], at: pulse_us}}, NUDGED_S)

    def _drive(self, scene: Scene, gate: Gate, memo: Mapping[str, Any], for_s: float) -> Turn:
        asked = scene.service.loop.nudge(gate.name, memo["ends"][memo["at"]] / 1e6, min(for_s, 10.0))
        try:
            answer = asked.result(ANSWER_S)
        except TimeoutError:
            return refused(NO_ANSWER)
        if not answer.accepted:
            return refused(Answer(False, answer.code, answer.sentence))
        return going_on(answer.sentence, _NUDGE, memo)

    def _write(self, scene: Scene, step: Step, gate: Gate, memo: Mapping[str, Any]) -> Turn:
        ends = {end: int(us) for end, us in memo["ends"].items()}
        if abs(ends["open"] - ends["shut"]) < LEAST_APART_US:
            raise NotNow("The two ends are nearly the same; such a gate would never move.", "same")
        before = dict(zip(("open", "shut"), _pulses(gate), strict=True))
        figures = [
            Figure(f"pulse at its {end} end", pulse_said(us / 1e6), f"before {pulse_said(before[end])}")
            for end, us in ends.items()
        ]
        changed = [end for end, us in ends.items() if round(before[end] * 1e6) != us]
        facts = of_ends(gate)
        if changed:
            changes = [Change(("gates", gate.name, "servo"), end, f"{ends[end]} us") for end in changed]
            try:
                facts = of_ends(scene.write(changes).gates[gate.name])
            except CannotCalibrate as trouble:
                verdict = failed(f"Its ends were found, and are not in the file: {trouble}", figures)
                return Turn(Answer(False, "not_written", str(trouble)), _RELEASE, memo, verdict, goes_on=True)
            said = "Its ends were found at the gate and written; they count after the next start of the controller."
        else:
            said = "Its ends were looked at, and are as the file has them."
        verdict = Verdict(Outcome.PASSED, said, tuple(figures), facts)
        return Turn(Answer(True, "passed", said), _RELEASE, memo, verdict, goes_on=True)

    def show(self, scene: Scene, step: Step, going: Going) -> Shown:
        """As it is now."""
        gate, memo = scene.shop.gates[step.subject], going.memo
        name, at = plain(gate.name), str(memo["at"])
        live = (*((f"pulse at its {end} end", f"{us / 1000:.2f} ms") for end, us in memo["ends"].items()),)
        if going.phase == _HOLD:
            offer = StepOffer("hold", f"Hold {gate.name}")
            notes = (f"{cap(gate.motor)} must stand still for as long.",)
            return Shown(Saying(f"Hold {name}: then it moves by your press only."), notes, live, (), (offer,))
        if going.phase == _RELEASE:
            offer = StepOffer("release", f"Release {gate.name}", Press.HOLD, RELEASE_CAUTION)
            return Shown(Saying(f"Take your hands out, then release {name}."), live=live, offers=(offer,))
        moves = {
            "open": "To its open end",
            "shut": "To its shut end",
            "more": "A little longer pulse",
            "less": "A little shorter pulse",
            "much_more": "Much longer",
            "much_less": "Much shorter",
        }
        offers = (
            *(StepOffer(press, label, Press.HOLD) for press, label in moves.items()),
            StepOffer("write", "Both ends are right: write them"),
        )
        prompt = (
            f"The {at} end of {name} is in hand: nudge it until the blade stands where it should, and hums nowhere."
        )
        notes = ("Where the servo hums at an end, it presses against it: take it back a little.",)
        return Shown(Saying(prompt), notes, live, (), offers, CAUTIONS[step.kind])


def _pulses(gate: Gate) -> tuple[float, float]:
    pulses = pulses_s(gate)
    assert pulses is not None  # steps of this kind are made for servos only
    return pulses


class LookAtHandGate:
    """A gate that people move; see ``commissioning_scene.Way``."""

    def begin(self, scene: Scene, step: Step) -> tuple[str, dict[str, Any]]:
        """One thing to do."""
        return "try", {}

    def resumed(self, scene: Scene, step: Step, going: Going) -> tuple[str, dict[str, Any]]:
        """As it was."""
        return going.phase, going.memo

    def look(self, scene: Scene, step: Step, going: Going) -> Turn | None:
        """Nobody but a person can tell."""
        return None

    def press(self, scene: Scene, step: Step, going: Going, press: str, values: Mapping[str, str]) -> Turn:
        """It does, or it does not."""
        if press == "good":
            said = "Moved by hand to both ends: it stays where it is put, and seals when shut, by eye and hand."
            return ended(Verdict(Outcome.PASSED, said))
        if press == "bad":
            return ended(failed("Moved by hand: it binds, falls by itself, or does not seal when shut."))
        raise unknown_press(press)

    def show(self, scene: Scene, step: Step, going: Going) -> Shown:
        """As it is now."""
        offers = (StepOffer("good", "It does all of that"), StepOffer("bad", "It does not"))
        prompt = f"Move {plain(step.subject)} by hand to both ends. It must stay where you put it, and seal when shut."
        return Shown(Saying(prompt), offers=offers)
