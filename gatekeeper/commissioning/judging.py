"""From entries of the core's record to what was seen, with figures. Nothing is measured here but by the record.

Instants are the record's own: monotonic, to a millisecond. What is promised is in RULES (C4, C5, C9, C13, C14, C24).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from gatekeeper.commissioning.steps import Figure
from gatekeeper.control.messages import Entry

#: A motor whose cause stands, and that nothing holds back any more, is switched on within this (C5).
MOTOR_ON_S = 1.0
#: Rounding of the record, and the one step in which a queued event waits.
SLACK_S = 0.05
#: The words of requests that are a cause for a motor to start.
STARTING_REQUESTS = frozenset({"run", "air_here", "sweep", "flush"})
_CIRCUITS = frozenset({"emergency", "fire", "door"})


def word(entry: Entry) -> str | None:
    """The word of an entry's value, alone or under ``what``."""
    value = entry.value
    if isinstance(value, dict):
        what = value.get("what")
        return str(what) if what is not None else None
    return value if isinstance(value, str) else None


def _is(entry: Entry, kind: str, subject: str | None = None, what: str | None = None) -> bool:
    return (
        entry.kind == kind and (subject is None or entry.subject == subject) and (what is None or word(entry) == what)
    )


# ---------------------------------------------------------------- machines


def tools_seen(entries: Iterable[Entry]) -> tuple[str, ...]:
    """The machines that were seen to begin to run, in the order in which they were."""
    return tuple(dict.fromkeys(entry.subject or "" for entry in entries if _is(entry, "tool", what="running")))


def stopped_after(entries: Sequence[Entry], tool: str) -> bool:
    """Whether a machine was seen to run and then to stop."""
    words = [word(entry) for entry in entries if _is(entry, "tool", tool)]
    return "running" in words and words[-1] == "stopped"


# ---------------------------------------------------------------- a gate's move


@dataclass(frozen=True, slots=True)
class Move:
    """One move of a gate towards an end, retries and shakes included.

    Args:
        begun_s: the first command. arrived_s: when its switch, or the time where it has none, said that it is there.
        by_switch: a switch said so.
        driven_s: for how long it was driven towards that end, less what a shake drove it back; until it arrived, or
            until now.
        misses: how often it did not arrive.
        gave_up: no more attempts are made.
        halted: it was halted half way.
    """

    begun_s: float
    arrived_s: float | None
    by_switch: bool
    driven_s: float
    misses: int
    gave_up: bool
    halted: bool


def move_of(
    entries: Iterable[Entry], gate: str, wanted: str, *, travel_s: float, dead_s: float, now_s: float
) -> Move | None:
    """How a move towards ``wanted`` ("open", "shut") went; None before its first command.

    Args:
        entries: since it was asked for.
        travel_s, dead_s: what its driver was told: one drive lasts that long, and pauses so long before it reverses.
        now_s: the monotonic clock.
    """
    begun_s = arrived_s = None
    by_switch = gave_up = halted = False
    misses = 0
    driven_s = 0.0
    drive: tuple[str, float] | None = None  # which way, and from when
    ended_s = -1e9

    def end(at_s: float) -> None:
        nonlocal drive, driven_s, ended_s
        if drive is not None:
            way, from_s = drive
            passed_s = min(max(0.0, at_s - from_s), travel_s)
            driven_s += passed_s if way == wanted else -passed_s
            ended_s, drive = from_s + passed_s, None

    for entry in entries:
        if entry.subject != gate or arrived_s is not None:
            continue
        what = word(entry)
        if entry.kind == "gate_command":
            if begun_s is None and what != wanted:
                continue
            begun_s = entry.t_s if begun_s is None else begun_s
            if drive is None or drive[0] != what:
                end(entry.t_s)
                if what in ("open", "shut"):
                    drive = (what, max(entry.t_s, ended_s + dead_s))
            halted = what == "halt"
        elif begun_s is None:
            continue
        elif entry.kind == "miss":
            misses += 1
            end(entry.t_s)
        elif entry.kind == "switch" and what == wanted and (drive is None or drive[0] == wanted):
            arrived_s, by_switch = entry.t_s, True
            end(entry.t_s)
        elif entry.kind == "gate_belief":
            gave_up = gave_up or what == "stuck"
            if what == wanted:
                arrived_s = entry.t_s
                end(entry.t_s)
    if begun_s is None:
        return None
    end(now_s)
    return Move(begun_s, arrived_s, by_switch, max(0.0, driven_s), misses, gave_up, halted)


# ---------------------------------------------------------------- a motor's run


