"""What people walk through around the running service: an inspection, and changes of bin, bag and filter step by step.

A change is kept on the disk after each press, so that it goes on where it was after a restart or a power cut; the motor
is out of service for as long, which outlives both by itself (C14). There is one change at a time for each motor.
"""

import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from gatekeeper.control.messages import Keep
from gatekeeper.control.snapshot import CoreView, MotorNow
from gatekeeper.inspection import BEFORE, chapters
from gatekeeper.service.change_steps import BEGIN, CARE_WORD, OPEN_STEPS, ORDER, WHY, Job, Step, words
from gatekeeper.service.face import Answer, Face, Saying
from gatekeeper.service.face_care import Upkeep
from gatekeeper.service.face_people import ChangeStep, ChangesView, ChangeView, Inspection
from gatekeeper.service.running import Service
from gatekeeper.service.viewing_scene import cap, plain

#: How long a press waits for the core and for the disk.
ANSWER_S = 2.0
LONGEST_NAME = 40
NO_CHANGE = Answer(False, "no_change", "No change goes on there.")
NOT_KEPT = Answer(False, "not_kept", "It could not be kept on the disk. Nothing has changed here; look at the card.")
NO_ANSWER = Answer(False, "no_answer", "The controller did not answer within 2 s. Look at the page before you go on.")
OTHER_STEP = Answer(False, "other_step", "That step is over. Look at where the change stands now.")
FIRE = "Heat, smoke or sparks: do not open it. Leave, call the fire service. It is reset at the controller only."


@dataclass(frozen=True, slots=True)
class Change:
    """One change as it is kept: the present step, and who pressed what when (wall clock)."""

    job: Job
    who: str
    step: Step
    done: tuple[tuple[str, str, float], ...] = ()

    def as_kept(self) -> dict[str, Any]:
        return {
            "job": self.job.value,
            "who": self.who,
            "step": self.step.value,
            "done": [list(one) for one in self.done],
        }

    @staticmethod
    def from_kept(value: object) -> "Change | None":
        """A kept change; None where it cannot be understood, for instance from another version."""
        if not isinstance(value, Mapping):
            return None
        try:
            done = tuple((str(step), str(who), float(at_s)) for step, who, at_s in value["done"])
            return Change(Job(value["job"]), str(value["who"]), Step(value["step"]), done)
        except (KeyError, TypeError, ValueError):
            return None


