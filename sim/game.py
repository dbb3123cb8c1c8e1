"""One play at signals fidelity: a heap of instants, the clocks, the core, and what becomes of its controller.

Theory of operation. All that is to come stands in two heaps of instants: happenings, and what the plant's parts will
do. The play jumps to the earliest of them, or to the core's next deadline where that is earlier; nothing steps. At one
instant happenings come first, then the plant, then the core's own time. What the core says is carried out at once; what
it wants to have kept is kept after ``disk_s``, and a kill before that loses it.

Clocks. The play counts seconds from its beginning. The core's clock is the board's: the same until the board loses its
power, and begun anew at ``BOOT_S`` by every boot after that. The wall clock begins at ``wall_start_s`` after midnight.
"""

import heapq
import itertools
import math
from collections.abc import Callable, Mapping
from typing import Any

from gatekeeper.control.messages import (
    Answer,
    Entry,
    Event,
    Keep,
    Kept,
    MoveGate,
    QuietSeen,
    Requested,
    SettingChanged,
    ShopKeySeen,
    Stopping,
    SwitchMotor,
    Ticked,
    Woke,
)
from gatekeeper.control.supervisor import Supervisor
from gatekeeper.devices.drive_pace import sent_hz
from gatekeeper.service.drive_speed import DrivePace, paces_of
from gatekeeper.service.wiring_drivers import speed_range
from gatekeeper.shop.model import Shop
from sim.books import COUNTED, Books
from sim.breakers import Breaker
from sim.figures import Figures
from sim.happening import Controller, Happening, What, wanted
from sim.played import USUAL_START_S, Played, Watch
from sim.signal_plant import SignalPlant
from sim.stage import Stage, stage_of
from sim.wall_hours import WallHours

#: Steps at one instant after which the core is held to be going in circles.
CIRCLE = 200
#: A board has been on for this long when its controller wakes.
BOOT_S = 20.0
#: Instants closer together than this are one: rounding.
SAME_S = 1e-6


class GoesInCircles(RuntimeError):
    """The core asked to be called again and again at one instant."""


