"""Single values of a shop file are changed at their place; every other character stays."""

import difflib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gatekeeper.shop import examples
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from gatekeeper.shop.rewrite import CannotRewrite, Change, rewritten

TEXT = """\
# The shed.
shop: {name: Shed, mains: 50 Hz, open_flue_nearby: no}   # one room
motors:
  collector: {power: 1 kW, switched_by: {pin: GPIO17, when_board_dies: drops}}
gates:
  saw gate: {diameter: 100 mm}
converters:
  adc: {kind: MCP3208, chip_select: 0}
tools:
  saw:
    gates: saw gate
    sensor:   # the clamp
      # on the black wire
      converter: adc
      channel: 0   # first
      range: "40 A"
  planer: {gates: saw gate, sensor: {converter: adc, channel: 1, range: 30 A, trip: 400 mA}}  # heavy
"""
SAW, PLANER = ("tools", "saw", "sensor"), ("tools", "planer", "sensor")


def changed_lines(old: str, new: str) -> list[str]:
    return [line for line in difflib.ndiff(old.splitlines(), new.splitlines()) if line.startswith(("+", "-"))]


def test_a_value_is_replaced_and_its_comment_stays() -> None:
    new = rewritten(
        TEXT,
        "shed.yaml",
        [Change(PLANER, "trip", "0.55 A"), Change(SAW, "channel", "1"), Change(PLANER, "channel", "0")],
    )

    assert changed_lines(TEXT, new) == [
        "-       channel: 0   # first",
        "+       channel: 1   # first",
        "-   planer: {gates: saw gate, sensor: {converter: adc, channel: 1, range: 30 A, trip: 400 mA}}  # heavy",
        "+   planer: {gates: saw gate, sensor: {converter: adc, channel: 0, range: 30 A, trip: 0.55 A}}  # heavy",
    ]
    shop = load_shop(new, "shed.yaml")
    assert isinstance(shop, Shop)
    assert shop.tools["planer"].sensor is not None
    assert shop.tools["planer"].sensor.trip_a == 0.55


def test_a_new_key_joins_its_part_in_the_parts_own_form() -> None:
    bare = TEXT.replace(", trip: 400 mA", "")
    new = rewritten(bare, "shed.yaml", [Change(SAW, "trip", "1.2 A"), Change(PLANER, "trip", "0.55 A")])

    assert changed_lines(bare, new) == [
        "+       trip: 1.2 A",
        "-   planer: {gates: saw gate, sensor: {converter: adc, channel: 1, range: 30 A}}  # heavy",
        "+   planer: {gates: saw gate, sensor: {converter: adc, channel: 1, range: 30 A, trip: 0.55 A}}  # heavy",
    ]


def test_a_quoted_value_goes_with_its_quotes() -> None:
    assert "      range: 20 A\n" in rewritten(TEXT, "shed.yaml", [Change(SAW, "range", "20 A")])


@pytest.mark.parametrize("ends", ["\r\n", "\r"])
def test_line_ends_and_a_byte_order_mark_stay(ends: str) -> None:
    text = "\ufeff" + TEXT.replace("\n", ends)
    new = rewritten(text, "shed.yaml", [Change(SAW, "trip", "1.2 A"), Change(PLANER, "trip", "0.55 A")])

    assert new.startswith("\ufeff#")
    assert new.replace(ends, "\n").removeprefix("\ufeff") == rewritten(
        TEXT, "shed.yaml", [Change(SAW, "trip", "1.2 A"), Change(PLANER, "trip", "0.55 A")]
    )


@pytest.mark.parametrize("name", [name for name in examples.names() if name != "one-evening"])
def test_every_clamp_of_every_example_can_be_given_a_trip(name: str) -> None:
    text = examples.example(name).read_text(encoding="utf-8")
    shop = load_shop(text, name)
    assert isinstance(shop, Shop)
    parts = [
        ("outlets" if tool.is_outlet else "tools", tool.name, "sensor")
        for tool in shop.tools.values()
        if tool.circuit is None and tool.sensor is not None and tool.sensor.channel is not None
    ]
    parts += [("circuits", circuit, "sensor") for circuit in shop.circuits]
    assert parts
    for part in parts:
        new = load_shop(rewritten(text, name, [Change(part, "trip", "0.35 A")]), name)
        assert isinstance(new, Shop)
        sensor = new.circuits[part[1]].sensor if part[0] == "circuits" else new.tools[part[1]].sensor
        assert sensor is not None
        assert sensor.trip_a == 0.35