class ShopPeople:
    """Implements ``face_people.People`` for one service.

    Args:
        service: the running service; asked anew each time, for a demo replaces it.
        face: asks the core, with who and why kept as always.
        upkeep: takes readings and sets hours to zero.
    """

    def __init__(self, service: Callable[[], Service], face: Face, upkeep: Upkeep) -> None:
        self._service = service
        self._face = face
        self._upkeep = upkeep
        self._lock = threading.Lock()
        self._of: Service | None = None
        self._going: dict[str, Change] = {}

    def inspection(self) -> Inspection:
        """What to try in this shop, and what must happen."""
        return Inspection(BEFORE, chapters(self._service().shop))

    # ---------------------------------------------------------------- looking

    def changes(self) -> ChangesView:
        """The changes that go on, and those that could be begun."""
        with self._lock:
            service, core = self._now()
            ducted = [motor.name for motor in service.shop.motors.values() if motor.has_ducts]
            going = tuple(self._view(service, core, name, self._going[name]) for name in ducted if name in self._going)
            offers = tuple(
                (name, job.value, BEGIN[job].format(motor=name))
                for name in ducted
                if name not in self._going
                for job in Job
            )
        return ChangesView(going, offers)

    def _now(self) -> tuple[Service, CoreView | None]:
        """The service as it is now, with the changes that an earlier run of it has kept."""
        service = self._service()
        if service is not self._of:
            self._of = service
            kept = {name: Change.from_kept(service.kept_values.get(f"change/{name}")) for name in service.shop.motors}
            self._going = {name: change for name, change in kept.items() if change is not None}
        return service, service.last_view

    def _view(self, service: Service, core: CoreView | None, name: str, change: Change) -> ChangeView:
        said = words(change.job, change.step)
        pressed = {step: (who, at_s) for step, who, at_s in change.done}
        steps = [ChangeStep(words(change.job, one).title, _pressed(pressed.get(one.value))) for one in ORDER]
        stays = self._stays(service, core, name, change)
        label: str | None = said.label
        saying = Saying(said.now.format(motor=plain(name)))
        motor = _motor(core, name)
        if change.step in OPEN_STEPS and motor is not None and motor.out_of_service is None:
            saying = Saying(f"{cap(plain(name))} is in service again: somebody else brought it back. Do not open it.")
            label, stays = "Take it out of service again", None
        elif change.step is Step.COAST:
            saying = _coasts(service, core, motor, name)
        elif stays is not None:
            saying = Saying(stays)
        reads = change.step is Step.READING
        care = self._upkeep.view() if reads else None
        taps = next((one.taps for one in care.motors if one.name == name), ()) if care is not None else ()
        before = [trend.readings[-1] for trend in care.trends if trend.readings] if care is not None else []
        last = max(before, key=lambda one: one.at_wall_s, default=None)
        return ChangeView(
            motor=name,
            job=change.job.value,
            title=f"{cap(change.job.value)} of {name}",
            steps=tuple(steps),
            now=saying,
            label=None if stays is not None else label,
            stays=stays,
            number=ORDER.index(change.step),
            asks_reading=reads,
            example=care.example if care is not None else "",
            taps=taps,
            before=f"Last reading here: {last.value_said}." if last is not None else None,
        )

    def _stays(self, service: Service, core: CoreView | None, name: str, change: Change) -> str | None:
        """Why the present step cannot be called done."""
        motor = _motor(core, name)
        if core is None or motor is None or not core.awake:
            return "The controller has just woken. Wait a moment."
        if change.step not in OPEN_STEPS:
            return None
        if core.fire:
            return FIRE
        if change.step is Step.COAST:
            if motor.hand == "hand":
                return f"{cap(name)} is run by hand at its switch. Turn it to Off."
            if motor.seen == "running":
                return f"The sensor of {name} still sees it run. If it does not stop, open its disconnect."
            if motor.fan_runs:
                return f"The fan of {name} still turns."
        if change.step in (Step.CLOSE, Step.UNLOCK) and motor.doors:
            return f"Still open: {' and '.join(motor.doors)}. Shut it first."
        return None

    # ---------------------------------------------------------------- pressing

    def begin(self, motor: str, job: str, by: str) -> Answer:
        """Begin a change: out of service first, then everything else."""
        with self._lock:
            service, core = self._now()
            known = service.shop.motors.get(motor)
            if known is None or not known.has_ducts or job not in {one.value for one in Job}:
                return Answer(False, "no_such_request", "There is nothing like that to change here.")
            if not by:
                return Answer(False, "who", "Say who does it.")
            if motor in self._going:
                return Answer(False, "goes_on", f"A change at {motor} goes on already; end it first.")
            if core is not None and core.fire:
                return Answer(False, "fire", FIRE)
            change = Change(Job(job), by[:LONGEST_NAME], Step.COAST)
            answer = self._out(motor, change)
            if not answer.accepted:
                return answer
            return self._keep(service, motor, change, answer.sentence)

    def press(self, motor: str, number: int, by: str, tap: str = "", reading: str = "") -> Answer:
        """The present step is done."""
        with self._lock:
            service, core = self._now()
            change = self._going.get(motor)
            if change is None:
                return NO_CHANGE
            if number != ORDER.index(change.step):
                return OTHER_STEP
            who = by[:LONGEST_NAME] or change.who
            now = _motor(core, motor)
            if change.step in OPEN_STEPS and now is not None and now.out_of_service is None:
                answer = self._out(motor, change)
                again = replace(change, step=Step.COAST)
                return self._keep(service, motor, again, answer.sentence) if answer.accepted else answer
            stays = self._stays(service, core, motor, change)
            if stays is not None:
                return Answer(False, "not_yet", stays)
            return self._step_done(service, motor, change, who, tap, reading)

    def _step_done(self, service: Service, motor: str, change: Change, who: str, tap: str, reading: str) -> Answer:
        said = "Go on."
        if change.step is Step.BACK:
            answer = _wait(self._face.request("back_in_service", motor, "page", text=f"{who}: {WHY[change.job]}"))
            if not answer.accepted and answer.code != "nothing":
                return answer
            # In service before the hours count anew: a reset that the disk refuses is pressed again on the Care page.
            reset = self._upkeep.press(CARE_WORD[change.job], motor, who)
            said = f"{answer.sentence} {reset.sentence}"
        if change.step is Step.READING:
            if reading.strip():
                answer = self._upkeep.reading(motor, tap, reading, who)
                if not answer.accepted:
                    return answer
                said = f"{answer.sentence} The change is done."
            else:
                said = "The change is done, without a reading."
            return self._keep(service, motor, None, said)
        done = (*change.done, (change.step.value, who, service.wall_s()))
        after = replace(change, step=ORDER[ORDER.index(change.step) + 1], done=done)
        return self._keep(service, motor, after, said)

    def leave(self, motor: str, by: str) -> Answer:
        """Give a change up; the motor stays as it is."""
        with self._lock:
            service, core = self._now()
            if motor not in self._going:
                return NO_CHANGE
            now = _motor(core, motor)
            out = now is not None and now.out_of_service is not None
            stays = f" {cap(motor)} stays out of service until somebody brings it back." if out else ""
            return self._keep(service, motor, None, f"The change was given up.{stays}")

    def _out(self, motor: str, change: Change) -> Answer:
        return _wait(self._face.request("out_of_service", motor, "page", text=f"{change.who}: {WHY[change.job]}"))

    def _keep(self, service: Service, motor: str, change: Change | None, said: str) -> Answer:
        """Make it durable before it is called done."""
        told = threading.Event()
        was_kept: list[bool] = []

        def done(kept: bool, why: str | None) -> None:
            was_kept.append(kept)
            told.set()

        service.keeper.submit([Keep(f"change/{motor}", change.as_kept() if change is not None else None)], done)
        if not told.wait(ANSWER_S) or not was_kept[0]:
            return NOT_KEPT
        if change is None:
            self._going.pop(motor, None)
        else:
            self._going[motor] = change
        return Answer(True, "done", said)


