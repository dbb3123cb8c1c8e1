"""Pins without hardware that remember what was driven, and let a virtual shop look and push from outside."""

import time
from collections.abc import Callable
from typing import Any

from gpiozero.pins.mock import MockFactory, MockPWMPin

from gatekeeper.devices.base import Clock
from gatekeeper.devices.resting import RestingOutput

KEPT_STATES = 4096  # a demo runs for weeks: older history is dropped
Driven = tuple[float, float | None]
Listener = Callable[[float, float | None], None]


class WatchedPin(RestingOutput, MockPWMPin):  # type: ignore[misc]
    """A mock pin that also knows whether its level is driven.

    ``driven`` is the list of (time in s, level) with level None while nothing drives the line, 0.0 or 1.0 while it is
    an output, and the duty between them while it sends pulses. The library's own ``states`` cannot show a claim at a
    wrong level, since a mock line that floats counts as low.
    """

    def __init__(self, factory: Any, info: Any) -> None:
        self.listeners: list[Listener] = []
        self.driven: list[Driven] = []
        self._clock: Clock = factory.clock
        super().__init__(factory, info)
        self._note()

    def _claim_output(self, level: bool) -> None:
        self._change_state(float(level))
        self._set_function("output")

    def _set_function(self, value: str) -> None:
        super()._set_function(value)
        self._note()

    def _change_state(self, value: float) -> bool:
        changed = bool(super()._change_state(value))
        if len(self.states) > KEPT_STATES:
            del self.states[: KEPT_STATES // 2]
        if changed and self._function == "output":
            self._note()
        return changed

    def _note(self) -> None:
        level = float(self._state) if self._function == "output" else None
        if self.driven and self.driven[-1][1] == level:
            return
        if len(self.driven) > KEPT_STATES:
            del self.driven[: KEPT_STATES // 2]
        t_s = self._clock()
        self.driven.append((t_s, level))
        for listener in tuple(self.listeners):
            listener(t_s, level)


class WatchedFactory(MockFactory):  # type: ignore[misc]
    """The mock pin factory with watched pins; ``clock`` stamps their history."""

    def __init__(self, clock: Clock = time.monotonic) -> None:
        self.clock = clock
        super().__init__(pin_class=WatchedPin)
