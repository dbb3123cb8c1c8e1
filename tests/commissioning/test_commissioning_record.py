"""Results as they are kept, which of them stand, and lines of another version."""

from typing import Any

import pytest

from gatekeeper.commissioning.record import Going, Result, Standing, changed
from gatekeeper.commissioning.steps import Figure, Kind, Outcome, Stage, Step

STEP = Step(Kind.JOG, "saw gate", "Saw gate: moved", (("travel", "1.5 s"),))
RESULT = Result(
    "gate/saw gate", Stage.GATES, "Saw gate: moved", Outcome.PASSED, "It opens.", "Ada", 12.5, STEP.facts,
    figures=(Figure("opens in", "1.3 s", "1.5 s"),),
)  # fmt: skip


def test_a_result_is_read_as_it_was_written() -> None:
    kept = RESULT.as_kept()
    assert Result.from_kept("gate/saw gate", "Ada", 12.5, kept) == RESULT
    assert Result.from_kept("gate/saw gate", "Ada", 12.5, {**kept, "of a later version": 1}) == RESULT


@pytest.mark.parametrize(
    "other",
    [
        {"outcome": "shrugged"},
        {"stage": "roof"},
        {"facts": 3},
        {"facts": [["one"]]},
        {"figures": [["what", "value"]]},
        {"figures": None},
    ],
)
def test_a_result_that_nobody_understands_is_none(other: dict[str, Any]) -> None:
    assert Result.from_kept("gate/saw gate", "Ada", 12.5, {**RESULT.as_kept(), **other}) is None
    assert Result.from_kept("gate/saw gate", "Ada", 12.5, {}) is None


def test_a_walk_is_read_as_it_was_written_and_another_versions_is_none() -> None:
    going = Going("gate/saw gate", "ready", 7, "Ada", {"legs": {"open": [1.3, "its switch"]}})
    assert Going.from_kept("gate/saw gate", "Ada", going.as_kept()) == going
    for kept in ({}, {"phase": "ready", "number": "x", "memo": {}}, {"phase": "ready", "number": 1, "memo": 3}):
        assert Going.from_kept("gate/saw gate", "Ada", kept) is None


def test_a_result_stands_until_its_part_changes_and_the_last_one_counts() -> None:
    standing = Standing([STEP], [RESULT])
    assert (standing.last(STEP), standing.is_due(STEP), standing.changed(STEP)) == (RESULT, False, None)
    slower = Step(STEP.kind, STEP.subject, STEP.title, (("travel", "2.2 s"),))
    standing = Standing([slower], [RESULT])
    assert standing.is_due(slower)
    assert standing.changed(slower) == "Changed since: travel was 1.5 s and is 2.2 s."
    assert Standing([], [RESULT]).gone() == [[RESULT]]
    assert Standing([STEP], []).is_due(STEP)


def test_what_changed_is_said_part_by_part() -> None:
    before = (("travel", "1 s"), ("open switch", "GPIO5"), ("width", "100 mm"))
    after = (("travel", "1 s"), ("width", "125 mm"), ("shut switch", "GPIO6"))
    assert changed(before, before) is None
    assert changed(before, after) == (
        "Changed since: open switch was GPIO5 and is not there any more; width was 100 mm and is 125 mm; shut switch "
        "was not there and is GPIO6."
    )
    assert changed(before, tuple(reversed(before))) == "Changed since: the order of its parts."
