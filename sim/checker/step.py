"""One step of the record: its entries sorted by what they are, and the violations found in it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from sim.checker.form import INPUTS, field_of, word_of
from sim.checker.violation import Violation

NOT_A_CAUSE = frozenset(
    {"open", "shut", "hold", "release", "stop", "reset", "clear", "out_of_service", "back_in_service", "stopped"}
    | {"still_running", "seen"}
)
"""Requests that never ask for a motor; every other one may (the list of requests is open-ended)."""


@dataclass(frozen=True, slots=True)
class Line:
    """One entry, read."""

    seq: int
    t_s: float
    kind: str
    subject: str | None
    word: Any
    value: Any
    cause: int | None
    rule: str | None
    why: str | None
    boot: Any


def read_line(entry: Mapping[str, Any]) -> Line:
    """Read one entry whose form was found good enough to have its keys."""
    subject, why, rule = entry["subject"], entry["why"], entry["rule"]
    return Line(
        entry["seq"],
        float(entry["t_s"]),
        str(entry["kind"]),
        subject if isinstance(subject, str) else None,
        word_of(entry["value"]),
        entry["value"],
        entry["cause"],
        rule if isinstance(rule, str) else None,
        why if isinstance(why, str) and why.strip() else None,
        entry["boot"],
    )


@dataclass(frozen=True, slots=True)
class Request:
    """A request that was not refused."""

    line: Line
    what: str
    who: str | None
    for_s: float | None


@dataclass(slots=True)
class Step:
    """One handle call. The lists below `found` are filled while its inputs are applied."""

    lines: list[Line]
    found: list[Violation] = field(default_factory=list)
    granted: list[Request] = field(default_factory=list)
    tool_starts: list[tuple[Line, bool]] = field(default_factory=list)
    told_off: dict[str, tuple[Line, str]] = field(default_factory=dict)
    halts: dict[str, tuple[Line, str]] = field(default_factory=dict)
    forced: set[str] = field(default_factory=set)
    was_on: set[str] = field(default_factory=set)
    shutting: set[str] = field(default_factory=set)
    moving: set[str] = field(default_factory=set)
    kinds: frozenset[str] = frozenset()
    t_s: float = 0.0

    def __post_init__(self) -> None:
        """The kinds of its entries, and the time of the handle call."""
        self.kinds = frozenset(line.kind for line in self.lines)
        self.t_s = self.lines[0].t_s

    @property
    def inputs(self) -> list[Line]:
        """What came in, in order."""
        return [line for line in self.lines if line.kind in INPUTS]

    def of(self, kind: str, word: str | None = None) -> list[Line]:
        """The entries of one kind, and of one word where given."""
        if kind not in self.kinds:
            return []
        return [line for line in self.lines if line.kind == kind and (word is None or line.word == word)]

    def subjects(self, kind: str, word: str) -> set[str]:
        """Whom the entries of one kind and word are about."""
        return {line.subject for line in self.of(kind, word) if line.subject is not None}

    def flag(self, rule: str, line: Line, subject: str | None, sentence: str) -> None:
        """Record one violation at an entry of this step."""
        self.found.append(Violation(rule, line.seq, line.t_s, subject, sentence))

    def late(self, rule: str, subject: str | None, sentence: str) -> None:
        """Record a thing not done: it is seen at the first entry of this step."""
        self.flag(rule, self.lines[0], subject, sentence)

    def refused(self, line: Line) -> bool:
        """Whether a request or setting of this step was refused in it."""
        refusals = self.of("refusal")
        by_cause = [refusal for refusal in refusals if refusal.cause == line.seq]
        return bool(by_cause) or any(r.cause is None and r.subject == line.subject for r in refusals)

    def read_request(self, line: Line) -> Request:
        """The words of a request entry."""
        for_s, who = field_of(line.value, "for_s"), field_of(line.value, "who")
        return Request(
            line,
            str(line.word),
            who if isinstance(who, str) else None,
            float(for_s) if isinstance(for_s, int | float) and not isinstance(for_s, bool) else None,
        )
