"""Sensors of currents that read well and say what is not so: a clamp round both wires, or round another machine's.

The currents themselves are what the machines draw; here they are taken from a sensor, given to another, or made up.
"""

import math
from collections.abc import Callable, Mapping
from enum import Enum

from sim.currents import Load, Stint
from sim.meters import Flows
from sim.senses import NOISE_S

Draws = list[tuple[Load, Stint | None]]


class CurrentLie(Enum):
    """What a sensor of a current says instead of the truth."""

    STUCK_ON = "stuck on"  # as if the machine ran from now on
    SILENT = "silent"  # nothing: the fields of both wires cancel
    NOISY = "noisy"  # the truth and nothing by turns


class LyingSensors:
    """Which sensors of one virtual shop lie, and what they see then.

    Args:
        truth: what flows past each sensor, by its name.
        now: the shop's clock.
    """

    def __init__(self, truth: Mapping[str, Flows], now: Callable[[], float]) -> None:
        self._truth, self._now = truth, now
        self._lies: dict[str, tuple[CurrentLie, float]] = {}
        self._swapped: dict[str, str] = {}

    def set(self, name: str, lie: CurrentLie | None) -> None:
        """Let a sensor lie from now on, or no more (None)."""
        self._lies.pop(name, None)
        if lie is not None:
            self._lies[name] = lie, self._now()

    def swap(self, one: str, other: str, are_swapped: bool) -> None:
        """Put two sensors on each other's wire, or back."""
        self._swapped.pop(one, None)
        self._swapped.pop(other, None)
        if are_swapped:
            self._swapped |= {one: other, other: one}

    def draws(self, name: str) -> Draws:
        """What a sensor sees flow now."""
        true = self._truth[self._swapped.get(name, name)]()
        lie, since_s = self._lies.get(name, (None, math.inf))
        match lie:
            case CurrentLie.STUCK_ON:
                return [(true[0][0], Stint(since_s))]
            case CurrentLie.SILENT:
                return []
            case CurrentLie.NOISY if (self._now() - since_s) % (2 * NOISE_S) >= NOISE_S:
                return []
        return true
