"""Drawn days: the same for the same seed, within the hours, one person at a tool, hand gates and key served."""

import itertools
from collections import Counter
from dataclasses import replace
from random import Random

import pytest

from gatekeeper.shop import examples
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop, Span
from sim.day import begins_s, until_s, working_day, working_days
from sim.day_pattern import Habit, Pattern, default_pattern
from sim.happening import Happening, What
from sim.scenario_fields import Between, Weekday

SHOPS = [name for name in examples.names() if name != "recording-bench"]
DAY_S = 86400.0


def shop_called(name: str) -> Shop:
    shop = load_shop(examples.example(name).read_text(encoding="utf-8"), name)
    assert not isinstance(shop, Faults)
    return shop


def cuts_of(happenings: list[Happening]) -> dict[str, list[tuple[float, float]]]:
    """By tool, its cuts in order; every switching on must be followed by a switching off."""
    found: dict[str, list[tuple[float, float]]] = {}
    on: dict[str, float] = {}
    for one in happenings:
        if one.what is What.TOOL_ON:
            assert one.subject is not None
            assert one.subject not in on
            on[one.subject] = one.at_s
        elif one.what is What.TOOL_OFF:
            assert one.subject is not None
            found.setdefault(one.subject, []).append((on.pop(one.subject), one.at_s))
    assert on == {}
    return found


def pattern(**habits: Habit) -> Pattern:
    named = {name.replace("_", " "): habit for name, habit in habits.items()}
    return Pattern(Span(8 * 60, 12 * 60), (Span(10 * 60, 10 * 60 + 15),), frozenset(), 1, named)


@pytest.mark.parametrize("name", SHOPS)
def test_people_work_within_the_hours_and_outside_of_breaks(name: str) -> None:
    shop = shop_called(name)
    usual = default_pattern(shop)
    all_cuts = 0
    for day in range(12):
        happenings = working_day(shop, usual, Random(day))
        assert happenings == sorted(happenings, key=lambda one: one.at_s)
        for stretches in cuts_of(happenings).values():
            all_cuts += len(stretches)
            for on_s, off_s in stretches:
                assert usual.open.start_min * 60 <= on_s < off_s <= usual.open.end_min * 60
                assert not any(on_s < b.end_min * 60 and off_s > b.start_min * 60 for b in usual.breaks)
    assert all_cuts > 50


def test_the_same_seed_gives_the_same_days_and_another_seed_others() -> None:
    shop = shop_called("shared-twelve")
    usual = default_pattern(shop)
    first, again, other = (list(working_days(shop, usual, 3, seed, 0.0)) for seed in (4, 4, 5))
    assert first == again
    assert first != other


def test_a_day_does_not_depend_on_how_many_are_played() -> None:
    shop = shop_called("garage-one-collector")
    usual = default_pattern(shop)
    one = list(working_days(shop, usual, 1, 9, 0.0))
    three = list(working_days(shop, usual, 3, 9, 0.0))
    assert three[: len(one)] == one


