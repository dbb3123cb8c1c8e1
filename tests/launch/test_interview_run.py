"""The real program: a board that asks for its shop first, and a controller that starts anew by its changed file."""

import re
import signal
import socket
import subprocess
import sys
import threading
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlencode

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from shop_process import DEADLINE_S, ShopProcess, until

from gatekeeper.interview.engine import UNKNOWN
from gatekeeper.interview_page import MachinesPage, NewShopPage
from gatekeeper.interview_page_serving import ask_first
from gatekeeper.service.calibration_file import ShopFile
from gatekeeper.service.face_interview import InterviewView
from gatekeeper.service.notify import ServiceManager
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop

SHED = """\
shop: {name: Shed, units: inch, mains: 60 Hz, open_flue_nearby: no}
motors:
  collector:
    power: 1.5 hp
    spin_down: 2 s
    coast: 2 s
    switched_by: {pin: GPIO17, when_board_dies: drops}
gates:
  saw gate: {diameter: 4 in}
tools:
  # Kept through every change.
  table saw: {gates: saw gate, sensor: {current_switch: GPIO23}}
page: {port: {port}}
"""
RELAY, SAW = 17, 23
TOLD = {"Which machine": "lathe", "What tells": "current switch", "What is the shop": "Shed", "In which units": "inch"}
TOLD |= {"What power": "2 hp", "What is joined": "machine", "May phones": "no"}
NEXT = {"What else is joined": "nothing more"}


def answer_of(view: InterviewView) -> tuple[str, str] | None:
    """The mark of the question that is due, and what is answered to it; None where all is answered."""
    assert view.going is not None, view.refusal
    question = view.going.question
    if question is None:
        return None
    told = next((answer for said, answer in {**TOLD, **NEXT}.items() if question.said.startswith(said)), None)
    if told is None:
        told = question.default or (UNKNOWN if question.unknown else question.choices[0])
    return view.going.mark, told


@pytest.fixture
def shed(tmp_path: Path) -> Iterator[ShopProcess]:
    process = ShopProcess(tmp_path, SHED)
    yield process
    process.close()


def add_lathe(shed: ShopProcess) -> None:
    """Every press through the program's own page."""
    seen = MachinesPage(lambda: ShopFile(shed.shop, ""), lambda: None, None)
    shed.ask("/machines/begin", "what=add")
    while (asked := answer_of(seen.view())) is not None:
        shed.ask("/machines/answer", urlencode({"mark": asked[0], "answer": asked[1]}))
    going = seen.view().going
    assert going is not None
    shed.ask("/machines/write", urlencode({"mark": going.mark}))


def is_awake(shed: ShopProcess) -> bool:
    """A start that is seen before the sensors have settled is no cause for the collector."""
    return "has just woken" not in shed.get("/")[1]


def at_rest(shed: ShopProcess) -> bool:
    return "<summary>Start the controller anew</summary>" in shed.get("/machines")[1]


def test_a_machine_more_counts_once_the_controller_started_anew(shed: ShopProcess) -> None:
    shed.start()
    process = shed.process
    assert process is not None
    add_lathe(shed)
    assert "# Kept through every change." in shed.shop.read_text(encoding="utf-8")
    assert shed.get("/machine/lathe")[0] == 404
    until(lambda: is_awake(shed) and at_rest(shed), "rest after the start")
    shed.contact(SAW, True)
    until(lambda: shed.level(RELAY) == 1.0, "the collector for the table saw")
    status, body = shed._ask("POST", "/machines/take-over", "x=1")
    assert status == 409
    assert "Once everything stands still, starting anew is offered here." in body
    assert shed.level(RELAY) == 1.0
    shed.contact(SAW, False)
    until(lambda: at_rest(shed), "rest after the cut")
    assert shed.ask("/machines/take-over", "x=1")["code"] == "restarts"
    until(lambda: shed.said().count("Page: ") == 2, "the page of the second run")
    assert "Starting anew by the file as it is now." in shed.said()
    assert (shed.process, shed.is_running) == (process, True)
    until(lambda: shed.get("/machine/lathe")[0] == 200, "the lathe")
    assert "counts from its next start" not in shed.get("/machines")[1]
    assert shed.level(RELAY) == 0.0
    assert shed.end() == 0


def test_under_a_service_manager_it_ends_and_leaves_the_start_to_it(shed: ShopProcess, tmp_path: Path) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        shed.start(NOTIFY_SOCKET=str(tmp_path / "notify"))
        add_lathe(shed)
        until(lambda: at_rest(shed), "rest after the start")
        shed.ask("/machines/take-over", "x=1")
        assert shed.process is not None
        assert shed.process.wait(DEADLINE_S) == 0
    assert shed.said().count("Page: ") == 1
    assert shed.said().endswith("Starting anew by the file as it is now.\n")


# ---------------------------------------------------------------- a board without a file


class Told:
    """A service manager that keeps what it is told."""

    def __init__(self, path: Path) -> None:
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind(str(path))
        self.manager = ServiceManager({"NOTIFY_SOCKET": str(path), "WATCHDOG_USEC": "10000000"})

    def said(self) -> list[str]:
        self._socket.setblocking(False)
        said: list[str] = []
        try:
            while True:
                said += self._socket.recv(4096).decode().split("\n")
        except BlockingIOError:
            return said

    def close(self) -> None:
        self._socket.close()


