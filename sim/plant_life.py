"""What really goes on in a plant that is stepped: power, air, chips and the books, beside its slides and drives.

The other face of the same parts is ``sim.signal_plant``, which is told of every change; here each step looks for them.
"""

import heapq
import itertools
from collections.abc import Callable, Mapping

from gatekeeper.service.air_systems import air_systems
from gatekeeper.shop.model import Shop
from sim.books import Books
from sim.breakers import Breaker
from sim.currents import Load
from sim.duct_air import DuctAir
from sim.electricity import Electricity
from sim.parts import Drive, Slide, word_of
from sim.shop_air import ShopAir, opening_of


def air_of_shop(shop: Shop) -> dict[str, DuctAir]:
    """The ducts of a shop ready to be solved; none where they cannot be."""
    try:
        return {name: DuctAir(system) for name, system in air_systems(shop).items()}
    except ValueError:
        return {}


class PlantLife:
    """The life of one stepped plant.

    Args:
        shop: the shop.
        slides, drives: its moving parts.
        tool_loads: what its machines draw.
        now: the clock.
        power: called with a tool's name and whether it has current from now on.
        air: the ducts; worked out from the shop where none are given.
        breakers: by feeder, see ``sim.electricity``.
    """

    def __init__(
        self,
        shop: Shop,
        slides: Mapping[str, Slide],
        drives: Mapping[str, Drive],
        tool_loads: Mapping[str, Load],
        now: Callable[[], float],
        power: Callable[[str, bool], None],
        *,
        air: Mapping[str, DuctAir] | None = None,
        breakers: Mapping[str, Breaker] | None = None,
    ) -> None:
        self._shop, self.slides, self.drives, self.now, self._power = shop, slides, drives, now, power
        self._loads = tool_loads
        self._agenda: list[tuple[float, int, Callable[[], None]]] = []
        self._ticket = itertools.count()
        self.is_on = dict.fromkeys(shop.tools, False)
        self.runs = dict.fromkeys(shop.tools, False)
        self._had_power = dict.fromkeys(shop.motors, False)
        self._standing: list[int] = []
        self._driven: dict[str, bool] = dict.fromkeys(shop.gates, False)
        self._air_moves: dict[str, bool] = {}
        self._shaking_since_s: dict[str, float] = {}
        self.books = Books(shop, with_tracks=False)
        motor_loads = {name: drive.load for name, drive in drives.items()}
        self.electricity = Electricity(
            shop, tool_loads, motor_loads, now, self.later, self._feeds, self._tripped, breakers
        )
        self.air = ShopAir(shop, air if air is not None else air_of_shop(shop), self, self.books)
        self._note_gates(now())
        self.air.changed(now())

    def keep_books(self, books: Books) -> None:
        """Keep these books from now on, before anything has happened."""
        self.books = books
        self.air.keep_books(books)
        self._note_gates(self.now())

    def later(self, in_s: float, act: Callable[[], None]) -> None:
        """Do something at the first step after so many seconds."""
        heapq.heappush(self._agenda, (self.now() + in_s, next(self._ticket), act))

    def air_moves(self, name: str, moves: bool) -> None:
        """The air at a motor's air switch moves, or not."""
        self._air_moves[name] = moves

    def has_air(self, name: str) -> bool:
        """What a motor's air switch, if it has one, would say."""
        return self.air.proves(name)

    def switch(self, name: str, on: bool) -> None:
        """A machine is switched on or off at its own switch."""
        self.is_on[name] = on
        self._tool(name)

    def look(self, now_s: float) -> None:
        """Everything has been worked out until now: note what has changed, and what time brings."""
        while self._agenda and self._agenda[0][0] <= now_s:
            heapq.heappop(self._agenda)[2]()
        standing = [opening_of(slide) for slide in self.slides.values()]
        standing += [_regime(drive) for drive in self.drives.values()]
        standing += [round(100 * drive.top) for drive in self.drives.values()]
        is_new = standing != self._standing
        if is_new or any(self._driven.values()):
            self._note_gates(now_s)
        for name, drive in self.drives.items():
            if drive.has_power is not self._had_power[name]:
                self._had_power[name] = drive.has_power
                self.electricity.motor(name, drive.has_power)
                self._note_shaking(drive, now_s)
            if is_new:
                self.books.motor(now_s, name, drive.has_power, drive.speed, drive.top)
        if is_new:
            self._standing = standing
            self.air.changed(now_s)

    def settle(self, now_s: float) -> None:
        """Work out air and chips until now, whatever has changed or not."""
        self.air.changed(now_s)

    def _note_gates(self, now_s: float) -> None:
        for name, slide in self.slides.items():
            is_driven = slide.is_driven and slide.gate.is_actuated
            if is_driven and not self._driven[name]:
                self.books.gate_driven(now_s, name)
            self._driven[name] = is_driven
            self.books.gate(now_s, name, word_of(slide), slide.position)

    def _note_shaking(self, drive: Drive, now_s: float) -> None:
        motor = drive.motor
        if motor.follows is None:
            return
        if drive.has_power:
            self._shaking_since_s[motor.name] = now_s
        else:
            ran_s = now_s - self._shaking_since_s.pop(motor.name, now_s)
            self.air.shaken(motor.follows, ran_s / motor.runs_s if motor.runs_s > 0 else 0.0)

    def _tripped(self, name: str) -> None:
        self.books.trips += 1

    def _feeds(self) -> None:
        now_s = self.now()
        for name, drive in self.drives.items():
            fed = self.electricity.feeds_motor(name)
            if fed is not drive.is_supplied:
                drive.supply(now_s, fed)
        for name in self.is_on:
            self._tool(name)

    def _tool(self, name: str) -> None:
        runs = self.is_on[name] and self.electricity.feeds_tool(name)
        if runs is self.runs[name]:
            return
        now_s = self.now()
        self.runs[name] = runs
        self._power(name, runs)
        self.books.tool(now_s, name, runs, self._loads[name].running_a)
        self.electricity.tool(name, runs)
        self.air.changed(now_s)


def _regime(drive: Drive) -> int:
    """What a motor is at, as far as the air is concerned: still, coasting, on its way to its speed, there."""
    if drive.has_power:
        return 3 if drive.speed == drive.top else 2
    return 1 if drive.speed > 0.0 else 0
