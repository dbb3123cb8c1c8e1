"""Cables: how thick a core must be for its current and its way, and the fuse in front of it.

Sources: resistivity of copper 0.0175 ohm mm2/m at 20 degrees C (textbook); cross-sections on sale IEC 60228 and gauges
ASTM B258 (area of gauge n: 0.012668 x 92^((36 - n) / 19.5) mm2); fuse ratings IEC 60127, preferred values (these three
from memory). Least cross-sections by use are our own: thinner wires break in a shop.
"""

RESISTIVITY_OHM_MM2_M = 0.0175
SOLD_MM2 = (0.25, 0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0)
GAUGES = (24, 22, 20, 18, 16, 14, 12, 10, 8, 6)
FUSES_A = (0.5, 0.63, 0.8, 1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0, 10.0)

DROP_OF_SERVOS_V = 0.6
DROP_OF_12_V = 1.2
"""How much may be lost on the way to the last gate, volts: a tenth of 6 V and of 12 V; our own."""

SIGNAL_MM2 = 0.25
LAMP_MM2 = 0.5
COIL_CIRCUIT_MM2 = 0.75
POWER_MM2 = 0.5


def least_area_mm2(current_a: float, run_m: float, drop_v: float) -> float:
    """The copper that carries a current there and back with no more than ``drop_v`` lost. All above 0."""
    return 2.0 * run_m * current_a * RESISTIVITY_OHM_MM2_M / drop_v


def sold_area_mm2(needed_mm2: float) -> float:
    """The next cross-section on sale; the thickest listed one where none reaches."""
    return next((area for area in SOLD_MM2 if area >= needed_mm2 * (1 - 1e-9)), SOLD_MM2[-1])


def gauge_area_mm2(gauge: int) -> float:
    """Area of a wire gauge, square millimetre."""
    return float(0.012668 * 92.0 ** ((36 - gauge) / 19.5))


def gauge_for(needed_mm2: float) -> int:
    """The thinnest listed gauge that has this area; the thickest where none has."""
    return next((gauge for gauge in GAUGES if gauge_area_mm2(gauge) >= needed_mm2 * (1 - 1e-9)), GAUGES[-1])


def fuse_a(current_a: float) -> float:
    """The next fuse that carries this current; the largest listed one where none does."""
    return next((rating for rating in FUSES_A if rating >= current_a), FUSES_A[-1])


def thickness_words(needed_mm2: float) -> str:
    """A cross-section as people buy it on either side of an ocean."""
    return f"{sold_area_mm2(needed_mm2):g} mm² (gauge {gauge_for(needed_mm2)})"
