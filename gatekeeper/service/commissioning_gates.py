"""Each gate goes from end to end on a press, by the core's own requests, and is timed: by its switch, or by a thumb.

The core rations the moves and keeps a path open, so a press may be answered with a reason to wait. A driver drives for
the travel time of the file and no longer. A slower gate with a switch is missed, tried again by the core, and its time
driven is summed over the attempts; of a slower gate without a switch a person says how far it came.
"""

from collections.abc import Mapping
from typing import Any

from gatekeeper.commissioning.judging import Move, move_of
from gatekeeper.commissioning.record import Going
from gatekeeper.commissioning.steps import Figure, Step
from gatekeeper.commissioning.travel import THUMB_S, proposed_s, whole_s
from gatekeeper.commissioning.words import CAUTIONS, FINGERS
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
from gatekeeper.service.face import Answer, Press, Saying
from gatekeeper.service.face_commissioning import Field, StepOffer
from gatekeeper.service.viewing_scene import RELEASE_CAUTION, cap, plain
from gatekeeper.shop.model import Gate
from gatekeeper.shop.rewrite import Change

#: How long a gate that is opened for a trial stays open.
OPEN_FOR_S = 120.0
#: A press to shut that waits for another gate to open is done within this, or not at all. Ours.
PATH_S = 20.0
RESTART = (
    "The shop file has other figures for {gate} than this controller was started with. Restart the controller (pull "
    "the board's plug with every motor off, and put it back), then try it again."
)
_READY, _MOVES, _MEND = "ready", "moves", "mend"
_WAYS = ("open", "shut")
_MOVING = frozenset({"opening", "shutting", "shaking"})
_OPENING = {"open": "opens", "shut": "shuts"}


def is_pending(scene: Scene, gate: str) -> bool:
    """Whether the file says otherwise of a gate than the running controller knows."""
    return scene.shop.gates[gate] != scene.started.gates[gate]


