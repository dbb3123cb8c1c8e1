"""Prints what the table of a drive's speeds costs at the start of the controller, and what one choice costs then.

Run it with: python tests/bench/bench_drive_table.py [--json]
"""

import json
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "service"))

from driven_shops import air_of, driven_shop, on_a_drive

from gatekeeper.control.messages import ToolSeen, Woke
from gatekeeper.control.supervisor import Supervisor
from gatekeeper.service.air_table import Work
from gatekeeper.service.drive_speed import DrivePace
from gatekeeper.service.drive_table import MOST_WORK, speed_tables
from gatekeeper.service.planning import plan_of
from gatekeeper.shop.model import Shop

SHOPS = {
    "driven shop of the tests": ("collector", driven_shop()),
    **{
        name: (motor, on_a_drive(name, motor))
        for name, motor in (
            ("garage-one-collector", "collector"),
            ("long-narrow", "collector"),
            ("shared-twelve", "collector"),
            ("school-room", "north collector"),
        )
    },
}
CHOICES = 2000


def figures(motor: str, shop: Shop) -> dict[str, float]:
    """Rows, the share of the work that they took, milliseconds, and microseconds for a choice and a new view."""
    air = air_of(shop)
    work = Work(MOST_WORK)
    start_s = time.process_time()
    table = speed_tables(shop, air, work)[motor]
    took_s = time.process_time() - start_s
    core = Supervisor(plan_of(shop, air), None)
    core.handle(Woke(), 0.0)
    for tool in shop.tools:
        core.handle(ToolSeen(tool, "stopped"), 30.0)
    view = core.snapshot()
    pace = DrivePace(shop, shop.motors[motor], table, lambda: 31.0)
    start_s = time.process_time()
    for _ in range(CHOICES):
        pace.take(view)
    take_s = time.process_time() - start_s
    start_s = time.process_time()
    for _ in range(CHOICES):
        pace.speed_hz()
        pace.floor_hz()
    choose_s = time.process_time() - start_s
    slower = sum(row.percent < 100 for row in table.rows.values())
    return {
        "rows": len(table.rows),
        "slower than full": slower,
        "whole": float(table.is_whole),
        "work, % of the most": 100 * (MOST_WORK - work.left) / MOST_WORK,
        "table, ms": took_s * 1e3,
        "a new view in the control thread, us": take_s / CHOICES * 1e6,
        "a choice in the drive's thread, us": choose_s / CHOICES * 1e6,
    }


def main() -> None:
    """Print the figures of every shop."""
    told = {name: figures(*one) for name, one in SHOPS.items()}
    if "--json" in sys.argv[1:]:
        print(json.dumps(told, indent=2))
        return
    for name, each in told.items():
        print(f"{name}: " + ", ".join(f"{what} {value:.0f}" for what, value in each.items()))


if __name__ == "__main__":
    main()
