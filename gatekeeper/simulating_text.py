"""What ``gatekeeper simulate`` prints for people: short lines, tables without rules, words before symbols.

By rich, which leaves colour and weight away where no terminal reads it; no colour carries meaning.
"""

import textwrap
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TextIO

from rich.console import Console
from rich.table import Table

from gatekeeper.shop.model import Shop
from sim.report_facts import Day
from sim.report_words import findings_of, summary
from sim.scenario import Scenario
from sim.scenario_play import MOST_VIOLATIONS, Offence, Outcome
from sim.scenario_reading import clock, lasting

WIDTH = 100
#: Findings on a screen; the report has all of them.
FINDINGS_SHOWN = 6
#: Offences told besides the first.
OFFENCES_SHOWN = 5
#: Up to this length instants are told in seconds from the beginning, beyond it by the clock.
SECONDS_UP_TO_S = 3600.0


@dataclass(frozen=True, slots=True)
class _Told(Day):
    """The day with instants as this command says them: as in the scenario's file where it is short."""

    says: Callable[[float], str] = str

    def clock(self, at_s: float) -> str:
        return self.says(at_s)

    def clock_with_s(self, at_s: float) -> str:
        return self.says(at_s)


@dataclass(frozen=True, slots=True)
class SimulatedText:
    """One play on its way to the screen. ``took_s``: how long it took to play."""

    shop: Shop
    name: str
    scenario_file: str | None
    scenario: Scenario
    outcome: Outcome
    seed: int
    fidelity: str
    took_s: float

    @property
    def what(self) -> str:
        """What was played and how it is played again."""
        drawn = f", drawn with seed {self.seed}" if self.scenario.pattern is not None else ""
        return f"{self.scenario.name}{drawn}"

    @property
    def assumed(self) -> list[str]:
        """What the play rests on, for the report."""
        if self.scenario.pattern is None:
            return []
        pattern = self.scenario.pattern
        closed = " and ".join(day.value for day in pattern.closed) or "no day"
        return [
            f"The days are drawn (seed {self.seed}): {pattern.people} at work at once from "
            f"{clock(pattern.open.start_min * 60)} to {clock(pattern.open.end_min * 60)}, closed on {closed}. How "
            "often each machine is used and how long its cuts are is our own assumption (sim/scenarios/README.md), "
            "unless the scenario gives its own pattern."
        ]

    def clock(self, t_s: float) -> str:
        """An instant of the play in words."""
        if self.scenario.until_s <= SECONDS_UP_TO_S:
            return f"{t_s:.3f} s"
        return clock(self.scenario.begins_s + t_s)

    def offence_said(self, one: Offence) -> str:
        """What went wrong, in one sentence."""
        if one.rule is not None:
            return f"Control rule {one.rule} is broken at {self.clock(one.at_s)}: {one.said}"
        return f"Line {one.line} expects: {one.said}. Not so at {self.clock(one.at_s)}: {one.instead}."

    def print_to(self, out: TextIO, report: str | None) -> None:
        """All of it."""
        console = Console(file=out, highlight=False, soft_wrap=True, width=None if out.isatty() else WIDTH)
        day = _Told(self.shop, self.name, self.outcome.played.figures, self.outcome.played.tracks, says=self.clock)
        console.print(f"{self.shop.name} ({self.name})", style="bold", markup=False)
        for line in (
            f"{self.what}: {lasting(self.scenario.until_s)} played in {self.took_s:.1f} s.",
            f"{summary(day)}.",
        ):
            console.print("\n".join(textwrap.wrap(line, WIDTH)), markup=False)
        for table in (self._motors(), self._tools(day)):
            if table.row_count:
                console.print()
                console.print(table)
        for line in [*self._findings(day), *self._judged(), "", *self._end(report)]:
            console.print(line, markup=False)

    # ---------------------------------------------------------------- tables

    def _motors(self) -> Table:
        table = _table("motor", "starts", "most in an hour", "allowed", "ran", "energy")
        for name, one in self.outcome.played.figures.motors.items():
            table.add_row(
                name,
                str(one.starts),
                str(one.worst_starts_in_an_hour),
                str(one.starts_allowed),
                _spent(one.running_s),
                f"{one.energy_kwh:.2f} kWh",
            )
        return table

    def _tools(self, day: Day) -> Table:
        table = _table("tool", "cuts", "cut", "without air", "late air", "mean air", "once there", "chips caught")
        for name, one in self.outcome.played.figures.tools.items():
            if not one.cuts:
                continue
            made = one.chips_made_kg
            table.add_row(
                name,
                str(one.cuts),
                _spent(one.cut_s),
                str(one.without_air),
                f"{one.late_air_s / one.cuts:.1f} s",
                _share(one.mean_share),
                _share(one.least_share),
                f"{100 * one.chips_caught_kg / made:.0f} % of {day.weight(made)}" if made > 0 else "-",
            )
        return table

    # ---------------------------------------------------------------- words

    def _findings(self, day: Day) -> Iterator[str]:
        found = findings_of(day)
        if not found:
            return
        yield ""
        yield "What it showed, worst first:"
        for one in found[:FINDINGS_SHOWN]:
            yield from _item(f"{one.title} {one.why}".strip())
        if len(found) > FINDINGS_SHOWN:
            yield f"  {len(found) - FINDINGS_SHOWN} more in the report."

    def _judged(self) -> Iterator[str]:
        expected = len(self.scenario.expected)
        rules = [one for one in self.outcome.offences if one.rule is not None]
        missed = len(self.outcome.offences) - len(rules)
        yield ""
        if expected and not missed:
            yield (
                "Expected: one thing, and it came so."
                if expected == 1
                else f"Expected: {expected} things, and all came so."
            )
        elif expected:
            yield f"Expected: {expected} {'thing' if expected == 1 else 'things'}, {missed} did not come so."
        yield "Control rules: none is broken." if not rules else f"Control rules: broken {_times(len(rules))}."
        if not self.outcome.offences:
            return
        first, *others = self.outcome.offences
        yield ""
        yield from textwrap.wrap(self.offence_said(first), WIDTH)
        yield "What happened before it:" if first.before else "Nothing happened before it."
        yield from story_lines(first, self.clock)
        if others:
            yield ""
            yield "After it:"
            for one in others[:OFFENCES_SHOWN]:
                yield from _item(self.offence_said(one))
            if len(others) > OFFENCES_SHOWN:
                yield f"  and {len(others) - OFFENCES_SHOWN} more."

    def _end(self, report: str | None) -> Iterator[str]:
        if report is not None:
            yield f"Written: {report}"
        yield f"next: {self._next(report)}"

    def _next(self, report: str | None) -> str:
        again = f"gatekeeper simulate {self.name}"
        if self.scenario_file is not None:
            again += f" {self.scenario_file}"
        if self.scenario.pattern is not None:
            again += " --year" if self.scenario.days > 1 else " --day"
            again += f" --seed {self.seed}" if self.seed else ""
        if self.outcome.offences and report is None:
            return f"{again} --report out.html"
        if self.scenario.pattern is None:
            return f"gatekeeper simulate {self.name} --day"
        return f"gatekeeper study {self.name} spin-down"


