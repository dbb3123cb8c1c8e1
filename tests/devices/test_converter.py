"""Converters: the coding against gpiozero's own, the message against the kernel's layout, and the bank's contract."""

import ctypes
import os
import struct
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from gpiozero import MCP3008 as LibraryMCP3008
from gpiozero import MCP3208 as LibraryMCP3208
from gpiozero import Device
from gpiozero.pins.mock import MockFactory, MockSPIDevice

from gatekeeper.devices.base import Block, ConverterBank, DeviceError
from gatekeeper.devices.bench import FakeBank, fake_converter
from gatekeeper.devices.converter import (
    CHIPS,
    MCP3008,
    MCP3208,
    TRANSFER,
    Chip,
    KernelSpi,
    SpiBank,
    decode_reply,
    decode_scans,
    encode_request,
    encode_scan,
    message_request,
    open_spi_bank,
    pack_transfers,
)

LIBRARY = {"MCP3208": LibraryMCP3208, "MCP3008": LibraryMCP3008}


@pytest.fixture(params=list(CHIPS))
def chip(request: pytest.FixtureRequest) -> Chip:
    return CHIPS[request.param]


# --- coding -----------------------------------------------------------------------------------------------------------


class WiredChip(MockSPIDevice):  # type: ignore[misc]
    """The chip at the level of single bits, by its datasheet: a start bit, then four, a pause, a null bit, the code."""

    def __init__(self, chip: Chip, codes: list[int], factory: Any) -> None:
        super().__init__(11, 10, 9, 8, pin_factory=factory)
        self.chip = chip
        self.codes = codes
        self.asked: list[int] = []
        self.waited = 0

    def on_start(self) -> None:
        super().on_start()
        self.waited = 0

    def on_bit(self) -> None:
        if self.rx_buf[0] == 0:
            self.rx_buf = []
        elif len(self.rx_buf) == 5:
            command = self.rx_word()
            assert command >> 3 == 0b11
            self.asked.append(command & 7)
            self.tx_word(self.codes[command & 7], self.chip.bits + 2)


