"""Motors in words: state, why it runs or may not and until when, delay, starts in hand, and what became of a stop."""

from gatekeeper.control.plan import MotorKind
from gatekeeper.control.snapshot import MotorNow
from gatekeeper.service.care_troubles import is_bin
from gatekeeper.service.face import (
    HandWord,
    MotorView,
    Offer,
    OutOfService,
    Saying,
    SpinDown,
    Starts,
    StopView,
    StopWord,
)
from gatekeeper.service.viewing_notes import clock
from gatekeeper.service.viewing_scene import Scene, cap, listing, made, plain
from gatekeeper.shop.model import StartsFrom

#: A stop is shown as done only when confirmed, else so much later: not confirmed (C16).
STOP_CONFIRM_S = 2.0
#: The scale of the spin-down control: five minutes, or the longest that the core takes where five are not enough.
SPIN_DOWN_HIGH_S = 300.0
SPIN_DOWN_LONGEST_S = 3600.0

_WORDS = {
    "at_rest": "off",
    "waiting": "waiting",
    "starting": "starting",
    "running": "on",
    "spin_down": "running on",
    "coasting": "coming to rest",
    "latched": "latched off",
    "by_hand": "run by hand",
    "blocked": "stopped",
}
_RUNS = {
    "run": "Runs as asked by hand, for {time} more.",
    "air_here": "Runs for air here, for {time} more.",
    "sweep": "Runs for the floor sweep, for {time} more.",
    "flush": "Clears each branch in turn, for {time} more at most.",
}
_LATCHED = {
    "did_not_start": "Latched off: it did not start. Look at disconnect, overload and breaker, then press Clear.",
    "stopped_itself": "Latched off: it stopped by itself. Find out what tripped, then press Clear.",
}
_LOST = "The record of its starts was lost. Press Clear when it is cool."
#: How the core's reasons to wait read on the page, by how they begin or end.
_WAITS: tuple[tuple[str, str, str], ...] = (
    ("no open gate is proven", "Waits until a gate is open for it.", "Waits until a gate is open for it."),
    ("the motor rests", "Motor rests: it may start in {time}.", "Motor rests: no start is in hand yet."),
    ("an inrush on", "Starts in {time}, when another inrush has died away.", "Waits until an inrush has died away."),
    ("another motor starts", "Starts in {time}, after another motor.", "Waits until another motor has started."),
    ("the sensors settle", "Waits {time} until the sensors have settled.", "Waits until the sensors have settled."),
    ("the record of its starts", _LOST, _LOST),
)


def motor_view(scene: Scene, now: MotorNow, out_of_service: OutOfService | None) -> MotorView:
    """One motor as the page shows it."""
    part = scene.ground.shop.motors[now.name]
    ducted = now.name in scene.ground.ducted
    speed = scene.notes.speeds.get(now.name) if now.on else None
    counts_down = now.on and now.earliest_stop_s is not None and not scene.counting_on(now.name)
    return MotorView(
        name=now.name,
        kind=part.kind.value,
        word=word(scene, now),
        runs=now.fan_runs,
        reason=reason(scene, now),
        stops_at_s=scene.ahead(now.earliest_stop_s) if counts_down else None,
        spin_down=spin_down(scene, now.name, now.spin_down_s, part.spin_down_s) if ducted else None,
        starts=_starts(scene, now),
        hand=HandWord(now.hand) if now.name in scene.ground.has_hand_switch else None,
        out_of_service=out_of_service,
        stop=stop_view(scene, now),
        has_ducts=ducted,
        offers=_offers(scene, now),
        speed=speed.saying if speed is not None else None,
    )


def word(scene: Scene, now: MotorNow) -> str:
    """Its state in a word or two."""
    if now.overrun:
        return "does not stop"
    if now.state == "blocked" and not scene.frozen:
        if now.out_of_service is not None:
            return "out of service"
        if now.doors and all(is_bin(scene.ground.shop, name) for name in now.doors):
            return "bin full"
        return "door open" if now.doors else "switched off"
    if now.state == "at_rest" and now.fan_runs:
        return "coming to rest"
    return _WORDS[now.state]


# ---------------------------------------------------------------- why it runs, or may not


def reason(scene: Scene, now: MotorNow) -> Saying | None:
    """Why it runs and until when, or why it may not; None while it simply rests."""
    if now.overrun:
        return Saying("Runs although it was told to stop. Open the disconnect.")
    if now.hand == "hand":
        return Saying("Running by hand. Stop it at the switch.")
    if now.on:
        return _why_it_runs(scene, now)
    if now.wait_why is not None:
        return waits(scene, now)
    return _coasts(scene, now) or _why_it_rests(scene, now)


