"""Friction in straight duct: the Darcy friction factor, rough walls, other shapes than round, and hose.

The law, exactly: Re <= 2000 f = 64/Re; Re >= 4000 Colebrook, 1/sqrt(f) = -2 log10((eps/D)/3.7 + 2.51/(Re sqrt(f))),
solved to the last digit; in between a straight line in Re from 0.032 to Colebrook at 4000. What is lost in a length L
is f L/D times the velocity pressure.
"""

import math

LAMINAR_RE = 2000.0
TURBULENT_RE = 4000.0
LAMINAR_END = 64.0 / LAMINAR_RE
TWO_OVER_LN10 = 2.0 / math.log(10.0)
ROUGH_DIVISOR = 3.7
SMOOTH_FACTOR = 2.51

LARGEST_ROUGHNESS_RATIO = 0.1
"""Beyond a tenth of the diameter a wall is no wall with a roughness any more."""


def inverse_root_colebrook(reynolds: float, roughness_ratio: float) -> float:
    """1/sqrt(f) of Colebrook for ``reynolds`` > 0, to the last digit or two. ``roughness_ratio``: eps/D, 0 to 0.1."""
    rough = roughness_ratio / ROUGH_DIVISOR
    smooth = SMOOTH_FACTOR / reynolds
    # Newton from the right side of a convex function: four steps at most in the range of ducts.
    x = 6.0
    for _ in range(30):
        within = rough + smooth * x
        slope = TWO_OVER_LN10 * smooth / within
        step = (x + TWO_OVER_LN10 * math.log(within)) / (1.0 + slope)
        x -= step
        if abs(step) <= 1e-15 * x:
            break
    return x


def friction_factor(reynolds: float, roughness_ratio: float) -> float:
    """The Darcy friction factor for ``reynolds`` > 0 and ``roughness_ratio`` eps/D from 0 to 0.1.

    Raises ValueError outside. Worked: friction_factor(1e5, 0.0009) is 0.021832.
    """
    if not reynolds > 0.0:
        raise ValueError(f"a Reynolds number of {reynolds:g} has no friction factor; it lies above 0")
    if not 0.0 <= roughness_ratio <= LARGEST_ROUGHNESS_RATIO:
        raise ValueError(f"a roughness of {roughness_ratio:g} of the diameter is out of range; it lies from 0 to 0.1")
    if reynolds <= LAMINAR_RE:
        return 64.0 / reynolds
    if reynolds >= TURBULENT_RE:
        return 1.0 / inverse_root_colebrook(reynolds, roughness_ratio) ** 2
    at_turbulent = 1.0 / inverse_root_colebrook(TURBULENT_RE, roughness_ratio) ** 2
    share = (reynolds - LAMINAR_RE) / (TURBULENT_RE - LAMINAR_RE)
    return LAMINAR_END + share * (at_turbulent - LAMINAR_END)


def hydraulic_diameter_m(width_m: float, height_m: float) -> float:
    """Four times the area over the wetted edge of a rectangle: the diameter that friction and Re are taken with."""
    if width_m <= 0.0 or height_m <= 0.0:
        raise ValueError(f"a duct of {width_m:g} m by {height_m:g} m has no opening; both sides are above 0")
    return 2.0 * width_m * height_m / (width_m + height_m)


def slack_hose_factor(stretch: float, diameter_m: float) -> float:
    """How many times more a hose loses than the same hose pulled out to its full length.

    Args: ``stretch`` 0.5 to 1, its length as hung over its full length; ``diameter_m`` of the hose.
    Source: the form 1 + 0.58 c exp(-0.00496 D) (c: shortening in percent, D in mm) of the handbook correction for
    wire-and-cloth flexible duct, recalled; it gives about 4 at 15 % and about 10 at 45 % in 8 in duct, as published
    measurements do (Abushakra, Walker, Sherman; Weaver, Culp). Hose with a smooth bore loses less.
    """
    if not 0.5 <= stretch <= 1.0:
        raise ValueError(f"a hose hung at {stretch:g} of its full length is out of range; it lies between 0.5 and 1")
    return 1.0 + 58.0 * (1.0 - stretch) * math.exp(-4.96 * diameter_m)
