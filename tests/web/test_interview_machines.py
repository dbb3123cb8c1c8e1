"""Machines added, moved and retired, gates moved otherwise, on the running shop's page; the controller started anew."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from fake_face import ORIGIN, PIN, FakeFace
from fastapi.testclient import TestClient
from shop_views import shop as shop_view

from gatekeeper.interview_keeping import ADD, CannotInterview
from gatekeeper.interview_page import MachinesPage
from gatekeeper.interviewing import Face, interview_parts
from gatekeeper.service.calibration_file import ShopFile, shop_file_of
from gatekeeper.shop.examples import example
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.web.app import create_app
from gatekeeper.web.door import DoorSettings

HTML = {"Accept": "text/html"}
JSON = {"Accept": "application/json"}
AIR_PIN = "8642"
GARAGE = example("garage-one-collector").read_text(encoding="utf-8")
SHED = example("one-evening").read_text(encoding="utf-8")
WAITS = "The controller runs by the file as it was; what changed counts from its next start."


@dataclass
class Running:
    """What a running controller is to the page: the file that it was started with, and its wish to start anew."""

    file: ShopFile
    why: str | None = None
    began_anew: int = 0
    page: MachinesPage = field(init=False)

    def __post_init__(self) -> None:
        self.page = MachinesPage(lambda: self.file, lambda: self.why, self._anew)

    def _anew(self) -> None:
        self.began_anew += 1


@pytest.fixture
def running(tmp_path: Path, request: pytest.FixtureRequest) -> Running:
    """By the garage's file, or by another text that a test gives."""
    path = tmp_path / "garage.yaml"
    text = getattr(request, "param", GARAGE)
    path.write_text(text, encoding="utf-8")
    return Running(ShopFile(path, text))


@pytest.fixture
def stranger(running: Running) -> Iterator[TestClient]:
    """A phone in the shop's own network, not signed in."""
    settings = DoorSettings(PIN, frozenset({"shop.local"}), air_pin=AIR_PIN)
    app = create_app(FakeFace(shop_view()), settings, interviews=running.page)
    made = TestClient(
        app, base_url=ORIGIN, client=("192.168.1.23", 5), headers={"Origin": ORIGIN}, follow_redirects=False
    )
    with made:
        yield made


@pytest.fixture
def phone(stranger: TestClient) -> TestClient:
    assert stranger.post("/sign-in", data={"pin": PIN}).status_code == 303
    return stranger


def look(phone: TestClient) -> str:
    answer = phone.get("/machines", headers=HTML)
    assert answer.status_code == 200
    return answer.text


def press(phone: TestClient, name: str, **fields: str) -> str:
    """One press, and the page that a browser shows then."""
    found = re.search(r'name="mark" value="([^"]+)"', look(phone))
    marked = {"mark": found[1]} if found is not None else {}
    answer = phone.post(f"/machines/{name}", data={**marked, **fields}, headers=HTML)
    assert answer.status_code == 303
    return phone.get(answer.headers["Location"], headers=HTML).text


def usual(running: Running, told: dict[str, str]) -> list[str]:
    """The answers to a begun interview, what is told by the beginning of the question, else what is usual."""
    answers = []
    while (going := running.page.view().going) is not None and (question := going.question) is not None:
        given = next((told.pop(said) for said in list(told) if question.said.startswith(said)), None)
        answer = given or question.default or ("unknown" if question.unknown else question.choices[0])
        assert running.page.answer(going.mark, answer).accepted, (question.said, answer)
        answers.append(answer)
    return answers


def in_the_terminal(path: Path, text: str, answers: list[str], **which: str) -> bool:
    """The same interview in the terminal, with these answers and then none; whether the file was written."""
    shop = load_shop(text, path.name)
    assert not isinstance(shop, Faults)
    lines = list(answers)
    said: list[str] = []
    face = Face(said.append, lambda _: lines.pop(0) if lines else None)
    move, retire, gate = (which.get(name) for name in ("move", "retire", "gate"))
    return interview_parts(path, text, shop, face, move, retire, gate=gate)


