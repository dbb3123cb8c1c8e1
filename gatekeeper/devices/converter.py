"""Current converters MCP3208 (12 bits) and MCP3008 (10 bits), eight channels each, read in whole scans.

Coding and decoding are pure functions. ``SpiBank`` packs several whole scans of all channels into one SPI message, so
that the kernel and not Python keeps the time between samples; the chip is deselected between two conversions.

Wiring: VDD and VREF at 3.3 V, CLK, DIN, DOUT and CS on SPI0 (GPIO 11, 10, 9 and 8 or 7), a 1 kilo-ohm resistor and
clamp diodes at each channel, current transformers with their burden always connected and biased to half of VREF.

Only ``KernelSpi`` touches the board; it has not been run on a real one.
"""

import ctypes
import fcntl
import os
import struct
import time
from array import array
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from gatekeeper.devices.base import Block, Clock, DeviceError

BYTES_PER_CONVERSION = 3
TRANSFER = struct.Struct("=QQIIHBBBBBB")  # struct spi_ioc_transfer of the Linux kernel, 32 bytes
MOST_TRANSFERS = 511  # the size field of an ioctl number has 14 bits: 511 * 32 bytes fit
SPI_SET_MODE = 0x40016B01
SPI_SET_SPEED = 0x40046B04


@dataclass(frozen=True, slots=True)
class Chip:
    """One kind of converter.

    Args:
        name: the chip's name as in its datasheet.
        bits: resolution, 10 or 12.
        channels: how many inputs.
        fastest_hz: SPI clock at 3.3 V, interpolated from the datasheet's 2.7 V and 5 V figures (recalled).
    """

    name: str
    bits: int
    channels: int
    fastest_hz: int

    @property
    def full_scale(self) -> int:
        """The largest code."""
        return int((1 << self.bits) - 1)


MCP3208 = Chip("MCP3208", 12, 8, 1_000_000)
MCP3008 = Chip("MCP3008", 10, 8, 1_350_000)
CHIPS = {chip.name: chip for chip in (MCP3208, MCP3008)}


def encode_request(chip: Chip, channel: int) -> bytes:
    """The three bytes that ask ``chip`` for one single-ended conversion of ``channel`` (0 to 7).

    Start bit, single-ended bit, three channel bits; shifted so that the answer ends with the third byte.

    Raises:
        DeviceError: no such channel.
    """
    if not 0 <= channel < chip.channels:
        raise DeviceError(f"A {chip.name} has channels 0 to {chip.channels - 1}, not {channel}.")
    command = 0b11000 | channel
    return (command << (chip.bits + 2)).to_bytes(BYTES_PER_CONVERSION, "big")


def decode_reply(chip: Chip, reply: bytes) -> int:
    """The code in the three bytes that came back for one request.

    Raises:
        DeviceError: not three bytes.
    """
    if len(reply) != BYTES_PER_CONVERSION:
        raise DeviceError(f"A {chip.name} answers with {BYTES_PER_CONVERSION} bytes, not {len(reply)}.")
    return int.from_bytes(reply, "big") & chip.full_scale


def encode_scan(chip: Chip, channels: Sequence[int]) -> bytes:
    """The requests for one scan of ``channels``, in that order."""
    return b"".join(encode_request(chip, channel) for channel in channels)


def decode_scans(chip: Chip, replies: bytes, channel_count: int) -> tuple[Sequence[int], ...]:
    """The codes of whole scans, sorted by channel, oldest first.

    Raises:
        DeviceError: the bytes are not a whole number of scans.
    """
    stride = BYTES_PER_CONVERSION * channel_count
    if len(replies) % stride:
        raise DeviceError(f"{len(replies)} bytes are not whole scans of {channel_count} channels.")
    high_mask = chip.full_scale >> 8
    columns: list[Sequence[int]] = []
    for at in range(0, stride, BYTES_PER_CONVERSION):
        high, low = replies[at + 1 :: stride], replies[at + 2 :: stride]
        columns.append(array("H", [(h & high_mask) << 8 | v for h, v in zip(high, low, strict=True)]))
    return tuple(columns)


def message_request(transfers: int) -> int:
    """The ioctl number of an SPI message of that many transfers (1 to 511)."""
    return (1 << 30) | (transfers * TRANSFER.size << 16) | (ord("k") << 8)


def pack_transfers(
    tx_address: int, rx_address: int, count: int, *, speed_hz: int, per_scan: int, scan_gap_us: int
) -> bytearray:
    """The transfers of one message over two buffers that hold ``count`` conversions one after the other.

    After every conversion but the last the chip is deselected; after every whole scan the kernel waits
    ``scan_gap_us`` microseconds (0 to 65535).
    """
    packed = bytearray()
    for index in range(count):
        at = index * BYTES_PER_CONVERSION
        ends_scan = (index + 1) % per_scan == 0
        packed += TRANSFER.pack(
            tx_address + at,
            rx_address + at,
            BYTES_PER_CONVERSION,
            speed_hz,
            scan_gap_us if ends_scan else 0,
            8,
            int(index + 1 < count),
            0,
            0,
            0,
            0,
        )
    return packed


class SpiWire(Protocol):
    """What carries an SPI message: the kernel, or a fake at the same level.

    ``message`` gets an ioctl number and the packed transfers, whose addresses point at live buffers, and fills the
    receiving ones before it returns.
    """

    def message(self, request: int, transfers: bytearray) -> None: ...

    def close(self) -> None: ...


