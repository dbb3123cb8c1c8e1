"""Servo gates: on a line of the board, and on a channel of a pulse generator chip.

How a move is kept and carried on stands in ``gate_moves``.
"""

from gatekeeper.devices.base import BoardDeath, DeviceError, Fate, Miss, Position, ReportMiss
from gatekeeper.devices.gate_moves import Move, TimedGate
from gatekeeper.devices.inputs import PositionSwitches
from gatekeeper.devices.pca9685 import BankChannel, ServoBank
from gatekeeper.devices.pins import Pins

SHORTEST_PULSE_S = 0.0005  # hobby servos, textbook
LONGEST_PULSE_S = 0.0025  # hobby servos, textbook
#: A servo that is nudged goes from end to end well within this; our own.
LONGEST_NUDGE_S = 10.0


def check_pulses(name: str, open_pulse_s: float, shut_pulse_s: float) -> None:
    """Refuse pulse widths of a gate that no servo takes.

    Raises:
        DeviceError: a width outside of 0.5 to 2.5 ms, or two equal ones.
    """
    for end, width_s in (("open", open_pulse_s), ("shut", shut_pulse_s)):
        if not SHORTEST_PULSE_S <= width_s <= LONGEST_PULSE_S:
            raise DeviceError(
                f"The {end} pulse of gate {name} is {width_s * 1000:g} ms. It must lie between "
                f"{SHORTEST_PULSE_S * 1000:g} ms and {LONGEST_PULSE_S * 1000:g} ms."
            )
    if open_pulse_s == shut_pulse_s:
        raise DeviceError(f"The open and the shut pulse of gate {name} are the same, so it would never move.")


class _EndedServo(TimedGate):
    """What both servo gates share: a pulse width for each end, and moves to widths in between for setting the ends."""

    _width_s: dict[Position, float]

    def nudge(self, now_s: float, width_s: float, for_s: float) -> None:
        """Send pulses of one width for a moment, while somebody sets the ends; ``tick`` ends them.

        Nobody asks here whether it may move: whoever calls it has made sure that the gate is held (C26), that its
        place is unproven, and that the fan stands still.

        Args:
            now_s: monotonic seconds.
            width_s: 0.0005 to 0.0025 s.
            for_s: how long the pulses go on, above 0 and at most 10 s.

        Raises:
            DeviceError: a value out of its range, or the actuator is closed. Nothing is sent then.
        """
        if not SHORTEST_PULSE_S <= width_s <= LONGEST_PULSE_S:
            raise DeviceError(
                f"A pulse of {width_s * 1000:g} ms is none for gate {self.name}. It must lie between "
                f"{SHORTEST_PULSE_S * 1000:g} ms and {LONGEST_PULSE_S * 1000:g} ms."
            )
        if not 0.0 < for_s <= LONGEST_NUDGE_S:
            raise DeviceError(f"Gate {self.name} is nudged for more than 0 s and at most {LONGEST_NUDGE_S:g} s.")
        with self._lock:
            if self._closed:
                raise DeviceError(f"The actuator of gate {self.name} is closed and cannot move any more.")
            self._width_s[Position.BETWEEN] = width_s
            self._drive(now_s, Position.BETWEEN)
            self._move = Move(Position.BETWEEN, now_s, now_s + for_s, driving=True)

    def _look(self, now_s: float, wanted: Position) -> Miss | None:
        # A nudge goes to no end that could be missed.
        return None if wanted is Position.BETWEEN else super()._look(now_s, wanted)


