"""How fast the air moves in every duct for the gates that stand open now. For the page; asked in the views' thread."""

from collections.abc import Mapping

from gatekeeper.service.air_systems import AirSystem
from gatekeeper.service.drive_table import FULL

#: Sets of open gates that are remembered on each system.
MOST_KEPT = 64


class LiveAir:
    """The solved velocities of a shop's systems, remembered by set of open gates. One thread owns it.

    Args:
        systems: by motor; a motor that is missing has no known velocities.
    """

    def __init__(self, systems: Mapping[str, AirSystem]) -> None:
        self._systems = systems
        self._kept: dict[tuple[str, frozenset[str], int], Mapping[str, float]] = {}

    def velocities(self, motor: str, open_gates: frozenset[str], percent: int = FULL) -> Mapping[str, float]:
        """Metres a second by duct of the network; empty for a motor that was not solved.

        Args:
            motor: whose ducts.
            open_gates: the gates that stand open.
            percent: how fast the fan turns, of its full speed, above 0.
        """
        system = self._systems.get(motor)
        if system is None:
            return {}
        key = motor, open_gates, percent
        if key not in self._kept:
            if len(self._kept) >= MOST_KEPT:
                self._kept.pop(next(iter(self._kept)))
            prepared = system.prepared
            if percent != FULL:
                prepared = prepared.with_fan(prepared.network.fan.scaled(percent / FULL))
            flows = prepared.solve(open_gates).flows_m3s
            ducts = prepared.network.ducts
            self._kept[key] = {duct.name: flow / duct.section_m2 for duct, flow in zip(ducts, flows, strict=True)}
        return self._kept[key]
