"""The page that asks for a new shop: routes, rights, what is hostile, no scripts, exact texts, two phones, resuming."""

import re
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from fake_face import ORIGIN, PIN
from fastapi.testclient import TestClient
from interview_walk import as_the_terminal_writes, shed_answers

from gatekeeper.interview_page import NewShopPage
from gatekeeper.interviewing import Face, interview_new
from gatekeeper.web.door import DoorSettings
from gatekeeper.web.interview import answer_in
from gatekeeper.web.interview_app import create_interview_app

HTML = {"Accept": "text/html"}
JSON = {"Accept": "application/json"}

Phone = Callable[[], TestClient]


@pytest.fixture
def out(tmp_path: Path) -> Path:
    return tmp_path / "shed.yaml"


@pytest.fixture
def stranger(out: Path) -> Iterator[Phone]:
    """Phones in the shop's own network, none of them signed in, at one interview."""
    app = create_interview_app(NewShopPage(out), DoorSettings(PIN, frozenset({"shop.local"})))
    with ExitStack() as opened:

        def phone() -> TestClient:
            made = TestClient(
                app, base_url=ORIGIN, client=("192.168.1.23", 5), headers={"Origin": ORIGIN}, follow_redirects=False
            )
            return opened.enter_context(made)

        yield phone


@pytest.fixture
def phone(stranger: Phone) -> TestClient:
    made = stranger()
    assert made.post("/sign-in", data={"pin": PIN}).status_code == 303
    return made


def mark(page: str) -> str:
    found = re.search(r'name="mark" value="([^"]+)"', page)
    assert found is not None, page
    return found[1]


def look(phone: TestClient) -> str:
    answer = phone.get("/new", headers=HTML)
    assert answer.status_code == 200
    return answer.text


def heading(page: str) -> str:
    found = re.search(r"<h1>(.*?)</h1>", page)
    assert found is not None, page
    return found[1]


def press(phone: TestClient, **fields: str) -> str:
    """One answer, and the page that a browser shows then."""
    answer = phone.post("/new/answer", data={"mark": mark(look(phone)), **fields}, headers=HTML)
    assert answer.status_code == 303
    return phone.get(answer.headers["Location"], headers=HTML).text


def test_the_first_page_leads_to_the_first_question(phone: TestClient) -> None:
    answer = phone.get("/", headers=HTML)
    assert (answer.status_code, answer.headers["Location"]) == (303, "/new")
    page = look(phone)
    assert heading(page) == "What is the shop called?"
    assert '<p class="soft">A new shop, question 1</p>' in page
    assert "The page shows this name, such as Shed behind the house." in page
    assert '<button class="back" disabled>Back<small> this is the first question</small></button>' in page
    assert "<b>collector</b><span>nothing on it yet</span>" in page
    assert "Stop dust collector" not in page


def test_choices_figures_units_and_what_is_not_known_are_buttons(phone: TestClient) -> None:
    page = press(phone, written="Shed & sons")
    assert '<button name="answer" value="inch">inch</button>' in page
    assert "takes back: Shed &amp; sons" in page
    press(phone, answer="inch")
    page = press(phone, answer="60 Hz")
    assert heading(page) == "What power is on the plate of the collector&#x27;s motor?"
    assert 'inputmode="decimal"' in page
    assert re.findall(r'name="unit" value="(\w+)"', page) == ["hp", "kW", "W"]
    press(phone, written="2", unit="hp")
    page = press(phone, answer="single")
    assert '<button name="answer" value="6 in" class="usual">6 in<small> as usual</small></button>' in page
    assert re.findall(r'name="unit" value="(\w+)"', page) == ["in", "ft"]
    unknown = "Not known<small> The inlet is taken as wide as the widest duct on it.</small>"
    assert f'<button name="answer" value="unknown" class="unsure">{unknown}</button>' in page
    page = press(phone, answer="unknown")
    assert "Assumed: The inlet is taken as wide as the widest duct on it." in page


