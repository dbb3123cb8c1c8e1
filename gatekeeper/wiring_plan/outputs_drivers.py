"""More devices that the board drives: banks of servos, bridges, starters with push buttons, contacts for "air "
"ready"."""

from gatekeeper.devices.base import Fate
from gatekeeper.devices.servos import BankServoGate
from gatekeeper.shop.claims import I2C_LINES
from gatekeeper.shop.model import Drive, Gate, Motor, Permit, ServoBank, Shop
from gatekeeper.wiring_plan.cables import (
    COIL_CIRCUIT_MM2,
    DROP_OF_12_V,
    DROP_OF_SERVOS_V,
    POWER_MM2,
    SIGNAL_MM2,
    fuse_a,
    least_area_mm2,
)
from gatekeeper.wiring_plan.currents import SERVO_STALL_A, most_a, together_a
from gatekeeper.wiring_plan.model import Across, Block, Device, Edge, In, Piece, Run, Sheet, States, Symbol
from gatekeeper.wiring_plan.outputs import (
    RELAY_MODULE,
    RESISTOR_10K,
    relay_contact,
)
from gatekeeper.wiring_plan.strip import Strip, line_words, run_to_gate_m


def bank_board(shop: Shop, bank: ServoBank) -> Device:
    """The chip of a bank of servos, in the box."""
    on_it = [gate for gate in shop.gates.values() if gate.bank_servo is not None and gate.bank_servo.bank == bank.name]
    at_once = max([shop.supplies[gate.supply].at_once for gate in on_it if gate.supply], default=1)
    fuse = fuse_a(together_a(on_it, at_once) or SERVO_STALL_A)
    board = {0: line_words(bank.enable_line), 1: "3.3 V · pin 1", 2: "ground"}
    board |= {3: line_words(I2C_LINES[0]), 4: line_words(I2C_LINES[1])}
    sheet = Sheet(
        blocks=(Block("board", board), Block("servo supply", {6: "plus, 5 to 6 V", 7: "minus"})),
        middle=None,
        device=Block("PCA9685", {0: "OE", 1: "VDD", 2: "GND", 3: "SDA", 4: "SCL", 6: "V+", 7: "GND"}),
        runs=(),
        parts=(
            Across(0, 1, 1, Symbol.RESISTOR, "10 k"),
            In(6, 1, Symbol.FUSE, f"{fuse:g} A"),
            Across(6, 7, 3, Symbol.CAPACITOR, "1000 µF, at the bank"),
        ),
        walled=False,
    )
    return Device(
        kind="servo bank",
        subject=bank.name,
        title=f"Servo bank {bank.name}",
        sheet=sheet,
        cable=None,
        pieces=(
            Piece("pulse generator board PCA9685, sixteen channels", f"address {bank.address:#x}"),
            RESISTOR_10K,
            Piece("fuse with holder, slow", f"{fuse:g} A"),
            Piece("capacitor 1000 µF", "10 V or more; one near the servos"),
        ),
        notes=(
            "OE through 10 k to 3.3 V: no pulses until the program runs, and none when the board is dark. The chip "
            "goes on "
            "sending by itself, so this wire matters most.",
            "VDD is 3.3 V from the board, V+ the servos' own supply; never join the two. Other chips share SDA and "
            "SCL.",
            "A ready-made board has a resistor at OE that may pull the wrong way: measure OE with the board's plug in "
            "and the program stopped; it must be above 2.5 V.",
        ),
        states=None,
        test="Program stopped: every servo on it can be turned by hand.",
    )


def bank_servo_gate(shop: Shop, gate: Gate, strip: Strip) -> Device:
    """A servo on a channel of a bank."""
    servo = gate.bank_servo
    assert servo is not None
    run_m = run_to_gate_m(shop, gate)
    needed = max(POWER_MM2, least_area_mm2(most_a(gate), run_m, DROP_OF_SERVOS_V) if run_m is not None else 1.5)
    names = {0: f"channel {servo.channel}, pulse", 1: "GND", 2: "V+"}
    ends = [(0, names[0], "signal"), (1, "GND", "minus"), (2, "V+", "plus")]
    cable = strip.cable(gate.name, ends, needed, thin=1, run_m=run_m)
    sheet = Sheet(
        blocks=(Block(servo.bank, names),),
        middle=None,
        device=Block("servo", {0: "signal", 1: "minus", 2: "plus"}),
        runs=(Run(0), Run(1), Run(2)),
    )
    return Device(
        kind="gate on a servo of a bank",
        subject=gate.name,
        title=f"Servo of {gate.name}",
        sheet=sheet,
        cable=cable,
        pieces=(Piece("servo", f"5 to 6 V, its torque by the gate; travel {gate.travel_s:g} s or less"),),
        notes=(
            f"Channel {servo.channel} of {servo.bank}. Pulses: {servo.shut_pulse_s * 1000:g} ms is shut, "
            f"{servo.open_pulse_s * 1000:g} ms is open (1 to 2 ms: common practice). Find both ends by hand first.",
            "With thick cores bring plus and minus from the supply's own terminals, and only the pulse from the bank.",
        ),
        states=_states(BankServoGate.fate),
        test="From the page, open and shut it: it reaches both ends, stops, and does not hum.",
    )


