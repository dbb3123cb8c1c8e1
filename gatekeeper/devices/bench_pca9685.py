"""The PCA9685 at the level of its registers, without a board; see ``pca9685`` for the source."""

import threading
from collections.abc import Callable

from gatekeeper.devices.base import DeviceError
from gatekeeper.devices.bench_i2c import GENERAL_CALL, SOFTWARE_RESET
from gatekeeper.devices.pca9685 import (
    ALL_CALL,
    ALL_CALL_ADDRESS,
    ALL_LED,
    AUTO_INCREMENT,
    CHANNELS,
    COUNTS,
    EXTERNAL_CLOCK,
    FIRST_LED,
    FULL,
    LEAST_PRE_SCALE,
    MODE1,
    MODE2,
    NOMINAL_HZ,
    PRE_SCALE,
    RESET_MODE1,
    RESET_MODE2,
    RESET_PRE_SCALE,
    RESTART,
    SLEEP,
)

#: The three sub-addresses and the call to all, as they are written (eight bits).
RESET_CALLS = (0xE2, 0xE4, 0xE8, 0xE0)
LAST_LED = FIRST_LED + 4 * CHANNELS
Pulses = Callable[[int, float | None], None]


class FakePca9685:
    """The chip's registers, what they make its sixteen outputs do, and its traps.

    Asleep or with its output-enable line high it sends nothing. Its divider can be written asleep only. Put to sleep
    while it sends, it sends nothing after waking until RESTART is written or a channel is. At the general call it
    takes the software reset.

    Args:
        is_enabled: says whether its output-enable line is low.
        runs: its own clock over 25 MHz.
        on_change: called as ``on_change(channel, width_s)`` when a channel begins, changes or ends (None) its pulses.
    """

    def __init__(
        self, is_enabled: Callable[[], bool] = lambda: True, *, runs: float = 1.0, on_change: Pulses | None = None
    ) -> None:
        self._is_enabled = is_enabled
        self._clock_hz = NOMINAL_HZ * runs
        self._on_change = on_change
        self._lock = threading.Lock()
        self._shown: list[float | None] = [None] * CHANNELS
        self.is_muted = False
        self.resets = 0
        self.reset()

    def reset(self) -> None:
        """Power-up, or the software reset: every register as the data sheet says."""
        self.resets += 1
        self._pointer = 0
        self._waits = False
        self._registers = bytearray(256)
        self._registers[MODE1], self._registers[MODE2] = RESET_MODE1, RESET_MODE2
        self._registers[MODE2 + 1 : MODE2 + 5] = bytes(RESET_CALLS)
        for channel in range(CHANNELS):
            self._registers[FIRST_LED + 4 * channel + 3] = FULL
        self._registers[PRE_SCALE] = RESET_PRE_SCALE
        self.look()

    def mute(self, muted: bool = True) -> None:
        """Pull its plug, or put it back; it comes back as after power-up."""
        was, self.is_muted = self.is_muted, muted
        if was and not muted:
            self.reset()
        self.look()

    def calls(self) -> tuple[int, ...]:
        """Where it answers besides its own address."""
        return (GENERAL_CALL, ALL_CALL_ADDRESS) if self._registers[MODE1] & ALL_CALL else (GENERAL_CALL,)

    def called(self, data: bytes) -> None:
        """A general call from the bus."""
        if data == bytes((SOFTWARE_RESET,)):
            self.reset()

    def write(self, data: bytes) -> None:
        """Bytes from the bus: the register, then its value and, counted up where AI is set, the next ones'."""
        if not data:
            raise DeviceError("A PCA9685 does not understand an empty message.")
        self._pointer = data[0]
        for value in data[1:]:
            self._put(self._pointer, value)
            self._count()
        self.look()

    def read(self, count: int) -> bytes:
        """Bytes to the bus."""
        found = bytearray()
        for _ in range(count):
            # The ALL_LED registers can be written only.
            found.append(0 if ALL_LED <= self._pointer < ALL_LED + 4 else self._registers[self._pointer])
            self._count()
        return bytes(found)

    def width_s(self, channel: int) -> float | None:
        """The pulses on a channel now, seconds; None while it sends none."""
        on, off = self._counts(channel)
        if self.is_muted or self._registers[MODE1] & SLEEP or self._waits or not self._is_enabled():
            return None
        period_s = COUNTS * (self._registers[PRE_SCALE] + 1) / self._clock_hz
        if off & FULL << 8:
            return None
        if on & FULL << 8:
            return period_s
        return (off - on) % COUNTS * period_s / COUNTS or None

    def look(self) -> None:
        """Tell of every channel whose pulses changed; also to be called when the output-enable line moves."""
        with self._lock:
            news = [
                (channel, now) for channel in range(CHANNELS) if (now := self.width_s(channel)) != self._shown[channel]
            ]
            for channel, now in news:
                self._shown[channel] = now
        for channel, now in news:
            if self._on_change is not None:
                self._on_change(channel, now)

    def _count(self) -> None:
        if self._registers[MODE1] & AUTO_INCREMENT:
            # From the last channel's registers it goes on at the first register.
            self._pointer = 0 if self._pointer in (LAST_LED - 1, 0xFF) else self._pointer + 1

    def _put(self, register: int, value: int) -> None:
        if register == MODE1:
            self._put_mode(value)
        elif register == PRE_SCALE:
            if self._registers[MODE1] & SLEEP:
                self._registers[PRE_SCALE] = max(value, LEAST_PRE_SCALE)
        elif ALL_LED <= register < ALL_LED + 4:
            for channel in range(CHANNELS):
                self._put_led(FIRST_LED + 4 * channel + register - ALL_LED, value)
        elif FIRST_LED <= register < LAST_LED:
            self._put_led(register, value)
        elif register < FIRST_LED:
            self._registers[register] = value

    def _put_led(self, register: int, value: int) -> None:
        self._registers[register] = value
        if not self._registers[MODE1] & SLEEP:
            self._forget_restart()

    def _put_mode(self, value: int) -> None:
        before = self._registers[MODE1]
        kept = before & (RESTART | EXTERNAL_CLOCK)
        if value & SLEEP and not before & SLEEP and any(self._pulses(channel) for channel in range(CHANNELS)):
            kept |= RESTART
        self._registers[MODE1] = value & ~RESTART | kept
        self._waits = bool(kept & RESTART)
        if value & RESTART and not value & SLEEP:
            self._forget_restart()

    def _forget_restart(self) -> None:
        self._registers[MODE1] &= ~RESTART
        self._waits = False

    def _pulses(self, channel: int) -> bool:
        on, off = self._counts(channel)
        return not off & FULL << 8 and on != off

    def _counts(self, channel: int) -> tuple[int, int]:
        low = FIRST_LED + 4 * channel
        on_low, on_high, off_low, off_high = self._registers[low : low + 4]
        return on_high << 8 | on_low, off_high << 8 | off_low
