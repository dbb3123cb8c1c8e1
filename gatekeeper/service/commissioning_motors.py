"""Contactors: first the relay and the contactor alone, with the motor isolated; then a short run, looked at and seen.

Each start is charged by the core (C8), so what is in hand is said before and after. Without a right to start motors
from a page, a machine's own start is the cause: the same command reaches the same relay.
"""

from collections.abc import Mapping
from typing import Any

from gatekeeper.commissioning.judging import Run, run_of
from gatekeeper.commissioning.record import Going
from gatekeeper.commissioning.steps import Figure, Step
from gatekeeper.commissioning.words import CAUTIONS, NO_PADLOCK, STARTS
from gatekeeper.control.snapshot import MotorNow
from gatekeeper.service.commissioning_scene import (
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
from gatekeeper.service.face_commissioning import StepOffer
from gatekeeper.service.viewing_scene import cap, listing, plain

#: A trial run lasts this long, unless the starts in hand stretch it.
RUN_S = 5.0
#: After the release time, nothing that sees a motor may still see it run; then one more second is granted. Ours.
STILL_EXTRA_S = 1.0
_ISOLATE, _JOIN, _READY, _RUNS, _REST = "isolate", "join", "ready", "runs", "rest"


class _Trial:
    """What both have in common: what must be so before a run, and the run."""

    def resumed(self, scene: Scene, step: Step, going: Going) -> tuple[str, dict[str, Any]]:
        """A run that nobody watched to its end is made once more; a lock that hung may hang no more."""
        return self.begin(scene, step)

    def begin(self, scene: Scene, step: Step) -> tuple[str, dict[str, Any]]:
        """Isolated, or joined, first."""
        raise NotImplementedError

    def _run_of(self, scene: Scene, going: Going) -> Run:
        return run_of(scene.since(int(going.memo["mark"])), going.key.partition("/")[2])

    def _ready_press(self, scene: Scene, motor: str, press: str) -> Turn | None:
        """The presses that make it startable, and the run itself; None for any other."""
        why = "its contactor and rotation are tried"
        if press == "back":
            return refused(scene.ask("back_in_service", motor, why=why))
        if press == "clear":
            return refused(scene.ask("clear", motor, why=why))
        if press != "run":
            return None
        mark = scene.mark
        answer = scene.ask("run", motor, for_s=RUN_S, why=why)
        return going_on(answer.sentence, _RUNS, {"mark": mark}) if answer.accepted else refused(answer)

    def _ready_shown(self, scene: Scene, step: Step, label: str) -> Shown:
        motor = scene.motor(step.subject)
        hindrance, offers = _hindrance(scene, motor)
        notes = [_starts(motor)]
        if hindrance is not None:
            return Shown(hindrance, tuple(notes), _live(scene, motor), (), offers, CAUTIONS[step.kind])
        if scene.may_start_motors:
            prompt = f"Let {plain(motor.name)} be told on for {RUN_S:.0f} s."
            offers = (StepOffer("run", label, Press.HOLD, STARTS),)
        else:
            tools = [one.name for one in scene.shop.tools_of(motor.name)] or list(scene.shop.tools)
            prompt = (
                f"Switch {plain(listing(tools, 2).replace(' and ', ' or '))} on at its own switch: that tells it on."
            )
            notes.append("Starting a motor from a page is switched off in this shop (page > remote_start).")
        return Shown(Saying(prompt), tuple(notes), _live(scene, motor), (), offers, CAUTIONS[step.kind])

    def _ready_look(self, scene: Scene, going: Going) -> Turn | None:
        """A start by a machine, or by somebody else, is the trial, too."""
        run = self._run_of(scene, going)
        return going_on("It was told on.", _RUNS, going.memo) if run.ons else None


class ClickContactor(_Trial):
    """See ``commissioning_scene.Way``."""

    def begin(self, scene: Scene, step: Step) -> tuple[str, dict[str, Any]]:
        """Isolated first."""
        return _ISOLATE, {}

    def look(self, scene: Scene, step: Step, going: Going) -> Turn | None:
        """Told on; seen to run with its disconnect open, which must not be."""
        if going.phase == _READY:
            return self._ready_look(scene, going)
        if going.phase == _RUNS and self._run_of(scene, going).seen_s is not None:
            scene.ask("stop", step.subject, why="it was seen to run with its disconnect open")
            said = (
                "With its disconnect open it was seen to run. Its sensor is on another wire, or that is not its "
                "disconnect. Find out which before anything else."
            )
            return ended(failed(said, _charged(self._run_of(scene, going))))
        return None

    def press(self, scene: Scene, step: Step, going: Going, press: str, values: Mapping[str, str]) -> Turn:
        """Locked, run, clicked, silent."""
        motor = step.subject
        if going.phase == _ISOLATE and press == "locked":
            scene.note_isolated(motor, True)
            return going_on("Go on.", _READY, {"mark": scene.mark})
        if going.phase == _READY and (turn := self._ready_press(scene, motor, press)) is not None:
            return turn
        run = self._run_of(scene, going) if going.phase == _RUNS else None
        if run is None or press not in ("clicked", "silent", "again"):
            raise unknown_press(press)
        if press == "again":
            return going_on("Once more.", _READY, {"mark": scene.mark})
        if not run.ons:
            return refused(Answer(False, "not_yet", "It was not told on yet. Look at what it waits for."))
        self._to_rest(scene, motor)
        if press == "silent":
            said = "Told on, nothing was heard of it: look at the relay, the coil's circuit and its control voltage."
            return ended(failed(said, _charged(run)))
        said = "Told on with the motor isolated, its contactor pulled in; told off, it let go."
        return ended(passed(said, _charged(run)))

    def _to_rest(self, scene: Scene, motor: str) -> None:
        """Off, and what the core says of a missing confirmation cleared: with the disconnect open it is expected."""
        if scene.motor(motor).on:
            scene.ask("stop", motor, why="its contactor was tried")
        latch = scene.motor(motor).latch
        if latch in ("did_not_start", "stopped_itself"):
            scene.ask("clear", motor, why="it was isolated, so nothing could confirm it")

    def show(self, scene: Scene, step: Step, going: Going) -> Shown:
        """As it is now."""
        motor = scene.motor(step.subject)
        if going.phase == _ISOLATE:
            prompt = f"Open the disconnect of {plain(motor.name)} and hang your lock on it. Leave its switch at Auto."
            return Shown(Saying(prompt), (NO_PADLOCK,), offers=(StepOffer("locked", "It is locked"),))
        if going.phase == _READY:
            return self._ready_shown(scene, step, f"Tell {motor.name} on")
        run = self._run_of(scene, going)
        if not run.ons:
            return _waiting(scene, motor, run)
        notes = [_starts(motor)]
        if scene.shop.motors[motor.name].confirmed_by is not None:
            notes.append(
                "That nothing sees it run is as it should be now. The controller may say that it did not start, and "
                "try once more; both are cleared afterwards."
            )
        offers = (
            StepOffer("clicked", "It pulled in, and let go"),
            StepOffer("silent", "Nothing was heard"),
            StepOffer("again", "Try it once more"),
        )
        prompt = "Listen at the contactor: it must pull in, and let go again when told off."
        return Shown(Saying(prompt), tuple(notes), _live(scene, motor), (), offers)


class LookAtRotation(_Trial):
    """See ``commissioning_scene.Way``."""

    def begin(self, scene: Scene, step: Step) -> tuple[str, dict[str, Any]]:
        """Joined first."""
        return _JOIN, {}

    def look(self, scene: Scene, step: Step, going: Going) -> Turn | None:
        """Told on; then at rest, with what was seen of both."""
        if going.phase == _READY:
            return self._ready_look(scene, going)
        if going.phase not in (_RUNS, _REST):
            return None
        run, part = self._run_of(scene, going), scene.shop.motors[step.subject]
        if run.latched and part.confirmed_by is not None and run.seen_s is None:
            turned = "Whether it turned is for the eye. " if going.phase == _RUNS else "It turned, and yet "
            said = (
                f"{turned}its sensor did not see it run within {part.confirm_s:g} s, and it was latched off. Where it "
                "turned, look at the sensor, its trip and its wire; else at disconnect and overload. Then press Clear."
            )
            return ended(failed(said, [*_charged(run), _confirmed(run, part.confirm_s)]))
        if going.phase == _REST and run.overrun:
            said = "It was seen to run although told off: open its disconnect, and have the contactor looked at."
            return ended(failed(said, _figures(scene, step.subject, run)))
        if going.phase == _REST and run.is_off:
            release_s = scene.service.plan.motors[step.subject].release_s
            is_seen = part.confirmed_by is None or run.still_s is not None
            if is_seen or scene.now_s - run.offs[-1] > release_s + STILL_EXTRA_S:
                return ended(_looked_at(scene, step.subject, run))
        return None

    def press(self, scene: Scene, step: Step, going: Going, press: str, values: Mapping[str, str]) -> Turn:
        """Joined, run, right, wrong, stop."""
        motor = step.subject
        if going.phase == _JOIN and press == "joined":
            scene.note_isolated(motor, False)
            return going_on("Go on.", _READY, {"mark": scene.mark})
        if going.phase == _READY and (turn := self._ready_press(scene, motor, press)) is not None:
            return turn
        if press == "stop" and going.phase in (_RUNS, _REST):
            return refused(scene.ask("stop", motor, why="its rotation was tried"))
        run = self._run_of(scene, going) if going.phase == _RUNS else None
        if run is None or press not in ("right", "wrong", "again"):
            raise unknown_press(press)
        if press == "again":
            return going_on("Once more.", _READY, {"mark": scene.mark})
        if not run.ons:
            return refused(Answer(False, "not_yet", "It was not told on yet. Look at what it waits for."))
        if press == "wrong":
            scene.ask("stop", motor, why="it turns the wrong way")
            three = scene.shop.motors[motor].phases == 3
            cure = "an electrician swaps two of its three wires" if three else "see its plate for how it is reversed"
            said = f"It turned the wrong way: {cure}. A fan that turns backwards still moves some air."
            return ended(failed(said, _figures(scene, motor, run)))
        return going_on("It stops by itself.", _REST, going.memo)

    def show(self, scene: Scene, step: Step, going: Going) -> Shown:
        """As it is now."""
        motor = scene.motor(step.subject)
        if going.phase == _JOIN:
            prompt = (
                f"See that nobody is at {plain(motor.name)}, and that every guard and cover is on. Take your lock off "
                "and close the disconnect. Its switch stands at Auto."
            )
            return Shown(Saying(prompt), offers=(StepOffer("joined", "It is closed"),), cautions=CAUTIONS[step.kind])
        if going.phase == _READY:
            return self._ready_shown(scene, step, f"Start {motor.name}")
        run = self._run_of(scene, going)
        stop = StepOffer("stop", "Stop it now")
        if going.phase == _REST:
            prompt = "It stops by itself; what sees it must see that, too."
            return Shown(_until_off(motor, prompt), (_starts(motor),), _live(scene, motor), (), (stop,))
        if not run.ons:
            return _waiting(scene, motor, run)
        offers = (
            StepOffer("right", "It turns the right way"),
            StepOffer("wrong", "It turns the wrong way"),
            stop,
            StepOffer("again", "Try it once more"),
        )
        prompt = "Look at the motor: does it turn the way of its arrow?"
        return Shown(Saying(prompt), (_starts(motor),), _live(scene, motor), (), offers, CAUTIONS[step.kind])


def _hindrance(scene: Scene, motor: MotorNow) -> tuple[Saying | None, tuple[StepOffer, ...]]:
    """Why it cannot be told on now, as the core would say it, and what mends that."""
    name = cap(plain(motor.name))
    if motor.out_of_service is not None:
        return Saying(f"{name} is out of service."), (StepOffer("back", "Back in service"),)
    if motor.blocked is not None:
        return Saying(f"{name} stays off: {plain(motor.blocked[1])}."), ()
    if motor.hand != "auto":
        return Saying(f"The switch of {plain(motor.name)} stands at {motor.hand}. Turn it to Auto."), ()
    if motor.latch is not None or motor.starts_locked:
        said = "latched off" if motor.latch is not None else "without a record of its starts"
        return Saying(f"{name} is {said}."), (StepOffer("clear", f"Clear {motor.name}"),)
    if not scene.core.shop_open:
        return Saying("The shop is shut. Open it by its key, or in its hours."), ()
    if motor.on:
        return _until_off(motor, f"{name} runs already. Wait until it has stopped."), ()
    if motor.may_start_at_s is not None and motor.may_start_at_s > scene.now_s:
        said = f"{name} rests: no start is in hand for {{time}}. The motor would get too hot."
        return Saying(said, until_s=motor.may_start_at_s), ()
    return None, ()


def _starts(motor: MotorNow) -> str:
    return f"Starts in hand: {motor.starts:.1f} of 2. Each time it is told on takes one."


def _until_off(motor: MotorNow, said: str) -> Saying:
    if motor.on and motor.earliest_stop_s is not None:
        more = " It runs on so that a start stays in hand." if motor.stretched else ""
        return Saying(f"{said} It stops in {{time}}.{more}", until_s=motor.earliest_stop_s)
    return Saying(said)


def _waiting(scene: Scene, motor: MotorNow, run: Run) -> Shown:
    said = cap(plain(run.waits[0])) if run.waits is not None else f"{cap(plain(motor.name))} is told on in a moment"
    until_s = run.waits[1] if run.waits is not None else None
    prompt = Saying(f"{said}: {{time}}.", until_s=until_s) if until_s is not None else Saying(f"{said}.")
    return Shown(prompt, live=_live(scene, motor), offers=(StepOffer("again", "Back"),))


def _live(scene: Scene, motor: MotorNow) -> tuple[tuple[str, str], ...]:
    found = [("told", "on" if motor.on else "off")]
    if scene.shop.motors[motor.name].confirmed_by is not None:
        found.append(("seen", motor.seen or "nothing yet"))
    current_a = scene.service.currents.amperes().get(motor.name)
    if current_a is not None:
        found.append(("current", f"{current_a:.1f} A"))
    found.append(("starts in hand", f"{motor.starts:.1f}"))
    return tuple(found)


def _charged(run: Run) -> list[Figure]:
    count = len(run.ons)
    return [Figure("told on", "once" if count == 1 else f"{count} times", "each takes one start in hand")]


def _confirmed(run: Run, confirm_s: float) -> Figure:
    took = "not seen" if run.seen_s is None or not run.ons else f"{run.seen_s - run.ons[0]:.2f} s"
    return Figure("told on to seen to run", took, f"within {confirm_s:g} s")


def _figures(scene: Scene, motor: str, run: Run) -> list[Figure]:
    part = scene.shop.motors[motor]
    figures = _charged(run)
    if part.confirmed_by is not None:
        figures.append(_confirmed(run, part.confirm_s))
        if run.is_off:
            release_s = scene.service.plan.motors[motor].release_s
            took = "not seen" if run.still_s is None else f"{run.still_s - run.offs[-1]:.2f} s"
            figures.append(Figure("told off to seen still", took, f"within {release_s:g} s"))
    if part.air_proof is not None:
        took = "not proved" if run.air_s is None or not run.ons else f"{run.air_s - run.ons[0]:.2f} s"
        figures.append(Figure("told on to air proved", took))
    return figures


def _looked_at(scene: Scene, motor: str, run: Run) -> Verdict:
    part = scene.shop.motors[motor]
    figures = _figures(scene, motor, run)
    if part.confirmed_by is None:
        return passed("It turned the right way. Nothing is wired that would see it run or stand.", figures)
    if run.seen_s is None:
        return failed("It turned the right way, and its sensor did not see it.", figures)
    if run.seen_s - run.ons[0] > part.confirm_s and len(run.ons) == 1:
        return failed("It turned the right way, and was seen to run later than the file allows.", figures)
    if run.still_s is None:
        return failed("It turned the right way and was seen, but was not seen to stand again in time.", figures)
    return passed("It turned the right way, and was seen to run and to stand.", figures)