def _wait(asked: Any) -> Answer:
    try:
        answer: Answer = asked.result(ANSWER_S)
    except TimeoutError:
        return NO_ANSWER
    return answer


def _motor(core: CoreView | None, name: str) -> MotorNow | None:
    return next((motor for motor in core.motors if motor.name == name), None) if core is not None else None


def _coasts(service: Service, core: CoreView | None, motor: MotorNow | None, name: str) -> Saying:
    """Whether the fan stands still, and how that is known."""
    called = cap(plain(name))
    if core is None or motor is None:
        return Saying("The controller has just woken. Wait a moment.")
    if motor.hand == "hand":
        return Saying(f"{called} is run by hand at its switch. Turn it to Off.")
    if motor.seen == "running":
        return Saying(f"The sensor of {plain(name)} still sees it run. If it does not stop, open its disconnect.")
    if motor.coast_until_s is not None and motor.coast_until_s > core.now_s:
        return Saying(f"{called} is off. Its fan may turn for {{time}} more.", until_s=motor.coast_until_s)
    if motor.seen == "still":
        return Saying(f"The sensor of {plain(name)} sees no current, and its coast time is over. Look and listen.")
    return Saying(
        f"The coast time of {plain(name)} is over. Nothing there sees it: look and listen that it stands still."
    )


def _pressed(pressed: tuple[str, float] | None) -> str | None:
    if pressed is None:
        return None
    return f"{pressed[0]} at {time.strftime('%H:%M', time.localtime(pressed[1]))}"
