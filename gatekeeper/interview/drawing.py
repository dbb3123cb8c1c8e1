"""The ducts as a drawing of plain characters: the collector on top, what leads into it below, machines in words."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from gatekeeper.interview.draft import COLLECTOR, DraftDuct, ShopDraft
from gatekeeper.interview.writing import total_length
from gatekeeper.layout.measures import Measures
from gatekeeper.shop.model import Shop

_HERE = "here"


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a drawing.

    Args:
        name: what it is called.
        towards: the part, or the collector, that it leads to.
        said: what is said of it in a drawing of characters.
        size: its measures alone, in words.
        diameter_m: of a duct or hose; 0 for a gate on a duct, which has no line of its own.
        ends: the machines at its end, and whether a gate there moves by itself; None where no machine is.
        is_begun: it is being told just now.
    """

    name: str
    towards: str
    said: str
    size: str
    diameter_m: float
    ends: tuple[tuple[str, ...], bool] | None = None
    is_begun: bool = False


def draft_parts(draft: ShopDraft) -> dict[str, list[Part]]:
    """What was told so far, the duct that was begun included, by collector."""
    ends = {machine.duct: machine for machine in draft.machines if machine.duct is not None}
    parts = []
    for duct in draft.ducts:
        machine = ends.get(duct.name)
        served = None if machine is None else ((machine.name,), machine.servo)
        told = _told(duct, None if machine is None else machine.name)
        parts.append(Part(duct.name, duct.towards, told, _size(duct), duct.diameter.si, served))
    for machine in draft.machines:
        if machine.duct is None:
            width, served = machine.diameter, ((machine.name,), machine.servo)
            told = f"{width.text} to {machine.name}"
            parts.append(Part(f"{machine.name} hose", machine.motor, told, width.text, width.si, served))
    if draft.opened is not None:
        begun = draft.opened
        told = f"{_told(begun, None)}, and on"
        parts.append(Part(_HERE, begun.towards, told, _size(begun), begun.diameter.si, is_begun=True))
    systems = [motor.name for motor in draft.motors if motor.has_ducts] or [COLLECTOR]
    towards = {part.name: part.towards for part in parts}
    return {system: [part for part in parts if _root(part, towards) == system] for system in systems}


def _root(part: Part, towards: Mapping[str, str]) -> str:
    """The motor at the end of a part's way."""
    here = part.towards
    while here in towards:
        here = towards[here]
    return here


def draft_drawing(draft: ShopDraft) -> list[str]:
    """The same as lines of characters."""
    return [line for motor, parts in draft_parts(draft).items() for line in (motor, *_below(motor, parts, ""))]


def shop_parts(shop: Shop, motor: str) -> list[Part]:
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
        parts.append(Part(duct.name, duct.towards, f"{duct.name}: {size}", size, duct.diameter_m))
    for gate in shop.gates_of(motor):
        served = ", ".join(ends.get(gate.name, ["no machine that is seen"]))
        width_m = 0.0 if gate.duct else gate.diameter_m
        at = (tuple(ends.get(gate.name, ())), gate.is_actuated)
        size = say.diameter(gate.diameter_m)
        parts.append(Part(gate.name, gate.duct or motor, f"{gate.name}: {served}", size, width_m, at))
    return parts


def shop_drawing(shop: Shop, motor: str) -> list[str]:
    """The same as lines of characters."""
    return [motor, *_below(motor, shop_parts(shop, motor), "")]


def _told(duct: DraftDuct, machine: str | None) -> str:
    words = f"{duct.name}: {_size(duct)}" if duct.name else _size(duct)
    return words + (f", to {machine}" if machine is not None else "")


def _size(duct: DraftDuct) -> str:
    words = [duct.diameter.text]
    if duct.lengths:
        words.append(total_length(duct))
    words += duct.fittings
    if duct.flex is not None and duct.flex.si > 0:
        words.append(f"hose {duct.flex.text}")
    return ", ".join(words)


def _below(towards: str, parts: Sequence[Part], indent: str) -> Iterator[str]:
    here = [part for part in parts if part.towards == towards]
    for place, part in enumerate(here):
        is_last = place == len(here) - 1
        yield f"{indent}{'`' if is_last else '|'}-- {part.said}"
        yield from _below(part.name, parts, indent + ("    " if is_last else "|   "))
