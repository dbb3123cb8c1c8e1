"""What a checked shop's owner should hear: what will bite, and what is nice to know. Whole sentences, no rule numbers.

What stops a shop is a fault with a place (``faults``); a shop that loads has none. Every finding has a code that
machines may rely on, the thing it is about, and one or two sentences that say what is so and what to do.
"""

import math
from collections.abc import Iterator

from gatekeeper.shop.build_messages import message_findings
from gatekeeper.shop.faults import listed
from gatekeeper.shop.finding import Finding, Heap, bite, nice
from gatekeeper.shop.findings_clamps import clamp_findings
from gatekeeper.shop.findings_drivers import driver_findings, driver_outputs
from gatekeeper.shop.findings_gauges import gauge_findings
from gatekeeper.shop.findings_page import page_findings
from gatekeeper.shop.findings_sensors import sensor_findings
from gatekeeper.shop.lines import UNCHOSEN
from gatekeeper.shop.model import (
    AirGoes,
    BoardDeath,
    Gate,
    GateEnd,
    InputKind,
    Makes,
    Motor,
    MotorKind,
    Output,
    Proof,
    Shop,
    StartsFrom,
    Units,
)
from gatekeeper.shop.unpinned import without_pin

QUIET_LINES = "GPIO16, 17 or 22 to 27"
BOARD_HANGS = "A board that hangs with its power on keeps the motor running: stop it by hand."


def findings_of(shop: Shop) -> tuple[Finding, ...]:
    """All findings about a shop, what bites first, each heap in order of weight."""
    found = [
        _cautions(),
        *_air(shop),
        *(finding for motor in shop.motors.values() for finding in _motor(shop, motor)),
        *_gates_when_board_dies(shop),
        *_pins(shop),
        *driver_findings(shop),
        *clamp_findings(shop),
        *sensor_findings(shop),
        *gauge_findings(shop),
        *_tools_and_gates(shop),
        *_inputs_and_page(shop),
    ]
    return tuple(sorted(found, key=lambda finding: finding.heap is Heap.NICE))


def length(shop: Shop, length_m: float) -> str:
    """A diameter as the shop's people read it, rounded up so that "at least" stays true."""
    if shop.units is Units.INCH:
        return f"{math.ceil(length_m / 0.0254 * 4 - 1e-6) / 4:g} in"
    return f"{math.ceil(length_m * 1000 - 1e-6):g} mm"


def _air(shop: Shop) -> Iterator[Finding]:
    goes_out = shop.air_goes in (AirGoes.OUTSIDE, AirGoes.BOTH)
    if goes_out and shop.open_flue:
        yield bite(
            "flue",
            "shop",
            "Air goes outside and an open flue is near: the collector can pull flue gas with carbon monoxide into the "
            "room. Bring in as much air as goes out, fit a carbon monoxide alarm, and have the flue looked at.",
        )
    elif goes_out:
        yield nice(
            "make_up_air",
            "shop",
            "Air goes outside: as much must come in, or the room is pulled on. Leave it a way in.",
        )
    if shop.air_goes in (AirGoes.INSIDE, AirGoes.BOTH):
        yield nice(
            "inside_air",
            "shop",
            "Air comes back into the room: what the filter lets through, you breathe. "
            "Ask for its fine-dust figure, and whether your local rule allows it.",
        )