def _coasts(scene: Scene, now: MotorNow) -> Saying | None:
    because = f"{cap(now.blocked[1])}. " if now.blocked is not None else ""
    if scene.ahead(now.coast_until_s) is not None:
        return Saying(f"{because}The fan comes to rest in {{time}}.", until_s=now.coast_until_s)
    if now.seen == "running":
        return Saying(f"{because}It was told to stop and is not seen still yet.")
    return None


def _why_it_rests(scene: Scene, now: MotorNow) -> Saying | None:
    if now.blocked is not None:
        return Saying(f"Stays off: {now.blocked[1]}.")
    if now.latch is not None:
        return Saying(_LATCHED.get(now.latch, "Latched off. Press Clear once the reason is gone."))
    if now.starts_locked:
        return Saying(_LOST)
    if not scene.core.shop_open:
        return Saying("The shop is shut: nothing starts it.")
    if scene.core.quiet and scene.plan.motors[now.name].kind is MotorKind.AIR_CLEANER:
        return Saying("Quiet hours: it stays off until they end.")
    if scene.ahead(now.may_start_at_s) is not None:
        return Saying("Motor rests: it may start in {time}.", until_s=now.may_start_at_s)
    return None


def waits(scene: Scene, now: MotorNow) -> Saying:
    """Why a motor that is wanted does not run yet, and until when."""
    why = now.wait_why or ""
    until_s = scene.ahead(now.may_start_at_s)
    for begins, counted, uncounted in _WAITS:
        if why.startswith(begins):
            if until_s is not None and "{time}" in counted:
                return Saying(counted, until_s=until_s)
            return Saying(uncounted)
    if why.endswith("still shakes") and until_s is not None:
        return Saying("Waits {time}: the filter is still being shaken.", until_s=until_s)
    return Saying(f"Waits: {why}.")


def _why_it_runs(scene: Scene, now: MotorNow) -> Saying:
    kind = scene.plan.motors[now.name].kind
    if now.path_lost and now.path_lost_by_s is not None:
        return Saying("No gate is open for it: it stops in {time} unless one opens.", until_s=now.path_lost_by_s)
    if kind is MotorKind.SHAKER:
        return Saying("Shakes the filter, for {time} more.", until_s=now.run_until_s or now.earliest_stop_s)
    counting = scene.counting_on(now.name)
    if counting:
        return _runs_for_tools(scene, now, [tool.name for tool in counting], kind)
    if now.run_until_s is not None:
        if now.state == "starting":
            return Saying("Starting, as asked by hand.")
        return Saying(_RUNS[now.run_what or "run"], until_s=now.earliest_stop_s or now.run_until_s)
    if scene.ahead(now.earliest_stop_s) is None:
        return Saying("Runs on until a gate is open that gives it air at the next start.")
    if now.stretched:
        return Saying("Motor rests: runs on {time} instead of starting hot.", until_s=now.earliest_stop_s)
    if kind is MotorKind.AIR_CLEANER:
        return Saying("Cleans the room's air, for {time} more.", until_s=now.earliest_stop_s)
    return Saying("The last tool has stopped. It clears the duct and stops in {time}.", until_s=now.earliest_stop_s)


def _runs_for_tools(scene: Scene, now: MotorNow, names: list[str], kind: MotorKind) -> Saying:
    if now.state == "starting":
        return Saying(f"Starting for {listing(names)}.")
    lost = [scene.tools[name] for name in names if scene.tools[name].reading == "stale"]
    if len(lost) == len(names) == 1 and scene.ahead(lost[0].hold_until_s) is not None:
        text = f"Runs for {names[0]}, whose sensor is lost, for {{time}} more at most."
        return Saying(text, until_s=lost[0].hold_until_s)
    runs = f"Cleans the room's air while {listing(names)} runs." if kind is MotorKind.AIR_CLEANER else ""
    runs = runs or f"Runs for {listing(names)}."
    if now.starts < 1.0 and scene.ahead(now.may_start_at_s) is not None:
        # C8: the page says it before Stop is pressed, too.
        text = f"{runs} If it is stopped now, it may start again in {{time}} at the soonest."
        return Saying(text, until_s=now.may_start_at_s)
    return Saying(runs)


# ---------------------------------------------------------------- delay, starts, out of service


