"""Prints what the table of gates costs at the start of the controller, and the whole study of a shop on a laptop.

Run it with: python tests/bench/bench_air_table.py [--json]
"""

import json
import sys
import time
from collections.abc import Callable

from gatekeeper.layout.findings import findings_of
from gatekeeper.layout.study import study_layout
from gatekeeper.service.air_systems import air_systems
from gatekeeper.service.air_table import computed_air
from gatekeeper.shop import examples
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

REPEATS = 5
SHOPS = ("garage-one-collector", "long-narrow", "shared-twelve", "school-room")


def least_s(work: Callable[[], object]) -> float:
    """The least time of some runs."""
    times = []
    for _ in range(REPEATS):
        start_s = time.perf_counter()
        work()
        times.append(time.perf_counter() - start_s)
    return min(times)


def figures(name: str) -> dict[str, float]:
    """Rows of the table, and milliseconds for ducts, table and study."""
    shop = load_shop(examples.example(name).read_text(encoding="utf-8"), name)
    assert isinstance(shop, Shop)
    systems = air_systems(shop)
    return {
        "rows": len(computed_air(systems).table),
        "ducts made ready, ms": least_s(lambda: air_systems(shop)) * 1e3,
        "table, ms": least_s(lambda: computed_air(systems)) * 1e3,
        "study with findings and remedies, ms": least_s(lambda: findings_of(study_layout(shop, name))) * 1e3,
    }


def main() -> None:
    """Print the figures of every shop."""
    told = {name: figures(name) for name in SHOPS}
    if "--json" in sys.argv[1:]:
        print(json.dumps(told, indent=2))
        return
    for name, each in told.items():
        print(f"{name}: " + ", ".join(f"{what} {value:.0f}" for what, value in each.items()))


if __name__ == "__main__":
    main()
