"""The catalogue's rows about sensors: of tools, of motors, of the air, and a whole converter."""

import math

from gatekeeper.shop.model import Proof, Shop
from sim.catalogue_row import Fault, Layer, Part, breaking, motors_with
from sim.plant_faults import PlantFault
from sim.trial import SLACK_S, Trial, first_of

#: Seconds for an answer to "does it still cut?" (the plan's default).
ANSWER_S = 600.0
#: Two starts are in hand, and what an hour refills.
STARTS_IN_HAND = 2
#: After the fan's start the air has this long to come before it is missed (the core's own number).
AIR_SPIN_UP_S = 5.0
#: A reading that is lost is said at the latest after this: the silence itself takes a moment to be sure of.
SILENCE_S = 1.0

_BOTH = (Layer.SIGNALS, Layer.SAMPLES)


def _tools(shop: Shop) -> tuple[str, ...]:
    return tuple(shop.tools)


def _several_tools(shop: Shop) -> tuple[str, ...]:
    return tuple(shop.tools) if len(shop.tools) > 1 else ()


def _seen_motors(shop: Shop) -> tuple[str, ...]:
    return tuple(name for name, motor in shop.motors.items() if motor.confirmed_by is not None)


def _lost(trial: Trial) -> str | None:
    """Said at once, no cause for a start, and its gates are not shut while nobody has said that it is stopped."""
    tool = trial.subject or ""
    lost_s = trial.first("tool", tool, "stale")
    late = trial.within(f"{tool} lost", trial.from_s, lost_s, SILENCE_S)
    if late is not None or lost_s is None:
        return late
    again_s = trial.first("tool", tool, "stopped", lost_s)
    said_s = trial.first("request", tool, "stopped", lost_s)
    end_s = min((at_s for at_s in (again_s, said_s) if at_s is not None), default=math.inf)
    shut = [
        f"{gate} was told to shut at {entry['t_s']:.3f} s"
        for gate in trial.shop.tools[tool].gates
        for entry in trial.all("gate_command", gate, "shut", lost_s)
        if lost_s < entry["t_s"] < end_s
    ]
    return first_of(trial.says("sensor_lost", tool, SLACK_S, lost_s), shut[0] if shut else None)


def _lost_and_quiet(trial: Trial) -> str | None:
    """As ``_lost``; and nothing is switched on for it, where nothing else runs."""
    motors = trial.shop.tool_motors[trial.subject or ""]
    return first_of(_lost(trial), *(trial.never_on(motor, trial.from_s, trial.until_s) for motor in motors))


def _asked_about(trial: Trial) -> str | None:
    """A question after the longest run, and without an answer the collector no longer runs for it."""
    tool = trial.subject or ""
    began_s = trial.first("tool", tool, "running", trial.from_s)
    if began_s is None:
        return f"{tool} was never seen to run"
    longest_s = trial.shop.tools[tool].longest_run_s
    asked_s = trial.raised("still_running", tool, began_s)
    return first_of(
        trial.within("the question", began_s, asked_s, longest_s + 1.0),
        trial.says("counted_stopped", tool, ANSWER_S + 1.0, asked_s),
    )


def _unseen(trial: Trial) -> str | None:
    """Nothing starts and no lamp says that the air is there."""
    tool = trial.subject or ""
    if trial.first("sign", tool, "ready") is not None:
        return f"the sign of {tool} says ready"
    return first_of(*(trial.never_on(motor, trial.from_s) for motor in trial.shop.tool_motors[tool]))


def _starts_within_store(trial: Trial) -> str | None:
    """However it flickers, the motors start no oftener than their table allows."""
    tool = trial.subject or ""
    flickers = len(trial.all("tool", tool, "running", trial.from_s))
    if flickers < 3:
        return f"{tool} flickered {flickers} times only"
    for motor in trial.shop.tool_motors[tool]:
        starts = [entry["t_s"] for entry in trial.all("motor_command", motor, "on")]
        rate_s = (trial.shop.systems[motor].starts_per_hour or math.inf) / 3600.0
        for index, first_s in enumerate(starts):
            for number, last_s in enumerate(starts[index:], start=1):
                if number > STARTS_IN_HAND + rate_s * (last_s - first_s) + 1e-6:
                    return f"{motor} was started {number} times within {last_s - first_s:.1f} s"
    return None


def _swapped(trial: Trial) -> str | None:
    """The other tool's gate opens, the collector pulls through it, and nothing is claimed of the tool that runs."""
    tool = trial.subject or ""
    tools = list(trial.shop.tools)
    other = tools[(tools.index(tool) + 1) % len(tools)]
    if trial.first("tool", other, "running") is None:
        return f"{other} was not seen to run in the place of {tool}"
    lamp = trial.first("sign", tool, "ready")
    return f"the sign of {tool} says ready" if lamp is not None else None


