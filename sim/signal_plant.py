"""The virtual shop at signals fidelity: machines, gates and motors that jump from change to change.

Commands of the core go in, what its sensors would say comes out; between two changes nothing is computed. The parts are
those of the other fidelity (``sim.parts``), the drivers' moves and leases are the real ones, the sensing is its delays.
"""

import random
from collections.abc import Callable, Mapping
from functools import partial
from math import inf

from gatekeeper.control.messages import (
    Command,
    Event,
    HandSeen,
    Missed,
    MoveGate,
    Requested,
    ShopKeySeen,
    SwitchMotor,
)
from gatekeeper.devices.base import Miss
from gatekeeper.shop.model import InputKind, Motor
from sim.books import Books
from sim.breakage import Breakage
from sim.breakers import Breaker
from sim.electricity import Electricity
from sim.faults import known
from sim.parts import TRAVEL_SHARE, Drive, Slide, word_of
from sim.senses import QUICK_DELAYS, Later
from sim.shop_air import ShopAir, opening_of
from sim.signal_gates import SlideGate
from sim.signal_senses import CIRCUITS, ShopSenses
from sim.stage import Stage

#: A move takes this share of the file's travel time, evenly spread: friction. Our own.
LEAST_SHARE, MOST_SHARE = 2 * TRAVEL_SHARE - 0.98, 0.98
#: The guardian of leases looks at most this late, as ``LeaseGuard``.
LEASE_LATE_S = 0.1
BUTTONS = (InputKind.AIR_HERE, InputKind.STOP, InputKind.RESET, InputKind.RELEASE, InputKind.SPARKS)


