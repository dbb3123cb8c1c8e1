"""What may be asked through the page, and what is refused with one sentence: requests, holds, the delay, the bench."""

from concurrent.futures import Future
from dataclasses import replace

import pytest
from fake_face import FakeBench, FakeFace
from fastapi.testclient import TestClient
from shop_views import clearing, out_of_service, shop, stuck

from gatekeeper.service.face import Answer
from gatekeeper.web import handlers
from gatekeeper.web.asking import wish

JSON = {"Accept": "application/json"}
HTML = {"Accept": "text/html"}


# ---------------------------------------------------------------- asking


@pytest.mark.parametrize(
    ("fields", "status", "sentence"),
    [
        (
            {"what": "explode"},
            400,
            "The controller knows no such request. Send it again from the page.",
        ),
        ({}, 400, "The controller knows no such request. Send it again from the page."),
        ({"what": "open", "subject": "Moon gate"}, 404, "There is no Moon gate in this shop."),
        (
            {"what": "open", "subject": "Planer gate", "for_s": "nan"},
            400,
            "The time must be a number of seconds from 1 to 86400.",
        ),
        (
            {"what": "open", "subject": "Planer gate", "for_s": "1e9"},
            400,
            "The time must be a number of seconds from 1 to 86400.",
        ),
        (
            {"what": "out_of_service", "subject": "Collector", "by": " ", "why": "bag"},
            400,
            "Say who takes it out of service, and why.",
        ),
        (
            {"what": "out_of_service", "subject": "Collector", "by": "me", "why": "x" * 250},
            400,
            "The text is too long. Use at most 200 characters.",
        ),
        (
            {"what": "run", "subject": "Collector", "held": "1"},
            403,
            "Starting from the page is switched off in the shop's file. Use the button at the machine, or just "
            "switch the machine on.",
        ),
    ],
)
def test_a_wrong_request_gets_one_sentence_and_reaches_nothing(
    signed_in: TestClient, face: FakeFace, fields: dict[str, str], status: int, sentence: str
) -> None:
    answer = signed_in.post("/ask", data=fields)
    assert (answer.status_code, answer.text) == (status, sentence + "\n")
    assert face.asked == []


@pytest.mark.parametrize("body", [b"what=open&what=shut", b"\xff\xfe=1", b"&".join([b"a=1"] * 40)])
def test_a_form_that_cannot_be_read_is_refused(signed_in: TestClient, body: bytes) -> None:
    answer = signed_in.post("/ask", content=body, headers={"Content-Type": "application/x-www-form-urlencoded"})
    assert (answer.status_code, answer.text) == (
        400,
        "The request's form cannot be read. Send it again from the page.\n",
    )


def test_out_of_service_carries_who_and_why(signed_in: TestClient, face: FakeFace) -> None:
    fields = {"what": "out_of_service", "subject": "Collector", "by": "the\r\n steward\x07 ", "why": "new\x00 bag"}
    assert signed_in.post("/ask", data=fields).status_code == 200
    assert face.asked == [("out_of_service", "Collector", "page", None, "the steward: new bag", "192.168.1.23")]
    face.show(out_of_service())
    text = signed_in.get("/").text
    assert "Out of service by the steward: new bag, since " in text
    assert "This is no padlock. Lock the disconnect as well." in text


def test_the_cores_refusal_is_passed_on_in_its_own_words(signed_in: TestClient, face: FakeFace) -> None:
    face.refuses = Answer(False, "C1", "The planer runs. Its gate stays open.")
    answer = signed_in.post("/ask", data={"what": "shut", "subject": "Planer gate"}, headers=JSON)
    assert answer.status_code == 409
    assert answer.json() == {"accepted": False, "code": "C1", "sentence": "The planer runs. Its gate stays open."}


