"""What a stranger on the network may try with requests alone. The list in hardware/security.md names every test here.

Each test ends in the same way: the controller was asked for nothing.
"""

import math
from collections.abc import Callable
from dataclasses import replace

import pytest
from fake_face import ORIGIN, PIN, FakeBench, FakeFace
from fastapi.testclient import TestClient
from shop_views import clearing, shop

from gatekeeper.web.app import create_app
from gatekeeper.web.door import COOKIE, DoorSettings, Refusal, address
from gatekeeper.web.door_limits import ASKING, READING, STOPPING
from gatekeeper.web.door_pins import PinLock
from gatekeeper.web.door_sessions import InMemory

AIR_PIN = "2342"
SETTINGS = DoorSettings(PIN, frozenset({"shop.local"}), air_pin=AIR_PIN)
FORMS = ("/stop", "/ask", "/spin-down", "/undo", "/calibrate", "/bench", "/sign-in", "/sign-out", "/phones", "/pin")
FORMS += ("/leave-out", "/reading", "/measured", "/broker")
FORMS_FOR_SETTINGS = ("/spin-down", "/undo", "/calibrate", "/bench", "/phones", "/pin", "/leave-out")
PAGES = ("/", "/machine/Planer", "/settings", "/history", "/cautions", "/live?page=shop")
STARTS = (("run", "Collector"), ("air_here", "Planer"), ("sweep", ""), ("flush", "Collector"))
DAY_S = 24 * 3600

Phone = Callable[..., TestClient]


@pytest.fixture
def phone(face: FakeFace, bench: FakeBench) -> Phone:
    """A client at an address; ``settings`` and ``store`` where a test needs its own."""

    def made(at: str = "192.168.1.66", settings: DoorSettings = SETTINGS, store: InMemory | None = None) -> TestClient:
        app = create_app(face, settings, bench, store)
        return TestClient(app, base_url=ORIGIN, client=(at, 5), headers={"Origin": ORIGIN}, follow_redirects=False)

    return made


def signed_in(client: TestClient, pin: str = PIN) -> TestClient:
    assert client.post("/sign-in", data={"pin": pin}).status_code == 303
    return client


def beside(client: TestClient, at: str = "192.168.1.66") -> TestClient:
    """Another phone at the same controller."""
    return TestClient(client.app, base_url=ORIGIN, client=(at, 5), headers={"Origin": ORIGIN}, follow_redirects=False)


# ---------------------------------------------------------------- other pages


@pytest.mark.parametrize("path", FORMS)
@pytest.mark.parametrize("origin", ["http://evil.example", "null", "http://shop.local:81", "http://shop.local.evil.io"])
def test_attack_a_form_on_another_page_sent_by_a_signed_in_phone(
    phone: Phone, face: FakeFace, path: str, origin: str
) -> None:
    client = signed_in(phone())
    answer = client.post(path, data={"what": "open", "subject": "Planer gate", "pin": PIN}, headers={"Origin": origin})
    assert answer.status_code == 403
    assert answer.text == "This request came from another page. Open the controller's own page.\n"
    assert face.asked == []


@pytest.mark.parametrize("path", FORMS)
def test_attack_a_request_that_hides_where_it_comes_from(phone: Phone, face: FakeFace, path: str) -> None:
    client = signed_in(phone())
    del client.headers["Origin"]
    assert client.post(path, data={"what": "open", "subject": "Planer gate"}).status_code == 403
    assert face.asked == []


@pytest.mark.parametrize("path", PAGES)
def test_attack_another_page_reads_this_one(phone: Phone, path: str) -> None:
    answer = phone().get(path, headers={"Origin": "http://evil.example"})
    assert answer.status_code == 403
    own = phone().get("/")
    for headers in (answer.headers, own.headers):
        assert not [name for name in headers if name.startswith("access-control-")]
        assert headers["cross-origin-resource-policy"] == "same-origin"


