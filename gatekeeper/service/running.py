"""The running controller: what is started in which order, and what is switched off first.

Start: the lock, what was kept, every output at rest, the core, the lease guardian, the disk's threads, the control
thread, the converters; the page comes last and late. Stop: the motors' relays drop before anything else is asked.
"""

import logging
import sys
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gatekeeper.control.messages import Entry, Kept
from gatekeeper.control.snapshot import CoreView
from gatekeeper.control.supervisor import Supervisor
from gatekeeper.devices.base import ContactSeen, DeviceError, MeterSeen
from gatekeeper.devices.pins import Pins
from gatekeeper.devices.switching import LeaseGuard
from gatekeeper.records.boot import boot_id, run_id
from gatekeeper.records.history import History
from gatekeeper.records.history_reading import HistoryReader, HistoryUnreadableError
from gatekeeper.records.history_writer import HistoryWriter
from gatekeeper.records.state import StateStore
from gatekeeper.records.state_writer import StateWriter
from gatekeeper.service.air_systems import AirSystem, air_systems
from gatekeeper.service.air_table import ComputedAir, computed_air
from gatekeeper.service.care import Care, Eyes
from gatekeeper.service.clock import Clock, SystemClock
from gatekeeper.service.drive_speed import DrivePace, drive_of, paces_of
from gatekeeper.service.drive_table import SpeedTable, speed_tables
from gatekeeper.service.gauges import Gauges
from gatekeeper.service.hearing import Contacts, Currents
from gatekeeper.service.hearing_meters import Meters
from gatekeeper.service.hours import HoursWatch
from gatekeeper.service.lock import InstanceLock
from gatekeeper.service.loop import ControlLoop
from gatekeeper.service.planning import plan_of
from gatekeeper.service.sampling import Sampler
from gatekeeper.service.shop_lamp import ShopLamp
from gatekeeper.service.troubles import TROUBLES
from gatekeeper.service.wiring import Wires, wire_up
from gatekeeper.service.wiring_sensors import OpenBank, OpenMeters, board_bank, board_meters, scans_of
from gatekeeper.shop.model import Shop

#: A busy thread may hold the interpreter this long; at the default of 5 ms a gate waits 10 ms (DESIGN, P2).
SWITCH_INTERVAL_S = 0.0005
#: How long the end may wait for the control thread and for each of the disk's threads.
LAST_STEP_S = 0.5
#: A flood of looks is said until none was left out for so long.
FLOOD_OVER_S = 60.0
LAST_WRITE_S = 0.3

STATE_FILE = "state.sqlite"
HISTORY_FILE = "history.sqlite"

_LOG = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Troubles:
    """What the service itself has to complain about, by code; shown on the page beside the core's messages."""

    sentences: tuple[tuple[str, str], ...] = ()


