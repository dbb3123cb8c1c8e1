"""Losses in fittings, hoods, gates, separators and filters, as published tables with straight lines between.

A loss coefficient K is the total pressure lost over the velocity pressure of the duct it is listed with. Tables, not
a library: nineteen short rows, each with its source, so that a reader can check them against the book. An argument
outside of a table is refused, never extrapolated, except where the docstring says that the end value holds.
"""

import math
from bisect import bisect_right
from collections.abc import Sequence

_SMOOTH_ELBOW = ((0.5, 0.71), (0.75, 0.33), (1.0, 0.22), (1.5, 0.15), (2.0, 0.13), (2.5, 0.12))
_PIECED_ELBOW = {
    3: ((0.5, 0.98), (0.75, 0.54), (1.0, 0.42), (1.5, 0.34), (2.0, 0.33)),
    4: ((0.75, 0.50), (1.0, 0.37), (1.5, 0.27), (2.0, 0.24)),
    5: ((0.75, 0.46), (1.0, 0.33), (1.5, 0.24), (2.0, 0.19)),
}
_ELBOW_ANGLE = (
    (0.0, 0.0),
    (20.0, 0.31),
    (30.0, 0.45),
    (45.0, 0.60),
    (60.0, 0.78),
    (75.0, 0.90),
    (90.0, 1.00),
    (110.0, 1.13),
    (130.0, 1.20),
    (150.0, 1.28),
    (180.0, 1.40),
)
_MITRE = ((0.0, 0.0), (20.0, 0.08), (30.0, 0.16), (45.0, 0.34), (60.0, 0.55), (75.0, 0.81), (90.0, 1.2))
_MITRE_REYNOLDS = (
    (1e4, 1.40),
    (2e4, 1.26),
    (3e4, 1.19),
    (4e4, 1.14),
    (6e4, 1.09),
    (8e4, 1.06),
    (1e5, 1.04),
    (1.4e5, 1.00),
)
_BRANCH = (
    (0.0, 0.0),
    (10.0, 0.06),
    (15.0, 0.09),
    (20.0, 0.12),
    (25.0, 0.15),
    (30.0, 0.18),
    (35.0, 0.21),
    (40.0, 0.25),
    (45.0, 0.28),
    (50.0, 0.32),
    (60.0, 0.44),
    (90.0, 1.00),
)
_CONTRACTION_ANGLES = (10.0, 15.0, 40.0, 50.0, 60.0, 90.0, 120.0, 150.0, 180.0)
_CONTRACTION = {
    1.0: (0.0,) * 9,
    2.0: (0.05, 0.05, 0.05, 0.06, 0.06, 0.12, 0.18, 0.24, 0.26),
    4.0: (0.05, 0.04, 0.04, 0.07, 0.07, 0.17, 0.27, 0.35, 0.41),
    6.0: (0.05, 0.04, 0.04, 0.07, 0.07, 0.18, 0.28, 0.36, 0.42),
    10.0: (0.05, 0.05, 0.05, 0.08, 0.08, 0.19, 0.29, 0.37, 0.43),
}
_WALL_ENTRY = ((0.0, 0.50), (0.002, 0.57), (0.01, 0.68), (0.05, 0.80), (0.2, 0.92), (0.5, 1.0), (1.0, 1.0))
_BELL_ENTRY = (
    (0.0, 1.0),
    (0.01, 0.87),
    (0.02, 0.74),
    (0.03, 0.61),
    (0.04, 0.51),
    (0.05, 0.40),
    (0.06, 0.32),
    (0.08, 0.20),
    (0.10, 0.15),
    (0.12, 0.10),
    (0.16, 0.06),
    (0.20, 0.03),
)
_TAPER_ANGLES = (15.0, 30.0, 45.0, 60.0, 90.0, 120.0, 150.0, 180.0)
_TAPER_ROUND = (0.15, 0.08, 0.06, 0.08, 0.15, 0.26, 0.40, 0.50)
_TAPER_SQUARE = (0.25, 0.16, 0.15, 0.17, 0.25, 0.35, 0.48, 0.50)
_SLUICE = ((1 / 8, 97.8), (2 / 8, 17.0), (3 / 8, 5.52), (4 / 8, 2.06), (5 / 8, 0.81), (6 / 8, 0.26), (7 / 8, 0.07))

HOODS = {
    "plain end": 0.93,
    "flanged end": 0.49,
    "bellmouth": 0.04,
    "machine hood, straight": 0.65,
    "machine hood, tapered": 0.40,
    "sharp slot": 1.78,
    "settling box": 1.50,
}
"""Entry losses of hoods, in velocity pressures of the duct behind (of the slot for "sharp slot").

Source: ACGIH Industrial Ventilation, hood entry losses, as reprinted in the ABIH equation sheet (its "settling box" is
hard to read).
"""

