"""A small new shop walked whole with a thumb at 360 px in a real Chromium, with scripts on and off."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from fake_face import PIN, FakeFace
from interview_walk import as_the_terminal_writes, shed_answers
from page_in_chromium import PHONE, wait_for
from playwright.sync_api import Browser, Page, expect
from shop_views import shop
from test_web_browser import DOUBLED, SMALL_TARGETS, UNNAMED

from gatekeeper.interview.engine import UNKNOWN, Question
from gatekeeper.interview_page import MachinesPage, NewShopPage
from gatekeeper.service.calibration_file import ShopFile
from gatekeeper.shop.examples import example
from gatekeeper.web.app import create_app
from gatekeeper.web.door import DoorSettings
from gatekeeper.web.interview_app import create_interview_app
from gatekeeper.web.serving import Serving

pytestmark = pytest.mark.browser

Open = Callable[..., Page]
SETTINGS = DoorSettings(PIN, frozenset({"shop.local"}))


@pytest.fixture
def opened(browser: Browser) -> Iterator[Open]:
    """Serves an application and opens a page of it on a phone; the browser must never have complained."""
    complaints: list[str] = []
    with ExitStack() as stack:

        def opened(app: object, path: str, *, scripts: bool = True, scheme: str = "light") -> Page:
            serving = Serving(app)  # type: ignore[arg-type]
            serving.start()
            stack.callback(serving.stop)
            context = browser.new_context(
                viewport={"width": PHONE[0], "height": PHONE[1]},
                has_touch=True,
                java_script_enabled=scripts,
                color_scheme="dark" if scheme == "dark" else "light",
            )
            stack.callback(context.close)
            page = context.new_page()
            page.on("console", lambda said: complaints.append(said.text) if said.type in ("error", "warning") else None)
            page.on("pageerror", lambda error: complaints.append(str(error)))
            page.goto(f"http://shop.local:{serving.port}{path}")
            return page

        yield opened
        assert complaints == []


def _give(page: Page, question: Question, answer: str) -> None:
    """The answer as a thumb gives it: its button, or the number and the button of its unit, or words."""
    number, _, unit = answer.partition(" ")
    button = page.locator(f'button[name="answer"][value="{answer}"]')
    if button.count():
        button.first.tap()
    elif question.kind:
        page.locator("#written").fill(number)
        page.locator(f'.figure button[value="{unit}"]').tap()
    else:
        page.locator("#written").fill(answer)
        page.get_by_role("button", name="Take it").tap()


def _fits(page: Page, *, scripts: bool) -> None:
    if not scripts:
        return
    assert page.evaluate("document.documentElement.scrollWidth") == PHONE[0]
    assert page.evaluate(SMALL_TARGETS) == []
    assert page.evaluate(UNNAMED) == []
    assert page.evaluate(DOUBLED) == []


@pytest.mark.parametrize(("scripts", "scheme"), [(True, "dark"), (False, "light")])
def test_a_small_new_shop_is_walked_whole_on_a_phone(
    opened: Open, tmp_path: Path, tmp_path_factory: pytest.TempPathFactory, scripts: bool, scheme: str
) -> None:
    out = tmp_path / "shed.yaml"
    page = opened(create_interview_app(NewShopPage(out), SETTINGS), "/", scripts=scripts, scheme=scheme)
    folder = tmp_path_factory.getbasetemp() / "pictures"
    folder.mkdir(exist_ok=True)
    answers = []
    for number, (question, answer) in enumerate(shed_answers()):
        expect(page.locator("h1")).to_have_text(question.said)
        _fits(page, scripts=scripts)
        if scripts and number % 5 == 4:
            page.screenshot(path=folder / f"new-{number:02d}-{question.about.replace(' ', '-')}.png", full_page=True)
        _give(page, question, answer)
        answers.append(answer)
    expect(page.locator("h1")).to_have_text("That is all. Is it right?")
    _fits(page, scripts=scripts)
    page.screenshot(path=folder / f"new-end-{scheme}.png", full_page=True)
    page.get_by_role("button", name="Write it").tap()
    expect(page.locator("h1")).to_have_text("Written.")
    _fits(page, scripts=scripts)
    page.screenshot(path=folder / f"new-written-{scheme}.png", full_page=True)
    assert UNKNOWN in answers
    assert out.read_bytes() == as_the_terminal_writes(tmp_path / "terminal.yaml", answers)


def test_back_and_a_slip_with_a_thumb(opened: Open, tmp_path: Path) -> None:
    page = opened(create_interview_app(NewShopPage(tmp_path / "shed.yaml"), SETTINGS), "/")
    expect(page.get_by_role("button", name="Back")).to_be_disabled()
    page.locator("#written").fill("Barn")
    page.locator("#written").press("Enter")
    expect(page.locator("h1")).to_have_text("In which units do you read lengths and flows?")
    page.get_by_role("button", name="Back").tap()
    expect(page.locator("h1")).to_have_text("What is the shop called?")
    page.locator("#written").fill("x" * 80)
    page.get_by_role("button", name="Take it").tap()
    page.get_by_role("button", name="metric").tap()
    page.get_by_role("button", name="50 Hz").tap()
    page.locator("#written").fill("100000")
    page.get_by_role("button", name="in kW").tap()
    expect(page.locator(".slip")).to_have_text('"100000 kW" is out of range; it lies between 50 W and 50 kW.')
    expect(page.locator("#written")).to_have_value("100000")
    _fits(page, scripts=True)


def _machines(folder: Path) -> MachinesPage:
    text = example("school-room").read_text(encoding="utf-8")
    file = ShopFile(folder / "school.yaml", text)
    file.path.write_text(text, encoding="utf-8")
    return MachinesPage(lambda: file, lambda: None, lambda: None)


def test_on_the_running_page_stop_stays_under_the_thumb_and_the_largest_shop_fits(
    opened: Open, tmp_path: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    weights: dict[str, int] = {}
    page = opened(create_app(FakeFace(shop()), SETTINGS, interviews=_machines(tmp_path)), "/machines")
    _fits(page, scripts=True)
    page.get_by_text("Make a gate automatic, or change what moves it").tap()
    expect(page.get_by_role("button", name="Change what moves tenoner gate")).to_be_visible()
    _fits(page, scripts=True)
    page.get_by_role("button", name="Add a machine").tap()
    expect(page.locator("h1")).to_have_text("Which machine is it?")
    _fits(page, scripts=True)
    bar = page.locator("button.stop").bounding_box()
    assert bar is not None
    assert bar["y"] + bar["height"] <= PHONE[1]
    folder = tmp_path_factory.getbasetemp() / "pictures"
    folder.mkdir(exist_ok=True)
    page.screenshot(path=folder / "machines-add-360.png", full_page=True)
    fresh = page.context.new_page()
    fresh.on("response", lambda r: None if "/live" in r.url else weights.update({r.url: len(r.body())}))
    fresh.goto(page.url, wait_until="load")
    wait_for(fresh, lambda: len(weights) == 3)
    assert 30_000 < sum(weights.values()) < 60_000


def test_picture_for_the_readme(
    opened: Open, request: pytest.FixtureRequest, tmp_path: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Into a temporary folder, or with ``--pictures`` to where the README looks for it."""
    kept = request.config.getoption("--pictures", default=False)
    folder = request.config.rootpath / "hardware" / "pictures" if kept else tmp_path
    page = opened(create_interview_app(NewShopPage(tmp_path / "shed.yaml"), SETTINGS), "/")
    for question, answer in shed_answers():
        expect(page.locator("h1")).to_have_text(question.said)
        if question.about == "length" and _has_bandsaw(page):
            break
        _give(page, question, answer)
    page.screenshot(path=folder / "phone-new.png")
    assert (folder / "phone-new.png").stat().st_size < 120_000


def _has_bandsaw(page: Page) -> bool:
    return page.locator(".sketch b", has_text="bandsaw").count() > 0
