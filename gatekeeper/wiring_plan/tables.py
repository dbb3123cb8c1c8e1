"""Tables of words for printed sheets: a head, rows whose first cell is the row's head, every cell may wrap."""

from collections.abc import Sequence

from gatekeeper.markup import Html, el


def table(head: Sequence[str], rows: Sequence[Sequence[str]], kind: str) -> Html:
    """One table; ``kind`` is its class."""
    return el(
        "div",
        {"class": "wide"},
        el(
            "table",
            {"class": f"words {kind}"},
            el("thead", None, el("tr", None, [el("th", {"scope": "col"}, one) for one in head])),
            el("tbody", None, [_row(row) for row in rows]),
        ),
    )


def _row(row: Sequence[str]) -> Html:
    return el("tr", None, el("th", {"scope": "row"}, row[0]), [el("td", None, cell) for cell in row[1:]])
