"""The first day: each machine is switched on once, and the controller must name that one and no other.

Nothing may start meanwhile: each motor that the machine's start would ask for is at Hand or Off, out of service, or
isolated by somebody's word.
"""

from collections.abc import Mapping
from typing import Any

from gatekeeper.commissioning.facts import of_tool, tool_wire
from gatekeeper.commissioning.judging import stopped_after, tools_seen
from gatekeeper.commissioning.plan import motors_woken_by
from gatekeeper.commissioning.record import Going
from gatekeeper.commissioning.steps import Figure, Outcome, Step
from gatekeeper.commissioning.words import CAUTIONS
from gatekeeper.sensing.detector import DetectorSettings
from gatekeeper.service.calibration_file import CannotCalibrate
from gatekeeper.service.commissioning_scene import (
    NotNow,
    Scene,
    Shown,
    Turn,
    Verdict,
    ended,
    failed,
    going_on,
    passed,
    refused,
    unknown_press,
)
from gatekeeper.service.face import Answer, Saying
from gatekeeper.service.face_commissioning import StepOffer
from gatekeeper.service.viewing_scene import cap, listing, plain
from gatekeeper.shop.model import Channel, InputKind, Shop
from gatekeeper.shop.rewrite import Change

#: Another machine was seen and the right one was not: it is waited for so long before that is believed. Ours.
GRACE_S = 1.5
_ISOLATE, _ON, _OFF, _MEND = "isolate", "on", "off", "mend"


def hand_switch_of(shop: Shop, motor: str) -> str | None:
    """The Hand-Off-Auto switch of a motor, where one is wired."""
    return next(
        (
            source.name
            for source in shop.inputs.values()
            if source.kind is InputKind.HAND_OFF_AUTO and motor in source.systems
        ),
        None,
    )


def may_start(scene: Scene, tool: str) -> list[str]:
    """The motors that a start of this machine could still start from here."""
    found = []
    for name in motors_woken_by(scene.shop, tool):
        motor = scene.motor(name)
        is_held = motor.hand != "auto" or motor.out_of_service is not None or motor.latch is not None
        if not is_held and name not in scene.isolated:
            found.append(name)
    return found


