"""The devices that the board drives: motor relays, gates on servo, relay pair or coil, lamps. Drawing, parts, notes."""

from collections.abc import Callable

from gatekeeper.shop.model import BoardDeath, Gate, GateEnd, Motor, Output, Shop, Sign
from gatekeeper.wiring_plan.cables import (
    COIL_CIRCUIT_MM2,
    DROP_OF_12_V,
    DROP_OF_SERVOS_V,
    LAMP_MM2,
    POWER_MM2,
    fuse_a,
    least_area_mm2,
)
from gatekeeper.wiring_plan.currents import most_a
from gatekeeper.wiring_plan.model import Across, Block, Cable, Device, Edge, In, Piece, Run, Sheet, States, Symbol
from gatekeeper.wiring_plan.strip import Strip, line_words, run_to_gate_m

NEARER_FROM_MM2 = 1.5
NEARER = "Thick for its length: a second supply near the far gates, grounds joined, saves copper."

RELAY_MODULE = Piece("relay module, input on when high, switching at 3.3 V", "coil 5 V, changeover contact 5 A at 30 V")
RESISTOR_10K = Piece("resistor 10 k", "0.25 W, 5 %")
RESISTOR_1K = Piece("resistor 1 k", "0.25 W, 5 %")


def relay_contact(
    output: Output,
    strip: Strip,
    *,
    to: str,
    ends: tuple[str, str],
    device: str,
    module: str = "relay module",
) -> tuple[Sheet, Cable]:
    """A relay on one line, whose normally open contact goes out by a cable of two cores."""
    first, board, parts, pull = driven(output)
    line, ground, power = first, first + 1, first + 2
    cores = [(line, "relay, common", ends[0]), (ground, "relay, normally open", ends[1])]
    cable = strip.cable(to, cores, COIL_CIRCUIT_MM2)
    sheet = Sheet(
        blocks=(Block("board", {**board, line: line_words(output.line), ground: "ground", power: "5 V"}),),
        middle=Block(module, {line: "IN", ground: "GND", power: "VCC"}, {line: "COM", ground: "NO"}),
        device=Block(device, {line: ends[0], ground: ends[1]}),
        runs=(
            *pull,
            *(Run(row, Edge.LEFT, Edge.INTO) for row in (line, ground, power)),
            Run(line, Edge.OUT),
            Run(ground, Edge.OUT),
        ),
        parts=parts,
    )
    return sheet, cable


COIL_NOTES = (
    "The relay switches the coil of a contactor (24 V), never the motor. Contact for coils: AC-15 (IEC 60947-5-1) "
    "or pilot duty, at least twice the coil's current.",
    "A suppressor across the coil: a diode on direct current, a varistor or RC on alternating current.",
)


def motor_switch(motor: Motor, strip: Strip, states: States) -> Device:
    """The relay whose contact the electrician takes into the coil circuit of a contactor."""
    assert motor.switch.output is not None
    sheet, cable = relay_contact(
        motor.switch.output,
        strip,
        to=f"starter of {motor.name}",
        ends=("from Auto", "to the coil"),
        device="coil circuit",
        module="pulse relay" if motor.switch.steady_pulse else "relay module",
    )
    notes = list(COIL_NOTES)
    after_s = motor.switch.death_after_s
    if motor.switch.steady_pulse:
        notes.append(
            f"This relay holds only while its line keeps changing, and drops {after_s:g} s after the last pulse: the "
            "line "
            "through a capacitor into a diode pump that holds the relay's transistor, or a retriggerable timer. A "
            "level "
            "that sticks lets it drop."
        )
    elif motor.switch.board_death is BoardDeath.DROPS_LATER:
        notes.append(f"This one drops {after_s:g} s late by its own timer, at every stop: expect it in tests.")
    pulsed = Piece("relay with diode pump, or retriggerable timer relay", f"holds {after_s:g} s after the last pulse")
    return Device(
        kind="motor switch by steady pulses" if motor.switch.steady_pulse else "motor switch",
        subject=motor.name,
        title=f"Relay of {motor.name}",
        sheet=sheet,
        cable=cable,
        pieces=(pulsed if motor.switch.steady_pulse else RELAY_MODULE, RESISTOR_10K),
        notes=tuple(notes),
        states=states,
        test=f"Disconnect of {motor.name} locked. Start a machine of it: the relay clicks, the contactor pulls in; "
        "stop the machine: both drop after the spin-down delay. Pull the board's plug meanwhile: both drop.",
    )


