"""The catalogue's rows about people: buttons, keys, requests, and what they do to each other."""

import math
import random

from gatekeeper.control.messages import Requested, SettingChanged
from gatekeeper.shop.model import InputKind, Shop
from sim.catalogue_row import Fault, Happens, Holds, Layer, Part, Subjects, spell, whole_shop
from sim.happening import Happening, What
from sim.trial import SLACK_S, Json, Trial, first_of

_BOTH = (Layer.SIGNALS, Layer.SAMPLES)
#: What the delay is set to in mid-countdown, seconds.
NEW_DELAY_S = 3.0


def _inputs(kind: InputKind) -> Subjects:
    return lambda shop: tuple(name for name, part in shop.inputs.items() if part.kind is kind)


def _with_ducts(shop: Shop) -> tuple[str, ...]:
    return tuple(name for name, motor in shop.motors.items() if motor.has_ducts)


def _everything_off(kind: str, code: str) -> Holds:
    """In the step that sees it every motor is off and every moving gate halted; nothing moves until a reset."""

    def holds(trial: Trial) -> str | None:
        open_s = trial.first(kind, trial.subject, "open")
        if open_s is None:
            return f"{trial.subject} was never seen"
        resets = [e["t_s"] for e in trial.all("request", None, "reset", open_s) if not _refused(trial, e)]
        reset_s = min(resets, default=math.inf)
        for motor in trial.shop.systems:
            complaint = first_of(
                trial.within(f"{motor} off", open_s, trial.first("motor_command", motor, "off", open_s), SLACK_S)
                if trial.is_on(motor, open_s - 1.0)
                else None,
                trial.never_on(motor, open_s, _fresh_after(trial, reset_s)),
            )
            if complaint:
                return complaint
        for gate in trial.shop.gates:
            moving = trial.at("gate_belief", gate, open_s - 2 * SLACK_S) in ("opening", "shutting")
            if moving and trial.first("gate_command", gate, "halt", open_s) != open_s:
                return f"{gate} was on its way and was not halted"
            if complaint := trial.unmoved(gate, open_s, reset_s):
                return complaint
        return first_of(
            trial.says(code, trial.subject, SLACK_S, open_s),
            None if trial.heap(code) == "now" else f"{code} is not in the highest heap",
        )

    return holds


def _refused(trial: Trial, request: Json) -> bool:
    """Whether a request was refused in its own step."""
    return any(
        e["step"] == request["step"] and e["kind"] == "refusal" for e in trial.all("refusal", since_s=request["t_s"])
    )


def _fresh_after(trial: Trial, since_s: float) -> float:
    """The first fresh cause after an instant: a tool's start, or a person's run."""
    starts = [e["t_s"] for e in trial.all("tool", None, "running", since_s) if e["t_s"] > since_s]
    runs = [e["t_s"] for e in trial.all("request", None, "run", since_s) if e["t_s"] > since_s]
    return min([*starts, *runs], default=math.inf) - SLACK_S


def _remote_reset(trial: Trial) -> str | None:
    """A reset from the page is refused, and the fire stands."""
    asked = [e for e in trial.all("request", None, "reset", trial.from_s) if e["value"]["who"] == "page"]
    if not asked:
        return "nobody asked from the page"
    if not all(_refused(trial, entry) for entry in asked):
        return "a reset from the page was not refused"
    return first_of(*(trial.never_on(motor, trial.from_s) for motor in trial.shop.systems))


def _out(trial: Trial) -> str | None:
    """Off in that step, its moving gates halted, nothing of it moves, and lifting it starts nothing."""
    motor = trial.subject or ""
    asked_s = trial.first("request", motor, "out_of_service")
    if asked_s is None:
        return f"nobody took {motor} out of service"
    back_s = trial.first("request", motor, "back_in_service", asked_s) or math.inf
    gates = [gate for gate in trial.shop.systems[motor].gates if trial.shop.gates[gate].actuated]
    return first_of(
        trial.off_by(motor, SLACK_S, asked_s) if trial.is_on(motor, asked_s - 1.0) else None,
        trial.never_on(motor, asked_s, _fresh_after(trial, back_s)),
        *(trial.unmoved(gate, asked_s, back_s) for gate in gates),
        trial.says("out_of_service", motor, SLACK_S, asked_s),
    )


