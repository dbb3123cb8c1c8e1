"""What the commands ``airflow`` and ``layout`` answer, as one text. The only module here that writes a file."""

import json
from collections.abc import Sequence
from pathlib import Path

from gatekeeper.layout.compare import comparison_lines
from gatekeeper.layout.data import layout_data
from gatekeeper.layout.findings import Finding, findings_of
from gatekeeper.layout.report import report_page
from gatekeeper.layout.state import UnknownGateError, state_data, state_of
from gatekeeper.layout.study import LayoutStudy, study_layout
from gatekeeper.layout.text import layout_lines, state_lines
from gatekeeper.shop.model import Shop


class LayoutTrouble(Exception):
    """A question that has no answer; its text is one plain sentence."""


def airflow_answer(shop: Shop, name: str, open_gates: Sequence[str], *, as_json: bool) -> str:
    """One state of the ducts, for people or for machines. Raises LayoutTrouble."""
    try:
        state = state_of(shop, open_gates)
    except UnknownGateError as unknown:
        raise LayoutTrouble(str(unknown)) from None
    except ValueError as unsolved:
        raise LayoutTrouble(f"{name}: {unsolved}.") from None
    if as_json:
        return _json(state_data(state, name))
    return "\n".join([*state_lines(state, name), "", f"next: gatekeeper layout {name}"])


def layout_answer(
    shops: Sequence[tuple[Shop, str]], *, all_open: bool, report: str | None, as_json: bool
) -> tuple[str, bool]:
    """The study of one shop, or of two beside each other, and whether something is short in any of them.

    Args:
        shops: one or two, each with the name of its file.
        all_open: study with every gate open and none moved.
        report: where to write the page, None for nowhere.
        as_json: answer for machines.

    Raises:
        LayoutTrouble: the ducts cannot be solved, or the page cannot be written.
    """
    studies = [_study(shop, name, all_open=all_open) for shop, name in shops]
    findings = [findings_of(study) for study in studies]
    if report is not None:
        _write(report, report_page(studies, findings))
    is_short = any(finding.is_short for found in findings for finding in found)
    if as_json:
        told = [layout_data(study, found) for study, found in zip(studies, findings, strict=True)]
        return _json(told[0] if len(told) == 1 else {"layouts": told}), is_short
    return "\n".join([*_lines(studies, findings), "", _next(studies, report)]), is_short


def _study(shop: Shop, name: str, *, all_open: bool) -> LayoutStudy:
    try:
        return study_layout(shop, name, all_open=all_open)
    except ValueError as unsolved:
        raise LayoutTrouble(f"{name}: {unsolved}.") from None


def _lines(studies: Sequence[LayoutStudy], findings: Sequence[Sequence[Finding]]) -> list[str]:
    if len(studies) == 1:
        return layout_lines(studies[0], findings[0])
    return comparison_lines(studies[0], studies[1], (findings[0], findings[1]))


def _next(studies: Sequence[LayoutStudy], report: str | None) -> str:
    names = " ".join(study.name for study in studies)
    if report is not None:
        return f"Report written to {report}."
    return f"next: gatekeeper layout {names} --report report.html"


def _write(report: str, page: str) -> None:
    try:
        Path(report).write_text(page, encoding="utf-8")
    except OSError as trouble:
        reason = trouble.strerror or "its name cannot be used"
        raise LayoutTrouble(f"{report}: the report cannot be written there ({reason}).") from None


def _json(told: object) -> str:
    return json.dumps(told, indent=2, ensure_ascii=False)
