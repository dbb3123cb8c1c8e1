"""Stand-ins that keep the rules of the real thing: a converter at the SPI message's level, and hands on mock pins.

Nothing above them can tell: the same ``SpiBank`` packs, sends and decodes, the same drivers claim and switch.
"""

import ctypes
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence

from gatekeeper.devices.base import Clock, DeviceError
from gatekeeper.devices.converter import BYTES_PER_CONVERSION, TRANSFER, Chip, SpiBank
from gatekeeper.devices.pins import Pins
from gatekeeper.devices.pins_mock import Driven, Listener, WatchedPin

Source = Callable[[int], Sequence[Sequence[int]]]


class FakeBank:
    """A converter chip behind an SPI message: it reads the request bytes and answers with codes it was fed.

    It answers from ``source`` when there is one, else from what ``feed`` queued. With nothing to say, or muted, it
    gives what a dead converter gives: every bit of its answer the same, so that a sensor fault is seen and no tool.

    Args:
        chip: which kind.
        source: called with a number of scans, gives for each channel that many codes; fewer is allowed.
        dead_high: True when the dead line reads all ones, False for all zeros.
        pace: called with the seconds that the bus would have taken; ``time.sleep`` makes a real-time fake.
        scan_hz: scans a second at which the fake claims to run, used by ``pace`` only.
    """

    def __init__(
        self,
        chip: Chip,
        *,
        source: Source | None = None,
        dead_high: bool = False,
        pace: Callable[[float], None] | None = None,
        scan_hz: float = 1000.0,
    ) -> None:
        self._chip = chip
        self._source = source
        self._pace = pace
        self._scan_hz = scan_hz
        self._dead = (b"\xff" if dead_high else b"\x00") * BYTES_PER_CONVERSION
        self._answers = [code.to_bytes(BYTES_PER_CONVERSION, "big") for code in range(chip.full_scale + 1)]
        self._queues: list[deque[int]] = [deque() for _ in range(chip.channels)]
        self._lock = threading.Lock()
        self._muted = False
        self._layouts: dict[bytes, tuple[list[int], list[int]]] = {}

    def feed(self, codes: Sequence[Sequence[int]]) -> None:
        """Queue codes for channel 0, 1, 2, ...; from any thread.

        Raises:
            DeviceError: more channels than the chip has, or a code out of its range.
        """
        if len(codes) > self._chip.channels:
            raise DeviceError(f"A {self._chip.name} has {self._chip.channels} channels, not {len(codes)}.")
        for channel, window in enumerate(codes):
            for code in window:
                if not 0 <= code <= self._chip.full_scale:
                    raise DeviceError(
                        f"Code {code} on channel {channel} cannot be. "
                        f"A {self._chip.name} gives 0 to {self._chip.full_scale}."
                    )
        with self._lock:
            for queue, window in zip(self._queues, codes, strict=False):
                queue.extend(window)

    def mute(self, muted: bool = True) -> None:
        """Pull the converter's plug, or put it back."""
        self._muted = muted

    def message(self, request: int, transfers: bytearray) -> None:
        """Answer one SPI message as the chip would."""
        addresses, channels = self._layout(transfers)
        per_channel = [0] * self._chip.channels
        for channel in channels:
            per_channel[channel] += 1
        scans = max(per_channel)
        if self._pace is not None:
            self._pace(scans / self._scan_hz)
        windows = self._windows(scans)
        for address, channel in zip(addresses, channels, strict=True):
            code = next(windows[channel], None)
            ctypes.memmove(address, self._dead if code is None else self._answers[code], BYTES_PER_CONVERSION)

    def close(self) -> None:
        """There is nothing to give back."""

    def _windows(self, scans: int) -> list[Iterator[int]]:
        if self._muted:
            return [iter(()) for _ in self._queues]
        if self._source is not None:
            given = list(self._source(scans))
            return [iter(given[channel]) if channel < len(given) else iter(()) for channel in range(len(self._queues))]
        with self._lock:
            return [iter([queue.popleft() for _ in range(min(scans, len(queue)))]) for queue in self._queues]

    def _layout(self, transfers: bytearray) -> tuple[list[int], list[int]]:
        """Where each answer goes, and which channel each request asks for; read from the bytes on the wire."""
        key = bytes(transfers)
        known = self._layouts.get(key)
        if known is None:
            addresses: list[int] = []
            channels: list[int] = []
            for tx, rx, length, *_ in TRANSFER.iter_unpack(key):
                asked = int.from_bytes(ctypes.string_at(tx, length), "big") >> (self._chip.bits + 2)
                if length != BYTES_PER_CONVERSION or asked >> 3 != 0b11:
                    raise DeviceError(f"A {self._chip.name} does not understand the request {asked:b}.")
                addresses.append(rx)
                channels.append(asked & 0b111)
            known = self._layouts[key] = (addresses, channels)
        return known


class BenchPins:
    """Hands and eyes on mock pins, for a virtual shop or a test: from any thread.

    Args:
        pins: lines opened as ``"mock"``.

    Raises:
        DeviceError: the lines are real.
    """

    def __init__(self, pins: Pins) -> None:
        if pins.name != "mock":
            raise DeviceError(f"Only mock pins can be moved by hand, not '{pins.name}'.")
        self._pins = pins

    def level(self, pin: int) -> float | None:
        """The driven level of an output, 0.0 to 1.0, or None while nothing drives the line."""
        return self._pin(pin).driven[-1][1]

    def history(self, pin: int) -> list[Driven]:
        """Everything that was driven on that line: (time in s, level or None)."""
        return list(self._pin(pin).driven)

    def levels(self, pin: int) -> list[float | None]:
        """The same without the times."""
        return [level for _, level in self._pin(pin).driven]

    def watch(self, pin: int, listener: Listener) -> None:
        """Call ``listener(t_s, level)`` on every change of what is driven, in the thread that changed it."""
        self._pin(pin).listeners.append(listener)

    def drive(self, pin: int, high: bool) -> None:
        """Put a level on an input from outside; its edge is called in this thread."""
        line = self._pin(pin)
        if high:
            line.drive_high()
        else:
            line.drive_low()

    def _pin(self, pin: int) -> WatchedPin:
        found: WatchedPin = self._pins.factory.pin(pin)
        return found


def fake_converter(
    name: str, chip: Chip, bank: FakeBank, *, channels: int = 8, clock: Clock = time.monotonic
) -> SpiBank:
    """The real ``SpiBank`` on a fake chip."""
    return SpiBank(name, chip, bank, channels=channels, clock=clock)
