"""Many days on all cores: what is kept is taken from the store, the rest is played, and every day is kept at once.

Theory of operation. A day is named by its key: the shop, the pattern of work, the seed and the delays. Workers are
fresh processes (spawn) that build a shop once and play many days in it; they look away from Ctrl-C, and the parent
alone ends them. Results arrive in any order and are kept as they arrive, so a study that is stopped has lost only the
days that were being played. A worker that dies ends the study with an error: nothing waits for it.
"""

import json
import os
import signal
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import asdict, dataclass, replace
from multiprocessing import get_context
from typing import Any

from gatekeeper.shop.faults import Faults
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from sim.day import begins_s, until_s, working_days
from sim.day_pattern import Pattern
from sim.play import play
from sim.stage import Stage, stage_of
from sim.study_changes import NO_CHANGES, Changes, changed
from sim.study_days import Delays, Outcome, outcomes_from_json, outcomes_of, with_delays
from sim.study_store import DayStore, key_of

OnDone = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class ShopText:
    """A shop as a plain value: its text, its file's name, and what is done otherwise in it."""

    text: str
    name: str
    changes: Changes = NO_CHANGES

    def shop(self) -> Shop:
        """The shop. Raises ValueError where the text is none, UnknownPart where a change names what is not there."""
        shop = load_shop(self.text, self.name)
        if isinstance(shop, Faults):
            raise ValueError(shop.each[0].said)
        return changed(shop, self.changes)


@dataclass(frozen=True, slots=True)
class DayAsked:
    """One day to be played: ``delays`` None for those of the shop's file."""

    shop: ShopText
    pattern: Pattern
    seed: int
    delays: Delays | None

    @property
    def key(self) -> str:
        """The day's name in the store."""
        work = asdict(replace(self.pattern, closed=frozenset()))
        work["closed"] = sorted(day.value for day in self.pattern.closed)
        delays = None if self.delays is None else asdict(self.delays)
        told = [self.shop.text, asdict(self.shop.changes), work, self.seed, delays]
        return key_of(json.dumps(told, sort_keys=True, default=str))


class Stopped(Exception):
    """Somebody pressed Ctrl-C: ``done`` of ``total`` days are kept."""

    def __init__(self, done: int, total: int) -> None:
        super().__init__(f"{done} of {total} days")
        self.done = done
        self.total = total


class Days:
    """Plays days, or finds them kept. Used in a ``with``: its processes end and the store is closed with it.

    Args:
        store: where days are kept.
        processes: how many at once, 1 or more; with 1 nothing is started.
        on_done: told after each day how many of how many of the present set are done.
    """

    def __init__(self, store: DayStore, processes: int, on_done: OnDone | None = None) -> None:
        self._store = store
        self._processes = processes
        self._on_done = on_done or (lambda done, total: None)
        self._pool: ProcessPoolExecutor | None = None
        self.played = 0
        self.found = 0

    def __enter__(self) -> "Days":
        return self

    def __exit__(self, *_: object) -> None:
        if self._pool is not None:
            # What is being played now takes less than a second more; what waits is not begun.
            self._pool.shutdown(wait=True, cancel_futures=True)
        self._store.close()

    def outcomes(self, asked: Sequence[DayAsked]) -> list[dict[str, Outcome]]:
        """For each day asked for, its outcomes by motor, in the same order. Raises Stopped."""
        keys = [day.key for day in asked]
        missing = {key: day for key, day in zip(keys, asked, strict=True) if self._store.get(key) is None}
        total = len(set(keys))
        done = total - len(missing)
        self.found += done
        self._on_done(done, total)
        try:
            for key, day in self._each(missing.items()):
                self._store.keep(key, day)
                done += 1
                self.played += 1
                self._on_done(done, total)
        except KeyboardInterrupt:
            raise Stopped(done, total) from None
        return [outcomes_from_json(self._store.get(key) or {}) for key in keys]

    def _each(self, missing: Iterable[tuple[str, DayAsked]]) -> Iterable[tuple[str, dict[str, Any]]]:
        work = list(missing)
        if self._processes <= 1 or len(work) <= 1:
            return map(play_one, work)
        if self._pool is None:
            self._pool = ProcessPoolExecutor(self._processes, mp_context=get_context("spawn"))
        # What is ignored when a process begins stays so in it: Ctrl-C is for the parent alone.
        before = signal.signal(signal.SIGINT, signal.SIG_IGN)
        try:
            waiting = [self._pool.submit(play_one, one) for one in work]
        finally:
            signal.signal(signal.SIGINT, before)
        return (future.result() for future in as_completed(waiting))


def cores() -> int:
    """How many processes make sense here."""
    return max(1, os.cpu_count() or 1)


_stages: dict[ShopText, Stage] = {}


def play_one(work: tuple[str, DayAsked]) -> tuple[str, dict[str, Any]]:
    """Play one day; its key, and its outcomes as they are kept."""
    key, day = work
    stage = _stages.get(day.shop)
    if stage is None:
        stage = _stages[day.shop] = stage_of(day.shop.shop())
    if day.delays is not None:
        stage = with_delays(stage, day.delays)
    begin_s = begins_s(day.pattern)
    happenings = working_days(stage.shop, day.pattern, 1, day.seed, begin_s)
    played = play(stage, happenings, until_s=until_s(day.pattern, 1, begin_s), seed=day.seed)
    return key, {motor: outcome.as_json() for motor, outcome in outcomes_of(stage, played).items()}