def as_the_terminal_writes(path: Path, answers: list[str], text: str = GARAGE, **which: str) -> bytes:
    path.write_text(text, encoding="utf-8")
    assert in_the_terminal(path, text, [*answers, ""], **which) is True
    return path.read_bytes()


LATHE = {"Which machine": "lathe", "Where does": "into main far", "How far": "5 ft"}


def test_settings_lead_to_the_machines_and_each_can_move_or_leave(phone: TestClient, running: Running) -> None:
    assert (
        '<a href="/machines">Add, move or retire a machine, or make a gate automatic</a>'
        in phone.get("/settings", headers=HTML).text
    )
    page = look(phone)
    assert "<h1>Machines</h1>" in page
    assert '<button class="usual write">Add a machine</button>' in page
    assert '<button aria-label="Move planer">Move</button>' in page
    assert '<button aria-label="Retire table saw">Retire</button>' in page
    assert f"<code>gatekeeper add {running.file.path} --move TOOL</code>" in page
    assert "Stop dust collector" in page


def test_rights_looking_is_free_and_air_alone_changes_nothing(stranger: TestClient, running: Running) -> None:
    sign_in = "Sign in to add, move or retire a machine, or make a gate automatic"
    page = look(stranger)
    assert f'<a href="/sign-in?back=/machines">{sign_in}</a>' in page
    assert "/machines/begin" not in page
    for pin, status in ((None, 401), (AIR_PIN, 403)):
        if pin is not None:
            stranger.post("/sign-in", data={"pin": pin})
        for name in ("begin", "answer", "back", "write", "leave", "take-over"):
            fields = {"what": "add", "mark": "0.00000000", "answer": "x"}
            assert stranger.post(f"/machines/{name}", data=fields, headers=JSON).status_code == status, name
    assert running.began_anew == 0
    assert [one.name for one in running.file.path.parent.iterdir()] == ["garage.yaml"]


def test_a_machine_more_is_what_the_terminal_writes_and_says_what_to_try(
    phone: TestClient, running: Running, tmp_path: Path
) -> None:
    page = press(phone, "begin", what="add", machine="")
    assert "<h1>Which machine is it?</h1>" in page
    assert '<p class="soft">A machine more, question 1</p>' in page
    assert "<b>mitre saw</b>" in page
    answers = usual(running, dict(LATHE))
    page = look(phone)
    assert "<h1>That is all. Is it right?</h1>" in page
    assert '<b>lathe<em class="fresh"> new</em></b>' in page
    assert "<pre>  lathe drop: {towards: main far, diameter: 4 in, length: 5 ft" in page
    assert "<li>lathe drop: bond it to ground, close its joints, and measure its resistance to ground.</li>" in page
    assert re.search(r"<p>The lathe gets \d+ cfm alone", page)
    page = press(phone, "write")
    path = running.file.path
    kept = f"its text until now is kept in {path}.before."
    assert f"<p>Written: {path}. Everything else in it is as it was; {kept}</p>" in page
    assert "<h2>To commission anew</h2>" in page
    assert f'<p class="what">{WAITS}</p>' in page
    assert '<a href="/commission">Once the controller runs by the file, try what is new part by part</a>' in page
    assert path.read_bytes() == as_the_terminal_writes(tmp_path / "by-hand.yaml", answers)
    assert Path(f"{path}.before").read_text(encoding="utf-8") == GARAGE
    assert not Path(f"{path}.answers").exists()


@pytest.mark.parametrize(("what", "tool"), [("move", "planer"), ("retire", "table saw")])
def test_a_move_and_a_leave_are_what_the_terminal_writes(
    phone: TestClient, running: Running, tmp_path: Path, what: str, tool: str
) -> None:
    press(phone, "begin", what=what, machine=tool)
    answers = usual(running, {"Where does": "into riser", "What becomes": "is taken down"})
    press(phone, "write")
    by_hand = as_the_terminal_writes(tmp_path / "by-hand.yaml", answers, **{what: tool})
    assert running.file.path.read_bytes() == by_hand
    assert by_hand != GARAGE.encode()


