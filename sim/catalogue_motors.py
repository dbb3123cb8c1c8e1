"""The catalogue's rows about motors, their contactors, switches and feeders."""

import math
import random

from gatekeeper.shop.model import InputKind, Motor, Shop
from sim.catalogue_row import Fault, Happens, Holds, Layer, Part, breaking, motors_with, spell
from sim.happening import Happening, What
from sim.plant_faults import PlantFault
from sim.trial import SLACK_S, Trial, first_of

#: A second attempt comes at once; the inrush gap of a feeder may lie between (C22: at most 5 s).
GAP_S = 5.0
#: A motor's own sensor says "still" up to this much later than the current ends.
SENSOR_LAG_S = 1.5

_BOTH = (Layer.SIGNALS, Layer.SAMPLES)


def _seen(motor: Motor) -> bool:
    return motor.has_ducts and motor.confirmed_by is not None


def _unseen(motor: Motor) -> bool:
    return motor.has_ducts and motor.confirmed_by is None


def _hand_switches(shop: Shop) -> tuple[str, ...]:
    return tuple(name for name, part in shop.inputs.items() if part.kind is InputKind.HAND_OFF_AUTO)


def _last_gate_stays(trial: Trial, motor: str, since_s: float) -> str | None:
    """While a fan truly turns, its duct keeps an open gate: no shut order leaves none."""
    facts = trial.shop.systems[motor]
    opened: set[str] = set()
    for entry in trial.entries:
        if entry["kind"] == "gate_belief" and entry["subject"] in facts.gates:
            word = entry["value"]["what"]
            (opened.add if word == "open" else opened.discard)(entry["subject"])
        shuts = entry["kind"] == "gate_command" and entry["value"] == "shut" and entry["t_s"] >= since_s
        if shuts and entry["subject"] in facts.gates and not opened - {entry["subject"]} and not facts.relief_m2:
            return f"{entry['subject']} was told to shut at {entry['t_s']:.3f} s and was the last one"
    return None


def _welded(trial: Trial) -> str | None:
    motor = trial.subject or ""
    off_s = trial.first("motor_command", motor, "off")
    facts = trial.shop.systems[motor]
    return first_of(
        trial.says("runs_when_off", motor, facts.release_s + SENSOR_LAG_S, off_s),
        None if trial.heap("runs_when_off") == "now" else "runs_when_off is not in the highest heap",
        _last_gate_stays(trial, motor, trial.from_s),
    )


def _welded_unseen(trial: Trial) -> str | None:
    motor = trial.subject or ""
    off_s = trial.first("motor_command", motor, "off")
    if off_s is None:
        return f"{motor} was never told off"
    turns = trial.truly("truth_motor", motor, math.inf)
    if not turns or not float(turns) > 0.9:
        return f"{motor} does not turn: the fault was not in"
    return first_of(_last_gate_stays(trial, motor, trial.from_s), trial.silent("runs_when_off"))


def _latched(code: str) -> Holds:
    """Not seen to run in time: at most one more start, then off, latched and said."""

    def holds(trial: Trial) -> str | None:
        motor = trial.subject or ""
        facts = trial.shop.systems[motor]
        confirm_s = facts.confirm_s or 0.0
        starts = trial.all("motor_command", motor, "on", trial.from_s)
        gone_s = trial.first("motor_seen", motor, "still") if code == "stopped_itself" else None
        began_s = gone_s if gone_s is not None else trial.first("motor_command", motor, "on")
        said_s = trial.raised(code, motor)
        if len(starts) > 2:
            return f"{motor} was switched on {len(starts)} times"
        limit_s = 2 * confirm_s + GAP_S + SENSOR_LAG_S
        late = trial.within(f"{code} about {motor}", began_s, said_s, limit_s)
        if late is not None or said_s is None:
            return late
        cleared_s = trial.first("request", motor, "clear", said_s)
        return first_of(
            trial.never_on(motor, said_s, math.inf if cleared_s is None else cleared_s),
            None if trial.heap(code) == "now" else f"{code} is not in the highest heap",
        )

    return holds


def _silent_and_unseen(trial: Trial) -> str | None:
    """Nothing sees it: the record claims no more than that it was told on."""
    motor = trial.subject or ""
    if trial.first("motor_command", motor, "on") is None:
        return f"{motor} was never told on"
    if trial.first("motor_seen", motor) is not None:
        return f"{motor} is seen although nothing watches it"
    return trial.silent("did_not_start", "stopped_itself", "core_fault")


