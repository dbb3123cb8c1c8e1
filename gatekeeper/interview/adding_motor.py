"""The interview for one more collector, vacuum or air cleaner in a shop that is there, with its first machine."""

import math
from dataclasses import replace

from gatekeeper.interview.adding import (
    PartsDraft,
    ask_machine,
    ask_one_of,
    free_channel,
    machine_edits,
    names_in,
)
from gatekeeper.interview.engine import Interview, Question, Walk
from gatekeeper.interview.machine import ask_name
from gatekeeper.interview.motors import DraftMotor, MotorScene, Wired, ask_motor, relief_question
from gatekeeper.interview.outfit import Outfit
from gatekeeper.interview.places import Place
from gatekeeper.interview.reading import Size, at_motor, choice_question, free_motor_name, motor_name
from gatekeeper.interview.text_edits import PartEdit
from gatekeeper.interview.writing_motors import drive_lines, input_lines, motor_lines
from gatekeeper.shop.kinds import InputKind, MotorKind
from gatekeeper.shop.model import Shop, Units

ASKED_FOR = (MotorKind.COLLECTOR, MotorKind.TOOL_VACUUM, MotorKind.AIR_CLEANER)
OF_THE_SHOP = {InputKind.RED_BUTTON: Wired.RED_BUTTON, InputKind.FIRE: Wired.FIRE, InputKind.RESET: Wired.FIRE}


def add_motor(shop: Shop, text: str) -> Interview[PartsDraft]:
    """The interview for one more motor in a shop with this file's text; on ducts of its own it gets one machine."""
    there = Outfit(shop, text, names_in(text))
    channel = free_channel(shop, text)
    bare = [gate.name for gate in shop.gates.values() if gate.duct is None]

    def walk(draft: PartsDraft) -> Walk[None]:
        kinds = ASKED_FOR if not bare else (MotorKind.AIR_CLEANER,)
        why = (
            f" Another collector can follow once {bare[0]} and every other gate has a duct in the file." if bare else ""
        )
        word: str = yield choice_question(
            "another motor",
            f"What is it?{why}",
            "A collector or a tool vacuum with ducts or a hose of its own, or an air cleaner that filters the room's "
            "air after the work.",
            tuple(kind.value for kind in kinds),
            None if len(kinds) > 1 else kinds[0].value,
        )
        kind = MotorKind(word)
        name = free_motor_name({MotorKind.TOOL_VACUUM: "vacuum"}.get(kind, kind.value), there.names)
        if kind is MotorKind.COLLECTOR:
            name = yield Question(
                "motor name",
                "What is this collector called?",
                "The page and the plan show this name, such as north collector.",
                motor_name(there.names),
                name,
            )
        is_attended = any(motor.switch.attended for motor in shop.motors.values())
        of_shop = tuple(OF_THE_SHOP[one.kind] for one in shop.inputs.values() if one.kind in OF_THE_SHOP)
        scene = MotorScene(there.room, channel, shop.units is Units.INCH, is_attended, is_attended, of_shop)
        motor = yield from ask_motor(name, kind, scene)
        motor = replace(motor, feeder=(yield from ask_one_of("feeder", "Which feeder does it hang on?", shop.feeders)))
        edits = []
        if motor.has_ducts:
            new = replace(there, names={*there.names, name, *at_motor(name)}, spoken_for=motor.pins)
            machine = yield from ask_name(new.names)
            has_clamp = motor.seen is not None and motor.seen.converter is not None
            first = free_channel(shop, text, {channel}) if has_clamp and channel is not None else channel
            width = motor.inlet if kind is MotorKind.TOOL_VACUUM else None
            told, duct = yield from ask_machine(machine, Place(f"on {name}", motor=name, width=width), new, first)
            motor = yield from _ask_relief(motor, told.diameter, shop)
            draft.machine = machine
            edits = machine_edits(told, duct, new, is_new=True)
            draft.studied = [*_motor_edits(motor), *machine_edits(told, duct, new, is_new=True, as_wired=True)]
        else:
            draft.studied = _motor_edits(motor)
        draft.edits = [*_motor_edits(motor), *edits]

    return Interview(PartsDraft, walk)


def _motor_edits(motor: DraftMotor) -> list[PartEdit]:
    lines = {"motors": motor_lines(motor), "drives": drive_lines(motor), "inputs": input_lines(motor)}
    return [PartEdit(section, None, tuple(part)) for section, part in lines.items() if part]


def _ask_relief(motor: DraftMotor, gate: Size, shop: Shop) -> Walk[DraftMotor]:
    """A port that stays open, where the one gate is too small for the inlet."""
    inlet_m = motor.inlet.si if motor.inlet is not None else gate.si
    missing_m2 = math.pi / 4 * (inlet_m**2 / 4 - gate.si**2)
    if missing_m2 <= 0:
        return motor
    relief: Size = yield relief_question(missing_m2, motor.name, is_inch=shop.units is Units.INCH)
    return replace(motor, relief=relief)
