"""A play at samples fidelity: the service's own objects on mock lines and converter codes, on a clock moved by hand.

Nothing is skipped here: the clock goes in steps of ``STEP_S``, and in each of them the virtual shop puts its contacts
on their lines, every converter is read and heard, and the control loop takes its step. It costs hundreds of times more
than a play at signals fidelity, and proves what that one assumes: drivers, debouncing, detectors, wiring. What happens
does so at the first step at or after its instant. The board's clock goes on when the board has been without power.
"""

import heapq
import itertools
import time
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import Future
from dataclasses import replace
from typing import Any

from gatekeeper.control.messages import Answer, Entry, Kept, QuietSeen, Requested, SettingChanged, ShopKeySeen
from gatekeeper.control.snapshot import CoreView
from gatekeeper.control.supervisor import Supervisor
from gatekeeper.devices.pins import Pins, open_pins
from gatekeeper.devices.switching import LeaseGuard
from gatekeeper.service.clock import HandClock
from gatekeeper.service.drive_speed import DrivePace, paces_of
from gatekeeper.service.hearing import Contacts, Currents
from gatekeeper.service.hearing_meters import Meters
from gatekeeper.service.hours import HoursWatch
from gatekeeper.service.loop import ControlLoop, NoKeeper
from gatekeeper.service.sampling import Sampler
from gatekeeper.service.wiring import Wires, wire_up
from gatekeeper.shop.model import Shop
from sim.books import Books
from sim.breakers import Breaker
from sim.clamps import rate_hz
from sim.figures import Figures
from sim.happening import Controller, Happening, What, wanted
from sim.plant import STEP_S, VirtualShop
from sim.played import USUAL_START_S, Played, Watch
from sim.sample_faults import SampleBreakage
from sim.stage import Stage, stage_of

#: Seconds between two looks at the wall clock, as in the service.
LOOK_S = 15.0
#: A day without a change of clocks, local time.
_MIDNIGHT_S = time.mktime((2025, 1, 6, 0, 0, 0, 0, 0, -1))


