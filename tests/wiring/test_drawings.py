"""The drawings: nothing overlaps or leaves its frame, and every core ends at a terminal."""

import re
import typing
from collections.abc import Callable, Iterator
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree

import pytest

from gatekeeper.service.pin_table import pin_table
from gatekeeper.shop.claims import PIN_KEYS
from gatekeeper.shop.examples import example
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from gatekeeper.shop.places import read_tree
from gatekeeper.shop.written import ShopFile
from gatekeeper.shop.written_drivers import DrivePart
from gatekeeper.wiring_plan.commands import alone
from gatekeeper.wiring_plan.drawing import WIDTH, drawing
from gatekeeper.wiring_plan.handbook import KINDS, file_stem, handbook_page
from gatekeeper.wiring_plan.handbook_speed import SPEED, SPEED_WRITTEN
from gatekeeper.wiring_plan.model import Device
from gatekeeper.wiring_plan.plan import wiring_plan

HARDWARE = Path(__file__).parents[2] / "hardware"
PICTURES, DEVICES = HARDWARE / "pictures", HARDWARE / "devices"
#: Widths at 12.5 px of a wide sans-serif font: capitals and figures, and all the rest.
WIDE, NARROW = 8.6, 7.0
REFUSED = re.compile(r"\b(safe|compliant|certified|protected|explosion-proof)\b", re.IGNORECASE)
HIGH, DEEP = 9.5, 3.0


def svg_of(device: Device) -> ElementTree.Element:
    return ElementTree.fromstring(drawing(device.sheet, device.cable, device.title))


def boxes(svg: ElementTree.Element) -> Iterator[tuple[str, float, float, float, float]]:
    """Each text with its box: left, top, right, bottom."""
    for text in svg.iter("text"):
        words = text.text or ""
        x, y, width = (
            float(text.attrib["x"]),
            float(text.attrib["y"]),
            sum(WIDE if one.isupper() or one.isdigit() else NARROW for one in words),
        )
        left = x - {"start": 0.0, "middle": width / 2, "end": width}[text.attrib["text-anchor"]]
        yield words, left, y - HIGH, left + width, y + DEEP


def test_no_words_of_a_drawing_overlap_or_leave_it(any_shop: Shop) -> None:
    for device in wiring_plan(any_shop, "shop.yaml").devices:
        svg = svg_of(device)
        height = float(svg.attrib["viewBox"].split()[3])
        placed = list(boxes(svg))
        for words, left, top, right, bottom in placed:
            assert left >= 0, (device.title, words)
            assert right <= WIDTH + 4, (device.title, words)
            assert top >= 0, (device.title, words)
            assert bottom <= height, (device.title, words)
        for one, other in combinations(placed, 2):
            apart = one[1] >= other[3] or other[1] >= one[3] or one[2] >= other[4] or other[2] >= one[4]
            assert apart, (device.title, one[0], other[0])


def test_words_do_not_lie_on_upright_lines_or_the_sides_of_a_block(any_shop: Shop) -> None:
    for device in wiring_plan(any_shop, "shop.yaml").devices:
        svg = svg_of(device)
        uprights = []
        for path in svg.iter("path"):
            found = re.fullmatch(r"M([\d.]+) ([\d.]+) L([\d.]+) ([\d.]+)", path.attrib["d"])
            if found is not None and found[1] == found[3]:
                uprights.append((float(found[1]), *sorted((float(found[2]), float(found[4])))))
        for block in (one for one in svg.iter("rect") if one.attrib["class"] == "block"):
            x, y, width, high = (float(block.attrib[key]) for key in ("x", "y", "width", "height"))
            uprights += [(x, y, y + high), (x + width, y, y + high)]
        for words, left, top, right, bottom in boxes(svg):
            for x, begin, end in uprights:
                assert not (left < x < right and begin < bottom - 2 and end > top + 2), (device.title, words)


def test_every_core_has_a_terminal_and_both_its_words(any_shop: Shop) -> None:
    plan = wiring_plan(any_shop, "shop.yaml")
    numbers = [core.terminal for cable in plan.cables for core in cable.cores]
    assert numbers == [f"X1:{number}" for number in range(1, len(numbers) + 1)]
    assert [cable.number for cable in plan.cables] == [f"K{number}" for number in range(1, len(plan.cables) + 1)]
    for device in plan.devices:
        svg = svg_of(device)
        said = {text.text for text in svg.iter("text")}
        terminals = [one for one in svg.iter("rect") if one.attrib["class"] == "terminal"]
        cores = device.cable.cores if device.cable is not None else ()
        assert len(terminals) == len(cores)
        assert {core.terminal for core in cores} | {core.number for core in cores} <= said