def test_a_silent_controller_is_no_server_error_and_its_late_answer_is_taken(
    signed_in: TestClient, face: FakeFace, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(handlers, "_ANSWER_S", 0.01)
    late: Future[Answer] = Future()
    monkeypatch.setattr(face, "request", lambda *_args, **_more: late)
    answer = signed_in.post("/ask", data={"what": "shut", "subject": "Planer gate"})
    assert (answer.status_code, answer.text) == (
        409,
        "The controller did not answer within 2 s. Look at the page before you try again.\n",
    )
    late.set_result(Answer(True, "ok", "Too late."))
    assert late.done()


def test_a_start_needs_the_shops_leave_a_caution_and_a_hold(signed_in: TestClient, face: FakeFace) -> None:
    face.show(replace(shop(), remote_start=True))
    assert "Run Collector for 5 min" in signed_in.get("/").text
    fields = {"what": "run", "subject": "Collector", "for_s": "300.0"}
    short = signed_in.post("/ask", data=fields, headers=JSON)
    assert (short.status_code, short.json()["sentence"]) == (428, "Hold the button for one second.")
    asks_again = signed_in.post("/ask", data=fields, headers=HTML)
    assert asks_again.status_code == 200
    assert "<h1>Run Collector for 5 min?</h1>" in asks_again.text
    assert "This starts a motor that you may not see." in asks_again.text
    assert '<input type="hidden" name="held" value="1">' in asks_again.text
    assert face.asked == []
    assert signed_in.post("/ask", data=fields | {"held": "1"}).status_code == 200
    assert face.asked == [("run", "Collector", "page", 300.0, None, "192.168.1.23")]


def test_a_release_is_a_deliberate_press(signed_in: TestClient, face: FakeFace) -> None:
    face.show(stuck())
    fields = {"what": "release", "subject": "Bandsaw gate"}
    asks_again = signed_in.post("/ask", data=fields, headers=HTML)
    assert "The gate moves 3 s after the press. Keep fingers out of the slot." in asks_again.text
    assert face.asked == []
    assert signed_in.post("/ask", data=fields | {"held": "1"}).status_code == 200
    assert face.asked == [("release", "Bandsaw gate", "page", None, None, "192.168.1.23")]


def test_a_message_can_be_seen_by_its_key(signed_in: TestClient, face: FakeFace) -> None:
    face.show(stuck())
    assert signed_in.post("/ask", data={"what": "seen", "subject": "gate_stuck:Bandsaw gate"}).status_code == 200
    assert face.asked == [("seen", "gate_stuck:Bandsaw gate", "page", None, None, "192.168.1.23")]


# ---------------------------------------------------------------- spin-down


def test_the_delay_changes_at_once_and_is_undone(signed_in: TestClient, face: FakeFace) -> None:
    face.show(clearing())
    assert signed_in.post("/spin-down", data={"subject": "Collector", "value_s": "20"}).status_code == 200
    motor = face.view().motors[0]
    assert motor.spin_down is not None
    assert (motor.spin_down.value_s, motor.stops_at_s) == (20.0, 1018.0)
    assert "Undo: back to 8\u00a0s" in signed_in.get("/").text
    assert signed_in.post("/undo", data={"subject": "Collector"}).status_code == 200
    assert face.view().motors[0].stops_at_s == 1006.0
    nothing = signed_in.post("/undo", data={"subject": "Collector"})
    assert (nothing.status_code, nothing.text) == (409, "There is nothing to undo.\n")


@pytest.mark.parametrize(
    ("fields", "status", "sentence"),
    [
        (
            {"subject": "Collector", "value_s": "121"},
            400,
            "The spin-down delay of Collector can be 1 s to 120 s.",
        ),
        ({"subject": "Collector", "value_s": "inf"}, 400, "The spin-down delay of Collector can be 1 s to 120 s."),
        ({"subject": "Collector", "value_s": "ten"}, 400, "The spin-down delay of Collector can be 1 s to 120 s."),
        ({"subject": "Moon", "value_s": "10"}, 404, "There is no Moon in this shop."),
        ({"value_s": "10"}, 404, "There is no name in this shop."),
        ({"subject": "Collector", "value_s": "2"}, 428, "Hold the button for one second."),
    ],
)
def test_a_wrong_delay_gets_one_sentence(
    signed_in: TestClient, face: FakeFace, fields: dict[str, str], status: int, sentence: str
) -> None:
    answer = signed_in.post("/spin-down", data=fields)
    assert (answer.status_code, answer.text) == (status, sentence + "\n")
    assert face.asked == []


def test_below_the_clear_time_only_after_a_hold(signed_in: TestClient, face: FakeFace) -> None:
    fields = {"subject": "Collector", "value_s": "2"}
    asks_again = signed_in.post("/spin-down", data=fields, headers=HTML)
    assert "This is shorter than the longest branch needs to clear." in asks_again.text
    assert signed_in.post("/spin-down", data=fields | {"held": "1"}).status_code == 200
    assert face.asked == [("spin_down", "Collector", 2.0, "page", "192.168.1.23")]


def test_a_tool_follows_its_collector_again(signed_in: TestClient, face: FakeFace) -> None:
    assert signed_in.post("/spin-down", data={"subject": "Planer", "value_s": "30"}).status_code == 200
    assert "Follow the collector" in signed_in.get("/machine/Planer").text
    assert signed_in.post("/spin-down", data={"subject": "Planer"}).status_code == 200
    assert face.asked[-1] == ("spin_down", "Planer", None, "page", "192.168.1.23")
    assert "Planer has no delay of its own. It follows its collector." in signed_in.get("/machine/Planer").text


# ---------------------------------------------------------------- bench


def test_the_bench_is_drawn_when_there_is_one_and_works_a_virtual_tool(signed_in: TestClient, bench: FakeBench) -> None:
    assert "This shop is virtual." in signed_in.get("/").text
    assert signed_in.post("/bench", data={"key": "tool:Planer", "to": "on"}).status_code == 200
    assert bench.runs is True
    answer = signed_in.post("/bench", data={"key": "moon", "to": "on"})
    assert (answer.status_code, answer.text) == (
        409,
        "There is no moon on the bench that can be on.\n",
    )


def test_air_that_was_asked_for_can_be_taken_away_where_starting_is_off() -> None:
    wanted = wish(shop(remote_start=False), {"what": "air_here", "subject": "Planer", "for_s": "0"})
    assert (wanted.for_s, wanted.ends, wanted.needs_hold) == (0.0, True, False)