@pytest.fixture
def wired(chip: Chip, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[WiredChip, MockFactory]]:
    factory = MockFactory()
    monkeypatch.setattr(Device, "pin_factory", factory)  # the library's software bus looks nowhere else
    codes = [0, chip.full_scale, 1, chip.full_scale // 2, chip.full_scale // 2 + 1, 0x155, 0x2AA, chip.full_scale - 1]
    device = WiredChip(chip, codes, factory)
    yield device, factory
    device.close()
    factory.reset()


def test_our_bytes_read_the_chip_bit_by_bit_as_the_library_does(
    chip: Chip, wired: tuple[WiredChip, MockFactory]
) -> None:
    device, factory = wired
    bus = factory.spi(clock_pin=11, mosi_pin=10, miso_pin=9, select_pin=8)
    ours = [decode_reply(chip, bytes(bus.transfer(list(encode_request(chip, channel))))) for channel in range(8)]
    bus.close()
    assert device.asked == list(range(8))
    theirs = []
    for channel in range(8):
        with LIBRARY[chip.name](channel, pin_factory=factory) as reader:
            theirs.append(round(reader.value * chip.full_scale))
    assert ours == device.codes
    assert theirs == device.codes


def test_the_bytes_on_the_wire_are_these() -> None:
    assert encode_request(MCP3208, 0) == bytes([0b0000_0110, 0b0000_0000, 0])
    assert encode_request(MCP3208, 5) == bytes([0b0000_0111, 0b0100_0000, 0])
    assert encode_request(MCP3008, 0) == bytes([0b0000_0001, 0b1000_0000, 0])
    assert encode_request(MCP3008, 7) == bytes([0b0000_0001, 0b1111_0000, 0])


@pytest.mark.parametrize("channel", [-1, 8])
def test_a_channel_that_is_not_there_is_refused(chip: Chip, channel: int) -> None:
    with pytest.raises(DeviceError) as caught:
        encode_request(chip, channel)
    assert str(caught.value) == f"A {chip.name} has channels 0 to 7, not {channel}."


def test_every_code_survives_whatever_the_undefined_bits_are(chip: Chip) -> None:
    for code in range(chip.full_scale + 1):
        for noise in (0, 0xFFFFFF & ~chip.full_scale):
            reply = (code | noise).to_bytes(3, "big")
            assert decode_reply(chip, reply) == code
            assert [list(column) for column in decode_scans(chip, reply, 1)] == [[code]]


def test_scans_are_sorted_by_channel(chip: Chip) -> None:
    codes = [[1, 2, 3], [100, 200, 300], [chip.full_scale, 0, 7]]
    replies = b"".join(codes[channel][scan].to_bytes(3, "big") for scan in range(3) for channel in range(3))
    assert [list(column) for column in decode_scans(chip, replies, 3)] == codes


def test_broken_answers_are_refused(chip: Chip) -> None:
    with pytest.raises(DeviceError) as caught:
        decode_reply(chip, b"\0\0")
    assert str(caught.value) == f"A {chip.name} answers with 3 bytes, not 2."
    with pytest.raises(DeviceError) as caught:
        decode_scans(chip, bytes(25), 8)
    assert str(caught.value) == "25 bytes are not whole scans of 8 channels."


# --- the message ------------------------------------------------------------------------------------------------------


def test_the_ioctl_number_is_the_kernels() -> None:
    """SPI_IOC_MESSAGE(1) and (8) as the C macro gives them: write, 32 bytes a transfer, type 'k', number 0."""
    assert message_request(1) == 0x40206B00
    assert message_request(8) == 0x41006B00
    assert TRANSFER.size == 32


def test_transfers_are_laid_out_as_the_kernel_reads_them() -> None:
    class SpiIocTransfer(ctypes.Structure):
        """struct spi_ioc_transfer, from the kernel's header linux/spi/spidev.h."""

        _fields_ = [
            ("tx_buf", ctypes.c_uint64),
            ("rx_buf", ctypes.c_uint64),
            ("len", ctypes.c_uint32),
            ("speed_hz", ctypes.c_uint32),
            ("delay_usecs", ctypes.c_uint16),
            ("bits_per_word", ctypes.c_uint8),
            ("cs_change", ctypes.c_uint8),
            ("tx_nbits", ctypes.c_uint8),
            ("rx_nbits", ctypes.c_uint8),
            ("word_delay_usecs", ctypes.c_uint8),
            ("pad", ctypes.c_uint8),
        ]

    packed = pack_transfers(0x1000, 0x2000, 4, speed_hz=1_000_000, per_scan=2, scan_gap_us=300)
    read = (SpiIocTransfer * 4).from_buffer(packed)
    assert [(one.tx_buf, one.rx_buf, one.len, one.delay_usecs, one.cs_change) for one in read] == [
        (0x1000, 0x2000, 3, 0, 1),
        (0x1003, 0x2003, 3, 300, 1),
        (0x1006, 0x2006, 3, 0, 1),
        (0x1009, 0x2009, 3, 300, 0),
    ]
    assert {(one.speed_hz, one.bits_per_word, one.tx_nbits, one.rx_nbits) for one in read} == {(1_000_000, 8, 0, 0)}
    assert {(one.word_delay_usecs, one.pad) for one in read} == {(0, 0)}


class CountingWire:
    """A wire that counts messages, notes the request bytes, and answers zeros."""

    def __init__(self) -> None:
        self.requests: list[int] = []
        self.asked: list[bytes] = []
        self.closed = 0

    def message(self, request: int, transfers: bytearray) -> None:
        self.requests.append(request)
        self.asked.append(b"".join(ctypes.string_at(tx, n) for tx, _rx, n, *_ in TRANSFER.iter_unpack(transfers)))

    def close(self) -> None:
        self.closed += 1


def test_whole_scans_go_in_one_message_and_long_reads_in_as_few_as_fit(chip: Chip) -> None:
    wire = CountingWire()
    bank = SpiBank("A", chip, wire, channels=8)
    bank.read(1)
    bank.read(63)
    bank.read(64)
    scan = encode_scan(chip, range(8))
    assert wire.requests == [message_request(count) for count in (8, 504, 504, 8)]
    assert wire.asked == [scan, scan * 63, scan * 63, scan]
    bank.close()
    assert wire.closed == 1
    few = CountingWire()
    SpiBank("B", chip, few, channels=3).read(171)
    assert few.requests == [message_request(510), message_request(3)]


@pytest.mark.parametrize(
    ("limits", "text"),
    [
        ({"channels": 0}, "Converter A is to scan 0 channels. A MCP3208 has 1 to 8."),
        ({"channels": 9}, "Converter A is to scan 9 channels. A MCP3208 has 1 to 8."),
        (
            {"speed_hz": 1_000_001},
            "The clock of converter A is 1000001 Hz. At 3.3 V a MCP3208 takes at most 1000000 Hz.",
        ),
        ({"speed_hz": 0}, "The clock of converter A is 0 Hz. At 3.3 V a MCP3208 takes at most 1000000 Hz."),
        ({"scan_gap_us": 65536}, "The gap of converter A is 65536 us. It must lie between 0 and 65535 us."),
        ({"scan_gap_us": -1}, "The gap of converter A is -1 us. It must lie between 0 and 65535 us."),
    ],
)
def test_limits_are_kept(limits: dict[str, int], text: str) -> None:
    with pytest.raises(DeviceError) as caught:
        SpiBank("A", MCP3208, CountingWire(), **limits)
    assert str(caught.value) == text


def test_a_missing_device_file_says_what_to_do() -> None:
    with pytest.raises(DeviceError) as caught:
        open_spi_bank("A", MCP3208, 77, 0)
    assert str(caught.value) == "There is no /dev/spidev77.0. Switch SPI on for this board, then start again."


def test_a_device_file_that_may_not_be_used_names_the_group(mocker: Any) -> None:
    mocker.patch.object(os, "open", side_effect=PermissionError(13, "Permission denied"))
    with pytest.raises(DeviceError) as caught:
        KernelSpi("/dev/spidev0.0", 1_000_000)
    assert str(caught.value) == "/dev/spidev0.0 may not be used. Add this user to the group spi."


def test_a_file_that_is_no_spi_device_is_refused_and_closed(tmp_path: Path, mocker: Any) -> None:
    plain = tmp_path / "plain"
    plain.write_bytes(b"")
    closed = mocker.spy(os, "close")
    with pytest.raises(DeviceError) as caught:
        KernelSpi(str(plain), 1_000_000)
    assert str(caught.value) == f"{plain} is no SPI device: Inappropriate ioctl for device."
    assert closed.call_count == 1


def test_the_kernel_is_asked_for_mode_clock_and_messages(tmp_path: Path, mocker: Any) -> None:
    plain = tmp_path / "spidev"
    plain.write_bytes(b"")
    ioctl = mocker.patch("gatekeeper.devices.converter.fcntl.ioctl")
    wire = KernelSpi(str(plain), 1_000_000)
    assert [call.args[1:] for call in ioctl.call_args_list] == [
        (0x40016B01, b"\0"),
        (0x40046B04, struct.pack("=I", 1_000_000)),
    ]
    bank = SpiBank("A", MCP3208, wire, channels=2)
    bank.read(3)
    assert ioctl.call_args.args[1] == message_request(6)
    assert ioctl.call_args.args[3] is True
    ioctl.side_effect = OSError(5, "Input/output error")
    with pytest.raises(DeviceError) as caught:
        bank.read(1)
    assert str(caught.value) == f"Reading {plain} failed: Input/output error."
    bank.close()


# --- the contract of a bank -------------------------------------------------------------------------------------------

Build = Callable[[Chip, FakeBank, Any], ConverterBank]


def spi(chip: Chip, fake: FakeBank, clock: Any) -> ConverterBank:
    return fake_converter("A", chip, fake, channels=3, clock=clock)


BANKS: dict[str, Build] = {"spi": spi}


@pytest.fixture(params=list(BANKS))
def build(request: pytest.FixtureRequest) -> Build:
    return BANKS[request.param]


def test_it_gives_each_channel_its_own_codes_in_order(build: Build, chip: Chip, clock: Any) -> None:
    fake = FakeBank(chip)
    bank = build(chip, fake, clock)
    assert isinstance(bank, ConverterBank)
    windows = [[1, 2, 3, 4], [chip.full_scale, 0, chip.full_scale, 0], [9, 8, 7, 6]]
    fake.feed(windows)
    first, second = bank.read(3), bank.read(1)
    assert [list(codes) for codes in first.codes] == [window[:3] for window in windows]
    assert [list(codes) for codes in second.codes] == [window[3:] for window in windows]
    assert len(first.codes) == bank.channels == 3
    assert bank.full_scale == chip.full_scale


@pytest.mark.parametrize(("dead_high", "share"), [(False, 0.0), (True, 1.0)])
def test_fed_nothing_or_muted_it_reads_as_a_dead_converter(
    build: Build, chip: Chip, clock: Any, dead_high: bool, share: float
) -> None:
    dead = round(share * chip.full_scale)
    fake = FakeBank(chip, dead_high=dead_high)
    bank = build(chip, fake, clock)
    assert [list(codes) for codes in bank.read(4).codes] == [[dead] * 4] * 3
    fake.feed([[0, chip.full_scale]])
    assert [list(codes) for codes in bank.read(4).codes] == [[0, chip.full_scale, dead, dead], [dead] * 4, [dead] * 4]
    fake.feed([[7] * 4] * 3)
    fake.mute()
    assert [list(codes) for codes in bank.read(2).codes] == [[dead] * 2] * 3
    fake.mute(False)
    assert [list(codes) for codes in bank.read(4).codes] == [[7] * 4] * 3


def test_a_source_is_asked_for_each_window_and_a_mute_source_stays_unheard(
    build: Build, chip: Chip, clock: Any
) -> None:
    asked: list[int] = []

    def source(scans: int) -> list[list[int]]:
        asked.append(scans)
        return [[11] * scans, [22] * scans]

    fake = FakeBank(chip, source=source)
    bank = build(chip, fake, clock)
    assert [list(codes) for codes in bank.read(2).codes] == [[11, 11], [22, 22], [0, 0]]
    fake.mute()
    assert [list(codes) for codes in bank.read(2).codes] == [[0, 0]] * 3
    assert asked == [2]


def test_the_rate_is_measured_by_the_clock(build: Build, chip: Chip, clock: Any) -> None:
    fake = FakeBank(chip, pace=clock.jump, scan_hz=800.0)
    block = build(chip, fake, clock).read(400)
    assert isinstance(block, Block)
    assert block.start_s == 100.0
    assert block.rate_hz == pytest.approx(800.0)
    assert clock.now_s == pytest.approx(100.5)


def test_a_clock_that_stands_still_gives_no_rate(build: Build, chip: Chip, clock: Any) -> None:
    assert build(chip, FakeBank(chip), clock).read(4).rate_hz == 0.0


def test_at_least_one_sample_is_read(build: Build, chip: Chip, clock: Any) -> None:
    with pytest.raises(DeviceError) as caught:
        build(chip, FakeBank(chip), clock).read(0)
    assert str(caught.value) == "Converter A reads at least 1 sample, not 0."


def test_codes_fed_from_another_thread_arrive_whole(build: Build, chip: Chip, clock: Any) -> None:
    fake = FakeBank(chip)
    bank = build(chip, fake, clock)
    feeder = threading.Thread(target=lambda: [fake.feed([[n], [n], [n]]) for n in range(1, 501)])
    feeder.start()
    got: list[int] = []
    while feeder.is_alive() or got[-1:] != [500]:
        first, second, third = (list(codes) for codes in bank.read(1).codes)
        assert first == second == third
        got += [code for code in first if code]
    assert got == list(range(1, 501))


def test_the_fake_refuses_what_a_chip_cannot_give(chip: Chip) -> None:
    fake = FakeBank(chip)
    with pytest.raises(DeviceError) as caught:
        fake.feed([[0], [chip.full_scale + 1]])
    assert str(caught.value) == (
        f"Code {chip.full_scale + 1} on channel 1 cannot be. A {chip.name} gives 0 to {chip.full_scale}."
    )
    with pytest.raises(DeviceError) as caught:
        fake.feed([[0]] * 9)
    assert str(caught.value) == f"A {chip.name} has 8 channels, not 9."


def test_the_fake_does_not_understand_the_other_chips_requests() -> None:
    with pytest.raises(DeviceError) as caught:
        SpiBank("A", MCP3208, FakeBank(MCP3008)).read(1)
    assert str(caught.value) == "A MCP3008 does not understand the request 1100000."