class Service:
    """One shop's controller on one set of pins.

    Args:
        shop: the checked shop.
        pins: the board's lines, opened; the service owns them from now on.
        folder: where state and history are kept.
        clock: monotonic time.
        open_bank: opens a converter.
        open_meters: opens what hears the meters.
        wall_s: the wall clock, seconds since 1970; for people and for hours only.
        boot: the name of this boot of the board; the kernel's unless given.

    Raises:
        AlreadyRunning: another controller runs this shop.
        DeviceError: a line or a bus cannot be used; nothing was switched.
        OSError: the folder cannot be used.
    """

    def __init__(
        self,
        shop: Shop,
        pins: Pins,
        folder: Path,
        *,
        clock: Clock | None = None,
        open_bank: OpenBank = board_bank,
        open_meters: OpenMeters = board_meters,
        wall_s: Callable[[], float] = time.time,
        boot: str | None = None,
    ) -> None:
        sys.setswitchinterval(SWITCH_INTERVAL_S)
        self.shop = shop
        self._troubles: dict[str, str] = {}
        air = self._computed_air()
        self.air_systems: Mapping[str, AirSystem] = air.systems if air is not None else {}
        self._speeds: Mapping[str, SpeedTable] = speed_tables(shop, air) if air is not None else {}
        self.plan = plan_of(shop, air)
        self.folder = folder
        self.clock: Clock = clock if clock is not None else SystemClock()
        self.wall_s = wall_s
        self._listeners: list[Callable[[CoreView], None]] = []
        #: Who else is told of every entry of the record (in the control thread) and of every look at a contact (in
        #: whatever thread saw it); neither may block. Set by a walk while it listens.
        self.entry_tap: Callable[[Entry], None] | None = None
        self.look_tap: Callable[[ContactSeen], None] | None = None
        #: Called in the control thread after each whole step; must not block. Set before ``start``.
        self.after_step: Callable[[], None] = lambda: None
        self.last_view: CoreView | None = None
        self._ended = threading.Event()
        self._lock = InstanceLock(folder)
        try:
            self._build(pins, open_bank, open_meters, boot if boot is not None else boot_id())
        except BaseException:
            self._lock.release()
            raise

    def _computed_air(self) -> ComputedAir | None:
        """The table of C17, made here, before the core lives, so that no step of it ever waits for air."""
        try:
            return computed_air(air_systems(self.shop))
        except ValueError as unsolved:
            _LOG.warning("the air was not computed: %s", unsolved)
            self._troubles["air"] = f"The air in the ducts was not computed: {unsolved}."
            return None

    def _build(self, pins: Pins, open_bank: OpenBank, open_meters: OpenMeters, boot: str) -> None:
        self.store = StateStore(self.folder / STATE_FILE)
        kept = self.store.load(boot)
        #: What an earlier run made durable, by key.
        self.kept_values: Mapping[str, Any] = kept.values
        #: Whether this is the first start of this shop: people are then told the cautions.
        self.is_first_start = kept.fresh
        if self.store.trouble:
            self._troubles["kept_damaged"] = self.store.trouble
        self.wires: Wires = wire_up(
            self.shop,
            pins,
            self._looked,
            on_miss=lambda miss: self.loop.on_miss(miss),
            report_drive=lambda seen: self.loop.post(seen),
            report_gate=lambda seen: self.loop.post(seen),
            open_bank=open_bank,
        )
        self.paces = self._made_paces()
        self.keeper = StateWriter(self.store, report=self.report)
        self.history = HistoryWriter(History(self.folder / HISTORY_FILE), report=self.report, wall_s=self.wall_s)
        self.meters = Meters(self.shop)
        self.gauges = Gauges(self.shop, self.clock.now)
        self.links = open_meters(self.shop, self._metered, self.clock.now)
        self.contacts = Contacts(self.shop)
        self.loop = ControlLoop(
            Supervisor(self.plan, kept, boot=boot, run=run_id(), seq=self._last_seq()),
            self.wires,
            self.contacts,
            self.clock,
            meters=self.meters,
            keeper=self.keeper,
            write=self._write,
            show=self._show,
        )
        self.currents = Currents(self.shop)
        self.samplers = [
            Sampler(name, bank, self.currents, self.loop.post, self.clock, scans=scans_of(self.shop.converters[name]))
            for name, bank in self.wires.banks.items()
        ]
        for sampler in self.samplers:
            sampler.gauges = self.gauges.take
        self.guardian = LeaseGuard(
            [*self.wires.motors.values(), *(one for at in self.wires.permits.values() for one in at)],
            self.clock.now,
            real_s=self.clock.real_s,
            on_fault=lambda name, fault: self._guard_fault(name, fault),
        )
        self.hours = HoursWatch(self.shop.hours, self.loop.post, self.wall_s)
        lamp = self.shop.messages.lamp
        codes = lambda: (code for code, _ in self.troubles().sentences)  # noqa: E731
        self._lamp = ShopLamp(pins, lamp, codes, self.report, self.clock.now) if lamp is not None else None
        self.care = self._made_care(kept)
        self.listen(self.care.stops.take)
        self._control = threading.Thread(target=self._run_control, name="control", daemon=True)

    def _made_care(self, kept: Kept) -> Care:
        eyes = Eyes(
            view=lambda: self.last_view,
            amperes=lambda: self.currents.amperes(),
            standing=lambda: self.loop.contacts.care.standing,
            now_s=self.clock.now,
            wall_s=self.wall_s,
            keep=lambda keep: self.keeper.submit([keep], lambda _kept, _why: None),
            speed=self.speed_share,
            pressures=self.gauges.pressures,
        )
        sensed = {name for name, motor in self.shop.motors.items() if motor.confirmed_by is not None}
        allowed_s = {name: self.plan.motors[name].release_s for name in sensed}
        return Care(self.shop, self.folder, self.air_systems, kept.values, allowed_s, eyes)

    def _made_paces(self) -> dict[str, DrivePace]:
        """Who chooses the speed of each drive that follows the air."""
        drives = {drive.name: drive for drive in self.wires.drives}
        paces = paces_of(
            self.shop,
            self._speeds,
            self.clock.now,
            troubles=lambda: self.care.troubles(),
            hurry=lambda motor: drives[motor].hurry(),
        )
        for motor, pace in paces.items():
            drives[motor].follow(pace)
            self.listen(pace.take)
        return paces

    def _last_seq(self) -> int:
        """Where the record left off; from the beginning where it cannot be read."""
        try:
            last = HistoryReader(self.folder / HISTORY_FILE).last(1)
        except HistoryUnreadableError:
            return 0
        return last[-1].entry.seq if last else 0

    def _metered(self, seen: MeterSeen) -> None:
        """A meter spoke: a machine's goes to the core, a gauge's never does."""
        if self.gauges.is_theirs(seen.name):
            self.gauges.hear(seen)
        else:
            self.loop.post(seen)

    # ---------------------------------------------------------------- from any thread

    def listen(self, listener: Callable[[CoreView], None]) -> None:
        """Be told of every new view of the core, in the control thread; the listener must not block."""
        self._listeners.append(listener)

    def troubles(self) -> Troubles:
        """What stands against the service itself."""
        found = dict(self._troubles)
        for sampler in self.samplers:
            if sampler.trouble:
                found[f"converter:{sampler.name}"] = sampler.trouble
        silent = {sampler.name for sampler in self.samplers if sampler.trouble}
        silent |= {
            meter.name
            for meter in self.shop.meters.values()
            if any(link.trouble for link in self.links if link.name == meter.broker)
        }
        found |= self.gauges.troubles(silent)
        for link in self.links:
            if link.trouble:
                found[f"broker:{link.name}"] = link.trouble
        for broker in self.wires.gate_brokers:
            if broker.trouble:
                found[f"gates:{broker.name}"] = broker.trouble
        for drive in self.wires.drives:
            if drive.trouble:
                found[f"drive:{drive.name}"] = drive.trouble
            if drive.speed_trouble:
                found[f"drive_speed:{drive.name}"] = drive.speed_trouble
        if self.loop.trouble:
            found["device"] = self.loop.trouble
        if self.clock.now() - self.loop.left_out_s < FLOOD_OVER_S:
            found["flood"] = TROUBLES["flood"].happened
        disk = {"not_kept": self.keeper.trouble, "history_not_written": self.history.trouble}
        found |= {code: trouble for code, trouble in disk.items() if trouble is not None}
        found.update(self.care.troubles())
        return Troubles(tuple(found.items()))

    def speed_seen(self, motor: str) -> float | None:
        """How fast a motor's fan turns now, as a share of the speed that its fan curve holds for.

        1 for a motor of one speed; None where a drive that follows the air does not tell it.
        """
        part = drive_of(self.shop, self.shop.motors[motor])
        if part is None or part.full_speed_hz is None:
            return 1.0
        seen_hz = next(drive.seen_hz for drive in self.wires.drives if drive.name == motor)
        return seen_hz / part.full_speed_hz if seen_hz is not None else None

    def speed_share(self, motor: str) -> float | None:
        """The same for whoever measures: None also while the speed is just being changed."""
        if motor in self.paces:
            drive = next(drive for drive in self.wires.drives if drive.name == motor)
            if drive.told_for_s() < self.shop.motors[motor].spin_up_s:
                return None
        return self.speed_seen(motor)

    def marks(self) -> dict[str, float]:
        """When each thread that the shop rests on last did its work: monotonic seconds, by its name in words.

        An output is written within a step of the control thread, or by the guardian; history, page and broker may fail
        alone. So may a converter: one whose read hangs is a lost sensor (C12), and a new start would not mend its bus
        but cut off every machine that is served without it, again and again.
        """
        return {"The control thread": self.loop.stepped_s, "The guardian of the motors' relays": self.guardian.looked_s}

    @property
    def is_alive(self) -> bool:
        """True while the control thread lives."""
        return self._control.is_alive()

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait until the control thread has ended; False when it has not within the time."""
        return self._ended.wait(timeout_s)

    def recalibrate(self, shop: Shop) -> None:
        """Hear with the clamps as they are in ``shop``, at once: the same shop but for trips and channels."""
        self.shop = shop
        self.currents = self.currents.changed(shop)
        for sampler in self.samplers:
            sampler.use(self.currents)

    def motors_off(self) -> None:
        """Drop every motor's relay at once, whatever the core is doing. For signal handlers."""
        for motor in self.wires.motors.values():
            try:
                motor.off()
            except DeviceError:
                _LOG.exception("a motor could not be switched off")

    # ---------------------------------------------------------------- start and stop

    def start(self) -> None:
        """Start every thread; returns at once. The first step puts every motor off again and reads every contact."""
        self.keeper.start()
        self.history.start()
        for drive in self.wires.drives:
            drive.start(self.clock.real_s)
        for broker in self.wires.gate_brokers:
            broker.start()
        self.guardian.start()
        self._control.start()
        for sampler in self.samplers:
            sampler.start()
        for link in self.links:
            link.start()
        self.hours.start()
        self.care.start()

    def stop(self) -> None:
        """Motors off first; then a last clean step, the disk, the lines. Done in well under a second."""
        self.motors_off()
        self._end(clean=True)

    def lose_power(self) -> None:
        """End as a board does whose plug is pulled: no last step, no clean stop is kept. For a virtual shop."""
        self._end(clean=False)

    def _end(self, *, clean: bool) -> None:
        self.loop.end(clean=clean)
        self._ended.wait(LAST_STEP_S)
        self.hours.stop()
        self.care.stop(LAST_WRITE_S, keep=clean)
        self.guardian.stop()
        for link in self.links:
            link.close()
        for sampler in self.samplers:
            sampler.stop(LAST_WRITE_S)
        self.keeper.stop(LAST_WRITE_S)
        self.history.stop(LAST_WRITE_S)
        try:
            self.wires.close()
        except DeviceError:
            _LOG.exception("a line could not be put to rest")
        finally:
            self._lock.release()

    def _run_control(self) -> None:
        try:
            self.loop.wake()
            self.loop.run(self._after_step)
        except BaseException:
            # The control thread never comes back from here: motors off, and the process ends (C23).
            _LOG.exception("the control thread ended by a fault")
            self._troubles["control"] = "The control thread ended by a fault; every motor was switched off."
        finally:
            self.motors_off()
            self._ended.set()

    def _after_step(self) -> None:
        now_s = self.clock.now()
        for sampler in self.samplers:
            sampler.judge(now_s)
        if self._lamp is not None and self.last_view is not None:
            self._lamp.look(self.last_view)
        self.after_step()

    def _looked(self, look: ContactSeen) -> None:
        tap = self.look_tap
        if tap is not None:
            tap(look)
        self.loop.post(look)

    def _write(self, entry: Entry) -> None:
        self.history.add(entry)
        tap = self.entry_tap
        if tap is not None:
            tap(entry)

    def _show(self, view: CoreView) -> None:
        self.last_view = view
        for listener in self._listeners:
            listener(view)

    def report(self, code: str, sentence: str | None) -> None:
        """Take what stands against a part of the service; None when it is over. From any thread."""
        if sentence is None:
            self._troubles.pop(code, None)
        else:
            self._troubles[code] = sentence

    def _guard_fault(self, name: str, fault: Exception) -> None:
        self._troubles[f"switch:{name}"] = f"{name}: {fault}"
