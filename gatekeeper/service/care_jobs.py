"""What is due: hours since the bin was emptied and the filter cleaned, readings against day one. Pure."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from gatekeeper.records.care_log import Done
from gatekeeper.records.totals import Total
from gatekeeper.shop.model import Shop

#: Suction below day one by more than this share is told. Common practice: a fifth.
LOW_SHARE = 0.20
#: From this share of an interval on, it is no longer "when you can". Ours.
OVERDUE = 1.5
#: A filter that calls within this share of an interval after a cleaning calls too soon. Ours.
SOON_SHARE = 0.2

#: From this share of it on, a drive counts as at full speed. Ours.
NEARLY_FULL = 0.99

#: What each kind of job is reset by, and what the reset is called.
RESETS: Mapping[str, tuple[str, ...]] = {"bin": ("bin_emptied",), "filter": ("filter_cleaned", "filter_changed")}


@dataclass(frozen=True, slots=True)
class FilterLoad:
    """A filter that wants cleaning by its gauge: the newest pressure, and from which on; ``is_today``: how soon."""

    pa: float
    clean_at_pa: float
    is_today: bool


@dataclass(frozen=True, slots=True)
class Job:
    """One thing that wants doing from time to time.

    Args:
        kind: ``bin``, ``filter`` or ``check``.
        motor: whose.
        used_s: running since it was done (bin, filter), or time passed (check); None for a check before day one.
        every_s: the interval.
        last: when it was done last, or None.
        is_given: the interval stands in the shop file; else it is ours.
        is_called: a contact calls for it, or a gauge does for today.
        load: what its gauge says, where that calls for it.
    """

    kind: str
    motor: str
    used_s: float | None
    every_s: float
    last: Done | None
    is_given: bool
    is_called: bool = False
    load: FilterLoad | None = None

    @property
    def is_due(self) -> bool:
        return self.is_called or self.load is not None or (self.used_s is not None and self.used_s >= self.every_s)

    @property
    def is_overdue(self) -> bool:
        return self.used_s is not None and self.used_s >= OVERDUE * self.every_s

    @property
    def is_soon_again(self) -> bool:
        """Whether its filter calls although it was cleaned not long ago: a full bin sends its dust there."""
        soon = self.used_s is not None and self.used_s < SOON_SHARE * self.every_s
        return self.kind == "filter" and self.is_due and self.last is not None and soon


@dataclass(frozen=True, slots=True)
class Trend:
    """Readings at one tap with the same gates open, oldest first; the first one is day one.

    What was read while a drive ran slower is counted up to full speed.
    """

    motor: str
    tap: str
    gates: tuple[str, ...]
    readings: tuple[Done, ...]

    @property
    def day_one_pa(self) -> float:
        return full_speed_pa(self.readings[0])

    @property
    def last_pa(self) -> float:
        return full_speed_pa(self.readings[-1])

    @property
    def below(self) -> float:
        """How far the last reading lies below day one, as a share; below 0 where it lies above."""
        return 1.0 - self.last_pa / self.day_one_pa

    @property
    def is_low(self) -> bool:
        return len(self.readings) > 1 and self.below >= LOW_SHARE


def at_full_speed(share: float | None) -> bool:
    """Whether a fan is known to turn at full speed."""
    return share is not None and share >= NEARLY_FULL


def full_speed_pa(reading: Done) -> float:
    """A reading of suction, pascals, as it would be at full speed: by the fan laws pressure goes with the square of it.

    A filter's cloth does not quite follow; what is left of that is a few per cent, far less than is told.
    """
    share = reading.more.get("speed", 1.0)
    is_share = isinstance(share, int | float) and not isinstance(share, bool) and 0.0 < share <= 2.0
    return float(reading.more["pa"]) / (float(share) ** 2 if is_share else 1.0)


def jobs_of(
    shop: Shop,
    log: Sequence[Done],
    totals: Iterable[Total],
    called: frozenset[tuple[str, str]],
    wall_s: float,
    loads: Mapping[str, FilterLoad] | None = None,
) -> list[Job]:
    """Every job of a shop.

    Args:
        shop: the shop.
        log: what was done.
        totals: hours and starts.
        called: kind and motor of what a contact calls for.
        wall_s: now.
        loads: what gauges call for at filters, by motor.
    """
    ran_s = {total.subject: total.running_s for total in totals if total.kind == "motor"}
    jobs = []
    for motor in shop.motors.values():
        if not motor.has_ducts:
            continue
        care = motor.care
        every = {"bin": ("bin_every", care.bin_every_s), "filter": ("filter_every", care.filter_every_s)}
        for kind, (key, every_s) in every.items():
            last = _last(log, motor.name, RESETS[kind])
            used_s = _since(ran_s.get(motor.name, 0.0), last)
            load = (loads or {}).get(motor.name) if kind == "filter" else None
            is_called = (kind, motor.name) in called or (load is not None and load.is_today)
            jobs.append(Job(kind, motor.name, used_s, every_s, last, key in care.given, is_called, load))
        last = _last(log, motor.name, ("suction",))
        passed_s = None if last is None else max(0.0, wall_s - last.at_s)
        jobs.append(Job("check", motor.name, passed_s, care.check_every_s, last, "check_every" in care.given))
    return jobs


def _since(ran_s: float, last: Done | None) -> float:
    """Running since then. Where the counter is smaller now, it was lost and began anew: it is all since then."""
    at_s = last.more.get("running_s") if last is not None else None
    if isinstance(at_s, bool) or not isinstance(at_s, int | float) or at_s > ran_s:
        return ran_s
    return ran_s - at_s


def _last(log: Sequence[Done], motor: str, what: tuple[str, ...]) -> Done | None:
    return next((done for done in reversed(log) if done.subject == motor and done.what in what), None)


def trends_of(log: Sequence[Done]) -> list[Trend]:
    """The readings by motor, tap and gates; what came before a new day one is left out."""
    begins = {done.subject: number for number, done in enumerate(log) if done.what == "day_one"}
    found: dict[tuple[str, str, tuple[str, ...]], list[Done]] = {}
    for number, done in enumerate(log):
        if done.what != "suction" or number < begins.get(done.subject, -1):
            continue
        value, gates = done.more.get("pa"), done.more.get("gates")
        if isinstance(value, int | float) and value > 0 and isinstance(gates, list):
            key = done.subject, str(done.more.get("tap")), tuple(sorted(str(gate) for gate in gates))
            found.setdefault(key, []).append(done)
    return [Trend(*key, tuple(readings)) for key, readings in found.items()]


def hours(seconds: float) -> str:
    """Hours for people: "7.2 h", "120 h"."""
    value = seconds / 3600
    return f"{value:.0f} h" if value >= 100 else f"{value:.1f} h"


def day(wall_s: float) -> str:
    """A day for people: "2026-03-09"."""
    return datetime.fromtimestamp(wall_s).strftime("%Y-%m-%d")


def sentences(
    jobs: Iterable[Job], trends: Iterable[Trend], pressures: Mapping[str, str], pressure: Callable[[float], str]
) -> dict[str, str]:
    """What stands, by the code of the service's fault table and its motor.

    Args:
        pressures: how a trend is written, by its key ``motor/tap``: "1.2 kPa, was 1.6 kPa".
        pressure: how a pressure is written.
    """
    found: dict[str, str] = {}
    for job in jobs:
        if job.load is not None:
            code = "called" if job.is_called else "loaded"
            found[f"{job.kind}_{code}:{job.motor}"] = loaded_said(job, job.load, pressure)
        elif job.is_called:
            called = {"bin": "is full", "filter": "takes too much pressure"}[job.kind]
            found[f"{job.kind}_called:{job.motor}"] = f"The {job.kind} of {job.motor} {called}."
        elif job.is_due and job.used_s is not None:
            code = "overdue" if job.is_overdue else "due"
            found[f"{job.kind}_{code}:{job.motor}"] = _due(job, job.used_s)
    for trend in trends:
        if trend.is_low:
            found[f"reading_low:{trend.motor}"] = (
                f"Suction at {trend.tap} is {trend.below:.0%} below day one"
                f" ({pressures[f'{trend.motor}/{trend.tap}']}): look in this order: bin, filter, hose."
            )
    return found


def loaded_said(job: Job, load: FilterLoad, pressure: Callable[[float], str]) -> str:
    """What a filter's gauge says of it."""
    now, limit = pressure(load.pa), pressure(load.clean_at_pa)
    said = f"The filter of {job.motor} takes {now}; from {limit} on it wants cleaning."
    if job.is_soon_again and job.used_s is not None:
        ago = f"It was cleaned {hours(job.used_s)} of running ago"
        return f"{said} {ago}: look into the bin first, for a full one sends its dust to the filter."
    return said


def _due(job: Job, used_s: float) -> str:
    if job.kind == "check":
        return f"The monthly check of {job.motor} is due: the last reading is {used_s / 86_400:.0f} days old."
    since = "it was emptied" if job.kind == "bin" else "it was cleaned"
    whose = "the shop file says" if job.is_given else "the program's own interval is"
    if job.last is None:
        since = "the count began"
    return f"The {job.kind} of {job.motor}: {hours(used_s)} of running since {since}; {whose} {hours(job.every_s)}."
