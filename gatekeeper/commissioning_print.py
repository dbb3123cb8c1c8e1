"""The record of what was tried in a shop as a part of a page: on the phone, in the book, and as a file to print.

It is a record and no judgement: what was done, what was seen, by whom and when, and what was left out and why.
"""

import time
from collections.abc import Iterable, Iterator

from gatekeeper.commissioning_words import WORDS, capital
from gatekeeper.markup import Html, el, join
from gatekeeper.service.face_commissioning import CommissioningRecord, RecordStage, RecordStep, ResultLine, StepState

#: Lines to sign on; an electrician signs for what is on mains.
SIGNED = ("Tried by", "Mains wiring by (electrician)", "Seen by")
#: Rules behind those of every report.
STYLE = """
.tried { list-style: none; padding: 0; }
.tried > li { display: grid; grid-template-columns: 1.6rem minmax(0, 1fr) 9rem; gap: .1rem .7rem;
  padding: .5rem 0; max-width: none;
  border-bottom: 1px solid var(--hair); break-inside: avoid; }
.tried p { margin: 0; }
.tried .by { color: var(--soft); font-size: .9rem; }
.tried .earlier { grid-column: 2 / -1; color: var(--soft); font-size: .85rem; }
.tried table { margin: .2rem 0; width: 100%; }
.tried td, .tried tbody th { white-space: normal; text-align: left; width: 34%; padding-left: 0; }
.tried tbody th { border-left: 0 !important; }
.box { width: 1.2rem; height: 1.2rem; fill: none; stroke: var(--ink); stroke-width: 1.6; }
.box path { fill: none; }
.box .dashed { stroke-dasharray: 2.4 1.8; }
.signed { display: grid; grid-template-columns: 1fr 1fr 10rem; gap: 1.6rem 1.2rem; margin-top: 2.2rem; }
.signed { break-inside: avoid; }
.signed p { border-top: 1px solid var(--ink); padding-top: .2rem; margin: 0; font-size: .85rem; }
@media (max-width: 40rem) {
  .tried > li { grid-template-columns: 1.6rem minmax(0, 1fr); }
  .tried .by, .tried .earlier { grid-column: 2; }
  .signed { grid-template-columns: 1fr; }
}
@media print { html { font-size: 10pt; } body { padding: 0; } }
"""


def record_page(record: CommissioningRecord) -> str:
    """The record as one self-contained page."""
    from gatekeeper import __version__
    from gatekeeper.layout.report_parts import document

    made = time.strftime("%Y-%m-%d %H:%M", time.localtime(record.made_wall_s))
    head = el("p", {"class": "shop"}, f"Commissioning of {record.shop}, printed on {made}, version {__version__}")
    body = join(el("header", None, head, el("h1", None, record.sentence)), drawn(record))
    return document(f"Commissioning of {record.shop}", body, STYLE)


def drawn(record: CommissioningRecord, heading: str = "h2") -> Html:
    """The record without its title. ``heading``: of its parts."""
    missing = list(_missing(record))
    return join(
        el("ul", {"class": "known"}, [el("li", None, one) for one in record.before]),
        _damaged(record.damaged),
        join(el(heading, None, "Still to do"), el("ul", {"class": "known"}, [el("li", None, one) for one in missing]))
        if missing
        else None,
        [_stage(stage, heading) for stage in record.stages],
        join(el(heading, None, "Parts that the shop has no more"), _steps(record.gone)) if record.gone else None,
        signing(),
    )


def _damaged(lines: int) -> Html | None:
    if not lines:
        return None
    told = "1 line of the record" if lines == 1 else f"{lines} lines of the record"
    return el("p", {"class": "note"}, f"{told} could not be read and {'is' if lines == 1 else 'are'} left out here.")


def _missing(record: CommissioningRecord) -> Iterator[str]:
    """What did not do what it should, what is due, and what was left out, each in one sentence."""
    steps = [step for stage in record.stages for step in stage.steps]
    order = (StepState.FAILED, StepState.STALE, StepState.DUE, StepState.LEFT_OUT)
    for state in order:
        found = [step for step in steps if step.state is state]
        if state is StepState.DUE and len(found) > 6:
            yield f"Not tried: {len(found)} steps, listed below with an empty box."
            continue
        for step in found:
            why = step.results[-1].why if state is StepState.LEFT_OUT and step.results else None
            yield f"{capital(WORDS[state])}: {step.title}{f' (why: {why})' if why else ''}."


def _stage(stage: RecordStage, heading: str) -> Html:
    return join(el(heading, None, stage.title), el("p", {"class": "note"}, stage.why), _steps(stage.steps))


def _steps(steps: Iterable[RecordStep]) -> Html:
    return el("ol", {"class": "tried"}, [_step(step) for step in steps])


def _step(step: RecordStep) -> Html:
    last = step.results[-1] if step.results else None
    earlier = [el("li", None, _line(one)) for one in step.results[:-1]]
    again = "The shop was changed since; it is due again. " if step.state is StepState.STALE else ""
    return el(
        "li",
        None,
        box(step.state),
        el(
            "div",
            None,
            el("p", None, el("b", None, capital(step.title)), f": {WORDS[step.state]}"),
            el("p", None, again, _seen(last)) if last is not None else None,
            _figures(last.figures) if last is not None else None,
        ),
        el("p", {"class": "by"}, f"{last.by}, {_when(last.at_wall_s)}" if last is not None else ""),
        el("div", {"class": "earlier"}, "Earlier:", el("ul", None, earlier)) if earlier else None,
    )


def _seen(line: ResultLine) -> str:
    return f"{line.sentence} Why: {line.why}." if line.why else line.sentence


def _line(line: ResultLine) -> str:
    figures = "; ".join(f"{what} {figure}" for what, figure, _ in line.figures)
    return f"{_when(line.at_wall_s)}, {line.by}: {_seen(line)}{f' ({figures})' if figures else ''}"


def _figures(figures: tuple[tuple[str, str, str], ...]) -> Html | None:
    if not figures:
        return None
    rows = [
        el(
            "tr",
            None,
            el("th", {"scope": "row"}, what),
            el("td", None, figure),
            el("td", {"class": "words"}, compared),
        )
        for what, figure, compared in figures
    ]
    return el("table", None, el("tbody", None, rows))


def box(state: StepState) -> Html:
    """A box as on a list of paper: ticked, crossed, struck, empty, or empty and dashed. Its word stands beside it."""
    mark = {
        StepState.PASSED: "M4 9l3.5 4L14 4.5",
        StepState.FAILED: "M4.5 4.5l9 9M13.5 4.5l-9 9",
        StepState.LEFT_OUT: "M4 9h10",
    }
    frame = el("path", {"class": "dashed" if state is StepState.STALE else None, "d": "M1 1h16v16H1z"})
    within = el("path", {"d": mark[state]}) if state in mark else None
    return el("svg", {"class": "box", "viewBox": "0 0 18 18", "aria-hidden": "true"}, frame, within)


def signing() -> Html:
    """Lines to sign on."""
    lines = [join(el("p", None, who), el("p", None, "Signature"), el("p", None, "Date")) for who in SIGNED]
    return el("div", {"class": "signed"}, lines)


def _when(wall_s: float) -> str:
    return time.strftime("%Y-%m-%d %H:%M", time.localtime(wall_s))
