"""What a shop is, once its file has been read: frozen values in SI units, every default filled in.

Names carry their unit: ``_m`` metre, ``_m2`` square metre, ``_m3s`` cubic metre per second, ``_s`` second, ``_w``
watt, ``_a`` ampere, ``_pa`` pascal, ``_c`` degree Celsius, ``_hz`` hertz, ``_ohm`` ohm, ``_kgm2`` kilogram square
metre. Names of things (motors, gates, tools, ducts …) are the words of the shop's own file and are unique over the
whole shop. Nothing here reads a file or knows a pin library; ``gatekeeper.shop.load`` builds these values from text.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

# Part of the model: whoever reads a shop finds its words here too.
from gatekeeper.shop.kinds import AirGoes as AirGoes
from gatekeeper.shop.kinds import AirProofKind as AirProofKind
from gatekeeper.shop.kinds import BoardDeath as BoardDeath
from gatekeeper.shop.kinds import ContactUse as ContactUse
from gatekeeper.shop.kinds import ConverterKind as ConverterKind
from gatekeeper.shop.kinds import EndsBy as EndsBy
from gatekeeper.shop.kinds import FullBin as FullBin
from gatekeeper.shop.kinds import GateEnd as GateEnd
from gatekeeper.shop.kinds import InputKind as InputKind
from gatekeeper.shop.kinds import Makes as Makes
from gatekeeper.shop.kinds import MessageHeap as MessageHeap
from gatekeeper.shop.kinds import MeterUnit as MeterUnit
from gatekeeper.shop.kinds import MotorKind as MotorKind
from gatekeeper.shop.kinds import PasswordPlace as PasswordPlace
from gatekeeper.shop.kinds import Proof as Proof
from gatekeeper.shop.kinds import Reading as Reading
from gatekeeper.shop.kinds import StartsFrom as StartsFrom
from gatekeeper.shop.kinds import Units as Units
from gatekeeper.shop.model_care import Care as Care
from gatekeeper.shop.model_drivers import BankServo as BankServo
from gatekeeper.shop.model_drivers import Bridge as Bridge
from gatekeeper.shop.model_drivers import BrokerGate as BrokerGate
from gatekeeper.shop.model_drivers import Coil as Coil
from gatekeeper.shop.model_drivers import Drive as Drive
from gatekeeper.shop.model_drivers import MotorSwitch as MotorSwitch
from gatekeeper.shop.model_drivers import Output as Output
from gatekeeper.shop.model_drivers import Permit as Permit
from gatekeeper.shop.model_drivers import RelayPair as RelayPair
from gatekeeper.shop.model_drivers import Servo as Servo
from gatekeeper.shop.model_drivers import ServoBank as ServoBank
from gatekeeper.shop.model_drivers import Sign as Sign
from gatekeeper.shop.model_gauges import Gauge as Gauge
from gatekeeper.shop.model_gauges import GaugePoint as GaugePoint
from gatekeeper.shop.model_gauges import GaugeWire as GaugeWire
from gatekeeper.shop.model_gauges import SignalUnit as SignalUnit
from gatekeeper.shop.model_messages import MessageLamp as MessageLamp
from gatekeeper.shop.model_messages import Messages as Messages
from gatekeeper.shop.model_messages import Push as Push
from gatekeeper.shop.model_page import Homie as Homie
from gatekeeper.shop.model_page import Neighbours as Neighbours
from gatekeeper.shop.model_page import Page as Page
from gatekeeper.shop.model_sensing import Asking as Asking
from gatekeeper.shop.model_sensing import Broker as Broker
from gatekeeper.shop.model_sensing import Channel as Channel
from gatekeeper.shop.model_sensing import Contact as Contact
from gatekeeper.shop.model_sensing import Converter as Converter
from gatekeeper.shop.model_sensing import Meter as Meter
from gatekeeper.shop.model_sensing import Metered as Metered
from gatekeeper.shop.model_sensing import Sensor as Sensor


@dataclass(frozen=True, slots=True)
class Air:
    """The air of the place: ``altitude_m`` -500 to 5000, ``temperature_c`` -30 to 60.

    ``density_kg_m3`` and ``viscosity_pa_s`` replace what follows from these, where they are given.
    """

    altitude_m: float
    temperature_c: float
    density_kg_m3: float | None = None
    viscosity_pa_s: float | None = None


@dataclass(frozen=True, slots=True)
class FlowPoint:
    """A flow and the pressure that belongs to it: a point of a fan curve, or a loss at a flow."""

    flow_m3s: float
    pressure_pa: float


@dataclass(frozen=True, slots=True)
class SuctionReading:
    """Static suction read at a duct's end towards the collector, with just ``open_gates`` open and the fan running."""

    duct: str
    suction_pa: float
    open_gates: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Motor:
    """A motor that the controller starts. A collector or tool vacuum has its own system of ducts and gates.

    ``starts_per_hour`` and ``rest_s``: C8; ``starts_from`` says where they come from. ``path_minimum_m2``: the
    confirmed-open area below which its fan may not run (0 for a motor without ducts). ``relief_m2``: a port that is
    never shut. ``coast_s``: full speed to still. ``release_s``: relay off to no current. ``settle_s``: off until it
    may be judged or started again. ``confirm_s``: on until ``confirmed_by`` must say that it runs. ``spin_up_s``:
    start to full flow. ``air_proof``: the switch that says that air moves. ``resume``: the sole exception of C21.
    ``follows``: for a filter shaker, the collector after whose run it shakes for ``runs_s``. An air cleaner runs on
    ``runs_s`` after the last cut at the least and ``runs_longest_s`` at the most.
    """

    name: str
    kind: MotorKind
    power_w: float
    poles: int
    phases: int
    load_inertia_kgm2: float | None
    starts_per_hour: float
    rest_s: float
    starts_from: StartsFrom
    starts_note: str
    feeder: str
    inlet_diameter_m: float | None
    spin_down_s: float
    path_minimum_m2: float
    relief_m2: float
    spin_up_s: float
    coast_s: float
    release_s: float
    settle_s: float
    confirm_s: float
    switch: MotorSwitch
    confirmed_by: Sensor | None
    air_proof: Contact | None
    air_proof_kind: AirProofKind | None
    resume: bool
    proof: Proof
    follows: str | None
    runs_s: float
    runs_longest_s: float
    room_m3: float | None
    air_changes: float | None
    flow_m3s: float | None
    fan_curve: tuple[FlowPoint, ...]
    suction_reading: SuctionReading | None
    filter_loss: FlowPoint | None
    separator_loss: FlowPoint | None
    measured_density_kg_m3: float | None
    care: Care

    @property
    def has_ducts(self) -> bool:
        """Collectors and tool vacuums draw through ducts and gates; the other motors do not."""
        return self.kind in (MotorKind.COLLECTOR, MotorKind.TOOL_VACUUM)


