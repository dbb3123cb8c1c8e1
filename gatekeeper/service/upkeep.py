"""Care as the page sees it: sentences, presses, readings, a backup to take away and one to lay ready."""

import os
import shutil
import tempfile
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from gatekeeper.backing import WAITING, CannotRestore, left_on_the_page, source_of
from gatekeeper.records.backup import CannotBackUp, make_backup
from gatekeeper.records.care_log import Done, NotWrittenError
from gatekeeper.records.totals import Total
from gatekeeper.service.calibration_file import ShopFile
from gatekeeper.service.care import air_said, pressure
from gatekeeper.service.care_jobs import LOW_SHARE, RESETS, Job, Trend, day, full_speed_pa, hours, loaded_said
from gatekeeper.service.face_care import (
    CareCount,
    CareJob,
    CareMotor,
    CarePress,
    CareReading,
    CareTrend,
    CareView,
    UpkeepError,
)
from gatekeeper.service.face_parts import Answer
from gatekeeper.service.face_words import Heap
from gatekeeper.service.running import Service
from gatekeeper.service.upkeep_gauges import gauge_views, measured_said, offered
from gatekeeper.shop.model import Motor, Shop, Units
from gatekeeper.shop.units import QuantityError, parse

_LABELS = {"bin_emptied": "Bin emptied", "filter_cleaned": "Filter cleaned", "filter_changed": "Filter changed"}
#: Troubles that are no job of their own and stand at the head of the page.
_TOLD = ("reading_", "suction_", "pressure_")
_SEEN, _DAY_ONE = "stop_seen", "day_one"
#: Least and most that a gauge at a duct may show, pascals.
LEAST_PA, MOST_PA = 10.0, 40_000.0
#: What an upload must leave free on the disk, bytes. Ours.
LEFT_FREE_BYTES = 100_000_000


