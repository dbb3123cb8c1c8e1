"""``gatekeeper checkup``: a reading and a stop written down from the terminal, and how they stand against day one."""

import contextlib
import shlex
import time
from collections.abc import Mapping, Sequence
from pathlib import Path

from gatekeeper.records.care_log import CARE_FILE, CareLog, Done, NotWrittenError
from gatekeeper.records.history_reading import HistoryReader, HistoryUnreadableError
from gatekeeper.records.totals import Total
from gatekeeper.service.care import pressure
from gatekeeper.service.care_jobs import jobs_of, trends_of
from gatekeeper.service.care_pressure import Measured, read_measured
from gatekeeper.service.drive_speed import drive_of
from gatekeeper.service.upkeep import LEAST_PA, MOST_PA, job_said, pressure_of, stop_said, taps_of, trend_view
from gatekeeper.service.upkeep_gauges import measured_said
from gatekeeper.shop.faults import did_you_mean, listed
from gatekeeper.shop.model import Motor, Shop


class CannotCheck(Exception):
    """Nothing was written down; the text is one plain sentence."""


def checked_up(
    shop: Shop,
    name: str,
    folder: Path,
    *,
    suction: str | None,
    at: str | None,
    gates: list[str],
    stopped: str | None,
    who: str,
    speed: float | None = None,
    measured: bool = False,
) -> list[str]:
    """Write down what was given, then say how everything stands, as lines.

    Raises: CannotCheck.
    """
    log = CareLog(folder / CARE_FILE)
    said: list[str] = []
    offers = read_measured(folder)
    if measured:
        if suction is not None or gates or speed is not None:
            raise CannotCheck(
                "A measured value knows its own gates and speed; leave --suction, --open and --speed out."
            )
        one = chosen(offers, at)
        if one.is_in(log.read()):
            raise CannotCheck(f"This very value of {one.gauge} is written down already.")
        _write(log, Done(time.time(), "suction", one.motor, f"{who}, measured by {one.gauge}", one.more()))
        said.append(f"Written down: {measured_said(one, shop)}, measured by {one.gauge}.")
    elif suction is not None:
        done = _reading(shop, suction, at, gates, who, speed)
        _write(log, done)
        said.append(f"Written down: {pressure(float(done.more['pa']), shop.units)} at {done.more['tap']}.")
    elif at is not None or gates or speed is not None:
        raise CannotCheck("A tap and open gates belong to a reading; add --suction, such as --suction '1.5 kPa'.")
    if stopped is not None:
        motor = _with_ducts(shop, stopped)
        _write(log, Done(time.time(), "stop_seen", motor.name, who))
        said.append(f"Written down: {motor.name} was seen to stop.")
    done_before = log.read()
    said += [_offer_said(one, shop, len(offers) > 1) for one in offers if not one.is_in(done_before)]
    said += _standing(shop, folder, log)
    return [*said, "", f"next: gatekeeper book {name}"]


def chosen(offers: Sequence[Measured], at: str | None) -> Measured:
    """The measured value that is meant.

    Raises: CannotCheck.
    """
    fitting = [one for one in offers if at is None or one.tap == at]
    if len(fitting) == 1:
        return fitting[0]
    if not offers:
        raise CannotCheck(
            "No gauge has shown a steady value yet. Start a machine with the controller running, and wait until its "
            "gate has stood open for half a minute."
        )
    taps = listed([one.tap for one in offers], "and", 12)
    raise CannotCheck(f"Say with --at which of the measured values you mean; there is {taps}.")


def _offer_said(one: Measured, shop: Shop, of_several: bool) -> str:
    when = time.strftime("%Y-%m-%d %H:%M", time.localtime(one.at_s))
    at = f" --at {shlex.quote(one.tap)}" if of_several else ""
    return f"Measured {when} by {one.gauge}: {measured_said(one, shop)}. Write it down with --measured{at}."


