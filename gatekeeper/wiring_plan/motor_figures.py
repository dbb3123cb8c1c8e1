"""What a motor's starter is sized by: full-load currents by code table, overload, wire, breaker. For reference only.

Sources. Single-phase currents: NEC Table 430.248 (three copies agree). Three-phase currents: NEC Table 430.250, from
memory, unverified. Branch wire 125 %: NEC 430.22. Breaker and fuse: NEC Table 430.52 (inverse-time breaker 250 %,
time-delay fuse 175 %, at the most). Overload 115 or 125 % of the plate: NEC 430.32 (which of the two: from memory).
Motor and other loads on one feeder, 125 % of the largest and 100 % of the rest: NEC 430.24, from memory. Code tables
are for sizing; the overload goes by the plate. Estimates for plates in kilowatts: ours, by efficiency times power
factor. The local code and the electrician decide.
"""

import math
from dataclasses import dataclass

from gatekeeper.shop.motor_starts import HP_W

SINGLE_PHASE_A: dict[float, dict[int, float]] = {
    1 / 6: {115: 4.4, 200: 2.5, 208: 2.4, 230: 2.2},
    1 / 4: {115: 5.8, 200: 3.3, 208: 3.2, 230: 2.9},
    1 / 3: {115: 7.2, 200: 4.1, 208: 4.0, 230: 3.6},
    1 / 2: {115: 9.8, 200: 5.6, 208: 5.4, 230: 4.9},
    3 / 4: {115: 13.8, 200: 7.9, 208: 7.6, 230: 6.9},
    1.0: {115: 16.0, 200: 9.2, 208: 8.8, 230: 8.0},
    1.5: {115: 20.0, 200: 11.5, 208: 11.0, 230: 10.0},
    2.0: {115: 24.0, 200: 13.8, 208: 13.2, 230: 12.0},
    3.0: {115: 34.0, 200: 19.6, 208: 18.7, 230: 17.0},
    5.0: {115: 56.0, 200: 32.2, 208: 30.8, 230: 28.0},
    7.5: {115: 80.0, 200: 46.0, 208: 44.0, 230: 40.0},
    10.0: {115: 100.0, 200: 57.5, 208: 55.0, 230: 50.0},
}
"""NEC Table 430.248: horsepower, volts, amperes."""

THREE_PHASE_A: dict[float, dict[int, float]] = {
    0.5: {208: 2.4, 230: 2.2, 460: 1.1},
    0.75: {208: 3.5, 230: 3.2, 460: 1.6},
    1.0: {208: 4.6, 230: 4.2, 460: 2.1},
    1.5: {208: 6.6, 230: 6.0, 460: 3.0},
    2.0: {208: 7.5, 230: 6.8, 460: 3.4},
    3.0: {208: 10.6, 230: 9.6, 460: 4.8},
    5.0: {208: 16.7, 230: 15.2, 460: 7.6},
    7.5: {208: 24.2, 230: 22.0, 460: 11.0},
    10.0: {208: 30.8, 230: 28.0, 460: 14.0},
    15.0: {208: 46.2, 230: 42.0, 460: 21.0},
    20.0: {208: 59.4, 230: 54.0, 460: 27.0},
    25.0: {208: 74.8, 230: 68.0, 460: 34.0},
}
"""NEC Table 430.250, from memory: horsepower, volts, amperes."""

WIRE_SHARE = 1.25
BREAKER_SHARE = 2.5
DELAY_FUSE_SHARE = 1.75
OVERLOAD_SHARES = (1.15, 1.25)
LARGEST_SHARE = 1.25

SINGLE_PHASE_EFFICIENCY = 0.65
THREE_PHASE_EFFICIENCY = 0.70
"""Efficiency times power factor of small motors; our own estimate, the plate decides."""

_SAME = 1.03


@dataclass(frozen=True, slots=True)
class TableCurrent:
    """A row of the code table: ``listed_hp`` and amperes by volts."""

    listed_hp: float
    amperes: dict[int, float]


def table_current(power_w: float, phases: int) -> TableCurrent | None:
    """The row of the code's table for a motor: its power, or the next larger one listed; None beyond the table."""
    table = SINGLE_PHASE_A if phases == 1 else THREE_PHASE_A
    power_hp = power_w / HP_W
    listed = next((hp for hp in sorted(table) if hp * _SAME >= power_hp), None)
    return TableCurrent(listed, table[listed]) if listed is not None else None


def estimated_current_a(power_w: float, phases: int) -> float:
    """About what a motor draws at full load on 230 V single-phase or 400 V three-phase, amperes; an estimate of "
    "ours."""
    if phases == 1:
        return power_w / (230.0 * SINGLE_PHASE_EFFICIENCY)
    return power_w / (math.sqrt(3.0) * 400.0 * THREE_PHASE_EFFICIENCY)


def feeder_current_a(motors_a: list[float], others_a: list[float]) -> float:
    """What the wire of a feeder must carry: 125 % of its largest motor, and the rest. 0 where nothing is on it."""
    if not motors_a:
        return sum(others_a)
    return sum(motors_a) + sum(others_a) + (LARGEST_SHARE - 1.0) * max(motors_a)


def hp_words(power_hp: float) -> str:
    """Horsepower as a plate writes it."""
    parts = {1 / 6: "1/6", 1 / 4: "1/4", 1 / 3: "1/3", 0.5: "1/2", 0.75: "3/4", 1.5: "1-1/2", 7.5: "7-1/2"}
    return f"{parts.get(power_hp, f'{power_hp:g}')} hp"
