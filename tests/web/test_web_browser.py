"""The page in a real Chromium: what a thumb, a keyboard, a sleeping phone and a browser without scripts get."""

from dataclasses import replace
from pathlib import Path

import pytest
from fake_face import FakeBench
from page_in_chromium import DESK, PHONE, Serve, wait, wait_for
from playwright.sync_api import expect
from shop_views import STATES, clearing, cutting, gate, large, shop, stuck, with_gates

from gatekeeper.service.face import GateWord

pytestmark = pytest.mark.browser


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
