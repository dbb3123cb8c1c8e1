"""Pressure transmitters: where each is, how its signal reads, and when its filter wants cleaning. Part of ``model``."""

from dataclasses import dataclass
from enum import Enum


class SignalUnit(Enum):
    """What a transmitter gives."""

    VOLT = "V"
    MILLIAMPERE = "mA"


@dataclass(frozen=True, slots=True)
class GaugePoint:
    """A signal, volts or amperes, and the pressure that it stands for, pascals."""

    signal: float
    pressure_pa: float


@dataclass(frozen=True, slots=True)
class GaugeWire:
    """A transmitter on one input of a converter.

    ``low`` and ``high``: its two points, ``low.signal`` the smaller. ``divider_ohm``: from the transmitter to the
    input, and from there to ground. ``resistor_ohm``: from the input to ground, where a current is read as volts.
    """

    converter: str
    channel: int
    unit: SignalUnit
    low: GaugePoint
    high: GaugePoint
    divider_ohm: tuple[float, float] | None = None
    resistor_ohm: float | None = None

    @property
    def volts_of_signal(self) -> float:
        """Volts at the converter for one volt or one ampere of signal."""
        if self.unit is SignalUnit.MILLIAMPERE:
            return self.resistor_ohm if self.resistor_ohm is not None else 1.0
        if self.divider_ohm is not None:
            upper, lower = self.divider_ohm
            return lower / (upper + lower)
        return 1.0

    @property
    def has_live_zero(self) -> bool:
        """Whether its smallest signal is above nothing, so that a broken wire can be told from no pressure."""
        return self.low.signal > 0.0


@dataclass(frozen=True, slots=True)
class Gauge:
    """One transmitter. ``duct``: suction at this duct's end towards the collector; None: across ``motor``'s filter.

    Exactly one of ``wire`` and ``meter`` is given; ``count_pa``: pascals of one count of that meter. ``clean_at_pa``:
    from this pressure on its filter wants cleaning, from ``today_at_pa`` on today; None: it is only shown.
    """

    name: str
    motor: str
    duct: str | None
    wire: GaugeWire | None
    meter: str | None
    count_pa: float
    clean_at_pa: float | None = None
    today_at_pa: float | None = None

    @property
    def is_at_filter(self) -> bool:
        """Whether it measures the difference across a filter; else suction in a duct."""
        return self.duct is None

    @property
    def most_pa(self) -> float | None:
        """The largest pressure that it shows, as the file gives it; None for a meter's."""
        return max(abs(self.wire.low.pressure_pa), abs(self.wire.high.pressure_pa)) if self.wire is not None else None