def servo_gate(shop: Shop, gate: Gate, strip: Strip, states: States) -> Device:
    """A servo on a pin, with a supply of its own."""
    assert gate.servo is not None
    run_m = run_to_gate_m(shop, gate)
    needed = max(POWER_MM2, least_area_mm2(most_a(gate), run_m, DROP_OF_SERVOS_V) if run_m is not None else 1.5)
    cable = strip.cable(
        gate.name,
        [(0, "signal", "signal"), (3, "supply, minus", "minus"), (4, "supply, plus", "plus")],
        needed,
        thin=1,
        run_m=run_m,
    )
    fuse = fuse_a(most_a(gate))
    sheet = Sheet(
        blocks=(
            Block("board", {0: line_words(gate.servo.line), 1: "ground"}),
            Block(gate.supply or "supply", {3: "minus", 4: "plus, 5 to 6 V"}),
        ),
        middle=None,
        device=Block("servo", {0: "signal", 3: "minus", 4: "plus"}),
        runs=(Run(0), Run(1, Edge.LEFT, 3), Run(3), Run(4)),
        parts=(
            In(0, 1, Symbol.RESISTOR, "1 k"),
            In(4, 1, Symbol.FUSE, f"{fuse:g} A"),
            Across(1, 3, 3, Symbol.JOINT, ""),
            Across(3, 4, 3, Symbol.CAPACITOR, "1000 µF"),
        ),
    )
    return Device(
        kind="gate on a servo",
        subject=gate.name,
        title=f"Servo of {gate.name}",
        sheet=sheet,
        cable=cable,
        pieces=(
            Piece("servo", f"5 to 6 V, its torque by the gate; travel {gate.travel_s:g} s or less"),
            Piece("fuse with holder, slow", f"{fuse:g} A"),
            RESISTOR_1K,
            Piece("capacitor 1000 µF", "10 V or more; one near the servos"),
        ),
        notes=(
            "Never from the board's own 5 V pin: a move would restart the board. The two grounds meet at one point, in "
            "the box; one capacitor serves all servos of a supply.",
            f"Pulses: {gate.servo.shut_pulse_s * 1000:g} ms is shut, {gate.servo.open_pulse_s * 1000:g} ms is open "
            "(1 to 2 ms: common practice). Find both ends by hand before the gate is screwed on.",
            *([NEARER] if needed > NEARER_FROM_MM2 else []),
        ),
        states=states,
        test="From the page, open and shut it: it reaches both ends, stops, and does not hum.",
    )


