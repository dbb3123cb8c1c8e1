"""What the checker hands back: one broken rule, with its place in the record."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

FORM = "form"
"""Rule name for an entry that is not written as the record's description says."""

GUARD = "guard"
"""Rule name for a `dropped` entry: the guard had to act, so the rest of the core was at fault."""


@dataclass(frozen=True, slots=True)
class Violation:
    """One broken rule.

    Args:
        rule: "C1" to "C28" (with "C3a" and "C8a"), `FORM` or `GUARD`.
        seq: the entry that breaks the rule, or the first entry at which a thing not done is overdue.
        t_s: monotonic time of that entry, seconds.
        subject: the gate, motor, tool or input concerned, or None.
        sentence: what went wrong, in plain words.
    """

    rule: str
    seq: int
    t_s: float
    subject: str | None
    sentence: str

    def __str__(self) -> str:
        return f"{self.rule} at entry {self.seq}, {self.t_s:.3f} s: {self.sentence}"


def ten_before(entries: Iterable[Mapping[str, Any]], seq: int) -> list[Mapping[str, Any]]:
    """The last ten entries before `seq`, oldest first: what a reader needs to see how it came to that."""
    earlier = [entry for entry in entries if isinstance(entry.get("seq"), int) and entry["seq"] < seq]
    return earlier[-10:]
