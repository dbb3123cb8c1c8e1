"""The wiring pages: their tables are what the shop's file gives, and their words promise nothing we cannot keep."""

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from gpiozero.pins.pi import PiBoardInfo

from gatekeeper.devices.pin_bank import boot_line
from gatekeeper.devices.resting import HEADER_REVISION
from gatekeeper.devices.reversing import RelayPairGate
from gatekeeper.devices.servos import ServoGate
from gatekeeper.devices.signs import LampSign
from gatekeeper.devices.switching import RelaySwitch
from gatekeeper.service.pin_table import ClampRow, PinRow, as_markdown, clamp_table, pin_table
from gatekeeper.service.wiring import contacts_of, output_lines
from gatekeeper.shop.examples import example, names
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.lines import HEADER_PINS
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

HARDWARE = Path(__file__).parents[2] / "hardware"
PAGES = sorted(path.name for path in HARDWARE.glob("*.md"))
#: The bench for recordings is no shop to be wired: it lives on the desk.
SHOPS = sorted(set(names()) - {"recording-bench"})
TABLE = re.compile(
    r"(?P<begin><!-- (?P<which>pins|clamps) of (?P<shop>[a-z-]+), made from its file -->\n\n)"
    r"(?P<table>.*?)(?P<end>\n<!-- end -->)",
    re.DOTALL,
)


def shop_of(name: str) -> Shop:
    shop = load_shop(example(name).read_text(encoding="utf-8"), name)
    assert not isinstance(shop, Faults)
    return shop


def made(text: str) -> Shop:
    shop = load_shop(text, "made.yaml")
    assert not isinstance(shop, Faults), shop
    return shop


def fresh(page: str) -> str:
    """The page with its tables as the shop's file gives them now."""

    def table(found: "re.Match[str]") -> str:
        shop = shop_of(found["shop"])
        rows = as_markdown(pin_table(shop)) if found["which"] == "pins" else as_markdown(clamp_table(shop))
        return found["begin"] + rows + found["end"]

    return TABLE.sub(table, page)


@pytest.mark.parametrize("name", SHOPS)
def test_the_tables_on_a_shops_page_are_what_its_file_gives(name: str, golden: Callable[[Path, str], None]) -> None:
    path = HARDWARE / f"{name}.md"
    page = path.read_text(encoding="utf-8")
    golden(path, fresh(page))

    kept = [(found["shop"], found["which"]) for found in TABLE.finditer(page)]
    assert kept == [(name, "pins")] + [(name, "clamps")] * bool(clamp_table(shop_of(name)))


@pytest.mark.parametrize("name", SHOPS)
def test_every_line_of_a_shop_stands_in_its_table_once(name: str) -> None:
    shop = shop_of(name)
    lines = [int(row.line.split(",")[0].removeprefix("GPIO")) for row in pin_table(shop)]
    wired = [line.pin for line in output_lines(shop)] + [contact.line for contact in contacts_of(shop).values()]

    assert len(lines) == len(set(lines))
    assert lines[: len(wired)] == wired
    assert set(lines[len(wired) :]) <= {2, 3, 7, 8, 9, 10, 11, 16, 17, 18, 19, 20, 21}
    assert bool(lines[len(wired) :]) is bool(shop.converters)


def test_header_pins_are_those_that_the_pin_library_knows() -> None:
    header = PiBoardInfo.from_revision(HEADER_REVISION).headers["J8"].pins

    assert [header[pin].name for pin in HEADER_PINS] == [f"GPIO{line}" for line in range(28)]