class JogGate:
    """See ``commissioning_scene.Way``. ``legs``: what each way took, by "open" and "shut"."""

    def begin(self, scene: Scene, step: Step) -> tuple[str, dict[str, Any]]:
        """Nothing moves before a press."""
        if is_pending(scene, step.subject):
            raise NotNow(RESTART.format(gate=step.subject), "restart")
        return _READY, {"legs": {}}

    def resumed(self, scene: Scene, step: Step, going: Going) -> tuple[str, dict[str, Any]]:
        """A move that nobody watched to its end is made once more."""
        if going.phase == _MEND and not is_pending(scene, step.subject):
            return going.phase, going.memo
        return _READY, {"legs": dict(going.memo.get("legs", {}))}

    # ---------------------------------------------------------------- looking

    def look(self, scene: Scene, step: Step, going: Going) -> Turn | None:
        """A switch that speaks ends a move; so does the core that gives up."""
        if going.phase != _MOVES:
            return None
        gate, wanted = scene.shop.gates[step.subject], str(going.memo["wanted"])
        move = self._move(scene, gate, going)
        if move is None:
            self._shut_with_path(scene, gate, going)
            return None
        if move.gave_up:
            return self._gave_up(scene, gate, move, going)
        if move.arrived_s is None or not move.by_switch:
            return None
        took_s = move.driven_s if move.misses else move.arrived_s - move.begun_s
        if move.misses:
            return self._too_slow(scene, gate, wanted, took_s, move.misses, going)
        return self._leg(scene, gate, wanted, took_s, "its switch", going)

    def _shut_with_path(self, scene: Scene, gate: Gate, going: Going) -> None:
        """The press that waited for another gate to open is done now; most gates shut by themselves then."""
        other = going.memo.get("other")
        if other is None or scene.now_s > float(going.memo["until_s"]) or not scene.gate(str(other)).is_open:
            return
        if scene.gate(gate.name).is_open and scene.gate(gate.name).hand == "open":
            scene.ask("shut", gate.name, why="it is tried and timed")

    def _move(self, scene: Scene, gate: Gate, going: Going) -> Move | None:
        return move_of(
            scene.since(going.memo["mark"]),
            gate.name,
            str(going.memo["wanted"]),
            travel_s=gate.travel_s,
            dead_s=gate.dead_s,
            now_s=scene.now_s,
        )

    def _leg(self, scene: Scene, gate: Gate, wanted: str, took_s: float, by: str, going: Going) -> Turn:
        legs = {**going.memo["legs"], wanted: [round(took_s, 3), by]}
        missing = [way for way in _WAYS if way not in legs]
        said = f"It took {took_s:.2f} s by {by}; the file allows {gate.travel_s:g} s."
        if not missing:
            return ended(_good(gate, legs))
        return going_on(said, _READY, {"legs": legs})

    def _too_slow(self, scene: Scene, gate: Gate, wanted: str, took_s: float, misses: int, going: Going) -> Turn:
        times = "once" if misses == 1 else f"{misses} times"
        said = (
            f"It missed its {wanted} end {times}, and came there after {took_s:.2f} s of driving; the file allows "
            f"{gate.travel_s:g} s. Something holds it, or it is slower than the file says."
        )
        figures = [_figure(gate, wanted, took_s, "its switch, over all attempts")]
        return self._mend(gate, going, failed(said, figures), proposed_s(max(took_s, gate.travel_s), arrived=True))

    def _gave_up(self, scene: Scene, gate: Gate, move: Move, going: Going) -> Turn:
        wanted = str(going.memo["wanted"])
        said = (
            f"It did not come to its {wanted} end in {move.misses} attempts, {move.driven_s:.2f} s of driving in all; "
            f"the file allows {gate.travel_s:g} s. It is jammed, its switch or wire is broken, or it is far slower "
            "than the file says. It is held now until somebody releases it."
        )
        figures = [_figure(gate, wanted, move.driven_s, "not arrived; driven in all")]
        return self._mend(gate, going, failed(said, figures), proposed_s(move.driven_s, arrived=False))

    def _mend(self, gate: Gate, going: Going, verdict: Verdict, travel_s: float) -> Turn:
        memo = {"legs": {}, "propose_s": travel_s} if travel_s > gate.travel_s else {"legs": {}}
        return Turn(Answer(True, "failed", verdict.sentence), _MEND, memo, verdict, goes_on=True)

    # ---------------------------------------------------------------- pressing

    def press(self, scene: Scene, step: Step, going: Going, press: str, values: Mapping[str, str]) -> Turn:
        """Open, shut, arrived, short, wrong way, did not move, only one way, write, release, again, done."""
        gate, phase = scene.shop.gates[step.subject], going.phase
        if phase == _READY and press in _WAYS:
            return self._ask(scene, gate, press, going)
        if phase == _READY and press == "one_way" and "open" in going.memo["legs"] and _is_alone(scene, gate):
            return ended(_good(gate, going.memo["legs"]))
        if phase == _MOVES:
            return self._moving(scene, gate, going, press, values)
        if press == "release" and phase in (_READY, _MEND) and _is_held(scene, gate.name):
            return refused(scene.ask("release", gate.name, why="it is tried"))
        if phase == _MEND and press == "write" and "propose_s" in going.memo:
            return self._write(scene, gate, float(going.memo["propose_s"]))
        if phase == _MEND and press == "again":
            return going_on("Once more.", _READY, {"legs": {}})
        if phase == _MEND and press == "done":
            return Turn(Answer(True, "done", "It stays as it is, and stands in the record."), closes=True)
        raise unknown_press(press)

    def _ask(self, scene: Scene, gate: Gate, wanted: str, going: Going) -> Turn:
        now = scene.gate(gate.name)
        if (wanted == "open" and now.is_open) or now.belief == wanted:
            first = "Shut" if wanted == "open" else "Open"
            raise NotNow(f"{cap(gate.name)} is {wanted} already. {first} it first, then it can be timed.", "there")
        why = "it is tried and timed"
        mark = scene.mark
        if wanted == "open":
            answer = scene.ask("open", gate.name, for_s=OPEN_FOR_S, why=why)
        else:
            answer = scene.ask("shut", gate.name, why=why)
        if answer.code == "last_path" and (other := _another(scene, gate)) is not None:
            opened = scene.ask("open", other, for_s=OPEN_FOR_S, why=f"so that {gate.name} may shut")
            if not opened.accepted:
                return refused(opened)
            said = f"{cap(other)} opens first, so that air has a way; then {gate.name} shuts."
            memo = {
                "legs": going.memo["legs"],
                "wanted": wanted,
                "mark": mark,
                "other": other,
                "until_s": scene.now_s + PATH_S,
            }
            return going_on(said, _MOVES, memo)
        if not answer.accepted:
            return refused(answer)
        return going_on(answer.sentence, _MOVES, {"legs": going.memo["legs"], "wanted": wanted, "mark": mark})

    def _moving(self, scene: Scene, gate: Gate, going: Going, press: str, values: Mapping[str, str]) -> Turn:
        wanted = str(going.memo["wanted"])
        move = self._move(scene, gate, going)
        if press == "again":
            return going_on("Once more.", _READY, {"legs": dict(going.memo["legs"])})
        if move is None:
            raise NotNow(f"{cap(gate.name)} was not told to move yet.")
        if press == "arrived":
            took_s = scene.now_s - move.begun_s
            if took_s > gate.travel_s + gate.dead_s + THUMB_S:
                # Its drive ends with the travel time, so it stood still before the press came.
                took_s = gate.travel_s
            return self._leg(scene, gate, wanted, min(took_s, gate.travel_s + gate.dead_s), "a thumb", going)
        if press == "short":
            return self._short(gate, going, move, values)
        if press == "wrong_way":
            said = f"Told to {wanted}, it went the other way: its two wires, or its two ends in the file, are swapped."
            return self._mend(gate, going, failed(said), 0.0)
        if press == "still":
            said = f"Told to {wanted}, it did not move at all. Look at its supply, its wire and its slot."
            return self._mend(gate, going, failed(said), 0.0)
        raise unknown_press(press)

    def _short(self, gate: Gate, going: Going, move: Move, values: Mapping[str, str]) -> Turn:
        share = _percent(values.get("share", ""))
        if share is None:
            raise NotNow("Say how far it came, in per cent of the whole way: 5 to 95.", "no_share")
        wanted = str(going.memo["wanted"])
        whole = whole_s(gate.travel_s, share)
        said = (
            f"Told to {wanted}, it stopped at about {share * 100:.0f} % of its way when its drive ended after "
            f"{gate.travel_s:g} s. By that the whole way takes about {whole:.1f} s."
        )
        figures = [_figure(gate, wanted, whole, "an eye, from the share of the way")]
        return self._mend(gate, going, failed(said, figures), proposed_s(whole, arrived=True))

    def _write(self, scene: Scene, gate: Gate, travel_s: float) -> Turn:
        try:
            scene.write([Change(("gates", gate.name), "travel", f"{travel_s:g} s")])
        except CannotCalibrate as trouble:
            return refused(Answer(False, "not_written", str(trouble)))
        said = (
            f"{travel_s:g} s is written as the travel of {gate.name}; before it was {gate.travel_s:g} s. It counts "
            "after the next start of the controller; then it is tried again."
        )
        return Turn(Answer(True, "written", said), closes=True)

    # ---------------------------------------------------------------- showing

    def show(self, scene: Scene, step: Step, going: Going) -> Shown:
        """As it is now."""
        gate = scene.shop.gates[step.subject]
        if going.phase == _MOVES:
            return self._showing_move(scene, gate, going)
        if going.phase == _MEND:
            return self._mending(scene, gate, going)
        now, legs = scene.gate(gate.name), going.memo["legs"]
        notes = [f"{cap(_OPENING[way])} in {took_s:.2f} s by {by}." for way, (took_s, by) in legs.items()]
        offers = []
        if _is_held(scene, gate.name):
            notes.append(f"{cap(gate.name)} is held; release it first.")
            offers.append(StepOffer("release", f"Release {gate.name}", Press.HOLD, RELEASE_CAUTION))
        elif now.belief in _MOVING:
            notes.append("It still moves, as far as the controller knows. One moment.")
        else:
            open_it = StepOffer("open", f"Open {gate.name}", Press.HOLD, FINGERS)
            shut_it = StepOffer("shut", f"Shut {gate.name}", Press.HOLD, FINGERS)
            offers += [shut_it] if now.is_open else [open_it] if now.belief == "shut" else [open_it, shut_it]
        missing = [way for way in _WAYS if way not in legs]
        if now.is_open and missing == ["open"]:
            notes.append("It is open now. Shut it, then open it.")
        if _is_alone(scene, gate):
            notes.append(
                f"It is the only gate of {gate.motor} that moves by itself, so the controller never shuts it once it "
                "is open."
            )
            if "open" in legs:
                offers.append(StepOffer("one_way", "That is all that it does"))
        prompt = f"Stand where you see {plain(gate.name)}, then press. It has to go both ways."
        return Shown(Saying(prompt), tuple(notes), _live(scene, gate), (), tuple(offers), CAUTIONS[step.kind])

    def _showing_move(self, scene: Scene, gate: Gate, going: Going) -> Shown:
        wanted = str(going.memo["wanted"])
        move = self._move(scene, gate, going)
        if move is None:
            other = going.memo.get("other")
            why = f", until {plain(str(other))} is open" if other is not None else " for its turn"
            prompt = f"{cap(plain(gate.name))} waits{why}."
            return Shown(
                Saying(prompt), live=_live(scene, gate), offers=(StepOffer("again", "Back"),), cautions=(FINGERS,)
            )
        by_switch = gate.has_open_switch if wanted == "open" else gate.has_shut_switch
        is_over = scene.now_s - move.begun_s > gate.travel_s + gate.dead_s
        wrong = StepOffer("wrong_way", "It goes the other way")
        still = StepOffer("still", "It does not move")
        back = StepOffer("again", "Try that once more")
        if by_switch:
            said = f"{cap(plain(gate.name))} {_OPENING[wanted]}; its switch ends it."
            notes = (f"Missed {move.misses} times so far; the controller tries again.",) if move.misses else ()
            return Shown(Saying(said), notes, _live(scene, gate), (), (wrong, still, back), (FINGERS,))
        arrived = StepOffer("arrived", f"It stands {wanted} now" if not is_over else f"It stood {wanted}")
        fields: tuple[Field, ...] = ()
        offers = [arrived, wrong, still, back]
        if is_over:
            fields = (Field("share", "How far it came, per cent of the whole way", "70"),)
            offers.insert(1, StepOffer("short", "It stopped half way", fields=("share",)))
        said = f"{cap(plain(gate.name))} {_OPENING[wanted]}: press the moment it stands. {{time}} so far."
        return Shown(
            Saying(said, since_s=move.begun_s),
            (f"Nothing there says that it arrived; its drive ends after {gate.travel_s:g} s.",),
            _live(scene, gate),
            fields,
            tuple(offers),
            (FINGERS,),
        )

    def _mending(self, scene: Scene, gate: Gate, going: Going) -> Shown:
        notes = ["Clear the slot where something holds it, then try it again."]
        offers = [StepOffer("again", "Try it again")]
        propose_s = going.memo.get("propose_s")
        prompt = "It did not do what it should."
        if propose_s is not None:
            prompt = f"Proposed travel: {propose_s:g} s; the file says {gate.travel_s:g} s."
            if scene.file_said is None:
                notes.append("Where it moves freely and is only slow, write the proposed travel into the shop file.")
                offers.append(StepOffer("write", f"Write {propose_s:g} s into the file"))
            else:
                notes.append(scene.file_said)
        if _is_held(scene, gate.name):
            offers.append(StepOffer("release", f"Release {gate.name}", Press.HOLD, RELEASE_CAUTION))
        offers.append(StepOffer("done", "Leave it so"))
        return Shown(Saying(prompt), tuple(notes), _live(scene, gate), (), tuple(offers), (FINGERS,))


