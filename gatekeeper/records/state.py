"""What must outlive a power cut: settings, start stores, latches. One small SQLite file, durable at every put.

A rollback journal (truncated at each commit) with synchronous=FULL, not a write-ahead log: with a log a single
flipped bit in it silently takes back every later commit, a lifted stop would come back or a set one be lost. Here all
is in one file at rest, and a seal over every row shows damage that SQLite itself would not see.

What ``load`` found stays so until this run puts something: another boot until the first ``put``, a first start and
damage until the first that holds a value. It is recorded in the same commit, so a process that dies before finds the
same again. The controller must therefore keep all that it took up from a first start or from damage in its first list.
"""

import contextlib
import json
import os
import sqlite3
import threading
from collections.abc import Iterable, Sequence
from pathlib import Path

from gatekeeper.control.messages import Keep, Kept
from gatekeeper.records import damage, state_form
from gatekeeper.records.damage import Clock, DamageFound, local_now
from gatekeeper.records.state_form import (
    APPLICATION_ID,
    BEGUN_AS,
    BOOT,
    CHANGES_KEPT,
    DAMAGED,
    FRESH,
    SCHEMA,
    SEAL,
    TABLES,
    VALUE,
    Change,
    Encoded,
    Rows,
    change_row,
    encode,
    read_checked,
    seal,
)

_AFTER_LOSS = (
    "Settings are back at their defaults, and every stop counts as in force: "
    "look through both, then clear this message."
)


class NotKeptError(Exception):
    """A value could not be made durable; the text is a whole sentence with what to do."""


