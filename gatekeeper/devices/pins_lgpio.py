"""The board's header through the lgpio library, with its traps closed (see ``pins``).

The library leaves a file in the working directory while it is imported and may change that directory: here the import
happens inside a private directory, and the working directory is put back. Nothing here was run on a real board; it
was on the real library and kernel of an emulated one (``tests/bench/bench_boot.py``).
"""

import importlib
import os
import shutil
import tempfile
from typing import Any

from gatekeeper.devices.base import DeviceError
from gatekeeper.devices.resting import HEADER_LABELS, RestingOutput

MOST_CHIPS = 16  # boards have fewer than ten


def open_lgpio() -> Any:
    """A gpiozero factory over lgpio on the chip that carries the header.

    Raises:
        DeviceError: lgpio is missing or empty, there is no such chip, or it may not be opened.
    """
    lgpio = import_in_private_directory("lgpio")
    if not hasattr(lgpio, "gpiochip_open"):
        raise DeviceError(
            "The installed package 'lgpio' is empty, so the pins cannot be used. "
            "Install lgpio 0.2.2 or newer, for which there is Python 3.11 or 3.12, or choose the pins 'gpiod'."
        )
    from gpiozero.exc import PinUnknownPi

    chip = header_chip(lgpio)
    try:
        return _make_factory(lgpio, chip)
    except PinUnknownPi as fault:
        raise DeviceError(
            "The pins 'lgpio' work on a Raspberry Pi only, and this board does not say that it is one."
        ) from fault
    except Exception as fault:
        raise DeviceError(
            f"The board's pins cannot be opened: {fault}. "
            f"Check that this user may use /dev/gpiochip{chip} (group gpio)."
        ) from fault


def import_in_private_directory(library: str) -> Any:
    """Import ``library`` with a private directory as working directory, then put the old one back.

    Raises:
        DeviceError: the library is not installed.
    """
    parent = os.environ.get("RUNTIME_DIRECTORY", "").split(":")[0] or None
    private = tempfile.mkdtemp(prefix="gatekeeper-", dir=parent)
    before = os.open(".", os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.chdir(private)
        return importlib.import_module(library)
    except ImportError as fault:
        raise DeviceError(
            f"The pin library '{library}' is not installed, so the board's pins cannot be used. "
            "Install it with: pip install 'gatekeeper[board]'. Nothing was switched."
        ) from fault
    finally:
        os.fchdir(before)
        os.close(before)
        shutil.rmtree(private)  # the library holds its file open; nobody needs the name any more


def header_chip(lgpio: Any) -> int:
    """The number of the GPIO chip whose label is one of a header's; numbers changed between kernels.

    Raises:
        DeviceError: no such chip.
    """
    for number in range(MOST_CHIPS):
        try:
            handle = lgpio.gpiochip_open(number)
        except lgpio.error:
            continue
        try:
            label = lgpio.gpio_get_chip_info(handle)[3].strip()
        finally:
            lgpio.gpiochip_close(handle)
        if label in HEADER_LABELS:
            return number
    raise DeviceError(
        "No GPIO chip of a Raspberry Pi header was found. "
        "Run this on the board, as a user of the group gpio, or choose the pins 'mock'."
    )


def _make_factory(lgpio: Any, chip: int) -> Any:
    """The classes are made here because their base imports lgpio at once."""
    from gpiozero.pins.lgpio import LGPIOFactory, LGPIOPin

    class HeaderPin(RestingOutput, LGPIOPin):  # type: ignore[misc]
        """One claim at the right level; duty as a fraction; no stale pulse before a move."""

        _pwm: tuple[float, float] | None

        def _claim_output(self, level: bool) -> None:
            lgpio.gpio_claim_output(self.factory._handle, self._number, int(level))

        def _set_state(self, value: float) -> None:
            if self._pwm is None:
                super()._set_state(value)
                return
            self._pwm = (self._pwm[0], value * 100.0)
            lgpio.tx_pwm(self.factory._handle, self._number, *self._pwm)

        def _set_frequency(self, value: float | None) -> None:
            if value is not None and self._pwm is None:
                self._pwm = (value, 0.0)  # nothing is sent until the duty is known
            elif value is None and self._pwm is not None:
                lgpio.tx_pwm(self.factory._handle, self._number, 0, 0)
                lgpio.gpio_write(self.factory._handle, self._number, 0)
                self._pwm = None

    factory = LGPIOFactory(chip=chip)
    factory.pin_class = HeaderPin
    try:
        factory._get_board_info()  # asked now, so that an unknown board stops the start and not the first claim
    except Exception:
        factory.close()
        raise
    return factory
