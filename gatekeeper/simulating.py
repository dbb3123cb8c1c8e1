"""What ``gatekeeper simulate`` does: reads the scenario, plays it, prints what came of it, writes the report.

Part of the commands and loaded by ``cli`` alone: besides that one, only this module and its texts know the simulator.
"""

import json
import sys
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from gatekeeper.files import FileTrouble, read_text, write_new
from gatekeeper.printing import fault_lines
from gatekeeper.progress import Bar
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.model import Shop
from gatekeeper.simulating_text import SimulatedText, story_lines
from sim.play import Fidelity
from sim.report import report_html
from sim.report_words import Broken as BrokenTold
from sim.scenario import Scenario, days_of_work, load_scenario
from sim.scenario_files import folder, shop_of
from sim.scenario_play import CannotPlay, Outcome, play_scenario
from sim.scenario_reading import lasting
from sim.stage import stage_of

DAYS_OF_A_YEAR = 365


class CannotSimulate(Exception):
    """What was asked for cannot be played; the text is for the person who asked, in whole lines."""


def simulate(
    shop: Shop,
    name: str,
    scenario_file: str | None,
    *,
    days: int | None,
    seed: int,
    fidelity: str,
    as_json: bool,
    report: str | None,
) -> int:
    """Play, print, write. Returns the exit status: 1 where an expectation or a control rule failed, else 0.

    Args:
        shop, name: the checked shop and its file.
        scenario_file: a file, the name of a scenario that ships, or None.
        days: 1 or 365 for days drawn from a pattern; None: what the scenario says, a day without one.
        seed: of all that is drawn.
        fidelity: "signals" or "samples".
        as_json: print the record and the figures for machines.
        report: where to write the page.

    Raises:
        CannotSimulate: a file or a word is wrong; nothing was played.
    """
    if fidelity not in [one.value for one in Fidelity]:
        raise CannotSimulate(f"{fidelity} is no fidelity; there are signals and samples.")
    scenario = _scenario(shop, name, scenario_file, days)
    started_s = time.monotonic()
    with Bar(f"playing {lasting(scenario.until_s)}", scenario.until_s) as bar:
        try:
            outcome = play_scenario(
                stage_of(shop),
                scenario,
                seed=seed,
                fidelity=Fidelity(fidelity),
                take=_print_entry if as_json else None,
                progress=bar.at,
            )
        except CannotPlay as trouble:
            raise CannotSimulate(str(trouble)) from None
    took_s = time.monotonic() - started_s
    told = SimulatedText(shop, name, scenario_file, scenario, outcome, seed, fidelity, took_s)
    if report is not None:
        _write_report(report, told)
    if as_json:
        print(json.dumps(last_line(scenario, outcome, seed, fidelity), ensure_ascii=False))
    else:
        told.print_to(sys.stdout, report)
    return 1 if outcome.offences else 0


def last_line(scenario: Scenario, outcome: Outcome, seed: int, fidelity: str) -> dict[str, Any]:
    """The last line of ``--json``: the figures of the play, and everything that did not hold."""
    return {
        "kind": "figures",
        "scenario": scenario.name,
        "seed": seed,
        "fidelity": fidelity,
        "begins_s": scenario.begins_s,
        "until_s": scenario.until_s,
        "expected": len(scenario.expected),
        "offences": [
            {
                "at_s": round(one.at_s, 3),
                "rule": one.rule,
                "line": one.line,
                "said": one.said,
                "instead": one.instead or None,
                "before": [{"at_s": round(event.at_s, 3), "said": event.said} for event in one.before],
            }
            for one in outcome.offences
        ],
        "figures": outcome.played.figures.as_json(),
    }


def _scenario(shop: Shop, name: str, scenario_file: str | None, days: int | None) -> Scenario:
    if scenario_file is None:
        return days_of_work(shop, days or 1)
    try:
        text = read_text(scenario_file, folder(), "scenario file", "one that ships")
    except FileTrouble as trouble:
        raise CannotSimulate(str(trouble)) from None
    scenario = load_scenario(text, scenario_file, shop, days=days)
    if isinstance(scenario, Faults):
        lines = fault_lines(scenario, f"gatekeeper simulate {name} {scenario_file}")
        wanted = shop_of(text, scenario_file)
        if wanted is not None and wanted != name:
            lines.insert(1, f"It was written for the shop {wanted}; this is {name}.")
        raise CannotSimulate("\n".join(lines))
    return scenario


def _print_entry(entry: Mapping[str, Any]) -> None:
    sys.stdout.write(json.dumps(entry, ensure_ascii=False) + "\n")


def _write_report(report: str, told: SimulatedText) -> None:
    broken = [
        BrokenTold(told.offence_said(one), one.rule is not None, tuple(story_lines(one, told.clock)))
        for one in told.outcome.offences
    ]
    page = report_html(
        told.shop,
        told.name,
        told.outcome.played,
        what=told.what,
        broken=broken,
        begin_s=told.scenario.begins_s,
        assumed=told.assumed,
    )
    try:
        write_new(Path(report), page.encode(), replace=True)
    except FileTrouble as trouble:
        raise CannotSimulate(str(trouble)) from None
