"""What is broken in a plant at samples fidelity: each ``PlantFault`` in the words of the virtual shop's own faults."""

from sim.faults import GateFault, MotorFault, SensorFault, known
from sim.lying_sensors import CurrentLie
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
#: Sensors of currents that read and say what is not so.
_LIES = {
    PlantFault.SENSOR_STUCK_ON: CurrentLie.STUCK_ON,
    PlantFault.SENSOR_SILENT: CurrentLie.SILENT,
    PlantFault.SENSOR_NOISY: CurrentLie.NOISY,
    PlantFault.MOTOR_SENSOR_STUCK_ON: CurrentLie.STUCK_ON,
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
        elif fault is PlantFault.SENSORS_SWAPPED:
            self._swap(subject, is_broken)
        elif fault in _LIES:
            name = self._watching(fault, subject)
            known("sensor", name, faults.sensors())
            plant.lying.set(name, _LIES[fault] if is_broken else None)
        else:
            name, broken = self._sensor(fault, subject)
            faults.break_sensor(name, broken if is_broken else None)

    def _swap(self, tool: str, is_broken: bool) -> None:
        tools = list(self._plant.shop.tools)
        known("tool", tool, tools)
        if len(tools) < 2:
            raise ValueError("This shop has one tool only: there is no other sensor to exchange.")
        other = tools[(tools.index(tool) + 1) % len(tools)]
        one, two = (self._watching(PlantFault.SENSORS_SWAPPED, name) for name in (tool, other))
        self._plant.lying.swap(one, two, is_broken)

    def _break_switches(self, fault: PlantFault, gate: str, is_broken: bool) -> None:
        names = self._plant.faults.sensors()
        ends = [f"{end}:{gate}" for end in ("open", "shut")]
        known("gate with a position switch", gate, [name.partition(":")[2] for name in names if name in ends])
        for name, broken in zip(ends, _SWITCHES[fault], strict=True):
            if name in names:
                self._plant.faults.break_sensor(name, broken if is_broken else None)

    def _sensor(self, fault: PlantFault, subject: str) -> tuple[str, SensorFault]:
        """The sensor and what is wrong with it. A contact that cannot be believed is a loose one."""
        faults = self._plant.faults
        if fault in (PlantFault.AIR_SWITCH_DEAD, PlantFault.AIR_SWITCH_STUCK_ON):
            stuck = fault is PlantFault.AIR_SWITCH_STUCK_ON
            return f"air:{subject}", SensorFault.STUCK_ON if stuck else SensorFault.DEAD
        name = self._watching(fault, subject)
        is_contact = name in faults.sensors() and faults.can_be(name, SensorFault.LOOSE)
        return name, SensorFault.LOOSE if is_contact else SensorFault.DEAD

    def _watching(self, fault: PlantFault, subject: str) -> str:
        """The sensor that watches a motor, or a tool or its circuit."""
        if fault in (PlantFault.MOTOR_SENSOR_DEAD, PlantFault.MOTOR_SENSOR_STUCK_ON):
            return f"confirm:{subject}"
        shop = self._plant.shop
        circuit = shop.tools[known("tool", subject, shop.tools)].circuit
        return f"circuit:{circuit}" if circuit is not None else f"tool:{subject}"
