"""A virtual shop whose converters move a hand clock on by what they read: no test waits for a second."""

from gatekeeper.devices.base import Block
from gatekeeper.devices.converter import SpiBank
from gatekeeper.devices.pins import open_pins
from gatekeeper.service.clock import HandClock
from gatekeeper.shop import examples
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Converter, Shop
from gatekeeper.taking import Converters
from sim.plant import VirtualShop


def example_shop(name: str) -> Shop:
    shop = load_shop(examples.example(name).read_text(encoding="utf-8"), name)
    assert isinstance(shop, Shop)
    return shop


class MovingBank:
    """A converter's driver; the clock is at the end of every block that was read."""

    def __init__(self, bank: SpiBank, clock: HandClock) -> None:
        self._bank, self._clock = bank, clock
        self.name, self.channels, self.full_scale = bank.name, bank.channels, bank.full_scale
        self.is_closed = False

    def read(self, samples_per_channel: int) -> Block:
        block = self._bank.read(samples_per_channel)
        end_s = block.start_s + samples_per_channel / block.rate_hz
        if end_s > self._clock.now():
            self._clock.jump_to(end_s)
        return block

    def close(self) -> None:
        self.is_closed = True
        self._bank.close()


class HandPlant:
    """The virtual shop as `record` and `calibrate` want it.

    Args:
        shop: how the shop is really wired; what the program believes may differ.
    """

    def __init__(self, shop: Shop) -> None:
        self.clock = HandClock(50.0)
        self.plant = VirtualShop(shop, open_pins("mock", self.clock.now), self.clock)
        self.banks: list[MovingBank] = []
        self.switched: list[tuple[str, bool]] = []

    def converters(self, *, is_virtual: bool = True) -> Converters:
        return Converters(self._open, self._switch, is_virtual)  # type: ignore[arg-type]

    def _open(self, converter: Converter, channels: int) -> MovingBank:
        self.banks.append(MovingBank(self.plant.open_bank(converter, channels), self.clock))
        return self.banks[-1]

    def _switch(self, machine: str, on: bool) -> None:
        if self.plant.tool_is_on(machine) is not on:
            self.switched.append((machine, on))
            self.plant.switch_tool(machine, on)