class SeeTool:
    """See ``commissioning_scene.Way``."""

    def begin(self, scene: Scene, step: Step) -> tuple[str, dict[str, Any]]:
        """Isolated first, then on."""
        return (_ISOLATE if may_start(scene, step.subject) else _ON), {"mark": scene.mark}

    def resumed(self, scene: Scene, step: Step, going: Going) -> tuple[str, dict[str, Any]]:
        """What was switched on while nobody listened is switched on once more."""
        if going.phase == _MEND:
            return going.phase, going.memo
        return self.begin(scene, step)

    def look(self, scene: Scene, step: Step, going: Going) -> Turn | None:
        """Goes on by itself, once the right machine was seen."""
        tool = step.subject
        if going.phase == _ISOLATE and not may_start(scene, tool):
            return going_on("Nothing can start.", _ON, {"mark": scene.mark})
        if going.phase not in (_ON, _OFF):
            return None
        entries = scene.since(going.memo["mark"])
        seen = tools_seen(entries)
        others = [one for one in seen if one != tool and one not in _cannot_be_told_from(scene.shop, tool)]
        if going.phase == _OFF:
            most_a = _most(scene, going)
            if stopped_after(entries, tool):
                return ended(_seen(scene, tool, most_a))
            return None
        if tool in seen and not others:
            return going_on(f"{cap(tool)} is seen.", _OFF, going.memo)
        if others and (tool in seen or scene.now_s - _since(entries, others[0]) >= GRACE_S):
            verdict = failed(
                _wrong(scene.shop, tool, others, is_seen=tool in seen), [Figure("seen instead", others[0])]
            )
            memo = {**going.memo, "other": others[0], "both": tool in seen}
            return Turn(Answer(True, "failed", verdict.sentence), _MEND, memo, verdict, goes_on=True)
        return None

    def press(self, scene: Scene, step: Step, going: Going, press: str, values: Mapping[str, str]) -> Turn:
        """Isolated, out of service, nothing seen, swap, again, done."""
        tool, phase = step.subject, going.phase
        if phase == _ISOLATE and press == "isolated":
            for motor in may_start(scene, tool):
                scene.note_isolated(motor, True)
            return going_on("Go on.", _ON, {"mark": scene.mark})
        if phase == _ISOLATE and press == "out":
            for motor in may_start(scene, tool):
                answer = scene.ask("out_of_service", motor, why="machines are tried one by one")
                if not answer.accepted:
                    return refused(answer)
            return going_on("Out of service until somebody brings it back.", _ON, {"mark": scene.mark})
        if phase == _ON and press == "nothing":
            waited = "It was switched on, and the controller saw nothing of it."
            return ended(failed(waited, [Figure("wire", tool_wire(scene.shop, scene.shop.tools[tool]))]))
        if phase == _MEND and press == "swap":
            return self._swap(scene, step, going)
        if phase == _MEND and press == "again":
            return going_on("Once more.", _ON, {"mark": scene.mark})
        if phase == _MEND and press == "done":
            return Turn(Answer(True, "done", "It stays as it is, and stands in the record."), closes=True)
        raise unknown_press(press)

    def _swap(self, scene: Scene, step: Step, going: Going) -> Turn:
        changes = _swapped(scene.shop, step.subject, str(going.memo.get("other")))
        if changes is None:
            raise NotNow("These two cannot be swapped in the file. Swap the two plugs, then try it again.")
        try:
            scene.service.recalibrate(scene.write(changes))
        except CannotCalibrate as trouble:
            return refused(Answer(False, "not_written", str(trouble)))
        return going_on(
            "The two are swapped in the file, and that counts at once. Once more.", _ON, {"mark": scene.mark}
        )

    def show(self, scene: Scene, step: Step, going: Going) -> Shown:
        """As it is now."""
        tool = step.subject
        live = _live(scene, tool)
        if going.phase == _ISOLATE:
            return _isolating(scene, tool, live)
        if going.phase == _OFF:
            return Shown(Saying(f"{cap(plain(tool))} is seen. Switch it off."), live=live)
        if going.phase == _MEND:
            return self._mending(scene, step, going, live)
        now = scene.tool(tool)
        notes: tuple[str, ...] = (f"The file has it on {tool_wire(scene.shop, scene.shop.tools[tool])}.",)
        if now.reading == "running":
            prompt = f"{cap(plain(tool))} is seen to run already. Switch it off first, then on."
        else:
            prompt = f"Switch {plain(tool)} on now, and let it run for a few seconds."
        if now.reading == "stale":
            notes = ("Its sensor says nothing that can be relied on. Look at its clamp and wire.", *notes)
        offers = (StepOffer("nothing", "It runs, and nothing is seen"),)
        return Shown(Saying(prompt), notes, live, offers=offers, cautions=CAUTIONS[step.kind])

    def _mending(self, scene: Scene, step: Step, going: Going, live: tuple[tuple[str, str], ...]) -> Shown:
        other = str(going.memo.get("other"))
        offers = [StepOffer("again", "Try it again")]
        notes = ["Where the wrong machine was switched on, try it again."]
        if going.memo.get("both"):
            notes.append("Where only one was switched on, look whether one wire runs through both clamps.")
        elif _swapped(scene.shop, step.subject, other) is not None:
            if scene.file_said is None:
                offers.append(StepOffer("swap", "Swap the two in the file"))
            else:
                notes.append(scene.file_said)
        else:
            notes.append("Where it was the right one, swap the two wires at the board.")
        offers.append(StepOffer("done", "Leave it so"))
        tool = plain(step.subject)
        prompt = f"The controller saw {plain(other)}, not {tool}."
        if going.memo.get("both"):
            prompt = f"The controller saw {tool} and {plain(other)}."
        return Shown(Saying(prompt), tuple(notes), live, offers=tuple(offers))


def _isolating(scene: Scene, tool: str, live: tuple[tuple[str, str], ...]) -> Shown:
    motors = may_start(scene, tool)
    wired = [motor for motor in motors if hand_switch_of(scene.shop, motor) is not None]
    if wired:
        called = f"Turn the Hand-Off-Auto switch of {plain(listing(wired))} to Hand; the controller sees it."
    else:
        called = (
            f"Open the disconnect of {plain(listing(motors))}, or run it from its own starter only, with the relay of "
            "this controller not wired in yet."
        )
    notes = (
        "A machine that starts would start it. On the first day nothing starts from here.",
        "Taken out of service, its gates do not move either.",
    )
    offers = (
        *(() if wired else (StepOffer("isolated", "It is so"),)),
        StepOffer("out", f"Take {listing(motors)} out of service meanwhile"),
    )
    hands = tuple((motor, f"switch at {scene.motor(motor).hand}") for motor in wired)
    return Shown(Saying(called), notes, (*hands, *live), offers=offers)


