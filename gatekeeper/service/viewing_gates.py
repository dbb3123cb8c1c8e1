"""Gates in words: where each stands, how that is known, why and until when; and the ducts that air moves in."""

from dataclasses import dataclass, replace

from gatekeeper.control.alarms import gate_called
from gatekeeper.control.plan import GatePlan
from gatekeeper.control.snapshot import GateNow
from gatekeeper.service.drive_table import FULL
from gatekeeper.service.face import DuctView, GateView, GateWord, Offer, Saying
from gatekeeper.service.live_air import LiveAir
from gatekeeper.service.viewing_scene import RUN_S, Scene, listing, made, plain
from gatekeeper.shop.model import Shop

_WORDS = {
    "open": GateWord.OPEN,
    "shut": GateWord.SHUT,
    "opening": GateWord.OPENING,
    "shutting": GateWord.SHUTTING,
    "unproven": GateWord.NOT_KNOWN,
    "stuck": GateWord.STUCK,
    "held": GateWord.HELD,
}
_OPENS = {
    GateWord.OPEN: "Open",
    GateWord.OPENING: "Opening",
    GateWord.SHUTTING: "Moves a little to and fro, then opens",
    GateWord.SHUT: "Is to open",
    GateWord.NOT_KNOWN: "Is to open",
}
#: The core's own reasons to keep or open a gate that no tool and no person asked for, and their words on the page.
_OPEN_FOR = {
    "opened again: air was not proved without it": "because no air was seen to move without it",
    "its branch is being flushed": "while its branch is cleared",
    "open as extra air for the main": "as extra air, to keep the air in the main fast enough",
    "kept open so that air can reach the fan": "so that air can reach the fan",
    "kept open so that air can reach the fan at the next start": "so that air can reach the fan at the next start",
}
_HAND_WORDS = {"air here": "for air here", "floor sweep": "for the floor sweep"}
_TO_SHUT = frozenset(
    {
        "nothing runs on its branch and it is clear",
        "nobody knows where it stands and a cut needs the air",
        "shut by hand",
    }
)


@dataclass(frozen=True, slots=True)
class _Cause:
    """Why a gate is open or is to open, and the end of that: "Open " and the words make a sentence."""

    words: str
    until_s: float | None = None


def gate_view(scene: Scene, now: GateNow, duct: str) -> GateView:
    """One gate as the page shows it."""
    plan = scene.plan.gates[now.name]
    said = reason(scene, now)
    return GateView(
        name=now.name,
        motor=plan.system,
        duct=duct,
        word=_WORDS[now.belief],
        automatic=plan.actuated,
        tools=scene.ground.tools_at[now.name],
        reason=said,
        proof=proof(plan, now),
        offers=_offers(scene, now),
    )


def proof(plan: GatePlan, now: GateNow) -> str:
    """How its place is known, in words."""
    if now.belief in ("opening", "shutting"):
        return "it moves, nothing is known until it arrives"
    by_switch = plan.has_switch and (now.is_open or (now.belief == "shut" and plan.sees_shut))
    if by_switch:
        return "its switch says so"
    if now.belief == "shut" and plan.has_switch:
        return "its switch no longer says open"
    if not plan.actuated and not plan.has_switch:
        return "nothing at the gate says where it stands"
    if now.is_open or now.belief == "shut":
        return "a full travel time has passed, no switch"
    return "nothing proves where it stands"


# ---------------------------------------------------------------- why it stands so


def reason(scene: Scene, now: GateNow) -> Saying | None:
    """Why it is open, moves, waits or is held, and until when; None while it is simply shut."""
    plan = scene.plan.gates[now.name]
    motor = scene.motors[plan.system]
    if now.belief == "stuck":
        return Saying("It did not move as told and is held. Clear the slot, then press Release.")
    if now.held is not None:
        by = f" ({plain(now.held)})" if now.held != "held" else ""
        return Saying(f"Held{by}: it gets no motion until somebody presses Release.")
    if scene.ahead(now.may_move_at_s) is not None:
        return Saying("Released: it may move in {time}.", until_s=now.may_move_at_s)
    if not plan.actuated:
        return _by_hand(scene, plan, now)
    if motor.blocked is not None:
        return None if now.belief == "shut" else Saying(f"Stands still: {motor.blocked[1]}.")
    if not scene.core.awake:
        return Saying("Nobody knows where it stands until the sensors have settled.")
    cause = _cause(scene, now)
    return _open_reason(now, cause) if cause is not None else _shut_reason(now)


