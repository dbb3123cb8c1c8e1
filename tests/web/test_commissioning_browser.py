"""Commissioning in a real Chromium at phone size: what fits, what is under the thumb, what changes while one looks."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import pytest
from commissioning_views import IDLE, JOG, LOOKING, READING, STAGES, STATES, FakeCommissioning
from fake_face import FakeBench, FakeFace
from page_in_chromium import DESK, PHONE, Served, served, wait, wait_for
from playwright.sync_api import Browser, Page, expect
from shop_views import large, shop
from test_web_browser import DOUBLED, SMALL_TARGETS, UNNAMED
from test_web_thumb import hold

from gatekeeper.service.face import Press
from gatekeeper.service.face_commissioning import StepState
from gatekeeper.web.frame import STATIC

pytestmark = pytest.mark.browser


@dataclass
class Here:
    """A served shop that is being commissioned."""

    served: Served
    tried: FakeCommissioning

    def open(self, path: str = "/commission", *, name: str = "Ada", **how: object) -> Page:
        page = self.served.open("/cautions", **how)  # type: ignore[arg-type]
        if name:
            page.context.add_cookies([{"name": "gatekeeper_tries", "value": name, "url": self.served.address}])
        page.goto(self.served.address + path)
        return page


@pytest.fixture
def here(browser: Browser) -> Iterator[Here]:
    tried = FakeCommissioning()
    with served(browser, FakeFace(shop(), moving_clock=True), FakeBench(), commissioning=tried) as found:
        yield Here(found, tried)
        assert found.complaints == []


@pytest.mark.parametrize("state", list(STATES))
def test_every_moment_fits_a_phone_with_its_buttons_above_the_stop_bar(
    here: Here, state: str, request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> None:
    here.tried.shown = STATES[state]
    scheme = "dark" if state in ("idle", "looking") else "light"
    page = here.open(size=PHONE, scheme=scheme)
    kept = request.config.getoption("--pictures", default=False) and state == "jog"
    folder = request.config.rootpath / "hardware" / "pictures" if kept else tmp_path_factory.getbasetemp() / "pictures"
    folder.mkdir(exist_ok=True)
    page.screenshot(path=folder / ("phone-commission.png" if kept else f"phone-commission-{state}.png"))
    assert page.evaluate("document.documentElement.scrollWidth") == PHONE[0]
    assert page.evaluate(SMALL_TARGETS) == []
    assert page.evaluate(UNNAMED) == []
    assert page.evaluate(DOUBLED) == []
    assert page.locator("h1").count() == 1
    bar = page.locator("footer").bounding_box()
    assert bar is not None
    for button in page.locator(".thumb button").all():
        box = button.bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= bar["y"]


@pytest.mark.parametrize("path", ["/commission/tools", "/commission/record"])
@pytest.mark.parametrize("size", [PHONE, DESK])
def test_stages_and_record_fit_too(here: Here, path: str, size: tuple[int, int]) -> None:
    page = here.open(path, size=size)
    assert page.evaluate("document.documentElement.scrollWidth") == size[0]
    assert page.evaluate(SMALL_TARGETS) == []
    assert page.evaluate(UNNAMED) == []
    assert page.evaluate(DOUBLED) == []


def test_a_large_shop_weighs_less_than_sixty_kilobytes(here: Here) -> None:
    here.served.face.show(large())
    steps = tuple(
        replace(STAGES[0].steps[0], key=f"tools/{n}", title=f"Machine number {n} at the wall: seen when it runs")
        for n in range(48)
    )
    stages = tuple(replace(stage, key=f"stage {n}", steps=steps) for n, stage in enumerate(STAGES * 3))
    here.tried.shown = replace(JOG, stages=stages)
    shared = sum(len(content) for content in STATIC.values())
    page = here.open(scripts=False)
    for path in ("/commission", "/commission/stage%201"):
        loaded = page.goto(here.served.address + path)
        assert loaded is not None
        assert 30_000 < len(loaded.body()) + shared < 60_000


def test_what_is_seen_changes_in_place_and_the_button_under_the_finger_stays(here: Here) -> None:
    here.tried.shown = JOG
    page = here.open()
    button = page.get_by_role("button", name="Open Planer gate").element_handle()
    assert button is not None
    walk = JOG.walk
    assert walk is not None
    for word in ("opening", "open", "shutting"):
        here.tried.shown = replace(JOG, walk=replace(walk, live=(("Planer gate", word),)))
        expect(page.locator(".seen dd")).to_have_text(word)
    assert button.evaluate("e => e.isConnected") is True


def test_a_held_button_presses_once_and_a_tap_does_nothing(here: Here) -> None:
    here.tried.shown = JOG
    page = here.open()
    button = page.get_by_role("button", name="Open Planer gate hold for one second")
    button.click()
    assert here.tried.asked == []
    hold(page, button)
    expect(page.locator("#answer")).to_have_text("gates/Planer gate: open.")
    assert here.tried.asked == [("gates/Planer gate", "open", "Ada", {}, 4)]


def test_buttons_stay_above_an_answer_of_several_lines(here: Here) -> None:
    walk = JOG.walk
    assert walk is not None
    notes = tuple(f"Sentence {n} of what was found so far, longer than a line of a phone." for n in range(12))
    here.tried.shown = replace(JOG, walk=replace(walk, cautions=notes))
    page = here.open()
    button = page.locator(".thumb button").first
    page.locator("#answer").evaluate("e => { e.textContent = 'A sentence of several lines. '.repeat(8); }")
    wait(
        page,
        "() => document.querySelector('.thumb').getBoundingClientRect().bottom"
        " <= document.querySelector('footer').getBoundingClientRect().top + 1",
    )
    box, bar = button.bounding_box(), page.locator("footer").bounding_box()
    assert box is not None
    assert bar is not None
    assert bar["y"] - 260 < box["y"] < bar["y"]


def test_what_is_typed_survives_and_is_gone_with_the_next_question(here: Here) -> None:
    here.tried.shown = READING
    page = here.open()
    field = page.get_by_label("Suction at the inlet, in water, such as 6.2")
    field.fill("6.4")
    page.get_by_label("Where").select_option("main")
    walk = READING.walk
    assert walk is not None
    here.tried.shown = replace(READING, walk=replace(walk, live=(("Collector", "running, 20 s"),)))
    expect(page.locator(".seen dd").first).to_have_text("running, 20 s")
    assert (field.input_value(), page.get_by_label("Where").input_value()) == ("6.4", "main")
    page.get_by_role("button", name="Write it down").click()
    wait_for(page, lambda: here.tried.asked != [])
    assert here.tried.asked == [("suction/Collector", "written", "Ada", {"suction": "6.4", "tap": "main"}, 4)]
    here.tried.shown = replace(READING, walk=replace(walk, number=5))
    expect(field).to_have_value("")


def test_a_step_is_left_out_with_a_reason(here: Here) -> None:
    here.tried.shown = LOOKING
    page = here.open()
    page.locator("summary", has_text="Leave it out").click()
    page.get_by_label("Why it is left out").fill("no ladder")
    page.get_by_role("button", name="Leave it out").click()
    expect(page.locator("#answer")).to_have_text("tools/Planer: leave_out.")
    assert here.tried.asked == [("tools/Planer", "leave_out", "Ada", {"why": "no ladder"}, 4)]


def test_without_scripts_the_whole_of_it_goes_by_forms(here: Here) -> None:
    page = here.open(name="", scripts=False)
    page.get_by_label("Your name, as it is to stand in the record").fill("Ada")
    page.get_by_role("button", name="This is me").click()
    expect(page.locator("#answer")).to_have_text("Ada tries it.")
    page.get_by_role("button", name="Begin").click()
    expect(page.locator("#answer")).to_have_text("gates/Planer gate: begin.")
    here.tried.shown = JOG
    page.get_by_role("link", name="Read it again").click()
    page.get_by_role("button", name="Open Planer gate").click()
    expect(page.locator("h1")).to_have_text("Open Planer gate?")
    page.get_by_role("button", name="Open Planer gate").click()
    page.wait_for_url("**/commission?said=*")
    here.tried.shown = IDLE
    page.goto(here.served.address + "/commission/tools")
    page.get_by_role("button", name="Do it again").first.click()
    page.wait_for_url("**/commission?said=*")
    assert [one[:2] for one in here.tried.asked] == [
        ("gates/Planer gate", "begin"),
        ("gates/Planer gate", "open"),
        ("tools/Planer", "begin"),
    ]


def test_a_step_that_moves_something_is_not_begun_by_a_tap_in_a_list(here: Here) -> None:
    first = STAGES[1].steps[0]
    begins = replace(first, offers=(replace(first.offers[0], how=Press.HOLD, caution="This moves Planer gate."),))
    stage = replace(STAGES[1], steps=(begins, replace(STAGES[1].steps[1], state=StepState.DUE)))
    here.tried.shown = replace(IDLE, stages=(STAGES[0], stage))
    page = here.open("/commission/gates")
    page.get_by_role("button", name="Begin").first.click()
    expect(page.locator("h1")).to_have_text("Begin?")
    assert here.tried.asked == []
