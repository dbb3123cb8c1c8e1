"""The record as history: entries, lanes, totals and lines; trimmed; set aside when damaged; the writer thread."""

import io
import json
import random
import shutil
import sqlite3
import threading
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from gatekeeper.control.messages import Entry
from gatekeeper.records import history as history_module
from gatekeeper.records.history import History
from gatekeeper.records.history_reading import HistoryReader, HistoryUnreadableError, Lane, Span
from gatekeeper.records.history_writer import HistoryWriter
from gatekeeper.records.totals import Total

NOW = datetime(2025, 3, 9, 7, 30, 5)
ASIDE = "history.sqlite.damaged-2025-03-09-073005"


def entry(seq: int, t_s: float, kind: str, subject: str | None = None, value: Any = None, run: str = "r1") -> Entry:
    return Entry(seq=seq, step=seq, t_s=t_s, boot="b1", run=run, kind=kind, subject=subject, value=value)


def written(path: Path, *batches: list[tuple[Entry, float]]) -> HistoryReader:
    history = History(path, wall=lambda: NOW)
    assert history.open() is None
    for batch in batches:
        history.write(batch)
    history.close()
    return HistoryReader(path)


def test_entries_come_back_whole_and_in_order(tmp_path: Path) -> None:
    full = Entry(7, 3, 12.3456, "b1", "r1", "refusal", "planer", {"what": "open", "who": "page"}, 5, "C13", "Not now.")
    plain = Entry(8, 4, 13.0, "b1", "r1", "tick")
    reader = written(tmp_path / "history.sqlite", [(full, 100.0), (plain, 101.0)])
    full.t_s = 12.346
    assert [dated.entry for dated in reader.last()] == [full, plain]
    assert [dated.entry for dated in reader.last(1)] == [plain]
    assert [dated.entry for dated in reader.between(100.0, 101.0)] == [full]
    assert [dated.entry for dated in reader.between(100.5, 200.0)] == [plain]
    assert [dated.entry for dated in reader.between(0.0, 200.0, limit=1)] == [full]


def test_export_is_the_documented_form(tmp_path: Path) -> None:
    reader = written(tmp_path / "history.sqlite", [(entry(1, 2.5, "tool", "Säge", "running"), 1741505405.1239)])
    lines = io.StringIO()
    assert reader.export(lines) == 1
    assert lines.getvalue() == (
        '{"seq": 1, "step": 1, "t_s": 2.5, "boot": "b1", "run": "r1", "kind": "tool", "subject": "Säge", '
        '"value": "running", "cause": null, "rule": null, "why": null, "at": "2025-03-09T07:30:05.123Z"}\n'
    )


def test_no_file_yet_is_an_empty_history(tmp_path: Path) -> None:
    reader = HistoryReader(tmp_path / "history.sqlite")
    assert (reader.last(), reader.between(0, 1), reader.totals(), reader.lanes(0, 1)) == ([], [], [], [])
    assert not (tmp_path / "history.sqlite").exists()


def test_totals_count_hours_and_starts_over_batches_and_runs(tmp_path: Path) -> None:
    on = {"what": "on", "until_s": 12.0}
    renew = {"what": "renew", "until_s": 14.0}
    first = [entry(1, 0, "wake"), entry(2, 10, "tool", "planer", "running"), entry(3, 10, "motor_command", "main", on)]
    second = [entry(4, 12, "motor_command", "main", renew), entry(5, 20, "tool", "planer", "stale")]
    third = [entry(6, 30, "tool", "planer", "stopped"), entry(7, 38, "motor_command", "main", "off")]
    fourth = [entry(8, 40, "motor_command", "main", on), entry(9, 45, "tick")]
    # The run ends without a word: nothing is added for the time that nobody saw.
    fifth = [entry(1, 900, "wake", run="r2"), entry(2, 901, "motor_command", "main", renew, run="r2")]
    sixth = [entry(3, 903, "motor_command", "main", "off", run="r2"), entry(4, 950, "tick", run="r2")]
    batches = [[(one, 1000.0 + one.t_s) for one in batch] for batch in (first, second, third, fourth, fifth, sixth)]
    reader = written(tmp_path / "history.sqlite", *batches)
    assert reader.totals() == [Total("motor", "main", 28.0 + 5.0 + 2.0, 2), Total("tool", "planer", 20.0, 1)]
    together = written(tmp_path / "other.sqlite", [one for batch in batches for one in batch])
    assert together.totals() == reader.totals()


