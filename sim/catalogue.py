"""Everything that can go wrong in a shop, as one table for docs, simulator and tests.

Each row says in one sentence what must be so when it happens, and by when; the tests hold each row to its sentence at
every layer that it names, and ``sim.campaign`` puts all of them into busy half-hours, alone and in pairs. ``python -m
sim.catalogue`` writes the table into ``sim/faults.md``; a test holds that file equal.
"""

from collections.abc import Iterator
from pathlib import Path

from sim import catalogue_air, catalogue_board, catalogue_gates, catalogue_motors, catalogue_people, catalogue_sensors
from sim.catalogue_row import Fault, Layer, Part

CATALOGUE: tuple[Fault, ...] = (
    *catalogue_gates.ROWS,
    *catalogue_sensors.ROWS,
    *catalogue_motors.ROWS,
    *catalogue_air.ROWS,
    *catalogue_board.ROWS,
    *catalogue_people.ROWS,
)

BY_NAME = {row.name: row for row in CATALOGUE}

PAGE = Path(__file__).with_name("faults.md")

_HEAD = """# Everything that can go wrong, and what must be so then

Written by `python -m sim.catalogue` from the table that the simulator and the tests use; a test holds this page equal.
Each row is tried by itself at the layers it names, and all those of the layer *signals* alone and in pairs at random
moments of busy half-hours (`python -m sim.campaign`).

- *signals*: the core and its drivers' moves in a virtual shop that jumps from event to event.
- *samples*: the whole service with currents as converter codes and contacts on mock lines.
- *service*: the running service with its disk, page and threads.

Rules are those of `RULES.md`. "Worst travel" is the longest travel and dead time of any gate of the shop.
"""

_TAIL = """
## The campaign

    python -m sim.campaign --seed 1 --half-hours 100000 --jobs 2 --results campaign.jsonl

plays half-hours of every example shop and of sixty invented ones, busier than any day: short cuts, tools that start
into each other's run-on, people who press the wrong thing. Each half-hour has one or two of the faults above in it, at
moments drawn from the seed and its number, so that any of them can be played again alone (`--only`), made as small as
it can be (`--shrink`) and written down (`--record`). The same command goes on where it was left, after Ctrl-C too.

With `--days` the numbers stand for working days of eight hours, each by its shop's usual pattern and with a fault or a
pair in every two hours that is put right before the next two begin. They cost a seventh of a busy half-hour, and show
what wears, waits or adds up.

A half-hour is wrong when the checker of the record blames a rule with every deadline on time, when the core's last
instance had to drop an order or the program noted a fault of its own, or when the truth beside the record says

- *blind*: a sensor's word is not what is so, three seconds after a change;
- *closed*: a fan that was switched on pulls on truly shut gates for longer than one worst travel and 2 s;
- *runs on*: a motor that was told off, or whose time ran out, does not come to rest;
- *silent*: a tool has run for 40 s without its gate truly open or its fan truly turning, and no message says so;

each only where no fault of that half-hour explains it. Most half-hours in which the program is neither killed nor
stands still hold each "on" for an hour instead of five seconds: nothing but the renewals is missing, and those are two
thirds of all steps.
"""


def page() -> str:
    """The table as Markdown."""
    return "\n".join(_lines()) + "\n" + _TAIL


def _lines() -> Iterator[str]:
    yield _HEAD
    yield f"{len(CATALOGUE)} faults."
    for part in Part:
        yield ""
        yield f"## {part.value[0].upper()}{part.value[1:]}"
        yield ""
        yield "| fault | what is wrong | put in, taken away | what must be so | rules | tried on |"
        yield "|---|---|---|---|---|---|"
        for row in CATALOGUE:
            if row.part is part:
                how = f"{row.put_in}; {row.taken_away}"
                layers = ", ".join(layer.value for layer in row.layers)
                yield f"| {row.name} | {row.breaks} | {how} | {row.outcome} | {', '.join(row.rules)} | {layers} |"


def on(layer: Layer) -> tuple[Fault, ...]:
    """The rows that are tried on a layer."""
    return tuple(row for row in CATALOGUE if layer in row.layers)


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
