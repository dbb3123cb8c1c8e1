"""The reports in a real Chromium: they fit a phone, read in the dark, and print in black with their tables."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, sync_playwright
from told_days import garage, three_hours

from sim.report import report_html

pytestmark = pytest.mark.browser

#: Contrast of every text against the page behind it, by the formula of WCAG 2.
CONTRAST = """
() => {
  const parse = (c) => c.match(/[\\d.]+/g).slice(0, 3).map(Number);
  const light = (c) => {
    const linear = (v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    const [r, g, b] = parse(c).map((v) => linear(v / 255));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const paper = light(getComputedStyle(document.documentElement).backgroundColor);
  const ratio = (c) => { const l = light(c); return (Math.max(l, paper) + 0.05) / (Math.min(l, paper) + 0.05); };
  const out = {};
  for (const e of document.querySelectorAll('h1, h2, h3, h4, p, li, td, th, summary, figcaption, svg text')) {
    const s = getComputedStyle(e);
    const told = `${e.tagName} ${e.getAttribute('class') || ''}`;
    const r = ratio(e.tagName === 'text' ? s.fill : s.color);
    out[told] = Math.min(out[told] || 99, r);
  }
  return out;
}
"""
DRAWN = """
() => {
  const out = {};
  for (const e of document.querySelectorAll('svg .bar, svg .flow-curve, svg .steps, svg .level, svg .flag')) {
    const s = getComputedStyle(e);
    out[e.getAttribute('class')] = s.fill === 'none' || s.stroke !== 'none' ? s.stroke : s.fill;
  }
  return out;
}
"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu", "--no-first-run"]
        )
        yield opened
        opened.close()


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("report") / "day.html"
    page = report_html(garage(), "garage-one-collector", three_hours(), what="a day told by hand", begin_s=28800.0)
    path.write_text(page, encoding="utf-8")
    return path


def opened(browser: Browser, report: Path, width: int = 1280, scheme: str = "light") -> Page:
    page = browser.new_page(
        viewport={"width": width, "height": 800}, color_scheme="dark" if scheme == "dark" else "light"
    )
    page.goto(report.as_uri())
    return page


@pytest.mark.parametrize("width", [360, 1280])
def test_it_fits_the_screen(browser: Browser, report: Path, width: int) -> None:
    page = opened(browser, report, width)

    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_text_stands_out_seven_to_one(browser: Browser, report: Path, scheme: str) -> None:
    page = opened(browser, report, scheme=scheme)
    ratios = page.evaluate(CONTRAST)
    page.close()

    assert len(ratios) > 12
    assert {told: ratio for told, ratio in ratios.items() if ratio < 7.0} == {}


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_what_is_drawn_stands_out_three_to_one(browser: Browser, report: Path, scheme: str) -> None:
    page = opened(browser, report, scheme=scheme)
    paper = _light(page.evaluate("getComputedStyle(document.documentElement).backgroundColor"))
    drawn = {kind: _light(colour) for kind, colour in page.evaluate(DRAWN).items()}
    page.close()

    assert {"bar works", "bar low", "bar outline", "bar fails", "flow-curve", "steps", "level", "flag"} <= set(drawn)
    assert [kind for kind, light in drawn.items() if _ratio(light, paper) < 3.0] == []


def test_in_the_dark_the_paper_is_dark_and_in_print_it_never_is(browser: Browser, report: Path) -> None:
    page = opened(browser, report, scheme="dark")
    assert _light(page.evaluate("getComputedStyle(document.documentElement).backgroundColor")) < 0.02
    page.emulate_media(media="print")
    assert page.evaluate("getComputedStyle(document.documentElement).backgroundColor") == "rgb(255, 255, 255)"
    assert page.evaluate("getComputedStyle(document.querySelector('.note')).color") == "rgb(0, 0, 0)"
    assert page.evaluate("getComputedStyle(document.querySelector('.bar.works')).fill") == "rgb(0, 0, 0)"
    page.close()


def test_no_word_of_the_drawings_lies_on_another(browser: Browser, report: Path) -> None:
    page = opened(browser, report)
    clashes = page.evaluate(
        """() => [...document.querySelectorAll('svg.lanes')].flatMap((svg) => {
          const boxes = [...svg.querySelectorAll('text')].map((t) => [t.textContent, t.getBoundingClientRect()]);
          return boxes.flatMap(([a, x], i) => boxes.slice(i + 1).filter(([, y]) =>
            x.left < y.right - 1 && y.left < x.right - 1 && x.top < y.bottom - 3 && y.top < x.bottom - 3
          ).map(([b]) => `${a} / ${b}`));
        })"""
    )
    page.close()

    assert clashes == []


def test_the_tables_open_with_a_press(browser: Browser, report: Path) -> None:
    page = opened(browser, report, 360)
    summary = page.locator("summary", has_text="The messages in a table")
    assert not page.locator("details", has=summary).locator("table").is_visible()
    summary.click()
    assert page.locator("details", has=summary).locator("table").is_visible()
    page.close()


def _light(colour: str) -> float:
    parts = [int(value) / 255 for value in re.findall(r"\d+", colour)[:3]]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _ratio(one: float, other: float) -> float:
    return (max(one, other) + 0.05) / (min(one, other) + 0.05)
