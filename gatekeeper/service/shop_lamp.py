"""The lamp for the whole shop: lit while a message of its heap, or a worse one, stands.

It is looked at in the control thread after each step, so it shows what the core believes even when page and disk do
not answer. A lamp that cannot be written is a trouble of the board's lines and stops nothing.
"""

from collections.abc import Callable, Iterable

from gatekeeper.control.alarms import FAULTS
from gatekeeper.control.snapshot import CoreView
from gatekeeper.devices.base import DeviceError
from gatekeeper.devices.pins import OutputLine, Pins
from gatekeeper.service.troubles import TROUBLES, kept_apart
from gatekeeper.shop.model import MessageLamp

_ORDER = ("now", "today", "when_you_can")
NAME = "message lamp"
#: The service's own troubles are looked at this often; the core's messages at each step.
TROUBLES_EVERY_S = 1.0


def line_of(lamp: MessageLamp) -> OutputLine:
    """The board's line that the lamp hangs on."""
    return OutputLine(NAME, lamp.output.line, not lamp.output.active_low)


class ShopLamp:
    """One lamp.

    Args:
        pins: the board's lines.
        lamp: as in the shop's file.
        troubles: what stands against the service itself, as codes.
        report: takes ("device", sentence) where the lamp cannot be written.
        clock: monotonic seconds.

    Raises:
        DeviceError: the line cannot be claimed.
    """

    def __init__(
        self,
        pins: Pins,
        lamp: MessageLamp,
        troubles: Callable[[], Iterable[str]],
        report: Callable[[str, str | None], None],
        clock: Callable[[], float],
    ) -> None:
        self._lamp = pins.output(line_of(lamp))
        self._heaps = frozenset(_ORDER[: _ORDER.index(lamp.heap.value.replace(" ", "_")) + 1])
        self._troubles = troubles
        self._report = report
        self._clock = clock
        self._next_s = 0.0
        self._in_trouble = False
        self._is_lit: bool | None = None

    def look(self, core: CoreView) -> None:
        """Light it or not, by what stands now."""
        if self._clock() >= self._next_s:
            self._next_s = self._clock() + TROUBLES_EVERY_S
            rows = [TROUBLES.get(kept_apart(code)[0]) for code in self._troubles()]
            self._in_trouble = any(row is not None and row.heap in self._heaps for row in rows)
        lit = self._in_trouble or any(FAULTS[alarm.code].heap in self._heaps for alarm in core.alarms)
        if lit is self._is_lit:
            return
        try:
            (self._lamp.on if lit else self._lamp.off)()
        except DeviceError as fault:
            self._report("device", f"The message lamp: {fault}")
            return
        self._is_lit = lit