def _stopped(trial: Trial) -> str | None:
    """Off in that step with a tool running, which is then told within 1 s that it cuts without air."""
    motor = trial.subject or ""
    asked_s = trial.first("request", motor, "stop")
    if asked_s is None:
        return "nobody pressed Stop"
    for tool in trial.shop.motor_tools[motor]:
        if trial.at("tool", tool, asked_s) == "running" and len(trial.shop.tool_motors[tool]) == 1:
            told = [trial.raised(code, tool, asked_s) for code in ("no_air", "found_running")]
            came_s = min((at_s for at_s in told if at_s is not None), default=None)
            if complaint := trial.within(f"{tool} told", asked_s, came_s, 1.0):
                return complaint
    return first_of(
        trial.off_by(motor, SLACK_S, asked_s) if trial.is_on(motor, asked_s - 1.0) else None,
        trial.never_on(motor, asked_s, _fresh_after(trial, asked_s)),
    )


def _shut(trial: Trial) -> str | None:
    """No motor starts while the shop is shut; a tool that starts is told of, and its gate opens all the same."""
    shut_s = trial.first("shop_key", None, "shut")
    if shut_s is None:
        return "the shop was never shut"
    open_s = trial.first("shop_key", None, "open", shut_s) or math.inf
    for motor in trial.shop.systems:
        if complaint := trial.never_on(motor, shut_s, _fresh_after(trial, open_s)):
            return complaint
    started = [e for e in trial.all("tool", None, "running", shut_s) if shut_s < e["t_s"] < open_s]
    for entry in started:
        if complaint := trial.says("shop_shut_start", entry["subject"], SLACK_S, entry["t_s"]):
            return complaint
    return None if started else "no tool started while the shop was shut"


def _both(trial: Trial) -> str | None:
    """Stop wins over Run of the same instant, whichever came first, and both are answered."""
    motor = trial.subject or ""
    asked = [e for e in trial.all("request", motor, None, trial.from_s) if abs(e["t_s"] - trial.from_s) < SLACK_S]
    words = [e["value"]["what"] for e in asked]
    if sorted(words) != ["run", "stop"]:
        return f"asked were {words}"
    if words[-1] == "stop":
        return first_of(
            trial.never_on(motor, trial.from_s + SLACK_S, _fresh_after(trial, trial.from_s)),
            None if not trial.is_on(motor, trial.from_s + 1.0) else f"{motor} is on after Stop",
        )
    off_s = trial.first("motor_command", motor, "off")
    was_on = trial.is_on(motor, trial.from_s - 1.0)
    return trial.within(f"{motor} off", trial.from_s, off_s, SLACK_S) if was_on else None


def _countdown(trial: Trial) -> str | None:
    """The new delay counts at once, from the last tool's stop: the motor stops then, or when its branch is clear."""
    motor = trial.subject or ""
    set_s = trial.first("setting", motor)
    off_s = trial.first("motor_command", motor, "off")
    if set_s is None or off_s is None:
        return "nothing was set" if set_s is None else f"{motor} never stopped"
    stops = [e["t_s"] for e in trial.all("tool", None, "stopped") if e["t_s"] <= set_s]
    tools = trial.shop.motor_tools[motor]
    stopped = [e["t_s"] for tool in tools for e in trial.all("tool", tool, "stopped") if e["t_s"] <= off_s and stops]
    gates = [trial.shop.gates[gate].clear_s for gate in trial.shop.systems[motor].gates]
    due_s = max(stopped) + max(NEW_DELAY_S, max(gates))
    early_s = max(stopped) + NEW_DELAY_S
    if off_s < max(early_s, set_s) - SLACK_S:
        return f"{motor} stopped {early_s - off_s:.3f} s before its new delay was over"
    return trial.within(f"{motor} off", min(stopped), off_s, max(due_s, set_s) + 1.0 - min(stopped))


