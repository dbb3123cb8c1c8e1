"""A new card works: backed up while the controller runs, restored in an empty folder, and the shop goes on."""

import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from typer.testing import CliRunner

from gatekeeper.backing import WAITING, left_on_the_page, take_up_waiting
from gatekeeper.cli import app
from gatekeeper.control.messages import Answer, Event, Requested, SettingChanged
from gatekeeper.control.snapshot import CoreView
from gatekeeper.devices.bench import BenchPins
from gatekeeper.devices.pins import open_pins
from gatekeeper.records.history_reading import HistoryReader
from gatekeeper.records.totals import Total
from gatekeeper.service.clock import FastClock
from gatekeeper.service.running import HISTORY_FILE, Service
from gatekeeper.shop.examples import example
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop

MOTOR, SENSOR = 17, 23
#: Only guards against hanging.
DEADLINE_S = 30.0


class Card:
    """One card: a shop file, a folder of state, and the service on pins of its own."""

    def __init__(self, folder: Path, boot: str) -> None:
        self.shop_file, self.state = folder / "shop.yaml", folder / "state"
        clock = FastClock(20.0)
        pins = open_pins("mock", clock.now)
        self.hands = BenchPins(pins)
        shop = load_shop(self.shop_file.read_text(encoding="utf-8"), "shop.yaml")
        assert not isinstance(shop, Faults)
        self.service = Service(shop, pins, self.state, clock=clock, boot=boot)
        self.hands.drive(SENSOR, high=True)
        self.service.start()
        self.until(lambda view: view.awake and view.tools[0].reading == "stopped")

    def until(self, true: Callable[[CoreView], bool]) -> CoreView:
        ends_s = time.monotonic() + DEADLINE_S
        while time.monotonic() < ends_s:
            view = self.service.last_view
            if view is not None and true(view):
                return view
        raise AssertionError(f"never came: {self.service.last_view}")

    def ask(self, build: Callable[[str], Event]) -> Answer:
        return self.service.loop.ask(build).result(DEADLINE_S)

    def totals(self) -> list[Total]:
        assert self.service.history.flush(DEADLINE_S)
        return HistoryReader(self.state / HISTORY_FILE).totals()


@pytest.fixture
def cards(tmp_path: Path) -> Iterator[Callable[[str], Card]]:
    made: list[Card] = []

    def make(name: str) -> Card:
        made.append(Card(tmp_path / name, f"boot of {name}"))
        return made[-1]

    (tmp_path / "old").mkdir()
    (tmp_path / "old" / "shop.yaml").write_bytes(example("one-evening").read_bytes())
    yield make
    for card in made:
        if card.service.is_alive:
            card.service.stop()


def gatekeeper(*words: str, status: int = 0) -> str:
    done = CliRunner().invoke(app, list(words))
    assert done.exit_code == status, done.output
    return done.output


def backed_up_in_mid_cut(old: Card, out: Path) -> None:
    motor = old.service.plan.motors["collector"].name
    assert old.ask(lambda ref: SettingChanged(motor, "spin_down_s", 33.0, "page", ref)).accepted
    old.hands.drive(SENSOR, high=False)
    old.until(lambda view: view.motors[0].on)
    old.totals()
    gatekeeper("backup", str(old.shop_file), str(out), "--state", str(old.state))