def test_every_line_of_the_board_is_drawn_once(any_shop: Shop) -> None:
    plan = wiring_plan(any_shop, "shop.yaml")
    drawn: list[str] = []
    for device in plan.devices:
        if device.kind != "converter":
            drawn += re.findall(r"GPIO\d+", " ".join(text.text or "" for text in svg_of(device).iter("text")))
    assert len(drawn) == len(set(drawn))
    bus = {"GPIO2", "GPIO3", *(f"GPIO{line}" for line in (7, 8, 9, 10, 11))}
    wired = {row.line.split(",")[0] for row in pin_table(any_shop) if "bus" not in row.wire}
    assert wired == set(drawn) - (bus - wired)


BENCH = """\
shop: {name: Handbook, units: metric, mains: 50 Hz, open_flue_nearby: no, attended: yes}
motors:
  collector:
    power: 2 kW
    inlet: 150 mm
    switched_by: {pin: GPIO17, steady_pulse: yes, when_board_dies: drops after 1 s}
    release: 2 s
  vacuum:
    kind: tool vacuum
    power: 1 kW
    inlet: 50 mm
    switched_by: {start: GPIO22, stop: GPIO27, when_board_dies: stays}
    confirmed_by: {current_switch: GPIO4, within: 3 s}
  big:
    power: 4 kW
    inlet: 200 mm
    switched_by: {drive: fan drive, when_board_dies: drops after 2 s}
drives:
  fan drive: {serial: /dev/ttyUSB0, command: 0x2000, start: 1, stop: 0, status: 0x2100, running: 1}
servo_banks:
  bank: {enable: GPIO5}
ducts:
  big drop: {towards: big, diameter: 200 mm, length: 4 m}
  drop: {towards: collector, diameter: 150 mm, length: 4 m}
  hose: {towards: vacuum, diameter: 50 mm, length: 4 m}
gates:
  saw gate: {duct: drop, servo: {bank: bank, channel: 0}}
  planer gate: {duct: drop, bridge: {open: GPIO16, shut: GPIO13, enable: GPIO12}}
  bench gate: {duct: hose, servo: {bank: bank, channel: 1}}
  big gate: {duct: big drop}
tools:
  saw: {gates: [saw gate, bench gate], sensor: {current_switch: GPIO6}}
  planer: {gates: [planer gate, big gate], sensor: {current_switch: GPIO7}}
inputs:
  knob: {kind: air here, pin: GPIO11, at: planer}
permits:
  planer permit: {pin: GPIO26, at: planer}
"""

AIR_BENCH = """\
shop: {name: Handbook, units: metric, mains: 50 Hz, open_flue_nearby: no}
motors:
  collector: {power: 2 kW, inlet: 150 mm, switched_by: {pin: GPIO17, when_board_dies: drops}}
ducts:
  main: {towards: collector, diameter: 150 mm, length: 4 m}
gates:
  saw gate: {duct: main}
tools:
  saw: {gates: saw gate, sensor: {current_switch: GPIO6}}
converters:
  air board: {kind: ADS1115}
gauges:
  main gauge:
    duct: main
    converter: air board
    channel: 0
    points: [500 mV at 0 Pa, 4.5 V at 5 kPa]
    divider: [10 kohm, 20 kohm]
  filter gauge:
    filter_of: collector
    converter: air board
    channel: 1
    points: [4 mA at 0 Pa, 20 mA at 2.5 kPa]
    resistor: 150 ohm
    clean_at: 1 kPa
"""

#: The picture of each kind of device in the handbook, and the example shop whose first one of that kind is shown.
HANDBOOK = {
    "motor switch": "garage-one-collector",
    "gate on a servo": "garage-one-collector",
    "gate on two relays": "long-narrow",
    "gate on a coil and a spring": "long-narrow",
    "sign lamp": "garage-one-collector",
    "normally open contact": "one-evening",
    "normally closed contact": "long-narrow",
    "two contacts": "long-narrow",
    "current clamp": "garage-one-collector",
    "converter": "garage-one-collector",
    "motor switch by steady pulses": "bench",
    "motor switch by two buttons": "bench",
    "motor switch by a drive": "bench",
    "servo bank": "bench",
    "gate on a servo of a bank": "bench",
    "gate on an H-bridge": "bench",
    "air ready contact": "bench",
    "gauge with a voltage": "air bench",
    "gauge on a current loop": "air bench",
}


