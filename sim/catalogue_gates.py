"""The catalogue's rows about gates and their position switches."""

import math
import random

from gatekeeper.control.messages import Requested
from gatekeeper.shop.model import Gate, Motor, Proof, Shop
from sim.catalogue_row import Fault, Happens, Holds, Layer, Part, breaking, gates_with, spell
from sim.catalogue_sensors import AIR_SPIN_UP_S
from sim.happening import Happening, What
from sim.plant_faults import PlantFault
from sim.trial import SLACK_S, Trial, first_of

#: After a release nothing moves for this long (C26).
PRESS_TO_MOVE_S = 3.0
#: An air switch speaks within this time of the last gate's shutting (C3a).
AIR_SPEAKS_S = 2.0

_BOTH = (Layer.SIGNALS, Layer.SAMPLES)


def _watched(gate: Gate, motor: Motor) -> bool:
    return gate.is_actuated and gate.has_open_switch


def _unwatched(gate: Gate, motor: Motor) -> bool:
    return gate.is_actuated and not gate.has_open_switch and motor.proof is not Proof.AIR


def _by_air(gate: Gate, motor: Motor) -> bool:
    return gate.is_actuated and not gate.has_open_switch and motor.proof is Proof.AIR


def _any_moved(gate: Gate, motor: Motor) -> bool:
    return gate.is_actuated


def _seen_hand_gate(gate: Gate, motor: Motor) -> bool:
    return not gate.is_actuated and gate.has_open_switch


def _called_stuck(order: str) -> Holds:
    """Told so in vain, the gate is called stuck within its tries, and nobody moves it from then on."""

    def holds(trial: Trial) -> str | None:
        gate = trial.subject or ""
        told_s = trial.first("gate_command", gate, order)
        stuck_s = trial.raised("gate_stuck", gate)
        late = trial.within(f"{gate} called stuck", told_s, stuck_s, trial.give_up_s(gate))
        if late is not None or stuck_s is None:
            return late
        released_s = trial.first("request", gate, "release", stuck_s)
        return trial.unmoved(gate, stuck_s, math.inf if released_s is None else released_s + PRESS_TO_MOVE_S)

    return holds


def _tool_behind_is_told(trial: Trial) -> str | None:
    """A tool that runs behind a stuck gate raises the highest alarm: not collected, or without air."""
    gate = trial.subject or ""
    stuck_s = trial.raised("gate_stuck", gate)
    if stuck_s is None:
        return f"{gate} was never called stuck"
    for tool in trial.shop.gate_tools[gate]:
        if trial.at("tool", tool, stuck_s) != "running":
            continue
        told = [trial.raised(code, tool, stuck_s) for code in ("not_collected", "no_air")]
        came_s = min((at_s for at_s in told if at_s is not None), default=None)
        late = trial.within(f"{tool} told", stuck_s, came_s, 1.0)
        if late is not None:
            return late
        if {trial.heap(code) for code in ("not_collected", "no_air")} - {"now", None}:
            return f"{tool} is told, and not in the highest heap"
    return None


def _stuck_shut(trial: Trial) -> str | None:
    return first_of(
        _called_stuck("open")(trial),
        trial.never_open_in_vain(trial.subject or ""),
        _tool_behind_is_told(trial),
    )


def _nothing_sees_it(trial: Trial) -> str | None:
    """The record must not claim more than it can: what proves the gate is said to be the time, and nothing else."""
    gate = trial.subject or ""
    for entry in trial.all("gate_belief", gate, "open", trial.from_s):
        if entry["value"]["proof"] != "time":
            return f"{gate} counts as open by {entry['value']['proof']}"
    return first_of(
        trial.within(f"{gate} counts as open", trial.from_s, trial.first("gate_belief", gate, "open"), math.inf),
        trial.silent("gate_stuck", "core_fault"),
    )


