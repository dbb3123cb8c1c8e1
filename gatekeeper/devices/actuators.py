"""Gate actuators: relay pair, spring-return relay, and the hand gate that has none. Servos are in ``servos``.

How a move is kept and carried on stands in ``gate_moves``.
"""

from gatekeeper.devices.base import BoardDeath, DeviceError, Fate, Position, ReportMiss
from gatekeeper.devices.gate_moves import TimedGate
from gatekeeper.devices.inputs import PositionSwitches
from gatekeeper.devices.pins import OutputLine, Pins, all_off

LEAST_DEAD_S = 0.1  # the hardware notes ask for at least 100 ms between the two relays of a pair


class RelayPairGate(TimedGate):
    """A reversible motor on two relays, one for each way: never both on, and a dead time before turning round.

    Wiring: two changeover relays with normally open to plus and normally closed to minus, so that both off and even
    both on is a brake and no short; limit switches in series with the motor; a varistor or a two-way suppressor across
    it, never a plain diode; a 10 kilo-ohm resistor from each line to ground. The drive ends after travel and overrun
    even when the limit switches have cut the current long before.

    Args:
        pins: the board's lines.
        name: the gate's name.
        open_pin, shut_pin: GPIO numbers of the two relays.
        travel_s: time from end to end, above 0 and below 600 s.
        dead_s: both off before turning round, at least 0.1 s.
        overrun_s: how much longer than the travel the relay stays on, 0 or more.
        active_high: True when the high level switches a relay on.
        switches, on_miss: position switches, and who hears that the gate did not arrive.

    Raises:
        DeviceError: a value out of its range, or a line cannot be claimed.
    """

    fate = Fate(
        at_power_up="Both relays are off: the gate stays where it is.",
        when_process_dies="On Raspberry Pi OS a relay that was on stays on until the limit switch cuts it (not "
        "measured on a real board).",
        when_board_dies=BoardDeath.DROPS,
        in_words="When the board loses power both relays drop and the gate stays where it is.",
    )

    def __init__(
        self,
        pins: Pins,
        name: str,
        open_pin: int,
        shut_pin: int,
        *,
        travel_s: float,
        dead_s: float = LEAST_DEAD_S,
        overrun_s: float = 0.0,
        active_high: bool = True,
        switches: PositionSwitches | None = None,
        on_miss: ReportMiss | None = None,
    ) -> None:
        super().__init__(
            name, travel_s=travel_s, overrun_s=overrun_s, dead_s=dead_s, switches=switches, on_miss=on_miss
        )
        if not dead_s >= LEAST_DEAD_S:
            raise DeviceError(f"The dead time of gate {name} is {dead_s:g} s. It must be at least {LEAST_DEAD_S:g} s.")
        self._pins = pins
        self._relays = {
            Position.OPEN: pins.output(OutputLine(f"{name}, opening relay", open_pin, active_high)),
            Position.SHUT: pins.output(OutputLine(f"{name}, shutting relay", shut_pin, active_high)),
        }
        self._last_way: Position | None = None
        self._off_since_s = 0.0

    def _begins_s(self, now_s: float, to: Position) -> float:
        if self._last_way is None or self._last_way is to:
            return now_s
        return max(now_s, self._off_since_s + self.dead_s)

    def _drive(self, now_s: float, to: Position) -> None:
        other = Position.SHUT if to is Position.OPEN else Position.OPEN
        self._relays[other].off()
        self._last_way = to
        self._relays[to].on()

    def _end_drive(self, now_s: float) -> None:
        if self._closed:
            return
        was_on = any(relay.is_on() for relay in self._relays.values())
        all_off(self._relays.values())
        if was_on:
            self._off_since_s = now_s

    def _let_go(self) -> None:
        try:
            all_off(self._relays.values())
        finally:
            for relay in self._relays.values():
                self._pins.release(relay)


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
