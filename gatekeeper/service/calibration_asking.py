"""Calibrating a machine from the page: one walk at a time, its presses, and the file at its end.

Sampling, core and loop go on as always; a walk only listens. Nothing is changed before somebody presses "Write it":
then the shop's file is written first, and the sensors hear with it from the next block on.
"""

import threading
import time
from collections.abc import Callable, Sequence

from gatekeeper.control.messages import Who
from gatekeeper.records.state_form import Change as Kept
from gatekeeper.service.calibration_file import CannotCalibrate, ShopFile, written, written_text
from gatekeeper.service.calibration_walk import Walk, trip_in_force_a
from gatekeeper.service.clamp_reading import Clamped, NoClamp, clamp_of_machine
from gatekeeper.service.face import Answer, CalibrationPress, CalibrationStep, CalibrationView
from gatekeeper.service.memory import Memory
from gatekeeper.service.running import Service
from gatekeeper.shop.model import Shop
from gatekeeper.shop.rewrite import Change

#: The setting's name among the changes that are kept.
TRIP = "trip_a"
#: What is to be done anew where others could not write the file.
ELSE_THEN = "try it again"
#: How often what waits is fed, real seconds.
PUMP_S = 0.05


class Calibrations:
    """The walks of one running service; every method may be called from any thread.

    Args:
        service: whose.
        file: the shop's file; None where the service was started without one.
        news: called when there is something new to see; must not block.
        in_thread: feed the walk from a thread of its own; False where ``pump`` is called from outside.
    """

    def __init__(
        self, service: Service, file: ShopFile | None, news: Callable[[], None], *, in_thread: bool = True
    ) -> None:
        self._service = service
        self._file = file
        self._news = news
        self._in_thread = in_thread
        self._lock = threading.RLock()
        self._walk: Walk | None = None
        self._view: CalibrationView | None = None
        self._ending = threading.Event()
        self._thread: threading.Thread | None = None
        self._trip_notes: tuple[Shop, dict[str, str]] | None = None
        self._changes: dict[str, Kept] = {}
        for tool in service.shop.tools:
            for change in service.store.changes(1, tool, TRIP):
                self._changes[tool] = change

    @property
    def file(self) -> ShopFile | None:
        """The shop's file as it is now."""
        return self._file

    def rewrite(self, changes: Sequence[Change]) -> Shop:
        """Write other values into the same file, and give the shop that it tells of. Raises: CannotCalibrate."""
        return self._put(lambda file: written(file, changes, ELSE_THEN))

    def rewrite_text(self, text: str) -> Shop:
        """Write the whole file anew, from text that was made of its own. Raises: CannotCalibrate."""
        return self._put(lambda file: written_text(file, text, ELSE_THEN))

    def _put(self, put: Callable[[ShopFile], tuple[ShopFile, Shop]]) -> Shop:
        with self._lock:
            if self._file is None:
                raise CannotCalibrate("The controller was started without a shop file. Nothing was written.")
            self._file, shop = put(self._file)
            return shop

    # ---------------------------------------------------------------- what is so

    def view(self) -> CalibrationView | None:
        """The walk as it stands, or None."""
        return self._view

    def trip_notes(self) -> dict[str, str]:
        """For every tool with a clamp from which current it counts as running, and how that is known."""
        shop = self._service.shop
        if self._trip_notes is None or self._trip_notes[0] is not shop:
            notes = {}
            for name in shop.tools:
                try:
                    notes[name] = trip_note(clamp_of_machine(shop, name), self._changes.get(name))
                except NoClamp:
                    continue
            self._trip_notes = (shop, notes)
        return self._trip_notes[1]

    # ---------------------------------------------------------------- presses

    def press(self, machine: str, press: CalibrationPress, who: Who, address: str | None) -> Answer:
        """Take one press."""
        with self._lock:
            if press == "begin":
                answer = self._begin(machine)
            elif self._walk is None or self._walk.machine != machine:
                answer = Answer(False, "no_walk", f"{_title(machine)} is not being calibrated now. Begin again.")
            elif press == "go_on":
                answer = self._go_on(self._walk)
            elif press == "write":
                answer = self._write(self._walk, Memory.asker(who, address))
            else:
                answer = self._leave(self._walk)
            self._show()
        return answer

    def _begin(self, machine: str) -> Answer:
        walk = self._walk
        if walk is not None and not walk.is_over:
            if walk.machine == machine:
                return Answer(True, "already", f"{_title(machine)} is being calibrated already.")
            return Answer(False, "busy", f"{_title(walk.machine)} is being calibrated now. Finish or leave that first.")
        try:
            walk = Walk(self._service.shop, machine, self._file, self._service.clock.now())
        except NoClamp as trouble:
            return Answer(False, "no_clamp", str(trouble))
        self._walk = walk
        for sampler in self._service.samplers:
            sampler.tap = walk.take
        if self._in_thread and self._thread is None:
            self._thread = threading.Thread(target=self._run, name="calibrating", daemon=True)
            self._thread.start()
        return Answer(True, "begun", f"Calibrating {machine}.")

    def _go_on(self, walk: Walk) -> Answer:
        if not walk.go_on():
            return Answer(False, "not_now", "There is nothing to go on from now. Look at what the page asks.")
        return Answer(True, "goes_on", "Going on.")

    def _write(self, walk: Walk, asker: str) -> Answer:
        if walk.step is not CalibrationStep.PROPOSED:
            return Answer(False, "not_now", "There is nothing to write now. Look at what the page asks.")
        if self._file is None:
            return Answer(False, "no_file", "The controller was started without a shop file. Nothing was written.")
        try:
            self._file, shop = written(self._file, walk.changes)
        except CannotCalibrate as trouble:
            walk.note_not_written(str(trouble))
            return Answer(False, "not_written", str(trouble))
        before_a, after_a = trip_in_force_a(walk.clamp), trip_in_force_a(clamp_of_machine(shop, walk.machine))
        change = Kept(self._service.wall_s(), asker, walk.machine, TRIP, before_a, after_a)
        self._changes[walk.machine] = change
        self._service.keeper.submit([], lambda kept, why: None, [change])
        self._service.recalibrate(shop)
        walk.note_written(self._service.clock.now())
        return Answer(True, "written", f"Written into {self._file.path}. It counts at once.")

    def _leave(self, walk: Walk) -> Answer:
        was_written = walk.step is CalibrationStep.WRITTEN
        self._drop()
        return Answer(True, "left", "Done." if was_written else "Left. Nothing was changed.")

    # ---------------------------------------------------------------- feeding

    def pump(self) -> None:
        """Feed what the samplers have left, and let time end what it must."""
        with self._lock:
            walk = self._walk
            if walk is None:
                return
            now_s = self._service.clock.now()
            if walk.is_forgotten(now_s):
                self._drop()
                self._show()
                return
            core = self._service.last_view
            motors_on = [motor.name for motor in core.motors if motor.on] if core is not None else []
            trouble = next((sampler.trouble for sampler in self._service.samplers if sampler.trouble), None)
            if walk.pump(now_s, motors_on, trouble):
                self._show()
            if not walk.listens:
                self._untap()

    def stop(self) -> None:
        """End the walk and the thread."""
        self._ending.set()
        with self._lock:
            self._drop()

    def _run(self) -> None:
        while not self._ending.wait(PUMP_S):
            self.pump()
            with self._lock:
                if self._walk is None:
                    self._thread = None
                    return

    def _drop(self) -> None:
        self._walk = None
        self._untap()

    def _untap(self) -> None:
        for sampler in self._service.samplers:
            sampler.tap = None

    def _show(self) -> None:
        self._view = self._walk.view() if self._walk is not None else None
        self._news()


def trip_note(clamp: Clamped, change: Kept | None) -> str:
    """From which current a machine counts as running, how that is known, and who changed it last from the page."""
    if clamp.sensor.trip_a is not None:
        how = "as the shop's file says"
    elif clamp.rated_a is not None:
        how = "reckoned from its plate"
    else:
        how = "the figure for a machine of which nothing is known"
    trip_a = trip_in_force_a(clamp)
    said = f"It counts as running from {trip_a:.3g} A: {how}."
    if change is not None and change.new == trip_a:
        said += f" Changed by {change.who} on {day_and_time(change.at_s)}; before it was {change.old:.3g} A."
    return said


def day_and_time(wall_s: float) -> str:
    """A moment for people: "2026-09-21 14:03"."""
    return time.strftime("%Y-%m-%d %H:%M", time.localtime(wall_s))


def _title(machine: str) -> str:
    return machine[:1].upper() + machine[1:]
