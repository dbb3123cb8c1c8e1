"""The file that lets a board be found, and the documented neighbours: as the program has them."""

import re
import xml.etree.ElementTree as ElementTree
from pathlib import Path

from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from gatekeeper.shop.written_page import PagePart

HARDWARE = Path(__file__).parents[2] / "hardware"
SHOP = """
shop: {name: Documented shop, mains: 50 Hz}
motors:
  collector: {power: 2 kW, switched_by: {pin: GPIO17, when_board_dies: drops}}
gates:
  saw gate: {diameter: 100 mm, servo: {pin: GPIO12}}
tools:
  table saw: {gates: saw gate, sensor: {current_switch: GPIO23}}
"""


def test_the_announced_service_is_the_page_on_its_usual_port() -> None:
    tree = ElementTree.parse(HARDWARE / "gatekeeper.avahi.service").getroot()
    assert tree.tag == "service-group"
    assert [(one.findtext("type"), one.findtext("port")) for one in tree.findall("service")] == [
        ("_http._tcp", str(PagePart().port))
    ]


def test_every_documented_piece_of_a_shop_file_is_one() -> None:
    pieces = [
        piece
        for name in ("neighbours.md", "security.md")
        for piece in re.findall(r"```yaml\n(.*?)```", (HARDWARE / name).read_text(encoding="utf-8"), re.S)
    ]
    assert len(pieces) == 4
    house = "brokers:\n  house: {host: 192.168.1.5}\n"
    for piece in pieces:
        needs_house = "broker: house" in piece and "brokers:" not in piece
        shop = load_shop(SHOP + piece + (house if needs_house else ""), "shop.yaml")
        assert isinstance(shop, Shop), [fault.said for fault in shop.each]
