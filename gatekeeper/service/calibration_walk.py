"""One walk through a calibration beside the running controller: blocks in, what the page shows out.

The samplers' threads only leave their blocks here. ``pump``, called a few times a second from a thread of its own,
feeds them to the same engine that the terminal's walk runs on. Motors that the controller switches on meanwhile are
left out, so that a collector's inrush is never taken for the machine.
"""

from collections import deque
from collections.abc import Iterable

from gatekeeper.devices.base import Block as BankBlock
from gatekeeper.sensing.calibration import CUT_S, PATIENCE_S, Calibration, Place, Step
from gatekeeper.sensing.detector import DetectorSettings
from gatekeeper.sensing.seen import Block
from gatekeeper.service.calibration_file import CannotCalibrate, ShopFile, changes_for, wires_of
from gatekeeper.service.clamp_reading import Clamped, clamp_of_machine
from gatekeeper.service.face import CalibrationOffer, CalibrationStep, CalibrationView, CurrentPoint, Saying
from gatekeeper.shop.model import Shop
from gatekeeper.shop.rewrite import Change

#: The picture: a point this often, for so long.
POINT_S, PICTURE_S = 0.25, 30.0
#: Blocks that may wait to be fed: more than ten seconds of two converters.
MOST_BLOCKS = 4096
#: A converter that is silent for longer ends the walk.
SILENT_S = 5.0
#: What is over, or waits to be written, is shown for so long.
SHOWN_S = 600.0

_STEPS = {
    Step.REST: CalibrationStep.OFF_FIRST,
    Step.ON: CalibrationStep.SWITCH_ON,
    Step.FREE: CalibrationStep.RUN_FREE,
    Step.CUT: CalibrationStep.CUT,
    Step.OFF: CalibrationStep.SWITCH_OFF,
    Step.DONE: CalibrationStep.PROPOSED,
    Step.REFUSED: CalibrationStep.REFUSED,
}
_PATIENCE_S = {
    CalibrationStep.SWITCH_ON: (PATIENCE_S, "Ends by itself in {time}."),
    CalibrationStep.CUT: (CUT_S, "Goes on by itself in {time}."),
    CalibrationStep.SWITCH_OFF: (PATIENCE_S, "Ends by itself in {time}."),
    CalibrationStep.PROPOSED: (SHOWN_S, "Nothing is written yet. Left alone, it ends by itself in {time}."),
}
_OFFERS = {
    CalibrationStep.CUT: (CalibrationOffer("go_on", "Go on"),),
    CalibrationStep.SWITCH_OFF: (CalibrationOffer("go_on", "It is off"),),
    CalibrationStep.REFUSED: (CalibrationOffer("begin", "Begin again"),),
}
_OVER = (CalibrationStep.WRITTEN, CalibrationStep.REFUSED)
_LEAVE, _DONE = CalibrationOffer("leave", "Leave it as it is"), CalibrationOffer("leave", "Done")


def trip_in_force_a(clamp: Clamped) -> float:
    """The current from which a machine counts as running, amperes."""
    return DetectorSettings.for_tool(clamp.rated_a, clamp.sensor.trip_a).trip_a


def place_in_words(place: Place) -> str:
    """A channel as people find it."""
    return f"channel {place[1]} of {place[0]}"


