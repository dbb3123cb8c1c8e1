"""The catalogue's rows about the board, its power and its program, and about clock, disks and network."""

import math
import random

from gatekeeper.shop.model import Shop
from sim.catalogue_row import Fault, Happens, Layer, Part, spell, whole_shop
from sim.happening import Controller, Happening, What
from sim.trial import SLACK_S, Trial, first_of

#: A brown-out is over within this time: the board starts anew. Our own assumption.
BROWN_OUT_S = 0.3
#: Longer than any lease holds without a renewal (5 s, DEVELOPERS).
STANDS_STILL_S = 12.0
#: The row whose fault that is.
STILL = "controller stands still"
#: Sensors settle this long after waking before anything moves (the default of a shop's file), and one step.
SETTLE_S = 2.0

_BOTH = (Layer.SIGNALS, Layer.SAMPLES)
_SERVICE = (Layer.SERVICE,)


def _wakes(trial: Trial) -> list[float]:
    return [entry["t_s"] for entry in trial.all("wake") if entry["t_s"] > trial.from_s + SLACK_S]


def _off_and_no_start(trial: Trial) -> str | None:
    """Every motor stands or is told off on waking, and none starts without a fresh cause after it."""
    wakes = _wakes(trial)
    if not wakes:
        return "the controller never woke again"
    wake_s = wakes[0]
    fresh = [
        entry["t_s"]
        for entry in trial.all("tool", None, "running", wake_s)
        if not isinstance(entry["value"], dict)
        and trial.at("tool", entry["subject"], entry["t_s"] - 2 * SLACK_S) == "stopped"
    ]
    asked = [entry["t_s"] for entry in trial.all("request", None, "run", wake_s)]
    until_s = min([*fresh, *asked], default=math.inf)
    for motor in trial.shop.systems:
        told_off_s = trial.first("motor_command", motor, "off", wake_s)
        complaint = first_of(
            trial.within(f"{motor} told off on waking", wake_s, told_off_s, SLACK_S),
            trial.never_on(motor, wake_s - SLACK_S, until_s - SLACK_S),
        )
        if complaint:
            return complaint
    return None


def _found_running(trial: Trial) -> str | None:
    """A tool found running gets its gate first, the highest alarm and no motor, once the sensors have settled."""
    wakes = _wakes(trial)
    if not wakes:
        return "the controller never woke again"
    tool, wake_s = trial.subject or "", wakes[0]
    if trial.at("tool", tool, wake_s + SETTLE_S) != "running":
        return f"{tool} was not found running"
    said_s = trial.raised("found_running", tool, wake_s)
    gates = [gate for gate in trial.shop.tools[tool].gates if trial.shop.gates[gate].actuated]
    told = [trial.first("gate_command", gate, "open", wake_s) for gate in gates]
    there = [trial.at("gate_belief", gate, wake_s + SETTLE_S) == "open" for gate in gates]
    missing = [gate for gate, at_s, open_now in zip(gates, told, there, strict=True) if at_s is None and not open_now]
    return first_of(
        trial.within(f"found_running about {tool}", wake_s, said_s, SETTLE_S + 1.0),
        None if trial.heap("found_running") == "now" else "found_running is not in the highest heap",
        f"{missing[0]} was not opened" if missing else None,
        *(trial.never_on(motor, wake_s, wake_s + 30.0) for motor in trial.shop.tool_motors[tool]),
    )


def _unproven(trial: Trial) -> str | None:
    """No gate that has no switch counts as open before a whole travel of its own after waking."""
    wakes = _wakes(trial)
    if not wakes:
        return "the controller never woke again"
    wake_s = wakes[-1]
    for gate, facts in trial.shop.gates.items():
        if facts.switch or not facts.actuated:
            continue
        open_s = trial.first("gate_belief", gate, "open", wake_s)
        told_s = trial.first("gate_command", gate, "open", wake_s)
        if open_s is not None and (told_s is None or open_s < told_s + facts.travel_s - SLACK_S):
            return f"{gate} counts as open at {open_s:.3f} s, without a whole travel since the board woke"
    return _off_and_no_start(trial)


def _late(trial: Trial) -> str | None:
    """A motor that ran is off before the controller comes back, said so, and not started again without a cause."""
    ran = [motor for motor in trial.shop.systems if trial.is_on(motor, trial.from_s)]
    if not ran:
        return "no motor ran when the controller stood still"
    for motor in ran:
        said_s = trial.raised("lease_lost", motor)
        complaint = first_of(
            trial.within(f"lease_lost about {motor}", trial.from_s, said_s, STANDS_STILL_S + 1.0),
            trial.never_on(motor, trial.from_s, _next_start(trial)),
        )
        if complaint:
            return complaint
        stopped = [at_s for at_s, speed in trial.truths("truth_motor", motor) if at_s >= trial.from_s and not speed]
        if not stopped:
            return f"{motor} never came to rest"
    return None