def _by_hand(scene: Scene, plan: GatePlan, now: GateNow) -> Saying | None:
    if now.belief == "shut":
        return None
    running = _running_at(scene, now)
    if now.belief == "open":
        return Saying(f"Opened by hand, for {listing(running)}." if running else "Opened by hand at the gate.")
    if plan.has_switch:
        return Saying("Moved by hand. Its switch says neither open nor shut.")
    needed = f" See that it is open: {listing(running)} runs." if running else ""
    return Saying(f"Moved by hand. Nothing at the gate says where it stands.{needed}")


def _running_at(scene: Scene, now: GateNow) -> list[str]:
    return [name for name in scene.ground.tools_at[now.name] if scene.tools[name].wants_gates]


def _cause(scene: Scene, now: GateNow) -> _Cause | None:
    """Why it is open or is to open, in the core's own order; None where nothing wants it open."""
    running = _running_at(scene, now)
    if running:
        return _Cause(f"for {listing(running)}")
    unsure = [name for name in scene.ground.tools_at[now.name] if scene.tools[name].may_run]
    if unsure:
        return _Cause(f"because nobody can say that {listing(unsure)} stands still")
    if scene.ahead(now.clear_until_s) is not None:
        return _Cause("until its branch is clear, {time} more", now.clear_until_s)
    if now.hand == "open":
        begins = (now.reason or "").partition(" for ")[0]
        words = _HAND_WORDS.get(begins, "as asked by hand")
        return _Cause(f"{words}, {{time}} more", now.hand_until_s)
    if now.reason is None or now.reason in _TO_SHUT:
        return None
    return _Cause(_OPEN_FOR.get(now.reason, "for a reason that the history tells"))


def _open_reason(now: GateNow, cause: _Cause) -> Saying | None:
    word = _WORDS[now.belief]
    if word is GateWord.SHUT and now.reason is None:
        return None
    if word in (GateWord.SHUT, GateWord.NOT_KNOWN) and now.waits:
        return Saying(f"Waits to open {cause.words}, until another gate has moved.", until_s=cause.until_s)
    if word is GateWord.NOT_KNOWN and now.tries:
        return Saying(f"It did not arrive and is tried again. Is to open {cause.words}.", until_s=cause.until_s)
    if word is GateWord.NOT_KNOWN and now.reason is None:
        return Saying(f"Nobody knows where it stands. It stays so {cause.words}.", until_s=cause.until_s)
    return Saying(f"{_OPENS[word]} {cause.words}.", until_s=cause.until_s)


def _shut_reason(now: GateNow) -> Saying | None:
    match _WORDS[now.belief]:
        case GateWord.SHUT:
            return None
        case GateWord.SHUTTING if now.reason == "shut by hand":
            return Saying("Shutting, as asked by hand.")
        case GateWord.SHUTTING:
            return Saying("Shutting: nothing runs on its branch and it is clear.")
        case GateWord.OPENING:
            return Saying("Opening to its end; nothing needs it any more.")
        case GateWord.OPEN if now.waits:
            return Saying("Open. It shuts when another gate has moved.")
        case GateWord.OPEN:
            return Saying("Open until another gate is open, so that air can reach the fan.")
        case _ if now.reason in _TO_SHUT:
            return Saying("Nobody knows where it stands. It shuts as soon as it may.")
        case _:
            return Saying("Nobody knows where it stands. It moves when a cut needs the air.")


def understood(now: GateNow, tools: tuple[str, ...]) -> bool:
    """True where the core's own reason for a gate is one that has its words here."""
    why = now.reason
    if why is None or why in _OPEN_FOR or why in _TO_SHUT or why == "its branch is clearing":
        return True
    tool_words = {f"{tool} runs" for tool in tools} | {f"nobody can say that {tool} stands still" for tool in tools}
    return why in tool_words or why.partition(" for ")[0] in ("opened by hand", *_HAND_WORDS)


