"""How many faulted half-hours a campaign plays and judges in a minute, and where the time goes (issue: over 2,000).

    python tests/bench/bench_campaign.py [--half-hours 200] [--seed 9] [--jobs 2]

The first figure is what the command prints by itself: wall clock, all processes, shops made ready on the way. The
others are seconds of the processor in one process, for the same half-hours: played alone, with the truth told, and
judged as a campaign judges them.
"""

import argparse
import io
import time
from collections.abc import Callable

from gatekeeper.control.messages import Entry
from sim.campaign import Order, run
from sim.campaign_half import Half, all_shops, half_of, judged, stage_called
from sim.half_hour import HALF_HOUR_S
from sim.play import Game


def played(half: Half, watch: Callable[[Entry], None] | None) -> None:
    """One half-hour, judged by nobody."""
    stage = stage_called(half.shop, has_long_leases=half.has_long_leases)
    game = Game(stage, seed=half.number, watch=watch, truth=watch is not None, with_tracks=False)
    for happening in half.happenings:
        game.happen(happening)
    game.run(HALF_HOUR_S)


def seconds(halves: list[Half], act: Callable[[Half], object]) -> float:
    """Seconds of the processor for each."""
    began_s = time.process_time()
    for half in halves:
        act(half)
    return (time.process_time() - began_s) / len(halves)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--half-hours", type=int, default=200)
    parser.add_argument("--seed", type=int, default=9)
    parser.add_argument("--jobs", type=int, default=2)
    asked = parser.parse_args()
    order = Order(asked.seed, all_shops())
    began_s = time.monotonic()
    tally = run(order, half_hours=asked.half_hours, jobs=asked.jobs, out=io.StringIO())
    passed_s = time.monotonic() - began_s
    a_minute = tally.half_hours / passed_s * 60
    print(f"{asked.jobs} processes: {a_minute:,.0f} half-hours a minute, {len(tally.problems)} wrong")
    halves = [half_of(asked.seed, number, order.shops) for number in range(min(60, asked.half_hours))]
    for half in halves:
        stage_called(half.shop, has_long_leases=half.has_long_leases)
    alone_s = seconds(halves, lambda half: played(half, None))
    told_s = seconds(halves, lambda half: played(half, lambda entry: None))
    judged_s = seconds(halves, judged)
    print(
        f"one half-hour, ms of the processor: core and plant {alone_s * 1000:.0f}, with the record and the truth told"
    )
    print(f"{told_s * 1000:.0f}, judged by checker and truth {judged_s * 1000:.0f}")
    print(f"entries of the record in a half-hour: {tally.entries / tally.half_hours:,.0f}")


if __name__ == "__main__":
    main()
