"""What measured pressures tell care: how suction and filter stand against day one, a filter that wants cleaning, and
the value that the monthly check may take instead of a typed one.

One thread looks (care's own); anybody may ask. Nothing here reaches the core.
"""

import contextlib
import json
import os
import threading
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gatekeeper.airflow.solve import Prepared
from gatekeeper.control.messages import Keep
from gatekeeper.control.snapshot import CoreView
from gatekeeper.records.care_log import Done
from gatekeeper.sensing.pressure_watch import BASE_DAYS, PressureVerdict, PressureWatch, Way
from gatekeeper.service.air_systems import AirSystem
from gatekeeper.service.care_jobs import FilterLoad, at_full_speed
from gatekeeper.service.ducting import tap_in
from gatekeeper.service.steady_runs import SteadyRun, SteadyRuns
from gatekeeper.shop.model import Gauge, Shop

#: The last steady values, for the terminal beside the controller; written anew at most so often for the same gates.
MEASURED_FILE = "measured.json"
MEASURED_AGAIN_S = 600.0
#: A filter is called for when so many of the last runs show it, and no more when so many in a row lie well below. Ours.
OF_LAST, CALLED_BY, OVER_BY = 4, 2, 6
OVER_SHARE = 0.8
#: Its filter takes more than this above day one, and no more than that: which of them is loaded. Ours.
TAKES_MORE, TAKES_ALIKE = 0.25, 0.10
_MOST_KEPT = 64


@dataclass(frozen=True, slots=True)
class Measured:
    """The newest steady value of a gauge in a duct: what a typed reading is, from a gauge that hangs there.

    Args:
        gauge, motor, tap: which, whose air, and the duct.
        gates: what stood open, in order.
        pa: suction, pascals.
        at_s: when, wall clock.
        speed: share of the fan's full speed.
    """

    gauge: str
    motor: str
    tap: str
    gates: tuple[str, ...]
    pa: float
    at_s: float
    speed: float

    def more(self) -> dict[str, Any]:
        """What a line of the care log says of it."""
        told: dict[str, Any] = {"tap": self.tap, "gates": list(self.gates), "pa": round(self.pa, 1)}
        told |= {"measured": self.gauge, "measured_at_s": round(self.at_s, 1)}
        return told if at_full_speed(self.speed) else told | {"speed": round(self.speed, 3)}

    def is_in(self, log: Iterable[Done]) -> bool:
        """Whether this very value has been written down."""
        return any(
            done.what == "suction"
            and done.subject == self.motor
            and done.more.get("measured") == self.gauge
            and done.more.get("measured_at_s") == round(self.at_s, 1)
            for done in log
        )


class _Level:
    """One filter's thresholds over the last runs.

    Args:
        kept: what ``state`` gave before; anything else begins anew.
    """

    def __init__(self, gauge: Gauge, kept: Any) -> None:
        self._clean_pa, self._today_pa = gauge.clean_at_pa, gauge.today_at_pa
        self._last: list[float] = []
        self._below = 0
        self.word = ""
        if isinstance(kept, Mapping) and kept.get("word") in ("clean", "today"):
            with contextlib.suppress(TypeError, ValueError):
                self._last = [float(one) for one in kept.get("last", ())][-OF_LAST:]
                self.word = str(kept["word"]) if self._last else ""

    def run(self, pa: float) -> None:
        """One steady run at full speed."""
        if self._clean_pa is None or self._today_pa is None:
            return
        self._last = [*self._last, pa][-OF_LAST:]
        if sum(one >= self._today_pa for one in self._last) >= CALLED_BY:
            self.word = "today"
        elif not self.word and sum(one >= self._clean_pa for one in self._last) >= CALLED_BY:
            self.word = "clean"
        self._below = self._below + 1 if pa < OVER_SHARE * self._clean_pa else 0
        if self._below >= OVER_BY:
            self.cleaned()

    def cleaned(self) -> None:
        """Somebody cleaned it, or it shows that somebody did."""
        self._last, self._below, self.word = [], 0, ""

    @property
    def load(self) -> FilterLoad | None:
        if not self.word or self._clean_pa is None:
            return None
        return FilterLoad(max(self._last), self._clean_pa, self.word == "today")

    def state(self) -> dict[str, Any]:
        return {"word": self.word, "last": self._last}


