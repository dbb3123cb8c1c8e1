"""The ducts as a drawing of plain characters: the collector on top, what leads into it below, machines in words."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from gatekeeper.interview.draft import COLLECTOR, DraftDuct, ShopDraft
from gatekeeper.interview.writing import total_length
from gatekeeper.layout.measures import Measures
from gatekeeper.shop.model import Shop

_HERE = "here"


@dataclass(frozen=True, slots=True)
class _Part:
    """One line of a drawing: what it is called, what it leads to, and what is said of it."""

    name: str
    towards: str
    said: str


def draft_drawing(draft: ShopDraft) -> list[str]:
    """What was told so far, the duct that was begun included."""
    ends = {machine.duct: machine.name for machine in draft.machines if machine.duct is not None}
    parts = [_Part(duct.name, duct.towards, _told(duct, ends.get(duct.name))) for duct in draft.ducts]
    for machine in draft.machines:
        if machine.duct is None:
            parts.append(_Part(f"{machine.name} hose", COLLECTOR, f"{machine.diameter.text} to {machine.name}"))
    if draft.opened is not None:
        parts.append(_Part(_HERE, draft.opened.towards, f"{_told(draft.opened, None)}, and on"))
    return [COLLECTOR, *_below(COLLECTOR, parts, "")]


def shop_drawing(shop: Shop, motor: str) -> list[str]:
    """One system of a shop."""
    say = Measures(shop.units)
    ends: dict[str, list[str]] = {}
    for tool in shop.tools_of(motor):
        for name in tool.gates:
            ends.setdefault(name, []).append(tool.name)
    parts = []
    for duct in shop.ducts.values():
        size = f"{say.diameter(duct.diameter_m)}, {say.length(duct.length_m)}"
        size += f", hose {say.length(duct.flex_m)}" if duct.flex_m > 0 else ""
        parts.append(_Part(duct.name, duct.towards, f"{duct.name}: {size}"))
    for gate in shop.gates_of(motor):
        served = ", ".join(ends.get(gate.name, ["no machine that is seen"]))
        parts.append(_Part(gate.name, gate.duct or motor, f"{gate.name}: {served}"))
    return [motor, *_below(motor, parts, "")]


def _told(duct: DraftDuct, machine: str | None) -> str:
    words = [f"{duct.name}: {duct.diameter.text}" if duct.name else duct.diameter.text]
    if duct.lengths:
        words.append(total_length(duct))
    words += duct.fittings
    if duct.flex is not None and duct.flex.si > 0:
        words.append(f"hose {duct.flex.text}")
    return ", ".join(words) + (f", to {machine}" if machine is not None else "")


def _below(towards: str, parts: Sequence[_Part], indent: str) -> Iterator[str]:
    here = [part for part in parts if part.towards == towards]
    for place, part in enumerate(here):
        is_last = place == len(here) - 1
        yield f"{indent}{'`' if is_last else '|'}-- {part.said}"
        yield from _below(part.name, parts, indent + ("    " if is_last else "|   "))
