"""Writes the record: one ordered list of entries from which anybody can check the rules (RULES, "The record")."""

from typing import Any

from gatekeeper.control.messages import Entry


class Recorder:
    """Collects the entries of each step; the owner takes them away.

    Args:
        boot, run: names of this start of the board and of this process.
        seq: number of the last entry of an earlier run; the record is one list over all runs.
    """

    def __init__(self, boot: str, run: str, seq: int = 0) -> None:
        self.boot = boot
        self.run = run
        self.seq = seq
        self.step = 0
        self.entries: list[Entry] = []
        self._t_s = 0.0
        self._cause: int | None = None

    def begin(self, now_s: float) -> None:
        """Begin a step; what is written until the next one happens at this instant."""
        self.step += 1
        self._t_s = round(now_s, 3)
        self._cause = None

    def write(
        self,
        kind: str,
        subject: str | None = None,
        value: Any = None,
        *,
        rule: str | None = None,
        why: str | None = None,
    ) -> None:
        """Add one entry; its cause is the event that began this step."""
        self.seq += 1
        self.entries.append(
            Entry(self.seq, self.step, self._t_s, self.boot, self.run, kind, subject, value, self._cause, rule, why)
        )

    def write_event(self, kind: str, subject: str | None = None, value: Any = None, *, why: str | None = None) -> None:
        """Add the entry of the event itself and make it the cause of all that follows in this step."""
        self.write(kind, subject, value, why=why)
        self._cause = self.seq

    def take(self) -> list[Entry]:
        """The entries since the last call; they are the caller's from now on."""
        taken, self.entries = self.entries, []
        return taken
