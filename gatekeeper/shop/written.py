"""A shop file as it is written: sections, keys, defaults and their meaning. The JSON Schema is generated from here.

Values are already SI here (``fields``), but nothing refers to anything yet: ``build`` puts the parts together. Keys
have no alias and no field is a union, so that every complaint leads to one place in the file.
"""

from enum import Enum
from typing import Annotated

from gatekeeper.shop.fields import (
    Band,
    ContactPin,
    DaySpan,
    FanCurve,
    Fittings,
    FlowAtPressure,
    FreeText,
    Name,
    Names,
    YesNo,
    choice,
    number,
    quantity,
    whole,
)
from gatekeeper.shop.kinds import AirGoes, EndsBy, InputKind, Makes, MotorKind, Units
from gatekeeper.shop.part import Part
from gatekeeper.shop.part import key as _key
from gatekeeper.shop.written_care import CarePart, FreeTexts
from gatekeeper.shop.written_drivers import (
    BridgePart,
    BrokerGatePart,
    CoilPart,
    DrivePart,
    PermitPart,
    RelaysPart,
    ServoBankPart,
    ServoPart,
    SignPart,
    SwitchPart,
)
from gatekeeper.shop.written_gauges import GaugePart
from gatekeeper.shop.written_messages import MessagesPart
from gatekeeper.shop.written_page import NeighboursPart, PagePart
from gatekeeper.shop.written_sensing import BrokerPart, CircuitPart, ConfirmPart, ConverterPart, MeterPart, SensorPart


class Mains(Enum):
    """Mains frequencies."""

    HZ_50 = "50 Hz"
    HZ_60 = "60 Hz"


class Phases(Enum):
    """How a motor is fed."""

    SINGLE = "single"
    THREE = "three"


class Material(Enum):
    """What a duct is made of."""

    SMOOTH_STEEL = "smooth steel"
    SPIRAL_STEEL = "spiral steel"
    PLASTIC_PIPE = "plastic pipe"
    FLEXIBLE_HOSE = "flexible hose"


class ShopPart(Part):
    """The shop itself."""

    name: FreeText = _key("The shop's name, as the page shows it.")
    units: Annotated[Units, choice(Units)] = _key("How screens show lengths and flows.", Units.METRIC)
    mains: Annotated[Mains, choice(Mains)] = _key("Mains frequency: 50 Hz or 60 Hz.")
    altitude: Annotated[float, quantity("length", "-500 m", "5000 m")] = _key("Height above the sea. Default 0 m.", 0.0)
    temperature: Annotated[float, quantity("temperature", "-30 C", "60 C")] = _key(
        "Usual room air. Default 20 C.", 20.0
    )
    air_density: Annotated[float, quantity("density", "0.3 kg/m3", "3 kg/m3")] | None = _key(
        "Density of the air. Default: from altitude and temperature.", None
    )
    air_viscosity: Annotated[float, quantity("viscosity", "1 uPa s", "1000 uPa s")] | None = _key(
        "Dynamic viscosity of the air. Default: from temperature.", None
    )
    air_goes: Annotated[AirGoes, choice(AirGoes)] = _key(
        "Where the collector's air goes after the filter.", AirGoes.INSIDE
    )
    open_flue_nearby: YesNo = _key("A stove, boiler or heater that takes its air from these rooms. Default yes.", True)
    call: FreeTexts = _key("Whom to call, as the book prints it, such as Electrician: name, number.", ())
    attended: YesNo = _key("Somebody is always there while motors may run. Default no.", False)


class SuctionPart(Part):
    """One reading at a hole in the wall of a duct, collector running, with just these gates open."""

    duct: Name = _key("The duct with the hole; it is read at its end towards the collector.")
    suction: Annotated[float, quantity("pressure", "10 Pa", "40 kPa")] = _key("What the gauge showed, such as 6 in wg.")
    open: Names = _key("The gates that were open; all others were shut.")