class SignalPlant:
    """One shop without a building and without lines.

    Args:
        stage: the shop.
        now: the instant of the play, seconds.
        later: runs something after so many seconds of the play.
        tell: takes what the sensors say; whoever listens.
        books: keeps account of what really happens.
        play_s: from an instant of the core's clock to one of the play.
        breakers: by feeder, see ``sim.electricity``.
        seed: of friction.

    Methods that take a name raise ValueError with a sentence when the shop has nothing of that name.
    """

    def __init__(
        self,
        stage: Stage,
        now: Callable[[], float],
        later: Later,
        tell: Callable[[Event], None],
        books: Books,
        *,
        play_s: Callable[[float], float] = lambda core_s: core_s,
        breakers: Mapping[str, Breaker] | None = None,
        seed: int = 0,
    ) -> None:
        self.stage, self.shop = stage, stage.shop
        self.now, self.later, self._tell, self.books = now, later, tell, books
        self._play_s = play_s
        self._random = random.Random(seed)
        self.is_awake = False
        shop, now_s = self.shop, now()
        self.slides = {name: Slide(gate, now_s) for name, gate in shop.gates.items()}
        self.drives = {name: Drive(motor, stage.motor_loads[name], now_s) for name, motor in shop.motors.items()}
        self.is_on = dict.fromkeys(shop.tools, False)
        self.runs = dict.fromkeys(shop.tools, False)
        self.inputs = {name: False for name, part in shop.inputs.items() if part.kind in CIRCUITS}
        self.selectors = {name: "auto" for name, part in shop.inputs.items() if part.kind is InputKind.HAND_OFF_AUTO}
        self.key_is_open = True
        self._leases: dict[str, float] = {}
        #: When the first lease is seen to have run out, should nobody renew it; infinite without one.
        self.lapse_s = inf
        self._openings: dict[str, int] = {}
        self._shaking_since_s: dict[str, float] = {}
        self._gate_turn = dict.fromkeys(shop.gates, 0)
        self._drive_turn = dict.fromkeys(shop.motors, 0)
        self._had_power = dict.fromkeys(shop.motors, False)
        self.electricity = Electricity(
            shop, stage.tool_loads, stage.motor_loads, now, later, self._feeds, self._tripped, breakers
        )
        self.senses = ShopSenses(stage, later, tell)
        for name, slide in self.slides.items():
            self.senses.feel_gate(name, slide.is_open, slide.is_shut)
        self.air = ShopAir(shop, stage.air, self, books)
        self.drivers = {
            name: SlideGate(
                gate,
                self.slides[name],
                self.senses.for_driver(name),
                self._missed,
                partial(self._gate_driven, name),
                lambda: self._random.uniform(LEAST_SHARE, MOST_SHARE),
            )
            for name, gate in shop.gates.items()
            if gate.is_actuated
        }
        self.breakage = Breakage(self)
        for name in shop.gates:
            books.gate(now_s, name, word_of(self.slides[name]), self.slides[name].position)
        self.air.changed(now_s)

    # ---------------------------------------------------------------- the controller's side

    def command(self, command: Command) -> None:
        """Do what the core says; what is not about machinery is passed over."""
        if isinstance(command, SwitchMotor):
            self._switch(command)
        elif isinstance(command, MoveGate):
            self._move(command)

    def wake(self) -> None:
        """The controller listens from now on: every sensor says its first word."""
        self.is_awake = True
        self.senses.wake()
        for name in self.selectors:
            self.later(QUICK_DELAYS.first_s, partial(self._tell_selector, name))
        if any(part.kind is InputKind.SHOP_KEY for part in self.shop.inputs.values()):
            self.later(QUICK_DELAYS.first_s, self._tell_key)

    def process_dies(self) -> None:
        """The controller's process is gone and the board stays on: every line keeps its level, and pulses end.

        So a relay that was on stays on, a gate on relays runs to its end, a coil holds, and a servo goes limp. A relay
        that needs steady pulses, and a drive that hears nothing more, stop after their own time.
        """
        self._fall_asleep()
        for driver in self.drivers.values():
            driver.process_dies(self.now())
        for name, drive in self.drives.items():
            if drive.motor.switch.steady_pulse or drive.motor.switch.drive is not None:
                drive.board_dies(self.now())
                self._drive_changed(name)

    def board_dies(self) -> None:
        """The board has no power: relays do as wired, gates stand, springs act."""
        self._fall_asleep()
        now_s = self.now()
        for driver in self.drivers.values():
            driver.to_rest(now_s)
        for name, drive in self.drives.items():
            drive.board_dies(now_s)
            self._drive_changed(name)

    def to_rest(self) -> None:
        """Every output goes to its rest level: a process has ended cleanly, or a new one has claimed the lines."""
        self._fall_asleep()
        now_s = self.now()
        for driver in self.drivers.values():
            driver.to_rest(now_s)
        for name, drive in self.drives.items():
            drive.switch(now_s, False)
            self._drive_changed(name)

    def _fall_asleep(self) -> None:
        self.is_awake = False
        self.senses.sleep()
        self._leases.clear()
        self._note_lapse()

    def _switch(self, command: SwitchMotor) -> None:
        name, now_s = command.motor, self.now()
        leases = self._leases
        if command.what == "renew" and command.until_s is not None:
            if name in leases:
                leases[name] = self._play_s(command.until_s)
                self.lapse_s = min(leases.values()) + LEASE_LATE_S
            return
        if command.what == "on" and command.until_s is not None:
            leases[name] = self._play_s(command.until_s)
            self.drives[name].switch(now_s, True)
        else:
            leases.pop(name, None)
            self.drives[name].switch(now_s, False)
        self._note_lapse()
        self._drive_changed(name)

    def pace(self, name: str, share: float) -> None:
        """A motor's variable-frequency drive is told another speed, as a share of full speed."""
        self.drives[name].set_top(self.now(), share)
        self._drive_changed(name)

    def _note_lapse(self) -> None:
        self.lapse_s = min(self._leases.values()) + LEASE_LATE_S if self._leases else inf

    def lapse(self) -> None:
        """Drop the relay of every motor whose lease has run out, as the guardian of leases does."""
        now_s = self.now()
        for name in [name for name, until_s in self._leases.items() if until_s + LEASE_LATE_S <= now_s]:
            del self._leases[name]
            self.drives[name].switch(now_s, False)
            self._drive_changed(name)
        self._note_lapse()

    def _move(self, command: MoveGate) -> None:
        driver, now_s = self.drivers.get(command.gate), self.now()
        if driver is None:
            return
        if command.what == "open":
            driver.open(now_s)
        elif command.what == "shut":
            driver.shut(now_s)
        else:
            driver.halt(now_s)
        self._await_driver(command.gate)

    def _await_driver(self, name: str) -> None:
        due_s = self.drivers[name].next_deadline()
        if due_s is not None:

            def tick() -> None:
                if self.drivers[name].next_deadline() == due_s:
                    self.drivers[name].tick(max(due_s, self.now()))
                    self._await_driver(name)

            self.later(due_s - self.now(), tick)

    def _missed(self, miss: Miss) -> None:
        self._tell(Missed(miss.gate, f"sent {miss.wanted.value}, seen {miss.seen.value}"))

    # ---------------------------------------------------------------- people

    def switch_tool(self, name: str, on: bool) -> None:
        """Switch a machine on or off; it runs while its feeder has power."""
        self.is_on[known("tool", name, self.is_on)] = on
        self._tool_changed(name)

    def move_by_hand(self, name: str, to: float) -> None:
        """Somebody moves a gate to a place from 0 (shut) to 1 (open); one with an actuator is pushed against it."""
        slide = self.slides[known("gate", name, self.slides)]
        now_s = self.now()
        slide.settle(now_s)
        slide.push(now_s, to)
        self._gate_changed(name)

    def set_input(self, name: str, yes: bool) -> None:
        """Press or pull out a red button, raise or end a fire alarm, open or shut a door."""
        known("red button, fire detector or door", name, self.inputs)
        self.inputs[name] = yes
        self.senses.inputs[name].feel(yes)

    def press(self, name: str) -> None:
        """Press a button for a moment."""
        buttons = [part.name for part in self.shop.inputs.values() if part.kind in BUTTONS]
        part = self.shop.inputs[known("button", name, buttons)]
        asked = {
            InputKind.AIR_HERE: [Requested("air_here", part.at, "button")],
            InputKind.STOP: [Requested("stop", system, "input") for system in part.systems],
            InputKind.RESET: [Requested("reset", None, "local")],
            InputKind.RELEASE: [Requested("release", part.at, "local")],
            InputKind.SPARKS: [Requested("sparks", None, "button")],
        }[part.kind]

        def tell() -> None:
            for request in asked:
                self._tell(request)

        self.later(QUICK_DELAYS.yes_s, tell)

    def turn_selector(self, name: str, to: str) -> None:
        """Turn a Hand-Off-Auto switch to ``hand``, ``off`` or ``auto``; it switches its motors by wire."""
        known("Hand-Off-Auto switch", name, self.selectors)
        if to not in ("hand", "off", "auto"):
            raise ValueError(f"A Hand-Off-Auto switch has no place called {to}. It has hand, off and auto.")
        self.selectors[name] = to
        for motor in self.shop.inputs[name].systems:
            self.drives[motor].select(self.now(), to)
            self._drive_changed(motor)
        self.later(QUICK_DELAYS.yes_s, partial(self._tell_selector, name))

    def turn_key(self, is_open: bool) -> None:
        """Turn the shop's key."""
        self.key_is_open = is_open
        self.later(QUICK_DELAYS.yes_s, self._tell_key)

    def _tell_selector(self, name: str) -> None:
        for motor in self.shop.inputs[name].systems:
            self._tell(HandSeen(motor, self.selectors[name]))  # type: ignore[arg-type]

    def _tell_key(self) -> None:
        self._tell(ShopKeySeen("open" if self.key_is_open else "shut"))

    # ---------------------------------------------------------------- what is so

    def _tripped(self, name: str) -> None:
        self.books.trips += 1

    def _feeds(self) -> None:
        """What has power may have changed."""
        now_s = self.now()
        for name, drive in self.drives.items():
            fed = self.electricity.feeds_motor(name)
            if fed is not drive.is_supplied:
                drive.supply(now_s, fed)
                self._drive_changed(name)
        for name in self.is_on:
            self._tool_changed(name)

    def _tool_changed(self, name: str) -> None:
        runs = self.is_on[name] and self.electricity.feeds_tool(name)
        if runs is self.runs[name]:
            return
        now_s = self.now()
        self.runs[name] = runs
        self.books.tool(now_s, name, runs, self.stage.tool_loads[name].running_a)
        self.air.changed(now_s)
        self.electricity.tool(name, runs)
        self.breakage.feel_tool(name, runs)

    def _gate_driven(self, name: str, now_s: float) -> None:
        if self.slides[name].is_moving:
            self.books.gate_driven(now_s, name)
        self._gate_changed(name)

    def _gate_changed(self, name: str) -> None:
        """A gate's slide has been set going, stopped, or passed a mark on its way."""
        now_s, slide = self.now(), self.slides[name]
        slide.settle(now_s)
        self._gate_turn[name] += 1
        turn = self._gate_turn[name]
        self.books.gate(now_s, name, word_of(slide), slide.position)
        self.senses.feel_gate(name, slide.is_open, slide.is_shut)
        opening = opening_of(slide)
        if opening != self._openings.get(name):
            self._openings[name] = opening
            self.air.changed(now_s)
        due_s = slide.next_change_s()
        if due_s < inf:

            def reached() -> None:
                if self._gate_turn[name] == turn:
                    self._gate_changed(name)

            self.later(max(0.0, due_s - now_s), reached)

    def _drive_changed(self, name: str) -> None:
        """A motor's contactor or speed has changed, or may have."""
        now_s, drive = self.now(), self.drives[name]
        drive.settle(now_s)
        self._drive_turn[name] += 1
        turn = self._drive_turn[name]
        if drive.has_power is not self._had_power[name]:
            self._had_power[name] = drive.has_power
            self._note_shaking(drive.motor, drive.has_power)
            self.electricity.motor(name, drive.has_power)
            self.senses.feel_motor(name, drive.has_power)
        self.books.motor(now_s, name, drive.has_power, drive.speed, drive.top)
        self.air.changed(now_s)
        due_s = drive.next_change_s()
        if due_s < inf:

            def reached() -> None:
                if self._drive_turn[name] == turn:
                    self._drive_changed(name)

            self.later(max(0.0, due_s - now_s), reached)

    def _note_shaking(self, motor: Motor, has_power: bool) -> None:
        if motor.follows is None:
            return
        if has_power:
            self._shaking_since_s[motor.name] = self.now()
        else:
            ran_s = self.now() - self._shaking_since_s.get(motor.name, self.now())
            self.air.shaken(motor.follows, ran_s / motor.runs_s if motor.runs_s > 0 else 0.0)

    def air_moves(self, name: str, moves: bool) -> None:
        """The air at a system's air switch moves, or does not any more."""
        self.senses.feel_air(name, moves)

    def after_fault(self) -> None:
        """Something was broken or mended: everything is looked at again."""
        now_s = self.now()
        for name in self.slides:
            self._gate_changed(name)
        for name, drive in self.drives.items():
            drive.judge(now_s)
            self._drive_changed(name)
