"""Quantities as people write them (``6 in``, ``2 1/2 in``, ``350 cfm``, ``70 F``), turned into SI numbers.

One table: kind of quantity -> unit as written -> factor to SI. Factors are exact by definition (inch 0.0254 m, pound
0.45359237 kg, standard gravity 9.80665 m/s2) except the inch of water, 249.089 Pa (conventional, water at 4 C), and the
mechanical horsepower, 745.6999 W. ``hp`` is the mechanical horsepower; say ``kW`` where the plate says kW.
"""

import math
import re
from collections.abc import Mapping

_INCH_M = 0.0254
_FOOT_M = 0.3048
_POUND_KG = 0.45359237

TABLE: Mapping[str, Mapping[str, float]] = {
    "length": {"mm": 0.001, "cm": 0.01, "m": 1.0, "in": _INCH_M, '"': _INCH_M, "ft": _FOOT_M, "'": _FOOT_M},
    "area": {"mm2": 1e-6, "cm2": 1e-4, "m2": 1.0, "in2": _INCH_M**2, "ft2": _FOOT_M**2},
    "volume": {"m3": 1.0, "l": 0.001, "ft3": _FOOT_M**3},
    "flow": {"m3/s": 1.0, "m3/h": 1 / 3600, "l/s": 0.001, "cfm": _FOOT_M**3 / 60},
    "pressure": {"Pa": 1.0, "hPa": 100.0, "kPa": 1000.0, "mbar": 100.0, "in wg": 249.089, "mm wg": 9.80665},
    "time": {"ms": 0.001, "s": 1.0, "min": 60.0, "h": 3600.0},
    "pulse": {"us": 1e-6, "ms": 0.001},
    "power": {"W": 1.0, "kW": 1000.0, "hp": 745.6999},
    "current": {"A": 1.0, "mA": 0.001},
    "voltage": {"V": 1.0, "mV": 0.001},
    "resistance": {"ohm": 1.0, "kohm": 1000.0},
    "inertia": {"kg m2": 1.0, "lb ft2": _POUND_KG * _FOOT_M**2},
    "rate": {"per hour": 1.0, "/h": 1.0},
    "temperature": {"C": 1.0, "F": 5 / 9},
    "density": {"kg/m3": 1.0, "lb/ft3": _POUND_KG / _FOOT_M**3},
    "viscosity": {"Pa s": 1.0, "uPa s": 1e-6},
}
"""Factors to m, m2, m3, m3/s, Pa, s, s, W, A, V, ohm, kg m2, 1/h, degrees Celsius (with the offset of F), kg/m3 and
Pa s.
"""

_ORDINARY_SPELLING = {
    **dict.fromkeys(("inch", "inches"), "in"),
    **dict.fromkeys(("feet", "foot"), "ft"),
    **dict.fromkeys(("metre", "metres", "meter", "meters"), "m"),
    **dict.fromkeys(("minute", "minutes"), "min"),
    **dict.fromkeys(("second", "seconds", "sec"), "s"),
    **dict.fromkeys(("hour", "hours"), "h"),
    **dict.fromkeys(("amp", "amps"), "A"),
    **dict.fromkeys(("volt", "volts"), "V"),
    **dict.fromkeys(("ohms", "ω"), "ohm"),
    **dict.fromkeys(("in wc", "inwg", "inches wg"), "in wg"),
    "m³/h": "m3/h",
    "m³/s": "m3/s",
    "m³": "m3",
    "m²": "m2",
    "mm²": "mm2",
    "cm²": "cm2",
    "°c": "C",
    "°f": "F",
    "µs": "us",
    "an hour": "per hour",
    "lb-ft2": "lb ft2",
    "kg-m2": "kg m2",
}
"""Other spellings, in small letters, and the unit of TABLE that they mean."""

_LONGEST = 40

_NUMBER = re.compile(
    r"(?P<whole>\d+)[ ](?P<top>\d+)/(?P<under>\d+)(?![\d.])"
    r"|(?P<over>\d+)/(?P<below>\d+)(?![\d.])"
    r"|(?P<plain>[-+]?(\d+\.?\d*|\.\d+))(?![\d.,/])",
    re.ASCII,
)


class QuantityError(ValueError):
    """A quantity that cannot be read; its text is the sentence for the person who wrote it."""


def units_of(kind: str) -> str:
    """The units of one kind, as a list in words: ``"mm, cm, m, in or ft"``."""
    names = [unit for unit in TABLE[kind] if unit not in ('"', "'")]
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " or " + names[-1]


def parse(text: str, kind: str) -> float:
    """Read one quantity of a ``kind`` of TABLE and return it in SI.

    Raises QuantityError with a whole sentence for a missing number, a missing or wrong unit, or an endless number.
    """
    written = " ".join(text.split())
    if len(written) > _LONGEST:
        raise QuantityError(f'"{written[:_LONGEST]} …" is too long for a quantity; write a number and a unit')
    if re.match(r"[-+]?\d*,\d", written):
        raise QuantityError(f'"{text}" has a comma; write the number with a point and no thousands mark')
    match = _NUMBER.match(written)
    if match is None:
        raise QuantityError(f'"{text}" does not begin with a number; write a number and a unit ({units_of(kind)})')
    try:
        number = _number_of(match)
    except ZeroDivisionError:
        raise QuantityError(f'"{text}" divides by zero; write a number and a unit ({units_of(kind)})') from None
    unit = written[match.end() :].strip()
    if not unit:
        if kind == "rate":
            return number
        raise QuantityError(f'"{text}" has no unit; write it with {units_of(kind)}')
    factor = _factor(unit, kind)
    if factor is None:
        raise QuantityError(f'"{unit}" in "{text}" is not a unit of {kind} here; use {units_of(kind)}')
    if kind == "temperature" and _same_unit(unit, "F"):
        number -= 32.0
    value = number * factor
    if not math.isfinite(value):
        raise QuantityError(f'"{text}" is not a number that can be reckoned with')
    return value


def _number_of(match: re.Match[str]) -> float:
    if match["whole"] is not None:
        return int(match["whole"]) + int(match["top"]) / int(match["under"])
    if match["over"] is not None:
        return int(match["over"]) / int(match["below"])
    return float(match["plain"])


def _plain_spelling(unit: str) -> str:
    return _ORDINARY_SPELLING.get(unit.lower(), unit)


def _same_unit(unit: str, other: str) -> bool:
    return _plain_spelling(unit).lower() == other.lower()


def _factor(unit: str, kind: str) -> float | None:
    """The exact spelling first (``mA`` is not ``MA``), then any letter case where that leaves no doubt."""
    units = TABLE[kind]
    plain = _plain_spelling(unit)
    if plain in units:
        return units[plain]
    alike = [name for name in units if name.lower() == plain.lower()]
    return units[alike[0]] if len(alike) == 1 else None
