"""A variable-frequency drive over Modbus: a motor switch that also says whether the motor runs, and why it tripped.

The registers are the drive's own and stand in the shop's file, from its manual; nothing here knows a maker. All values
are holding registers of 16 bits.

One drive has one thread. ``on``, ``renew`` and ``off`` only say what is wanted and return at once; the thread speaks to
the drive every ``every_s`` and at each change: speed and command are written anew each time, then status, trip code
and current are read. So the drive hears from us as long as the lease runs, and **loss of communication must be set in
the drive**: without it nothing stops the motor when the board dies or the wire breaks.

A lease is broken, and only a new ``on`` starts the motor again, when the drive shows a trip, when the motor stopped by
itself, or when it was not heard for half of the time after which it stops by itself: whoever resets the drive or mends
the wire starts nothing.
"""

import math
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

from gatekeeper.devices.base import BoardDeath, Clock, DeviceError, Fate, ReportLapse
from gatekeeper.devices.drive_pace import Pace, SpeedRange, SpeedWatch, sent_hz
from gatekeeper.devices.switching import LeasedSwitch

EVERY_S = 0.25
TIMEOUT_S = 0.3
#: The shortest real time between two exchanges, for clocks that run fast.
LEAST_WAIT_S = 0.005
#: How long ``close`` waits for the last word to the drive: two exchanges that time out.
CLOSE_S = 1.0
WORD = 0xFFFF


@dataclass(frozen=True, slots=True)
class DriveMap:
    """What the drive's manual says of its registers.

    Args:
        command: register of the command word; ``start_word`` runs it, ``stop_word`` stops it.
        status: register of the status word; it runs while ``status & running_mask == running_word``.
        speed: register of the speed reference, in ``steps_per_hz``; None where the speed is set at the drive.
        trip: register of the trip code, 0 for none; None where there is none.
        current: register of the output current, in ``steps_per_a``; None where there is none.
        speed_seen: register of the speed that it runs at, in ``steps_per_hz``; None where there is none.
    """

    command: int
    start_word: int
    stop_word: int
    status: int
    running_mask: int
    running_word: int
    speed: int | None = None
    steps_per_hz: float = 100.0
    trip: int | None = None
    current: int | None = None
    steps_per_a: float = 10.0
    speed_seen: int | None = None


class DriveRefuses(DeviceError):
    """A drive that answers, and refuses one register."""


@dataclass(frozen=True, slots=True)
class DriveSeen:
    """What a drive says of its motor, when any of it changed.

    Args:
        t_s: when it was read, monotonic seconds.
        motor: the motor's name.
        runs: True or False as its status says; None while the drive is not heard.
        trip: its trip code, 0 for none.
    """

    t_s: float
    motor: str
    runs: bool | None
    trip: int = 0


ReportDrive = Callable[[DriveSeen], None]


class DriveWire(Protocol):
    """What carries the words to one drive: Modbus, or a drive without one. Every call may raise DeviceError."""

    def connect(self) -> None: ...

    def read(self, register: int) -> int: ...

    def write(self, register: int, value: int) -> None: ...

    def close(self) -> None: ...


@dataclass(frozen=True, slots=True)
class NetworkPlace:
    """A drive, or a gateway to it, on the network."""

    host: str
    port: int = 502

    def __str__(self) -> str:
        return f"{self.host}:{self.port}"


@dataclass(frozen=True, slots=True)
class SerialPlace:
    """A drive on a serial line (RS-485); ``parity`` is N, E or O."""

    path: str
    baud: int = 19200
    parity: str = "E"

    def __str__(self) -> str:
        return self.path


class ModbusWire:
    """One device behind Modbus TCP or RTU.

    Args:
        place: where.
        device: its Modbus address, 1 to 247.
        timeout_s: how long one answer is waited for; none is asked for twice.

    Raises:
        DeviceError: the library is not installed.
    """

    def __init__(self, place: NetworkPlace | SerialPlace, device: int, *, timeout_s: float = TIMEOUT_S) -> None:
        self._place, self._device = place, device
        try:
            from pymodbus.client import ModbusSerialClient, ModbusTcpClient
        except ImportError as fault:
            raise DeviceError("The Modbus library is not installed. Run: pip install 'gatekeeper[modbus]'") from fault
        self._client: Any
        if isinstance(place, NetworkPlace):
            self._client = ModbusTcpClient(place.host, port=place.port, timeout=timeout_s, retries=0)
        else:
            self._client = ModbusSerialClient(
                place.path,
                baudrate=place.baud,
                parity=place.parity,
                stopbits=2 if place.parity == "N" else 1,
                timeout=timeout_s,
                retries=0,
            )

    def connect(self) -> None:
        """Open the line. Raises DeviceError when it cannot be reached."""
        if not self._said(self._client.connect):
            raise DeviceError(f"The drive at {self._place} cannot be reached. Look at its wire, address and power.")

    def read(self, register: int) -> int:
        """One holding register. Raises DeviceError when it does not answer, DriveRefuses when it has no such one."""
        answer = self._asked(
            lambda: self._client.read_holding_registers(register, count=1, device_id=self._device), register
        )
        return int(answer.registers[0]) & WORD

    def write(self, register: int, value: int) -> None:
        """Write one holding register. Raises DeviceError as ``read``."""
        self._asked(lambda: self._client.write_register(register, value & WORD, device_id=self._device), register)

    def close(self) -> None:
        """Close the line."""
        self._client.close()

    def _asked(self, ask: Callable[[], Any], register: int) -> Any:
        answer = self._said(ask)
        if answer.isError():
            raise DriveRefuses(
                f"The drive at {self._place} refuses register {register:#06x}: {answer}. Look it up in its manual."
            )
        return answer

    def _said(self, ask: Callable[[], Any]) -> Any:
        try:
            return ask()
        except Exception as fault:  # the library has errors of its own, and lets those of the line through
            said = str(fault).rstrip(".").removeprefix("Modbus Error: ")
            raise DeviceError(f"The drive at {self._place} does not answer: {said}.") from fault