def _motor(shop: Shop, motor: Motor) -> Iterator[Finding]:
    name, gates = motor.name, shop.gates_of(motor.name)
    yield _board_death(motor)
    yield from _runs_on(motor)
    if motor.confirmed_by is None:
        yield bite(
            "unconfirmed",
            name,
            "Nothing confirms that it runs or stops: a tripped overload or a welded contactor stays unseen. "
            "Put a current switch on its wire (confirmed_by).",
        )
    if motor.has_ducts:
        yield from _proof(shop, motor, gates)
        yield from _small_tools(shop, motor)
        longest_s = max((gate.clear_s for gate in gates), default=0.0)
        if longest_s > motor.spin_down_s:
            yield nice(
                "clear_longer",
                name,
                f"Its longest branch needs {longest_s:.0f} s to clear, so it keeps running that long, "
                f"not only {motor.spin_down_s:g} s.",
            )
        used = [tool.makes for tool in shop.tools_of(name)]
        if Makes.METAL in used:
            yield bite("metal", name, "Metal goes into it: let no wood machine or bag of wood dust ever join it.")
    if motor.resume:
        yield bite(
            "resume", name, "It may start by itself after a crash of the program (resume: yes). Hang a sign on it."
        )
    yield _starts(motor)


def _board_death(motor: Motor) -> Finding:
    if motor.switch.drive is not None:
        after_s = motor.switch.death_after_s
        said = f"If the board loses power or hangs, its drive hears nothing more and stops it after {after_s:g} s."
        return nice("board_dies", motor.name, said)
    if motor.switch.steady_pulse:
        after_s = motor.switch.death_after_s
        said = f"If the board loses power or hangs, its relay drops after {after_s:g} s, and the motor stops then."
        return nice("board_dies", motor.name, said)
    match motor.switch.board_death:
        case BoardDeath.DROPS:
            said = f"If the board loses power, its relay drops and the motor stops at once. {BOARD_HANGS}"
            return nice("board_dies", motor.name, said)
        case BoardDeath.DROPS_LATER:
            after_s = motor.switch.death_after_s
            said = f"If the board loses power, its relay drops by itself after {after_s:g} s and the motor stops then."
            return nice("board_dies", motor.name, f"{said} {BOARD_HANGS}")
        case BoardDeath.STAYS:
            said = "If the board dies, the motor runs on until somebody stops it by hand. Never leave it alone."
            return bite("board_dies", motor.name, said)


def _runs_on(motor: Motor) -> Iterator[Finding]:
    """A timer behind the relay works at every stop, not only when the board dies."""
    after_s = motor.switch.death_after_s
    if motor.switch.drive is not None:  # it stops at the word, and after its own time only without one
        return
    if motor.switch.board_death is not BoardDeath.DROPS_LATER or after_s < motor.release_s:
        return
    yield bite(
        "runs_on",
        motor.name,
        f"What holds its relay for {after_s:g} s does so at every stop, and release says {motor.release_s:g} s: it "
        f"counts as off, or as a welded contactor, while it still runs. Write release: {math.floor(after_s) + 1} s.",
    )


def _gates_when_board_dies(shop: Shop) -> Iterator[Finding]:
    moved = [gate for gate in shop.gates.values() if gate.is_actuated]
    falling = [gate for gate in moved if gate.spring_return]
    if len(falling) < len(moved):
        said = "If the board dies, gates on servos or relays stay where they are; move them by hand. Sign lamps go out."
        yield nice("gates_when_board_dies", "shop", said)
    if any(gate.servo is not None or gate.bank_servo is not None for gate in moved):
        said = "Feed servos from a 5 to 6 V supply of their own, grounds joined: on the board's pin, a move resets it."
        yield nice("servo_supply", "shop", said)
    if any(gate.relays is not None for gate in moved):
        said = (
            "Wire a gate's two relays so that both on brakes the motor, never shorts the supply; "
            "a plain diode across it is a short one way."
        )
        yield nice("relay_wiring", "shop", said)
    for gate in falling:
        yield _spring(gate, shop.motors[gate.motor])


def _spring(gate: Gate, motor: Motor) -> Finding:
    assert gate.coil is not None
    end = gate.coil.holds.other.value
    said = (
        f"Without power its spring brings it {end}; the red button leaves its coil as it is. "
        "The coil may be on for days: use one made for that."
    )
    if gate.coil.holds is GateEnd.OPEN and motor.relief_m2 < motor.path_minimum_m2:
        said += " When the power goes, the fan runs down on a shut gate: with holds: shut the way stays open."
    return nice("spring_return", gate.name, said)


