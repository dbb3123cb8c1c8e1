"""Entries of the record as lines that people read: the same in the terminal's timeline and in the page's history."""

from gatekeeper.control.alarms import sentence
from gatekeeper.control.messages import Entry

_GATE_ORDERS = {"open": "{} opens", "shut": "{} shuts", "halt": "{} halts"}
_GATE_BELIEFS = {
    "open": "{} is open",
    "shut": "{} is shut",
    "unproven": "nobody knows where {} stands",
    "stuck": "{} is stuck and held",
    "held": "{} is held",
}
_MOTOR_STATES = {
    "running": "{} runs",
    "spin_down": "{} runs on",
    "at_rest": "{} stands still",
    "latched": "{} is latched off",
    "by_hand": "{} is run by hand",
    "blocked": "{} is blocked",
}
_TOOLS = {"running": "{} runs", "stopped": "{} stopped", "stale": "the sensor of {} says nothing that can be relied on"}
_CIRCUITS = {"emergency": "emergency circuit", "fire": "fire input", "door": "door"}
_REQUESTS = {
    "open": "open {}",
    "shut": "shut {}",
    "hold": "hold {}",
    "release": "release {}",
    "air_here": "air at {}",
    "run": "run {}",
    "stop": "stop {}",
    "sweep": "floor sweep",
    "flush": "flush {}",
    "reset": "reset",
    "sparks": "sparks were seen",
    "clear": "clear {}",
    "out_of_service": "{} out of service",
    "back_in_service": "{} back in service",
    "stopped": "{} is stopped",
    "still_running": "{} still runs",
}
_DOORS = {
    "local": "at the controller",
    "page": "from the page",
    "button": "by button",
    "broker": "by the broker",
    "input": "by input",
}


def word_of(entry: Entry) -> str | None:
    """The word of an entry's value, whether it stands alone or under ``what``."""
    value = entry.value
    if isinstance(value, dict):
        what = value.get("what")
        return str(what) if what is not None else None
    return value if isinstance(value, str) else None


def line(entry: Entry) -> str | None:
    """One entry as a line in words; None for what people need not read (ticks, renewals, moves on their way)."""
    said = _said(entry)
    if said is None:
        return None
    said = said[0].upper() + said[1:]
    if entry.why and entry.kind not in ("message", "refusal", "waiting", "queued", "path_lost", "dropped", "gate_late"):
        return f"{said}: {entry.why}"
    return said


def _said(entry: Entry) -> str | None:
    word, subject = word_of(entry), entry.subject or "everything"
    match entry.kind:
        case "wake":
            return "the controller woke"
        case "stopped":
            return "the controller was asked to end"
        case "tool":
            return _TOOLS[word or ""].format(subject)
        case "gate_command":
            return _GATE_ORDERS[word or ""].format(subject)
        case "motor_command":
            return None if word == "renew" else f"{subject} is switched {word}"
        case "gate_belief":
            template = _GATE_BELIEFS.get(word or "")
            return template.format(subject) if template else None
        case "state":
            template = _MOTOR_STATES.get(word or "")
            return template.format(subject) if template else None
        case "motor_seen":
            return f"{subject} is seen {'to run' if word == 'running' else 'still'}"
        case "emergency" | "fire" | "door":
            return f"{_CIRCUITS[entry.kind]} {subject} {'opened' if word == 'open' else 'is whole'}"
        case "hand":
            return f"the switch of {subject} is at {str(word).capitalize()}"
        case "shop_key":
            return f"the shop is {word}"
        case "request":
            who = _DOORS.get(str(entry.value.get("who")), "") if isinstance(entry.value, dict) else ""
            template = _REQUESTS.get(word or "")
            return f"asked {who}: {template.format(subject)}" if template else None
        case "setting":
            value = entry.value.get("value") if isinstance(entry.value, dict) else None
            return f"spin-down delay of {subject}: " + ("its own taken away" if value is None else f"{value:g} s")
        case "message":
            code = entry.value.get("code") if isinstance(entry.value, dict) else None
            happened = entry.why or sentence(str(code), subject)
            return {"raised": happened, "cleared": f"over: {happened}"}.get(word or "")
        case "refusal" | "waiting" | "queued" | "path_lost" | "gate_late" | "dropped":
            return entry.why
        case _:
            return None