class ModbusDrive(LeasedSwitch):
    """A motor on a variable-frequency drive.

    Wiring: RS-485 pair and common from a serial adapter to the drive, shielded, ended with 120 ohm at both ends; or the
    network. The hard-wired stop goes to the drive's own enable input, never through us. In the drive: control and
    speed from the bus, stop on loss of communication after ``stops_after_s``, no automatic restart after a trip or
    after power came back. Mains and motor wiring by a licensed electrician.

    Args:
        name: the motor's name.
        wire: what carries the words.
        registers: the drive's own.
        stops_after_s: the time of loss of communication as set in the drive, 1 to 60 s.
        speed_hz: the speed it runs at; None where it is set at the drive, or chosen by a pace.
        limits: the speeds between which a pace may choose; it runs at full speed until ``follow`` names one.
        every_s: how often it is spoken to; twice in ``stops_after_s`` at the least.
        report: called with a ``DriveSeen`` in the drive's own thread; it must only put it on a queue.
        clock: monotonic seconds.
        longest_lease_s, on_lapse: as for every leased switch; ``on_lapse`` also hears of a lease that was broken.

    Raises:
        DeviceError: a value out of its range.
    """

    fate = Fate(
        at_power_up="We are silent: the drive stays stopped, or as its own panel says.",
        when_process_dies="The drive hears nothing more and stops after the time of loss of communication set in it "
        "(not measured on a real drive).",
        when_board_dies=BoardDeath.DROPS_LATER,
        in_words="When the board loses power or hangs, the drive hears nothing more and stops after the time set in "
        "it.",
    )

    def __init__(
        self,
        name: str,
        wire: DriveWire,
        registers: DriveMap,
        *,
        stops_after_s: float,
        speed_hz: float | None = None,
        limits: SpeedRange | None = None,
        every_s: float = EVERY_S,
        report: ReportDrive | None = None,
        clock: Clock = time.monotonic,
        longest_lease_s: float = 10.0,
        on_lapse: ReportLapse | None = None,
    ) -> None:
        if not max(1.0, 2 * every_s) <= stops_after_s <= 60.0:
            raise DeviceError(
                f"The drive of {name} stops {stops_after_s:g} s after it hears nothing more. It must be 1 s to 60 s."
            )
        super().__init__(name, longest_lease_s=longest_lease_s, on_lapse=on_lapse)
        self._wire, self._map = wire, registers
        self._stops_after_s, self._speed_hz, self._every_s = stops_after_s, speed_hz, every_s
        self._report, self._clock = report, clock
        self._limits = limits
        self._pace: Pace | None = None
        full_hz = limits.full_hz if limits is not None else speed_hz
        self._speed: SpeedWatch | None = None
        if full_hz is not None and (limits is not None or registers.speed_seen is not None):
            self._speed = SpeedWatch(name, full_hz, sees=registers.speed_seen is not None)
        self._wait_s = every_s
        self._bell = threading.Event()
        self._is_connected = self._ran = False
        self._heard_s = clock()
        self._told: tuple[bool | None, int] | None = None
        self._trouble: str | None = f"The drive of {name} is not reached yet."
        #: The output current when it was last read, amperes; None where it is not known.
        self.current_a: float | None = None
        self._thread = threading.Thread(target=self._run, name=f"drive of {name}", daemon=True)

    @property
    def trouble(self) -> str | None:
        """A sentence while the drive is not heard or has tripped; else None."""
        return self._trouble

    @property
    def speed_trouble(self) -> str | None:
        """A sentence while it does not run as fast as it is told; else None."""
        return self._speed.trouble if self._speed is not None else None

    @property
    def seen_hz(self) -> float | None:
        """The speed that it reports, Hz; None while it does not run or nothing says so."""
        return self._speed.seen_hz if self._speed is not None else None

    def told_for_s(self) -> float:
        """For how long it has been told one and the same speed; below 0 while it is told none."""
        return self._clock() - self._speed.told_since_s if self._speed is not None else -math.inf

    def follow(self, pace: Pace) -> None:
        """Let a pace choose its speed from now on; before ``start``."""
        self._pace = pace

    def hurry(self) -> None:
        """Speak to it at once: the speed that is wanted may have changed. Returns at once."""
        self._bell.set()

    def start(self, real_s: Callable[[float], float] = lambda shop_s: shop_s) -> None:
        """Begin to speak to it; the first word is stop. ``real_s``: from seconds of the shop's clock to real ones."""
        self._wait_s = max(LEAST_WAIT_S, real_s(self._every_s))
        self._thread.start()

    def exchange(self) -> None:
        """Speak to the drive once. For its own thread, and for whoever has none."""
        with self._lock:
            runs = self._until_s is not None and self._clock() < self._until_s
        try:
            status, trip = self._speak(runs)
        except DeviceError as fault:
            self._miss(str(fault))
            return
        self._heard_s = self._clock()
        is_running = status & self._map.running_mask == self._map.running_word
        self._trouble = f"The drive of {self.name} has tripped: code {trip}." if trip else None
        self._tell(is_running, trip)
        with self._lock:
            has_stopped = runs and self._ran and not is_running
            self._ran = runs and (self._ran or is_running)
        if runs and (trip or has_stopped):
            self._break()

    def _speak(self, runs: bool) -> tuple[int, int]:
        """One exchange: status and trip code."""
        words = self._map
        if not self._is_connected:
            self._wire.connect()
            self._is_connected = True
        told = self._send_speed(words.speed) if runs and words.speed is not None else None
        self._wire.write(words.command, words.start_word if runs else words.stop_word)
        status = self._wire.read(words.status)
        if self._speed is not None:
            self._watch_speed(self._speed, told)
        trip = self._wire.read(words.trip) if words.trip is not None else 0
        if words.current is not None:
            self.current_a = self._wire.read(words.current) / words.steps_per_a
        return status, trip

    def _send_speed(self, register: int) -> tuple[float, float, str | None] | None:
        """Tell it its speed; what it was told, its floor, and what it said where it refused. None where nobody says."""
        steps = self._map.steps_per_hz
        if self._limits is not None:
            told_hz, floor_hz = sent_hz(self._limits, self._pace)
            # Up to the next step, never down: a floor is a floor.
            word = min(math.ceil(told_hz * steps - 1e-6), round(self._limits.full_hz * steps))
        elif self._speed_hz is not None:
            told_hz = floor_hz = self._speed_hz
            word = round(told_hz * steps)
        else:
            return None
        try:
            self._wire.write(register, word)
        except DriveRefuses as refusal:
            if self._speed is None:
                raise
            return told_hz, floor_hz, str(refusal)
        return told_hz, floor_hz, None

    def _watch_speed(self, watch: SpeedWatch, told: tuple[float, float, str | None] | None) -> None:
        """See whether it does as told; a motor is never stopped because it runs too fast or too slowly."""
        if told is None:
            watch.rests()
            return
        register = self._map.speed_seen if self._map.speed_seen is not None else self._map.speed
        assert register is not None
        try:
            seen_hz = self._wire.read(register) / self._map.steps_per_hz
        except DriveRefuses as refusal:
            watch.untold(str(refusal))
            return
        watch.look(self._clock(), *told[:2], seen_hz, told[2])

    def _miss(self, said: str) -> None:
        """It was not heard. One silence says nothing yet; after half of the drive's own time the lease is broken."""
        if self._is_connected:
            self._is_connected = False
            self._wire.close()
        self._trouble = said
        self.current_a = None
        if self._speed is not None:
            self._speed.rests()
        if self._clock() - self._heard_s >= self._stops_after_s / 2:
            self._tell(None, 0)
            self._break()

    def _tell(self, runs: bool | None, trip: int) -> None:
        if self._told != (runs, trip):
            self._told = (runs, trip)
            if self._report is not None:
                self._report(DriveSeen(self._clock(), self.name, runs, trip))

    def _break(self) -> None:
        """End the lease before its time."""
        with self._lock:
            was_on, self._until_s, self._ran = self._until_s is not None, None, False
        if was_on:
            self._bell.set()
            if self._on_lapse is not None:
                self._on_lapse(self._clock(), self.name)

    def _power(self, on: bool, now_s: float | None) -> None:
        self._ran = False
        self._bell.set()

    def _carry_on(self, now_s: float) -> None:
        """Without its thread, in a shop that is stepped by hand, whoever ticks speaks to it."""
        if not self._thread.is_alive():
            self.exchange()

    def _release(self) -> None:
        """Wait for the last word, stop; then the drive's own time has to do."""
        self._bell.set()
        if self._thread.is_alive():
            self._thread.join(CLOSE_S)
        else:
            self.exchange()
            self._wire.close()

    def _run(self) -> None:
        while not self._closed:
            self._bell.wait(self._wait_s)
            self._bell.clear()
            self.exchange()
        self.exchange()
        self._wire.close()
