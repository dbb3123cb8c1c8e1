"""The questions about a motor: its plate, what switches it, what confirms that it runs, what else is wired there."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from enum import Enum

from gatekeeper.interview.drives import DraftDrive, ask_drive
from gatekeeper.interview.engine import NotUnderstood, Question, Walk
from gatekeeper.interview.reading import (
    DIAMETERS,
    NO_MORE,
    Size,
    choice_question,
    size,
    size_question,
)
from gatekeeper.interview.room import Pins, Room
from gatekeeper.interview.sensors import CLAMPS, NOTHING_YET, SWITCH, Seen
from gatekeeper.shop.kinds import MotorKind
from gatekeeper.shop.motor_starts import starts_allowed

POLES = 2
THREE_PHASE_FROM_W = 3700.0
"""From here on a motor is likely to be three-phase (5 hp; common practice); only what Enter takes."""

DRIVE_ITSELF = "the drive itself"


class Switching(Enum):
    """What switches a motor, as it is asked for."""

    RELAY = "relay"
    SOCKET = "socket relay"
    PULSED = "relay on steady pulses"
    BUTTONS = "push-button starter"
    DRIVE = "variable-frequency drive"
    HAND = "by hand"

    @property
    def pins(self) -> Pins:
        """By hand: the pins of a relay and of a Hand-Off-Auto switch, which are to be wired later."""
        return {Switching.BUTTONS: Pins(2), Switching.DRIVE: Pins(), Switching.HAND: Pins(1, 2)}.get(self, Pins(1))


SWITCHINGS = {one.value: one for one in Switching}


class Wired(Enum):
    """What else may be wired to the board at a motor."""

    HAND_OFF_AUTO = "hand-off-auto switch"
    RED_BUTTON = "red button"
    FIRE = "fire detector"
    BIN = "bin contact"

    @property
    def pins(self) -> Pins:
        """A fire detector comes with a reset key."""
        return Pins(contacts=2 if self in (Wired.HAND_OFF_AUTO, Wired.FIRE) else 1)

    @property
    def is_of_the_shop(self) -> bool:
        return self in (Wired.RED_BUTTON, Wired.FIRE)


WIREDS = {one.value: one for one in Wired}

_HOW_SWITCHED = {
    Switching.RELAY: "Relay: it feeds the coil of the motor's contactor, never the motor itself, and lets go when the "
    "board has no power.",
    Switching.SOCKET: "Socket relay: made for the current that such a motor takes at its start; it lets go when the "
    "board has no power.",
    Switching.PULSED: "Relay on steady pulses: the better way, because it also lets go when the program hangs or its "
    "line is stuck at on; it has a diode pump or a retriggerable timer. A plain relay would chatter on pulses.",
    Switching.BUTTONS: "Push-button starter: two relays press its buttons; it holds itself when the board dies, so "
    "somebody must always be there.",
    Switching.DRIVE: "Variable-frequency drive: over Modbus, with the registers from its manual.",
    Switching.HAND: "By hand: nothing is wired there yet; the gates serve already.",
}
_WHAT_WIRED = {
    Wired.HAND_OFF_AUTO: "Hand-Off-Auto switch: two contacts tell what it stands at.",
    Wired.RED_BUTTON: "Red button: a second contact of the emergency stop, which works by wire alone.",
    Wired.FIRE: "Fire detector: its contact, and a key to reset it with; it breaks the coil by wire itself.",
    Wired.BIN: "Bin contact: it is made when the bin is full.",
}


@dataclass(frozen=True, slots=True)
class DraftMotor:
    """One motor.

    ``seen``: what confirms that it runs; a drive does it itself. ``relief``: the port on its main that stays open.
    ``feeder``: where there are several to choose from.
    """

    name: str
    kind: MotorKind
    power: Size
    phases: str = "single"
    inlet: Size | None = None
    switching: Switching = Switching.RELAY
    drive: DraftDrive | None = None
    by_drive: bool = False
    seen: Seen | None = None
    wired: tuple[Wired, ...] = ()
    relief: Size | None = None
    feeder: str = ""

    @property
    def has_ducts(self) -> bool:
        return self.kind is not MotorKind.AIR_CLEANER

    @property
    def needs_attendance(self) -> bool:
        """Whether it runs on when the board dies."""
        return self.switching is Switching.BUTTONS

    @property
    def pins(self) -> Pins:
        """The pins that it takes."""
        taken = self.switching.pins
        if self.seen is not None and self.seen.converter is None:
            taken += Pins(contacts=1)
        for one in self.wired:
            taken += one.pins
        return taken


@dataclass(frozen=True, slots=True)
class MotorScene:
    """What is known before a motor is asked for.

    Args:
        room: the pins that are left.
        channel: the next free one for a clamp, or None.
        is_inch: the shop's units.
        is_attended: somebody was said to be always there.
        may_be_attended: that may still be asked; else a starter that holds itself is not offered.
        of_shop: what is wired already that a shop has once.
    """

    room: Room
    channel: tuple[str, int] | None
    is_inch: bool
    is_attended: bool = False
    may_be_attended: bool = True
    of_shop: tuple[Wired, ...] = ()


def ask_motor(name: str, kind: MotorKind, scene: MotorScene) -> Walk[DraftMotor]:
    """Everything about one motor but its ducts."""
    is_collector = kind is MotorKind.COLLECTOR
    power = yield from _ask_power(name, kind, is_inch=scene.is_inch)
    motor = DraftMotor(name, kind, power)
    if is_collector:
        phases: str = yield choice_question(
            "phases",
            "How is that motor fed: single phase or three?",
            "On the plate: 1 or 3 behind PH, or 1~ or 3~.",
            ("single", "three"),
            "three" if power.si >= THREE_PHASE_FROM_W else "single",
        )
        motor = replace(motor, phases=phases)
    if motor.has_ducts:
        usual = ("6 in", "150 mm") if is_collector else ("2.5 in", "63 mm")
        inlet: Size | None = yield size_question(
            "inlet",
            f"How wide is the inlet of the {name}?",
            "The diameter of the one opening that all air goes through.",
            DIAMETERS,
            usual[0] if scene.is_inch else usual[1],
            "The inlet is taken as wide as the widest duct on it.",
        )
        motor = replace(motor, inlet=inlet)
    motor = yield from _ask_switching(motor, scene)
    motor = yield from _ask_confirmed(motor, scene)
    return (yield from _ask_wired(motor, scene)) if motor.has_ducts else motor


def _ask_power(name: str, kind: MotorKind, *, is_inch: bool) -> Walk[Size]:
    plain = size("power", "50 W", "50 kW")
    example = "2 hp" if is_inch and kind is MotorKind.COLLECTOR else "1.5 kW"

    def read(answer: str) -> Size:
        power: Size = plain(answer)
        if starts_allowed(power.si, POLES, None) is None:
            raise NotUnderstood(
                "The published table of motor starts ends at 25 hp (18.6 kW). A larger motor is written into the file "
                "by hand, with starts_per_hour and rest from its maker."
            )
        return power

    power: Size = yield Question(
        "power",
        f"What power is on the plate of the {name}'s motor?",
        f"How often the motor may start follows from it. Write it as on the plate, such as {example}.",
        read,
        kind="power",
    )
    return power


def _ask_switching(motor: DraftMotor, scene: MotorScene) -> Walk[DraftMotor]:
    is_collector = motor.kind is MotorKind.COLLECTOR
    not_at_a_socket = (Switching.RELAY, Switching.BUTTONS, Switching.DRIVE, Switching.HAND)
    left_out: tuple[Switching, ...] = (Switching.SOCKET,) if is_collector else not_at_a_socket
    if not (scene.is_attended or scene.may_be_attended):
        left_out += (Switching.BUTTONS,)
    offered = [one for one in Switching if one not in left_out]
    word: str = yield choice_question(
        "switched by",
        f"What switches the {motor.name}?",
        " ".join(_HOW_SWITCHED[one] for one in offered),
        tuple(one.value for one in offered),
        offered[0].value,
    )
    motor = replace(motor, switching=SWITCHINGS[word])
    if motor.switching is Switching.BUTTONS and not scene.is_attended:
        yield _attended_question(motor.name)
    if motor.switching is Switching.DRIVE:
        drive = yield from ask_drive()
        motor = replace(motor, drive=drive, switching=Switching.DRIVE if drive is not None else Switching.HAND)
    return motor


def _attended_question(name: str) -> Question:
    def read(answer: str) -> str:
        if "yes".startswith(answer.lower()) or answer == "1":
            return "yes"
        raise NotUnderstood(
            f"Then take another switch for the {name} (back): its starter holds itself when the board dies, and the "
            "motor would run on alone."
        )

    return Question(
        "attended",
        "Is somebody always there while motors may run, who can stop them?",
        "A push-button starter holds itself: without the board the motor runs on until somebody presses stop.",
        read,
        None,
        ("yes", "no"),
    )


def _ask_confirmed(motor: DraftMotor, scene: MotorScene) -> Walk[DraftMotor]:
    if motor.switching is Switching.HAND or not motor.has_ducts:
        return motor
    room = scene.room.less(motor.pins)
    offered = [DRIVE_ITSELF] if motor.switching is Switching.DRIVE else []
    # A press of a button may do nothing, so something has to tell.
    offered += [] if motor.switching is Switching.BUTTONS else [NOTHING_YET]
    offered += [SWITCH] if room.has(Pins(contacts=1)) else []
    offered += list(CLAMPS) if scene.channel is not None else []
    must = motor.switching is Switching.BUTTONS
    word: str | None = yield choice_question(
        "confirmed",
        f"What confirms that the {motor.name} runs?",
        "A current switch or a clamp on its own wire tells that the motor really runs and really stops; so does the "
        "contact of its contactor, wired as a current switch is, for the contactor alone. It can be fitted later."
        + (" The drive says by itself whether it runs." if motor.switching is Switching.DRIVE else ""),
        tuple(offered),
        offered[0],
        None if must else "It is taken as nothing yet.",
    )
    if word == DRIVE_ITSELF:
        return replace(motor, by_drive=True)
    if word == SWITCH:
        return replace(motor, seen=Seen())
    if word in CLAMPS and scene.channel is not None:
        return replace(motor, seen=Seen(*scene.channel, CLAMPS[word]))
    return motor


def _ask_wired(motor: DraftMotor, scene: MotorScene) -> Walk[DraftMotor]:
    """What else is wired there, one thing after the other, until there is nothing more."""
    while True:
        offered = list(_wireable(motor, scene))
        if not offered:
            return motor
        word: str = yield choice_question(
            "wired",
            f"What else is wired to the board at the {motor.name}?",
            " ".join(_WHAT_WIRED[one] for one in offered),
            (*(one.value for one in offered), NO_MORE),
            NO_MORE,
        )
        if word == NO_MORE:
            return motor
        motor = replace(motor, wired=(*motor.wired, WIREDS[word]))


def _wireable(motor: DraftMotor, scene: MotorScene) -> Iterator[Wired]:
    room = scene.room.less(motor.pins)
    for one in Wired:
        if one in motor.wired or one in scene.of_shop or not room.has(one.pins):
            continue
        if one is Wired.HAND_OFF_AUTO and motor.switching is Switching.HAND:
            continue
        yield one


def relief_question(missing_m2: float, name: str, *, is_inch: bool) -> Question:
    """For a port that is never shut, where all gates together are too small; ``missing_m2``: by how much."""
    least_m = math.sqrt(missing_m2 * 4 / math.pi)
    step_m = 0.0254 if is_inch else 0.01
    number = math.ceil(max(least_m, 0.02) / step_m - 1e-6)
    usual = f"{number} in" if is_inch else f"{number * 10} mm"
    plain: Callable[[str], Size] = size(*DIAMETERS)

    def read(answer: str) -> Size:
        port = plain(answer)
        if port.si < least_m * (1 - 1e-9):
            raise NotUnderstood(f"That is too small; with these gates at least {usual} have to stay open.")
        return port

    return Question(
        "relief port",
        f"The gates together are less than a quarter of the inlet, so the {name} could never run. How wide is the "
        "port on its main that is never shut?",
        f"A hole that always lets air in, here at least {usual}. It costs some air at the machines. Mend the inlet "
        "or the gates (back) if one of those was wrong.",
        read,
        usual,
        kind="length",
    )
