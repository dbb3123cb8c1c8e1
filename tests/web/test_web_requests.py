"""What the page answers to every kind of request: pages, forms, refusals. Exact sentences."""

import json
from dataclasses import replace

import pytest
from fake_face import ORIGIN, PIN, FakeBench, FakeFace
from fastapi.testclient import TestClient
from shop_views import clearing, shop, stuck

from gatekeeper.cautions import CAUTIONS
from gatekeeper.service.face import Starts
from gatekeeper.web import handlers
from gatekeeper.web.app import create_app
from gatekeeper.web.door import DoorSettings

JSON = {"Accept": "application/json"}
HTML = {"Accept": "text/html"}
PAGES = ("/", "/machine/Table%20saw", "/settings", "/history", "/cautions", "/sign-in")


def on_board(face: FakeFace, bench: FakeBench | None = None, **more: object) -> TestClient:
    """A browser on the board itself."""
    settings = DoorSettings(PIN, frozenset({"shop.local"}), **more)  # type: ignore[arg-type]
    return TestClient(
        create_app(face, settings, bench),
        base_url=ORIGIN,
        client=("127.0.0.1", 50000),
        headers={"Origin": ORIGIN},
        follow_redirects=False,
    )


# ---------------------------------------------------------------- reading


@pytest.mark.parametrize("path", PAGES)
def test_every_page_is_whole_without_scripts_and_under_a_strict_policy(client: TestClient, path: str) -> None:
    answer = client.get(path)
    assert answer.status_code == 200
    assert answer.headers["content-security-policy"] == (
        "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; img-src data:; "
        "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    )
    assert answer.headers["referrer-policy"] == "same-origin"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["cache-control"] == "no-store"
    assert "Stop dust collector" in answer.text
    assert "does not stop any machine" in answer.text
    assert "style=" not in answer.text
    assert "onclick" not in answer.text
    assert "http://" not in answer.text
    assert "https://" not in answer.text


def test_the_shop_says_in_one_sentence_what_is_so(client: TestClient, face: FakeFace) -> None:
    face.show(clearing())
    text = client.get("/").text
    assert '<h1>Clearing: collector stops in <time data-until="1006.0">6\u00a0s</time>.</h1>' in text
    assert "Keeps running 8\u00a0s after the last tool stops. The longest branch needs 3\u00a0s to clear." in text


def test_names_and_sentences_are_text_never_markup(client: TestClient, face: FakeFace) -> None:
    bad = "<script>alert(1)</script>\"'&"
    tool = replace(shop().tools[0], name=bad)
    face.show(replace(shop(), name=bad, tools=(tool,), gates=(replace(shop().gates[0], tools=(bad,)),)))
    for path in ("/", "/settings", "/machine/%3Cscript%3Ealert(1)%3C%2Fscript%3E%22'%26"):
        answer = client.get(path)
        assert answer.status_code == 200
        assert "<script>alert" not in answer.text
        assert "&lt;script&gt;alert(1)&lt;/script&gt;" in answer.text


def test_a_machine_has_its_own_page_with_gate_air_and_what_is_wrong(client: TestClient, face: FakeFace) -> None:
    face.show(stuck())
    text = client.get("/machine/Bandsaw").text
    assert "Bandsaw gate did not open after three tries. The bandsaw is cutting without air." in text
    assert "Release Bandsaw gate" in text
    assert "Bandsaw gate</b>: stuck." in text
    assert "Nothing is known to be wrong here." not in text
    text = client.get("/machine/Lathe").text
    assert "Nothing is known to be wrong here." in text
    assert "Starting from the page is switched off in the shop&#x27;s file." in text
    assert "Air here for 5 min" not in text


def test_the_cautions_are_shown_until_they_were_read_on_this_phone(client: TestClient) -> None:
    assert all(one in client.get("/cautions").text for one in CAUTIONS)
    assert "The collector&#x27;s motor is single-phase" in client.get("/cautions").text
    assert "Before you use this" in client.get("/").text
    answer = client.post("/cautions")
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    assert "Before you use this" not in client.get("/").text


def test_settings_show_range_default_who_changed_and_undo(signed_in: TestClient) -> None:
    assert "Never changed." in signed_in.get("/settings").text
    signed_in.post("/spin-down", data={"subject": "Collector", "value_s": "12"}, headers=JSON)
    text = signed_in.get("/settings").text
    assert "From 1\u00a0s to 120\u00a0s. The shop&#x27;s file says: 8\u00a0s. Clear time: 3\u00a0s." in text
    assert "Last changed by the page, from 192.168.1.23 at " in text
    assert "Undo: back to 8\u00a0s" in text


def test_starts_in_hand_are_shown_and_a_wait_is_said_before_stop_is_pressed(client: TestClient, face: FakeFace) -> None:
    text = client.get("/settings").text
    assert "Starts in hand: 2.0 of 2; 12 an hour come back." in text
    motor = replace(clearing().motors[0], starts=Starts(0.25, 2, 12, estimate=True, next_at_s=1225.0))
    face.show(replace(clearing(), motors=(motor,)))
    assert "Starts in hand: 0.2 of 2; about 12 an hour come back." in client.get("/settings").text
    waits = 'it can start again in <time data-until="1225.0">4\u00a0min</time>.'
    assert "Once stopped, " + waits in client.get("/").text
    face.show(replace(clearing(), motors=(replace(motor, runs=False),)))
    assert waits.replace("it", "It", 1) in client.get("/").text


def test_history_shows_a_day_in_lanes_numbers_and_words(client: TestClient) -> None:
    text = client.get("/history?day=2026-09-21").text
    assert "History of 2026-09-21" in text
    assert '<rect x="33120" y="0" width="1440" height="1"/>' in text
    assert "<td>13:00 to 15:30</td>" in text
    assert "<dt>Hours of the collector</dt><dd>2.9 h</dd>" in text
    assert "Planer gate opens for the planer." in text
    assert "Earlier: 2026-09-20" in text
    assert "Later: 2026-09-22" in text


def test_a_day_without_a_record_is_said_plainly(client: TestClient) -> None:
    answer = client.get("/history?day=1999-01-01")
    assert (answer.status_code, answer.text) == (404, "There is no record of that day.\n")


@pytest.mark.parametrize(
    ("method", "path", "status", "sentence"),
    [
        ("GET", "/nothing", 404, "There is no such page here."),
        ("GET", "/docs", 404, "There is no such page here."),
        ("GET", "/machine/Spokeshave", 404, "There is no Spokeshave in this shop."),
        ("GET", "/stop", 405, "That address does not take this kind of request."),
        ("PUT", "/", 405, "That address does not take this kind of request."),
        ("GET", "/live?page=nothing", 404, "There is no such page here."),
    ],
)
def test_wrong_addresses_get_one_sentence(
    client: TestClient, method: str, path: str, status: int, sentence: str
) -> None:
    answer = client.request(method, path)
    assert (answer.status_code, answer.text) == (status, sentence + "\n")


def test_a_refusal_is_a_page_for_people_and_json_for_the_script(client: TestClient) -> None:
    page = client.get("/nothing", headers=HTML)
    assert "<h1>There is no such page here.</h1>" in page.text
    script = client.get("/nothing", headers=JSON)
    assert script.json() == {"accepted": False, "code": "no_page", "sentence": "There is no such page here."}


def test_files_are_named_by_their_contents_and_kept(client: TestClient) -> None:
    for name in ("/page.css", "/page.js"):
        answer = client.get(name)
        assert answer.headers["cache-control"] == "public, max-age=31536000, immutable"


# ---------------------------------------------------------------- the door


def test_another_name_is_refused_everywhere(client: TestClient) -> None:
    told = (
        421,
        "This controller does not answer to that name. Use the address that it prints when it starts.\n",
    )
    for method, path in (("GET", "/"), ("GET", "/live"), ("POST", "/stop")):
        answer = client.request(method, path, headers={"Host": "evil.example", "Origin": "http://evil.example"})
        assert (answer.status_code, answer.text) == told
        assert answer.headers["x-frame-options"] == "DENY"


@pytest.mark.parametrize(
    ("headers", "status", "sentence"),
    [
        (
            {"Origin": "http://evil.example"},
            403,
            "This request came from another page. Open the controller's own page.",
        ),
        ({"Origin": "null"}, 403, "This request came from another page. Open the controller's own page."),
        (
            {"Content-Type": "application/json"},
            415,
            "The request has the wrong content type. Send application/x-www-form-urlencoded.",
        ),
        (
            {"Content-Type": "text/plain"},
            415,
            "The request has the wrong content type. Send application/x-www-form-urlencoded.",
        ),
    ],
)
@pytest.mark.parametrize("path", ["/stop", "/ask", "/spin-down", "/undo", "/bench", "/sign-in", "/sign-out"])
def test_no_post_gets_past_the_door(
    client: TestClient, face: FakeFace, path: str, headers: dict[str, str], status: int, sentence: str
) -> None:
    answer = client.post(path, content="what=stop", headers=headers)
    assert (answer.status_code, answer.text) == (status, sentence + "\n")
    assert face.asked == []


def test_a_large_body_is_refused_before_it_is_read(client: TestClient, face: FakeFace) -> None:
    answer = client.post("/stop", data={"subject": "x" * 5000})
    assert (answer.status_code, answer.text) == (
        413,
        "The request is too large. At most 4096 bytes are read.\n",
    )
    assert face.asked == []


@pytest.mark.parametrize("path", ["/ask", "/spin-down", "/undo", "/bench"])
def test_writing_from_the_network_needs_the_pin(client: TestClient, face: FakeFace, path: str) -> None:
    answer = client.post(path, data={"what": "open", "subject": "Planer gate"}, headers=JSON)
    assert (answer.status_code, answer.json()["sentence"]) == (401, "Sign in with the shop's PIN first.")
    page = client.post(path, data={"what": "open"}, headers=HTML | {"Referer": ORIGIN + "/machine/Planer"})
    assert (page.status_code, page.headers["location"]) == (303, "/sign-in?back=/machine/Planer")
    assert face.asked == []


def test_signing_in_and_out(client: TestClient, face: FakeFace) -> None:
    wrong = client.post("/sign-in", data={"pin": "1111"})
    assert (wrong.status_code, wrong.text) == (403, "That is not the PIN.\n")
    right = client.post("/sign-in", data={"pin": PIN, "back": "/machine/Planer"})
    assert (right.status_code, right.headers["location"]) == (303, "/machine/Planer")
    cookie = right.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    assert client.post("/ask", data={"what": "open", "subject": "Planer gate"}).status_code == 200
    assert client.post("/sign-out").status_code == 303
    assert client.post("/ask", data={"what": "open", "subject": "Planer gate"}).status_code == 401
    assert face.asked == [("open", "Planer gate", "page", None, None, "192.168.1.23")]


def test_too_many_wrong_pins_must_wait(client: TestClient) -> None:
    for _ in range(3):
        assert client.post("/sign-in", data={"pin": "1111"}).status_code == 403
    answer = client.post("/sign-in", data={"pin": PIN})
    assert (answer.status_code, answer.text) == (429, "Too many wrong PINs. Try again in 2 s.\n")
    assert answer.headers["retry-after"] == "2"


def test_without_a_pin_nothing_is_changed_from_the_network(face: FakeFace) -> None:
    app = create_app(face, DoorSettings(None, frozenset({"shop.local"})))
    phone = TestClient(app, base_url=ORIGIN, client=("192.168.1.23", 1), headers={"Origin": ORIGIN})
    answer = phone.post("/ask", data={"what": "open", "subject": "Planer gate"}, headers=HTML)
    assert answer.status_code == 403
    assert "No PIN is set, so nothing can be changed from the network." in answer.text


def test_a_browser_on_the_board_needs_no_pin_unless_told_so_and_is_still_the_page(face: FakeFace) -> None:
    wanted = {"what": "shut", "subject": "Planer gate"}
    assert on_board(face).post("/ask", data=wanted).status_code == 200
    assert face.asked == [("shut", "Planer gate", "page", None, None, "127.0.0.1")]
    assert on_board(face, loopback_needs_pin=True).post("/ask", data=wanted).status_code == 401
    assert on_board(face).post("/ask", data=wanted, headers={"X-Forwarded-For": "10.0.0.2"}).status_code == 401
    assert len(face.asked) == 1


# ---------------------------------------------------------------- stop


def test_stop_needs_no_pin_and_no_body_and_says_who_stopped(client: TestClient, face: FakeFace) -> None:
    answer = client.post("/stop", headers=HTML | {"Referer": ORIGIN + "/machine/Planer"})
    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/machine/Planer?said=")
    assert face.asked == [("stop", None, "page", None, None, "192.168.1.23")]
    page = client.get(answer.headers["location"]).text
    assert '<p id="answer" role="status">Stopped from the page by 192.168.1.23 at 14:03.</p>' in page
    assert '<p data-stop="stopping">Stopped from the page by 192.168.1.23 at 14:03.</p>' in page


@pytest.mark.parametrize("path", ["/ask", "/stop", "/spin-down", "//evil.example"])
def test_nobody_is_sent_back_to_where_only_forms_go(client: TestClient, path: str) -> None:
    answer = client.post("/stop", headers=HTML | {"Referer": ORIGIN + path})
    assert answer.headers["location"].startswith("/?said=")


def test_stop_of_one_motor_goes_the_same_way(client: TestClient, face: FakeFace) -> None:
    assert client.post("/ask", data={"what": "stop", "subject": "Collector"}).status_code == 200
    assert face.asked == [("stop", "Collector", "page", None, None, "192.168.1.23")]
    answer = client.post("/stop", data={"subject": "Planer"})
    assert (answer.status_code, answer.text) == (404, "There is no Planer in this shop.\n")


def test_an_unconfirmed_stop_says_so(client: TestClient, face: FakeFace, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(handlers, "_ANSWER_S", 0.01)
    face.confirms = False
    answer = client.post("/stop")
    assert (answer.status_code, answer.text) == (409, "Not confirmed. Use the red button.\n")
    monkeypatch.setattr(face, "_stop", lambda *_: None)
    face.show(shop())  # accepted, but no motor says anything about a stop
    assert client.post("/stop").text == "Not confirmed. Use the red button.\n"
    face.mute = True
    answer = client.post("/stop", headers=JSON)
    assert answer.status_code == 409
    assert answer.json()["sentence"] == "Not confirmed. Use the red button."


@pytest.mark.parametrize("more", [{}, {"X-Forwarded-For": "192.168.1.20"}])
def test_stop_from_outside_is_refused(face: FakeFace, more: dict[str, str]) -> None:
    app = create_app(face, DoorSettings(PIN, frozenset({"shop.local"})))
    client = ("127.0.0.1", 1) if more else ("8.8.8.8", 1)
    far = TestClient(app, base_url=ORIGIN, client=client, headers={"Origin": ORIGIN} | more)
    answer = far.post("/stop")
    assert (answer.status_code, answer.text) == (
        403,
        "Stopping from the page works only inside the shop's own network.\n",
    )
    assert face.asked == []


def test_no_link_can_put_words_on_the_page(client: TestClient) -> None:
    assert "Use the red button" not in client.get("/?said=Use%20the%20red%20button").text


def test_no_get_changes_anything(client: TestClient, face: FakeFace) -> None:
    for path in (*PAGES, "/?what=stop", "/machine/Planer?held=1"):
        client.get(path)
    assert face.asked == []
    assert json.dumps(face.view().version) == "1"


def test_without_a_bench_there_is_none(face: FakeFace) -> None:
    board = on_board(face)
    assert "This shop is virtual." not in board.get("/").text
    answer = board.post("/bench", data={"key": "tool:Planer", "to": "on"})
    assert (answer.status_code, answer.text) == (404, "There is no such page here.\n")