def _offers(scene: Scene, now: GateNow) -> tuple[Offer, ...]:
    called = gate_called(now.name)
    plan = scene.plan.gates[now.name]
    opens = holds = shuts = None
    if scene.movable(now) and now.belief in ("shut", "shutting", "unproven") and now.hand != "open":
        opens = Offer("open", now.name, f"Open {called} for 10 min", RUN_S)
    if now.belief in ("open", "opening", "unproven") and now.hand != "shut":
        shuts = scene.shut_offer(now)
    if plan.actuated and now.held is None and now.belief != "stuck":
        holds = Offer("hold", now.name, f"Keep {called} still", caution="It gets no motion until it is released.")
    return made(opens, shuts, holds, scene.release_offer(now))


# ---------------------------------------------------------------- ducts


class Ducts:
    """The tree of ducts, drawn once for still air and once for moving air.

    A gate whose ducts the shop's file does not describe gets a short duct of its own straight to its motor, and so
    does each of several gates on one duct, so that every gate can be drawn.

    Args:
        shop: the shop.
        air: what is known of velocities; None where nothing is.
    """

    def __init__(self, shop: Shop, air: LiveAir | None = None) -> None:
        self._air = air
        sharing: dict[str | None, list[str]] = {}
        for gate in shop.gates.values():
            sharing.setdefault(gate.duct, []).append(gate.name)
        alone = {names[0]: duct for duct, names in sharing.items() if duct is not None and len(names) == 1}
        gate_on = {duct: name for name, duct in alone.items()}
        # The lengths of the solved network are named as in gatekeeper.service.ducting.
        self._solved = {name: name for name in shop.ducts}
        still = [
            DuctView(
                duct.name,
                duct.towards,
                duct.motor,
                duct.diameter_m,
                duct.length_m + duct.flex_m,
                gate_on.get(duct.name),
            )
            for duct in shop.ducts.values()
        ]
        taken = {*shop.ducts, *shop.motors}
        self.of_gate: dict[str, str] = dict(alone)
        for gate in shop.gates.values():
            if gate.name in alone:
                continue
            name = f"{gate.name} duct"
            while name in taken:
                name = f"{name} duct"
            taken.add(name)
            self.of_gate[gate.name] = name
            self._solved[name] = gate.duct if gate.duct is not None else gate.name
            still.append(DuctView(name, gate.duct or gate.motor, gate.motor, gate.diameter_m, 0.0, gate.name))
        self._still = tuple(still)
        self._moving = tuple(replace(duct, moves=True) for duct in still)
        place = {duct.name: number for number, duct in enumerate(still)}
        self._ways = {gate: self._way(place, duct) for gate, duct in self.of_gate.items()}

    def _way(self, place: dict[str, int], duct: str) -> tuple[str, tuple[int, ...], tuple[str, ...]]:
        """From a duct to its motor: the motor, the ducts passed, and the gates passed."""
        numbers: list[int] = []
        here = duct
        while here in place:
            numbers.append(place[here])
            here = self._still[place[here]].towards
        passed = (self._still[number].gate for number in numbers)
        return here, tuple(numbers), tuple(gate for gate in passed if gate is not None)

    def views(self, scene: Scene) -> tuple[DuctView, ...]:
        """Every duct; air moves where an open gate leads to a running fan with no gate in between that is not open."""
        moving: set[int] = set()
        for motor, numbers, gates in self._ways.values():
            if scene.motors[motor].fan_runs and all(scene.gates[gate].is_open for gate in gates):
                moving.update(numbers)
        speeds = self._speeds(scene) if moving else {}
        return tuple(
            self._moving_at(n, speeds.get(self._solved[duct.name])) if n in moving else duct
            for n, duct in enumerate(self._still)
        )

    def _moving_at(self, number: int, velocity_ms: float | None) -> DuctView:
        duct = self._moving[number]
        return duct if velocity_ms is None else replace(duct, velocity_ms=velocity_ms)

    def _speeds(self, scene: Scene) -> dict[str, float]:
        """Velocities by length of the solved networks, for the gates that are believed open."""
        speeds: dict[str, float] = {}
        if self._air is None:
            return speeds
        for motor in scene.core.motors:
            if motor.fan_runs:
                gates = scene.ground.gates_of[motor.name]
                is_open = frozenset(gate.name for gate in gates if scene.gates[gate.name].is_open)
                speed = scene.notes.speeds.get(motor.name)
                percent = max(1, speed.percent) if speed is not None else FULL
                speeds.update(self._air.velocities(motor.name, is_open, percent))
        return speeds
