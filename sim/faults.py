"""Faults of a virtual shop, on request: what is broken now. The plant asks; nothing here acts."""

from collections.abc import Callable, Iterable
from enum import Enum

from gatekeeper.service.wiring import contacts_of
from gatekeeper.shop.model import Sensor, Shop


class GateFault(Enum):
    """What can be wrong with a gate's slide."""

    JAMMED = "jammed"
    SLOW = "slow"
    REVERSED = "reversed"


class SensorFault(Enum):
    """What can be wrong with a sensor, or with a position or pressure switch.

    A dead contact is a broken wire, open for good. A dead clamp has lost its bias: its converter channel reads zero, as
    that of a dead gauge does. A dead meter is silent.
    A loose contact opens and makes all the time.
    """

    DEAD = "dead"
    STUCK_ON = "stuck on"
    LOOSE = "loose"


class MotorFault(Enum):
    """What can be wrong with a motor or its contactor."""

    WELDED = "contactor welded"
    DOES_NOT_START = "does not start"
    BY_HAND = "started at its own switch"


SLOW_TIMES = 3.0


def sensors_of(shop: Shop) -> dict[str, Sensor]:
    """Every sensor of a shop by ``meaning:subject``, the names that the wiring gives its contacts."""
    found = {f"tool:{tool.name}": tool.sensor for tool in shop.tools.values()}
    found |= {f"circuit:{circuit.name}": circuit.sensor for circuit in shop.circuits.values()}
    found |= {f"confirm:{motor.name}": motor.confirmed_by for motor in shop.motors.values()}
    return {name: sensor for name, sensor in found.items() if sensor is not None}


class Faults:
    """What is broken in one virtual shop.

    Args:
        shop: the shop.
        before: called before anything changes, so that what went on until now is worked out without the fault.
        after: called after it changed.

    Every method that takes a name raises ValueError with a sentence when the shop has nothing of that name.
    """

    def __init__(self, shop: Shop, before: Callable[[], None], after: Callable[[], None]) -> None:
        self._before, self._after = before, after
        self._gates: dict[str, GateFault | None] = dict.fromkeys(shop.gates)
        self._motors: dict[str, MotorFault | None] = dict.fromkeys(shop.motors)
        self._banks: dict[str, bool] = dict.fromkeys(shop.converters, False)
        clamps = [name for name, sensor in sensors_of(shop).items() if sensor.contact is None]
        clamps += [f"gauge:{name}" for name in shop.gauges]
        switches = [name for name in contacts_of(shop) if name.split(":")[0] not in ("input", "hand", "auto")]
        self._clamps = frozenset(clamps)
        self._sensors: dict[str, SensorFault | None] = dict.fromkeys([*clamps, *switches])

    def gate(self, name: str) -> GateFault | None:
        """What is wrong with a gate's slide."""
        return self._gates[known("gate", name, self._gates)]

    def sensors(self) -> tuple[str, ...]:
        """The names of everything that ``break_sensor`` can break."""
        return tuple(self._sensors)

    def sensor(self, name: str) -> SensorFault | None:
        """What is wrong with a sensor or switch: ``tool:``, ``circuit:``, ``confirm:``, ``air:``, ``open:``, ``shut:``
        and the name of what it watches; ``gauge:`` and its own.
        """
        return self._sensors[known("sensor", name, self._sensors)]

    def motor(self, name: str) -> MotorFault | None:
        """What is wrong with a motor."""
        return self._motors[known("motor", name, self._motors)]

    def is_muted(self, converter: str) -> bool:
        """True while a converter does not answer."""
        return self._banks[known("converter", converter, self._banks)]

    def can_be(self, name: str, fault: SensorFault) -> bool:
        """Only a contact can be stuck on or loose; a clamp or a meter can be dead."""
        return fault is SensorFault.DEAD or name not in self._clamps

    def break_gate(self, name: str, fault: GateFault | None) -> None:
        """Jam a gate where it stands, make it slow, or free it (None)."""
        known("gate", name, self._gates)
        self._change(lambda: self._gates.update({name: fault}))

    def break_sensor(self, name: str, fault: SensorFault | None) -> None:
        """Break a sensor or switch, or mend it (None).

        Raises:
            ValueError: also when a sensor of its kind cannot have that fault.
        """
        known("sensor", name, self._sensors)
        if fault is not None and not self.can_be(name, fault):
            raise ValueError(f"{name} cannot be {fault.value}. It can be dead.")
        self._change(lambda: self._sensors.update({name: fault}))

    def break_motor(self, name: str, fault: MotorFault | None) -> None:
        """Weld a motor's contactor, keep the motor from starting, or mend it (None)."""
        known("motor", name, self._motors)
        self._change(lambda: self._motors.update({name: fault}))

    def mute(self, converter: str, muted: bool = True) -> None:
        """Pull a converter's plug, or put it back."""
        known("converter", converter, self._banks)
        self._change(lambda: self._banks.update({converter: muted}))

    def _change(self, act: Callable[[], None]) -> None:
        self._before()
        act()
        self._after()


def known(kind: str, name: str, names: Iterable[str]) -> str:
    """The name, when it is one of ``names``; else ValueError with a sentence."""
    if name not in names:
        raise ValueError(f"This shop has no {kind} called {name}. It has: {', '.join(names) or 'none'}.")
    return name