def _live(scene: Scene, tool: str) -> tuple[tuple[str, str], ...]:
    """The machine itself, and every other one that runs."""
    amperes = scene.service.currents.amperes()
    found = []
    for now in scene.core.tools:
        if now.name == tool or now.reading == "running":
            said = {"running": "runs", "stopped": "off", "stale": "its sensor is lost"}[now.reading]
            current_a = amperes.get(now.name)
            found.append((now.name, said if current_a is None else f"{said}, {current_a:.1f} A"))
    return tuple(sorted(found, key=lambda one: one[0] != tool))


def _cannot_be_told_from(shop: Shop, tool: str) -> tuple[str, ...]:
    """Other machines that count as running with this one, because nothing on their circuit tells them apart."""
    circuit = shop.tools[tool].circuit
    return shop.circuits[circuit].tools if circuit is not None else ()


def _since(entries: list[Any], tool: str) -> float:
    return next((entry.t_s for entry in entries if entry.kind == "tool" and entry.subject == tool), 0.0)


def _most(scene: Scene, going: Going) -> float | None:
    """The highest current of it that anybody looked at; remembered until the step ends."""
    tool = going.key.partition("/")[2]
    now_a = scene.service.currents.amperes().get(tool)
    before = going.memo.get("most_a")
    if now_a is not None and (before is None or now_a > before):
        going.memo["most_a"] = now_a
    most_a = going.memo.get("most_a")
    return float(most_a) if most_a is not None else None


def _seen(scene: Scene, tool: str, most_a: float | None) -> Verdict:
    shop = scene.shop
    part = shop.tools[tool]
    figures = [Figure("wire", tool_wire(shop, part))]
    sensor = part.sensor if part.sensor is not None else shop.circuits[part.circuit or ""].sensor
    if sensor.channel is not None and most_a is not None:
        trip_a = DetectorSettings.for_tool(part.running_a, sensor.trip_a).trip_a
        figures.append(Figure("highest current shown", f"{most_a:.1f} A", f"counts as running from {trip_a:.3g} A"))
    alike = [one for one in _cannot_be_told_from(shop, tool) if one != tool and scene.shop.tools[one].band_a is None]
    more = f" Nothing tells it from {listing(alike)} on its circuit: the gates of all open." if alike else ""
    verdict = passed(f"Switched on, it was seen as {tool} and as no other machine; switched off, too.{more}", figures)
    return Verdict(Outcome.PASSED, verdict.sentence, verdict.figures, of_tool(shop, part))


def _wrong(shop: Shop, tool: str, others: list[str], *, is_seen: bool) -> str:
    own = tool_wire(shop, shop.tools[tool])
    there = " and ".join(f"{other} on {tool_wire(shop, shop.tools[other])}" for other in others[:3])
    if is_seen:
        return (
            f"The controller saw {tool} and {listing(others)}. The file has {tool} on {own} and {there}: somebody "
            "switched that on, too, or one wire runs through both clamps."
        )
    return (
        f"The controller saw {listing(others)}, not {tool}. The file has {tool} on {own} and {there}: their wires are "
        "swapped, or another machine was switched on."
    )


def _swapped(shop: Shop, one: str, other: str) -> list[Change] | None:
    """What swaps the wires of two machines in the file; None where that is not done here."""
    if other not in shop.tools:
        return None
    first, second = _clamp(shop, one), _clamp(shop, other)
    if first is None or second is None or first[1] == second[1]:
        return None
    (section, channel), (there, far) = first, second
    if (channel.turns, channel.burden_ohm) != (far.turns, far.burden_ohm):
        return None
    changes = [Change(section, "channel", str(far.channel)), Change(there, "channel", str(channel.channel))]
    if channel.converter != far.converter:
        changes += [Change(section, "converter", far.converter), Change(there, "converter", channel.converter)]
    return changes


def _clamp(shop: Shop, tool: str) -> tuple[tuple[str, ...], Channel] | None:
    """Where the file has a machine's own clamp; None where it has none of its own."""
    part = shop.tools[tool]
    if part.sensor is None or part.sensor.channel is None:
        return None
    return ("outlets" if part.is_outlet else "tools", tool, "sensor"), part.sensor.channel
