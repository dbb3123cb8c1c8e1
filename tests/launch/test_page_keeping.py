"""The page of the real program ends by a fault, hangs, or cannot listen, while a machine is served."""

import socket
import sys
import threading
from collections.abc import Iterator
from http.client import HTTPException
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from shop_process import ShopProcess, until

from gatekeeper.page_keeping import FIRST_WAIT_S, LONGEST_WAIT_S, SILENT_LOOKS, STEADY_S, KeptPage
from gatekeeper.service.clock import HandClock

MOTOR, LAMP, SAW = 17, 22, 23
SHOP = """
shop: {name: Shed, mains: 50 Hz, open_flue_nearby: no}
motors:
  fan: {power: 1.5 kW, starts_per_hour: 60 per hour, switched_by: {pin: GPIO17, when_board_dies: drops}}
feeders: {main: {gap: 0 s}}
gates:
  saw gate: {diameter: 100 mm, servo: {pin: GPIO12}, travel: 200 ms}
tools:
  saw: {gates: saw gate, sensor: {current_switch: GPIO23}}
page: {port: {port}}
neighbours: {metrics: yes}
messages: {lamp: {pin: GPIO22, heap: today}}
"""
#: The program with a page that can be asked to fail.
FAILS = """
import asyncio, sys, time
from gatekeeper import page_keeping
from gatekeeper.web import app, serving

page_keeping.SILENT_LOOKS, serving._END_S = 3, 0.5
made = app.create_app

def create_app(*given, **named):
    app_made = made(*given, **named)

    async def end() -> None:
        asyncio.get_running_loop().call_soon(sys.exit, "somebody in the page wants the end")

    async def hang() -> None:
        time.sleep(600)

    app_made.add_api_route("/end", end, methods=["GET"])
    app_made.add_api_route("/hang", hang, methods=["GET"])
    return app_made

app.create_app = create_app
from gatekeeper.cli import main
main()
"""


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[ShopProcess]:
    program = tmp_path / "failing.py"
    program.write_text(FAILS, encoding="utf-8")
    made = ShopProcess(tmp_path, SHOP, program)
    made.contact(SAW, False)
    yield made
    made.close()


def answers(shop: ShopProcess) -> bool:
    try:
        return shop.get("/")[0] == 200
    except (OSError, HTTPException):
        return False


@pytest.mark.parametrize(
    ("path", "why"), [("/end", "ended by a fault in the program"), ("/hang", "did not answer any more")]
)
def test_a_page_that_fails_comes_back_and_the_saw_is_served_all_the_while(
    shop: ShopProcess, path: str, why: str
) -> None:
    shop.start()
    until(lambda: shop.figure('gatekeeper_gate_open{gate="saw gate"}') == 1, "the path at rest: it is awake")
    shop.contact(SAW, True)
    until(lambda: shop.level(MOTOR) == 1.0, "the fan for the saw")
    on_before = shop.link.ask("look", MOTOR)["driven"]
    asked = threading.Thread(target=answers_to, args=(shop, path), daemon=True)
    asked.start()
    said = f"The page {why}. The shop runs on; the page is tried again in 1 s."
    until(lambda: said in shop.said(), "the word of it in the journal")
    until(lambda: shop.level(LAMP) == 1.0, "the shop's lamp")
    until(lambda: answers(shop), "the page again")
    asked.join()  # whoever waited at the old page is let go
    until(lambda: f"The page {why}, and was opened again. The shop ran on." in shop.get("/")[1], "the message")
    # Not a moment without the fan, and it still obeys.
    assert shop.link.ask("look", MOTOR)["driven"] == on_before
    shop.contact(SAW, False)
    until(lambda: shop.figure('gatekeeper_tool_runs{tool="saw"}') == 0, "the end of the cut")
    shop.ask("/stop", "")
    until(lambda: shop.level(MOTOR) == 0.0, "the stop")
    # A thread of the page that still hangs does not keep the program from ending.
    assert shop.end() == 0


def answers_to(shop: ShopProcess, path: str) -> None:
    try:
        shop.get(path)
    except (OSError, HTTPException):
        return


