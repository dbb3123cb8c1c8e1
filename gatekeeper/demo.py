"""The demo: the very service of the shop on mock pins, with a virtual shop behind them, and a plug that can be pulled.

Nothing here knows the simulator: the command hands in what makes the virtual shop and its bench.
"""

import secrets
import tempfile
import threading
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import replace
from pathlib import Path
from typing import Any, Protocol

from gatekeeper.control.messages import RequestWhat, Who
from gatekeeper.devices.base import ConverterBank, MeterLink, ReportMeter
from gatekeeper.devices.pins import Pins, open_pins
from gatekeeper.files import FileTrouble, read_shop_text, write_new
from gatekeeper.interview_page import MachinesPage
from gatekeeper.launch import Page, open_page, print_code, run_until_told
from gatekeeper.service.calibration_file import ShopFile
from gatekeeper.service.change_walk import ShopPeople
from gatekeeper.service.clock import Clock, FastClock, SystemClock
from gatekeeper.service.commissioning_walk import ShopCommissioning
from gatekeeper.service.face import Answer, Beat, Bench, CalibrationPress, DayView, ShopView
from gatekeeper.service.facing import ShopFace
from gatekeeper.service.running import Service
from gatekeeper.service.upkeep import ShopUpkeep
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Converter, Shop
from gatekeeper.taking_over import TakeOver

_NO_POWER = "The board has no power. Put its plug in on the bench."


class Plant(Protocol):
    """A virtual shop behind mock pins."""

    def open_bank(self, converter: Converter, channels: int) -> ConverterBank: ...

    def open_meters(self, shop: Shop, report: ReportMeter, clock: Callable[[], float]) -> list[MeterLink]: ...

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
        file: the demo's own copy of the shop's file, for calibrating; None where there is none.
    """

    def __init__(
        self,
        shop: Shop,
        folder: Path,
        plant_of: PlantOf,
        bench_of: BenchOf,
        clock: Clock,
        file: ShopFile | None = None,
    ) -> None:
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
        self._face = ShopFace(self._service, file=file)

    def _boot(self, pins: Pins) -> Service:
        # Every plugging in is a boot of its own, as it is for a board.
        return Service(
            self._shop,
            pins,
            self._folder,
            clock=self._clock,
            open_bank=self._plant.open_bank,
            open_meters=self._plant.open_meters,
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
            self._shop = self._service.shop  # as calibrated
            self._service = self._boot(pins)
            self._plant.step()  # contacts speak before the controller looks
            old, self._face = self._face, ShopFace(self._service, self._face.view().version, self._face.file)
            self._service.start()
            self._face.start()
            self._powered = True
            old.stop()

    @property
    def upkeep(self) -> ShopUpkeep:
        """Care of whatever service runs now."""
        return ShopUpkeep(lambda: self._service, self._face.file, "This shop is virtual.")

    @property
    def file(self) -> ShopFile | None:
        """The demo's own copy of the shop's file as the service runs by it."""
        return self._face.file

    @property
    def people(self) -> ShopPeople:
        """What people walk through around whatever service runs now."""
        return ShopPeople(lambda: self._service, self, self.upkeep)

    @property
    def commissioning(self) -> ShopCommissioning:
        """Whatever service runs now, tried part by part from its page."""
        return self.commissioning_by("page")

    def commissioning_by(self, who: Who) -> ShopCommissioning:
        """The same through another door."""
        return ShopCommissioning(lambda: self._service, self, self.upkeep, lambda: self._face, who=who)

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

    def calibrate(self, machine: str, press: CalibrationPress, who: Who, address: str | None = None) -> Answer:
        """Walk through a machine's calibration, one press at a time."""
        return (
            self._face.calibrate(machine, press, who, address)
            if self._powered
            else Answer(False, "no_power", _NO_POWER)
        )

    def history(self, day: str | None) -> DayView:
        """A day's record."""
        return self._face.history(day)