class MotorPart(Part):
    """A motor that the controller starts: a collector, a tool vacuum, a room air cleaner or a filter shaker."""

    kind: Annotated[MotorKind, choice(MotorKind)] = _key("What it is.", MotorKind.COLLECTOR)
    power: Annotated[float, quantity("power", "50 W", "50 kW")] = _key("Power on its plate.")
    poles: Annotated[int, whole(2, 12)] = _key("2 (about 3000 or 3600 turns a minute), 4 or 6. Default 2.", 2)
    phases: Annotated[Phases, choice(Phases)] = _key("single or three. Default single.", Phases.SINGLE)
    load_inertia: Annotated[float, quantity("inertia", "0 kg m2", "100 kg m2")] | None = _key(
        "Inertia of the fan wheel: fewer starts for a heavy wheel.", None
    )
    starts_per_hour: Annotated[float, quantity("rate", "0.5 per hour", "120 per hour")] | None = _key(
        "From the motor's maker; replaces the published table.", None
    )
    rest: Annotated[float, quantity("time", "0 s", "30 min")] | None = _key(
        "Rest between stop and start when the starts are used up; replaces the published table.", None
    )
    feeder: Name | None = _key("The feeder it hangs on. Default: the first feeder.", None)
    inlet: Annotated[float, quantity("length", "20 mm", "1 m")] | None = _key(
        "Diameter of its inlet. Default: the widest duct on it.", None
    )
    spin_down: Annotated[float, quantity("time", "0 s", "30 min")] = _key(
        "How long it keeps running after the last tool stops. Default 8 s.", 8.0
    )
    smallest_path: Annotated[float, quantity("length", "20 mm", "1 m")] | None = _key(
        "It runs only while at least a round port of this diameter is proven open. Default: the smallest tool port, "
        "never below half the diameter of the inlet.",
        None,
    )
    relief_port: Annotated[float, quantity("length", "20 mm", "1 m")] | None = _key(
        "Diameter of a port on its main that is never shut.", None
    )
    spin_up: Annotated[float, quantity("time", "0 s", "60 s")] = _key("Start to full flow. Default 3 s.", 3.0)
    coast: Annotated[float, quantity("time", "0 s", "5 min")] = _key("Off to still. Default 10 s.", 10.0)
    release: Annotated[float, quantity("time", "0 s", "90 s")] = _key(
        "Off to no current; with a timer relay, longer than its time. Default 1 s.", 1.0
    )
    settle: Annotated[float, quantity("time", "0 s", "60 s")] = _key(
        "After the controller wakes, sensors settle for this long before anything moves. Default 2 s.", 2.0
    )
    switched_by: SwitchPart = _key("What switches it.")
    confirmed_by: ConfirmPart | None = _key("What confirms that it runs, and within what time.", None)
    pressure_switch: ContactPin | None = _key("Pin of a pressure switch that is made while air moves.", None)
    flow_switch: ContactPin | None = _key("Pin of a flow switch that is made while air moves.", None)
    resume: YesNo = _key("After a crash of the program (not of the power) it may go on. Default no.", False)
    follows: Name | None = _key("Filter shaker: the collector after whose run it shakes.", None)
    runs: Annotated[float, quantity("time", "1 s", "24 h")] | None = _key(
        "Filter shaker: how long it shakes (20 s). Air cleaner: shortest run after the last cut (2 h).", None
    )
    runs_longest: Annotated[float, quantity("time", "1 s", "24 h")] | None = _key(
        "Air cleaner: longest run after the last cut. Default 8 h.", None
    )
    room: Annotated[float, quantity("volume", "1 m3", "100000 m3")] | None = _key("Air cleaner: the room.", None)
    air_changes: Annotated[float, number(1, 60)] | None = _key("Air cleaner: air changes after the last cut.", None)
    flow: Annotated[float, quantity("flow", "0.001 m3/s", "30 m3/s")] | None = _key("Flow on its plate.", None)
    fan_curve: FanCurve = _key("Points of its fan curve, such as 350 cfm at 8 in wg.", ())
    suction_reading: SuctionPart | None = _key(
        "One reading of the suction in a duct with known gates open; it corrects the fan curve, given or estimated.",
        None,
    )
    filter_loss: FlowAtPressure | None = _key("Pressure lost in the filter at a flow: 800 cfm at 1 in wg.", None)
    separator_loss: FlowAtPressure | None = _key("Pressure lost in the separator at a flow.", None)
    care: CarePart | None = _key("When people look after it. Default: intervals of our own.", None)
    measured_density: Annotated[float, quantity("density", "0.3 kg/m3", "3 kg/m3")] | None = _key(
        "Density of the air in which fan_curve and separator_loss were measured. Default: air_density when that is "
        "given, else 1.2041 kg/m3.",
        None,
    )


class FeederPart(Part):
    """A supply line of motors and tools."""

    gap: Annotated[float, quantity("time", "0 s", "5 s")] = _key("Between two inrushes on it. Default 2 s.", 2.0)