def _reading(shop: Shop, suction: str, at: str | None, gates: list[str], who: str, speed: float | None) -> Done:
    pa = pressure_of(suction)
    if pa is None:
        span = f"{LEAST_PA:g} Pa to {MOST_PA / 1000:g} kPa"
        raise CannotCheck(f'"{suction}" is no suction; write such as "1.5 kPa" or "6 in wg", {span}.')
    taps = {tap: motor for motor in shop.motors.values() if motor.has_ducts for tap in taps_of(shop, motor)}
    if at is None:
        raise CannotCheck(f"Say where the tap is with --at: {listed(list(taps), longest=12)}.")
    if at not in taps:
        raise CannotCheck(_unknown(f"There is no tap at {at}", at, taps))
    motor = taps[at]
    own = [gate.name for gate in shop.gates_of(motor.name)]
    if not gates:
        raise CannotCheck(f"Say which gates stand open with --open: {listed(own, longest=12)}.")
    for gate in gates:
        if gate not in own:
            raise CannotCheck(f"{gate} is no gate of {motor.name}; there are {listed(own, longest=12)}.")
    more: dict[str, object] = {"tap": at, "gates": sorted(set(gates)), "pa": round(pa, 1)}
    more |= _at_speed(shop, motor, speed)
    return Done(time.time(), "suction", motor.name, who, more)


def _at_speed(shop: Shop, motor: Motor, percent: float | None) -> dict[str, object]:
    """How fast the drive ran while the reading was taken, as a share; nothing for a motor of one speed."""
    if drive_of(shop, motor) is None:
        if percent is not None:
            raise CannotCheck(f"The {motor.name} has one speed only; leave --speed out.")
        return {}
    if percent is None:
        raise CannotCheck(
            f"The drive of {motor.name} runs as fast as the machines need. Say how fast it ran with --speed, in % of "
            "full speed; the page tells it."
        )
    if not 1.0 <= percent <= 100.0:
        raise CannotCheck(f"A speed of {percent:g} % is none; it lies between 1 and 100.")
    return {"speed": round(percent / 100.0, 3)}


def _with_ducts(shop: Shop, named: str) -> Motor:
    motors = {motor.name: motor for motor in shop.motors.values() if motor.has_ducts}
    if named not in motors:
        raise CannotCheck(_unknown(f"There is no collector {named}", named, motors))
    return motors[named]


def _unknown(said: str, word: str, known: Mapping[str, Motor]) -> str:
    return f"{said}; there are {listed(list(known), 'and', 12)}" + (did_you_mean(word, known) or ".")


def _write(log: CareLog, done: Done) -> None:
    if not log.path.parent.is_dir():
        raise CannotCheck(
            f"There is no state folder {log.path.parent}. Start the controller once, or name it with --state."
        )
    try:
        log.add(done)
    except NotWrittenError as trouble:
        raise CannotCheck(str(trouble)) from None


def _standing(shop: Shop, folder: Path, log: CareLog) -> list[str]:
    totals: list[Total] = []
    with contextlib.suppress(HistoryUnreadableError):
        totals = HistoryReader(folder / "history.sqlite").totals()
    done = log.read()
    lines = []
    for trend in trends_of(done):
        view = trend_view(trend, shop)
        lines.append(f"{trend.motor}: {view.title}. {view.said}")
        if trend.is_low:
            lines.append("  Look in this order: bin, filter, hose.")
        lines += [
            f"  {time.strftime('%Y-%m-%d', time.localtime(one.at_wall_s))}  {one.value_said}" for one in view.readings
        ]
    for motor in shop.motors.values():
        if motor.has_ducts:
            lines.append(f"{motor.name}: {stop_said(done, motor)}")
    for job in jobs_of(shop, done, totals, frozenset(), time.time()):
        title, state, _ = job_said(job, shop.units)
        lines.append(f"{title}: {state}" + (" Due." if job.is_due else ""))
    return lines