def test_closed_days_are_left_out_and_the_first_day_is_a_monday() -> None:
    shop = shop_called("garage-one-collector")
    usual = replace(default_pattern(shop), closed=frozenset({Weekday.TUESDAY, Weekday.SUNDAY}))
    worked = {int(one.at_s // DAY_S) for one in working_days(shop, usual, 9, 0, 0.0)}
    assert worked == {0, 2, 3, 4, 5, 7}


def test_jobs_cuts_and_lengths_are_within_what_the_pattern_says() -> None:
    shop = shop_called("garage-one-collector")
    habit = Habit(Between(2, 3), Between(4, 6), Between(5, 20), Between(10, 30))
    lengths: list[float] = []
    counts: Counter[int] = Counter()
    for seed in range(60):
        stretches = cuts_of(working_day(shop, pattern(table_saw=habit), Random(seed)))["table saw"]
        counts[len(stretches)] += 1
        lengths += [off_s - on_s for on_s, off_s in stretches]
    assert min(counts) >= 8
    assert max(counts) <= 18
    assert len(counts) >= 5
    assert min(lengths) >= 4.99
    assert max(lengths) <= 20.01
    # Drawn on a logarithmic scale: as many below the geometric mean of the ends as above it.
    short = sum(length < 10.0 for length in lengths) / len(lengths)
    assert 0.45 < short < 0.55


def test_two_people_work_at_once_but_never_at_one_tool() -> None:
    shop = shop_called("garage-one-collector")
    busy = Habit(Between(8, 8), Between(3, 3), Between(60, 90), Between(10, 20))
    at_once = 0
    for seed in range(5):
        two = replace(pattern(table_saw=busy, planer=busy), people=2)
        cuts = cuts_of(working_day(shop, two, Random(seed)))
        at_once += sum(a < d and c < b for a, b in cuts["table saw"] for c, d in cuts["planer"])
    assert at_once > 0


def test_a_day_too_short_leaves_jobs_out() -> None:
    shop = shop_called("garage-one-collector")
    endless = Habit(Between(20, 20), Between(1, 1), Between(3600, 3600), Between(10, 20))
    cuts = cuts_of(working_day(shop, pattern(planer=endless), Random(0)))
    assert len(cuts["planer"]) == 2


def test_hand_gates_are_open_around_every_cut_and_shut_after_the_last() -> None:
    shop = shop_called("school-room")
    happenings = working_day(shop, default_pattern(shop), Random(2))
    moves: dict[str, list[tuple[float, float]]] = {}
    for one in happenings:
        if one.what is What.MOVE_BY_HAND:
            moves.setdefault(str(one.subject), []).append((one.at_s, one.value))
    assert moves
    assert not any(shop.gates[gate].is_actuated for gate in moves)
    for tool, stretches in cuts_of(happenings).items():
        (gate,) = shop.tools[tool].gates
        if shop.gates[gate].is_actuated:
            continue
        assert moves[gate][-1][1] == 0.0
        for on_s, off_s in stretches:
            assert [value for at_s, value in moves[gate] if at_s < on_s][-1] == 1.0
            assert not [at_s for at_s, _ in moves[gate] if on_s <= at_s <= off_s]


def test_a_hand_gate_of_two_tools_is_shut_when_neither_is_in_use() -> None:
    shop = shop_called("one-evening")
    saw = shop.tools["table saw"]
    two = replace(shop, tools={"table saw": saw, "planer": replace(saw, name="planer")})
    busy = Habit(Between(8, 8), Between(3, 3), Between(60, 90), Between(10, 20))
    happenings = working_day(two, replace(pattern(table_saw=busy, planer=busy), people=2), Random(1))
    moves = [(one.at_s, one.value) for one in happenings if one.what is What.MOVE_BY_HAND]
    assert [value for _, value in moves] == [1.0, 0.0] * (len(moves) // 2)
    assert 2 <= len(moves) // 2 < 16
    shut = [(before[0], after[0]) for before, after in itertools.pairwise(moves) if before[1] == 0.0]
    for stretches in cuts_of(happenings).values():
        assert not [1 for a, b in stretches for c, d in shut if a < d and c < b]


def test_the_key_is_turned_before_and_after_the_work() -> None:
    shop = shop_called("school-room")
    turned = [
        (one.at_s, one.value)
        for one in working_day(shop, default_pattern(shop), Random(0))
        if one.what is What.SHOP_KEY
    ]
    assert turned == [(8 * 3600 - 300.0, True), (16 * 3600 + 300.0, False)]


def test_a_shop_with_hours_is_worked_in_within_them() -> None:
    shop = shop_called("school-room")
    late = replace(shop, hours=replace(shop.hours, open=Span(9 * 60, 15 * 60)))
    assert default_pattern(late).open == Span(9 * 60, 15 * 60)
    evening = replace(shop, hours=replace(shop.hours, open=Span(18 * 60, 21 * 60)))
    assert default_pattern(evening).open == Span(18 * 60, 21 * 60)


def test_a_play_begins_before_the_work_and_ends_after_it() -> None:
    usual = default_pattern(shop_called("garage-one-collector"))
    assert begins_s(usual) == 8 * 3600 - 600
    assert until_s(usual, 1, begins_s(usual)) == 8 * 3600 + 600 + 3600
    assert until_s(usual, 365, begins_s(usual)) == 364 * DAY_S + 8 * 3600 + 600 + 3600
