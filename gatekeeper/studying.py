"""What ``gatekeeper study`` does: reads the files, plays the days, prints and draws what they say, writes the delays.

Part of the commands and loaded by ``cli`` alone: besides that one and ``simulating`` nothing here knows the simulator.
"""

import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any, TypeVar

from gatekeeper.files import FileTrouble, read_shop_text, read_text, write_new
from gatekeeper.printing import fault_lines
from gatekeeper.progress import Bar
from gatekeeper.shop.faults import Faults, listed
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from gatekeeper.shop.rewrite import CannotRewrite, Change, rewritten
from sim.day_pattern import Pattern, default_pattern
from sim.scenario import load_scenario
from sim.scenario_files import folder
from sim.study_changes import NO_CHANGES, Changes
from sim.study_report import spin_down_page, what_if_page
from sim.study_runs import Days, ShopText, Stopped, cores
from sim.study_spin_down import SpinDownStudy, study_spin_down
from sim.study_store import DayStore, cache_folder, key_of, program_hash
from sim.study_what_if import what_if
from sim.study_words import file_changes, spin_down_lines, what_if_lines

#: Days of a study unless told otherwise, and the most that may be asked for.
DAYS, MOST_DAYS = 10, 1000
KINDS = ("spin-down", "what-if")

_T = TypeVar("_T")


class CannotStudy(Exception):
    """What was asked for has no answer; the text is one plain sentence, or whole lines about a file."""


class StudyStopped(Exception):
    """Somebody pressed Ctrl-C; the text says what is kept."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What the command was given.

    Args:
        shop_file: a shop file, or the name of an example.
        days, seed: how many days, and the seed of the first.
        jobs: processes at once; None: one for each core.
        work: a scenario file whose pattern of work is taken.
        cache: where days are kept; None: the user's cache folder.
        as_json: answer for machines. ``report``: where to write the page.
    """

    shop_file: str
    days: int = DAYS
    seed: int = 0
    jobs: int | None = None
    work: str | None = None
    cache: str | None = None
    as_json: bool = False
    report: str | None = None


def spin_down(asked: Asked, say: Callable[[str], None], *, write: bool, ask: Callable[[str], bool]) -> None:
    """Study the delays, tell, and write them where ``write`` and the answer to ``ask`` say so.

    Raises CannotStudy, StudyStopped.
    """
    text, shop = _shop_text(asked.shop_file)
    if write and not Path(asked.shop_file).is_file():
        raise CannotStudy(f"{asked.shop_file} is an example and stays as it is; copy it to a file of yours first.")
    if write and asked.as_json:
        raise CannotStudy("--json answers machines and --write asks people; take one of them.")
    study = _with_days(
        asked, shop, lambda days, pattern: study_spin_down(text, pattern, days, count=asked.days, seed=asked.seed)
    )
    if asked.report is not None:
        _write_page(asked.report, spin_down_page(study))
    if asked.as_json:
        say(_json(spin_down_data(study)))
    else:
        for line in spin_down_lines(study):
            say(line)
    _say_report(asked, say)
    changes = [Change(part, "spin_down", value) for part, value in file_changes(study.answers)]
    if write:
        _write_asking(asked, changes, say, ask)
    elif changes and not asked.as_json:
        is_file = Path(asked.shop_file).is_file()
        say("")
        say(
            f"next: gatekeeper study {asked.shop_file} spin-down --write"
            if is_file
            else f"{asked.shop_file} is an example; for a file of yours --write puts these delays into it."
        )


def _write_asking(
    asked: Asked, changes: Sequence[Change], say: Callable[[str], None], ask: Callable[[str], bool]
) -> None:
    if not changes:
        say("Nothing to write: the file has these delays already.")
        return
    told = listed([f"{change.part[-1]} {change.value}" for change in changes], "and", len(changes))
    if not ask(f"Write these delays into {asked.shop_file} ({told})?"):
        say("Nothing was written.")
        return
    write_delays(Path(asked.shop_file), changes)
    say(f"Written; the page proposes them from the next start on. next: gatekeeper check {asked.shop_file}")


def compare(asked: Asked, changes: Changes, against: str | None, say: Callable[[str], None]) -> None:
    """Play the same days in the shop and in another, or in the shop with changes, and tell.

    Raises CannotStudy, StudyStopped.
    """
    if against is None and changes == NO_CHANGES:
        choices = "--against SHOP2.yaml, --fan-of SHOP2.yaml, --automate GATE or --by-hand GATE"
        raise CannotStudy(f"Say what is otherwise: {choices}.")
    first, shop = _shop_text(asked.shop_file)
    second = first if against is None else _shop_text(against)[0]
    second = replace(second, changes=changes)
    study = _with_days(
        asked, shop, lambda days, pattern: what_if(first, second, pattern, days, count=asked.days, seed=asked.seed)
    )
    if asked.report is not None:
        _write_page(asked.report, what_if_page(study))
    if asked.as_json:
        say(_json(asdict(study)))
    else:
        for line in what_if_lines(study):
            say(line)
    _say_report(asked, say)