def test_a_new_card_has_settings_latches_and_counters_and_starts_nothing(
    cards: Callable[[str], Card], tmp_path: Path
) -> None:
    old = cards("old")
    out = tmp_path / "shop.backup"
    backed_up_in_mid_cut(old, out)
    assert old.ask(lambda ref: Requested("out_of_service", None, "page", text="Ada: belt", ref=ref)).accepted
    gatekeeper("backup", str(old.shop_file), str(out), "--state", str(old.state), "--replace")
    had = old.totals()
    old.service.lose_power()
    new = tmp_path / "new"
    said = gatekeeper("restore", str(out), "--shop", str(new / "shop.yaml"), "--state", str(new / "state"))
    assert "Nothing starts because of this." in said
    assert (new / "shop.yaml").read_bytes() == old.shop_file.read_bytes()
    card = cards("new")
    assert not card.service.is_first_start
    assert card.service.troubles().sentences == ()
    view = card.until(lambda view: view.awake)
    motor = view.motors[0]
    assert (motor.spin_down_s, motor.spin_down_set) == (33.0, True)
    assert motor.out_of_service is not None
    assert motor.out_of_service[1] == "Ada: belt"
    assert [(total.kind, total.subject, total.starts) for total in card.totals()] == [
        (total.kind, total.subject, total.starts) for total in had
    ]
    # Back in service, and a tool that starts: still nothing, until somebody has pressed Clear.
    assert card.ask(lambda ref: Requested("back_in_service", None, "page", ref=ref)).accepted
    card.hands.drive(SENSOR, high=False)
    locked = card.until(lambda view: view.tools[0].reading == "running").motors[0]
    assert (locked.on, locked.starts_locked) == (False, True)
    assert card.ask(lambda ref: Requested("clear", "collector", "page", ref=ref)).accepted
    card.hands.drive(SENSOR, high=True)
    card.until(lambda view: view.tools[0].reading == "stopped")
    assert not card.service.last_view.motors[0].on  # type: ignore[union-attr]
    card.hands.drive(SENSOR, high=False)
    started = card.until(lambda view: view.motors[0].on).motors[0]
    assert not started.starts_locked
    assert started.starts < 1.0


def test_restore_is_refused_while_a_controller_runs(cards: Callable[[str], Card], tmp_path: Path) -> None:
    old = cards("old")
    out = tmp_path / "shop.backup"
    backed_up_in_mid_cut(old, out)
    said = gatekeeper("restore", str(out), "--shop", str(tmp_path / "x.yaml"), "--state", str(old.state), status=2)
    assert said.endswith("Stop that one first. Nothing was restored.\n")
    assert not (tmp_path / "x.yaml").exists()


def test_what_was_left_on_the_page_is_taken_up_at_the_next_start(cards: Callable[[str], Card], tmp_path: Path) -> None:
    old = cards("old")
    out = tmp_path / "shop.backup"
    backed_up_in_mid_cut(old, out)
    given = old.state / "upload"
    given.write_bytes(out.read_bytes())
    said = left_on_the_page(given, old.state)
    assert "whole, and laid ready. Nothing has changed yet." in said
    assert old.ask(lambda ref: SettingChanged("collector", "spin_down_s", 99.0, "page", ref)).accepted
    old.service.stop()
    assert take_up_waiting(old.shop_file, old.state)[0].startswith("One evening in the shed is back as it was on ")
    assert not (old.state / WAITING).exists()
    again = cards("old")
    assert again.until(lambda view: view.awake).motors[0].spin_down_s == 33.0
    (aside,) = old.state.glob("before-restore-*")
    assert (aside / "state.sqlite").exists()


def test_a_file_that_cannot_be_taken_up_never_stops_the_start(tmp_path: Path) -> None:
    shop = tmp_path / "shop.yaml"
    shop.write_text("as it was")
    (tmp_path / WAITING).write_bytes(b"torn")
    assert take_up_waiting(shop, tmp_path) == [
        "The backup that was left on the page was not put back: restore.waiting is damaged or no backup of this "
        "program. Name a file that gatekeeper backup has made."
    ]
    assert shop.read_text() == "as it was"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["restore.refused", "shop.yaml"]


def test_words_that_are_wrong_are_answered_in_words(tmp_path: Path) -> None:
    out = tmp_path / "a.backup"
    assert gatekeeper("restore", str(out), status=2) == f"{out}: there is no such file.\n"
    out.write_text("mine")
    said = gatekeeper("backup", "one-evening", str(out), "--state", str(tmp_path), status=2)
    assert said == f"{out}: this file is there already; name another, or add --replace.\n"
    said = gatekeeper("backup", "one-evening", str(tmp_path), "--state", str(tmp_path), status=2)
    assert said == f"{tmp_path}: this is a folder; name a file, such as {tmp_path / 'shop.backup'}.\n"
    nowhere = tmp_path / "no" / "a.backup"
    said = gatekeeper("backup", "one-evening", str(nowhere), "--state", str(tmp_path), status=2)
    assert said == f"{nowhere.parent}: there is no such folder.\n"
