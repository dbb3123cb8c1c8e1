"""The board's digital lines: the one place that holds the work-arounds for the pin library.

What is cured here (figures from the project's hardware notes; none was measured on a real board):

- The library tries one back end after the other and only warns: here the back end is named, and a missing one stops
  the start with a sentence.
- It claims an active-low output low, which switches the relay on, and lifts it afterwards: here an output is claimed
  at its rest level in one step.
- A closed output becomes a floating input: here it stays driven at its rest level as long as the library and the
  kernel allow. An outside 10 kilo-ohm resistor is needed all the same.
- It closes a device that nobody refers to: here every device is kept until ``Pins.close``.
- A pin in use twice is reported by object names: here by the names of both holders.
- Its closing at exit reaches only the default factory, which we never set: ``Pins.close`` does the work, and the
  service calls it on every signal.
"""

import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from typing import Any

from gpiozero import GPIODevice, InputDevice, OutputDevice

from gatekeeper.devices.base import Clock, DeviceError

PULLS = ("up", "down")
SERVO_FRAME_HZ = 50.0  # the 20 ms frame of hobby servos


def _said(fault: Exception) -> str:
    """A library's words as the end of our sentence."""
    return str(fault).rstrip(".")


@contextmanager
def _in_our_words(holder: str, pin: int, what: str) -> Iterator[None]:
    """Whatever a back end raises inside becomes a DeviceError that names the holder."""
    try:
        yield
    except Exception as fault:
        raise DeviceError(f"GPIO {pin} of {holder} could not be {what}: {_said(fault)}.") from fault


class Output:
    """One claimed output; whatever the library raises becomes a ``DeviceError`` that names the holder.

    ``device`` is the gpiozero device below it.
    """

    def __init__(self, line: "OutputLine", device: Any) -> None:
        self.line = line
        self.device = device

    def on(self) -> None:
        """Drive the level that means on."""
        self.put(True)

    def off(self) -> None:
        """Drive the level that means off."""
        self.put(False)

    def put(self, on: bool) -> None:
        """Drive on or off.

        Raises:
            DeviceError: the line could not be written.
        """
        with _in_our_words(self.line.holder, self.line.pin, "switched on" if on else "switched off"):
            self.device.value = on

    def is_on(self) -> bool:
        """What the line is driven to, read back."""
        return bool(self.device.value)


def all_off(outputs: Iterable[Output]) -> None:
    """Switch every output off; one that fails does not keep the others on.

    Raises:
        DeviceError: the first failure, after all were tried.
    """
    first: DeviceError | None = None
    for output in outputs:
        try:
            output.off()
        except DeviceError as fault:
            first = first or fault
    if first is not None:
        raise first


class PulseLine(GPIODevice):  # type: ignore[misc]
    """An output that is either low or sends pulses of one width, fifty times a second."""

    def __init__(self, holder: str, pin: int, *, pin_factory: Any) -> None:
        self._whose = (holder, pin)
        super().__init__(pin, pin_factory=pin_factory)
        self.pin.output_with_state(False)

    def pulse(self, width_s: float) -> None:
        """Send pulses of ``width_s`` seconds until ``stop``. Raises DeviceError when the line cannot be written."""
        with _in_our_words(*self._whose, "pulsed"):
            self.pin.frequency = SERVO_FRAME_HZ
            self.pin.state = width_s * SERVO_FRAME_HZ

    def stop(self) -> None:
        """Send no more pulses; the line is low. Raises DeviceError when the line cannot be written."""
        with _in_our_words(*self._whose, "stopped"):
            self.pin.frequency = None


class ContactLine(InputDevice):  # type: ignore[misc]
    """An input with a pull resistor whose edges call ``on_edge`` in whatever thread the back end has."""

    def __init__(
        self, holder: str, pin: int, *, pull: str, on_edge: Callable[[], None] | None, pin_factory: Any
    ) -> None:
        self._whose = (holder, pin)
        self._on_edge = on_edge
        super().__init__(pin, pull_up=pull == "up", pin_factory=pin_factory)
        if on_edge is not None:
            self.pin.edges = "both"
            self.pin.when_changed = self._changed

    def _changed(self, _ticks: Any, _state: Any) -> None:
        if self._on_edge is not None:
            self._on_edge()

    @property
    def level(self) -> bool:
        """The raw level of the line, True for high. Raises DeviceError when it cannot be read."""
        with _in_our_words(*self._whose, "read"):
            return bool(self.pin.state)


@dataclass(frozen=True, slots=True)
class OutputLine:
    """An output as far as switching it off needs: whose it is, which line, and which level means on.

    Args:
        holder: the device's name for messages.
        pin: the line's GPIO number, 0 to 27.
        active_high: True when the high level means on.
    """

    holder: str
    pin: int
    active_high: bool = True


