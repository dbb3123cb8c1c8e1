"""Contacts are worked once and named: buttons, keys, detectors, doors, gates, the selector; swaps are said."""

import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from gatekeeper.devices.bench import BenchPins
from gatekeeper.service.face_commissioning import StepState

sys.path.insert(0, str(Path(__file__).parent))
from commissioning_room import SHOP, Room

Enter = Callable[..., Room]


@pytest.fixture
def enter(tmp_path: Path) -> Iterator[Enter]:
    rooms: list[Room] = []

    def make(**how: str) -> Room:
        rooms.append(Room(tmp_path, **how))  # type: ignore[arg-type]
        return rooms[-1]

    yield make
    for room in rooms:
        room.close()


def said(room: Room, key: str) -> str:
    result = room.step(key).result
    assert result is not None
    return result.partition(" Ada, ")[0]


def test_a_button_is_seen_however_short_the_press(enter: Enter) -> None:
    room = enter()
    room.plant.turn_selector("selector", "off")
    room.pass_s(1.0)
    walk = room.begin("contact/input:saw air")
    assert walk.prompt.text == "Press saw air, and let go."
    assert walk.live[0] == ("saw air", "not pressed")
    assert {what for what, _ in walk.live} == {
        "saw air", "red button", "heat", "reset key", "bin door", "selector, hand", "selector, auto",
        "switch at the open end of saw gate", "switch at the shut end of saw gate",
    }  # fmt: skip
    room.plant.press("saw air")
    room.pass_s(2.0)  # nobody looks meanwhile
    assert room.step("contact/input:saw air").state is StepState.PASSED
    assert said(room, "contact/input:saw air") == (
        'Worked, it was seen as "pressed"; let go, as "not pressed". No other contact changed in its place.'
    )


def test_a_swap_is_said_with_both_wires(enter: Enter) -> None:
    swapped = (
        SHOP.replace("pin: GPIO26", "pin: GPIO99").replace("pin: GPIO22", "pin: GPIO26").replace("GPIO99", "GPIO22")
    )
    room = enter(wired=swapped)
    room.plant.turn_selector("selector", "off")
    room.pass_s(1.0)
    room.begin("contact/input:saw air")
    room.plant.press("saw air")
    assert room.ends("contact/input:saw air").state is StepState.FAILED
    assert said(room, "contact/input:saw air") == (
        "Saw air was worked, and reset key (GPIO26, normally open) spoke instead. The file has saw air on GPIO22, "
        "normally open: their wires are swapped, or another one was worked."
    )


def test_the_red_button_is_seen_pressed_then_let_go_then_reset(enter: Enter) -> None:
    room = enter()
    walk = room.begin("contact/input:red button")
    assert walk.prompt.text == "Press red button, and pull it out again."
    room.plant.set_input("red button", True)
    walk = room.asks('It says "pressed" now. Let it go, or put it back.')
    assert walk.live[0] == ("red button", "pressed, changed")
    room.plant.set_input("red button", False)
    assert room.asks("It is seen, and everything stands. Press Reset.").offers[0].label == "Reset"
    assert room.press("reset").sentence == "Not yet: red button is still open."
    room.pass_s(0.5)
    assert room.press("reset").sentence == "Reset. Nothing starts by itself."
    assert room.ends("contact/input:red button").state is StepState.PASSED


def test_a_fire_alarm_is_reset_at_the_controller_only(enter: Enter) -> None:
    room = enter()
    room.begin("contact/input:heat")
    room.plant.set_input("heat", True)
    room.asks('It says "alarm" now.')
    room.plant.set_input("heat", False)
    walk = room.asks("It is seen, and everything stands. Press reset key at the controller.")
    assert [offer.press for offer in walk.offers] == ["leave_out", "put_by"]
    assert walk.notes == ("A fire alarm is never reset from a page.", "Still open: heat.")
    room.pass_s(0.5)
    assert room.now().notes == ("A fire alarm is never reset from a page.",)
    room.plant.press("reset key")
    assert room.ends("contact/input:heat").state is StepState.PASSED