def bridge_gate(shop: Shop, gate: Gate, strip: Strip, states: States) -> Device:
    """A motor that turns both ways on an H-bridge."""
    bridge = gate.bridge
    assert bridge is not None
    run_m = run_to_gate_m(shop, gate)
    needed = max(0.75, least_area_mm2(most_a(gate), run_m, DROP_OF_12_V) if run_m is not None else 1.5)
    fuse = fuse_a(most_a(gate))
    cable = strip.cable(gate.name, [(0, "OUT 1", "motor"), (2, "OUT 2", "motor")], needed, run_m=run_m)
    board = {0: line_words(bridge.open_line), 1: "ground", 2: line_words(bridge.shut_line), 3: "3.3 V · pin 1"}
    inputs = {0: "IN 1", 1: "GND", 2: "IN 2", 3: "VCC"}
    plus, minus = 5, 6
    if bridge.enable_line is not None:
        board[4], inputs[4] = line_words(bridge.enable_line), "EN"
        plus, minus = 6, 7
    sheet = Sheet(
        blocks=(Block("board", board), Block(gate.supply or "supply", {plus: "plus", minus: "minus"})),
        middle=Block("H-bridge", {**inputs, plus: "motor plus", minus: "GND"}, {0: "OUT 1", 2: "OUT 2"}),
        device=Block("motor", {0: "one way", 2: "other way"}),
        runs=(
            *(Run(row, Edge.LEFT, Edge.INTO) for row in (*inputs, plus, minus)),
            Run(0, Edge.OUT),
            Run(2, Edge.OUT),
        ),
        parts=(
            Across(0, 1, 0, Symbol.RESISTOR, "10 k"),
            Across(1, 2, 0, Symbol.RESISTOR, "10 k"),
            In(plus, 1, Symbol.FUSE, f"{fuse:g} A"),
            Across(0, 2, 0, Symbol.MOTOR, "", at_device=True),
        ),
    )
    return Device(
        kind="gate on an H-bridge",
        subject=gate.name,
        title=f"Motor of {gate.name}",
        sheet=sheet,
        cable=cable,
        pieces=(
            Piece("H-bridge board, inputs on when high at 3.3 V", f"for the motor's voltage, {most_a(gate):g} A"),
            Piece(RESISTOR_10K.what, RESISTOR_10K.rating, 2),
            Piece("fuse with holder, slow", f"{fuse:g} A"),
            Piece(
                "linear actuator or gear motor with limit switches", f"12 or 24 V, travel {gate.travel_s:g} s or less"
            ),
        ),
        notes=(
            "Nothing but the program ends the drive: limit switches in the motor's wires, each bridged by a diode "
            "that lets "
            "it turn back.",
            f"The program leaves {bridge.dead_s * 1000:g} ms between the two directions and ends the drive after "
            f"{gate.travel_s:g} s.",
        ),
        states=states,
        test="From the page, open and shut it. If it goes the wrong way, change the two motor cores.",
    )


def starter(motor: Motor, strip: Strip, states: States) -> Device:
    """Two relays that press the buttons of a starter which holds itself."""
    start, stop = motor.switch.output, motor.switch.stop_output
    assert start is not None
    assert stop is not None
    ends = [
        (0, "start relay, normally open", "start"),
        (1, "start relay, common", "start"),
        (2, "stop relay, normally closed", "stop"),
        (3, "stop relay, common", "stop"),
    ]
    cable = strip.cable(f"starter of {motor.name}", ends, COIL_CIRCUIT_MM2)
    low = start.active_low or stop.active_low
    board = {0: line_words(start.line), 1: "3.3 V" if low else "ground", 2: line_words(stop.line)}
    sheet = Sheet(
        blocks=(Block("board", {**board, 3: "5 V", 4: "ground"}),),
        middle=Block(
            "two relays", {0: "IN 1", 2: "IN 2", 3: "VCC", 4: "GND"}, {0: "NO 1", 1: "COM 1", 2: "NC 2", 3: "COM 2"}
        ),
        device=Block("starter", {0: "beside start", 1: "beside start", 2: "in stop's wire", 3: "in stop's wire"}),
        runs=(
            Run(0, Edge.LEFT, Edge.INTO),
            Run(1, Edge.LEFT, 0),
            Run(2, Edge.LEFT, Edge.INTO),
            Run(3, Edge.LEFT, Edge.INTO),
            Run(4, Edge.LEFT, Edge.INTO),
            *(Run(row, Edge.OUT) for row in range(4)),
        ),
        parts=(Across(0, 1, 0, Symbol.RESISTOR, "10 k"), Across(1, 2, 0, Symbol.RESISTOR, "10 k")),
    )
    return Device(
        kind="motor switch by two buttons",
        subject=motor.name,
        title=f"Relays at the starter of {motor.name}",
        sheet=sheet,
        cable=cable,
        pieces=(
            Piece(RELAY_MODULE.what, RELAY_MODULE.rating, 2),
            Piece(RESISTOR_10K.what, RESISTOR_10K.rating, 2),
        ),
        notes=(
            "The start relay's contact lies beside the start button, the stop relay's in series with the stop button. "
            "Each "
            f"is pressed for {motor.switch.press_s * 1000:g} ms.",
            "The starter holds itself: without the board the motor runs on until somebody presses stop.",
        ),
        states=states,
        test=f"Disconnect of {motor.name} locked: the starter pulls in when a machine of it starts, drops after the "
        "spin-down delay. Then pull the board's plug while it is in: it stays in. Press stop.",
    )


