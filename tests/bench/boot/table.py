"""The boot job's result as the handbook has it; ``tests/packaging/test_power_states.py`` holds the two equal."""

from typing import Any

#: How lines from inside the emulated board begin that are meant for the job.
MARK = "BOOT-JOB "

BEFORE, READY, WORKING = "before the program", "ready", "working"
HUNG, FROZEN = "control thread hangs", "whole program frozen"
AFTER_HUNG, AFTER_FROZEN = "after watchdog, control thread hung", "after watchdog, whole program frozen"
TERM, KILL, FAULT = "after SIGTERM", "after SIGKILL", "after a fault of the control thread"
#: Motors that run when the end comes.
MOTORS = 3
#: Runs after each end; of all of them the cells are one column.
OFF = "outputs-off"
AGAIN = f"started after SIGKILL, without {OFF}"

#: Moments by the words of the table's heading, and those after which the program is gone.
MOMENTS = {
    BEFORE: "before the program",
    READY: "ready",
    WORKING: "working",
    TERM: "after SIGTERM",
    FAULT: "after a fault in the control thread",
    KILL: "after SIGKILL",
    HUNG: "control thread hung, leases over",
    AFTER_HUNG: "then after the watchdog",
    FROZEN: "program frozen, leases over",
    AFTER_FROZEN: "then after the watchdog",
}
ENDED = (TERM, FAULT, KILL, AFTER_HUNG, AFTER_FROZEN)
#: Moments in which nobody put anything off, and those in which the leases alone did: what pulsed before stands at the
#: level that its last pulse left.
BEREFT, ON_LEASES = (KILL, FROZEN, AFTER_FROZEN), (HUNG, AFTER_HUNG)
KEEPS = {
    "Y": "The kernel keeps levels: `persist_gpio_outputs=Y`, as on Raspberry Pi OS",
    "N": "The kernel lets lines go: `persist_gpio_outputs=N`, as on Debian or with `strict_gpiod`",
}


def markdown(result: dict[str, Any]) -> str:
    """Where it is from, one table for each way of the kernel, and what the trace says of the times between."""
    first = result["boots"][0]
    told = [
        f"**Emulated; no real board.** Linux {first['kernel']}, {result['emulator']}, Python {first['python']}, "
        f"{result['date']}."
    ]
    for keeps, words in KEEPS.items():
        boots = [boot for boot in result["boots"] if boot["keeps"] == keeps]
        if boots:
            told += [f"### {words}", *_tables(boots, result["outputs"])]
    told += ["### Between the moments", "\n".join(f"- {line}" for line in _between(result))]
    return "\n\n".join(told) + "\n"


def _tables(boots: list[dict[str, Any]], outputs: list[dict[str, Any]]) -> list[str]:
    """One table where the pin libraries agree in every cell of what both have, else one for each."""
    grids = {boot["pins"]: _grid(boot, outputs) for boot in boots}
    whole = max(grids.values(), key=len)
    if all(grid[holder] == whole[holder] for grid in grids.values() for holder in grid):
        told = [f"The pins {' and '.join(grids)} alike; only lgpio sends pulses to a servo."] if len(grids) > 1 else []
        return [*told, _table(whole, outputs)]
    return [part for pins, grid in grids.items() for part in (f"The pins {pins}:", _table(grid, outputs))]


def _grid(boot: dict[str, Any], outputs: list[dict[str, Any]]) -> dict[str, list[str]]:
    """The cells of each output; a moment that came several times has every answer that it gave."""
    columns = [(moment,) for moment in MOMENTS] + [tuple(f"{OFF} {moment}" for moment in ENDED)]
    pressed = _all([one for one in boot["moments"] if one["moment"] == READY], "put_on")
    grid: dict[str, list[str]] = {}
    for output in outputs:
        lines = [
            [one["lines"].get(output["holder"]) for one in boot["moments"] if one["moment"] in column]
            for column in columns
        ]
        if None in lines[0]:
            continue  # a servo, with pins that send no pulses
        pulsed = "pulses" in lines[list(MOMENTS).index(WORKING)]
        cells = []
        for (moment, *_), seen in zip(columns, lines, strict=True):
            stuck = pulsed and (moment in BEREFT or (moment in ON_LEASES and not output["leased"]))
            found = {_cell(line, output, stuck=stuck) for line in seen if line}
            # A slow blinker is not caught at it by every look, and a button pressed at the start is let go again.
            if "pulses" in found:
                found = {"pulses"}
            elif moment == READY and output["holder"] in pressed:
                found = {"briefly on"}
            cells.append(" or ".join(sorted(found)))
        grid[output["holder"]] = cells
    return grid


def _cell(line: str, output: dict[str, Any], *, stuck: bool) -> str:
    if line in ("let go", "pulses"):
        return line
    return "stuck" if stuck else "**on**" if _is_on(line, output) else "off"


def _is_on(line: str, output: dict[str, Any]) -> bool:
    return line == "pulses" or line == ("high" if output["active_high"] else "low")


def _table(grid: dict[str, list[str]], outputs: list[dict[str, Any]]) -> str:
    lows = {output["holder"] for output in outputs if not output["active_high"]}
    heads = ["output", *MOMENTS.values(), f"then `{OFF}`"]
    rows = [heads, ["---"] * len(heads)]
    for holder, cells in grid.items():
        rows.append([f"{holder} (active low)" if holder in lows else holder, *cells])
    return "\n".join(f"| {' | '.join(row)} |" for row in rows)


def _between(result: dict[str, Any]) -> list[str]:
    """What the trace of the kernel's driver holds, in sentences."""
    outputs = {output["holder"]: output for output in result["outputs"]}
    moments = [one for boot in result["boots"] for one in boot["moments"]]
    offs = [one for one in moments if one["moment"].startswith(OFF)]
    again = [one for one in moments if one["moment"] == AGAIN]
    claims = [*(one for one in moments if one["moment"] == READY), *again, *offs]
    late = _all(claims, "claimed_on")
    on = _all(claims, "put_on")
    # A pulse may just have ended by itself, so the order among the first is by chance.
    firsts = {tuple(sorted(one["put_off"][:MOTORS])) for one in moments if one["moment"] == TERM}
    left = sorted({holder for one in again for holder, line in one["lines"].items() if _is_on(line, outputs[holder])})
    status, said = {str(one["status"]) for one in offs}, {line for one in offs for line in one["said"]}
    return [
        f"{len(claims)} times outputs were claimed, by starts and by `{OFF}`; "
        + (f"at their on level: {'; '.join(late)}." if late else "each at its off level, in one call of the driver."),
        f"From there until all was ready or over, on at any time: {'; '.join(on) or 'nothing'}.",
        f"`{OFF}` ended with status {' or '.join(sorted(status))} and said: {' Or: '.join(sorted(said))}",
        f"SIGTERM put off first: {'; or '.join('; '.join(first) for first in sorted(firsts))}.",
        f"Started after a SIGKILL without `{OFF}`, on once it said that it is ready: {'; '.join(left) or 'nothing'}.",
    ]


def _all(moments: list[dict[str, Any]], key: str) -> list[str]:
    return sorted({holder for one in moments for holder in one[key]})