def _breaker(trial: Trial) -> str | None:
    """Every motor on the feeder that is watched is latched or stands still; none is started over and over."""
    feeder = trial.subject or ""
    for motor, facts in trial.shop.systems.items():
        if facts.feeder != feeder:
            continue
        end_s = min(trial.until_s, math.inf)
        starts = [entry for entry in trial.all("motor_command", motor, "on", trial.from_s) if entry["t_s"] < end_s]
        if len(starts) > 2:
            return f"{motor} was switched on {len(starts)} times with its breaker out"
    stopped = [e for e in trial.all("truth_motor", None, 0.0, trial.from_s) if e["t_s"] < trial.until_s]
    return None if stopped else f"nothing on {feeder} came to rest: the fault was not in"


def _by_hand(trial: Trial) -> str | None:
    """Seen to run without having been told: the highest alarm, and the last open gate stays."""
    motor = trial.subject or ""
    seen_s = trial.first("motor_seen", motor, "running")
    return first_of(
        trial.says("runs_when_off", motor, trial.shop.systems[motor].release_s, seen_s),
        None if trial.heap("runs_when_off") == "now" else "runs_when_off is not in the highest heap",
        _last_gate_stays(trial, motor, trial.from_s),
    )


def _taken_over(trial: Trial) -> str | None:
    """At Hand the fan is the person's: no command reaches it, no alarm about it, gates still serve and one stays."""
    motors = [entry["subject"] for entry in trial.all("hand", None, "hand", trial.from_s)]
    if not motors:
        return "the switch was never seen at Hand"
    for motor in motors:
        back_s = trial.first("hand", motor, "auto")
        end_s = math.inf if back_s is None else back_s
        for entry in trial.all("motor_command", motor, None, trial.from_s):
            if trial.from_s + 1.0 < entry["t_s"] < end_s:
                return f"{motor} was told {entry['value']} at {entry['t_s']:.3f} s, at Hand"
        if trial.raised("runs_when_off", motor) is not None:
            return f"runs_when_off about {motor}, at Hand"
        if complaint := _last_gate_stays(trial, motor, trial.from_s):
            return complaint
    return None


def _turned_off(trial: Trial) -> str | None:
    """Off at its switch is off in that step, and nothing starts it until a fresh cause after Auto."""
    for entry in trial.all("hand", None, "off", trial.from_s):
        motor, off_s = entry["subject"], entry["t_s"]
        back_s = trial.first("hand", motor, "auto", off_s)
        complaint = first_of(
            trial.off_by(motor, SLACK_S, off_s) if trial.is_on(motor, off_s - 1.0) else None,
            trial.never_on(motor, off_s, math.inf if back_s is None else back_s),
        )
        if complaint:
            return complaint
    return None if trial.all("hand", None, "off", trial.from_s) else "the switch was never seen at Off"


def _selector(word: str) -> Happens:
    def happens(shop: Shop, subject: str, at_s: float, until_s: float, draw: random.Random) -> list[Happening]:
        return spell(What.HAND_SWITCH, What.HAND_SWITCH, subject, word, at_s, until_s, after="auto")

    return happens


