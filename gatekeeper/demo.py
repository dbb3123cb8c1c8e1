"""The demo: the very service of the shop on mock pins, with a virtual shop behind them, and a plug that can be pulled.

Nothing here knows the simulator: the command hands in what makes the virtual shop and its bench.
"""

import secrets
import tempfile
import threading
from collections.abc import Callable
from concurrent.futures import Future
from pathlib import Path
from typing import Any, Protocol

from gatekeeper.control.messages import RequestWhat, Who
from gatekeeper.devices.converter import SpiBank
from gatekeeper.devices.pins import Pins, open_pins
from gatekeeper.launch import open_page, own_address, run_until_told
from gatekeeper.service.clock import Clock, FastClock, SystemClock
from gatekeeper.service.face import Answer, Beat, Bench, DayView, ShopView
from gatekeeper.service.facing import ShopFace
from gatekeeper.service.running import Service
from gatekeeper.shop.model import Converter, Shop

_NO_POWER = "The board has no power. Put its plug in on the bench."


class Plant(Protocol):
    """A virtual shop behind mock pins."""

    def open_bank(self, converter: Converter, channels: int) -> SpiBank: ...

    def step(self) -> None: ...

    def start(self) -> None: ...

    def stop(self) -> None: ...

    def plug_in(self, pins: Pins) -> None: ...


PlantOf = Callable[[Shop, Pins, Clock], Any]
BenchOf = Callable[..., Bench]


class Demo:
    """One virtual shop with the real service on it; also the face of whichever service runs at the moment.

    Args:
        shop: the shop.
        folder: where its state is kept.
        plant_of, bench_of: make the virtual shop and its bench.
        clock: for both sides of the pins.
    """

    def __init__(self, shop: Shop, folder: Path, plant_of: PlantOf, bench_of: BenchOf, clock: Clock) -> None:
        self._shop = shop
        self._folder = folder
        self._clock = clock
        self._lock = threading.RLock()
        pins = open_pins("mock", clock.now)
        self._plant: Plant = plant_of(shop, pins, clock)
        self.bench = bench_of(self._plant, on_plug_pulled=self.pull_plug, on_plug_in=self.plug_in)
        self._powered = True
        self._ended = False
        self._service = self._boot(pins)
        self._face = ShopFace(self._service)

    def _boot(self, pins: Pins) -> Service:
        # Every plugging in is a boot of its own, as it is for a board.
        return Service(
            self._shop,
            pins,
            self._folder,
            clock=self._clock,
            open_bank=self._plant.open_bank,
            boot=f"demo-{secrets.token_hex(4)}",
        )

    # ---------------------------------------------------------------- running

    @property
    def is_alive(self) -> bool:
        """False once a control thread ended although the board has power."""
        with self._lock:
            return not self._powered or self._service.is_alive

    def motors_off(self) -> None:
        """Drop every relay."""
        self._service.motors_off()

    def start(self) -> None:
        """Start the virtual shop, the service and its views."""
        self._plant.start()
        self._service.start()
        self._face.start()

    def stop(self) -> None:
        """Stop all of it."""
        with self._lock:
            if self._ended:
                return
            self._ended = True
            if self._powered:
                self._service.stop()
            self._plant.stop()
            self._face.stop()

    def pull_plug(self) -> None:
        """The board lost its power: nothing is said, nothing is kept, everything just ends."""
        with self._lock:
            if self._powered:
                self._powered = False
                self._service.lose_power()

    def plug_in(self) -> None:
        """The board gets power again: a fresh service on fresh pins in front of the same shop."""
        with self._lock:
            if self._powered or self._ended:
                return
            pins = open_pins("mock", self._clock.now)
            self._plant.plug_in(pins)
            self._service = self._boot(pins)
            self._plant.step()  # contacts speak before the controller looks
            old, self._face = self._face, ShopFace(self._service, self._face.view().version)
            self._service.start()
            self._face.start()
            self._powered = True
            old.stop()

    # ---------------------------------------------------------------- the face

    def view(self) -> ShopView:
        """The newest view; the last one there was while the board has no power."""
        return self._face.view()

    def beat(self) -> Beat:
        """The control thread's last sign of life; it grows old while the board has no power."""
        return self._face.beat()

    def wait_for_change(self, version: int, timeout_s: float) -> bool:
        """Block until there is a newer view."""
        return self._face.wait_for_change(version, timeout_s)

    def request(
        self,
        what: RequestWhat,
        subject: str | None,
        who: Who,
        for_s: float | None = None,
        text: str | None = None,
        address: str | None = None,
    ) -> "Future[Answer]":
        """Ask the core."""
        return self._face.request(what, subject, who, for_s, text, address) if self._powered else _unpowered()

    def set_spin_down(
        self, subject: str, value_s: float | None, who: Who, address: str | None = None
    ) -> "Future[Answer]":
        """Change a delay."""
        return self._face.set_spin_down(subject, value_s, who, address) if self._powered else _unpowered()

    def undo(self, subject: str, who: Who, address: str | None = None) -> "Future[Answer]":
        """Take the last change of a delay back."""
        return self._face.undo(subject, who, address) if self._powered else _unpowered()

    def history(self, day: str | None) -> DayView:
        """A day's record."""
        return self._face.history(day)


def _unpowered() -> "Future[Answer]":
    told: Future[Answer] = Future()
    told.set_result(Answer(False, "no_power", _NO_POWER))
    return told


def run_demo(
    shop: Shop, plant_of: PlantOf, bench_of: BenchOf, *, speed: float, lan: bool, port: int, state: Path | None
) -> int:
    """Run a demo until a signal ends it.

    Returns:
        The exit status.

    Raises:
        OSError: the page cannot listen there.
    """
    clock: Clock = SystemClock() if speed == 1.0 else FastClock(speed)
    with tempfile.TemporaryDirectory(prefix="gatekeeper-demo-") as passing:
        folder = state if state is not None else Path(passing)
        demo = Demo(shop, folder, plant_of, bench_of, clock)
        try:
            demo.start()
            page = open_page(shop, folder, demo, listen="127.0.0.1", port=port, lan=lan, bench=demo.bench)
        except OSError:
            demo.stop()
            raise
        tell(shop, page.addresses, page.pin, lan=lan)
        return run_until_told(demo, page)


def tell(shop: Shop, addresses: tuple[str, ...], pin: str, *, lan: bool) -> None:
    """Print where the page is, and for phones a code to scan."""
    print(f"{shop.name}: a virtual shop under the real controller.")
    print("The page:")
    for address in addresses:
        print(f"  {address}")
    if lan:
        own = own_address()
        scanned = next((address for address in addresses if own is not None and own in address), None)
        if scanned is not None:
            import segno

            segno.make(scanned, error="m").terminal(compact=True)
        print("Anybody on this network can look and stop. Changing things needs the PIN.")
    print(f"PIN: {pin}")
    print("Machines are switched on the bench at the end of the page. Ctrl-C ends the demo.", flush=True)
