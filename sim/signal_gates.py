"""A gate's driver at signals fidelity: the very moves of the real drivers, straight on a slide instead of on lines."""

from collections.abc import Callable

from gatekeeper.devices.base import BoardDeath, Fate, Position, ReportMiss
from gatekeeper.devices.gate_moves import TimedGate
from gatekeeper.devices.inputs import PositionSwitches
from gatekeeper.shop.model import Gate, GateEnd
from sim.parts import Slide

_FATE = Fate(
    at_power_up="The gate stays where it is.",
    when_process_dies="The gate stays where it is; a spring moves its own.",
    when_board_dies=BoardDeath.DROPS,
    in_words="When the board loses power the gate stays where it is; a spring moves its own.",
)


class SlideGate(TimedGate):
    """The driver of one gate that moves by itself.

    Args:
        gate: the gate.
        slide: what it moves.
        switches: its position switches, or None.
        on_miss: hears that it did not arrive.
        on_drive: called with the instant whenever the drive has changed.
        share: draws the share of the file's travel time that the next move takes.
    """

    fate = _FATE

    def __init__(
        self,
        gate: Gate,
        slide: Slide,
        switches: PositionSwitches | None,
        on_miss: ReportMiss,
        on_drive: Callable[[float], None],
        share: Callable[[], float],
    ) -> None:
        dead_s = gate.relays.dead_s if gate.relays is not None else 0.0
        super().__init__(
            gate.name, travel_s=gate.travel_s, overrun_s=0.0, dead_s=dead_s, switches=switches, on_miss=on_miss
        )
        self.has_pair = gate.relays is not None
        self.has_pair = gate.relays is not None
        self.spring_return = gate.coil is not None
        self.can_halt = not self.spring_return
        self._gate, self._slide, self._on_drive, self._share = gate, slide, on_drive, share
        self._last_way: Position | None = None
        self._off_since_s = 0.0

    def halt(self, now_s: float) -> None:
        """Stop where it is; a coil and its spring are held as they are."""
        if not self.spring_return:
            super().halt(now_s)

    def process_dies(self, now_s: float) -> None:
        """Its process is gone: a servo's pulses end, a relay or a coil keeps its level."""
        self._move = None
        if not self.has_pair and not self.spring_return:
            self._slide.drive(now_s, None)
            self._on_drive(now_s)

    def to_rest(self, now_s: float) -> None:
        """Its lines are at rest: nothing drives any more, and a spring does as springs do."""
        self._move = None
        coil = self._gate.coil
        self._slide.drive(now_s, None if coil is None else float(coil.holds is not GateEnd.OPEN))
        self._on_drive(now_s)

    def _stop_before_reversal(self, now_s: float) -> None:
        if self.has_pair:
            self._end_drive(now_s)

    def _begins_s(self, now_s: float, to: Position) -> float:
        if not self.has_pair or self._last_way is None or self._last_way is to:
            return now_s
        return max(now_s, self._off_since_s + self.dead_s)

    def _drive(self, now_s: float, to: Position) -> None:
        self._last_way = to
        self._slide.settle(now_s)
        self._slide.set_travel_share(self._share())
        self._slide.drive(now_s, 1.0 if to is Position.OPEN else 0.0)
        self._on_drive(now_s)

    def _end_drive(self, now_s: float) -> None:
        if self.spring_return:
            return
        self._slide.drive(now_s, None)
        self._off_since_s = now_s
        self._on_drive(now_s)

    def _let_go(self) -> None:
        """There are no lines to give back."""
