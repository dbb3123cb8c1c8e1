"""Gates on a reversible motor: two relays, or a bridge, one output for each way.

How a move is kept and carried on stands in ``gate_moves``.
"""

from gatekeeper.devices.base import BoardDeath, Contact, DeviceError, Fate, Miss, Position, ReportMiss
from gatekeeper.devices.gate_moves import Move, TimedGate
from gatekeeper.devices.inputs import PositionSwitches
from gatekeeper.devices.pins import OutputLine, Pins, all_off

LEAST_DEAD_S = 0.1  # the hardware notes ask for at least 100 ms between the two relays of a pair
#: While it drives, switch and current are looked at this often.
LOOK_S = 0.02
#: A motor's inrush, and the share of the travel before which a stop by current is no arrival; both our own.
INRUSH_S = 0.4
FREE_SHARE = 0.7


class RelayPairGate(TimedGate):
    """A reversible motor on two relays, one for each way: never both on, and a dead time before turning round.

    Wiring: two changeover relays with normally open to plus and normally closed to minus, so that both off and even
    both on is a brake and no short; limit switches in series with the motor; a varistor or a two-way suppressor across
    it, never a plain diode; a 10 kilo-ohm resistor from each line to ground. The drive ends after travel and overrun
    even when the limit switches have cut the current long before; that is the run limit.

    With ``current_stop`` a contact ends it sooner: a comparator or a current relay, made above the largest current of
    a free move. The motor's inrush is passed over for 0.4 s, and two looks 20 ms apart must agree. Stopped before 70 %
    of its travel the gate has met something and counts as missed; after that it has met its end. Position
    switches, where there are any, are believed before that.

    Args:
        pins: the board's lines.
        name: the gate's name.
        open_pin, shut_pin: GPIO numbers of the two relays.
        travel_s: time from end to end, above 0 and below 600 s.
        dead_s: both off before turning round, at least 0.1 s.
        overrun_s: how much longer than the travel the relay stays on, 0 or more.
        active_high: True when the high level switches a relay on.
        stops_at_switch: the drive also ends as soon as the position switch where it goes is made.
        current_stop: the contact that is made when the motor draws too much.
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
        stops_at_switch: bool = False,
        current_stop: Contact | None = None,
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
        self._current_stop = current_stop
        self._ends_at_switch = switches if stops_at_switch else None
        self._next_look_s = 0.0
        self._over = 0

    def tick(self, now_s: float) -> None:
        """Carry the move on, and end it at its switch or by its current."""
        miss: Miss | None = None
        with self._lock:
            move = self._move
            if self._looks and move is not None and move.driving and self._next_look_s <= now_s < move.ends_s:
                self._next_look_s = now_s + LOOK_S
                miss = self._glance(now_s, move)
        if miss is not None and self._on_miss is not None:
            self._on_miss(miss)
        super().tick(now_s)

    def next_deadline(self) -> float | None:
        """When the next ``tick`` is due: while it drives, every 20 ms where there is something to look at."""
        due, move = super().next_deadline(), self._move
        if due is None or not self._looks or move is None or not move.driving:
            return due
        return min(due, self._next_look_s)

    @property
    def _looks(self) -> bool:
        return self._current_stop is not None or self._ends_at_switch is not None

    def _glance(self, now_s: float, move: Move) -> Miss | None:
        """End the drive where the gate is there, or draws too much."""
        drives_s = now_s - (move.ends_s - self.travel_s - self._overrun_s)
        if self._ends_at_switch is not None and self._ends_at_switch.position() is move.to:
            self._move = None
            self._end_drive(now_s)
            return None
        is_over = self._current_stop is not None and self._current_stop.made() and drives_s >= INRUSH_S
        self._over = self._over + 1 if is_over else 0
        if self._over < 2:
            return None
        self._move = None
        self._end_drive(now_s)
        if self._switches is not None and self._switches.sees(move.to):
            return self._look(now_s, move.to)
        is_early = drives_s < FREE_SHARE * self.travel_s
        return Miss(now_s, self.name, move.to, Position.BETWEEN) if is_early else None

    def _begins_s(self, now_s: float, to: Position) -> float:
        if self._last_way is None or self._last_way is to:
            return now_s
        return max(now_s, self._off_since_s + self.dead_s)

    def _drive(self, now_s: float, to: Position) -> None:
        other = Position.SHUT if to is Position.OPEN else Position.OPEN
        self._relays[other].off()
        self._last_way = to
        self._over, self._next_look_s = 0, now_s + LOOK_S
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


class BridgeGate(RelayPairGate):
    """A linear actuator or gear motor on an H-bridge: an input for each way, and perhaps one that enables it.

    Both inputs low: the motor is off. The same dead time, run limit, switches and current stop as a pair of relays; the
    position switches end the drive, since nothing else cuts a bridge.

    Wiring: the bridge's two inputs on two lines, its enable input on a third or tied to its supply; a 10 kilo-ohm
    resistor from each line to ground; the motor's supply of its own, fused, grounds joined. A bridge with a current
    sense output: through a comparator to the contact of ``current_stop``. Limit switches in series with the motor, each
    with a diode across it that lets the motor run the other way.

    Args:
        pins, name, open_pin, shut_pin, travel_s, dead_s, overrun_s, current_stop, switches, on_miss: as for
            ``RelayPairGate``.
        enable_pin: the line of its enable input, on only while the gate is driven; None where it has none.

    Raises:
        DeviceError: a value out of its range, or a line cannot be claimed.
    """

    fate = Fate(
        at_power_up="All inputs are low, so the motor is off and the gate stays where it is.",
        when_process_dies="On Raspberry Pi OS a motor that ran goes on until the limit switch in its wire cuts it (not "
        "measured on a real board).",
        when_board_dies=BoardDeath.DROPS,
        in_words="When the board loses power the bridge's inputs fall and the gate stays where it is.",
    )

    def __init__(
        self,
        pins: Pins,
        name: str,
        open_pin: int,
        shut_pin: int,
        *,
        travel_s: float,
        enable_pin: int | None = None,
        dead_s: float = LEAST_DEAD_S,
        overrun_s: float = 0.0,
        current_stop: Contact | None = None,
        switches: PositionSwitches | None = None,
        on_miss: ReportMiss | None = None,
    ) -> None:
        super().__init__(
            pins,
            name,
            open_pin,
            shut_pin,
            travel_s=travel_s,
            dead_s=dead_s,
            overrun_s=overrun_s,
            stops_at_switch=True,
            current_stop=current_stop,
            switches=switches,
            on_miss=on_miss,
        )
        self._enable = pins.output(OutputLine(f"{name}, enable", enable_pin)) if enable_pin is not None else None

    def _drive(self, now_s: float, to: Position) -> None:
        super()._drive(now_s, to)
        if self._enable is not None:
            self._enable.on()

    def _end_drive(self, now_s: float) -> None:
        try:
            if self._enable is not None and not self._closed:
                self._enable.off()
        finally:
            super()._end_drive(now_s)

    def _let_go(self) -> None:
        try:
            if self._enable is not None:
                self._enable.off()
        finally:
            super()._let_go()
            if self._enable is not None:
                self._pins.release(self._enable)