class Pins:
    """All digital lines of one board: claims them, keeps them, and lets go of them at the end.

    Args:
        factory: a gpiozero pin factory whose pins rest at their claimed level (``open_pins`` makes one).
        name: the name it was asked for by.
        clock: monotonic seconds; the time that contact readings bear.
    """

    def __init__(self, factory: Any, name: str, clock: Clock = time.monotonic) -> None:
        self.factory = factory
        self.name = name
        self.clock = clock
        #: Chips on the I2C bus of pins that are no board's, by address; a virtual shop puts its own here.
        self.chips: dict[int, Any] = {}
        #: Drives without a wire beside such pins, by their motors.
        self.drives: dict[str, Any] = {}
        #: Brokers without a network beside such pins, by their names.
        self.outlets: dict[str, Any] = {}
        self._holders: dict[int, str] = {}
        self._kept: list[Any] = []

    @property
    def is_board(self) -> bool:
        """Whether these are a board's own lines, beside which there are its buses."""
        return self.name.partition(":")[0] not in ("mock", "bank")

    def output(self, line: OutputLine) -> Output:
        """Claim an output, off from the first instant on.

        Raises:
            DeviceError: the line is in use, does not exist, or cannot be claimed.
        """
        device = self._claim(
            line.holder,
            line.pin,
            lambda: OutputDevice(line.pin, active_high=line.active_high, initial_value=False, pin_factory=self.factory),
        )
        return Output(line, device)

    def pulses(self, holder: str, pin: int) -> PulseLine:
        """Claim an output for servo pulses; none are sent until told. Raises DeviceError as ``output`` does."""
        if not self.factory.pin_class.sends_pulses:
            raise DeviceError(
                f"GPIO {pin} for {holder} cannot send servo pulses with the pins '{self.name}'. "
                "Use a pulse generator board, or the pins 'lgpio'."
            )
        made: PulseLine = self._claim(holder, pin, lambda: PulseLine(holder, pin, pin_factory=self.factory))
        return made

    def contact(self, holder: str, pin: int, pull: str, on_edge: Callable[[], None] | None = None) -> ContactLine:
        """Claim an input with the pull resistor ``"up"`` or ``"down"``. Raises DeviceError as ``output`` does."""
        if pull not in PULLS:
            raise DeviceError(f"The pull of GPIO {pin} ({holder}) is '{pull}'. It may be 'up' or 'down'.")
        made: ContactLine = self._claim(
            holder, pin, lambda: ContactLine(holder, pin, pull=pull, on_edge=on_edge, pin_factory=self.factory)
        )
        return made

    def release(self, held: "Output | PulseLine | ContactLine") -> None:
        """Let go of one device: an output rests at its off level. Doing it twice does no harm."""
        device = held.device if isinstance(held, Output) else held
        if device in self._kept:
            self._kept.remove(device)
            pin = int(device.pin.info.name.removeprefix("GPIO"))
            del self._holders[pin]
            try:
                device.close()
            except Exception:
                device._pin = None  # else the library tries again when the device is collected, and prints
                raise

    def close(self) -> None:
        """Let go of every line, outputs first and in the order of their claim. Doing it twice does no harm.

        Raises:
            DeviceError: the first line that could not be put to rest, after all were tried.
        """
        first: Exception | None = None
        devices = sorted(self._kept, key=lambda one: isinstance(one, InputDevice))
        endings = [partial(self.release, device) for device in devices] + [self.factory.close]
        for ending in endings:
            try:
                ending()
            except Exception as fault:
                first = first or fault
        if first is not None:
            raise DeviceError(f"A line could not be put to rest: {_said(first)}.") from first

    def _claim(self, holder: str, pin: int, build: Callable[[], Any]) -> Any:
        if pin in self._holders:
            raise DeviceError(
                f"GPIO {pin} is wanted by {holder} but already belongs to {self._holders[pin]}. "
                "Give one of them another pin."
            )
        try:
            device = build()
        except Exception as fault:  # each back end has errors of its own
            raise DeviceError(
                f"GPIO {pin} for {holder} cannot be used: {_said(fault)}. "
                "Check the number, and that no other program holds the line."
            ) from fault
        self._holders[pin] = holder
        self._kept.append(device)
        return device


def open_pins(name: str, clock: Clock = time.monotonic) -> Pins:
    """Open the pin back end of that name, and no other.

    Args:
        name: ``"mock"`` (no hardware), ``"gpiod"`` (the board's own header, any Python, no servo pulses),
            ``"gpiod:PATH"`` (the chip PATH of any Linux board), ``"lgpio"`` (the header, with servo pulses) or
            ``"bank:PATH"`` (the pin bank process listening on the unix socket PATH).
        clock: monotonic seconds.

    Raises:
        DeviceError: no such name, its library is missing, or there is no such hardware. Nothing was switched.
    """
    if name == "mock":
        from gatekeeper.devices.pins_mock import WatchedFactory

        return Pins(WatchedFactory(clock), name, clock)
    if name == "lgpio":
        from gatekeeper.devices.pins_lgpio import open_lgpio

        return Pins(open_lgpio(), name, clock)
    if name == "gpiod" or name.startswith("gpiod:"):
        from gatekeeper.devices.pins_gpiod import open_gpiod

        return Pins(open_gpiod(name.removeprefix("gpiod").removeprefix(":") or None), name, clock)
    if name.startswith("bank:"):
        from gatekeeper.devices.pins_bank import BankFactory

        return Pins(BankFactory(name.removeprefix("bank:")), name, clock)
    raise DeviceError(f"There are no pins called '{name}'. Allowed are 'mock', 'gpiod', 'lgpio' and 'bank:PATH'.")


def outputs_off(pins: Pins, lines: Iterable[OutputLine]) -> list[str]:
    """Claim every line at its off level and leave it there, whatever an earlier program left behind.

    One line that fails does not keep the others from being switched off.

    Returns:
        One sentence per line that could not be switched off; empty when all are off.
    """
    faults: list[str] = []
    for line in lines:
        try:
            pins.output(line)
        except DeviceError as fault:
            faults.append(str(fault))
    return faults
