"""The power meters of a virtual shop: each says what its machine draws, as often as it is set to.

No broker is between: what a real one adds (losses, kept messages) is tested on a real one.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from gatekeeper.devices.base import Clock, MeterSeen, ReportMeter
from gatekeeper.shop.model import MeterUnit, Shop
from sim.currents import Load, Stint, draws_at
from sim.faults import sensors_of

#: Volts times power factor of a machine that cuts; our own round figure.
WATTS_PER_A = 180.0

Flows = Callable[[], "list[tuple[Load, Stint | None]]"]


@dataclass(slots=True)
class _Dial:
    """One meter: what it watches, how often it speaks, and when next.

    ``unit``: None for a pressure, of which one count is ``count_pa``.
    """

    sensor: str
    unit: MeterUnit | None
    every_s: float
    due_s: float
    count_pa: float = 1.0


class VirtualMeters:
    """The meters of one shop; the plant lets them speak.

    Args:
        shop: the shop.
        report: where they speak to; nowhere when None.
        clock: monotonic seconds.
    """

    name = "virtual broker"
    trouble: str | None = None

    def __init__(self, shop: Shop, report: ReportMeter, clock: Clock) -> None:
        self._report = report
        self._mains_hz = shop.mains_hz
        self._is_closed = False
        self._dials: dict[str, _Dial] = {}
        for name, sensor in sensors_of(shop).items():
            if sensor.metered is not None:
                meter = shop.meters[sensor.metered.meter]
                self._dials[meter.name] = _Dial(name, sensor.metered.unit, meter.every_s, clock())
        for gauge in shop.gauges.values():
            if gauge.meter is not None:
                every_s = shop.meters[gauge.meter].every_s
                self._dials[gauge.meter] = _Dial(f"gauge:{gauge.name}", None, every_s, clock(), gauge.count_pa)

    def start(self) -> None:
        """There is nothing to connect to."""

    def close(self) -> None:
        """Say nothing more."""
        self._is_closed = True

    def speak(
        self,
        now_s: float,
        flows: Mapping[str, Flows],
        is_silent: Callable[[str], bool],
        pressure_pa: Callable[[str], float],
    ) -> None:
        """Every meter whose time has come says what its machine draws, or its gauge shows, now.

        Args:
            now_s: the shop's time.
            flows: what flows past each sensor, by the sensor's name.
            is_silent: whether a sensor is dead.
            pressure_pa: what is so at a gauge.
        """
        for name, dial in self._dials.items():
            if now_s < dial.due_s:
                continue
            dial.due_s += dial.every_s * max(1, math.ceil((now_s - dial.due_s) / dial.every_s))
            if self._is_closed or is_silent(dial.sensor):
                continue
            if dial.unit is None:
                self._report(MeterSeen(now_s, name, pressure_pa(dial.sensor.partition(":")[2]) / dial.count_pa))
                continue
            current_a = sum(
                load.running_a if draws_at(load, stint, self._mains_hz, now_s) else load.standby_a
                for load, stint in flows[dial.sensor]()
            )
            scale = WATTS_PER_A if dial.unit is MeterUnit.WATT else 1.0
            self._report(MeterSeen(now_s, name, scale * current_a))
