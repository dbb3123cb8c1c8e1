"""One half-hour of a campaign again: told in full, and made as small as it can be while it still goes wrong."""

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from gatekeeper.control.messages import Entry
from sim.campaign_half import Half, Verdict, judged, stage_called
from sim.faulted_day import DAY_LENGTH_S
from sim.happening import Happening
from sim.play import Game


def replay(half: Half, with_air: bool = False, shrink: bool = False, record: Path | None = None) -> int:
    """Play it, print what happened and what was wrong; exit status 1 when anything was."""
    verdict = judged(half, with_air=with_air)
    if shrink and verdict.problem is not None:
        half, verdict = shrunk(half, verdict, with_air)
    print(f"{half.shop}, seed {half.seed}, {'day' if half.length_s == DAY_LENGTH_S else 'half-hour'} {half.number}")
    for put in half.puts:
        print(f"  {put}")
    until_s = half.length_s if verdict.problem is None else verdict.problem.t_s
    for happening in half.happenings:
        if happening.at_s <= until_s:
            print(f"  {as_text(happening)}")
    if record is not None:
        _write(half, with_air, record)
    if verdict.problem is None:
        print(f"Nothing wrong in {verdict.entries} entries.")
        return 0
    print(f"{verdict.problem.judge}: {verdict.problem.sentence}")
    print("\n".join(verdict.problem.before))
    return 1


def as_text(happening: Happening) -> str:
    """One happening on a line."""
    value = "" if happening.value is None else f" {happening.value}"
    return f"{happening.at_s:9.3f} s {happening.what.value} {happening.subject or ''}{value}"


def shrunk(half: Half, verdict: Verdict, with_air: bool) -> tuple[Half, Verdict]:
    """Leave out happenings, in halves, quarters and so on, as long as the same judge still finds something."""
    assert verdict.problem is not None
    happenings = [one for one in half.happenings if one.at_s <= verdict.problem.t_s]
    size = max(1, len(happenings) // 2)
    while True:
        at, fewer = 0, False
        while at < len(happenings):
            tried = happenings[:at] + happenings[at + size :]
            found = _same(half, tried, verdict, with_air)
            if found is None:
                at += size
            else:
                happenings, verdict, fewer = tried, found, True
        if size == 1 and not fewer:
            return replace(half, happenings=tuple(happenings)), verdict
        size = max(1, size // 2)


def _same(half: Half, happenings: Sequence[Happening], verdict: Verdict, with_air: bool) -> Verdict | None:
    """The verdict of fewer happenings, where it is of the same kind."""
    assert verdict.problem is not None
    found = judged(replace(half, happenings=tuple(happenings)), with_air=with_air)
    if found.problem is None or _kind(found) != _kind(verdict):
        return None
    return found


def _kind(verdict: Verdict) -> tuple[str, str]:
    """Who complained, and about which rule: the first word of the sentence."""
    assert verdict.problem is not None
    return verdict.problem.judge, verdict.problem.sentence.split(" ", 1)[0]


def _write(half: Half, with_air: bool, path: Path) -> None:
    """The record of one half-hour, with the truth beside it."""
    with path.open("w", encoding="utf-8") as file:

        def write(entry: Entry) -> None:
            file.write(f"{json.dumps(entry.as_json())}\n")

        stage = stage_called(half.shop, with_air, half.has_long_leases)
        game = Game(stage, seed=half.number, watch=write, truth=True, with_tracks=False, wall_start_s=half.wall_start_s)
        for happening in half.happenings:
            game.happen(happening)
        game.run(half.length_s)