class ServoGate(_EndedServo):
    """A hobby servo on a GPIO line; pulses stop after the travel, the gate is held by friction.

    Wiring: signal from the line through 1 kilo-ohm, the servo on its own 5 to 6 V supply with a common ground, never
    on the board's 5 V pin. Software pulses jitter: for one small gate on the bench; a bank of servos wants a pulse
    generator chip.

    Args:
        pins: the board's lines.
        name: the gate's name.
        pin: GPIO number.
        open_pulse_s, shut_pulse_s: pulse widths at the two ends, 0.0005 to 0.0025 s, not equal.
        travel_s: time from end to end, above 0 and below 600 s.
        overrun_s: how much longer the pulses go on, 0 or more.
        switches, on_miss: position switches, and who hears that the gate did not arrive.

    Raises:
        DeviceError: a value out of its range, or the line cannot be claimed.
    """

    fate = Fate(
        at_power_up="No pulses: the servo is limp and the gate stays where it is.",
        when_process_dies="Pulses made by software end with the process: the gate stays where it is.",
        when_board_dies=BoardDeath.DROPS,
        in_words="When the board loses power the gate stays where it is; a person can push it.",
    )

    def __init__(
        self,
        pins: Pins,
        name: str,
        pin: int,
        *,
        open_pulse_s: float,
        shut_pulse_s: float,
        travel_s: float,
        overrun_s: float = 0.0,
        switches: PositionSwitches | None = None,
        on_miss: ReportMiss | None = None,
    ) -> None:
        super().__init__(name, travel_s=travel_s, overrun_s=overrun_s, dead_s=0.0, switches=switches, on_miss=on_miss)
        check_pulses(name, open_pulse_s, shut_pulse_s)
        self._width_s = {Position.OPEN: open_pulse_s, Position.SHUT: shut_pulse_s}
        self._pins = pins
        self._line = pins.pulses(name, pin)

    def _stop_before_reversal(self, now_s: float) -> None:
        """A servo turns round by itself as soon as the pulse width changes."""

    def _drive(self, now_s: float, to: Position) -> None:
        self._line.pulse(self._width_s[to])

    def _end_drive(self, now_s: float) -> None:
        if not self._closed:
            self._line.stop()

    def _let_go(self) -> None:
        self._line.stop()
        self._pins.release(self._line)


class BankServoGate(_EndedServo):
    """A servo on one channel of a ``ServoBank``; pulses stop after the travel, the gate is held by friction.

    Wiring: the servo's signal on the channel, its supply as the bank's docstring says. Jitter is the chip's, which is
    none to speak of; the ends are calibrated at the gate, each as a pulse width.

    A chip that lost its settings during the move, or cannot be reached at its end, has moved nothing from then on: that
    is a miss, with or without position switches.

    Args:
        bank: the chip.
        name: the gate's name.
        channel: 0 to 15.
        open_pulse_s, shut_pulse_s: pulse widths at the two ends, 0.0005 to 0.0025 s, not equal.
        travel_s: time from end to end, above 0 and below 600 s.
        overrun_s: how much longer the pulses go on, 0 or more.
        switches, on_miss: position switches, and who hears that the gate did not arrive.

    Raises:
        DeviceError: a value out of its range.
    """

    fate = Fate(
        at_power_up="No pulses: the resistor on the chip's output-enable line holds them off, the servo is limp.",
        when_process_dies="At rest the output-enable line is off and the servo stays limp; a gate that was moving goes "
        "on to its end and its servo stays powered there, until outputs-off or the next start (not measured on a real "
        "board).",
        when_board_dies=BoardDeath.DROPS,
        in_words="When the board loses power the resistor ends the pulses and the gate stays where it is; a person "
        "can push it.",
    )

    def __init__(
        self,
        bank: ServoBank,
        name: str,
        channel: int,
        *,
        open_pulse_s: float,
        shut_pulse_s: float,
        travel_s: float,
        overrun_s: float = 0.0,
        switches: PositionSwitches | None = None,
        on_miss: ReportMiss | None = None,
    ) -> None:
        super().__init__(name, travel_s=travel_s, overrun_s=overrun_s, dead_s=0.0, switches=switches, on_miss=on_miss)
        check_pulses(name, open_pulse_s, shut_pulse_s)
        self._width_s = {Position.OPEN: open_pulse_s, Position.SHUT: shut_pulse_s}
        self._channel = BankChannel(bank, channel)
        self._was_sent = True

    def _stop_before_reversal(self, now_s: float) -> None:
        """A servo turns round by itself as soon as the pulse width changes."""

    def _drive(self, now_s: float, to: Position) -> None:
        self._channel.pulse(self._width_s[to])

    def _end_drive(self, now_s: float) -> None:
        try:
            self._was_sent = self._channel.stop()
        except DeviceError:
            self._was_sent = False  # the output-enable line has ended the pulses

    def _look(self, now_s: float, wanted: Position) -> Miss | None:
        if not self._was_sent and wanted is not Position.BETWEEN:
            seen = self.position()
            return Miss(now_s, self.name, wanted, seen if seen is not None else Position.BETWEEN)
        return super()._look(now_s, wanted)

    def _let_go(self) -> None:
        self._end_drive(0.0)