class SampleGame:
    """One play at samples fidelity; the same to hold as ``sim.play.Game``, whose arguments it takes."""

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
    ) -> None:
        self.stage = shop if isinstance(shop, Stage) else stage_of(shop, with_air=with_air)
        self.shop = self.stage.shop
        self.clock = HandClock(0.0)
        self.kept = NoKeeper()
        self.is_file_damaged = False
        self._watch, self._strict, self._wall_s = watch, strict, wall_start_s
        self._truths: list[tuple[str, str, Any]] = []
        self._has_woken = False
        self._futures: list[Future[Answer]] = []
        self._heap: list[tuple[float, int, Happening]] = []
        self._ticket = itertools.count()
        self._boots = self._runs = self._seq = self._steps = self._last_step = 0
        self._deaf_until_s = 0.0
        self._next_look_s = 0.0
        self.core: Supervisor | None = None
        pins = open_pins("mock", self.clock.now)
        self.plant = VirtualShop(self.shop, pins, self.clock, seed=seed, air=self.stage.air, breakers=breakers)
        self.books = Books(self.shop, with_tracks=with_tracks, truth=self._tell_truth if truth else None)
        self.plant.life.keep_books(self.books)
        self.breakage = SampleBreakage(self.plant)
        self._boots = 1
        self._boot(pins, Kept())

    @property
    def now_s(self) -> float:
        """The instant of the play, seconds."""
        return self.clock.now()

    @property
    def answers(self) -> list[Answer]:
        """The answers to all requests until now."""
        return [future.result(0) for future in self._futures if future.done()]

    def happen(self, happening: Happening) -> None:
        """Let something happen at its instant, or at the next step where that is past."""
        heapq.heappush(self._heap, (happening.at_s, next(self._ticket), happening))

    def run(self, until_s: float) -> None:
        """Play on until an instant, seconds from the beginning."""
        while (self._steps + 1) * STEP_S <= until_s + STEP_S / 2:
            self._steps += 1
            self.clock.jump_to(self._steps * STEP_S)
            while self._heap and self._heap[0][0] <= self.clock.now() + 1e-9:
                self._happens(heapq.heappop(self._heap)[2])
            self._step()

    def played(self) -> Played:
        """Close the books and give the lines back. The game is over."""
        self.plant.gates()  # brings everything up to now
        self.plant.life.settle(self.now_s)
        figures = self.books.close(self.now_s, self.plant.life)
        last = self.core.snapshot() if self.core is not None else None
        self.close()
        return Played(figures, last, self.books.tracks)

    def figures(self) -> Figures:
        """As ``played``, the figures alone."""
        return self.played().figures

    def close(self) -> None:
        """Give the lines back."""
        self._wires.close()

    # ---------------------------------------------------------------- a step

    def _step(self) -> None:
        self.plant.step()
        if self.core is None:
            return
        for sampler in self._samplers:
            sampler.step()
        self._guard.step()
        if self.clock.now() < self._deaf_until_s:
            return
        if self.clock.now() >= self._next_look_s:
            self._next_look_s = self.clock.now() + LOOK_S
            self._hours.look()
        self._loop.step()

    def _write(self, entry: Entry) -> None:
        self.books.entry(self.now_s, entry)
        if self._watch is not None:
            self._watch(entry)

    def _tell_truth(self, kind: str, subject: str, value: Any) -> None:
        if self._watch is None:
            return
        if not self._has_woken:  # the record begins with the first waking
            self._truths.append((kind, subject, value))
            return
        core, step = self.core, self._last_step
        if core is None:
            self._seq += 1
        else:
            core.recorder.seq += 1
            self._seq, step = core.recorder.seq, core.recorder.step
        names = f"boot {self._boots}", f"run {self._runs}"
        self._watch(Entry(self._seq, step, round(self.now_s, 3), *names, kind, subject, value))

    # ---------------------------------------------------------------- the controller

    def _boot(self, pins: Pins, kept: Kept) -> None:
        self._runs += 1
        self._wires: Wires = wire_up(
            self.shop,
            pins,
            lambda look: self._loop.post(look),
            on_miss=lambda miss: self._loop.on_miss(miss),
            report_drive=lambda seen: self._loop.post(seen),
            report_gate=lambda seen: self._loop.post(seen),
            open_bank=self.plant.open_bank,
        )
        paces = paces_of(self.shop, self.stage.speeds, self.clock.now)
        for drive in self._wires.drives:
            if drive.name in paces:
                drive.follow(paces[drive.name])
        names = {"boot": f"boot {self._boots}", "run": f"run {self._runs}"}
        self.core = Supervisor(self.stage.plan, kept, seq=self._seq, strict=self._strict, **names)
        meters = Meters(self.shop)
        self._loop = ControlLoop(
            self.core,
            self._wires,
            Contacts(self.shop),
            self.clock,
            meters=meters,
            keeper=self.kept,
            write=self._write,
            show=(lambda view: _show_to(paces.values(), view)) if paces else None,
        )
        self._links = self.plant.open_meters(self.shop, lambda seen: self._loop.post(seen), self.clock.now)
        currents = Currents(self.shop)
        scans = max(1, round(STEP_S * rate_hz(self.shop.mains_hz)))
        self._samplers = [
            Sampler(name, bank, currents, self._loop.post, self.clock, scans=scans)
            for name, bank in self._wires.banks.items()
        ]
        self._guard = LeaseGuard(list(self._wires.motors.values()), self.clock.now)
        self._hours = HoursWatch(self.shop.hours, self._loop.post, lambda: _MIDNIGHT_S + self._wall_s + self.now_s)
        self._next_look_s = self._deaf_until_s = 0.0
        self.books.controller(self.now_s, True)
        self.plant.step()
        self._loop.wake()
        self._has_woken = True
        truths, self._truths = self._truths, []
        for truth in truths:
            self._tell_truth(*truth)

    def _start(self, *, new_boot: bool) -> None:
        if self.core is not None:
            raise ValueError("The controller runs already. It can be stopped or killed, not started.")
        self._boots += new_boot
        damaged, self.is_file_damaged = self.is_file_damaged, False
        if damaged:
            self.kept.values.clear()
        pins = open_pins("mock", self.clock.now)
        self.plant.plug_in(pins)
        self._boot(pins, Kept(dict(self.kept.values), fresh=False, damaged=damaged, same_boot=not new_boot))

    def _end(self, *, clean: bool, frees_lines: bool) -> None:
        core = self.core
        if core is not None:
            if clean:
                self._loop.finish()
            self._seq, self._last_step = core.recorder.seq, core.recorder.step
            self.core = None
            if not clean:
                self._seq += 1
                self._last_step += 1
                recorder, t_s = core.recorder, round(self.now_s, 3)
                self._write(Entry(self._seq, self._last_step, t_s, recorder.boot, recorder.run, "kill"))
            self.books.controller(self.now_s, False)
        if frees_lines:
            self._wires.close()

    # ---------------------------------------------------------------- what happens

    def _happens(self, happening: Happening) -> None:
        plant, subject, value = self.plant, happening.subject or "", happening.value
        match happening.what:
            case What.TOOL_ON | What.TOOL_OFF:
                plant.switch_tool(subject, happening.what is What.TOOL_ON)
            case What.REQUEST:
                self._ask(wanted(Requested, value))
            case What.SETTING:
                self._ask(wanted(SettingChanged, value))
            case What.FAULT | What.MEND:
                is_broken = happening.what is What.FAULT
                (self.breakage.put if is_broken else self.breakage.mend)(str(value), subject)
                self.books.fault(self.now_s, str(value), happening.subject, is_broken)
            case What.INPUT:
                plant.set_input(subject, bool(value))
            case What.PRESS:
                plant.press(subject)
            case What.HAND_SWITCH:
                plant.turn_selector(subject, str(value))
            case What.SHOP_KEY:
                self._post(ShopKeySeen("open" if value else "shut"))
            case What.QUIET:
                self._post(QuietSeen(bool(value)))
            case What.MOVE_BY_HAND:
                plant.push_gate(subject, float(value))
            case What.CONTROLLER:
                self._control(wanted(Controller, value))
            case What.MAINS:
                self._mains(bool(value))
            case What.STANDS_STILL:
                self._deaf_until_s = self.now_s + float(value)
            case What.CLOCK_STEP:
                self._wall_s += float(value)
                self._next_look_s = 0.0

    def _post(self, event: ShopKeySeen | QuietSeen) -> None:
        if self.core is not None:
            self._loop.post(event)

    def _ask(self, request: Requested | SettingChanged) -> None:
        if self.core is not None:
            build: Callable[[str], Requested | SettingChanged] = lambda ref: replace(request, ref=ref)  # noqa: E731
            self._futures.append(self._loop.ask(build))

    def _control(self, what: Controller) -> None:
        match what:
            case Controller.STOP:
                self._end(clean=True, frees_lines=True)
            case Controller.KILL:
                # Its lines keep their levels until the next start claims them.
                self._end(clean=False, frees_lines=False)
            case Controller.START:
                if not self.plant.is_plugged:
                    raise ValueError("The board has no power. Plug it in.")
                self._start(new_boot=False)
            case Controller.PLUG_OUT:
                self.plant.pull_plug()
                self._end(clean=False, frees_lines=True)
            case Controller.PLUG_IN:
                if self.plant.is_plugged:
                    self._control(Controller.PLUG_OUT)
                self._start(new_boot=True)

    def _mains(self, is_live: bool) -> None:
        if is_live:
            self.plant.life.electricity.mains(True)
            self._control(Controller.PLUG_IN)
        else:
            self._control(Controller.PLUG_OUT)
            self.plant.life.electricity.mains(False)


def _show_to(paces: Iterable[DrivePace], view: CoreView) -> None:
    for pace in paces:
        pace.take(view)
