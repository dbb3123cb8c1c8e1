"""A damaged, lost or unwritable file of kept values: bytes kept, exact sentences, and never a wrong value."""

import os
import random
import resource
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

import pytest

from gatekeeper.control.messages import Keep, Kept
from gatekeeper.records import state_form
from gatekeeper.records.damage import FileInUseError
from gatekeeper.records.state import NotKeptError, StateStore
from gatekeeper.records.state_form import Change

NOW = datetime(2025, 3, 9, 7, 30, 5)
ASIDE = "state.sqlite.damaged-2025-03-09-073005"
DEFAULTS = (
    "Settings are back at their defaults, and every stop counts as in force: "
    "look through both, then clear this message."
)
VALUES = {f"starts:collector {i}": {"stored": i / 4, "at_s": 1000.0 + i} for i in range(60)}
CHANGES = [Change(float(i), "page", f"tool {i}", "spin_down_s", i, i + 1) for i in range(40)]


def make(path: Path) -> StateStore:
    return StateStore(path, wall=lambda: NOW)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A good file with values and changes in it."""
    path = tmp_path / "state.sqlite"
    store = make(path)
    store.load("boot")
    store.put([Keep(key, value) for key, value in VALUES.items()], CHANGES)
    store.close()
    return path


def truncated(path: Path) -> str:
    os.truncate(path, 5000)
    return "its structure is broken"


def zeroed_header(path: Path) -> str:
    with open(path, "r+b") as file:
        file.write(bytes(100))
    return "it is not a database"


def emptied(path: Path) -> str:
    os.truncate(path, 0)
    return "it is empty"


def a_text(path: Path) -> str:
    path.write_text("spin_down_s: 8\n" * 40)
    return "it is not a database"


def flipped_value(path: Path) -> str:
    data = path.read_bytes()
    assert data.count(b'"at_s":1007.0') == 1
    path.write_bytes(data.replace(b'"at_s":1007.0', b'"at_s":9007.0'))
    return "its contents do not match their check sum"


def flipped_change(path: Path) -> str:
    data = path.read_bytes()
    assert data.count(b"tool 17") == 1
    path.write_bytes(data.replace(b"tool 17", b"tool 71"))
    return "its contents do not match their check sum"


def sql(path: Path, text: str) -> None:
    connection = sqlite3.connect(path)
    connection.executescript(text)
    connection.close()


def row_taken_out(path: Path) -> str:
    sql(path, "DELETE FROM kept WHERE key = 'starts:collector 3'")
    return "its contents do not match their check sum"


def newer_form(path: Path) -> str:
    sql(path, "PRAGMA user_version = 2")
    return "its form is number 2, and this program reads number 1"


def other_program(path: Path) -> str:
    path.unlink()
    sql(path, "CREATE TABLE bookmarks (url TEXT)")
    return "it is a database of another program"


def other_tables(path: Path) -> str:
    sql(path, "ALTER TABLE changes ADD COLUMN note TEXT")
    return "its tables are not those that this program made"


def wrong_free_list(path: Path) -> str:
    """Every row is right, but the next put would write into the wrong page."""
    with open(path, "r+b") as file:
        file.seek(36)
        file.write((7).to_bytes(4, "big"))
    return "its structure is broken"


def a_folder(path: Path) -> str:
    path.unlink()
    path.mkdir()
    (path / "photo.jpg").write_bytes(b"x")
    return "a folder stands in its place"


ALL_DAMAGE = [
    truncated,
    zeroed_header,
    emptied,
    a_text,
    flipped_value,
    flipped_change,
    row_taken_out,
    newer_form,
    other_program,
    other_tables,
    wrong_free_list,
    a_folder,
]


@pytest.mark.parametrize("spoil", ALL_DAMAGE)
def test_a_damaged_file_is_set_aside_with_its_bytes(path: Path, spoil: Callable[[Path], str]) -> None:
    reason = spoil(path)
    bytes_before = path.read_bytes() if path.is_file() else (path / "photo.jpg").read_bytes()
    store = make(path)
    assert store.load("boot") == Kept(values={}, fresh=False, damaged=True, same_boot=False)
    assert store.trouble == (
        f"The kept settings could not be read: state.sqlite in {path.parent}: {reason}. It was set aside as {ASIDE} "
        f"with every byte kept, and a new file was begun. {DEFAULTS}"
    )
    aside = path.with_name(ASIDE)
    assert (aside.read_bytes() if aside.is_file() else (aside / "photo.jpg").read_bytes()) == bytes_before
    store.put([Keep("a", 1)])
    store.close()
    assert make(path).load("boot") == Kept(values={"a": 1}, fresh=False, damaged=False, same_boot=True)


def test_companions_go_with_it_and_names_never_clash(path: Path) -> None:
    for number, tail in enumerate(("-journal", "-wal", "-shm")):
        path.with_name(path.name + tail).write_bytes(b"junk %d" % number)
    zeroed_header(path)
    store = make(path)
    store.load("boot")
    store.close()
    a_text(path)
    store = make(path)
    store.load("boot")
    store.close()
    names = {found.name for found in path.parent.iterdir()} - {"state.sqlite-journal", f"{ASIDE}-2-journal"}
    assert names == {
        "state.sqlite",
        "state.sqlite.begun",
        ASIDE,
        f"{ASIDE}-journal",
        f"{ASIDE}-wal",
        f"{ASIDE}-shm",
        f"{ASIDE}-2",
    }
    for number, tail in enumerate(("-journal", "-wal", "-shm")):
        assert path.with_name(ASIDE + tail).read_bytes() == b"junk %d" % number


def test_a_file_that_somebody_deleted_is_lost_not_fresh(path: Path) -> None:
    path.unlink()
    store = make(path)
    assert store.load("boot") == Kept(values={}, fresh=False, damaged=True, same_boot=False)
    assert store.trouble == (
        f"The kept settings could not be read: state.sqlite in {path.parent}: it is gone, although it was begun on "
        f"2025-03-09. A new file was begun. {DEFAULTS}"
    )
    store.close()


def test_an_empty_file_that_was_never_begun_is_a_first_start(tmp_path: Path) -> None:
    path = tmp_path / "state.sqlite"
    path.touch()
    store = make(path)
    assert store.load("boot").fresh is True
    store.put([Keep("a", 1)])
    store.close()
    assert make(path).load("boot").values == {"a": 1}


@pytest.fixture
def no_syncs(monkeypatch: pytest.MonkeyPatch) -> None:
    """Hundreds of files are begun only to be read: waiting for the disk each time would show nothing more."""
    whole = state_form.connect

    def quick(path: Path) -> sqlite3.Connection:
        connection = whole(path)
        connection.execute("PRAGMA synchronous = OFF")
        return connection

    monkeypatch.setattr(state_form, "connect", quick)
    monkeypatch.setattr(os, "fsync", lambda handle: None)


def check_right_or_damaged(path: Path, spoilt: bytes) -> bool:
    for old in path.parent.glob("state.sqlite.damaged*"):
        old.unlink()
    path.write_bytes(spoilt)
    store = make(path)
    kept = store.load("boot")
    changes = store.changes(limit=100)
    store.close()
    if kept.damaged:
        assert path.with_name(ASIDE).read_bytes() == spoilt
        return True
    assert kept == Kept(values=VALUES, fresh=False, damaged=False, same_boot=True)
    assert changes == CHANGES[::-1]
    return False


@pytest.mark.usefixtures("no_syncs")
def test_flipped_bytes_give_the_right_values_or_damage(path: Path) -> None:
    good = path.read_bytes()
    rng = random.Random(20250309)
    seen = {True: 0, False: 0}
    for _ in range(250):
        spoilt = bytearray(good)
        for _ in range(rng.choice((1, 1, 1, 3, 20))):
            spoilt[rng.randrange(len(spoilt))] ^= 1 << rng.randrange(8)
        seen[check_right_or_damaged(path, bytes(spoilt))] += 1
    # Both happen: a flip in unused room harms nothing.
    assert seen[True] > 50
    assert seen[False] > 20


@pytest.mark.usefixtures("no_syncs")
def test_cut_and_torn_files_give_the_right_values_or_damage(path: Path) -> None:
    good = path.read_bytes()
    rng = random.Random(7)
    lengths = [rng.randrange(len(good)) for _ in range(30)]
    assert all(check_right_or_damaged(path, good[:length]) for length in lengths)
    pages = range(0, len(good), 4096)
    assert all(check_right_or_damaged(path, good[:at] + bytes(4096) + good[at + 4096 :]) for at in pages)


def test_another_program_holding_the_file_is_no_damage(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(state_form, "BUSY_WAIT_S", 0.0)
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    with pytest.raises(FileInUseError) as caught:
        make(path).load("boot")
    assert str(caught.value) == (
        f"state.sqlite in {path.parent} is in use by another program. Close that program, or stop the other "
        "controller, then start again."
    )
    other.execute("COMMIT")
    store = make(path)
    assert store.load("boot").values == VALUES
    other.execute("BEGIN EXCLUSIVE")
    with pytest.raises(NotKeptError) as not_kept:
        store.put([Keep("a", 1)])
    assert str(not_kept.value) == (
        f"Not kept, state.sqlite in {path.parent}: another program is using it. After a restart the earlier value "
        "counts. Close the other program."
    )
    other.close()
    store.put([Keep("a", 1)])
    store.close()
    assert make(path).load("boot").values == {**VALUES, "a": 1}


def test_full_disk_by_pages(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = state_form.connect

    def small(path: Path) -> sqlite3.Connection:
        connection = whole(path)
        connection.execute("PRAGMA max_page_count = 1")  # SQLite takes the present size as the least
        return connection

    monkeypatch.setattr(state_form, "connect", small)
    store = make(path)
    store.load("boot")
    with pytest.raises(NotKeptError) as caught:
        store.put([Keep("starts:collector 0", 7), Keep("long", "x" * 30_000)])
    assert str(caught.value) == (
        f"Not kept, state.sqlite in {path.parent}: there is no room left on its disk. After a restart the earlier "
        "value counts. Free some room there."
    )
    store.close()
    assert make(path).load("boot").values == VALUES
    monkeypatch.setattr(state_form, "connect", whole)
    store.put([Keep("starts:collector 0", 7)])
    store.close()
    assert make(path).load("boot").values == {**VALUES, "starts:collector 0": 7}


def test_writes_that_the_system_refuses(path: Path) -> None:
    store = make(path)
    store.load("boot")
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (path.stat().st_size, limits[1]))
    try:
        with pytest.raises(NotKeptError) as caught:
            store.put([Keep("long", "x" * 30_000)])
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert str(caught.value) == (
        f"Not kept, state.sqlite in {path.parent}: its disk failed to read or write. After a restart the earlier value "
        "counts. See that the disk is not full; if it is not, replace the card or disk."
    )
    store.put([Keep("short", 1)])
    store.close()
    assert make(path).load("boot").values == {**VALUES, "short": 1}


@pytest.fixture
def nobodys_folder() -> Iterator[Path]:
    """A folder that this process may read but not write; root gives its rights up for the while."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o755)
    yield folder
    if os.geteuid() != os.getuid():
        os.seteuid(os.getuid())
    folder.chmod(0o755)
    shutil.rmtree(folder)