def test_lanes_reach_in_and_end_with_their_run(tmp_path: Path) -> None:
    rows = [
        (entry(1, 0, "gate_belief", "planer gate", {"what": "open", "proof": "switch"}), 900.0),
        (entry(2, 100, "motor_command", "main", {"what": "on", "until_s": 102}), 1000.0),
        (entry(3, 101, "motor_command", "main", {"what": "renew", "until_s": 103}), 1001.0),
        (entry(4, 150, "motor_command", "main", "off"), 1050.0),
        (entry(5, 160, "tool", "planer", "running"), 1060.0),
        (entry(6, 170, "tick"), 1070.0),
        (entry(1, 200, "tool", "planer", "stopped", run="r2"), 1100.0),
        (entry(2, 210, "tick", run="r2"), 1110.0),
    ]
    reader = written(tmp_path / "history.sqlite", rows)
    gate = Lane("gate_belief", "planer gate", (Span(950.0, 1070.0, "open"),))
    motor = Lane("motor_command", "main", (Span(1000.0, 1050.0, "on"), Span(1050.0, 1070.0, "off")))
    ran = Span(1060.0, 1070.0, "running")
    assert reader.lanes(950.0, 2000.0) == [
        gate,
        motor,
        Lane("tool", "planer", (ran, Span(1100.0, 1110.0, "stopped"))),
    ]
    assert reader.lanes(950.0, 2000.0, now_s=1500.0)[2] == Lane(
        "tool", "planer", (ran, Span(1100.0, 1500.0, "stopped"))
    )
    # A quiet stretch: no entry of its own, yet the gate stood open.
    assert reader.lanes(910.0, 950.0) == [Lane("gate_belief", "planer gate", (Span(910.0, 950.0, "open"),))]
    assert reader.lanes(1020.0, 1040.0) == [
        Lane("gate_belief", "planer gate", (Span(1020.0, 1040.0, "open"),)),
        Lane("motor_command", "main", (Span(1020.0, 1040.0, "on"),)),
    ]


