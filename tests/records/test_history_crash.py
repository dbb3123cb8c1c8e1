"""A crash at every write of the history's log: it opens without damage and holds the record up to some entry."""

import json
import random
import shutil
import sqlite3
from pathlib import Path

import pytest
from recording_disk import Crash, Op, lay_out, recording

from gatekeeper.control.messages import Entry
from gatekeeper.records.history import History
from gatekeeper.records.history_reading import HistoryReader

BATCHES = 8


def entries(batch: int) -> list[tuple[Entry, float]]:
    """One transaction: some entries with their sequence numbers running on."""
    made = []
    for number in range(5):
        seq = batch * 5 + number + 1
        word = {"what": ("on", "off")[seq % 2], "until_s": seq / 7, "more": "x" * (seq * 91 % 700)}
        entry = Entry(seq, seq, float(seq), "boot", "run", "motor_command", "fan", word)
        made.append((entry, 1_700_000_000.0 + seq))
    return made


@pytest.fixture
def no_waiting(written: list[Op], monkeypatch: pytest.MonkeyPatch) -> None:
    """Once all is written: the folders that are laid out are only looked at, by the hundred."""
    whole = History._connect

    def quick(self: History) -> sqlite3.Connection:
        connection = whole(self)
        connection.execute("PRAGMA synchronous = OFF")
        return connection

    monkeypatch.setattr(History, "_connect", quick)


@pytest.fixture
def written(tmp_path: Path) -> list[Op]:
    """All that the disk was told: batches, with the log played back into the file in between; a mark after each."""
    with recording() as disk:
        history = History(tmp_path / "shop" / "history.sqlite")
        history.open()
        for batch in range(BATCHES):
            history.write(entries(batch))
            disk.mark(batch + 1)
            if batch % 3 == 2:
                connection = history._connection
                assert connection is not None
                connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
        ops = list(disk.ops)
        history.close()
    return [op for op in ops if not op.path.endswith("-shm")]


def look(files: dict[str, bytes], tmp_path: Path) -> int:
    """Open the history anew; how many whole batches it holds."""
    folder = tmp_path / "found"
    lay_out(files, tmp_path / "shop", folder)
    history = History(folder / "history.sqlite")
    assert history.open() is None
    history.close()
    found = [dated.entry for dated in HistoryReader(folder / "history.sqlite").last(1000)]
    shutil.rmtree(folder)
    batches, rest = divmod(len(found), 5)
    assert rest == 0
    assert [json.dumps(entry.as_json()) for entry in found] == [
        json.dumps(entry.as_json()) for batch in range(batches) for entry, _ in entries(batch)
    ]
    return batches


@pytest.mark.usefixtures("no_waiting")
def test_killed_after_every_operation_all_that_was_written_is_there(written: list[Op], tmp_path: Path) -> None:
    crash, done = Crash(written), 0
    for upto in range(len(written) + 1):
        done += upto > 0 and written[upto - 1].what == "mark"
        assert look(crash.killed(upto), tmp_path) in (done, done + 1), upto
    assert done == BATCHES


@pytest.mark.usefixtures("no_waiting")
def test_a_power_cut_shortens_the_record_and_breaks_nothing(written: list[Op], tmp_path: Path) -> None:
    crash, done, synced, chance = Crash(written), 0, 0, random.Random(7)
    fewer = 0
    for upto in range(len(written) + 1):
        last = written[upto - 1] if upto else Op("mark")
        done += upto > 0 and last.what == "mark"
        if last.what == "sync" and last.path.endswith("-wal"):
            synced = done
        for reaches in (0.0, 0.8):
            found = look(crash.power_cut(upto, chance, reaches), tmp_path)
            assert synced <= found <= done + 1, (upto, reaches)
            fewer += found < done
    assert synced >= 6
    assert fewer > 0