def take_rights(folder: Path) -> None:
    for file in folder.iterdir():
        file.chmod(0o444)
    folder.chmod(0o555)
    if os.getuid() == 0:
        os.seteuid(65534)


def test_a_read_only_file_gives_its_values_and_refuses_new_ones(path: Path, nobodys_folder: Path) -> None:
    copy = nobodys_folder / "state.sqlite"
    shutil.copy(path, copy)
    take_rights(nobodys_folder)
    store = make(copy)
    assert store.load("boot") == Kept(values=VALUES, fresh=False, damaged=False, same_boot=True)
    with pytest.raises(NotKeptError) as caught:
        store.put([Keep("a", 1)])
    assert str(caught.value) == (
        f"Not kept, state.sqlite in {nobodys_folder}: it may only be read, not written. After a restart the earlier "
        "value counts. Let the program write to that file and its folder."
    )
    store.close()


def test_a_folder_without_the_right_to_write_counts_as_loss(nobodys_folder: Path) -> None:
    take_rights(nobodys_folder)
    store = make(nobodys_folder / "state.sqlite")
    assert store.load("boot") == Kept(values={}, fresh=False, damaged=True, same_boot=False)
    assert store.trouble == (
        f"state.sqlite in {nobodys_folder} could not be begun: it cannot be opened. Nothing can be kept. See that its "
        f"folder exists and that the program may read and write there. {DEFAULTS}"
    )
    store.close()