def answer_all(said: list[str], out: Path) -> None:
    """A browser on the board itself: waits for the page, and answers to the end."""
    until(lambda: said, "the address of the page")
    found = re.search(r"http://127\.0\.0\.1:\d+", said[0])
    assert found is not None
    seen = NewShopPage(out)

    def press(name: str, **fields: str) -> None:
        request = urllib.request.Request(f"{found[0]}/new/{name}", urlencode(fields).encode(), {"Origin": found[0]})
        with urllib.request.urlopen(request, timeout=DEADLINE_S) as answer:
            assert answer.status == 200

    while (asked := answer_of(seen.view())) is not None:
        press("answer", mark=asked[0], answer=asked[1])
    going = seen.view().going
    assert going is not None
    press("write", mark=going.mark)


def test_a_board_without_a_file_asks_first_and_its_service_manager_waits(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("gatekeeper.interview_page_serving.STAYS_S", 0.0)
    out, said, told = tmp_path / "shop.yaml", [], Told(tmp_path / "notify")  # type: ignore[var-annotated]
    before = signal.getsignal(signal.SIGTERM)
    phone = threading.Thread(target=answer_all, args=(said, out))
    phone.start()
    try:
        assert ask_first(out, tmp_path, said.append, port=0, manager=told.manager) is True
        lines = told.said()
    finally:
        phone.join(DEADLINE_S)
        told.close()
    assert said[0].startswith(f"There is no shop file {out} yet. This page asks for it: http://127.0.0.1:")
    assert said[0].endswith((tmp_path / "pin").read_text().strip())
    assert said[1:] == [f"Written: {out}."]
    assert not isinstance(load_shop(out.read_text(encoding="utf-8"), "shop.yaml"), Faults)
    assert lines[0] == "READY=1"
    assert lines[1].startswith("STATUS=Asking for the shop on http://")
    assert lines[-1] == "WATCHDOG=1"
    assert signal.getsignal(signal.SIGTERM) is before


def test_run_with_ask_writes_the_file_and_goes_on_as_the_controller(tmp_path: Path) -> None:
    program = tmp_path / "program.py"
    program.write_text(
        "import gatekeeper.interview_page_serving as serving\n"
        "from gatekeeper.cli import main\n"
        "serving.PORT, serving.STAYS_S = 0, 0.0\n"
        "main()\n"
    )
    shed = ShopProcess(tmp_path, SHED, program)
    shed.shop.unlink()
    try:
        shed.start("--ask", "--no-page", word="PIN: ")
        answer_all([shed.said()], shed.shop)
        until(lambda: "Shed: running on bank:" in shed.said(), "the controller")
        assert shed.level(RELAY) == 0.0
        assert shed.end() == 0
        shed.start("--ask", "--no-page", word="running on bank:")
        assert "There is no shop file" not in shed.said()
        assert shed.end() == 0
    finally:
        shed.close()


def test_without_a_file_and_without_ask_it_is_refused_as_ever(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "gatekeeper", "run", "nothing.yaml", "--pins", "mock"]
    done = subprocess.run(command, cwd=tmp_path, text=True, capture_output=True)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("nothing.yaml: there is no such file; name a shop file, or an example: ")


# ---------------------------------------------------------------- new --page


def _new(folder: Path, *words: str) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        [sys.executable, "-u", "-m", "gatekeeper", "new", *words],
        cwd=folder,
        env={"XDG_STATE_HOME": str(folder / "state"), "PATH": "/usr/bin:/bin"},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def test_new_on_a_page_tells_its_address_writes_the_file_and_stays_until_it_is_ended(tmp_path: Path) -> None:
    process = _new(tmp_path, "shed.yaml", "--page", "--port", "0")
    assert process.stdout is not None
    assert process.stderr is not None
    said = [process.stdout.readline().rstrip("\n") for _ in range(5)]
    assert said[0] == "This page asks for a new shop and writes shed.yaml:"
    assert re.fullmatch(r"  http://127\.0\.0\.1:\d+/", said[1])
    assert said[2] == f"PIN: {(tmp_path / 'state/gatekeeper/shed/pin').read_text().strip()}"
    assert said[3] == (
        "Answers are kept in shed.yaml.answers; the terminal goes on with them, too: gatekeeper new shed.yaml"
    )
    assert said[4] == "Ctrl-C ends the page and keeps them."
    answer_all([said[1]], tmp_path / "shed.yaml")
    last = process.stdout.readline()
    assert last == "Written: shed.yaml. The page stays until Ctrl-C. next: gatekeeper check shed.yaml\n"
    process.send_signal(signal.SIGINT)
    assert (process.wait(DEADLINE_S), process.stderr.read()) == (0, "")
    process.stdout.close()
    process.stderr.close()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("is.yaml",), "is.yaml: this file is there already; to add a machine to it: gatekeeper add is.yaml\n"),
        (("no/such/shed.yaml",), "no/such/shed.yaml: there is no folder no/such to write it into.\n"),
        (("shed.yaml", "--port", "70000"), "The port is 70000; 0 to 65535 are allowed.\n"),
    ],
)
def test_new_on_a_page_is_refused_before_anything_is_served(tmp_path: Path, words: tuple[str, ...], said: str) -> None:
    (tmp_path / "is.yaml").write_text("x\n")
    process = _new(tmp_path, *words, "--page")
    out, err = process.communicate(timeout=DEADLINE_S)
    assert (process.returncode, out, err) == (2, "", said)
    assert not (tmp_path / "state").exists()
