"""Backup and restore of a folder: whole or refused, nothing starts from it, nothing is overwritten unasked."""

import json
import sqlite3
import threading
import zipfile
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from gatekeeper.control.messages import Entry, Keep
from gatekeeper.records.backup import CannotBackUp, Source, make_backup
from gatekeeper.records.backup_form import NotABackup
from gatekeeper.records.history import History
from gatekeeper.records.history_reading import HistoryReader
from gatekeeper.records.restore import look, put_back
from gatekeeper.records.state import StateStore
from gatekeeper.records.state_form import Change

NOW = datetime(2026, 3, 9, 7, 30, 5, tzinfo=UTC)
KEPT = {
    "starts/collector": {"level": 1.7, "locked": False},
    "on/collector": True,
    "beat": {"t_s": 5.0, "on": ["collector"], "resumed_s": None},
    "out_of_service/shaker": {"who": "Ada", "why": "belt", "since_s": 12.0},
    "setting/collector/spin_down_s": 21.0,
}


def shop_is_fine(text: str, name: str) -> str | None:
    return None if text.startswith("shop:") else f"{name}:1:1: no shop"


def filled(folder: Path) -> Path:
    store = StateStore(folder / "state.sqlite")
    store.load("boot")
    store.put(
        [Keep(key, value) for key, value in KEPT.items()], [Change(1.0, "page", "collector", "spin_down_s", 8, 21)]
    )
    store.close()
    history = History(folder / "history.sqlite")
    history.open()
    history.write([(Entry(1, 1, 0.0, "b", "r", "motor_command", "collector", {"what": "on"}), 10.0)])
    history.write([(Entry(2, 2, 90.0, "b", "r", "motor_command", "collector", "off"), 100.0)])
    history.close()
    (folder / "pin").write_text("271900\n")
    (folder / "care.jsonl").write_text("{}\n")
    return folder


def backup_of(folder: Path, out: Path, text: str = "shop: {}\r\n# ü\n") -> Path:
    make_backup(Source("Garage", "garage.yaml", text, folder, "0.1.0", NOW), out)
    return out


@pytest.fixture
def good(tmp_path: Path) -> Path:
    (tmp_path / "old").mkdir()
    return backup_of(filled(tmp_path / "old"), tmp_path / "good.backup")


def test_a_new_card_gets_everything_back_and_nothing_that_starts(good: Path, tmp_path: Path) -> None:
    new = tmp_path / "card" / "state"
    done = put_back(good, tmp_path / "card" / "shop.yaml", new, shop_is_fine, replace=False, now=NOW)
    assert (done.aside, done.carried) == (None, ())
    assert (tmp_path / "card" / "shop.yaml").read_bytes() == "shop: {}\r\n# ü\n".encode()
    assert (new / "pin").read_text() == "271900\n"
    assert (new / "pin").stat().st_mode & 0o777 == 0o600
    assert (new / "care.jsonl").read_text() == "{}\n"
    store = StateStore(new / "state.sqlite")
    kept = store.load("boot")
    assert store.trouble is None
    assert (kept.fresh, kept.damaged, kept.same_boot) == (False, False, False)
    assert kept.values == {
        "starts/collector": {"level": 1.0, "locked": True},
        "out_of_service/shaker": KEPT["out_of_service/shaker"],
        "setting/collector/spin_down_s": 21.0,
    }
    assert [change.new for change in store.changes()] == [21]
    store.close()
    (total,) = HistoryReader(new / "history.sqlite").totals()
    assert (total.running_s, total.starts) == (90.0, 1)
    assert sorted(path.name for path in new.iterdir()) == [
        "care.jsonl", "history.sqlite", "pin", "state.sqlite", "state.sqlite.begun"
    ]  # fmt: skip


def test_only_its_owner_reads_a_backup(good: Path) -> None:
    assert good.stat().st_mode & 0o777 == 0o600


def test_nothing_is_overwritten_unasked(good: Path, tmp_path: Path) -> None:
    shop = tmp_path / "there.yaml"
    shop.write_text("mine")
    with pytest.raises(FileExistsError, match=r"there\.yaml"):
        put_back(good, shop, tmp_path / "new", shop_is_fine, replace=False, now=NOW)
    assert shop.read_text() == "mine"
    with pytest.raises(FileExistsError, match=r"old/state\.sqlite"):
        put_back(good, tmp_path / "free.yaml", tmp_path / "old", shop_is_fine, replace=False, now=NOW)


