"""The pages of commissioning: what is shown, who may press, what is refused, and all of it without scripts."""

import re
from collections.abc import Iterator
from dataclasses import replace
from html import unescape

import pytest
from commissioning_views import FRESH, IDLE, JOG, LOOKING, OVER, READING, STAGES, FakeCommissioning
from fake_face import ORIGIN, PIN, FakeBench, FakeFace
from fastapi.testclient import TestClient
from shop_views import shop

from gatekeeper.service.face import Answer
from gatekeeper.service.face_commissioning import CommissioningView, StepOffer
from gatekeeper.web.app import create_app
from gatekeeper.web.commissioning_pages import live_parts
from gatekeeper.web.door import DoorSettings

JOG_AGAIN = StepOffer("again", "Once more")
HTML = {"Accept": "text/html"}
JSON = {"Accept": "application/json"}
AIR_PIN = "8642"


@pytest.fixture
def tried() -> FakeCommissioning:
    return FakeCommissioning()


@pytest.fixture
def phone(tried: FakeCommissioning) -> Iterator[TestClient]:
    """A phone in the shop's own network, not signed in."""
    settings = DoorSettings(PIN, frozenset({"shop.local"}), air_pin=AIR_PIN)
    app = create_app(FakeFace(shop()), settings, FakeBench(), commissioning=tried)
    made = TestClient(
        app, base_url=ORIGIN, client=("192.168.1.23", 50000), headers={"Origin": ORIGIN}, follow_redirects=False
    )
    with made:
        yield made


@pytest.fixture
def ada(phone: TestClient) -> TestClient:
    """Signed in, and has said who she is."""
    assert phone.post("/sign-in", data={"pin": PIN}).status_code == 303
    assert phone.post("/commission/who", data={"by": "Ada"}, headers=HTML).status_code == 303
    return phone


