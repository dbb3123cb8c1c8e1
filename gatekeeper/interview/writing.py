"""From a draft to the text of a shop file, as a person would write it: in walking order, with what was assumed.

Pins are left to be chosen. A machine that nothing sees yet is a hand gate and a comment that keeps what was told of it.
"""

import re
from collections.abc import Sequence

from gatekeeper.interview.draft import CLAMP_BOARD, COLLECTOR, DraftDuct, DraftMachine, ShopDraft
from gatekeeper.interview.text_edits import ASSUMED
from gatekeeper.shop.lines import TO_BE_CHOSEN

NOT_WIRED_YET = "not wired yet, its gate is moved by whoever works there."
"""How a comment ends that stands for a machine which nothing sees."""

_WAITING = re.compile(rf"^[ ]*# (?P<name>[^#:(\n]+?)( \([^#\n]*\))?: {re.escape(NOT_WIRED_YET)}[ ]*\r?$", re.MULTILINE)
_PLAIN = re.compile(r"[^\W_][\w .()+/²³-]*")


def draft_text(draft: ShopDraft, *, as_wired: bool = False) -> str:
    """The shop file of a draft. ``as_wired``: every machine as if it were seen, for the study of its air."""
    lines = [
        "# From the questions of gatekeeper new, walking from the collector outward. What nobody knew is an",
        "# estimate and said to be assumed: measure it and mend the line.",
        *_shop(draft),
        *_collector(draft),
        *_section("ducts", [line for duct in draft.leading_somewhere() for line in duct_lines(duct)]),
        *_section("gates", [gate_line(machine) for machine in draft.machines]),
        *_section("converters", _converters(draft)),
        *_section("tools", [line for machine in draft.machines for line in tool_lines(machine, as_wired=as_wired)]),
    ]
    return "\n".join(lines) + "\n"


def assumed_lines(text: str) -> list[str]:
    """What a file of ours says is assumed, with the name of the thing where one follows."""
    lines = [line.strip() for line in text.splitlines()]
    told = []
    for line, after in zip(lines, [*lines[1:], ""], strict=True):
        if line.startswith(ASSUMED):
            thing, brace, _ = after.partition(": {")
            words = line.removeprefix(ASSUMED)
            told.append(f"{thing}, {words}" if brace and "towards" in after else words)
    return told


def waiting_machines(text: str) -> tuple[str, ...]:
    """The machines of a shop file that have such a comment."""
    return tuple(found["name"] for found in _WAITING.finditer(text))


def without_waiting(text: str, machine: str) -> str:
    """The text without the comment of a machine that is seen now."""
    for found in _WAITING.finditer(text):
        if found["name"] == machine:
            return text[: found.start()] + text[found.end() :].removeprefix("\n")
    return text


def quoted(text: str) -> str:
    """A word of a shop file, in quotes where it needs them."""
    if _PLAIN.fullmatch(text) and text == text.strip():
        return text
    return "'" + text.replace("'", "''") + "'"


def duct_lines(duct: DraftDuct) -> list[str]:
    """One duct, under a comment that says what of it is assumed."""
    parts = [f"towards: {quoted(duct.towards)}", f"diameter: {duct.diameter.text}", f"length: {total_length(duct)}"]
    if duct.fittings:
        parts.append(f"fittings: [{', '.join(duct.fittings)}]")
    if duct.flex is not None and duct.flex.si > 0:
        parts.append(f"flex: {duct.flex.text}")
    parts += [f"{key}: {quoted(value)}" for key, value in duct.kept]
    written = f"{quoted(duct.name)}: {{{', '.join(parts)}}}"
    return [f"{ASSUMED}{' and '.join(duct.assumed)}", written] if duct.assumed else [written]


def total_length(duct: DraftDuct) -> str:
    """The lengths of a duct as one, in the unit of the first where there are several."""
    if not duct.lengths:
        return "0 m"
    if len(duct.lengths) == 1:
        return duct.lengths[0].text
    total_m = sum(length.si for length in duct.lengths)
    is_inch = re.search(r"(in|inch|inches|ft|feet|foot)$", duct.lengths[0].text, re.I) is not None
    # Rounded down, so that a sum at the limit stays within it.
    return f"{int(total_m / 0.3048 * 100 + 1e-6) / 100:g} ft" if is_inch else f"{int(total_m * 1000 + 1e-6) / 1000:g} m"


def gate_line(machine: DraftMachine) -> str:
    """The gate of a machine."""
    place = f"duct: {quoted(machine.duct)}" if machine.duct is not None else f"diameter: {machine.diameter.text}"
    servo = f", servo: {{pin: {TO_BE_CHOSEN}}}" if machine.servo else ""
    supply = f", supply: {quoted(machine.supply)}" if machine.supply else ""
    return f"{quoted(machine.gate_name)}: {{{place}{servo}{supply}}}"


def tool_lines(machine: DraftMachine, *, as_wired: bool = False) -> list[str]:
    """A machine; while nothing sees it, a comment in its place."""
    told = []
    if machine.needs is not None:
        told.append(f"needs: {machine.needs.text}")
    if machine.port is not None:
        told.append(f"port: {machine.port.text}")
    if machine.feeder:
        told.append(f"feeder: {quoted(machine.feeder)}")
    if machine.seen is None and not as_wired:
        known = f" ({', '.join(told)})" if told else ""
        return [f"# {machine.name}{known}: {NOT_WIRED_YET}"]
    sensor = f"current_switch: {TO_BE_CHOSEN}"
    if machine.seen is not None and machine.seen.converter is not None:
        seen = machine.seen
        sensor = f"converter: {quoted(machine.seen.converter)}, channel: {seen.channel}, range: {seen.range_a}"
    return [
        f"{quoted(machine.name)}:",
        f"  gates: {quoted(machine.gate_name)}",
        *(f"  {line}" for line in told),
        f"  sensor: {{{sensor}}}",
    ]


def _shop(draft: ShopDraft) -> list[str]:
    return [
        "shop:",
        f"  name: {quoted(draft.name)}",
        f"  units: {draft.units.value}",
        f"  mains: {draft.mains}",
        f"  air_goes: {draft.air_goes}",
        f"  open_flue_nearby: {draft.open_flue}",
    ]


def _collector(draft: ShopDraft) -> list[str]:
    assert draft.power is not None
    lines = [
        "",
        "motors:",
        f"  {COLLECTOR}:",
        f"    power: {draft.power.text}  # from the plate",
        f"    phases: {draft.phases}",
    ]
    if draft.inlet is not None:
        lines.append(f"    inlet: {draft.inlet.text}")
    else:
        lines.append(f"    {ASSUMED}an inlet as wide as the widest duct on it")
    if draft.relief is not None:
        lines.append(f"    relief_port: {draft.relief.text}")
    lines += [
        "    # The relay feeds the coil of the motor's contactor and drops when the board dies.",
        f"    switched_by: {{pin: {TO_BE_CHOSEN}, when_board_dies: drops}}",
    ]
    if draft.confirmed:
        lines.append(f"    confirmed_by: {{current_switch: {TO_BE_CHOSEN}}}")
    return lines


def _converters(draft: ShopDraft) -> list[str]:
    used = {machine.seen.converter for machine in draft.machines if machine.seen is not None}
    boards = (CLAMP_BOARD, f"{CLAMP_BOARD} 2")
    return [
        f"{board}: {{kind: MCP3208, bus: 0, chip_select: {place}}}"
        for place, board in enumerate(boards)
        if board in used
    ]


def _section(name: str, lines: Sequence[str]) -> list[str]:
    return ["", f"{name}:", *(f"  {line}" for line in lines)] if lines else []
