"""What plays cost: days and years at signals fidelity with air, both fidelities in one run, growth. P4, P6.

Run: python tests/bench/bench_days.py [--year] [--quick]. Seconds are seconds of one core (process time).
"""

import argparse
import time
from collections.abc import Callable
from random import Random

from gatekeeper.shop import examples
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from sim.day import begins_s, until_s, working_days
from sim.day_pattern import default_pattern
from sim.figures import Figures
from sim.happening import Happening, What
from sim.play import Fidelity, new_game
from sim.stage import Stage, stage_of

DAY_S = 8 * 3600.0
#: Of several runs the quickest counts: the others were disturbed.
RUNS = 3


def shop_from(text: str, name: str) -> Shop:
    shop = load_shop(text, name)
    assert isinstance(shop, Shop), str(shop)
    return shop


def example(name: str) -> Shop:
    return shop_from(examples.example(name).read_text(encoding="utf-8"), name)


def cuts(tools: list[str], count: int, seed: int = 1, length_s: float = DAY_S) -> list[Happening]:
    """So many cuts of 5 to 120 s, spread over the tools and the day; one tool never cuts twice at once."""
    draw = Random(seed)
    happenings: list[Happening] = []
    for place, tool in enumerate(tools):
        own = count // len(tools) + (place < count % len(tools))
        free_s = 10.0
        for start_s in sorted(draw.uniform(10.0, length_s - 200.0) for _ in range(own)):
            on_s = max(start_s, free_s)
            off_s = on_s + draw.uniform(5.0, 120.0)
            free_s = off_s + 5.0
            happenings += [Happening(on_s, What.TOOL_ON, tool), Happening(off_s, What.TOOL_OFF, tool)]
    return happenings


def cost(
    stage: Stage, happenings: list[Happening], length_s: float, fidelity: Fidelity = Fidelity.SIGNALS, runs: int = RUNS
) -> tuple[float, int, Figures]:
    """Seconds of one core, steps of the core, and the figures."""
    best_s, steps = float("inf"), 0
    for _ in range(runs):
        began_s = time.process_time()
        # As ``play`` does it where nothing befalls the controller and nobody reads its renewals.
        ready = stage.with_long_leases() if fidelity is Fidelity.SIGNALS else stage
        game = new_game(ready, fidelity, with_tracks=False)
        for happening in happenings:
            game.happen(happening)
        game.run(length_s)
        best_s = min(best_s, time.process_time() - began_s)
        assert game.core is not None
        steps = game.core.recorder.step
        figures = game.figures()
    return best_s, steps, figures


def days() -> None:
    """P4: an eight-hour day of the 12-tool shop with air."""
    shop = example("shared-twelve")
    began_s = time.process_time()
    stage = stage_of(shop)
    print(f"the 12-tool shop made ready, air table included: {time.process_time() - began_s:.2f} s, once")
    cost(stage, cuts(list(shop.tools), 60), DAY_S, runs=1)  # the air of the usual sets is solved once for all days
    print("cuts in 8 h   seconds   steps of the core   gate moves   motor starts")
    for count in (30, 60, 120, 240, 480):
        seconds, steps, figures = cost(stage, cuts(list(shop.tools), count), DAY_S)
        print(f"{figures.cuts:11}   {seconds:7.3f}   {steps:17}   {figures.gate_moves:10}   {figures.motor_starts:12}")


def year(count_days: int) -> None:
    """P4: a year of the usual pattern of work."""
    shop = example("shared-twelve")
    stage, pattern = stage_of(shop), default_pattern(shop)
    begin_s = begins_s(pattern)
    happenings = list(working_days(shop, pattern, count_days, 1, begin_s))
    seconds, steps, figures = cost(stage, happenings, until_s(pattern, count_days, begin_s), runs=1)
    print(
        f"{count_days} days of the usual pattern: {seconds:.1f} s, {1000 * seconds / count_days:.0f} ms a day; "
        f"{figures.cuts} cuts, {steps} steps"
    )


def fidelities() -> None:
    """The same ten minutes at both fidelities."""
    shop = example("shared-twelve")
    stage, length_s = stage_of(shop), 600.0
    happenings = cuts(list(shop.tools), 20, length_s=length_s)
    signals, _, one = cost(stage, happenings, length_s)
    samples, _, other = cost(stage, happenings, length_s, Fidelity.SAMPLES, runs=1)
    print(
        f"ten minutes, {one.cuts} cuts: signals {signals:.3f} s, samples {samples:.1f} s, "
        f"{samples / signals:.0f} times; chips caught {one.chips_caught_kg:.3f} and {other.chips_caught_kg:.3f} kg"
    )


def with_tools(count: int) -> Shop:
    """A shop with so many tools on one main, each with a drop and a gate of its own."""
    lines = [
        "shop: {name: Many, units: metric, mains: 50 Hz, open_flue_nearby: no}",
        "motors:",
        "  collector: {power: 4 kW, phases: three, inlet: 200 mm, spin_down: 20 s, "
        "switched_by: {pin: GPIO17, when_board_dies: drops}}",
        "ducts:",
        "  main 0: {towards: collector, diameter: 200 mm, length: 3 m}",
        *(f"  main {n}: {{towards: main {n - 1}, diameter: 200 mm, length: 2 m}}" for n in range(1, count)),
        *(f"  drop {n}: {{towards: main {n}, diameter: 125 mm, length: 2 m}}" for n in range(count)),
        "gates:",
        *(f"  gate {n}: {{duct: drop {n}, {mover(n)}}}" for n in range(count)),
        "converters:",
        *(f"  board {n}: {{bus: {n // 2}, chip_select: {n % 2}}}" for n in range(-(-count // 8))),
        "tools:",
        *(
            f"  saw {n}: {{gates: gate {n}, needs: 900 m3/h, "
            f"sensor: {{converter: board {n // 8}, channel: {n % 8}, range: 40 A}}}}"
            for n in range(count)
        ),
    ]
    return shop_from("\n".join(lines), "many.yaml")


def mover(number: int) -> str:
    """A board has lines for so many servos; the gates beyond have a position switch no more than a hand gate."""
    lines = [line for line in range(4, 28) if line not in (7, 8, 9, 10, 11, 16, 17, 18, 19, 20, 21)]
    return f"servo: {{pin: GPIO{lines[number]}}}" if number < len(lines) else "diameter: 125 mm"


def growth() -> None:
    """P6: cost of an event over the number of tools and of events."""
    print("tools   seconds for 120 cuts   ms a cut")
    for count in (3, 6, 12):
        stage = stage_of(with_tools(count))
        happenings = cuts(list(stage.shop.tools), 120)
        cost(stage, happenings, DAY_S, runs=1)
        seconds, _, figures = cost(stage, happenings, DAY_S)
        print(f"{count:5}   {seconds:20.3f}   {1000 * seconds / figures.cuts:8.2f}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--year", action="store_true", help="a whole year, not a month")
    parser.add_argument("--quick", action="store_true", help="a week, and no growth")
    wanted = parser.parse_args()
    parts: list[Callable[[], None]] = [days, fidelities]
    if not wanted.quick:
        parts.append(growth)
    for part in parts:
        part()
    year(365 if wanted.year else 7 if wanted.quick else 30)


if __name__ == "__main__":
    main()
