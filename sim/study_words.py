"""What a study found, in sentences and lines for a terminal."""

from collections.abc import Sequence

from gatekeeper.shop.faults import listed
from sim.study_spin_down import Answer, SpinDownStudy, Tried
from sim.study_what_if import WhatIf, left_out_words


def delays_said(answer: Answer) -> str:
    """ "Best: the collector keeps running 120 s after the last tool stops; 20 s are enough after the planer." """
    told = f"Best: the {answer.motor} keeps running {answer.common_s:g} s after the last tool stops"
    if not answer.own:
        return f"{told}."
    by_delay: dict[float, list[str]] = {}
    for tool, delay_s in answer.own.items():
        by_delay.setdefault(delay_s, []).append(tool)
    own = [
        f"{delay_s:g} s are enough after the {listed(tools, 'and', len(tools))}"
        for delay_s, tools in sorted(by_delay.items())
    ]
    return f"{told}; {', '.join(own)}."


def spin_down_lines(study: SpinDownStudy) -> list[str]:
    """The answer as lines."""
    days = "one working day" if study.days == 1 else f"{study.days} working days"
    lines = [f"{study.shop.name} ({study.name}): the spin-down delay, from {days}, seed {study.seed} on."]
    for answer in study.answers:
        lines += ["", delays_said(answer), *_demands(answer), "", *_table(answer)]
        if answer.changes_nothing:
            lines.append("The shop's file has these delays already.")
    return lines


def _demands(answer: Answer) -> list[str]:
    return [f"  {one.asks}: {one.verdict} ({one.said})." for one in answer.demands]


def _table(answer: Answer) -> list[str]:
    head = ("", "starts", "worst", "cuts without air", "moves", "worst", "runs", "energy", "chips left")
    units = ("", "a day", "hour", "a day / in runs", "a day", "hour", "h a day", "kWh a day", "kg")
    rows = [head, units, (f"file: {answer.now_s:g} s", *_cells(answer.now)), ("found", *_cells(answer.best))]
    rows += [(f"all {one.delay_s:g} s", *_cells(one)) for one in answer.tried]
    wide = [max(len(row[place]) for row in rows) for place in range(len(head))]
    return [
        "  "
        + row[0].ljust(wide[0])
        + "".join("  " + cell.rjust(size) for cell, size in zip(row[1:], wide[1:], strict=True))
        for row in rows
    ]


def _cells(one: Tried) -> tuple[str, ...]:
    return (
        f"{one.starts:.1f}",
        str(one.worst_starts),
        f"{one.airless:.1f} / {one.airless_in_run / one.days:.1f}",
        f"{one.moves:.1f}",
        str(one.worst_moves),
        f"{one.running_s / 3600.0:.2f}",
        f"{one.energy_kwh:.1f}",
        f"{one.left_kg:.2f}",
    )


def what_if_lines(study: WhatIf) -> list[str]:
    """The comparison as lines, what harms people first; what stays the same in one line at the end."""
    days = "one working day" if study.days == 1 else f"the same {study.days} working days"
    lines = [f"{study.first} and {study.second}: {days}, seed {study.seed} on.", ""]
    changed = [one for one in study.differences if not one.is_none]
    lines += [f"  - {one.said}" for one in changed]
    same = _same(study)
    if same:
        lines.append(f"The same in both: {listed(same, 'and', len(same))}." if changed else "Nothing changes.")
    left_out = left_out_words(study)
    return [*lines, left_out] if left_out is not None else lines


def _same(study: WhatIf) -> list[str]:
    """What does not change, the air of all such machines in one."""
    same = [one.what[:1].lower() + one.what[1:] for one in study.differences if one.is_none and not one.is_air]
    air = [one.is_none for one in study.differences if one.is_air]
    if any(air):
        same.insert(0, "the air of every machine" if all(air) else "the air of the other machines")
    return same


def file_changes(answers: Sequence[Answer]) -> list[tuple[tuple[str, ...], str]]:
    """What the shop's file is to say: the path of each part, and the delay to write there."""
    changes: list[tuple[tuple[str, ...], str]] = []
    for answer in answers:
        if answer.common_s != answer.now_s:
            changes.append((("motors", answer.motor), f"{answer.common_s:g} s"))
        for tool in dict.fromkeys((*answer.own, *answer.now_own)):
            # A machine that needs no delay of its own any more is given its collector's: no key is taken out.
            delay_s = answer.own.get(tool, answer.common_s)
            if answer.now_own.get(tool) != delay_s:
                changes.append((("tools", tool), f"{delay_s:g} s"))
    return changes
