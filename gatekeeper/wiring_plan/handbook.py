"""A page of the handbook for one kind of device: made from the same plan as every shop's own papers."""

from dataclasses import dataclass

from gatekeeper.wiring_plan.handbook_speed import SPEED
from gatekeeper.wiring_plan.model import Device

FINGERS = (
    "**Fingers.** It moves without warning and feels nothing. Guard its slot "
    "([how](../box.md#guarding-a-gates-slot)), and "
    "take its plug out before you reach in."
)
MAINS = (
    "**Mains.** The starter, its coil circuit and everything around a mains wire are for a licensed electrician under "
    "the "
    "local code; `gatekeeper wiring SHOP.yaml` prints two sheets for that."
)
STARTS = "**It starts by itself.** Hang the sign, and lock the disconnect before anything is opened."


@dataclass(frozen=True, slots=True)
class Kind:
    """What a page says beyond the plan: heading, what it is in a sentence, its words in a shop file, cautions, and more
    for its end, each a paragraph.
    """

    heading: str
    what: str
    written: str
    cautions: tuple[str, ...] = ()
    more: tuple[str, ...] = ()


KINDS: dict[str, Kind] = {
    "motor switch": Kind(
        "Motor by a relay and a contactor",
        "One relay in the box, whose contact lies in the coil circuit of the motor's contactor. A level that sticks "
        "keeps "
        "it on: the [relay that wants steady pulses](motor-switch-by-steady-pulses.md) is the better way.",
        "motors:\n  collector:\n    power: 2 hp\n    switched_by: {pin: GPIO17, when_board_dies: drops}",
        (MAINS, STARTS),
    ),
    "motor switch by steady pulses": Kind(
        "Motor by a relay that wants steady pulses",
        "A relay that holds only while its line keeps changing. A program that is killed, hangs, or leaves its line "
        "at any "
        "level lets the motor stop. The preferred way.",
        "motors:\n  collector:\n    power: 2 kW\n    switched_by: {pin: GPIO17, steady_pulse: yes, when_board_dies: "
        "drops "
        "after 1 s}\n    release: 2 s",
        (MAINS, STARTS),
    ),
    "motor switch by two buttons": Kind(
        "Motor by a starter with push buttons",
        "Two relays press start and stop of a starter that holds itself. Nothing here drops it when the board dies, "
        "so a "
        "shop file takes it only where somebody is always there (`attended: yes`) and a current sensor tells whether "
        "it "
        "runs.",
        "motors:\n  vacuum:\n    kind: tool vacuum\n    power: 1 kW\n    switched_by: {start: GPIO22, stop: GPIO27, "
        "when_board_dies: stays}\n    confirmed_by: {current_switch: GPIO4, within: 3 s}",
        (MAINS, STARTS, "**The board may die.** The motor then runs on. Let a hand be at its stop button."),
    ),
    "motor switch by a drive": Kind(
        "Motor on a variable-frequency drive",
        "Start, stop and speed go to the drive as words over Modbus, by a serial line or the network, and it tells "
        "whether "
        "the motor runs and why it tripped. Loss of communication must be set in the drive.",
        "drives:\n  fan drive:\n    serial: /dev/ttyUSB0\n    command: 0x2000\n    start: 1\n    stop: 0\n    status: "
        "0x2100\n"
        "    running: 1\nmotors:\n  collector:\n    power: 4 kW\n    switched_by: {drive: fan drive, when_board_dies: "
        "drops "
        "after 2 s}\n    confirmed_by: {drive: fan drive, within: 5 s}",
        (MAINS, STARTS),
        SPEED,
    ),
    "gate on a servo": Kind(
        "Gate on a servo at a pin",
        "A servo whose pulses the program makes. Software pulses jitter, so they end with the move and friction holds "
        "the "
        "gate. For a few small gates, with `--pins lgpio` on Python 3.11 or 3.12; more gates want a "
        "[bank](gate-on-a-servo-of-a-bank.md).",
        "gates:\n  saw gate: {duct: saw drop, servo: {pin: GPIO12, open: 1.9 ms, shut: 1.1 ms}}",
        (FINGERS,),
    ),
    "servo bank": Kind(
        "Servo bank",
        "A pulse generator chip with sixteen channels, for the servos of many gates. It sends by itself, so its "
        "output-enable line decides whether anything moves.",
        "servo_banks:\n  bank: {enable: GPIO5}",
        (FINGERS,),
    ),
    "gate on a servo of a bank": Kind(
        "Gate on a servo of a bank",
        "A servo on one channel of a [servo bank](servo-bank.md). Pulses come only while a gate moves.",
        "gates:\n  saw gate: {duct: saw drop, servo: {bank: bank, channel: 0}}",
        (FINGERS,),
    ),
    "gate on two relays": Kind(
        "Gate on a relay pair",
        "A linear actuator or gear motor, turned round by two changeover relays, with limit switches at its ends.",
        "gates:\n  saw gate:\n    duct: saw drop\n    relays: {open: GPIO12, shut: GPIO13, dead_time: 200 ms}\n"
        "    travel: 4 s",
        (FINGERS,),
    ),
    "gate on an H-bridge": Kind(
        "Gate on an H-bridge",
        "A linear actuator or gear motor on an H-bridge board, without relays to wear out.",
        "gates:\n  planer gate:\n    duct: planer drop\n    bridge: {open: GPIO16, shut: GPIO13, enable: GPIO12}\n"
        "    travel: 4 s",
        (FINGERS,),
    ),
    "gate on a coil and a spring": Kind(
        "Gate on a coil and a spring",
        "A solenoid, or the valve of an air cylinder. Power holds one end, a spring brings the other.",
        "gates:\n  planer gate:\n    duct: planer drop\n    coil: {pin: GPIO16, holds: shut}\n    open_contact: GPIO21",
        (FINGERS, "**Stored force.** Shut the air off and let it out, or pull the plug, before you touch it."),
    ),
    "sign lamp": Kind(
        "Sign lamp",
        "One, two or three lamps at a drop or gate. A lamp is seen where a buzzer is not heard.",
        "signs:\n  saw sign: {pin: GPIO26, at: table saw}",
    ),
    "air ready contact": Kind(
        "Contact that permits a start",
        "Made while air is ready at a machine. It may only permit a start; it never starts or cuts one.",
        "permits:\n  planer permit: {pin: GPIO26, at: planer}\ninputs:\n  planer button: {kind: air here, pin: GPIO11, "
        "at: planer}",
        (MAINS,),
    ),
    "normally open contact": Kind(
        "Normally open contact",
        "Push buttons, keys, position switches, current switches, pressure switches: made means yes.",
        "tools:\n  table saw: {gates: saw gate, sensor: {current_switch: GPIO23}}",
    ),
    "normally closed contact": Kind(
        "Normally closed contact",
        "Red buttons, detectors, doors, hose hooks: opened means yes, so a broken wire speaks.",
        "inputs:\n  door stop: {kind: red button, pin: GPIO23}",
        (
            "**An emergency stop is hard-wired.** This contact only tells the controller; the stop itself, and a fire "
            "detector, break the coil circuit by wire, without it.",
        ),
    ),
    "two contacts": Kind(
        "Two contacts with one common",
        "Position switches at both ends of a gate, or the Hand and Auto contacts of a Hand-Off-Auto switch.",
        "gates:\n  saw gate: {duct: saw drop, servo: {pin: GPIO12}, open_contact: GPIO4, shut_contact: GPIO5}",
    ),
    "current clamp": Kind(
        "Current clamp on a converter",
        "A small transformer around one wire of a machine. [What it sees](../sensors.md#clamp-on-an-mcp3208).",
        "tools:\n  table saw: {gates: saw gate, sensor: {converter: clamp board, channel: 0, burden: 56 ohm}}",
        (MAINS, "**Never open.** A clamp without its burden resistor makes a dangerous voltage."),
    ),
    "gauge with a voltage": Kind(
        "Pressure gauge with a voltage",
        "A transmitter at a hole in a duct, or across a filter, that gives 0.5 to 4.5 V, 0 to 10 V or the like. It "
        "serves care only and moves nothing. [What it tells](../sensors.md#pressure-gauge).",
        "gauges:\n  main gauge:\n    {duct: main, converter: air board, channel: 0, points: [500 mV at 0 Pa, 4.5 V "
        "at 5 kPa], divider: [10 kohm, 20 kohm]}",
    ),
    "gauge on a current loop": Kind(
        "Pressure gauge on a current loop",
        "A transmitter of 4 to 20 mA on two wires. The current is read over a resistor; a long cable does not change "
        "it, and a broken one speaks. [What it tells](../sensors.md#pressure-gauge).",
        "gauges:\n  filter gauge: {filter_of: collector, converter: air board, channel: 1, points: [4 mA at 0 Pa, 20 "
        "mA at 2.5 kPa], resistor: 150 ohm, clean_at: 1 kPa}",
    ),
    "converter": Kind(
        "Converter for clamps",
        "The chip that turns the clamps' voltages into numbers, beside the board in the box.",
        "converters:\n  clamp board: {kind: MCP3208, bus: 0, chip_select: 0}",
    ),
}