class Game:
    """One play at signals fidelity, for whoever wants to look in between.

    Args: as for ``sim.play.play``; ``kept``: what an earlier run of the controller left, a first start otherwise;
    ``disk_s``: how long its disk takes, seconds.
    """

    def __init__(
        self,
        shop: Shop | Stage,
        *,
        seed: int = 0,
        with_air: bool = True,
        watch: Watch | None = None,
        truth: bool = False,
        wall_start_s: float = USUAL_START_S,
        with_tracks: bool = True,
        breakers: Mapping[str, Breaker] | None = None,
        strict: bool = False,
        kept: Kept | None = None,
        disk_s: float = 0.0,
    ) -> None:
        self.stage = shop if isinstance(shop, Stage) else stage_of(shop, with_air=with_air)
        self.shop = self.stage.shop
        self.now_s = 0.0
        self.core: Supervisor | None = None
        self.answers: list[Answer] = []
        self.kept_values: dict[str, Any] = dict(kept.values) if kept is not None else {}
        self.disk_s = disk_s
        self._watch, self._strict = watch, strict
        self._coming: list[tuple[float, int, Happening]] = []
        self._heap: list[tuple[float, int, Callable[[], None]]] = []
        self._ticket = itertools.count()
        self._due_s: float | None = None
        self._core_due_s: float | None = None
        self._core_now_s = 0.0
        self._boot_at_s = 0.0
        self._boots = self._runs = 0
        self._seq = self._last_step = 0
        self._truths: list[tuple[str, str, Any]] = []
        self._deaf: list[Event] | None = None
        self._wall_s = wall_start_s
        self._paces: dict[str, DrivePace] = {}
        self._paced_s: dict[str, float | None] = {}
        self._hours = WallHours(self.shop.hours, lambda: self.wall_s, self._later, self.feed)
        self._is_board_on = True
        self.is_file_damaged = False
        self.books = Books(self.shop, with_tracks=with_tracks, truth=self._tell_truth if truth else None)
        self.plant = SignalPlant(
            self.stage,
            lambda: self.now_s,
            self._later,
            self.feed,
            self.books,
            play_s=self._play_s,
            breakers=breakers,
            seed=seed,
        )
        self._wake(kept if kept is not None else Kept(), new_boot=True)

    # ---------------------------------------------------------------- from outside

    def happen(self, happening: Happening) -> None:
        """Let something happen at its instant; at once where that is past."""
        heapq.heappush(self._coming, (max(happening.at_s, self.now_s), next(self._ticket), happening))

    def run(self, until_s: float) -> None:
        """Play on until an instant, seconds from the beginning; everything due at it is done."""
        coming, heap, plant = self._coming, self._heap, self.plant
        while True:
            due_s = self._due_s if self._due_s is not None else math.inf
            act_s = heap[0][0] if heap else math.inf
            comes_s = coming[0][0] if coming else math.inf
            next_s = min(due_s, act_s, comes_s)
            if plant.lapse_s < next_s and plant.lapse_s <= until_s:
                self.now_s = max(self.now_s, plant.lapse_s)
                plant.lapse()
                continue
            if next_s > until_s or next_s == math.inf:
                break
            self.now_s = max(self.now_s, next_s)
            if comes_s == next_s:
                self._happens(heapq.heappop(coming)[2])
            elif act_s == next_s:
                heapq.heappop(heap)[2]()
            else:
                self._tick()
        self.now_s = max(self.now_s, until_s)

    def played(self) -> Played:
        """Close the books. The game is over: nothing may happen after it."""
        self.plant.air.settle(self.now_s)
        figures = self.books.close(self.now_s, self.plant)
        return Played(figures, self.core.snapshot() if self.core is not None else None, self.books.tracks)

    def figures(self) -> Figures:
        """As ``played``, the figures alone."""
        return self.played().figures

    @property
    def wall_s(self) -> float:
        """The wall clock now, seconds after the midnight before the beginning."""
        return self._wall_s + self.now_s

    # ---------------------------------------------------------------- the core

    def feed(self, event: Event) -> None:
        """An event reaches the core now, with all that it wants to do at this instant; nobody hears it when down."""
        if self.core is None:
            return
        if self._deaf is not None:
            self._deaf.append(event)
            return
        self._handle(event)
        self._catch_up()

    def _tick(self) -> None:
        if self.core is not None and self._deaf is None:
            self._handle(Ticked())
            self._catch_up()

    def _catch_up(self) -> None:
        for _ in range(CIRCLE):
            due_s = self._due_s
            if self.core is None or due_s is None or due_s > self.now_s:
                return
            self._handle(Ticked())
        raise GoesInCircles(f"the core was called {CIRCLE} times at {self.now_s:g} s and wants more")

    def _handle(self, event: Event) -> None:
        core = self.core
        assert core is not None
        core_s = self._core_s(self.now_s)
        if self._core_due_s is not None and abs(core_s - self._core_due_s) < SAME_S:
            core_s = self._core_due_s  # rounding between two clocks must not bring it to just before its deadline
        self._core_now_s = core_s = max(core_s, self._core_now_s)
        commands = core.handle(event, core_s)
        watch = self._watch
        for entry in core.recorder.take():
            if entry.kind in COUNTED:
                self.books.entry(self.now_s, entry)
            if watch is not None:
                watch(entry)
        self._core_due_s = due_s = core.next_deadline()
        self._due_s = None if due_s is None else self._play_s(due_s)
        keeps: list[Keep] = []
        answers: list[Answer] = []
        for command in commands:
            # By type, not by isinstance: a play of a year asks this a few million times.
            kind = type(command)
            if kind is SwitchMotor or kind is MoveGate:
                self.plant.command(command)
            elif isinstance(command, Keep):
                keeps.append(command)
            elif isinstance(command, Answer):
                answers.append(command)
        if keeps or answers:
            self._keep(keeps, answers)
        if self._paces:
            view = core.snapshot()
            for name, pace in self._paces.items():
                pace.take(view)
                self._pace(name, pace)

    def _pace(self, name: str, pace: DrivePace) -> None:
        """Tell a drive its speed, as its driver does, and ask again when it may slow down."""
        limits = speed_range(self.shop.drives[self.shop.motors[name].switch.drive or ""])
        assert limits is not None
        told_hz, _ = sent_hz(limits, pace)
        share = told_hz / limits.full_hz
        if share != self.plant.drives[name].top:
            self.plant.pace(name, share)
        due_s = pace.due_s()
        if due_s is not None and due_s != self._paced_s.get(name):
            self._later(max(0.0, due_s - self._core_s(self.now_s)) + SAME_S, lambda: self._pace_again(name, pace))
        self._paced_s[name] = due_s

    def _pace_again(self, name: str, pace: DrivePace) -> None:
        if self._paces.get(name) is pace and self.core is not None:
            self._pace(name, pace)

    def _keep(self, keeps: list[Keep], answers: list[Answer]) -> None:
        """Make values durable, as quickly as the disk is, and give the answers that rest on them."""
        if self.disk_s <= 0.0 or not keeps:
            self._commit(keeps, answers)
            return
        run = self._runs

        def kept() -> None:
            if run == self._runs and self.core is not None:
                self._commit(keeps, answers)

        self._later(self.disk_s, kept)

    def _commit(self, keeps: list[Keep], answers: list[Answer]) -> None:
        for keep in keeps:
            if keep.value is None:
                self.kept_values.pop(keep.key, None)
            else:
                self.kept_values[keep.key] = keep.value
        self.answers += answers

    def _core_s(self, play_s: float) -> float:
        return play_s - self._boot_at_s

    def _play_s(self, core_s: float) -> float:
        return core_s + self._boot_at_s

    def _later(self, in_s: float, act: Callable[[], None]) -> None:
        heapq.heappush(self._heap, (self.now_s + in_s, next(self._ticket), act))

    # ---------------------------------------------------------------- the controller begins and ends

    def _wake(self, kept: Kept, *, new_boot: bool) -> None:
        if new_boot:
            if self._boots:
                self._boot_at_s = self.now_s - BOOT_S
            self._boots += 1
            self._core_now_s = 0.0
        self._core_due_s = None
        self._runs += 1
        self.core = Supervisor(
            self.stage.plan,
            kept,
            boot=f"boot {self._boots}",
            run=f"run {self._runs}",
            seq=self._seq,
            strict=self._strict,
        )
        self._paces = paces_of(self.shop, self.stage.speeds, lambda: self._core_s(self.now_s))
        self.books.controller(self.now_s, True)
        self._deaf = None
        self.feed(Woke())
        truths, self._truths = self._truths, []
        for truth in truths:
            self._tell_truth(*truth)
        self.plant.wake()
        self._hours.begin()

    def _start(self, *, new_boot: bool) -> None:
        """The process starts again with exactly what was made durable."""
        if self.core is not None:
            raise ValueError("The controller runs already. It can be stopped or killed, not started.")
        self.plant.to_rest()
        values = {} if self.is_file_damaged else dict(self.kept_values)
        damaged, self.is_file_damaged = self.is_file_damaged, False
        if damaged:
            self.kept_values = {}
        self._wake(Kept(values, fresh=False, damaged=damaged, same_boot=not new_boot), new_boot=new_boot)

    def _end(self, *, clean: bool) -> None:
        core = self.core
        if core is None:
            return
        if clean:
            self._deaf = None
            self.disk_s, slow_s = 0.0, self.disk_s  # a clean end waits for its disk
            self.feed(Stopping())
            self.disk_s = slow_s
        self._seq, self._last_step = core.recorder.seq, core.recorder.step
        self.core, self._due_s, self._deaf = None, None, None
        if not clean:
            self._seq += 1
            self._last_step += 1
            killed = Entry(
                self._seq,
                self._last_step,
                round(self._core_s(self.now_s), 3),
                core.recorder.boot,
                core.recorder.run,
                "kill",
            )
            if self._watch is not None:
                self._watch(killed)
        self._hours.end()
        self.books.controller(self.now_s, False)
        if clean:
            self.plant.to_rest()
        else:
            self.plant.process_dies()

    # ---------------------------------------------------------------- what happens

    def _happens(self, happening: Happening) -> None:
        plant, subject, value = self.plant, happening.subject or "", happening.value
        match happening.what:
            case What.TOOL_ON | What.TOOL_OFF:
                plant.switch_tool(subject, happening.what is What.TOOL_ON)
            case What.REQUEST:
                self.feed(wanted(Requested, value))
            case What.SETTING:
                self.feed(wanted(SettingChanged, value))
            case What.FAULT | What.MEND:
                self._break(happening)
            case What.INPUT:
                plant.set_input(subject, bool(value))
            case What.PRESS:
                plant.press(subject)
            case What.HAND_SWITCH:
                plant.turn_selector(subject, str(value))
            case What.SHOP_KEY:
                self.feed(ShopKeySeen("open" if value else "shut"))
            case What.QUIET:
                self.feed(QuietSeen(bool(value)))
            case What.MOVE_BY_HAND:
                plant.move_by_hand(subject, float(value))
            case What.CONTROLLER:
                self._control(wanted(Controller, value))
            case What.MAINS:
                self._mains(bool(value))
            case What.STANDS_STILL:
                self._stand_still(float(value))
            case What.CLOCK_STEP:
                self._wall_s += float(value)
                self._hours.begin()

    def _break(self, happening: Happening) -> None:
        is_broken = happening.what is What.FAULT
        word = str(happening.value)
        if is_broken:
            self.plant.breakage.put(word, happening.subject or "")
        else:
            self.plant.breakage.mend(word, happening.subject or "")
        self.books.fault(self.now_s, word, happening.subject, is_broken)

    def _control(self, what: Controller) -> None:
        match what:
            case Controller.STOP | Controller.KILL:
                self._end(clean=what is Controller.STOP)
            case Controller.START:
                if not self._is_board_on:
                    raise ValueError("The board has no power. Plug it in.")
                self._start(new_boot=False)
            case Controller.PLUG_OUT:
                self._end(clean=False)
                self._is_board_on = False
                self.plant.board_dies()
            case Controller.PLUG_IN:
                self._end(clean=False)
                if self._is_board_on:
                    self.plant.board_dies()
                self._is_board_on = True
                self._start(new_boot=True)

    def _mains(self, is_live: bool) -> None:
        if is_live:
            self.plant.electricity.mains(True)
            self._control(Controller.PLUG_IN)
        else:
            self._control(Controller.PLUG_OUT)
            self.plant.electricity.mains(False)

    def _stand_still(self, for_s: float) -> None:
        """The loop takes in nothing for a while; then all that came meanwhile, at once."""
        if self.core is None or self._deaf is not None:
            return
        self._deaf, self._due_s = [], None
        core = self.core

        def goes_on() -> None:
            if self.core is not core or self._deaf is None:
                return
            waiting, self._deaf = self._deaf, None
            for event in waiting:
                self._handle(event)
            self._handle(Ticked())
            self._catch_up()

        self._later(for_s, goes_on)

    # ---------------------------------------------------------------- the truth

    def _tell_truth(self, kind: str, subject: str, value: Any) -> None:
        if self._watch is None:
            return
        if self._runs == 0:  # the record begins with the first waking
            self._truths.append((kind, subject, value))
            return
        recorder = self.core.recorder if self.core is not None else None
        self._seq = (recorder.seq if recorder is not None else self._seq) + 1
        if recorder is not None:
            recorder.seq = self._seq
        self._watch(
            Entry(
                self._seq,
                recorder.step if recorder is not None else self._last_step,
                round(self._core_s(self.now_s), 3),
                f"boot {self._boots}",
                f"run {self._runs}",
                kind,
                subject,
                value,
            )
        )
