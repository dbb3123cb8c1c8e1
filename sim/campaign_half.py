"""One half-hour, or one day, of a campaign: drawn from its seed and its own number, played, and judged from outside."""

import itertools
import random
from collections import Counter, deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

from gatekeeper.control.messages import Entry
from gatekeeper.shop import examples
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from sim.catalogue import on
from sim.catalogue_row import Fault, Layer
from sim.checker import Checker
from sim.faulted_day import DAY_LENGTH_S, PARTS, day_with_faults
from sim.half_hour import HALF_HOUR_S, Put, with_faults
from sim.happening import Controller, Happening, What
from sim.made_shops import made_shop
from sim.play import USUAL_START_S, Game
from sim.stage import Stage, stage_of
from sim.truth_judge import TruthJudge

#: Shops of a campaign that names none: every example, and so many made ones.
MADE = 60
#: Shops that one process keeps ready.
KEPT_STAGES = 256
#: An "on" holds for 5 s and two thirds of all steps only renew it. So most half-hours in which the program is neither
#: killed nor stands still are played with longer ones: nothing but those steps is missing.
LONG_SHARE = 0.9
#: Entries told of before what went wrong.
BEFORE = 10
#: A shop that can have all faults of a half-hour is looked for this often; then those that it cannot have are left out.
LOOKS = 40


@dataclass(frozen=True, slots=True)
class Half:
    """One half-hour, or one day, before it is played; ``wall_start_s``: seconds after midnight at its beginning."""

    seed: int
    number: int
    shop: str
    happenings: tuple[Happening, ...]
    puts: tuple[Put, ...]
    has_long_leases: bool = False
    length_s: float = HALF_HOUR_S
    wall_start_s: float = USUAL_START_S


@dataclass(frozen=True, slots=True)
class Problem:
    """What went wrong first: who says so, in one sentence, when, and the entries before it."""

    judge: str
    sentence: str
    t_s: float
    before: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Verdict:
    """What came of a half-hour."""

    number: int
    shop: str
    faults: tuple[str, ...]
    entries: int
    problem: Problem | None
    rules: Mapping[str, int] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        """The verdict as a JSON object; the counts are left out."""
        problem = None
        if self.problem is not None:
            problem = {
                "judge": self.problem.judge,
                "sentence": self.problem.sentence,
                "t_s": round(self.problem.t_s, 3),
                "before": list(self.problem.before),
            }
        return {"number": self.number, "shop": self.shop, "faults": list(self.faults), "problem": problem}


def all_shops() -> tuple[str, ...]:
    """The names of the shops of a campaign that names none."""
    return (*examples.names(), *(f"made {seed}" for seed in range(MADE)))


def shop_called(name: str) -> Shop:
    """An example, a made shop ("made 7"), or a shop file.

    Raises:
        ValueError: a sentence, where there is no such shop or its file has faults.
    """
    if name.startswith("made ") and name[5:].isdigit():
        return made_shop(int(name[5:]))
    path = examples.example(name) if name in examples.names() else Path(name)
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as why:
        raise ValueError(
            f"{name}: {why.strerror}. Name an example, a shop file, or a made shop such as made 7."
        ) from None
    shop = load_shop(text, path.name)
    if not isinstance(shop, Shop):
        raise ValueError(str(shop))
    return shop


@lru_cache(maxsize=KEPT_STAGES)
def stage_called(name: str, with_air: bool = False, has_long_leases: bool = False) -> Stage:
    """A shop made ready, once for many half-hours."""
    if has_long_leases:
        return stage_called(name, with_air).with_long_leases()
    return stage_of(shop_called(name), with_air=with_air)


@lru_cache(maxsize=4)
def combinations(seed: int) -> tuple[tuple[Fault, ...], ...]:
    """Every fault of the layer alone, and every pair, in an order drawn from the seed."""
    rows = on(Layer.SIGNALS)
    found: list[tuple[Fault, ...]] = [(row,) for row in rows]
    found += itertools.combinations(rows, 2)
    random.Random(seed).shuffle(found)
    return tuple(found)


def half_of(seed: int, number: int, shops: Sequence[str]) -> Half:
    """The half-hour of a number, the same each time for the same shops and the same catalogue."""
    draw = random.Random(f"{seed}/{number}")
    combination = combinations(seed)[number % len(combinations(seed))]
    for _ in range(LOOKS):
        name = draw.choice(shops)
        shop = stage_called(name).shop
        if all(row.subjects(shop) for row in combination):
            break
    faults = [row for row in combination if row.subjects(shop)]
    happenings, puts = with_faults(shop, draw, faults, HALF_HOUR_S)
    return Half(seed, number, name, tuple(happenings), tuple(puts), _may_have_long_leases(happenings, draw))