class _Watched:
    """One gauge with its steady runs, its watch and, at a filter, its thresholds."""

    def __init__(self, shop: Shop, gauge: Gauge, system: AirSystem, kept: Any) -> None:
        kept = kept if isinstance(kept, Mapping) else {}
        self.gauge, self.system = gauge, system
        self.runs = SteadyRuns(system, system.motor.spin_up_s)
        self.watch = PressureWatch(kept.get("watch"))
        self.level = _Level(gauge, kept.get("level"))
        self._duct = ""
        if gauge.duct is not None:
            self._duct = tap_in(system.prepared.network, gauge.duct, shop.ducts[gauge.duct].towards)
        self._expected: dict[tuple[frozenset[str], float], float] = {}

    def expected(self, opened: frozenset[str], speed: float) -> float:
        """What the model says it shows: suction, pascals; at a filter, whose loss goes with the air, the flow, m3/s."""
        key = opened, round(speed, 2)
        if key not in self._expected:
            if len(self._expected) >= _MOST_KEPT:
                self._expected.pop(next(iter(self._expected)))
            solution = _at_speed(self.system.prepared, key[1]).solve(opened)
            is_flow = self.gauge.is_at_filter
            pa = 0.0 if is_flow else -solution.ducts()[self._duct].static_downstream_pa
            self._expected[key] = solution.flow_m3s if is_flow else pa
        return self._expected[key]

    def state(self) -> dict[str, Any]:
        return {"watch": self.watch.state(), "level": self.level.state()}


def _at_speed(prepared: Prepared, speed: float) -> Prepared:
    return prepared if speed == 1.0 else prepared.with_fan(prepared.network.fan.scaled(speed))


class PressureCare:
    """The gauges of one shop, as care sees them.

    Args:
        shop: the shop.
        systems: its solved air, by motor; gauges of a motor that is missing are not watched.
        kept: what an earlier run made durable.
        folder: where the newest values are laid for the terminal.
    """

    def __init__(self, shop: Shop, systems: Mapping[str, AirSystem], kept: Mapping[str, Any], folder: Path) -> None:
        self._path = folder / MEASURED_FILE
        self._lock = threading.Lock()
        self._watched = {
            gauge.name: _Watched(shop, gauge, systems[gauge.motor], kept.get(_key(gauge.name)))
            for gauge in shop.gauges.values()
            if gauge.motor in systems
        }
        self._measured: dict[str, Measured] = {}
        self._written: dict[str, Measured] = {}
        self._owed: set[str] = set()

    # ------------------------------------------------------------ care's thread

    def look(
        self,
        view: CoreView,
        now_s: float,
        wall_s: float,
        day: int,
        pressures: Mapping[str, float | None],
        speed: Callable[[str], float | None],
    ) -> None:
        """One look, about once a second."""
        with self._lock:
            for name, one in self._watched.items():
                share = speed(one.gauge.motor)
                pa = pressures.get(name) if share else None
                run = one.runs.look(view, now_s, pa)
                if run is not None and share:
                    self._take(one, run, day, wall_s, share)
        self._lay_ready()

    def _take(self, one: _Watched, run: SteadyRun, day: int, wall_s: float, speed: float) -> None:
        gauge, gates = one.gauge, tuple(sorted(run.opened))
        one.watch.add(day, run.machine, "+".join(gates), one.expected(run.opened, speed), run.value)
        # A fan that turns slower loads its filter less.
        if gauge.is_at_filter and at_full_speed(speed):
            one.level.run(run.value)
        if gauge.duct is not None:
            self._measured[gauge.name] = Measured(gauge.name, gauge.motor, gauge.duct, gates, run.value, wall_s, speed)
        self._owed.add(gauge.name)

    def _lay_ready(self) -> None:
        """The newest values in a small file; a lost one costs nothing, so nothing waits for the disk."""
        news = [
            one
            for name, one in self._measured.items()
            if (old := self._written.get(name)) is None
            or old.gates != one.gates
            or not 0 <= one.at_s - old.at_s < MEASURED_AGAIN_S
        ]
        if not news:
            return
        said = [
            {"gauge": one.gauge, "motor": one.motor, "at_s": one.at_s, **one.more()} for one in self._measured.values()
        ]
        self._written = dict(self._measured)
        with contextlib.suppress(OSError):
            part = self._path.with_suffix(".part")
            part.write_text(json.dumps(said), encoding="utf-8")
            os.replace(part, self._path)

    def keeps(self) -> list[Keep]:
        """What has been learned since the last asking."""
        with self._lock:
            owed, self._owed = sorted(self._owed), set()
            return [Keep(_key(name), self._watched[name].state()) for name in owed]

    @property
    def owes(self) -> bool:
        """Whether anything has been learned that is not kept."""
        return bool(self._owed)

    # ------------------------------------------------------------ from any thread

    def done(self, what: str, motor: str) -> None:
        """Somebody did something at a collector: what stood is judged anew."""
        with self._lock:
            for name, one in self._watched.items():
                if one.gauge.motor != motor or what == "suction":
                    continue
                if what == "day_one":
                    one.watch = PressureWatch()
                else:
                    one.watch.mended()
                if what.startswith("filter"):
                    one.level.cleaned()
                self._owed.add(name)

    def measured(self) -> tuple[Measured, ...]:
        """The newest steady value of each gauge in a duct, since this start."""
        with self._lock:
            return tuple(self._measured.values())

    def loads(self) -> dict[str, FilterLoad]:
        """The filters that want cleaning by their gauges, by motor."""
        with self._lock:
            return {
                one.gauge.motor: load
                for one in self._watched.values()
                if one.gauge.is_at_filter and (load := one.level.load) is not None
            }

    def verdicts(self) -> dict[str, tuple[Gauge, PressureVerdict]]:
        """What the watch on each gauge in a duct can say, by the gauge's name."""
        with self._lock:
            return {
                name: (one.gauge, one.watch.verdict())
                for name, one in self._watched.items()
                if not one.gauge.is_at_filter
            }

    def filter_off(self, motor: str) -> float | None:
        """How far a collector's filter lies from day one for the same air, as a share; None where nothing tells."""
        with self._lock:
            offs = [
                one.watch.last_off
                for one in self._watched.values()
                if one.gauge.is_at_filter and one.gauge.motor == motor
            ]
        return offs[0] if offs else None

    def sentences(self) -> dict[str, str]:
        """What stands, by code and motor."""
        found: dict[str, str] = {}
        for gauge, verdict in self.verdicts().values():
            if verdict.way in (Way.LOW, Way.HIGH) and verdict.where is not None:
                code = "pressure_low" if verdict.way is Way.LOW else "pressure_high"
                found.setdefault(f"{code}:{gauge.motor}", told(gauge, verdict, self.filter_off(gauge.motor)))
        return found


