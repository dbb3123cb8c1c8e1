"""What came of the steps: results that are never changed afterwards, and which of them still stand.

A result is kept as plain JSON values. Lines of another version that cannot be understood are passed over and counted;
they take nothing else with them.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from gatekeeper.commissioning.steps import Facts, Figure, Outcome, Stage, Step

#: Words of people are cut here.
LONGEST_NAME, LONGEST_WHY = 40, 300


@dataclass(frozen=True, slots=True)
class Result:
    """One result.

    Args:
        key, stage, title: of the step, as it was called then.
        outcome: how it ended.
        sentence: what was seen.
        why: why it was left out, in the person's words.
        figures: what was measured.
        by: who; at_wall_s: when, seconds since 1970.
        facts: what was so of that part then.
    """

    key: str
    stage: Stage
    title: str
    outcome: Outcome
    sentence: str
    by: str
    at_wall_s: float
    facts: Facts
    why: str | None = None
    figures: tuple[Figure, ...] = ()

    def as_kept(self) -> dict[str, Any]:
        """Everything but key, person and time, as JSON values."""
        return {
            "stage": self.stage.value,
            "title": self.title,
            "outcome": self.outcome.value,
            "sentence": self.sentence,
            "why": self.why,
            "figures": [[one.what, one.value, one.against] for one in self.figures],
            "facts": [list(one) for one in self.facts],
        }

    @staticmethod
    def from_kept(key: str, by: str, at_wall_s: float, kept: Mapping[str, Any]) -> "Result | None":
        """A kept result; None where it cannot be understood, for instance from another version."""
        try:
            why = kept["why"]
            return Result(
                key=key,
                stage=Stage(kept["stage"]),
                title=str(kept["title"]),
                outcome=Outcome(kept["outcome"]),
                sentence=str(kept["sentence"]),
                by=by,
                at_wall_s=at_wall_s,
                facts=tuple((str(what), str(how)) for what, how in kept["facts"]),
                why=str(why) if why is not None else None,
                figures=tuple(Figure(str(what), str(value), str(to)) for what, value, to in kept["figures"]),
            )
        except (KeyError, TypeError, ValueError):
            return None


class Standing:
    """How the steps of one shop stand.

    Args:
        steps: of the shop as it is now.
        results: every result, oldest first.
    """

    def __init__(self, steps: Sequence[Step], results: Iterable[Result]) -> None:
        self.steps = tuple(steps)
        self.results: dict[str, list[Result]] = {}
        for result in results:
            self.results.setdefault(result.key, []).append(result)

    def last(self, step: Step) -> Result | None:
        """The last result of a step, whether it stands or not."""
        return self.results.get(step.key, [None])[-1]

    def changed(self, step: Step) -> str | None:
        """What changed of a step's part since its last result, one sentence; None where nothing did."""
        last = self.last(step)
        return None if last is None else changed(last.facts, step.facts)

    def is_due(self, step: Step) -> bool:
        """Whether it was never tried, or its part was changed since."""
        return self.last(step) is None or self.changed(step) is not None

    def gone(self) -> list[list[Result]]:
        """The results of parts that the shop has no more."""
        keys = {step.key for step in self.steps}
        return [results for key, results in self.results.items() if key not in keys]


def changed(then: Facts, now: Facts) -> str | None:
    """What differs, one sentence; None where nothing does."""
    if then == now:
        return None
    before, after = dict(then), dict(now)
    said = []
    for what in dict.fromkeys((*before, *after)):
        old, new = before.get(what), after.get(what)
        if old == new:
            continue
        if what == "ducts and gates":
            said.append("its ducts or gates are others")
        else:
            said.append(f"{what} was {old or 'not there'} and is {new or 'not there any more'}")
    return f"Changed since: {'; '.join(said)}." if said else "Changed since: the order of its parts."


@dataclass(slots=True)
class Going:
    """The step in hand, as it is kept.

    Args:
        key: which. phase: where it is; words of its kind. number: grows with each change of the phase.
        by: who began it.
        memo: what was found so far, JSON values.
    """

    key: str
    phase: str
    number: int
    by: str
    memo: dict[str, Any] = field(default_factory=dict)

    def as_kept(self) -> dict[str, Any]:
        return {"phase": self.phase, "number": self.number, "memo": self.memo}

    @staticmethod
    def from_kept(key: str, by: str, kept: Mapping[str, Any]) -> "Going | None":
        """A kept walk; None where nothing is in hand, or it cannot be understood."""
        try:
            return Going(key, str(kept["phase"]), int(kept["number"]), by, dict(kept["memo"]))
        except (KeyError, TypeError, ValueError):
            return None