SMALL = """
shop: {{name: Small, units: metric, mains: 50 Hz, open_flue_nearby: no, attended: yes}}
motors:
  fan: {{power: 1 kW, inlet: 100 mm, switched_by: {{pin: {pin}, when_board_dies: {dies}}}}}
ducts:
  drop: {{towards: fan, diameter: 100 mm, length: 2 m}}
  other drop: {{towards: fan, diameter: 100 mm, length: 2 m}}
gates:
  gate: {{duct: drop, servo: {{pin: GPIO6}}}}
  pair: {{duct: other drop, relays: {{open: GPIO16, shut: GPIO14}}}}
tools:
  saw: {{gates: [gate, pair], sensor: {{current_switch: GPIO2}}}}
signs:
  lamp: {{pin: GPIO22, at: saw}}
"""


def test_what_each_output_does_comes_from_its_driver() -> None:
    motor, servo, opening, shutting, lamp, contact = pin_table(made(SMALL.format(pin="GPIO17", dies="drops")))

    assert motor == PinRow(
        "GPIO17, header pin 11",
        "Relay in the coil circuit of the contactor of fan",
        "Starts and stops fan. High is on.",
        "10 k to ground, outside; the board's own at power-up: down",
        RelaySwitch.fate.at_power_up,
        RelaySwitch.fate.when_process_dies,
        "The relay drops and the contactor opens at once.",
    )
    assert servo == PinRow(
        "GPIO6, header pin 31",
        "Signal wire of the servo of gate, through 1 k",
        "Moves it: pulses of 2 ms open it, of 1 ms shut it, and end with the move.",
        "None outside; the board's own at power-up: up",
        ServoGate.fate.at_power_up,
        ServoGate.fate.when_process_dies,
        "The gate stays where it is; a person can push it.",
    )
    assert (opening.program_dies, opening.power_lost) == (
        RelayPairGate.fate.when_process_dies,
        "Both relays drop and the gate stays where it is.",
    )
    assert shutting.does == "Drives it shut for 6 s; never on together with the other relay. High is on."
    assert shutting.pull == (
        "10 k to ground, outside; the board's own at power-up: driven high by the serial console, else down"
    )
    assert (lamp.at_power_up, lamp.program_dies, lamp.power_lost) == (
        "Dark.",
        LampSign.fate.when_process_dies,
        "The lamp goes dark.",
    )
    assert contact == PinRow(
        "GPIO2, header pin 3",
        "Current switch on a wire of saw: a normally open contact to ground",
        "Tells that saw runs. A broken wire counts as no.",
        "Up, set by the program; the board's own at power-up: up, by 1.8 k on the board",
        "Drives nothing.",
        "Drives nothing; nobody reads it.",
        "Drives nothing; nobody reads it.",
    )


@pytest.mark.parametrize(
    ("dies", "said"),
    [
        ("drops", "The relay drops and the contactor opens at once."),
        ("drops after 7 s", "The wiring drops the contactor by itself after 7 s."),
        ("stays", "The motor runs on until somebody stops it by hand. Never leave it alone."),
    ],
)
def test_what_a_motor_does_without_power_comes_from_the_shops_file(dies: str, said: str) -> None:
    assert pin_table(made(SMALL.format(pin="GPIO17", dies=dies)))[0].power_lost == said


def test_an_output_that_is_on_when_low_never_claims_to_rest_by_itself() -> None:
    row = pin_table(made(SMALL.format(pin="GPIO5 active low", dies="drops")))[0]

    assert row.does == "Starts and stops fan. Low is on."
    assert row.pull == "10 k to 3.3 V, outside; the board's own at power-up: up"
    assert row.at_power_up == (
        "On whenever the line is low: off only if the outside resistor to 3.3 V lifts the line, and many 5 V relay "
        "boards never let go at 3.3 V."
    )


@pytest.mark.parametrize(("holds", "spring"), [("open", "shut"), ("shut", "open")])
def test_a_coil_says_which_end_it_holds_and_where_the_spring_goes(holds: str, spring: str) -> None:
    text = SMALL.format(pin="GPIO17", dies="drops").replace("servo: {pin: GPIO6}", f"coil: {{pin: 6, holds: {holds}}}")

    assert pin_table(made(text))[1] == PinRow(
        "GPIO6, header pin 31",
        "Relay or transistor that feeds the coil of gate",
        f"On, its coil holds it {holds}; off, its spring brings it {spring}. High is on.",
        "10 k to ground, outside; the board's own at power-up: up",
        f"The coil is off: the spring brings the gate {spring}.",
        "On Raspberry Pi OS the coil keeps its state (not measured on a real board).",
        f"The spring brings the gate {spring}.",
    )


