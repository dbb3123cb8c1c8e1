"""Keeping values without ever making the control thread wait for the disk."""

import logging
import threading
import time
from collections.abc import Callable, Iterable, Sequence

from gatekeeper.control.messages import Keep
from gatekeeper.records.reporting import Report, tell_nobody
from gatekeeper.records.state import NotKeptError, StateStore
from gatekeeper.records.state_form import CHANGES_KEPT, Change, encode

#: Told when a job is durable (True, None) or not (False, a sentence).
Done = Callable[[bool, str | None], None]

#: First and longest wait before a failed disk is tried again, seconds; each wait is twice the last. Ours.
RETRY_FIRST_S = 1.0
RETRY_LONGEST_S = 60.0
#: A disk that has not taken a job within this time is said to stand still, seconds. A slow card stalls for a few. Ours.
STALLED_S = 10.0

_ENDED = "Not kept: the controller is ending. After a restart the earlier value counts."
_LOG = logging.getLogger(__name__)


class StateWriter:
    """A thread that makes values durable; everything that waits goes into one commit.

    What a failing disk did not take is not forgotten: the latest value of each key is owed and tried again, with the
    next job and by itself.

    Args:
        store: a loaded store; from now on only this thread writes to it.
        report: told ``not_kept`` and ``kept_damaged``, on the writer's thread.
        retry_first_s: the first wait after a failure, seconds, above 0.
    """

    def __init__(
        self, store: StateStore, *, report: Report = tell_nobody, retry_first_s: float = RETRY_FIRST_S
    ) -> None:
        self._store = store
        self._report = report
        self._retry_first_s = retry_first_s
        self._lock = threading.Condition()
        self._texts: dict[str, str | None] = {}
        self._changes: list[Change] = []
        self._waiting: list[Done] = []
        self._ending = False
        self._at_disk_s: float | None = None
        self._trouble: str | None = None
        self._damage_told = store.trouble
        self._thread = threading.Thread(target=self._work, name="keeping", daemon=True)

    @property
    def trouble(self) -> str | None:
        """Why values are not kept at present, a sentence; None where all are."""
        since_s = self._at_disk_s
        if since_s is not None and time.monotonic() - since_s > STALLED_S:
            return "Not kept: the disk does not answer. Until it does, the earlier values count after a power cut."
        return self._trouble

    def start(self) -> None:
        """Begin; jobs given before wait for this."""
        self._thread.start()

    def submit(self, keeps: Iterable[Keep], done: Done, changes: Sequence[Change] = ()) -> None:
        """Hand over values; returns at once.

        The values of one call become durable together. ``done`` is called exactly once, on the writer's thread: it
        may only hand the news on. After ``done(False, ...)`` the values are still owed and may become durable later.

        Raises: ValueError where a key or value cannot be kept; nothing is handed over then.
        """
        texts = encode(keeps)
        with self._lock:
            if not self._ending:
                self._texts.update(texts)
                self._changes.extend(changes)
                self._waiting.append(done)
                self._lock.notify()
                return
        done(False, _ENDED)

    def stop(self, timeout_s: float = 1.0) -> bool:
        """Write what waits, then end. True where everything is durable; False where it was not within ``timeout_s``."""
        with self._lock:
            self._ending = True
            self._lock.notify()
        self._thread.join(timeout_s)
        return not self._thread.is_alive() and self._trouble is None

    # ------------------------------------------------------------ the thread

    def _work(self) -> None:
        owed: dict[str, str | None] = {}
        owed_changes: list[Change] = []
        wait_s = self._retry_first_s
        while True:
            with self._lock:
                # With something owed, silence is also a reason to wake.
                self._lock.wait_for(
                    lambda: bool(self._waiting) or self._ending, wait_s if owed or owed_changes else None
                )
                owed.update(self._texts)
                owed_changes = [*owed_changes, *self._changes][-CHANGES_KEPT:]
                waiting = self._waiting
                self._texts, self._changes, self._waiting = {}, [], []
                ending = self._ending
            self._at_disk_s = time.monotonic()
            sentence = self._try(owed, owed_changes)
            self._at_disk_s = None
            if sentence is None:
                owed, owed_changes, wait_s = {}, [], self._retry_first_s
            else:
                wait_s = min(2 * wait_s, RETRY_LONGEST_S)
            self._tell(sentence, waiting)
            if ending:
                return

    def _try(self, texts: dict[str, str | None], changes: list[Change]) -> str | None:
        try:
            self._store.put_encoded(texts, changes)
        except NotKeptError as error:
            return str(error)
        except Exception:
            # A fault of the program, not of the disk: whoever waits for the answer must still get one.
            _LOG.exception("keeping values failed")
            return "Not kept: the program failed while writing. After a restart the earlier value counts."
        return None

    def _tell(self, sentence: str | None, waiting: list[Done]) -> None:
        if sentence != self._trouble:
            self._trouble = sentence
            self._call(lambda: self._report("not_kept", sentence))
        damaged = self._store.trouble
        if damaged != self._damage_told:
            self._damage_told = damaged
            self._call(lambda: self._report("kept_damaged", damaged))
        for done in waiting:
            self._call(lambda done=done: done(sentence is None, sentence))  # type: ignore[misc]

    def _call(self, told: Callable[[], None]) -> None:
        try:
            told()
        except Exception:
            # The listener's fault must not end the keeping.
            _LOG.exception("a listener of the kept values failed")
