"""The page of a study: one file, the finding as its title, every figure of a drawing in words beside it."""

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from typer.testing import CliRunner

from gatekeeper.cli import app
from gatekeeper.layout.report_tree import velocity_class

SHOPS = ("garage-one-collector", "long-narrow", "school-room", "shared-twelve", "one-evening", "recording-bench")
REFUSED = re.compile(r"\b(safe|compliant|certified|protected|explosion-proof)\b", re.IGNORECASE)
CLOSED_BY_THEMSELVES = {"meta", "path", "circle"}


class Reader(HTMLParser):
    """Collects texts by element and checks that every element is closed in order."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.texts: dict[str, list[str]] = {}
        self.links: list[str] = []
        self.classes: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for key, value in attrs:
            if key in ("src", "href") and value is not None:
                self.links.append(value)
            if key == "class" and value is not None:
                self.classes.update(value.split())
        if tag not in CLOSED_BY_THEMSELVES:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in CLOSED_BY_THEMSELVES:
            self.open.pop()

    def handle_data(self, data: str) -> None:
        if self.open:
            self.texts.setdefault(self.open[-1], []).append(data)


def page_of(folder: Path, *words: str) -> tuple[str, Reader]:
    out = folder / "out.html"
    result = CliRunner().invoke(app, ["layout", *words, "--report", str(out)])
    assert result.exit_code in (0, 1)
    assert result.stdout.endswith(f"\nReport written to {out}.\n")
    text = out.read_text(encoding="utf-8")
    reader = Reader()
    reader.feed(text)
    return text, reader


@pytest.mark.parametrize("name", SHOPS)
def test_the_page_stands_alone_and_is_whole(tmp_path: Path, name: str) -> None:
    text, reader = page_of(tmp_path, name)

    assert text.startswith('<!doctype html>\n<html lang="en">')
    assert reader.open == []
    assert reader.links == []
    assert "http" not in text
    assert "<script" not in text
    assert REFUSED.search(text) is None
    assert len(text) < 100_000


@pytest.mark.parametrize(
    ("name", "title"),
    [
        ("garage-one-collector", "Chips settle in the riser, main near and main far when the planer runs alone."),
        ("long-narrow", "The planer gets 3 % less air than needed, even alone."),
        ("school-room", "Chips settle in the south trunk and south main when any one machine runs alone."),
        ("shared-twelve", "Chips settle in the trunk when one of 6 machines runs alone."),
        ("one-evening", "Every machine gets its air when it runs alone."),
    ],
)
def test_the_title_is_the_finding(tmp_path: Path, name: str, title: str) -> None:
    _, reader = page_of(tmp_path, name)

    assert reader.texts["h1"] == [title]
    assert reader.texts["title"] == [title]


def test_every_duct_and_machine_is_named_in_the_drawing_with_its_figures(tmp_path: Path) -> None:
    _, reader = page_of(tmp_path, "garage-one-collector")
    drawn = reader.texts["text"]

    for machine in ("table saw", "jointer", "planer", "bandsaw", "drum sander", "mitre saw"):
        assert machine in drawn
    assert "main far, 6 in" in drawn
    assert "3090 ft/min slow" in drawn
    assert "460 of 400 cfm, 5270 ft/min" in drawn
    assert {"plenty", "slow", "gate", "fan"} <= reader.classes


def test_the_plot_has_units_a_sentence_and_its_data(tmp_path: Path) -> None:
    _, reader = page_of(tmp_path, "long-narrow")

    assert "air through the fan, m3/h" in reader.texts["text"]
    assert "static pressure, Pa" in reader.texts["text"]
    captions = " ".join(reader.texts["figcaption"])
    assert "The shaded band is the error of the estimated fan." in captions
    assert "fan static pressure, Pa" in reader.texts["th"]
    assert "fan curve, 13" in reader.texts["th"]


def test_pairs_are_a_triangle_of_percents(tmp_path: Path) -> None:
    text, reader = page_of(tmp_path, "garage-one-collector")

    fields = re.findall(r"<td[^>]*>(\d+)( s)?</td>", text.split('class="pairs"')[1].split("</table>")[0])
    assert len(fields) == 21
    assert "6. mitre saw" in reader.texts["th"]
    assert "Of 20 sets of three, none have enough air." in reader.texts["p"]


def test_two_layouts_are_set_side_by_side(tmp_path: Path) -> None:
    _, reader = page_of(tmp_path, "garage-one-collector", "one-evening")

    assert reader.texts["h1"] == ["Of two layouts one-evening leaves nothing to mend, garage-one-collector one thing."]
    assert "Side by side" in reader.texts["h2"]
    assert "table saw gets, cfm" in reader.texts["th"]


def test_all_open_says_so(tmp_path: Path) -> None:
    _, reader = page_of(tmp_path, "garage-one-collector", "--all-open")

    assert reader.texts["h1"] == ["6 of 6 machines on the collector lack air with every gate open."]
    assert not any("Two machines at a time" in head for head in reader.texts["h2"])


@pytest.mark.parametrize(
    ("velocity_ms", "kind"),
    [
        (None, "idle"),
        (23.0, "plenty"),
        (22.9, "enough"),
        (20.0, "enough"),
        (19.9, "slow"),
        (14.0, "slow"),
        (13.9, "still"),
    ],
)
def test_a_length_is_drawn_by_its_margin(velocity_ms: float | None, kind: str) -> None:
    assert velocity_class(velocity_ms) == kind


def test_two_alike_leave_the_same(tmp_path: Path) -> None:
    _, reader = page_of(tmp_path, "one-evening", "one-evening")

    assert reader.texts["h1"] == ["Both layouts, one-evening and one-evening, leave nothing to mend."]
