"""A change of a bin step by step on a phone, in a real Chromium: what fits, what is in sight, a picture of it."""

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace

import pytest
from fake_face import FakeFace
from page_in_chromium import DESK, PHONE, Served, served
from playwright.sync_api import Browser, expect
from shop_views import shop
from test_web_browser import DOUBLED, SMALL_TARGETS, UNNAMED

from gatekeeper.service.change_steps import BEGIN, ORDER, Job, Step, words
from gatekeeper.service.face import Answer, Saying
from gatekeeper.service.face_people import ChangeStep, ChangesView, ChangeView, Inspection

pytestmark = pytest.mark.browser
MOTOR = "Collector"


def at(step: Step) -> ChangeView:
    """The change of a bin, come as far as this step."""
    number = ORDER.index(step)
    told = [f"Ada at 14:{minute:02}" if minute < number else None for minute in range(len(ORDER))]
    said = words(Job.BIN, step)
    waits = step is Step.COAST
    return ChangeView(
        motor=MOTOR,
        job=Job.BIN.value,
        title="Bin of Collector",
        steps=tuple(ChangeStep(words(Job.BIN, one).title, by) for one, by in zip(ORDER, told, strict=True)),
        now=Saying("Its fan may turn for {time} more.", until_s=1012.0)
        if waits
        else Saying(said.now.format(motor=MOTOR)),
        label=None if waits else said.label,
        stays="The fan of Collector still turns." if waits else None,
        number=number,
        asks_reading=step is Step.READING,
        example="1.50 kPa",
        taps=("inlet of Collector", "main"),
        before="Last reading here: 1.48 kPa." if step is Step.READING else None,
    )


@dataclass
class People:
    """What goes on in the shop, as the page asks for it."""

    view: ChangesView

    def inspection(self) -> Inspection:
        return Inspection((), ())

    def changes(self) -> ChangesView:
        return self.view

    def begin(self, motor: str, job: str, by: str) -> Answer:
        self.view = ChangesView((at(Step.COAST),), ())
        return Answer(True, "done", "Begun: Collector is out of service.")

    def press(self, motor: str, number: int, by: str, tap: str = "", reading: str = "") -> Answer:
        self.view = replace(self.view, going=(at(ORDER[number + 1]),))
        return Answer(True, "done", "Go on.")

    def leave(self, motor: str, by: str) -> Answer:
        return Answer(True, "done", "Given up.")


@pytest.fixture
def people() -> People:
    return People(ChangesView((at(Step.LOCK),), ()))


@pytest.fixture
def here(browser: Browser, people: People) -> Iterator[Served]:
    with served(browser, FakeFace(shop(), moving_clock=True), people=people) as found:
        yield found
        assert found.complaints == []


@pytest.mark.parametrize("step", [Step.COAST, Step.LOCK, Step.CHANGE, Step.READING], ids=lambda step: step.value)
def test_every_step_fits_a_phone_and_its_press_is_in_sight(
    here: Served,
    people: People,
    step: Step,
    request: pytest.FixtureRequest,
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    """With ``--pictures`` the step at the disconnect goes to where the handbook looks for it."""
    people.view = ChangesView((at(step),), ())
    page = here.open("/change", size=PHONE, scheme="dark" if step is Step.CHANGE else "light")
    kept = request.config.getoption("--pictures", default=False) and step is Step.LOCK
    folder = request.config.rootpath / "hardware" / "pictures" if kept else tmp_path_factory.getbasetemp() / "pictures"
    folder.mkdir(exist_ok=True)
    page.screenshot(path=folder / ("phone-change.png" if kept else f"phone-change-{step.value}.png"))
    assert page.evaluate("document.documentElement.scrollWidth") == PHONE[0]
    assert page.evaluate(SMALL_TARGETS) == []
    assert page.evaluate(UNNAMED) == []
    assert page.evaluate(DOUBLED) == []
    on = page.get_by_role("link", name="Look again") if step is Step.COAST else page.locator(".panel form button").first
    box, bar = on.bounding_box(), page.locator("footer").bounding_box()
    assert box is not None
    assert bar is not None
    assert box["y"] + box["height"] <= bar["y"]


def test_one_press_after_the_other_leads_through_it(here: Served, people: People) -> None:
    people.view = ChangesView((), ((MOTOR, "bin", BEGIN[Job.BIN].format(motor=MOTOR)),))
    page = here.open("/change", size=DESK)
    page.get_by_text("Empty the bin of Collector").first.click()
    page.get_by_label("Who").fill("Ada")
    page.get_by_role("button", name="Empty the bin of Collector").click()
    expect(page.locator("[aria-current=step]")).to_have_text("Wait until it stands still: now")
    people.view = ChangesView((at(Step.LOCK),), ())
    page.get_by_role("link", name="Look again").click()
    for step, then in itertools.pairwise(ORDER[1:]):
        page.get_by_role("button", name=words(Job.BIN, step).label, exact=True).click()
        expect(page.locator("[aria-current=step]")).to_have_text(f"{words(Job.BIN, then).title}: now")
    expect(page.get_by_label("Suction, such as 1.50 kPa")).to_be_visible()