@pytest.mark.parametrize("method", ["GET", "POST"])
@pytest.mark.parametrize("host", ["evil.example", "shop.local.evil.example", "192.168.1.66", "0.0.0.0", "shop.local@x"])
def test_attack_a_foreign_name_that_points_here(phone: Phone, face: FakeFace, method: str, host: str) -> None:
    client = signed_in(phone())
    for path in ("/", "/stop", "/ask", "/live"):
        answer = client.request(method, path, headers={"Host": host, "Origin": f"http://{host}"})
        assert answer.status_code == 421
    assert face.asked == []


@pytest.mark.parametrize("path", ["/", "/settings", "/sign-in", "/nothing"])
def test_attack_the_page_in_a_frame_of_another_page(phone: Phone, path: str) -> None:
    headers = phone().get(path).headers
    assert "frame-ancestors 'none'" in headers["content-security-policy"]
    assert headers["x-frame-options"] == "DENY"


@pytest.mark.parametrize("path", [path for path in FORMS if path != "/stop"])
def test_attack_a_link_or_picture_that_asks(phone: Phone, face: FakeFace, path: str) -> None:
    client = signed_in(phone())
    answer = client.get(path, params={"what": "open", "subject": "Planer gate", "phone": "all"})
    assert answer.status_code == (200 if path == "/sign-in" else 405)
    assert face.asked == []


# ---------------------------------------------------------------- the PIN


def looked_at(addresses: list[str], restarts_s: float = math.inf) -> int:
    """How many PINs are really looked at in a day, when every address tries again as soon as it may, and the power
    fails each ``restarts_s`` seconds.
    """
    lock, now_s, looked = PinLock(PIN, AIR_PIN), 0.0, 0
    kept, fails_s = None, restarts_s
    while now_s < DAY_S:
        if now_s >= fails_s:
            lock, fails_s = PinLock(PIN, AIR_PIN, kept, now_s), now_s + restarts_s
        waits = []
        for one in addresses:
            why = lock.look("000000", address(one), now_s)
            assert isinstance(why, Refusal)
            if why.code == "wrong_pin":
                looked += 1
            else:
                assert why.retry_after_s is not None
                waits.append(why.retry_after_s)
        text = lock.to_keep(now_s)
        kept = kept if text is None else text
        now_s += min(waits, default=1)
    return looked


def test_attack_guessing_the_pin_from_one_address() -> None:
    assert looked_at(["192.168.1.66"]) < 120  # of a million


def test_attack_guessing_the_pin_from_many_addresses() -> None:
    assert looked_at([f"192.168.1.{n}" for n in range(1, 60)]) < 1500  # of a million


def test_attack_guessing_the_pin_over_restarts(phone: Phone) -> None:
    settings = replace(SETTINGS, tries=InMemory())
    before = phone(settings=settings)
    for _ in range(3):
        assert before.post("/sign-in", data={"pin": "000000"}).status_code == 403
    assert phone(settings=settings).post("/sign-in", data={"pin": PIN}).status_code == 429
    assert looked_at(["192.168.1.66"], 3600.0) < 120
    assert looked_at([f"192.168.1.{n}" for n in range(1, 60)], 3600.0) < 1600


def test_attack_guessing_the_pin_while_one_has_to_wait(phone: Phone) -> None:
    client = phone()
    for _ in range(3):
        assert client.post("/sign-in", data={"pin": "000000"}).status_code == 403
    told = {client.post("/sign-in", data={"pin": pin}).text for pin in ("000000", PIN, AIR_PIN)}
    assert told == {"Too many wrong PINs. Try again in 2 s.\n"}


def test_attack_guessing_the_pin_where_it_is_changed(phone: Phone, face: FakeFace) -> None:
    changed: list[str] = []
    client = signed_in(phone(settings=replace(SETTINGS, keep_pin=changed.append)))
    for _ in range(3):
        assert client.post("/pin", data={"pin": "000000", "new": "123456"}).status_code == 403
    assert client.post("/pin", data={"pin": PIN, "new": "123456"}).status_code == 429
    assert changed == []