@dataclass(frozen=True, slots=True)
class Run:
    """One run of a motor, and what was seen of it.

    Args:
        ons, offs: when it was told on, and off after an on. seen_s: when it was first seen to run after the first on.
        still_s: when it was first seen still after the last off. air_s: when air was proved after the first on.
        latched: why it is latched off, a code, or None. overrun: it was seen to run although told off.
        waits: what it waits for, in the core's words, and until when where that is known.
    """

    ons: tuple[float, ...]
    offs: tuple[float, ...]
    seen_s: float | None
    still_s: float | None
    air_s: float | None
    latched: bool
    overrun: bool
    waits: tuple[str, float | None] | None

    @property
    def is_off(self) -> bool:
        """It was told on, and then off."""
        return bool(self.offs) and self.offs[-1] >= self.ons[-1]


def run_of(entries: Iterable[Entry], motor: str) -> Run:
    """What became of a motor since the first of these entries."""
    ons: list[float] = []
    offs: list[float] = []
    seen_s = still_s = air_s = None
    latched = overrun = False
    waits: tuple[str, float | None] | None = None
    for entry in entries:
        if entry.subject != motor:
            continue
        what = word(entry)
        if entry.kind == "waiting" and not ons:
            until = entry.value.get("until_s") if isinstance(entry.value, dict) else None
            waits = (entry.why or "", float(until) if until is not None else None)
        elif entry.kind == "motor_command" and what == "on":
            ons.append(entry.t_s)
            still_s, waits = None, None
        elif entry.kind == "motor_command" and what == "off" and ons and not (offs and offs[-1] >= ons[-1]):
            offs.append(entry.t_s)
        elif entry.kind == "motor_seen" and ons:
            if what == "running" and seen_s is None:
                seen_s = entry.t_s
            elif what == "still" and offs and offs[-1] >= ons[-1]:
                still_s = entry.t_s
        elif entry.kind == "air" and entry.value is True and ons and air_s is None:
            air_s = entry.t_s
        elif entry.kind == "state":
            latched = what == "latched"
        elif entry.kind == "message" and what == "raised" and entry.value.get("code") == "runs_when_off":
            overrun = True
    return Run(tuple(ons), tuple(offs), seen_s, still_s, air_s, latched, overrun, waits)


# ---------------------------------------------------------------- what stops motors


@dataclass(frozen=True, slots=True)
class ToldOff:
    """What an input did.

    Args:
        at_s, seq: of the entry that tells of it.
        missing: the motors that were not told off in that step.
        ran: the motors that were on just before, as far as these entries know.
    """

    at_s: float
    seq: int
    missing: tuple[str, ...]
    ran: tuple[str, ...]


def told_off(
    entries: Sequence[Entry], source: str, motors: Iterable[str], *, asks: str | None = None
) -> ToldOff | None:
    """Whether an input, when it opened or was pressed, had every motor told off in the same step; None before that.

    Args:
        entries: since it was waited for.
        source: the input.
        motors: that it speaks for.
        asks: the request that it makes ("stop", "sparks"), where it is a button and no circuit.
    """
    if asks is None:
        triggers = [e for e in entries if e.kind in _CIRCUITS and e.subject == source and word(e) == "open"]
    else:
        by = ("input", "button")
        triggers = [e for e in entries if _is(e, "request", what=asks) and e.value.get("who") in by]
    if not triggers:
        return None
    first = triggers[0]
    steps = {entry.step for entry in triggers}
    off = {entry.subject for entry in entries if entry.step in steps and _is(entry, "motor_command", what="off")}
    on: set[str] = set()
    for entry in entries:
        if entry.seq > first.seq:
            break
        if entry.kind == "motor_command" and entry.subject is not None:
            (on.add if word(entry) in ("on", "renew") else on.discard)(entry.subject)
    missing = tuple(motor for motor in motors if motor not in off)
    return ToldOff(first.t_s, first.seq, missing, tuple(sorted(on)))


def reset_at(entries: Iterable[Entry], after_seq: int) -> float | None:
    """When somebody reset after an entry, without being refused."""
    refused = {entry.step for entry in entries if entry.kind == "refusal"}
    return next(
        (e.t_s for e in entries if e.seq > after_seq and _is(e, "request", what="reset") and e.step not in refused),
        None,
    )


def started_by_itself(entries: Iterable[Entry], after_s: float) -> tuple[str, ...]:
    """The motors that were told on from an instant on without a fresh cause since (a machine's start, a request)."""
    caused = False
    found = []
    for entry in entries:
        if entry.t_s < after_s:
            continue
        caused = caused or _is(entry, "tool", what="running")
        caused = caused or (entry.kind == "request" and word(entry) in STARTING_REQUESTS)
        if not caused and _is(entry, "motor_command", what="on") and entry.subject is not None:
            found.append(entry.subject)
    return tuple(dict.fromkeys(found))


# ---------------------------------------------------------------- a first start


@dataclass(frozen=True, slots=True)
class GateOf:
    """A gate of the machine: ``within_s``: the longest that its move may take; ``was_open`` before the start."""

    name: str
    is_actuated: bool
    within_s: float
    was_open: bool


