"""What a current clamp on a converter can show, and above which current its machine counts as running.

Half of the converter's reference is the peak that it can show, so the largest true RMS current is
``reference / 2 / sqrt(2) / burden x turns``. Own choices where the file gives no trip: a quarter of the free-running
current, else 3 % of the range.
"""

import math
from dataclasses import dataclass

from gatekeeper.shop.written import SensorPart

TRIP_SHARE_OF_RUNNING = 0.25
TRIP_SHARE_OF_RANGE = 0.03


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
        trip_a = running_a * TRIP_SHARE_OF_RUNNING if running_a is not None else range_a * TRIP_SHARE_OF_RANGE
    return Clamp(burden_ohm, range_a, trip_a)
