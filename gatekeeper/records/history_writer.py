"""The thread that writes the record to the disk every few seconds; nobody ever waits for it."""

import sqlite3
import threading
import time
from collections import deque
from collections.abc import Callable

from gatekeeper.control.messages import Entry
from gatekeeper.records import damage
from gatekeeper.records.history import History
from gatekeeper.records.reporting import Report, tell_nobody

#: Entries that may wait while the disk is slow: about ten busy minutes of a large shop. Ours.
CAPACITY = 20_000
#: Between two looks at what is too old or too much, seconds. Ours.
TRIM_EVERY_S = 600.0
#: A disk that has not taken a batch within this time is said to stand still, seconds. Ours.
STALLED_S = 30.0


class HistoryWriter:
    """Takes entries at once, writes them in one transaction every ``every_s``.

    When more than ``capacity`` entries wait, new ones are left out; in their place one entry of kind ``gap`` takes the
    sequence number of the first, with how many are missing.

    Args:
        history: the file; this thread opens it, so a large one never delays the start.
        every_s: seconds between two transactions, above 0; what a power cut may cost.
        capacity: entries that may wait, at least 1.
        report: told ``history_damaged`` and ``history_not_written``, on the writer's thread.
        wall_s: the wall clock, seconds since 1970; stamps each entry for people.
    """

    def __init__(
        self,
        history: History,
        *,
        every_s: float = 3.0,
        capacity: int = CAPACITY,
        report: Report = tell_nobody,
        wall_s: Callable[[], float] = time.time,
    ) -> None:
        self._history = history
        self._every_s = every_s
        self._capacity = capacity
        self._report = report
        self._wall_s = wall_s
        self._lock = threading.Condition()
        self._buffer: deque[tuple[Entry, float]] = deque()
        self._gap: tuple[Entry, float, int, int] | None = None
        self._lost = 0
        self._asked = 0
        self._answered = 0
        self._ending = False
        self._at_disk_s: float | None = None
        self._trouble: str | None = None
        self._is_clean = True
        self._thread = threading.Thread(target=self._work, name="history", daemon=True)

    @property
    def lost(self) -> int:
        """How many entries were left out since the start because the disk was too slow."""
        return self._lost

    @property
    def trouble(self) -> str | None:
        """What is wrong with the history at present, a sentence, or None."""
        since_s = self._at_disk_s
        if since_s is not None and time.monotonic() - since_s > STALLED_S:
            return "The history is not being written: the disk does not answer. The shop runs on without it."
        return self._trouble

    def start(self) -> None:
        """Begin; entries added before wait for this."""
        self._thread.start()

    def add(self, entry: Entry) -> None:
        """Take one entry. Never blocks on the disk, never raises; the entry must not be changed afterwards."""
        wall_s = self._wall_s()
        with self._lock:
            if len(self._buffer) >= self._capacity:
                self._lost += 1
                first, first_wall_s, count, _ = self._gap or (entry, wall_s, 0, 0)
                self._gap = (first, first_wall_s, count + 1, entry.seq)
                return
            self._close_gap()
            self._buffer.append((entry, wall_s))

    def flush(self, timeout_s: float = 5.0) -> bool:
        """Write all that was added before this call; True when it is in the file, False when not within the time."""
        with self._lock:
            self._asked += 1
            mine = self._asked
            self._lock.notify_all()
            return self._lock.wait_for(lambda: self._answered >= mine, timeout_s) and self._is_clean

    def stop(self, timeout_s: float = 1.0) -> bool:
        """Write what waits and end; True when all is in the file, False when not within ``timeout_s``."""
        with self._lock:
            self._ending = True
            self._lock.notify_all()
        self._thread.join(timeout_s)
        return not self._thread.is_alive() and self._is_clean

    # ------------------------------------------------------------ the thread

    def _close_gap(self) -> None:
        if self._gap is None:
            return
        first, wall_s, count, last_seq = self._gap
        self._gap = None
        entries = "1 entry" if count == 1 else f"{count} entries"
        gap = Entry(
            seq=first.seq,
            step=first.step,
            t_s=first.t_s,
            boot=first.boot,
            run=first.run,
            kind="gap",
            value={"lost": count, "last_seq": last_seq},
            why=f"The disk was too slow: {entries} of the record could not be kept.",
        )
        self._buffer.append((gap, wall_s))

    def _work(self) -> None:
        trim_at_s = 0.0
        while True:
            with self._lock:
                self._lock.wait_for(lambda: self._ending or self._asked > self._answered, self._every_s)
                asked, ending = self._asked, self._ending
                # One note of a gap above the capacity, not one a round: a dead disk must not fill the memory.
                if len(self._buffer) <= self._capacity:
                    self._close_gap()
                is_all = self._gap is None
                batch = list(self._buffer)
            self._at_disk_s = time.monotonic()
            is_written = self._write(batch)
            if is_written and not ending and time.monotonic() >= trim_at_s and not self._trim():
                trim_at_s = time.monotonic() + TRIM_EVERY_S
            self._at_disk_s = None
            with self._lock:
                if is_written:
                    for _ in batch:
                        self._buffer.popleft()
                    if not is_all:
                        continue
                self._answered = asked
                self._is_clean = is_written
                self._lock.notify_all()
                if ending:
                    break
        self._history.close()

    def _write(self, batch: list[tuple[Entry, float]]) -> bool:
        try:
            if not self._history.is_open:
                self._tell_damage(self._history.open())
            if batch:
                try:
                    self._history.write(batch)
                except sqlite3.Error as error:
                    if not damage.is_damage(error):
                        raise
                    self._tell_damage(self._history.replace(error))
                    self._history.write(batch)
        except Exception as error:
            # Of any kind: the record may fail, the thread must stay and try again.
            self._history.close()
            why, advice = damage.reason_and_advice(error)
            path = self._history.path
            self._tell(
                f"The history is not being written, {path.name} in {path.parent}: {why}. {advice} "
                "The shop runs on without it."
            )
            return False
        self._tell(None)
        return True

    def _trim(self) -> bool:
        try:
            return self._history.trim(self._wall_s())
        except sqlite3.Error:
            # The next write meets the same fault and says so.
            return False

    def _tell_damage(self, sentence: str | None) -> None:
        if sentence is not None:
            self._report("history_damaged", sentence)

    def _tell(self, sentence: str | None) -> None:
        if sentence != self._trouble:
            self._trouble = sentence
            self._report("history_not_written", sentence)