def test_trim_by_age_spares_the_rest_when_the_clock_was_wrong(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(history_module, "NEVER_FEWER", 3)
    monkeypatch.setattr(history_module, "TRIM_STEP", 4)
    day = 86_400.0
    walls = [0.1 * day, 0.2 * day, 0.3 * day, 0.4 * day, 0.5 * day, 20 * day, 0.0, 21 * day, 22 * day]
    history = History(tmp_path / "history.sqlite", keep_days=10)
    history.open()
    history.write([(entry(i, i, "tick"), wall) for i, wall in enumerate(walls)])
    reader = HistoryReader(history.path)
    assert history.trim(25 * day) is True
    assert [dated.entry.seq for dated in reader.last()] == [4, 5, 6, 7, 8]
    assert history.trim(25 * day) is True
    assert history.trim(25 * day) is False
    assert [dated.entry.seq for dated in reader.last()] == [5, 6, 7, 8]
    # A clock that jumps ahead by years takes nothing below the least number.
    assert history.trim(9999 * day) is True
    assert history.trim(9999 * day) is False
    assert [dated.entry.seq for dated in reader.last()] == [6, 7, 8]
    history.close()


def test_trim_by_size_keeps_the_file_from_growing(tmp_path: Path) -> None:
    history = History(tmp_path / "history.sqlite", keep_bytes=600_000)
    history.open()
    for batch in range(20):
        history.write([(Entry(batch * 500 + i, 0, 0.0, "b", "r", "tick", why="x" * 100), 0.0) for i in range(500)])
        while history.trim(0.0):
            pass
    newest = HistoryReader(history.path).last(1)[0].entry.seq
    history.close()
    assert newest == 9999
    assert history.path.stat().st_size < 800_000
    kept = len(HistoryReader(history.path).last(20_000))
    assert 1000 < kept < 9000


@pytest.mark.parametrize(
    ("spoil", "reason"),
    [
        (lambda path: path.write_bytes(b"junk" * 2000), "it is not a database"),
        (lambda path: (path.unlink(), path.mkdir()), "a folder stands in its place"),
        (
            lambda path: sqlite3.connect(path).executescript("PRAGMA user_version = 9").connection.close(),
            "its form is number 9, and this program reads number 1",
        ),
        (
            lambda path: sqlite3.connect(path).executescript("DROP INDEX by_wall").connection.close(),
            "its tables are not those that this program made",
        ),
        (
            lambda path: sqlite3.connect(path).executescript("PRAGMA application_id = 5").connection.close(),
            "it is a database of another program",
        ),
    ],
)
def test_a_damaged_history_is_set_aside(tmp_path: Path, spoil: Any, reason: str) -> None:
    path = tmp_path / "history.sqlite"
    written(path, [(entry(1, 1, "tick"), 1.0)])
    spoil(path)
    before = path.read_bytes() if path.is_file() else None
    history = History(path, wall=lambda: NOW)
    assert history.open() == (
        f"The history could not be read: history.sqlite in {tmp_path}: {reason}. It was set aside as {ASIDE} with "
        "every byte kept, and a new file was begun. Hours and starts count from zero again. Nothing that controls the "
        "shop is lost."
    )
    history.write([(entry(2, 2, "tick"), 2.0)])
    history.close()
    assert [dated.entry.seq for dated in HistoryReader(path).last()] == [2]
    aside = path.with_name(ASIDE)
    assert (aside.read_bytes() if aside.is_file() else None) == before


def test_reading_a_damaged_file_is_one_sentence_and_a_flipped_value_stays_one_entry(tmp_path: Path) -> None:
    path = tmp_path / "history.sqlite"
    reader = written(path, [(entry(1, 1, "tool", "planer", {"what": "running"}), 1.0), (entry(2, 2, "tick"), 2.0)])
    path.write_bytes(path.read_bytes().replace(b'{"what"', b'["what"'))
    assert [dated.entry.value for dated in reader.last()] == [{"unreadable": '["what":"running"}'}, None]
    path.write_bytes(b"junk" * 2000)
    with pytest.raises(HistoryUnreadableError) as caught:
        reader.last()
    assert str(caught.value) == (
        f"The history cannot be read, history.sqlite in {tmp_path}: it is not a database. If this comes again, replace "
        "the card or disk."
    )


# ---------------------------------------------------------------- the writer


class GatedHistory(History):
    """A disk that can be stopped, can fail and can be spoilt."""

    def __init__(self, path: Path) -> None:
        super().__init__(path, wall=lambda: NOW)
        self.at_disk = threading.Event()
        self.go = threading.Event()
        self.go.set()
        self.fails: list[sqlite3.Error] = []

    def write(self, stamped: Any) -> None:
        self.at_disk.set()
        assert self.go.wait(30)
        if self.fails:
            raise self.fails.pop(0)
        super().write(stamped)


def named(kind: type[sqlite3.Error], name: str) -> sqlite3.Error:
    error = kind("as SQLite says it")
    error.sqlite_errorname = name
    return error


def test_the_writer_writes_what_was_added(tmp_path: Path) -> None:
    writer = HistoryWriter(History(tmp_path / "h.sqlite"), every_s=1000, wall_s=lambda: 77.0)
    writer.add(entry(1, 1, "wake"))
    writer.start()
    assert writer.flush(30) is True
    reader = HistoryReader(tmp_path / "h.sqlite")
    assert [(dated.entry.seq, dated.wall_s) for dated in reader.last()] == [(1, 77.0)]
    for seq in range(2, 60):
        writer.add(entry(seq, seq, "tick"))
    assert writer.flush(30) is True
    assert [dated.entry.seq for dated in reader.last()] == list(range(1, 60))
    writer.add(entry(60, 60, "stopped"))
    assert writer.stop(30) is True
    assert [dated.entry.seq for dated in reader.last(1)] == [60]
    assert (writer.trouble, writer.lost) == (None, 0)


def test_a_slow_disk_never_blocks_and_what_is_left_out_is_counted(tmp_path: Path) -> None:
    history = GatedHistory(tmp_path / "h.sqlite")
    history.go.clear()
    writer = HistoryWriter(history, every_s=0.001, capacity=3)
    writer.add(entry(1, 1, "wake"))
    writer.start()
    assert history.at_disk.wait(30)
    for seq in range(2, 11):
        writer.add(entry(seq, seq, "tick"))
    assert writer.lost == 7
    history.go.set()
    assert writer.flush(30) is True
    writer.add(entry(11, 11, "tick"))
    assert writer.stop(30) is True
    found = [dated.entry for dated in HistoryReader(history.path).last()]
    assert [(one.seq, one.kind) for one in found] == [
        (1, "wake"),
        (2, "tick"),
        (3, "tick"),
        (4, "gap"),
        (11, "tick"),
    ]
    assert found[3] == Entry(
        seq=4,
        step=4,
        t_s=4.0,
        boot="b1",
        run="r1",
        kind="gap",
        value={"lost": 7, "last_seq": 10},
        why="The disk was too slow: 7 entries of the record could not be kept.",
    )


def test_a_failing_disk_is_reported_once_and_tried_again(tmp_path: Path) -> None:
    told: list[tuple[str, str | None]] = []
    history = GatedHistory(tmp_path / "h.sqlite")
    history.fails = [named(sqlite3.OperationalError, "SQLITE_FULL") for _ in range(2)]
    writer = HistoryWriter(history, every_s=1000, report=lambda code, sentence: told.append((code, sentence)))
    writer.start()
    writer.add(entry(1, 1, "wake"))
    assert writer.flush(30) is False
    assert writer.flush(30) is False
    sentence = (
        f"The history is not being written, h.sqlite in {tmp_path}: there is no room left on its disk. Free some room "
        "there. The shop runs on without it."
    )
    assert writer.trouble == sentence
    assert writer.flush(30) is True
    assert told == [("history_not_written", sentence), ("history_not_written", None)]
    assert writer.stop(30) is True
    assert [dated.entry.seq for dated in HistoryReader(history.path).last()] == [1]


def test_a_batch_that_fails_leaves_nothing_behind(tmp_path: Path) -> None:
    history = History(tmp_path / "h.sqlite")
    history.open()
    on, off = entry(1, 10, "tool", "planer", "running"), entry(2, 20, "tool", "planer", "stopped")
    bad = entry(3, 30, "tick")
    bad.step = None  # type: ignore[assignment]
    with pytest.raises(sqlite3.IntegrityError):
        history.write([(on, 1.0), (bad, 1.0)])
    history.write([(on, 1.0), (off, 2.0)])
    history.close()
    reader = HistoryReader(history.path)
    assert [dated.entry.seq for dated in reader.last()] == [1, 2]
    assert reader.totals() == [Total("tool", "planer", 10.0, 1)]


def test_a_dead_disk_does_not_fill_the_memory_with_notes_of_gaps(tmp_path: Path) -> None:
    history = GatedHistory(tmp_path / "h.sqlite")
    history.fails = [named(sqlite3.OperationalError, "SQLITE_IOERR") for _ in range(6)]
    writer = HistoryWriter(history, every_s=1000, capacity=2)
    writer.start()
    for seq in range(1, 13):
        writer.add(entry(seq, seq, "tick"))
        if seq % 2 == 0:
            assert writer.flush(30) is False
    assert writer.flush(30) is True
    found = [(dated.entry.seq, dated.entry.value) for dated in HistoryReader(history.path).last()]
    assert found == [(1, None), (2, None), (3, {"lost": 2, "last_seq": 4}), (5, {"lost": 8, "last_seq": 12})]
    assert writer.lost == 10
    assert writer.stop(30) is True


def test_damage_found_while_running_sets_the_file_aside_and_goes_on(tmp_path: Path) -> None:
    told: list[tuple[str, str | None]] = []
    history = GatedHistory(tmp_path / "history.sqlite")
    writer = HistoryWriter(history, every_s=1000, report=lambda code, sentence: told.append((code, sentence)))
    writer.start()
    writer.add(entry(1, 1, "wake"))
    assert writer.flush(30) is True
    history.fails = [named(sqlite3.DatabaseError, "SQLITE_CORRUPT")]
    writer.add(entry(2, 2, "tick"))
    assert writer.stop(30) is True
    assert told == [
        (
            "history_damaged",
            f"The history could not be read: history.sqlite in {tmp_path}: its structure is broken. It was set aside "
            f"as {ASIDE} with every byte kept, and a new file was begun. Hours and starts count from zero again. "
            "Nothing that controls the shop is lost.",
        )
    ]
    assert [dated.entry.seq for dated in HistoryReader(history.path).last()] == [2]
    assert [dated.entry.seq for dated in HistoryReader(tmp_path / ASIDE).last()] == [1]


def test_an_odd_value_is_still_written(tmp_path: Path) -> None:
    reader = written(tmp_path / "h.sqlite", [(entry(1, 1, "tick", value={"path": Path("a/b")}), 1.0)])
    assert [dated.entry.value for dated in reader.last()] == [{"path": "a/b"}]
    assert json.dumps(reader.last()[0].as_json()["value"]) == '{"path": "a/b"}'


def test_a_power_cut_shortens_the_history_by_whole_batches(tmp_path: Path) -> None:
    live = tmp_path / "live"
    history = History(live / "h.sqlite")
    history.open()
    ran = {"what": "on", "until_s": 0}
    for batch in range(30):
        rows = [entry(3 * batch + i, 3.0 * batch + i, "motor_command", "main", ran) for i in range(3)]
        history.write([(row, 1.0) for row in rows])
    rng = random.Random(3)
    log_bytes = (live / "h.sqlite-wal").stat().st_size
    lengths = []
    for number in range(25):
        # As the files stand, not closed; of the log only what had reached the disk.
        image = tmp_path / f"image {number}"
        shutil.copytree(live, image)
        with open(image / "h.sqlite-wal", "r+b") as file:
            file.truncate(log_bytes if number == 0 else rng.randrange(log_bytes))
        again = History(image / "h.sqlite")
        assert again.open() is None
        again.close()
        reader = HistoryReader(image / "h.sqlite")
        found = [dated.entry.seq for dated in reader.last(1000)]
        assert found == list(range(len(found)))
        assert len(found) % 3 == 0
        assert reader.totals() == ([Total("motor", "main", found[-1], 1)] if found else [])
        lengths.append(len(found))
    history.close()
    assert lengths[0] == 90
    assert len(set(lengths)) > 10
