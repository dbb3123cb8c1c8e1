"""Commissioning beside the running controller: one step in hand, its presses, its results, all of it on the disk.

Nothing here has a thread. Time and the record are looked at whenever somebody looks or presses; what the record and the
contacts say in between is remembered by ``Watch``. A step in hand outlives restarts and power cuts: its phase is
written with each change, and a phase that needs an unbroken record begins anew.
"""

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Protocol

from gatekeeper.commissioning.plan import steps_of
from gatekeeper.commissioning.record import LONGEST_NAME, LONGEST_WHY, Going, Result, Standing
from gatekeeper.commissioning.steps import Kind, Outcome, Step
from gatekeeper.commissioning.words import BEFORE
from gatekeeper.control.messages import Who
from gatekeeper.records.care_log import NotWrittenError
from gatekeeper.service.calibration_asking import ELSE_THEN
from gatekeeper.service.calibration_file import CannotCalibrate, ShopFile
from gatekeeper.service.commissioning_contacts import TurnSelector, WorkContact
from gatekeeper.service.commissioning_ends import LookAtHandGate, SetEnds
from gatekeeper.service.commissioning_gates import JogGate
from gatekeeper.service.commissioning_kept import Book, KeptCommissioning, counted, record_from
from gatekeeper.service.commissioning_measured import MeasureBond, ReadSuction
from gatekeeper.service.commissioning_motors import ClickContactor, LookAtRotation
from gatekeeper.service.commissioning_scene import NotNow, Scene, Turn, Verdict, Watch, Way
from gatekeeper.service.commissioning_starts import FirstStart
from gatekeeper.service.commissioning_stops import ProveStop
from gatekeeper.service.commissioning_tools import SeeTool
from gatekeeper.service.commissioning_viewing import WHY, held_said, stages_of, waking_view, walk_view
from gatekeeper.service.face import Answer, Face
from gatekeeper.service.face_care import Upkeep
from gatekeeper.service.face_commissioning import (
    BEGIN,
    LEAVE_OUT,
    PUT_BY,
    CommissioningRecord,
    CommissioningView,
    StageView,
    WalkView,
)
from gatekeeper.service.running import Service
from gatekeeper.shop.model import Shop
from gatekeeper.shop.rewrite import Change

WAYS: Mapping[Kind, Way] = {
    Kind.SEE_TOOL: SeeTool(),
    Kind.CONTACT: WorkContact(),
    Kind.SELECTOR: TurnSelector(),
    Kind.ENDS: SetEnds(),
    Kind.JOG: JogGate(),
    Kind.HAND_GATE: LookAtHandGate(),
    Kind.CLICK: ClickContactor(),
    Kind.TURN: LookAtRotation(),
    Kind.STOP: ProveStop(),
    Kind.BOND: MeasureBond(),
    Kind.START: FirstStart(),
    Kind.SUCTION: ReadSuction(),
}
#: Somebody's word that a disconnect is open is believed for a working day. Ours.
WORD_S = 8 * 3600.0
#: Where a step is followed by itself through this many phases at one look: more is a circle.
MOST_TURNS = 8
_NO_STEP = Answer(False, "no_such_step", "There is nothing like that to try in this shop.")
_NOT_IN_HAND = Answer(False, "not_in_hand", "That step is not in hand. Begin it again.")
_OTHER_STEP = Answer(False, "other_step", "That screen is old: the step has gone on. Look at what is asked now.")
_WAKING = Answer(False, "waking", "The controller has just woken. Wait a moment.")
_NO_WHY = Answer(False, "no_why", "Say why it is left out. It stands in the record for ever.")
_NO_FILE = "The controller was started without a shop file, so nothing can be written."


class Files(Protocol):
    """Who writes the shop's file: the page's calibration shares it, so that neither overwrites the other."""

    @property
    def file(self) -> ShopFile | None:
        """The file as it is now."""
        ...

    def rewrite(self, changes: Sequence[Change]) -> Shop:
        """Write values into it, and give the shop that it tells of. Raises: CannotCalibrate."""
        ...

    def rewrite_text(self, text: str) -> Shop:
        """Write it anew. Raises: CannotCalibrate."""
        ...