BOARD_PULLS = {
    "up": ("up", "up, by 1.8 k on the board"),
    "down": ("down", "driven high by the serial console, else down"),
}


@pytest.mark.parametrize("line", range(28))
def test_the_boards_own_pull_is_the_one_that_the_pin_bank_keeps(line: int) -> None:
    shop = made(SMALL.format(pin="GPIO17", dies="drops"))
    lamp = shop.signs["lamp"]
    moved = replace(lamp, output=replace(lamp.output, line=line))
    row = pin_table(replace(shop, motors={}, gates={}, tools={}, signs={"lamp": moved}))[0]
    said = row.pull.removeprefix("10 k to ground, outside; the board's own at power-up: ")

    assert said in BOARD_PULLS[boot_line(line).pull]


EVERY_INPUT = """
inputs:
  mushroom: {kind: red button, pin: GPIO3}
  heat: {kind: fire, pin: GPIO4}
  hatch: {kind: door, pin: GPIO5}
  key: {kind: shop key, pin: GPIO7}
  knob: {kind: air here, pin: GPIO8, at: saw}
  pedal: {kind: air here, pin: GPIO15, at: saw, ends: let go, ends_after: 45 s}
  off knob: {kind: stop, pin: GPIO9}
  back: {kind: reset, pin: GPIO10}
  freed: {kind: release, pin: GPIO11, at: gate}
  selector: {kind: hand-off-auto, hand_pin: GPIO12, auto_pin: GPIO13}
"""


def test_every_kind_of_input_is_said_in_words() -> None:
    rows = pin_table(made(SMALL.format(pin="GPIO17", dies="drops") + EVERY_INPUT))

    assert {row.wire.split(":")[0]: row.does for row in rows[5:-1]} == INPUTS_SAID


INPUTS_SAID = {
    "Mushroom": "Reads a second contact of the emergency circuit: opened, every motor is told off and every gate "
    "halts. The circuit itself works by wire, without the program. A broken wire counts as opened.",
    "Heat": "Reads the detector: opened, every motor is told off and the gates stay. The detector must break the coils "
    "by wire itself. A broken wire counts as opened.",
    "Hatch": "Reads a door: open, no start of fan, and what runs of it is told off. A broken wire counts as opened.",
    "Key": "Tells that the shop is open; otherwise no motor starts. A broken wire counts as no.",
    "Knob": "A press asks for air at saw for 10 min; the next press ends it. A broken wire counts as no.",
    "Pedal": "Asks for air at saw while it is made, for 45 s at most. A broken wire counts as no.",
    "Off knob": "A press tells off fan. A broken wire counts as no.",
    "Back": "A press resets after an emergency stop or a fire alarm (a fire only from here). It starts nothing. "
    "A broken wire counts as no.",
    "Freed": "A press releases gate when it is held or stuck. A broken wire counts as no.",
    "Selector, its Hand contact": "Tells that the Hand-Off-Auto switch of fan stands in Hand. "
    "A broken wire counts as no.",
    "Selector, its Auto contact": "Tells that the Hand-Off-Auto switch of fan stands in Auto. "
    "A broken wire counts as no.",
}


def test_a_current_switch_on_a_circuit_tells_of_its_tools() -> None:
    text = SMALL.format(pin="GPIO17", dies="drops").replace("sensor: {current_switch: GPIO2}", "circuit: wall")
    row = pin_table(made(text + "circuits:\n  wall: {sensor: {current_switch: GPIO3}}\n"))[-1]

    assert (row.wire, row.does) == (
        "Current switch on a wire of wall: a normally open contact to ground",
        "Tells that saw runs. A broken wire counts as no.",
    )


