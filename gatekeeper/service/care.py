"""Care of a running shop: counts what is due, hears bins and filters, proves stops, watches the air. A thread.

It reads views, currents and totals and never touches the core: what it finds stands among the service's own troubles,
and the page shows it beside the core's messages.
"""

import logging
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from gatekeeper.control.messages import Keep
from gatekeeper.control.snapshot import CoreView
from gatekeeper.records.care_log import CARE_FILE, CareLog, Done, NotWrittenError
from gatekeeper.records.history_reading import HistoryReader, HistoryUnreadableError
from gatekeeper.records.totals import Total
from gatekeeper.sensing.suction_watch import BASE_DAYS, Standing, SuctionWatch, Verdict
from gatekeeper.service.air_systems import AirSystem
from gatekeeper.service.care_jobs import Job, Trend, at_full_speed, jobs_of, sentences, trends_of
from gatekeeper.service.care_pressure import PressureCare
from gatekeeper.service.steady_runs import runs_of
from gatekeeper.service.stop_proof import StopProof
from gatekeeper.shop.model import InputKind, Shop, Units

#: Between two looks, seconds; between two readings of hours and starts; between two keepings of what was learned. Ours.
LOOK_S = 1.0
TOTALS_S = 30.0
KEEP_S = 600.0
#: A stop that was seen to work is written down at most this often, seconds. Ours.
STOP_NOTED_S = 20 * 3600.0
_LONG_S = 10.0
_CALLS = {InputKind.BIN_FULL: "bin", InputKind.FILTER_PRESSURE: "filter"}
_LOG = logging.getLogger(__name__)


def pressure(pa: float, units: Units) -> str:
    """A pressure for people: "6.1 in wg", "1.52 kPa"."""
    return f"{pa / 249.089:.1f} in wg" if units is Units.INCH else f"{pa / 1000:.2f} kPa"


@dataclass(frozen=True, slots=True)
class Eyes:
    """What care may look at; each may be called from its thread.

    Args:
        view: the newest view of the core.
        amperes: the newest currents by tool and motor.
        standing: inputs of bins and filters that say yes.
        now_s: monotonic.
        wall_s: wall clock, seconds since 1970.
        keep: makes a value durable; returns at once.
        speed: by motor, how fast its fan turns as a share of full speed; None while that is not known.
        pressures: the newest pressures by gauge, None where one is not known.
    """

    view: Callable[[], CoreView | None]
    amperes: Callable[[], Mapping[str, float | None]]
    standing: Callable[[], frozenset[str]]
    now_s: Callable[[], float]
    wall_s: Callable[[], float]
    keep: Callable[[Keep], None]
    speed: Callable[[str], float | None] = lambda motor: 1.0
    pressures: Callable[[], Mapping[str, float | None]] = dict


