"""The ADS1115: a 16-bit converter with four inputs on an I2C bus, read one conversion at a time.

Coding and decoding of its registers are pure functions. ``Ads1115Bank`` reads one pair of inputs, the difference of
the two, in single shots: start, wait, look whether the conversion is ready, fetch. So no sample is missed and none is
read twice, which the continuous mode cannot promise without a wire to the chip's ALERT/RDY pin.

Limits. The chip makes at most 860 conversions a second for all its inputs together, on its own clock, which may be
10 % slow; each start costs a wake-up of about 0.1 ms. With the bus at 400 kHz that leaves about 530 samples a second
at worst: 10 a mains cycle at 50 Hz, 8 at 60 Hz, and 8 are the least that a current can be told from. So it serves one
clamp and never two: ``check`` refuses a second one on it, and this driver reads one pair only. At the usual bus clock
of 100 kHz it gives 370 to 440 a second: too few at 60 Hz, and at 50 Hz on a slow chip; its clamp then counts as lost.
The chip averages over each conversion; at 50 or 60 Hz that takes 1 % off a current. An MCP3208 is better in every way
but its number of wires.

Wiring: VDD at 3.3 V, SDA and SCL on GPIO 2 and 3 (1.8 kilo-ohm pull-ups are on the board), ADDR to ground, VDD, SDA or
SCL for 0x48 to 0x4B. The clamp, on its burden, between the inputs of a pair: one end at A0 (A2), the other at A1 (A3),
and A1 (A3) held in the middle of the supply by two resistors of 10 kilo-ohm with 10 uF beside the lower one; 1
kilo-ohm in series and clamp diodes at A0 (A2). ``dtparam=i2c_arm_baudrate=400000`` in config.txt.

Registers by the data sheet (SBAS444, from memory; ``tests/outside`` holds them against an open driver's). Not run on a
real chip.
"""

import time
from array import array
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Protocol

from gatekeeper.devices.base import Block, Clock, DeviceError

POINTER_CONVERSION, POINTER_CONFIG = 0, 1
#: The configuration after power-up: A0 against A1, 2.048 V, 128 a second, single shot, comparator off.
RESET_CONFIG = 0x8583
OS_BIT = 0x8000
SINGLE_SHOT_BIT = 0x0100
COMPARATOR_OFF = 0b11
DATA_RATES_SPS = (8, 16, 32, 64, 128, 250, 475, 860)
FULL_SCALES_V = (6.144, 4.096, 2.048, 1.024, 0.512, 0.256)
ADDRESSES = range(0x48, 0x4C)
MIDDLE = 1 << 15
TOP_CODE = (1 << 16) - 1

SLOWEST, FASTEST = 0.9, 1.1
#: Wake-up of a single shot, and what bus, kernel and looks in vain take at 400 kHz; an estimate, not measured.
WAKE_S, BUS_S = 0.0001, 0.0005
#: A conversion that is not ready after so many of its slowest times never will be.
GIVE_UP_TIMES, GIVE_UP_S = 3.0, 0.02
#: The measured rate follows over so many samples; a step longer than this is a hole and no rate.
RATE_SAMPLES, HOLE_S = 32, 0.005


class Inputs(Enum):
    """What is measured: the difference of two inputs, or one input against ground. The value is the multiplexer's."""

    A0_A1 = 0
    A0_A3 = 1
    A1_A3 = 2
    A2_A3 = 3
    A0 = 4
    A1 = 5
    A2 = 6
    A3 = 7


PAIRS = (Inputs.A0_A1, Inputs.A2_A3)


@dataclass(frozen=True, slots=True)
class Config:
    """One setting of the chip.

    Args:
        inputs: what is measured.
        full_scale_v: one of ``FULL_SCALES_V``; it shows that much each way.
        rate_sps: one of ``DATA_RATES_SPS``, conversions a second.
        single_shot: one conversion for each start, asleep between; else it converts without end.
        start: written: begin a conversion now. Read: no conversion is under way.
    """

    inputs: Inputs
    full_scale_v: float = 1.024
    rate_sps: int = 860
    single_shot: bool = True
    start: bool = True