@dataclass(frozen=True, slots=True)
class Feeder:
    """A supply line for motors and tools: ``gap_s`` between two inrushes on it, 0 to 5 (C22)."""

    name: str
    gap_s: float


@dataclass(frozen=True, slots=True)
class Supply:
    """A power supply of gate actuators: at most ``at_once`` move together (C11)."""

    name: str
    at_once: int


@dataclass(frozen=True, slots=True)
class Fitting:
    """``count`` equal fittings of one ``kind`` ("elbow", "wye", "tee", "reducer", "cap", "splitter") at
    ``angle_deg``.

    Elbows: ``radius_ratio`` of the bend's radius to the diameter and number of ``pieces`` (0 smooth, 2 one cut), where
    they are given.
    """

    kind: str
    angle_deg: float
    count: int
    radius_ratio: float | None = None
    pieces: int | None = None


@dataclass(frozen=True, slots=True)
class Duct:
    """One duct; air leaves it towards ``towards`` (another duct, or its motor).

    ``diameter_m`` is the hydraulic diameter when ``width_m`` and ``height_m`` are given. ``flex_m``: flexible hose
    beyond ``length_m``, hung at ``flex_stretch`` (0.5 to 1) of its full length. ``loss``: loss coefficient beyond that
    of the fittings. ``entry_loss``: that of the hood at its open end, where it is given.
    """

    name: str
    towards: str
    motor: str
    diameter_m: float
    width_m: float | None
    height_m: float | None
    length_m: float
    flex_m: float
    material: str
    roughness_m: float
    fittings: tuple[Fitting, ...]
    flex_stretch: float
    loss: float
    entry_loss: float | None

    @property
    def area_m2(self) -> float:
        if self.width_m is not None and self.height_m is not None:
            return self.width_m * self.height_m
        return math.pi * self.diameter_m**2 / 4


@dataclass(frozen=True, slots=True)
class Gate:
    """One gate. Moved by ``servo``, ``bank_servo``, ``relays``, ``bridge``, ``coil`` and spring or ``behind_broker``,
    or by hand when all are None.

    ``duct`` is None where the shop's ducts are not described: the gate then sits straight on its motor.
    ``travel_s``: from end to end, the longer way. ``clear_s``: how long its branch needs to empty; ``clear_is_given``:
    the file says so, else it is assumed. ``as_extra``: may be opened where another tool wants more air in the main
    (C17). ``supply`` is None for a hand gate.
    """

    name: str
    duct: str | None
    motor: str
    diameter_m: float
    servo: Servo | None
    relays: RelayPair | None
    coil: Coil | None
    travel_s: float
    dead_s: float
    open_contact: Contact | None
    shut_contact: Contact | None
    supply: str | None
    as_extra: bool
    clear_s: float
    clear_is_given: bool
    open_loss: float | None
    leak_area_m2: float | None
    leak_discharge: float | None
    bank_servo: BankServo | None = None
    bridge: Bridge | None = None
    behind_broker: BrokerGate | None = None

    @property
    def is_actuated(self) -> bool:
        movers = (self.servo, self.bank_servo, self.relays, self.bridge, self.coil, self.behind_broker)
        return any(mover is not None for mover in movers)

    @property
    def current_stop(self) -> Contact | None:
        """The contact that ends a drive which draws too much."""
        pair = self.relays if self.relays is not None else self.bridge
        return pair.current_stop if pair is not None else None

    @property
    def spring_return(self) -> bool:
        """Whether it holds by power: a halt leaves its coil as it is, and without power its spring moves it."""
        return self.coil is not None

    @property
    def has_open_switch(self) -> bool:
        """Whether something at the gate itself says that it is open."""
        return self.open_contact is not None or self.behind_broker is not None

    @property
    def has_shut_switch(self) -> bool:
        """Whether something at the gate itself says that it is shut."""
        return self.shut_contact is not None or self.behind_broker is not None

    @property
    def can_halt(self) -> bool:
        """Whether it can be stopped in mid-travel."""
        return not self.spring_return and (self.behind_broker is None or self.behind_broker.halt is not None)

    @property
    def area_m2(self) -> float:
        return math.pi * self.diameter_m**2 / 4