class SupplyPart(Part):
    """A power supply of gate actuators."""

    at_once: Annotated[int, whole(1, 24)] = _key("How many gates may move at once. Default 1.", 1)


class DuctPart(Part):
    """One duct."""

    towards: Name = _key("Where its air goes: the next duct, or the collector.")
    diameter: Annotated[float, quantity("length", "20 mm", "1 m")] | None = _key("For a round duct.", None)
    width: Annotated[float, quantity("length", "20 mm", "2 m")] | None = _key("For a rectangular duct.", None)
    height: Annotated[float, quantity("length", "20 mm", "2 m")] | None = _key("For a rectangular duct.", None)
    length: Annotated[float, quantity("length", "0 m", "200 m")] = _key("Straight length.")
    fittings: Fittings = _key("Fittings on it: 90 elbow, 2 x 45 elbow, 45 wye, tee, reducer.", ())
    material: Annotated[Material, choice(Material)] = _key("What it is made of.", Material.SMOOTH_STEEL)
    flex: Annotated[float, quantity("length", "0 m", "20 m")] = _key("Flexible hose at its end, beyond length.", 0.0)
    flex_stretch: Annotated[float, number(0.5, 1)] = _key(
        "Length of the hose as it hangs over its full length, 0.5 to 1. Default 1, pulled out.", 1.0
    )
    roughness: Annotated[float, quantity("length", "0 mm", "20 mm")] | None = _key(
        "Roughness of its wall. Default: by material.", None
    )
    loss: Annotated[float, number(0, 100000)] = _key(
        "Loss coefficient on its own velocity pressure, beyond the fittings. Default 0.", 0.0
    )
    entry_loss: Annotated[float, number(0, 100000)] | None = _key(
        "Loss coefficient of the hood where air comes in, for a duct that no other leads into. Default: a plain end.",
        None,
    )


class GatePart(Part):
    """One gate: moved by a servo, two relays, a bridge, a coil against a spring, a broker, or by hand."""

    duct: Name | None = _key("The duct it sits on. Default, with one collector: straight on the collector.", None)
    diameter: Annotated[float, quantity("length", "20 mm", "1 m")] | None = _key("Default: its duct's.", None)
    servo: ServoPart | None = _key("The servo that moves it.", None)
    relays: RelaysPart | None = _key("The two relays that move it.", None)
    bridge: BridgePart | None = _key("The H-bridge that moves it.", None)
    coil: CoilPart | None = _key("The coil that moves it against a spring.", None)
    behind_broker: BrokerGatePart | None = _key("The MQTT broker behind which its own controller is.", None)
    travel: Annotated[float, quantity("time", "100 ms", "60 s")] | None = _key(
        "The longest time of a whole move. Default 2 s for a servo or a coil, 6 s for relays or a bridge.", None
    )
    open_contact: ContactPin | None = _key("Pin of a position switch that is made when the gate is open.", None)
    shut_contact: ContactPin | None = _key("Pin of a position switch that is made when the gate is shut.", None)
    supply: Name | None = _key("The supply of its actuator. Default: the first supply.", None)
    as_extra: YesNo = _key("May be opened where the main wants more air. Default yes.", True)
    clear: Annotated[float, quantity("time", "0 s", "2 min")] | None = _key(
        "How long its branch needs to empty. Default: from the length of the ducts.", None
    )
    open_loss: Annotated[float, number(0, 100000)] | None = _key(
        "Loss coefficient when open, on its duct's velocity pressure. Default: by its diameter.", None
    )
    leak_area: Annotated[float, quantity("area", "0 mm2", "1 m2")] | None = _key(
        "Area through which it leaks when shut; 0 mm2: tight. Default: 0.5 % of its opening.", None
    )
    leak_discharge: Annotated[float, number(0.1, 1.5)] | None = _key(
        "Discharge coefficient of its leak. Default 0.61.", None
    )