class StateStore:
    """The one file of kept values. ``load`` first, then ``put``; any thread, one at a time.

    Args:
        path: the database file; its folder is made where missing.
        wall: the wall clock, for file names and sentences only.
    """

    def __init__(self, path: Path, *, wall: Clock = local_now) -> None:
        self.path = path
        self._sentinel = path.with_name(path.name + ".begun")
        self._wall = wall
        self._lock = threading.Lock()
        self._connection: sqlite3.Connection | None = None
        self._image: dict[str, bytes] = {}
        self._rows: Rows = {}
        self._changes: list[Change] = []
        self._boot_id: str | None = None
        self._trouble: str | None = None
        # Whether memory holds all that was kept: not after a load that found damage and could begin no new file.
        self._is_known = False

    @property
    def trouble(self) -> str | None:
        """What was found damaged or lost, and what was done about it, in plain sentences; None when all is well."""
        return self._trouble

    def load(self, boot_id: str) -> Kept:
        """Everything an earlier run made durable.

        A damaged or lost file never stops the start: it is set aside, a new one is begun and ``trouble`` says so.

        Raises: FileInUseError where another program holds the file.
        """
        with self._lock:
            self._boot_id = boot_id
            try:
                found = self._open()
            except DamageFound as error:
                self._trouble = self._replace(str(error), running=False)
                self._is_known = self._connection is not None
                return Kept(fresh=False, damaged=True)
            if not found:
                try:
                    self._begin(FRESH)
                except (sqlite3.Error, OSError) as error:
                    self._close()
                    # Nothing can be written: whether anything was ever kept cannot be told, so the careful answer.
                    self._trouble = self._cannot_begin(error)
                    return Kept(fresh=False, damaged=True)
            self._is_known = True
            begun_as = self._rows.get(BEGUN_AS)
            if begun_as == DAMAGED:
                self._trouble = (
                    f"The kept settings were lost at an earlier start, and nothing has been kept since. {_AFTER_LOSS}"
                )
            values = {key: json.loads(text) for (part, key), text in self._rows.items() if part == VALUE}
            return Kept(
                values=values,
                fresh=begun_as == FRESH,
                damaged=begun_as == DAMAGED,
                same_boot=self._rows.get(BOOT) == boot_id,
            )

    def put(self, keeps: Iterable[Keep], changes: Sequence[Change] = ()) -> None:
        """Make values durable, all or none; when this returns they outlive a power cut.

        Raises:
            ValueError: a key or value that cannot be kept; nothing was written.
            NotKeptError: the disk said no; the earlier values stand.
        """
        self.put_encoded(encode(keeps), changes)

    def put_encoded(self, texts: Encoded, changes: Sequence[Change] = ()) -> None:
        """As ``put``, with what ``encode`` made."""
        with self._lock:
            if self._boot_id is None:
                raise RuntimeError("load comes before put")
            wanted = self._wanted(texts)
            new_changes = [*self._changes, *changes][-CHANGES_KEPT:]
            known = self._connection is not None
            try:
                try:
                    self._commit(wanted, changes, whole=not known)
                except (sqlite3.Error, OSError) as error:
                    self._close()
                    if not known or damage.is_busy(error):
                        raise
                    # The file may be fine again, or be gone: look once more, then write everything that is known.
                    self._commit(wanted, changes, whole=True)
            except NotKeptError:
                self._close()
                raise
            except (sqlite3.Error, OSError, damage.FileInUseError) as error:
                self._close()
                raise NotKeptError(self._not_kept(error)) from error
            self._is_known = True
            self._rows = wanted
            self._changes = new_changes

    def changes(self, limit: int = 50, subject: str | None = None, name: str | None = None) -> list[Change]:
        """The latest changes of settings, newest first; of one ``subject`` or one ``name`` where given."""
        with self._lock:
            chosen = [
                change
                for change in reversed(self._changes)
                if (subject is None or change.subject == subject) and (name is None or change.name == name)
            ]
        return chosen[:limit]

    def close(self) -> None:
        """Let go of the file; a later ``put`` opens it again."""
        with self._lock:
            self._close()

    # ------------------------------------------------------------ writing

    def _wanted(self, texts: Encoded) -> Rows:
        rows = dict(self._rows)
        for key, text in texts.items():
            if text is None:
                rows.pop((VALUE, key), None)
            else:
                rows[VALUE, key] = text
        assert self._boot_id is not None
        rows[BOOT] = self._boot_id
        # A put that only forgets tells nothing of what the controller took up, so damage is still to be told of.
        if any(part == VALUE for part, _ in rows):
            rows.pop(BEGUN_AS, None)
        return rows

    def _commit(self, wanted: Rows, changes: Sequence[Change], *, whole: bool) -> None:
        """One transaction; ``whole`` writes every row anew, into a file that is opened or begun for it."""
        if self._connection is None:
            self._reopen()
        connection = self._connection
        assert connection is not None
        have = {} if whole else self._rows
        if not whole and have == wanted and not changes:
            return
        connection.execute("BEGIN IMMEDIATE")
        if whole:
            connection.execute("DELETE FROM kept")
            connection.execute("DELETE FROM changes")
            changes = [*self._changes, *changes][-CHANGES_KEPT:]
        gone = [key for key in have if key not in wanted]
        connection.executemany("DELETE FROM kept WHERE part = ? AND key = ?", gone)
        new = [(*key, text) for key, text in wanted.items() if have.get(key) != text]
        if new or gone:
            new.append((SEAL, "", seal(wanted)))
        connection.executemany("INSERT OR REPLACE INTO kept VALUES (?, ?, ?)", new)
        if changes:
            connection.executemany("INSERT INTO changes VALUES (NULL, ?, ?, ?, ?, ?, ?, ?)", map(change_row, changes))
            connection.execute(
                "DELETE FROM changes WHERE id <= (SELECT max(id) FROM changes) - ?",
                (CHANGES_KEPT,),
            )
        connection.execute("COMMIT")

    def _reopen(self) -> None:
        """In mid-run: open the file again, or begin another when it is damaged or gone; memory knows all of it."""
        rows, changes = self._rows, self._changes
        try:
            try:
                if not self._open():
                    self._begin(FRESH)
            except DamageFound as error:
                sentence = self._replace(str(error), running=self._is_known)
                if self._connection is None:
                    raise NotKeptError(f"Not kept. {sentence}") from error
                self._trouble = sentence
        finally:
            self._rows, self._changes = rows, changes

    def _begin(self, begun_as: str) -> None:
        self.path.parent.mkdir(parents=True, exist_ok=True)
        connection = state_form.connect(self.path)
        self._connection = connection
        rows: Rows = {BEGUN_AS: begun_as}
        connection.execute("BEGIN IMMEDIATE")
        for table in TABLES:
            connection.execute(table)
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {SCHEMA}")
        connection.executemany("INSERT INTO kept VALUES (?, ?, ?)", [(*BEGUN_AS, begun_as), (SEAL, "", seal(rows))])
        connection.execute("COMMIT")
        damage.sync_folder(self.path.parent)
        self._mark_begun()
        self._rows, self._changes = rows, []

    def _mark_begun(self) -> None:
        """The small file that tells a lost database from one that never was; written after the database."""
        text = (
            f"{self._wall():%Y-%m-%d}\n{self.path.name} was begun here on that day. This note tells a lost file from a "
            "first start:\nleave it where it is.\n"
        )
        with open(self._sentinel, "w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        damage.sync_folder(self.path.parent)

    # ------------------------------------------------------------ reading

    def _open(self) -> bool:
        """Open and check the file; False where nothing was ever begun. Fills rows and changes.

        Raises: DamageFound, FileInUseError.
        """
        begun = os.path.lexists(self._sentinel)
        if not os.path.lexists(self.path):
            if begun:
                raise DamageFound(self._gone())
            return False
        if self.path.is_dir():
            raise DamageFound("a folder stands in its place")
        try:
            self._image = damage.image_before_opening(self.path)
            connection = state_form.connect(self.path)
            self._connection = connection
            if connection.execute("PRAGMA page_count").fetchone()[0] == 0:
                if begun:
                    raise DamageFound("it is empty")
                self._close()
                return False
            self._rows, self._changes = read_checked(connection)
        except DamageFound:
            self._close()
            raise
        except Exception as error:
            # Of any kind: nothing that stands in a file may end the start.
            self._close()
            if damage.is_busy(error):
                raise damage.in_use(self.path) from error
            raise DamageFound(damage.reason_and_advice(error)[0]) from error
        if not begun:
            # In a folder that may only be read the values are good all the same; putting will say what is wrong.
            with contextlib.suppress(OSError):
                self._mark_begun()
        return True

    def _gone(self) -> str:
        try:
            day = self._sentinel.read_text(encoding="utf-8").partition("\n")[0]
        except (OSError, ValueError):
            day = ""
        return f"it is gone, although it was begun on {day}" if len(day) == 10 else "it is gone, although it was begun"

    def _close(self) -> None:
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    # ------------------------------------------------------------ damage, in words

    def _replace(self, reason: str, *, running: bool) -> str:
        """Set the file aside and begin a new one; the sentences that say so."""
        self._close()
        self._rows, self._changes = {}, []
        there = os.path.lexists(self.path)
        found = "turned out damaged while running" if running else "could not be read"
        said = f"The kept settings {found}: {self.path.name} in {self.path.parent}: {reason}."
        after = "Nothing was lost: it holds all that the controller knows." if running else _AFTER_LOSS
        try:
            aside = damage.set_aside(self.path, self._wall(), self._image) if there else None
            self._begin(DAMAGED)
        except (sqlite3.Error, OSError) as error:
            self._close()
            self._rows = {}
            why, advice = damage.reason_and_advice(error)
            said = f"{said} No new file could be begun ({why}), so nothing can be kept. {advice}"
            return said if running else f"{said} {_AFTER_LOSS}"
        kept = f"It was set aside as {aside} with every byte kept, and a new" if aside else "A new"
        return f"{said} {kept} file was begun. {after}"

    def _cannot_begin(self, error: Exception) -> str:
        why, advice = damage.reason_and_advice(error)
        return (
            f"{self.path.name} in {self.path.parent} could not be begun: {why}. Nothing can be kept. "
            f"{advice} {_AFTER_LOSS}"
        )

    def _not_kept(self, error: Exception) -> str:
        why, advice = damage.reason_and_advice(error)
        return (
            f"Not kept, {self.path.name} in {self.path.parent}: {why}. "
            f"After a restart the earlier value counts. {advice}"
        )