class ShopUpkeep:
    """Implements ``face_care.Upkeep``.

    Args:
        service: the running service; asked anew each time, for a demo replaces it.
        file: the shop's file; None where there is none.
        no_restore: why nothing can be restored from the page; None where it can.
    """

    def __init__(self, service: Callable[[], Service], file: ShopFile | None, no_restore: str | None = None) -> None:
        self._service = service
        self._file = file
        self._no_restore = no_restore or (file.refusal if file is not None else "There is no shop file to restore.")

    # ------------------------------------------------------------ looking

    def view(self) -> CareView:
        """How everything stands, hours read anew."""
        service = self._service()
        service.history.flush(1.0)
        care, shop = service.care, service.shop
        care.refresh()
        waiting = service.folder / WAITING
        return CareView(
            jobs=tuple(_job(job, shop.units) for job in care.jobs),
            motors=tuple(_motor(service, motor) for motor in shop.motors.values() if motor.has_ducts),
            trends=tuple(trend_view(trend, shop) for trend in care.trends),
            counts=tuple(counts(care.totals)),
            told=tuple(said for code, said in care.troubles().items() if code.startswith(_TOLD)),
            low_share=LOW_SHARE,
            example=pressure(1500.0, shop.units),
            waiting="A backup is laid ready and is put back at the next start." if waiting.exists() else None,
            no_restore=self._no_restore,
        )

    # ------------------------------------------------------------ asking

    def press(self, what: str, motor: str, by: str) -> Answer:
        """A person says that something was done."""
        shop = self._service().shop
        known = shop.motors.get(motor)
        if known is None or not known.has_ducts or what not in (*_LABELS, _SEEN, _DAY_ONE):
            return Answer(False, "no_such_request", "There is nothing like that to say here.")
        if what == _SEEN and known.confirmed_by is not None:
            return Answer(False, "is_confirmed", f"The sensor of {motor} says itself whether it stands.")
        said = {_SEEN: f"Written down: {motor} was seen to stop.", _DAY_ONE: f"Day one of {motor} begins anew."}
        return self._write(
            what, motor, by, {}, said.get(what, f"{_LABELS.get(what, '')}, {motor}. Hours count from zero.")
        )

    def reading(self, motor: str, tap: str, value: str, by: str) -> Answer:
        """A reading with the gates that stand open now."""
        service = self._service()
        core, known = service.last_view, service.shop.motors.get(motor)
        if known is None or core is None or tap not in taps_of(service.shop, known):
            return Answer(False, "no_such_tap", "There is no such place for a gauge in this shop.")
        pa = pressure_of(value)
        if pa is None:
            return Answer(
                False,
                "no_reading",
                f"{value[:40]} is no suction; write such as {pressure(1500.0, service.shop.units)}.",
            )
        if not next(one for one in core.motors if one.name == motor).on:
            return Answer(False, "stands_still", f"{motor} does not run. Start a machine, then take the reading.")
        gates = open_gates(service, motor)
        if not gates:
            return Answer(False, "no_gate", "No gate is known to be open. Open one, wait until it is, then read.")
        more: dict[str, object] = {"tap": tap, "gates": gates, "pa": round(pa, 1)}
        if motor in service.paces:
            share = service.speed_share(motor)
            if share is None or share <= 0.0:
                return Answer(
                    False, "speed_changes", f"The speed of {motor} is just being changed. Wait, then read again."
                )
            more["speed"] = round(share, 3)
        return self._write("suction", motor, by, more, f"Written down: {pressure(pa, service.shop.units)} at {tap}.")

    def measured(self, gauge: str, by: str) -> Answer:
        """The newest steady value of a gauge as the reading."""
        service = self._service()
        known = service.shop.gauges.get(gauge)
        if known is None or known.is_at_filter:
            return Answer(False, "no_such_gauge", "There is no such gauge in a duct of this shop.")
        one = offered(service, gauge)
        if one is None:
            return Answer(
                False,
                "nothing_measured",
                f"{gauge} has shown no steady value in these minutes. Start a machine, wait until its gate is open and "
                "half a minute more, then try again.",
            )
        if one.is_in(service.care.log.read()):
            return Answer(False, "written_before", "This very value is written down already.")
        said = f"Written down: {measured_said(one, service.shop)}, measured by {gauge}."
        return self._write("suction", known.motor, f"{by}, measured by {gauge}", one.more(), said)

    def _write(self, what: str, motor: str, by: str, more: dict[str, object], said: str) -> Answer:
        try:
            self._service().care.done(what, motor, by, more)
        except NotWrittenError as error:
            return Answer(False, "not_kept", str(error))
        return Answer(True, "done", said)

    # ------------------------------------------------------------ backup and restore

    def backup(self) -> tuple[Path, str]:
        """A backup in a file that the caller removes."""
        service = self._service()
        if self._file is None:
            raise UpkeepError("There is no shop file to back up.")
        text = self._file.text
        if self._file.path.is_file() and self._file.refusal is None:
            text = self._file.path.read_text(encoding="utf-8")
        handle, name = tempfile.mkstemp(prefix=".backup-", dir=service.folder)
        os.close(handle)
        service.history.flush(1.0)
        try:
            source = source_of(service.shop.name, self._file.path.name, text, service.folder)
            make_backup(source, Path(name))
        except CannotBackUp as trouble:
            Path(name).unlink(missing_ok=True)
            raise UpkeepError(str(trouble)) from None
        return Path(name), f"{Path(source.shop_file).stem}-{datetime.now():%Y-%m-%d}.backup"

    def upload_to(self) -> Path:
        """A file for an upload."""
        if self._no_restore is not None:
            raise UpkeepError(self._no_restore)
        folder = self._service().folder
        if shutil.disk_usage(folder).free < LEFT_FREE_BYTES:
            raise UpkeepError("There is too little room on the disk of the controller.")
        handle, name = tempfile.mkstemp(prefix=".upload-", dir=folder)
        os.close(handle)
        return Path(name)

    def lay_ready(self, upload: Path) -> Answer:
        """Check it and lay it ready."""
        try:
            return Answer(True, "laid_ready", left_on_the_page(upload, self._service().folder))
        except CannotRestore as trouble:
            return Answer(False, "no_backup", str(trouble).replace(upload.name, "This file"))
        finally:
            upload.unlink(missing_ok=True)

    def leave_out(self) -> Answer:
        """Take it back."""
        (self._service().folder / WAITING).unlink(missing_ok=True)
        return Answer(True, "left_out", "Nothing is put back at the next start.")


# ---------------------------------------------------------------- in words


def pressure_of(text: str) -> float | None:
    """What a gauge showed, pascals; None where that cannot be read or no gauge shows it."""
    try:
        pa = parse(text.strip(), "pressure")
    except QuantityError:
        return None
    return pa if LEAST_PA <= pa <= MOST_PA else None


def taps_of(shop: Shop, motor: Motor) -> tuple[str, ...]:
    """Where a gauge may be put on a motor's system."""
    return (f"inlet of {motor.name}", *(duct.name for duct in shop.ducts.values() if duct.motor == motor.name))


def open_gates(service: Service, motor: str) -> list[str]:
    """The gates of a system that stand open now, by name."""
    own = {gate.name for gate in service.shop.gates_of(motor)}
    core = service.last_view
    return sorted(gate.name for gate in core.gates if gate.name in own and gate.is_open) if core is not None else []


