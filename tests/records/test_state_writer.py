"""The keeping thread: never in the way, one commit for all that waits, and nothing owed is forgotten."""

import threading
from collections.abc import Sequence
from pathlib import Path

import pytest

from gatekeeper.control.messages import Keep
from gatekeeper.records.state import NotKeptError, StateStore
from gatekeeper.records.state_form import Change, Encoded
from gatekeeper.records.state_writer import Done, StateWriter


class GatedStore(StateStore):
    """A store whose disk can be stopped and can fail."""

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self.at_disk = threading.Event()
        self.go = threading.Event()
        self.go.set()
        self.commits: list[dict[str, str | None]] = []
        self.fails: list[Exception] = []
        self.committed = threading.Semaphore(0)

    def put_encoded(self, texts: Encoded, changes: Sequence[Change] = ()) -> None:
        self.at_disk.set()
        assert self.go.wait(30)
        self.commits.append(dict(texts))
        if self.fails:
            raise self.fails.pop(0)
        super().put_encoded(texts, changes)
        self.committed.release()


class Answers:
    """What ``done`` was told, and a way to wait for it."""

    def __init__(self) -> None:
        self.told: list[tuple[int, bool, str | None]] = []
        self._came = threading.Semaphore(0)

    def done(self, number: int) -> Done:
        def told(kept: bool, sentence: str | None) -> None:
            self.told.append((number, kept, sentence))
            self._came.release()

        return told

    def wait(self, count: int) -> None:
        for _ in range(count):
            assert self._came.acquire(timeout=30)


@pytest.fixture
def store(tmp_path: Path) -> GatedStore:
    store = GatedStore(tmp_path / "state.sqlite")
    store.load("boot")
    return store


def kept(store: StateStore) -> object:
    store.close()
    return StateStore(store.path).load("boot").values


def test_done_comes_after_the_commit(store: GatedStore) -> None:
    answers = Answers()
    seen: list[object] = []
    writer = StateWriter(store)
    writer.start()

    def look_then_tell(ok: bool, sentence: str | None) -> None:
        seen.append(kept(store))
        answers.done(1)(ok, sentence)

    writer.submit([Keep("a", 1)], look_then_tell)
    answers.wait(1)
    assert (seen, answers.told) == ([{"a": 1}], [(1, True, None)])
    assert writer.stop(30) is True


def test_a_stopped_disk_does_not_hold_up_submit_and_all_goes_in_one_commit(store: GatedStore) -> None:
    answers = Answers()
    writer = StateWriter(store)
    writer.start()
    store.go.clear()
    writer.submit([Keep("a", 1)], answers.done(1))
    assert store.at_disk.wait(30)
    value = {"n": 2}
    change = Change(1.0, "page", "main", "spin_down_s", 1, 3)
    writer.submit([Keep("a", value), Keep("b", 1)], answers.done(2), [change])
    value["n"] = 99  # what was handed over is what counts
    writer.submit([Keep("b", None), Keep("c", 3)], answers.done(3))
    assert answers.told == []
    store.go.set()
    answers.wait(3)
    assert store.commits == [{"a": "1"}, {"a": '{"n":2}', "b": None, "c": "3"}]
    assert answers.told == [(1, True, None), (2, True, None), (3, True, None)]
    assert store.changes() == [change]
    assert writer.stop(30) is True
    assert kept(store) == {"a": {"n": 2}, "c": 3}


def test_a_failing_disk_says_so_and_what_is_owed_is_kept_later(store: GatedStore) -> None:
    answers = Answers()
    reports: list[tuple[str, str | None]] = []
    writer = StateWriter(store, report=lambda code, text: reports.append((code, text)), retry_first_s=0.001)
    store.fails = [NotKeptError("Not kept: no room.") for _ in range(3)]
    writer.submit([Keep("a", 1)], answers.done(1))
    writer.start()
    answers.wait(1)
    assert answers.told == [(1, False, "Not kept: no room.")]
    # Nobody submits anything more: it is tried again by itself.
    assert store.committed.acquire(timeout=30)
    assert store.commits == [{"a": "1"}] * 4
    assert writer.stop(30) is True
    assert reports == [("not_kept", "Not kept: no room."), ("not_kept", None)]
    assert kept(store) == {"a": 1}


