"""The first day: each machine is switched on once; nothing starts meanwhile, and a wrong wire is found."""

import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

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


def test_at_hand_a_machine_is_seen_and_nothing_starts(enter: Enter) -> None:
    room = enter()
    walk = room.begin("tool/saw")
    assert walk.prompt.text == "Turn the Hand-Off-Auto switch of fan to Hand; the controller sees it."
    assert walk.live == (("fan", "switch at auto"), ("saw", "off"))
    room.plant.turn_selector("selector", "hand")
    walk = room.asks("Switch saw on now, and let it run for a few seconds.")
    assert walk.notes == ("The file has it on GPIO23, normally open.",)
    room.plant.switch_tool("saw", True)
    assert room.asks("Saw is seen.").live == (("saw", "runs"),)
    room.plant.switch_tool("saw", False)
    step = room.ends("tool/saw")
    assert step.state is StepState.PASSED
    assert step.result is not None
    assert step.result.startswith(
        "Switched on, it was seen as saw and as no other machine; switched off, too. Ada, 2023-11-14"
    )
    (result,) = room.walk.record().stages[0].steps[0].results
    assert (result.by, result.figures, result.stands) == ("Ada", (("wire", "GPIO23, normally open", ""),), True)
    assert room.service.last_view is not None
    assert not any(motor.on for motor in room.service.last_view.motors)


def test_two_swapped_wires_are_named_and_swapped_back(enter: Enter) -> None:
    swapped = SHOP.replace("GPIO23", "GPIO99").replace("GPIO24", "GPIO23").replace("GPIO99", "GPIO24")
    room = enter(wired=swapped)
    room.plant.turn_selector("selector", "hand")
    room.pass_s(1.0)
    room.begin("tool/saw")
    room.plant.switch_tool("saw", True)
    walk = room.asks("The controller saw planer, not saw.")
    assert room.step("tool/saw").state is StepState.NOW
    assert walk.notes == (
        "Where the wrong machine was switched on, try it again.",
        "Where it was the right one, swap the two wires at the board.",
    )
    assert room.press("done").accepted
    step = room.step("tool/saw")
    assert step.state is StepState.FAILED
    assert step.result is not None
    assert step.result.startswith(
        "The controller saw planer, not saw. The file has saw on GPIO23, normally open and planer on GPIO24, normally "
        "open: their wires are swapped, or another machine was switched on."
    )


def test_a_machine_that_is_never_seen_is_left_out_with_its_reason(enter: Enter) -> None:
    room = enter()
    room.plant.turn_selector("selector", "hand")
    room.pass_s(1.0)
    room.begin("tool/planer")
    assert room.press("leave_out").sentence == "Say why it is left out. It stands in the record for ever."
    assert room.press("leave_out", why="  not   bought yet ").accepted
    step = room.step("tool/planer")
    assert step.state is StepState.LEFT_OUT
    assert step.result is not None
    assert step.result.startswith("Left out. Why: not bought yet. Ada, ")
    room.begin("tool/planer")
    assert room.press("nothing").sentence == "It was switched on, and the controller saw nothing of it."
    recorded = next(one for one in room.walk.record().stages[0].steps if one.key == "tool/planer")
    assert [(one.state, one.why, one.stands) for one in recorded.results] == [
        (StepState.LEFT_OUT, "not bought yet", False),
        (StepState.FAILED, None, True),
    ]


def test_without_a_switch_somebody_says_that_it_is_isolated_or_takes_it_out(enter: Enter) -> None:
    text = "\n".join(line for line in SHOP.splitlines() if not line.startswith("  selector"))
    room = enter(text=text)
    walk = room.begin("tool/saw")
    assert walk.prompt.text.startswith("Open the disconnect of fan, or run it from its own starter only")
    assert room.offers()[:2] == ["isolated", "out"]
    assert room.press("isolated").accepted
    assert room.now().prompt.text == "Switch saw on now, and let it run for a few seconds."
    assert room.press("put_by").accepted
    # The word is believed for a working day, and asked for again after it.
    assert room.begin("tool/planer").prompt.text.startswith("Switch planer on now")
    room.clock.advance(9 * 3600.0)
    room.pass_s(1.0)
    assert room.begin("tool/planer").prompt.text.startswith("Open the disconnect of fan")
    assert room.press("out").accepted
    assert room.service.last_view is not None
    assert room.service.last_view.motors[0].out_of_service is not None
    room.plant.switch_tool("planer", True)
    room.asks("Planer is seen.")


def test_the_machine_runs_already_when_it_is_asked_for(enter: Enter) -> None:
    room = enter()
    room.plant.turn_selector("selector", "off")
    room.plant.switch_tool("saw", True)
    room.pass_s(1.0)
    walk = room.begin("tool/saw")
    assert walk.prompt.text == "Saw is seen to run already. Switch it off first, then on."
    room.plant.switch_tool("saw", False)
    room.asks("Switch saw on now")
    room.plant.switch_tool("saw", True)
    room.asks("Saw is seen.")


def test_two_that_run_at_once_prove_nothing(enter: Enter) -> None:
    room = enter()
    room.plant.turn_selector("selector", "hand")
    room.pass_s(1.0)
    room.begin("tool/saw")
    room.plant.switch_tool("saw", True)
    room.plant.switch_tool("planer", True)
    assert room.asks("The controller saw saw and planer.").notes[1] == (
        "Where only one was switched on, look whether one wire runs through both clamps."
    )
    assert "The controller saw saw and planer." in (room.step("tool/saw").result or "")


def test_a_power_cut_in_mid_step_takes_nothing_that_was_done(enter: Enter) -> None:
    room = enter()
    room.plant.turn_selector("selector", "hand")
    room.pass_s(1.0)
    room.begin("tool/saw")
    room.plant.switch_tool("saw", True)
    walk = room.asks("Saw is seen.")
    room.plant.switch_tool("saw", False)
    room.restart()
    again = room.now()
    # Nobody listened while the power was off: once more from the switch.
    assert (again.key, again.prompt.text) == ("tool/saw", "Switch saw on now, and let it run for a few seconds.")
    assert again.number > walk.number
    room.plant.switch_tool("saw", True)
    room.asks("Saw is seen.")
    room.plant.switch_tool("saw", False)
    assert room.ends("tool/saw").state is StepState.PASSED
    room.restart()
    assert room.step("tool/saw").state is StepState.PASSED
    assert room.walk.view().walk is None