def test_what_was_there_is_kept_and_a_stop_in_force_stays(good: Path, tmp_path: Path) -> None:
    folder = tmp_path / "old"
    store = StateStore(folder / "state.sqlite")
    store.load("boot2")
    store.put([Keep("out_of_service/collector", {"who": "Eve", "why": "bin", "since_s": 1.0}), Keep("held/gate", {})])
    store.put([Keep("stuck/gate", True), Keep("out_of_service/shaker", None)])
    store.close()
    shop = tmp_path / "shop.yaml"
    shop.write_text("shop: before")
    done = put_back(good, shop, folder, shop_is_fine, replace=True, now=NOW)
    assert done.carried == ("out_of_service/collector", "stuck/gate")
    assert done.aside == folder / "before-restore-2026-03-09-073005"
    assert (done.aside / "shop.yaml").read_text() == "shop: before"
    before = StateStore(done.aside / "state.sqlite").load("boot3").values
    assert before["out_of_service/collector"]["who"] == "Eve"
    again = put_back(good, shop, folder, shop_is_fine, replace=True, now=NOW)
    assert again.aside == folder / "before-restore-2026-03-09-073005-2"
    assert again.carried == done.carried


def test_where_what_is_replaced_cannot_be_read_every_motor_is_out_of_service(good: Path, tmp_path: Path) -> None:
    (tmp_path / "old" / "state.sqlite").write_bytes(b"nothing")
    done = put_back(good, tmp_path / "s.yaml", tmp_path / "old", shop_is_fine, replace=True, now=NOW)
    assert done.carried == ("out_of_service/collector",)


def rewritten(good: Path, out: Path, change: Callable[[dict[str, bytes]], None]) -> Path:
    with zipfile.ZipFile(good) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    change(parts)
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return out


#: A name that leaves the folder.
FOREIGN_PART = {"../pin": {"bytes": 1, "sha256": "x"}}


def manifest(packed: dict[str, bytes], **said: object) -> None:
    packed["manifest.json"] = json.dumps({**json.loads(packed["manifest.json"]), **said}).encode()


def with_a_foreign_part(parts: dict[str, bytes]) -> None:
    manifest(parts, parts={**json.loads(parts["manifest.json"])["parts"], **FOREIGN_PART})


def without(name: str) -> Callable[[dict[str, bytes]], None]:
    def drop(parts: dict[str, bytes]) -> None:
        del parts[name]

    return drop


DAMAGES: list[tuple[Callable[[dict[str, bytes]], None], str]] = [
    (
        lambda parts: manifest(parts, form=3, program="9.9"),
        "bad.backup was made by a newer program (version 9.9, form 3); this one reads form 2. Install that version, "
        "then restore.",
    ),
    (
        lambda parts: manifest(parts, what="something else"),
        "bad.backup is no backup of this program. Name a file that gatekeeper backup has made.",
    ),
    (
        lambda parts: manifest(parts, shop_file="../shop.yaml"),
        "bad.backup is damaged: its manifest cannot be believed. Use an earlier backup.",
    ),
    (
        with_a_foreign_part,
        "bad.backup is damaged: its manifest cannot be believed. Use an earlier backup.",
    ),
    (
        lambda parts: parts.update({"pin": b"000000\n"}),
        "bad.backup is damaged: pin does not match its check sum. Use an earlier backup.",
    ),
    (
        lambda parts: parts.update({"history.sqlite": bytes(50_000_000)}),
        "bad.backup is damaged: history.sqlite does not match its check sum. Use an earlier backup.",
    ),
    (
        without("state.sqlite"),
        "bad.backup is damaged: a part of it cannot be unpacked. Use an earlier backup.",
    ),
    (
        without("manifest.json"),
        "bad.backup is no backup of this program. Name a file that gatekeeper backup has made.",
    ),
]


@pytest.mark.parametrize(("change", "said"), DAMAGES)
def test_what_is_damaged_foreign_or_newer_is_refused_in_words_and_touches_nothing(
    good: Path, tmp_path: Path, change: Callable[[dict[str, bytes]], None], said: str
) -> None:
    bad = rewritten(good, tmp_path / "bad.backup", change)
    with pytest.raises(NotABackup) as refused:
        put_back(bad, tmp_path / "s.yaml", tmp_path / "new", shop_is_fine, replace=True, now=NOW)
    assert str(refused.value) == said
    assert not (tmp_path / "s.yaml").exists()
    assert not any((tmp_path / "new").iterdir())


