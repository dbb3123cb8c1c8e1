"""What comes of a drive that runs no faster than the machines need: a table in words, for screen and report."""

from typing import Any

from gatekeeper.layout.study import LayoutStudy, SystemStudy
from gatekeeper.service.drive_speed import reason
from gatekeeper.service.drive_table import FULL, SpeedRow, SpeedTable, saved_w

_COUNTED = {2: ("Two", "pairs"), 3: ("Three", "triples")}


def speed_title(system: SystemStudy, table: SpeedTable) -> str:
    """The sentence above a table of speeds."""
    name = system.system.motor.name
    return f"How fast the drive of the {name} runs, {table.least} to {FULL} % of full speed."


def speed_note() -> str:
    """What the figures rest on."""
    return (
        "Every machine gets its need and every duct stays fast, with a filter overdue for cleaning and the weak end of "
        "a fan that is an estimate. While gates move, a branch clears or anything is in doubt, it runs at full speed. "
        "What it saves is an estimate by the fan laws against full speed with the same gates open."
    )


def speed_rows(study: LayoutStudy, system: SystemStudy, table: SpeedTable, most_tools: int) -> list[list[str]]:
    """Head, units, and one row for each set of up to so many machines with the gates that are opened for it."""
    say = study.measures
    rows = [
        ["running", "speed", "air", "main", "slowest", "saves", ""],
        ["", "%", say.flow_unit, say.velocity_unit, say.velocity_unit, "hp" if say.is_inch else "kW", ""],
    ]
    for running, opened, row in _told(system, table):
        if len(running) <= most_tools:
            watts = saved_w(system.system, opened, row.percent)
            tools = [tool for tool in system.system.tools.draws if tool in running]
            rows.append(
                [
                    " with ".join(tools),
                    str(row.percent),
                    say.flow_bare(row.flow_m3s),
                    say.velocity_bare(row.main_ms) if row.main_ms is not None else "-",
                    say.velocity_bare(row.slowest_ms),
                    say.power(watts).split()[0],
                    reason(row, running, study.shop.units),
                ]
            )
    return rows


def counted(system: SystemStudy, table: SpeedTable) -> list[str]:
    """In how many pairs and triples it may run slower."""
    lines = []
    for size, (word, sort) in _COUNTED.items():
        rows = [row for running, _, row in _told(system, table) if len(running) == size]
        if rows:
            slower = sum(row.percent < FULL for row in rows)
            lines.append(f"{word} at a time: slower than full speed in {slower} of {len(rows)} {sort}.")
    return lines


def speeds_data(system: SystemStudy, table: SpeedTable) -> dict[str, Any]:
    """The same for machines."""
    return {
        "least_percent": table.least,
        "is_whole": table.is_whole,
        "sets": [
            {
                "running": sorted(running),
                "open_gates": sorted(opened),
                "speed_percent": row.percent,
                "floor_percent": row.floor,
                "binds": row.binds.value,
                "subject": row.subject,
                "fan_flow_m3s": row.flow_m3s,
                "main_velocity_ms": row.main_ms,
                "slowest_duct": row.slowest,
                "slowest_velocity_ms": row.slowest_ms,
                "saved_power_w": saved_w(system.system, opened, row.percent),
            }
            for running, opened, row in _told(system, table)
        ],
    }


def _told(system: SystemStudy, table: SpeedTable) -> list[tuple[frozenset[str], frozenset[str], SpeedRow]]:
    """The rows of every set with the gates that the controller opens for it, as far as the table reaches."""
    found = []
    for running, air in system.sets.items():
        opened = frozenset(air.reading.open_gates)
        row = table.row(running, opened)
        if row is not None:
            found.append((running, opened, row))
    return found