def encode_config(config: Config) -> int:
    """The configuration register for a setting, comparator off.

    Raises:
        DeviceError: no such full scale or rate.
    """
    if config.full_scale_v not in FULL_SCALES_V:
        allowed = ", ".join(f"{volts:g}" for volts in FULL_SCALES_V)
        raise DeviceError(f"An ADS1115 has no full scale of {config.full_scale_v:g} V. It has {allowed} V.")
    if config.rate_sps not in DATA_RATES_SPS:
        allowed = ", ".join(map(str, DATA_RATES_SPS))
        raise DeviceError(f"An ADS1115 does not make {config.rate_sps} samples a second. It makes {allowed}.")
    word = config.inputs.value << 12 | FULL_SCALES_V.index(config.full_scale_v) << 9
    word |= DATA_RATES_SPS.index(config.rate_sps) << 5 | COMPARATOR_OFF
    return word | (SINGLE_SHOT_BIT if config.single_shot else 0) | (OS_BIT if config.start else 0)


def decode_config(word: int) -> Config:
    """The setting in a configuration register, 0 to 65535; the codes after the smallest full scale mean it too."""
    return Config(
        Inputs(word >> 12 & 0b111),
        FULL_SCALES_V[min(word >> 9 & 0b111, len(FULL_SCALES_V) - 1)],
        DATA_RATES_SPS[word >> 5 & 0b111],
        bool(word & SINGLE_SHOT_BIT),
        bool(word & OS_BIT),
    )


def signed(word: int) -> int:
    """A conversion register as a number: two's complement, -32768 to 32767."""
    return word - 0x10000 if word & 0x8000 else word


class I2cWire(Protocol):
    """What carries I2C messages: the kernel, or a fake at the same level.

    ``message`` sends the parts one after the other without giving the bus away: bytes are written, a number is so many
    bytes to read. It returns what was read, one by one.
    """

    def message(self, address: int, parts: Sequence[bytes | int]) -> list[bytes]: ...

    def close(self) -> None: ...


class KernelI2c:
    """An I2C bus of the board, ``/dev/i2c-BUS``.

    Raises:
        DeviceError: the library or the file is not there, or may not be used.
    """

    def __init__(self, bus: int) -> None:
        self._path = f"/dev/i2c-{bus}"
        try:
            from smbus2 import SMBus, i2c_msg
        except ImportError as fault:
            raise DeviceError("The I2C library is not installed. Run: pip install 'gatekeeper[board]'") from fault
        self._msg = i2c_msg
        try:
            self._bus = SMBus(self._path)
        except FileNotFoundError as fault:
            raise DeviceError(f"There is no {self._path}. Switch I2C on for this board, then start again.") from fault
        except PermissionError as fault:
            raise DeviceError(f"{self._path} may not be used. Add this user to the group i2c.") from fault
        except OSError as fault:
            raise DeviceError(f"{self._path} is no I2C bus: {fault.strerror}.") from fault

    def message(self, address: int, parts: Sequence[bytes | int]) -> list[bytes]:
        """One ioctl; the interpreter is free meanwhile.

        Raises:
            DeviceError: nothing answers, or the bus failed.
        """
        messages = [
            self._msg.read(address, part) if isinstance(part, int) else self._msg.write(address, part) for part in parts
        ]
        try:
            self._bus.i2c_rdwr(*messages)
        except OSError as fault:
            said = f"Nothing answers at {address:#x} on {self._path}: {fault.strerror}. Look at its plug and address."
            raise DeviceError(said) from fault
        return [bytes(sent) for sent, part in zip(messages, parts, strict=True) if isinstance(part, int)]

    def close(self) -> None:
        """Give the bus back."""
        self._bus.close()


