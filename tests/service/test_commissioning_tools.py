"""The first day: each machine is switched on once; nothing starts meanwhile, and a wrong wire is found."""

import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from gatekeeper.service.calibration_file import shop_file_of
from gatekeeper.service.face_commissioning import StepState
from gatekeeper.service.facing import ShopFace
from gatekeeper.shop.examples import example

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


def test_while_the_controller_wakes_the_step_waits_and_nothing_is_taken(enter: Enter) -> None:
    room = enter()
    room.begin("tool/saw")
    room.restart(settle_s=0.0)
    walk = room.now()
    assert (walk.prompt.text, walk.offers) == ("The controller has just woken. Wait a moment.", ())
    assert room.walk.press(walk.key, "nothing", "Ada").code == "waking"
    room.pass_s(3.0)
    assert room.now().prompt.text.startswith("Turn the Hand-Off-Auto switch")


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


def swapped_garage() -> tuple[str, str]:
    """An example as its file has it, and as it is wired: the clamps of table saw and planer swapped."""
    text = example("garage-one-collector").read_text(encoding="utf-8")
    saw, planer = (f"{{converter: clamp board, channel: {channel}, range: 40 A}}" for channel in (0, 2))
    return text, text.replace(saw, "THERE").replace(planer, saw).replace("THERE", planer)


def test_two_swapped_clamps_are_swapped_in_the_file_and_count_at_once(enter: Enter) -> None:
    text = example("garage-one-collector").read_text(encoding="utf-8")
    saw, planer = (
        "{converter: clamp board, channel: 0, range: 40 A}",
        "{converter: clamp board, channel: 2, range: 40 A}",
    )
    wired = text.replace(saw, "THERE").replace(planer, saw).replace("THERE", planer)
    room = enter(text=text, wired=wired)
    room.begin("tool/table saw")
    assert room.press("isolated").accepted
    room.plant.switch_tool("table saw", True)
    walk = room.asks("The controller saw planer, not table saw.")
    assert "swap" in [offer.press for offer in walk.offers]
    assert room.press("swap").sentence == "The two are swapped in the file, and that counts at once. Once more."
    assert room.path.read_text(encoding="utf-8") == wired
    room.asks("Table saw is seen. Switch it off.")
    room.pass_s(1.0)
    assert room.now().live[0][1].startswith("runs, ")
    room.plant.switch_tool("table saw", False)
    assert room.ends("tool/table saw").state is StepState.PASSED
    wire, current = room.walk.record().stages[0].steps[0].results[-1].figures
    assert wire == ("wire", "channel 2 of clamp board", "")
    assert (current[0], current[2]) == ("highest current shown", "counts as running from 0.48 A")
    # The planer's wire was swapped with it: what was seen of it before counts no more.
    assert room.step("tool/planer").state is StepState.DUE


def test_an_example_is_never_written(enter: Enter) -> None:
    text = example("garage-one-collector").read_text(encoding="utf-8")
    saw, planer = (
        "{converter: clamp board, channel: 0, range: 40 A}",
        "{converter: clamp board, channel: 2, range: 40 A}",
    )
    room = enter(text=text, wired=text.replace(saw, "THERE").replace(planer, saw).replace("THERE", planer))
    room.face = ShopFace(room.service, file=shop_file_of("garage-one-collector", text))
    room.begin("tool/table saw")
    room.press("isolated")
    room.plant.switch_tool("table saw", True)
    walk = room.asks("The controller saw planer, not table saw.")
    assert walk.notes[1] == (
        "garage-one-collector is an example and stays as it is. Copy it to a file of yours, start the controller with "
        "that, and try it again."
    )
    assert "swap" not in [offer.press for offer in walk.offers]
