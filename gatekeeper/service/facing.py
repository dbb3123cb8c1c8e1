"""The face of a running service: what the page sees of it and how it asks.

The control thread only leaves its newest view of the core here. A thread of this module makes the page's view of it,
so that no sentence is ever composed on the control thread; the page's threads read the finished, frozen result.
"""

import logging
import threading
import time
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import replace

from gatekeeper.control.alarms import FAULTS
from gatekeeper.control.messages import Answer as CoreAnswer
from gatekeeper.control.messages import Requested, RequestWhat, SettingChanged, Who
from gatekeeper.control.people import SPARKS_SEEN
from gatekeeper.control.snapshot import CoreView
from gatekeeper.records.history_reading import HistoryReader, HistoryUnreadableError
from gatekeeper.records.state_form import Change
from gatekeeper.service.calibration_asking import Calibrations
from gatekeeper.service.calibration_file import ShopFile
from gatekeeper.service.day import day_view
from gatekeeper.service.face import Answer, Beat, CalibrationPress, DayView, ShopView
from gatekeeper.service.live_air import LiveAir
from gatekeeper.service.memory import Memory
from gatekeeper.service.running import HISTORY_FILE, Service
from gatekeeper.service.troubles import TROUBLES
from gatekeeper.service.viewing import Viewing
from gatekeeper.service.viewing_scene import has_reset
from gatekeeper.shop.model import Shop
from gatekeeper.shop.rewrite import Change as ShopChange

#: Without news a view is made this often, for currents and for what only time changes.
REFRESH_S = 1.0
#: Two views are at least this far apart, so that a burst of steps costs one view.
APART_S = 0.03
NO_LONGER = "That message no longer stands."
#: The first view must be there before the page opens; this only guards against hanging.
FIRST_VIEW_S = 10.0

_LOG = logging.getLogger(__name__)


