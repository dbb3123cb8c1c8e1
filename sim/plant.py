"""The virtual shop: machines, gates and collectors behind the very same drivers, contacts and converters.

It is driven only by the levels that the drivers put on their lines, and it speaks only through contacts on lines and
codes of converters. What nobody wired, the controller cannot see; with a converter muted it sees a dead sensor and no
machine. Time is the shop's clock; ``step`` brings everything up to now, and ``start`` has a thread of its own do so.
"""

import math
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from threading import Event, RLock, Thread

from gatekeeper.devices.base import Clock as Seconds
from gatekeeper.devices.base import ConverterBank, MeterLink, ReportMeter
from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.pins import Pins
from gatekeeper.sensing.codes import FrontEnd
from gatekeeper.service.clock import Clock
from gatekeeper.service.wiring import contacts_of
from gatekeeper.service.wiring_sensors import FakeChip, fake_bank
from gatekeeper.shop.converters import samples_each
from gatekeeper.shop.model import Coil, Contact, Converter, InputKind, Servo, Shop
from sim.breakers import Breaker
from sim.clamps import Codes, SampleClock, Wire, rate_hz
from sim.currents import Load, Stint, draws_at, speed_at
from sim.driver_lines import FarGates, gate_ways, motor_lines, place_banks, place_drives
from sim.duct_air import DuctAir
from sim.faults import Faults, SensorFault, known, sensors_of
from sim.gauges import VirtualGauges
from sim.loads import load_of_motor, load_of_tool
from sim.lying_sensors import LyingSensors
from sim.meters import Flows, VirtualMeters
from sim.parts import Drive, GateNow, MotorNow, Slide, coil_target, servo_target
from sim.plant_life import PlantLife
from sim.worked import PRESS_S, pressed_now

#: How often the plant brings its contacts up to date in real time, seconds of the shop's clock.
STEP_S = 0.02

BUTTONS = (InputKind.AIR_HERE, InputKind.STOP, InputKind.RESET, InputKind.RELEASE, InputKind.SPARKS)
SELECTOR_PLACES = ("hand", "off", "auto")

_Change = tuple[int, float, Callable[[float, float | None], None], float | None]


