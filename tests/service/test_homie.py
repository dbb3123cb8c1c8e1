"""The shop in the words of the Homie convention: ids, description, topics, and what a command means."""

import json
import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gatekeeper.service.homie import HomieDevice, Wish, id_of, ids_of
from gatekeeper.shop.examples import example
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Homie, Shop

BASE = "homie/5/dust-collection"


@pytest.fixture(scope="module")
def shop() -> Shop:
    path = example("garage-one-collector")
    found = load_shop(path.read_text(encoding="utf-8"), path.name)
    assert isinstance(found, Shop)
    return found


def device(shop: Shop, commands: bool = False) -> HomieDevice:
    return HomieDevice(shop, Homie("house", "dust-collection", commands))


def described(shop: Shop, commands: bool = False) -> dict[str, object]:
    found = json.loads(device(shop, commands)._described)
    assert isinstance(found, dict)
    return found


@pytest.mark.parametrize(
    ("name", "made"),
    [("Table saw", "table-saw"), ("Säge 2", "sage-2"), ("日本", "x"), ("--a__b--", "a-b"), ("Ⅳ", "iv"), ("²", "2")],
)
def test_names_become_ids(name: str, made: str) -> None:
    assert id_of(name) == made


@settings(deadline=None, derandomize=True, max_examples=100)
@given(st.lists(st.text(min_size=1, max_size=40), unique=True, max_size=20))
def test_ids_keep_to_the_conventions_letters_and_none_is_given_twice(names: list[str]) -> None:
    made = ids_of(names)
    assert len(set(made.values())) == len(names)
    assert all(re.fullmatch(r"[a-z0-9-]+", one) for one in made.values())
    assert ids_of(names) == made


def test_the_description_names_every_thing_and_its_properties(shop: Shop) -> None:
    found = described(shop)
    assert found["homie"] == "5.0"
    assert found["name"] == shop.name
    nodes = found["nodes"]
    assert isinstance(nodes, dict)
    assert set(nodes) == set(ids_of(["shop", *shop.motors, *shop.tools, *shop.gates]).values())
    assert nodes["collector"]["properties"] == {
        "runs": {"name": "Runs", "datatype": "boolean"},
        "state": {"name": "State", "datatype": "string"},
    }
    place = nodes[id_of(next(iter(shop.gates)))]["properties"]["place"]
    assert place["datatype"] == "enum"
    assert place["format"] == "open,shut,opening,shutting,not-known,stuck,held"


def test_the_version_changes_with_the_description_and_only_with_it(shop: Shop) -> None:
    version = described(shop)["version"]
    assert version == described(shop)["version"]
    assert version != described(shop, commands=True)["version"]
    assert version != described(replace(shop, name="Another"))["version"]


def test_without_leave_in_the_shops_file_nothing_can_be_set(shop: Shop) -> None:
    assert device(shop).command_topics == ()
    assert "settable" not in device(shop)._described
    assert device(shop).wish(f"{BASE}/collector/stop/set", "true") is None


@pytest.mark.parametrize(
    ("topic", "word", "wish"),
    [
        ("collector/stop/set", "true", Wish("stop", "collector")),
        ("collector/stop/set", "false", None),
        ("collector/stop/set", "TRUE", None),
        ("collector/run/set", "true", None),
        ("table-saw/air/set", "true", Wish("air_here", "table saw")),
        ("table-saw/air/set", "false", Wish("air_here", "table saw", 0.0)),
        ("table-saw/release/set", "true", None),
        ("$state", "ready", None),
    ],
)
def test_a_command_is_a_stop_or_air_and_nothing_else(shop: Shop, topic: str, word: str, wish: Wish | None) -> None:
    assert device(shop, commands=True).wish(f"{BASE}/{topic}", word) == wish