def _starts(motor: Motor) -> Finding:
    if motor.starts_from is StartsFrom.GIVEN:
        said = f"{motor.starts_per_hour:g} starts an hour, as given; two are in hand."
    else:
        said = (
            f"{motor.starts_per_hour:.1f} starts an hour ({motor.starts_note}; NEMA MG 10, Table 2-3); two are in hand."
        )
    if motor.starts_from is StartsFrom.ESTIMATE:
        said += " That table is for three-phase motors: an estimate here."
    return nice("starts", motor.name, said)


def _proof(shop: Shop, motor: Motor, gates: tuple[Gate, ...]) -> Iterator[Finding]:
    name = motor.name
    match motor.proof:
        case Proof.SWITCHES:
            said = "Its gates prove themselves open by position switches. Not seen: a drop that is clogged."
            yield nice("proof_switches", name, said)
        case Proof.RELIEF:
            said = "Its relief port, never shut, keeps air moving. Not seen: a gate that did not open at its machine."
            yield nice("proof_relief", name, said)
        case Proof.AIR:
            said = "A switch proves that air moves, and the last path opens again if not. Not seen: which gate it was."
            yield nice("proof_air", name, said)
        case Proof.TIME:
            yield bite(
                "proof_time",
                name,
                "A gate counts as open once its travel time is over. Not seen: a gate that jams, slips or lost its "
                "wire. Position switches, a pressure switch or a relief port close that hole.",
            )
        case Proof.PERSON:
            yield bite(
                "proof_person",
                name,
                "Its gates are yours: nothing sees them, and nothing keeps the fan from pulling on shut ducts. "
                "Open a gate before the machine starts.",
            )
    blind = [gate for gate in gates if not gate.is_actuated and not gate.has_open_switch]
    if motor.proof is Proof.PERSON or not blind:
        return
    names = listed([gate.name for gate in blind], "and", 4)
    if motor.relief_m2 >= motor.path_minimum_m2 > 0:
        yield nice("blind_hand_gates", name, f"Nothing sees these hand gates: {names}. The page cannot show them.")
        return
    smallest_m2 = min(gate.area_m2 for gate in blind)
    share = motor.path_minimum_m2 / (motor.path_minimum_m2 + smallest_m2)
    yield bite(
        "blind_hand_gates",
        name,
        f"Nothing sees these hand gates, so they count as no path: {names}. While only such a machine runs, another "
        f"gate stays open beside it and takes about {share * 100:.0f} % of the air (by area). "
        "A switch on each ends that.",
    )


def _small_tools(shop: Shop, motor: Motor) -> Iterator[Finding]:
    if motor.relief_m2 >= motor.path_minimum_m2 or motor.proof is Proof.PERSON:
        return
    small = []
    for tool in shop.tools_of(motor.name):
        own_m2 = sum(shop.gates[gate].area_m2 for gate in tool.gates if shop.gates[gate].motor == motor.name)
        if own_m2 < motor.path_minimum_m2 * (1 - 1e-9):
            small.append(tool.name)
    if small:
        least = length(shop, math.sqrt(4 * motor.path_minimum_m2 / math.pi))
        yield bite(
            "small_ports",
            motor.name,
            f"Alone too small for this fan (it wants a {least} port): {listed(small, 'and', 4)}. "
            "Another gate stays open beside each.",
        )


def _outputs(shop: Shop) -> Iterator[tuple[str, str, Output]]:
    for motor in shop.motors.values():
        if motor.switch.output is not None:
            yield motor.name, "the motor may start", motor.switch.output
    for gate in shop.gates.values():
        if gate.relays is not None:
            yield gate.name, "the gate may move", gate.relays.open_output
            yield gate.name, "the gate may move", gate.relays.shut_output
        if gate.coil is not None:
            yield gate.name, "the gate may move", gate.coil.output
    for sign in shop.signs.values():
        yield sign.name, "the lamp may light", sign.output
    yield from driver_outputs(shop)


