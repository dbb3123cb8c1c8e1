"""The page under a thumb, a keyboard, and without scripts, in a real Chromium."""

from dataclasses import replace

import pytest
from fake_face import PIN, FakeBench
from page_in_chromium import DESK, Serve, wait, wait_for
from playwright.sync_api import Page, expect
from shop_views import clearing, cutting, shop, stuck

pytestmark = pytest.mark.browser


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
    # Exact: "spin-down delay" on the page before has these three letters too, and was filled in while it still stood.
    page.get_by_label("PIN", exact=True).fill(PIN)
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
