"""Contactor, rotation and stops on the real service: starts charged, confirmations, told off in one step."""

import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from gatekeeper.control.snapshot import MotorNow
from gatekeeper.service.face_commissioning import StepState
from sim.faults import MotorFault, SensorFault

sys.path.insert(0, str(Path(__file__).parent))
from commissioning_room import SHOP, Room

Enter = Callable[..., Room]


@pytest.fixture
def enter(tmp_path: Path) -> Iterator[Enter]:
    rooms: list[Room] = []

    def make(**how: str) -> Room:
        room = Room(tmp_path, **how)  # type: ignore[arg-type]
        rooms.append(room)
        room.pass_s(5.0)
        return room

    yield make
    for room in rooms:
        room.close()


def said(room: Room, key: str) -> str:
    result = room.step(key).result
    assert result is not None
    return result.partition(" Ada, ")[0]


def fan(room: Room) -> MotorNow:
    assert room.service.last_view is not None
    return room.service.last_view.motors[0]


def figures(room: Room, stage: int, key: str) -> list[tuple[str, str, str]]:
    found = next(step for step in room.walk.record().stages[stage].steps if step.key == key)
    return list(found.results[-1].figures)


# ---------------------------------------------------------------- the contactor


def test_the_contactor_is_clicked_with_the_motor_isolated_and_the_core_is_cleared(enter: Enter) -> None:
    room = enter()
    room.plant.faults.break_motor("fan", MotorFault.DOES_NOT_START)  # its disconnect is open
    walk = room.begin("contactor/fan")
    assert walk.prompt.text == ("Open the disconnect of fan and hang your lock on it. Leave its switch at Auto.")
    assert room.press("locked").accepted
    walk = room.now()
    assert (walk.prompt.text, walk.notes) == (
        "Let fan be told on for 5 s.",
        ("Starts in hand: 2.0 of 2. Each time it is told on takes one.",),
    )
    assert room.press("run").accepted
    room.asks("Listen at the contactor")
    assert not room.press("dance").accepted
    room.until(lambda: fan(room).latch is not None)
    assert room.press("clicked").sentence == (
        "Told on with the motor isolated, its contactor pulled in; told off, it let go."
    )
    assert fan(room).latch is None  # what the core said of it is cleared
    assert room.step("contactor/fan").state is StepState.PASSED
    assert figures(room, 3, "contactor/fan") == [("told on", "2 times", "each takes one start in hand")]
    # Both starts are used up: it says until when to wait, and nothing is offered that would be refused.
    room.begin("rotation/fan")
    room.press("joined")
    walk = room.now()
    assert walk.prompt.text == "Fan rests: no start is in hand for {time}. The motor would get too hot."
    assert walk.prompt.until_s is not None
    assert "run" not in room.offers()


def test_a_motor_that_is_seen_to_run_with_its_disconnect_open(enter: Enter) -> None:
    room = enter()
    room.begin("contactor/fan")
    room.press("locked")
    room.press("run")
    assert room.ends("contactor/fan").state is StepState.FAILED
    assert said(room, "contactor/fan").startswith("With its disconnect open it was seen to run.")
    assert not fan(room).on


def test_nothing_is_heard(enter: Enter) -> None:
    room = enter()
    room.plant.faults.break_motor("fan", MotorFault.DOES_NOT_START)
    room.begin("contactor/fan")
    room.press("locked")
    room.press("run")
    room.pass_s(0.5)
    room.press("silent")
    assert said(room, "contactor/fan").startswith("Told on, nothing was heard of it: look at the relay")
    assert not fan(room).on


def test_a_page_that_may_start_no_motor_asks_for_a_machine(enter: Enter) -> None:
    room = enter(text=SHOP.replace("remote_start: yes", "remote_start: no"))
    room.plant.faults.break_motor("fan", MotorFault.DOES_NOT_START)
    room.begin("contactor/fan")
    room.press("locked")
    walk = room.now()
    assert walk.prompt.text == "Switch saw or planer on at its own switch: that tells it on."
    assert "run" not in room.offers()
    room.plant.switch_tool("saw", True)
    room.asks("Listen at the contactor")
    room.press("clicked")
    assert room.step("contactor/fan").state is StepState.PASSED