def test_damage_that_cannot_be_set_aside_waits_for_the_right_to_write(path: Path, nobodys_folder: Path) -> None:
    copy = nobodys_folder / "state.sqlite"
    shutil.copy(path, copy)
    zeroed_header(copy)
    take_rights(nobodys_folder)
    store = make(copy)
    assert store.load("boot").damaged is True
    start = f"The kept settings could not be read: state.sqlite in {nobodys_folder}: it is not a database. "
    no_file = (
        "No new file could be begun (the system says: Permission denied), so nothing can be kept. "
        f"See that its folder exists and that the program may write there. {DEFAULTS}"
    )
    assert store.trouble == start + no_file
    with pytest.raises(NotKeptError) as caught:
        store.put([Keep("a", 1)])
    assert str(caught.value) == "Not kept. " + start + no_file
    os.seteuid(os.getuid())
    nobodys_folder.chmod(0o755)
    store.put([Keep("a", 1)])
    assert (
        store.trouble
        == f"{start}It was set aside as {ASIDE} with every byte kept, and a new file was begun. {DEFAULTS}"
    )
    store.close()
    assert make(copy).load("boot").values == {"a": 1}


def test_a_file_deleted_while_running_is_written_anew_from_memory(path: Path) -> None:
    store = make(path)
    store.load("boot")
    path.unlink()
    store.put([Keep("a", 1)])
    assert store.trouble == (
        f"The kept settings turned out damaged while running: state.sqlite in {path.parent}: it is gone, although it "
        "was begun on 2025-03-09. A new file was begun. Nothing was lost: it holds all that the controller knows."
    )
    store.close()
    again = make(path)
    assert again.load("boot").values == {**VALUES, "a": 1}
    assert again.changes(limit=100) == CHANGES[::-1]
    again.close()


def test_a_file_spoilt_while_running_is_written_anew_from_memory(path: Path) -> None:
    store = make(path)
    store.load("boot")
    with open(path, "r+b") as file:
        file.write(bytes(4096))
    store.put([Keep("a", 1)])
    assert store.trouble == (
        f"The kept settings turned out damaged while running: state.sqlite in {path.parent}: it is not a database. It "
        f"was set aside as {ASIDE} with every byte kept, and a new file was begun. Nothing was lost: it holds all that "
        "the controller knows."
    )
    store.close()
    assert make(path).load("boot").values == {**VALUES, "a": 1}
