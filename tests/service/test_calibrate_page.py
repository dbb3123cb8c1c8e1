"""Calibrating beside the running controller: the real service on a virtual shop, under a clock moved by hand."""

import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from gatekeeper.files import FileTrouble
from gatekeeper.sensing import calibration
from gatekeeper.service import calibration_file
from gatekeeper.service.calibration_asking import Calibrations, day_and_time
from gatekeeper.service.calibration_file import ShopFile, shop_file_of
from gatekeeper.service.calibration_walk import Walk
from gatekeeper.service.face import CalibrationStep
from gatekeeper.shop import examples
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

sys.path.insert(0, str(Path(__file__).parent))
from calibrating_room import GARAGE, Room, with_channels
from hand_plant import example_shop

TEXT = examples.example(GARAGE).read_text(encoding="utf-8")


Enter = Callable[..., Room]


@pytest.fixture
def enter(tmp_path: Path) -> Iterator[Enter]:
    rooms: list[Room] = []

    def make(*, moved: dict[str, int] | None = None, file: ShopFile | None = None) -> Room:
        path = tmp_path / "garage.yaml"
        path.write_bytes(TEXT.encode())
        if file is None:
            file = shop_file_of(str(path), TEXT)
        rooms.append(Room(tmp_path, with_channels(example_shop(GARAGE), moved or {}), file))
        return rooms[-1]

    yield make
    for room in rooms:
        room.close()


# ---------------------------------------------------------------- the walk


def test_a_walk_asks_shows_serves_proposes_writes_and_counts_at_once(enter: Enter, tmp_path: Path) -> None:
    room = enter()
    before = room.service.currents
    assert before.sensor_of("table saw").trip_a == pytest.approx(0.48)
    room.motors_ran.clear()
    found = room.propose("table saw")

    assert room.prompts == [
        "Leave table saw off, and switch nothing else on.",
        "Switch table saw on now.",
        "Table saw is seen. Let it run free for a few seconds.",
        "Cut with it for a few seconds, or go on without.",
        "Switch table saw off.",
        "Proposed trip: 0.55 A.",
    ]
    assert (room.motors_ran, "saw gate" in room.opened) == ({"collector"}, True)  # served as always
    path = tmp_path / "garage.yaml"
    assert found.notes == (
        "Off it draws nothing; the converter's noise is 0.021 A.",
        "Running free it draws 6.00 A, at most 6.00 A was seen.",
        "Trip: 0.55 A. That is 26.3 times what is there when it is off, and running free is 10.9 times the trip.",
        f"It is written into {path}, comments kept, and counts at once.",
    )
    assert (found.trip_a, found.proposed_a, found.place) == (0.48, 0.55, "channel 0 of clamp board")
    assert [(offer.press, offer.label) for offer in found.offers] == [
        ("write", "Write it"),
        ("leave", "Leave it as it is"),
    ]
    highest = max(point.current_a for point in found.points)
    assert 20 < highest < 100  # the inrush is in the picture
    assert 4.0 < found.points[0].ago_s <= 30.5
    assert path.read_text(encoding="utf-8") == TEXT

    assert room.press("table saw", "write") == (True, f"Written into {path}. It counts at once.")
    assert path.read_text(encoding="utf-8").replace(", trip: 0.55 A", "", 1) == TEXT
    assert room.service.currents.sensor_of("table saw").trip_a == 0.55
    assert room.service.currents.sensor_of("planer") is before.sensor_of("planer")
    view = room.calibrations.view()
    assert view is not None
    assert (view.step, view.prompt) == (
        CalibrationStep.WRITTEN,
        "Written. Table saw counts as running from 0.55 A.",
    )
    assert room.press("table saw", "leave") == (True, "Done.")
    assert room.calibrations.view() is None
    assert room.calibrations.trip_notes()["table saw"].startswith(
        "It counts as running from 0.55 A: as the shop's file"
    )


def test_swapped_wires_are_swapped_at_once_and_the_right_machine_is_served(enter: Enter, tmp_path: Path) -> None:
    room = enter(moved={"table saw": 2, "planer": 0})
    found = room.propose("table saw")

    assert found.place == "channel 2 of clamp board"
    assert found.notes[3:5] == (
        "The file has table saw on channel 0 of clamp board; its wire is on channel 2 of clamp board.",
        "The two are swapped in the file; calibrate planer next.",
    )
    assert room.press("table saw", "write")[0] is True
    new = load_shop((tmp_path / "garage.yaml").read_text(encoding="utf-8"), "garage.yaml")
    assert isinstance(new, Shop)
    assert new.tools["planer"].sensor.channel.channel == 0  # type: ignore[union-attr]
    room.pass_s(1.0)
    room.plant.switch_tool("planer", True)
    room.pass_s(1.0)
    core = room.service.last_view
    assert core is not None
    assert {tool.name: tool.reading for tool in core.tools if tool.reading == "running"} == {"planer": "running"}


