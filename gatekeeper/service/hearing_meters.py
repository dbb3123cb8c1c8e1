"""From what a meter publishes to the core's events. Belongs to the control thread; time comes with the messages."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from gatekeeper.control.messages import Event
from gatekeeper.devices.base import MeterSeen
from gatekeeper.sensing.meter import MeterReading, MeterSensor, MeterSettings
from gatekeeper.sensing.seen import Seen
from gatekeeper.service.hearing import motor_seen, tool_seen
from gatekeeper.shop.model import MeterUnit, Sensor, Shop


@dataclass(slots=True)
class _Ear:
    """One meter with its sensor, and what its changes mean."""

    sensor: MeterSensor
    unit: MeterUnit
    watched: tuple[str, ...]
    meant: Callable[[str, Seen], Event]


class Meters:
    """Every meter that a sensor of one shop hangs on.

    Args:
        shop: the shop.
    """

    def __init__(self, shop: Shop) -> None:
        self._ears: dict[str, _Ear] = {}
        for tool in shop.tools.values():
            self._add(shop, tool.sensor, (tool.name,), tool_seen)
        for circuit in shop.circuits.values():
            self._add(shop, circuit.sensor, circuit.tools, tool_seen)
        for motor in shop.motors.values():
            self._add(shop, motor.confirmed_by, (motor.name,), motor_seen)

    def _add(
        self, shop: Shop, sensor: Sensor | None, watched: tuple[str, ...], meant: Callable[[str, Seen], Event]
    ) -> None:
        if sensor is None or sensor.metered is None:
            return
        meter = shop.meters[sensor.metered.meter]
        settings = MeterSettings(sensor.metered.above, meter.silence_s, meter.every_s)
        self._ears[meter.name] = _Ear(MeterSensor(settings), sensor.metered.unit, watched, meant)

    def hear(self, seen: MeterSeen) -> list[Event]:
        """Take one message, or the loss of the broker."""
        ear = self._ears[seen.name]
        if seen.is_lost:
            return self._events(ear, ear.sensor.lose(seen.t_s))
        return self._events(ear, ear.sensor.feed(MeterReading(seen.t_s, seen.value, seen.is_kept)))

    def tick(self, now_s: float) -> list[Event]:
        """The events that silence proves by ``now_s``."""
        return [event for ear in self._ears.values() for event in self._events(ear, ear.sensor.tick(now_s))]

    def amperes(self) -> Mapping[str, float | None]:
        """The newest current of everything that a meter of amperes watches; None while unknown."""
        ears = [ear for ear in self._ears.values() if ear.unit is MeterUnit.AMPERE]
        return {name: ear.sensor.value for ear in ears for name in ear.watched}

    @staticmethod
    def _events(ear: _Ear, changes: list[Seen]) -> list[Event]:
        return [ear.meant(name, seen) for seen in changes for name in ear.watched]
