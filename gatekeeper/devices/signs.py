"""Signs at drops and gates: a lamp that is lit for some words and dark for the others."""

from collections.abc import Collection

from gatekeeper.devices.base import BoardDeath, DeviceError, Fate
from gatekeeper.devices.pins import OutputLine, Pins


class LampSign:
    """One low-voltage lamp on a GPIO line through a transistor or a relay.

    Wiring: the line, a 10 kilo-ohm resistor to ground, a transistor or an active-high relay input, the lamp on its own
    supply. Dark at construction and after ``close``.

    Args:
        pins: the board's lines.
        name: the sign's name.
        pin: GPIO number.
        lit_for: the words for which the lamp is lit.
        dark_for: the words for which it is dark.
        active_high: True when the high level lights the lamp.

    Raises:
        DeviceError: the line cannot be claimed, or a word stands in both lists.
    """

    fate = Fate(
        at_power_up="Dark.",
        when_process_dies="The lamp keeps showing what it showed (not measured on a real board).",
        when_board_dies=BoardDeath.DROPS,
        in_words="When the board loses power the lamp goes dark.",
    )

    def __init__(
        self,
        pins: Pins,
        name: str,
        pin: int,
        *,
        lit_for: Collection[str],
        dark_for: Collection[str],
        active_high: bool = True,
    ) -> None:
        both = sorted(set(lit_for) & set(dark_for))
        if both:
            raise DeviceError(f"The lamp of {name} is both lit and dark for: {', '.join(both)}. Name each word once.")
        self.name = name
        self._lit_for = frozenset(lit_for)
        self._dark_for = frozenset(dark_for)
        self._pins = pins
        self._closed = False
        self._lamp = pins.output(OutputLine(name, pin, active_high))

    def show(self, word: str) -> None:
        """Show one word.

        Raises:
            DeviceError: the lamp knows no such word, or is closed.
        """
        if self._closed:
            raise DeviceError(f"The lamp of {self.name} is closed.")
        if word in self._lit_for:
            self._lamp.on()
        elif word in self._dark_for:
            self._lamp.off()
        else:
            known = ", ".join(sorted(self._lit_for | self._dark_for))
            raise DeviceError(f"The lamp of {self.name} cannot show '{word}'. It can show: {known}.")

    def close(self) -> None:
        """Dark for good."""
        if not self._closed:
            self._closed = True
            self._lamp.off()
            self._pins.release(self._lamp)
