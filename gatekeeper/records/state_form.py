"""The form of the file of kept values: its tables, its seal, and reading it so that nothing false comes out."""

import hashlib
import json
import sqlite3
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gatekeeper.control.messages import Keep
from gatekeeper.records.damage import DamageFound

#: "GKst" as a number, so that a database of another program is told from ours.
APPLICATION_ID = 0x474B7374
SCHEMA = 1
#: Changes of settings that are kept for "who changed it, undo"; the oldest go first. Ours.
CHANGES_KEPT = 1000
#: How long a commit waits for another program to let go of the file, seconds. Ours.
BUSY_WAIT_S = 2.0

TABLES = (
    "CREATE TABLE kept (part TEXT NOT NULL, key TEXT NOT NULL, value TEXT NOT NULL, "
    "PRIMARY KEY (part, key)) WITHOUT ROWID",
    "CREATE TABLE changes (id INTEGER PRIMARY KEY, at_s REAL NOT NULL, who TEXT NOT NULL, subject TEXT, "
    "name TEXT NOT NULL, old TEXT NOT NULL, new TEXT NOT NULL, sum INTEGER NOT NULL)",
)
VALUE, ABOUT, SEAL = "value", "about", "seal"
BOOT, BEGUN_AS = (ABOUT, "boot"), (ABOUT, "begun_as")
FRESH, DAMAGED = "fresh", "damaged"

Rows = dict[tuple[str, str], str]
Encoded = Mapping[str, str | None]


@dataclass(frozen=True, slots=True)
class Change:
    """One change of a setting by somebody.

    Args:
        at_s: wall clock, seconds since 1970.
        who: the door it came through, or a name.
        subject: motor or tool, or None for the shop.
        name: the setting, with its unit as suffix.
        old: the value before, as JSON types; undo writes it back.
        new: the value since.
    """

    at_s: float
    who: str
    subject: str | None
    name: str
    old: Any
    new: Any


def encode(keeps: Iterable[Keep]) -> dict[str, str | None]:
    """Keys and their JSON texts, the last of equal keys; None forgets.

    Raises: ValueError where a key is empty or a value is not JSON (NaN and infinities are not).
    """
    texts: dict[str, str | None] = {}
    for keep in keeps:
        if not keep.key:
            raise ValueError("a kept value needs a key")
        texts[keep.key] = None if keep.value is None else _text(keep.key, keep.value)
    return texts


def _text(key: str, value: Any) -> str:
    try:
        return json.dumps(value, allow_nan=False, separators=(",", ":"))
    except (TypeError, ValueError) as error:
        raise ValueError(f"{key}: {value!r} cannot be kept: {error}") from error


def connect(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(path, timeout=BUSY_WAIT_S, isolation_level=None, check_same_thread=False)
    try:
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA journal_mode = TRUNCATE")
        connection.execute("PRAGMA trusted_schema = OFF")
    except BaseException:
        connection.close()
        raise
    return connection


def seal(rows: Rows) -> str:
    """One sum over every row, so that a flipped bit, a torn page or a vanished row is seen."""
    body = json.dumps(sorted((part, key, text) for (part, key), text in rows.items()))
    return hashlib.sha256(body.encode()).hexdigest()


def change_row(change: Change) -> tuple[float, str, str | None, str, str, str, int]:
    old, new = _text(change.name, change.old), _text(change.name, change.new)
    fields = (change.at_s, change.who, change.subject, change.name, old, new)
    return (*fields, zlib.crc32(repr(fields).encode()))


def read_checked(connection: sqlite3.Connection) -> tuple[Rows, list[Change]]:
    """Every row, or DamageFound: nothing that was not written is ever returned."""
    application = connection.execute("PRAGMA application_id").fetchone()[0]
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    if application != APPLICATION_ID:
        raise DamageFound("it is a database of another program")
    if version != SCHEMA:
        raise DamageFound(f"its form is number {version}, and this program reads number {SCHEMA}")
    tables = tuple(row[0] for row in connection.execute("SELECT sql FROM sqlite_schema ORDER BY rowid"))
    if tables != TABLES:
        raise DamageFound("its tables are not those that this program made")
    if connection.execute("PRAGMA integrity_check").fetchall() != [("ok",)]:
        raise DamageFound("its structure is broken")
    rows: Rows = {}
    for part, key, text in connection.execute("SELECT part, key, value FROM kept"):
        rows[part, key] = text
    changes = []
    for *fields, total in connection.execute("SELECT at_s, who, subject, name, old, new, sum FROM changes ORDER BY id"):
        if zlib.crc32(repr(tuple(fields)).encode()) != total:
            raise DamageFound("its contents do not match their check sum")
        at_s, who, subject, name, old, new = fields
        changes.append(Change(at_s, who, subject, name, json.loads(old), json.loads(new)))
    if rows.pop((SEAL, ""), None) != seal(rows):
        raise DamageFound("its contents do not match their check sum")
    return rows, changes
