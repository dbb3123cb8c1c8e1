"""What a current clamp on a converter can show, and above which current its machine counts as running.

Half of the converter's reference is the peak that it can show, so the largest true RMS current is
``reference / 2 / sqrt(2) / burden x turns``. Where the file gives no trip the detector has its own
(``gatekeeper.sensing.detector``); the figures here are the same, for the checks, and a test holds them equal.
"""

import math
from dataclasses import dataclass

from gatekeeper.shop.written import SensorPart

TRIP_SHARE_OF_RUNNING = 0.08
TRIP_LEAST_A = 0.2


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