def test_the_next_job_takes_what_is_owed_along(store: GatedStore) -> None:
    answers = Answers()
    writer = StateWriter(store, retry_first_s=1000)
    store.fails = [NotKeptError("Not kept: no room.")]
    writer.start()
    writer.submit([Keep("a", 1), Keep("b", 1)], answers.done(1))
    answers.wait(1)
    assert writer.trouble == "Not kept: no room."
    writer.submit([Keep("b", 2)], answers.done(2))
    answers.wait(1)
    assert answers.told == [(1, False, "Not kept: no room."), (2, True, None)]
    assert writer.stop(30) is True
    assert kept(store) == {"a": 1, "b": 2}


def test_stop_writes_what_waits_and_later_jobs_are_refused(store: GatedStore) -> None:
    answers = Answers()
    writer = StateWriter(store)
    writer.submit([Keep("a", 1)], answers.done(1))
    writer.start()
    assert writer.stop(30) is True
    writer.submit([Keep("a", 2)], answers.done(2))
    assert answers.told == [
        (1, True, None),
        (2, False, "Not kept: the controller is ending. After a restart the earlier value counts."),
    ]
    assert kept(store) == {"a": 1}


def test_stop_does_not_wait_for_a_dead_disk(store: GatedStore) -> None:
    answers = Answers()
    writer = StateWriter(store)
    writer.start()
    store.go.clear()
    writer.submit([Keep("a", 1)], answers.done(1))
    assert store.at_disk.wait(30)
    assert writer.stop(0.0) is False
    store.go.set()
    answers.wait(1)


def test_a_fault_in_the_program_or_a_listener_ends_nothing(store: GatedStore, caplog: pytest.LogCaptureFixture) -> None:
    answers = Answers()
    writer = StateWriter(store, retry_first_s=1000)
    store.fails = [ZeroDivisionError()]
    writer.start()
    writer.submit([Keep("a", 1)], answers.done(1))
    answers.wait(1)
    text = "Not kept: the program failed while writing. After a restart the earlier value counts."
    assert answers.told == [(1, False, text)]

    def broken(ok: bool, sentence: str | None) -> None:
        raise ZeroDivisionError

    writer.submit([Keep("a", 2)], broken)
    writer.submit([Keep("a", 3)], answers.done(3))
    answers.wait(1)
    assert answers.told[1:] == [(3, True, None)]
    assert writer.stop(30) is True
    assert [record.message for record in caplog.records] == [
        "keeping values failed",
        "a listener of the kept values failed",
    ]


def test_what_cannot_be_kept_is_the_callers_error(store: GatedStore) -> None:
    writer = StateWriter(store)
    answers = Answers()
    with pytest.raises(ValueError, match="a: "):
        writer.submit([Keep("a", object())], answers.done(1))
    writer.start()
    assert writer.stop(30) is True
    assert answers.told == []


def test_damage_found_while_running_is_reported(store: GatedStore) -> None:
    answers = Answers()
    reports: list[tuple[str, str | None]] = []
    store.put([Keep("a", 1)])
    writer = StateWriter(store, report=lambda code, text: reports.append((code, text)))
    writer.start()
    store.path.unlink()
    writer.submit([Keep("b", 2)], answers.done(1))
    answers.wait(1)
    assert writer.stop(30) is True
    assert answers.told == [(1, True, None)]
    assert reports == [("kept_damaged", store.trouble)]
    assert store.trouble is not None
    assert "turned out damaged while running" in store.trouble
    assert kept(store) == {"a": 1, "b": 2}
