"""Sensors, converters, brokers and meters of a shop file: every default, and the schema that editors get."""

from pathlib import Path

import jsonschema
import pytest

from gatekeeper.shop.converters import samples_each, samples_needed
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.kinds import ContactUse, ConverterKind, EndsBy, MeterUnit, PasswordPlace
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Asking, Broker, Contact, Converter, Meter, Metered, Shop
from gatekeeper.shop.places import Tree, read_tree
from gatekeeper.shop.schema import shop_schema

GOLDEN = Path(__file__).parent / "golden" / "sensor-bites.yaml"
TEXT = GOLDEN.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def shop() -> Shop:
    read = load_shop(TEXT, "sensors.yaml")
    assert isinstance(read, Shop)
    return read


def test_a_shop_with_every_kind_of_sensor_fits_the_schema() -> None:
    tree = read_tree(TEXT, "sensors.yaml")
    assert isinstance(tree, Tree)
    jsonschema.validate(tree.plain(), shop_schema())


def test_an_ads1115_is_on_bus_1_at_its_first_address_and_shows_twice_its_full_scale(shop: Shop) -> None:
    assert shop.converters["pair chip"] == Converter("pair chip", ConverterKind.ADS1115, 1, 0, 2.048, 0x48)
    assert shop.converters["board"] == Converter("board", ConverterKind.MCP3208, 0, 0, 3.3, None)


def test_brokers_and_meters_get_their_defaults(shop: Shop) -> None:
    assert shop.brokers["home"] == Broker(
        "home", "broker.lan", 1883, "shop", (PasswordPlace.FILE, "/etc/gatekeeper/broker")
    )
    assert shop.meters["fan meter"] == Meter("fan meter", "home", "shop/fan/power", "/power", 1.0, 5.0)
    assert shop.meters["planer meter"] == Meter("planer meter", "home", "shop/planer/power", None, 10.0, 40.0)
    sensor = shop.tools["planer"].sensor
    assert sensor is not None
    assert sensor.metered == Metered("planer meter", 300.0, MeterUnit.WATT)


@pytest.mark.parametrize(
    ("written", "contact", "asking"),
    [
        ("use: button", Contact(22), Asking(ContactUse.BUTTON, EndsBy.PRESS_AGAIN, 600.0)),
        ("use: foot switch", Contact(22), Asking(ContactUse.FOOT_SWITCH, EndsBy.PRESS_AGAIN, 1800.0)),
        ("use: hose hook", Contact(22, True), Asking(ContactUse.HOSE_HOOK, EndsBy.LET_GO, None)),
        ("use: air line", Contact(22), Asking(ContactUse.AIR_LINE, EndsBy.LET_GO, None)),
        # Another end than the usual one has no time of its own, or the button's.
        ("use: foot switch, ends: let go", Contact(22), Asking(ContactUse.FOOT_SWITCH, EndsBy.LET_GO, None)),
        ("use: air line, ends: press again", Contact(22), Asking(ContactUse.AIR_LINE, EndsBy.PRESS_AGAIN, 600.0)),
        ("use: hose hook, ends_after: 1 h", Contact(22, True), Asking(ContactUse.HOSE_HOOK, EndsBy.LET_GO, 3600.0)),
    ],
)
def test_a_worked_contact_ends_as_is_usual_for_its_use(written: str, contact: Contact, asking: Asking) -> None:
    read = load_shop(TEXT.replace("use: hose hook", written), "sensors.yaml")
    assert isinstance(read, Shop)
    sensor = read.tools["battery sander"].sensor
    assert sensor is not None
    assert (sensor.contact, sensor.asking) == (contact, asking)


def test_a_hose_hook_may_be_wired_the_other_way() -> None:
    read = load_shop(TEXT.replace("contact: GPIO22", "contact: GPIO22 normally open"), "sensors.yaml")
    assert isinstance(read, Shop)
    sensor = read.tools["battery sander"].sensor
    assert sensor is not None
    assert sensor.contact == Contact(22, False)


def test_a_second_clamp_on_an_ads1115_is_refused_for_the_samples_it_would_get() -> None:
    more = TEXT.replace("converter: board, channel: 0, range", "converter: pair chip, channel: 0, range")
    read = load_shop(more, "sensors.yaml")
    assert isinstance(read, Faults)
    # The circuits stand above the tools in the file, so the table saw is the second.
    assert [(fault.path, fault.said.partition(":")[0]) for fault in read.each] == [
        (
            ("tools", "table saw", "sensor", "converter"),
            "2 clamps are on pair chip. An ADS1115 makes at most 860 samples a second for all its inputs together, at "
            "worst 264 for each of 2, and a clamp needs 400 at 50 Hz",
        )
    ]
    assert samples_each(2) < samples_needed(50) <= samples_needed(60) < samples_each(1)


def test_two_chips_share_the_bus_and_not_the_address() -> None:
    two = TEXT.replace(
        "  pair chip: {kind: ADS1115}", "  pair chip: {kind: ADS1115}\n  more: {kind: ADS1115, address: 0x49}"
    )
    assert isinstance(load_shop(two, "sensors.yaml"), Shop)
    taken = load_shop(two.replace("0x49", "0x48"), "sensors.yaml")
    assert isinstance(taken, Faults)
    assert [fault.said.partition(" is already")[0] for fault in taken.each] == ["address 0x48 of I2C bus 1"]
    line = load_shop(TEXT.replace("GPIO24", "GPIO3"), "sensors.yaml")
    assert isinstance(line, Faults)
    assert [fault.said.partition(" is already")[0] for fault in line.each] == ["GPIO3"]
