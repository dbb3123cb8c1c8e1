"""The view keeps its promises in any order of events: reasons, words, harm, and offers that would be accepted."""

import sys
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import get_args

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))

from viewing_room import OFFSET_S, Room, example_shop, faults_of, offers_of

from gatekeeper.control.messages import (
    AirSeen,
    Event,
    HandSeen,
    InputSeen,
    Kept,
    Missed,
    MotorSeen,
    QuietSeen,
    Requested,
    RequestWhat,
    SettingChanged,
    ShopKeySeen,
    SwitchSeen,
    ToolSeen,
    Who,
)
from gatekeeper.service.face import Offer
from gatekeeper.service.viewing import SpinDownChange, StopAsked
from gatekeeper.shop import examples
from gatekeeper.shop.model import Shop

_SHOPS = ("garage-one-collector", "long-narrow", "shared-twelve", "one-evening")
_WAITS_S = (0.0, 0.0, 0.3, 1.0, 2.5, 8.0, 30.0, 200.0, 2000.0)
_ASKS: tuple[RequestWhat, ...] = get_args(RequestWhat)
_steps = st.lists(
    st.tuples(st.integers(0, 15), st.integers(0, 60), st.integers(0, 60), st.sampled_from(_WAITS_S)),
    min_size=1,
    max_size=14,
)


@cache
def shop_of(name: str, remote: bool) -> Shop:
    return example_shop(name, remote=remote)


def pick(names: "tuple[str, ...] | list[str]", number: int) -> str:
    return names[number % len(names)]


def event_of(room: Room, kind: int, first: int, second: int) -> Event | None:
    """One event out of three numbers; None where the shop has no such part."""
    plan = room.plan
    tools, gates, motors, inputs = list(plan.tools), list(plan.gates), list(plan.motors), list(plan.inputs)
    switched = [name for name, gate in plan.gates.items() if gate.has_switch]
    hands = [name for name in motors if name in room.viewing._ground.has_hand_switch] or motors
    match kind:
        case 0 | 1 | 2:
            return ToolSeen(pick(tools, first), "running")
        case 3 | 4:
            return ToolSeen(pick(tools, first), "stopped")
        case 5:
            return ToolSeen(pick(tools, first), "stale")
        case 6:
            return Missed(pick(gates, first))
        case 7:
            return MotorSeen(pick(motors, first), pick(["running", "still", "lost"], second))  # type: ignore[arg-type]
        case 8:
            return AirSeen(pick(motors, first), second % 2 == 0)
        case 9:
            state = pick(["open", "made", "made"], second)
            return InputSeen(pick(inputs, first), state) if inputs else None  # type: ignore[arg-type]
        case 10:
            return HandSeen(pick(hands, first), pick(["hand", "off", "auto", "auto"], second))  # type: ignore[arg-type]
        case 11:
            return ShopKeySeen("shut" if second % 3 == 0 else "open") if first % 2 else QuietSeen(second % 2 == 0)
        case 12:
            state = pick(["open", "shut", "between"], second)
            return SwitchSeen(pick(switched, first), state) if switched else None  # type: ignore[arg-type]
        case 13:
            value_s = (0.0, 3.0, 90.0, 1200.0, None)[second % 5]
            return SettingChanged(pick([*tools, *motors], first), "spin_down_s", value_s, "page", "ref")
        case _:
            what = pick(_ASKS, second)
            subjects: list[str | None] = [*gates, *motors, *tools, None]
            who: Who = "local" if second % 4 == 0 else "page"
            return Requested(what, subjects[first % len(subjects)], who, None, "the steward: {new} bag", "ref")


def note(room: Room, event: Event) -> None:
    """What the service would add to the notes."""
    if isinstance(event, Requested) and event.what == "stop":
        asked = StopAsked(event.who, "192.168.1.23", room.now_s)
        about = [event.subject] if event.subject in room.plan.motors else list(room.plan.motors)
        room.notes = replace(room.notes, stops={**room.notes.stops, **dict.fromkeys(about, asked)})
    if isinstance(event, SettingChanged):
        change = SpinDownChange("the page, from 192.168.1.23", OFFSET_S, 8.0, True, room.now_s + 10)
        room.notes = replace(room.notes, spin_downs={**room.notes.spin_downs, event.subject: change})


def look(room: Room) -> None:
    view = room.view()
    assert faults_of(view, room.core.snapshot(), room) == []


def refused_offers(room: Room) -> list[Offer]:
    return [offer for offer in set(offers_of(room.view())) if not room.accepts(offer)]


def walk(room: Room, steps: list[tuple[int, int, int, float]]) -> None:
    for kind, first, second, wait_s in steps:
        event = event_of(room, kind, first, second)
        if event is not None:
            room.handle(event)
            note(room, event)
            look(room)
        room.run(wait_s)
        look(room)
    assert refused_offers(room) == []


@pytest.mark.parametrize("name", _SHOPS)
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(steps=_steps, remote=st.booleans(), lively=st.booleans())
def test_every_view_keeps_its_promises(
    name: str, steps: list[tuple[int, int, int, float]], remote: bool, lively: bool
) -> None:
    walk(Room(shop_of(name, remote), lively=lively, strict=False), steps)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(steps=_steps, damaged=st.booleans())
def test_so_does_every_view_after_waking_with_what_was_kept(
    steps: list[tuple[int, int, int, float]], damaged: bool
) -> None:
    shop = shop_of("long-narrow", True)
    kept = Kept(
        {
            "latched/collector": "did_not_start",
            "held/saw guard gate": {"why": "new blade", "worked": True},
            "stuck/planer gate": True,
            "emergency": True,
            "out_of_service/vacuum": {"who": "page", "why": "the steward: new hose", "since_s": 5.0},
            "starts/air cleaner": {"level": 0.5, "locked": True},
        },
        fresh=False,
        damaged=damaged,
    )
    room = Room(shop, kept=kept, ready=False, strict=False)
    look(room)
    walk(room, [*steps[:3], *((9, number, 1, 0.3) for number in range(2)), *steps[3:]])


@pytest.mark.parametrize("name", examples.names())
def test_a_day_of_every_example_shop(name: str) -> None:
    room = Room(shop_of(name, True))
    for tool in room.plan.tools:
        room.tool(tool, "running")
        look(room)
        room.run(20.0)
        look(room)
        room.tool(tool, "stopped")
        look(room)
        room.run(3.0)
        look(room)
    room.run(4000.0)
    look(room)
    assert refused_offers(room) == []