def relay_gate(shop: Shop, gate: Gate, strip: Strip, states: States) -> Device:
    """A motor that turns both ways on two changeover relays."""
    assert gate.relays is not None
    run_m = run_to_gate_m(shop, gate)
    needed = max(0.75, least_area_mm2(most_a(gate), run_m, DROP_OF_12_V) if run_m is not None else 1.5)
    fuse = fuse_a(most_a(gate))
    opens, shuts = gate.relays.open_output, gate.relays.shut_output
    ends = [(0, "opening relay, common", "motor"), (2, "shutting relay, common", "motor")]
    cable = strip.cable(gate.name, ends, needed, run_m=run_m)
    low = opens.active_low or shuts.active_low
    board = {
        0: line_words(opens.line),
        1: "3.3 V" if low else "ground",
        2: line_words(shuts.line),
        3: "5 V",
        4: "ground",
    }
    sheet = Sheet(
        blocks=(Block("board", board), Block(gate.supply or "supply", {6: "plus", 7: "minus"})),
        middle=Block(
            "two relays",
            {0: "IN 1", 2: "IN 2", 3: "VCC", 4: "GND", 6: "NO 1+2", 7: "NC 1+2"},
            {0: "COM 1", 2: "COM 2"},
        ),
        device=Block("motor", {0: "one way", 2: "other way"}),
        runs=(
            Run(0, Edge.LEFT, Edge.INTO),
            Run(1, Edge.LEFT, 0),
            Run(2, Edge.LEFT, Edge.INTO),
            Run(3, Edge.LEFT, Edge.INTO),
            *(Run(row, Edge.LEFT, Edge.INTO) for row in (4, 6, 7)),
            Run(0, Edge.OUT),
            Run(2, Edge.OUT),
        ),
        parts=(
            Across(0, 1, 0, Symbol.RESISTOR, "10 k"),
            Across(1, 2, 0, Symbol.RESISTOR, "10 k"),
            In(6, 1, Symbol.FUSE, f"{fuse:g} A"),
            Across(0, 2, 0, Symbol.MOTOR, "", at_device=True),
            Across(0, 2, 1, Symbol.VARISTOR, "varistor", at_device=True),
        ),
    )
    return Device(
        kind="gate on two relays",
        subject=gate.name,
        title=f"Motor of {gate.name}",
        sheet=sheet,
        cable=cable,
        pieces=(
            Piece(RELAY_MODULE.what, RELAY_MODULE.rating, 2),
            Piece(RESISTOR_10K.what, RESISTOR_10K.rating, 2),
            Piece("fuse with holder, slow", f"{fuse:g} A"),
            Piece(
                "linear actuator or gear motor with limit switches", f"12 or 24 V, travel {gate.travel_s:g} s or less"
            ),
            Piece("varistor or two-way suppressor", "for the supply's voltage, across the motor"),
        ),
        notes=(
            "Both normally open contacts to plus, both normally closed ones to minus: both off is a brake, and so is "
            "both "
            "on. Any other way makes a short of it.",
            "Limit switches in series with the motor, each bridged by a diode that lets it turn back. Across the "
            "motor a "
            "varistor: a plain diode there is a short in one direction.",
            f"The program leaves {gate.relays.dead_s * 1000:g} ms between the two directions and ends the drive after "
            f"{gate.travel_s:g} s.",
        ),
        states=states,
        test="From the page, open and shut it. If it goes the wrong way, change the two motor cores.",
    )


def coil_gate(shop: Shop, gate: Gate, strip: Strip, states: States) -> Device:
    """A solenoid or an air valve against a spring."""
    assert gate.coil is not None
    first, board, parts, pull = driven(gate.coil.output)
    line, ground, power, plus, minus = first, first + 1, first + 2, first + 4, first + 5
    run_m = run_to_gate_m(shop, gate)
    needed = max(POWER_MM2, least_area_mm2(most_a(gate), run_m, DROP_OF_12_V) if run_m is not None else POWER_MM2)
    cable = strip.cable(
        gate.name, [(plus, "relay, normally open", "coil"), (minus, "supply, minus", "coil")], needed, run_m=run_m
    )
    fuse = fuse_a(most_a(gate) * 1.5)
    sheet = Sheet(
        blocks=(
            Block("board", {**board, line: line_words(gate.coil.output.line), ground: "ground", power: "5 V"}),
            Block(gate.supply or "supply", {plus: "plus, 12 or 24 V", minus: "minus"}),
        ),
        middle=Block("relay module", {line: "IN", ground: "GND", power: "VCC", plus: "COM"}, {plus: "NO"}),
        device=Block("coil or valve", {plus: "plus", minus: "minus"}),
        runs=(
            *pull,
            *(Run(row, Edge.LEFT, Edge.INTO) for row in (line, ground, power, plus)),
            Run(plus, Edge.OUT),
            Run(minus),
        ),
        parts=(
            *parts,
            In(plus, 1, Symbol.FUSE, f"{fuse:g} A"),
            Across(plus, minus, 0, Symbol.COIL, "", at_device=True),
            Across(plus, minus, 1, Symbol.DIODE, "diode", at_device=True),
        ),
    )
    holds, falls = gate.coil.holds.value, gate.coil.holds.other.value
    notes = [
        f"On, the coil holds the gate {holds}; off, its spring brings it {falls}. It may be on for days: take a coil "
        "or "
        "valve for continuous duty.",
        "The diode belongs across a coil on direct current; on alternating current fit a varistor or RC instead.",
    ]
    if gate.coil.holds is GateEnd.OPEN:
        notes.append(
            "Without power its spring shuts it: the fan then runs down on a shut gate unless another way is open."
        )
    notes.append("Nothing stops such a gate half way: guard its slot.")
    return Device(
        kind="gate on a coil and a spring",
        subject=gate.name,
        title=f"Coil of {gate.name}",
        sheet=sheet,
        cable=cable,
        pieces=(
            RELAY_MODULE,
            RESISTOR_10K,
            Piece("fuse with holder, slow", f"{fuse:g} A"),
            Piece("solenoid, or valve with air cylinder, spring return", "12 or 24 V direct current, continuous duty"),
            Piece("diode", "100 V, 1 A, across the coil"),
        ),
        notes=tuple(notes),
        states=states,
        test=f"From the page, open and shut it. Then pull the board's plug: its spring brings it {falls}.",
    )