@dataclass(frozen=True, slots=True)
class Circuit:
    """An electrical circuit with one sensor that carries one or more ``tools``."""

    name: str
    sensor: Sensor
    tools: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Tool:
    """A machine, or (``is_outlet``) an outlet that stands for whatever is plugged in there.

    ``systems``: the motors whose ducts its gates are on, in the order of ``gates``. ``spin_down_s`` replaces the
    collector's when given. Exactly one of ``sensor`` and ``circuit`` is given; with a circuit, the tool runs while
    the circuit's current lies within ``band_a`` (low, high), or at all when it is alone there or nothing tells it from
    the others.
    """

    name: str
    gates: tuple[str, ...]
    systems: tuple[str, ...]
    makes: Makes
    is_outlet: bool
    needs_flow_m3s: float | None
    port_diameter_m: float | None
    spin_down_s: float | None
    longest_run_s: float
    hold_s: float
    feeder: str
    sensor: Sensor | None
    circuit: str | None
    band_a: tuple[float, float] | None
    running_a: float | None


@dataclass(frozen=True, slots=True)
class Input:
    """A button, key, detector or door. ``systems``: the motors that it speaks for (never empty for kinds about
    motors).

    ``contact`` speaks as its kind says: red button, fire and door are "yes" when pressed, alarmed, open. A
    hand-off-auto switch has ``hand_contact`` and ``auto_contact`` instead. ``at``: the gate or tool of an "air
    here" or "release" button. ``asking``: how an "air here" ends.
    """

    name: str
    kind: InputKind
    contact: Contact | None
    hand_contact: Contact | None
    auto_contact: Contact | None
    systems: tuple[str, ...]
    at: str | None
    asking: Asking | None = None


@dataclass(frozen=True, slots=True)
class Span:
    """A span of the day in minutes after midnight; it may run past midnight (start > end)."""

    start_min: int
    end_min: int


@dataclass(frozen=True, slots=True)
class Hours:
    """``open``: the shop is shut outside of it (C27). ``quiet``: holds the air cleaner back (C18). None: always /
    never.
    """

    open: Span | None
    quiet: Span | None


@dataclass(frozen=True, slots=True)
class Shop:
    """A whole shop, checked. Mappings keep the order of the file."""

    name: str
    units: Units
    mains_hz: int
    air: Air
    air_goes: AirGoes
    open_flue: bool
    attended: bool
    motors: Mapping[str, Motor]
    feeders: Mapping[str, Feeder]
    supplies: Mapping[str, Supply]
    ducts: Mapping[str, Duct]
    gates: Mapping[str, Gate]
    tools: Mapping[str, Tool]
    circuits: Mapping[str, Circuit]
    converters: Mapping[str, Converter]
    inputs: Mapping[str, Input]
    signs: Mapping[str, Sign]
    page: Page
    hours: Hours
    brokers: Mapping[str, Broker] = field(default_factory=dict)
    meters: Mapping[str, Meter] = field(default_factory=dict)
    call: tuple[str, ...] = ()
    neighbours: Neighbours = field(default_factory=Neighbours)
    servo_banks: Mapping[str, ServoBank] = field(default_factory=dict)
    permits: Mapping[str, Permit] = field(default_factory=dict)
    drives: Mapping[str, Drive] = field(default_factory=dict)
    messages: Messages = field(default_factory=Messages)
    gauges: Mapping[str, Gauge] = field(default_factory=dict)

    def gates_of(self, motor: str) -> tuple[Gate, ...]:
        """The gates on one motor's own ducts, in the order of the file."""
        return tuple(gate for gate in self.gates.values() if gate.motor == motor)

    def tools_of(self, motor: str) -> tuple[Tool, ...]:
        """The tools that one motor serves, in the order of the file."""
        return tuple(tool for tool in self.tools.values() if motor in tool.systems)
