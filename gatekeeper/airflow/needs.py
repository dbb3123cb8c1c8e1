"""How much air a machine needs where its owner does not say, and how fast air must be to carry chips.

The volumes per machine are those of the ACGIH woodworking sheets (VS-95), recalled and not seen, so of medium
confidence: a shop's own figure (``needs``) always goes first. Each of them is the area of a round port times about
4000 ft/min; so a port without a machine of that list is given its area times 4000 ft/min, and a machine whose port is
smaller than its sheet asks for is given no more than its port can carry.
"""

import math
from dataclasses import dataclass

TRANSPORT_MS = 20.0
"""Velocity below which wood chips and shavings settle in a duct.

Sources: HSE HSG258, minimum duct velocity for wood shavings, and EN 12779 for dry chips (both 20 m/s, recalled); the
ACGIH table has 18 to 20 m/s for average dust and 20 to 23 m/s for heavy sawdust (seen in a reprint).
"""

PORT_MS = 4000 * 0.3048 / 60
"""The port velocity behind the handbook's volumes: 4000 ft/min (20.3 m/s)."""

COLLECTOR_PORT_M = 0.095
"""A port of 4 in (in metric shops 100 mm) and larger wants a collector, a smaller one a tool vacuum: common practice.

The figure lies between the usual sizes of 80 mm and 100 mm.
"""

_CFM = 0.3048**3 / 60
_SHEETS: tuple[tuple[tuple[str, ...], float, str], ...] = (
    (("surface planer", "overhand planer", "jointer"), 440.0, "jointer, knives of 6 to 12 in"),
    (("planer", "thicknesser"), 785.0, "planer, knives up to 20 in"),
    (("table saw", "panel saw", "sliding saw"), 350.0, "table saw, blade up to 16 in"),
    (("bandsaw", "band saw"), 700.0, "bandsaw, blade up to 2 in"),
    (("disc sander", "disk sander"), 350.0, "disc sander, disc up to 12 in"),
    (("belt sander", "edge sander"), 440.0, "belt sander, belt up to 6 in"),
)


@dataclass(frozen=True, slots=True)
class Need:
    """What a machine needs. ``source``: where the figure comes from, as the end of a sentence.

    ``sheet_m3s``: what the handbook's sheet asks for where the port cannot carry it, else None.
    """

    flow_m3s: float
    source: str
    is_given: bool = False
    sheet_m3s: float | None = None


def need_of(machine: str, port_m: float, given_m3s: float | None = None) -> Need:
    """The flow that a machine needs, by its name and the diameter of its port (more than 0).

    >>> round(need_of("old planer", 0.1016).flow_m3s / 0.3048**3 * 60)
    349
    """
    if given_m3s is not None:
        return Need(given_m3s, "as the shop file says", is_given=True)
    if not port_m > 0.0:
        raise ValueError(f"a port of {port_m:g} m is none; its diameter is more than 0")
    port_m3s = math.pi * port_m**2 / 4.0 * PORT_MS
    named = machine.lower()
    for words, cfm, sheet in _SHEETS:
        if any(word in named for word in words):
            if cfm * _CFM <= port_m3s:
                return Need(cfm * _CFM, f"handbook sheet recalled: {sheet}")
            # The sheet's 350 cfm and a 4 in port at 4000 ft/min (349) are one thing.
            too_small = cfm * _CFM > port_m3s * 1.03
            return Need(port_m3s, "its port at 4000 ft/min", sheet_m3s=cfm * _CFM if too_small else None)
    return Need(port_m3s, "its port at 4000 ft/min")


def wants_collector(port_m: float) -> bool:
    """Whether a port is large enough for a collector; a smaller one wants a tool vacuum's pressure."""
    return port_m >= COLLECTOR_PORT_M