def test_a_page_whose_port_is_taken_comes_as_soon_as_it_is_free(shop: ShopProcess) -> None:
    taken = socket.create_server(("127.0.0.1", shop.port))
    shop.start(word="cannot listen on")
    said = (
        f"The page cannot listen on 127.0.0.1 port {shop.port} (Address already in use). "
        "The shop runs on; the page is tried again in 1 s."
    )
    until(lambda: said in shop.said(), "the word of it in the journal")
    assert "Traceback" not in shop.said()
    until(lambda: shop.level(LAMP) == 1.0, "the shop's lamp")
    taken.close()
    until(lambda: answers(shop), "the page")
    assert shop.end() == 0


# ---------------------------------------------------------------- with a clock of our own


class APage:
    """A page as its keeper sees it."""

    def __init__(self) -> None:
        self.is_running = self.is_quick = True
        self.stops = 0

    def answers(self) -> bool:
        return self.is_quick

    def stop(self) -> None:
        self.stops += 1


class Desk:
    """A keeper, its clock, and what it opens: a page or a fault."""

    def __init__(self) -> None:
        self.clock = HandClock(1000.0)
        self.opens: list[APage | Exception] = []
        self.told: list[str | None] = []
        self.kept = KeptPage(self._open, "0.0.0.0 port 8080", self._report, self.clock.now)

    def _open(self) -> APage:
        found = self.opens.pop(0)
        if isinstance(found, Exception):
            raise found
        return found

    def _report(self, code: str, sentence: str | None) -> None:
        assert code == "page"
        self.told.append(sentence)


def test_it_is_tried_ever_more_rarely_until_it_opens_and_then_all_is_well() -> None:
    desk = Desk()
    page = APage()
    desk.opens = [*(OSError(99, "Cannot assign requested address") for _ in range(12)), page]
    waits, tried_s = [], desk.clock.now()
    for _ in range(3000):
        before = len(desk.opens)
        desk.kept.look()
        if len(desk.opens) < before:
            waits.append(desk.clock.now() - tried_s)
            tried_s = desk.clock.now()
        if desk.kept.is_open:
            break
        desk.clock.advance(1.0)
    assert waits == [0.0, *(min(LONGEST_WAIT_S, FIRST_WAIT_S * 2**power) for power in range(12))]
    assert desk.told[0] == (
        "The page cannot listen on 0.0.0.0 port 8080 (Cannot assign requested address). "
        "The shop runs on; the page is tried again in 1 s."
    )
    assert desk.told[-1] == (
        "The page cannot listen on 0.0.0.0 port 8080 (Cannot assign requested address), "
        "and was opened again after 12 tries. The shop ran on."
    )
    desk.clock.jump_to(tried_s + STEADY_S - 0.1)
    desk.kept.look()
    assert None not in desk.told
    desk.clock.jump_to(tried_s + STEADY_S)
    desk.kept.look()
    assert desk.told[-1:] == [None]
    # From then on it begins anew.
    page.is_running = False
    desk.kept.look()
    assert desk.told[-1] == (
        "The page ended by a fault in the program. The shop runs on; the page is tried again in 1 s."
    )
    assert page.stops == 1


def test_only_silence_without_a_break_is_a_page_that_hangs() -> None:
    desk, page = Desk(), APage()
    desk.opens = [page]
    desk.kept.look()
    for quick in (False, True, False):
        page.is_quick = quick
        for _ in range(SILENT_LOOKS - 1):
            desk.kept.look()
    assert (desk.kept.is_open, desk.told) == (True, [])
    desk.kept.look()
    assert page.stops == 1
    assert desk.told == ["The page did not answer any more. The shop runs on; the page is tried again in 1 s."]


def test_a_program_fault_in_the_opening_is_a_page_away_and_no_end() -> None:
    desk = Desk()
    desk.opens = [ZeroDivisionError("no"), APage()]
    desk.kept.look()
    assert desk.told == [
        "The page could not be opened (ZeroDivisionError). The shop runs on; the page is tried again in 1 s."
    ]
    desk.clock.advance(FIRST_WAIT_S)
    desk.kept.look()
    assert desk.opens == []
    assert desk.told[-1] == "The page could not be opened (ZeroDivisionError), and was opened again. The shop ran on."
