"""Figures as the shop's people read them, inch or metric, and the sizes in which ducts are sold."""

from dataclasses import dataclass

from gatekeeper.shop.model import Units

_CFM = 0.3048**3 / 60
_FT_MIN = 0.3048 / 60
_IN_WG_PA = 249.089
_HP_W = 745.6999
_BTU_H_W = 0.29307107

SIZES_INCH = (1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0, 12.0, 14.0, 16.0, 18.0, 20.0)
SIZES_MM = (40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 140.0, 160.0, 180.0, 200.0, 224.0, 250.0, 280.0, 315.0, 355.0, 400.0)
"""Round ducts as they are sold (for millimetres the R20 series of preferred numbers from 125 up)."""

_STEP = 1.08
"""A size counts as the next one from this ratio on, so that 120 mm goes to 140 mm and not to 125 mm."""


@dataclass(frozen=True, slots=True)
class Measures:
    """Writes figures in one shop's units. Every argument is SI."""

    units: Units

    @property
    def is_inch(self) -> bool:
        return self.units is Units.INCH

    @property
    def flow_unit(self) -> str:
        return "cfm" if self.is_inch else "m3/h"

    @property
    def velocity_unit(self) -> str:
        return "ft/min" if self.is_inch else "m/s"

    @property
    def pressure_unit(self) -> str:
        return "in wg" if self.is_inch else "Pa"

    def flow_number(self, value_m3s: float) -> float:
        """In cfm or m3/h."""
        return value_m3s / _CFM if self.is_inch else value_m3s * 3600.0

    def pressure_number(self, value_pa: float) -> float:
        """In inches of water or pascal."""
        return value_pa / _IN_WG_PA if self.is_inch else value_pa

    def flow_bare(self, value_m3s: float) -> str:
        """A flow without its unit, to the nearest 5 from 100 on."""
        number = self.flow_number(value_m3s)
        return f"{round(number / 5) * 5:d}" if number >= 100 else f"{number:.0f}"

    def flow(self, value_m3s: float) -> str:
        """ "463 cfm", "790 m3/h"."""
        return f"{self.flow_bare(value_m3s)} {self.flow_unit}"

    def flow_between(self, low_m3s: float, high_m3s: float) -> str:
        """ "between 380 and 520 cfm", or one figure where both are the same on paper."""
        low, high = self.flow_bare(low_m3s), self.flow_bare(high_m3s)
        return f"{low} {self.flow_unit}" if low == high else f"between {low} and {high} {self.flow_unit}"

    def flow_span(self, low_m3s: float, high_m3s: float) -> str:
        """ "380-520" for a table, without its unit."""
        low, high = self.flow_bare(low_m3s), self.flow_bare(high_m3s)
        return low if low == high else f"{low}-{high}"

    def velocity_bare(self, value_ms: float) -> str:
        """A velocity without its unit."""
        return f"{round(value_ms / _FT_MIN, -1):.0f}" if self.is_inch else f"{value_ms:.1f}"

    def velocity(self, value_ms: float) -> str:
        """ "3970 ft/min", "20.1 m/s"."""
        return f"{self.velocity_bare(value_ms)} {self.velocity_unit}"

    def velocity_between(self, low_ms: float, high_ms: float) -> str:
        """ "2100 to 2500 ft/min", or one figure."""
        low, high = self.velocity_bare(low_ms), self.velocity_bare(high_ms)
        return self.velocity(low_ms) if low == high else f"{low} to {high} {self.velocity_unit}"

    def pressure_bare(self, value_pa: float) -> str:
        """A pressure without its unit; suction as it is read on a gauge, below 0."""
        number = self.pressure_number(value_pa)
        # The sum with 0.0 makes a zero of a minus zero.
        return f"{round(number, 1) + 0.0:.1f}" if self.is_inch else f"{round(number, -1) + 0.0:.0f}"

    def pressure(self, value_pa: float) -> str:
        """ "3.2 in wg", "790 Pa"."""
        return f"{self.pressure_bare(value_pa)} {self.pressure_unit}"

    def length(self, value_m: float) -> str:
        """ "6 ft", "1.5 m"."""
        return f"{value_m / 0.3048:.1f}".removesuffix(".0") + " ft" if self.is_inch else f"{value_m:.2g} m"

    def diameter(self, value_m: float) -> str:
        """ "4 in", "125 mm"."""
        return f"{round(value_m / 0.0254 * 4) / 4:g} in" if self.is_inch else f"{value_m * 1000:.0f} mm"

    def area(self, value_m2: float) -> str:
        """ "1.2 square feet", "0.11 m2"."""
        return f"{value_m2 / 0.3048**2:.1f} square feet" if self.is_inch else f"{value_m2:.2f} m2"

    def power(self, value_w: float) -> str:
        """ "1.5 hp", "1.1 kW"."""
        return f"{value_w / _HP_W:.1f} hp" if self.is_inch else f"{value_w / 1000:.1f} kW"

    def heat(self, value_w: float) -> str:
        """ "9000 BTU/h", "2.6 kW"."""
        return f"{round(value_w / _BTU_H_W, -2):.0f} BTU/h" if self.is_inch else f"{value_w / 1000:.1f} kW"

    @property
    def warmth_step(self) -> tuple[str, float]:
        """The difference of temperature that heat is said for: its words, and its kelvin."""
        return ("18 F", 10.0) if self.is_inch else ("10 C", 10.0)

    def next_size(self, diameter_m: float, *, larger: bool, steps: int = 1) -> float | None:
        """The size sold that is ``steps`` larger or smaller, or None past the end of the list."""
        scale = 0.0254 if self.is_inch else 0.001
        sizes = [size * scale for size in (SIZES_INCH if self.is_inch else SIZES_MM)]
        if larger:
            fitting = [size for size in sizes if size >= diameter_m * _STEP]
        else:
            fitting = [size for size in reversed(sizes) if size <= diameter_m / _STEP]
        return fitting[steps - 1] if len(fitting) >= steps else None
