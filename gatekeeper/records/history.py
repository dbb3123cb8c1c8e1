"""The record as history: one SQLite file that a power cut may shorten by seconds and never breaks.

Write-ahead log with synchronous=NORMAL: about one disk sync per log checkpoint instead of one per commit (SD cards
stall for seconds in one). Only ``HistoryWriter``'s thread writes; readers open the file by themselves.
"""

import json
import sqlite3
from collections.abc import Sequence
from pathlib import Path

from gatekeeper.control.messages import Entry
from gatekeeper.records import damage
from gatekeeper.records.damage import Clock, DamageFound, local_now
from gatekeeper.records.totals import RunningCount, lane_word

#: "GKhi" as a number, so that a database of another program is told from ours.
APPLICATION_ID = 0x474B6869
SCHEMA = 1
#: By age alone never fewer than this many entries stay: a wall clock that jumps ahead must not wipe the record. Ours.
NEVER_FEWER = 20_000
#: Entries taken out in one transaction, so that none is long. Ours.
TRIM_STEP = 5_000

#: What the file is made of, in order.
TABLES = (
    "CREATE TABLE runs (id INTEGER PRIMARY KEY, boot TEXT NOT NULL, run TEXT NOT NULL, last_wall_s REAL NOT NULL, "
    "UNIQUE (boot, run))",
    "CREATE TABLE entries (id INTEGER PRIMARY KEY, run_id INTEGER NOT NULL, seq INTEGER NOT NULL, "
    "step INTEGER NOT NULL, t_s REAL NOT NULL, wall_s REAL NOT NULL, kind TEXT NOT NULL, subject TEXT, value TEXT, "
    "cause INTEGER, rule TEXT, why TEXT, word TEXT)",
    "CREATE INDEX by_wall ON entries (wall_s)",
    "CREATE INDEX by_lane ON entries (kind, subject, id) WHERE word IS NOT NULL",
    "CREATE TABLE lanes (kind TEXT NOT NULL, subject TEXT NOT NULL, PRIMARY KEY (kind, subject)) WITHOUT ROWID",
    "CREATE TABLE totals (kind TEXT NOT NULL, subject TEXT NOT NULL, running_s REAL NOT NULL, starts INTEGER NOT NULL, "
    "PRIMARY KEY (kind, subject)) WITHOUT ROWID",
)