def test_any_flipped_byte_is_refused_or_harmless(good: Path, tmp_path: Path) -> None:
    data = good.read_bytes()
    whole = look(good, shop_is_fine)
    bad = tmp_path / "bad.backup"
    refused = 0
    for place in range(0, len(data), 37):
        bad.write_bytes(data[:place] + bytes([data[place] ^ 0x10]) + data[place + 1 :])
        try:
            found = look(bad, shop_is_fine)
        except NotABackup:
            refused += 1
        else:
            # Times and flags of the zip itself, or a word of the manifest: every part is still as it was.
            assert found.parts == whole.parts
    assert refused > len(data) / 37 * 0.8


def test_any_cut_is_refused(good: Path, tmp_path: Path) -> None:
    data = good.read_bytes()
    bad = tmp_path / "bad.backup"
    for size in range(0, len(data), 211):
        bad.write_bytes(data[:size])
        with pytest.raises(NotABackup):
            look(bad, shop_is_fine)


def test_a_shop_file_that_this_program_cannot_read_is_refused(tmp_path: Path) -> None:
    (tmp_path / "old").mkdir()
    made = backup_of(tmp_path / "old", tmp_path / "a.backup", "nothing")
    with pytest.raises(NotABackup) as refused:
        look(made, shop_is_fine)
    assert str(refused.value) == (
        "a.backup: this program cannot read its shop file, made by version 0.1.0: garage.yaml:1:1: no shop"
    )


def test_no_backup_is_made_of_damage_but_one_without_a_broken_history(tmp_path: Path) -> None:
    folder = tmp_path / "old"
    folder.mkdir()
    filled(folder)
    (folder / "history.sqlite").write_bytes(b"no database, only some bytes that stand here")
    made = make_backup(Source("G", "g.yaml", "shop:", folder, "0.1.0", NOW), tmp_path / "a.backup")
    assert "history.sqlite" not in made.parts
    assert made.left_out == (
        f"No history is in it. history.sqlite in {folder} cannot be copied: it is not a database. If this comes again, "
        "replace the card or disk.",
    )
    data = (folder / "state.sqlite").read_bytes()
    (folder / "state.sqlite").write_bytes(data.replace(b'"level":1.7', b'"level":1.9'))
    with pytest.raises(CannotBackUp) as refused:
        backup_of(folder, tmp_path / "b.backup")
    assert str(refused.value) == (
        f"The kept settings are damaged: state.sqlite in {folder}: its contents do not match their check sum. Start "
        "the controller once, it begins a new one; then back up again."
    )
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.backup", "old"]


def test_it_is_consistent_while_both_files_are_written(tmp_path: Path) -> None:
    """Two values change together in every commit; in every backup they are equal, and the seal holds."""
    folder = tmp_path / "old"
    folder.mkdir()
    store = StateStore(folder / "state.sqlite")
    store.load("boot")
    store.put([Keep("starts/a", {"level": 0.5}), Keep("starts/b", {"level": 0.5})])
    end = threading.Event()

    def work() -> None:
        number = 0
        while not end.wait(0.001):
            number += 1
            store.put([Keep("setting/a/spin_down_s", number), Keep("setting/b/spin_down_s", number)])

    writer = threading.Thread(target=work)
    writer.start()
    try:
        for round_ in range(4):
            made = backup_of(folder, tmp_path / "a.backup")
            new = tmp_path / f"card{round_}"
            put_back(made, new / "s.yaml", new, shop_is_fine, replace=False, now=NOW)
            restored = StateStore(new / "state.sqlite")
            values = restored.load("boot").values
            restored.close()
            assert values.get("setting/a/spin_down_s") == values.get("setting/b/spin_down_s")
    finally:
        end.set()
        writer.join()
        store.close()


def test_a_state_that_was_begun_and_is_gone_is_no_first_start(tmp_path: Path) -> None:
    (tmp_path / "state.sqlite.begun").write_text("2026-01-01\n")
    with pytest.raises(CannotBackUp, match="is gone, although it was begun"):
        backup_of(tmp_path, tmp_path / "a.backup")


def test_a_database_of_another_kind_is_no_history(tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    with sqlite3.connect(other / "history.sqlite") as connection:
        connection.execute("CREATE TABLE other (id INTEGER)")
    connection.close()
    made = make_backup(Source("G", "g.yaml", "shop:", other, "0.1.0", NOW), tmp_path / "a.backup")
    assert "it is a database of another program" in made.left_out[1]