def file_stem(kind: str) -> str:
    """The name of a kind in file names."""
    return kind.lower().replace(" ", "-")


def handbook_page(device: Device, shop_name: str) -> str:
    """One page in Markdown; ``device`` is the example that its picture shows."""
    kind = KINDS[device.kind]
    told = [
        f"# {kind.heading}",
        f"{kind.what} Read [the cautions](../cautions.md) first.",
        f"![Wiring: {kind.heading.lower()}](../pictures/wiring-{file_stem(device.kind)}.svg)",
        f"Drawn for the shop {shop_name}; pins, cables and terminals are numbered as there, and "
        "`gatekeeper wiring SHOP.yaml` draws it with those of your own. In the shop file:",
        f"```yaml\n{kind.written}\n```",
        "## Parts",
        "\n".join(f"- {one.count} × {one.what}: {one.rating}" for one in device.pieces),
        "## Wiring",
        "\n".join(f"- {note}" for note in device.notes),
    ]
    if device.cable is not None:
        cores = "; ".join(f"{core.at_box} → {core.at_device}" for core in device.cable.cores)
        told.append(f"The cable has {device.cable.kind}: {cores}.")
    told.append("## With nobody in charge")
    if device.states is not None:
        told.append(
            "| at power-up | program crashes or is killed | no power |\n| --- | --- | --- |\n"
            f"| {device.states.at_power_up} | {device.states.program_dies} | {device.states.power_lost} |"
        )
        told.append("[Why, and what else](../power-states.md). Not measured on a real board.")
    else:
        told.append("It drives nothing: at power-up, after a crash and without power nothing moves by it.")
    told += ["## Try it", device.test]
    if kind.cautions:
        told += ["## Mind", "\n".join(f"- {one}" for one in kind.cautions)]
    told += kind.more
    return "\n\n".join(told) + "\n"