@pytest.mark.parametrize("pin", ["", " 481516", "481516\n", "４８１５１６", "481516\0", "4" * 3000, "%00", "None"])
def test_attack_a_pin_that_is_none(phone: Phone, pin: str) -> None:
    answer = phone().post("/sign-in", data={"pin": pin})
    assert (answer.status_code, answer.text) == (403, "That is not the PIN.\n")


# ---------------------------------------------------------------- the cookie


@pytest.mark.parametrize("token", ["", "x", "A" * 43, "../../pin", "' OR 1=1 --", '"', "0" * 3000])
def test_attack_a_made_up_cookie(phone: Phone, face: FakeFace, token: str) -> None:
    client = phone()
    headers = {"Cookie": f"{COOKIE}={token}"}
    assert client.post("/spin-down", data={"subject": "Collector", "value_s": "9"}, headers=headers).status_code == 401
    assert face.asked == []


def test_attack_a_stolen_cookie_after_its_phone_was_signed_out(phone: Phone, face: FakeFace) -> None:
    store = InMemory()
    owner = signed_in(phone("192.168.1.23", store=store))
    stolen = {"Cookie": f"{COOKIE}={owner.cookies[COOKIE]}"}
    thief = beside(owner)
    assert thief.get("/settings", headers=stolen).text.count("Sign this one out") == 1
    handle = owner.get("/settings").text.partition('name="phone" value="')[2].partition('"')[0]
    assert owner.post("/phones", data={"phone": handle}).status_code == 200
    again = phone(store=store)  # after a restart too
    for client in (thief, again):
        data = {"subject": "Collector", "value_s": "9"}
        assert client.post("/spin-down", data=data, headers=stolen).status_code == 401
    assert face.asked == []


def test_attack_an_old_cookie_after_the_pin_was_changed(phone: Phone, face: FakeFace) -> None:
    store, kept = InMemory(), [PIN]
    owner = signed_in(phone("192.168.1.23", replace(SETTINGS, keep_pin=kept.append), store))
    stolen = {"Cookie": f"{COOKIE}={owner.cookies[COOKIE]}"}
    before = store.read()
    assert owner.post("/pin", data={"pin": PIN, "new": "108108"}).status_code == 200
    assert kept == [PIN, "108108"]
    assert before is not None
    put_back = InMemory()
    put_back.write(before)
    changed = replace(SETTINGS, pin="108108")
    for client in (beside(owner), phone(settings=changed, store=store), phone(settings=changed, store=put_back)):
        data = {"subject": "Collector", "value_s": "9"}
        assert client.post("/spin-down", data=data, headers=stolen).status_code == 401
        assert client.post("/sign-in", data={"pin": PIN}).status_code == 403
    assert face.asked == []


def test_attack_taking_the_cookie_with_a_script(phone: Phone) -> None:
    cookie = phone().post("/sign-in", data={"pin": PIN}).headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    assert "Secure" not in cookie
    encrypted = replace(SETTINGS, encrypted=True)
    client = TestClient(
        create_app(FakeFace(shop()), encrypted), base_url="https://shop.local", headers={"Origin": "https://shop.local"}
    )
    answer = client.post("/sign-in", data={"pin": PIN}, follow_redirects=False)
    assert "Secure" in answer.headers["set-cookie"]


# ---------------------------------------------------------------- rights


@pytest.mark.parametrize("path", ["/ask", *FORMS_FOR_SETTINGS])
def test_attack_a_stranger_changes_something(phone: Phone, face: FakeFace, bench: FakeBench, path: str) -> None:
    data = {"what": "open", "subject": "Planer gate", "key": "tool:Planer", "to": "on", "phone": "all", "pin": "1"}
    answer = phone().post(path, data=data)
    assert (answer.status_code, answer.text) == (401, "Sign in with the shop's PIN first.\n")
    assert (face.asked, bench.runs) == ([], False)


