"""How often a motor may start (C8), from the published table.

Source: NEMA MG 10-2001, Table 2-3 (allowable number of starts and minimum time between them), polyphase motors of
design A and B, as reprinted in the EASA handbook (two copies agree). For single-phase motors it is an estimate only.

The table gives for each power and number of poles: ``A`` starts an hour at the most; ``B`` starts an hour times the
inertia of the load in lb ft2; ``C`` seconds of rest between stop and start. Starts an hour are the smaller of A and
B / load inertia. Where the load's inertia is not known, A alone stands. Nothing is interpolated: a power that is not
listed takes the next larger listed one, which allows fewer starts, and says so.
"""

from dataclasses import dataclass

HP_W = 745.6999
LB_FT2_KGM2 = 0.0421401101

TABLE: dict[tuple[int, float], tuple[float, float, float]] = {
    (2, 1.0): (15.0, 1.2, 75.0),
    (2, 1.5): (12.9, 1.8, 76.0),
    (2, 2.0): (11.5, 2.4, 77.0),
    (2, 3.0): (9.9, 3.5, 80.0),
    (2, 5.0): (8.1, 5.7, 83.0),
    (2, 10.0): (6.2, 11.0, 92.0),
    (2, 15.0): (5.4, 16.0, 100.0),
    (2, 20.0): (4.8, 21.0, 110.0),
    (2, 25.0): (4.4, 26.0, 115.0),
    (4, 1.0): (30.0, 5.8, 38.0),
    (4, 1.5): (25.7, 8.6, 38.0),
    (4, 3.0): (19.8, 17.0, 40.0),
    (4, 5.0): (16.3, 27.0, 42.0),
    (4, 7.5): (13.9, 39.0, 44.0),
    (4, 10.0): (12.5, 51.0, 46.0),
    (4, 15.0): (10.7, 75.0, 50.0),
    (4, 20.0): (9.6, 99.0, 55.0),
    (4, 25.0): (8.8, 122.0, 58.0),
    (6, 1.0): (34.0, 15.0, 33.0),
    (6, 1.5): (29.1, 23.0, 34.0),
    (6, 2.0): (26.1, 30.0, 35.0),
    (6, 3.0): (22.4, 44.0, 36.0),
    (6, 5.0): (18.4, 71.0, 37.0),
    (6, 7.5): (15.8, 104.0, 39.0),
    (6, 10.0): (14.2, 137.0, 41.0),
    (6, 15.0): (12.1, 200.0, 44.0),
    (6, 20.0): (10.9, 262.0, 48.0),
    (6, 25.0): (10.0, 324.0, 51.0),
}
"""(poles, hp) -> (A starts/h, B starts/h x lb ft2, C s)."""

_TOLERANCE = 1.01
"""A plate rounded up by 1 % (0.75 kW for 1 hp) still counts as on its row."""

_SAME_POWER = 0.03
"""Plates in kW differ from the listed horsepower by up to 3 % (2.2 kW for 3 hp): that is the listed power itself."""


@dataclass(frozen=True, slots=True)
class StartsAllowed:
    """``starts_per_hour`` and ``rest_s`` from the row of ``listed_hp``; ``is_exact``: the power itself is listed."""

    starts_per_hour: float
    rest_s: float
    listed_hp: float
    is_exact: bool


def starts_allowed(power_w: float, poles: int, load_inertia_kgm2: float | None) -> StartsAllowed | None:
    """The table's answer for one motor, or None where it does not reach (over 25 hp, or other than 2, 4, 6 poles).

    ``power_w`` is the power on the plate; ``load_inertia_kgm2`` the inertia of the wheel it turns, above 0, or None.
    """
    power_hp = power_w / HP_W
    listed = sorted(hp for pole_count, hp in TABLE if pole_count == poles and hp * _TOLERANCE >= power_hp)
    if not listed:
        return None
    most, times_inertia, rest_s = TABLE[poles, listed[0]]
    starts = most
    if load_inertia_kgm2 is not None and load_inertia_kgm2 > 0:
        starts = min(most, times_inertia / (load_inertia_kgm2 / LB_FT2_KGM2))
    return StartsAllowed(starts, rest_s, listed[0], abs(power_hp / listed[0] - 1) <= _SAME_POWER)