def test_a_collector_more_is_asked_for_too(phone: TestClient, running: Running) -> None:
    assert "<button>Add a collector, vacuum or air cleaner</button>" in look(phone)
    page = press(phone, "begin", what="motor", machine="")
    assert '<p class="soft">A collector more, question 1</p>' in page
    usual(running, {"What is it": "air cleaner", "What power": "200 W"})
    page = press(phone, "write")
    assert "<h1>Written.</h1>" in page
    shop = load_shop(running.file.path.read_text(encoding="utf-8"), "garage.yaml")
    assert not isinstance(shop, Faults)
    assert len(shop.motors) == 2


FIRST = pytest.mark.parametrize("running", [SHED], indirect=True)
ITS_PLACE = "One gate at a time. Its place stays, and so does all else that the file says of it."


@FIRST
def test_gates_are_offered_with_what_moves_them_and_hand_gates_first(phone: TestClient, running: Running) -> None:
    page = look(phone)
    assert f'<summary>Make a gate automatic, or change what moves it</summary><p class="soft">{ITS_PLACE}</p>' in page
    assert "<b>saw gate</b><small>table saw; moved by hand</small>" in page
    assert "<b>planer gate</b><small>no machine is seen here; moved by hand</small>" in page
    assert (
        '<input type="hidden" name="gate" value="saw gate"><button aria-label="Change what moves saw gate">Change<'
    ) in page
    assert f"<code>gatekeeper add {running.file.path} --gate GATE</code>" in page
    press(phone, "begin", what="gate", gate="saw gate")
    usual(running, {})
    page = press(phone, "write")
    first, second = (page.index(f"<b>{gate}</b><small>") for gate in ("planer gate", "saw gate"))
    assert first < second
    assert "<b>saw gate</b><small>table saw; moved by a servo</small>" in page


@FIRST
def test_the_first_automatic_gate_is_what_the_terminal_writes_and_says_what_to_try(
    phone: TestClient, running: Running, tmp_path: Path
) -> None:
    page = press(phone, "begin", what="gate", gate="saw gate")
    path = running.file.path
    assert Path(f"{path}.answers").read_text() == "gatekeeper add --gate saw gate\n"
    assert '<p class="soft">What moves the saw gate, question 1</p>' in page
    assert "<h1>What moves the gate of the table saw?</h1>" in page
    assert '<button name="answer" value="servo" class="usual">servo</button>' in page
    assert usual(running, {}) == ["servo", "unknown"]
    page = look(phone)
    assert "<pre>  saw gate: {diameter: 4 in, servo: {pin: GPIO12}}</pre>" in page
    assert "<pre>  saw gate: {diameter: 4 in}</pre>" in page
    anew = (
        "<li>collector: from now on it only runs where the controller knows of an open gate; start it once with only "
        "its smallest gate open.</li>"
        "<li>saw gate: it moves by itself now: jog it to both ends, set them, time a whole move, and hang its sign."
        "</li><li>Nothing else changed: 2 other motors, gates and tools keep what was proved of them.</li>"
    )
    assert anew in page
    page = press(phone, "write")
    kept = f"its text until now is kept in {path}.before."
    assert f"<p>Written: {path}. Everything else in it is as it was; {kept}</p>" in page
    assert anew in page
    assert f'<p class="what">{WAITS}</p>' in page
    assert '<a href="/commission">Once the controller runs by the file, try what is new part by part</a>' in page
    assert path.read_bytes() == as_the_terminal_writes(
        tmp_path / "by-hand.yaml", ["servo", "unknown"], SHED, gate="saw gate"
    )
    assert not Path(f"{path}.answers").exists()