def _next_start(trial: Trial) -> float:
    starts = [e["t_s"] for e in trial.all("tool", None, "running", trial.from_s) if e["t_s"] > trial.from_s]
    return min(starts, default=math.inf) - SLACK_S


def _same_record(trial: Trial) -> str | None:
    """A leap of the wall clock is no event of the record: nothing was decided in its step."""
    at_that = [e for e in trial.entries if abs(e["t_s"] - trial.from_s) < SLACK_S and e["kind"].endswith("_command")]
    moved = [e for e in at_that if not (isinstance(e["value"], dict) and e["value"].get("what") == "renew")]
    return f"{moved[0]['subject']} was commanded in the step of the leap" if moved else None


def _mains(shop: Shop, subject: str, at_s: float, until_s: float, draw: random.Random) -> list[Happening]:
    return spell(What.MAINS, What.MAINS, None, False, at_s, until_s, after=True)


def _left_on(shop: Shop, subject: str, at_s: float, until_s: float, draw: random.Random) -> list[Happening]:
    ends_s = until_s if math.isfinite(until_s) else at_s + 5.0
    return [
        Happening(max(0.0, at_s - 4.0), What.TOOL_ON, subject),
        *spell(What.MAINS, What.MAINS, None, False, at_s, ends_s, after=True),
    ]


def _board(out: Controller, back: Controller, lasts_s: float | None = None) -> Happens:
    def happens(shop: Shop, subject: str, at_s: float, until_s: float, draw: random.Random) -> list[Happening]:
        ends_s = until_s if lasts_s is None else at_s + lasts_s
        ends_s = ends_s if math.isfinite(ends_s) else at_s + 5.0
        return spell(What.CONTROLLER, What.CONTROLLER, None, out, at_s, ends_s, after=back)

    return happens


def _stands(shop: Shop, subject: str, at_s: float, until_s: float, draw: random.Random) -> list[Happening]:
    return [Happening(at_s, What.STANDS_STILL, None, STANDS_STILL_S)]


def _leaps(shop: Shop, subject: str, at_s: float, until_s: float, draw: random.Random) -> list[Happening]:
    return [Happening(at_s, What.CLOCK_STEP, None, draw.choice((-7200.0, -1.5, 3.0, 7200.0)))]