@dataclass(frozen=True, slots=True)
class MotorOf:
    """A motor of the machine: ``confirm_s``: within which it must be seen to run, or None; ``was_on`` before."""

    name: str
    confirm_s: float | None
    was_on: bool


@dataclass(frozen=True, slots=True)
class Check:
    """One promise: the figure, and whether it was kept; ``later``: it may still be kept."""

    figure: Figure
    is_kept: bool
    later: bool = False


def first_start(
    entries: Sequence[Entry], tool: str, gates: Iterable[GateOf], motors: Iterable[MotorOf]
) -> tuple[Check, ...] | None:
    """The promises about the first start of a machine since the first of these entries; None before it was seen."""
    seen = next((entry for entry in entries if _is(entry, "tool", tool, "running")), None)
    if seen is None:
        return None
    after = [entry for entry in entries if entry.seq >= seen.seq]
    checks: list[Check] = []
    for gate in gates:
        checks += _gate_checks(after, seen, gate)
    for motor in motors:
        checks += _motor_checks(after, seen, motor)
    return tuple(checks)


def _gate_checks(after: Sequence[Entry], seen: Entry, gate: GateOf) -> Iterable[Check]:
    if not gate.is_actuated:
        yield Check(Figure(gate.name, "moved by hand", "it is yours to open"), True)
        return
    told = next((e for e in after if _is(e, "gate_command", gate.name, "open")), None)
    queued = next((e for e in after if _is(e, "queued", gate.name) and e.step == seen.step), None)
    proven = next((e for e in after if _is(e, "gate_belief", gate.name, "open")), None)
    if gate.was_open and told is None:
        yield Check(Figure(gate.name, "open already", "nothing to move"), True)
        return
    what, promise = f"machine seen to {gate.name} told to open", "in the same step, 0.000 s"
    if told is None:
        yield Check(Figure(what, "not told", promise), False, later=True)
    else:
        is_kept = told.step == seen.step or queued is not None
        if queued is not None:
            promise = "queued in the same step: its supply had no slot"
        yield Check(Figure(what, f"{told.t_s - seen.t_s:.3f} s", promise), is_kept)
    what, promise = f"{gate.name} told to proven open", f"within {gate.within_s:.2f} s"
    if proven is None:
        yield Check(Figure(what, "not proven", promise), False, later=True)
    else:
        took_s = proven.t_s - (told.t_s if told is not None else seen.t_s)
        proof = proven.value.get("proof") if isinstance(proven.value, dict) else None
        by = "its switch" if proof == "switch" else "its travel time, no switch"
        yield Check(Figure(what, f"{took_s:.3f} s by {by}", promise), took_s <= gate.within_s + SLACK_S)


def _motor_checks(after: Sequence[Entry], seen: Entry, motor: MotorOf) -> Iterable[Check]:
    if motor.was_on:
        yield Check(Figure(motor.name, "on already", "nothing to start"), True)
        return
    what = f"machine seen to {motor.name} told on"
    on = next((e for e in after if _is(e, "motor_command", motor.name, "on")), None)
    until_s, why = _held_until(after, seen, motor.name, on)
    held = f", once {why}" if why else ""
    promise = f"within {until_s - seen.t_s + MOTOR_ON_S:.2f} s: {MOTOR_ON_S:g} s{held}"
    if on is None:
        yield Check(Figure(what, f"not told on{f': {why}' if why else ''}", promise), False, later=True)
        return
    yield Check(Figure(what, f"{on.t_s - seen.t_s:.3f} s", promise), on.t_s <= until_s + MOTOR_ON_S + SLACK_S)
    if motor.confirm_s is None:
        return
    running = next((e for e in after if e.seq > on.seq and _is(e, "motor_seen", motor.name, "running")), None)
    what, promise = f"{motor.name} told on to seen to run", f"within {motor.confirm_s:.2f} s"
    if running is None:
        yield Check(Figure(what, "not seen", promise), False, later=True)
    else:
        took_s = running.t_s - on.t_s
        yield Check(Figure(what, f"{took_s:.3f} s", promise), took_s <= motor.confirm_s + SLACK_S)


def _held_until(after: Sequence[Entry], seen: Entry, motor: str, on: Entry | None) -> tuple[float, str]:
    """From when nothing held a motor back any more, and what did last, in the core's words."""
    until_s, why = seen.t_s, ""
    for entry in after:
        if on is not None and entry.seq > on.seq:
            break
        if not _is(entry, "waiting", motor):
            continue
        waits_s = entry.value.get("until_s") if isinstance(entry.value, dict) else None
        why = (entry.why or "").removeprefix(f"{motor} waits: ")
        if waits_s is not None:
            until_s = max(until_s, float(waits_s))
        elif entry.rule == "C2":
            # What it waits for is the path: proven when a gate is.
            proven = next((e.t_s for e in after if e.seq > entry.seq and _is(e, "gate_belief", what="open")), None)
            until_s = max(until_s, proven if proven is not None else until_s)
    return until_s, why