def test_what_keeps_a_motor_from_starting_is_said_with_what_mends_it(enter: Enter) -> None:
    room = enter()
    room.begin("contactor/fan")
    room.press("locked")
    room.request("out_of_service", "fan", "page", text="Ben: bag").result(10.0)
    room.pass_s(0.5)
    assert (room.now().prompt.text, room.offers()[0]) == ("Fan is out of service.", "back")
    assert room.press("back").accepted
    room.plant.turn_selector("selector", "hand")
    room.asks("The switch of fan stands at hand. Turn it to Auto.")
    room.plant.turn_selector("selector", "auto")
    room.asks("Let fan be told on for 5 s.")


# ---------------------------------------------------------------- rotation


def test_rotation_is_looked_at_and_the_confirmation_is_measured(enter: Enter) -> None:
    room = enter()
    walk = room.begin("rotation/fan")
    assert walk.cautions[0].startswith("This starts a motor that you may not see.")
    room.press("joined")
    assert room.press("run").accepted
    room.asks("Look at the motor: does it turn the way of its arrow?")
    room.pass_s(1.0)
    assert room.press("right").accepted
    assert room.now().prompt.text.startswith("It stops by itself; what sees it must see that, too. It stops in {time}.")
    assert room.ends("rotation/fan").state is StepState.PASSED
    assert said(room, "rotation/fan") == "It turned the right way, and was seen to run and to stand."
    told, confirmed, still = figures(room, 3, "rotation/fan")
    assert told == ("told on", "once", "each takes one start in hand")
    assert (confirmed[0], confirmed[2]) == ("told on to seen to run", "within 2 s")
    assert 0.0 < float(confirmed[1].split()[0]) < 0.5
    assert (still[0], still[2].split()[0]) == ("told off to seen still", "within")


def test_the_wrong_way_round_is_stopped_at_once(enter: Enter) -> None:
    room = enter()
    room.begin("rotation/fan")
    room.press("joined")
    room.press("run")
    room.asks("Look at the motor")
    room.press("wrong")
    assert not fan(room).on
    assert said(room, "rotation/fan") == (
        "It turned the wrong way: an electrician swaps two of its three wires. A fan that turns backwards still moves "
        "some air."
    )


def test_a_sensor_that_does_not_see_it_is_found(enter: Enter) -> None:
    room = enter()
    room.plant.faults.break_sensor("confirm:fan", SensorFault.DEAD)
    room.begin("rotation/fan")
    room.press("joined")
    room.press("run")
    assert room.ends("rotation/fan").state is StepState.FAILED
    assert "its sensor did not see it run within 2 s, and it was latched off" in said(room, "rotation/fan")
    assert figures(room, 3, "rotation/fan")[1] == ("told on to seen to run", "not seen", "within 2 s")


def test_a_contactor_that_does_not_let_go_is_found(enter: Enter) -> None:
    room = enter()
    room.begin("rotation/fan")
    room.press("joined")
    room.press("run")
    room.asks("Look at the motor")
    room.pass_s(1.0)
    room.plant.faults.break_motor("fan", MotorFault.WELDED)
    room.press("right")
    assert room.ends("rotation/fan").state is StepState.FAILED
    assert said(room, "rotation/fan") == (
        "It was seen to run although told off: open its disconnect, and have the contactor looked at."
    )


def test_a_power_cut_in_mid_run_asks_for_the_disconnect_again(enter: Enter) -> None:
    room = enter()
    room.begin("rotation/fan")
    room.press("joined")
    room.press("run")
    room.asks("Look at the motor")
    room.restart()
    assert room.now().prompt.text.startswith("See that nobody is at fan")


# ---------------------------------------------------------------- what stops everything


