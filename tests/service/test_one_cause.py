"""No flood from one cause: a lost converter is one message, one that comes back is counted, one press sees all."""

import sys
from dataclasses import replace
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from viewing_room import OFFSET_S, Room, example_shop, labels, wrong_texts

from gatekeeper.control.messages import InputSeen, Kept
from gatekeeper.service.face import Heap, MessageView
from gatekeeper.service.troubles import TROUBLES
from gatekeeper.service.viewing_notes import ExtraMessage


@pytest.fixture
def twelve() -> Room:
    return Room(example_shop("shared-twelve"))


def standing(room: Room) -> dict[str, MessageView]:
    view = room.view()
    assert wrong_texts(view) == []
    return {message.key: message for message in view.messages if not message.cleared}


def on_converter(room: Room) -> tuple[str, list[str]]:
    """The converter that most tools hang on, and those tools; tools on a circuit hang on its channel."""
    found: dict[str, list[str]] = {}
    for tool in room.shop.tools.values():
        sensor = tool.sensor if tool.sensor is not None else room.shop.circuits[tool.circuit or ""].sensor
        if sensor.channel is not None:
            found.setdefault(sensor.channel.converter, []).append(tool.name)
    return max(found.items(), key=lambda item: len(item[1]))


def test_a_converter_that_falls_silent_is_one_message_and_not_one_for_each_tool(twelve: Room) -> None:
    name, tools = on_converter(twelve)
    assert len(tools) >= 6
    confirmed = [
        motor.name
        for motor in twelve.shop.motors.values()
        if motor.confirmed_by is not None
        and motor.confirmed_by.channel is not None
        and motor.confirmed_by.channel.converter == name
    ]
    for tool in tools[:-1]:
        twelve.tool(tool, "stale")
        assert f"converter:{name}" not in standing(twelve)
    twelve.tool(tools[-1], "stale")
    found = standing(twelve)
    if not confirmed:
        assert set(found) == {f"converter:{name}"}
        message = found[f"converter:{name}"]
        assert message.sentence.startswith(f"Nothing comes from the converter {name}. Nothing tells whether ")
        assert message.remedy == "Look at the converter's plug. Gates stay as they are; say Stopped when a tool is off."
        assert set(message.stands_for) == {f"sensor_lost:{tool}" for tool in tools}
        assert (message.heap, message.seen, message.count) == (Heap.TODAY, False, 1)


def test_a_bus_in_trouble_takes_its_sensors_with_it_at_once(twelve: Room) -> None:
    name, tools = on_converter(twelve)
    row = TROUBLES["converter"]
    extra = ExtraMessage(
        "converter", name, Heap.TODAY, f"Converter {name}: no answer.", row.cause, row.remedy, 1e9, 1e9
    )
    twelve.tool(tools[0], "stale")
    assert set(standing(twelve)) >= {f"sensor_lost:{tools[0]}"}
    twelve.notes = replace(twelve.notes, extra=(extra,))
    (message,) = standing(twelve).values()
    assert message.sentence == f"Converter {name}: no answer. Nothing tells whether {tools[0]} runs."
    assert message.first_wall_s == 1e9
    # The bus answers again before the sensor does.
    twelve.notes = replace(twelve.notes, extra=())
    assert f"converter:{name}" not in standing(twelve)


def test_all_tools_without_air_are_told_in_one_sentence(twelve: Room) -> None:
    tools = [name for name, tool in twelve.plan.tools.items() if len(twelve.plan.systems_of(name)) == 1][:3]
    for tool in tools:
        twelve.tool(tool, "running")
    twelve.run(9.0)
    twelve.handle(InputSeen("red buttons", "open"))
    found = standing(twelve)
    assert set(found) == {"emergency:red buttons", "no_air:each"}
    first, second, third = tools
    assert found["no_air:each"].sentence.lower() == f"{first}, {second} and {third} are cutting without air.".lower()
    twelve.tool(third, "stopped")
    assert standing(twelve)["no_air:each"].stands_for == (f"no_air:{first}", f"no_air:{second}")
    twelve.tool(second, "stopped")
    assert f"no_air:{first}" in standing(twelve)


def test_the_whole_shop_out_of_service_is_one_message_with_a_way_back_for_each(twelve: Room) -> None:
    twelve.ask("out_of_service", text="Ada: filter day")
    (message,) = standing(twelve).values()
    assert message.key == "out_of_service:each"
    assert labels(message.offers) == [f"{name[:1].upper()}{name[1:]} back in service" for name in twelve.plan.motors]


def test_lost_records_are_a_handful_of_messages_and_not_one_for_each_motor() -> None:
    room = Room(example_shop("shared-twelve"), ready=False, kept=Kept(fresh=False, damaged=True))
    codes = sorted(key.partition(":")[0] for key in standing(room))
    assert len(codes) == len(set(codes))


def test_what_comes_and_goes_is_one_message_that_counts(twelve: Room) -> None:
    tool = next(iter(twelve.plan.tools))
    key, firsts = f"sensor_lost:{tool}", []
    for count in (1, 2, 3):
        twelve.tool(tool, "stale")
        message = standing(twelve)[key]
        firsts.append(message.first_wall_s)
        assert message.count == count
        assert message.last_wall_s == pytest.approx(OFFSET_S + twelve.now_s)
        assert not message.seen
        twelve.tool(tool, "stopped")
        (over,) = [message for message in twelve.view().messages if message.cleared]
        assert (over.key, over.count) == (key, count)
        twelve.run(60.0)
    assert len(set(firsts)) == 1


def test_a_message_that_was_over_for_long_begins_anew(twelve: Room) -> None:
    tool = next(iter(twelve.plan.tools))
    for _ in range(2):
        twelve.tool(tool, "stale")
        assert standing(twelve)[f"sensor_lost:{tool}"].count == 1
        twelve.tool(tool, "stopped")
        twelve.view()
        twelve.run(13 * 3600.0)
        twelve.view()
