"""A fault in a file that people write: where, what was found, what is allowed, and how it is printed.

Faults are values, never exceptions: a reader collects every one of them, so that all can be mended in one go.
"""

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

_WIDEST = 110


@dataclass(frozen=True, slots=True, order=True)
class Mark:
    """A place in a text: ``line`` and ``column`` counted from 1, in characters."""

    line: int
    column: int


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault: its ``mark``, the ``path`` of keys that leads there, and one sentence ``said``."""

    mark: Mark
    path: tuple[str, ...]
    said: str


@dataclass(frozen=True, slots=True)
class Faults:
    """Every fault of one text, in the order of its lines. ``name`` is the file's name as the user gave it."""

    name: str
    text: str
    each: tuple[Fault, ...]

    def lines(self) -> list[str]:
        """As printed: ``file:line:column: key path: sentence``, then the source line and a caret under the place."""
        source = self.text.splitlines()
        printed: list[str] = []
        for fault in self.each:
            path = " > ".join(_in_view(key) for key in fault.path)
            head = f"{self.name}:{fault.mark.line}:{fault.mark.column}: "
            printed.append(head + (f"{path}: " if path else "") + _in_view(fault.said))
            if 0 < fault.mark.line <= len(source):
                line = source[fault.mark.line - 1]
                start = max(0, fault.mark.column - _WIDEST // 2) if len(line) > _WIDEST else 0
                printed.append(f"{fault.mark.line:6} | {_in_view(line[start : start + _WIDEST])}")
                printed.append(f"       | {' ' * (fault.mark.column - 1 - start)}^")
        return printed


def in_order(faults: Iterable[Fault]) -> tuple[Fault, ...]:
    """Faults by place, each said once."""
    seen: dict[Fault, None] = dict.fromkeys(sorted(faults, key=lambda fault: (fault.mark, fault.path, fault.said)))
    return tuple(seen)


def listed(words: Sequence[str], joiner: str = "or", longest: int = 8) -> str:
    """Words as a list in a sentence, at most ``longest`` of them: ``a, b or c``; ``none`` when there are no words."""
    if not words:
        return "none"
    shown = list(words[:longest])
    if len(words) > longest:
        return ", ".join(shown) + f" and {len(words) - longest} more"
    return shown[0] if len(shown) == 1 else ", ".join(shown[:-1]) + f" {joiner} {shown[-1]}"


def nearest(word: str, words: Iterable[str]) -> str | None:
    """The one of ``words`` that was probably meant, or None."""
    known = {known_word.lower(): known_word for known_word in words}
    close = difflib.get_close_matches(word.lower(), known, n=1, cutoff=0.6)
    return known[close[0]] if close else None


def a_or_an(words: str) -> str:
    """Words with their article: ``an air cleaner``, ``a collector``."""
    return f"{'an' if words[:1].lower() in 'aeiou' else 'a'} {words}"


def did_you_mean(word: str, words: Iterable[str]) -> str:
    """The tail of a sentence that offers the nearest right word, or nothing."""
    guess = nearest(word, words)
    return f'; did you mean "{guess}"?' if guess is not None else ""


def shortened(text: str, longest: int = 60) -> str:
    """A text to show inside a sentence: one line, nothing that a terminal would act on, not endless."""
    shown = _in_view(text)
    return shown if len(shown) <= longest else shown[: longest - 1] + "…"


def _in_view(text: str) -> str:
    return "".join(char if char.isprintable() else " " if char == "\t" else "�" for char in text)