ROWS = (
    Fault(
        name="power cut",
        part=Part.BOARD,
        breaks="the whole shop loses its power, at any instant",
        put_in="mains off",
        taken_away="mains on: the board starts anew",
        outcome="On waking every motor is told off in the first step and nothing moves until the sensors have "
        "settled; no motor starts until a tool is seen to start or a person asks.",
        rules=("C8a", "C15", "C21"),
        layers=_BOTH,
        subjects=whole_shop,
        happens=_mains,
        holds=_off_and_no_start,
    ),
    Fault(
        name="tool left on through a power cut",
        part=Part.BOARD,
        breaks="a machine is left on while the shop has no power, and runs by itself when it comes back",
        put_in="mains off with the machine on",
        taken_away="mains on",
        outcome="When its sensor has settled it is found running: its gate opens, the highest alarm says so within 1 "
        "s, and no motor starts for it.",
        rules=("C15", "C21"),
        layers=_BOTH,
        subjects=lambda shop: tuple(shop.tools),
        happens=_left_on,
        holds=_found_running,
    ),
    Fault(
        name="the board's plug pulled",
        part=Part.BOARD,
        breaks="the board alone loses its power while machines run",
        put_in="the board is dark: relays drop as they are wired, gates stand, springs act",
        taken_away="it is plugged in again",
        outcome="Every relay does what its line of the shop's file says; on waking every motor is told off in the "
        "first step, and none starts without a fresh cause.",
        rules=("C15", "C21", "C23"),
        layers=_BOTH,
        subjects=whole_shop,
        happens=_board(Controller.PLUG_OUT, Controller.PLUG_IN),
        holds=_off_and_no_start,
    ),
    Fault(
        name="brown-out while gates move",
        part=Part.BOARD,
        breaks="the board's supply dips for 0.3 s while gates move, and it starts anew",
        put_in="the board is dark for 0.3 s",
        taken_away="it starts anew by itself",
        outcome="A gate that stopped on its way counts for nothing: none without a switch is open before a whole "
        "travel after waking; every motor is told off, and none starts without a fresh cause.",
        rules=("C2", "C3a", "C15"),
        layers=_BOTH,
        subjects=whole_shop,
        happens=_board(Controller.PLUG_OUT, Controller.PLUG_IN, BROWN_OUT_S),
        holds=_unproven,
    ),
    Fault(
        name="program killed in mid-cut",
        part=Part.BOARD,
        breaks="the program dies at once and is started again, the board stays on",
        put_in="the process is killed; its pins stay as they were",
        taken_away="it is started again",
        outcome="The next start tells every motor off in its first step, before anything else, and starts none "
        "without a fresh cause, unless the shop's file lets it go on after a crash.",
        rules=("C15", "C21", "C23"),
        layers=(*_BOTH, Layer.SERVICE),
        subjects=lambda shop: () if any(motor.resume for motor in shop.motors.values()) else whole_shop(shop),
        happens=_board(Controller.KILL, Controller.START),
        holds=_off_and_no_start,
    ),
    Fault(
        name="program stopped and started",
        part=Part.BOARD,
        breaks="the program is asked to end in mid-cut, as at an update",
        put_in="it ends with a last, clean step",
        taken_away="it is started again",
        outcome="Every motor is off when it has ended; the next start starts none without a fresh cause.",
        rules=("C15", "C21"),
        layers=_BOTH,
        subjects=whole_shop,
        happens=_board(Controller.STOP, Controller.START),
        holds=_off_and_no_start,
    ),
    Fault(
        name=STILL,
        part=Part.BOARD,
        breaks="the control loop takes in nothing for 12 s in mid-cut: a busy or dying board",
        put_in="no step for 12 s",
        taken_away="it goes on by itself",
        outcome="The motors that ran are off before it comes back, within 5 s of their last renewal; it says so, and "
        "none of them starts again without a fresh cause.",
        rules=("C21", "C23"),
        layers=_BOTH,
        subjects=whole_shop,
        happens=_stands,
        holds=_late,
    ),
    Fault(
        name="clock step",
        part=Part.DISK,
        breaks="the wall clock leaps, back or ahead, by seconds or hours",
        put_in="the wall clock is set",
        taken_away="nobody: it is right now",
        outcome="Nothing is commanded for it and every delay goes on as it was; only the hours of the shop follow "
        "the new time.",
        rules=("C19",),
        layers=(*_BOTH, Layer.SERVICE),
        subjects=whole_shop,
        happens=_leaps,
        holds=_same_record,
    ),
    Fault(
        name="slow disk",
        part=Part.DISK,
        breaks="every write takes seconds",
        put_in="the disk holds each write up",
        taken_away="it is quick again",
        outcome="Control goes on as if nothing were: no step waits for a write; what the history had to leave out is "
        "one entry that says how much.",
        rules=("C4", "C20"),
        layers=_SERVICE,
        subjects=whole_shop,
    ),
    Fault(
        name="full disk",
        part=Part.DISK,
        breaks="no write fits any more",
        put_in="every write fails",
        taken_away="room is made",
        outcome="Control goes on; a request that must outlive a power cut is answered as not kept, a message says so "
        "until it is kept, and it is kept by itself once there is room.",
        rules=("C14", "C20"),
        layers=_SERVICE,
        subjects=whole_shop,
    ),
    Fault(
        name="corrupt file of kept values",
        part=Part.DISK,
        breaks="what was kept cannot be read when the controller starts",
        put_in="its bytes are damaged",
        taken_away="a person goes round the shop and brings each motor back into service",
        outcome="Its bytes are kept aside, every motor counts as out of service and its starts as lost, a message "
        "says so, and no start of a tool switches a motor on until a person has put it right.",
        rules=("C8a", "C14", "C21"),
        layers=_SERVICE,
        subjects=whole_shop,
    ),
    Fault(
        name="corrupt history",
        part=Part.DISK,
        breaks="the file of the history cannot be read when the controller starts",
        put_in="its bytes are damaged",
        taken_away="nobody: a new file is begun",
        outcome="Its bytes are kept aside and a message says so; nothing that controls the shop is lost: a tool's "
        "start switches its collector on.",
        rules=("C20",),
        layers=_SERVICE,
        subjects=whole_shop,
    ),
    Fault(
        name="dead broker",
        part=Part.DISK,
        breaks="the message broker that a tool's meter speaks through is gone",
        put_in="the broker ends in mid-cut",
        taken_away="it is started again",
        outcome="The tool's sensor counts as lost and that is said; its gate stays open and its collector runs on "
        "until its hold is over, and nothing else in the shop changes.",
        rules=("C12", "C21"),
        layers=_SERVICE,
        subjects=whole_shop,
    ),
    Fault(
        name="flooded page",
        part=Part.DISK,
        breaks="hundreds of requests a second reach the page",
        put_in="clients that ask without a pause",
        taken_away="they end",
        outcome="A tool's start still opens its gate and switches its collector on, no motor drops because the "
        "controller was late, and the page answers or refuses every one of them.",
        rules=("C4", "C23"),
        layers=_SERVICE,
        subjects=whole_shop,
    ),
    Fault(
        name="lost network",
        part=Part.DISK,
        breaks="every phone loses its connection in mid-cut",
        put_in="the page's connections end without a word",
        taken_away="a phone asks again",
        outcome="Control goes on as it was; the next page that asks shows what is so now.",
        rules=("C20",),
        layers=_SERVICE,
        subjects=whole_shop,
    ),
)
