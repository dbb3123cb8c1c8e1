"""A real core on an example shop, driven step by step, with the page's view of it after each."""

import math
import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace

from gatekeeper.control.messages import (
    AirSeen,
    Answer,
    Command,
    Event,
    InputSeen,
    Kept,
    MotorSeen,
    MoveGate,
    Requested,
    RequestWhat,
    SwitchMotor,
    SwitchSeen,
    Ticked,
    ToolSeen,
    Who,
    Woke,
)
from gatekeeper.control.snapshot import CoreView
from gatekeeper.control.supervisor import Supervisor
from gatekeeper.service.face import GateWord, Heap, MotorView, Offer, Saying, ShopView, ToolView
from gatekeeper.service.planning import plan_of
from gatekeeper.service.viewing import Notes, Viewing
from gatekeeper.service.viewing_gates import understood
from gatekeeper.shop import examples
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

#: Wall clock minus monotonic clock; the local time of monotonic 0 is then some fixed time of the day.
OFFSET_S = 1_790_000_000.0
REFUSED = "safe|compliant|certified|protected|explosion-proof"
INSIDE = "path|paths|lease|leases|guard|policy|policies|store|stores|stored|believe|believed|believes"
_REFUSED = re.compile(rf"\b({REFUSED}|{INSIDE})\b", re.IGNORECASE)
#: Fields that hold names and handles of the shop, not sentences.
_NAMES = frozenset(
    {"name", "subject", "key", "what", "duct", "towards", "motor", "gate", "gates", "motors", "tools", "who", "why"}
)


def example_shop(name: str, *, remote: bool = False) -> Shop:
    shop = load_shop(examples.example(name).read_text(encoding="utf-8"), name)
    assert isinstance(shop, Shop)
    return replace(shop, page=replace(shop.page, remote_start=True)) if remote else shop


class Room:
    """One shop, one core, one viewing. ``lively``: motors and switches answer as a whole shop's would."""

    def __init__(
        self, shop: Shop, *, lively: bool = True, ready: bool = True, kept: Kept | None = None, strict: bool = True
    ) -> None:
        self.shop = shop
        self.plan = plan_of(shop)
        self.core = Supervisor(self.plan, kept, strict=strict)
        self.lively = lively
        self.now_s = 100.0
        self.coming: list[tuple[float, Event]] = []
        self.answers: list[Answer] = []
        self.notes = Notes(OFFSET_S)
        self.viewing = Viewing(shop, self.plan, lambda: OFFSET_S + self.now_s)
        self.version = 0
        self.handle(Woke())
        if ready:
            for name in self.plan.inputs:
                self.handle(InputSeen(name, "made"))
            for name in self.plan.tools:
                self.handle(ToolSeen(name, "stopped"))
            self.run(30.0)

    def handle(self, event: Event) -> list[Answer]:
        commands = self.core.handle(event, self.now_s)
        answers = [command for command in commands if isinstance(command, Answer)]
        self.answers += answers
        if self.lively:
            for command in commands:
                self._live(command)
        return answers

    def _live(self, command: Command) -> None:
        match command:
            case SwitchMotor(motor=name, what="on" | "off" as what):
                if self.shop.motors[name].confirmed_by is not None:
                    seen = MotorSeen(name, "running" if what == "on" else "still")
                    self.coming.append((self.now_s + 0.5, seen))
                if self.shop.motors[name].air_proof is not None:
                    self.coming.append((self.now_s + 1.0, AirSeen(name, what == "on")))
            case MoveGate(gate=name, what="open" | "shut" as what):
                plan = self.plan.gates[name]
                if plan.has_switch and (what == "open" or plan.sees_shut):
                    self.coming.append((self.now_s + plan.dead_s + plan.travel_s, SwitchSeen(name, what)))
            case _:
                pass

    def run(self, for_s: float) -> None:
        """Let time pass; everything that is due happens at its own instant."""
        end_s = self.now_s + for_s
        while True:
            due = [at_s for at_s, _ in self.coming]
            deadline = self.core.next_deadline()
            if deadline is not None:
                due.append(max(deadline, self.now_s))
            next_s = min(due, default=math.inf)
            if next_s > end_s:
                break
            self.now_s = max(self.now_s, next_s)
            ready = [one for one in self.coming if one[0] <= self.now_s]
            self.coming = [one for one in self.coming if one[0] > self.now_s]
            for _, event in ready:
                self.handle(event)
            if not ready:
                self.handle(Ticked())
        self.now_s = end_s
        self.handle(Ticked())

    def ask(
        self,
        what: RequestWhat,
        subject: str | None = None,
        who: Who = "page",
        for_s: float | None = None,
        text: str | None = None,
    ) -> Answer:
        (answer,) = self.handle(Requested(what, subject, who, for_s, text, "ref"))
        return answer

    def tool(self, name: str, state: str) -> None:
        self.handle(ToolSeen(name, state))  # type: ignore[arg-type]

    def view(self) -> ShopView:
        self.version += 1
        return self.viewing.view(self.core.snapshot(), version=self.version, amperes={}, notes=self.notes)

    def accepts(self, offer: Offer) -> bool:
        """Whether the core takes an offer at this instant; the core is as before afterwards."""
        saved, lively, self.lively = self.core.save(), self.lively, False
        answer = self.ask(offer.what, offer.subject, for_s=offer.for_s, text="somebody: a reason")
        self.core.restore(saved)
        self.lively = lively
        return answer.accepted