def _live(scene: Scene, gate: Gate) -> tuple[tuple[str, str], ...]:
    found = [(gate.name, scene.gate(gate.name).belief)]
    for meaning, contact in (("open", gate.open_contact), ("shut", gate.shut_contact)):
        if contact is not None:
            made = scene.service.wires.contacts[f"{meaning}:{gate.name}"].made() is not contact.normally_closed
            found.append((f"switch at its {meaning} end", "made" if made else "not made"))
    return tuple(found)


def _is_held(scene: Scene, gate: str) -> bool:
    now = scene.gate(gate)
    return now.held is not None or now.belief in ("held", "stuck")


def _others(scene: Scene, gate: Gate) -> list[str]:
    return [one.name for one in scene.shop.gates_of(gate.motor) if one.is_actuated and one.name != gate.name]


def _is_alone(scene: Scene, gate: Gate) -> bool:
    """Whether nothing else could be the path while it is shut."""
    motor = scene.shop.motors[gate.motor]
    return not _others(scene, gate) and motor.relief_m2 < motor.path_minimum_m2


def _another(scene: Scene, gate: Gate) -> str | None:
    """Another gate of its system that could be opened, so that this one may shut."""
    return next((name for name in _others(scene, gate) if not _is_held(scene, name)), None)


def _percent(text: str) -> float | None:
    try:
        share = float(text.strip().rstrip("%").strip()) / 100
    except ValueError:
        return None
    return share if 0.05 <= share <= 0.95 else None


def _figure(gate: Gate, way: str, took_s: float, by: str) -> Figure:
    return Figure(f"{_OPENING[way]} in", f"{took_s:.2f} s by {by}", f"travel in the file {gate.travel_s:g} s")


def _good(gate: Gate, legs: Mapping[str, Any]) -> Verdict:
    figures = [_figure(gate, way, float(took_s), str(by)) for way, (took_s, by) in legs.items()]
    said = " and ".join(f"{_OPENING[way]} in {took_s:.2f} s by {by}" for way, (took_s, by) in legs.items())
    alone = "" if len(legs) == 2 else " It is never shut by the controller, so its shutting was not tried."
    return passed(f"It {said}; the file allows {gate.travel_s:g} s.{alone}", figures)
