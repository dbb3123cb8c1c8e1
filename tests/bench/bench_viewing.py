"""Prints what one view of the page costs: the largest example shop, at rest and with eight machines cutting.

Run it with: python tests/bench/bench_viewing.py [--json]
"""

import json
import sys
import time

from gatekeeper.control.messages import InputSeen, ShopKeySeen, Ticked, ToolSeen, Woke
from gatekeeper.control.supervisor import Supervisor
from gatekeeper.service.planning import plan_of
from gatekeeper.service.viewing import Notes, Viewing
from gatekeeper.shop import examples
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

REPEATS = 300
CUTTING = 8


def cost_ms(viewing: Viewing, core: Supervisor) -> dict[str, float]:
    """The least and the middle time of some views, and of the core's own snapshot, in milliseconds."""
    notes, amperes = Notes(1_790_000_000.0), dict.fromkeys(core.plan.tools, 4.2)
    snapshot = core.snapshot()
    views, snapshots = [], []
    for number in range(REPEATS):
        start_s = time.perf_counter()
        viewing.view(snapshot, version=number, amperes=amperes, notes=notes)
        views.append(time.perf_counter() - start_s)
        start_s = time.perf_counter()
        core.snapshot()
        snapshots.append(time.perf_counter() - start_s)
    return {
        "view, least": min(views) * 1e3,
        "view, middle": sorted(views)[REPEATS // 2] * 1e3,
        "snapshot of the core, middle": sorted(snapshots)[REPEATS // 2] * 1e3,
    }


def figures() -> dict[str, float]:
    """All figures, by name."""
    shop = load_shop(examples.example("school-room").read_text(encoding="utf-8"), "school-room")
    assert isinstance(shop, Shop)
    plan = plan_of(shop)
    core = Supervisor(plan)
    core.handle(Woke(), 0.0)
    for name in plan.inputs:
        core.handle(InputSeen(name, "made"), 0.0)
    core.handle(ShopKeySeen("open"), 0.0)
    for name in plan.tools:
        core.handle(ToolSeen(name, "stopped"), 0.0)
    viewing = Viewing(shop, plan, time.time)
    _run(core, 60.0)
    found = {f"at rest: {name}": value for name, value in cost_ms(viewing, core).items()}
    for name in list(plan.tools)[:CUTTING]:
        core.handle(ToolSeen(name, "running"), 60.0)
    _run(core, 70.0)
    return found | {f"{CUTTING} cutting: {name}": value for name, value in cost_ms(viewing, core).items()}


def _run(core: Supervisor, until_s: float) -> None:
    due = core.next_deadline()
    while due is not None and due <= until_s:
        core.handle(Ticked(), due)
        due = core.next_deadline()


def main() -> None:
    """Print the figures."""
    found = figures()
    if "--json" in sys.argv[1:]:
        print(json.dumps({name: round(value, 4) for name, value in found.items()}))
        return
    for name, value in found.items():
        print(f"{name:48s} {value:7.3f} ms")


if __name__ == "__main__":
    main()