@pytest.mark.parametrize("what", ["release", "reset", "clear", "back_in_service"])
def test_attack_the_pin_for_air_used_for_more(phone: Phone, face: FakeFace, what: str) -> None:
    client = signed_in(phone(), AIR_PIN)
    said = "The PIN for air does not open this. Sign in with the PIN for settings and release.\n"
    for path in FORMS_FOR_SETTINGS:
        assert (client.post(path, data={"phone": "all"}).status_code, client.post(path).text) == (403, said)
    answer = client.post("/ask", data={"what": what, "subject": "Planer gate", "held": "1"})
    assert (answer.status_code, answer.text) == (403, said)
    assert face.asked == []
    assert client.post("/ask", data={"what": "open", "subject": "Planer gate"}).status_code == 200


@pytest.mark.parametrize(("what", "subject"), STARTS)
def test_attack_starting_a_motor_from_the_network(phone: Phone, face: FakeFace, what: str, subject: str) -> None:
    wanted = {"what": what, "subject": subject, "for_s": "60"}
    face.show(replace(shop(), remote_start=True))
    assert phone().post("/ask", data=wanted | {"held": "1"}).status_code == 401
    held = signed_in(phone()).post("/ask", data=wanted)
    assert (held.status_code, held.text) == (428, "Hold the button for one second.\n")
    warned = signed_in(phone()).post("/ask", data=wanted, headers={"Accept": "text/html"})
    assert "This starts a motor that you may not see. Make sure that nobody has a hand in a gate" in warned.text
    face.show(replace(shop(), remote_start=False))
    off = signed_in(phone()).post("/ask", data=wanted | {"held": "1"})
    assert (off.status_code, off.text.partition(".")[0]) == (
        403,
        "Starting from the page is switched off in the shop's file",
    )
    assert face.asked == []


@pytest.mark.parametrize(
    "headers", [{"Host": "localhost"}, {"X-Forwarded-For": "127.0.0.1"}, {"Forwarded": "for=127.0.0.1"}]
)
def test_attack_pretending_to_sit_at_the_board(phone: Phone, face: FakeFace, headers: dict[str, str]) -> None:
    origin = {"Origin": f"http://{headers.get('Host', 'shop.local')}"}
    answer = phone().post("/undo", data={"subject": "Collector"}, headers=headers | origin)
    assert answer.status_code == 401
    assert face.asked == []


@pytest.mark.parametrize("at", ["8.8.8.8", "2a02:8071::66", "100.64.1.1"])
def test_attack_stopping_the_shop_from_the_internet(phone: Phone, face: FakeFace, at: str) -> None:
    told = (403, "Stopping from the page works only inside the shop's own network.\n")
    for headers in ({}, {"X-Forwarded-For": "192.168.1.5"}):
        answer = phone(at).post("/stop", headers=headers)
        assert (answer.status_code, answer.text) == told
    assert face.asked == []


@pytest.mark.parametrize("path", [*PAGES, "/live?page=settings", "/machine/Nobody"])
def test_attack_looking_where_looking_is_closed(phone: Phone, face: FakeFace, path: str) -> None:
    client = phone(settings=replace(SETTINGS, reading_open=False))
    answer = client.get(path)
    assert (answer.status_code, answer.text) == (401, "Sign in with the shop's PIN first.\n")
    led = client.get(path, headers={"Accept": "text/html"})
    assert (led.status_code, led.headers["location"].partition("?")[0]) == (303, "/sign-in")
    page = client.get("/sign-in").text
    assert "Stop dust collector" in page
    for word in (shop().name, "Planer", "Collector", "data-page"):
        assert word not in page
    assert client.post("/stop").status_code == 200  # stop stays free
    assert face.asked == [("stop", None, "page", None, None, "192.168.1.66")]
    assert "Planer" in signed_in(client, AIR_PIN).get("/").text