def day_of(seed: int, number: int, shops: Sequence[str]) -> Half:
    """The day of a number: in each of its parts the next combination of faults that its shop can have."""
    draw = random.Random(f"{seed}/day {number}")
    name = draw.choice(shops)
    shop = stage_called(name).shop
    order = combinations(seed)
    wanted = (order[(number * PARTS + part) % len(order)] for part in range(PARTS))
    parts = [[row for row in combination if row.subjects(shop)] for combination in wanted]
    happenings, puts, begin_s = day_with_faults(shop, draw, parts)
    is_long = _may_have_long_leases(happenings, draw)
    return Half(seed, number, name, tuple(happenings), tuple(puts), is_long, DAY_LENGTH_S, begin_s)


def _may_have_long_leases(happenings: Sequence[Happening], draw: random.Random) -> bool:
    befallen = any(one.what is What.STANDS_STILL or one.value is Controller.KILL for one in happenings)
    return not befallen and draw.random() < LONG_SHARE


def judged(half: Half, *, with_air: bool = False) -> Verdict:
    """Play a half-hour and judge it by the rules, by the record's own words, and by the truth."""
    stage = stage_called(half.shop, with_air, half.has_long_leases)
    judge = _Judge(stage.shop, half)
    game = Game(
        stage, seed=half.number, watch=judge.hear, truth=True, with_tracks=False, wall_start_s=half.wall_start_s
    )
    judge.game = game
    for happening in half.happenings:
        game.happen(happening)
    try:
        game.run(half.length_s)
        judge.finish(half.length_s)
    except _EnoughError:
        pass  # the first thing that is wrong ends the half-hour
    except Exception as error:  # whatever it was, it is what the half-hour found
        judge.complain("crash", f"{type(error).__name__}: {error}", game.now_s)
    faults = tuple(put.fault.name for put in half.puts)
    return Verdict(half.number, half.shop, faults, judge.heard, judge.problem, judge.rules)


class _EnoughError(Exception):
    """Something was wrong; nothing after it counts."""


class _Judge:
    """Hears a play, and keeps the first thing that is wrong with the entries before it."""

    def __init__(self, shop: Shop, half: Half) -> None:
        stands_still = any(one.what is What.STANDS_STILL for one in half.happenings)
        self._checker = Checker(punctual=not stands_still, quick=True)
        self._truth = TruthJudge(shop, half.puts)
        self._before: deque[tuple[float, Entry]] = deque(maxlen=BEFORE + 1)
        self.game: Game | None = None
        self.problem: Problem | None = None
        self.heard = 0
        self.rules: Counter[str] = Counter()

    def hear(self, entry: Entry) -> None:
        now_s = self.game.now_s if self.game is not None else entry.t_s
        self.heard += 1
        self._before.append((now_s, entry))
        if entry.rule is not None:
            self.rules[entry.rule] += 1
        if entry.kind in ("dropped", "fault"):
            self.complain(entry.kind, f"{entry.subject}: {entry.value}: {entry.why}", now_s)
        if entry.kind[:6] != "truth_":
            for violation in self._checker.feed(entry.as_json()):
                self.complain("rule", str(violation), now_s)
        self._truth.hear(now_s, entry)
        if self._truth.found:
            self.complain("truth", str(self._truth.found[0]), now_s)
        if self.problem is not None:
            raise _EnoughError

    def finish(self, now_s: float) -> None:
        """Judge what was not judged yet."""
        for violation in self._checker.finish():
            self.complain("rule", str(violation), self._before[-1][0])
        self._truth.finish(now_s)
        if self._truth.found:
            self.complain("truth", str(self._truth.found[0]), now_s)

    def complain(self, judge: str, sentence: str, t_s: float) -> None:
        """Keep the first complaint."""
        if self.problem is None:
            self.problem = Problem(judge, sentence, t_s, tuple(as_line(at_s, entry) for at_s, entry in self._before))


def as_line(play_s: float, entry: Entry) -> str:
    """One entry for a reader's eye, with the play's own time."""
    rule = f" [{entry.rule}]" if entry.rule else ""
    why = f" {entry.why}" if entry.why else ""
    return f"{entry.seq:6} {play_s:10.3f} s {entry.kind:14} {entry.subject or '-'}: {entry.value}{rule}{why}"
