"""The page on scenarios holds what the program reads: its keys, its words, its examples and the default pattern."""

import re

import pytest

from gatekeeper.shop import examples
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from sim.day_pattern import BY_NAME, USUAL
from sim.expect import Being, Figure
from sim.scenario import load_scenario
from sim.scenario_fields import Between
from sim.scenario_files import folder
from sim.scenario_written import Asked, Board, Door, ExpectsPart, HabitPart, HappensPart, PatternPart, Turned

PAGE = (folder() / "README.md").read_text(encoding="utf-8")


def test_its_examples_are_scenarios() -> None:
    shop = load_shop(examples.example("garage-one-collector").read_text(encoding="utf-8"), "")
    assert not isinstance(shop, Faults)
    blocks = re.findall(r"^```yaml\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)
    assert len(blocks) == 2
    for block in blocks:
        assert not isinstance(load_scenario(block, "README.md", shop), Faults)


@pytest.mark.parametrize("words", [Asked, Board, Door, Turned, Being, Figure], ids=lambda kind: kind.__name__)
def test_every_word_stands_in_it(words: type[Asked]) -> None:
    assert [word.value for word in words if f"`{word.value}`" not in PAGE] == []


@pytest.mark.parametrize("part", [HappensPart, ExpectsPart], ids=lambda part: part.__name__)
def test_every_key_stands_in_it(part: type[HappensPart]) -> None:
    assert [key for key in part.model_fields if f"`{key}`" not in PAGE] == []
    assert [key for key in (*PatternPart.model_fields, *HabitPart.model_fields) if f"{key}:" not in PAGE] == []


def test_the_default_pattern_is_the_one_that_is_drawn_from() -> None:
    def span(between: Between) -> str:
        return f"{between.least:g} to {between.most:g}"

    rows = [
        f"| {word} | {span(habit.jobs)} | {span(habit.cuts)} | {span(habit.cut)} | {span(habit.pause)} |"
        for word, habit in [*BY_NAME, ("any other", USUAL)]
    ]
    assert "\n".join(rows) in PAGE