DISCHARGE = 0.61
"""Discharge coefficient of a sharp-edged slit, from general hydraulics."""

SEALED_LOSS = 1e40
"""The loss coefficient that stands for "nothing passes" inside the solve; the flow is set to exactly zero after it."""


def _between(table: Sequence[tuple[float, float]], at: float, what: str) -> float:
    """The value of a table at ``at``, on a straight line between its rows; ValueError outside of the table."""
    first, last = table[0][0], table[-1][0]
    if not first <= at <= last:
        raise ValueError(f"{what} of {at:g} is outside of the published table; it lies between {first:g} and {last:g}")
    place = min(bisect_right([row[0] for row in table], at), len(table) - 1)
    (x0, y0), (x1, y1) = table[place - 1], table[place]
    return y0 + (y1 - y0) * (at - x0) / (x1 - x0)


def elbow(angle_deg: float = 90.0, radius_ratio: float = 1.5, pieces: int = 0) -> float:
    """K of a round elbow. ``radius_ratio``: radius of the centre line over the diameter, 0.5 to 2.5 (smooth), 0.75 to 2
    (4 and 5 pieces), 0.5 to 2 (3 pieces); ``pieces`` 0 for smooth or pressed; ``angle_deg`` 0 to 180.

    Source: SMACNA HVAC Systems Duct Design, 4th edition, table A-7 A and B and its angle factors.
    """
    if pieces not in (0, *_PIECED_ELBOW):
        raise ValueError(f"an elbow of {pieces} pieces is not in the published table; use 3, 4, 5, or 0 for smooth")
    table = _PIECED_ELBOW[pieces] if pieces else _SMOOTH_ELBOW
    return _between(table, radius_ratio, "a radius over diameter") * elbow_angle_factor(angle_deg)


def elbow_angle_factor(angle_deg: float) -> float:
    """The share of the loss of a 90 degree elbow that one of ``angle_deg`` (0 to 180) has. Source: SMACNA table A-7."""
    return _between(_ELBOW_ANGLE, angle_deg, "an elbow angle")


def mitre(angle_deg: float, reynolds: float = 1.4e5) -> float:
    """K of a round elbow of one cut, 0 to 90 degrees; the end values hold below Re 1e4 and above 1.4e5.

    Source: SMACNA 4th edition, table A-7 C with its Reynolds factor.
    """
    within = min(max(reynolds, 1e4), 1.4e5)
    return _between(_MITRE, angle_deg, "an elbow angle") * _between(_MITRE_REYNOLDS, within, "a Reynolds number")


def branch_entry(angle_deg: float) -> float:
    """K of a branch that enters a main at ``angle_deg``, 0 to 90, in velocity pressures of the branch.

    Source: ACGIH Industrial Ventilation, branch entry table (recalled; 0.28 at 45 degrees seen in use). The loss does
    not depend on the ratio of the flows here, as in the handbook's method.
    """
    return _between(_BRANCH, angle_deg, "a branch angle")


def contraction(area_ratio: float, angle_deg: float = 180.0) -> float:
    """K where a duct narrows, in velocity pressures of the narrow duct. ``area_ratio``: wide over narrow, 1 to 10;
    ``angle_deg``: whole angle of the cone, 10 to 180 (180: a step).

    Source: SMACNA/ASHRAE round transition table; straight line in the ratio between its rows, none at 1.
    """
    rows = [
        (ratio, _between(tuple(zip(_CONTRACTION_ANGLES, row, strict=True)), angle_deg, "a cone angle"))
        for ratio, row in _CONTRACTION.items()
    ]
    return _between(rows, area_ratio, "an area ratio")


def expansion(area_ratio: float, angle_deg: float = 180.0) -> float:
    """K where a duct widens, in velocity pressures of the narrow duct. ``area_ratio``: wide over narrow, 1 and up;
    ``angle_deg``: whole angle of the cone, 0 to 180.

    Source: Borda-Carnot (1 - narrow/wide)^2 for a step; times 2.6 sin(angle/2) for a cone of less than 45 degrees
    (general pipe-flow handbooks; the form that is known from Crane's technical paper 410).
    """
    if not area_ratio >= 1.0:
        raise ValueError(f"an area ratio of {area_ratio:g} is no widening; it is at least 1")
    if not 0.0 <= angle_deg <= 180.0:
        raise ValueError(f"a cone angle of {angle_deg:g} degrees is out of range; it lies between 0 and 180")
    step = (1.0 - 1.0 / area_ratio) ** 2
    return step * min(1.0, 2.6 * math.sin(math.radians(angle_deg) / 2.0)) if angle_deg < 45.0 else step


