"""The book of a shop, and the monthly check from the terminal."""

import re
from datetime import datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner

from gatekeeper.book.facts import facts_of
from gatekeeper.book.page import book_page
from gatekeeper.cli import app
from gatekeeper.control.messages import Entry, Keep
from gatekeeper.records.care_log import CareLog, Done
from gatekeeper.records.history import History
from gatekeeper.records.state import StateStore
from gatekeeper.records.state_form import Change
from gatekeeper.shop.examples import example, names
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

NOW_S = 1_790_000_000.0
DAY_S = 86_400.0


def shop_of(name: str, more: str = "") -> tuple[Shop, str]:
    text = example(name).read_text(encoding="utf-8").replace("shop:\n", f"shop:\n{more}", 1)
    shop = load_shop(text, name)
    assert not isinstance(shop, Faults), shop.lines()
    return shop, text


def book(name: str, folder: Path, more: str = "") -> str:
    shop, text = shop_of(name, more)
    return book_page(facts_of(shop, f"{name}.yaml", text, folder, datetime.fromtimestamp(NOW_S)))


def bare(html: str) -> str:
    """The words alone."""
    body = html[html.index("<body>") :]
    return " ".join(re.sub(r"<[^>]+>", " ", body).replace("&#x27;", "'").replace("&quot;", '"').split())


def filled(folder: Path) -> Path:
    store = StateStore(folder / "state.sqlite")
    store.load("boot")
    store.put(
        [Keep("setting/collector/spin_down_s", 21.0)],
        [Change(NOW_S - DAY_S, "the page, from 192.168.1.7", "collector", "spin_down_s", 8, 21)],
    )
    store.close()
    history = History(folder / "history.sqlite")
    history.open()
    raised = {"what": "raised", "code": "gate_stuck", "heap": "today"}
    why = "Planer gate did not open and is now held."
    history.write(
        [
            (Entry(1, 1, 0.0, "b", "r", "motor_command", "collector", "on"), NOW_S - 9 * DAY_S),
            (Entry(2, 2, 36_600.0, "b", "r", "motor_command", "collector", "off"), NOW_S - 8 * DAY_S),
            (Entry(3, 3, 36_601.0, "b", "r", "message", "planer gate", raised, why=why), NOW_S - 8 * DAY_S),
            (Entry(4, 4, 36_700.0, "b", "r", "message", "planer gate", raised, why=why), NOW_S - 2 * DAY_S),
            (Entry(5, 5, 36_701.0, "b", "r", "gate_command", "planer gate", "open"), NOW_S - 2 * DAY_S),
        ]
    )
    history.close()
    log = CareLog(folder / "care.jsonl")
    for days, pa in ((90, 1600.0), (45, 1500.0), (1, 1200.0)):
        more = {"tap": "riser", "gates": ["planer gate"], "pa": pa}
        log.add(Done(NOW_S - days * DAY_S, "suction", "collector", "Ada <script>", more))
    log.add(Done(NOW_S - DAY_S, "stop_proved", "collector", "the controller", {"took_s": 0.7, "allowed_s": 1.75}))
    return folder


def test_the_book_of_a_shop_that_has_run(tmp_path: Path) -> None:
    html = book("garage-one-collector", filled(tmp_path), '  call: ["Electrician: 555 0100"]\n')
    said = bare(html)
    order = ["When the controller is dead", "Whom to call", "As built", "Every line of the board", "Settings", "Tests"]
    order += ["Monthly checks", "Care", "Events", "The shop file"]
    places = [html.index(f"<h2>{one}") for one in order]
    assert places == sorted(places)
    assert "Electrician: 555 0100" in said
    assert 'class="blank"' not in html
    assert "collector 8 s 21 s" in said
    assert "by the page, from 192.168.1.7" in said
    assert "Suction at riser is 25% below day one." in said
    assert "collector: Stop proved on " in said
    assert "Bin of collector 10.2 h of running of 10.0 h" in said
    assert "collector 10.2 h, 1 start" in said
    assert "planer gate 1 move" in said
    assert "Planer gate did not open and is now held. 2 " in said
    assert "spin_up: 3 s" in said
    assert "<script>" not in html
    assert "http" not in html.replace("http://www.w3.org", "")


def test_without_state_it_says_so_and_leaves_lines_to_fill_in(tmp_path: Path) -> None:
    html = book("one-evening", tmp_path / "none")
    assert f"There is no state folder {tmp_path / 'none'}: settings, events, checks and care are not in this" in bare(
        html
    )
    assert html.count('class="blank"') == 4
    assert "No reading yet. The first one is day one" in bare(html)


