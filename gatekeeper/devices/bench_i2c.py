"""An I2C bus without a board, and the ADS1115 on it at the level of its registers; see ``ads1115`` for the source.

The PCA9685 for this bus is in ``bench_pca9685``.
"""

import threading
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from typing import Protocol

from gatekeeper.devices.ads1115 import (
    MIDDLE,
    OS_BIT,
    PAIRS,
    POINTER_CONFIG,
    POINTER_CONVERSION,
    RESET_CONFIG,
    SINGLE_SHOT_BIT,
    TOP_CODE,
    WAKE_S,
    Inputs,
    decode_config,
)
from gatekeeper.devices.base import Clock, DeviceError
from gatekeeper.devices.bench import Source

#: Thresholds of the comparator after power-up.
RESET_LOW, RESET_HIGH = 0x8000, 0x7FFF
BUS_HZ = 400_000
#: The address that every chip listens to, and what resets them there.
GENERAL_CALL, SOFTWARE_RESET = 0x00, 0x06
BITS_PER_BYTE = 9


class FakeAds1115:
    """The chip's four registers, its conversions and the clock that they take.

    A write sets the pointer and, with two more bytes, the register there; a read gives the register under the pointer.
    A single shot takes its sample when it is started and is ready one conversion later; until then the highest bit of
    the configuration reads 0. In the continuous mode it reads 0 always, and the newest finished conversion is there.

    Args:
        clock: monotonic seconds.
        source: called with a number of samples, gives for each pair that many codes, 0 to 65535; fewer is allowed.
            Without it, what ``feed`` queued; with nothing to say the input rests at the middle.
        runs: its own clock over the nominal one, 0.9 to 1.1.
        volts: what is at an input against ground, by its number 0 to 3; without it nothing is wired so.
    """

    def __init__(
        self,
        clock: Clock,
        *,
        source: Source | None = None,
        runs: float = 1.0,
        volts: Callable[[int], float] | None = None,
    ) -> None:
        self._clock = clock
        self._source = source
        self._runs = runs
        self._volts = volts
        self._queues: list[deque[int]] = [deque() for _ in PAIRS]
        self._lock = threading.Lock()
        self.is_muted = False
        self.reset()

    def reset(self) -> None:
        """Power up: every register as the data sheet says."""
        self._pointer = POINTER_CONVERSION
        self._registers = [0, RESET_CONFIG & ~OS_BIT, RESET_LOW, RESET_HIGH]
        self._taken: int | None = None
        self._ready_s = 0.0

    def feed(self, codes: Sequence[Sequence[int]]) -> None:
        """Queue codes for pair 0 and 1; from any thread.

        Raises:
            DeviceError: more pairs than the chip has, or a code out of its range.
        """
        if len(codes) > len(PAIRS):
            raise DeviceError(f"An ADS1115 has {len(PAIRS)} pairs of inputs, not {len(codes)}.")
        for window in codes:
            for code in window:
                if not 0 <= code <= TOP_CODE:
                    raise DeviceError(f"Code {code} cannot be. An ADS1115 gives 0 to {TOP_CODE} here.")
        with self._lock:
            for queue, window in zip(self._queues, codes, strict=False):
                queue.extend(window)

    def mute(self, muted: bool = True) -> None:
        """Pull the chip's plug, or put it back; it comes back as after power-up."""
        if self.is_muted and not muted:
            self.reset()
        self.is_muted = muted

    def write(self, data: bytes) -> None:
        """Bytes from the bus."""
        if len(data) not in (1, 3):
            raise DeviceError(f"An ADS1115 does not understand {len(data)} bytes.")
        self._pointer = data[0] & 0b11
        if len(data) == 1 or self._pointer == POINTER_CONVERSION:
            return
        word = int.from_bytes(data[1:], "big")
        self._settle()
        self._registers[self._pointer] = word & ~OS_BIT if self._pointer == POINTER_CONFIG else word
        if self._pointer == POINTER_CONFIG and (word & OS_BIT or not word & SINGLE_SHOT_BIT):
            self._begin()

    def read(self, count: int) -> bytes:
        """Bytes to the bus: the register under the pointer, most significant byte first."""
        self._settle()
        word = self._registers[self._pointer]
        if self._pointer == POINTER_CONFIG and word & SINGLE_SHOT_BIT and self._taken is None:
            word |= OS_BIT
        return word.to_bytes(2, "big")[:count]

    def calls(self) -> tuple[int, ...]:
        """Where it answers besides its own address."""
        return (GENERAL_CALL,)

    def called(self, data: bytes) -> None:
        """A general call from the bus: 0x06 resets it."""
        if data == bytes((SOFTWARE_RESET,)):
            self.reset()

    def _begin(self) -> None:
        config = decode_config(self._registers[POINTER_CONFIG])
        self._ready_s = self._clock() + 1 / (config.rate_sps * self._runs) + (WAKE_S if config.single_shot else 0.0)
        if self._volts is not None and config.inputs.value >= Inputs.A0.value:
            steps = round(self._volts(config.inputs.value - Inputs.A0.value) / config.full_scale_v * MIDDLE)
            self._taken = max(0, min(TOP_CODE, steps + MIDDLE))
            return
        if config.inputs not in PAIRS:
            raise DeviceError(f"Nothing is wired to {config.inputs.name} here.")
        self._taken = self._code(PAIRS.index(config.inputs))

    def _code(self, pair: int) -> int:
        if self._source is not None:
            columns = self._source(1)
            return columns[pair][0] if pair < len(columns) and columns[pair] else MIDDLE
        with self._lock:
            return self._queues[pair].popleft() if self._queues[pair] else MIDDLE

    def _settle(self) -> None:
        """End the conversion under way when its time is over; in the continuous mode begin the next."""
        while self._taken is not None and self._clock() >= self._ready_s:
            self._registers[POINTER_CONVERSION] = (self._taken - MIDDLE) & 0xFFFF
            self._taken = None
            if not self._registers[POINTER_CONFIG] & SINGLE_SHOT_BIT:
                self._begin()