# ---------------------------------------------------------------- what is sent


@pytest.mark.parametrize("path", FORMS)
@pytest.mark.parametrize(
    ("kind", "body"),
    [
        ("text/plain", "what=open&subject=Planer+gate"),
        ("application/json", "[" * 4000),
        ("application/json", '{"what": "open"}'),
        ("multipart/form-data; boundary=x", '--x\r\nContent-Disposition: form-data; name="what"\r\n\r\nopen\r\n--x--'),
        ("application/xml", '<!DOCTYPE x [<!ENTITY a "aaaa">]><x>&a;</x>'),
        ("application/x-www-form-urlencoded2", "what=open"),
        ("", "what=open"),
    ],
)
def test_attack_another_kind_of_body(phone: Phone, face: FakeFace, path: str, kind: str, body: str) -> None:
    answer = signed_in(phone()).post(path, content=body, headers={"Content-Type": kind})
    assert answer.status_code == 415
    assert face.asked == []


@pytest.mark.parametrize("path", FORMS)
def test_attack_a_body_that_is_too_large(phone: Phone, face: FakeFace, path: str) -> None:
    assert signed_in(phone()).post(path, data={"what": "x" * 5000}).status_code == 413
    assert face.asked == []


@pytest.mark.parametrize(
    "body",
    ["what=open&what=shut&subject=Planer+gate", "&".join(f"a{n}=1" for n in range(200)), "what=%FF%FE", "%", "="],
)
def test_attack_a_form_with_doubled_or_broken_fields(phone: Phone, face: FakeFace, body: str) -> None:
    kind = {"Content-Type": "application/x-www-form-urlencoded"}
    assert signed_in(phone()).post("/ask", content=body, headers=kind).status_code in (400, 404)
    assert face.asked == []


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "HEAD", "PROPFIND", "GET\x20"])
@pytest.mark.parametrize("path", ["/stop", "/ask", "/settings", "/pin"])
def test_attack_another_method(phone: Phone, face: FakeFace, method: str, path: str) -> None:
    client = signed_in(phone())
    answer = client.request(method, path, headers={"X-HTTP-Method-Override": "POST"})
    assert answer.status_code == 405
    assert face.asked == []


@pytest.mark.parametrize(
    "path",
    [
        "/page.css/../../../etc/passwd",
        "/%2e%2e/%2e%2e/etc/passwd",
        "/..%2f..%2fetc%2fpasswd",
        "/static/page.css",
        "/machine/..%2f..%2fsettings%00",
        "/history?day=../../../etc/passwd",
        "/history?day=2026-09-21%00",
        "/live?page=../settings",
        "//etc/passwd",
        "/\\..\\..\\etc",
        "/phones.json",
        "/pin",
    ],
)
def test_attack_a_path_that_climbs_out(phone: Phone, path: str) -> None:
    answer = signed_in(phone()).get(path)
    assert answer.status_code in (404, 405)
    assert "root:" not in answer.text
    assert PIN not in answer.text


@pytest.mark.parametrize("back", ["/x\r\nSet-Cookie: a=b", "//evil.example", "/\\evil.example", "http://evil.example"])
def test_attack_a_way_back_that_leads_elsewhere_or_writes_headers(phone: Phone, back: str) -> None:
    answer = phone().post("/sign-in", data={"pin": PIN, "back": back})
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    assert answer.headers.get_list("set-cookie")[0].startswith(COOKIE)
    assert len(answer.headers.get_list("set-cookie")) == 1
    page = phone().get("/sign-in", params={"back": back})
    assert "evil" not in page.text


