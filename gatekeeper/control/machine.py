"""Builds a ``transitions`` machine from a table and distrusts the library on the way.

``transitions`` adds ``to_STATE`` methods that jump past every rule, takes a misspelt name without a word, and skips a
trigger whose name the model already has. So: no automatic transitions, every name is checked here, and a machine is
fired through ``fire`` only.
"""

from collections import Counter
from collections.abc import Sequence
from enum import StrEnum
from typing import Any

from transitions import Machine, MachineError

from gatekeeper.control.tables import Row


class NoRow(Exception):
    """An event met a state for which its table has no row: a fault of ours, never of the shop."""


class TableMachine:
    """One machine for all models of a kind; a model is any object with a ``state`` attribute.

    Args:
        name: for messages.
        states: the state Enum.
        table: the rows; (event, source) pairs must be unique, every state must be reached from ``initial``.
        initial: the state in which a model begins.

    Raises:
        ValueError: where the table contradicts itself.
    """

    def __init__(self, name: str, states: type[StrEnum], table: Sequence[Row], initial: StrEnum) -> None:
        self.name = name
        self.states = states
        self.table = tuple(table)
        self.initial = initial
        self.events = tuple(dict.fromkeys(row.event for row in table))
        #: How often each (event, source) row was used, when counting is asked for; None costs nothing.
        self.reached: Counter[tuple[str, StrEnum]] | None = None
        self._check()
        self._targets = {(row.event, row.source): row.target for row in self.table}
        self._machine = Machine(
            model=None,
            states=states,
            initial=initial,
            transitions=[[row.event, row.source, row.target] for row in self.table],
            auto_transitions=False,
            send_event=False,
            queued=True,
        )

    def _check(self) -> None:
        seen: set[tuple[str, StrEnum]] = set()
        for row in self.table:
            if row.source not in self.states or row.target not in self.states:
                raise ValueError(f"{self.name}: row {row} names a state that is not in {self.states.__name__}")
            if (row.event, row.source) in seen:
                raise ValueError(f"{self.name}: two rows for {row.event} in {row.source}")
            seen.add((row.event, row.source))
        reachable = {self.initial}
        while new := {row.target for row in self.table if row.source in reachable} - reachable:
            reachable |= new
        if missing := set(self.states) - reachable:
            raise ValueError(f"{self.name}: never reached: {', '.join(sorted(missing))}")

    def add(self, model: Any) -> None:
        """Give a model its first state and its triggers.

        Raises:
            ValueError: where the model already has an attribute of an event's name.
        """
        if clash := [event for event in self.events if hasattr(model, event)]:
            raise ValueError(f"{self.name}: the model already has {', '.join(clash)}")
        self._machine.add_model(model, initial=self.initial)

    def has(self, event: str, state: StrEnum) -> bool:
        """True where the table has a row for the event in this state."""
        return (event, state) in self._targets

    def fire(self, model: Any, event: str) -> None:
        """Tell a model that something happened to it.

        Raises:
            NoRow: where the table has no row for it; the state is unchanged.
        """
        source = model.state
        try:
            model.trigger(event)
        except MachineError as error:
            raise NoRow(f"{self.name}: no row for {event} in {source}") from error
        if self.reached is not None:
            self.reached[event, source] += 1

    def mermaid(self) -> str:
        """The table as a Mermaid state diagram; DEVELOPERS.md shows it and a test holds the two equal."""
        edges: dict[tuple[StrEnum, StrEnum], list[str]] = {}
        for row in self.table:
            if row.source is not row.target:
                edges.setdefault((row.source, row.target), []).append(row.event)
        lines = ["stateDiagram-v2", f"    [*] --> {self.initial}"]
        lines += [f"    {source} --> {target}: {', '.join(events)}" for (source, target), events in edges.items()]
        return "\n".join(lines)
