"""A search by seed for broken rules: the same moves as the Hypothesis machine, drawn fast and at random.

As a script it plays shops until a rule breaks or the bound is reached, for the planted bugs and for long hunts:

    python seeded_search.py --seconds 20 --first 0 [--plan "two tools"]
"""

import argparse
import random
import sys
import time
from collections import Counter

from shop_plans import PLANS
from shop_player import Broken, Player

SHORT_S = (0.0, 0.25, 0.5, 1.0, 1.5, 2.0, 3.0, 5.0, 8.0)
LONG_S = (15.0, 30.0, 61.0, 130.0, 400.0)
ASKED = (
    "open", "shut", "hold", "release", "air_here", "run", "stop", "sweep", "flush", "reset", "clear",
    "out_of_service", "back_in_service", "stopped", "still_running", "seen",
)  # fmt: skip
DOORS = ("local", "page", "button", "broker", "input")


def _tool(player, draw):
    player.tool(draw.randrange(3), draw.choice(("running", "stopped")))


def _ask(player, draw):
    index = draw.randrange(-1, 6)
    player.ask(draw.choice(ASKED), index, draw.choice(DOORS), draw.choice((None, None, 0.0, 5.0, 40.0, 99999.0)))


def put_right(player):
    """Somebody goes round and puts everything right, so that a shop does not stay dead."""
    for name in player.plan.inputs:
        player.circuit(tuple(player.plan.inputs).index(name), "made")
    player.ask("reset", 0)
    player.ask("back_in_service", 0)
    for index in range(len(player.plan.motors)):
        player.hand(index, "auto")
        player.ask("clear", index)
    for index in range(len(player.plan.gates)):
        player.breaks("jam", index, False)
        player.ask("release", index)
    player.dead.clear()
    player.welded.clear()
    player.key("open")


def _restart(player, draw):
    player.restart(
        clean=draw.random() < 0.4,
        same_boot=draw.random() < 0.6,
        down_s=draw.choice((0.5, 3.0, 20.0, 100.0)),
        lost=draw.random() < 0.2,
        damaged=draw.random() < 0.1,
        silent=draw.random() < 0.1,
    )


#: Each move with its weight.
MOVES = (
    (12, lambda p, d: p.wait(d.choice(SHORT_S))),
    (6, lambda p, d: p.to_next_deadline()),
    (2, lambda p, d: p.wait(d.choice(LONG_S))),
    (1, lambda p, d: p.late(d.choice((0.5, 3.0, 6.0, 12.0, 40.0)))),
    (12, _tool),
    (1, lambda p, d: p.tool(d.randrange(3), "stale")),
    (1, lambda p, d: p.tool(d.randrange(3), d.choice(("running", "stopped")), fresh=False)),
    (1, lambda p, d: p.gate_says(d.randrange(3), d.choice(("open", "shut", "between")))),
    (1, lambda p, d: p.misses(d.randrange(4))),
    (1, lambda p, d: p.motor_says(d.randrange(3), d.choice(("running", "still")))),
    (1, lambda p, d: p.air_says(d.randrange(2), d.random() < 0.5)),
    (1, lambda p, d: p.circuit(d.randrange(3), d.choice(("open", "made", "made")))),
    (1, lambda p, d: p.hand(d.randrange(3), d.choice(("hand", "off", "auto", "auto")))),
    (1, lambda p, d: p.key(d.choice(("open", "open", "shut")))),
    (0.3, lambda p, d: p.quiet(d.random() < 0.3)),
    (7, _ask),
    (1.5, lambda p, d: p.setting(d.randrange(6), d.choice((None, 0.0, 2.0, 30.0, 400.0, -1.0, 1e5)))),
    (1, lambda p, d: p.breaks(d.choice(("jam", "jam", "dead", "weld")), d.randrange(4), d.random() < 0.6)),
    (0.7, lambda p, d: put_right(p)),
    (0.7, _restart),
)
WEIGHTS = tuple(weight for weight, _ in MOVES)
DOERS = tuple(do for _, do in MOVES)


def play(seed, moves=120, plan=None, counts=None):
    """One seeded play; raises ``Broken`` where a rule breaks."""
    draw = random.Random(seed)
    name = plan or draw.choice(tuple(PLANS))
    player = Player(PLANS[name], punctual=draw.random() < 0.7)
    try:
        player.read_everything()
        player.wait(draw.choice((0.0, 2.0, 5.0)))
        for do in draw.choices(DOERS, WEIGHTS, k=moves):
            do(player, draw)
        player.wait(30.0)
        player.finish()
    except Broken as broken:
        raise Broken(f"{name}, seed {seed}, {'punctual' if player.punctual else 'late'}: {broken}") from broken
    finally:
        if counts is not None:
            counts.update(player.counts)


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--plays", type=int, default=10**9)
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument("--plan")
    parser.add_argument("--keep-going", action="store_true", help="count what breaks by its first line")
    options = parser.parse_args()
    counts, kinds, began = Counter(), {}, time.monotonic()
    seed = options.first
    while seed < options.first + options.plays and time.monotonic() - began < options.seconds:
        try:
            play(seed, plan=options.plan, counts=counts)
        except Broken as broken:
            if not options.keep_going:
                print(broken)
                return 1
            first = str(broken).split("\n", 1)[0]
            kinds.setdefault(first.split(": ", 1)[1].split(" at ")[0] + first[-60:], []).append(first)
        seed += 1
    print(f"{seed - options.first} plays, {sum(len(found) for found in kinds.values())} broken")
    for found in sorted(kinds.values(), key=len, reverse=True):
        print(len(found), found[0])
    for name, number in sorted(counts.items()):
        print(f"{number:8} {name}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