def test_a_clamp_names_its_channel_its_wire_and_its_resistor() -> None:
    rows = clamp_table(shop_of("shared-twelve"))

    assert rows[0] == ClampRow(
        "west board, channel 0", "one wire of table saw", "40 A", "58.3 ohm, clamp of 2000 turns"
    )
    assert [row.around for row in rows if row.channel.startswith("east board")] == [
        "one wire of sanding circuit",
        "one wire of mitre saw",
        "one wire of bench outlet",
        "one motor wire of collector",
    ]


WORKED = """
shop: {name: Worked, units: metric, mains: 50 Hz, open_flue_nearby: no}
motors:
  fan: {power: 1 kW, inlet: 100 mm, switched_by: {pin: GPIO17, when_board_dies: drops}}
gates:
  gate: {diameter: 100 mm, servo: {pin: GPIO6}}
converters:
  pairs: {kind: ADS1115, address: 0x49}
  board: {kind: MCP3208, bus: 1, chip_select: 0}
tools:
  saw: {gates: gate, sensor: {converter: pairs, channel: 1, range: 20 A}}
  planer: {gates: gate, sensor: {converter: board, channel: 0, range: 20 A}}
  sander: {gates: gate, sensor: {contact: GPIO22, use: hose hook}}
  carving: {gates: gate, sensor: {contact: GPIO23, use: foot switch}}
"""


def test_worked_contacts_and_a_chip_on_i2c_stand_in_the_table() -> None:
    shop = made(WORKED)
    rows = pin_table(shop)

    assert [(row.wire, row.does) for row in rows[2:4]] == [
        (
            "Hose hook of sander: a normally closed contact to ground",
            "While it is opened, work goes on at sander. A broken wire counts as opened.",
        ),
        (
            "Foot switch of carving: a normally open contact to ground",
            "A press says that work begins at carving, the next that it ends, at the latest after 30 min. "
            "A broken wire counts as no.",
        ),
    ]
    assert [(row.line, row.wire) for row in rows[4:]] == [
        ("GPIO2, header pin 3", "I2C bus 1: data of pairs at 0x49"),
        ("GPIO3, header pin 5", "I2C bus 1: clock of pairs at 0x49"),
        ("GPIO20, header pin 38", "SPI bus 1: data in of board"),
        ("GPIO19, header pin 35", "SPI bus 1: data out of board"),
        ("GPIO21, header pin 40", "SPI bus 1: clock of board"),
        ("GPIO18, header pin 12", "SPI bus 1: chip select of board"),
    ]
    assert clamp_table(shop)[0] == ClampRow(
        "pairs, A2 and A3", "one wire of saw", "20 A", "72.4 ohm, clamp of 2000 turns"
    )


def test_without_rows_there_is_no_table() -> None:
    assert as_markdown([]) == ""


@pytest.mark.parametrize("page", PAGES)
def test_no_page_uses_a_word_that_promises_what_we_cannot(page: str) -> None:
    text = " ".join((HARDWARE / page).read_text(encoding="utf-8").lower().split())
    text = text.replace("this is no safety-rated controller", "")

    assert [word for word in ("safe", "compliant", "certified", "protected", "explosion-proof") if word in text] == []


@pytest.mark.parametrize("page", PAGES)
def test_every_link_on_a_page_leads_somewhere(page: str) -> None:
    links = re.findall(r"\]\(([^)#]+)\)", (HARDWARE / page).read_text(encoding="utf-8"))

    assert links
    assert [link for link in links if not (HARDWARE / link).exists()] == []


def test_the_index_names_every_page() -> None:
    links = set(re.findall(r"\]\(([^)#/]+\.md)\)", (HARDWARE / "README.md").read_text(encoding="utf-8")))

    assert links == set(PAGES) - {"README.md"}
    assert {f"{name}.md" for name in SHOPS} <= links