def test_while_the_wire_is_found_elsewhere_the_page_says_so(enter: Enter) -> None:
    room = enter(moved={"table saw": 2, "planer": 0})
    room.press("table saw", "begin")
    room.until(CalibrationStep.SWITCH_ON)
    room.plant.switch_tool("table saw", True)
    assert room.until(CalibrationStep.RUN_FREE).notes == (
        "The file has it on channel 0 of clamp board. Writing what comes of this sets that right, too.",
    )


def test_a_second_calibration_builds_on_the_first(enter: Enter, tmp_path: Path) -> None:
    room = enter()
    room.propose("table saw")
    room.press("table saw", "write")
    room.propose("planer")
    assert room.press("planer", "write")[0] is True
    text = (tmp_path / "garage.yaml").read_text(encoding="utf-8")
    assert text.count("trip: ") == TEXT.count("trip: ") + 2


def test_a_motor_that_the_controller_switches_on_is_not_taken_for_the_machine(enter: Enter) -> None:
    room = enter()
    room.pass_s(0.1)
    walk = Walk(room.service.shop, "table saw", None, room.clock.now())
    collector = room.service.shop.motors["collector"].confirmed_by
    assert collector is not None
    assert collector.channel is not None
    for sampler in room.service.samplers:
        sampler.tap = walk.take

    def pump(seconds: float, on: list[str]) -> None:
        end_s = room.clock.now() + seconds
        while room.clock.now() < end_s:
            for sampler in room.service.samplers:
                sampler.step()
            walk.pump(room.clock.now(), on, None)

    pump(3.5, [])
    assert walk.step is CalibrationStep.SWITCH_ON
    switch = room.service.wires.motors["collector"]
    switch.on(room.clock.now(), room.clock.now() + 9)
    room.plant.step()
    pump(1.5, ["collector"])
    assert walk.step is CalibrationStep.SWITCH_ON
    room.plant.switch_tool("table saw", True)
    pump(1.5, ["collector"])
    assert (walk.step, walk.view().place) == (CalibrationStep.RUN_FREE, "channel 0 of clamp board")


# ---------------------------------------------------------------- the file says no


def test_a_file_that_was_changed_meanwhile_is_not_written(enter: Enter, tmp_path: Path) -> None:
    room = enter()
    room.propose("table saw")
    path = tmp_path / "garage.yaml"
    path.write_text(TEXT + "# edited\n", encoding="utf-8")
    said = (
        f"{path} was changed since the controller read it. Nothing was written. Restart the controller, then calibrate "
        "again."
    )

    assert room.press("table saw", "write") == (False, said)
    assert path.read_text(encoding="utf-8") == TEXT + "# edited\n"
    view = room.calibrations.view()
    assert view is not None
    assert (view.step, view.notes[-1]) == (CalibrationStep.PROPOSED, said)
    assert room.service.currents.sensor_of("table saw").trip_a == pytest.approx(0.48)
    path.unlink()
    assert room.press("table saw", "write")[1] == (
        f"{path} cannot be read any more. Nothing was written. Put it back and go on."
    )
    path.write_text(TEXT, encoding="utf-8")
    assert room.press("table saw", "write")[0] is True