@pytest.mark.parametrize(
    ("fields", "answer"),
    [
        ({"answer": " 6 in "}, "6 in"),
        ({"written": "12", "unit": "ft"}, "12 ft"),
        ({"written": "3,5", "unit": "m"}, "3.5 m"),
        ({"written": "1,500", "unit": "mm"}, "1,500 mm"),
        ({"written": "3.5 m", "unit": "ft"}, "3.5 m"),
        ({"written": '6"', "unit": "ft"}, '6"'),
        ({"written": "2 1/2", "unit": "in"}, "2 1/2 in"),
        ({"written": "  ", "unit": "in"}, ""),
        ({"unit": "in"}, ""),
        ({"written": "Shed"}, "Shed"),
        ({"answer": "", "written": "x"}, ""),
        ({}, ""),
    ],
)
def test_what_a_form_says_is_read(fields: dict[str, str], answer: str) -> None:
    assert answer_in(fields) == answer


def test_a_slip_is_told_beside_the_question_and_what_was_typed_stays(phone: TestClient) -> None:
    for fields in ({"written": "Shed"}, {"answer": "inch"}, {"answer": "60 Hz"}):
        press(phone, **fields)
    page = press(phone, written="2000", unit="kW")
    assert heading(page) == "What power is on the plate of the collector&#x27;s motor?"
    assert (
        '<p class="slip" role="status">&quot;2000 kW&quot; is out of range; it lies between 50 W and 50 kW.</p>' in page
    )
    assert 'value="2000"' in page
    page = press(phone, written="", unit="kW")
    assert '<p class="slip" role="status">Write something into the field first.</p>' in page
    assert "slip" not in look(phone)


def test_back_takes_back_and_nothing_else(phone: TestClient) -> None:
    press(phone, written="Shed")
    page = press(phone, answer="inch")
    phone.post("/new/back", data={"mark": mark(page)}, headers=HTML)
    assert heading(look(phone)) == "In which units do you read lengths and flows?"


def test_looking_is_free_and_every_press_wants_the_pin(stranger: Phone, out: Path) -> None:
    page = look(one := stranger())
    assert heading(page) == "What is the shop called?"
    assert '<a href="/sign-in?back=/new">Sign in to answer</a>' in page
    assert "<form" not in page
    for name in ("begin", "answer", "back", "write", "leave", "take-over"):
        answer = one.post(f"/new/{name}", data={"mark": "0.00000000", "answer": "x"}, headers=JSON)
        assert (answer.status_code, answer.json()["code"]) == (401, "needs_pin"), name
        led = one.post(f"/new/{name}", headers=HTML | {"Content-Type": "application/x-www-form-urlencoded"})
        assert (led.status_code, led.headers["Location"].partition("?")[0]) == (303, "/sign-in")
    sign_in = one.get("/sign-in", headers=HTML).text
    assert "Looking needs none. It is shown where the program was started." in sign_in
    assert one.post("/sign-in", data={"pin": "1111"}, headers=JSON).status_code == 403
    assert not out.with_suffix(".yaml.answers").exists()


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"Origin": "http://elsewhere.example"}, 403),
        ({"Host": "elsewhere.example"}, 421),
        ({"Content-Type": "text/plain"}, 415),
        ({"Content-Length": "5000"}, 413),
    ],
)
def test_the_door_stands_before_it_too(phone: TestClient, headers: dict[str, str], status: int) -> None:
    answer = phone.post("/new/answer", content="mark=0.00000000&answer=x", headers=JSON | headers)
    assert answer.status_code == status


def test_a_request_without_origin_or_to_another_address_is_refused(phone: TestClient) -> None:
    del phone.headers["Origin"]
    assert phone.post("/new/answer", data={"answer": "x"}, headers=JSON).json()["code"] == "wrong_origin"
    assert phone.get("/machines", headers=JSON).json()["code"] == "no_page"
    assert phone.get("/new/answer", headers=JSON).json()["code"] == "no_method"


