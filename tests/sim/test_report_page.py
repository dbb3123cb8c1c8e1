"""The page of a played day: the finding as its title, lanes with times, every plot with units and its data."""

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from told_days import Told, garage, three_hours

from sim.figures import Figures, Tracks
from sim.report import report_html
from sim.report_words import Broken

REFUSED = re.compile(r"\b(safe|compliant|certified|protected|explosion-proof)\b", re.IGNORECASE)


class Reader(HTMLParser):
    """The texts by element, and whether every element is closed in order."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.texts: dict[str, list[str]] = {}
        self.links: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.links += [value for key, value in attrs if key in ("src", "href") and value is not None]
        if tag not in ("meta", "path", "circle"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag not in ("meta", "path", "circle"):
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open:
            self.texts.setdefault(self.open[-1], []).append(data)

    def all(self, tag: str) -> str:
        return " ".join(self.texts.get(tag, []))


def page(told: Told | None = None, **options: object) -> str:
    given: dict[str, object] = {"what": "a day told by hand", "begin_s": 8 * 3600.0} | options
    return report_html(garage(), "garage-one-collector", told or three_hours(), **given)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def reader() -> Reader:
    return Reader(page())


def test_the_page_stands_alone_and_is_whole() -> None:
    text = page()
    reader = Reader(text)

    assert text.startswith('<!doctype html>\n<html lang="en">')
    assert reader.open == []
    assert reader.links == []
    assert "http" not in text
    assert "<script" not in text
    assert REFUSED.search(text) is None


def test_the_ducts_in_which_chips_lie_are_named_the_fullest_first(reader: Reader) -> None:
    assert (
        "0.13 lb in main, 0.066 lb in drop 1 and 0.018 lb in drop 2. "
        "They settle where the air is too slow, or the collector stopped before they were through."
    ) in " ".join(reader.texts["li"])


def test_the_worst_finding_is_the_title(reader: Reader) -> None:
    assert reader.texts["h1"] == ["Mitre saw cut without air once in 30 cuts."]
    assert reader.texts["title"] == reader.texts["h1"]


def test_the_findings_go_from_lungs_to_ducts_to_messages(reader: Reader) -> None:
    assert reader.texts["b"] == [
        "Mitre saw cut without air once in 30 cuts.",
        "Planer gets 93 % of its air on the mean.",
        "Mitre saw gets 95 % of its air on the mean.",
        "7 % of the chips went into the room.",
        "0.22 lb of chips lay in the ducts at the end.",
        "Saw gate did not move as told and is now held.",
    ]
    assert (
        " At 10:13:24 and 10:13:27. Clear the slot, then press Release. It moves three seconds later."
        in (reader.texts["li"])
    )


def test_a_broken_rule_comes_before_all_with_what_happened_before() -> None:
    broken = [Broken("C3 was broken at 8:25:02: the last open gate was shut.", True, ("8:25:01 mitre saw runs",))]
    reader = Reader(page(broken=broken))

    assert reader.texts["h1"] == ["C3 was broken at 8:25:02: the last open gate was shut."]
    assert "What did not hold" in reader.texts["h2"]
    assert reader.texts["pre"] == ["8:25:01 mitre saw runs"]


def test_a_day_without_a_finding_says_so() -> None:
    told = Told(Figures(hours_s=3600.0, cuts=3), Tracks())
    reader = Reader(page(told))

    assert reader.texts["h1"] == ["Every cut got its air, and every motor kept within its starts."]
    assert "Nothing to mend." in reader.texts["p"]
    assert "3 cuts in 60 min, 0 motor starts, 0 gate moves, 0.0 kWh, collectors heard for 0 s." in reader.texts["p"]


def test_the_lanes_fold_at_the_hours_and_tell_what_they_count(reader: Reader) -> None:
    assert reader.texts["h4"] == ["8:00 to 9:00", "10:00 to 11:00"]
    assert "9:00 to 10:00: nothing ran and nothing moved." in reader.texts["p"]
    for words in ("Machines", "Gates", "Motors", "What was broken", "stuck: saw gate", "messages"):
        assert words in reader.texts["text"]
    assert "30 cuts, 3 min" in reader.texts["text"]
    assert "1 cut, 4 min" in reader.texts["text"]
    assert "2 starts" in reader.texts["text"]
    assert "no move" in reader.texts["text"]


def test_a_play_without_a_clock_counts_from_its_beginning() -> None:
    reader = Reader(page(begin_s=None))

    assert reader.texts["h4"] == ["0:00 to 1:00", "2:00 to 3:00"]
    assert (
        " At 2:13:24 and 2:13:27. Clear the slot, then press Release. It moves three seconds later."
        in (reader.texts["li"])
    )


def test_every_plot_has_units_a_sentence_and_its_data(reader: Reader) -> None:
    for axis in (
        "share of its cutting time, %",
        "air at its hood, cfm",
        "share of its chips that its hood took, %",
        "starts in the last hour",
        "moves in the last hour",
        "time of day",
    ):
        assert axis in reader.texts["text"]
    captions = reader.texts["figcaption"]
    assert "collector: 3 starts, at most 2 in any hour, within its budget of 13." in captions
    assert (
        "A full bar is what the hood took, an empty one what went into the room: of 13 lb in all, 12 lb were taken "
        "(93 %), 0.88 lb went onto the floor and into the room, and of those taken 0.22 lb still lay in the ducts at "
        "the end."
    ) in captions
    assert len(captions) == reader.texts["summary"].count("The figures in a table")


def test_a_motor_over_its_budget_is_said_loudly() -> None:
    told = three_hours()
    motor = replace(told.figures.motors["collector"], starts_allowed=1)
    reader = Reader(page(replace(told, figures=replace(told.figures, motors={"collector": motor}))))

    assert "Collector started 2 times in an hour; its budget is 1." in reader.texts["b"]
    assert "collector: 3 starts, at most 2 in any hour, OVER its budget of 1." in reader.texts["figcaption"]


def test_a_short_play_shows_the_air_over_time() -> None:
    told = three_hours()
    short = replace(told, figures=replace(told.figures, hours_s=840.0))
    reader = Reader(page(short))

    assert "time from the beginning, s" in reader.texts["text"]
    assert "The play as lanes" in reader.texts["h2"]
    assert reader.texts["h4"] == ["8:00:00 to 8:14:00"]


def test_a_long_play_has_no_lanes() -> None:
    told = three_hours()
    reader = Reader(page(replace(told, figures=replace(told.figures, hours_s=30 * 3600.0))))

    assert "Lanes are drawn for a day; this play is 30 h long." in reader.texts["p"]
    assert "h4" not in reader.texts


def test_a_gate_that_moves_too_often_is_named() -> None:
    told = three_hours()
    busy = replace(told.figures, gate_moves=70, worst_moves_in_an_hour=70, busiest_gate_moves_in_an_hour=31)
    reader = Reader(page(replace(told, figures=busy)))

    assert "Saw gate moved 31 times in one hour." in reader.texts["b"]
    assert (
        "The busiest, saw gate: at most 31 moves in any hour; one that is turned back on its way is counted twice and "
        "drawn once. All gates together: 70 moves, at most 70 in any hour."
    ) in reader.texts["figcaption"]


def test_many_gates_that_move_seldom_are_no_finding() -> None:
    told = three_hours()
    reader = Reader(page(replace(told, figures=replace(told.figures, worst_moves_in_an_hour=80))))

    assert not any("times in one hour" in text for text in reader.texts["b"])