def test_a_file_that_cannot_be_written_says_what_to_write_by_hand(
    enter: Enter, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    room = enter(moved={"table saw": 2, "planer": 0})
    room.propose("table saw")
    path = tmp_path / "garage.yaml"

    def full(*_arguments: object, **_more: object) -> None:
        raise FileTrouble(f"{path}: this file cannot be written (Permission denied)")

    monkeypatch.setattr(calibration_file, "write_new", full)
    assert room.press("table saw", "write") == (
        False,
        f"{path}: this file cannot be written (Permission denied). Nothing was written. Let the controller's user "
        "write it and its folder, or write it by hand under tools > table saw > sensor: trip: 0.55 A, channel: 2; and "
        "under tools > planer > sensor: channel: 0.",
    )
    assert path.read_text(encoding="utf-8") == TEXT


def test_an_example_is_measured_but_never_written(enter: Enter) -> None:
    room = enter(file=shop_file_of(GARAGE, TEXT))
    found = room.propose("table saw")
    said = (
        f"{GARAGE} is an example and stays as it is. Copy it to a file of yours, start the controller with that, and "
        "calibrate again."
    )

    assert found.notes[-1] == said
    assert [offer.press for offer in found.offers] == ["leave"]
    assert room.press("table saw", "write") == (False, said)


# ---------------------------------------------------------------- presses, and time that runs out


def test_one_walk_at_a_time_and_leaving_changes_nothing(enter: Enter, tmp_path: Path) -> None:
    room = enter()
    assert room.press("table saw", "go_on") == (False, "Table saw is not being calibrated now. Begin again.")
    assert room.press("table saw", "begin")[0] is True
    assert room.press("table saw", "begin") == (True, "Table saw is being calibrated already.")
    assert room.press("planer", "begin") == (
        False,
        "Table saw is being calibrated now. Finish or leave that first.",
    )
    assert room.press("table saw", "go_on") == (
        False,
        "There is nothing to go on from now. Look at what the page asks.",
    )
    assert room.press("table saw", "write") == (
        False,
        "There is nothing to write now. Look at what the page asks.",
    )
    assert all(sampler.tap is not None for sampler in room.service.samplers)
    assert room.press("table saw", "leave") == (True, "Left. Nothing was changed.")
    assert room.calibrations.view() is None
    assert all(sampler.tap is None for sampler in room.service.samplers)
    assert (tmp_path / "garage.yaml").read_text(encoding="utf-8") == TEXT
    assert room.press("planer", "begin") == (True, "Calibrating planer.")


def test_a_machine_without_a_clamp_cannot_be_calibrated(enter: Enter) -> None:
    room = enter()
    accepted, said = room.press("dust pan", "begin")
    assert accepted is False
    assert said.startswith("This shop has no machine called dust pan; it has ")


def test_nobody_switches_it_on_and_the_walk_ends_by_itself(enter: Enter, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(calibration, "PATIENCE_S", 5.0)
    room = enter()
    room.press("table saw", "begin")
    waiting = room.until(CalibrationStep.SWITCH_ON)
    assert waiting.ends is not None
    assert waiting.ends.text == "Ends by itself in {time}."
    assert waiting.ends.until_s == pytest.approx(room.clock.now() + 90, abs=0.1)
    over = room.until(CalibrationStep.REFUSED)

    assert over.prompt == (
        "No clamp saw table saw start within 5 s. Look at its clamp: one conductor only, plug in its socket."
    )
    assert over.notes == ("Nothing was changed.",)
    assert [(offer.press, offer.label) for offer in over.offers] == [("begin", "Begin again"), ("leave", "Done")]
    assert all(sampler.tap is None for sampler in room.service.samplers)
    room.clock.advance(600)
    room.calibrations.pump()
    assert room.calibrations.view() is None


def test_a_proposal_that_nobody_writes_is_forgotten(enter: Enter, tmp_path: Path) -> None:
    room = enter()
    found = room.propose("table saw")
    assert found.ends is not None
    assert found.ends.text == "Nothing is written yet. Left alone, it ends by itself in {time}."
    room.clock.advance(599)
    room.calibrations.pump()
    assert room.calibrations.view() is not None
    room.clock.advance(1)
    room.calibrations.pump()
    assert room.calibrations.view() is None
    assert (tmp_path / "garage.yaml").read_text(encoding="utf-8") == TEXT


def test_a_converter_that_gives_nothing_ends_the_walk_in_words(enter: Enter) -> None:
    room = enter()
    room.press("table saw", "begin")
    for sampler in room.service.samplers:
        sampler.trouble = "Converter clamp board: the bus does not answer."
    room.clock.advance(5.0)
    room.calibrations.pump()
    view = room.calibrations.view()
    assert view is not None
    assert (view.step, view.prompt) == (
        CalibrationStep.REFUSED,
        "The converters give nothing. Converter clamp board: the bus does not answer.",
    )
    assert room.press("planer", "begin")[0] is True  # another may begin


def test_who_changed_what_is_kept(enter: Enter) -> None:
    room = enter()
    room.propose("table saw")
    room.press("table saw", "write")
    room.service.keeper.stop(30.0)
    told = room.calibrations.trip_notes()["table saw"]
    assert told == (
        "It counts as running from 0.55 A: as the shop's file says. Changed by the page, from 192.168.1.23 on "
        f"{day_and_time(1e9)}; before it was 0.48 A."
    )
    assert Calibrations(room.service, None, lambda: None).trip_notes()["table saw"] == told  # after a restart, too
    (change,) = room.service.store.changes(1, "table saw", "trip_a")
    assert (change.who, change.old, change.new) == ("the page, from 192.168.1.23", pytest.approx(0.48), 0.55)


def test_a_second_converter_that_talks_does_not_hide_that_the_found_one_is_silent(enter: Enter) -> None:
    room = enter()
    room.press("table saw", "begin")
    room.until(CalibrationStep.SWITCH_ON)
    room.plant.switch_tool("table saw", True)
    room.until(CalibrationStep.RUN_FREE)
    walk = room.calibrations._walk
    assert walk is not None
    (sampler,) = room.service.samplers
    block = sampler._bank.read(8)
    for _ in range(6):
        room.clock.advance(1.0)
        walk.take("another board", block)
        room.calibrations.pump()
    view = room.calibrations.view()
    assert view is not None
    assert (view.step, view.prompt) == (
        CalibrationStep.REFUSED,
        "The converters give nothing. Look at their plugs.",
    )


def test_a_converter_that_is_too_slow_ends_the_walk_in_words(enter: Enter) -> None:
    room = enter()
    room.press("table saw", "begin")
    room.pass_s(0.5)
    walk = room.calibrations._walk
    assert walk is not None
    (sampler,) = room.service.samplers
    walk.take(sampler.name, replace(sampler._bank.read(8), rate_hz=300.0))
    room.calibrations.pump()
    view = room.calibrations.view()
    assert view is not None
    assert (view.step, "300" in view.prompt, view.prompt.endswith(".")) == (CalibrationStep.REFUSED, True, True)
