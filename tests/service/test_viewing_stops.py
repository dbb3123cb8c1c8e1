"""What the page says of a stop: shown as done only when the motor's own feedback confirms it."""

import re
import sys
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from viewing_room import OFFSET_S, Room, example_shop

from gatekeeper.control.messages import HandSeen, MotorSeen
from gatekeeper.service.face import StopView, StopWord
from gatekeeper.service.viewing import StopAsked
from gatekeeper.service.viewing_notes import clock


def running(name: str, motor: str = "collector", **more: bool) -> Room:
    room = Room(example_shop(name), **more)
    tool = next(tool for tool in room.plan.tools if motor in room.plan.systems_of(tool))
    room.tool(tool, "running")
    room.run(12.0)
    assert next(one for one in room.core.snapshot().motors if one.name == motor).on
    return room


def press_stop(room: Room, *, address: str | None = "192.168.1.23") -> None:
    asked = StopAsked("page", address, room.now_s)
    room.notes = replace(room.notes, stops=dict.fromkeys(room.plan.motors, asked))
    room.ask("stop")


def stop(room: Room, motor: str = "collector") -> StopView | None:
    return next(one.stop for one in room.view().motors if one.name == motor)


def word(room: Room, motor: str = "collector") -> StopWord | None:
    found = stop(room, motor)
    return found.word if found else None


def test_a_confirmed_stop_goes_from_sent_over_stopping_to_stopped() -> None:
    room = running("garage-one-collector")
    assert stop(room) is None
    press_stop(room)
    at = clock(OFFSET_S + room.now_s)
    assert re.fullmatch(r"\d\d:\d\d", at)
    assert stop(room) == StopView(StopWord.SENT, f"Stop was sent from the page by 192.168.1.23 at {at}.")
    room.run(0.6)
    assert stop(room) == StopView(StopWord.STOPPING, f"Stopped from the page by 192.168.1.23 at {at}.")
    room.run(20.0)
    assert word(room) is StopWord.STOPPED


def test_a_motor_that_is_not_seen_still_is_not_confirmed_and_later_may_be() -> None:
    room = running("garage-one-collector")
    room.lively = False
    press_stop(room)
    room.view()
    assert room.viewing.due_s == room.now_s + 2.0
    room.run(1.9)
    assert word(room) is StopWord.SENT
    room.run(0.1)
    found = stop(room)
    assert found is not None
    assert found.word is StopWord.NOT_CONFIRMED
    assert found.sentence.startswith("Stop was sent from the page by 192.168.1.23 at ")
    assert room.viewing.due_s is None
    room.handle(MotorSeen("collector", "still"))
    assert word(room) is StopWord.STOPPING


def test_without_feedback_nothing_is_ever_confirmed() -> None:
    room = running("one-evening")
    press_stop(room, address=None)
    assert word(room) is StopWord.SENT
    room.run(2.0)
    found = stop(room)
    assert found is not None
    at = clock(OFFSET_S + room.now_s - 2.0)
    assert found == StopView(
        StopWord.NOT_CONFIRMED,
        f"Stop was sent from the page at {at}. Nothing is wired that could confirm that collector stops.",
    )
    room.run(600.0)
    assert word(room) is StopWord.NOT_CONFIRMED


def test_a_motor_that_stood_still_is_stopped_at_once_with_feedback_or_without() -> None:
    for name in ("garage-one-collector", "one-evening"):
        room = Room(example_shop(name))
        if name == "garage-one-collector":
            room.handle(MotorSeen("collector", "still"))
        press_stop(room)
        assert word(room) is StopWord.STOPPED


def test_a_lost_motor_sensor_confirms_nothing() -> None:
    room = running("garage-one-collector")
    room.handle(MotorSeen("collector", "lost"))
    room.lively = False
    press_stop(room)
    room.run(2.5)
    found = stop(room)
    assert found is not None
    assert found.word is StopWord.NOT_CONFIRMED
    assert found.sentence.endswith(" The sensor that sees whether collector runs says nothing that can be relied on.")


def test_a_fan_run_by_hand_is_not_stopped_by_the_page() -> None:
    room = running("garage-one-collector")
    room.handle(HandSeen("collector", "hand"))
    room.handle(MotorSeen("collector", "still"))
    press_stop(room)
    room.run(3.0)
    found = stop(room)
    assert found is not None
    assert (found.word, found.sentence.endswith(" Collector is run by hand at its switch.")) == (
        StopWord.NOT_CONFIRMED,
        True,
    )


def test_a_new_start_ends_it_and_a_stop_still_on_its_way_does_not() -> None:
    room = running("garage-one-collector")
    asked = StopAsked("broker", None, room.now_s)
    room.notes = replace(room.notes, stops={"collector": asked})
    assert word(room) is StopWord.SENT  # noted before the core has taken it up
    press_stop(room)
    room.run(30.0)
    room.tool(next(iter(room.plan.tools)), "stopped")
    room.run(600.0)
    assert word(room) is StopWord.STOPPED
    room.tool(next(iter(room.plan.tools)), "running")
    room.run(12.0)
    assert stop(room) is None


def test_every_motor_that_was_spoken_to_carries_the_stop() -> None:
    room = running("shared-twelve")
    press_stop(room)
    assert {one.name: one.stop.word for one in room.view().motors if one.stop} == {
        "collector": StopWord.SENT,
        "air cleaner": StopWord.SENT,
        "shaker": StopWord.STOPPED,
    }
