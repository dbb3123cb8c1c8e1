"""Making a backup: every file of a shop in one, while the controller runs.

Databases are copied by SQLite's own backup, each as it was at one instant; a commit that is under way is either whole
in it or not in it at all. The copy is checked before it is packed, so a backup is never made of damage.
"""

import contextlib
import os
import shutil
import sqlite3
import tempfile
import zipfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from gatekeeper.records import backup_form, damage, history, state_form
from gatekeeper.records.backup_form import CARE, COMMISSIONED, HISTORY, PIN, SHOP, STATE, Manifest, sum_of
from gatekeeper.records.damage import DamageFound
from gatekeeper.records.state import StateStore
from gatekeeper.records.state_form import Change

#: Another program may hold a database this long before the backup gives up, seconds. Ours.
WAIT_S = 10.0


class CannotBackUp(Exception):
    """No backup was made; the text is one plain sentence with what to do."""


@dataclass(frozen=True, slots=True)
class Source:
    """What is backed up.

    Args:
        shop_name: the shop's name.
        shop_file: file name of the shop file.
        shop_text: what it says.
        folder: the folder of state and history.
        program: version of this program.
        made_at: now, with its zone.
    """

    shop_name: str
    shop_file: str
    shop_text: str
    folder: Path
    program: str
    made_at: datetime


def make_backup(source: Source, out: Path) -> Manifest:
    """Write a backup to ``out``, whole or not at all; an older file of that name is replaced.

    Returns: what stands in it.
    Raises: CannotBackUp.
    """
    try:
        with tempfile.TemporaryDirectory(prefix=".backup-", dir=out.parent) as made:
            return _make(source, out, Path(made))
    except OSError as error:
        raise CannotBackUp(
            f"No backup was made: {out} cannot be written ({error.strerror or 'the disk refused'}). Name another place."
        ) from None


def _make(source: Source, out: Path, folder: Path) -> Manifest:
    left_out: list[str] = []
    # newline="": the text goes out as it came in.
    with (folder / SHOP).open("w", encoding="utf-8", newline="") as file:
        file.write(source.shop_text)
    state = source.folder / STATE
    if state.exists():
        _copy_database(state, folder / STATE, _check_state, "The kept settings are damaged")
    elif (source.folder / (STATE + ".begun")).exists():
        raise CannotBackUp(
            f"No backup was made: {STATE} in {source.folder} is gone, although it was begun. Start the controller once."
        )
    else:
        left_out.append("No settings are in it: the controller has kept none yet.")
    if (source.folder / HISTORY).exists():
        try:
            _copy_database(source.folder / HISTORY, folder / HISTORY, check_history, "The history is damaged")
        except CannotBackUp as trouble:
            (folder / HISTORY).unlink(missing_ok=True)
            left_out.append(f"No history is in it. {trouble}")
    for name in (CARE, COMMISSIONED, PIN):
        with contextlib.suppress(FileNotFoundError):
            shutil.copyfile(source.folder / name, folder / name)
    parts = {name: sum_of(folder / name) for name in backup_form.PARTS if (folder / name).exists()}
    manifest = Manifest(
        source.program,
        source.shop_name,
        source.shop_file,
        source.made_at.isoformat(timespec="seconds"),
        parts,
        tuple(left_out),
    )
    _pack(manifest, folder, out)
    return manifest


def _pack(manifest: Manifest, folder: Path, out: Path) -> None:
    packed = folder / "packed"
    # It holds the page's PIN: for its owner only.
    with open(os.open(packed, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=3) as archive:
            archive.writestr(backup_form.MANIFEST, manifest.as_bytes())
            for name in manifest.parts:
                archive.write(folder / name, name)
        file.flush()
        os.fsync(file.fileno())
    os.replace(packed, out)
    damage.sync_folder(out.parent)


def _copy_database(path: Path, copy: Path, check: Callable[[sqlite3.Connection], None], what: str) -> None:
    """Copy one database as it is at one instant, then check the copy.

    Raises: CannotBackUp.
    """
    try:
        with (
            contextlib.closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=rw", uri=True, timeout=WAIT_S)) as old,
            contextlib.closing(sqlite3.connect(copy)) as new,
        ):
            old.backup(new)
            # The copy of a log's database would begin a log of its own beside it.
            new.execute("PRAGMA journal_mode = DELETE")
            check(new)
    except DamageFound as error:
        raise CannotBackUp(f"{what}: {path.name} in {path.parent}: {error}. Start the controller once, it begins a new "
                           "one; then back up again.") from None  # fmt: skip
    except (sqlite3.Error, UnicodeDecodeError) as error:
        why, advice = damage.reason_and_advice(error)
        raise CannotBackUp(f"{path.name} in {path.parent} cannot be copied: {why}. {advice}") from None


def look_into(folder: Path) -> tuple[Mapping[str, Any], list[Change]]:
    """What is kept in a folder, and the changes of settings, newest first, while a controller runs there or not.

    Raises: CannotBackUp where there is something that cannot be read.
    """
    if not (folder / STATE).exists():
        return {}, []
    with tempfile.TemporaryDirectory() as made:
        copy = Path(made) / STATE
        _copy_database(folder / STATE, copy, _check_state, "The kept settings are damaged")
        store = StateStore(copy)
        values = store.load("").values
        changes = store.changes(1000)
        store.close()
    return values, changes


def _check_state(connection: sqlite3.Connection) -> None:
    state_form.read_checked(connection)


def check_history(connection: sqlite3.Connection) -> None:
    """Whether a database is a history that this program reads.

    Raises: DamageFound.
    """
    application = connection.execute("PRAGMA application_id").fetchone()[0]
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    tables = tuple(row[0] for row in connection.execute("SELECT sql FROM sqlite_schema WHERE sql IS NOT NULL"))
    if not tables and not application:
        return
    if application != history.APPLICATION_ID:
        raise DamageFound("it is a database of another program")
    if version != history.SCHEMA or tables != history.TABLES:
        raise DamageFound(f"its form is number {version}, and this program reads number {history.SCHEMA}")
    if connection.execute("PRAGMA quick_check").fetchall() != [("ok",)]:
        raise DamageFound("its structure is broken")