def _converter_lost(trial: Trial) -> str | None:
    """Every sensor on it is said to be lost; nothing starts for it and no gate of a tool on it is shut."""
    lost = [entry["subject"] for entry in trial.all("tool", None, "stale", trial.from_s)]
    if not lost:
        return "no tool was lost"
    for tool in dict.fromkeys(lost):
        complaint = _lost(Trial(tool, trial.from_s, trial.until_s, trial.entries))
        if complaint is not None:
            return complaint
    for entry in trial.all("motor_sensor", None, "lost", trial.from_s):
        if complaint := trial.says("motor_sensor_lost", entry["subject"], SLACK_S, entry["t_s"]):
            return complaint
    return None


def _motor_sensor_lost(trial: Trial) -> str | None:
    """Said at once, and never taken for a motor that stopped or did not start."""
    lost_s = trial.first("motor_sensor", trial.subject, "lost")
    return first_of(
        trial.within("the lost sensor", trial.from_s, lost_s, SILENCE_S),
        trial.says("motor_sensor_lost", trial.subject, SLACK_S, lost_s),
        trial.silent("did_not_start", "stopped_itself", "runs_when_off"),
    )


def _still_runs(trial: Trial) -> str | None:
    """Told off and still seen to run: the alarm of a motor that does not stop, after the release time."""
    motor = trial.subject or ""
    off_s = trial.first("motor_command", motor, "off")
    facts = trial.shop.systems[motor]
    return first_of(
        trial.says("runs_when_off", motor, max(facts.release_s, facts.coast_s) + 1.0, off_s),
        None if trial.heap("runs_when_off") == "now" else "runs_when_off is not in the highest heap",
    )


def _air_missing(trial: Trial) -> str | None:
    """Air is missed once the fan has spun up; the fan stops one worst travel and 2 s later at the latest."""
    motor = trial.subject or ""
    on_s = trial.first("motor_command", motor, "on")
    worst_s = trial.shop.worst_travel_s()
    came_s = trial.raised("air_not_proved", motor)
    return first_of(
        trial.within("air_not_proved", on_s, came_s, AIR_SPIN_UP_S),
        trial.off_by(motor, worst_s + 2.0 + SLACK_S, came_s),
    )


def _air_always(trial: Trial) -> str | None:
    """Nothing can see it: no false alarm comes of it, and gates still shut one by one."""
    return trial.silent("air_not_proved", "not_collected", "core_fault")


_QUIET = (
    "it is said within 1 s; nothing starts for it, and its gates are not shut until it reads again or a person says "
)
_QUIET += "that it is stopped."

