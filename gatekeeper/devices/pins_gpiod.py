"""The board's lines through the kernel's own line interface (library gpiod, version 2), on any Linux board.

One claim sets direction and level at once, edges cost next to nothing, no file is left behind, and it is built for
Python 3.13 where lgpio is not. It sends no pulses: servos want a pulse generator board, or the pins "lgpio".
Nothing here was run on a real board; it was on the real library and kernel of an emulated one
(``tests/bench/bench_boot.py``), and the calls are checked against a stand-in with the library's names.
"""

import os
import select
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from gpiozero.exc import PinFixedPull, PinPWMUnsupported, PinSetInput
from gpiozero.pins.pi import PiFactory, PiPin

from gatekeeper.devices.base import DeviceError
from gatekeeper.devices.resting import HEADER_LABELS, HEADER_REVISION, RestingOutput

CONSUMER = "gatekeeper"  # the name that line listings show as the holder


def open_gpiod(path: str | None) -> "GpiodFactory":
    """Lines of the chip at ``path``, or of the chip that carries a Raspberry Pi's header.

    Raises:
        DeviceError: gpiod is missing or too old, there is no such chip, or it may not be used.
    """
    gpiod = open_library()
    chosen = header_chip(gpiod) if path is None else path
    if not gpiod.is_gpiochip_device(chosen):
        raise DeviceError(f"{chosen} is no GPIO chip. The chips of a board are called /dev/gpiochip0, 1, 2 and so on.")
    return GpiodFactory(gpiod, chosen)


def open_library() -> Any:
    """The library gpiod, version 2.

    Raises:
        DeviceError: it is missing or too old.
    """
    try:
        import gpiod
    except ImportError as fault:
        raise DeviceError(
            "The pin library 'gpiod' is not installed, so the board's pins cannot be used. "
            "Install it with: pip install 'gatekeeper[board]'. Nothing was switched."
        ) from fault
    if not hasattr(gpiod, "request_lines"):
        raise DeviceError("The installed library 'gpiod' is too old. Install gpiod 2.2 or newer.")
    return gpiod


def header_chip(gpiod: Any, folder: Path = Path("/dev")) -> str:
    """The path of the chip whose label is one of a header's.

    Raises:
        DeviceError: there is none.
    """
    for path in sorted(folder.glob("gpiochip*")):
        try:
            with gpiod.Chip(str(path)) as chip:
                if chip.get_info().label in HEADER_LABELS:
                    return str(path)
        except OSError:
            continue
    raise DeviceError(
        "No GPIO chip of a Raspberry Pi header was found. Run this on the board, as a user of the group gpio; "
        "on another board name its chip, as in 'gpiod:/dev/gpiochip0'; or choose the pins 'mock'."
    )


