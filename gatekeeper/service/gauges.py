"""The gauges of a running shop: from codes of converters and numbers of meters to pressures, for care and people only.

Nothing here reaches the control thread. Signals come in the samplers' and the brokers' threads; anybody may ask.
"""

import threading
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass

from gatekeeper.devices.base import Block, MeterSeen
from gatekeeper.sensing.gauge import GaugeReading, GaugeScale, GaugeSensor, GaugeState
from gatekeeper.shop.model import Gauge, GaugeWire, Shop, SignalUnit

#: Codes are gathered for so long before they count as one signal, seconds: a scan of a quick converter is far less.
GATHERS_S = 0.5


@dataclass(slots=True)
class _Tap:
    """One gauge on a converter: volts of a code, and what has been gathered since ``since_s``."""

    gauge: Gauge
    sensor: GaugeSensor
    channel: int
    step_v: float
    zero_code: int
    of_signal_v: float
    since_s: float = 0.0
    total: int = 0
    count: int = 0


class Gauges:
    """Every gauge of one shop.

    Args:
        shop: the shop.
        now_s: monotonic.
    """

    def __init__(self, shop: Shop, now_s: Callable[[], float]) -> None:
        self._gauges = shop.gauges
        self._now_s = now_s
        self._lock = threading.Lock()
        self._sensors: dict[str, GaugeSensor] = {}
        self._taps: dict[str, list[_Tap]] = {}
        self._meters: dict[str, Gauge] = {}
        for gauge in shop.gauges.values():
            if gauge.wire is not None:
                self._sensors[gauge.name] = sensor = GaugeSensor(scale_of(gauge.wire))
                step_v, zero = shop.converters[gauge.wire.converter].volts_of(gauge.wire.channel)
                tap = _Tap(gauge, sensor, gauge.wire.channel, step_v, zero, gauge.wire.volts_of_signal)
                self._taps.setdefault(gauge.wire.converter, []).append(tap)
            elif gauge.meter is not None:
                self._sensors[gauge.name] = GaugeSensor(None, shop.meters[gauge.meter].silence_s)
                self._meters[gauge.meter] = gauge

    def is_theirs(self, meter: str) -> bool:
        """Whether a meter is a gauge's and no machine's."""
        return meter in self._meters

    def take(self, converter: str, block: Block) -> None:
        """A block of codes of a converter, in its sampler's thread."""
        for tap in self._taps.get(converter, ()):
            codes = block.codes[tap.channel]
            tap.total += sum(codes)
            tap.count += len(codes)
            if not tap.count or block.start_s - tap.since_s < GATHERS_S:
                continue
            volts = (tap.total / tap.count - tap.zero_code) * tap.step_v
            tap.since_s, tap.total, tap.count = block.start_s, 0, 0
            with self._lock:
                tap.sensor.feed(block.start_s, volts / tap.of_signal_v)

    def hear(self, seen: MeterSeen) -> None:
        """A meter's number, or its loss, in its link's thread. What a broker had kept may be of any day: it is none."""
        gauge = self._meters[seen.name]
        with self._lock:
            if seen.is_lost:
                self._sensors[gauge.name].lose()
            elif seen.value is not None and not seen.is_kept:
                self._sensors[gauge.name].feed(seen.t_s, seen.value * gauge.count_pa)

    def readings(self) -> dict[str, GaugeReading]:
        """What each says now. From any thread."""
        now_s = self._now_s()
        with self._lock:
            return {name: sensor.reading(now_s) for name, sensor in self._sensors.items()}

    def pressures(self) -> dict[str, float | None]:
        """The pressure at each, pascals: of a gauge in a duct suction, so never below 0; None where it is not known."""
        found: dict[str, float | None] = {}
        for name, reading in self.readings().items():
            pa = reading.pa
            # The hole of a duct in front of a fan is never above the room; which way a hose is put on does not matter.
            found[name] = pa if pa is None or self._gauges[name].is_at_filter else abs(pa)
        return found

    def troubles(self, silent: Collection[str] = ()) -> Mapping[str, str]:
        """What stands against a gauge, by code and name.

        Args:
            silent: converters and meters against which something stands already; their gauges are told by that.
        """
        found = {}
        for name, reading in self.readings().items():
            gauge = self._gauges[name]
            by = gauge.wire.converter if gauge.wire is not None else gauge.meter
            if reading.state not in (GaugeState.GOOD, GaugeState.WAITING) and by not in silent:
                found[f"gauge:{name}"] = _trouble(gauge, reading)
        return found


def scale_of(wire: GaugeWire) -> GaugeScale:
    """The two points of a transmitter on a converter, in its own volts or amperes."""
    return GaugeScale(wire.low.signal, wire.low.pressure_pa, wire.high.signal, wire.high.pressure_pa)


def _trouble(gauge: Gauge, reading: GaugeReading) -> str:
    if gauge.wire is None or reading.signal is None or reading.state is GaugeState.SILENT:
        return f"Nothing comes from the gauge {gauge.name}: its pressure is not known."
    unit = gauge.wire.unit
    low, high = _signal(gauge.wire.low.signal, unit), _signal(gauge.wire.high.signal, unit)
    shown = _signal(reading.signal, unit)
    if reading.state is GaugeState.BROKEN:
        return f"The gauge {gauge.name} gives {shown}, and no pressure is {low}: a wire is broken, or it has no supply."
    return (
        f"The gauge {gauge.name} gives {shown}, and it ends at {high}: the pressure is beyond it, or its wire is "
        "shorted."
    )


def _signal(signal: float, unit: SignalUnit) -> str:
    return f"{signal:.2f} V" if unit is SignalUnit.VOLT else f"{signal * 1000:.1f} mA"
