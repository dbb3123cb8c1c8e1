"""The page of changes and the page of an inspection: what is shown, who may press, and all of it without scripts."""

from collections.abc import Iterator

import pytest
from fake_face import ORIGIN, PIN, FakeFace
from fastapi.testclient import TestClient
from shop_views import shop

from gatekeeper.service.face import Answer, Saying
from gatekeeper.service.face_people import ChangeStep, ChangesView, ChangeView, Chapter, Inspection, Trial
from gatekeeper.web.app import create_app
from gatekeeper.web.door import DoorSettings

HTML = {"Accept": "text/html"}
AIR_PIN = "8642"

GOING = ChangeView(
    motor="Collector",
    job="bin",
    title="Bin of Collector",
    steps=(ChangeStep("Wait until it stands still", "Ada at 14:03"), ChangeStep("Lock the disconnect", None)),
    now=Saying("Hang your own lock on it."),
    label="It is locked",
    stays=None,
    number=1,
)
WAITING = ChangeView(
    motor="Vacuum",
    job="filter",
    title="Filter of Vacuum",
    steps=(ChangeStep("Wait until it stands still", None), ChangeStep("Lock the disconnect", None)),
    now=Saying("Its fan may turn for {time} more.", until_s=1030.0),
    label=None,
    stays="The fan of Vacuum still turns.",
    number=0,
)
READS = ChangeView(
    motor="Collector",
    job="bin",
    title="Bin of Collector",
    steps=(),
    now=Saying("Read the gauge."),
    label="Write it down and end",
    stays=None,
    number=7,
    asks_reading=True,
    example="1.50 kPa",
    taps=("inlet of Collector", "main"),
    before="Last reading here: 1.48 kPa.",
)


class FakePeople:
    def __init__(self) -> None:
        self.view = ChangesView((GOING, WAITING), (("Sander vac", "bag", "Change the bag of Sander vac"),))
        self.asked: list[tuple[object, ...]] = []

    def inspection(self) -> Inspection:
        trials = (Trial("Press <it>.", "It stops."), Trial("Pull it out.", "Nothing starts."))
        return Inspection(("Two people.",), (Chapter("By wire alone", "No program.", trials),))

    def changes(self) -> ChangesView:
        return self.view

    def _told(self, *asked: object) -> Answer:
        self.asked.append(asked)
        return Answer(True, "done", "Go on.")

    def begin(self, motor: str, job: str, by: str) -> Answer:
        return self._told("begin", motor, job, by)

    def press(self, motor: str, number: int, by: str, tap: str = "", reading: str = "") -> Answer:
        return self._told("press", motor, number, by, tap, reading)

    def leave(self, motor: str, by: str) -> Answer:
        return self._told("leave", motor, by)


@pytest.fixture
def people() -> FakePeople:
    return FakePeople()


@pytest.fixture
def phone(people: FakePeople) -> Iterator[TestClient]:
    """A phone in the shop's own network, not signed in."""
    settings = DoorSettings(PIN, frozenset({"shop.local"}), air_pin=AIR_PIN)
    app = create_app(FakeFace(shop()), settings, people=people)
    made = TestClient(
        app, base_url=ORIGIN, client=("192.168.1.23", 50000), headers={"Origin": ORIGIN}, follow_redirects=False
    )
    with made:
        yield made


def sign_in(phone: TestClient, pin: str) -> None:
    assert phone.post("/sign-in", data={"pin": pin}).status_code == 303


def test_a_change_shows_where_it_stands_and_the_one_press_that_goes_on(phone: TestClient) -> None:
    page = phone.get("/change", headers=HTML).text
    assert "<li>Wait until it stands still: Ada at 14:03</li>" in page.replace(' class="soft"', "")
    assert '<li aria-current="step">Lock the disconnect: now</li>' in page
    assert '<p class="what">Hang your own lock on it.</p>' in page
    assert "<button>It is locked</button>" in page
    assert "Its fan may turn for <time data-until=" in page
    assert "The fan of Vacuum still turns." in page
    assert '<a href="/change">Look again</a>' in page
    assert "Change the bag of Sander vac" in page


def test_begin_wants_no_more_than_air_and_a_press_wants_settings(phone: TestClient, people: FakePeople) -> None:
    begin = {"motor": "Sander vac", "job": "bag", "by": "  Ada\u0007 Lovelace "}
    step = {"motor": "Collector", "number": "1"}
    for path, fields in (("/change/begin", begin), ("/change", step), ("/change/leave", step)):
        assert phone.post(path, data=fields, headers={"Accept": "application/json"}).status_code == 401
    assert people.asked == []
    sign_in(phone, AIR_PIN)
    answer = phone.post("/change/begin", data=begin, headers=HTML)
    assert (answer.status_code, answer.headers["Location"].partition("?")[0]) == (303, "/change")
    assert people.asked == [("begin", "Sander vac", "bag", "Ada Lovelace")]
    assert phone.post("/change", data=step, headers={"Accept": "application/json"}).status_code in (401, 403)
    sign_in(phone, PIN)
    answer = phone.post("/change", data=step, headers=HTML)
    assert answer.status_code == 303
    assert "Go on." in phone.get(answer.headers["Location"], headers=HTML).text
    phone.post("/change/leave", data={"motor": "Collector"}, headers=HTML)
    assert people.asked[1:] == [("press", "Collector", 1, "", "", ""), ("leave", "Collector", "")]


def test_the_last_step_takes_a_reading_or_none(phone: TestClient, people: FakePeople) -> None:
    people.view = ChangesView((READS,), ())
    sign_in(phone, PIN)
    page = phone.get("/change", headers=HTML).text
    assert '<option value="main">main</option>' in page
    assert "Suction, such as 1.50 kPa" in page
    assert "Last reading here: 1.48 kPa." in page
    phone.post("/change", data={"motor": "Collector", "number": "7", "tap": "main", "reading": "1.4 kPa"}, headers=HTML)
    assert people.asked == [("press", "Collector", 7, "", "main", "1.4 kPa")]


@pytest.mark.parametrize("number", ["", "-1", "one", "1e3", "999", "\u0661"])
def test_a_step_that_cannot_be_read_is_refused(phone: TestClient, people: FakePeople, number: str) -> None:
    sign_in(phone, PIN)
    answer = phone.post(
        "/change", data={"motor": "Collector", "number": number}, headers={"Accept": "application/json"}
    )
    assert (answer.status_code, answer.json()["code"]) == (400, "no_step")
    assert people.asked == []


def test_the_inspection_is_a_table_with_room_for_a_mark(phone: TestClient) -> None:
    page = phone.get("/inspection", headers=HTML).text
    assert "<li>Two people.</li>" in page
    assert '<th scope="row">1</th><td>Press &lt;it&gt;.</td><td>It stops.</td><td class="mark"></td>' in page
    assert '<th scope="row">2</th>' in page


def test_without_a_running_shop_behind_it_there_is_no_such_page(client: TestClient) -> None:
    for path in ("/change", "/inspection"):
        answer = client.get(path, headers=HTML)
        assert answer.status_code == 404
        assert "There is nothing to walk through here." in answer.text
