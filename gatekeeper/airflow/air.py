"""The air of the place: density and viscosity from altitude and temperature, and what velocity pressure is.

Everything here is dry air at rest in the room: humidity (at most 1 % of density at 25 C) and weather (3 %) are left
out. Sources: International Standard Atmosphere (ISO 2533) for pressure over altitude, the ideal gas law, and
Sutherland's law with the constants of the U.S. Standard Atmosphere 1976.
"""

import math
from dataclasses import dataclass

STANDARD_DENSITY_KG_M3 = 1.2041
"""Dry air at 20 C and 1013.25 hPa. Fan curves and losses of separators are taken as measured in it."""

STANDARD_VISCOSITY_PA_S = 1.8205e-5
"""Dry air at 20 C."""

_SEA_LEVEL_PA = 101325.0
_SEA_LEVEL_K = 288.15
_LAPSE_K_PER_M = 0.0065
_ISA_EXPONENT = 5.25588
_GAS_CONSTANT = 287.05287
_SUTHERLAND_B = 1.458e-6
_SUTHERLAND_K = 110.4
_ICE_K = 273.15


@dataclass(frozen=True, slots=True)
class Air:
    """``density_kg_m3`` and dynamic ``viscosity_pa_s``, the same in every duct (4 kPa of suction is 4 % of density)."""

    density_kg_m3: float
    viscosity_pa_s: float

    def __post_init__(self) -> None:
        if not 0.3 <= self.density_kg_m3 <= 3.0:
            raise ValueError(f"an air density of {self.density_kg_m3:g} kg/m3 is none; it lies between 0.3 and 3")
        if not 1e-6 <= self.viscosity_pa_s <= 1e-3:
            raise ValueError(f"a viscosity of {self.viscosity_pa_s:g} Pa s is none of air; about 0.000018 is")


STANDARD_AIR = Air(STANDARD_DENSITY_KG_M3, STANDARD_VISCOSITY_PA_S)


def pressure_at_pa(altitude_m: float) -> float:
    """Pressure [Pa] of the standard atmosphere at ``altitude_m``, -500 to 11000 (ISO 2533, troposphere).

    >>> round(pressure_at_pa(1500.0))
    84556
    """
    if not -500.0 <= altitude_m <= 11000.0:
        raise ValueError(f"an altitude of {altitude_m:g} m is out of range; it lies between -500 m and 11000 m")
    return float(_SEA_LEVEL_PA * (1.0 - _LAPSE_K_PER_M * altitude_m / _SEA_LEVEL_K) ** _ISA_EXPONENT)


def density_kg_m3(pressure_pa: float, temperature_c: float) -> float:
    """Density [kg/m3] of dry air by the ideal gas law; 0.3 % from real air between -30 C and 60 C."""
    return pressure_pa / (_GAS_CONSTANT * (temperature_c + _ICE_K))


def viscosity_pa_s(temperature_c: float) -> float:
    """Dynamic viscosity [Pa s] of air by Sutherland's law, -30 C to 60 C; within 1 % of measured values."""
    kelvin = temperature_c + _ICE_K
    return float(_SUTHERLAND_B * kelvin**1.5 / (kelvin + _SUTHERLAND_K))


def air_at(altitude_m: float, temperature_c: float) -> Air:
    """The air of a room at ``altitude_m`` (-500 to 5000) and ``temperature_c`` (-30 to 60)."""
    if not -30.0 <= temperature_c <= 60.0:
        raise ValueError(f"a room at {temperature_c:g} C is out of range; it lies between -30 C and 60 C")
    return Air(density_kg_m3(pressure_at_pa(altitude_m), temperature_c), viscosity_pa_s(temperature_c))


def velocity_pressure_pa(velocity_ms: float, density: float) -> float:
    """Velocity pressure [Pa] = density V^2 / 2."""
    return density * velocity_ms * velocity_ms / 2.0


def velocity_of_pressure_ms(pressure_pa: float, density: float) -> float:
    """The velocity [m/s] that belongs to a velocity pressure of ``pressure_pa`` (0 and up)."""
    if pressure_pa < 0.0:
        raise ValueError(f"a velocity pressure of {pressure_pa:g} Pa is below zero; it never is")
    return math.sqrt(2.0 * pressure_pa / density)
