"""The pressure gauges of a virtual shop: what is so at each hole and filter, and the volts that come of it."""

from collections.abc import Callable, Mapping

from gatekeeper.service.ducting import tap_in
from gatekeeper.service.gauges import scale_of
from gatekeeper.shop.model import Gauge, Shop
from sim.parts import Drive
from sim.shop_air import ShopAir


class VirtualGauges:
    """Every gauge of one shop.

    Args:
        shop: the shop.
        air: its air, brought up to date by the plant.
        drives: its motors.
        is_dead: whether a gauge, by its name, gives nothing: its wire is broken.
    """

    def __init__(self, shop: Shop, air: ShopAir, drives: Mapping[str, Drive], is_dead: Callable[[str], bool]) -> None:
        self._shop, self._air, self._drives, self._is_dead = shop, air, drives, is_dead
        self._lengths: dict[str, str] = {}
        for gauge in shop.gauges.values():
            system = air.systems.get(gauge.motor)
            if gauge.duct is not None and system is not None and system.duct_air is not None:
                towards = shop.ducts[gauge.duct].towards
                self._lengths[gauge.name] = tap_in(system.duct_air.network, gauge.duct, towards)

    def pa(self, name: str) -> float:
        """What is so at a gauge: suction in its duct, or lost across its filter; 0 where nothing is solved."""
        gauge = self._shop.gauges[name]
        system = self._air.systems[gauge.motor]
        if system.duct_air is None or system.standing is None:
            return 0.0
        here = system.duct_air.pressures_at(system.standing)
        pa = here.filter_pa if gauge.is_at_filter else here.suction_pa[self._lengths[name]]
        return pa * (self._drives[gauge.motor].speed * 100.0 / system.standing.percent) ** 2

    def volts(self, name: str) -> float:
        """What a gauge on a converter puts at its input; a broken wire is pulled to ground."""
        wire = self._shop.gauges[name].wire
        if wire is None or self._is_dead(name):
            return 0.0
        # Whoever counts suction as below the room has its points below 0.
        sign = -1.0 if wire.low.pressure_pa + wire.high.pressure_pa < 0.0 else 1.0
        return max(0.0, scale_of(wire).signal_of(sign * self.pa(name)) * wire.volts_of_signal)

    def on(self, converter: str) -> dict[int, Gauge]:
        """The gauges on a converter, by channel."""
        wired = (gauge for gauge in self._shop.gauges.values() if gauge.wire is not None)
        return {one.wire.channel: one for one in wired if one.wire is not None and one.wire.converter == converter}

    def at_input(self, converter: str) -> Callable[[int], float]:
        """The volts at each input of a converter that reads them singly; nothing is at those without a gauge."""
        gauges = self.on(converter)
        return lambda number: self.volts(gauges[number].name) if number in gauges else 0.0