def _pins(shop: Shop) -> Iterator[Finding]:
    for name in without_pin(shop):
        said = "A pin of it is still to be chosen, so nothing can run it yet: gatekeeper pins SHOP.yaml --assign."
        yield bite("pin_to_be_chosen", name, said)
    for name, what, output in _outputs(shop):
        if output.line == UNCHOSEN:
            continue
        line, pin = output.line, f"GPIO{output.line}"
        heap = nice if "lamp" in what else bite
        if line <= 8 and not output.active_low:
            said = f"{pin} is pulled up while the board starts: {what} at every power-up. Use {QUIET_LINES}."
            yield heap("pin_not_quiet", name, said)
        elif line > 8 and output.active_low:
            said = (
                f"{pin} is pulled down while the board starts, and this relay is on when low: {what} at each power-up. "
                "Use GPIO5 or 6 with a pull-up resistor, or an active-high relay."
            )
            yield heap("pin_not_quiet", name, said)
        elif line == 14 and not output.active_low:
            said = f"GPIO14 is driven high by the serial console while the board starts: {what}. Use {QUIET_LINES}."
            yield heap("pin_not_quiet", name, said)
    for gate in shop.gates.values():
        if gate.servo is not None and (0 <= gate.servo.line <= 8 or gate.servo.line == 14):
            said = (
                f"GPIO{gate.servo.line} is high while the board starts, until the program takes it: no pulses, but a "
                f"servo may twitch at that edge. {QUIET_LINES} are low."
            )
            yield nice("servo_pin_not_quiet", gate.name, said)
    said = (
        "If only the program is killed, Raspberry Pi OS leaves its pins as they were, and a motor may run on: "
        "gatekeeper outputs-off puts all of them off."
    )
    yield nice("program_killed", "shop", said)
    said = "A pin floats before the program starts and after it ends: give each relay a 10 k resistor to its off level."
    yield nice("pin_resistors", "shop", said)


def _tools_and_gates(shop: Shop) -> Iterator[Finding]:
    used = {gate for tool in shop.tools.values() for gate in tool.gates}
    idle = [gate for gate in shop.gates if gate not in used]
    if idle:
        said = f"These gates belong to no tool, so no start opens them: {listed(idle, 'and', 4)}."
        yield nice("idle_gates", "shop", said)


def _inputs_and_page(shop: Shop) -> Iterator[Finding]:
    kinds = {part.kind for part in shop.inputs.values()}
    if InputKind.RED_BUTTON not in kinds:
        yield nice(
            "no_red_button",
            "shop",
            "The controller is not told of the emergency stop. It must work by wire alone; a second contact of it may "
            "tell the controller (inputs, kind: red button).",
        )
    else:
        said = "The red button here only tells the controller. The emergency stop must work by wire alone, without it."
        yield nice("red_button_tells", "shop", said)
    if InputKind.FIRE in kinds:
        said = "The fire input only reads the detector, which must break the contactor's coil by wire itself."
        yield nice("fire_reads", "shop", said)
    if InputKind.FIRE in kinds and InputKind.RESET not in kinds:
        said = "A fire alarm can only be reset in the shop, and no reset key is wired (inputs, kind: reset)."
        yield bite("no_reset", "shop", said)
    yield from page_findings(shop)
    yield from message_findings(shop)
    if any(motor.kind is MotorKind.AIR_CLEANER for motor in shop.motors.values()) and shop.hours.quiet is None:
        yield nice("no_quiet_hours", "shop", "The air cleaner may run on for hours into the night (hours: quiet).")


def _cautions() -> Finding:
    return nice(
        "cautions",
        "shop",
        "Mains and motor wiring: a licensed electrician, local code. Lock the disconnect before opening a collector. "
        "Wear a fitted respirator. Bond ducts; keep sparks out. This is no safety-rated controller.",
    )