def _all_at_once(trial: Trial) -> str | None:
    """No supply moves more gates at once than it carries; every tool's gate is open in the end or has told why not."""
    shop = trial.shop
    moving: dict[str, float] = {}
    for entry in trial.all("gate_command", since_s=trial.from_s):
        gate, word = entry["subject"], entry["value"]
        facts = shop.gates[gate]
        moving = {name: end_s for name, end_s in moving.items() if end_s > entry["t_s"] + SLACK_S}
        moving.pop(gate, None)
        if word != "halt":
            moving[gate] = entry["t_s"] + facts.travel_s + facts.dead_s
        beside = [name for name in moving if shop.gates[name].supply == facts.supply]
        if facts.supply is not None and len(beside) > shop.at_once.get(facts.supply, 1):
            return f"{' and '.join(beside)} move together at {entry['t_s']:.3f} s"
    for tool, facts_of in shop.tools.items():
        for gate in facts_of.gates:
            if shop.gates[gate].actuated and trial.at("gate_belief", gate, trial.from_s + 60.0) != "open":
                return f"{gate} of {tool} is not open after a minute"
    return None


def _pressed(shop: Shop, subject: str, at_s: float, until_s: float, draw: random.Random) -> list[Happening]:
    found = spell(What.INPUT, What.INPUT, subject, True, at_s, until_s, after=False)
    if math.isfinite(until_s):
        found.append(Happening(until_s + 2.0, What.REQUEST, None, Requested("reset", None, "local")))
    return found


def _reset_from_afar(shop: Shop, subject: str, at_s: float, until_s: float, draw: random.Random) -> list[Happening]:
    ends_s = until_s if math.isfinite(until_s) else at_s + 5.0
    return [
        *spell(What.INPUT, What.INPUT, subject, True, at_s, ends_s, after=False),
        Happening(ends_s + 2.0, What.REQUEST, None, Requested("reset", None, "page")),
    ]


def _asks(begins: str, ends: str | None) -> Happens:
    def happens(shop: Shop, subject: str, at_s: float, until_s: float, draw: random.Random) -> list[Happening]:
        begin = Requested(begins, subject, "page")  # type: ignore[arg-type]
        if ends is None:
            return [Happening(at_s, What.REQUEST, None, begin)]
        return spell(What.REQUEST, What.REQUEST, None, begin, at_s, until_s, after=Requested(ends, subject, "local"))  # type: ignore[arg-type]

    return happens


def _key(shop: Shop, subject: str, at_s: float, until_s: float, draw: random.Random) -> list[Happening]:
    return spell(What.SHOP_KEY, What.SHOP_KEY, None, False, at_s, until_s, after=True)


def _two_people(shop: Shop, subject: str, at_s: float, until_s: float, draw: random.Random) -> list[Happening]:
    both = [Requested("run", subject, "local", 30.0), Requested("stop", subject, "page")]
    draw.shuffle(both)
    return [Happening(at_s, What.REQUEST, None, request) for request in both]


def _new_delay(shop: Shop, subject: str, at_s: float, until_s: float, draw: random.Random) -> list[Happening]:
    return [Happening(at_s, What.SETTING, None, SettingChanged(subject, "spin_down_s", NEW_DELAY_S, "page"))]


def _every_tool(shop: Shop, subject: str, at_s: float, until_s: float, draw: random.Random) -> list[Happening]:
    found = [Happening(at_s, What.TOOL_ON, tool) for tool in shop.tools]
    if math.isfinite(until_s):
        found += [Happening(until_s, What.TOOL_OFF, tool) for tool in shop.tools]
    return found