@pytest.mark.parametrize(
    "name",
    ["<script>alert(1)</script>", "\u202eenalP", "Plan\u200ber", "Pläner\0", "ﬁ" * 900, "'; DROP TABLE kept; --"],
)
def test_attack_a_name_made_of_markup_or_strange_letters(phone: Phone, face: FakeFace, name: str) -> None:
    client = signed_in(phone())
    for path, data in (
        ("/ask", {"what": "open", "subject": name}),
        ("/spin-down", {"subject": name, "value_s": "9"}),
        ("/undo", {"subject": name}),
        ("/calibrate", {"machine": name, "press": "begin"}),
        ("/stop", {"subject": name}),
    ):
        answer = client.post(path, data=data, headers={"Accept": "text/html"})
        assert answer.status_code in (404, 413)
        assert "<script>alert" not in answer.text
    assert face.asked == []


@pytest.mark.parametrize("value", ["nan", "inf", "-1e308", "1e309", "0x10", "９", "", "12; rm -rf"])
def test_attack_a_number_that_is_none(phone: Phone, face: FakeFace, value: str) -> None:
    client = signed_in(phone())
    data = {"subject": "Collector", "value_s": value, "held": "1"}
    answer = client.post("/spin-down", data=data)
    if value == "９":  # a nine is a nine in every script
        assert answer.status_code == 200
        return
    assert answer.status_code == 400
    assert client.post("/ask", data={"what": "open", "subject": "Planer gate", "for_s": "nan"}).status_code == 400
    assert face.asked == []


def test_attack_words_for_the_history_that_look_like_other_entries(phone: Phone, face: FakeFace) -> None:
    client = signed_in(phone())
    why = "rust\r\n14:03 Collector: reset\x1b[2J\u202e"
    client.post("/ask", data={"what": "out_of_service", "subject": "Collector", "by": "Eve", "why": why, "held": "1"})
    (asked,) = face.asked
    assert asked[4] == "Eve: rust 14:03 Collector: reset[2J"


# ---------------------------------------------------------------- floods


def test_attack_a_flood_of_requests_from_one_address(phone: Phone, face: FakeFace) -> None:
    client = phone()
    told = [client.get("/page.css").status_code for _ in range(int(READING.at_once) + 200)]
    assert 429 in told
    asked = [client.post("/undo").status_code for _ in range(int(ASKING.at_once) + 50)]
    assert 429 in asked
    assert beside(client, "192.168.1.23").get("/").status_code == 200
    assert client.post("/stop").status_code == 200  # stop is never one too many
    assert len(face.asked) == 1


def test_attack_a_flood_of_stops(phone: Phone, face: FakeFace) -> None:
    client = phone()
    assert not any(motor.runs for motor in shop().motors)
    told = [client.post("/stop") for _ in range(int(STOPPING.at_once) + 40)]
    assert {answer.status_code for answer in told} == {200}
    assert told[-1].text == "Nothing runs that could be stopped.\n"
    assert len(face.asked) < STOPPING.at_once + 20
    before = len(face.asked)
    face.show(clearing())  # now something runs, and every stop goes through
    assert client.post("/stop").status_code == 200
    assert len(face.asked) == before + 1


def test_attack_signing_phones_out_by_guessed_names(phone: Phone) -> None:
    owner = signed_in(phone("192.168.1.23"))
    stranger = beside(owner)
    for handle in ("all", "0" * 12, ""):
        assert stranger.post("/phones", data={"phone": handle}).status_code == 401
    page = stranger.get("/settings").text
    assert "Sign in with the PIN for settings to see which phones are signed in" in page
    assert "192.168.1.23" not in page
    assert owner.get("/settings").text.count("Sign this one out") == 1


def test_attack_reading_what_the_program_is_made_of(phone: Phone) -> None:
    client = phone()
    for path in ("/openapi.json", "/docs", "/redoc", "/metrics", "/.git/config", "/server-status"):
        assert client.get(path).status_code == 404
    assert "server" not in client.get("/").headers
