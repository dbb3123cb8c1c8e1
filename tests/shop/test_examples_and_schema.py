"""The example shops: each valid, each true to the schema that editors get; and no text brings the reader down."""

import random
from typing import Any

import jsonschema
import pytest
import yaml

from gatekeeper.shop import examples
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from gatekeeper.shop.places import Tree, read_tree
from gatekeeper.shop.schema import shop_schema

NAMES = examples.names()


def text_of(name: str) -> str:
    return examples.example(name).read_text(encoding="utf-8")


def test_every_kind_of_shop_has_its_example() -> None:
    assert {"garage-one-collector", "long-narrow", "one-evening", "school-room", "shared-twelve"} <= set(NAMES)


def test_there_is_no_example_of_another_name() -> None:
    with pytest.raises(KeyError):
        examples.example("../one-evening")


@pytest.mark.parametrize(
    ("name", "tools", "gates", "motors"),
    [
        ("one-evening", 1, 2, 1),
        ("garage-one-collector", 6, 6, 1),
        ("long-narrow", 6, 7, 3),
        ("shared-twelve", 12, 10, 3),
        ("school-room", 24, 24, 2),
    ],
)
def test_an_example_is_a_shop_without_fault(name: str, tools: int, gates: int, motors: int) -> None:
    shop = load_shop(text_of(name), name)

    assert isinstance(shop, Shop)
    assert (len(shop.tools), len(shop.gates), len(shop.motors)) == (tools, gates, motors)


@pytest.mark.parametrize("name", NAMES)
def test_an_example_fits_the_schema_as_text_and_as_an_editor_reads_it(name: str) -> None:
    schema = shop_schema()
    tree = read_tree(text_of(name), name)
    assert isinstance(tree, Tree)

    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(tree.plain(), schema)
    jsonschema.validate(yaml.safe_load(text_of(name)), schema)


@pytest.mark.parametrize(
    ("change", "path"),
    [
        ({"shop": {"name": "x", "mains": "55 Hz"}}, ["shop", "mains"]),
        ({"shop": {"name": "x", "mains": "50 Hz", "nmae": "y"}}, ["shop"]),
        ({"motors": {"collector": {"power": "1 kW"}}}, ["motors", "collector"]),
        ({"page": {"port": 80}}, ["page", "port"]),
        ({"page": {"pin": None}}, ["page", "pin"]),
    ],
)
def test_the_schema_refuses_what_the_reader_refuses(change: dict[str, Any], path: list[str]) -> None:
    tree = read_tree(text_of("one-evening"), "one-evening")
    assert isinstance(tree, Tree)

    with pytest.raises(jsonschema.ValidationError) as trouble:
        jsonschema.validate(tree.plain() | change, shop_schema())

    assert list(trouble.value.absolute_path) == path


def test_every_key_of_the_schema_says_what_it_means() -> None:
    schema = shop_schema()
    parts = {"": schema, **schema["$defs"]}

    silent = [
        f"{part}.{key}"
        for part, body in parts.items()
        for key, field in body.get("properties", {}).items()
        if not (field.get("description") or parts[field["$ref"].rpartition("/")[2]].get("description"))
    ]

    assert silent == []


def _damaged(text: str, chance: random.Random) -> str:
    """The text with a few slips: characters dropped, doubled or replaced, lines moved."""
    for _ in range(chance.randint(1, 4)):
        place = chance.randrange(len(text))
        slip = chance.choice(["drop", "double", "replace", "line"])
        if slip == "drop":
            text = text[:place] + text[place + chance.randint(1, 9) :]
        elif slip == "double":
            text = text[:place] + text[place : place + 9] + text[place:]
        elif slip == "replace":
            text = text[:place] + chance.choice("{}[]:,&*!|>%@`#-?'\"\t\n 0aZ\x00é") + text[place + 1 :]
        else:
            lines = text.split("\n")
            lines.insert(chance.randrange(len(lines)), lines.pop(chance.randrange(len(lines))))
            text = "\n".join(lines)
    return text


def test_damaged_files_are_read_or_refused_with_places() -> None:
    chance = random.Random(7)
    outcomes = {"shop": 0, "faults": 0}
    for _ in range(250):
        text = _damaged(text_of(chance.choice(NAMES)), chance)
        result = load_shop(text, "damaged.yaml")
        if isinstance(result, Shop):
            outcomes["shop"] += 1
            continue
        assert isinstance(result, Faults)
        lines = len(text.splitlines()) + 1
        assert result.each
        assert all(1 <= fault.mark.line <= lines and fault.mark.column >= 1 and fault.said for fault in result.each)
        assert result.lines()
        outcomes["faults"] += 1

    assert outcomes["shop"] > 10
    assert outcomes["faults"] > 125