class Walk:
    """One walk.

    Args:
        shop: as the file says it is wired.
        machine: a tool with a clamp.
        file: the shop's file; None where the controller knows of none.
        now_s: the controller's monotonic clock.

    Raises:
        NoClamp: no clamp watches the machine.
        ValueError: the mains frequency is outside its range.
    """

    def __init__(self, shop: Shop, machine: str, file: ShopFile | None, now_s: float) -> None:
        self.machine = machine
        self.clamp = clamp_of_machine(shop, machine)
        self.changes: list[Change] = []
        self._shop, self._file = shop, file
        self._wires = wires_of(shop, self.clamp)
        self._engine = Calibration(
            machine, self._wires, (self.clamp.channel.converter, self.clamp.channel.channel), shop.mains_hz
        )
        self._motors = {
            name: (motor.confirmed_by.channel.converter, motor.confirmed_by.channel.channel)
            for name, motor in shop.motors.items()
            if name != machine and motor.confirmed_by is not None and motor.confirmed_by.channel is not None
        }
        self._blocks: deque[tuple[str, BankBlock]] = deque(maxlen=MOST_BLOCKS)
        self._points: deque[tuple[float, float]] = deque(maxlen=round(PICTURE_S / POINT_S) + 1)
        self._said: list[str] = []
        self._refusal: str | None = None
        self._is_written = False
        self._not_written: str | None = None
        self._old_trip_a = trip_in_force_a(self.clamp)
        self._proposed_a: float | None = None
        self._step = CalibrationStep.OFF_FIRST
        self._entered_s = self._heard_s = now_s

    # ---------------------------------------------------------------- from the samplers' threads

    def take(self, converter: str, block: BankBlock) -> None:
        """Leave a block here."""
        self._blocks.append((converter, block))

    # ---------------------------------------------------------------- from whoever owns the walk

    @property
    def step(self) -> CalibrationStep:
        """Where it is."""
        return self._step

    @property
    def listens(self) -> bool:
        """Whether it still wants blocks."""
        return self._step not in (*_OVER, CalibrationStep.PROPOSED)

    @property
    def is_over(self) -> bool:
        """Whether another may begin."""
        return self._step in _OVER

    def is_forgotten(self, now_s: float) -> bool:
        """Whether nobody has pressed anything for so long that it is to be taken away."""
        return not self.listens and now_s - self._entered_s >= SHOWN_S

    def go_on(self) -> bool:
        """The person has done what was asked; False where nothing is asked that could be gone on from."""
        if self._step not in (CalibrationStep.CUT, CalibrationStep.SWITCH_OFF):
            return False
        self._engine.go_on()
        return True

    def note_not_written(self, why: str) -> None:
        """The file could not be written; it may be tried again."""
        self._not_written = why

    def note_written(self, now_s: float) -> None:
        """What was proposed stands in the file now."""
        self._is_written = True
        self._enter(now_s)

    def pump(self, now_s: float, motors_on: Iterable[str], trouble: str | None) -> bool:
        """Feed what waits; whether there is something new to see.

        Args:
            now_s: the controller's monotonic clock.
            motors_on: the motors that are switched on now.
            trouble: what is wrong with the converters, one sentence, or None.
        """
        if not self.listens:
            return False
        for motor in motors_on:
            if motor in self._motors:
                self._engine.leave_out(self._motors[motor])
        before = self._step, len(self._points), self._points[-1] if self._points else None
        while self._blocks:
            try:
                if self._feed(*self._blocks.popleft()):
                    self._heard_s = now_s
            except ValueError as fault:  # too few samples a mains cycle to tell a current from them
                self._refusal = str(fault)
            self._enter(now_s)
        if self.listens and now_s - self._heard_s >= SILENT_S:
            self._refusal = f"The converters give nothing. {trouble or 'Look at their plugs.'}"
            self._enter(now_s)
        return before != (self._step, len(self._points), self._points[-1] if self._points else None)

    def _feed(self, converter: str, block: BankBlock) -> bool:
        """Feed one block; whether it was one that the walk waits for."""
        engine = self._engine
        if engine.found is not None and converter != engine.found[0]:
            return False
        for channel, codes in enumerate(block.codes):
            place = (converter, channel)
            if place not in self._wires or (engine.found is not None and place != engine.found):
                continue
            engine.feed(place, Block(block.start_s, block.rate_hz, codes))
        shown = engine.shown
        if shown[0] == converter and shown in engine.live_a:
            t_s = block.start_s
            if not self._points or t_s - self._points[-1][0] >= POINT_S:
                self._points.append((t_s, engine.live_a[shown]))
        return True

    def _enter(self, now_s: float) -> None:
        """Take over the engine's step, or what ended it from here."""
        step = _STEPS[self._engine.step]
        if step is CalibrationStep.PROPOSED and not self.changes and self._refusal is None:
            assert self._engine.proposal is not None
            try:
                self.changes, self._said = changes_for(self._shop, self.clamp, self._engine.proposal)
            except CannotCalibrate as trouble:
                self._refusal = str(trouble)
            else:
                self._proposed_a = float(self.changes[0].value.split()[0])
        if self._refusal is not None:
            step = CalibrationStep.REFUSED
        elif self._is_written:
            step = CalibrationStep.WRITTEN
        if step is not self._step:
            self._step, self._entered_s = step, now_s
            if not self.listens:
                self._blocks.clear()

    # ---------------------------------------------------------------- what is shown

    def view(self) -> CalibrationView:
        """As the page shows it."""
        step = self._step
        ends = None
        if step in _PATIENCE_S:
            patience_s, text = _PATIENCE_S[step]
            ends = Saying(text, until_s=self._entered_s + patience_s)
        newest_s = self._points[-1][0] if self._points else 0.0
        return CalibrationView(
            machine=self.machine,
            step=step,
            prompt=self._prompt(),
            ends=ends,
            notes=tuple(self._notes()),
            live_a=self._points[-1][1] if self._points and self.listens else None,
            place=place_in_words(self._engine.shown),
            points=tuple(CurrentPoint(round(newest_s - t_s, 2), a) for t_s, a in self._points),
            trip_a=self._old_trip_a,
            proposed_a=self._proposed_a if step in (CalibrationStep.PROPOSED, CalibrationStep.WRITTEN) else None,
            offers=self._offers(),
        )

    def _offers(self) -> tuple[CalibrationOffer, ...]:
        if self._step is CalibrationStep.PROPOSED:
            may_write = self._file is not None and self._file.refusal is None
            return (*((CalibrationOffer("write", "Write it"),) if may_write else ()), _LEAVE)
        return (*_OFFERS.get(self._step, ()), _DONE if self._step in _OVER else _LEAVE)

    def _prompt(self) -> str:
        if self._step is CalibrationStep.PROPOSED:
            return f"Proposed trip: {self._proposed_a:g} A."
        if self._step is CalibrationStep.WRITTEN:
            return (
                f"Written. {self.machine[:1].upper()}{self.machine[1:]} counts as running from {self._proposed_a:g} A."
            )
        return self._refusal or self._engine.prompt

    def _notes(self) -> Iterable[str]:
        engine, step = self._engine, self._step
        if step in (CalibrationStep.OFF_FIRST, CalibrationStep.SWITCH_ON):
            yield (
                "The controller goes on meanwhile: when the machine runs, its gate opens and its collector comes on "
                "as always, by the trip in force."
            )
        if step is CalibrationStep.CUT:
            yield "The trip comes from running free; a cut only shows how far the current goes."
        if step in (CalibrationStep.RUN_FREE, CalibrationStep.CUT, CalibrationStep.SWITCH_OFF):
            own = (self.clamp.channel.converter, self.clamp.channel.channel)
            if engine.found not in (None, own):
                yield f"The file has it on {place_in_words(own)}. Writing what comes of this sets that right, too."
        if step is CalibrationStep.REFUSED:
            yield "Nothing was changed."
        if step in (CalibrationStep.PROPOSED, CalibrationStep.WRITTEN):
            yield from self._said
        if step is CalibrationStep.PROPOSED:
            yield from (self._not_written,) if self._not_written else self._file_notes()
        if step is CalibrationStep.WRITTEN and self._file is not None:
            yield f"It stands in {self._file.path}, and counts already: no restart is needed."

    def _file_notes(self) -> Iterable[str]:
        if self._file is None:
            yield "The controller was started without a shop file, so nothing can be written."
        elif self._file.refusal is not None:
            yield self._file.refusal
        else:
            yield f"It is written into {self._file.path}, comments kept, and counts at once."
            if self._file.note is not None:
                yield self._file.note
