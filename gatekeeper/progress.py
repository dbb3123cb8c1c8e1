"""A progress bar on standard error for what takes long; nothing where no terminal reads it."""

import sys
import time
from typing import Any

#: Nobody waits for a bar that is gone before it is seen; from this time on it is shown, seconds.
BAR_AFTER_S = 2.0
#: The bar is drawn anew at most this often, seconds.
BAR_EVERY_S = 0.2


class Bar:
    """Used in a ``with``.

    Args:
        words: what is going on.
        total: what ``at`` counts up to, more than 0.
    """

    def __init__(self, words: str, total: float) -> None:
        self._words, self._total = words, total
        self._progress: Any = None
        self._task: Any = None
        self._began_s = self._drawn_s = time.monotonic()

    def __enter__(self) -> "Bar":
        return self

    def __exit__(self, *_: object) -> None:
        if self._progress is not None:
            self._progress.stop()

    def at(self, done: float, total: float | None = None) -> None:
        """So much is done; ``total`` where it has changed."""
        self._total = self._total if total is None else total
        now_s = time.monotonic()
        if now_s - self._drawn_s < BAR_EVERY_S or not sys.stderr.isatty():
            return
        self._drawn_s = now_s
        if self._progress is None:
            if now_s - self._began_s < BAR_AFTER_S:
                return
            self._begin()
        self._progress.update(self._task, completed=min(done, self._total), total=self._total)

    def _begin(self) -> None:
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

        columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn())
        self._progress = Progress(*columns, console=Console(stderr=True), transient=True)
        self._task = self._progress.add_task(self._words, total=self._total)
        self._progress.start()
