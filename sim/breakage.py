"""What is broken in a plant at signals fidelity: puts each ``PlantFault`` in, and takes it away again."""

from collections.abc import Iterable
from typing import TYPE_CHECKING

from sim.faults import GateFault, MotorFault, known
from sim.plant_faults import PlantFault
from sim.position_senses import SwitchLie
from sim.senses import Lie

if TYPE_CHECKING:
    from sim.signal_plant import SignalPlant

_SWITCH_LIES = {
    PlantFault.SWITCH_DEAD: SwitchLie.DEAD,
    PlantFault.SWITCH_SAYS_OPEN: SwitchLie.SAYS_OPEN,
    PlantFault.SWITCH_SAYS_SHUT: SwitchLie.SAYS_SHUT,
    PlantFault.SWITCH_LOOSE: SwitchLie.LOOSE,
}
_SENSOR_LIES = {
    PlantFault.SENSOR_DEAD: Lie.DEAD,
    PlantFault.SENSOR_STUCK_ON: Lie.STUCK_ON,
    PlantFault.SENSOR_SILENT: Lie.SILENT,
    PlantFault.SENSOR_NOISY: Lie.NOISY,
}
_GATE_FAULTS = {
    PlantFault.STUCK_GATE: GateFault.JAMMED,
    PlantFault.SLOW_GATE: GateFault.SLOW,
    PlantFault.REVERSED_GATE: GateFault.REVERSED,
}
_MOTOR_FAULTS = {
    PlantFault.CONTACTOR_WELDED: MotorFault.WELDED,
    PlantFault.CONTACTOR_SILENT: MotorFault.DOES_NOT_START,
    PlantFault.MOTOR_BY_HAND: MotorFault.BY_HAND,
}
_MOTOR_SENSES = {
    PlantFault.MOTOR_SENSOR_DEAD: Lie.DEAD,
    PlantFault.MOTOR_SENSOR_STUCK_ON: Lie.STUCK_ON,
    PlantFault.AIR_SWITCH_DEAD: Lie.SILENT,
    PlantFault.AIR_SWITCH_STUCK_ON: Lie.STUCK_ON,
}
_AIR_FAULTS = (PlantFault.FULL_BIN, PlantFault.BLOCKED_FILTER, PlantFault.OPEN_CLEANOUT)


class Breakage:
    """What is broken in one plant.

    Args:
        plant: the plant.
    """

    def __init__(self, plant: "SignalPlant") -> None:
        self._plant = plant
        self._tools = tuple(plant.shop.tools)
        self._swapped: dict[str, str] = {}
        self.now: set[tuple[PlantFault, str]] = set()

    def put(self, fault: PlantFault | str, subject: str) -> None:
        """Break something.

        Raises:
            ValueError: a sentence, where there is no such fault, no such part, or the part cannot have it.
        """
        self._set(_fault(fault), subject, True)

    def mend(self, fault: PlantFault | str, subject: str) -> None:
        """Mend it again; nothing happens where it is not broken. Raises ValueError as ``put``."""
        self._set(_fault(fault), subject, False)

    def feel_tool(self, name: str, runs: bool) -> None:
        """A tool has started or stopped: the sensor that watches it feels it, or another's where they are swapped."""
        self._plant.senses.feel_tool(self._swapped.get(name, name), runs)

    def _set(self, fault: PlantFault, subject: str, is_broken: bool) -> None:
        plant, shop = self._plant, self._plant.shop
        if fault in _GATE_FAULTS:
            gate = shop.gates[known("gate", subject, shop.gates)]
            if fault is not PlantFault.STUCK_GATE and not gate.is_actuated:
                raise ValueError(
                    f"{subject} is moved by hand. Only a gate that moves by itself can be a {fault.value}."
                )
            slide = plant.slides[subject]
            slide.settle(plant.now())
            slide.fault = _GATE_FAULTS[fault] if is_broken else None
        elif fault in _SWITCH_LIES:
            plant.senses.switches_of(subject).break_it(_SWITCH_LIES[fault] if is_broken else None)
        elif fault in _SENSOR_LIES:
            plant.senses.sense_of_tool(subject).break_it(_SENSOR_LIES[fault] if is_broken else None)
        elif fault is PlantFault.SENSORS_SWAPPED:
            self._swap(subject, is_broken)
        elif fault is PlantFault.CONVERTER_LOST:
            self._lose_converter(known("converter", subject, shop.converters), is_broken)
        elif fault in _MOTOR_FAULTS:
            drive = plant.drives[known("motor", subject, shop.motors)]
            drive.settle(plant.now())
            drive.fault = _MOTOR_FAULTS[fault] if is_broken else None
        elif fault in _MOTOR_SENSES:
            is_air = fault in (PlantFault.AIR_SWITCH_DEAD, PlantFault.AIR_SWITCH_STUCK_ON)
            senses = plant.senses.air if is_air else plant.senses.motors
            known("motor with an air switch" if is_air else "motor with a run sensor", subject, senses)
            senses[subject].break_it(_MOTOR_SENSES[fault] if is_broken else None)
        elif fault is PlantFault.MOTOR_TRIPPED:
            plant.electricity.trip_motor(known("motor", subject, shop.motors), is_broken)
        elif fault is PlantFault.BREAKER_TRIPPED:
            plant.electricity.trip_feeder(subject, is_broken)
        elif fault in _AIR_FAULTS:
            systems = [name for name, motor in shop.motors.items() if motor.has_ducts]
            plant.air.break_system(fault, known("collector or tool vacuum", subject, systems), is_broken)
        else:
            plant.air.block(known("gate", subject, shop.gates), is_broken)
        (self.now.add if is_broken else self.now.discard)((fault, subject))
        plant.after_fault()

    def _swap(self, subject: str, is_broken: bool) -> None:
        plant = self._plant
        known("tool", subject, self._tools)
        if len(self._tools) < 2:
            raise ValueError("This shop has one tool only: there is no other sensor to exchange.")
        other = self._tools[(self._tools.index(subject) + 1) % len(self._tools)]
        self._swapped.pop(subject, None)
        self._swapped.pop(other, None)
        if is_broken:
            self._swapped |= {subject: other, other: subject}
        for name in (subject, other):
            self.feel_tool(name, plant.runs[name])

    def _lose_converter(self, converter: str, is_broken: bool) -> None:
        plant, shop = self._plant, self._plant.shop
        for name, tool in shop.tools.items():
            sensor = shop.circuits[tool.circuit].sensor if tool.circuit is not None else tool.sensor
            if sensor is not None and sensor.channel is not None and sensor.channel.converter == converter:
                plant.senses.sense_of_tool(name).lose(is_broken)
        for name, motor in shop.motors.items():
            seen = motor.confirmed_by
            if seen is not None and seen.channel is not None and seen.channel.converter == converter:
                plant.senses.motors[name].lose(is_broken)


def _fault(fault: PlantFault | str) -> PlantFault:
    try:
        return PlantFault(fault)
    except ValueError:
        raise ValueError(f'There is no fault called "{fault}". There are: {_listed(PlantFault)}.') from None


def _listed(faults: Iterable[PlantFault]) -> str:
    return ", ".join(fault.value for fault in faults)