def bare(html: str) -> str:
    """The words alone."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).replace("\u00a0", " ").split())


def part(view: CommissioningView, name: str) -> str:
    return bare(live_parts(shop(), view, ())[name])


# ---------------------------------------------------------------- what is shown


def test_before_anything_is_tried_the_cautions_stand_above_the_button() -> None:
    assert part(FRESH, "step") == (
        "Nothing is tried yet: 6 steps. Two people: one at the machine, one at the red button. Mains wiring is "
        "looked at by a licensed electrician first. Next: Planer: switch it on The contactor stays in Hand today."
        " Each machine is switched on once, and the page must name it and no other. Begin"
    )


def test_later_they_are_folded_away_behind_the_next_step() -> None:
    assert part(IDLE, "step") == (
        "3 of 6 steps are done; 1 did not do what it should. Next: Planer gate: jog it and time it Each gate is "
        "moved by itself and timed. Nobody's hand is in a gate that moves. Begin Before you begin Two people: one"
        " at the machine, one at the red button. Mains wiring is looked at by a licensed electrician first."
    )
    assert "<summary>Before you begin</summary>" in live_parts(shop(), IDLE, ())["step"]


def test_what_came_of_the_last_step_stands_above_the_next() -> None:
    shown = bare(live_parts(shop(), IDLE, (), "tools/Bandsaw")["step"])
    assert shown.startswith(
        "3 of 6 steps are done; 1 did not do what it should. Bandsaw: switch it on : did not do what it should Nothing "
        "was seen in 60 s. Ada, 2026-09-21 14:06. Next: Planer gate"
    )
    assert '<li class="card now">' in live_parts(shop(), IDLE, (), "tools/Bandsaw")["step"]
    assert '<li class="card">' in live_parts(shop(), IDLE, (), "tools/Planer")["step"]
    for nothing in ("gates/Planer gate", "gates/Bandsaw gate", "gone", None):  # not tried, due again, no more, none
        assert "card" not in live_parts(shop(), IDLE, (), nothing)["step"]


def test_the_page_says_it_after_a_step_that_was_in_hand(phone: TestClient, tried: FakeCommissioning) -> None:
    assert "Seen on channel 2." not in phone.get("/commission", headers=HTML).text
    tried.shown = LOOKING
    phone.get("/commission", headers=HTML)
    tried.shown = IDLE
    assert "Seen on channel 2." in phone.get("/commission", headers=HTML).text


def test_many_buttons_to_hold_say_how_once() -> None:
    assert JOG.walk is not None
    nudges = tuple(replace(JOG.walk.offers[0], press=f"n{n}", label=f"Nudge {n}") for n in range(5))
    drawn = live_parts(shop(), replace(JOG, walk=replace(JOG.walk, offers=nudges)), ())["step"]
    assert drawn.count("hold for one second") == 0
    assert drawn.count("What moves is held for one second.") == 1
    assert drawn.count("data-hold") == 5


def test_a_button_that_finds_fault_is_no_large_one_under_the_thumb() -> None:
    assert LOOKING.walk is not None
    nothing = StepOffer("nothing", "It runs, and nothing is seen")
    alone = replace(LOOKING, walk=replace(LOOKING.walk, offers=(nothing,)))
    drawn = live_parts(shop(), alone, ())["step"]
    assert ('class="fault"' in drawn, 'class="thumb"' in drawn) == (True, False)
    both = replace(LOOKING, walk=replace(LOOKING.walk, offers=(JOG_AGAIN, nothing)))
    drawn = live_parts(shop(), both, ())["step"]
    assert (drawn.count('class="fault"'), 'class="thumb"' in drawn) == (1, True)


def test_the_first_answer_asks_openly_and_the_others_are_folded_away() -> None:
    assert READING.walk is not None
    short = StepOffer("short", "It stopped half way", fields=("suction",))
    both = replace(READING, walk=replace(READING.walk, offers=(*READING.walk.offers[:1], short, JOG_AGAIN)))
    drawn = live_parts(shop(), both, ())["step"]
    assert drawn.index("Write it down") < drawn.index("<button>Once more") < drawn.index("<summary>It stopped half way")


def test_every_stage_says_how_far_it_has_come() -> None:
    assert part(IDLE, "stages") == (
        "Stages Machines All done, 1 did not do what it should, 1 left out. Gates 0 of 2 done, 1 due again. "
        "Suction 0 of 1 done."
    )
    assert '<a href="/commission/tools"><b>Machines</b></a>' in live_parts(shop(), IDLE, ())["stages"]
    assert '<li data-key="gates" aria-current="step">' in live_parts(shop(), JOG, ())["stages"]


def test_when_nothing_is_due_there_is_nothing_to_begin() -> None:
    assert part(OVER, "step").startswith("All 6 steps are done. Before you begin")
    assert "<button" not in live_parts(shop(), OVER, ())["step"]


def test_a_step_is_one_sentence_its_cautions_and_what_is_seen_now() -> None:
    assert part(LOOKING, "step") == (
        "Machines, 1 of 3: Planer: switch it on Switch Planer on now, and nothing else. Given up in 60 s . Lock "
        "the disconnect of Collector: it could start by the wrong input. Clamp board, channel 2 0.02 A Clamp "
        "board, channel 3 0.01 A Button at the bench open Leave it out Why it is left out, such as no ladder "
        "today Leave it out Put it by"
    )
    assert '<time data-until="1060.0">' in live_parts(shop(), LOOKING, ())["step"]


def test_much_that_is_seen_is_folded_away_behind_the_first_three() -> None:
    assert LOOKING.walk is not None
    seen = tuple((f"Contact {n}", "open") for n in range(9))
    drawn = live_parts(shop(), replace(LOOKING, walk=replace(LOOKING.walk, live=seen)), ())["step"]
    shown, _, folded = drawn.partition("What else is seen (6)")
    assert (shown.count("<dt>"), folded.count("<dt>")) == (3, 6)


def test_what_moves_something_is_held_and_its_caution_is_said_once() -> None:
    drawn = live_parts(shop(), JOG, ())["step"]
    assert drawn.count("This moves Planer gate. Keep its slot free.") == 1
    assert drawn.count('<button class="start" data-hold>') == 2
    assert 'name="number" value="4"' in drawn


def test_a_field_says_its_unit_and_an_example_and_stands_with_its_button() -> None:
    drawn = live_parts(shop(), READING, ())["step"]
    form = drawn[drawn.index("Suction at the inlet") : drawn.index("Write it down")]
    assert bare(form).startswith("Suction at the inlet, in water, such as 6.2 Where inlet main")
    assert 'name="value.suction"' in form
    assert "<option selected>" not in form
    assert '<option value="inlet" selected>inlet</option>' in form


def test_the_bench_shows_only_what_the_step_speaks_of() -> None:
    controls = FakeBench().controls()
    assert "Bandsaw gate" not in live_parts(shop(), LOOKING, controls)["bench"]
    assert "Planer" in live_parts(shop(), LOOKING, controls)["bench"]
    assert live_parts(shop(), IDLE, controls)["bench"] == ""


def test_a_stage_lists_its_steps_with_what_came_of_each(phone: TestClient) -> None:
    page = bare(phone.get("/commission/tools", headers=HTML).text)
    assert "Planer: switch it on : did what it should Seen on channel 2. Ada, 2026-09-21 14:03. Do it again" in page
    assert "Bandsaw: switch it on : did not do what it should Nothing was seen in 60 s." in page
    assert "In hand now" not in page
    gone = phone.get("/commission/plumbing", headers=HTML)
    assert gone.status_code == 404
    assert "There is no such stage in this shop." in gone.text


def test_a_stage_says_which_step_is_in_hand(phone: TestClient, tried: FakeCommissioning) -> None:
    tried.shown = JOG
    page = bare(phone.get("/commission/gates", headers=HTML).text)
    assert "In hand now: Planer gate: jog it and time it. To begin another puts it by." in page
    assert "To the step in hand" in page


def test_names_of_the_shop_are_text_and_never_markup(phone: TestClient) -> None:
    record = phone.get("/commission/record", headers=HTML).text
    assert "Ada &lt;b&gt;" in record
    assert "Ada <b>" not in record


def test_the_pages_lead_here_and_only_where_there_is_something_to_commission(phone: TestClient) -> None:
    way = '<a href="/commission">Try this shop part by part</a>'
    assert way in phone.get("/settings", headers=HTML).text
    assert way in phone.get("/machine/Planer", headers=HTML).text
    bare_app = create_app(FakeFace(shop()), DoorSettings(PIN, frozenset({"shop.local"})))
    with TestClient(bare_app, base_url=ORIGIN, client=("192.168.1.23", 50000)) as other:
        assert way not in other.get("/settings", headers=HTML).text
        for path in ("/commission", "/commission/tools", "/commission/record", "/live?page=commission"):
            assert other.get(path, headers=HTML).status_code == 404
        assert "This controller has nothing to commission." in other.get("/commission", headers=HTML).text


# ---------------------------------------------------------------- who may what


def test_looking_is_open_and_pressing_needs_the_full_pin(phone: TestClient, tried: FakeCommissioning) -> None:
    assert phone.get("/commission", headers=HTML).status_code == 200
    for path in ("/commission", "/commission/who"):
        assert phone.post(path, data={"by": "Ada"}, headers=JSON).status_code == 401
    assert phone.post("/sign-in", data={"pin": AIR_PIN}).status_code == 303
    for path in ("/commission", "/commission/who"):
        answer = phone.post(path, data={"by": "Ada"}, headers=JSON)
        assert (answer.status_code, answer.json()["code"]) == (403, "needs_full_pin")
    assert tried.asked == []


def test_a_press_without_a_name_asks_for_one(phone: TestClient, tried: FakeCommissioning) -> None:
    phone.post("/sign-in", data={"pin": PIN})
    assert "Who tries it?" in phone.get("/commission", headers=HTML).text
    answer = phone.post("/commission", data={"key": "tools/Planer", "press": "begin"}, headers=JSON)
    assert (answer.status_code, answer.json()["sentence"]) == (
        400,
        "Say first who tries it: your name, at the top of the page of commissioning.",
    )
    assert phone.post("/commission/who", data={"by": " \u200b\t "}, headers=JSON).json()["code"] == "no_name"
    assert tried.asked == []


def test_the_name_is_one_line_and_goes_with_every_press(phone: TestClient, tried: FakeCommissioning) -> None:
    phone.post("/sign-in", data={"pin": PIN})
    said = phone.post("/commission/who", data={"by": "  Ada\u0007\n <b>Ä</b>\u202e " + "x" * 60}, headers=HTML)
    assert "HttpOnly" in said.headers["set-cookie"]
    assert "SameSite=strict" in said.headers["set-cookie"]
    phone.post("/commission", data={"key": "tools/Planer", "press": "begin"}, headers=HTML)
    name = tried.asked[0][2]
    assert name == ("Ada <b>Ä</b> " + "x" * 60)[:40]
    page = phone.get("/commission", headers=HTML).text
    assert "Ada &lt;b&gt;Ä&lt;/b&gt;" in page
    assert "tries it. Somebody else?" in bare(page)


def test_a_name_in_a_foreign_cookie_is_cleaned_too(phone: TestClient, tried: FakeCommissioning) -> None:
    phone.post("/sign-in", data={"pin": PIN})
    phone.cookies.set("gatekeeper_tries", "%00%0d%0aEve%20%20" + "y" * 90)
    phone.post("/commission", data={"key": "tools/Planer", "press": "begin"}, headers=HTML)
    assert tried.asked == [("tools/Planer", "begin", ("Eve " + "y" * 90)[:40], {}, None)]


# ---------------------------------------------------------------- pressing


def test_a_press_leads_back_with_its_sentence(ada: TestClient, tried: FakeCommissioning) -> None:
    answer = ada.post("/commission", data={"key": "gates/Planer gate", "press": "begin"}, headers=HTML)
    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/commission?said=")
    assert "gates/Planer gate: begin." in ada.get(answer.headers["location"], headers=HTML).text
    assert tried.asked == [("gates/Planer gate", "begin", "Ada", {}, None)]


def test_what_is_filled_in_goes_with_the_press(ada: TestClient, tried: FakeCommissioning) -> None:
    tried.shown = READING
    fields = {
        "key": "suction/Collector",
        "press": "written",
        "number": "4",
        "value.suction": " 6.2\u0000 in " + "9" * 200,
        "value.tap": "main",
        "stray": "x",
    }
    ada.post("/commission", data=fields, headers=HTML)
    values = {"suction": ("6.2 in " + "9" * 200)[:120], "tap": "main"}
    assert tried.asked == [("suction/Collector", "written", "Ada", values, 4)]


def test_what_moves_something_is_pressed_twice_where_nobody_can_hold(ada: TestClient, tried: FakeCommissioning) -> None:
    tried.shown = JOG
    press = {"key": "gates/Planer gate", "press": "open", "number": "4"}
    refused = ada.post("/commission", data=press, headers=JSON)
    assert (refused.status_code, refused.json()["sentence"]) == (428, "Hold the button for one second.")
    page = ada.post("/commission", data=press, headers=HTML)
    assert page.status_code == 200
    assert "Open Planer gate? This moves Planer gate. Keep its slot free." in bare(page.text)
    assert '<input type="hidden" name="held" value="1">' in page.text
    assert '<a href="/commission">No, back</a>' in page.text
    assert tried.asked == []
    assert ada.post("/commission", data=press | {"held": "1"}, headers=HTML).status_code == 303
    assert tried.asked == [("gates/Planer gate", "open", "Ada", {}, 4)]


def test_the_engines_refusal_is_passed_on(ada: TestClient, tried: FakeCommissioning) -> None:
    tried.refuses = Answer(False, "other", "Something else is asked now. Look at the page.")
    answer = ada.post("/commission", data={"key": "tools/Planer", "press": "go", "number": "3"}, headers=JSON)
    assert (answer.status_code, answer.json()["sentence"]) == (409, "Something else is asked now. Look at the page.")


@pytest.mark.parametrize("number", ["", "-1", "1.5", "٣", "9" * 10, "four"])
def test_a_number_that_is_none_is_refused(ada: TestClient, tried: FakeCommissioning, number: str) -> None:
    answer = ada.post("/commission", data={"key": "tools/Planer", "press": "begin", "number": number}, headers=JSON)
    assert (answer.status_code, answer.json()["sentence"]) == (
        400,
        "The request cannot be read. Send it again from the page.",
    )
    assert tried.asked == []


def test_hostile_words_reach_nobody_as_markup(ada: TestClient, tried: FakeCommissioning) -> None:
    evil = '"><script>alert(1)</script>'
    answer = ada.post("/commission", data={"key": evil, "press": evil, "value." + evil: evil}, headers=HTML)
    page = ada.get(answer.headers["location"], headers=HTML).text
    assert "<script>alert" not in page
    assert tried.asked == [(evil, evil, "Ada", {evil: evil}, None)]
    assert ada.get(f"/commission/{evil.replace('/', '%2F')}", headers=HTML).status_code == 404


def test_more_fields_than_a_form_has_are_refused(ada: TestClient, tried: FakeCommissioning) -> None:
    many = {f"value.{n}": "1" for n in range(20)} | {"key": "tools/Planer", "press": "begin"}
    assert ada.post("/commission", data=many, headers=JSON).status_code == 400
    assert tried.asked == []


# ---------------------------------------------------------------- the record


def test_the_record_says_what_was_seen_by_whom_and_what_is_still_to_do(phone: TestClient) -> None:
    page = bare(phone.get("/commission/record", headers=HTML).text)
    assert (
        "Still to do Did not do what it should: Bandsaw: switch it on. Due again: Bandsaw gate: jog it and time it. "
        "Not tried: Planer gate: jog it and time it. Left out: Lathe: switch it on (why: no belt)."
    ) in page
    assert "Seen on channel 2 of clamp board. Seen after 0.06 s at most 0.10 s Current 6.2 A Ada" in page
    assert "1 line of the record could not be read and is left out here." in page
    assert "The shop was changed since; it is due again. It reached both ends." in page
    for word in ("approved", "compliant", "safe", "certified"):
        assert word not in page.casefold()


def test_a_page_of_every_stage_of_the_list_is_reached_by_its_link(phone: TestClient) -> None:
    page = phone.get("/commission", headers=HTML).text
    links = re.findall(r'href="(/commission/[^"]+)"', page)
    assert len(links) == len(STAGES) + 1
    assert all(phone.get(link, headers=HTML).status_code == 200 for link in links)