class KernelSpi:
    """A converter's device file, ``/dev/spidevBUS.SELECT``.

    Args:
        path: the device file.
        speed_hz: SPI clock.

    Raises:
        DeviceError: the file is not there, may not be used, or is no SPI device.
    """

    def __init__(self, path: str, speed_hz: int) -> None:
        self._path = path
        try:
            self._fd = os.open(path, os.O_RDWR | os.O_CLOEXEC)
        except FileNotFoundError as fault:
            raise DeviceError(f"There is no {path}. Switch SPI on for this board, then start again.") from fault
        except PermissionError as fault:
            raise DeviceError(f"{path} may not be used. Add this user to the group spi.") from fault
        try:
            fcntl.ioctl(self._fd, SPI_SET_MODE, struct.pack("=B", 0))
            fcntl.ioctl(self._fd, SPI_SET_SPEED, struct.pack("=I", speed_hz))
        except OSError as fault:
            os.close(self._fd)
            raise DeviceError(f"{path} is no SPI device: {fault.strerror}.") from fault

    def message(self, request: int, transfers: bytearray) -> None:
        """One ioctl; the interpreter is free meanwhile.

        Raises:
            DeviceError: the kernel refused or the bus failed.
        """
        try:
            fcntl.ioctl(self._fd, request, transfers, True)
        except OSError as fault:
            raise DeviceError(f"Reading {self._path} failed: {fault.strerror}.") from fault

    def close(self) -> None:
        """Give the file back."""
        os.close(self._fd)


class SpiBank:
    """A whole converter, read in scans of its first ``channels`` channels.

    Args:
        name: the converter's name.
        chip: which kind.
        wire: what carries the messages; ``KernelSpi`` on a board.
        channels: how many channels are scanned, 1 to 8; only those in use, so that the others cost nothing.
        speed_hz: SPI clock, at most the chip's.
        scan_gap_us: wait between two scans, 0 to 65535 microseconds: paces the samples.
        clock: monotonic seconds.

    Raises:
        DeviceError: a value out of its range.
    """

    def __init__(
        self,
        name: str,
        chip: Chip,
        wire: SpiWire,
        *,
        channels: int = 8,
        speed_hz: int | None = None,
        scan_gap_us: int = 0,
        clock: Clock = time.monotonic,
    ) -> None:
        speed = chip.fastest_hz if speed_hz is None else speed_hz
        if not 1 <= channels <= chip.channels:
            raise DeviceError(
                f"Converter {name} is to scan {channels} channels. A {chip.name} has 1 to {chip.channels}."
            )
        if not 1 <= speed <= chip.fastest_hz:
            raise DeviceError(
                f"The clock of converter {name} is {speed} Hz. "
                f"At 3.3 V a {chip.name} takes at most {chip.fastest_hz} Hz."
            )
        if not 0 <= scan_gap_us <= 65535:
            raise DeviceError(f"The gap of converter {name} is {scan_gap_us} us. It must lie between 0 and 65535 us.")
        self.name = name
        self.channels = channels
        self.full_scale = chip.full_scale
        self._chip = chip
        self._wire = wire
        self._clock = clock
        self._speed_hz = speed
        self._scan_gap_us = scan_gap_us
        self._most_scans = MOST_TRANSFERS // channels
        scan = encode_scan(chip, range(channels))
        self._tx = ctypes.create_string_buffer(scan * self._most_scans)
        self._rx = ctypes.create_string_buffer(len(scan) * self._most_scans)
        self._packed: dict[int, bytearray] = {}

    def read(self, samples_per_channel: int) -> Block:
        """That many samples of every channel; blocks as long as the bus needs.

        Raises:
            DeviceError: fewer than one sample wanted, or the bus failed.
        """
        if samples_per_channel < 1:
            raise DeviceError(f"Converter {self.name} reads at least 1 sample, not {samples_per_channel}.")
        start_s = self._clock()
        replies: list[bytes] = []
        left = samples_per_channel
        while left:
            scans = min(left, self._most_scans)
            self._wire.message(message_request(scans * self.channels), self._transfers(scans))
            replies.append(ctypes.string_at(self._rx, scans * self.channels * BYTES_PER_CONVERSION))
            left -= scans
        took_s = self._clock() - start_s
        rate_hz = samples_per_channel / took_s if took_s > 0.0 else 0.0
        return Block(start_s, rate_hz, decode_scans(self._chip, b"".join(replies), self.channels))

    def close(self) -> None:
        """Give the wire back."""
        self._wire.close()

    def _transfers(self, scans: int) -> bytearray:
        """Packed once for each size of message: the buffers never move."""
        packed = self._packed.get(scans)
        if packed is None:
            packed = self._packed[scans] = pack_transfers(
                ctypes.addressof(self._tx),
                ctypes.addressof(self._rx),
                scans * self.channels,
                speed_hz=self._speed_hz,
                per_scan=self.channels,
                scan_gap_us=self._scan_gap_us,
            )
        return packed


def open_spi_bank(name: str, chip: Chip, bus: int, select: int, *, channels: int = 8, scan_gap_us: int = 0) -> SpiBank:
    """The converter on ``/dev/spidevBUS.SELECT`` at its fastest clock. Raises DeviceError as ``KernelSpi`` does."""
    wire = KernelSpi(f"/dev/spidev{bus}.{select}", chip.fastest_hz)
    return SpiBank(name, chip, wire, channels=channels, scan_gap_us=scan_gap_us)