class ShopFace:
    """Implements ``gatekeeper.service.face.Face`` for one service.

    Args:
        service: running or about to.
        version: views are counted from the one after this.
        file: the shop's file, for calibrating; None where there is none to write.
    """

    def __init__(self, service: Service, version: int = 0, file: ShopFile | None = None) -> None:
        self._version = version
        self._service = service
        air = LiveAir(service.air_systems)
        self._viewing = Viewing(service.shop, service.plan, service.wall_s, air)
        self._memory = Memory(service)
        self._calibrations = Calibrations(service, file, self._wake)
        self._reader = HistoryReader(service.folder / HISTORY_FILE)
        self._news = threading.Condition()
        self._core: CoreView | None = None
        self._fresh = False
        self._ending = False
        self._view: ShopView | None = None
        #: When the newest view was made or found unchanged: by the board's clock, and by the shop's.
        self._made = time.monotonic(), service.clock.now()
        self._thread = threading.Thread(target=self._run, name="views", daemon=True)
        service.listen(self._take)
        if service.last_view is not None:
            self._take(service.last_view)

    def start(self) -> None:
        """Begin to make views; returns when the first one is there."""
        self._thread.start()
        with self._news:
            self._news.wait_for(lambda: self._view is not None, FIRST_VIEW_S)

    def stop(self) -> None:
        """Make no more views."""
        self._calibrations.stop()
        with self._news:
            self._ending = True
            self._news.notify_all()
        if self._thread.is_alive():
            self._thread.join(1.0)

    @property
    def file(self) -> ShopFile | None:
        """The shop's file as it is now."""
        return self._calibrations.file

    def rewrite(self, changes: Sequence[ShopChange]) -> Shop:
        """Write values into the shop's file, and give the shop that it tells of. Raises: CannotCalibrate."""
        return self._calibrations.rewrite(changes)

    def rewrite_text(self, text: str) -> Shop:
        """Write the shop's file anew, from text made of its own. Raises: CannotCalibrate."""
        return self._calibrations.rewrite_text(text)

    # ---------------------------------------------------------------- what is so

    def view(self) -> ShopView:
        """The newest view."""
        view = self._view
        if view is None:
            raise RuntimeError("no view yet: start the face after the service")
        return view

    def beat(self) -> Beat:
        """The control thread's last sign of life; an older one where no view has been made since."""
        stepped_s = self._service.loop.stepped_s
        at_s, made_s = self._made
        if time.monotonic() - at_s > 2 * REFRESH_S:
            stepped_s = min(stepped_s, made_s)
        return Beat(self._service.clock.now(), stepped_s)

    def wait_for_change(self, version: int, timeout_s: float) -> bool:
        """Block until there is a newer view."""
        with self._news:
            return self._news.wait_for(
                lambda: self._ending or (self._view is not None and self._view.version > version), timeout_s
            )

    def calibrate(self, machine: str, press: CalibrationPress, who: Who, address: str | None = None) -> Answer:
        """Walk through a machine's calibration, one press at a time."""
        return self._calibrations.press(machine, press, who, address)

    def history(self, day: str | None) -> DayView:
        """A day's record; what still waits for the disk is written first, so that the page shows it."""
        self._service.history.flush(1.0)
        try:
            return day_view(self._reader, day, self._service.wall_s())
        except HistoryUnreadableError as error:
            raise LookupError(str(error)) from error

    # ---------------------------------------------------------------- asking

    def request(
        self,
        what: RequestWhat,
        subject: str | None,
        who: Who,
        for_s: float | None = None,
        text: str | None = None,
        address: str | None = None,
    ) -> "Future[Answer]":
        """Ask the core."""
        if what == "stop":
            self._memory.note_stop(subject, who, address)
        if what == "seen" and subject is not None and (keys := self._own_and_folded(subject)):
            return self._see(keys, who)
        told = text if text or not address else f"from {address}"
        if what == "sparks" and not has_reset(self._service.shop):
            return self._sparks_without_reset(who, address)

        def note(answer: CoreAnswer) -> None:
            if answer.accepted and what == "out_of_service":
                self._note_out_of_service(subject, self._memory.asker(who, address), text)

        asked = self._service.loop.ask(lambda ref: Requested(what, subject, who, for_s, told, ref))
        return _passed_on(asked, note)

    def _sparks_without_reset(self, who: Who, address: str | None) -> "Future[Answer]":
        """Where no key could ever reset a fire alarm, the shop is taken out of service: the same standstill."""
        done = self.request("out_of_service", None, who, text=f"{self._memory.asker(who, address)}: sparks were seen")
        told: Future[Answer] = Future()

        def tell(answered: "Future[Answer]") -> None:
            answer = answered.result()
            told.set_result(replace(answer, sentence=SPARKS_SEEN) if answer.accepted else answer)

        done.add_done_callback(tell)
        return told

    def _own_and_folded(self, key: str) -> tuple[str, ...]:
        """The messages behind one that the core does not know by its key: the service's own, or several folded."""
        folded = next((one.stands_for for one in self.view().messages if one.key == key), ())
        return folded or ((key,) if key.partition(":")[0] in TROUBLES else ())

    def _see(self, keys: Sequence[str], who: Who) -> "Future[Answer]":
        """Each of these messages was read."""
        own = [key for key in keys if self._memory.note_seen(key)]
        self._wake()
        of_core = [key for key in keys if key not in own and key.partition(":")[0] in FAULTS]
        asked = [self._service.loop.ask(lambda ref, key=key: Requested("seen", key, who, ref=ref)) for key in of_core]  # type: ignore[misc]
        if asked:
            return _passed_on(asked[-1])
        told: Future[Answer] = Future()
        told.set_result(Answer(True, "done", "Seen.") if own else Answer(False, "unknown", NO_LONGER))
        return told

    def _note_out_of_service(self, subject: str | None, asker: str, text: str | None) -> None:
        """Since when, by the wall clock: the core's own instants end with the boot."""
        motors = list(self._service.plan.motors) if subject is None else [subject]
        for motor in motors:
            self._memory.note_out_of_service(motor)
        wall_s = self._service.wall_s()
        changes = [Change(wall_s, asker, motor, "out_of_service", None, text or "") for motor in motors]
        self._service.keeper.submit([], lambda kept, why: None, changes)
        self._wake()

    def set_spin_down(
        self, subject: str, value_s: float | None, who: Who, address: str | None = None
    ) -> "Future[Answer]":
        """Change a delay at once; who changed what is kept with it."""
        before = self._memory.spin_down_of(subject)

        def note(answer: CoreAnswer) -> None:
            if answer.accepted:
                self._memory.note_spin_down(subject, before, value_s, who, address)
                change = Change(
                    self._service.wall_s(), self._memory.asker(who, address), subject, "spin_down_s", before, value_s
                )
                self._service.keeper.submit([], lambda kept, why: None, [change])
                self._wake()

        asked = self._service.loop.ask(lambda ref: SettingChanged(subject, "spin_down_s", value_s, who, ref))
        return _passed_on(asked, note)

    def undo(self, subject: str, who: Who, address: str | None = None) -> "Future[Answer]":
        """Bring back the delay as it was before the last change."""
        known, previous_s = self._memory.undo_of(subject)
        if not known:
            refused: Future[Answer] = Future()
            refused.set_result(Answer(False, "nothing", f"There is nothing to undo for {subject}."))
            return refused

        def note(answer: CoreAnswer) -> None:
            if answer.accepted:
                self._memory.forget_spin_down(subject, who, address)
                self._wake()

        asked = self._service.loop.ask(lambda ref: SettingChanged(subject, "spin_down_s", previous_s, who, ref))
        return _passed_on(asked, note)

    # ---------------------------------------------------------------- the thread that makes views

    def _take(self, core: CoreView) -> None:
        """In the control thread: only leave it here."""
        with self._news:
            self._core = core
            self._fresh = True
            self._news.notify_all()

    def _wake(self) -> None:
        with self._news:
            self._fresh = True
            self._news.notify_all()

    def _run(self) -> None:
        while True:
            with self._news:
                self._news.wait_for(lambda: self._fresh or self._ending, REFRESH_S)
                if self._ending:
                    return
                core, self._fresh = self._core, False
            if core is not None:
                try:
                    self._make(core)
                except Exception:
                    # The page may fail, the thread must stay: until it succeeds, the beat grows old on every phone.
                    _LOG.exception("the page's view could not be made")
                else:
                    self._made = time.monotonic(), self._service.clock.now()
            with self._news:
                if self._news.wait_for(lambda: self._ending, APART_S):
                    return

    def _make(self, core: CoreView) -> None:
        old = self._view
        version = self._version + 1 if old is None else old.version + 1
        self._memory.look(core)
        now_s = self._service.clock.now()
        made = self._viewing.view(
            replace(core, now_s=now_s),
            version=version,
            amperes=self._memory.amperes(),
            notes=replace(self._memory.notes(), trip_notes=self._calibrations.trip_notes()),
        )
        made = replace(made, calibration=self._calibrations.view())
        if old is not None and made == replace(
            old, version=made.version, now_s=made.now_s, wall_s=made.wall_s, seq=made.seq
        ):
            return
        with self._news:
            self._view = made
            self._news.notify_all()


def _passed_on(asked: "Future[CoreAnswer]", note: Callable[[CoreAnswer], None] | None = None) -> "Future[Answer]":
    """The core's answer as the page's, after ``note`` has seen it."""
    told: Future[Answer] = Future()

    def pass_on(done: "Future[CoreAnswer]") -> None:
        answer = done.result()
        if note is not None:
            note(answer)
        told.set_result(Answer(answer.accepted, answer.code, answer.sentence))

    asked.add_done_callback(pass_on)
    return told