class Care:
    """One shop's care.

    Args:
        shop: the shop.
        folder: the state folder.
        systems: its solved air, by motor.
        kept: what an earlier run made durable.
        allowed_s: by motor with a sensor, how long a stop may take.
        eyes: what it looks at.
    """

    def __init__(
        self,
        shop: Shop,
        folder: Path,
        systems: Mapping[str, AirSystem],
        kept: Mapping[str, Any],
        allowed_s: Mapping[str, float],
        eyes: Eyes,
    ) -> None:
        self.shop = shop
        self.log = CareLog(folder / CARE_FILE)
        self.stops = StopProof(allowed_s)
        self._reader = HistoryReader(folder / "history.sqlite")
        self._eyes = eyes
        self._steady = runs_of(systems)
        self._watches = {motor: SuctionWatch(kept.get(f"care/{motor}/air")) for motor in self._steady}
        self.pressure = PressureCare(shop, systems, kept, folder)
        self._owed: set[str] = set()
        self._kept_s = self._read_s = -1e9
        self._totals: tuple[Total, ...] = ()
        self._called: set[tuple[str, str]] = set()
        self._jobs: tuple[Job, ...] = ()
        self._trends: tuple[Trend, ...] = ()
        self._troubles: dict[str, str] = {}
        self._lock = threading.Lock()
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._run, name="care", daemon=True)

    def start(self) -> None:
        """Begin to look."""
        self._thread.start()

    def stop(self, timeout_s: float = 1.0, *, keep: bool = True) -> None:
        """Look no more; what was learned is handed to the keeper, unless the power is gone."""
        self._end.set()
        if self._thread.is_alive():
            self._thread.join(timeout_s)
        if keep:
            self._keep(always=True)

    # ------------------------------------------------------------ from any thread

    def troubles(self) -> Mapping[str, str]:
        """What stands, by code and motor; a new mapping after each look."""
        return self._troubles

    @property
    def jobs(self) -> tuple[Job, ...]:
        return self._jobs

    @property
    def trends(self) -> tuple[Trend, ...]:
        return self._trends

    @property
    def totals(self) -> tuple[Total, ...]:
        return self._totals

    def verdicts(self) -> dict[str, Verdict]:
        """What the watch on each collector's air can say."""
        with self._lock:
            return {motor: watch.verdict() for motor, watch in self._watches.items()}

    def done(self, what: str, motor: str, who: str, more: Mapping[str, Any] | None = None) -> None:
        """Somebody did something: write it down, and judge anew.

        Raises: NotWrittenError.
        """
        told = dict(more or {})
        if what in ("bin_emptied", "filter_cleaned", "filter_changed"):
            self._read_totals()
            ran = [total.running_s for total in self._totals if (total.kind, total.subject) == ("motor", motor)]
            told["running_s"] = ran[0] if ran else 0.0
        self.log.add(Done(self._eyes.wall_s(), what, motor, who, told))
        with self._lock:
            self._called -= {("filter", motor)} if what.startswith("filter") else set()
            watch = self._watches.get(motor)
            if watch is not None and what == "day_one":
                self._watches[motor] = SuctionWatch()
            elif watch is not None and what != "suction":
                watch.mended()
            self._owed.add(motor)
        self.pressure.done(what, motor)
        self.look()

    def refresh(self) -> None:
        """Read hours and starts anew and look."""
        self._read_totals()
        self.look()

    def look(self) -> None:
        """One look at everything; any thread, but not the control thread."""
        now_s = self._eyes.now_s()
        if now_s - self._read_s >= TOTALS_S:
            self._read_totals()
        self._note_stops()
        view = self._eyes.view()
        if view is not None:
            self._watch_air(view, now_s)
            self._hear(view)
        log = self.log.read()
        loads = self.pressure.loads()
        jobs = tuple(jobs_of(self.shop, log, self._totals, frozenset(self._called), self._eyes.wall_s(), loads))
        trends = tuple(trends_of(log))
        units = self.shop.units
        told = {
            f"{t.motor}/{t.tap}": f"{pressure(t.last_pa, units)}, was {pressure(t.day_one_pa, units)}" for t in trends
        }
        troubles = sentences(jobs, trends, told, lambda pa: pressure(pa, units)) | self._air_sentences()
        self._jobs, self._trends, self._troubles = jobs, trends, troubles
        self._keep()

    # ------------------------------------------------------------ its thread

    def _run(self) -> None:
        while not self._end.wait(LOOK_S):
            try:
                self.look()
            except Exception:
                # Care may fail, the shop goes on; the next look tries again.
                _LOG.exception("care could not look")
                self._end.wait(_LONG_S)

    def _read_totals(self) -> None:
        self._read_s = self._eyes.now_s()
        try:
            self._totals = tuple(self._reader.totals())
        except HistoryUnreadableError as error:
            # The history's own writer says so on the page.
            _LOG.info("hours and starts are not known now: %s", error)

    def _note_stops(self) -> None:
        for seen in self.stops.found():
            wall_s = self._eyes.wall_s()
            proved = [done for done in self.log.read() if done.what == "stop_proved" and done.subject == seen.motor]
            is_fresh = bool(proved) and 0 <= wall_s - proved[-1].at_s < STOP_NOTED_S
            if seen.took_s is None or not is_fresh:
                took_s = None if seen.took_s is None else round(seen.took_s, 2)
                self._write("stop_proved", seen.motor, {"took_s": took_s, "allowed_s": round(seen.allowed_s, 2)})

    def _write(self, what: str, motor: str, more: Mapping[str, Any]) -> None:
        try:
            self.log.add(Done(self._eyes.wall_s(), what, motor, "the controller", more))
        except NotWrittenError as error:
            _LOG.warning("%s", error)

    def _hear(self, view: CoreView) -> None:
        on = {motor.name for motor in view.motors if motor.on}
        standing = self._eyes.standing()
        called = set()
        for source in self.shop.inputs.values():
            kind = _CALLS.get(source.kind)
            if kind is None:
                continue
            motor = source.systems[0]
            # A filter's switch only speaks while air moves: what it said stays until somebody has cleaned it.
            stays = kind == "filter" and (kind, motor) in self._called
            if stays or (source.name in standing and (kind == "bin" or motor in on)):
                called.add((kind, motor))
        self._called = called

    def _watch_air(self, view: CoreView, now_s: float) -> None:
        amperes = self._eyes.amperes()
        today = datetime.fromtimestamp(self._eyes.wall_s()).toordinal()
        with self._lock:
            for motor, steady in self._steady.items():
                # A fan that turns slower takes less current, and is no loaded filter: only full speed is compared.
                amps = amperes.get(motor) if at_full_speed(self._eyes.speed(motor)) else None
                run = steady.look(view, now_s, amps)
                if run is not None:
                    self._watches[motor].add(today, run.machine, run.flow_m3s, run.value)
                    self._owed.add(motor)
        eyes = self._eyes
        self.pressure.look(view, now_s, eyes.wall_s(), today, eyes.pressures(), eyes.speed)

    def _air_sentences(self) -> dict[str, str]:
        found = {}
        for motor, verdict in self.verdicts().items():
            if verdict.standing is Standing.LOW and verdict.where is not None:
                order = "hose, gate, bin" if verdict.only_there else "bin, filter, hose"
                found[f"suction_low:{motor}"] = (
                    f"Suction at {verdict.where} is about {verdict.suction_short:.0%} below day one, by the current of "
                    f"{motor}: look in this order: {order}."
                )
        measured = self.pressure.sentences()
        # What is measured goes before what a current tells of the same air.
        spoken = {code.partition(":")[2] for code in measured}
        return {code: said for code, said in found.items() if code.partition(":")[2] not in spoken} | measured

    def _keep(self, *, always: bool = False) -> None:
        now_s = self._eyes.now_s()
        with self._lock:
            owes = self._owed or self.pressure.owes
            if not owes or (not always and now_s - self._kept_s < KEEP_S):
                return
            owed, self._owed, self._kept_s = sorted(self._owed & self._watches.keys()), set(), now_s
            states = {motor: self._watches[motor].state() for motor in owed}
        for motor, state in states.items():
            self._eyes.keep(Keep(f"care/{motor}/air", state))
        for keep in self.pressure.keeps():
            self._eyes.keep(keep)


def air_said(verdict: Verdict, motor: str) -> str:
    """What the watch on a collector's air says of itself."""
    if verdict.standing is Standing.LEARNING:
        return (
            f"Learning what the current of {motor} is on a good day: {verdict.base_days} of {BASE_DAYS} working days."
        )
    if verdict.standing is Standing.WELL:
        return f"By the current of {motor} its air is as on day one."
    return f"By the current of {motor} suction is about {verdict.suction_short:.0%} below day one."
