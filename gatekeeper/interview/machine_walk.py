"""One machine of a new shop, at the end of a duct or straight on a collector; most are like the one before."""

from dataclasses import replace

from gatekeeper.interview.draft import DraftMachine, ShopDraft
from gatekeeper.interview.engine import Walk
from gatekeeper.interview.gates import Moved, Mover, ask_gate
from gatekeeper.interview.machine import (
    KEPT_BACK,
    NEITHER,
    NO_THINGS,
    ask_drop_things,
    ask_hose,
    ask_name,
    ask_need,
    ask_port,
)
from gatekeeper.interview.reading import Size, free_name, gate_of, yes_no_question
from gatekeeper.interview.room import Pins
from gatekeeper.interview.sensors import NOTHING_YET, Seen, ask_seen
from gatekeeper.layout.measures import Measures

_GATES = {
    Mover.HAND: "its gate moved by hand",
    Mover.SEEN: "its gate moved by hand, with a switch",
    Mover.SERVO: "its gate by a servo",
    Mover.SERVO_ON_PIN: "its gate by a servo on a pin",
    Mover.BRIDGE: "its gate by a motor on an H-bridge",
    Mover.RELAYS: "its gate by a motor on two relays",
    Mover.COIL: "its gate by a solenoid or air valve",
}
"""How a gate is told that may be like the one before; each behind a broker has topics of its own."""

_THINGS = {"neither": "", "button": ", a button", "sign lamp": ", a sign lamp", "both": ", a button, a sign lamp"}


def walk_machine(draft: ShopDraft, diameter: Size, say: Measures, *, is_on_duct: bool) -> Walk[None]:
    """The machine at the end of the duct that was begun, or straight on the collector."""
    again = draft.elsewhere()
    name: str = yield from ask_name(draft.taken, again=again)
    drop: str | None = None
    if is_on_duct:
        hoses = [duct.flex for duct in draft.ducts if duct.flex is not None]
        hose, is_assumed = yield from ask_hose(say, hoses[-1] if hoses else None)
        drop = draft.close_as_drop(name, hose, flex_assumed=is_assumed)
    machine = DraftMachine(name, drop, diameter, None, None, Moved(), None, motor=draft.here.name)
    if name in again:
        gate = free_name(gate_of(name), draft.used)
        moved = yield from ask_gate(name, gate, draft.gate_scene())
        draft.machines.append(replace(machine, moved=moved, gate=gate, is_again=True))
        return
    alike = _like_the_last(draft, machine)
    if alike is not None:
        last = draft.machines[-1]
        is_alike: str = yield yes_no_question(
            "alike",
            f"Is the {name} like the {last.name}: {_told(alike)}?",
            "Yes takes all of that over. No asks for one after the other.",
            "yes",
        )
        alike = alike if is_alike == "yes" else None
    if alike is None:
        alike = yield from _ask_each(draft, machine)
    if draft.with_needs:
        needs = yield from ask_need(name, diameter, alike.port, say)
        alike = replace(alike, needs=needs)
    draft.machines.append(alike)


def _ask_each(draft: ShopDraft, machine: DraftMachine) -> Walk[DraftMachine]:
    """What may be like the machine before, one after the other."""
    name = machine.name
    told = [one for one in draft.machines if not one.is_again]
    port = yield from ask_port(name, machine.diameter)
    moved = yield from ask_gate(name, machine.gate_name, draft.gate_scene())
    machine = replace(machine, port=port, moved=moved)
    so_far = draft.with_machine(machine)
    # The pin that is kept for the first sensor may be this one's.
    has_pin = so_far.room.has(Pins(contacts=1)) or all(one.seen is None for one in told)
    usual = told[-1].seen.word if told and told[-1].seen is not None else NOTHING_YET
    seen = yield from ask_seen(name, so_far.free_channel(), has_pin=has_pin, usual=usual)
    machine = replace(machine, seen=seen)
    if not draft.with_drops:
        return machine
    room = draft.with_machine(machine).room
    usual = told[-1].things.word if told else NEITHER
    things = yield from ask_drop_things(name, room, is_seen=seen is not None, usual=usual)
    return replace(machine, things=things)


def _like_the_last(draft: ShopDraft, machine: DraftMachine) -> DraftMachine | None:
    """The machine as the one before is; None where there is none like it, or no pin or channel for it."""
    last = draft.machines[-1] if draft.machines else None
    if last is None or last.is_again or last.moved.by not in _GATES or (last.duct is None) != (machine.duct is None):
        return None
    port = last.port if last.port is not None or last.diameter == machine.diameter else last.diameter
    machine = replace(machine, port=port, moved=last.moved, things=last.things)
    if last.moved.by not in draft.gate_scene().offered():
        return None
    room = draft.with_machine(machine).room
    seen = last.seen
    if seen is not None and seen.converter is not None:
        channel = draft.with_machine(machine).free_channel()
        if channel is None:
            return None
        seen = Seen(*channel, seen.range_a)
    elif seen is not None and not room.has(Pins(contacts=1)):
        return None
    machine = replace(machine, seen=seen)
    left = draft.with_machine(machine).room
    return machine if left.has(KEPT_BACK if last.things != NO_THINGS else Pins()) else None


def _told(machine: DraftMachine) -> str:
    """What is taken over, in words."""
    port = machine.port if machine.port is not None else machine.diameter
    seen = machine.seen.word if machine.seen is not None else ""
    sees = f"a {seen}" if seen else "nothing yet that tells whether it runs"
    return f"a port of {port.text}, {_GATES[machine.moved.by]}, {sees}{_THINGS[machine.things.word]}"
