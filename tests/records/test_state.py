"""Kept values: they come back, all or none, and what was found stays so until the first put."""

import json
from datetime import datetime
from pathlib import Path

import pytest

from gatekeeper.control.messages import Keep, Kept
from gatekeeper.records import state_form
from gatekeeper.records.state import StateStore
from gatekeeper.records.state_form import CHANGES_KEPT, Change, encode

NOW = datetime(2025, 3, 9, 7, 30, 5)


def make(path: Path) -> StateStore:
    return StateStore(path, wall=lambda: NOW)


def test_first_start_is_fresh_and_comes_back_with_types(tmp_path: Path) -> None:
    path = tmp_path / "shop" / "state.sqlite"
    store = make(path)
    assert store.load("boot-1") == Kept(values={}, fresh=True, damaged=False, same_boot=False)
    values = {"starts:main": [1.5, 20.25], "out_of_service": {"who": "Ä\ud800", "since": None}, "n": 0, "no": False}
    store.put([Keep(key, value) for key, value in values.items()])
    store.close()
    again = make(path)
    assert again.load("boot-1") == Kept(values=values, fresh=False, damaged=False, same_boot=True)
    assert again.trouble is None
    again.close()


def test_none_forgets_and_last_of_equal_keys_wins(tmp_path: Path) -> None:
    store = make(tmp_path / "state.sqlite")
    store.load("b")
    store.put([Keep("a", 1), Keep("b", 2)])
    store.put([Keep("a", None), Keep("b", 3), Keep("b", 4), Keep("never", None)])
    store.close()
    assert make(tmp_path / "state.sqlite").load("b").values == {"b": 4}


def test_what_load_found_stays_until_the_first_put(tmp_path: Path) -> None:
    path = tmp_path / "state.sqlite"
    for _ in range(2):
        store = make(path)
        assert store.load("boot-1").fresh is True
        store.close()
    store = make(path)
    store.load("boot-1")
    store.put([Keep("at_s", 5)])
    store.close()
    # A process of the second boot that dies before it puts: the third start must not believe the instant.
    for _ in range(2):
        store = make(path)
        assert store.load("boot-2") == Kept(values={"at_s": 5}, fresh=False, damaged=False, same_boot=False)
        store.close()
    store = make(path)
    store.load("boot-2")
    store.put([])
    store.close()
    assert make(path).load("boot-2").same_boot is True


def test_damage_stays_until_the_first_put(tmp_path: Path) -> None:
    path = tmp_path / "state.sqlite"
    store = make(path)
    store.load("b")
    store.put([Keep("stop", True)])
    store.close()
    path.write_bytes(b"")
    store = make(path)
    assert store.load("b").damaged is True
    store.put([Keep("clean_stop", None)])
    store.close()
    store = make(path)
    assert store.load("b") == Kept(values={}, fresh=False, damaged=True, same_boot=True)
    assert store.trouble == (
        "The kept settings were lost at an earlier start, and nothing has been kept since. Settings are back at their "
        "defaults, and every stop counts as in force: look through both, then clear this message."
    )
    store.put([Keep("stop", True)])
    store.close()
    assert make(path).load("b") == Kept(values={"stop": True}, fresh=False, damaged=False, same_boot=True)


@pytest.mark.parametrize(
    ("keep", "sentence"),
    [
        (Keep("", 1), "a kept value needs a key"),
        (Keep("a", float("nan")), "a: nan cannot be kept: Out of range float values are not JSON compliant"),
        (Keep("a", {1, 2}), "a: {1, 2} cannot be kept: Object of type set is not JSON serializable"),
    ],
)
def test_what_is_not_json_is_refused_and_nothing_is_written(tmp_path: Path, keep: Keep, sentence: str) -> None:
    store = make(tmp_path / "state.sqlite")
    store.load("b")
    with pytest.raises(ValueError) as caught:
        store.put([Keep("good", 1), keep])
    assert str(caught.value).partition(": nan (")[0] == sentence or str(caught.value).startswith(sentence)
    store.close()
    assert make(tmp_path / "state.sqlite").load("b").values == {}


def test_encode_gives_json_texts() -> None:
    assert encode([Keep("a", {"x": [1, None]}), Keep("b", None)]) == {"a": '{"x":[1,null]}', "b": None}


def test_put_needs_load(tmp_path: Path) -> None:
    with pytest.raises(RuntimeError, match="load comes before put"):
        make(tmp_path / "state.sqlite").put([Keep("a", 1)])


def test_changes_tell_who_and_what_was_before(tmp_path: Path) -> None:
    path = tmp_path / "state.sqlite"
    store = make(path)
    store.load("b")
    first = Change(1000.5, "page", "main collector", "spin_down_s", 8.0, 12.0)
    second = Change(1001.5, "local", "planer", "spin_down_s", None, 3.0)
    store.put([Keep("setting:main collector", 12.0)], [first])
    store.put([Keep("setting:planer", 3.0)], [second])
    assert store.changes() == [second, first]
    store.close()
    store = make(path)
    store.load("b")
    assert store.changes() == [second, first]
    assert store.changes(limit=1) == [second]
    assert store.changes(subject="main collector") == [first]
    assert store.changes(name="hold_s") == []
    store.close()


def test_only_the_latest_changes_are_kept(tmp_path: Path) -> None:
    path = tmp_path / "state.sqlite"
    store = make(path)
    store.load("b")
    store.put([], [Change(float(i), "page", None, "n", i, i + 1) for i in range(CHANGES_KEPT)])
    store.put([], [Change(-1.0, "page", None, "n", 0, 1), Change(-2.0, "page", None, "n", 0, 1)])
    store.close()
    store = make(path)
    store.load("b")
    times = [change.at_s for change in store.changes(limit=2 * CHANGES_KEPT)]
    assert times == [-2.0, -1.0, *(float(i) for i in range(CHANGES_KEPT - 1, 1, -1))]
    store.close()


def test_the_note_beside_the_file_is_made_again(tmp_path: Path) -> None:
    path = tmp_path / "state.sqlite"
    store = make(path)
    store.load("b")
    store.put([Keep("a", 1)])
    store.close()
    note = tmp_path / "state.sqlite.begun"
    text = note.read_text()
    assert text == (
        "2025-03-09\nstate.sqlite was begun here on that day. This note tells a lost file from a first start:\n"
        "leave it where it is.\n"
    )
    note.unlink()
    store = make(path)
    assert store.load("b").values == {"a": 1}
    store.close()
    assert note.read_text() == text


def test_an_equal_value_writes_nothing(tmp_path: Path) -> None:
    path = tmp_path / "state.sqlite"
    store = make(path)
    store.load("b")
    store.put([Keep("a", [1, 2])])
    before = path.read_bytes()
    store.put([Keep("a", [1, 2])])
    assert path.read_bytes() == before
    store.put([Keep("a", [1, 3])])
    assert path.read_bytes() != before
    assert json.loads('{"a": [1, 3]}') == make(path).load("b").values
    store.close()


def test_every_commit_is_synced_before_it_is_said(tmp_path: Path) -> None:
    connection = state_form.connect(tmp_path / "state.sqlite")
    # 2 is FULL: SQLite syncs journal and file in the order that a power cut cannot break.
    assert connection.execute("PRAGMA synchronous").fetchone() == (2,)
    assert connection.execute("PRAGMA journal_mode").fetchone() == ("truncate",)
    connection.close()
