"""What the door is made of beside the state: the PIN, the signed-in phones, and the machine's own networks."""

from dataclasses import replace
from ipaddress import ip_network
from pathlib import Path

import pytest

from gatekeeper.door_parts import door_settings, own_subnets, pin_of
from gatekeeper.shop.examples import example
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Reading, Shop

ROUTES = """Iface\tDestination\tGateway\tFlags\tRefCnt\tUse\tMetric\tMask\tMTU\tWindow\tIRTT
eth0\t00000000\t01051E8D\t0003\t0\t0\t0\t00000000\t0\t0\t0
eth0\t00051E8D\t00000000\t0001\t0\t0\t0\t00FFFFFF\t0\t0\t0
wlan0\t0000A8C0\t00000000\t0001\t0\t0\t0\t0000FFFF\t0\t0\t0
broken line
eth0\tXX\t00000000\t0001\t0\t0\t0\t00FFFFFF\t0\t0\t0
"""


@pytest.fixture
def shop() -> Shop:
    found = load_shop(example("one-evening").read_text(encoding="utf-8"), "shop.yaml")
    assert isinstance(found, Shop)
    return found


def test_own_networks_are_those_that_the_kernel_reaches_without_a_gateway(tmp_path: Path) -> None:
    routes = tmp_path / "route"
    routes.write_text(ROUTES)
    assert list(own_subnets(routes)) == [ip_network("141.30.5.0/24"), ip_network("192.168.0.0/16")]
    assert list(own_subnets(tmp_path / "none")) == []


def test_a_pin_is_made_once_kept_and_only_its_owner_may_read_it(shop: Shop, tmp_path: Path) -> None:
    made = pin_of(shop, tmp_path)
    assert made.isdecimal()
    assert len(made) == 6
    assert pin_of(shop, tmp_path) == made
    assert (tmp_path / "pin").stat().st_mode & 0o777 == 0o600
    assert pin_of(replace(shop, page=replace(shop.page, pin="271933")), tmp_path) == "271933"
    (tmp_path / "pin").write_text("no pin\n")
    again = pin_of(shop, tmp_path)
    assert again.isdecimal()
    assert (tmp_path / "pin").read_text() == again + "\n"


def test_the_door_is_as_the_shops_file_says(shop: Shop, tmp_path: Path) -> None:
    usual = door_settings(shop, tmp_path)
    assert (usual.reading_open, usual.encrypted, usual.metrics, usual.air_pin) == (True, False, False, None)
    assert usual.tries is not None
    usual.tries.write("{}")
    assert (tmp_path / "wrong-pins.json").stat().st_mode & 0o777 == 0o600
    assert usual.keep_pin is not None
    usual.keep_pin("108108")
    assert pin_of(shop, tmp_path) == "108108"
    page = replace(shop.page, pin="271933", air_pin="2342", reading=Reading.CLOSED, certificate="/a.crt", key="/a.key")
    other = door_settings(replace(shop, page=page, neighbours=replace(shop.neighbours, metrics=True)), tmp_path)
    assert (other.pin, other.air_pin, other.keep_pin) == ("271933", "2342", None)
    assert (other.reading_open, other.encrypted, other.metrics) == (False, True, True)
