"""What every back end of the pins shares: an output that rests instead of being let go, and the boards' header."""

from abc import ABC, abstractmethod
from typing import Any

HEADER_LABELS = ("pinctrl-bcm2835", "pinctrl-bcm2711", "pinctrl-rp1")  # chip numbers changed between kernels
HEADER_REVISION = 0xA02082  # of any board with the 40-pin header: the library takes the line numbers from it


class RestingOutput(ABC):
    """Mixin before a gpiozero pin class: one-step claim, and rest instead of release.

    The pin class must give ``_claim_output(level)``, which makes the line an output at that level in one step.
    """

    sends_pulses = True
    _rest_level: bool | None = None
    function: str
    frequency: float | None
    state: bool

    @abstractmethod
    def _claim_output(self, level: bool) -> None:
        """Make the line an output at that level in one step."""

    def output_with_state(self, state: Any) -> None:
        """Claim the line as an output; the level it is claimed at is the level it rests at when closed."""
        self._claim_output(bool(state))
        self._rest_level = bool(state)

    def close(self) -> None:
        """Stop pulses and drive the rest level; an input is closed as the library does it."""
        if self._rest_level is None or self.function != "output":
            super().close()  # type: ignore[misc]
            return
        if self.frequency is not None:
            self.frequency = None  # asked first: ending pulses that never ran would pull an active-low line to "on"
        self.state = self._rest_level