def offers_of(view: ShopView) -> list[Offer]:
    """Every offer of a view."""
    found = list(view.offers)
    for holders in (view.motors, view.gates, view.tools, view.messages, view.attention):
        for holder in holders:
            found.extend(holder.offers)
    return found


def _parts(value: object, field: str = "") -> Iterator[tuple[str, object]]:
    yield field, value
    if is_dataclass(value):
        for one in fields(value):
            yield from _parts(getattr(value, one.name), one.name)
    elif isinstance(value, tuple):
        for item in value:
            yield from _parts(item, field)


def wrong_texts(view: ShopView) -> list[str]:
    """Every text that may not stand on a screen, with the reason; the shop's own names are its own."""
    found = []
    names = [one.name for group in (view.gates, view.motors, view.tools) for one in group if _REFUSED.search(one.name)]
    for field, part in _parts(view):
        if isinstance(part, Saying):
            ends = [end for end in (part.until_s, part.since_s) if end is not None]
            if part.text.count("{time}") > 1 or part.text.count("{time}") != len(ends):
                found.append(f"time without its end: {part.text}")
            if part.until_s is not None and part.until_s < view.now_s - 1e-6:
                found.append(f"counts down to the past: {part.text}")
        if not isinstance(part, str) or field in _NAMES:
            continue
        bare = part.replace("{time}", "") if field == "text" else part
        if "{" in bare or "}" in bare:
            found.append(f"unfilled: {part}")
        ours = part.lower()
        for name in names:
            ours = ours.replace(name.lower(), "")
        if _REFUSED.search(ours):
            found.append(f"refused word: {part}")
        if field in ("text", "sentence", "cause", "remedy") and not (part[:1].isupper() and part.endswith((".", "?"))):
            found.append(f"not a sentence: {part}")
    return found


def faults_of(view: ShopView, core: CoreView, room: Room) -> list[str]:
    """What is wrong with a view, in words; empty where it keeps its promises."""
    found = wrong_texts(view)
    found += [f"{gate.name} {gate.word} without a reason" for gate in view.gates if _bare(gate.word, gate.reason)]
    found += [f"{motor.name} runs without a reason" for motor in view.motors if motor.runs and motor.reason is None]
    heaps = [message.heap for message in view.messages if not message.cleared]
    worst = next((heap for heap in (Heap.NOW, Heap.TODAY, Heap.WHEN_YOU_CAN) if heap in heaps), None)
    if view.harm is not worst:
        found.append(f"harm is {view.harm}, the worst message {worst}")
    if view.harm is Heap.NOW and core.awake and not (core.fire or core.emergency or core.open_circuits):
        told = [m.sentence for m in view.messages if m.heap is Heap.NOW and not m.cleared]
        if not view.sentence.text.startswith(tuple(told)):
            found.append(f"the top says {view.sentence.text!r} while something hurts now")
    for gate in core.gates:
        if not understood(gate, tuple(room.plan.tools)):
            found.append(f"{gate.name}: no words for the reason {gate.reason!r}")
    if any(duct.moves for duct in view.ducts) and not any(motor.runs for motor in view.motors):
        found.append("air moves and no fan runs")
    if len(view.ducts) < len(view.gates) or {gate.duct for gate in view.gates} - {duct.name for duct in view.ducts}:
        found.append("a gate has no duct to be drawn on")
    if view.seq != core.seq or view.version != room.version:
        found.append("numbers do not fit")
    return found


def _bare(word: GateWord, reason: Saying | None) -> bool:
    return word is not GateWord.SHUT and reason is None


# ---------------------------------------------------------------- reading a view


def top(room: Room) -> tuple[str, float | None]:
    """The sentence, and the seconds that its time counts: ahead positive, passed negative."""
    view = room.view()
    said = view.sentence
    if said.until_s is not None:
        return said.text, round(said.until_s - view.now_s, 2)
    return said.text, None if said.since_s is None else round(said.since_s - view.now_s, 2)


def gate(view: ShopView, name: str) -> tuple[GateWord, str | None]:
    found = next(one for one in view.gates if one.name == name)
    return found.word, found.reason.text if found.reason else None


def motor(view: ShopView, name: str = "collector") -> MotorView:
    return next(one for one in view.motors if one.name == name)


def tool(view: ShopView, name: str) -> ToolView:
    return next(one for one in view.tools if one.name == name)


def labels(offers: tuple[Offer, ...]) -> list[str]:
    return [offer.label for offer in offers]


def reason(view: ShopView, name: str = "collector") -> str | None:
    said = motor(view, name).reason
    return said.text if said else None


def asks(view: ShopView) -> list[tuple[str, str, list[str]]]:
    return [(one.harm.value, one.saying.text, labels(one.offers)) for one in view.attention]
