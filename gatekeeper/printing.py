"""What ``gatekeeper check`` prints, as lines of text and as data. No colour carries meaning: headings are words."""

import textwrap
from collections.abc import Sequence
from typing import Any

from gatekeeper.shop.faults import Faults, listed
from gatekeeper.shop.finding import Finding, Heap
from gatekeeper.shop.findings import findings_of
from gatekeeper.shop.model import MotorKind, Shop

ON_A_SCREEN = 10
WIDTH = 100


def check_lines(name: str, shop: Shop | Faults, more: Sequence[Finding] = (), *, show_all: bool = False) -> list[str]:
    """The answer to ``check``, as lines. Faults are always shown whole; of the rest ten, unless ``show_all``.

    ``more``: findings that do not stand in the file itself.
    """
    if isinstance(shop, Faults):
        return fault_lines(shop, f"gatekeeper check {name}")
    findings = _grouped(_sorted(shop, more))
    shown = findings if show_all else findings[:ON_A_SCREEN]
    lines = [f"{shop.name} ({name})", _counted(shop), "", "Stops you: nothing."]
    for heap in Heap:
        lines += _heap_lines(heap, findings, shown)
    lines.append("")
    if len(shown) < len(findings):
        lines.append(f"{len(findings) - len(shown)} more. To see all: gatekeeper check {name} --all")
    lines.append(f"next: gatekeeper demo {name}")
    return lines


def check_data(name: str, shop: Shop | Faults, more: Sequence[Finding] = ()) -> dict[str, Any]:
    """The same for machines: ``ok``, and the three heaps ``stops``, ``bites`` and ``nice``."""
    if isinstance(shop, Faults):
        stops = [
            {"line": fault.mark.line, "column": fault.mark.column, "path": list(fault.path), "said": fault.said}
            for fault in shop.each
        ]
        return {"file": name, "ok": False, "shop": None, "stops": stops, "bites": [], "nice": []}
    heaps: dict[Heap, list[dict[str, str]]] = {heap: [] for heap in Heap}
    for finding in _sorted(shop, more):
        heaps[finding.heap].append({"code": finding.code, "subject": finding.subject, "said": finding.said})
    return {
        "file": name,
        "ok": True,
        "shop": shop.name,
        "stops": [],
        "bites": heaps[Heap.BITES],
        "nice": heaps[Heap.NICE],
    }


def _sorted(shop: Shop, more: Sequence[Finding]) -> list[Finding]:
    return sorted([*findings_of(shop), *more], key=lambda finding: finding.heap is Heap.NICE)


def _grouped(findings: Sequence[Finding]) -> list[Finding]:
    """Findings that say the same of several things, said once."""
    alike: dict[tuple[Heap, str, str], list[str]] = {}
    for finding in findings:
        alike.setdefault((finding.heap, finding.code, finding.said), []).append(finding.subject)
    return [Finding(heap, code, listed(subjects, "and"), said) for (heap, code, said), subjects in alike.items()]


def fault_lines(faults: Faults, then: str) -> list[str]:
    """Every fault of a file, and what to do: mend the first line, ``then`` this command."""
    count = len(faults.each)
    heading = "Stops you: one thing." if count == 1 else f"Stops you: {count} things."
    first = faults.each[0].mark.line
    return [heading, "", *faults.lines(), "", f"next: mend line {first}, then {then}"]


def _counted(shop: Shop) -> str:
    counts = [_count(sum(motor.kind is kind for motor in shop.motors.values()), kind.value) for kind in MotorKind]
    moved = sum(gate.is_actuated for gate in shop.gates.values())
    gates = f"{_count(len(shop.gates), 'gate')} ({moved} automatic, {len(shop.gates) - moved} by hand)"
    outlets = sum(tool.is_outlet for tool in shop.tools.values())
    counts += [gates, _count(len(shop.tools) - outlets, "tool"), _count(outlets, "outlet")]
    return ", ".join(count for count in counts if not count.startswith("0 "))


def _count(number: int, word: str) -> str:
    return f"{number} {word}" + ("" if number == 1 else "s")


def _heap_lines(heap: Heap, findings: Sequence[Finding], shown: Sequence[Finding]) -> list[str]:
    total = sum(finding.heap is heap for finding in findings)
    heading = heap.value.capitalize()
    if total == 0:
        return ["", f"{heading}: nothing."]
    here = [finding for finding in shown if finding.heap is heap]
    lines = ["", f"{heading} ({total}):" if here else f"{heading}: {total}, not shown here."]
    for finding in here:
        subject = "" if finding.subject == "shop" else f"{finding.subject}: "
        lines += textwrap.wrap(
            subject + finding.said, WIDTH, initial_indent="  - ", subsequent_indent="    ", break_on_hyphens=False
        )
    return lines