class ShopCommissioning:
    """Implements ``face_commissioning.Commissioning`` for one service.

    Args:
        service: the running service; asked anew each time, for a demo replaces it.
        face: asks the core.
        upkeep: takes readings of suction.
        files: who writes the shop's file, a ``ShopFace`` as a rule; asked anew each time.
        who: the door through which the core is asked.
    """

    def __init__(
        self, service: Callable[[], Service], face: Face, upkeep: Upkeep, files: Callable[[], Files], who: Who = "page"
    ) -> None:
        self._service = service
        self._face = face
        self._upkeep = upkeep
        self._files = files
        self._who: Who = who
        self._lock = threading.RLock()
        self._watch = Watch()
        self._of: Service | None = None
        self._kept: KeptCommissioning | None = None
        self._going: Going | None = None
        #: The shop as a step wrote it, while the service still has the one that it was started with.
        self._written: tuple[Shop, Shop] | None = None
        self._standing: tuple[Shop, Book, Standing] | None = None
        self._is_resumed = True
        self._number = 0
        #: What the service was started with: what a step wrote since counts after the next start.
        self._started: Shop | None = None
        self._trouble: str | None = None
        self._shown: CommissioningView | None = None
        self._stages: tuple[Standing, str | None, tuple[StageView, ...]] | None = None

    # ---------------------------------------------------------------- what is so

    def view(self) -> CommissioningView:
        """How everything stands."""
        with self._lock:
            service = self._now()
            if self._going is not None and service.last_view is not None and service.last_view.awake:
                self._look(service)
            made = self._made(service)
            old = self._shown
            if old is None or replace(made, version=old.version) != old:
                self._shown = replace(made, version=old.version + 1 if old is not None else 1)
            assert self._shown is not None
            return self._shown

    def record(self) -> CommissioningRecord:
        """Every result, for printing."""
        with self._lock:
            service = self._now()
            return record_from(self._shop(service), self._book(), service.wall_s())

    def _now(self) -> Service:
        """The service as it is now, with the step that an earlier run of it had in hand."""
        service = self._service()
        if service is not self._of:
            self._of, self._written, self._standing, self._started = service, None, None, service.shop
            self._kept = KeptCommissioning(service.folder)
            self._going = self._book().going
            self._number = max(self._number, self._going.number if self._going is not None else 0)
            if self._going is not None and self._step(service, self._going.key) is None:
                self._going = None  # the shop has that part no more
            self._watch.listen_to(service if self._going is not None else None)
            self._is_resumed = self._going is None
        return service

    def _book(self) -> Book:
        assert self._kept is not None  # ``_now`` made it
        return self._kept.read()

    def _shop(self, service: Service) -> Shop:
        """The shop as its file says: what a step has written counts here before the restart that makes it true."""
        if self._written is not None and self._written[0] is service.shop:
            return self._written[1]
        return service.shop

    def _stands(self, service: Service) -> Standing:
        shop, book = self._shop(service), self._book()
        if self._standing is None or self._standing[0] is not shop or self._standing[1] is not book:
            self._standing = shop, book, Standing(steps_of(shop), book.results)
        return self._standing[2]

    def _step(self, service: Service, key: str) -> Step | None:
        return next((step for step in self._stands(service).steps if step.key == key), None)

    # ---------------------------------------------------------------- pressing

    def press(
        self, key: str, press: str, by: str, values: Mapping[str, str] | None = None, number: int | None = None
    ) -> Answer:
        """Take one press."""
        with self._lock:
            service = self._now()
            step = self._step(service, key)
            by = " ".join(by.split())[:LONGEST_NAME]
            if step is None:
                return _NO_STEP
            if not by:
                return Answer(False, "who", "Say who does it.")
            if service.last_view is None or not service.last_view.awake:
                return _WAKING
            if self._going is not None:
                self._look(service)
            try:
                return self._pressed(service, step, press, by, values or {}, number)
            except NotWrittenError as trouble:
                return Answer(False, "not_kept", str(trouble))

    def _pressed(
        self, service: Service, step: Step, press: str, by: str, values: Mapping[str, str], number: int | None
    ) -> Answer:
        going = self._going
        if press == BEGIN:
            return self._begin(service, step, by)
        if press == LEAVE_OUT and (going is None or going.key != step.key):
            return self._leave_out(service, step, by, values)
        if going is None or going.key != step.key:
            return _NOT_IN_HAND
        if number is not None and number != going.number:
            return _OTHER_STEP
        if press == LEAVE_OUT:
            return self._leave_out(service, step, by, values)
        if press == PUT_BY:
            self._put(None, by)
            return Answer(True, "put_by", f"Put by. It is due as before.{held_said(service, step)}")
        scene = self._scene(service, by)
        try:
            turn = WAYS[step.kind].press(scene, step, going, press, values)
        except NotNow as trouble:
            return Answer(False, trouble.code, str(trouble))
        self._take(service, step, going, turn, by)
        return turn.answer

    def _begin(self, service: Service, step: Step, by: str) -> Answer:
        self._watch.listen_to(service)
        try:
            phase, memo = WAYS[step.kind].begin(self._scene(service, by), step)
        except NotNow as trouble:
            return Answer(False, trouble.code, str(trouble))
        self._put(Going(step.key, phase, self._next(), by, memo), by)
        self._is_resumed = True
        return Answer(True, "begun", f"{step.title}.")

    def _next(self) -> int:
        """Numbers never come again while a program runs, so that an old screen is known as old."""
        self._number += 1
        return self._number

    def _leave_out(self, service: Service, step: Step, by: str, values: Mapping[str, str]) -> Answer:
        why = " ".join(values.get(WHY, "").split())[:LONGEST_WHY]
        if not why:
            return _NO_WHY
        self._add(service, step, Verdict(Outcome.LEFT_OUT, "Left out."), by, why)
        if self._going is not None and self._going.key == step.key:
            self._put(None, by)
        said = f"{step.title}: left out, and that stands in the record.{held_said(service, step)}"
        return Answer(True, "left_out", said)

    # ---------------------------------------------------------------- going on

    def _look(self, service: Service) -> None:
        """Let time and the record bring the step on."""
        for _ in range(MOST_TURNS):
            going = self._going
            step = self._step(service, going.key) if going is not None else None
            if going is None or step is None:
                return
            scene = self._scene(service, going.by)
            try:
                if not self._is_resumed:
                    self._resume(scene, step, going)
                    continue
                turn = WAYS[step.kind].look(scene, step, going)
                if turn is None:
                    return
                self._take(service, step, going, turn, going.by)
                self._trouble = None
            except NotWrittenError as trouble:
                self._trouble = str(trouble)
                return

    def _resume(self, scene: Scene, step: Step, going: Going) -> None:
        try:
            phase, memo = WAYS[step.kind].resumed(scene, step, going)
        except NotNow:
            self._put(None, going.by)
        else:
            self._put(Going(going.key, phase, self._next(), going.by, memo), going.by)
        self._is_resumed = True

    def _take(self, service: Service, step: Step, going: Going, turn: Turn, by: str) -> None:
        """What came of a press, or of time. Raises: NotWrittenError, and then nothing changed."""
        if turn.verdict is not None:
            self._add(service, step, turn.verdict, by)
        if turn.closes or (turn.verdict is not None and not turn.goes_on):
            self._put(None, by)
        elif turn.phase is not None:
            memo = dict(turn.memo) if turn.memo is not None else going.memo
            self._put(Going(going.key, turn.phase, self._next(), going.by, memo), by)

    def _add(self, service: Service, step: Step, verdict: Verdict, by: str, why: str | None = None) -> None:
        assert self._kept is not None  # ``_now`` made it
        facts = verdict.facts if verdict.facts is not None else step.facts
        result = Result(
            key=step.key,
            stage=step.stage,
            title=step.title,
            outcome=verdict.outcome,
            sentence=verdict.sentence,
            by=by,
            at_wall_s=service.wall_s(),
            facts=facts,
            why=why,
            figures=verdict.figures,
        )
        self._kept.add(result)

    def _put(self, going: Going | None, by: str) -> None:
        assert self._kept is not None  # ``_now`` made both
        assert self._of is not None
        self._kept.put(going, by, self._of.wall_s())
        self._going = going
        if going is None:
            self._watch.listen_to(None)

    # ---------------------------------------------------------------- what a step may see and do

    def _scene(self, service: Service, by: str) -> Scene:
        core = service.last_view
        assert core is not None  # asked only of a core that is awake
        now_s = service.wall_s()
        isolated = {motor for motor, at_s in self._book().isolated.items() if 0 <= now_s - at_s < WORD_S}

        def note(motor: str, is_open: bool) -> None:
            assert self._kept is not None
            self._kept.isolate(motor, is_open, by, service.wall_s())

        return Scene(
            service=service,
            core=core,
            shop=self._shop(service),
            started=self._started or service.shop,
            watch=self._watch,
            face=self._face,
            who=self._who,
            by=by,
            upkeep=self._upkeep,
            write=self._rewrite,
            write_text=self._rewrite_text,
            file_text=self._file_text,
            file_said=self._file_said(),
            isolated=frozenset(isolated),
            note_isolated=note,
        )

    def _file_said(self) -> str | None:
        """Why nothing can be written, or None."""
        file = self._files().file
        if file is None:
            return _NO_FILE
        return file.refusal.replace("calibrate again", ELSE_THEN) if file.refusal is not None else None

    def _file_text(self) -> str:
        file = self._files().file
        if file is None:
            raise CannotCalibrate(_NO_FILE)
        return file.text

    def _rewrite(self, changes: Sequence[Change]) -> Shop:
        return self._note_written(self._files().rewrite(changes))

    def _rewrite_text(self, text: str) -> Shop:
        return self._note_written(self._files().rewrite_text(text))

    def _note_written(self, shop: Shop) -> Shop:
        assert self._of is not None  # a step is in hand
        self._written = (self._of.shop, shop)
        return shop

    # ---------------------------------------------------------------- drawing

    def _made(self, service: Service) -> CommissioningView:
        standing = self._stands(service)
        due, done, sentence = counted(standing)
        in_hand = self._going.key if self._going is not None else None
        if self._stages is None or self._stages[0] is not standing or self._stages[1] != in_hand:
            self._stages = standing, in_hand, stages_of(standing, in_hand)
        return CommissioningView(
            stages=self._stages[2],
            walk=self._walk_view(service),
            next_key=next((step.key for step in standing.steps if standing.is_due(step)), None),
            sentence=sentence,
            due=due,
            done=done,
            cautions=(*((self._trouble,) if self._trouble else ()), *self._restart_said(service), *BEFORE),
            version=0,
        )

    def _restart_said(self, service: Service) -> tuple[str, ...]:
        shop, started = self._shop(service), self._started or service.shop
        readings = [[motor.suction_reading for motor in one.motors.values()] for one in (shop, started)]
        if shop.gates == started.gates and readings[0] == readings[1]:
            return ()
        return ("The shop file was written here and has figures that count after the next start of the controller.",)

    def _walk_view(self, service: Service) -> WalkView | None:
        going = self._going
        step = self._step(service, going.key) if going is not None else None
        if going is None or step is None:
            return None
        if service.last_view is None or not service.last_view.awake or not self._is_resumed:
            return waking_view(step, going, _WAKING.sentence)
        shown = WAYS[step.kind].show(self._scene(service, going.by), step, going)
        return walk_view(step, going, shown)
