"""What ``gatekeeper layout`` and ``gatekeeper airflow`` print, as lines. Words before symbols, no colour."""

import textwrap
from collections.abc import Sequence

from gatekeeper.airflow.needs import TRANSPORT_MS
from gatekeeper.airflow.study import SetAir
from gatekeeper.airflow.tools import ENOUGH
from gatekeeper.layout.findings import Finding, Harm
from gatekeeper.layout.measures import Measures
from gatekeeper.layout.speeds import counted, speed_note, speed_rows, speed_title
from gatekeeper.layout.state import AirState
from gatekeeper.layout.study import LayoutStudy, SystemStudy
from gatekeeper.shop.faults import listed

WIDTH = 100
ON_A_SCREEN = 8
_COUNTED = {2: ("Two", "pairs"), 3: ("Three", "triples")}


def layout_lines(study: LayoutStudy, findings: Sequence[Finding]) -> list[str]:
    """The whole study of one shop, short."""
    lines = [f"{study.shop.name} ({study.name})"]
    for system in study.systems.values():
        if system.sets:
            lines += ["", *system_lines(study, system)]
            lines += speed_lines(study, system)
    if not study.is_whole:
        lines += ["", "More sets than are computed: the rest gets the machines' own gates and no extra ones."]
    lines += ["", *finding_lines(findings)]
    return lines


def system_lines(study: LayoutStudy, system: SystemStudy) -> list[str]:
    """One system: its table of machines, and how many run together."""
    say = study.measures
    motor = system.system.motor
    source = "an estimated fan" if system.fan_is_estimate else "the fan curve given"
    how = "with every gate open" if study.is_all_open else "alone"
    lines = [f"{_cap(motor.name)}, {source}: what each machine gets {how}."]
    head = ["machine", "needs", "gets", "drop", "main", "hood", ""]
    units = ["", say.flow_unit, say.flow_unit, say.velocity_unit, say.velocity_unit, say.pressure_unit, ""]
    rows = [row for air in system.alone for row in machine_rows(air, say, with_extra=not study.is_all_open)]
    lines += aligned([head, units, *rows])
    for size, (word, sort) in _COUNTED.items():
        sets = () if study.is_all_open else system.of_size(size)
        if sets:
            fed = sum(not air.reading.short for air in sets)
            fast = sum(not (air.reading.slow_mains or air.reading.slow_drops) for air in sets)
            lines.append(f"{word} at a time: enough air in {fed} of {len(sets)} {sort}, every duct fast in {fast}.")
    return lines


def speed_lines(study: LayoutStudy, system: SystemStudy) -> list[str]:
    """How fast a drive that follows the air runs for each machine; nothing for a motor of one speed."""
    table = study.speeds.get(system.system.motor.name)
    if table is None:
        return []
    rows = speed_rows(study, system, table, most_tools=1)
    return ["", speed_title(system, table), *aligned(rows), *counted(system, table), *wrapped(speed_note(), "", "")]


def machine_rows(air: SetAir, say: Measures, *, with_extra: bool) -> list[list[str]]:
    """One row for each running tool of a set: name, need, flow, drop, slowest main, suction, and what is wrong."""
    reading = air.reading
    mains = [speed for duct, speed in reading.velocity_ms.items() if duct in reading.main_ducts]
    rows = []
    for tool in air.tools:
        said = []
        if tool.share < ENOUGH:
            said.append("short of air")
        if tool.drop_ms < TRANSPORT_MS:
            said.append("slow drop")
        if reading.slow_mains:
            said.append("slow main")
        if with_extra and reading.extra:
            said.append(f"with {listed(reading.extra, 'and')}")
        rows.append(
            [
                tool.tool,
                say.flow_bare(tool.need_m3s),
                say.flow_span(tool.low_m3s, tool.high_m3s),
                say.velocity_bare(tool.drop_ms),
                say.velocity_bare(min(mains)) if mains else "-",
                say.pressure_bare(tool.hood_static_pa),
                ", ".join(said) or "enough",
            ]
        )
    return rows


def finding_lines(findings: Sequence[Finding], most: int = ON_A_SCREEN) -> list[str]:
    """Findings with their remedies, the worst first; of what is only worth knowing the titles."""
    wrong = [finding for finding in findings if finding.harm is not Harm.TO_KNOW]
    known = [finding for finding in findings if finding.harm is Harm.TO_KNOW]
    lines = ["What to mend, worst first:" if wrong else "Nothing to mend."]
    for number, finding in enumerate(wrong[:most], start=1):
        lines += wrapped(f"{number}. {finding.title} {finding.why}", "", "   ")
        for remedy in finding.remedies:
            lines += wrapped(remedy.said, "   - ", "     ")
    if len(wrong) > most:
        lines.append(f"{len(wrong) - most} more: see the report.")
    if known:
        lines += ["", "Good to know:"]
        for finding in known:
            lines += wrapped(finding.title, "- ", "  ")
    return lines


def state_lines(state: AirState, name: str) -> list[str]:
    """One state of the ducts: what the fan does, what the open machines get, and every duct."""
    say = Measures(state.shop.units)
    lines = [f"{state.shop.name} ({name})"]
    for system in state.systems:
        fan = system.solution
        opened = f"{listed(system.open_gates, 'and')} open" if system.open_gates else "every gate shut"
        lines += ["", f"{_cap(system.name)}: {opened}."]
        estimated = " (an estimated fan)" if system.solution.prepared.network.fan.is_estimate else ""
        lines.append(f"The fan moves {say.flow(fan.flow_m3s)} at {say.pressure(fan.fan_pressure_pa)}{estimated}.")
        if fan.is_beyond_curve:
            lines.append("That is beyond the points of its curve: a guess.")
        if fan.is_on_rising_part:
            lines.append("That is on the rising part of its curve, where a fan hunts.")
        for tool in system.tools:
            short = "" if tool.flow_m3s >= tool.need_m3s * ENOUGH else ": short of air"
            lines.append(f"The {tool.tool} gets {say.flow(tool.flow_m3s)} of {say.flow(tool.need_m3s)}{short}.")
        rows = [
            [
                duct.name,
                say.flow_bare(duct.flow_m3s),
                say.velocity_bare(duct.velocity_ms),
                say.pressure_bare(duct.static_upstream_pa),
                say.pressure_bare(duct.static_downstream_pa),
            ]
            for duct in system.ducts
        ]
        head = ["duct", "air", "velocity", "static before", "static behind"]
        units = ["", say.flow_unit, say.velocity_unit, say.pressure_unit, say.pressure_unit]
        lines += aligned([head, units, *rows])
    return lines


def aligned(rows: Sequence[Sequence[str]]) -> list[str]:
    """A table: the first column and the last from the left when it is words, figures from the right."""
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    last = len(widths) - 1
    is_words = any(" " in row[last] for row in rows[2:]) or rows[0][last] == ""
    lines = []
    for row in rows:
        cells = [
            cell.ljust(width) if place == 0 or (place == last and is_words) else cell.rjust(width)
            for place, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        lines.append("  ".join(cells).rstrip())
    return lines


def _cap(text: str) -> str:
    return text[:1].upper() + text[1:]


def wrapped(text: str, first: str, then: str) -> list[str]:
    """A text in lines of a screen's width."""
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=then, break_on_hyphens=False)