ROWS = (
    Fault(
        name=PlantFault.SENSOR_DEAD.value,
        part=Part.SENSOR,
        breaks="the sensor of a tool at rest says nothing that can be relied on",
        put_in="its bias is gone or its wire is broken",
        taken_away="it reads again",
        outcome=f"When its silence is sure {_QUIET}",
        rules=("C12", "C21"),
        layers=_BOTH,
        subjects=_tools,
        happens=breaking(PlantFault.SENSOR_DEAD),
        holds=_lost_and_quiet,
    ),
    Fault(
        name="dead sensor in mid-cut",
        part=Part.SENSOR,
        breaks="the sensor of a tool that runs dies",
        put_in="its bias is gone or its wire is broken",
        taken_away="it reads again",
        outcome="It is said within 1 s; its gates stay open and the collector runs on, until its hold is over, it "
        "reads again, or a person says that it is stopped.",
        rules=("C1", "C5", "C12"),
        layers=_BOTH,
        subjects=_tools,
        happens=breaking(PlantFault.SENSOR_DEAD),
        holds=_lost,
    ),
    Fault(
        name=PlantFault.SENSOR_STUCK_ON.value,
        part=Part.SENSOR,
        breaks="the sensor of a tool says that it runs, for good",
        put_in="always running",
        taken_away="somebody mends it",
        outcome="One second after its longest plausible run at the latest a question is asked; without an answer the "
        "collector no longer runs for it 10 min later, and that is said.",
        rules=("C12",),
        layers=_BOTH,
        subjects=_tools,
        happens=breaking(PlantFault.SENSOR_STUCK_ON),
        holds=_asked_about,
    ),
    Fault(
        name=PlantFault.SENSOR_SILENT.value,
        part=Part.SENSOR,
        breaks="the sensor of a tool sees nothing: a clamp round both wires, or round the wrong one",
        put_in="always stopped",
        taken_away="somebody puts the clamp right",
        outcome="Nothing can see it: no motor starts, and its lamp never says that the air is there.",
        rules=("C20", "C21"),
        layers=_BOTH,
        subjects=_tools,
        happens=breaking(PlantFault.SENSOR_SILENT),
        holds=_unseen,
    ),
    Fault(
        name=PlantFault.SENSOR_NOISY.value,
        part=Part.SENSOR,
        breaks="the sensor of a tool that runs says running and stopped by turns",
        put_in="its word changes every few seconds",
        taken_away="somebody mends it",
        outcome="The motors start no oftener than their table allows: at most two starts and what refills meanwhile, "
        "in any span of time.",
        rules=("C5", "C8"),
        layers=_BOTH,
        subjects=_tools,
        happens=breaking(PlantFault.SENSOR_NOISY),
        holds=_starts_within_store,
    ),
    Fault(
        name=PlantFault.SENSORS_SWAPPED.value,
        part=Part.SENSOR,
        breaks="two tools' sensors are on each other's channel",
        put_in="each says what the other does",
        taken_away="somebody swaps them back",
        outcome="Nothing can see it but the first start of each machine: the other tool's gate opens and the "
        "collector pulls through it; the lamp of the tool that really runs never says that the air is there.",
        rules=("C2", "C20"),
        layers=_BOTH,
        subjects=_several_tools,
        happens=breaking(PlantFault.SENSORS_SWAPPED),
        holds=_swapped,
    ),
    Fault(
        name=PlantFault.CONVERTER_LOST.value,
        part=Part.SENSOR,
        breaks="a whole converter no longer answers",
        put_in="its plug is pulled",
        taken_away="its plug is put back",
        outcome="Every sensor on it is said to be lost within 1 s; nothing starts for a tool on it, none of their "
        "gates is shut, and a motor whose sensor is on it is neither called stopped nor latched.",
        rules=("C9", "C12", "C21"),
        layers=_BOTH,
        subjects=lambda shop: tuple(shop.converters),
        happens=breaking(PlantFault.CONVERTER_LOST),
        holds=_converter_lost,
    ),
    Fault(
        name=PlantFault.MOTOR_SENSOR_DEAD.value,
        part=Part.SENSOR,
        breaks="what sees that a motor runs says nothing that can be relied on",
        put_in="its bias is gone or its wire is broken",
        taken_away="it reads again",
        outcome="It is said within 1 s, and the motor is then as one that nothing watches: neither stopped nor "
        "latched for it.",
        rules=("C9", "C12"),
        layers=_BOTH,
        subjects=_seen_motors,
        happens=breaking(PlantFault.MOTOR_SENSOR_DEAD),
        holds=_motor_sensor_lost,
    ),
    Fault(
        name=PlantFault.MOTOR_SENSOR_STUCK_ON.value,
        part=Part.SENSOR,
        breaks="what sees that a motor runs says so for good",
        put_in="always running",
        taken_away="somebody mends it",
        outcome="Told off and still seen to run, it raises the highest alarm within its release and coast time and 1 "
        "s; its fan counts as running until then.",
        rules=("C3", "C9"),
        layers=_BOTH,
        subjects=_seen_motors,
        happens=breaking(PlantFault.MOTOR_SENSOR_STUCK_ON),
        holds=_still_runs,
    ),
    Fault(
        name=PlantFault.AIR_SWITCH_DEAD.value,
        part=Part.SENSOR,
        breaks="the switch that says that air moves never says so",
        put_in="never made",
        taken_away="somebody mends it",
        outcome="The missing air is said within 5 s of the fan's start, gates open again, and one worst travel and 2 "
        "s later the fan is off.",
        rules=("C3", "C3a"),
        layers=_BOTH,
        subjects=motors_with(lambda motor: motor.proof is Proof.AIR),
        happens=breaking(PlantFault.AIR_SWITCH_DEAD),
        holds=_air_missing,
    ),
    Fault(
        name=PlantFault.AIR_SWITCH_STUCK_ON.value,
        part=Part.SENSOR,
        breaks="the switch that says that air moves says so for good",
        put_in="always made",
        taken_away="somebody mends it",
        outcome="Nothing can see it: no alarm comes of it, and the gates go by travel time and switches alone.",
        rules=("C3a",),
        layers=_BOTH,
        subjects=motors_with(lambda motor: motor.proof is Proof.AIR),
        happens=breaking(PlantFault.AIR_SWITCH_STUCK_ON),
        holds=_air_always,
    ),
)
