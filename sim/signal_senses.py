"""All sensors of a shop at signals fidelity: made from its file, woken and put to sleep together."""

from collections.abc import Callable
from functools import partial

from gatekeeper.control.messages import AirSeen, Event, InputSeen, MotorSeen, ToolSeen
from gatekeeper.devices.inputs import PositionSwitches
from gatekeeper.sensing.circuits import ToolBand
from gatekeeper.sensing.seen import Reason
from gatekeeper.service.care_contacts import refuses
from gatekeeper.shop.model import InputKind, Sensor
from sim.faults import known
from sim.position_senses import GateSwitches
from sim.senses import (
    CIRCUIT_DELAYS,
    QUICK_DELAYS,
    SWITCH_DELAYS,
    CircuitSense,
    Delays,
    Later,
    Sense,
    clamp_delays,
    meter_delays,
)
from sim.stage import Stage

CIRCUITS = (InputKind.RED_BUTTON, InputKind.FIRE, InputKind.DOOR)


class ShopSenses:
    """Every sensor of one shop: of tools, circuits, motors (run sensors), air switches, inputs and gates, by name.

    Args:
        stage: the shop.
        later: runs something after so many seconds of the play.
        tell: takes what they say.
    """

    def __init__(self, stage: Stage, later: Later, tell: Callable[[Event], None]) -> None:
        self._stage, self._shop, self._later, self._tell = stage, stage.shop, later, tell
        self.tools: dict[str, Sense] = {}
        self.circuits: dict[str, CircuitSense] = {}
        self.motors: dict[str, Sense] = {}
        self.air: dict[str, Sense] = {}
        self.inputs: dict[str, Sense] = {}
        self.gates: dict[str, GateSwitches] = {}
        shop = self._shop
        for tool in shop.tools.values():
            if tool.sensor is not None:
                self.tools[tool.name] = Sense(self._delays(tool.sensor), later, partial(self._tool_said, tool.name))
        for circuit in shop.circuits.values():
            bands = [(name, shop.tools[name].band_a) for name in circuit.tools]
            are_told_apart = len(bands) > 1 and all(band is not None for _, band in bands)
            self.circuits[circuit.name] = CircuitSense(
                circuit.tools,
                tuple(ToolBand(name, *band) for name, band in bands if band is not None) if are_told_apart else (),
                {name: self._stage.tool_loads[name].running_a for name in circuit.tools},
                max((self._stage.tool_loads[name].run_up_s for name in circuit.tools), default=0.0),
                self._delays(circuit.sensor),
                later,
                tell,
            )
        for motor in shop.motors.values():
            if motor.confirmed_by is not None:
                self.motors[motor.name] = Sense(
                    self._delays(motor.confirmed_by), later, partial(self._motor_said, motor.name)
                )
            if motor.air_proof is not None:
                self.air[motor.name] = Sense(QUICK_DELAYS, later, partial(self._air_said, motor.name))
        for name, part in shop.inputs.items():
            if part.kind in CIRCUITS or refuses(shop, part):
                self.inputs[name] = Sense(CIRCUIT_DELAYS, later, partial(self._input_said, name))
        for gate in shop.gates.values():
            if gate.open_contact is not None or gate.shut_contact is not None:
                self.gates[gate.name] = GateSwitches(gate, later, tell)

    def wake(self) -> None:
        """The controller listens from now on: every sensor says its first word."""
        for sense in self._all():
            sense.wake()

    def sleep(self) -> None:
        """Nobody listens any more."""
        for sense in self._all():
            sense.sleep()

    def feel_tool(self, name: str, runs: bool) -> None:
        """What the sensor that watches a tool is to see."""
        circuit = self._shop.tools[name].circuit
        if circuit is not None:
            self.circuits[circuit].feel(name, runs)
        else:
            self.tools[name].feel(runs)

    def feel_motor(self, name: str, has_power: bool) -> None:
        """What a motor's run sensor is to see."""
        if name in self.motors:
            self.motors[name].feel(has_power)

    def feel_air(self, name: str, moves: bool) -> None:
        """What a motor's air switch is to see."""
        if name in self.air:
            self.air[name].feel(moves)

    def feel_gate(self, name: str, at_open: bool, at_shut: bool) -> None:
        """What a gate's position switches are to see."""
        if name in self.gates:
            self.gates[name].feel(at_open, at_shut)

    def _all(self) -> list[Sense | CircuitSense | GateSwitches]:
        return [
            *self.inputs.values(),
            *self.gates.values(),
            *self.air.values(),
            *self.motors.values(),
            *self.circuits.values(),
            *self.tools.values(),
        ]

    def _delays(self, sensor: Sensor) -> Delays:
        if sensor.contact is not None:
            return SWITCH_DELAYS
        if sensor.metered is not None:
            meter = self._shop.meters[sensor.metered.meter]
            return meter_delays(meter.every_s, meter.silence_s)
        return clamp_delays(self._shop.mains_hz)

    def sense_of_tool(self, name: str) -> Sense:
        """The one sensor that watches a tool, or the circuit that it is on."""
        circuit = self._shop.tools[known("tool", name, self._shop.tools)].circuit
        return self.circuits[circuit].sense if circuit is not None else self.tools[name]

    def switches_of(self, name: str) -> GateSwitches:
        """A gate's position switches."""
        return self.gates[known("gate with a position switch", name, self.gates)]

    def for_driver(self, name: str) -> PositionSwitches | None:
        """A gate's switches as its driver reads them, or None."""
        switches = self.gates.get(name)
        return None if switches is None else switches.for_driver()

    def _tool_said(self, name: str, yes: bool | None, fresh: bool) -> None:
        if yes is None:
            self._tell(ToolSeen(name, "stale", Reason.LOST_BIAS.sentence, False))
        else:
            why = None if fresh else Reason.FIRST_LOOK.sentence
            self._tell(ToolSeen(name, "running" if yes else "stopped", why, fresh))

    def _motor_said(self, motor: str, yes: bool | None, fresh: bool) -> None:
        self._tell(MotorSeen(motor, "lost" if yes is None else "running" if yes else "still"))

    def _air_said(self, name: str, yes: bool | None, fresh: bool) -> None:
        self._tell(AirSeen(name, yes is True))

    def _input_said(self, name: str, yes: bool | None, fresh: bool) -> None:
        # What cannot be believed counts as open.
        self._tell(InputSeen(name, "made" if yes is False else "open"))
