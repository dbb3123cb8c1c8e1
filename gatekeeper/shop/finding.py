"""One thing that the owner of a checked shop should hear."""

from dataclasses import dataclass
from enum import Enum


class Heap(Enum):
    """How much a finding matters."""

    BITES = "will bite you"
    NICE = "nice to know"


@dataclass(frozen=True, slots=True)
class Finding:
    """One finding: ``code`` for machines, ``subject`` (a thing of the shop, or "shop"), ``said`` for people."""

    heap: Heap
    code: str
    subject: str
    said: str


def bite(code: str, subject: str, said: str) -> Finding:
    """A finding that will bite."""
    return Finding(Heap.BITES, code, subject, said)


def nice(code: str, subject: str, said: str) -> Finding:
    """A finding that is nice to know."""
    return Finding(Heap.NICE, code, subject, said)
