"""Commissioning from the phone on a virtual shop: the very page, engine and controller of a real one."""

from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from page_in_chromium import PHONE
from playwright.sync_api import Browser, Page, expect
from test_web_thumb import hold

from gatekeeper.demo import Demo, own_copy
from gatekeeper.service.clock import FastClock
from gatekeeper.service.face_commissioning import StepState
from gatekeeper.shop.examples import example
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from gatekeeper.web.app import create_app
from gatekeeper.web.door import DoorSettings
from gatekeeper.web.serving import Serving
from sim.bench import VirtualBench
from sim.plant import VirtualShop

GARAGE = "garage-one-collector"
#: The shop's seconds in a real one.
SPEED = 6.0

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.fixture
def demo(tmp_path: Path) -> Iterator[Demo]:
    text = example(GARAGE).read_text(encoding="utf-8")
    shop = load_shop(text, GARAGE)
    assert isinstance(shop, Shop)
    made = Demo(shop, tmp_path, VirtualShop, VirtualBench, FastClock(SPEED), own_copy(tmp_path, text, is_kept=True))
    made.start()
    yield made
    made.stop()


@pytest.fixture
def page(browser: Browser, demo: Demo) -> Iterator[Page]:
    app = create_app(demo, DoorSettings(None, frozenset({"shop.local"})), demo.bench, commissioning=demo.commissioning)
    serving = Serving(app)
    serving.start()
    with ExitStack() as opened:
        context = browser.new_context(viewport={"width": PHONE[0], "height": PHONE[1]}, has_touch=True)
        opened.callback(context.close)
        context.add_cookies([{"name": "gatekeeper_cautions_read", "value": "1", "domain": "shop.local", "path": "/"}])
        made = context.new_page()
        made.goto(f"http://shop.local:{serving.port}/settings")
        yield made
    serving.stop()


def test_a_machine_is_seen_a_button_found_and_a_gate_timed_from_the_phone(page: Page, demo: Demo) -> None:
    title, bench = page.locator("#step h1"), page.locator("#bench")
    page.get_by_role("link", name="Try this shop part by part").click()
    expect(title).to_have_text("0 of 39 are done.")
    page.get_by_label("Your name, as it is to stand in the record").fill("Ada")
    page.get_by_role("button", name="This is me").click()

    page.get_by_role("button", name="Begin").click()
    expect(title).to_contain_text("Open the disconnect of collector")
    page.get_by_role("button", name="It is so").click()
    expect(title).to_have_text("Switch table saw on now, and let it run for a few seconds.")
    bench.get_by_role("button", name="table saw: Switch on").click()
    expect(title).to_have_text("Table saw is seen. Switch it off.")
    bench.get_by_role("button", name="table saw: Switch off").click()
    expect(title).to_have_text("1 of 39 is done.")
    expect(page.locator("#step .card")).to_contain_text("it was seen as table saw and as no other machine")

    page.get_by_role("link", name="Buttons, keys, detectors and switches").click()
    page.get_by_role("button", name="Begin").nth(1).click()
    expect(title).to_have_text("Press saw air button, and let go.")
    bench.get_by_role("button", name="saw air button: Press").click()
    expect(title).to_have_text("2 of 39 are done.")

    page.get_by_role("link", name="Gates", exact=True).click()
    page.locator("li", has_text="Jointer gate: moved from end to end").get_by_role("button", name="Begin").click()
    expect(title).to_contain_text("Stand where you see jointer gate")
    for legs in (1, 2):  # which way comes first depends on how it stands
        hold(page, page.locator("#step [data-hold]").first)
        page.get_by_role("button", name="It stood").click()
        if legs == 1:
            expect(title).to_contain_text("Stand where you see jointer gate")
    expect(title).to_have_text("3 of 39 are done.")

    page.get_by_role("link", name="The record, to print").click()
    expect(page.locator("h1")).to_have_text("3 of 39 are done.")
    tried = [step for stage in demo.commissioning.record().stages for step in stage.steps if step.results]
    assert [(step.key, step.state, step.results[0].by) for step in tried] == [
        ("tool/table saw", StepState.PASSED, "Ada"),
        ("contact/input:saw air button", StepState.PASSED, "Ada"),
        ("gate/jointer gate", StepState.PASSED, "Ada"),
    ]
    assert all(step.title[1:] in page.locator("main").inner_text() for step in tried)
