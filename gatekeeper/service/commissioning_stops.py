"""What stops everything is proved: it opened, every motor was told off in that step, and reset started nothing."""

from collections.abc import Mapping
from typing import Any

from gatekeeper.commissioning.judging import ToldOff, reset_at, run_of, started_by_itself, told_off
from gatekeeper.commissioning.plan import motors_stopped_by
from gatekeeper.commissioning.record import Going
from gatekeeper.commissioning.steps import Figure, Step
from gatekeeper.commissioning.words import ALARM
from gatekeeper.service.commissioning_contacts import resetting, source_of, words_of
from gatekeeper.service.commissioning_scene import (
    Scene,
    Shown,
    Turn,
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
from gatekeeper.shop.model import Input, InputKind

#: After the reset nothing may start for so long: more than any gap of a feeder. Ours.
QUIET_S = 6.0
#: What the core is asked by a button that is no circuit.
_ASKS = {InputKind.STOP: "stop", InputKind.SPARKS: "sparks"}
_WORK, _RESET, _QUIET = "work", "reset", "quiet"


class ProveStop:
    """See ``commissioning_scene.Way``."""

    def begin(self, scene: Scene, step: Step) -> tuple[str, dict[str, Any]]:
        """Worked first, whatever runs."""
        return _WORK, {"mark": scene.mark}

    def resumed(self, scene: Scene, step: Step, going: Going) -> tuple[str, dict[str, Any]]:
        """What was told off while nobody listened proves nothing: worked once more."""
        return self.begin(scene, step)

    def _told(self, scene: Scene, step: Step, going: Going) -> ToldOff | None:
        source = source_of(scene.shop, step)
        entries = scene.since(int(going.memo["mark"]))
        return told_off(entries, source.name, motors_stopped_by(scene.shop, source), asks=_ASKS.get(source.kind))

    def look(self, scene: Scene, step: Step, going: Going) -> Turn | None:
        """Told off; then reset; then quiet."""
        told = self._told(scene, step, going)
        if told is None:
            return None
        if going.phase == _WORK:
            if told.missing:
                source = source_of(scene.shop, step)
                said = f"{cap(source.name)} was seen, and {listing(told.missing)} was not told off in that step."
                return ended(failed(said, self._figures(scene, step, going, told)))
            return going_on("Every motor was told off.", _RESET, going.memo)
        entries = scene.since(told.seq)
        if going.phase == _RESET and self._is_over(scene, step, told):
            return going_on("Now nothing may start.", _QUIET, {**going.memo, "from_s": self._from_s(scene, told)})
        if going.phase == _QUIET:
            from_s = float(going.memo["from_s"])
            if started := started_by_itself(entries, from_s):
                said = f"After the reset {listing(started)} was told on, and nobody had asked for that."
                return ended(failed(said, self._figures(scene, step, going, told)))
            if scene.now_s - from_s >= QUIET_S:
                return ended(self._good(scene, step, going, told))
        return None

    def _is_over(self, scene: Scene, step: Step, told: ToldOff) -> bool:
        """Reset where it has to be; else let go."""
        kind, core = source_of(scene.shop, step).kind, scene.core
        if kind is InputKind.STOP:
            return True
        if kind is InputKind.DOOR:
            return not any(step.subject in motor.doors for motor in core.motors)
        return not core.emergency and not core.fire

    def _from_s(self, scene: Scene, told: ToldOff) -> float:
        reset_s = reset_at(scene.since(told.seq), told.seq)
        return reset_s if reset_s is not None else scene.now_s

    def _figures(self, scene: Scene, step: Step, going: Going, told: ToldOff) -> list[Figure]:
        entries = scene.since(int(going.memo["mark"]))
        figures = []
        for name in motors_stopped_by(scene.shop, source_of(scene.shop, step)):
            ran = "while it was on" if name in told.ran else "it was off already"
            word = "not told off" if name in told.missing else f"told off, {ran}"
            figures.append(Figure(name, word, "in the same step, 0.000 s"))
            still_s = run_of(entries, name).still_s
            if name in told.ran and still_s is not None:
                release_s = scene.service.plan.motors[name].release_s
                figures.append(Figure(f"{name} seen still", f"{still_s - told.at_s:.2f} s", f"within {release_s:g} s"))
        return figures

    def _good(self, scene: Scene, step: Step, going: Going, told: ToldOff) -> Any:
        motors = motors_stopped_by(scene.shop, source_of(scene.shop, step))
        ran = f" {cap(listing(told.ran))} ran at that moment." if told.ran else " No motor ran at that moment."
        said = (
            f"It was seen, and {listing(motors)} {'was' if len(motors) == 1 else 'were'} told off in the same step."
            f"{ran} For {QUIET_S:.0f} s after {self._end_word(scene, step)} nothing started."
        )
        return passed(said, self._figures(scene, step, going, told))

    def _end_word(self, scene: Scene, step: Step) -> str:
        kind = source_of(scene.shop, step).kind
        return {InputKind.STOP: "it", InputKind.DOOR: "it was shut"}.get(kind, "the reset")

    def press(self, scene: Scene, step: Step, going: Going, press: str, values: Mapping[str, str]) -> Turn:
        """Nothing seen, reset."""
        if going.phase == _WORK and press == "nothing":
            motors = motors_stopped_by(scene.shop, source_of(scene.shop, step))
            said = (
                f"{cap(step.subject)} was worked, and the controller saw nothing: {listing(motors)} "
                f"{'was' if len(motors) == 1 else 'were'} not told off."
            )
            return ended(failed(said, [Figure("contact", dict(step.facts).get("contact", ""))]))
        if going.phase == _RESET and press == "reset":
            return refused(scene.ask("reset", None, why="it was tried"))
        if going.phase in (_RESET, _QUIET) and press == "again":
            return Turn(Answer(True, "goes_on", "Once more."), _WORK, {"mark": scene.mark})
        raise unknown_press(press)

    def show(self, scene: Scene, step: Step, going: Going) -> Shown:
        """As it is now."""
        source = source_of(scene.shop, step)
        live = _live(scene, source)
        again = StepOffer("again", "Try it once more")
        if going.phase == _RESET:
            if source.kind is InputKind.DOOR:
                return Shown(Saying(f"It is seen, and its motors are off. Shut {plain(source.name)}."), (), live)
            shown = resetting(scene)
            return Shown(shown.prompt, shown.notes, live, (), (*shown.offers, again))
        if going.phase == _QUIET:
            until_s = float(going.memo["from_s"]) + QUIET_S
            said = "Touch nothing for {time}: nothing may start by itself."
            return Shown(Saying(said, until_s=until_s), (), live, (), (again,))
        prompt = words_of(scene.shop, f"input:{source.name}")[2].format(plain(source.name))
        if source.kind in (InputKind.RED_BUTTON, InputKind.DOOR):
            prompt = prompt.partition(",")[0] + "."
        notes = (
            "It shows more where a motor runs meanwhile: start a machine first.",
            "This is the controller's own input. What cuts the power by wire is tried apart from it, with the board's "
            "plug pulled.",
        )
        offers = (StepOffer("nothing", "It was worked, and nothing is seen"),)
        cautions = (ALARM,) if source.kind is InputKind.FIRE else ()
        return Shown(Saying(prompt), notes, live, (), offers, cautions)


def _live(scene: Scene, source: Input) -> tuple[tuple[str, str], ...]:
    name = f"input:{source.name}"
    yes, no, _ = words_of(scene.shop, name)
    assert source.contact is not None  # steps of this kind are made for contacts only
    is_yes = scene.service.wires.contacts[name].made() is not source.contact.normally_closed
    motors = motors_stopped_by(scene.shop, source)
    told = tuple((name, "told on" if scene.motor(name).on else "told off") for name in motors)
    return ((source.name, yes if is_yes else no), *told)
