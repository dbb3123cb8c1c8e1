"""Many faulted half-hours of a working shop on all cores: no control rule may break.

    python -m sim.campaign --half-hours 2000                        # every example and made shop, seed 1
    python -m sim.campaign --shop shared-twelve --minutes 60 --seed 7 --jobs 2 --results results.jsonl
    python -m sim.campaign --seed 7 --shop shared-twelve --only 4711     # one of them again, told entry by entry

    python -m sim.campaign --days --half-hours 100000 --jobs 2 --results days.jsonl

Every fault of the catalogue's layer *signals*, alone and in pairs, comes at random moments of random half-hours. With
``--days`` it is whole working days by each shop's usual pattern, with a fault or a pair every two hours.
Each half-hour, or day, has a number; what happens in it follows from the seed, the shops and that number alone. With
``--results`` every finished batch is appended to a file, and the same command goes on where it was left, after Ctrl-C
too. Exit status 1 when anything was wrong.
"""

import argparse
import json
import multiprocessing
import signal
import sys
import time
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TextIO

from sim.campaign_half import Half, Verdict, all_shops, combinations, day_of, half_of, judged, shop_called
from sim.campaign_replay import replay
from sim.faulted_day import DAY_LENGTH_S
from sim.half_hour import HALF_HOUR_S

#: Half-hours that one process plays between two words to the others.
BATCH = 20
#: A line of progress this often, seconds.
PROGRESS_S = 5.0
#: Failures that are told of in full.
TOLD = 10


@dataclass(frozen=True, slots=True)
class Order:
    """What a campaign plays: a seed, its shops, and whether the ducts' air is solved."""

    seed: int
    shops: tuple[str, ...]
    with_air: bool = False
    by_days: bool = False

    @property
    def half_hours_each(self) -> int:
        """Half-hours of what one number stands for."""
        return round(DAY_LENGTH_S / HALF_HOUR_S) if self.by_days else 1

    def one_of(self, number: int) -> Half:
        """What a number stands for."""
        drawn = day_of if self.by_days else half_of
        return drawn(self.seed, number, self.shops)

    def as_json(self) -> dict[str, Any]:
        length = {"days": True} if self.by_days else {}
        return length | {
            "seed": self.seed,
            "shops": list(self.shops),
            "air": self.with_air,
            "faults": len(combinations(0)),
        }


@dataclass(slots=True)
class Tally:
    """What came of a campaign so far."""

    half_hours: int = 0
    entries: int = 0
    faults: Counter[str] = field(default_factory=Counter)
    wrong: Counter[str] = field(default_factory=Counter)
    rules: Counter[str] = field(default_factory=Counter)
    problems: list[dict[str, Any]] = field(default_factory=list)
    done: set[int] = field(default_factory=set)

    def add(self, batch: int, verdicts: Sequence[Verdict], half_hours_each: int) -> dict[str, Any]:
        """Count a batch; its line for the results file."""
        line = {
            "batch": batch,
            "half_hours": len(verdicts) * half_hours_each,
            "entries": sum(verdict.entries for verdict in verdicts),
            "faults": dict(Counter(name for verdict in verdicts for name in verdict.faults)),
            "rules": dict(sum((Counter(verdict.rules) for verdict in verdicts), Counter())),
            "problems": [verdict.as_json() for verdict in verdicts if verdict.problem is not None],
        }
        self.take(line)
        return line

    def take(self, line: dict[str, Any]) -> None:
        """Count a line of a results file."""
        self.done.add(line["batch"])
        self.half_hours += line["half_hours"]
        self.entries += line["entries"]
        self.faults.update(line["faults"])
        self.rules.update(line["rules"])
        self.problems += line["problems"]
        self.wrong.update(name for problem in line["problems"] for name in problem["faults"])


def play_batch(order: tuple[Order, int, int]) -> tuple[int, list[Verdict]]:
    """A batch of half-hours, in whatever process: its number, and what came of each."""
    what, batch, last = order
    numbers = range(batch * BATCH, min((batch + 1) * BATCH, last))
    return batch, [judged(what.one_of(number), with_air=what.with_air) for number in numbers]


def verdicts_of(order: Order, batches: Iterable[int], last: int, jobs: int) -> Iterator[tuple[int, list[Verdict]]]:
    """The batches as they are finished, on so many processes."""
    orders = ((order, batch, last) for batch in batches)
    if jobs == 1:
        yield from map(play_batch, orders)
        return
    # Ctrl-C reaches every process of the terminal: the workers leave it to this one.
    with multiprocessing.get_context("fork").Pool(jobs, lambda: signal.signal(signal.SIGINT, signal.SIG_IGN)) as pool:
        yield from pool.imap_unordered(play_batch, orders)


def open_results(path: Path, order: Order, tally: Tally) -> TextIO:
    """The results file, at its end, with what it holds already counted.

    Raises:
        ValueError: it is of another campaign, or not one at all.
    """
    lines = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
    if lines:
        try:
            held = [json.loads(line) for line in lines]
        except json.JSONDecodeError:
            # The last line was cut off in the middle of its writing: it is played again.
            held = [json.loads(line) for line in lines[:-1]]
            path.write_text("".join(f"{json.dumps(one)}\n" for one in held), encoding="utf-8")
        if not held or held[0] != order.as_json():
            raise ValueError(f"{path} holds the results of another campaign. Name another file, or take it away.")
        for line in held[1:]:
            tally.take(line)
    file = path.open("a", encoding="utf-8")
    if not lines:
        file.write(f"{json.dumps(order.as_json())}\n")
    return file