def test_the_red_button_tells_every_motor_off_and_its_reset_starts_nothing(enter: Enter) -> None:
    room = enter()
    room.begin("stop/red button")
    room.plant.switch_tool("saw", True)
    room.until(lambda: fan(room).confirmed)
    room.plant.set_input("red button", True)
    room.asks("It is seen, and everything stands. Press Reset.")
    room.plant.set_input("red button", False)
    room.pass_s(1.5)
    assert room.press("reset").accepted
    assert room.now().prompt.text == "Touch nothing for {time}: nothing may start by itself."
    assert room.ends("stop/red button").state is StepState.PASSED
    assert said(room, "stop/red button") == (
        "It was seen, and fan was told off in the same step. Fan ran at that moment. For 6 s after the reset nothing "
        "started."
    )
    told, still = figures(room, 4, "stop/red button")
    assert told == ("fan", "told off, while it was on", "in the same step, 0.000 s")
    assert still[0] == "fan seen still"
    assert not fan(room).on  # the saw still runs


def test_a_red_button_that_is_not_wired_has_told_nothing_off(enter: Enter) -> None:
    room = enter()
    room.begin("stop/red button")
    room.plant.switch_tool("saw", True)
    room.until(lambda: fan(room).on)
    room.pass_s(3.0)  # it is pressed, and no wire says so
    assert fan(room).on
    assert room.press("nothing").sentence == (
        "Red button was worked, and the controller saw nothing: fan was not told off."
    )
    assert room.step("stop/red button").state is StepState.FAILED
    assert figures(room, 4, "stop/red button") == [("contact", "GPIO5, normally closed", "")]


def test_fire_and_door_are_proved_each_in_its_way(enter: Enter) -> None:
    room = enter()
    walk = room.begin("stop/heat")
    assert walk.cautions == ("Tell whoever answers the building's alarm before you try a detector (common practice).",)
    room.plant.set_input("heat", True)
    room.asks("It is seen, and everything stands. Press reset key at the controller.")
    room.plant.set_input("heat", False)
    room.pass_s(1.0)
    room.plant.press("reset key")
    assert room.ends("stop/heat").state is StepState.PASSED
    room.begin("stop/bin door")
    room.plant.set_input("bin door", True)
    room.asks("It is seen, and its motors are off. Shut bin door.")
    room.plant.set_input("bin door", False)
    assert room.ends("stop/bin door").state is StepState.PASSED
    assert said(room, "stop/bin door") == (
        "It was seen, and fan was told off in the same step. No motor ran at that moment. For 6 s after it was shut "
        "nothing started."
    )


def test_a_machine_that_is_started_after_the_reset_is_a_cause_of_its_own(enter: Enter) -> None:
    room = enter()
    room.begin("stop/red button")
    room.plant.set_input("red button", True)
    room.asks("It is seen")
    room.plant.set_input("red button", False)
    room.pass_s(1.0)
    room.press("reset")
    room.pass_s(1.0)
    room.plant.switch_tool("planer", True)
    room.until(lambda: fan(room).on)
    assert room.ends("stop/red button").state is StepState.PASSED


def test_a_motor_that_starts_by_its_reset_has_failed(enter: Enter) -> None:
    room = enter()
    room.begin("stop/red button")
    room.plant.set_input("red button", True)
    room.asks("It is seen")
    room.plant.set_input("red button", False)
    room.pass_s(1.0)
    room.press("reset")
    room.asks("Touch nothing for {time}")
    room.pass_s(1.0)
    # The core never does that; so the record is told that it did.
    last = room.walk._watch.entries[-1]
    on = replace(last, seq=last.seq, t_s=room.clock.now(), kind="motor_command", subject="fan", value={"what": "on"})
    room.walk._watch.entries.append(on)
    assert room.step("stop/red button").state is StepState.FAILED
    assert said(room, "stop/red button") == "After the reset fan was told on, and nobody had asked for that."


def test_a_restart_while_everything_stands_begins_the_proof_anew(enter: Enter) -> None:
    room = enter()
    room.begin("stop/red button")
    room.plant.set_input("red button", True)
    room.asks("It is seen")
    room.restart()
    assert room.now().prompt.text == "Press red button."
