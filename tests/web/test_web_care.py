"""The page of care: what is shown, asked and refused; a backup goes out whole and comes in piece by piece."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from fake_face import ORIGIN, PIN, FakeFace
from fastapi.testclient import TestClient
from shop_views import shop

from gatekeeper.service.face import Answer, Heap
from gatekeeper.service.face_care import (
    CareCount,
    CareGauge,
    CareJob,
    CareMotor,
    CarePress,
    CareReading,
    CareTrend,
    CareView,
    UpkeepError,
)
from gatekeeper.web import uploads
from gatekeeper.web.app import create_app
from gatekeeper.web.door import DoorSettings
from gatekeeper.web.serving import Serving

if TYPE_CHECKING:
    from playwright.sync_api import Browser

HTML = {"Accept": "text/html"}
JSON = {"Accept": "application/json"}
BOUNDARY = "----WebKitFormBoundaryAbC123"
MULTIPART = {"Content-Type": f"multipart/form-data; boundary={BOUNDARY}"}
DAY_S = 86_400.0

CARE = CareView(
    jobs=(
        CareJob(
            "Bin of collector",
            "11.2 h of running of 10.0 h, the program's own interval.",
            Heap.WHEN_YOU_CAN,
            (CarePress("bin_emptied", "collector", "Bin emptied"),),
            "Last done on 2026-03-01 by Ada.",
        ),
        CareJob("Monthly check of collector", "No reading yet: the first one is day one.", None, (), "Not done yet."),
    ),
    motors=(
        CareMotor(
            "collector",
            ("inlet of collector", "main"),
            "Open now: planer gate.",
            "No stop in mid-run has been seen yet.",
            True,
            "By the current of collector its air is as on day one.",
            (
                CareGauge(
                    "main gauge",
                    "main gauge: 1.52 kPa of suction at main now.",
                    "By main gauge suction is as on day one.",
                    "1.52 kPa at main with planer gate open",
                ),
                CareGauge("filter gauge", "filter gauge: not known now."),
            ),
        ),
    ),
    trends=(
        CareTrend(
            "Suction at main with planer gate open",
            "kPa",
            "Last reading 12% below day one.",
            (
                CareReading(1.77e9, 1.6, "1.60 kPa", "Ada"),
                CareReading(1.77e9 + 31 * DAY_S, 1.52, "1.52 kPa", "Ada"),
                CareReading(1.77e9 + 62 * DAY_S, 1.41, "1.41 kPa", "<b>Eve</b>"),
            ),
        ),
    ),
    counts=(CareCount("collector", "212 h, 640 starts"), CareCount("planer gate", "1212 moves")),
    told=("Suction at main is 22% below day one: look in this order: bin, filter, hose.",),
    low_share=0.2,
    example="1.50 kPa",
    waiting=None,
    no_restore=None,
)


class FakeUpkeep:
    """Notes what is asked of it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.shown = CARE
        self.asked: list[tuple[str, ...]] = []
        self.given = b""

    def view(self) -> CareView:
        return self.shown

    def press(self, what: str, motor: str, by: str) -> Answer:
        self.asked.append((what, motor, by))
        return Answer(True, "done", "Bin emptied, collector. Hours count from zero.")

    def reading(self, motor: str, tap: str, value: str, by: str) -> Answer:
        self.asked.append((motor, tap, value, by))
        return Answer(True, "done", "Written down: 1.50 kPa at main.")

    def measured(self, gauge: str, by: str) -> Answer:
        self.asked.append((gauge, by))
        return Answer(True, "done", "Written down: 1.52 kPa at main with planer gate open, measured by main gauge.")

    def backup(self) -> tuple[Path, str]:
        if not self.given:
            raise UpkeepError("There is no shop file to back up.")
        path = self.folder / ".backup-1"
        path.write_bytes(self.given)
        return path, "shop-2026-03-09.backup"

    def upload_to(self) -> Path:
        return self.folder / ".upload-1"

    def lay_ready(self, upload: Path) -> Answer:
        self.given = upload.read_bytes()
        return Answer(True, "laid_ready", "Backup of Shed: whole, and laid ready.")

    def leave_out(self) -> Answer:
        self.asked.append(("leave out",))
        return Answer(True, "left_out", "Nothing is put back at the next start.")


@pytest.fixture
def upkeep(tmp_path: Path) -> FakeUpkeep:
    return FakeUpkeep(tmp_path)


@pytest.fixture
def client(upkeep: FakeUpkeep) -> Iterator[TestClient]:
    app = create_app(FakeFace(shop()), DoorSettings(PIN, frozenset({"shop.local"})), upkeep=upkeep)
    with TestClient(
        app, base_url=ORIGIN, client=("192.168.1.23", 50000), headers={"Origin": ORIGIN}, follow_redirects=False
    ) as made:
        yield made


def bare(html: str) -> str:
    """The words alone."""
    return " ".join(re.sub(r"<[^>]+>", " ", html).replace("\u00a0", " ").split())