def shown(kind: str) -> tuple[Device, str]:
    """The device that the handbook shows for a kind, and its shop."""
    name = HANDBOOK[kind]
    texts = {"bench": BENCH, "air bench": AIR_BENCH}
    shop = load_shop(texts[name] if name in texts else example(name).read_text(encoding="utf-8"), name)
    assert not isinstance(shop, Faults)
    return next(one for one in wiring_plan(shop, name).devices if one.kind == kind), shop.name


@pytest.mark.parametrize("kind", HANDBOOK)
def test_the_pictures_of_the_handbook_are_what_the_plan_draws(kind: str, golden: Callable[[Path, str], None]) -> None:
    device, _ = shown(kind)

    golden(PICTURES / f"wiring-{file_stem(kind)}.svg", alone(drawing(device.sheet, device.cable, device.title)))


@pytest.mark.parametrize("kind", HANDBOOK)
def test_the_pages_of_the_handbook_say_what_the_plan_says(kind: str, golden: Callable[[Path, str], None]) -> None:
    page = handbook_page(*shown(kind))

    golden(DEVICES / f"{file_stem(kind)}.md", page)


@pytest.mark.parametrize("page", sorted(DEVICES.glob("*.md")), ids=lambda page: page.stem)
def test_links_of_the_devices_pages_lead_somewhere_and_no_word_promises_too_much(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    links = re.findall(r"\]\(([^)#]+)", text)

    assert links
    assert [link for link in links if not (DEVICES / link).is_file()] == []
    assert REFUSED.search(text) is None
    assert page.name in (HARDWARE / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("kind", HANDBOOK)
def test_what_a_page_writes_into_a_shop_file_is_understood(kind: str) -> None:
    known = {keys[0] for keys in PIN_KEYS} | {"converters", "drives", "gauges"}
    tree = read_tree(KINDS[kind].written + "\n", kind)
    assert not isinstance(tree, Faults), tree
    parts = tree.plain()

    assert set(parts) <= known
    for section, named in parts.items():
        model = typing.get_args(ShopFile.model_fields[section].annotation)[1]
        for part in named.values():
            model.model_validate(part)


def test_what_the_page_on_drives_writes_of_speed_is_understood() -> None:
    tree = read_tree(SPEED_WRITTEN + "\n", "speed")
    assert not isinstance(tree, Faults), tree
    (drive,) = [DrivePart.model_validate(part) for part in tree.plain()["drives"].values()]
    assert (drive.speed, drive.least_speed, drive.full_speed) == ("from the air", 25.0, 50.0)
    assert f"```yaml\n{SPEED_WRITTEN}\n```" in SPEED


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("", None),
        (", speed: 48.5, speed_register: 3, least_speed: 30", "Its speed comes from the bus too: 48.5 Hz."),
        (
            ", speed: from the air, speed_register: 3, least_speed: 27.5",
            "Its speed comes from the bus too, 27.5 to 50 Hz: set both as its limits in the drive as well, ramps of 3 "
            "to 10 s alike both ways, and its own energy saving and pressure control off.",
        ),
    ],
)
def test_the_sheet_of_a_drive_says_what_its_speed_wants(written: str, said: str | None) -> None:
    line = "fan drive: {serial: /dev/ttyUSB0, command: 0x2000, start: 1, stop: 0, status: 0x2100, running: 1"
    shop = load_shop(BENCH.replace(line, line + written), "bench.yaml")
    assert not isinstance(shop, Faults), shop.each
    assert line in BENCH
    (drive,) = [one for one in wiring_plan(shop, "bench.yaml").devices if one.kind == "motor switch by a drive"]
    assert (drive.notes[3:] or (None,)) == (said,)


def test_the_handbook_shows_every_kind_that_is_drawn(every_device: Shop, more_devices: Shop) -> None:
    shops = every_device, more_devices
    assert {device.kind for shop in shops for device in wiring_plan(shop, "shop.yaml").devices} == set(HANDBOOK)
    assert set(KINDS) == set(HANDBOOK)
