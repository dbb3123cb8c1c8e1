"""What people are told at a gate that a coil and a spring go on pushing, before a hand goes in."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from viewing_room import Room, example_shop

from gatekeeper.control.messages import Missed
from gatekeeper.service.coil_gates import AT_A_COIL

STUCK = (
    "Take away its air or power first; its spring still pushes, so clear the slot with a stick and no finger. Give air "
    "or power back, then press Release. It moves three seconds later."
)


def remedies(room: Room) -> dict[str, str]:
    return {message.key: message.remedy for message in room.view().messages if not message.cleared}


@pytest.fixture
def room() -> Room:
    """The planer's gate is on an air valve, the panel saw's guard gate on a servo."""
    made = Room(example_shop("long-narrow"), lively=False)
    made.run(30.0)
    return made


def test_a_stuck_gate_on_a_coil_says_that_air_or_power_goes_first(room: Room) -> None:
    room.tool("planer", "running")
    for _ in range(12):
        room.run(6.0)
        room.handle(Missed("planer gate", "sent open, seen between"))
    told = remedies(room)
    assert told["gate_stuck:planer gate"] == STUCK
    shown = [one.saying.text for one in room.view().attention]
    assert f"Planer gate did not move as told and is now held. {STUCK}" in shown


def test_a_held_gate_on_a_coil_says_so_too_and_one_on_a_servo_does_not(room: Room) -> None:
    for gate in ("planer gate", "saw guard gate"):
        room.ask("hold", gate)
    told = remedies(room)
    assert told["gate_held:planer gate"] == AT_A_COIL["gate_held"]
    assert told["gate_held:saw guard gate"] == (
        "Press Release when fingers and tools are out. It moves three seconds later."
    )


def test_whoever_cuts_at_such_a_gate_that_is_held_is_told_too() -> None:
    room = Room(example_shop("long-narrow"))
    room.ask("hold", "planer gate")
    room.tool("planer", "running")
    room.run(9.0)
    told = remedies(room)
    assert told["not_collected:planer"] == (
        "Stop the cut. Take away the gate's air or power first; its spring still pushes. Clear the slot with a stick "
        "and no finger, or open the gate by hand. Give air or power back, then press Release."
    )


@pytest.mark.parametrize("remedy", AT_A_COIL.values())
def test_air_or_power_comes_before_the_slot_and_before_release(remedy: str) -> None:
    assert 0 <= remedy.index("Take away") < remedy.index("Press Release" if "Press" in remedy else "press Release")
    assert "slot" not in remedy or remedy.index("Take away") < remedy.index("slot")