def _air_tells(trial: Trial) -> str | None:
    """Air is not proved: said, the gate that shut last opens again, and the tool is told that it is not collected."""
    gate = trial.subject or ""
    motor = trial.motor_of_gate(gate)
    said_s = trial.raised("air_not_proved", motor)
    if said_s is None:
        return f"air_not_proved about {motor}: never"
    again = trial.all("kept_open", since_s=trial.from_s)
    told = [tool for tool in trial.shop.gate_tools[gate] if trial.raised("not_collected", tool) is not None]
    if not again or not told:
        return f"{'nothing opened again' if not again else f'nobody is told about {gate}'}"
    last_shut_s = max(
        (
            entry["t_s"]
            for entry in trial.all("gate_command", None, "shut", trial.from_s)
            if entry["t_s"] <= said_s and entry["subject"] in trial.shop.systems[motor].gates
        ),
        default=trial.from_s,
    )
    facts = trial.shop.systems[motor]
    travel_s = max(trial.shop.gates[name].travel_s + trial.shop.gates[name].dead_s for name in facts.gates)
    on_s = trial.first("motor_command", motor, "on")
    spun_up_s = last_shut_s if on_s is None else on_s + AIR_SPIN_UP_S
    return trial.within("air_not_proved", last_shut_s, said_s, max(travel_s + AIR_SPEAKS_S, spun_up_s - last_shut_s))


def _open_or_stuck(trial: Trial) -> str | None:
    gate = trial.subject or ""
    told_s = trial.first("gate_command", gate, "open")
    if told_s is None:
        return f"{gate} was never told to open"
    if trial.first("miss", gate) is None and trial.first("gate_late", gate) is None:
        return f"{gate} arrived in time: the fault was not in"
    ends = [trial.first("gate_belief", gate, "open", told_s), trial.raised("gate_stuck", gate, told_s)]
    came_s = min((end for end in ends if end is not None), default=None)
    return first_of(
        trial.within(f"{gate} open or called stuck", told_s, came_s, trial.give_up_s(gate)),
        trial.never_open_in_vain(gate),
    )


def _bounded_without_gate(trial: Trial) -> str | None:
    """However its switch talks, the fan pulls on no shut duct for longer than one worst travel and 2 s."""
    motor = trial.motor_of_gate(trial.subject or "")
    limit_s = trial.shop.worst_travel_s() + 2.0
    longest_s = trial.fan_without_gate_s(motor)
    if longest_s > limit_s + SLACK_S:
        return f"{motor} ran {longest_s:.3f} s without a gate seen open, at most {limit_s:.3f} s are allowed"
    return None


def _pulled_out(trial: Trial) -> str | None:
    left_s = trial.first("switch", trial.subject, "between")
    return first_of(trial.within("its switch", trial.from_s, left_s, 1.0), _bounded_without_gate(trial))


def _comes_and_goes(trial: Trial) -> str | None:
    words = len(trial.all("switch", trial.subject, None, trial.from_s))
    return f"its switch spoke {words} times only" if words < 8 else _bounded_without_gate(trial)


def _held(trial: Trial) -> str | None:
    """Nothing moves a held gate until three seconds after its release; a tool behind it is told at once."""
    gate = trial.subject or ""
    released_s = trial.first("request", gate, "release")
    free_s = math.inf if released_s is None else released_s + PRESS_TO_MOVE_S - SLACK_S
    late = first_of(trial.says("gate_held", gate, SLACK_S), trial.unmoved(gate, trial.from_s, free_s))
    if late is not None:
        return late
    for tool in trial.shop.gate_tools[gate]:
        started_s = trial.first("tool", tool, "running")
        if started_s is None or started_s > free_s:
            continue
        told = [trial.raised(code, tool, started_s) for code in ("not_collected", "no_air")]
        came_s = min((at_s for at_s in told if at_s is not None), default=None)
        if complaint := trial.within(f"{tool} told", started_s, came_s, 1.0):
            return complaint
    return None


def _another_opens(trial: Trial) -> str | None:
    """A hand gate was pushed shut: another opens in the next list, or the fan stops in time."""
    gate = trial.subject or ""
    motor = trial.motor_of_gate(gate)
    lost_s = trial.first("switch", gate, "between") or trial.first("switch", gate, "shut")
    if lost_s is None:
        return f"the switch of {gate} never said that it left"
    if not trial.is_on(motor, lost_s):
        return f"{motor} did not run when {gate} was moved"
    others = [name for name in trial.shop.systems[motor].gates if name != gate and trial.shop.gates[name].actuated]
    opened = [trial.first("gate_command", name, "open", lost_s) for name in others]
    opened += [lost_s for name in others if trial.at("gate_belief", name, lost_s) in ("open", "opening")]
    off_s = trial.first("motor_command", motor, "off", lost_s)
    came_s = min((at_s for at_s in [*opened, off_s] if at_s is not None), default=None)
    return first_of(trial.within("another gate told to open", lost_s, came_s, SLACK_S), _bounded_without_gate(trial))