ROWS = (
    Fault(
        name="red button in mid-cut",
        part=Part.PEOPLE,
        breaks="somebody presses the red button, or a wire of its circuit breaks",
        put_in="its circuit opens",
        taken_away="it is pulled out and Reset is pressed",
        outcome="In the step that sees it every motor is told off and every moving gate is halted; nothing moves "
        "until Reset, and Reset starts nothing.",
        rules=("C13", "C21"),
        layers=_BOTH,
        subjects=_inputs(InputKind.RED_BUTTON),
        happens=_pressed,
        holds=_everything_off("emergency", "emergency"),
    ),
    Fault(
        name="fire in mid-cut",
        part=Part.PEOPLE,
        breaks="the detector at the bin speaks, or its wire breaks",
        put_in="its circuit opens",
        taken_away="it is made again and Reset is pressed at the controller",
        outcome="In the step that sees it every motor is told off, with no run-on, and every gate stands; nothing "
        "moves until a reset at the controller itself, and that starts nothing.",
        rules=("C21", "C24"),
        layers=_BOTH,
        subjects=_inputs(InputKind.FIRE),
        happens=_pressed,
        holds=_everything_off("fire", "fire"),
    ),
    Fault(
        name="fire reset from afar",
        part=Part.PEOPLE,
        breaks="somebody wants to reset a fire from the page",
        put_in="Reset from the page after the detector is made again",
        taken_away="Reset at the controller",
        outcome="Refused with its reason, and no motor starts.",
        rules=("C24",),
        layers=_BOTH,
        subjects=_inputs(InputKind.FIRE),
        happens=_reset_from_afar,
        holds=_remote_reset,
    ),
    Fault(
        name="out of service in mid-cut",
        part=Part.PEOPLE,
        breaks="somebody takes a collector out of service while a tool runs on it",
        put_in="out of service",
        taken_away="back in service",
        outcome="Off in that step, its moving gates halted; nothing of it moves until it is back, and coming back "
        "starts nothing.",
        rules=("C14", "C21"),
        layers=_BOTH,
        subjects=_with_ducts,
        happens=_asks("out_of_service", "back_in_service"),
        holds=_out,
    ),
    Fault(
        name="Stop pressed in mid-cut",
        part=Part.PEOPLE,
        breaks="somebody presses Stop on the page while a tool runs",
        put_in="Stop",
        taken_away="the tool stops and starts anew",
        outcome="Off in that step and not on again without a fresh cause; the tool is told within 1 s that it cuts "
        "without air.",
        rules=("C16", "C21"),
        layers=_BOTH,
        subjects=_with_ducts,
        happens=_asks("stop", None),
        holds=_stopped,
    ),
    Fault(
        name="shop shut with work going on",
        part=Part.PEOPLE,
        breaks="the shop is shut by key or hours, and somebody goes on",
        put_in="the key is turned",
        taken_away="it is turned back",
        outcome="No motor starts until it is open again and a tool starts anew; every tool that starts meanwhile is "
        "told of in that step.",
        rules=("C21", "C27"),
        layers=_BOTH,
        subjects=whole_shop,
        happens=_key,
        holds=_shut,
    ),
    Fault(
        name="two people at once",
        part=Part.PEOPLE,
        breaks="one presses Run and another Stop in the same instant",
        put_in="both, in either order",
        taken_away="it is over at once",
        outcome="Stop is obeyed in that step; only a Run that came after it starts the motor again.",
        rules=("C16", "C21"),
        layers=_BOTH,
        subjects=_with_ducts,
        happens=_two_people,
        holds=_both,
    ),
    Fault(
        name="delay changed in mid-countdown",
        part=Part.PEOPLE,
        breaks="somebody changes the spin-down delay while it counts",
        put_in="the delay becomes 3 s",
        taken_away="it stays",
        outcome="The new delay counts at once from the last tool's stop: off within 1 s of its end, or of the clear "
        "time of its branch.",
        rules=("C5",),
        layers=_BOTH,
        subjects=_with_ducts,
        happens=_new_delay,
        holds=_countdown,
    ),
    Fault(
        name="every tool at once",
        part=Part.PEOPLE,
        breaks="every machine of the shop is switched on in the same instant",
        put_in="all on",
        taken_away="all off",
        outcome="No supply moves more gates together than it carries, and within a minute every tool's own gate is "
        "open.",
        rules=("C4", "C11", "C17"),
        layers=_BOTH,
        subjects=whole_shop,
        happens=_every_tool,
        holds=_all_at_once,
    ),
)
