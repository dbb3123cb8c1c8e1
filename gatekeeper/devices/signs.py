"""Signs at drops and gates: one, two or three lamps that tell coming, ready and no air apart."""

from enum import Enum

from gatekeeper.devices.base import BoardDeath, DeviceError, Fate
from gatekeeper.devices.pins import Output, OutputLine, Pins, all_off

#: Half of one blink, seconds; our own figures. Fast is told from slow at a glance, and neither is near the rates that
#: are bad for people who are sensitive to flashes (3 a second and more, common practice): fast is 2.5 a second.
SLOW_S, FAST_S = 0.5, 0.2


class Says(Enum):
    """What a sign has to say."""

    NOTHING = "dark"
    COMING = "coming"
    READY = "ready"
    NO_AIR = "no air"


#: The core's words. A gate about to move by itself blinks as air that is coming; a held gate, and a shop that is shut,
#: bring no air.
MEANING = {
    "dark": Says.NOTHING,
    "coming": Says.COMING,
    "moving_soon": Says.COMING,
    "ready": Says.READY,
    "no_air": Says.NO_AIR,
    "shop_shut": Says.NO_AIR,
    "held": Says.NO_AIR,
}


class LampSign:
    """One to three low-voltage lamps on GPIO lines through transistors or relays.

    =========  =================  ====================  ==========================
    lamps      coming             ready                 no air
    =========  =================  ====================  ==========================
    one        ready blinks       ready is lit          ready blinks fast
    two        ready blinks       ready is lit          the no-air lamp is lit
    three      coming is lit      ready is lit          the no-air lamp is lit
    =========  =================  ====================  ==========================

    With a coming lamp and no no-air lamp, ready blinks fast for no air.

    Wiring: for each lamp the line, a 10 kilo-ohm resistor to ground, a transistor or an active-high relay input, the
    lamp on its own supply. Ready green, coming amber, no air red. Dark at construction and after ``close``.

    Args:
        pins: the board's lines.
        name: the sign's name.
        ready, coming, no_air: the lamps' lines; the last two may be None.

    Raises:
        DeviceError: a line cannot be claimed.
    """

    fate = Fate(
        at_power_up="Dark.",
        when_process_dies="The lamp keeps showing what it showed, and blinks no more (not measured on a real board).",
        when_board_dies=BoardDeath.DROPS,
        in_words="When the board loses power the lamp goes dark.",
    )

    def __init__(
        self,
        pins: Pins,
        name: str,
        ready: OutputLine,
        *,
        coming: OutputLine | None = None,
        no_air: OutputLine | None = None,
    ) -> None:
        self.name = name
        self._pins = pins
        self._closed = False
        self._ready = pins.output(ready)
        self._coming = pins.output(coming) if coming is not None else None
        self._no_air = pins.output(no_air) if no_air is not None else None
        self._lamps = [lamp for lamp in (self._ready, self._coming, self._no_air) if lamp is not None]
        self._half_s: float | None = None
        self._turns_s: float | None = None

    def show(self, word: str, now_s: float) -> None:
        """Show one of the core's words.

        Raises:
            DeviceError: the sign knows no such word, or is closed.
        """
        if self._closed:
            raise DeviceError(f"The lamp of {self.name} is closed.")
        if word not in MEANING:
            known = ", ".join(sorted(MEANING))
            raise DeviceError(f"The lamp of {self.name} cannot show '{word}'. It can show: {known}.")
        lit, self._half_s = self._lit_for(MEANING[word])
        self._turns_s = now_s + self._half_s if self._half_s is not None else None
        for lamp in self._lamps:
            lamp.put(lamp is lit)

    def tick(self, now_s: float) -> None:
        """Turn a blinking lamp when its time has come."""
        if self._half_s is not None and self._turns_s is not None and now_s >= self._turns_s:
            self._turns_s = now_s + self._half_s
            self._ready.put(not self._ready.is_on())

    def next_deadline(self) -> float | None:
        """When the next ``tick`` is due, monotonic seconds; None while nothing blinks."""
        return self._turns_s

    def close(self) -> None:
        """Dark for good."""
        if not self._closed:
            self._closed = True
            self._half_s = self._turns_s = None
            try:
                all_off(self._lamps)
            finally:
                for lamp in self._lamps:
                    self._pins.release(lamp)

    def _lit_for(self, says: Says) -> tuple[Output | None, float | None]:
        """The lamp for what there is to say, and half of its blink (None: it is steady)."""
        match says:
            case Says.COMING:
                return (self._coming, None) if self._coming is not None else (self._ready, SLOW_S)
            case Says.NO_AIR:
                return (self._no_air, None) if self._no_air is not None else (self._ready, FAST_S)
            case Says.READY:
                return self._ready, None
            case Says.NOTHING:
                return None, None