class History:
    """The file of the record, for its one writer.

    Args:
        path: the database file; its folder is made where missing.
        keep_days: older entries go, days, above 0.
        keep_bytes: the oldest entries go when the file holds more than this, bytes.
        wall: the wall clock, for the names of damaged files.
    """

    def __init__(
        self, path: Path, *, keep_days: float = 400.0, keep_bytes: int = 200_000_000, wall: Clock = local_now
    ) -> None:
        self.path = path
        self.keep_days = keep_days
        self.keep_bytes = keep_bytes
        self._wall = wall
        self._connection: sqlite3.Connection | None = None
        self._running = RunningCount()

    @property
    def is_open(self) -> bool:
        """True between ``open`` and ``close``."""
        return self._connection is not None

    def open(self) -> str | None:
        """Open or begin the file. A damaged one is set aside; the sentence then says so, else None.

        Raises: OSError, sqlite3.Error where no file can be opened or begun now.
        """
        self.close()
        try:
            if self.path.is_dir():
                raise DamageFound("a folder stands in its place")
            self.path.parent.mkdir(parents=True, exist_ok=True)
            self._connection = self._connect()
        except Exception as error:
            if not damage.is_damage(error) and isinstance(error, (sqlite3.Error, OSError)):
                raise
            return self.replace(error)
        return None

    def replace(self, error: Exception) -> str:
        """Set the file aside because of ``error`` and begin a new one; the sentences that say so.

        Raises: OSError, sqlite3.Error where that cannot be done now.
        """
        self.close()
        reason = str(error) if isinstance(error, DamageFound) else damage.reason_and_advice(error)[0]
        aside = damage.set_aside(self.path, self._wall())
        self._connection = self._connect()
        return (
            f"The history could not be read: {self.path.name} in {self.path.parent}: {reason}. It was set aside as "
            f"{aside} with every byte kept, and a new file was begun. Hours and starts count from zero again. Nothing "
            "that controls the shop is lost."
        )

    def write(self, stamped: Sequence[tuple[Entry, float]]) -> None:
        """Append entries, each with its wall clock time in seconds since 1970, in one transaction: all or none.

        Raises: OSError, sqlite3.Error; nothing was written then.
        """
        if self._connection is None:
            raise RuntimeError("open comes before write")
        running = self._running.copy()
        totals = running.count(entry for entry, _ in stamped)
        connection = self._connection
        connection.execute("BEGIN IMMEDIATE")
        try:
            runs: dict[tuple[str, str], int] = {}
            rows = []
            lanes = set()
            for entry, wall_s in stamped:
                run = (entry.boot, entry.run)
                if run not in runs:
                    runs[run] = self._run_number(connection, run, wall_s)
                word = lane_word(entry)
                if word is not None:
                    lanes.add((entry.kind, entry.subject))
                # default=str: an entry with an odd value is still better than none.
                value = None if entry.value is None else json.dumps(entry.value, separators=(",", ":"), default=str)
                rows.append(
                    (
                        *(runs[run], entry.seq, entry.step, round(entry.t_s, 3), wall_s, entry.kind, entry.subject),
                        *(value, entry.cause, entry.rule, entry.why, word),
                    )
                )
            connection.executemany("INSERT INTO entries VALUES (NULL, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", rows)
            connection.executemany("INSERT OR IGNORE INTO lanes VALUES (?, ?)", lanes)
            last = {runs[entry.boot, entry.run]: wall_s for entry, wall_s in stamped}
            connection.executemany("UPDATE runs SET last_wall_s = ? WHERE id = ?", [(w, n) for n, w in last.items()])
            connection.executemany(
                "INSERT INTO totals VALUES (?, ?, ?, ?) ON CONFLICT (kind, subject) DO UPDATE SET "
                "running_s = running_s + excluded.running_s, starts = starts + excluded.starts",
                [(total.kind, total.subject, total.running_s, total.starts) for total in totals],
            )
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise
        self._running = running

    def trim(self, now_s: float) -> bool:
        """Take out at most ``TRIM_STEP`` of the oldest entries that are too old or too many.

        The room inside the file is used again, so the file stays near ``keep_bytes`` and is never rewritten whole.

        Args: now_s: the wall clock, seconds since 1970.
        Returns: True where there may be more to take out.
        """
        connection = self._connection
        if connection is None:
            return False
        first, last = connection.execute("SELECT min(id), max(id) FROM entries").fetchone()
        if first is None:
            return False
        # From the oldest on, in the order of writing: a wall clock that was wrong for a while must not take the rest.
        young = connection.execute(
            "SELECT id FROM entries WHERE id < ? AND +wall_s >= ? ORDER BY id LIMIT 1",
            (first + TRIM_STEP, now_s - self.keep_days * 86_400),
        ).fetchone()
        upto = min((young[0] if young else first + TRIM_STEP) - 1, last - NEVER_FEWER)
        if self._used_bytes(connection) > self.keep_bytes:
            # A tenth at a time, so that this is rare; the newest entry always stays.
            upto = max(upto, min(first + max(1, (last - first) // 10), last - 1))
        upto = min(upto, first + TRIM_STEP - 1)
        if upto < first:
            return False
        connection.execute("DELETE FROM entries WHERE id <= ?", (upto,))
        return True

    def close(self) -> None:
        """Let go of the file."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    @staticmethod
    def _used_bytes(connection: sqlite3.Connection) -> int:
        pages, free, size = (
            int(connection.execute(f"PRAGMA {name}").fetchone()[0])
            for name in ("page_count", "freelist_count", "page_size")
        )
        return (pages - free) * size

    @staticmethod
    def _run_number(connection: sqlite3.Connection, run: tuple[str, str], wall_s: float) -> int:
        connection.execute("INSERT OR IGNORE INTO runs VALUES (NULL, ?, ?, ?)", (*run, wall_s))
        number = connection.execute("SELECT id FROM runs WHERE boot = ? AND run = ?", run).fetchone()[0]
        return int(number)

    def _connect(self) -> sqlite3.Connection:
        connection = sqlite3.connect(self.path, timeout=2.0, isolation_level=None, check_same_thread=False)
        try:
            connection.execute("PRAGMA synchronous = NORMAL")
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA trusted_schema = OFF")
            tables = tuple(row[0] for row in connection.execute("SELECT sql FROM sqlite_schema WHERE sql IS NOT NULL"))
            application = connection.execute("PRAGMA application_id").fetchone()[0]
            version = connection.execute("PRAGMA user_version").fetchone()[0]
            if not tables and not application:
                connection.execute("BEGIN IMMEDIATE")
                for table in TABLES:
                    connection.execute(table)
                connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                connection.execute(f"PRAGMA user_version = {SCHEMA}")
                connection.execute("COMMIT")
            elif application != APPLICATION_ID:
                raise DamageFound("it is a database of another program")
            elif version != SCHEMA:
                raise DamageFound(f"its form is number {version}, and this program reads number {SCHEMA}")
            elif tables != TABLES:
                raise DamageFound("its tables are not those that this program made")
        except BaseException:
            connection.close()
            raise
        return connection