def lamp(name: str, at: str, output: Output, strip: Strip, states: States, lit: str) -> Device:
    """One lamp at a drop, or for the whole shop; ``lit`` says when it is lit."""
    first, board, parts, pull = driven(output)
    line, ground, minus, plus = first, first + 1, first + 3, first + 4
    ends = [(minus, "transistor, out", "minus"), (plus, "plus", "plus")]
    where = f"{name}, at {at}" if at else name
    cable = strip.cable(where, ends, LAMP_MM2)
    sheet = Sheet(
        blocks=(
            Block("board", {**board, line: line_words(output.line), ground: "ground"}),
            Block("lamp supply", {minus: "minus", plus: "plus, 12 or 24 V"}),
        ),
        middle=Block("transistor", {line: "IN", ground: "GND", minus: "minus"}, {minus: "out"}),
        device=Block("lamp", {minus: "minus", plus: "plus"}),
        runs=(
            *pull,
            *(Run(row, Edge.LEFT, Edge.INTO) for row in (line, ground, minus)),
            Run(minus, Edge.OUT),
            Run(plus),
        ),
        parts=(*parts, In(plus, 1, Symbol.FUSE, "1 A"), Across(minus, plus, 0, Symbol.LAMP, "", at_device=True)),
    )
    return Device(
        kind="sign lamp",
        subject=name,
        title=f"Lamp {where}",
        sheet=sheet,
        cable=cable,
        pieces=(
            Piece("transistor or relay module for a lamp, input on when high at 3.3 V", "30 V, 1 A"),
            RESISTOR_10K,
            Piece("fuse with holder", "1 A"),
            Piece("lamp, bright enough to be seen across the shop", "12 or 24 V direct current, 0.5 A or less"),
        ),
        notes=(lit,),
        states=states,
        test="Start a machine there: it shows before the gate moves." if at else "The page says what it is lit for.",
    )


READY = "Lit while air comes or is ready, before a gate there moves, and while that gate is held."
ITS_READY = "The ready lamp: lit while air is ready there."
COMING = "The lamp for coming: lit before a gate there moves and while air comes."
NO_AIR = "The lamp for no air: lit while a machine there runs without its air."


def sign_lamps(sign: Sign, strip: Strip, states: Callable[[int, str], States]) -> list[Device]:
    """The one, two or three lamps of a sign; ``states`` tells what a line and its owner do by themselves."""
    more = [("coming", sign.coming, COMING), ("no air", sign.no_air, NO_AIR)]
    fitted = [(word, output, lit) for word, output, lit in more if output is not None]
    ready = ITS_READY if fitted else READY
    lamps = [lamp(sign.name, sign.at, sign.output, strip, states(sign.output.line, sign.name), ready)]
    for word, output, lit in fitted:
        lamps.append(lamp(f"{sign.name}, {word}", sign.at, output, strip, states(output.line, sign.name), lit))
    return lamps


def driven(output: Output) -> tuple[int, dict[int, str], tuple[Across, ...], tuple[Run, ...]]:
    """The line's row, more rows of the board, and the resistor that holds the line off: to ground, or up to 3.3 V."""
    if output.active_low:
        return 1, {0: "3.3 V"}, (Across(0, 1, 0, Symbol.RESISTOR, "10 k"),), (Run(0, Edge.LEFT, 0),)
    return 0, {}, (Across(0, 1, 0, Symbol.RESISTOR, "10 k"),), ()