@pytest.mark.parametrize("wrong", ["", "1", "x.00000000", "0.0000000", "0.0000000g", "-1.00000000", "\u0661.00000000"])
def test_a_mark_that_none_can_be_is_refused(phone: TestClient, wrong: str) -> None:
    for name in ("answer", "back", "write", "leave"):
        answer = phone.post(f"/new/{name}", data={"mark": wrong, "answer": "x"}, headers=JSON)
        assert (answer.status_code, answer.json()["code"]) == (400, "no_mark")


@pytest.mark.parametrize(
    "hostile",
    [
        "<script>alert(1)</script>",
        "a\u202eb",
        "a\x00b",
        "x" * 3000,
        "../../etc/passwd",
        "'; drop",
        "back",
        "?",
        "\ud7ff",
    ],
)
def test_hostile_answers_are_text_or_refused(phone: TestClient, out: Path, hostile: str) -> None:
    page = press(phone, written=hostile)
    assert "<script>alert" not in page
    assert heading(page) in ("What is the shop called?", "In which units do you read lengths and flows?")
    kept = Path(f"{out}.answers")
    assert not kept.exists() or len(kept.read_text(encoding="utf-8").splitlines()) <= 2
    assert [one.name for one in out.parent.iterdir()] in ([], ["shed.yaml.answers"])


def test_two_phones_do_not_answer_one_question_twice(stranger: Phone, phone: TestClient, out: Path) -> None:
    other = stranger()
    other.post("/sign-in", data={"pin": PIN})
    seen = mark(look(other))
    press(phone, written="Shed")
    late = other.post("/new/answer", data={"mark": seen, "answer": "Barn"}, headers=JSON)
    assert (late.status_code, late.json()) == (
        409,
        {
            "accepted": False,
            "code": "elsewhere",
            "sentence": "Somebody answered at another place meanwhile, or the file changed. This is how it stands now.",
        },
    )
    assert Path(f"{out}.answers").read_text() == "gatekeeper new\nShed\n"
    # As many answers as before, but another one: the mark tells them apart.
    press(phone, answer="inch")
    seen = mark(look(other))
    phone.post("/new/back", data={"mark": mark(look(phone))}, headers=HTML)
    press(phone, answer="metric")
    assert other.post("/new/answer", data={"mark": seen, "answer": "60 Hz"}, headers=JSON).status_code == 409
    assert Path(f"{out}.answers").read_text() == "gatekeeper new\nShed\nmetric\n"


def test_begun_on_the_page_ended_in_the_terminal_and_the_other_way_round(phone: TestClient, out: Path) -> None:
    asked = [answer for _, answer in shed_answers()]
    press(phone, written=asked[0])
    press(phone, answer=asked[1])
    said: list[str] = []
    typed = list(asked[2:5])
    assert interview_new(out, Face(said.append, lambda _: typed.pop(0) if typed else None)) is False
    assert f"Going on after 2 answers kept in {out}.answers." in said
    assert '<p class="soft">A new shop, question 6</p>' in look(phone)


def test_the_terminal_takes_up_what_was_answered_on_the_page_meanwhile(phone: TestClient, out: Path) -> None:
    said: list[str] = []

    def ask(_: str) -> str | None:
        if len(said) > 30:
            return None
        if not Path(f"{out}.answers").exists():
            press(phone, written="From the page")
            return "From the terminal"
        return None

    assert interview_new(out, Face(said.append, ask)) is False
    assert "Somebody answered on the page meanwhile; going on from there." in said
    assert Path(f"{out}.answers").read_text() == "gatekeeper new\nFrom the page\n"


def _walk(phone: TestClient) -> list[str]:
    """Every answer of the shed, pressed on the page; nothing is written yet."""
    answers = []
    for question, answer in shed_answers():
        page = look(phone)
        assert heading(page).replace("&#x27;", "'").replace("&amp;", "&").replace("&quot;", '"') == question.said
        press(phone, answer=answer)
        answers.append(answer)
    return answers