def _unpowered() -> "Future[Answer]":
    told: Future[Answer] = Future()
    told.set_result(Answer(False, "no_power", _NO_POWER))
    return told


def run_demo(
    shop: Shop,
    text: str,
    plant_of: PlantOf,
    bench_of: BenchOf,
    *,
    speed: float,
    lan: bool,
    port: int,
    state: Path | None,
) -> int:
    """Run a demo until a signal ends it.

    Args:
        shop: the shop.
        text: its file's text; calibrating writes into a copy of it beside the state.
        plant_of, bench_of: make the virtual shop and its bench.
        speed: seconds in the shop for each real one.
        lan, port: where the page listens.
        state: where the state is kept; a passing folder for None.

    Returns:
        The exit status.

    Raises:
        OSError: the page cannot listen there.
        FileTrouble: the copy of the shop's file cannot be written.
    """
    clock: Clock = SystemClock() if speed == 1.0 else FastClock(speed)
    with tempfile.TemporaryDirectory(prefix="gatekeeper-demo-") as passing:
        folder = state if state is not None else Path(passing)
        file = own_copy(folder, text, is_kept=state is not None)
        is_first = True
        while True:
            demo = Demo(shop, folder, plant_of, bench_of, clock, file)
            anew = TakeOver(demo.view)
            try:
                demo.start()
                page = _page_of(demo, shop, folder, anew, lan=lan, port=port)
            except OSError:
                demo.stop()
                raise
            if is_first:
                tell(shop, page.addresses, page.pin, lan=lan)
            status = run_until_told(demo, page, anew=anew)
            if not anew.is_taken:
                return status
            # The same port, so that every phone finds the page again; a virtual shop of its own for the changed file.
            is_first, port = False, page.serving.port
            shop, file = _as_changed(file)
            print(f"Started anew by {file.path}.", flush=True)


def _page_of(demo: Demo, shop: Shop, folder: Path, anew: TakeOver, *, lan: bool, port: int) -> Page:
    """The page of one demo."""

    def own_file() -> ShopFile:
        file = demo.file
        assert file is not None, "a demo of the command has its own copy"
        return file

    return open_page(
        shop,
        folder,
        demo,
        listen="127.0.0.1",
        port=port,
        lan=lan,
        bench=demo.bench,
        upkeep=demo.upkeep,
        people=demo.people,
        commissioning=demo.commissioning,
        interviews=MachinesPage(own_file, anew.stays, anew.ask),
    )


def _as_changed(file: ShopFile) -> tuple[Shop, ShopFile]:
    """The copy as it was changed on the page, and its shop. Raises FileTrouble where it is none any more."""
    text, name = read_shop_text(str(file.path))
    shop = load_shop(text, name)
    if isinstance(shop, Faults):
        raise FileTrouble(f"{name}: this is no shop any more; see: gatekeeper check {name}")
    return shop, replace(file, text=text)


def own_copy(folder: Path, text: str, *, is_kept: bool) -> ShopFile:
    """A copy of the shop's file that may be written, anew at each start.

    Raises:
        FileTrouble: it cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "shop.yaml"
    write_new(path, text.encode("utf-8"), replace=True)
    end = "is made anew when the demo starts" if is_kept else "goes when the demo ends"
    return ShopFile(
        path, text, note=f"That is the demo's own copy: the shop's file stays as it is, and the copy {end}."
    )


def tell(shop: Shop, addresses: tuple[str, ...], pin: str, *, lan: bool) -> None:
    """Print where the page is, and for phones a code to scan."""
    print(f"{shop.name}: a virtual shop under the real controller.")
    print("The page:")
    for address in addresses:
        print(f"  {address}")
    if lan:
        print_code(addresses)
        print("Anybody on this network can look and stop. Changing things needs the PIN.")
    print(f"PIN: {pin}")
    print("Machines are switched on the bench at the end of the page. Ctrl-C ends the demo.", flush=True)
