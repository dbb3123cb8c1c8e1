"""The page in a real Chromium: what a thumb, a keyboard, a sleeping phone and a browser without scripts get."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

import pytest
from fake_face import PIN, FakeBench, FakeFace
from page_in_chromium import DESK, PHONE, Served, launch, served, wait, wait_for
from playwright.sync_api import Browser, Page, expect, sync_playwright
from shop_views import STATES, clearing, cutting, gate, large, shop, stuck, with_gates

from gatekeeper.service.face import GateWord, ShopView

pytestmark = pytest.mark.browser
expect.set_options(timeout=30_000)
Serve = Callable[..., Served]


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        found = launch(playwright)
        yield found
        found.close()


@pytest.fixture
def serve(browser: Browser) -> Iterator[Serve]:
    """Serves a view; the page must never have complained."""
    with ExitStack() as opened:
        made: list[Served] = []

        def serve(view: ShopView, bench: FakeBench | None = None, *, needs_pin: bool = False) -> Served:
            face = FakeFace(view, moving_clock=True)
            made.append(opened.enter_context(served(browser, face, bench, needs_pin=needs_pin)))
            return made[-1]

        yield serve
        for one in made:
            assert one.complaints == []


# ---------------------------------------------------------------- how it looks

SMALL_TARGETS = """() => [...document.querySelectorAll('button, summary, input, a, [role=button]')].filter(e => {
    const box = e.getBoundingClientRect(), style = getComputedStyle(e);
    if (!box.width || style.visibility === 'hidden' || e.type === 'hidden' || e.matches('.skip')) return false;
    if (e.matches('.rows a')) return e.closest('li').getBoundingClientRect().height < 48;
    return box.height < 47.9 || (box.width < 47.9 && !e.matches('.lines a'));
}).map(e => e.outerHTML.slice(0, 90))"""
UNNAMED = """() => [...document.querySelectorAll('button, a, input:not([type=hidden]), summary')].filter(e =>
    !(e.textContent.trim() || e.getAttribute('aria-label') || e.labels?.length)).map(e => e.outerHTML)"""
DOUBLED = """() => { const ids = [...document.querySelectorAll('[id]')].map(e => e.id);
    return ids.filter((id, n) => ids.indexOf(id) !== n); }"""


@pytest.mark.parametrize("state", list(STATES))
@pytest.mark.parametrize("size", [PHONE, DESK])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_state_fits_and_can_be_read_and_touched(
    serve: Serve, tmp_path_factory: pytest.TempPathFactory, state: str, size: tuple[int, int], scheme: str
) -> None:
    page = serve(STATES[state](), FakeBench()).open(size=size, scheme=scheme)
    folder = tmp_path_factory.getbasetemp() / "pictures"
    folder.mkdir(exist_ok=True)
    page.screenshot(path=folder / f"{state}-{size[0]}-{scheme}.png", full_page=True)
    assert page.evaluate("isSecureContext") is False
    assert page.evaluate("document.documentElement.scrollWidth") == size[0]
    assert page.evaluate(SMALL_TARGETS) == []
    assert page.evaluate(UNNAMED) == []
    assert page.evaluate(DOUBLED) == []
    assert page.locator("h1").count() == 1
    bar = page.locator("button.stop").bounding_box()
    assert bar is not None
    assert bar["y"] + bar["height"] <= size[1]
    assert bar["width"] >= min(size[0] - 26, 1100)


@pytest.mark.parametrize("path", ["/machine/Bandsaw", "/settings", "/history", "/cautions", "/sign-in"])
@pytest.mark.parametrize("size", [PHONE, DESK])
def test_every_other_page_fits_too(
    serve: Serve, tmp_path_factory: pytest.TempPathFactory, path: str, size: tuple[int, int]
) -> None:
    page = serve(stuck()).open(path, size=size)
    folder = tmp_path_factory.getbasetemp() / "pictures"
    folder.mkdir(exist_ok=True)
    page.screenshot(path=folder / f"page{path.replace('/', '-')}-{size[0]}.png", full_page=True)
    assert page.evaluate("document.documentElement.scrollWidth") == size[0]
    assert page.evaluate(SMALL_TARGETS) == []
    assert page.evaluate(UNNAMED) == []


def test_the_heaviest_page_weighs_less_than_sixty_kilobytes(serve: Serve) -> None:
    here = serve(replace(large(), remote_start=True), FakeBench())
    context = here.browser.new_context()
    here.opened.callback(context.close)
    page = context.new_page()
    weights: dict[str, int] = {}
    page.on("response", lambda r: None if "/live" in r.url else weights.update({r.url: len(r.body())}))
    page.goto(here.address, wait_until="load")
    wait_for(page, lambda: len(weights) == 3)
    assert 30_000 < sum(weights.values()) < 60_000


@pytest.mark.parametrize("size", [PHONE, DESK])
def test_every_label_stands_beside_its_own_drop(serve: Serve, size: tuple[int, int]) -> None:
    base = shop()
    shared = replace(base.gates[2], tools=("Bandsaw", "Lathe"))
    thrice = replace(base.gates[3], tools=("Router table", "Planer", "Table saw"))
    view = replace(base, gates=(base.gates[0], base.gates[1], shared, thrice, base.gates[5]))
    page = serve(view).open(size=size)
    apart = page.evaluate(
        "() => [...document.querySelectorAll('.rows li')].slice(1).map(li => { const row = li.getBoundingClientRect();"
        "const seats = [...document.querySelectorAll('.seat')].map(e => e.getBoundingClientRect());"
        "return [li.scrollHeight <= li.clientHeight + 1, Math.min(...seats.map(s =>"
        "Math.abs((s.top + s.bottom - row.top - row.bottom) / 2)))]; })"
    )
    assert len(apart) == 6
    gates_only = [one for one, duct in zip(apart, ["g"] * 4 + ["no gate"] + ["g"], strict=True) if duct == "g"]
    assert all(fits and distance < 2 for fits, distance in gates_only), apart
    assert all(fits for fits, _ in apart)


def test_drawn_air_moves_and_stands_still_for_those_who_ask(serve: Serve) -> None:
    here = serve(cutting())
    moving = "() => getComputedStyle(document.querySelector('.air')).animationName"
    turning = "() => getComputedStyle(document.querySelector('.opening')).animationName"
    page = here.open()
    assert (page.evaluate(moving), page.evaluate(turning)) == ("air", "opening")
    still = here.open(still=True)
    assert (still.evaluate(moving), still.evaluate(turning)) == ("none", "none")


# ---------------------------------------------------------------- live


def test_changes_arrive_in_place_and_a_gate_turns_rather_than_jumps(serve: Serve) -> None:
    here = serve(shop())
    page = here.open()
    bar = page.locator("[data-key='gate Table saw gate'] .bar").element_handle()
    assert bar is not None
    assert bar.get_attribute("class") == "bar shut"
    here.face.show(cutting())
    expect(page.locator("h1")).to_contain_text("Table saw running")
    assert bar.get_attribute("class") == "bar open"
    assert bar.evaluate("e => e.isConnected") is True


def test_time_counts_between_the_controllers_words(serve: Serve) -> None:
    here = serve(clearing(600))
    page = here.open()
    first = page.locator("h1").inner_text()
    assert first == "Clearing: collector stops in 10\u00a0min."
    here.face.show(clearing(50))
    wait(page, "() => /stops in 4\\d/.test(document.querySelector('h1').textContent)")
    assert here.face.asked == []


def test_a_silent_controller_makes_the_page_pale_and_says_since_when(serve: Serve) -> None:
    here = serve(cutting())
    page = here.open()
    expect(page.locator("#news")).to_be_hidden()
    here.face.hung_at_s = here.face.now_s()
    wait(page, "() => /^No news from the controller for [3-9]/.test(document.querySelector('#news').textContent)")
    assert page.locator("#news").inner_text().endswith("\u00a0s. The shop may be running.")
    assert "stale" in (page.locator("body").get_attribute("class") or "")
    assert page.locator("button.stop").is_enabled()
    here.face.hung_at_s = None
    expect(page.locator("#news")).to_be_hidden(timeout=30_000)


def test_a_dead_server_makes_the_page_pale_too(serve: Serve) -> None:
    here = serve(cutting())
    page = here.open()
    here.serving.stop()
    expect(page.locator("#news")).to_contain_text("The shop may be running.", timeout=30_000)
    here.complaints.clear()  # the browser reports the lost connection, rightly


def test_a_phone_that_wakes_fetches_everything_anew(serve: Serve) -> None:
    here = serve(shop())
    page = here.open()
    wait_for(page, lambda: here.live.streams == 1)
    page.evaluate(
        "() => { window.asleep = true; Object.defineProperty(document, 'hidden', {get: () => window.asleep});"
        "document.dispatchEvent(new Event('visibilitychange')); }"
    )
    wait_for(page, lambda: here.live.streams == 0)
    here.face.show(cutting())
    assert page.locator("h1").inner_text().startswith("All is still.")
    said_at_once = page.evaluate(
        "() => { window.asleep = false; document.dispatchEvent(new Event('visibilitychange'));"
        "return [document.body.className, document.querySelector('#news').textContent]; }"
    )
    assert said_at_once == ["stale", "Fetching what is so now. The shop may have changed."]
    expect(page.locator("h1")).to_contain_text("Table saw running")
    expect(page.locator("#news")).to_be_hidden()


# ---------------------------------------------------------------- the thumb


def test_the_delay_and_the_countdown_change_under_the_finger(serve: Serve) -> None:
    here = serve(clearing(600))
    page = here.open()
    scale = page.locator("#spin [type=range]")
    scale.scroll_into_view_if_needed()
    box = scale.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 20, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] - 5, box["y"] + box["height"] / 2, steps=6)
    expect(page.locator("#spin .number")).to_have_text("120 s")
    assert page.locator("#spin .effect").inner_text() == (
        "Keeps running 120\u00a0s after the last tool stops. The longest branch needs 3\u00a0s to clear."
    )
    wait(page, "() => document.querySelector('#spin .count').textContent.includes('12\\u00a0min')")  # finger still down
    page.mouse.up()
    wait_for(page, lambda: here.face.asked[-1] == ("spin_down", "Collector", 120.0, "page", "127.0.0.1"))
    page.get_by_role("button", name="Undo: back to 8\u00a0s").click()
    expect(page.locator("#spin .number")).to_have_text("8 s")
    assert here.face.asked[-1] == ("undo", "Collector", "page", "127.0.0.1")


def test_plus_and_minus_are_large_and_stop_at_the_clear_time(serve: Serve) -> None:
    here = serve(shop())
    page = here.open()
    minus = page.get_by_role("button", name="Collector: one second less")
    plus = page.get_by_role("button", name="Collector: one second more")
    for button in (minus, plus):
        box = button.bounding_box()
        assert box is not None
        assert min(box["width"], box["height"]) >= 56
    plus.click()
    expect(page.locator("#spin .number")).to_have_text("9 s")
    for left in range(8, 2, -1):
        minus.click()
        expect(page.locator("#spin .number")).to_have_text(f"{left} s")
    expect(minus).to_be_disabled()
    wait_for(page, lambda: here.face.asked[-1][2] == 3.0)


def test_the_control_stands_still_under_the_finger_and_tells_the_truth_afterwards(serve: Serve) -> None:
    here = serve(shop())
    page = here.open()
    scale = page.locator("#spin [type=range]")
    scale.scroll_into_view_if_needed()
    box = scale.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    wait_for(page, lambda: here.face.asked != [])
    mine = page.locator("#spin .number").inner_text()
    here.face.set_spin_down("Collector", 77, "page", "192.168.1.99")
    here.face.show(replace(here.face.view(), sentence=cutting().sentence))
    expect(page.locator("h1")).to_contain_text("Table saw running")
    assert page.locator("#spin .number").inner_text() == mine
    page.mouse.up()
    expect(page.locator("#spin .number")).to_have_text("77 s")


def test_undo_is_there_as_soon_as_the_controller_says_the_same_as_the_finger(serve: Serve) -> None:
    never_give_up = "const real = setTimeout; window.setTimeout = (f, ms, ...a) => ms === 3000 ? 0 : real(f, ms, ...a);"
    page = serve(shop()).open(before=never_give_up)
    page.get_by_role("button", name="Collector: one second more").click()
    expect(page.get_by_role("button", name="Undo: back to 8\u00a0s")).to_be_visible()


def test_below_the_clear_time_needs_a_hold(serve: Serve) -> None:
    here = serve(shop())
    page = here.open()
    unlock = page.get_by_role("button", name="Hold to go below 3\u00a0s")
    unlock.click()
    assert page.locator("#spin [type=range]").get_attribute("min") == "3"
    hold(page, unlock)
    wait(page, "() => document.querySelector('#spin [type=range]').min === '1'")
    page.locator("#spin [type=range]").press("Home")
    expect(page.locator("#spin .number")).to_have_text("1 s")
    wait_for(page, lambda: here.face.asked[-1:] == [("spin_down", "Collector", 1.0, "page", "127.0.0.1")])


def hold(page: Page, button: object) -> None:
    """Press and keep pressed until the page has taken it."""
    button.scroll_into_view_if_needed()  # type: ignore[attr-defined]
    box = button.bounding_box()  # type: ignore[attr-defined]
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    expect(page.locator(".holding")).to_have_count(1)
    expect(page.locator(".holding")).to_have_count(0)
    page.mouse.up()


def test_a_start_is_held_for_a_second_and_a_tap_does_nothing(serve: Serve) -> None:
    here = serve(replace(shop(), remote_start=True))
    page = here.open()
    start = page.get_by_role("button", name="Run Collector for 5 min hold for one second")
    start.click()
    assert here.face.asked == []
    hold(page, start)
    wait_for(page, lambda: here.face.asked != [])
    assert here.face.asked == [("run", "Collector", "page", 300.0, None, "127.0.0.1")]
    expect(page.locator("#answer")).to_have_text("run Collector: done.")


def test_stop_says_sent_then_who_stopped(serve: Serve) -> None:
    here = serve(cutting())
    page = here.open()
    page.get_by_role("button", name="Stop dust collector").click()
    expect(page.locator("#stops")).to_have_text("Stopped from the page by 127.0.0.1 at 14:03.")
    assert here.face.asked == [("stop", None, "page", None, None, "127.0.0.1")]


def test_stop_without_an_answer_sends_to_the_red_button(serve: Serve) -> None:
    here = serve(cutting())
    here.face.mute = True
    page = here.open()
    page.get_by_role("button", name="Stop dust collector").click()
    expect(page.locator("#stops")).to_have_text("Sent.")
    expect(page.locator("#stops")).to_have_text("Not confirmed. Use the red button.")
    here.complaints.clear()  # the browser reports the refusal as an error, rightly


def test_a_stop_that_is_taken_but_not_confirmed_sends_to_the_red_button_too(serve: Serve) -> None:
    here = serve(cutting())
    here.face.confirms = False
    page = here.open()
    page.get_by_role("button", name="Stop dust collector").click()
    expect(page.locator("#stops")).to_have_text("Stopped from the page by 127.0.0.1 at 14:03.")
    expect(page.locator("#stops")).to_have_text("Not confirmed. Use the red button.")


def test_the_bench_switches_a_virtual_machine(serve: Serve) -> None:
    bench = FakeBench()
    page = serve(shop(), bench).open(size=DESK)
    page.get_by_role("button", name="Planer: Switch on").click()
    expect(page.locator("#bench")).to_contain_text("Planer: running")
    assert bench.runs is True
    page.get_by_role("button", name="Planer: Switch off").click()
    expect(page.locator("#bench")).to_contain_text("Planer: off")
    page.locator("#bench summary", has_text="Machines").click()
    bench.runs = True
    expect(page.locator("#bench")).to_contain_text("Planer: running")
    expect(page.get_by_role("button", name="Planer: Switch off")).to_be_hidden()  # what was shut stays shut


def test_typing_who_and_why_survives_changes(serve: Serve) -> None:
    here = serve(shop())
    page = here.open()
    page.locator("summary", has_text="Take Collector out of service").click()
    page.get_by_label("Who").fill("the steward")
    here.face.show(cutting())
    expect(page.locator("h1")).to_contain_text("Table saw running")
    assert page.get_by_label("Who").input_value() == "the steward"
    page.get_by_label("Why").fill("new bag")
    page.get_by_role("button", name="Take Collector out of service").click()
    expect(page.get_by_label("Who")).to_be_hidden()
    wait_for(page, lambda: here.face.asked != [])
    assert here.face.asked == [("out_of_service", "Collector", "page", None, "the steward: new bag", "127.0.0.1")]


def test_the_pin_is_asked_for_and_leads_back(serve: Serve) -> None:
    here = serve(stuck(), needs_pin=True)
    page = here.open("/machine/Bandsaw")
    page.get_by_role("button", name="Seen").click()
    page.get_by_label("PIN").fill(PIN)
    page.get_by_role("main").get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/machine/Bandsaw")
    page.get_by_role("button", name="Seen").click()
    wait_for(page, lambda: here.face.asked != [])
    assert here.face.asked[0][:2] == ("seen", "gate_stuck:Bandsaw gate")
    here.complaints.clear()  # the browser reports the first refusal as an error, rightly


# ---------------------------------------------------------------- keyboard, no scripts


def test_everything_is_reached_by_keyboard_in_order_with_a_visible_focus(serve: Serve) -> None:
    page = serve(stuck(), FakeBench()).open()
    reached: list[str] = []
    while True:
        page.keyboard.press("Tab")
        found = page.evaluate(
            "() => { const e = document.activeElement; if (e === document.body) return null;"
            "const b = e.getBoundingClientRect(), f = document.querySelector('footer').getBoundingClientRect();"
            "const s = getComputedStyle(e);"
            "return [(e.getAttribute('aria-label') || e.textContent || e.name).trim(), s.outlineStyle,"
            "parseFloat(s.outlineWidth), e.closest('footer') ? 0 : b.bottom - f.top, b.top]; }"
        )
        if found is None:
            break
        name, style, width, covered, top = found
        assert (style, width >= 3, covered <= 0, top >= 0) == ("solid", True, True, True), found
        reached.append(name)
    assert reached[:3] == ["To the content", "Shop", "Settings"]
    assert reached[-1] == "Stop dust collector"
    for wanted in (
        "Release Bandsaw gate hold for one second",
        "Seen",
        "Collector: one second less",
        "Collector: spin-down delay in seconds",
        "The ducts as a list",
        "Planer: Switch on",
    ):
        assert wanted in reached


def test_who_cannot_hold_is_asked_once_more_instead(serve: Serve) -> None:
    here = serve(stuck())
    page = here.open()
    page.get_by_role("button", name="Release Bandsaw gate").focus()
    page.keyboard.press("Enter")
    expect(page.locator("h1")).to_have_text("Release Bandsaw gate?")
    assert here.face.asked == []
    page.get_by_role("button", name="Release Bandsaw gate").press("Enter")
    wait_for(page, lambda: here.face.asked != [])
    assert here.face.asked == [("release", "Bandsaw gate", "page", None, None, "127.0.0.1")]


def test_without_scripts_it_can_be_read_and_stopped(serve: Serve) -> None:
    here = serve(clearing())
    page = here.open(scripts=False, first_visit=True)
    assert page.locator("h1").inner_text().startswith("Clearing: collector stops in ")
    assert page.get_by_text("This page stands still without scripts.").is_visible()
    assert page.get_by_text("Wood dust can explode.").is_visible()
    page.get_by_role("button", name="I have read this").click()
    expect(page.get_by_text("Wood dust can explode.")).to_have_count(0)
    page.get_by_role("button", name="Stop dust collector").click()
    expect(page.locator("#answer")).to_have_text("Stopped from the page by 127.0.0.1 at 14:03.")
    assert here.face.asked == [("stop", None, "page", None, None, "127.0.0.1")]


def test_without_scripts_the_delay_can_be_changed_also_below_the_clear_time(serve: Serve) -> None:
    here = serve(shop())
    page = here.open(scripts=False)
    page.get_by_role("button", name="Collector: one second more").click()
    expect(page.locator("#spin .number")).to_have_text("9 s")
    page.get_by_role("spinbutton", name="Seconds").fill("2")
    page.get_by_role("button", name="Set", exact=True).click()
    expect(page.locator("h1")).to_have_text("Set 2 s?")
    assert len(here.face.asked) == 1
    page.get_by_role("button", name="Set 2 s").click()
    expect(page.locator("#answer")).to_have_text("Collector: the delay is set.")
    assert here.face.asked[-1] == ("spin_down", "Collector", 2.0, "page", "127.0.0.1")


# ---------------------------------------------------------------- pictures for the README


def test_pictures_for_the_readme(serve: Serve, request: pytest.FixtureRequest, tmp_path: Path) -> None:
    """Into a temporary folder, or with ``--pictures`` to where the README looks for them."""
    kept = request.config.getoption("--pictures", default=False)
    folder = request.config.rootpath / "hardware" / "pictures" if kept else tmp_path
    base = cutting()
    gates = with_gates(base, planer=gate("Planer"), router_table=gate("Router table", GateWord.SHUT))
    view = replace(base, gates=gates)
    wanted = (
        ("phone-cutting", "/", PHONE, "light", view, "header"),
        ("phone-ducts", "/", PHONE, "light", view, ".air-ways"),
        ("phone-spin-down", "/", PHONE, "dark", clearing(40), "#spin"),
        ("phone-stuck", "/", PHONE, "dark", stuck(), "header"),
        ("phone-machine", "/machine/Bandsaw", PHONE, "light", stuck(), "header"),
        ("desk-cutting", "/", DESK, "light", view, "header"),
    )
    for name, path, size, scheme, shown, at_top in wanted:
        page = serve(shown).open(path, size=size, scheme=scheme)
        page.locator(at_top).evaluate("e => e.scrollIntoView()")
        page.screenshot(path=folder / f"{name}.png")
    assert {path.stem for path in folder.glob("*.png")} >= {name for name, *_ in wanted}
