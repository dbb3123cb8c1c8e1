"""The kinds of value that pressure transmitters are described with, beside those of ``fields``."""

import re
from enum import Enum
from typing import Annotated

from gatekeeper.shop.faults import shortened
from gatekeeper.shop.fields import Reads, refuse
from gatekeeper.shop.model_gauges import GaugePoint, SignalUnit
from gatekeeper.shop.units import TABLE, QuantityError, parse

#: Largest signals and pressures of transmitters for duct air: 0 to 10 V and 4 to 20 mA with some room. Ours.
MOST_V, MOST_A, MOST_PA = 12.0, 0.025, 50_000.0
LEAST_OHM, MOST_OHM = 10.0, 10_000_000.0

Points = tuple[SignalUnit, GaugePoint, GaugePoint]


class PressureUnit(Enum):
    """What a meter's numbers are, where it measures a pressure."""

    PASCAL = "Pa"
    HECTOPASCAL = "hPa"
    KILOPASCAL = "kPa"
    MILLIBAR = "mbar"
    INCH_OF_WATER = "in wg"
    MILLIMETRE_OF_WATER = "mm wg"

    @property
    def pa(self) -> float:
        """Pascals of one of it."""
        return TABLE["pressure"][self.value]


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise refuse("a list or further keys stand here; write one value")
    return value.strip()


def _signal(text: str) -> tuple[SignalUnit, float]:
    for unit, kind, most in ((SignalUnit.VOLT, "voltage", MOST_V), (SignalUnit.MILLIAMPERE, "current", MOST_A)):
        try:
            number = parse(text, kind)
        except QuantityError:
            continue
        if not 0.0 <= number <= most:
            limit = f"{MOST_V:g} V" if unit is SignalUnit.VOLT else f"{MOST_A * 1000:g} mA"
            raise refuse(f'"{shortened(text)}" is out of range; a signal lies between 0 and {limit}')
        return unit, number
    raise refuse(f'"{shortened(text)}" is neither a voltage nor a current; write such as 500 mV, 4.5 V or 4 mA')


def _point(value: object) -> tuple[SignalUnit, GaugePoint]:
    parts = re.split(r"\s+at\s+", _text(value))
    if len(parts) != 2:
        said = f'"{shortened(_text(value))}" does not read as a signal and a pressure; write such as 4.5 V at 5 kPa'
        raise refuse(said)
    unit, signal = _signal(parts[0])
    try:
        pressure_pa = parse(parts[1], "pressure")
    except QuantityError as error:
        raise refuse(str(error)) from None
    if abs(pressure_pa) > MOST_PA:
        raise refuse(f'"{shortened(parts[1])}" is out of range; a pressure here lies between -50 kPa and 50 kPa')
    return unit, GaugePoint(signal, pressure_pa)


def _points(value: object) -> Points:
    if not isinstance(value, list) or len(value) != 2:
        raise refuse("a transmitter is given by two points, such as [500 mV at 0 Pa, 4.5 V at 5 kPa]")
    (unit, one), (other_unit, other) = (_point(item) for item in value)
    if unit is not other_unit:
        raise refuse("one point is a voltage and the other a current; a transmitter gives one of the two")
    low, high = sorted((one, other), key=lambda point: point.signal)
    if low.signal == high.signal or low.pressure_pa == high.pressure_pa:
        raise refuse("the two points have the same signal or the same pressure; nothing could be read between them")
    return unit, low, high


GaugePoints = Annotated[
    Points,
    Reads(
        _points,
        {
            "type": "array",
            "minItems": 2,
            "maxItems": 2,
            "items": {"type": "string"},
            "examples": [["500 mV at 0 Pa", "4.5 V at 5 kPa"], ["4 mA at 0 Pa", "20 mA at 10 in wg"]],
        },
    ),
]


def _ohms(value: object) -> float:
    try:
        number = parse(_text(value), "resistance")
    except QuantityError as error:
        raise refuse(str(error)) from None
    if not LEAST_OHM <= number <= MOST_OHM:
        raise refuse(f'"{shortened(_text(value))}" is out of range; it lies between 10 ohm and 10000 kohm')
    return number


def _divider(value: object) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2:
        said = "a divider is two resistors, from the transmitter to the input and from there to ground, such as "
        raise refuse(said + "[10 kohm, 20 kohm]")
    return _ohms(value[0]), _ohms(value[1])


Divider = Annotated[
    tuple[float, float],
    Reads(
        _divider,
        {
            "type": "array",
            "minItems": 2,
            "maxItems": 2,
            "items": {"type": "string"},
            "examples": [["10 kohm", "20 kohm"]],
        },
    ),
]