class GpiodPin(RestingOutput, PiPin):  # type: ignore[misc]
    """One line; requested at its first claim and held until the factory closes."""

    sends_pulses = False

    def __init__(self, factory: Any, info: Any) -> None:
        super().__init__(factory, info)
        self._request: Any = None
        self._function = "input"
        self._pull = info.pull or "floating"

    def close(self) -> None:
        self.when_changed = None
        super().close()

    def release(self) -> None:
        """Give the line back to the kernel."""
        if self._request is not None:
            self._request.release()
            self._request = None

    def read_events(self) -> None:
        """Take the waiting edges and call the listener once for each."""
        for _ in self._request.read_edge_events():
            self._call_when_changed(self.factory.ticks(), self._get_state())

    @property
    def fd(self) -> int:
        """What becomes readable on an edge."""
        return int(self._request.fd)

    def _claim(self, settings: Any) -> None:
        config = {self._number: settings}
        if self._request is None:
            self._request = self.factory.gpiod.request_lines(self.factory.path, consumer=CONSUMER, config=config)
        else:
            self._request.reconfigure_lines(config)

    def _claim_output(self, level: bool) -> None:
        line, value = self.factory.gpiod.line, self._value(level)
        self._claim(self.factory.gpiod.LineSettings(direction=line.Direction.OUTPUT, output_value=value))
        self._function = "output"

    def _claim_input(self) -> None:
        line = self.factory.gpiod.line
        bias = {"up": line.Bias.PULL_UP, "down": line.Bias.PULL_DOWN, "floating": line.Bias.DISABLED}[self._pull]
        edges = line.Edge.NONE if self._when_changed is None else line.Edge.BOTH
        self._claim(self.factory.gpiod.LineSettings(direction=line.Direction.INPUT, bias=bias, edge_detection=edges))
        self._function = "input"

    def _value(self, level: bool) -> Any:
        return self.factory.gpiod.line.Value.ACTIVE if level else self.factory.gpiod.line.Value.INACTIVE

    def _get_function(self) -> str:
        return self._function

    def _set_function(self, value: str) -> None:
        if value == "output":
            self._claim_output(False)
        else:
            self._claim_input()

    def _get_state(self) -> bool:
        return bool(self._request.get_value(self._number) == self._value(True))

    def _set_state(self, value: float) -> None:
        if self._function != "output":
            raise PinSetInput(f"cannot set state of pin {self!r}")
        self._request.set_value(self._number, self._value(bool(value)))

    def _get_pull(self) -> str:
        return str(self._pull)

    def _set_pull(self, value: str) -> None:
        if self.info.pull and value != self.info.pull:
            raise PinFixedPull(f"{self!r} has a physical pull-{self.info.pull} resistor")
        self._pull = value
        self._claim_input()

    def _get_frequency(self) -> None:
        return None

    def _set_frequency(self, value: float | None) -> None:
        if value is not None:
            raise PinPWMUnsupported("this back end sends no pulses")

    def _get_edges(self) -> str:
        return "both"

    def _set_edges(self, value: str) -> None:
        """Every edge is told; our inputs never ask for less."""

    def _enable_event_detect(self) -> None:
        self._claim_input()
        self.factory.listener.add(self.fd, self.read_events)

    def _disable_event_detect(self) -> None:
        self.factory.listener.drop(self.fd)


class EdgeListener:
    """One thread that sleeps until any watched line has an edge."""

    def __init__(self) -> None:
        self._poll = select.epoll()
        self._wake = os.eventfd(0)
        self._poll.register(self._wake, select.EPOLLIN)
        self._calls: dict[int, Callable[[], None]] = {}
        self._thread = threading.Thread(target=self._run, name="gpiod-edges", daemon=True)
        self._thread.start()

    def add(self, fd: int, call: Callable[[], None]) -> None:
        """Call ``call`` in the listener's thread whenever ``fd`` is readable."""
        self._calls[fd] = call
        self._poll.register(fd, select.EPOLLIN)

    def drop(self, fd: int) -> None:
        """Watch it no longer."""
        if self._calls.pop(fd, None) is not None:
            self._poll.unregister(fd)

    def close(self) -> None:
        """End the thread. Doing it twice does no harm."""
        if self._thread.is_alive():
            os.eventfd_write(self._wake, 1)
            self._thread.join()
            self._poll.close()
            os.close(self._wake)

    def _run(self) -> None:
        while True:
            for fd, _ in self._poll.poll():
                if fd == self._wake:
                    return
                call = self._calls.get(fd)
                if call is not None:
                    call()


class GpiodFactory(PiFactory):  # type: ignore[misc]
    """The factory over one chip; GPIO numbers are the chip's line offsets."""

    def __init__(self, gpiod: Any, path: str) -> None:
        super().__init__()
        self.gpiod = gpiod
        self.path = path
        self.pin_class = GpiodPin
        self.listener = EdgeListener()

    def close(self) -> None:
        pins = list(self.pins.values())
        try:
            super().close()
        finally:
            self.listener.close()
            for pin in pins:
                pin.release()

    def _get_revision(self) -> int:
        return HEADER_REVISION

    @staticmethod
    def ticks() -> float:
        return time.monotonic()

    @staticmethod
    def ticks_diff(later: float, earlier: float) -> float:
        return later - earlier


class HeaderFactory(GpiodFactory):
    """The factory over the board's own header, found by its label; needs no argument.

    It is the entry point ``gatekeeper`` of gpiozero's ``gpiozero_pin_factories``, so that any program on the board gets
    it by ``GPIOZERO_PIN_FACTORY=gatekeeper``: outputs claimed at their level in one step, edges without polling.

    Raises:
        DeviceError: as ``open_gpiod``.
    """

    def __init__(self) -> None:
        found = open_library()
        super().__init__(found, header_chip(found))