def _pushed_shut(shop: Shop, subject: str, at_s: float, until_s: float, draw: random.Random) -> list[Happening]:
    return spell(What.MOVE_BY_HAND, What.MOVE_BY_HAND, subject, 0.0, at_s, until_s, after=1.0)


def _pulled(shop: Shop, subject: str, at_s: float, until_s: float, draw: random.Random) -> list[Happening]:
    return [Happening(at_s, What.MOVE_BY_HAND, subject, draw.choice((0.0, 0.5)))]


def _asked(begins: str, ends: str) -> Happens:
    def happens(shop: Shop, subject: str, at_s: float, until_s: float, draw: random.Random) -> list[Happening]:
        begin, end = Requested(begins, subject), Requested(ends, subject)  # type: ignore[arg-type]
        return spell(What.REQUEST, What.REQUEST, None, begin, at_s, until_s, after=end)

    return happens


_MENDED = "somebody mends it; a gate called stuck then waits for Release"
_TRIES = "three tries (of its travel, a quarter more and the dead time each) and one shake of a second"

ROWS = (
    Fault(
        name=PlantFault.STUCK_GATE.value,
        part=Part.GATE,
        breaks="the slide of a gate with a position switch stands where it is",
        put_in="the slide does not move, whatever pulls",
        taken_away=_MENDED,
        outcome=f"Told to open in vain, it is called stuck within {_TRIES}, is no open gate to pull through and is "
        "moved by nobody until 3 s after Release; a tool that runs behind it raises the highest alarm within 1 s of "
        "that.",
        rules=("C2", "C10", "C26"),
        layers=_BOTH,
        subjects=gates_with(_watched),
        happens=breaking(PlantFault.STUCK_GATE),
        holds=_stuck_shut,
    ),
    Fault(
        name="stuck gate that nothing watches",
        part=Part.GATE,
        breaks="the slide of a gate without a switch stands where it is, on a duct without an air switch",
        put_in="the slide does not move, whatever pulls",
        taken_away="somebody mends it",
        outcome="Nothing can see it: it counts as open once its travel time is over, the record says that time alone "
        "is the proof, and `check` names the hole and what closes it before anything is wired.",
        rules=("C3a", "C20"),
        layers=_BOTH,
        subjects=gates_with(_unwatched),
        happens=breaking(PlantFault.STUCK_GATE),
        holds=_nothing_sees_it,
    ),
    Fault(
        name="stuck gate on a duct with an air switch",
        part=Part.GATE,
        breaks="the slide of a gate without a switch stands shut, and an air switch watches the duct",
        put_in="the slide does not move, whatever pulls",
        taken_away="somebody mends it",
        outcome="When the gate that kept the air moving has shut, the missing air is said within its travel and 2 s, "
        "or 5 s after the fan's start where that is later; that gate opens again, and the tool is told that the "
        "sound of the fan is not capture.",
        rules=("C3", "C3a"),
        layers=_BOTH,
        subjects=gates_with(_by_air),
        happens=breaking(PlantFault.STUCK_GATE),
        holds=_air_tells,
    ),
    Fault(
        name=PlantFault.SLOW_GATE.value,
        part=Part.GATE,
        breaks="a gate with a position switch takes three times as long",
        put_in="every move takes three times as long",
        taken_away="somebody mends it",
        outcome=f"It counts as open only when its switch says so, and is open or called stuck within {_TRIES}; no fan "
        "starts on it before.",
        rules=("C2", "C10"),
        layers=_BOTH,
        subjects=gates_with(_watched),
        happens=breaking(PlantFault.SLOW_GATE),
        holds=_open_or_stuck,
    ),
    Fault(
        name=PlantFault.REVERSED_GATE.value,
        part=Part.GATE,
        breaks="a gate with a position switch is wired the wrong way round",
        put_in="told to open it shuts, told to shut it opens",
        taken_away="somebody swaps its wires",
        outcome=f"Told to open it never counts as open: it is called stuck within {_TRIES} and moved by nobody until "
        "Release.",
        rules=("C2", "C10", "C26"),
        layers=_BOTH,
        subjects=gates_with(_watched),
        happens=breaking(PlantFault.REVERSED_GATE),
        holds=_stuck_shut,
    ),
    Fault(
        name="hand gate moved by somebody",
        part=Part.GATE,
        breaks="a hand gate with a switch is pushed shut while the fan pulls through it",
        put_in="somebody pushes it shut",
        taken_away="somebody opens it again",
        outcome="In the step that sees it go another gate of the duct is told to open or the fan is told off, and "
        "the fan runs no longer than one worst travel and 2 s without a gate seen open.",
        rules=("C3", "C7"),
        layers=_BOTH,
        subjects=gates_with(_seen_hand_gate),
        happens=_pushed_shut,
        holds=_another_opens,
    ),
    Fault(
        name="gate moved by somebody",
        part=Part.GATE,
        breaks="a gate that moves by itself is pulled out of its place",
        put_in="somebody pulls it shut or half shut; its switches say what is so",
        taken_away="its next move",
        outcome="The fan runs no longer than one worst travel and 2 s without a gate seen open.",
        rules=("C3",),
        layers=_BOTH,
        subjects=gates_with(_watched),
        happens=_pulled,
        holds=_pulled_out,
    ),
    Fault(
        name="hand in a held gate",
        part=Part.GATE,
        breaks="somebody works at a gate and has pressed Hold",
        put_in="Hold is pressed",
        taken_away="Release is pressed",
        outcome="Nothing moves it until 3 s after Release, whatever starts; a tool that starts behind it is told "
        "within 1 s that it is not collected.",
        rules=("C26",),
        layers=_BOTH,
        subjects=gates_with(_any_moved),
        happens=_asked("hold", "release"),
        holds=_held,
    ),
    Fault(
        name=PlantFault.SWITCH_DEAD.value,
        part=Part.SWITCH,
        breaks="the wire of a position switch is broken",
        put_in="neither end is ever said",
        taken_away=_MENDED,
        outcome=f"Told to open in vain, it is called stuck within {_TRIES}, is no open gate to pull through and is "
        "moved by nobody until Release.",
        rules=("C2", "C10", "C26"),
        layers=_BOTH,
        subjects=gates_with(_watched),
        happens=breaking(PlantFault.SWITCH_DEAD),
        holds=_called_stuck("open"),
    ),
    Fault(
        name=PlantFault.SWITCH_SAYS_OPEN.value,
        part=Part.SWITCH,
        breaks="a position switch says open for good",
        put_in="the open end is always said",
        taken_away=_MENDED,
        outcome=f"Told to shut in vain, it is called stuck within {_TRIES}: from then on it is no open gate, whatever "
        "its switch says, and nobody moves it until Release.",
        rules=("C10", "C26"),
        layers=_BOTH,
        subjects=gates_with(_watched),
        happens=breaking(PlantFault.SWITCH_SAYS_OPEN),
        holds=_called_stuck("shut"),
    ),
    Fault(
        name=PlantFault.SWITCH_SAYS_SHUT.value,
        part=Part.SWITCH,
        breaks="a position switch says shut for good",
        put_in="the shut end is always said, the open one never",
        taken_away=_MENDED,
        outcome=f"Told to open in vain, it is called stuck within {_TRIES}, is no open gate to pull through and is "
        "moved by nobody until Release.",
        rules=("C2", "C10", "C26"),
        layers=_BOTH,
        subjects=gates_with(lambda gate, motor: _watched(gate, motor) and gate.shut_contact is not None),
        happens=breaking(PlantFault.SWITCH_SAYS_SHUT),
        holds=_called_stuck("open"),
    ),
    Fault(
        name=PlantFault.SWITCH_LOOSE.value,
        part=Part.SWITCH,
        breaks="a position switch has a loose contact",
        put_in="its word comes and goes",
        taken_away="somebody tightens it",
        outcome="It counts as open only while it says so, and the fan runs no longer than one worst travel and 2 s "
        "without a gate seen open.",
        rules=("C3",),
        layers=_BOTH,
        subjects=gates_with(_watched),
        happens=breaking(PlantFault.SWITCH_LOOSE),
        holds=_comes_and_goes,
    ),
)
