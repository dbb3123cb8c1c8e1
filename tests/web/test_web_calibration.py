"""The page that calibrates a machine: what is asked, drawn and refused, and every step in a real Chromium."""

import re
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from calibration_views import STEPS, TRIP_NOTE, cut, off_first, proposed, refused, run_free, switch_on, with_clamps
from fake_face import FakeFace
from fastapi.testclient import TestClient
from shop_views import shop, stuck

from gatekeeper.demo import Demo, own_copy
from gatekeeper.service.clock import FastClock
from gatekeeper.service.face import Answer, CalibrationStep, CurrentPoint, ShopView
from gatekeeper.shop.examples import example
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from gatekeeper.web import pages
from sim.bench import VirtualBench
from sim.plant import VirtualShop

if TYPE_CHECKING:
    from page_in_chromium import Serve
    from playwright.sync_api import Browser, Page, Route

PATH = "/calibrate/Planer"
HTML = {"Accept": "text/html"}
JSON = {"Accept": "application/json"}


@pytest.fixture
def face() -> FakeFace:
    return FakeFace(cut())


def parts_of(view: ShopView) -> dict[str, str]:
    found = pages.live_parts(PATH[1:], view, ())
    assert found is not None
    return dict(found)


def bare(html: str) -> str:
    """The words alone."""
    return " ".join(re.sub(r"<[^>]+>", " ", html).replace("\u00a0", " ").split())


# ---------------------------------------------------------------- asking


def test_each_press_is_a_plain_form_that_leads_back(signed_in: TestClient, face: FakeFace) -> None:
    came_from = HTML | {"Referer": f"http://shop.local{PATH}"}
    answer = signed_in.post("/calibrate", data={"machine": "Planer", "press": "go_on"}, headers=came_from)
    assert answer.status_code == 303
    assert answer.headers["location"].startswith(f"{PATH}?said=")
    assert "Planer: go_on." in signed_in.get(answer.headers["location"]).text
    assert face.asked == [("calibrate", "Planer", "go_on", "page", "192.168.1.23")]


def test_a_press_needs_the_pin_and_leads_back_from_it(client: TestClient, face: FakeFace) -> None:
    came_from = HTML | {"Referer": f"http://shop.local{PATH}"}
    answer = client.post("/calibrate", data={"machine": "Planer", "press": "begin"}, headers=came_from)
    assert (answer.status_code, answer.headers["location"]) == (303, f"/sign-in?back={PATH}")
    answer = client.post("/calibrate", data={"machine": "Planer", "press": "begin"}, headers=JSON)
    assert (answer.status_code, answer.json()["code"]) == (401, "needs_pin")
    assert face.asked == []


@pytest.mark.parametrize(
    ("machine", "press", "status", "said"),
    [
        ("Lathe", "begin", 404, "No clamp of this shop watches Lathe, so there is nothing to calibrate."),
        ("Broom", "begin", 404, "No clamp of this shop watches Broom, so there is nothing to calibrate."),
        ("", "begin", 404, "No clamp of this shop watches name, so there is nothing to calibrate."),
        ("Planer", "erase", 400, "The controller knows no such request. Send it again from the page."),
        ("Planer", "", 400, "The controller knows no such request. Send it again from the page."),
    ],
)
def test_what_cannot_be_pressed_is_refused(
    signed_in: TestClient, face: FakeFace, machine: str, press: str, status: int, said: str
) -> None:
    answer = signed_in.post("/calibrate", data={"machine": machine, "press": press}, headers=JSON)
    assert (answer.status_code, answer.json()["sentence"]) == (status, said)
    assert face.asked == []


def test_the_controllers_refusal_is_passed_on(signed_in: TestClient, face: FakeFace) -> None:
    face.refuses = Answer(False, "busy", "Table saw is being calibrated now. Finish or leave that first.")
    answer = signed_in.post("/calibrate", data={"machine": "Planer", "press": "begin"}, headers=JSON)
    assert (answer.status_code, answer.json()["sentence"]) == (409, face.refuses.sentence)


def test_a_machine_without_a_clamp_has_no_such_page_and_no_way_there(client: TestClient) -> None:
    answer = client.get("/calibrate/Lathe", headers=HTML)
    assert answer.status_code == 404
    assert "No clamp of this shop watches Lathe, so there is nothing to calibrate." in answer.text
    assert "Calibrate" not in client.get("/machine/Lathe").text
    there = client.get("/machine/Planer").text
    assert TRIP_NOTE in there
    assert '<a href="/calibrate/Planer">Calibrate Planer</a>' in there
    assert client.get("/live?page=calibrate/Lathe", headers=HTML).status_code == 404


# ---------------------------------------------------------------- what is drawn


def test_a_step_says_which_it_is_what_to_do_and_when_it_ends() -> None:
    assert bare(parts_of(cut())["walk"]) == (
        "Planer, step 4 of 5 Cut with it for a few seconds, or go on without. Goes on by itself in "
        "24 s . Go on Leave it as it is"
    )
    assert bare(parts_of(run_free())["told"]) == (
        "The file has it on channel 0 of clamp board. Writing what comes of this sets that right, too."
    )
    assert bare(parts_of(run_free())["current"]).startswith("6.00 A on channel 2 of clamp board 0.01 0.1 1 10 100 ")