def test_where_a_hand_switch_is_wired_the_first_page_names_it(tmp_path: Path) -> None:
    text = example("one-evening").read_text(encoding="utf-8")
    text += "\ninputs:\n  red selector: {kind: hand-off-auto, hand_pin: GPIO5, auto_pin: GPIO6}\n"
    shop = load_shop(text, "x.yaml")
    assert not isinstance(shop, Faults)
    said = bare(book_page(facts_of(shop, "x.yaml", text, tmp_path, datetime.fromtimestamp(NOW_S))))
    assert "Turn red selector to Hand. It runs by wire, past the controller." in said


def test_a_damaged_state_costs_its_part_and_no_more(tmp_path: Path) -> None:
    (filled(tmp_path) / "state.sqlite").write_bytes(b"nothing" * 40)
    said = bare(book("garage-one-collector", tmp_path))
    assert f"state.sqlite in {tmp_path} cannot be copied: it is not a database." in said
    assert "collector 10.2 h, 1 start" in said


@pytest.mark.parametrize("name", names())
def test_every_example_has_a_book_without_a_refused_word(name: str, tmp_path: Path) -> None:
    said = bare(book(name, tmp_path)).lower()
    assert "the shop file" in said
    for word in ("certified", "explosion-proof", "compliant"):
        assert word not in said


def checkup(*words: str, status: int = 0) -> str:
    done = CliRunner().invoke(app, ["checkup", "garage-one-collector", *words])
    assert done.exit_code == status, done.output
    return done.output


def test_a_reading_from_the_terminal_is_kept_and_stands_against_day_one(tmp_path: Path) -> None:
    state = ("--state", str(tmp_path))
    at = ("--at", "riser", "--open", "planer gate", "--who", "Ada")
    first = checkup(*state, "--suction", "6 in wg", *at)
    assert first.startswith("Written down: 6.0 in wg at riser.\ncollector: Suction at riser with planer gate open. One")
    checkup(*state, "--stopped", "collector")
    said = checkup(*state, "--suction", "1 kPa", *at)
    assert "Last reading 33% below day one.\n  Look in this order: bin, filter, hose.\n" in said
    assert "collector: Seen to stop on " in said
    kept = CareLog(tmp_path / "care.jsonl").read()
    assert [(done.what, done.who, done.more.get("pa")) for done in kept] == [
        ("suction", "Ada", 1494.5),
        ("stop_seen", "the terminal", None),
        ("suction", "Ada", 1000.0),
    ]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--suction", "7"), '"7" is no suction; write such as "1.5 kPa" or "6 in wg", 10 Pa to 40 kPa.\n'),
        (("--suction", "90 kPa"), '"90 kPa" is no suction; write such as "1.5 kPa" or "6 in wg", 10 Pa to 40 kPa.\n'),
        (("--at", "riser"), "A tap and open gates belong to a reading; add --suction, such as --suction '1.5 kPa'.\n"),
        (("--stopped", "colector"), 'There is no collector colector; there are collector; did you mean "collector"?\n'),
        (
            ("--suction", "1 kPa", "--at", "riser", "--open", "door"),
            "door is no gate of collector; there are saw gate, jointer gate, planer gate, bandsaw gate, sander gate or "
            "mitre gate.\n",
        ),
    ],
)
def test_what_cannot_be_written_down_is_refused_in_words(tmp_path: Path, words: tuple[str, ...], said: str) -> None:
    assert checkup("--state", str(tmp_path), *words, status=2) == said
    assert list(tmp_path.iterdir()) == []


def test_without_a_state_folder_nothing_is_made(tmp_path: Path) -> None:
    folder = tmp_path / "none"
    said = checkup("--state", str(folder), "--stopped", "collector", status=2)
    assert said == f"There is no state folder {folder}. Start the controller once, or name it with --state.\n"
    assert not folder.exists()


def test_the_command_writes_one_file(tmp_path: Path) -> None:
    out = tmp_path / "book.html"
    done = CliRunner().invoke(app, ["book", "one-evening", "--state", str(tmp_path), "--out", str(out)])
    assert done.exit_code == 0
    assert done.output == (
        f"The book of One evening in the shed: {out}. Print it and hang it at the collector's switch.\n"
    )
    assert out.read_text(encoding="utf-8").startswith("<!doctype html>")
    done = CliRunner().invoke(app, ["book", "one-evening", "--out", str(tmp_path / "no" / "b.html")])
    assert (done.exit_code, done.output) == (
        2,
        f"{tmp_path / 'no' / 'b.html'}: this file cannot be written (No such file or directory)\n",
    )