def form(content: bytes, boundary: str = BOUNDARY) -> bytes:
    head = b'Content-Disposition: form-data; name="file"; filename="x.backup"\r\nContent-Type: application/octet-stream'
    return (
        b"--" + boundary.encode() + b"\r\n" + head + b"\r\n\r\n" + content + b"\r\n--" + boundary.encode() + b"--\r\n"
    )


def test_what_is_due_comes_first_and_anybody_may_read_it(client: TestClient) -> None:
    page = client.get("/care", headers=HTML)
    assert page.status_code == 200
    said = bare(page.text)
    assert "2 things are due. Suction at main is 22% below day one: look in this order" in said
    assert "look in this order: bin, filter, hose. When you can: Bin of collector 11.2 h of running of 10.0 h," in said
    assert "Open now: planer gate." in said
    assert "collector 212 h, 640 starts planer gate 1212 moves" in said
    assert "A backup is for those who may change settings." in said
    assert "<b>Eve</b>" not in page.text
    assert "&lt;b&gt;Eve&lt;/b&gt;" in page.text


def test_a_trend_is_drawn_with_its_axes_and_its_table(client: TestClient) -> None:
    text = client.get("/care", headers=HTML).text
    drawn = text[text.index('<svg viewBox="0 0 340') :].split("</svg>")[0]
    assert drawn.count("<circle") == 3
    assert "1.6 kPa" in drawn
    assert "day one" in drawn
    assert "20% below" in drawn
    assert "<style" not in text
    assert text.count("<tr>") == 4


def test_a_press_needs_a_pin_and_says_who(client: TestClient, upkeep: FakeUpkeep) -> None:
    press = {"what": "bin_emptied", "motor": "collector", "by": "Ada"}
    assert client.post("/care", data=press, headers=JSON).status_code == 401
    assert upkeep.asked == []
    client.post("/sign-in", data={"pin": PIN})
    answer = client.post("/care", data=press, headers=HTML)
    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/care?said=")
    assert "Bin emptied, collector." in client.get(answer.headers["location"]).text
    assert upkeep.asked == [("bin_emptied", "collector", "Ada (the page, from 192.168.1.23)")]


def test_a_reading_goes_through_as_it_was_typed(client: TestClient, upkeep: FakeUpkeep) -> None:
    reading = {"motor": "collector", "tap": "main", "value": "6 in wg", "by": ""}
    assert client.post("/reading", data=reading, headers=JSON).status_code == 401
    client.post("/sign-in", data={"pin": PIN})
    assert client.post("/reading", data=reading, headers=JSON).json()["sentence"] == "Written down: 1.50 kPa at main."
    assert upkeep.asked == [("collector", "main", "6 in wg", "the page, from 192.168.1.23")]


def test_a_measured_value_is_offered_where_there_is_one_and_taken_by_its_gauge(
    client: TestClient, upkeep: FakeUpkeep
) -> None:
    text = client.get("/care", headers=HTML).text
    assert "main gauge: 1.52 kPa of suction at main now. By main gauge suction is as on day one." in text
    assert "filter gauge: not known now." in text
    assert "type what it shows, or wait half a minute and take the measured value.</li>" in text
    offer = (
        '<form method="post" action="/measured"><input type="hidden" name="gauge" value="main gauge">'
        "<button>Take the measured value: 1.52 kPa at main with planer gate open</button></form>"
    )
    assert offer in text
    assert text.count('action="/measured"') == 1
    assert client.post("/measured", data={"gauge": "main gauge"}, headers=JSON).status_code == 401
    client.post("/sign-in", data={"pin": PIN})
    answer = client.post("/measured", data={"gauge": "main gauge", "by": ""}, headers=JSON)
    assert answer.json()["sentence"] == (
        "Written down: 1.52 kPa at main with planer gate open, measured by main gauge."
    )
    assert upkeep.asked == [("main gauge", "the page, from 192.168.1.23")]


def test_a_backup_is_for_those_who_may_change_settings_and_leaves_nothing_behind(
    client: TestClient, upkeep: FakeUpkeep
) -> None:
    upkeep.given = bytes(range(256)) * 1000
    assert client.get("/backup", headers=JSON).status_code == 401
    client.post("/sign-in", data={"pin": PIN})
    answer = client.get("/backup")
    assert answer.content == upkeep.given
    assert answer.headers["content-disposition"] == 'attachment; filename="shop-2026-03-09.backup"'
    assert answer.headers["cache-control"] == "no-store"
    assert list(upkeep.folder.iterdir()) == []
    upkeep.given = b""
    refused = client.get("/backup", headers=JSON)
    assert (refused.status_code, refused.json()["sentence"]) == (409, "There is no shop file to back up.")