@pytest.mark.parametrize(
    ("mover", "moved"),
    [
        ("by hand", "by hand"),
        ("by hand, with a switch", "by hand, with a switch"),
        ("servo on a pin", "by a servo"),
        ("motor by an H-bridge", "by a motor on an H-bridge"),
        ("motor by two relays", "by a motor on two relays"),
        ("solenoid or air valve", "by a solenoid or air valve"),
        ("behind a broker", "by a controller of its own, behind a broker"),
    ],
)
def test_whatever_is_to_move_a_gate_is_what_the_terminal_writes(
    phone: TestClient, running: Running, tmp_path: Path, mover: str, moved: str
) -> None:
    press(phone, "begin", what="gate", gate="mitre gate")
    answers = usual(running, {"What moves": mover})
    page = press(phone, "write")
    assert f"<b>mitre gate</b><small>mitre saw; moved {moved}</small>" in page
    by_hand = as_the_terminal_writes(tmp_path / "by-hand.yaml", answers, gate="mitre gate")
    assert running.file.path.read_bytes() == by_hand
    assert by_hand != GARAGE.encode()


def test_a_gate_that_was_begun_in_the_terminal_goes_on_on_the_page_and_back(
    phone: TestClient, running: Running
) -> None:
    path = running.file.path
    assert in_the_terminal(path, GARAGE, ["solenoid or air valve"], gate="mitre gate") is False
    assert "<h1>Where does its spring put the gate when the power is off?</h1>" in look(phone)
    page = press(phone, "answer", answer="shut")
    assert "takes back: shut" in page
    with pytest.raises(CannotInterview) as refused:
        in_the_terminal(path, GARAGE, [], gate="saw gate")
    assert str(refused.value) == (
        f"{path}.answers: these are the answers of gatekeeper add --gate mitre gate. Finish that first, or take the "
        "file away."
    )
    assert in_the_terminal(path, GARAGE, ["unknown", ""], gate="mitre gate") is True
    assert "coil: {pin: GPIO" in path.read_text(encoding="utf-8")
    assert running.page.view().going is None


def test_what_was_begun_in_the_terminal_goes_on_on_the_page(phone: TestClient, running: Running) -> None:
    assert in_the_terminal(running.file.path, GARAGE, ["lathe"]) is False
    page = look(phone)
    assert "<h1>Where does the lathe join?</h1>" in page
    assert "takes back: lathe" in page
    busy = phone.post("/machines/begin", data={"what": "move", "machine": "planer"}, headers=JSON)
    assert busy.json()["sentence"] == "Something is being asked already. Finish it, or give it up."


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"what": "paint", "machine": "planer"}, "There is nothing of that kind to begin."),
        (
            {"what": "move", "machine": "plane"},
            '"plane" is no machine of this shop; they are table saw, jointer, planer, bandsaw, drum sander and mitre '
            'saw; did you mean "planer"?',
        ),
        (
            {"what": "retire", "machine": "x\nname"},
            '"x\nname" is no machine of this shop; they are table saw, jointer, planer, bandsaw, drum sander and mitre '
            "saw.",
        ),
        (
            {"what": "gate", "gate": "mitre gat"},
            '"mitre gat" is no gate of this shop; they are saw gate, jointer gate, planer gate, bandsaw gate, sander '
            'gate and mitre gate; did you mean "mitre gate"?',
        ),
        (
            {"what": "gate", "machine": "planer"},
            '"" is no gate of this shop; they are saw gate, jointer gate, planer gate, bandsaw gate, sander gate and '
            "mitre gate.",
        ),
    ],
)
def test_what_cannot_begin_says_why(phone: TestClient, running: Running, fields: dict[str, str], sentence: str) -> None:
    answer = phone.post("/machines/begin", data=fields, headers=JSON)
    assert (answer.status_code, answer.json()["sentence"]) == (409, sentence)
    assert [one.name for one in running.file.path.parent.iterdir()] == ["garage.yaml"]


