"""The door's own pages and forms: signing in, the list of phones, another PIN. Exact sentences."""

import time
from collections.abc import Callable
from dataclasses import replace

import pytest
from fake_face import ORIGIN, PIN, FakeFace
from fastapi.testclient import TestClient
from shop_views import shop

from gatekeeper.web.app import create_app
from gatekeeper.web.door import COOKIE, DoorSettings
from gatekeeper.web.door_sessions import InMemory

SETTINGS = DoorSettings(PIN, frozenset({"shop.local"}), air_pin="2342")
HTML = {"Accept": "text/html"}
Phone = Callable[..., TestClient]


class FullDisk(InMemory):
    def write(self, text: str) -> None:
        raise OSError(28, "No space left on device")


@pytest.fixture
def phone(face: FakeFace) -> Phone:
    def made(settings: DoorSettings = SETTINGS, store: InMemory | None = None) -> TestClient:
        app = create_app(face, settings, None, store)
        headers = {"Origin": ORIGIN}
        return TestClient(app, base_url=ORIGIN, client=("192.168.1.23", 5), headers=headers, follow_redirects=False)

    return made


def handle_in(text: str) -> str:
    return text.partition('name="phone" value="')[2].partition('"')[0]


def test_the_page_for_the_pin_says_what_it_opens(phone: Phone) -> None:
    assert (
        "The PIN lets this phone change things. There are two: one for asking for air, one for settings and release "
        "as well. Reading, and stopping the dust collector from inside the shop, need none."
    ) in phone().get("/sign-in").text
    closed = phone(replace(SETTINGS, reading_open=False, air_pin=None)).get("/sign-in").text
    assert (
        "The PIN lets this phone look and change things. Stopping the dust collector from inside the shop needs none."
    ) in closed
    assert "does not stop any machine" in closed


def test_phones_are_listed_with_what_they_may_since_when_and_from_where(phone: Phone) -> None:
    owner = phone()
    assert owner.post("/sign-in", data={"pin": PIN}).status_code == 303
    other = TestClient(
        owner.app, base_url=ORIGIN, client=("192.168.1.40", 5), headers={"Origin": ORIGIN}, follow_redirects=False
    )
    assert other.post("/sign-in", data={"pin": "2342"}).status_code == 303
    day = time.strftime("%Y-%m-%d")
    text = owner.get("/settings").text
    assert "<b>This phone</b>: may change settings and release." in text
    assert "<b>A phone</b>: may ask for air." in text
    assert f"Signed in since {day}" in text
    assert ", from 192.168.1.40." in text
    assert "Sign every phone out" in text
    theirs = other.get("/settings").text
    assert "Sign in with the PIN for settings to see which phones are signed in, and to change the PIN." in theirs
    assert "192.168.1.23" not in theirs


def test_one_phone_or_all_are_signed_out(phone: Phone) -> None:
    owner = phone()
    owner.post("/sign-in", data={"pin": PIN})
    handle = handle_in(owner.get("/settings").text)
    gone = owner.post("/phones", data={"phone": "0" * 12}, headers=HTML)
    assert gone.headers["location"].startswith("/?said=")
    assert owner.post("/phones", data={"phone": "0" * 12}).text == "That phone is signed out already.\n"
    assert owner.post("/phones", data={"phone": handle}).text == "That phone is signed out.\n"
    assert owner.post("/phones", data={"phone": "all"}).status_code == 401
    owner.post("/sign-in", data={"pin": PIN})
    assert owner.post("/phones", data={"phone": "all"}).text == "Every phone is signed out.\n"
    assert owner.post("/undo", data={"subject": "Collector"}).status_code == 401


def test_a_disk_that_says_no_is_told_where_it_matters(phone: Phone) -> None:
    owner = phone(store=FullDisk())
    assert owner.post("/sign-in", data={"pin": PIN}).status_code == 303
    assert owner.post("/undo", data={"subject": "Collector"}).status_code == 409  # it is let in all the same
    assert owner.post("/phones", data={"phone": handle_in(owner.get("/settings").text)}).text == (
        "That phone is signed out. The disk did not take it: after a restart it may be signed in again. Look at the "
        "card.\n"
    )


def test_another_pin_signs_out_and_counts_from_then_on(phone: Phone) -> None:
    kept: list[str] = []
    owner = phone(replace(SETTINGS, keep_pin=kept.append))
    owner.post("/sign-in", data={"pin": PIN})
    assert "A changed PIN signs every phone out, this one too. 6 to 8 digits." in owner.get("/settings").text
    for new in ("", "12345", "123456789", "12345a", "１２３４５６"):
        answer = owner.post("/pin", data={"pin": PIN, "new": new})
        assert (answer.status_code, answer.text) == (
            400,
            "The new PIN must be 6 to 8 digits, and another than the PIN for air.\n",
        )
    assert owner.post("/pin", data={"pin": "2342", "new": "108108"}).status_code == 403
    changed = owner.post("/pin", data={"pin": PIN, "new": "108108"})
    assert changed.text == "The PIN is changed, and every phone is signed out. Sign in with the new one.\n"
    assert f'{COOKIE}=""' in changed.headers["set-cookie"]
    assert kept == ["108108"]
    assert owner.post("/sign-in", data={"pin": PIN}).status_code == 403
    assert owner.post("/sign-in", data={"pin": "108108"}).status_code == 303


def test_a_pin_that_could_not_be_kept_stays_as_it_was(phone: Phone) -> None:
    def full(pin: str) -> None:
        raise OSError(28, "No space left on device")

    owner = phone(replace(SETTINGS, keep_pin=full))
    owner.post("/sign-in", data={"pin": PIN})
    answer = owner.post("/pin", data={"pin": PIN, "new": "108108"})
    assert (answer.status_code, answer.text) == (
        409,
        "The disk did not take the new PIN; the old one stays. Look at the card.\n",
    )
    assert owner.post("/sign-in", data={"pin": PIN}).status_code == 303


def test_a_pin_from_the_shops_file_is_changed_there(phone: Phone) -> None:
    owner = phone()
    owner.post("/sign-in", data={"pin": PIN})
    text = owner.get("/settings").text
    assert "The PIN stands in the shop&#x27;s file (page: pin); change it there." in text
    answer = owner.post("/pin", data={"pin": PIN, "new": "108108"})
    assert (answer.status_code, answer.text) == (
        403,
        "The PIN stands in the shop's file (page: pin). Change it there, then start the controller anew.\n",
    )


def test_whoever_may_ask_for_air_only_is_led_to_the_other_pin(phone: Phone) -> None:
    client = phone()
    client.post("/sign-in", data={"pin": "2342"})
    led = client.post("/undo", data={"subject": "Collector"}, headers=HTML | {"Referer": ORIGIN + "/settings"})
    assert led.status_code == 303
    assert led.headers["location"].startswith("/sign-in?back=/settings&said=")
    page = client.get(led.headers["location"]).text
    assert "The PIN for air does not open this. Sign in with the PIN for settings and release." in page
    assert '<input type="hidden" name="back" value="/settings">' in page


def test_a_closed_page_leads_back_to_where_somebody_wanted_to_look(phone: Phone) -> None:
    client = phone(replace(SETTINGS, reading_open=False))
    led = client.get("/machine/Table%20saw", headers=HTML)
    page = client.get(led.headers["location"]).text
    assert '<input type="hidden" name="back" value="/machine/Table saw">' in page
    answer = client.post("/sign-in", data={"pin": "2342", "back": "/machine/Table saw"})
    assert client.get(answer.headers["location"]).status_code == 200
    assert shop().name in client.get("/").text
