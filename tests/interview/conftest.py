"""Answers of a whole session, and a face that is given lines and keeps what is said."""

import sys
from collections.abc import Iterable
from pathlib import Path

import pytest

from gatekeeper.interviewing import Face

sys.path.insert(0, str(Path(__file__).parent))

SHED = (
    *("Shed", "inch", "", "2 hp", "", "6 in", "", "", "", "", "how much"),
    *("length", "", "", "8 ft", "elbow", "", "branch", "", "4 in", "7 ft", "machine", "bandsaw", "", "", "", "", ""),
    *("45 wye", "4 in", "unknown", "machine", "planer", "", "no", "", "servo", "", "current", "450 cfm"),
    *("nothing", "", "", ""),
)
"""A shed: a main, a bandsaw that nothing sees, a planer with a servo and a current switch."""


class Typed:
    """A face that types these lines and then no more."""

    def __init__(self, lines: Iterable[str]) -> None:
        self.lines = list(lines)
        self.said: list[str] = []

    @property
    def face(self) -> Face:
        return Face(self.said.append, self._ask)

    def _ask(self, prompt: str) -> str | None:
        self.said.append(prompt.strip())
        return self.lines.pop(0) if self.lines else None


@pytest.fixture
def shed() -> tuple[str, ...]:
    return SHED


@pytest.fixture
def typed() -> type[Typed]:
    return Typed