def told(gauge: Gauge, verdict: PressureVerdict, filter_off: float | None) -> str:
    """What a gauge in a duct says, and where to look first; ``filter_off``: of the same collector's filter gauge."""
    by, share = f"measured by {gauge.name}", f"{abs(verdict.off):.0%}"
    if verdict.only_there:
        alone = f"Suction with {verdict.where} running is {share}"
        if verdict.way is Way.LOW:
            return (
                f"{alone} below day one, {by}, and with the others it is not: its branch leaks. Look in this order: "
                "hose, gate, hood."
            )
        return (
            f"{alone} above day one, {by}, and with the others it is not: its branch lets less air in. Look in this "
            "order: gate, hose, hood."
        )
    if verdict.way is Way.HIGH:
        less = " and the filter takes less" if filter_off is not None and filter_off < -TAKES_ALIKE else ""
        return (
            f"Suction is {share} above day one, {by}{less}, whatever runs: less air comes through in front of "
            f"{gauge.duct}. Look in this order: main, gates, hoods."
        )
    said = f"Suction at {verdict.where} is {share} below day one, {by}"
    if filter_off is not None and filter_off >= TAKES_MORE:
        return f"{said}, and the filter takes {filter_off:.0%} more for the same air: clean the filter, then the bin."
    if filter_off is not None and filter_off < TAKES_ALIKE:
        return f"{said}, and the filter takes no more than then: look in this order: hose, gates that leak, fan."
    return f"{said}: look in this order: bin, filter, hose."


def gauge_said(gauge: Gauge, verdict: PressureVerdict) -> str:
    """What the watch on a gauge says of itself."""
    if verdict.way is Way.LEARNING:
        return f"Learning what {gauge.name} shows on a good day: {verdict.base_days} of {BASE_DAYS} working days."
    if verdict.way is Way.WELL:
        return f"By {gauge.name} suction is as on day one."
    word = "below" if verdict.way is Way.LOW else "above"
    return f"By {gauge.name} suction is about {abs(verdict.off):.0%} {word} day one."


def read_measured(folder: Path) -> list[Measured]:
    """The newest values that a controller has laid in its state folder; none where there are none."""
    try:
        rows = json.loads((folder / MEASURED_FILE).read_text(encoding="utf-8"))
        return [_row(row) for row in _mappings(rows)]
    except (OSError, ValueError, KeyError, TypeError):
        return []


def _mappings(rows: Any) -> Iterable[Mapping[str, Any]]:
    if not isinstance(rows, list) or not all(isinstance(row, Mapping) for row in rows):
        raise ValueError("no list of rows")
    return rows


def _row(row: Mapping[str, Any]) -> Measured:
    gates = tuple(str(gate) for gate in row["gates"])
    at_s, pa, speed = float(row["at_s"]), float(row["pa"]), float(row.get("speed", 1.0))
    return Measured(str(row["gauge"]), str(row["motor"]), str(row["tap"]), gates, pa, at_s, speed)


def _key(gauge: str) -> str:
    return f"care/{gauge}/pressure"