def run(
    order: Order,
    *,
    half_hours: int,
    minutes: float | None = None,
    jobs: int = 1,
    results: Path | None = None,
    out: TextIO = sys.stdout,
) -> Tally:
    """Play a campaign, or the rest of one.

    Args:
        order: what is played.
        half_hours: how many there are; those that ``results`` holds already are not played again.
        minutes: no batch is begun after this time, minutes of the wall clock.
        jobs: how many processes, 1 or more.
        results: a file to append to, and to go on from.
        out: where progress is told.

    Raises:
        ValueError: ``results`` is of another campaign, or a shop is none.
    """
    for name in order.shops:
        shop_called(name)
    tally, began_s, told_s = Tally(), time.monotonic(), time.monotonic()
    file = open_results(results, order, tally) if results is not None else None
    before, ends_s = tally.half_hours, began_s + (minutes or 1e9) * 60.0
    last = -(-half_hours // order.half_hours_each)
    todo = [batch for batch in range(-(-last // BATCH)) if batch not in tally.done]
    timed = (batch for batch in todo if time.monotonic() < ends_s)
    try:
        for batch, verdicts in verdicts_of(order, timed, last, jobs):
            line = tally.add(batch, verdicts, order.half_hours_each)
            if file is not None:
                file.write(f"{json.dumps(line)}\n")
                file.flush()
            if time.monotonic() - told_s >= PROGRESS_S:
                told_s = time.monotonic()
                print(_progress(tally, before, half_hours, told_s - began_s), file=out, flush=True)
    except KeyboardInterrupt:
        print("Stopped. What is done is kept.", file=out)
    finally:
        if file is not None:
            file.close()
    print(_progress(tally, before, half_hours, time.monotonic() - began_s), file=out, flush=True)
    return tally


def _progress(tally: Tally, before: int, half_hours: int, passed_s: float) -> str:
    a_minute = (tally.half_hours - before) / max(passed_s, 1e-9) * 60.0
    wrong = f"{len(tally.problems)} wrong" if tally.problems else "nothing wrong"
    return f"{tally.half_hours:,} of {half_hours:,} half-hours, {a_minute:,.0f} a minute: {wrong}"


def summary(order: Order, tally: Tally) -> str:
    """A table of faults with how often each came and how often something was wrong, and the first failures."""
    lines = [f"{'fault':46} {'half-hours':>10} {'wrong':>6}"]
    for name in sorted(tally.faults, key=lambda name: (-tally.wrong[name], name)):
        lines.append(f"{name:46} {tally.faults[name]:10,} {tally.wrong[name]:6,}")
    rules = ", ".join(f"{rule} {tally.rules[rule]:,}" for rule in sorted(tally.rules, key=_by_number))
    lines += ["", f"Entries of the record: {tally.entries:,}. Rules that gave a reason: {rules}."]
    for problem in tally.problems[:TOLD]:
        lines += ["", *told(order, problem)]
    if len(tally.problems) > TOLD:
        lines += ["", f"{len(tally.problems) - TOLD} more are not shown."]
    return "\n".join(lines)


def told(order: Order, problem: dict[str, Any]) -> list[str]:
    """One failure: shop, seed, faults, what was wrong with the entries before it, and how to play it again."""
    what = problem["problem"]
    length = "day" if order.by_days else "half-hour"
    return [
        f"{problem['shop']}, seed {order.seed}, {length} {problem['number']}: {' and '.join(problem['faults'])}",
        f"{what['judge']}: {what['sentence']}",
        *what["before"],
        f"Again: {again(order, problem['number'])}",
    ]


def again(order: Order, number: int) -> str:
    """The command that plays one half-hour of a campaign again."""
    named = "" if order.shops == all_shops() else "".join(f" --shop '{name}'" for name in order.shops)
    air = " --air" if order.with_air else ""
    days = " --days" if order.by_days else ""
    return f"python -m sim.campaign --seed {order.seed}{named}{air}{days} --only {number}"


def _by_number(rule: str) -> tuple[int, str]:
    digits = "".join(sign for sign in rule if sign.isdigit())
    return int(digits or 0), rule


def main(arguments: Sequence[str] | None = None) -> int:
    """The command."""
    parser = argparse.ArgumentParser(prog="python -m sim.campaign", description=__doc__.split("\n\n")[0])
    parser.add_argument("--shop", action="append", help="an example, a shop file, or 'made 7'; may be repeated")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--half-hours", type=int, default=1_000_000, help="how many there are in all")
    parser.add_argument("--minutes", type=float, help="begin none after so many minutes")
    parser.add_argument("--jobs", type=int, default=1, help="how many processes")
    parser.add_argument("--results", type=Path, help="append to this file, and go on from what it holds")
    parser.add_argument("--air", action="store_true", help="solve the ducts' air, too; slower")
    parser.add_argument("--days", action="store_true", help="whole working days, not busy half-hours")
    parser.add_argument("--only", type=int, help="play this one alone and tell of it")
    parser.add_argument("--shrink", action="store_true", help="with --only: leave out what is not needed to go wrong")
    parser.add_argument("--record", type=Path, help="with --only: write its record there, one JSON object a line")
    asked = parser.parse_args(arguments)
    order = Order(asked.seed, tuple(asked.shop or all_shops()), asked.air, asked.days)
    try:
        if asked.only is not None:
            return replay(order.one_of(asked.only), order.with_air, asked.shrink, asked.record)
        tally = run(order, half_hours=asked.half_hours, minutes=asked.minutes, jobs=asked.jobs, results=asked.results)
    except ValueError as why:
        print(why, file=sys.stderr)
        return 2
    print(summary(order, tally))
    return 1 if tally.problems else 0


if __name__ == "__main__":
    sys.exit(main())