def story_lines(offence: Offence, told: Callable[[float], str]) -> list[str]:
    """The events before an offence, each with its instant."""
    instants = [told(event.at_s) for event in offence.before]
    width = max((len(instant) for instant in instants), default=0)
    return [f"  {instant:>{width}}  {event.said}" for instant, event in zip(instants, offence.before, strict=True)]


def _table(first: str, *others: str) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    table.add_column(first, no_wrap=True)
    for name in others:
        table.add_column(name, justify="right", no_wrap=True)
    return table


def _item(said: str) -> list[str]:
    return textwrap.wrap(said, WIDTH, initial_indent="  - ", subsequent_indent="    ", break_on_hyphens=False)


def _spent(time_s: float) -> str:
    """How long something ran: to a tenth of a second where it is short, to the minute where it is long."""
    if time_s < 100:
        return f"{time_s:.1f} s"
    minutes = round(time_s / 60)
    return f"{minutes} min" if minutes < 100 else f"{minutes // 60} h {minutes % 60:02} min"


def _times(number: int) -> str:
    """How often; a play is judged only so far."""
    often = {1: "once", 2: "twice"}.get(number, f"{number} times")
    return often if number < MOST_VIOLATIONS else f"{often} and perhaps more often"


def _share(share: float | None) -> str:
    return "-" if share is None else f"{100 * share:.0f} %"
