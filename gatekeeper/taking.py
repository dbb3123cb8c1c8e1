"""What `record` and `calibrate` stand on: the converters alone, of the board, of none, or of a virtual shop."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gatekeeper.devices.base import ConverterBank, DeviceError
from gatekeeper.files import FileTrouble, write_new
from gatekeeper.service.clamp_reading import (
    LEAST_SECONDS,
    MOST_SECONDS,
    NoClamp,
    as_csv,
    as_npz,
    clamp_of_machine,
    summary,
    take,
)
from gatekeeper.service.wiring import channels_used
from gatekeeper.service.wiring_sensors import OpenBank, bank_for
from gatekeeper.shop.model import Shop

VIRTUAL = "virtual"
ON_FROM, ON_TO = 0.25, 0.75


class CannotTake(Exception):
    """Nothing could be recorded; the message is one plain sentence."""


def _nobody(machine: str, on: bool) -> None:
    """Real machines are switched by people."""


@dataclass(frozen=True, slots=True)
class Converters:
    """Where converters come from, and who switches the machines.

    Args:
        open_bank: opens one.
        switch: switches a virtual machine on or off; does nothing for real ones.
        is_virtual: whether nobody has to touch anything.
    """

    open_bank: OpenBank
    switch: Callable[[str, bool], None] = _nobody
    is_virtual: bool = False

    def open(self, shop: Shop, name: str) -> ConverterBank:
        """One converter of a shop. Raises DeviceError."""
        return self.open_bank(shop.converters[name], channels_used(shop, name))


def converters_for(shop: Shop, pins: str, virtual_shop: Callable[..., Any]) -> Converters:
    """The converters that go with a choice of pins; ``virtual_shop`` makes a virtual shop of (shop, pins, clock).

    Raises:
        DeviceError: there are no such pins.
    """
    if pins == VIRTUAL:
        from gatekeeper.devices.pins import open_pins
        from gatekeeper.service.clock import SystemClock

        clock = SystemClock()
        plant = virtual_shop(shop, open_pins("mock", clock.now), clock)
        return Converters(plant.open_bank, plant.switch_tool, is_virtual=True)
    if pins.partition(":")[0] not in ("lgpio", "gpiod", "mock", "bank"):
        raise DeviceError(f"There are no pins called '{pins}'. Allowed are 'lgpio', 'gpiod', 'mock' and 'virtual'.")
    return Converters(bank_for(pins))


def record_to_file(shop: Shop, machine: str, out: Path, seconds: float, converters: Converters) -> list[str]:
    """Record one machine's clamp into a new .npz or .csv file; what is to be said of it.

    Raises:
        CannotTake: the file, the machine, the time or the converter will not do; nothing was written.
    """
    kind = out.suffix.lower()
    if kind not in (".npz", ".csv"):
        raise CannotTake(f"{out.name} is no kind of recording that can be written; name a file in .npz or .csv.")
    if not LEAST_SECONDS <= seconds <= MOST_SECONDS:
        raise CannotTake(f"{seconds:g} s cannot be recorded; {LEAST_SECONDS:g} to {MOST_SECONDS:g} s can.")
    if out.exists():
        raise CannotTake(f"{out}: this file is there already; name another")
    try:
        clamp = clamp_of_machine(shop, machine)
        bank = converters.open(shop, clamp.channel.converter)
    except (NoClamp, DeviceError) as trouble:
        raise CannotTake(str(trouble)) from None

    def watch(passed_s: float) -> None:
        if converters.is_virtual and machine in shop.tools:
            converters.switch(machine, ON_FROM * seconds <= passed_s < ON_TO * seconds)

    try:
        taken = take(bank, clamp, seconds, shop.mains_hz, watch)
        write_new(out, as_npz(taken, machine) if kind == ".npz" else as_csv(taken))
    except (DeviceError, ValueError, FileTrouble) as trouble:
        raise CannotTake(str(trouble)) from None
    finally:
        bank.close()
    return summary(taken, machine, str(out))
