"""An ADS1115 that reads slow signals: its inputs one after the other, each against ground, at 8 conversions a second.

At that rate the chip averages over an eighth of a second, six cycles of the mains and more, so that hum in a long cable
does not show. For pressure transmitters; a clamp needs the chip for itself (``ads1115``).

Wiring: VDD at 3.3 V, SDA and SCL on GPIO 2 and 3, ADDR to ground, VDD, SDA or SCL for 0x48 to 0x4B. Each signal to A0,
A1, A2 or A3 through 1 kilo-ohm: a voltage behind two resistors that bring it below 3.3 V, a current (4 to 20 mA) over a
resistor to ground. No input ever above VDD. Inputs that are not used go to ground.
"""

import time
from array import array
from collections.abc import Callable, Sequence

from gatekeeper.devices.ads1115 import (
    ADDRESSES,
    DATA_RATES_SPS,
    MIDDLE,
    OS_BIT,
    POINTER_CONFIG,
    POINTER_CONVERSION,
    SLOWEST,
    TOP_CODE,
    Config,
    I2cWire,
    Inputs,
    KernelI2c,
    encode_config,
    signed,
)
from gatekeeper.devices.base import Block, Clock, DeviceError

RATE_SPS = DATA_RATES_SPS[0]
#: A look whether a conversion is over, and when one that is not never will be, seconds.
LOOK_S = 0.005
GIVE_UP_S = 2.0 / (RATE_SPS * SLOWEST)


class Ads1115Singles:
    """Some inputs of one chip, as a converter whose middle code is zero volts.

    Codes go from 0 (minus full scale) over 32768 (nothing) to 65535, by the full scale of each input. ``channels``
    counts up to the last input that is read; the columns between that are not read are empty.

    Args:
        name: the converter's name.
        wire: what carries the messages; ``KernelI2c`` on a board.
        inputs: each input, 0 to 3, with its full scale, one of ``ads1115.FULL_SCALES_V``.
        address: 0x48 to 0x4B.
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
        inputs: Sequence[tuple[int, float]],
        *,
        address: int = 0x48,
        clock: Clock = time.monotonic,
        wait: Callable[[float], None] = time.sleep,
    ) -> None:
        if address not in ADDRESSES:
            raise DeviceError(f"The address of converter {name} is {address:#x}. An ADS1115 has 0x48 to 0x4b.")
        if not inputs or any(not 0 <= number <= 3 for number, _ in inputs):
            raise DeviceError(f"Converter {name} is to read inputs it has not. An ADS1115 has A0 to A3.")
        self.name = name
        self.channels = max(number for number, _ in inputs) + 1
        self._wire = wire
        self._address = address
        self._clock = clock
        self._wait = wait
        self._configs = {
            number: encode_config(Config(Inputs[f"A{number}"], full_scale_v, RATE_SPS))
            for number, full_scale_v in inputs
        }

    def read(self, samples_per_channel: int) -> Block:
        """That many samples of each input; blocks for an eighth of a second each.

        Raises:
            DeviceError: fewer than one sample wanted, nothing answers, or it answers what the chip cannot.
        """
        if samples_per_channel < 1:
            raise DeviceError(f"Converter {self.name} reads at least 1 sample, not {samples_per_channel}.")
        start_s = self._clock()
        columns = [array("H") for _ in range(self.channels)]
        for _ in range(samples_per_channel):
            for number, config in self._configs.items():
                columns[number].append(self._sample(config) + MIDDLE)
        took_s = self._clock() - start_s
        return Block(start_s, samples_per_channel / took_s if took_s > 0.0 else 0.0, tuple(columns))

    def close(self) -> None:
        """Give the wire back."""
        self._wire.close()

    def _sample(self, config: int) -> int:
        """Start a conversion, wait for it, fetch it."""
        self._wire.message(self._address, [bytes((POINTER_CONFIG, *config.to_bytes(2, "big")))])
        started_s = self._clock()
        self._wait(1.0 / (RATE_SPS * 1.1))
        while not self._is_ready(config):
            if self._clock() - started_s > GIVE_UP_S:
                raise DeviceError(f"Converter {self.name} began a conversion and never ended it. Look at its supply.")
            self._wait(LOOK_S)
        (answer,) = self._wire.message(self._address, [bytes((POINTER_CONVERSION,)), 2])
        return signed(int.from_bytes(answer, "big"))

    def _is_ready(self, config: int) -> bool:
        (answer,) = self._wire.message(self._address, [2])
        word = int.from_bytes(answer, "big")
        if (word ^ config) & ~OS_BIT:
            raise DeviceError(
                f"Converter {self.name} has lost its settings, or is no ADS1115. Look at its supply and its address."
            )
        return bool(word & OS_BIT)


def open_ads1115_singles(name: str, inputs: Sequence[tuple[int, float]], *, bus: int, address: int) -> Ads1115Singles:
    """The chip on ``/dev/i2c-BUS``. Raises DeviceError as ``KernelI2c`` does."""
    return Ads1115Singles(name, KernelI2c(bus), inputs, address=address)
