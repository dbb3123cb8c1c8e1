"""A variable-frequency drive without a wire, as far as ``modbus_drive`` speaks to it."""

import time
from collections.abc import Callable

from gatekeeper.devices.base import Clock, DeviceError
from gatekeeper.devices.modbus_drive import DriveMap, DriveRefuses


class FakeDrive:
    """Runs at the start word and stops at the stop word, at a trip, and when it hears nothing for its own time.

    After loss of communication or a trip it starts again only at a start word, as a drive does that is set so.

    Args:
        registers: the same that the driver has.
        stops_after_s: loss of communication as set in it.
        clock: monotonic seconds.
        on_change: called with True or False when it starts or stops its motor.
        on_speed: called with the speed that it runs at from now on, Hz, when it takes another.
        speed_hz: the speed that is set at its own panel, at which it runs until it is told another.
    """

    def __init__(
        self,
        registers: DriveMap,
        *,
        stops_after_s: float,
        clock: Clock = time.monotonic,
        on_change: Callable[[bool], None] = lambda runs: None,
        on_speed: Callable[[float], None] = lambda speed_hz: None,
        speed_hz: float = 0.0,
    ) -> None:
        self._map, self._stops_after_s, self._clock, self._on_change = registers, stops_after_s, clock, on_change
        self._on_speed = on_speed
        #: The registers that it refuses to have written.
        self.refuses: set[int] = set()
        #: It keeps its speed, whatever it is told.
        self.keeps_speed = False
        self._speed = round(speed_hz * registers.steps_per_hz)
        self.values: dict[int, int] = {}
        self.is_mute = False
        self.trip_code = 0
        self._runs = False
        self._heard_s = clock()

    @property
    def runs(self) -> bool:
        """Whether it turns its motor now."""
        self.look()
        return self._runs

    def look(self) -> None:
        """Notice that it heard nothing for its own time."""
        if self._runs and self._clock() - self._heard_s >= self._stops_after_s:
            self._turn(False)

    def trip(self, code: int) -> None:
        """It trips by itself; 0 resets it, and starts nothing."""
        self.trip_code = code
        if code:
            self._turn(False)

    def connect(self) -> None:
        self._hear()

    def read(self, register: int) -> int:
        self._hear()
        if register == self._map.status:
            return self._map.running_word if self._runs else ~self._map.running_word & self._map.running_mask
        if register == self._map.trip:
            return self.trip_code
        if register == self._map.speed_seen:
            return self._speed if self._runs else 0
        return self.values.get(register, 0)

    def write(self, register: int, value: int) -> None:
        self._hear()
        self._heard_s = self._clock()
        if register in self.refuses:
            raise DriveRefuses(f"The drive refuses register {register:#06x}.")
        self.values[register] = value
        if register == self._map.speed and not self.keeps_speed and self._speed != value:
            self._speed = value
            self._on_speed(value / self._map.steps_per_hz)
        if register == self._map.command:
            self._turn(value == self._map.start_word and not self.trip_code)

    def close(self) -> None:
        """There is nothing to give back."""

    def _hear(self) -> None:
        self.look()
        if self.is_mute:
            raise DeviceError("The drive does not answer.")

    def _turn(self, runs: bool) -> None:
        if runs is not self._runs:
            self._runs = runs
            self._on_change(runs)
