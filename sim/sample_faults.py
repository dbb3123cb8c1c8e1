"""What is broken in a plant at samples fidelity: each ``PlantFault`` in the words of the virtual shop's own faults."""

from sim.faults import GateFault, MotorFault, SensorFault, known
from sim.plant import VirtualShop
from sim.plant_faults import PlantFault

_GATES = {
    PlantFault.STUCK_GATE: GateFault.JAMMED,
    PlantFault.SLOW_GATE: GateFault.SLOW,
    PlantFault.REVERSED_GATE: GateFault.REVERSED,
}
_MOTORS = {
    PlantFault.CONTACTOR_WELDED: MotorFault.WELDED,
    PlantFault.CONTACTOR_SILENT: MotorFault.DOES_NOT_START,
    PlantFault.MOTOR_BY_HAND: MotorFault.BY_HAND,
}
#: By fault, what becomes of the contact at the open end and of the one at the shut end of a gate.
_SWITCHES = {
    PlantFault.SWITCH_DEAD: (SensorFault.DEAD, SensorFault.DEAD),
    PlantFault.SWITCH_SAYS_OPEN: (SensorFault.STUCK_ON, None),
    PlantFault.SWITCH_SAYS_SHUT: (SensorFault.DEAD, SensorFault.STUCK_ON),
    PlantFault.SWITCH_LOOSE: (SensorFault.LOOSE, SensorFault.LOOSE),
}
_SYSTEMS = (PlantFault.FULL_BIN, PlantFault.BLOCKED_FILTER, PlantFault.OPEN_CLEANOUT)


class SampleBreakage:
    """What is broken in one virtual shop.

    Args:
        plant: the virtual shop.
    """

    def __init__(self, plant: VirtualShop) -> None:
        self._plant = plant

    def put(self, fault: PlantFault | str, subject: str) -> None:
        """Break something.

        Raises:
            ValueError: a sentence, where there is no such fault or part, or the part cannot have it at this fidelity.
        """
        self._set(PlantFault(fault), subject, True)

    def mend(self, fault: PlantFault | str, subject: str) -> None:
        """Mend it again. Raises ValueError as ``put``."""
        self._set(PlantFault(fault), subject, False)

    def _set(self, fault: PlantFault, subject: str, is_broken: bool) -> None:
        plant, faults, life = self._plant, self._plant.faults, self._plant.life
        if fault in _GATES:
            faults.break_gate(subject, _GATES[fault] if is_broken else None)
        elif fault in _MOTORS:
            faults.break_motor(subject, _MOTORS[fault] if is_broken else None)
        elif fault in _SWITCHES:
            self._break_switches(fault, subject, is_broken)
        elif fault is PlantFault.CONVERTER_LOST:
            faults.mute(subject, is_broken)
        elif fault is PlantFault.MOTOR_TRIPPED:
            life.electricity.trip_motor(known("motor", subject, plant.shop.motors), is_broken)
        elif fault is PlantFault.BREAKER_TRIPPED:
            life.electricity.trip_feeder(subject, is_broken)
        elif fault in _SYSTEMS:
            life.air.break_system(fault, known("collector or tool vacuum", subject, life.air.systems), is_broken)
        elif fault is PlantFault.BLOCKED_BRANCH:
            life.air.block(known("gate", subject, plant.shop.gates), is_broken)
        else:
            name, broken = self._sensor(fault, subject)
            faults.break_sensor(name, broken if is_broken else None)

    def _break_switches(self, fault: PlantFault, gate: str, is_broken: bool) -> None:
        names = self._plant.faults.sensors()
        ends = [f"{end}:{gate}" for end in ("open", "shut")]
        known("gate with a position switch", gate, [name.partition(":")[2] for name in names if name in ends])
        for name, broken in zip(ends, _SWITCHES[fault], strict=True):
            if name in names:
                self._plant.faults.break_sensor(name, broken if is_broken else None)

    def _sensor(self, fault: PlantFault, subject: str) -> tuple[str, SensorFault]:
        """The sensor and what is wrong with it. A contact that cannot be believed is a loose one."""
        shop, faults = self._plant.shop, self._plant.faults
        if fault in (PlantFault.AIR_SWITCH_DEAD, PlantFault.AIR_SWITCH_STUCK_ON):
            stuck = fault is PlantFault.AIR_SWITCH_STUCK_ON
            return f"air:{subject}", SensorFault.STUCK_ON if stuck else SensorFault.DEAD
        name = f"confirm:{subject}"
        if fault not in (PlantFault.MOTOR_SENSOR_DEAD, PlantFault.MOTOR_SENSOR_STUCK_ON):
            circuit = shop.tools[known("tool", subject, shop.tools)].circuit
            name = f"circuit:{circuit}" if circuit is not None else f"tool:{subject}"
        is_contact = name in faults.sensors() and faults.can_be(name, SensorFault.LOOSE)
        if fault in (PlantFault.SENSOR_DEAD, PlantFault.MOTOR_SENSOR_DEAD):
            return name, SensorFault.LOOSE if is_contact else SensorFault.DEAD
        if fault in (PlantFault.SENSOR_STUCK_ON, PlantFault.MOTOR_SENSOR_STUCK_ON):
            return name, SensorFault.STUCK_ON
        if fault is PlantFault.SENSOR_SILENT and is_contact:
            return name, SensorFault.DEAD
        raise ValueError(f"A {fault.value} at {subject} can be played at the fidelity of signals only.")
