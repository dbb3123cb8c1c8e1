"""The demo: the real service on a virtual shop: a cut from switch to rest, a delay changed, the plug pulled."""

import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from gatekeeper.control.messages import Entry
from gatekeeper.demo import Demo
from gatekeeper.records.history_reading import HistoryReader
from gatekeeper.service.clock import FastClock
from gatekeeper.service.face import GateWord, ShopView, StopWord
from gatekeeper.service.running import HISTORY_FILE
from gatekeeper.service.wording import word_of
from gatekeeper.shop.examples import example
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from sim.bench import VirtualBench
from sim.plant import VirtualShop

#: The shop's seconds in a real one.
SPEED = 4.0
#: Only guards against hanging.
DEADLINE_S = 60.0


class Player:
    """Somebody at the demo's bench who waits for what the page shows."""

    def __init__(self, demo: Demo, folder: Path) -> None:
        self.demo = demo
        self.folder = folder

    def work(self, key: str, to: str) -> None:
        answer = self.demo.bench.work(key, to)
        assert answer.accepted, answer.sentence

    def until(self, true: Callable[[ShopView], bool]) -> ShopView:
        ends_s = time.monotonic() + DEADLINE_S
        version = -1
        while time.monotonic() < ends_s:
            view = self.demo.view()
            if true(view):
                return view
            self.demo.wait_for_change(max(version, view.version), 0.5)
        raise AssertionError(f"never came; the page says: {self.demo.view().sentence.text}")

    def record(self, holds: Callable[[list[Entry]], bool]) -> list[Entry]:
        """The record, once the disk has it."""
        ends_s = time.monotonic() + DEADLINE_S
        while time.monotonic() < ends_s:
            self.demo.history(None)  # asks for what still waits
            entries = [dated.entry for dated in HistoryReader(self.folder / HISTORY_FILE).last(5000)]
            if entries and holds(entries):
                return entries
        raise AssertionError("the record never held it")


@pytest.fixture
def player(tmp_path: Path) -> Iterator[Player]:
    path = example("garage-one-collector")
    shop = load_shop(path.read_text(encoding="utf-8"), path.name)
    assert not isinstance(shop, Faults)
    demo = Demo(shop, tmp_path, VirtualShop, VirtualBench, FastClock(SPEED))
    demo.start()
    made = Player(demo, tmp_path)
    made.until(lambda view: gate(view, "saw gate") is GateWord.OPEN)
    yield made
    demo.stop()


def gate(view: ShopView, name: str) -> GateWord:
    return next(found.word for found in view.gates if found.name == name)


def runs(view: ShopView) -> bool:
    return next(found.runs for found in view.motors if found.name == "collector")


def find(record: list[Entry], kind: str, subject: str, word: str) -> Entry:
    return next(entry for entry in record if (entry.kind, entry.subject, word_of(entry)) == (kind, subject, word))


def test_one_cut_from_the_switch_to_rest(player: Player) -> None:
    player.work("tool:bandsaw", "on")
    player.until(lambda view: gate(view, "bandsaw gate") is GateWord.OPEN and runs(view))
    player.until(lambda view: gate(view, "saw gate") is GateWord.SHUT)
    player.work("tool:bandsaw", "off")
    counting = player.until(lambda view: any(motor.stops_at_s is not None for motor in view.motors))
    first = next(motor.stops_at_s for motor in counting.motors if motor.name == "collector")
    # The countdown changes under the finger.
    assert player.demo.set_spin_down("collector", 30.0, "page", "192.168.1.5").result(DEADLINE_S).accepted
    # The countdown may be on the page a moment before the name of who changed it: that one comes back from the disk.
    longer = player.until(
        lambda view: any(
            motor.stops_at_s is not None
            and motor.stops_at_s > (first or 0) + 5
            and motor.spin_down is not None
            and motor.spin_down.changed_by is not None
            for motor in view.motors
        )
    )
    delay = next(motor.spin_down for motor in longer.motors if motor.name == "collector")
    assert delay is not None
    assert (delay.value_s, delay.changed_by) == (30.0, "the page, from 192.168.1.5")
    assert player.demo.undo("collector", "page", "192.168.1.5").result(DEADLINE_S).accepted
    player.until(lambda view: not runs(view))
    record = player.record(lambda entries: any(e.rule == "C5" and word_of(e) == "off" for e in entries))
    seen = find(record, "tool", "bandsaw", "running")
    opened = find(record, "gate_command", "bandsaw gate", "open")
    on = find(record, "motor_command", "collector", "on")
    shut = find(record, "gate_command", "saw gate", "shut")
    off = next(
        entry for entry in record if entry.kind == "motor_command" and word_of(entry) == "off" and entry.seq > on.seq
    )
    assert opened.step == seen.step
    assert opened.seq < on.seq < off.seq
    assert shut.seq > opened.seq
    assert off.rule == "C5"
    assert [entry for entry in record if entry.kind in ("dropped", "fault")] == []


def test_a_stop_in_mid_cut_says_who_stopped_and_what_it_means(player: Player) -> None:
    player.work("tool:bandsaw", "on")
    player.until(lambda view: runs(view))
    assert player.demo.request("stop", None, "page", address="192.168.1.9").result(DEADLINE_S).accepted
    view = player.until(
        lambda view: any(
            motor.stop is not None and motor.stop.word in (StopWord.STOPPING, StopWord.STOPPED) for motor in view.motors
        )
    )
    stop = next(motor.stop for motor in view.motors if motor.name == "collector")
    assert stop is not None
    assert "192.168.1.9" in stop.sentence
    assert any("without air" in message.sentence for message in view.messages)


def test_the_plug_pulled_in_mid_cut_and_put_back_starts_nothing(player: Player) -> None:
    player.work("tool:planer", "on")
    player.until(lambda view: runs(view))
    player.work("board:plug", "pull")
    beat = player.demo.beat()
    refused = player.demo.request("run", "collector", "page").result(DEADLINE_S)
    assert (refused.accepted, refused.code) == (False, "no_power")
    assert player.demo.beat().step_s == beat.step_s
    player.work("board:plug", "in")
    player.until(lambda view: any(message.key == "found_running:planer" for message in view.messages))
    record = player.record(lambda entries: any(e.subject == "planer" and e.kind == "message" for e in entries))
    last_wake = max(entry.seq for entry in record if entry.kind == "wake" and entry.run == record[-1].run)
    second_run = [entry for entry in record if entry.run == record[-1].run and entry.seq >= last_wake]
    assert [entry for entry in second_run if entry.kind == "motor_command" and word_of(entry) == "on"] == []
    assert find(second_run, "gate_command", "planer gate", "open").rule == "C4"