def test_the_margins_stand_above_the_button_that_writes() -> None:
    said = bare(parts_of(proposed())["walk"])
    assert said.index("running free is 10.9 times the trip.") < said.index("Write it")
    assert bare(parts_of(proposed())["current"]).endswith(
        "Solid: the proposed trip, 0.55 A. Dashed: the trip in force, 0.48 A."
    )
    assert parts_of(proposed())["told"] == ""


def test_a_refusal_is_loud_and_offers_to_begin_again() -> None:
    assert '<h1 class="loud">Not calibrated.</h1><p class="what">It draws 3.10 A' in parts_of(refused())["walk"]
    assert bare(parts_of(refused())["walk"]).endswith("Nothing was changed. Begin again Done")


def spots(html: str) -> list[tuple[float, float]]:
    found = re.search(r'class="amps" d="M([^"]+)"', html)
    assert found is not None
    return [(float(x), float(y)) for x, y in (spot.split() for spot in found.group(1).split("L"))]


def test_the_picture_is_logarithmic_and_ends_now() -> None:
    view = cut()
    assert view.calibration is not None
    ladder = tuple(CurrentPoint(30 - 7.5 * k, 0.01 * 10**k) for k in range(5))
    drawn = spots(parts_of(replace(view, calibration=replace(view.calibration, points=ladder)))["current"])
    assert [x for x, _ in drawn] == [44.0, 123.0, 202.0, 281.0, 360.0]
    assert [y for _, y in drawn] == [162, 124, 87, 50, 12]  # a step up for every ten times the current
    beyond = (CurrentPoint(99.0, 0.0), CurrentPoint(0.0, 5000.0))
    drawn = spots(parts_of(replace(view, calibration=replace(view.calibration, points=beyond)))["current"])
    assert drawn == [(44.0, 162.0), (360.0, 12.0)]


def test_a_picture_weighs_little_four_times_a_second() -> None:
    assert len(parts_of(cut())["current"]) < 2500


def test_another_machine_waits_and_is_led_there() -> None:
    found = pages.live_parts("calibrate/Bandsaw", cut(), ())
    assert found is not None
    assert bare(found["walk"]) == (
        "Calibrate Bandsaw Planer is being calibrated now. Finish or leave that first. To Planer"
    )
    over = pages.live_parts("calibrate/Bandsaw", refused(), ())
    assert over is not None
    assert "Begin" in over["walk"]


def test_the_shops_page_says_that_a_machine_is_being_calibrated() -> None:
    for view, told in ((cut(), True), (proposed(), True), (refused(), False), (with_clamps(shop()), False)):
        found = pages.live_parts("shop", view, ())
        assert found is not None
        assert ('<a href="/calibrate/Planer">Planer</a> is being calibrated.' in found["runs"]) is told


# ---------------------------------------------------------------- in a real Chromium


