"""The command: its short answer, its one page, its folder, its data; what it counts and what it promises not."""

import json
import re
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pytest
from typer.testing import CliRunner

from gatekeeper.cli import app
from gatekeeper.shop.examples import example
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.kinds import InputKind
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from gatekeeper.wiring_plan.inputs import KINDS
from gatekeeper.wiring_plan.model import Piece
from gatekeeper.wiring_plan.page import whole_page
from gatekeeper.wiring_plan.plan import wiring_plan
from gatekeeper.wiring_plan.supplies import loads_of, relays_on_board_a

GOLDEN = Path(__file__).parent / "golden"
SHOPS = ("garage-one-collector", "long-narrow", "one-evening", "school-room", "shared-twelve")
REFUSED = re.compile(r"\b(safe|compliant|certified|protected|explosion-proof)\b", re.IGNORECASE)
EMPTY = {"meta", "path", "rect", "circle", "br"}


class Reader(HTMLParser):
    """Checks that every element is closed in order, and keeps the headings and links."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.said: dict[str, list[str]] = {}
        self.links: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.links += [value or "" for key, value in attrs if key in ("src", "href")]
        if tag not in EMPTY:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag not in EMPTY:
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open:
            self.said.setdefault(self.open[-1], []).append(data)


def ask(*words: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(app, ["wiring", *words])
    return result.exit_code, result.stdout, result.stderr


def shop_of(name: str) -> Shop:
    shop = load_shop(example(name).read_text(encoding="utf-8"), name)
    assert not isinstance(shop, Faults)
    return shop


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    assert reader.open == []
    return reader


@pytest.mark.parametrize("name", SHOPS)
def test_the_short_answer(name: str, golden: Callable[[Path, str], None]) -> None:
    status, said, _ = ask(name)

    assert status == 0
    golden(GOLDEN / f"{name}.txt", said)


def test_one_page_holds_everything_and_stands_alone(any_shop: Shop) -> None:
    page = whole_page(any_shop, wiring_plan(any_shop, "shop.yaml"))
    reader = read(page)

    assert reader.links == []
    assert "http" not in page
    assert "<script" not in page
    assert REFUSED.search(page) is None
    headings = reader.said["h2"]
    for heading in (
        "Power",
        "What to buy",
        "What the electrician brings",
        "Cables to pull",
        "Every pin of the board",
        "1. The box",
    ):
        assert heading in headings
    for heading in ("For the electrician, page 1: contacts", "For the electrician, page 2: starters"):
        assert heading in headings
    assert "Labels: one at each end of each core" in headings
    assert len(page) < 500_000


def test_each_machine_has_one_page_of_work_and_nothing_is_wired_twice(any_shop: Shop) -> None:
    plan = wiring_plan(any_shop, "shop.yaml")
    titles = [step.title for step in plan.steps]
    wired = [device.title for device in plan.devices]

    assert len(titles) == len(set(titles))
    assert titles[0] == "The box"
    assert titles[1 : 1 + len(any_shop.motors)] == list(any_shop.motors)
    assert len(wired) == len(set(wired))
    machines = [title for title in titles if title in any_shop.tools]
    assert machines == [name for name in any_shop.tools if name in machines]


def test_labels_come_twice_for_each_core() -> None:
    shop = shop_of("one-evening")
    reader = read(whole_page(shop, wiring_plan(shop, "one-evening.yaml")))

    assert reader.said["b"] == ["K1/1", "K1/1", "K1/2", "K1/2", "K2/1", "K2/1", "K2/2", "K2/2"]
    assert reader.said["i"][::2] == [
        "starter of collector, from Auto",
        "starter of collector, to the coil",
        "current switch around one wire of table saw, contact",
        "current switch around one wire of table saw, contact",
    ]


def test_what_to_buy_for_one_evening() -> None:
    assert wiring_plan(shop_of("one-evening"), "x").pieces == (
        Piece("board with the 40-pin header, 64-bit system, its own supply", "3.3 V lines"),
        Piece("memory card for the board", "16 GB or more, made for continuous use"),
        Piece("box for the board, closed against dust, metal or flame-retardant", "IP54 or better (IEC 60529)"),
        Piece("glands for the box", "by the cables", 2),
        Piece("terminals on a rail (X1)", "2.5 mm²", 4),
        Piece("relay module, input on when high, switching at 3.3 V", "coil 5 V, changeover contact 5 A at 30 V"),
        Piece("resistor 10 k", "0.25 W, 5 %", 2),
        Piece(
            "current switch, self-powered ring, contact made while current flows", "contact for 3.3 V direct current"
        ),
        Piece("resistor 1 k", "0.25 W, 5 %"),
    )


def test_the_supply_is_counted_by_what_moves_at_once() -> None:
    (servos, lamps) = loads_of(shop_of("garage-one-collector"))
    assert (servos.name, servos.volts, servos.current_a) == ("servo supply", "5 to 6 V", 3.0)
    assert servos.counted == (
        "6 gates on servos, at most 1 at once (at_once: 1): 1 gate moves, 3 A each when stalled "
        "(an estimate; the plate decides)."
    )
    assert (lamps.name, lamps.current_a, lamps.counted) == ("lamps", 0.5, "1 lamp, 0.5 A each at most (our figure).")
    assert relays_on_board_a(shop_of("shared-twelve")) == (3, pytest.approx(0.24))


def test_currents_from_the_plate_replace_the_estimates() -> None:
    text = example("garage-one-collector").read_text(encoding="utf-8")
    text = text.replace("servo: {pin: GPIO12}", "servo: {pin: GPIO12, stall_current: 4.2 A}")
    text = text.replace("servo supply: {at_once: 1}", "servo supply: {at_once: 2}")
    text = text.replace("servo: {pin: GPIO13}", "bridge: {open: GPIO21, shut: GPIO25, stall_current: 700 mA}")
    text = text.replace("servo: {pin: GPIO20}", "coil: {pin: GPIO20, holds: shut, current: 300 mA}")
    shop = load_shop(text, "x")
    assert not isinstance(shop, Faults)
    loads = {load.name: (round(load.current_a, 3), load.counted) for load in loads_of(shop)}
    assert loads["servo supply, servos"] == (
        7.2,
        "4 gates on servos, at most 2 at once (at_once: 2): 2 gates move, 3 to 4.2 A each when stalled, some given, "
        "some an estimate.",
    )
    assert loads["servo supply, motors"] == (
        0.7,
        "1 gate on motors, at most 1 at once (at_once: 2): 1 gate moves, 0.7 A each when stalled, as given.",
    )
    assert loads["servo supply, coils"][0] == 0.3
    fuses = {
        device.subject: piece.rating
        for step in wiring_plan(shop, "x").steps
        for device in step.devices
        for piece in device.pieces
        if piece.what.startswith("fuse")
    }
    assert (fuses["saw gate"], fuses["jointer gate"], fuses["planer gate"]) == ("5 A", "0.8 A", "3.15 A")
    # Half as much again for a coil that warms up.
    assert fuses["mitre gate"] == "0.5 A"


def test_coils_that_hold_count_together_whatever_moves() -> None:
    text = example("long-narrow").read_text(encoding="utf-8")
    text = text.replace(
        "lathe gate: {duct: lathe drop}", "lathe gate: {duct: lathe drop, coil: {pin: GPIO20, holds: shut}}"
    )
    shop = load_shop(text, "x")
    assert not isinstance(shop, Faults)
    loads = {load.name: load for load in loads_of(shop)}

    assert {name: load.current_a for name, load in loads.items()} == {
        "relay supply, servos": 6.0,
        "relay supply, motors": 5.0,
        "relay supply, coils": 2.0,
    }
    assert loads["relay supply, coils"].counted == (
        "planer gate and lathe gate: a coil is on for as long as it holds, so all of them count together, 1 A each "
        "(an estimate; the plate decides)."
    )


def test_a_folder_holds_the_parts_and_every_drawing(tmp_path: Path) -> None:
    out = tmp_path / "papers"

    status, said, _ = ask("long-narrow", "--out", str(out))

    assert status == 0
    pages = [out / f"{name}.html" for name in ("wiring", "electrician", "labels", "signs")]
    listed = ", ".join(str(page) for page in pages)
    assert said.splitlines()[-2:] == [
        f"Written: {listed} and {out / 'drawings'}.",
        "Print from a browser, black on paper; pages break by themselves.",
    ]
    for page in pages:
        read(page.read_text(encoding="utf-8"))
    drawings = sorted((out / "drawings").glob("*.svg"))
    assert len(drawings) == len(wiring_plan(shop_of("long-narrow"), "x").devices)
    assert drawings[1].name == "02-relay-of-collector.svg"
    roots = [ElementTree.parse(one).getroot() for one in drawings]
    assert {root.tag for root in roots} == {"{http://www.w3.org/2000/svg}svg"}
    for root, one in zip(roots, drawings, strict=True):  # as large as it is drawn, and no margin that cuts it off
        assert root.get("viewBox") == f"0 0 {root.get('width')} {root.get('height')}"
        assert "margin" not in one.read_text(encoding="utf-8")


def test_the_plan_for_machines() -> None:
    status, said, _ = ask("garage-one-collector", "--json")
    plan = json.loads(said)

    assert status == 0
    assert set(plan) == {"shop", "file", "pins", "steps", "parts", "electrician_brings", "supplies", "not_wired"}
    saw = next(step for step in plan["steps"] if step["title"] == "table saw")
    servo = next(device for device in saw["devices"] if device["kind"] == "gate on a servo")
    assert servo["cable"] == {
        "number": "K5",
        "to": "saw gate",
        "area_mm2": 1.5,
        "gauge": 14,
        "run_m": pytest.approx(2 + 0.3048 * 20),
        "cores": [
            {"number": "K5/1", "terminal": "X1:9", "box": "signal", "device": "signal"},
            {"number": "K5/2", "terminal": "X1:10", "box": "supply, minus", "device": "minus"},
            {"number": "K5/3", "terminal": "X1:11", "box": "supply, plus", "device": "plus"},
        ],
    }


@pytest.mark.parametrize("out", ["plan.pdf", "nowhere/deep/plan.html"])
def test_where_it_cannot_write_it_says_so(tmp_path: Path, out: str) -> None:
    said = {
        "plan.pdf": f"{tmp_path / out}: a plan is a page or a folder; name a file that ends in .html, or a folder.\n",
        "nowhere/deep/plan.html": f"{tmp_path / out}: this file cannot be written (No such file or directory).\n",
    }
    assert ask("one-evening", "--out", str(tmp_path / out)) == (2, "", said[out])


def test_open_pins_are_drawn_as_open(tmp_path: Path) -> None:
    text = example("one-evening").read_text(encoding="utf-8").replace("pin: GPIO17", "pin: to be chosen")
    path = tmp_path / "mine.yaml"
    path.write_text(text, encoding="utf-8")
    out = tmp_path / "plan.html"

    status, said, _ = ask(str(path), "--out", str(out))

    assert status == 0
    assert said.splitlines()[-1] == f"Some pins are still to be chosen. next: gatekeeper pins {path} --assign"
    assert "pin to be chosen" in read(out.read_text(encoding="utf-8")).said["text"]


def test_every_kind_of_input_has_a_part_to_buy_and_a_test() -> None:
    assert set(InputKind) - set(KINDS) == {InputKind.HAND_OFF_AUTO}  # it has two contacts and a drawing of its own
    assert all(what and rating and test.endswith(".") for what, rating, test in KINDS.values())


def test_what_is_on_the_network_has_no_wire_to_the_box(more_devices: Shop) -> None:
    plan = wiring_plan(more_devices, "x")

    assert [step.devices for step in plan.steps if step.title == "far"] == [()]
    assert "Moved over the network, each by a controller and a supply of its own: away." in plan.unseen
    assert "far: its drive is on the network (drive.local), by a network cable and no terminal of X1." in plan.unseen