def drive_line(motor: Motor, drive: Drive, strip: Strip) -> Device:
    """The serial line from the box to a variable-frequency drive."""
    ends = [(row, f"serial adapter, {name}", name) for row, name in enumerate(("A", "B", "common"))]
    cable = strip.cable(f"drive of {motor.name}", ends, SIGNAL_MM2, words=", twisted, screened")
    names = {0: "A", 1: "B", 2: "common"}
    sheet = Sheet(
        blocks=(Block("serial adapter", names),),
        middle=None,
        device=Block("drive", names),
        runs=(Run(0), Run(1), Run(2)),
        parts=(
            Across(0, 1, 2, Symbol.RESISTOR, "120 Ω"),
            Across(0, 1, 1, Symbol.RESISTOR, "120 Ω", at_device=True),
        ),
    )
    after_s = motor.switch.death_after_s
    return Device(
        kind="motor switch by a drive",
        subject=motor.name,
        title=f"Drive of {motor.name}",
        sheet=sheet,
        cable=cable,
        pieces=(
            Piece("serial adapter for RS-485, isolated", f"{drive.baud} baud, {drive.parity.value} parity"),
            Piece("resistor 120 ohm", "0.25 W, at both ends of the line", 2),
        ),
        notes=(
            f"Set in the drive: stop on loss of communication after {after_s:g} s; no restart by itself after a trip "
            "or a "
            f"power cut; Modbus address {drive.device}. Nothing else stops it when the board dies.",
            "A and B are named the other way round by some makers: with no answer, change them. The screen to ground "
            "at the "
            "box only, well away from the motor's cable.",
            "Emergency stop and detector go to the drive's enable input or to a contactor before it, by its manual: "
            "the "
            "electrician's.",
            *_speed_notes(drive),
        ),
        states=States(
            "Nothing is said to the drive: it stays as it is.",
            f"The drive hears nothing more and stops the motor after {after_s:g} s, where that is set in it.",
            f"The drive hears nothing more and stops the motor after {after_s:g} s, where that is set in it.",
        ),
        test=f"Run {motor.name}, then pull the cable at X1: it stops within {after_s:g} s and stays still.",
    )


def _speed_notes(drive: Drive) -> tuple[str, ...]:
    """What the drive must be set to where it is told its speed."""
    if drive.full_speed_hz is not None:
        return (
            f"Its speed comes from the bus too, {drive.least_speed_hz:g} to {drive.full_speed_hz:g} Hz: set both as "
            "its limits in the drive as well, ramps of 3 to 10 s alike both ways, and its own energy saving and "
            "pressure control off.",
        )
    if drive.speed_hz is not None:
        return (f"Its speed comes from the bus too: {drive.speed_hz:g} Hz.",)
    return ()


def permit_contact(permit: Permit, strip: Strip, states: States) -> Device:
    """The contact that permits a start while air is ready."""
    sheet, cable = relay_contact(
        permit.output,
        strip,
        to=f"start button of {permit.at}",
        ends=("from start", "to the starter"),
        device="start button",
    )
    return Device(
        kind="air ready contact",
        subject=permit.name,
        title=f"Contact {permit.name}, air ready at {permit.at}",
        sheet=sheet,
        cable=cable,
        pieces=(RELAY_MODULE, RESISTOR_10K),
        notes=(
            "In the wire of the start button only, ahead of the contact that holds the starter: it decides about a "
            "start and "
            "nothing else. Never in the holding circuit, the stop circuit or a wire that feeds the machine.",
            "A machine with a plain switch has no such place and gets no such contact. The electrician wires it, and "
            "bridges it when the board is out of order.",
        ),
        states=states,
        test=f"Ask for air at {permit.at}: only once air is ready the start button works. Running, it runs on when the "
        "air goes.",
        by_electrician=False,
    )


def _states(fate: Fate) -> States:
    words = fate.in_words.removeprefix("When the board loses power ")
    return States(fate.at_power_up, fate.when_process_dies, f"{words[:1].upper()}{words[1:]}")
