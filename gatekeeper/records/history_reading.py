"""Reading the record: the last entries, a day as lanes, hours and starts, and all of it as JSON lines.

Every call opens the file by itself, for reading only, so any thread may ask and none holds up the writer.
"""

import json
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TextIO

from gatekeeper.control.messages import Entry
from gatekeeper.records import damage
from gatekeeper.records.history import TABLES
from gatekeeper.records.totals import Total

_COLUMNS = (
    "seq, step, t_s, boot, run, kind, subject, value, cause, rule, why, wall_s "
    "FROM entries JOIN runs ON runs.id = run_id"
)
_OF_LANE = "SELECT run_id, wall_s, word FROM entries WHERE word IS NOT NULL AND kind = ? AND subject = ?"


class HistoryUnreadableError(Exception):
    """The history cannot be read now; the text is a whole sentence with what to do."""


@dataclass(frozen=True, slots=True)
class Dated:
    """One entry with the wall clock time at which it was made, seconds since 1970."""

    entry: Entry
    wall_s: float

    def as_json(self) -> dict[str, Any]:
        """The documented keys of an entry, and ``at``: the wall clock, UTC, to the millisecond."""
        at = datetime.fromtimestamp(self.wall_s, UTC).isoformat(timespec="milliseconds")
        return {**self.entry.as_json(), "at": at.replace("+00:00", "Z")}


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of a lane in one state.

    Args:
        begin_s: wall clock, seconds since 1970, not before the begin asked for.
        end_s: the same, not after the end asked for.
        word: the state: of a tool ``running``, ``stopped``, ``stale``; of a motor ``on``, ``off``; of a gate what it
            was believed to be.
    """

    begin_s: float
    end_s: float
    word: str


@dataclass(frozen=True, slots=True)
class Lane:
    """What one tool, motor or gate did; ``kind`` is the kind of the entries it was drawn from."""

    kind: str
    subject: str
    spans: tuple[Span, ...]


class HistoryReader:
    """Reads the record of ``path``; a file that does not exist yet is an empty one."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def last(self, limit: int = 100) -> list[Dated]:
        """The latest entries, oldest first.

        Raises: HistoryUnreadableError, as every call here.
        """
        with self._reading() as connection:
            rows = connection.execute(f"SELECT {_COLUMNS} ORDER BY entries.id DESC LIMIT ?", (limit,)).fetchall()
        return [_dated(row) for row in reversed(rows)]

    def between(self, begin_s: float, end_s: float, limit: int = 10_000) -> list[Dated]:
        """Entries made from ``begin_s`` until before ``end_s`` by the wall clock, oldest first, at most ``limit``."""
        with self._reading() as connection:
            rows = connection.execute(
                f"SELECT {_COLUMNS} WHERE wall_s >= ? AND wall_s < ? ORDER BY entries.id LIMIT ?",
                (begin_s, end_s, limit),
            ).fetchall()
        return [_dated(row) for row in rows]

    def totals(self) -> list[Total]:
        """Hours and starts of every motor and tool since the file was begun, trimmed entries included."""
        with self._reading() as connection:
            rows = connection.execute("SELECT kind, subject, running_s, starts FROM totals ORDER BY kind, subject")
            return [Total(*row) for row in rows]

    def lanes(self, begin_s: float, end_s: float, now_s: float | None = None) -> list[Lane]:
        """What every tool, motor and gate did between two wall clock times, one lane each, by kind and name.

        Args:
            begin_s: begin, seconds since 1970; what was so before reaches in.
            end_s: end, the same.
            now_s: the present time where the controller runs, so that the last states last until now; else they end
                with the last entry of their run. A state always ends where its run does: after that nobody looked.
        """
        with self._reading() as connection:
            first = self._last_before(connection, begin_s) + 1
            last = self._last_before(connection, end_s)
            newest = connection.execute("SELECT max(id) FROM runs").fetchone()[0]
            ends = dict(connection.execute("SELECT id, last_wall_s FROM runs"))
            if now_s is not None and newest is not None:
                ends[newest] = now_s
            lanes = []
            subjects = connection.execute("SELECT kind, subject FROM lanes ORDER BY kind, subject").fetchall()
            for kind, subject in subjects:
                rows = connection.execute(
                    f"SELECT * FROM ({_OF_LANE} AND id < ? ORDER BY id DESC LIMIT 1) UNION ALL "
                    f"SELECT * FROM ({_OF_LANE} AND id BETWEEN ? AND ? ORDER BY id)",
                    (kind, subject, first, kind, subject, first, last),
                ).fetchall()
                spans = tuple(_spans(rows, ends, begin_s, end_s))
                if spans:
                    lanes.append(Lane(kind, subject, spans))
        return lanes

    def export(self, lines: TextIO) -> int:
        """Write every entry as one line of JSON, oldest first, in the documented form; how many there were."""
        count = 0
        with self._reading() as connection:
            for row in connection.execute(f"SELECT {_COLUMNS} ORDER BY entries.id"):
                lines.write(json.dumps(_dated(row).as_json(), ensure_ascii=False) + "\n")
                count += 1
        return count

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        """A connection for one question; an empty history in memory where the file was not begun yet."""
        connection: sqlite3.Connection | None = None
        try:
            if self.path.exists():
                connection = sqlite3.connect(f"{self.path.resolve().as_uri()}?mode=ro", uri=True, timeout=2.0)
            if connection is None or not connection.execute("SELECT 1 FROM sqlite_schema LIMIT 1").fetchone():
                if connection is not None:
                    connection.close()
                connection = _empty()
            yield connection
        except (sqlite3.Error, OSError, UnicodeDecodeError) as error:
            why, advice = damage.reason_and_advice(error)
            raise HistoryUnreadableError(
                f"The history cannot be read, {self.path.name} in {self.path.parent}: {why}. {advice}"
            ) from error
        finally:
            if connection is not None:
                connection.close()

    @staticmethod
    def _last_before(connection: sqlite3.Connection, wall_s: float) -> int:
        row = connection.execute(
            "SELECT id FROM entries WHERE wall_s < ? ORDER BY wall_s DESC, id DESC LIMIT 1", (wall_s,)
        ).fetchone()
        return 0 if row is None else int(row[0])


def _empty() -> sqlite3.Connection:
    connection = sqlite3.connect(":memory:")
    for table in TABLES:
        connection.execute(table)
    return connection


def _dated(row: tuple[Any, ...]) -> Dated:
    seq, step, t_s, boot, run, kind, subject, text, cause, rule, why, wall_s = row
    try:
        value = None if text is None else json.loads(text)
    except ValueError:
        # A flipped bit: what is left of it is shown, marked, and the rest of the record stays readable.
        value = {"unreadable": text}
    return Dated(Entry(seq, step, t_s, boot, run, kind, subject, value, cause, rule, why), wall_s)


def _spans(rows: list[tuple[int, float, str]], ends: dict[int, float], begin_s: float, end_s: float) -> Iterator[Span]:
    for number, (run, wall_s, word) in enumerate(rows):
        until_s = ends.get(run, wall_s)
        following = rows[number + 1] if number + 1 < len(rows) else None
        if following is not None and following[0] == run:
            until_s = following[1]
        span = Span(max(wall_s, begin_s), min(until_s, end_s), word)
        if span.end_s > span.begin_s:
            yield span
