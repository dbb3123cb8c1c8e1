"""What every report of ours is made of: one file with its style inside, axes with round figures, words in a drawing."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import resources

from gatekeeper.markup import Child, Html, el


@dataclass(frozen=True, slots=True)
class Plot:
    """A plot, the sentence under it, and the rows of data behind it (the first row is the head)."""

    svg: Html
    sentence: str
    rows: list[list[str]]


def document(title: str, body: Child, more_style: str = "") -> str:
    """A whole page in one text; ``more_style``: rules behind those that all reports share."""
    head = [
        el("meta", {"charset": "utf-8"}),
        el("meta", {"name": "viewport", "content": "width=device-width, initial-scale=1"}),
        el("title", None, title),
        el("style", None, Html(_style() + more_style)),
    ]
    page = el("html", {"lang": "en"}, el("head", None, head), el("body", None, body))
    return f"<!doctype html>\n{page}\n"


def _style() -> str:
    return (resources.files("gatekeeper.layout") / "report.css").read_text(encoding="utf-8")


def told_list(sentences: Sequence[str]) -> Html:
    """Sentences as a list, such as how something was computed."""
    return el("ul", {"class": "known"}, [el("li", None, one) for one in sentences])


def round_marks(most: float) -> list[float]:
    """Round figures from 0 to ``most`` (more than 0), five or so."""
    rough = most / 5.0
    size = 10.0 ** math.floor(math.log10(rough))
    step = next(size * share for share in (1.0, 2.0, 2.5, 5.0, 10.0) if size * share >= rough)
    return [step * count for count in range(int(most / step) + 1)]


def svg_text(x: float, y: float, words: str, anchor: str, kind: str | None = None) -> Html:
    """Words in a drawing; ``anchor``: start, middle or end."""
    return el("text", {"x": f"{x:.1f}", "y": f"{y:.1f}", "text-anchor": anchor, "class": kind}, words)
