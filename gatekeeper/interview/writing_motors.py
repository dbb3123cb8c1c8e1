"""The text of a motor in a shop file: its plate, what switches and confirms it, what else is wired there."""

from collections.abc import Iterator

from gatekeeper.interview.motors import DraftMotor, Switching, Wired
from gatekeeper.interview.reading import at_motor
from gatekeeper.interview.sensors import Seen
from gatekeeper.interview.text_edits import ASSUMED, quoted
from gatekeeper.shop.kinds import MotorKind
from gatekeeper.shop.lines import TO_BE_CHOSEN

RED_BUTTON, FIRE, RESET = "red button", "fire detector", "reset key"
PULSE_HOLDS = "500 ms"


def motor_lines(motor: DraftMotor) -> list[str]:
    """One motor."""
    lines = [f"{quoted(motor.name)}:"]
    if motor.kind is not MotorKind.COLLECTOR:
        lines.append(f"  kind: {motor.kind.value}")
    lines.append(f"  power: {motor.power.text}  # from the plate")
    if motor.kind is MotorKind.COLLECTOR:
        lines.append(f"  phases: {motor.phases}")
    if motor.inlet is not None:
        lines.append(f"  inlet: {motor.inlet.text}")
    elif motor.has_ducts:
        lines.append(f"  {ASSUMED}an inlet as wide as the widest duct on it")
    if motor.relief is not None:
        lines.append(f"  relief_port: {motor.relief.text}")
    if motor.feeder:
        lines.append(f"  feeder: {quoted(motor.feeder)}")
    lines += (f"  {line}" for line in _switched(motor))
    if motor.by_drive:
        lines.append(f"  confirmed_by: {{drive: {quoted(at_motor(motor.name)[2])}}}")
    elif motor.seen is not None:
        lines.append(f"  confirmed_by: {{{sensor_words(motor.seen)}}}")
    return lines


def _switched(motor: DraftMotor) -> Iterator[str]:
    """What switches it, under a comment that says what is wired there."""
    pin = f"pin: {TO_BE_CHOSEN}"
    match motor.switching:
        case Switching.RELAY:
            yield "# The relay feeds the coil of the motor's contactor and drops when the board dies."
            yield f"switched_by: {{{pin}, when_board_dies: drops}}"
        case Switching.SOCKET:
            yield "# The relay feeds its socket and drops when the board dies."
            yield f"switched_by: {{{pin}, when_board_dies: drops}}"
        case Switching.PULSED:
            yield "# The relay holds only while its pin keeps changing, so that a hung program lets it drop too."
            yield f"{ASSUMED}the relay of the {motor.name} drops {PULSE_HOLDS} after its last pulse"
            yield f"switched_by: {{{pin}, steady_pulse: yes, when_board_dies: drops after {PULSE_HOLDS}}}"
        case Switching.BUTTONS:
            yield "# Two relays press the buttons of a starter that holds itself, also when the board dies."
            yield f"switched_by: {{start: {TO_BE_CHOSEN}, stop: {TO_BE_CHOSEN}, when_board_dies: stays}}"
        case Switching.DRIVE:
            assert motor.drive is not None
            after = motor.drive.silence.text
            yield f"# Set loss of communication in the drive to {after}: nothing else stops it when the board dies."
            drive = quoted(at_motor(motor.name)[2])
            yield f"switched_by: {{drive: {drive}, when_board_dies: drops after {after}}}"
        case Switching.HAND:
            yield "# Started by hand: this pin is for the relay of its contactor, and nothing is wired to it yet."
            yield f"switched_by: {{{pin}, when_board_dies: drops}}"


def drive_lines(motor: DraftMotor) -> list[str]:
    """The drive that it hangs on, if any."""
    if motor.drive is None or motor.switching is not Switching.DRIVE:
        return []
    drive = motor.drive
    where = f"serial: {drive.line}" if drive.line.startswith("/") else f"host: {quoted(drive.line)}"
    parts = [where, *(f"{key}: {word}" for key, word in drive.words)]
    written = f"{quoted(at_motor(motor.name)[2])}: {{{', '.join(parts)}}}"
    return [f"{ASSUMED}the line that it hangs on", written] if drive.line_assumed else [written]


def input_lines(motor: DraftMotor) -> list[str]:
    """What else is wired at a motor."""
    name = quoted(motor.name)
    switch, bin_contact = quoted(at_motor(motor.name)[0]), quoted(at_motor(motor.name)[1])
    lines = []
    if motor.switching is Switching.HAND:
        two = f"hand_pin: {TO_BE_CHOSEN} normally closed, auto_pin: {TO_BE_CHOSEN}, motors: {name}"
        lines += [
            f"# With nothing on these pins it stands at Hand: the {motor.name} is yours to start and stop. Wire the",
            "# relay and a Hand-Off-Auto switch, its Hand contact normally closed, and Auto is the program's.",
            f"{switch}: {{kind: hand-off-auto, {two}}}",
        ]
    for one in motor.wired:
        match one:
            case Wired.HAND_OFF_AUTO:
                two = f"hand_pin: {TO_BE_CHOSEN}, auto_pin: {TO_BE_CHOSEN}, motors: {name}"
                lines.append(f"{switch}: {{kind: hand-off-auto, {two}}}")
            case Wired.RED_BUTTON:
                lines.append(f"{RED_BUTTON}: {{kind: red button, pin: {TO_BE_CHOSEN}}}")
            case Wired.FIRE:
                lines.append(f"{FIRE}: {{kind: fire, pin: {TO_BE_CHOSEN}}}")
                lines.append(f"{RESET}: {{kind: reset, pin: {TO_BE_CHOSEN}}}")
            case Wired.BIN:
                lines.append(f"{bin_contact}: {{kind: bin full, pin: {TO_BE_CHOSEN}, motors: {name}}}")
    return lines


def sensor_words(seen: Seen) -> str:
    """What sees a machine or a motor, as keys of its sensor."""
    if seen.converter is None:
        return f"current_switch: {TO_BE_CHOSEN}"
    return f"converter: {quoted(seen.converter)}, channel: {seen.channel}, range: {seen.range_a}"
