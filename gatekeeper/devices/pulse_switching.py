"""Motor switches that a stuck level cannot keep on: a relay that needs steady pulses, and a push-button starter."""

import time
from collections.abc import Callable

from gatekeeper.devices.base import BoardDeath, Clock, DeviceError, Fate, ReportLapse
from gatekeeper.devices.pins import OutputLine, Pins, all_off
from gatekeeper.devices.switching import LeasedSwitch

PULSES_HZ = 20.0
#: The guardian's thread looks every 0.1 s before a first pulse, and a busy program may keep it from the next ones.
LEAST_DROP_S = 0.3
SHORTEST_PRESS_S, LONGEST_PRESS_S = 0.1, 2.0


class SteadyPulseSwitch(LeasedSwitch):
    """A relay that stays on only while its line keeps changing: a level stuck high, or low, lets it drop.

    The pulses are made by ``tick``, which the lease guardian's thread calls; so they end with the lease, and with the
    program, whether it ends, hangs or is killed, whatever level the kernel leaves the line at.

    Wiring: the line through a capacitor into a diode pump that holds the relay's transistor (a charge pump), or a
    retriggerable timer module fed from the line, with a time of its own of 0.3 s or more; a 10 kilo-ohm resistor from
    the line to ground; the relay's normally open contact in the coil circuit (24 V), after the hard-wired stop and the
    starter's overload. Mains wiring by a licensed electrician.

    Args:
        pins: the board's lines.
        name: the motor's name.
        pin: GPIO number.
        drops_after_s: the relay's own time without a pulse, at least 0.3 s.
        pulses_hz: pulses a second; several must fit into ``drops_after_s``.
        longest_lease_s, on_lapse: as for every leased switch.

    Raises:
        DeviceError: a value out of its range, or the line cannot be claimed.
    """

    fate = Fate(
        at_power_up="Nothing pulses, so the relay is off, whatever level the line has.",
        when_process_dies="The pulses end with the program and the relay drops after its own time, whatever level the "
        "line is left at (not measured on a real board).",
        when_board_dies=BoardDeath.DROPS_LATER,
        in_words="When the board loses power or hangs, the pulses end and the relay drops after its own time.",
    )

    def __init__(
        self,
        pins: Pins,
        name: str,
        pin: int,
        *,
        drops_after_s: float,
        pulses_hz: float = PULSES_HZ,
        longest_lease_s: float = 10.0,
        on_lapse: ReportLapse | None = None,
    ) -> None:
        if not drops_after_s >= LEAST_DROP_S:
            raise DeviceError(
                f"The relay of {name} drops {drops_after_s:g} s after the last pulse. It must hold at least "
                f"{LEAST_DROP_S:g} s, or a busy board lets it drop."
            )
        if not pulses_hz * drops_after_s >= 3.0:
            raise DeviceError(
                f"{pulses_hz:g} pulses a second are too few for the relay of {name}: three must fit into its "
                f"{drops_after_s:g} s."
            )
        super().__init__(name, longest_lease_s=longest_lease_s, on_lapse=on_lapse)
        self._half_s = 0.5 / pulses_hz
        self._pins = pins
        self._line = pins.output(OutputLine(name, pin))
        self._turns_s: float | None = None

    def _power(self, on: bool, now_s: float | None) -> None:
        self._turns_s = now_s + self._half_s if on and now_s is not None else None
        self._line.put(on)

    def _carry_on(self, now_s: float) -> None:
        if self._turns_s is not None and now_s >= self._turns_s:
            self._turns_s = now_s + self._half_s
            self._line.put(not self._line.is_on())

    def _next_s(self) -> float | None:
        return self._turns_s

    def _release(self) -> None:
        self._pins.release(self._line)


class StarterSwitch(LeasedSwitch):
    """A push-button starter: one relay presses its start button, another its stop button, each for a short time.

    The starter holds itself. So nothing of ours keeps it on and nothing of ours drops it: when the board dies, the
    motor runs on. ``off`` and the end of a lease press stop, also when the motor was never started from here.

    Wiring: the start relay's normally open contact beside the start button, the stop relay's normally closed contact in
    series with the stop button; a 10 kilo-ohm resistor from each line to ground. A current sensor on the motor must
    tell whether it runs. Mains wiring by a licensed electrician.

    Args:
        pins: the board's lines.
        name: the motor's name.
        start_pin, stop_pin: GPIO numbers of the two relays.
        press_s: how long a button is pressed, 0.1 to 2 s.
        active_high: True when the high level switches a relay on.
        clock: monotonic seconds, for an ``off`` that was not told the time.
        wait: waits that many seconds; ``close`` lets a press of stop last its time.
        longest_lease_s, on_lapse: as for every leased switch.

    Raises:
        DeviceError: a value out of its range, or a line cannot be claimed.
    """

    fate = Fate(
        at_power_up="Both relays are off, and the starter stays as it was.",
        when_process_dies="The starter holds itself: a motor that runs runs on until the next start of the program or "
        "somebody stops it. On Raspberry Pi OS a button that was just being pressed stays pressed until outputs-off or "
        "that start (not measured on a real board).",
        when_board_dies=BoardDeath.STAYS,
        in_words="When the board loses power the starter holds itself: the motor runs on until somebody stops it.",
    )

    def __init__(
        self,
        pins: Pins,
        name: str,
        start_pin: int,
        stop_pin: int,
        *,
        press_s: float = 0.5,
        active_high: bool = True,
        clock: Clock = time.monotonic,
        wait: Callable[[float], None] = time.sleep,
        longest_lease_s: float = 10.0,
        on_lapse: ReportLapse | None = None,
    ) -> None:
        if not SHORTEST_PRESS_S <= press_s <= LONGEST_PRESS_S:
            raise DeviceError(f"The buttons of {name} are pressed for {press_s:g} s. It must be 0.1 s to 2 s.")
        super().__init__(name, longest_lease_s=longest_lease_s, on_lapse=on_lapse)
        self._press_s = press_s
        self._clock = clock
        self._wait = wait
        self._pins = pins
        self._start = pins.output(OutputLine(f"{name}, start relay", start_pin, active_high))
        self._stop = pins.output(OutputLine(f"{name}, stop relay", stop_pin, active_high))
        self._lets_go_s: float | None = None

    def _power(self, on: bool, now_s: float | None) -> None:
        button, other = (self._start, self._stop) if on else (self._stop, self._start)
        other.off()
        if not button.is_on():
            button.on()
            self._lets_go_s = (self._clock() if now_s is None else now_s) + self._press_s

    def _carry_on(self, now_s: float) -> None:
        if self._lets_go_s is not None and now_s >= self._lets_go_s:
            all_off((self._start, self._stop))
            self._lets_go_s = None

    def _next_s(self) -> float | None:
        return self._lets_go_s

    def _release(self) -> None:
        try:
            if self._lets_go_s is not None:
                self._wait(max(0.0, min(self._press_s, self._lets_go_s - self._clock())))
            all_off((self._start, self._stop))
        finally:
            self._lets_go_s = None
            for relay in (self._start, self._stop):
                self._pins.release(relay)
