"""Gate actuators: spring-return relay, and the hand gate that has none.

Servos are in ``servos``, reversible motors in ``reversing``, a gate behind a broker in ``mqtt_gate``.

How a move is kept and carried on stands in ``gate_moves``.
"""

from gatekeeper.devices.base import BoardDeath, DeviceError, Fate, Position, ReportMiss
from gatekeeper.devices.gate_moves import TimedGate
from gatekeeper.devices.inputs import PositionSwitches
from gatekeeper.devices.pins import OutputLine, Pins


def spring_fate(held: Position) -> Fate:
    """What a gate does that its coil holds at ``held``: its spring brings it to the other end."""
    spring_end = "shut" if held is Position.OPEN else "open"
    return Fate(
        at_power_up=f"The coil is off: the spring brings the gate {spring_end}.",
        when_process_dies="On Raspberry Pi OS the coil keeps its state (not measured on a real board).",
        when_board_dies=BoardDeath.DROPS,
        in_words=f"When the board loses power the spring brings the gate {spring_end}.",
    )


class SpringGate(TimedGate):
    """A gate held at one end by a coil (solenoid or air valve) and brought back to the other by a spring.

    It cannot stop half way: ``halt`` leaves the coil as it is, so the gate is held, and a move under way goes on to its
    end. ``close`` drops the coil.

    Wiring: one relay or transistor on the line with a 10 kilo-ohm resistor to ground, a diode across a DC coil.

    Args:
        pins: the board's lines.
        name: the gate's name.
        pin: GPIO number.
        held: the end at which the coil holds the gate; the spring's end is the other one.
        travel_s: the longer of the two travel times, above 0 and below 600 s.
        active_high: True when the high level feeds the coil.
        switches, on_miss: position switches, and who hears that the gate did not arrive.

    Raises:
        DeviceError: a value out of its range, or the line cannot be claimed.
    """

    can_halt = False
    spring_return = True

    def __init__(
        self,
        pins: Pins,
        name: str,
        pin: int,
        *,
        held: Position,
        travel_s: float,
        active_high: bool = True,
        switches: PositionSwitches | None = None,
        on_miss: ReportMiss | None = None,
    ) -> None:
        super().__init__(name, travel_s=travel_s, overrun_s=0.0, dead_s=0.0, switches=switches, on_miss=on_miss)
        if held is Position.BETWEEN:
            raise DeviceError(f"The coil of gate {name} must hold it open or shut, not between.")
        self._held = held
        self._pins = pins
        self._coil = pins.output(OutputLine(name, pin, active_high))
        self.fate = spring_fate(held)

    def halt(self, now_s: float) -> None:
        """Hold: the coil stays as it is. The move's end is still awaited by ``tick``."""

    def _stop_before_reversal(self, now_s: float) -> None:
        """The coil changes in ``_drive``; there is nothing to stop first."""

    def _drive(self, now_s: float, to: Position) -> None:
        self._coil.put(to is self._held)

    def _end_drive(self, now_s: float) -> None:
        """The coil goes on holding."""

    def _let_go(self) -> None:
        self._coil.off()
        self._pins.release(self._coil)


class HandGate:
    """A gate that people move; it may have position switches. It refuses every command.

    Args:
        name: the gate's name.
        switches: position switches, or None: then nobody but a person knows where it stands.
    """

    travel_s = 0.0
    dead_s = 0.0
    can_halt = False
    spring_return = False
    fate = Fate(
        at_power_up="It stays where it is.",
        when_process_dies="It stays where it is.",
        when_board_dies=BoardDeath.DROPS,
        in_words="The gate is moved by hand and stays where it is.",
    )

    def __init__(self, name: str, switches: PositionSwitches | None = None) -> None:
        self.name = name
        self._switches = switches

    def open(self, now_s: float) -> None:
        """Raises DeviceError always."""
        raise DeviceError(f"Gate {self.name} is moved by hand. Open it yourself.")

    def shut(self, now_s: float) -> None:
        """Raises DeviceError always."""
        raise DeviceError(f"Gate {self.name} is moved by hand. Shut it yourself.")

    def halt(self, now_s: float) -> None:
        """There is nothing to stop."""

    def tick(self, now_s: float) -> None:
        """There is nothing to carry on."""

    def next_deadline(self) -> float | None:
        """Never due."""
        return None

    def position(self) -> Position | None:
        """What the position switches say now, or None without switches."""
        return None if self._switches is None else self._switches.position()

    def close(self) -> None:
        """There is nothing to give back."""