@settings(max_examples=60, deadline=None)
@given(
    spaces=st.sampled_from(["", " ", "   "]),
    comment=st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), max_size=12),
    order=st.permutations(["converter: adc", "channel: 1", "range: 30 A"]),
)
def test_only_the_one_part_changes_however_it_is_written(spaces: str, comment: str, order: list[str]) -> None:
    written = "{" + spaces + f",{spaces} ".join(order) + spaces + "}"
    text = TEXT.replace("{converter: adc, channel: 1, range: 30 A, trip: 400 mA}", written).replace(
        "# heavy", f"# {comment}"
    )
    new = rewritten(text, "shed.yaml", [Change(PLANER, "trip", "0.55 A")])

    assert new.replace(", trip: 0.55 A", "") == text


@pytest.mark.parametrize(
    ("text", "change", "said"),
    [
        (
            TEXT,
            Change(("tools", "lathe", "sensor"), "trip", "1 A"),
            "shed.yaml: there is no part tools > lathe > sensor to write trip into",
        ),
        (
            TEXT.replace('"40 A"', '"\\x340 A"'),
            Change(SAW, "range", "20 A"),
            "shed.yaml: line 16 is written in a way that cannot be changed; write it by hand",
        ),
        (
            TEXT,
            Change(PLANER, "trip", "90 A"),
            "shed.yaml: with tools > planer > sensor > trip: 90 A this would be no shop: "
            "this clamp shows at most 30.0 A, and its trip is 90.0 A: never reached; "
            "use a smaller burden or a larger range",
        ),
        (
            TEXT,
            Change(SAW, "channel", "3 # so"),
            "shed.yaml: the change would touch more than it should; write it by hand: "
            "tools > saw > sensor > channel: 3 # so",
        ),
        (
            TEXT,
            Change(PLANER, "trip", "1 A # so"),
            "shed.yaml: this file cannot be read any more; mend it first (gatekeeper check shed.yaml)",
        ),
        (
            TEXT.replace("mains: 50 Hz", "mains: [50 Hz"),
            Change(PLANER, "trip", "1 A"),
            "shed.yaml: this file cannot be read any more; mend it first (gatekeeper check shed.yaml)",
        ),
    ],
)
def test_what_cannot_be_changed_is_said_and_nothing_comes_back(text: str, change: Change, said: str) -> None:
    with pytest.raises(CannotRewrite) as caught:
        rewritten(text, "shed.yaml", [change])
    assert str(caught.value) == said


def test_a_small_part_in_braces_is_put_in_and_replaced_whole() -> None:
    part = ("motors", "collector")
    first = "{switched_by: GPIO17}"
    text = TEXT.replace("gates:\n", "ducts:\n  main: {towards: collector, diameter: 150 mm, length: 2 m}\ngates:\n", 1)
    text = text.replace("saw gate: {diameter: 100 mm}", "saw gate: {duct: main}")
    value = "{duct: main, suction: 1200 Pa, open: [saw gate]}"
    once = rewritten(text, "shed.yaml", [Change(part, "suction_reading", value)])
    assert f"when_board_dies: drops}}, suction_reading: {value}}}" not in once  # behind the last plain value
    assert f"power: 1 kW, suction_reading: {value}, switched_by:" in once
    again = rewritten(once, "shed.yaml", [Change(part, "suction_reading", value.replace("1200", "900"))])
    assert again == once.replace("1200", "900")
    with pytest.raises(CannotRewrite, match="this would be no shop"):
        rewritten(once, "shed.yaml", [Change(part, "suction_reading", first)])


def test_a_small_part_that_is_written_on_lines_of_its_own_is_left_to_a_hand() -> None:
    text = TEXT.replace(
        "  collector: {power: 1 kW, switched_by: {pin: GPIO17, when_board_dies: drops}}\n",
        "  collector:\n    power: 1 kW\n    switched_by: {pin: GPIO17, when_board_dies: drops}\n"
        "    suction_reading:\n      duct: main\n      suction: 900 Pa\n      open: saw gate\n",
    ).replace("gates:\n", "ducts:\n  main: {towards: collector, diameter: 150 mm, length: 2 m}\ngates:\n", 1)
    text = text.replace("saw gate: {diameter: 100 mm}", "saw gate: {duct: main}")
    with pytest.raises(CannotRewrite, match="line 8 is written in a way that cannot be changed; write it by hand"):
        rewritten(
            text,
            "shed.yaml",
            [Change(("motors", "collector"), "suction_reading", "{duct: main, suction: 1 kPa, open: saw gate}")],
        )