def test_a_whole_shop_without_scripts_is_byte_for_byte_the_terminals(
    phone: TestClient, out: Path, tmp_path: Path
) -> None:
    answers = _walk(phone)
    page = look(phone)
    assert heading(page) == "That is all. Is it right?"
    assert f"It goes into {out}; nothing is written before you press." in page
    assert "name: &#x27;Shed &amp; sons&#x27;" in page
    assert "<li>old planer drop, 10 ft of its length</li>" in page
    written = phone.post("/new/write", data={"mark": mark(page)}, headers=HTML)
    assert (written.status_code, written.headers["Location"]) == (303, "/new")
    page = look(phone)
    assert heading(page) == "Written."
    assert f"<code>gatekeeper wiring {out} --out wiring.html</code>" in page
    assert f"<code>gatekeeper run {out}</code>" in page
    assert "GPIO17" in page
    assert not Path(f"{out}.answers").exists()
    assert out.read_bytes() == as_the_terminal_writes(tmp_path / "terminal.yaml", answers)
    for name in ("answer", "back", "write", "leave"):
        late = phone.post(f"/new/{name}", data={"mark": "9.00000000", "answer": "x"}, headers=JSON)
        assert (late.status_code, late.json()["code"]) == (409, "elsewhere")


def test_nothing_is_written_before_all_is_answered_nor_over_a_file(phone: TestClient, out: Path) -> None:
    early = phone.post("/new/write", data={"mark": mark(look(phone))}, headers=JSON)
    assert early.json()["sentence"] == "Not everything is answered yet. Nothing was written."
    _walk(phone)
    end = mark(look(phone))
    more = phone.post("/new/answer", data={"mark": end, "answer": "x"}, headers=JSON)
    assert more.json()["sentence"] == "Everything is answered. Write it, or go back."
    out.write_text("of somebody else\n")
    said = f"{out} is there already. To add a machine to it: gatekeeper add {out}"
    assert phone.post("/new/write", data={"mark": end}, headers=JSON).json()["sentence"] == said
    assert out.read_text() == "of somebody else\n"
    assert said in look(phone)


def test_giving_up_takes_the_answers_away(phone: TestClient, out: Path) -> None:
    page = press(phone, written="Shed")
    assert "The 1 answer goes; no shop file is changed." in page
    answer = phone.post("/new/leave", data={"mark": mark(page)}, headers=HTML)
    assert "Given up. The shop&#x27;s file stays as it was." in phone.get(answer.headers["Location"], headers=HTML).text
    assert not Path(f"{out}.answers").exists()
    assert heading(look(phone)) == "What is the shop called?"


def test_the_ducts_grow_and_the_last_answer_says_what_it_changed(phone: TestClient) -> None:
    begun, before, changes = False, look(phone), []
    for question, answer in shed_answers():
        page = press(phone, answer=answer)
        begun = begun or '<b class="begun">here, going on</b><span>6\u00a0in, 8\u00a0ft</span>' in page
        changes += re.findall(r"<p>(The bandsaw gets [^<]*|This changes the bandsaw: [^<]*)</p>", page)
        if question.about == "next":
            assert re.findall(r'name="unit" value="(\w+)"', before) == ["ft", "in"]
        before = page
    assert begun
    assert len(changes) == 2
    assert changes[0].startswith("The bandsaw gets ")
    assert re.match(r"This changes the bandsaw: \d+ % less air, ", changes[1])
    page = look(phone)
    assert "<b>old planer</b>" in page
    assert re.search(r'<b>bandsaw</b><span class="gets">\d+ cfm</span><small>needs \d+ cfm', page)
    assert "The fan is an estimate from its motor" in page
    assert re.search(r"<li>bandsaw drop: [^<]*; a gate moved by hand, bandsaw.</li>", page)


def test_a_terminals_answers_of_another_kind_are_left_alone(phone: TestClient, out: Path) -> None:
    kept = Path(f"{out}.answers")
    kept.write_text("gatekeeper add\nlathe\n")
    said = f"{kept}: these are the answers of gatekeeper add. Finish that first, or take the file away."
    assert said in look(phone)
    answer = phone.post("/new/answer", data={"mark": "0.00000000", "answer": "x"}, headers=JSON)
    assert (answer.status_code, answer.json()["sentence"]) == (409, said)
    assert kept.read_text() == "gatekeeper add\nlathe\n"