def test_a_file_that_changes_meanwhile_is_seen_before_anything_is_written(phone: TestClient, running: Running) -> None:
    press(phone, "begin", what="add", machine="")
    usual(running, dict(LATHE))
    end = running.page.view().going
    assert end is not None
    changed = GARAGE + "# by hand\n"
    running.file.path.write_text(changed, encoding="utf-8")
    late = phone.post("/machines/write", data={"mark": end.mark}, headers=JSON)
    assert (late.status_code, late.json()["code"]) == (409, "elsewhere")
    assert running.file.path.read_text(encoding="utf-8") == changed
    press(phone, "write")
    assert "\n# by hand\n" in running.file.path.read_text(encoding="utf-8")
    assert Path(f"{running.file.path}.before").read_text(encoding="utf-8") == changed


def test_a_file_that_is_no_shop_any_more_or_is_gone_is_said(phone: TestClient, running: Running) -> None:
    path = running.file.path
    path.write_text("shop: 5\n")
    said = f"{path} is no shop any more since it was changed by hand. See: gatekeeper check {path}"
    assert said in look(phone)
    assert phone.post("/machines/begin", data={"what": "add"}, headers=JSON).json()["sentence"] == said
    path.unlink()
    assert f"{path} cannot be read any more. Put it back." in look(phone)


def test_an_example_stays_as_it_is() -> None:
    running = Running(shop_file_of("garage-one-collector", GARAGE))
    said = (
        "garage-one-collector is an example and stays as it is. Copy it to a file of yours and start the controller "
        "with that."
    )
    assert running.page.view().refusal == said
    assert running.page.begin("add", "").sentence == said


def _changed(running: Running) -> None:
    Path(f"{running.file.path}.answers").write_text(f"{ADD}\n")
    usual(running, dict(LATHE))
    going = running.page.view().going
    assert going is not None
    assert running.page.write(going.mark).accepted


def test_starting_anew_is_offered_behind_its_caution_and_only_while_nothing_runs(
    phone: TestClient, running: Running
) -> None:
    nothing = phone.post("/machines/take-over", headers=JSON, data={"x": ""})
    assert nothing.json()["sentence"] == "The controller runs by the file already."
    _changed(running)
    page = look(phone)
    assert "<summary>Start the controller anew</summary>" in page
    assert "a machine that is switched on then gets no air. Tell whoever works here." in page
    running.why = "Collector runs. Once everything stands still, starting anew is offered here."
    page = look(phone)
    assert f"<p>{running.why}</p>" in page
    assert "Start the controller anew" not in page
    refused = phone.post("/machines/take-over", headers=JSON, data={"x": ""})
    assert (refused.status_code, refused.json()["sentence"]) == (409, running.why)
    assert running.began_anew == 0
    running.why = None
    page = press(phone, "take-over")
    assert "The controller starts anew within seconds, unless something begins to run." in page
    assert running.began_anew == 1


def test_a_file_that_the_controller_could_not_run_by_is_never_taken_over(running: Running) -> None:
    _changed(running)
    path = running.file.path
    text = path.read_text(encoding="utf-8")
    path.write_text(re.sub(r"pin: GPIO\d+", "pin: to be chosen", text, count=1))
    view = running.page.view()
    assert view.waiting == WAITS
    assert view.stays is not None
    assert view.stays.startswith(f"It cannot run by the file yet. {path}: a pin of ")
    assert view.stays.endswith(f"still to be chosen; next: gatekeeper pins {path} --assign.")
    assert running.page.take_over().sentence == view.stays
    assert running.began_anew == 0


def test_without_a_running_shop_behind_it_there_is_no_such_page(client: TestClient) -> None:
    answer = client.get("/machines", headers=HTML)
    assert answer.status_code == 404
    assert "Machines cannot be changed from this page." in answer.text
    assert "/machines" not in client.get("/settings", headers=HTML).text
