"""The air and the chips of a whole shop over time: flows at hoods, ducts, filters, bins, air switches.

Worked out at changes only. Between two changes every fan's speed goes in a straight line and every gate counts as where
it stood at the last change; one that moves counts as half open until it arrives. Flows go with the fan's speed.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Protocol

from gatekeeper.shop.model import Motor, Shop
from sim.books import Books
from sim.chips import (
    BIN_HOLDS_KG_PER_W,
    FILTER_HOLDS_KG_PER_W,
    LEFT_BY_SHAKER,
    TO_FILTER,
    TO_FILTER_WHEN_FULL,
    Carriage,
    DuctChips,
    chips_kg_s,
)
from sim.cuts import Cut, caught_share_time
from sim.duct_air import LOAD_STEPS, PARTS, AirAt, DuctAir, Standing
from sim.parts import Drive, Slide
from sim.plant_faults import PlantFault
from sim.room_air import RoomAir

#: Air is proved from this share of full speed on, with half of what passes through the narrowest gate alone. Our own.
AIR_SPEED = 0.6
AIR_SHARE = 0.5
#: A shaker that ran for this share of its time has cleaned the filter. Our own.
SHAKEN_SHARE = 0.8
#: Less in a duct is not worth a word.
A_GRAM_KG = 0.001
#: Speeds closer together than this are the same.
_ROUNDING = 1e-6


@dataclass(slots=True)
class _System:
    """One motor with ducts. ``duct_air`` None: its air was not solved."""

    name: str
    duct_air: DuctAir | None
    chips: DuctChips | None
    filter_holds_kg: float
    bin_holds_kg: float
    gates: tuple[str, ...]
    at: AirAt | None = None
    standing: Standing | None = None
    begins: float = 0.0
    bin_kg: float = 0.0
    dust_kg: float = 0.0
    is_bin_full: bool = False
    is_filter_blocked: bool = False
    is_cleanout_open: bool = False
    air_moves: bool = False
    regime: tuple[bool, bool] | None = None
    entries: dict[str, tuple[int, ...]] = field(default_factory=dict)


class Machinery(Protocol):
    """What the air asks of a plant, and tells it."""

    @property
    def slides(self) -> Mapping[str, Slide]: ...

    @property
    def drives(self) -> Mapping[str, Drive]: ...

    @property
    def runs(self) -> Mapping[str, bool]: ...

    @property
    def now(self) -> Callable[[], float]: ...

    def later(self, in_s: float, act: Callable[[], None], /) -> None: ...

    def air_moves(self, name: str, moves: bool, /) -> None: ...


class ShopAir:
    """The air of one shop under play.

    Args:
        shop: the shop.
        air: its ducts, by motor; a motor that is left out was not solved.
        plant: whose gates, motors and tools.
        books: takes what comes of it.
    """

    def __init__(self, shop: Shop, air: Mapping[str, DuctAir], plant: Machinery, books: Books) -> None:
        self._shop, self._plant, self._books = shop, plant, books
        self._at_s = plant.now()
        self._blocked: set[str] = set()
        self.cuts: dict[str, Cut] = {}
        #: By running tool: which share of the need each system gives at its full speed, as (system, flow).
        self._flows: dict[str, list[tuple[_System, float]]] = {}
        self.systems: dict[str, _System] = {}
        for name, motor in shop.motors.items():
            if not motor.has_ducts:
                continue
            ducts = air.get(name)
            self.systems[name] = system = _System(
                name,
                ducts,
                None,
                FILTER_HOLDS_KG_PER_W * motor.power_w,
                BIN_HOLDS_KG_PER_W * motor.power_w,
                tuple(gate.name for gate in shop.gates_of(name)),
            )
            if ducts is not None:
                network = ducts.network
                lengths_m = [duct.length_m for duct in network.ducts]
                system.chips = DuctChips(Carriage(lengths_m, ducts.onward, network.order))
                system.gates = ducts.gates
                system.entries = {tool: ducts.entries_of(tool) for tool in ducts.needs_m3s}
        self._air_speed = {name: AIR_SPEED * least_share(shop, motor) for name, motor in shop.motors.items()}
        self.room = RoomAir(shop)
        self._powered: set[str] = set()
        self._rates = {name: chips_kg_s(tool) for name, tool in shop.tools.items()}
        self._needs = {
            name: sum(air[motor].needs_m3s[name] for motor in tool.systems if motor in air)
            for name, tool in shop.tools.items()
            if all(motor in air for motor in tool.systems)
        }

    def keep_books(self, books: Books) -> None:
        """Tell these books from now on."""
        self._books = books

    def proves(self, name: str) -> bool:
        """Whether an air switch at a motor would say now that air moves; one without ducts goes by its speed."""
        fast = self._plant.drives[name].speed >= self._air_speed[name] - _ROUNDING
        return fast and (name not in self.systems or self._has_way(self.systems[name]))

    def chips_left_in_kg(self) -> dict[str, float]:
        """What lies or flies in each duct, the most first, without what is a gram or less."""
        left = {
            duct.name: kg
            for system in self.systems.values()
            if system.chips is not None and system.duct_air is not None
            for duct, kg in zip(system.duct_air.network.ducts, system.chips.by_place_kg, strict=True)
            if kg > A_GRAM_KG
        }
        return dict(sorted(left.items(), key=lambda one: -one[1]))

    # ---------------------------------------------------------------- faults

    def break_system(self, fault: PlantFault, name: str, is_broken: bool) -> None:
        """Fill its bin, block its filter, open its clean-out; or undo it."""
        system = self.systems[name]
        if fault is PlantFault.FULL_BIN:
            system.is_bin_full = is_broken
            if not is_broken:
                system.bin_kg = 0.0
        elif fault is PlantFault.BLOCKED_FILTER:
            system.is_filter_blocked = is_broken
            if not is_broken:
                system.dust_kg = 0.0
        else:
            system.is_cleanout_open = is_broken
        self.changed(self._plant.now())

    def block(self, gate: str, is_broken: bool) -> None:
        """Block the branch of a gate, or clear it."""
        (self._blocked.add if is_broken else self._blocked.discard)(gate)
        self.changed(self._plant.now())

    def shaken(self, follows: str, share: float) -> None:
        """A filter shaker has run for this share of its time."""
        system = self.systems.get(follows)
        if system is not None and share >= SHAKEN_SHARE:
            falls_kg = system.dust_kg * (1.0 - LEFT_BY_SHAKER)
            system.dust_kg -= falls_kg
            system.bin_kg += falls_kg

    # ---------------------------------------------------------------- time

    def changed(self, now_s: float) -> None:
        """Something that matters to the air has changed just now: a gate, a fan, a tool, a fault."""
        if now_s > self._at_s:
            self._pass_time(now_s)
        drives = self._plant.drives
        for system in self.systems.values():
            system.begins = drives[system.name].speed
            self._stand(system)
            self._prove(system)
        self._serve(now_s)
        if self.room.room_m3 is not None:
            self._powered = {name for name, drive in drives.items() if drive.has_power}
        if self._books.wants_truth:
            self._tell_truth()

    def _tell_truth(self) -> None:
        for system in self.systems.values():
            if system.at is not None and system.duct_air is not None:
                ducts = system.duct_air.network.ducts
                self._books.air(
                    {
                        duct.name: velocity * duct.section_m2 * system.begins
                        for duct, velocity in zip(ducts, system.at.velocity_ms, strict=True)
                    }
                )

    def settle(self, now_s: float) -> None:
        """Work out everything until now; nothing has changed."""
        for drive in self._plant.drives.values():
            drive.settle(now_s)
        self.changed(now_s)

    def _pass_time(self, now_s: float) -> None:
        passed_s = now_s - self._at_s
        drives = self._plant.drives
        entering: dict[str, dict[int, float]] = {}
        escaped_kg = 0.0
        for name, cut in self.cuts.items():
            escaped_kg += self._cut_goes_on(name, cut, passed_s, now_s, entering)
        self.room.pass_time(passed_s, escaped_kg, self._powered)
        for system in self.systems.values():
            drive = drives[system.name]
            drive.settle(now_s)
            chips = system.chips
            if chips is None or system.at is None:
                continue
            arrived_kg = chips.pass_time(
                passed_s, system.at.velocity_ms, system.begins, drive.speed, entering.get(system.name, _NOTHING)
            )
            if arrived_kg:
                self._collect(system, arrived_kg)
        self._at_s = now_s

    def _cut_goes_on(
        self, name: str, cut: Cut, passed_s: float, now_s: float, entering: dict[str, dict[int, float]]
    ) -> float:
        """One cut goes on until now; returns what escaped of its chips, and notes what enters the ducts."""
        drives = self._plant.drives
        begins = ends = 0.0
        for system, flow in self._flows[name]:
            drive = drives[system.name]
            drive.settle(now_s)
            begins += system.begins * flow
            ends += drive.speed * flow
        need = cut.need_m3s
        cut.point(self._at_s, begins)
        cut.point(now_s, ends)
        rate = self._rates[name]
        caught_kg = rate * caught_share_time(passed_s, begins / need, ends / need)
        cut.made_kg += rate * passed_s
        cut.caught_kg += caught_kg
        cut.share_s += passed_s * (begins + ends) / 2.0 / need
        if caught_kg:
            whole = sum(flow for _, flow in self._flows[name])
            for system, flow in self._flows[name]:
                if flow > 0.0:
                    into = entering.setdefault(system.name, {})
                    places = system.entries[name]
                    for place in places:
                        into[place] = into.get(place, 0.0) + caught_kg * flow / whole / len(places)
        return rate * passed_s - caught_kg

    def _collect(self, system: _System, arrived_kg: float) -> None:
        is_full = system.is_bin_full or system.bin_kg >= system.bin_holds_kg
        dust_kg = arrived_kg * (TO_FILTER_WHEN_FULL if is_full else TO_FILTER)
        system.dust_kg += dust_kg
        system.bin_kg += arrived_kg - dust_kg

    # ---------------------------------------------------------------- how it stands now

    def _stand(self, system: _System) -> None:
        """The air for how the gates stand now."""
        if system.duct_air is None:
            return
        slides, blocked = self._plant.slides, self._blocked
        openings = tuple([0 if gate in blocked else opening_of(slides[gate]) for gate in system.gates])
        if system.is_filter_blocked:
            step = LOAD_STEPS + 1
        else:
            step = min(LOAD_STEPS, int(system.dust_kg / system.filter_holds_kg * LOAD_STEPS))
        percent = max(1, round(100 * self._plant.drives[system.name].top))
        standing = Standing(openings, step, system.is_cleanout_open, percent)
        if standing != system.standing:
            system.standing = standing
            system.at = system.duct_air.at(standing)

    def _prove(self, system: _System) -> None:
        """The air switch, now and when the fan next passes the speed at which it changes."""
        motor = self._shop.motors[system.name]
        if motor.air_proof is None:
            return
        drive = self._plant.drives[system.name]
        air_speed = self._air_speed[system.name]
        fast = drive.speed >= air_speed - _ROUNDING
        moves = fast and self._has_way(system)
        if moves is not system.air_moves:
            system.air_moves = moves
            self._plant.air_moves(system.name, moves)
        regime = drive.has_power, fast
        if regime == system.regime:
            return
        system.regime = regime
        if drive.has_power and not fast:
            passes_s = (air_speed - drive.speed) * motor.spin_up_s
        elif not drive.has_power and fast:
            passes_s = (drive.speed - air_speed + 2 * _ROUNDING) * motor.coast_s
        else:
            return

        def look() -> None:
            if system.regime == regime:
                system.regime = None
                drive.settle(self._plant.now())
                self._prove(system)

        self._plant.later(passes_s, look)

    def _has_way(self, system: _System) -> bool:
        if system.duct_air is not None and system.at is not None:
            return system.at.fan_m3s >= AIR_SHARE * system.duct_air.smallest_alone_m3s
        if system.is_filter_blocked:
            return False
        slides = self._plant.slides
        motor = self._shop.motors[system.name]
        ways = (gate for gate in system.gates if gate not in self._blocked)
        area_m2 = motor.relief_m2 + sum(slides[gate].open_area_m2 for gate in ways)
        return area_m2 >= AIR_SHARE * min((slides[gate].gate.area_m2 for gate in system.gates), default=0.0)

    def _serve(self, now_s: float) -> None:
        """Which tools run now, and which flow each of them gets at full speed."""
        plant = self._plant
        for name in [name for name in self.cuts if not plant.runs[name]]:
            self._books.cut_ended(now_s, name, self.cuts.pop(name))
            del self._flows[name]
        for name, need in self._needs.items():
            if plant.runs[name] and name not in self.cuts:
                systems = self._shop.tools[name].systems
                is_first = not any(plant.drives[motor].has_power for motor in systems)
                self.cuts[name] = Cut(now_s, need, is_first)
        for name in self.cuts:
            self._flows[name] = self._flows_to(name)

    def _flows_to(self, name: str) -> list[tuple[_System, float]]:
        tool = self._shop.tools[name]
        found: list[tuple[_System, float]] = []
        for motor in tool.systems:
            system = self.systems[motor]
            if system.at is None or system.duct_air is None:
                continue
            flow = 0.0
            for gate, passes in zip(system.gates, system.at.gate_m3s, strict=True):
                if gate in tool.gates:
                    flow += passes * self._part_of(name, gate, system.duct_air)
            found.append((system, flow))
        return found

    def _part_of(self, name: str, gate: str, air: DuctAir) -> float:
        """Of several running tools at one gate, each gets its part by its need."""
        tools = self._shop.tools
        needs = {other: air.needs_m3s[other] for other in self.cuts if gate in tools[other].gates}
        return needs[name] / sum(needs.values())


_NOTHING: dict[int, float] = {}


def least_share(shop: Shop, motor: Motor) -> float:
    """The least speed at which a motor's air switch is set to say air, as a share: that of its drive, as it should."""
    drive = shop.drives.get(motor.switch.drive or "")
    if drive is None or drive.full_speed_hz is None or drive.least_speed_hz is None:
        return 1.0
    return drive.least_speed_hz / drive.full_speed_hz


def opening_of(slide: Slide) -> int:
    """How far a gate counts as open, in tenths."""
    if slide.is_open:
        return PARTS
    if slide.is_shut:
        return 0
    return PARTS // 2 if slide.is_moving else min(PARTS - 1, max(1, round(PARTS * slide.position)))