ROWS = (
    Fault(
        name=PlantFault.CONTACTOR_WELDED.value,
        part=Part.MOTOR,
        breaks="the contacts of a watched motor's contactor have welded",
        put_in="once closed it never opens",
        taken_away="somebody opens the disconnect and changes it",
        outcome="Told off and still seen to run after its release time, it raises the highest alarm within 1.5 s "
        "more, and the last open gate of its duct is not shut.",
        rules=("C3", "C9"),
        layers=_BOTH,
        subjects=motors_with(_seen),
        happens=breaking(PlantFault.CONTACTOR_WELDED),
        holds=_welded,
    ),
    Fault(
        name="welded contactor that nothing watches",
        part=Part.MOTOR,
        breaks="the contacts of a contactor have welded, and nothing sees whether its motor runs",
        put_in="once closed it never opens",
        taken_away="somebody opens the disconnect and changes it",
        outcome="Nothing can see it: no alarm comes of it, the last open gate of its duct stays open as at every "
        "rest, and `check` says what stays unseen.",
        rules=("C7", "C9"),
        layers=_BOTH,
        subjects=motors_with(_unseen),
        happens=breaking(PlantFault.CONTACTOR_WELDED),
        holds=_welded_unseen,
    ),
    Fault(
        name=PlantFault.CONTACTOR_SILENT.value,
        part=Part.MOTOR,
        breaks="the contactor of a watched motor does not close",
        put_in="told on, nothing closes",
        taken_away="somebody mends it and presses Clear",
        outcome="It is tried once more at most; then, within twice its time to be seen and the inrush gap, it is "
        "latched off with the highest alarm and is not switched on again until somebody presses Clear.",
        rules=("C9", "C21"),
        layers=_BOTH,
        subjects=motors_with(_seen),
        happens=breaking(PlantFault.CONTACTOR_SILENT),
        holds=_latched("did_not_start"),
    ),
    Fault(
        name="silent contactor that nothing watches",
        part=Part.MOTOR,
        breaks="a contactor does not close, and nothing sees whether its motor runs",
        put_in="told on, nothing closes",
        taken_away="somebody mends it",
        outcome="Nothing can see it: the record says that it was told on and never that it was seen to run, and "
        "`check` says what stays unseen.",
        rules=("C9", "C20"),
        layers=_BOTH,
        subjects=motors_with(_unseen),
        happens=breaking(PlantFault.CONTACTOR_SILENT),
        holds=_silent_and_unseen,
    ),
    Fault(
        name=PlantFault.MOTOR_TRIPPED.value,
        part=Part.MOTOR,
        breaks="the overload of a watched motor trips in mid-cut",
        put_in="it has no power until somebody resets it",
        taken_away="somebody resets it and presses Clear",
        outcome="Seen still for its time to be seen, it is latched off with the highest alarm, and no reset of the "
        "overload starts it: only Clear and a fresh start of a tool.",
        rules=("C9", "C21"),
        layers=_BOTH,
        subjects=motors_with(_seen),
        happens=breaking(PlantFault.MOTOR_TRIPPED),
        holds=_latched("stopped_itself"),
    ),
    Fault(
        name=PlantFault.BREAKER_TRIPPED.value,
        part=Part.MOTOR,
        breaks="the breaker of a feeder trips: its motors and machines stand",
        put_in="nothing on the feeder has power",
        taken_away="somebody puts it in again; a machine left on starts with it",
        outcome="No motor on it is switched on more than twice while it is out.",
        rules=("C8", "C9", "C21"),
        layers=_BOTH,
        subjects=lambda shop: tuple(shop.feeders),
        happens=breaking(PlantFault.BREAKER_TRIPPED),
        holds=_breaker,
    ),
    Fault(
        name=PlantFault.MOTOR_BY_HAND.value,
        part=Part.MOTOR,
        breaks="a watched collector is started at its own switch, past the controller",
        put_in="it runs whatever it is told",
        taken_away="somebody stops it there",
        outcome="Seen to run for its release time, it raises the highest alarm; from the step that sees it the last "
        "open gate of its duct is not shut.",
        rules=("C3", "C7", "C9"),
        layers=_BOTH,
        subjects=motors_with(_seen),
        happens=breaking(PlantFault.MOTOR_BY_HAND),
        holds=_by_hand,
    ),
    Fault(
        name="taken over at Hand",
        part=Part.MOTOR,
        breaks="somebody turns the Hand-Off-Auto switch to Hand in mid-cut",
        put_in="the switch stands at Hand",
        taken_away="it is turned back to Auto",
        outcome="From the step that sees it no command reaches the motor and no alarm speaks of it; gates still "
        "serve, and the last open one is not shut.",
        rules=("C3", "C25"),
        layers=_BOTH,
        subjects=_hand_switches,
        happens=_selector("hand"),
        holds=_taken_over,
    ),
    Fault(
        name="switched off at Off",
        part=Part.MOTOR,
        breaks="somebody turns the Hand-Off-Auto switch to Off in mid-cut",
        put_in="the switch stands at Off",
        taken_away="it is turned back to Auto",
        outcome="Off in the step that sees it, and not switched on again while the switch stands there.",
        rules=("C21", "C25"),
        layers=_BOTH,
        subjects=_hand_switches,
        happens=_selector("off"),
        holds=_turned_off,
    ),
)