def _job(job: Job, units: Units) -> CareJob:
    titles = {"bin": "Bin", "filter": "Filter", "check": "Monthly check"}
    presses = tuple(CarePress(what, job.motor, _LABELS[what]) for what in RESETS.get(job.kind, ()))
    heap = None
    if job.is_due:
        heap = Heap.TODAY if job.is_called or (job.is_overdue and job.kind != "check") else Heap.WHEN_YOU_CAN
    return CareJob(f"{titles[job.kind]} of {job.motor}", _state(job, units), heap, presses, _last(job))


def job_said(job: Job, units: Units = Units.METRIC) -> tuple[str, str, str]:
    """A job's title, how it stands, and when it was done last."""
    shown = _job(job, units)
    return shown.title, shown.state, shown.last


def _state(job: Job, units: Units) -> str:
    whose = "by the shop file" if job.is_given else "the program's own interval"
    if job.kind == "check":
        if job.used_s is None:
            return "No reading yet: the first one is day one."
        return f"Last reading {job.used_s / 86_400:.0f} days ago; every {job.every_s / 86_400:.0f} days, {whose}."
    if job.load is not None:
        return f"{loaded_said(job, job.load, lambda pa: pressure(pa, units))} {_ran(job, whose)}"
    called = {"bin": "It is full. ", "filter": "It takes too much pressure. "}[job.kind] if job.is_called else ""
    return f"{called}{_ran(job, whose)}"


def _ran(job: Job, whose: str) -> str:
    return f"{hours(job.used_s or 0.0)} of running of {hours(job.every_s)}, {whose}."


def _last(job: Job) -> str:
    if job.last is None:
        return "Not done yet since the record began."
    return f"Last done on {day(job.last.at_s)} by {job.last.who}."


def _motor(service: Service, motor: Motor) -> CareMotor:
    gates = open_gates(service, motor.name)
    verdict = service.care.verdicts().get(motor.name)
    return CareMotor(
        name=motor.name,
        taps=taps_of(service.shop, motor),
        open_now=f"Open now: {', '.join(gates)}." if gates else "No gate is known to be open now.",
        stop_said=stop_said(service.care.log.read(), motor),
        can_see_stop=motor.confirmed_by is None,
        air_said=air_said(verdict, motor.name) if verdict is not None else None,
        gauges=gauge_views(service, motor.name),
    )


def stop_said(log: tuple[Done, ...], motor: Motor) -> str:
    """When a stop in mid-run was last proved."""
    last = next(
        (one for one in reversed(log) if one.subject == motor.name and one.what in ("stop_proved", _SEEN)), None
    )
    if last is None:
        return "No stop in mid-run has been seen yet."
    if last.what == _SEEN:
        return f"Seen to stop on {day(last.at_s)} by {last.who}."
    took_s, allowed_s = last.more.get("took_s"), last.more.get("allowed_s")
    if not isinstance(took_s, int | float):
        return f"On {day(last.at_s)} it was not still within {allowed_s} s. Look at its contactor."
    return f"Stop proved on {day(last.at_s)}: still after {took_s:.1f} s, {allowed_s} s are allowed."


def trend_view(trend: Trend, shop: Shop) -> CareTrend:
    """A trend in the shop's own units."""
    unit, factor = ("in wg", 249.089) if shop.units is Units.INCH else ("kPa", 1000.0)
    readings = tuple(
        CareReading(one.at_s, full_speed_pa(one) / factor, pressure(full_speed_pa(one), shop.units), one.who)
        for one in trend.readings
    )
    below = f"{trend.below:.0%} below" if trend.below > 0 else f"{-trend.below:.0%} above"
    said = f"Last reading {below} day one." if len(readings) > 1 else "One reading: this is day one."
    if any("speed" in one.more for one in trend.readings):
        said += " Counted up to full speed by the fan laws."
    opened = ", ".join(trend.gates)
    return CareTrend(f"Suction at {trend.tap} with {opened} open", unit, said, readings)


def counts(totals: tuple[Total, ...]) -> list[CareCount]:
    """Hours and starts of motors and tools, moves of gates."""
    found = []
    for kind in ("motor", "tool", "gate"):
        for total in totals:
            if total.kind == kind:
                times = f"{total.starts} {'move' if kind == 'gate' else 'start'}{'' if total.starts == 1 else 's'}"
                found.append(
                    CareCount(total.subject, times if kind == "gate" else f"{hours(total.running_s)}, {times}")
                )
    return found
