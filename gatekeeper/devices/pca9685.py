"""The PCA9685: sixteen pulse outputs on an I2C bus, here a bank of servos.

Registers, formulas and reset values by the data sheet (NXP PCA9685, revision 4, from memory; ``tests/outside`` holds
them against that sheet's worked examples). Not run on a real chip.

What bites, and what is done about it:

- The chip goes on sending pulses when our program or the board dies. So its output-enable line, which a resistor lifts
  to "off", is driven to "on" only while a gate moves.
- Its supply may fail for a moment; it then wakes asleep, with every output off and at the wrong rate. So ``MODE1`` is
  read before each move, and the chip set up anew when it is not as it was left; and again at the end, where a move
  over a chip that lost its settings counts as a miss.
- After power-up every such chip also answers at 0x70, whatever its address: two of them, or another chip at 0x70,
  talk over each other. So that call is switched off at once, and 0x70 is refused as an address.
- The clock of the chip may be several per cent off: ``clock_share`` says how much, from a measured pulse.
"""

import threading
import time
from collections.abc import Callable

from gatekeeper.devices.ads1115 import I2cWire
from gatekeeper.devices.base import DeviceError
from gatekeeper.devices.pins import Output

MODE1, MODE2, FIRST_LED, ALL_LED, PRE_SCALE = 0x00, 0x01, 0x06, 0xFA, 0xFE
RESTART, EXTERNAL_CLOCK, AUTO_INCREMENT, SLEEP, ALL_CALL = 0x80, 0x40, 0x20, 0x10, 0x01
RESET_MODE1, RESET_MODE2, RESET_PRE_SCALE = SLEEP | ALL_CALL, 0x04, 0x1E
FULL = 0x10  # bit 4 of ON_H: always on; of OFF_H: always off, which wins
CHANNELS = 16
COUNTS = 4096
NOMINAL_HZ = 25e6
SERVO_HZ = 50.0
LEAST_PRE_SCALE, MOST_PRE_SCALE = 3, 255
ALL_CALL_ADDRESS = 0x70
#: Six address pins; 0x70 is the call to all, and from 0x78 the bus keeps addresses for itself.
ADDRESSES = tuple(address for address in range(0x40, 0x78) if address != ALL_CALL_ADDRESS)
#: How long its oscillator needs after sleep.
WAKE_S = 0.0005
#: MODE1 as we leave it: awake, no call to all, registers counted up.
RUNNING = AUTO_INCREMENT


def pre_scale(rate_hz: float, clock_hz: float = NOMINAL_HZ) -> int:
    """The divider for a pulse rate: round(clock / (4096 x rate)) - 1, within 3 to 255.

    Raises:
        DeviceError: the chip cannot make that rate.
    """
    divider = round(clock_hz / (COUNTS * rate_hz)) - 1
    if not LEAST_PRE_SCALE <= divider <= MOST_PRE_SCALE:
        raise DeviceError(f"A PCA9685 cannot send {rate_hz:g} pulses a second.")
    return divider


def counts_for(width_s: float, divider: int, clock_hz: float = NOMINAL_HZ) -> int:
    """A pulse width in counts of the chip's divided clock; one count is 4.88 us at 50 Hz."""
    return round(width_s * clock_hz / (divider + 1))