@pytest.mark.browser
@pytest.mark.parametrize("step", list(STEPS))
def test_every_step_fits_a_phone_with_the_current_above_the_stop_bar(
    serve: "Serve", step: str, request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> None:
    from page_in_chromium import PHONE
    from test_web_browser import DOUBLED, SMALL_TARGETS, UNNAMED

    scheme = "dark" if step in ("cut", "refused") else "light"
    page = serve(STEPS[step]()).open(PATH, size=PHONE, scheme=scheme)
    kept = request.config.getoption("--pictures", default=False) and step in ("switch-on", "cut", "proposed")
    folder = request.config.rootpath / "hardware" / "pictures" if kept else tmp_path_factory.getbasetemp() / "pictures"
    folder.mkdir(exist_ok=True)
    page.screenshot(path=folder / f"phone-calibrate-{step}.png")
    assert page.evaluate("document.documentElement.scrollWidth") == PHONE[0]
    assert page.evaluate(SMALL_TARGETS) == []
    assert page.evaluate(UNNAMED) == []
    assert page.evaluate(DOUBLED) == []
    assert page.locator("h1").count() == 1
    if step in ("off-first", "switch-on", "run-free", "cut", "switch-off"):
        box, bar = page.locator("svg.wave").bounding_box(), page.locator("footer").bounding_box()
        assert box is not None
        assert bar is not None
        assert box["y"] + box["height"] <= bar["y"] + 1


@pytest.mark.browser
def test_the_current_moves_while_the_button_under_the_finger_stays(serve: "Serve") -> None:
    from page_in_chromium import wait_for
    from playwright.sync_api import expect

    here = serve(cut())
    page = here.open(PATH)
    button = page.get_by_role("button", name="Go on").element_handle()
    assert button is not None
    walk = cut().calibration
    assert walk is not None
    for current_a in (9.5, 9.6, 9.7):
        here.face.show(replace(cut(), calibration=replace(walk, live_a=current_a)))
        expect(page.locator(".amperes")).to_have_text(f"{current_a:.2f}\u00a0A")
    assert button.evaluate("e => e.isConnected") is True
    button.click()
    wait_for(page, lambda: here.face.asked != [])
    assert here.face.asked == [("calibrate", "Planer", "go_on", "page", "127.0.0.1")]
    expect(page.locator("#answer")).to_have_text("Planer: go_on.")


@pytest.mark.browser
def test_a_button_that_is_gone_when_its_answer_comes_is_no_fault(serve: "Serve") -> None:
    from page_in_chromium import wait_for
    from playwright.sync_api import expect

    here = serve(switch_on())
    page = here.open(PATH)
    on_their_way: list[Route] = []
    page.route("**/calibrate", lambda route: on_their_way.append(route))
    page.get_by_role("button", name="Leave it as it is").click()
    wait_for(page, lambda: on_their_way != [])
    here.face.show(with_clamps(shop()))
    expect(page.get_by_role("button", name="Begin")).to_be_visible()
    on_their_way[0].continue_()
    expect(page.locator("#answer")).to_have_text("Planer: leave.")


@pytest.mark.browser
def test_without_scripts_each_press_brings_the_next_page(serve: "Serve") -> None:
    from playwright.sync_api import expect

    here = serve(with_clamps(stuck()))
    page = here.open(PATH, scripts=False)
    page.get_by_role("button", name="Begin").click()
    expect(page.locator("#answer")).to_have_text("Planer: begin.")
    here.face.show(off_first())
    page.get_by_role("link", name="Read it again").click()
    expect(page.locator("h1")).to_have_text("Leave Planer off, and switch nothing else on.")
    page.get_by_role("button", name="Leave it as it is").click()
    assert [one[2] for one in here.face.asked] == ["begin", "leave"]


# ---------------------------------------------------------------- the whole of it, on a virtual shop

#: The shop's seconds in a real one.
SPEED = 3.0
GARAGE = "garage-one-collector"


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
def walk_page(browser: "Browser", demo: Demo) -> "Iterator[Page]":
    from page_in_chromium import PHONE

    from gatekeeper.web.app import create_app
    from gatekeeper.web.door import DoorSettings
    from gatekeeper.web.serving import Serving

    serving = Serving(create_app(demo, DoorSettings(None, frozenset({"shop.local"})), demo.bench))
    serving.start()
    with ExitStack() as opened:
        context = browser.new_context(viewport={"width": PHONE[0], "height": PHONE[1]}, has_touch=True)
        opened.callback(context.close)
        context.add_cookies([{"name": "gatekeeper_cautions_read", "value": "1", "domain": "shop.local", "path": "/"}])
        page = context.new_page()
        page.goto(f"http://shop.local:{serving.port}/machine/table%20saw")
        yield page
    serving.stop()


@pytest.mark.browser
@pytest.mark.slow
def test_a_virtual_machine_is_calibrated_from_the_phone(walk_page: "Page", demo: Demo, tmp_path: Path) -> None:
    from playwright.sync_api import expect

    page = walk_page
    title = page.locator("h1")
    page.get_by_role("link", name="Calibrate table saw").click()
    page.get_by_role("button", name="Begin").click()
    expect(title).to_have_text("Switch table saw on now.")
    page.get_by_role("button", name="table saw: Switch on").click()
    expect(title).to_have_text("Cut with it for a few seconds, or go on without.")
    page.get_by_role("button", name="Go on").click()
    expect(title).to_have_text("Switch table saw off.")
    page.get_by_role("button", name="table saw: Switch off").click()
    expect(title).to_have_text("Proposed trip: 0.55 A.")
    assert "That is the demo's own copy: the shop's file stays as it is" in page.locator("#walk").inner_text()
    page.get_by_role("button", name="Write it").click()
    expect(title).to_have_text("Written. Table saw counts as running from 0.55 A.")
    copy = (tmp_path / "shop.yaml").read_text(encoding="utf-8")
    assert copy.replace(", trip: 0.55 A", "", 1) == example(GARAGE).read_text(encoding="utf-8")
    page.get_by_role("button", name="Done").click()
    expect(page.locator("#walk")).to_contain_text("It counts as running from 0.55 A: as the shop's file says.")

    # What was written outlives the board's plug.
    assert demo.bench.work("board:plug", "pull").accepted
    refused = demo.calibrate("table saw", "begin", "page")
    assert (refused.accepted, refused.sentence) == (False, "The board has no power. Put its plug in on the bench.")
    assert demo.bench.work("board:plug", "in").accepted
    until(lambda: "from 0.55 A" in (demo.view().tools[0].trip_note or ""))
    assert demo.calibrate("table saw", "begin", "page").accepted
    until(lambda: (walk := demo.view().calibration) is not None and walk.step is CalibrationStep.SWITCH_ON)


def until(true: Callable[[], bool]) -> None:
    """Wait for a fact; the deadline only guards against hanging."""
    ends_s = time.monotonic() + 60.0
    while not true():
        assert time.monotonic() < ends_s