class VirtualShop:
    """One shop without a building.

    Args:
        shop: what the shop is.
        pins: mock lines, opened as ``"mock"``; the controller's drivers claim the same ones.
        clock: the shop's clock, the same that the controller runs on.
        seed: of the converters' noise.
        air: the ducts, ready to be solved; worked out from the shop where none are given.
        breakers: by feeder, see ``sim.electricity``.

    Make it before ``gatekeeper.service.wiring.wire_up`` and hand ``open_bank`` to that. Once the lines are claimed, and
    before the controller wakes, call ``step`` (``start`` does so too): a mock line forgets on its claim what its
    contact said, and no controller may wake to a red button that only looks pressed. Every method may be called from
    any thread; those that take a name raise ValueError with a sentence when the shop has nothing of that name.
    """

    def __init__(
        self,
        shop: Shop,
        pins: Pins,
        clock: Clock,
        *,
        seed: int = 7,
        air: Mapping[str, DuctAir] | None = None,
        breakers: Mapping[str, Breaker] | None = None,
    ) -> None:
        self.shop = shop
        self.clock = clock
        self._seed = seed
        self._lock = RLock()
        self._changes: deque[_Change] = deque()
        self._attached = 0
        self._is_plugged = True
        self._thread: Thread | None = None
        self._ending = Event()
        self._banks: dict[str, FakeChip] = {}
        self._meters: VirtualMeters | None = None
        now_s = clock.now()
        self._slides = {name: Slide(gate, now_s) for name, gate in shop.gates.items()}
        self._drives = {name: Drive(motor, load_of_motor(motor), now_s) for name, motor in shop.motors.items()}
        self._loads = {name: load_of_tool(shop, tool) for name, tool in shop.tools.items()}
        self._stints: dict[str, Stint | None] = dict.fromkeys(shop.tools)
        self._inputs = {name: part.kind is InputKind.SHOP_KEY for name, part in shop.inputs.items()}
        self._pressed_until_s: dict[str, float] = {}
        self._selectors = {name: "auto" for name, part in shop.inputs.items() if part.kind is InputKind.HAND_OFF_AUTO}
        self._contacts = contacts_of(shop)
        self.lying = LyingSensors({name: self._draws_of(name) for name in sensors_of(shop)}, clock.now)
        self._flows: dict[str, Flows] = {name: self._seen_by(name) for name in sensors_of(shop)}
        self.life = PlantLife(
            shop, self._slides, self._drives, self._loads, clock.now, self._power, air=air, breakers=breakers
        )
        self._relays = {name: {"open": False, "shut": False} for name in shop.gates}
        self._loose_is_made = False
        self.faults = Faults(shop, before=self._settle_now, after=self._take_faults)
        self.gauges = VirtualGauges(shop, self.life.air, self._drives, lambda name: self._is_dead(f"gauge:{name}")())
        self._attach(pins)
        self._drive_contacts(self._levels(now_s))

    # ---------------------------------------------------------------- time

    def step(self) -> None:
        """Bring everything up to the clock's now, and put what the contacts say on their lines."""
        with self._lock:
            now_s = self.clock.now()
            self._settle(now_s)
            levels = self._levels(now_s)
        self._drive_contacts(levels)
        if self._is_plugged:
            self._far_gates.speak()
        if self._meters is not None and self._is_plugged:
            self._meters.speak(
                now_s, self._flows, lambda name: self.faults.sensor(name) is SensorFault.DEAD, self.gauges.pa
            )

    def start(self) -> None:
        """Step in real time, in a thread of its own."""
        if self._thread is not None:
            return
        self._ending.clear()
        self.step()
        self._thread = Thread(target=self._run, name="virtual-shop", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End the thread. A converter waits for nothing then: end who reads it first, or at once after."""
        self._ending.set()
        thread, self._thread = self._thread, None
        if thread is not None:
            thread.join()

    def _run(self) -> None:
        while not self._ending.wait(self.clock.real_s(STEP_S)):
            self.step()

    # ---------------------------------------------------------------- the controller's side: converters, lines, plug

    def open_bank(self, converter: Converter, channels: int) -> ConverterBank:
        """The converter as the wiring wants it: the real driver on a chip that shows this shop's currents."""
        rate = samples_each(1) if converter.kind.is_on_i2c else rate_hz(self.shop.mains_hz)
        time = SampleClock(self.clock, rate, self._ending)
        seed = self._seed + list(self.shop.converters).index(converter.name)
        codes = Codes(self._wires(converter, channels), time, self.shop.mains_hz, seed)

        def source(scans: int) -> Sequence[Sequence[int]]:
            with self._lock:
                self._settle(self.clock.now())
                columns = codes.give(scans)
                for channel, gauge in gauged.items():
                    step_v, zero = converter.volts_of(channel)
                    code = zero + int(self.gauges.volts(gauge.name) / step_v)
                    columns[channel] = [min(code, (1 << converter.kind.bits) - 1)] * scans
                return columns

        def volts(number: int) -> float:
            with self._lock:
                self._settle(self.clock.now())
                return at_input(number)

        gauged, at_input = self.gauges.on(converter.name), self.gauges.at_input(converter.name)
        bank, chip = fake_bank(
            converter, channels, source=source, pace=time.pace, scan_hz=rate, clock=time.now, volts=volts
        )
        with self._lock:
            self._banks[converter.name] = chip
            self._mute_banks()
        return bank

    def open_meters(self, shop: Shop, report: ReportMeter, clock: Seconds) -> list[MeterLink]:
        """The meters as the service wants them: they speak whenever this shop steps."""
        self._meters = VirtualMeters(shop, report, clock)
        return [self._meters]

    @property
    def is_plugged(self) -> bool:
        """The board has power."""
        return self._is_plugged

    def pull_plug(self) -> None:
        """The board loses its power: relays do as wired, servos go limp, springs act, converters fall silent."""
        with self._lock:
            now_s = self.clock.now()
            self._settle(now_s)
            self._is_plugged = False
            self._attached += 1
            for drive in self._drives.values():
                drive.board_dies(now_s)
            for name, slide in self._slides.items():
                self._relays[name] = {"open": False, "shut": False}
                if slide.gate.coil is not None:
                    slide.drive(now_s, coil_target(slide.gate.coil, None))
                elif slide.gate.is_actuated:
                    slide.drive(now_s, None)
            self._mute_banks()

    def plug_in(self, pins: Pins) -> None:
        """The board has power again, on these lines; none is claimed yet. ``step`` once they are, as at the start."""
        with self._lock:
            self._settle(self.clock.now())
            self._is_plugged = True
            self._attach(pins)
            self._mute_banks()
        self.step()

    # ---------------------------------------------------------------- the people's side

    def switch_tool(self, name: str, on: bool) -> None:
        """Switch a machine on or off at its own switch."""
        with self._lock:
            self._settle(self.clock.now())
            self.life.switch(known("machine", name, self._stints), on)

    def tool_is_on(self, name: str) -> bool:
        """Whether a machine is switched on; it runs while its feeder has power."""
        return self.life.is_on[known("machine", name, self._stints)]

    def move_hand_gate(self, name: str, to_open: bool) -> None:
        """Somebody pulls a hand gate open or pushes it shut.

        Raises:
            ValueError: also when the gate moves by itself.
        """
        with self._lock:
            slide = self._slides[known("gate", name, self._slides)]
            if slide.gate.is_actuated:
                raise ValueError(f"{name} moves by itself. Only a hand gate can be moved by hand here.")
            now_s = self.clock.now()
            self._settle(now_s)
            slide.drive(now_s, 1.0 if to_open else 0.0)

    def push_gate(self, name: str, to: float) -> None:
        """Somebody moves a gate to a place from 0 (shut) to 1 (open), whatever drives it."""
        with self._lock:
            self._settle(self.clock.now())
            self._slides[known("gate", name, self._slides)].push(self.clock.now(), to)

    def set_input(self, name: str, yes: bool) -> None:
        """Press (or pull out) a red button, raise or end a fire alarm, open or shut a door, turn the shop's key."""
        with self._lock:
            self._inputs[known("input", name, self._inputs)] = yes

    def input_is(self, name: str) -> bool:
        """Whether the red button is pressed, the alarm raised, the door open, the key turned to open."""
        return self._inputs[known("input", name, self._inputs)]

    def press(self, name: str) -> None:
        """Press a button for a moment."""
        with self._lock:
            self._pressed_until_s[known("input", name, self._inputs)] = self.clock.now() + PRESS_S

    def turn_selector(self, name: str, to: str) -> None:
        """Turn a Hand-Off-Auto switch to ``hand``, ``off`` or ``auto``; it switches its motors by wire."""
        if to not in SELECTOR_PLACES:
            raise ValueError(f"A Hand-Off-Auto switch has no place called {to}. It has hand, off and auto.")
        with self._lock:
            now_s = self.clock.now()
            self._settle(now_s)
            self._selectors[known("Hand-Off-Auto switch", name, self._selectors)] = to
            for motor in self.shop.inputs[name].systems:
                self._drives[motor].select(now_s, to)

    def selector_is(self, name: str) -> str:
        """Where a Hand-Off-Auto switch stands."""
        return self._selectors[known("Hand-Off-Auto switch", name, self._selectors)]

    # ---------------------------------------------------------------- what is so

    def gates(self) -> dict[str, GateNow]:
        """Every gate as it really stands now."""
        with self._lock:
            self._settle(self.clock.now())
            return {name: GateNow(slide.position, slide.is_driven) for name, slide in self._slides.items()}

    def motors(self) -> dict[str, MotorNow]:
        """Every motor as it really is now."""
        with self._lock:
            self._settle(self.clock.now())
            return {
                name: MotorNow(drive.has_power, drive.speed, self.life.has_air(name), drive.top)
                for name, drive in self._drives.items()
            }

    # ---------------------------------------------------------------- inside

    def _attach(self, pins: Pins) -> None:
        """Watch every output line; what an earlier board's lines do counts no more."""
        self._attached += 1
        self._bench = BenchPins(pins)
        for motor in self.shop.motors.values():
            for line, act in motor_lines(motor, self._drives[motor.name]):
                self._watch(line, act)
        for gate in self.shop.gates.values():
            if gate.servo is not None:
                self._watch(gate.servo.line, self._servo_line(gate.name, gate.servo))
            if gate.coil is not None:
                self._watch(gate.coil.output.line, self._coil_line(gate.name, gate.coil))
            for way, output in gate_ways(gate):
                self._watch(output.line, self._relay_line(gate.name, way, output.active_low))
        slides = {name: slide.drive for name, slide in self._slides.items()}
        place_banks(self.shop, pins, self._bench, slides, self._note)
        place_drives(self.shop, pins, self._drives, self._note)
        self._far_gates = FarGates(self.shop, pins, self._slides, self._note)

    def _watch(self, line: int, act: Callable[[float, float | None], None]) -> None:
        """Note every change with its instant; it is worked out in ``_settle``, never in the driver's thread."""
        attached = self._attached
        self._bench.watch(line, lambda _, level: self._changes.append((attached, self.clock.now(), act, level)))

    def _note(self, act: Callable[[float, float | None], None], value: float | None) -> None:
        self._changes.append((self._attached, self.clock.now(), act, value))

    def _servo_line(self, name: str, servo: Servo) -> Callable[[float, float | None], None]:

        def act(t_s: float, level: float | None) -> None:
            self._slides[name].drive(t_s, servo_target(servo, level))

        return act

    def _coil_line(self, name: str, coil: Coil) -> Callable[[float, float | None], None]:
        def act(t_s: float, level: float | None) -> None:
            self._slides[name].drive(t_s, coil_target(coil, level))

        return act

    def _relay_line(self, name: str, way: str, active_low: bool) -> Callable[[float, float | None], None]:
        def act(t_s: float, level: float | None) -> None:
            relays = self._relays[name]
            relays[way] = level is not None and (level > 0.5) is not active_low
            target = None if relays["open"] == relays["shut"] else 1.0 if relays["open"] else 0.0
            self._slides[name].drive(t_s, target)

        return act

    def _settle_now(self) -> None:
        with self._lock:
            self._settle(self.clock.now())

    def _settle(self, now_s: float) -> None:
        while self._changes:
            attached, t_s, act, level = self._changes.popleft()
            if attached == self._attached:
                act(t_s, level)
        for slide in self._slides.values():
            slide.settle(now_s)
        for drive in self._drives.values():
            drive.settle(now_s)
        self.life.look(now_s)

    def _power(self, name: str, runs: bool) -> None:
        """A machine has current from now on, or none."""
        stint, now_s = self._stints[name], self.clock.now()
        if runs:
            self._stints[name] = Stint(now_s, speed=speed_at(self._loads[name], stint, now_s))
        elif stint is not None:
            self._stints[name] = replace(stint, off_s=now_s)

    def _take_faults(self) -> None:
        with self._lock:
            now_s = self.clock.now()
            for name, slide in self._slides.items():
                slide.fault = self.faults.gate(name)
            for name, drive in self._drives.items():
                drive.fault = self.faults.motor(name)
                drive.judge(now_s)
            self._mute_banks()

    def _mute_banks(self) -> None:
        for name, bank in self._banks.items():
            bank.mute(not self._is_plugged or self.faults.is_muted(name))

    def _wires(self, converter: Converter, channels: int) -> list[Wire]:
        quiet = Wire(FrontEnd(1.0, vref_v=converter.reference_v, bits=converter.kind.bits), tuple, lambda: False)
        wires = [quiet] * channels
        for name, sensor in sensors_of(self.shop).items():
            channel = sensor.channel
            if channel is None or channel.converter != converter.name:
                continue
            front = FrontEnd.from_turns(
                channel.turns, channel.burden_ohm, vref_v=converter.reference_v, bits=converter.kind.bits
            )
            wires[channel.channel] = Wire(front, self._flows[name], self._is_dead(name))
        return wires

    def _is_dead(self, name: str) -> Callable[[], bool]:
        return lambda: self.faults.sensor(name) is SensorFault.DEAD

    def _seen_by(self, name: str) -> Flows:
        """What one sensor sees flow."""
        return lambda: self.lying.draws(name)

    def _draws_of(self, name: str) -> Flows:
        """What flows past one sensor in truth."""
        meaning, _, subject = name.partition(":")
        if meaning == "confirm":
            drive = self._drives[subject]
            return lambda: [(drive.load, drive.stint)]
        tools = self.shop.circuits[subject].tools if meaning == "circuit" else (subject,)
        pairs: list[tuple[str, Load]] = [(tool, self._loads[tool]) for tool in tools]
        return lambda: [(load, self._stints[tool]) for tool, load in pairs]

    def _levels(self, now_s: float) -> list[tuple[int, bool]]:
        """The level of every contact's line; nothing while the board is dark."""
        if not self._is_plugged:
            return []
        self._loose_is_made = not self._loose_is_made
        return [(contact.line, not self._is_made(name, contact, now_s)) for name, contact in self._contacts.items()]

    def _drive_contacts(self, levels: list[tuple[int, bool]]) -> None:
        """Outside of the lock: an edge runs the controller's own code in this thread."""
        for line, high in levels:
            self._bench.drive(line, high)

    def _is_made(self, name: str, contact: Contact, now_s: float) -> bool:
        meaning, _, subject = name.partition(":")
        fault = None if meaning in ("input", "hand", "auto") else self.faults.sensor(name)
        match fault:
            case SensorFault.DEAD:
                return False
            case SensorFault.STUCK_ON:
                return True
            case SensorFault.LOOSE:
                return self._loose_is_made
            case None:
                return self._says_yes(meaning, subject, now_s) is not contact.normally_closed

    def _says_yes(self, meaning: str, subject: str, now_s: float) -> bool:
        match meaning:
            case "input":
                return self._inputs[subject] or now_s < self._pressed_until_s.get(subject, -math.inf)
            case "hand" | "auto":
                return self._selectors[subject] == meaning
            case "open":
                return self._slides[subject].is_open
            case "shut":
                return self._slides[subject].is_shut
            case "air":
                return self.life.has_air(subject)
            case "tool" if (pressed := pressed_now(self.shop.tools[subject], self._stints[subject], now_s)) is not None:
                return pressed
            case _:
                draws = self._flows[f"{meaning}:{subject}"]()
                return any(draws_at(load, stint, self.shop.mains_hz, now_s) for load, stint in draws)