class ServoBank:
    """One chip with its output-enable line; shared by the gates on it.

    Wiring: VDD at 3.3 V, SDA and SCL on GPIO 2 and 3, OE to a GPIO line and through 10 kilo-ohm to 3.3 V, so that
    nothing is sent until the program runs; the servos' V+ from a supply of 5 to 6 V of its own with 1000 uF beside it,
    grounds joined, never the board's 5 V pin. Address pins A0 to A5 open or soldered to VDD: 0x40 and up.

    Args:
        name: the bank's name.
        wire: what carries the messages; ``KernelI2c`` on a board.
        enable: the output-enable line, claimed active low: "on" is low and lets pulses out.
        address: 0x40 to 0x77 without 0x70.
        clock_share: its clock over 25 MHz, 0.9 to 1.1, from a measured pulse.
        wait: waits that many seconds; called with half a millisecond while the chip wakes.

    Raises:
        DeviceError: a value out of its range.
    """

    def __init__(
        self,
        name: str,
        wire: I2cWire,
        enable: Output,
        *,
        address: int = 0x40,
        clock_share: float = 1.0,
        wait: Callable[[float], None] = time.sleep,
    ) -> None:
        if address not in ADDRESSES:
            raise DeviceError(
                f"The address of servo bank {name} is {address:#x}. A PCA9685 has 0x40 to 0x77, without 0x70, where "
                "all of them answer."
            )
        if not 0.9 <= clock_share <= 1.1:
            raise DeviceError(f"The clock of servo bank {name} is {clock_share:g} of 25 MHz. It lies in 0.9 to 1.1.")
        self.name = name
        self._wire = wire
        self._enable = enable
        self._address = address
        self._clock_hz = NOMINAL_HZ * clock_share
        self._divider = pre_scale(SERVO_HZ, self._clock_hz)
        self._wait = wait
        self._lock = threading.Lock()
        self._sending: set[int] = set()
        self._lost: set[int] = set()
        self._is_known = False

    def pulse(self, channel: int, width_s: float) -> None:
        """Send pulses of ``width_s`` seconds on channel 0 to 15 until ``stop``; sets the chip up where needed.

        Raises:
            DeviceError: nothing answers there, or what answers does not keep its settings. Nothing is sent then.
        """
        with self._lock:
            try:
                if not self._is_known or not self._is_set_up():
                    self._lose_all()
                    self._set_up()
                self._write_channel(channel, 0, counts_for(width_s, self._divider, self._clock_hz))
            except DeviceError:
                self._lose_all()
                raise
            self._lost.discard(channel)
            self._sending.add(channel)
            self._enable.on()

    def stop(self, channel: int) -> bool:
        """Send nothing more on a channel; False when the chip lost its settings meanwhile and so sent nothing.

        When the chip cannot be told, its output-enable line stops all of its channels.

        Raises:
            DeviceError: nothing answers there.
        """
        with self._lock:
            if channel not in self._sending:
                was_lost = channel in self._lost
                self._lost.discard(channel)
                return not was_lost
            self._sending.discard(channel)
            if not self._sending:
                self._enable.off()
            try:
                kept = self._is_set_up()
                self._write_channel(channel, 0, FULL << 8)
            except DeviceError:
                self._lose_all()
                raise
            return kept

    def close(self) -> None:
        """No more pulses, and the wire given back."""
        with self._lock:
            self._lose_all()
            self._wire.close()

    def _lose_all(self) -> None:
        """Nothing is sent any more; the other gates hear of it when they stop."""
        self._enable.off()
        self._lost |= self._sending
        self._sending.clear()
        # A channel that could not be told may still be set to pulses: no gate may go on when another moves.
        self._is_known = False

    def _is_set_up(self) -> bool:
        return self._read(MODE1) & ~RESTART == RUNNING and self._read(PRE_SCALE) == self._divider

    def _set_up(self) -> None:
        """Outputs off first, so that waking restarts none; the divider can only be written asleep."""
        self._enable.off()
        self._write(MODE1, RUNNING)
        self._write(ALL_LED, 0, 0, 0, FULL)
        self._write(MODE1, RUNNING | SLEEP)
        self._write(MODE2, RESET_MODE2)
        self._write(PRE_SCALE, self._divider)
        self._write(MODE1, RUNNING)
        self._wait(WAKE_S)
        if not self._is_set_up():
            raise DeviceError(
                f"Servo bank {self.name} does not keep its settings, or is no PCA9685. Look at its supply and address."
            )

        self._is_known = True

    def _write_channel(self, channel: int, on: int, off: int) -> None:
        self._write(FIRST_LED + 4 * channel, on & 0xFF, on >> 8, off & 0xFF, off >> 8)

    def _write(self, register: int, *values: int) -> None:
        self._wire.message(self._address, [bytes((register, *values))])

    def _read(self, register: int) -> int:
        (answer,) = self._wire.message(self._address, [bytes((register,)), 1])
        return answer[0]


class BankChannel:
    """One channel of a bank, as a servo gate drives it."""

    def __init__(self, bank: ServoBank, channel: int) -> None:
        if not 0 <= channel < CHANNELS:
            raise DeviceError(f"Servo bank {bank.name} has no channel {channel}. A PCA9685 has 0 to 15.")
        self._bank = bank
        self._channel = channel

    def pulse(self, width_s: float) -> None:
        """Send pulses of that width."""
        self._bank.pulse(self._channel, width_s)

    def stop(self) -> bool:
        """Send none; False when none had been sent for some time."""
        return self._bank.stop(self._channel)