class Ads1115Bank:
    """One clamp on a pair of an ADS1115's inputs, as a converter whose middle code is zero volts.

    Codes go from 0 (minus full scale) over 32768 (nothing) to 65535. ``channels`` counts up to the pair that is read;
    the columns before it are empty.

    Args:
        name: the converter's name.
        wire: what carries the messages; ``KernelI2c`` on a board.
        address: 0x48 to 0x4B.
        pair: 0 for A0 against A1, 1 for A2 against A3.
        full_scale_v: one of ``FULL_SCALES_V``.
        clock: monotonic seconds.
        wait: waits that many seconds.

    Raises:
        DeviceError: a value out of its range.
    """

    full_scale = TOP_CODE

    def __init__(
        self,
        name: str,
        wire: I2cWire,
        *,
        address: int = 0x48,
        pair: int = 0,
        full_scale_v: float = 1.024,
        clock: Clock = time.monotonic,
        wait: Callable[[float], None] = time.sleep,
    ) -> None:
        if address not in ADDRESSES:
            raise DeviceError(f"The address of converter {name} is {address:#x}. An ADS1115 has 0x48 to 0x4b.")
        if not 0 <= pair < len(PAIRS):
            raise DeviceError(f"Converter {name} has no pair {pair}. An ADS1115 has 0 (A0, A1) and 1 (A2, A3).")
        self.name = name
        self.channels = pair + 1
        self._wire = wire
        self._address = address
        self._clock = clock
        self._wait = wait
        self._config = encode_config(Config(PAIRS[pair], full_scale_v))
        self._start = bytes((POINTER_CONFIG, *self._config.to_bytes(2, "big")))
        rate_sps = DATA_RATES_SPS[-1]
        self._soonest_s = 1 / (rate_sps * FASTEST)
        self._latest_s = GIVE_UP_TIMES / (rate_sps * SLOWEST) + GIVE_UP_S
        self._period_s = 1 / rate_sps + WAKE_S + BUS_S
        self._started_s: float | None = None

    def read(self, samples_per_channel: int) -> Block:
        """That many samples of the pair; blocks for about 2 ms each.

        The block's rate is that of the last samples, holes left out; its start is that of its first conversion.

        Raises:
            DeviceError: fewer than one sample wanted, nothing answers, or it answers what the chip cannot.
        """
        if samples_per_channel < 1:
            raise DeviceError(f"Converter {self.name} reads at least 1 sample, not {samples_per_channel}.")
        codes = array("H")
        try:
            if self._started_s is None:
                self._wire.message(self._address, [self._start])
                self._started_s = self._clock()
            start_s = self._started_s
            for _ in range(samples_per_channel):
                codes.append(self._sample(self._started_s) + MIDDLE)
        except DeviceError:
            self._started_s = None
            raise
        return Block(start_s, 1 / self._period_s, (*[()] * (self.channels - 1), codes))

    def close(self) -> None:
        """Give the wire back."""
        self._wire.close()

    def _sample(self, started_s: float) -> int:
        """Wait for the conversion under way, fetch it, and start the next."""
        ahead_s = started_s + self._soonest_s - self._clock()
        if ahead_s > 0:
            self._wait(ahead_s)
        while not self._is_ready():
            if self._clock() - started_s > self._latest_s:
                raise DeviceError(f"Converter {self.name} began a conversion and never ended it. Look at its supply.")
        (answer,) = self._wire.message(self._address, [bytes((POINTER_CONVERSION,)), 2, self._start])
        now_s = self._clock()
        step_s, self._started_s = now_s - started_s, now_s
        if step_s < HOLE_S:
            self._period_s += (step_s - self._period_s) / RATE_SAMPLES
        return signed(int.from_bytes(answer, "big"))

    def _is_ready(self) -> bool:
        """Read the configuration; the pointer still stands there after a start."""
        (answer,) = self._wire.message(self._address, [2])
        word = int.from_bytes(answer, "big")
        if (word ^ self._config) & ~OS_BIT:
            raise DeviceError(
                f"Converter {self.name} has lost its settings, or is no ADS1115. Look at its supply and its address."
            )
        return bool(word & OS_BIT)


def open_ads1115(name: str, *, bus: int, address: int, pair: int, full_scale_v: float) -> Ads1115Bank:
    """The chip on ``/dev/i2c-BUS``. Raises DeviceError as ``KernelI2c`` does."""
    return Ads1115Bank(name, KernelI2c(bus), address=address, pair=pair, full_scale_v=full_scale_v)