def spin_down(scene: Scene, subject: str, value_s: float | None, default_s: float | None) -> SpinDown:
    """The delay of a motor or tool with what is needed to change it."""
    change = scene.notes.spin_downs.get(subject)
    longest_s = max(value_s or 0.0, default_s or 0.0, (change.previous_s or 0.0) if change else 0.0)
    high_s = SPIN_DOWN_HIGH_S if longest_s <= SPIN_DOWN_HIGH_S else SPIN_DOWN_LONGEST_S
    clear_s = scene.ground.clear_s[subject]
    if change is None:
        return SpinDown(subject, value_s, 0.0, high_s, default_s, clear_s)
    return SpinDown(
        subject,
        value_s,
        0.0,
        high_s,
        default_s,
        clear_s,
        previous_s=change.previous_s,
        can_undo=change.can_undo,
        undo_until_s=change.undo_until_s,
        changed_by=change.changed_by,
        changed_wall_s=change.changed_wall_s,
    )


def _starts(scene: Scene, now: MotorNow) -> Starts:
    plan = scene.plan.motors[now.name]
    return Starts(
        now=round(min(now.starts, plan.starts_capacity), 2),
        most=plan.starts_capacity,
        per_hour=plan.starts_per_hour,
        estimate=scene.ground.shop.motors[now.name].starts_from is StartsFrom.ESTIMATE,
        next_at_s=scene.ahead(now.may_start_at_s) if now.starts < 1.0 or not now.on else None,
    )


def out_of_service_view(record: tuple[str, str, float], since_wall_s: float | None) -> OutOfService:
    """Who and why: the page sends both in one text, "who: why"."""
    door, text, _ = record
    who, mark, why = text.partition(": ")
    if not mark:
        who, why = {"page": "somebody at the page", "local": "somebody at the controller"}.get(door, door), text
    return OutOfService(plain(who), plain(why), since_wall_s)


# ---------------------------------------------------------------- what became of a stop


def stop_view(scene: Scene, now: MotorNow) -> StopView | None:
    """How far the last stop that a person asked for has come; None when there was none, or it was started since."""
    asked = scene.notes.stops.get(now.name)
    if asked is None or (now.on and now.switched_at_s > asked.asked_s):
        return None
    coast_s = scene.plan.motors[now.name].coast_s
    wired = scene.ground.shop.motors[now.name].confirmed_by is not None
    sees = wired and now.seen in ("running", "still")
    stood = not now.fan_runs and now.switched_at_s + coast_s <= asked.asked_s
    at = clock(scene.wall(asked.asked_s))
    still = now.seen == "still" if sees else stood
    if still and not now.on and now.hand != "hand":
        done = scene.ahead(now.coast_until_s) is None
        return StopView(StopWord.STOPPED if done else StopWord.STOPPING, f"Stopped {asked.asker} at {at}.")
    sentence = f"Stop was sent {asked.asker} at {at}."
    if scene.now_s < asked.asked_s + STOP_CONFIRM_S:
        return StopView(StopWord.SENT, sentence)
    if now.hand == "hand":
        sentence += f" {cap(now.name)} is run by hand at its switch."
    elif not wired:
        sentence += f" Nothing is wired that could confirm that {now.name} stops."
    elif not sees:
        sentence += f" The sensor that sees whether {now.name} runs says nothing that can be relied on."
    return StopView(StopWord.NOT_CONFIRMED, sentence)


def stop_due_s(scene: Scene) -> float | None:
    """The next instant at which a stop that nobody has confirmed changes its word; None where there is none."""
    ends = (asked.asked_s + STOP_CONFIRM_S for asked in scene.notes.stops.values())
    return min((end for end in ends if end > scene.now_s), default=None)


# ---------------------------------------------------------------- offers


def _offers(scene: Scene, now: MotorNow) -> tuple[Offer, ...]:
    in_service = now.out_of_service is None
    out = Offer("out_of_service", now.name, f"Take {now.name} out of service", asks_text=True) if in_service else None
    kind = scene.plan.motors[now.name].kind
    idle = not now.on or not now.in_use
    start = scene.start_offer(now) if idle and kind is not MotorKind.SHAKER else None
    return made(
        start,
        _flush(scene, now) if idle else None,
        scene.clear_offer(now),
        scene.back_offer(now),
        out,
    )


def _flush(scene: Scene, now: MotorNow) -> Offer | None:
    start = scene.start_offer(now)
    gates = [scene.gates[gate.name] for gate in scene.ground.gates_of[now.name]]
    if start is None or now.in_use or not any(scene.movable(gate) for gate in gates):
        return None
    return Offer("flush", now.name, f"Clear each branch of {now.name}", None, start.press, start.caution)