def test_a_broken_wire_reads_as_pressed_before_anybody_presses(enter: Enter) -> None:
    room = enter()
    BenchPins(room.service.wires.pins).drive(5, high=True)
    room.plant.set_input("red button", True)
    room.pass_s(1.0)
    walk = room.begin("contact/input:red button")
    assert walk.notes[0] == 'It says "pressed" already, although nobody was asked to work it yet.'
    room.press("stuck")
    assert said(room, "contact/input:red button") == (
        'Red button says "pressed" although nobody works it: a broken wire, a lost plug, or a contact of the other '
        "kind than the file says."
    )


def test_a_door_counts_only_once_it_is_shut_again(enter: Enter) -> None:
    room = enter()
    room.begin("contact/input:bin door")
    room.plant.set_input("bin door", True)
    room.asks('It says "open" now.')
    assert room.press("nothing").sentence == (
        "Bin door was worked and let go, and came back only once or not at all: a loose or shorted wire."
    )
    room.plant.set_input("bin door", False)
    room.pass_s(1.0)
    room.begin("contact/input:bin door")
    room.plant.set_input("bin door", True)
    room.pass_s(0.5)
    room.plant.set_input("bin door", False)
    assert room.ends("contact/input:bin door").state is StepState.PASSED


def test_a_switch_at_a_gate_is_worked_while_the_gate_is_held(enter: Enter) -> None:
    room = enter()
    room.until(lambda: not any(gate.belief == "opening" for gate in room.service.last_view.gates))  # type: ignore[union-attr]
    walk = room.begin("contact/shut:saw gate")
    assert walk.prompt.text == "Hold saw gate first: then nothing moves it while your finger is at its switch."
    assert room.press("hold").sentence == "saw gate is held until somebody presses Release."
    room.asks("Press the switch at the shut end of saw gate with a finger, and let go.")
    room.plant.push_gate("saw gate", 0.0)
    room.pass_s(2.0)
    room.plant.push_gate("saw gate", 0.5)
    room.until(lambda: room.now().prompt.text.startswith("It is seen."))
    assert room.press("release").accepted
    assert room.ends("contact/shut:saw gate").state is StepState.PASSED
    core = room.service.last_view
    assert core is not None
    assert not core.gates[0].worked


def test_the_selector_is_turned_round_once(enter: Enter) -> None:
    room = enter()
    room.begin("selector/selector")
    for place, asked in (("off", "hand"), ("hand", "auto"), ("auto", None)):
        room.asks(f"Turn selector to {place}.")
        room.plant.turn_selector("selector", place)
        if asked is not None:
            room.asks(f"Turn selector to {asked}.")
    assert room.ends("selector/selector").state is StepState.PASSED


def test_swapped_contacts_of_the_selector_are_found(enter: Enter) -> None:
    room = enter(wired=SHOP.replace("hand_pin: GPIO18, auto_pin: GPIO19", "hand_pin: GPIO19, auto_pin: GPIO18"))
    walk = room.begin("selector/selector")
    assert (walk.prompt.text, walk.live) == ("Leave selector at auto.", (("selector", "hand"),))
    assert room.press("stands").sentence == (
        "Selector stands at auto, and is read as hand: its two contacts are swapped."
    )
    assert room.step("selector/selector").state is StepState.FAILED


def test_a_press_from_an_old_screen_counts_for_nothing(enter: Enter) -> None:
    room = enter()
    old = room.begin("contact/input:red button")
    room.plant.set_input("red button", True)
    room.pass_s(0.5)
    room.plant.set_input("red button", False)
    room.asks("It is seen, and everything stands.")
    answer = room.walk.press(old.key, "nothing", "Ada", {}, old.number)
    assert (answer.accepted, answer.code) == (False, "other_step")
    assert room.walk.press("contact/input:heat", "nothing", "Ada", {}, old.number).code == "not_in_hand"
    assert room.walk.press("contact/input:roof", "begin", "Ada").code == "no_such_step"
    assert room.walk.press("contact/input:heat", "begin", "  ").sentence == "Say who does it."
    assert room.press("dance").sentence == "dance is not offered now. Look at what is asked."