@pytest.mark.parametrize("content", [b"PK" + bytes(range(256)) * 3000, b"", b"\r\n--", b"x" * 65_536])
def test_an_upload_comes_in_as_it_was(client: TestClient, upkeep: FakeUpkeep, content: bytes) -> None:
    client.post("/sign-in", data={"pin": PIN})
    answer = client.post("/restore", content=form(content), headers=MULTIPART | HTML)
    assert answer.status_code == 303
    assert upkeep.given == content
    assert not (upkeep.folder / ".upload-1").exists()


def test_nobody_uploads_without_the_pin(client: TestClient, upkeep: FakeUpkeep) -> None:
    assert client.post("/restore", content=form(b"PK"), headers=MULTIPART | JSON).status_code == 401
    assert list(upkeep.folder.iterdir()) == []


@pytest.mark.parametrize(
    ("body", "headers", "status", "code"),
    [
        (form(b"PK")[:-3], MULTIPART, 400, "not_a_form"),
        (form(b"PK") + b"more", MULTIPART, 400, "not_a_form"),
        (form(b"PK", "another"), MULTIPART, 400, "not_a_form"),
        (b"x" * 9000, MULTIPART, 400, "not_a_form"),
        (b"", MULTIPART, 400, "not_a_form"),
        (b"PK", {"Content-Type": "application/zip"}, 415, "wrong_type"),
        (b"PK", {"Content-Type": "multipart/form-data"}, 415, "wrong_type"),
        (form(b"PK"), MULTIPART | {"Origin": "http://elsewhere.example"}, 403, "wrong_origin"),
    ],
)
def test_what_is_no_upload_is_refused(
    client: TestClient, upkeep: FakeUpkeep, body: bytes, headers: dict[str, str], status: int, code: str
) -> None:
    client.post("/sign-in", data={"pin": PIN})
    answer = client.post("/restore", content=body, headers=headers | JSON)
    assert (answer.status_code, answer.json()["code"]) == (status, code)
    assert upkeep.given == b""
    assert list(upkeep.folder.iterdir()) == []


def test_an_upload_that_is_too_large_is_refused_before_it_is_read(
    client: TestClient, upkeep: FakeUpkeep, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(uploads, "LARGEST_UPLOAD_BYTES", 1000)
    client.post("/sign-in", data={"pin": PIN})
    answer = client.post("/restore", content=form(b"x" * 1000), headers=MULTIPART | JSON)
    assert (answer.status_code, answer.json()["sentence"]) == (413, "The file is too large. At most 300 MB are taken.")


def test_a_backup_that_is_laid_ready_is_shown_and_can_be_taken_back(client: TestClient, upkeep: FakeUpkeep) -> None:
    from dataclasses import replace

    upkeep.shown = replace(CARE, waiting="A backup is laid ready and is put back at the next start.")
    client.post("/sign-in", data={"pin": PIN})
    assert "A backup is laid ready and is put back at the next start. Do not put it back" in bare(
        client.get("/care", headers=HTML).text
    )
    assert client.post("/leave-out", headers=JSON).json()["code"] == "left_out"
    assert upkeep.asked == [("leave out",)]


def test_where_nothing_is_counted_the_page_says_so() -> None:
    app = create_app(FakeFace(shop()), DoorSettings(PIN, frozenset({"shop.local"})))
    with TestClient(app, base_url=ORIGIN, client=("192.168.1.23", 50000), headers={"Origin": ORIGIN}) as alone:
        answer = alone.get("/care", headers=JSON)
        assert (answer.status_code, answer.json()["sentence"]) == (404, "Nothing is counted here.")


def test_on_a_phone_it_fits_and_a_backup_is_picked_and_sent(
    browser: "Browser", upkeep: FakeUpkeep, tmp_path: Path
) -> None:
    app = create_app(FakeFace(shop()), DoorSettings(PIN, frozenset({"shop.local"})), upkeep=upkeep)
    serving = Serving(app, "127.0.0.1", 0)
    serving.start()
    given = tmp_path / "given.backup"
    given.write_bytes(b"PK" + bytes(range(256)) * 2000)
    try:
        page = browser.new_page(viewport={"width": 360, "height": 740}, java_script_enabled=False)
        page.goto(f"http://127.0.0.1:{serving.port}/care")
        page.set_input_files("#file", given)
        page.get_by_role("button", name="Check it and lay it ready").click()
        assert "Backup of Shed: whole, and laid ready." in page.locator("#answer").inner_text()
        assert upkeep.given == given.read_bytes()
        page.get_by_role("button", name="Bin emptied").click()
        assert upkeep.asked == [("bin_emptied", "collector", "the page, from 127.0.0.1")]
        page.close()
        page = browser.new_page(viewport={"width": 360, "height": 740})
        page.goto(f"http://127.0.0.1:{serving.port}/care")
        assert page.evaluate("document.documentElement.scrollWidth") == 360
        small = "[...document.querySelectorAll('main button, main input, main select')]"
        assert page.evaluate(f"Math.min(...{small}.filter(e => e.type != 'hidden').map(e => e.offsetHeight))") >= 48
        page.close()
    finally:
        serving.stop()
