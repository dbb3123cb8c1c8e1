"""The study of a whole shop: every tool alone, every pair, every triple, as the controller would set the gates.

It asks the very table that the controller uses (``gatekeeper.service.air_table``), so what is promised here happens in
the shop. In the mode for sites whose rules forbid gates that cut airflow there is one set only: all gates, all tools.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from gatekeeper.airflow.study import Band, SetAir, band_of, set_air
from gatekeeper.airflow.tools import Reading
from gatekeeper.layout.measures import Measures
from gatekeeper.service.air_systems import AirSystem, air_system, air_systems
from gatekeeper.service.air_table import best_reading, computed_air
from gatekeeper.service.drive_table import SpeedTable, speed_tables
from gatekeeper.shop.model import Duct, Shop


@dataclass(frozen=True, slots=True)
class SystemStudy:
    """One system. ``sets`` by running tools, singles first; one set only where all gates stay open."""

    system: AirSystem
    band: Band
    sets: Mapping[frozenset[str], SetAir]

    def of_size(self, size: int) -> tuple[SetAir, ...]:
        """The sets of so many tools."""
        return tuple(air for running, air in self.sets.items() if len(running) == size)

    @property
    def alone(self) -> tuple[SetAir, ...]:
        """The sets that findings are made from first: every tool alone, or the one set of all."""
        return self.of_size(1) or tuple(self.sets.values())

    @property
    def fan_is_estimate(self) -> bool:
        return self.system.tools.network.fan.is_estimate


@dataclass(frozen=True, slots=True)
class LayoutStudy:
    """A whole shop. ``name``: how its file was named. ``is_whole``: every set was reached.

    ``speeds``: by motor on a drive that follows the air, the lowest speeds that are enough.
    """

    shop: Shop
    name: str
    is_all_open: bool
    systems: Mapping[str, SystemStudy]
    is_whole: bool
    speeds: Mapping[str, SpeedTable] = field(default_factory=dict)

    @property
    def measures(self) -> Measures:
        return Measures(self.shop.units)


def study_layout(shop: Shop, name: str, *, all_open: bool = False) -> LayoutStudy:
    """Study a shop. Raises ValueError with one sentence where its ducts cannot be solved."""
    systems = air_systems(shop)
    readings: dict[str, dict[frozenset[str], Reading]] = {motor: {} for motor in systems}
    speeds: Mapping[str, SpeedTable] = {}
    is_whole = True
    if all_open:
        for motor, system in systems.items():
            if system.tools.draws:
                readings[motor][frozenset(system.tools.draws)] = read_all_open(system)
    else:
        computed = computed_air(systems)
        is_whole = computed.is_whole
        speeds = speed_tables(shop, computed)
        for (motor, running), reading in computed.readings.items():
            readings[motor][running] = reading
    studied = {motor: _studied(systems[motor], found) for motor, found in readings.items()}
    return LayoutStudy(shop, name, all_open, studied, is_whole, speeds)


def read_all_open(system: AirSystem) -> Reading:
    """Every tool running and every gate open."""
    return system.read(tuple(system.tools.draws), tuple(system.gates))


def _studied(system: AirSystem, readings: Mapping[frozenset[str], Reading]) -> SystemStudy:
    band = band_of(system.tools)
    sets = {
        running: set_air(system.tools, reading, system.motor.power_w, band) for running, reading in readings.items()
    }
    return SystemStudy(system, band, sets)


class Trials:
    """One system of a shop with some of its ducts made otherwise, solved again and asked as before.

    Args:
        shop: the shop as it is.
        system: the system to try on.
        all_open: every gate stays open.
    """

    def __init__(self, shop: Shop, system: AirSystem, *, all_open: bool) -> None:
        self.shop, self.system, self.all_open = shop, system, all_open
        self._tried: dict[tuple[Duct, ...], AirSystem] = {}

    def changed(self, ducts: tuple[Duct, ...]) -> AirSystem:
        """The system with these ducts in place of those of the same name; gates follow their duct's size."""
        if ducts not in self._tried:
            before = self.shop.ducts
            sizes = {duct.name: duct.diameter_m for duct in ducts if duct.diameter_m != before[duct.name].diameter_m}
            gates = {
                name: replace(gate, diameter_m=sizes[gate.duct]) if gate.duct in sizes else gate
                for name, gate in self.shop.gates.items()
            }
            shop = replace(self.shop, ducts={**before, **{duct.name: duct for duct in ducts}}, gates=gates)
            self._tried[ducts] = air_system(shop, self.system.motor)
        return self._tried[ducts]

    def without_relief(self) -> AirSystem:
        """The system with its relief port shut for good, and its gates proved by switches."""
        motor = replace(self.system.motor, relief_m2=0.0, path_minimum_m2=0.0)
        return air_system(replace(self.shop, motors={**self.shop.motors, motor.name: motor}), motor)

    def read(self, system: AirSystem, running: tuple[str, ...]) -> Reading:
        """What the air does in a changed system, with its own choice of extra gates."""
        return read_all_open(system) if self.all_open else best_reading(system, running)
