"""What a current clamp on a converter can show, and above which current its machine counts as running.

Half of the converter's reference is the peak that it can show, so the largest true RMS current is
``reference / 2 / sqrt(2) / burden x turns`` (general energy-monitoring documentation; three published examples are held
in tests/outside). Where the file gives no trip the detector has its own (``gatekeeper.sensing.detector``); the figures
here are the same, for the checks, and a test holds them equal.

One step of the converter is ``reference / 2^bits / burden x turns`` amperes. A quiet converter's noise is 0.7 steps (a
measurement of ours) and rounding adds 1 / sqrt(12) of one; four times both together can be told from nothing, where the
detector asks for three. Resistors on sale: IEC 60063, series E24.
"""

import math
from dataclasses import dataclass

from gatekeeper.shop.written_sensing import SensorPart

TRIP_SHARE_OF_RUNNING = 0.08
TRIP_LEAST_A = 0.2
NOISE_STEPS = math.hypot(0.7, 1 / math.sqrt(12))
TOLD_FROM_NOISE = 4.0
#: One decade of the series E24.
SOLD = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)


@dataclass(frozen=True, slots=True)
class Clamp:
    """Burden, largest current and trip of one clamp."""

    burden_ohm: float
    range_a: float
    trip_a: float


def clamp_of(part: SensorPart, reference_v: float, running_a: float | None) -> Clamp | None:
    """The figures of a written sensor, or None where it gives neither burden nor range."""
    volts_rms = reference_v / 2 / math.sqrt(2)
    if part.burden is not None:
        burden_ohm, range_a = part.burden, volts_rms / part.burden * part.turns
    elif part.range is not None:
        burden_ohm, range_a = volts_rms * part.turns / part.range, part.range
    else:
        return None
    trip_a = part.trip
    if trip_a is None:
        trip_a = max(TRIP_LEAST_A, TRIP_SHARE_OF_RUNNING * (running_a or 0.0))
    return Clamp(burden_ohm, range_a, trip_a)


def sold_below(resistance_ohm: float) -> float:
    """The largest resistor on sale that is not above this one: a higher burden would clip. Above 0 ohm."""
    decade = 10.0 ** (math.floor(math.log10(resistance_ohm)) - 1)
    # The last digits of a computed resistance must not push it under one that is on sale.
    return max(value for value in SOLD if value * decade <= resistance_ohm * (1 + 1e-9)) * decade


def step_a(burden_ohm: float, turns: float, reference_v: float, bits: int) -> float:
    """Amperes in the wire for one step of the converter."""
    return reference_v / float(2**bits) / burden_ohm * turns


def least_told_a(one_step_a: float) -> float:
    """The smallest RMS current that can be told from nothing, amperes."""
    return TOLD_FROM_NOISE * NOISE_STEPS * one_step_a
