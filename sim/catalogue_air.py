"""The catalogue's rows about air, chips, and the doors of ducts, bins and filters."""

import math
import random

from gatekeeper.shop.model import InputKind, Motor, Proof, Shop
from sim.catalogue_row import Fault, Layer, Part, breaking, gates_with, motors_with, spell
from sim.catalogue_sensors import AIR_SPIN_UP_S
from sim.happening import Happening, What
from sim.plant_faults import PlantFault
from sim.trial import SLACK_S, Trial, first_of

_BOTH = (Layer.SIGNALS, Layer.SAMPLES)


def _by_air(motor: Motor) -> bool:
    return motor.proof is Proof.AIR


def _blind(motor: Motor) -> bool:
    return motor.has_ducts and motor.air_proof is None


def _doors(shop: Shop) -> tuple[str, ...]:
    return tuple(name for name, part in shop.inputs.items() if part.kind is InputKind.DOOR)


def _air_gone(trial: Trial) -> str | None:
    """The missing air is said once it should be there, and the fan is off one worst travel and 2 s later."""
    motor = trial.subject or ""
    if motor not in trial.shop.systems:
        motor = trial.motor_of_gate(motor)
    gone_s = trial.first("air", motor, False)
    began_s = trial.first("motor_command", motor, "on", -math.inf)
    said_s = trial.raised("air_not_proved", motor)
    if began_s is None:
        return f"{motor} never ran"
    since_s = max(gone_s if gone_s is not None else began_s, began_s + AIR_SPIN_UP_S)
    worst_s = trial.shop.worst_travel_s()
    return first_of(
        trial.within("air_not_proved", since_s, said_s, worst_s + 2.0),
        trial.silent("core_fault"),
    )


def _nothing_sees(trial: Trial) -> str | None:
    """Nothing sees it: no alarm comes of it, and the record claims nothing about the air."""
    return first_of(
        trial.silent("core_fault", "air_not_proved", "no_path"),
        "the record speaks of air that nothing measures" if trial.all("air") else None,
    )


def _door(trial: Trial) -> str | None:
    """An open door is off in that step, and nothing starts until it is shut and a tool starts anew."""
    opened_s = trial.first("door", trial.subject, "open")
    if opened_s is None:
        return f"{trial.subject} was never seen open"
    made_s = trial.first("door", trial.subject, "made", opened_s)
    motors = trial.shop.inputs[trial.subject or ""] or tuple(trial.shop.systems)
    for motor in motors:
        complaint = first_of(
            trial.off_by(motor, SLACK_S, opened_s) if trial.is_on(motor, opened_s - 1.0) else None,
            trial.never_on(motor, opened_s, math.inf if made_s is None else made_s),
        )
        if complaint:
            return complaint
        fresh = [e["t_s"] for e in trial.all("tool", None, "running", opened_s) if e["t_s"] > (made_s or math.inf)]
        asked = [e["t_s"] for e in trial.all("request", None, "run", opened_s) if e["t_s"] > (made_s or math.inf)]
        if complaint := trial.never_on(motor, opened_s, min([*fresh, *asked], default=math.inf)):
            return f"{complaint}, without a fresh cause"
        gates = [gate for gate in trial.shop.systems[motor].gates if trial.shop.gates[gate].actuated]
        for gate in gates:
            if complaint := trial.unmoved(gate, opened_s, math.inf if made_s is None else made_s):
                return complaint
    return trial.says("door_open", trial.subject, SLACK_S, opened_s)


def _door_opened(shop: Shop, subject: str, at_s: float, until_s: float, draw: random.Random) -> list[Happening]:
    return spell(What.INPUT, What.INPUT, subject, True, at_s, until_s, after=False)


ROWS = (
    Fault(
        name=PlantFault.BLOCKED_FILTER.value,
        part=Part.AIR,
        breaks="the filter is blocked, and an air switch watches the duct",
        put_in="hardly any air, whatever is open",
        taken_away="somebody cleans it",
        outcome="The missing air is said one worst travel and 2 s after it should be there, at the latest.",
        rules=("C3", "C3a"),
        layers=_BOTH,
        subjects=motors_with(_by_air),
        happens=breaking(PlantFault.BLOCKED_FILTER),
        holds=_air_gone,
    ),
    Fault(
        name="blocked filter that nothing watches",
        part=Part.AIR,
        breaks="the filter is blocked, on a system without an air switch",
        put_in="hardly any air, whatever is open",
        taken_away="somebody cleans it",
        outcome="Nothing can see it: no alarm comes of it and the record claims nothing about air; the chips that "
        "escape are in the figures of the simulator.",
        rules=("C20",),
        layers=_BOTH,
        subjects=motors_with(_blind),
        happens=breaking(PlantFault.BLOCKED_FILTER),
        holds=_nothing_sees,
    ),
    Fault(
        name=PlantFault.FULL_BIN.value,
        part=Part.AIR,
        breaks="the bin is full: chips pass it and load the filter",
        put_in="chips pass the bin",
        taken_away="somebody empties it",
        outcome="Nothing can see it until a filter blocks: no alarm comes of it and the record claims nothing about "
        "air; what passes is in the figures of the simulator.",
        rules=("C20",),
        layers=_BOTH,
        subjects=motors_with(_blind),
        happens=breaking(PlantFault.FULL_BIN),
        holds=_nothing_sees,
    ),
    Fault(
        name=PlantFault.BLOCKED_BRANCH.value,
        part=Part.AIR,
        breaks="a branch is blocked, and an air switch watches the duct",
        put_in="no air through it though its gate is open",
        taken_away="somebody clears it",
        outcome="Once it is the only open branch the missing air is said one worst travel and 2 s after it should be "
        "there, at the latest.",
        rules=("C3", "C3a"),
        layers=_BOTH,
        subjects=gates_with(lambda gate, motor: motor.proof is Proof.AIR and gate.is_actuated),
        happens=breaking(PlantFault.BLOCKED_BRANCH),
        holds=_air_gone,
    ),
    Fault(
        name=PlantFault.OPEN_CLEANOUT.value,
        part=Part.AIR,
        breaks="a clean-out without a contact stands open and draws air beside the gates",
        put_in="the duct draws air there",
        taken_away="somebody shuts it",
        outcome="Nothing can see it: no alarm comes of it and the record claims nothing about air; what the hoods "
        "miss is in the figures of the simulator.",
        rules=("C20",),
        layers=_BOTH,
        subjects=motors_with(_blind),
        happens=breaking(PlantFault.OPEN_CLEANOUT),
        holds=_nothing_sees,
    ),
    Fault(
        name="door opened in mid-cut",
        part=Part.AIR,
        breaks="a clean-out, bin or filter door with a contact is opened, or its wire breaks",
        put_in="its contact opens",
        taken_away="it is shut again",
        outcome="In that step its motors are told off and said to stay off; no gate of theirs moves, and none of "
        "them starts until the door is shut and a tool or a person starts anew.",
        rules=("C14", "C21"),
        layers=_BOTH,
        subjects=_doors,
        happens=_door_opened,
        holds=_door,
    ),
)
