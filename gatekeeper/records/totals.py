"""Hours and starts per motor and tool, moves per gate, counted from the entries as they are written."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from gatekeeper.control.messages import Entry

#: The kinds that make a lane of the day: what a tool does, what a motor is told, what a gate is believed to be.
LANE_KINDS = ("tool", "motor_command", "gate_belief")


@dataclass(frozen=True, slots=True)
class Total:
    """How long and how often something ran.

    Args:
        kind: ``motor``, ``tool`` or ``gate``.
        subject: its name.
        running_s: seconds on, by the monotonic clock. What was on when a run was cut off counts up to the last entry
            written, so it is never too long.
        starts: how often it was switched on (motor), seen to start (tool) or told to move (gate).
    """

    kind: str
    subject: str
    running_s: float
    starts: int


def word_of(value: Any) -> str | None:
    """The word of a value: itself, or what stands under ``what``."""
    word = value.get("what") if isinstance(value, dict) else value
    return word if isinstance(word, str) else None


def lane_word(entry: Entry) -> str | None:
    """The word that an entry puts on its lane; None where it has none or changes nothing (a lease renewed)."""
    if entry.kind not in LANE_KINDS or entry.subject is None:
        return None
    word = word_of(entry.value)
    return None if word == "renew" else word


class RunningCount:
    """What runs at present, and since when. One of these follows all entries in order."""

    def __init__(self) -> None:
        self._since_s: dict[tuple[str, str], float] = {}
        self._run: tuple[str, str] | None = None

    def copy(self) -> "RunningCount":
        """A second one in the same state, to count on trial."""
        other = RunningCount()
        other._since_s, other._run = dict(self._since_s), self._run
        return other

    def count(self, entries: Iterable[Entry]) -> list[Total]:
        """What these entries add to each total; what still runs is counted up to the last of them."""
        seconds: dict[tuple[str, str], float] = {}
        starts: dict[tuple[str, str], int] = {}

        def add(who: tuple[str, str], until_s: float) -> None:
            seconds[who] = seconds.get(who, 0.0) + max(0.0, until_s - self._since_s[who])

        last_s: float | None = None
        for entry in entries:
            if (entry.boot, entry.run) != self._run:
                # The run before ended without a word; how long things ran after its last entry nobody knows.
                for who in self._since_s:
                    if last_s is not None:
                        add(who, last_s)
                self._since_s.clear()
                self._run = (entry.boot, entry.run)
            last_s = entry.t_s
            if entry.subject is not None and entry.kind == "gate_command" and word_of(entry.value) in ("open", "shut"):
                starts["gate", entry.subject] = starts.get(("gate", entry.subject), 0) + 1
            if entry.subject is None or entry.kind not in ("tool", "motor_command"):
                continue
            who = ("tool" if entry.kind == "tool" else "motor", entry.subject)
            word = word_of(entry.value)
            if word in ("running", "on", "renew"):
                if who not in self._since_s:
                    self._since_s[who] = entry.t_s
                    starts[who] = starts.get(who, 0) + (word != "renew")
            elif word in ("stopped", "off") and who in self._since_s:
                add(who, entry.t_s)
                del self._since_s[who]
        if last_s is not None:
            for who in self._since_s:
                add(who, last_s)
                self._since_s[who] = max(last_s, self._since_s[who])
        touched = sorted(seconds.keys() | starts.keys())
        return [Total(*who, seconds.get(who, 0.0), starts.get(who, 0)) for who in touched]
