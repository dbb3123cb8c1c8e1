"""Chapters of things to try as a part of a page: for the phone page, and for a book."""

from collections.abc import Sequence

from gatekeeper.markup import Html, el, join
from gatekeeper.service.face_people import Chapter


def drawn(every: Sequence[Chapter], before: Sequence[str]) -> Html:
    """Chapters as a part of a page: numbered rows with room for a mark and a note."""
    parts: list[Html] = [el("ul", {"class": "cautions"}, [el("li", None, said) for said in before])]
    number = 0
    for chapter in every:
        rows = []
        for trial in chapter.trials:
            number += 1
            rows.append(
                el(
                    "tr",
                    None,
                    el("th", {"scope": "row"}, str(number)),
                    el("td", None, trial.tried),
                    el("td", None, trial.happens),
                    el("td", {"class": "mark"}, ""),
                )
            )
        heads = [el("th", {"scope": "col"}, name) for name in ("", "Try", "What must happen", "Seen")]
        parts.append(
            el(
                "section",
                {"class": "trials"},
                el("h2", None, chapter.title),
                el("p", None, chapter.why),
                el("table", {"class": "trials"}, el("thead", None, el("tr", None, heads)), el("tbody", None, rows)),
            )
        )
    parts.append(el("p", {"class": "signed"}, "Date, who walked through, what was not tried and why:"))
    return join(parts)
