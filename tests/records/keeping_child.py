"""A process that keeps numbered values and says each one only after it is durable; made to be killed.

Each put writes ten keys with one number, so that half a put would show, and sometimes a long value that moves pages.
"""

import sys
from pathlib import Path

from gatekeeper.control.messages import Keep
from gatekeeper.records.state import StateStore
from gatekeeper.records.state_form import Change


def main(path: Path, first: int) -> None:
    store = StateStore(path)
    store.load("boot")
    print("ready", flush=True)
    number = first
    while True:
        number += 1
        keeps = [Keep(f"starts:motor {i}", number) for i in range(10)]
        keeps.append(Keep("long", "x" * (number * 997 % 20_000) if number % 3 else None))
        store.put(keeps, [Change(float(number), "page", "motor", "spin_down_s", number - 1, number)])
        print(number, flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