def changes_of(automate: Sequence[str], by_hand: Sequence[str], fan_of: str | None) -> Changes:
    """The changes that were asked for; the other shop's file is read here. Raises CannotStudy."""
    fan = None
    if fan_of is not None:
        text, _ = _shop_text(fan_of)
        fan = (text.text, text.name)
    return Changes(tuple(automate), tuple(by_hand), fan)


def spin_down_data(study: SpinDownStudy) -> dict[str, Any]:
    """The study for machines: seconds, kilograms, kWh, each in its key's name."""
    return {
        "file": study.name,
        "shop": study.shop.name,
        "days": study.days,
        "seed": study.seed,
        "collectors": {
            answer.motor: {
                "spin_down_s": answer.common_s,
                "own_spin_down_s": dict(answer.own),
                "in_the_file": {"spin_down_s": answer.now_s, "own_spin_down_s": dict(answer.now_own)},
                "demands": [asdict(one) for one in answer.demands],
                "found": asdict(answer.best),
                "now": asdict(answer.now),
                "tried": [asdict(one) for one in answer.tried],
            }
            for answer in study.answers
        },
    }


def write_delays(path: Path, changes: Sequence[Change]) -> None:
    """Put the delays into the file, comments kept; whole or not at all. Raises CannotStudy."""
    path = path.resolve()
    try:
        text = path.read_bytes().decode("utf-8")
        write_new(path, rewritten(text, path.name, changes).encode("utf-8"), replace=True)
    except (OSError, UnicodeDecodeError):
        raise CannotStudy(f"{path}: this file cannot be read any more") from None
    except (CannotRewrite, FileTrouble) as trouble:
        raise CannotStudy(str(trouble)) from None


# ---------------------------------------------------------------- reading, days, writing


def _shop_text(shop_file: str) -> tuple[ShopText, Shop]:
    try:
        text, name = read_shop_text(shop_file)
    except FileTrouble as trouble:
        raise CannotStudy(str(trouble)) from None
    shop = load_shop(text, name)
    if isinstance(shop, Faults):
        raise CannotStudy("\n".join(fault_lines(shop, f"gatekeeper check {name}")))
    return ShopText(text, name), shop


def _with_days(asked: Asked, shop: Shop, study: Callable[[Days, Pattern], _T]) -> _T:
    """Run a study over days that are kept, with a bar; whatever stops it is told in a sentence."""
    pattern = _pattern(asked, shop)
    folder_ = cache_folder(asked.cache)
    try:
        store = DayStore(folder_, key_of(shop.name), key_of(program_hash()))
    except OSError as trouble:
        reason = trouble.strerror or "it cannot be used"
        raise CannotStudy(f"{folder_}: days cannot be kept there ({reason}); name another with --cache.") from None
    try:
        with Bar("playing days", 1.0) as bar, Days(store, asked.jobs or cores(), bar.at) as days:
            return study(days, pattern)
    except Stopped as stopped:
        raise StudyStopped(f"Stopped. {stopped} of this step are kept; the same command goes on from there.") from None
    except ValueError as trouble:
        raise CannotStudy(str(trouble)) from None


def _pattern(asked: Asked, shop: Shop) -> Pattern:
    """How people work: the scenario's own pattern, else the default one."""
    if asked.work is None:
        return default_pattern(shop)
    try:
        text = read_text(asked.work, folder(), "scenario file", "one that ships")
    except FileTrouble as trouble:
        raise CannotStudy(str(trouble)) from None
    scenario = load_scenario(text, asked.work, shop)
    if isinstance(scenario, Faults):
        raise CannotStudy("\n".join(fault_lines(scenario, f"gatekeeper simulate {asked.shop_file} {asked.work}")))
    if scenario.pattern is None:
        raise CannotStudy(f"{asked.work} has no pattern of work; without --work the usual one is taken.")
    return scenario.pattern


def _write_page(report: str, page: str) -> None:
    try:
        write_new(Path(report), page.encode("utf-8"), replace=True)
    except FileTrouble as trouble:
        raise CannotStudy(str(trouble)) from None


def _say_report(asked: Asked, say: Callable[[str], None]) -> None:
    if asked.report is not None and not asked.as_json:
        say(f"Report written to {asked.report}.")


def _json(told: object) -> str:
    return json.dumps(told, indent=2, ensure_ascii=False)