class I2cChip(Protocol):
    """A chip without a board, at the level of its registers."""

    is_muted: bool

    def write(self, data: bytes) -> None: ...

    def read(self, count: int) -> bytes: ...

    def calls(self) -> tuple[int, ...]: ...

    def called(self, data: bytes) -> None: ...


class FakeI2c:
    """A bus with chips at their addresses; what is not there does not answer, as on a real one.

    A write to a call that several chips take reaches all of them.

    Args:
        chips: by address.
        pace: called with the seconds that a message takes on a bus of 400 kHz.
    """

    def __init__(self, chips: Mapping[int, I2cChip], pace: Callable[[float], None] | None = None) -> None:
        self._chips = chips
        self._pace = pace

    def message(self, address: int, parts: Sequence[bytes | int]) -> list[bytes]:
        """Carry one message out."""
        sizes = [part if isinstance(part, int) else len(part) for part in parts]
        if self._pace is not None:
            self._pace(BITS_PER_BYTE * sum(size + 1 for size in sizes) / BUS_HZ)
        called = [each for each in self._chips.values() if not each.is_muted and address in each.calls()]
        for each in called:
            for part in parts:
                if not isinstance(part, int):
                    each.called(part) if address == GENERAL_CALL else each.write(part)
        if called:
            return [called[0].read(part) for part in parts if isinstance(part, int)]
        chip = self._chips.get(address)
        if chip is None or chip.is_muted:
            raise DeviceError(
                f"Nothing answers at {address:#x} on the bus: Remote I/O error. Look at its plug and address."
            )
        read: list[bytes] = []
        for part in parts:
            if isinstance(part, int):
                read.append(chip.read(part))
            else:
                chip.write(part)
        return read

    def close(self) -> None:
        """There is nothing to give back."""