def hood_entry_of(entry_coefficient: float) -> float:
    """Entry loss K of a hood with the entry coefficient Ce, above 0 and at most 1: 1/Ce^2 - 1."""
    if not 0.0 < entry_coefficient <= 1.0:
        raise ValueError(f"an entry coefficient of {entry_coefficient:g} is none; it lies above 0 and is at most 1")
    return 1.0 / entry_coefficient**2 - 1.0


def entry_coefficient(entry_loss: float) -> float:
    """Ce of a hood with the entry loss K, 0 and up: sqrt(velocity pressure / hood static suction)."""
    return 1.0 / math.sqrt(1.0 + entry_loss)


def hood_suction_pa(velocity_pressure_pa: float, entry_loss: float) -> float:
    """What a gauge behind a hood shows, as a positive suction: (1 + K) times the velocity pressure."""
    return (1.0 + entry_loss) * velocity_pressure_pa


def tapered_hood(angle_deg: float, *, is_round: bool = True) -> float:
    """Entry loss of a tapered hood of a whole angle of 15 to 180 degrees, face at least twice the duct's area.

    Source: ACGIH Industrial Ventilation, tapered hoods (recalled, not seen).
    """
    row = _TAPER_ROUND if is_round else _TAPER_SQUARE
    return _between(tuple(zip(_TAPER_ANGLES, row, strict=True)), angle_deg, "a hood angle")


def end_in_wall(length_ratio: float) -> float:
    """Entry loss of a thin duct end that stands out of a wall by ``length_ratio`` diameters (0: flush; 1 and up: free).

    Source: ASHRAE duct fitting table, thin edge.
    """
    return _between(_WALL_ENTRY, min(length_ratio, 1.0), "a length over diameter")


def bell_end(radius_ratio: float) -> float:
    """Entry loss of a bellmouth without a wall, radius over diameter 0 and up; 0.03 holds from 0.2 on.

    Source: ASHRAE duct fitting table.
    """
    return _between(_BELL_ENTRY, min(radius_ratio, 0.2), "a radius over diameter")


def leak_loss(duct_area_m2: float, leak_area_m2: float, discharge: float = DISCHARGE) -> float:
    """K of a shut gate that leaks like an orifice: (A / (Cd a))^2 on its duct's velocity pressure; a 0: sealed."""
    if leak_area_m2 == 0.0:
        return SEALED_LOSS
    return (duct_area_m2 / (discharge * leak_area_m2)) ** 2


def part_open_loss(opening: float, open_loss: float, shut_loss: float) -> float:
    """K of a sliding gate in a round duct that is open by ``opening`` (0 shut, 1 open) of the diameter.

    Source: Weisbach's table for a sluice in a round pipe, on a straight line in log K between its rows; from the last
    row on to the gate's own open and shut losses. Good to a quarter of K.
    """
    if not 0.0 <= opening <= 1.0:
        raise ValueError(f"a gate open by {opening:g} is out of range; it lies between 0 (shut) and 1 (open)")
    if opening in (0.0, 1.0):
        return open_loss if opening else shut_loss
    most, least = max(shut_loss, _SLUICE[0][1]), max(open_loss, 1e-3)
    if opening < _SLUICE[0][0]:
        # The slit's area grows in proportion here, and its loss with the inverse square of the area.
        leak = 1.0 / math.sqrt(most)
        at_row = 1.0 / math.sqrt(_SLUICE[0][1])
        return 1.0 / (leak + (at_row - leak) * opening / _SLUICE[0][0]) ** 2
    rows = [(place, math.log(max(loss, least))) for place, loss in _SLUICE]
    return math.exp(_between([*rows, (1.0, math.log(least))], opening, "an opening"))


def filter_line_pa_s_m3(loss_pa: float, flow_m3s: float, loading: float = 1.0) -> float:
    """The straight line of a filter that loses ``loss_pa`` clean at ``flow_m3s``; ``loading`` 1 clean, 3 overdue.

    Flow through cloth and cake is laminar, so the loss is in proportion to the flow.
    """
    if not (loss_pa >= 0.0 and flow_m3s > 0.0 and loading >= 1.0):
        raise ValueError("a filter's loss is 0 or more at a flow above 0, and its loading is 1 (clean) or more")
    return loading * loss_pa / flow_m3s


def separator_square_pa_s2_m6(loss_pa: float, flow_m3s: float) -> float:
    """The square law of a cyclone or other separator that loses ``loss_pa`` at ``flow_m3s``."""
    if not (loss_pa >= 0.0 and flow_m3s > 0.0):
        raise ValueError("a separator's loss is 0 or more at a flow above 0")
    return loss_pa / flow_m3s**2