class ToolPart(Part):
    """A machine."""

    gates: Names = _key("Its gate, or a list of its gates.")
    makes: Annotated[Makes, choice(Makes)] = _key("What it throws into the duct. Only wood may go here.", Makes.WOOD)
    sensor: SensorPart | None = _key("Its own sensor. Give this or circuit.", None)
    circuit: Name | None = _key("The circuit whose sensor sees it.", None)
    band: Band | None = _key("The currents of its circuit that mean this tool: 2 A to 6 A.", None)
    needs: Annotated[float, quantity("flow", "0.001 m3/s", "5 m3/s")] | None = _key("The flow it needs.", None)
    port: Annotated[float, quantity("length", "15 mm", "1 m")] | None = _key("Diameter of its port.", None)
    spin_down: Annotated[float, quantity("time", "0 s", "30 min")] | None = _key(
        "Replaces the collector's spin_down after this tool.", None
    )
    longest_run: Annotated[float, quantity("time", "1 min", "24 h")] = _key(
        "Longest plausible run; then the page asks. Default 2 h.", 7200.0
    )
    hold: Annotated[float, quantity("time", "1 min", "4 h")] = _key(
        "How long it counts as running after its sensor is lost in a cut. Default 30 min.", 1800.0
    )
    feeder: Name | None = _key("The feeder it hangs on. Default: the first feeder.", None)
    running_current: Annotated[float, quantity("current", "100 mA", "400 A")] | None = _key(
        "What it draws when it runs free.", None
    )


class OutletPart(ToolPart):
    """An outlet that serves whatever is plugged in there."""


class InputPart(Part):
    """A button, key, detector or door contact."""

    kind: Annotated[InputKind, choice(InputKind)] = _key("What it is.")
    pin: ContactPin | None = _key("Its pin. Red button, fire and door are normally closed.", None)
    hand_pin: ContactPin | None = _key("Hand-off-auto: made in Hand.", None)
    auto_pin: ContactPin | None = _key("Hand-off-auto: made in Auto.", None)
    motors: Names | None = _key("The motors it speaks for. Default: all.", None)
    at: Name | None = _key('The tool or gate of an "air here" or "release" button.', None)
    ends: Annotated[EndsBy, choice(EndsBy)] | None = _key(
        "Air here: how it ends. By press again (default), or by let go, for a switch that stays.", None
    )
    ends_after: Annotated[float, quantity("time", "5 s", "8 h")] | None = _key(
        "Air here: it ends by itself after this time. Default 10 min.", None
    )


class HoursPart(Part):
    """Hours of the day."""

    open: DaySpan | None = _key("Outside of these hours the shop is shut: no motor starts.", None)
    quiet: DaySpan | None = _key("The air cleaner does not run in these hours.", None)


class ShopFile(Part):
    """A shop for dust-collection control: what there is, how it is wired, and how it hangs together."""

    shop: ShopPart = _key("The shop itself.")
    motors: dict[str, MotorPart] = _key("Every motor that the controller starts, by name.")
    feeders: dict[str, FeederPart] = _key("Supply lines of motors and tools. Default: one, 2 s.", {})
    supplies: dict[str, SupplyPart] = _key("Supplies of gate actuators. Default: one, one gate at once.", {})
    ducts: dict[str, DuctPart] = _key("The ducts, as a tree: each says where its air goes.", {})
    gates: dict[str, GatePart] = _key("Every gate, by name.", {})
    circuits: dict[str, CircuitPart] = _key("Circuits with a sensor of their own.", {})
    tools: dict[str, ToolPart] = _key("Every machine, by name.", {})
    outlets: dict[str, OutletPart] = _key("Outlets that serve whatever is plugged in.", {})
    converters: dict[str, ConverterPart] = _key("Analog converters.", {})
    brokers: dict[str, BrokerPart] = _key("MQTT brokers that meters publish to.", {})
    meters: dict[str, MeterPart] = _key("Power meters that publish to a broker.", {})
    gauges: dict[str, GaugePart] = _key("Pressure transmitters: suction in a duct, difference across a filter.", {})
    inputs: dict[str, InputPart] = _key("Buttons, keys, detectors, doors.", {})
    signs: dict[str, SignPart] = _key("Sign lamps.", {})
    servo_banks: dict[str, ServoBankPart] = _key("PCA9685 chips that servos hang on.", {})
    drives: dict[str, DrivePart] = _key("Variable-frequency drives over Modbus.", {})
    permits: dict[str, PermitPart] = _key('"Air ready" contacts, each of which may permit the start of a machine.', {})
    page: PagePart = _key("The phone page.", PagePart())
    hours: HoursPart = _key("Hours of the day.", HoursPart())
    messages: MessagesPart = _key("How messages reach people beside the page.", MessagesPart())
    neighbours: NeighboursPart = _key("Other systems that may look at this one.", NeighboursPart())
