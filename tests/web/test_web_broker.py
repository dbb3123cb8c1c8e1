"""Letting a broker's commands in from the settings page: who may, for how long, and what the page says."""

from collections.abc import Callable

import pytest
from fake_face import ORIGIN, PIN, FakeFace
from fastapi.testclient import TestClient

from gatekeeper.service.broker_leave import BrokerLeave
from gatekeeper.service.clock import HandClock
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from gatekeeper.web.app import create_app
from gatekeeper.web.door import DoorSettings

AIR_PIN = "2342"
HTML = {"Accept": "text/html"}
SHOP = """
shop: {name: Shed, mains: 50 Hz}
motors:
  fan: {power: 1.5 kW, switched_by: {pin: GPIO17, when_board_dies: drops}}
gates:
  saw gate: {diameter: 100 mm}
tools:
  saw: {gates: saw gate, sensor: {current_switch: GPIO23}}
brokers:
  house: {host: 192.168.1.5}
page: {remote_start: START}
neighbours:
  homie: {broker: house, commands: yes}
"""


class Board:
    """A leave with a clock and a key of its own."""

    def __init__(self, start: str = "no") -> None:
        shop = load_shop(SHOP.replace("START", start), "shop.yaml")
        assert isinstance(shop, Shop), str(shop)
        self.clock = HandClock(100.0)
        self.key = False
        self.noted: list[tuple[str, float | None]] = []
        self.leave = BrokerLeave(
            shop, lambda: self.key, lambda by, for_s: self.noted.append((by, for_s)), self.clock.now
        )


@pytest.fixture
def board() -> Board:
    return Board()


Phone = Callable[..., TestClient]


@pytest.fixture
def phone(board: Board, face: FakeFace) -> Phone:
    settings = DoorSettings(PIN, frozenset({"shop.local"}), air_pin=AIR_PIN)

    def made(pin: str | None = PIN, at: str = "192.168.1.23", *, with_broker: bool = True) -> TestClient:
        app = create_app(face, settings, broker=board.leave if with_broker else None)
        client = TestClient(app, base_url=ORIGIN, client=(at, 5), headers={"Origin": ORIGIN}, follow_redirects=False)
        assert pin is None or client.post("/sign-in", data={"pin": pin}).status_code == 303
        return client

    return made


def test_leave_is_given_for_an_hour_shown_and_taken_back(phone: Phone, board: Board) -> None:
    client = phone()
    shown = client.get("/settings", headers=HTML).text
    assert "Commands from the broker house" in shown
    assert "None is taken: nobody in the shop lets them in." in shown
    assert "Whoever may publish at house can then stop motors and ask for air; they cannot start a motor." in shown
    assert "Keep them out" not in shown
    answer = client.post("/broker", data={"for_s": "3600"}, headers=HTML | {"Referer": f"{ORIGIN}/settings"})
    assert answer.headers["location"].startswith("/settings?said=")
    assert "Commands are taken for 1 hour." in client.get(answer.headers["location"], headers=HTML).text
    assert board.leave.stands()
    board.clock.advance(3600.0 - 61.0)
    shown = client.get("/settings", headers=HTML).text
    assert "Taken for 2 min more, or until a restart. Let in by the page, from 192.168.1.23." in shown
    assert "Keep them out" in shown
    assert client.post("/broker", data={"for_s": "end"}).text == "Commands of the broker are not taken any more.\n"
    assert not board.leave.stands()
    by = "the page, from 192.168.1.23"
    assert board.noted == [(by, 3600.0), (by, None)]


def test_leave_ends_at_its_time_and_not_a_moment_later(board: Board) -> None:
    assert board.leave.let_in(8 * 3600.0, "the page").sentence == "Commands are taken for 8 hours."
    assert board.leave.view().sentence == "Taken for 8 h more, or until a restart. Let in by the page."
    board.clock.advance(3600.0 * 5 + 60.0)
    assert board.leave.view().sentence == "Taken for 2 h 59 min more, or until a restart. Let in by the page."
    board.clock.advance(3600.0 * 3 - 60.1)
    assert board.leave.stands()
    board.clock.advance(0.1)
    assert not board.leave.stands()
    assert not board.leave.view().can_end


def test_a_key_that_is_on_is_said_and_no_press_turns_it_off(phone: Phone, board: Board) -> None:
    board.key = True
    client = phone()
    assert "Taken: the broker key at the board is on." in client.get("/settings", headers=HTML).text
    answer = client.post("/broker", data={"for_s": "end"})
    assert (answer.status_code, answer.text) == (
        409,
        "They are still taken: the broker key at the board is on. Turn it off there.\n",
    )


def test_who_may_ask_for_air_keeps_them_out_but_lets_none_in(phone: Phone, board: Board) -> None:
    client = phone(AIR_PIN)
    assert client.post("/broker", data={"for_s": "3600"}).status_code == 403
    assert not board.leave.stands()
    board.leave.let_in(3600.0, "the page")
    assert client.post("/broker", data={"for_s": "end"}).status_code == 200
    assert not board.leave.stands()


@pytest.mark.parametrize(("word", "status"), [("", 400), ("soon", 400), ("nan", 400), ("60", 409), ("1e9", 409)])
def test_no_other_time_is_taken(phone: Phone, board: Board, word: str, status: int) -> None:
    assert phone().post("/broker", data={"for_s": word}).status_code == status
    assert not board.leave.stands()


def test_a_shop_whose_file_lets_none_in_has_nothing_to_press(phone: Phone) -> None:
    client = phone(with_broker=False)
    assert "Commands from the broker" not in client.get("/settings", headers=HTML).text
    assert client.post("/broker", data={"for_s": "3600"}).status_code == 404


def test_it_says_that_a_start_may_be_asked_for_where_the_file_allows_that() -> None:
    view = Board("yes").leave.view()
    assert view.caution == (
        "Whoever may publish at house can then stop motors and ask for air, and that starts the collector."
    )


def test_attack_a_stranger_lets_commands_in(phone: Phone, board: Board) -> None:
    for client in (phone(None), phone(PIN, "8.8.8.8")):
        assert client.post("/broker", data={"for_s": "3600"}).status_code in (401, 403)
    assert not board.leave.stands()
    assert board.noted == []
