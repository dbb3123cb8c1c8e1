"""From a draft to the text of a shop file, as a person would write it: in walking order, with what was assumed.

Pins are left to be chosen. A machine that nothing sees yet is a hand gate and a comment that keeps what was told of it.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from types import MappingProxyType

from gatekeeper.interview.draft import BROKER, CLAMP_BOARDS, DraftDuct, DraftMachine, ShopDraft
from gatekeeper.interview.gates import ENDS, Moved, Mover
from gatekeeper.interview.reading import button_of, gate_of, sign_of
from gatekeeper.interview.sensors import Seen
from gatekeeper.interview.text_edits import ASSUMED, quoted
from gatekeeper.interview.writing_motors import drive_lines, input_lines, motor_lines, sensor_words
from gatekeeper.shop.lines import TO_BE_CHOSEN

NOT_WIRED_YET = "not wired yet, its gate is moved by whoever works there."
NOT_SEEN_YET = "not wired yet, its gate opens from the page or at a button."
"""How a comment ends that stands for a machine which nothing sees; the second where its gate moves by itself."""

_ENDS = "|".join(re.escape(end) for end in (NOT_WIRED_YET, NOT_SEEN_YET))
_WAITING = re.compile(rf"^[ ]*# (?P<name>[^#:(\n]+?)( \([^#\n]*\))?: ({_ENDS})[ ]*\r?$", re.MULTILINE)


def draft_text(draft: ShopDraft, *, as_wired: bool = False) -> str:
    """The shop file of a draft. ``as_wired``: every machine as if it were seen, for the study of its air."""
    ducts, machines = draft.laid()
    motors = draft.standing()
    banks = [line for place, bank in enumerate(draft.banks()) for line in bank_lines(bank, place)]
    signs = [sign_line(machine, sign_of(machine.name)) for machine in draft.machines if machine.things.sign]
    lines = [
        "# From the questions of gatekeeper new, walking from the collector outward. What nobody knew is an",
        "# estimate and said to be assumed: measure it and mend the line.",
        *_shop(draft),
        *_section("motors", [line for motor in motors for line in motor_lines(motor)]),
        *_section("drives", [line for motor in motors for line in drive_lines(motor)]),
        *_section("ducts", [line for duct in ducts for line in duct_lines(duct)]),
        *_section("gates", list(_gates(draft, machines))),
        *_section("servo_banks", banks),
        *_section("brokers", _brokers(draft)),
        *_section("converters", _converters(draft)),
        *_section("tools", list(_tools(draft, as_wired=as_wired))),
        *_section("inputs", list(_inputs(draft))),
        *_section("signs", signs),
        *(["", "page:", "  listen: 0.0.0.0  # phones in your network may look and press Stop"] if draft.phones else []),
    ]
    return "\n".join(lines) + "\n"


def assumed_lines(text: str) -> list[str]:
    """What a file of ours says is assumed, with the name of the thing where one follows."""
    lines = text.splitlines()
    told = []
    for line, after in zip(lines, [*lines[1:], ""], strict=True):
        if line.strip().startswith(ASSUMED):
            thing, _, _ = after.partition(": {")
            words = line.strip().removeprefix(ASSUMED)
            is_named = after.startswith("  ") and not after.startswith("   ")
            told.append(f"{thing.strip()}, {words}" if is_named else words)
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


def with_moved_gate(text: str, gate: str) -> str:
    """The text with the comment of the machine at a gate, if it has one, as for a gate that moves by itself."""
    for found in _WAITING.finditer(text):
        if gate_of(found["name"]) == gate:
            said = text[found.start() : found.end()]
            return text[: found.start()] + said.replace(NOT_WIRED_YET, NOT_SEEN_YET) + text[found.end() :]
    return text


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


def gate_lines(machine: DraftMachine, servo: str = "") -> list[str]:
    """The gate of a machine, under a comment that says what of it is assumed; ``servo``: what its servo hangs on."""
    place = f"duct: {quoted(machine.duct)}" if machine.duct is not None else f"diameter: {machine.diameter.text}"
    return moved_gate_lines(machine.gate_name, (place,), machine.moved, servo, machine.supply)


def moved_gate_lines(
    gate: str,
    place: Sequence[str],
    moved: Moved,
    servo: str = "",
    supply: str = "",
    contacts: Mapping[str, str] = MappingProxyType({}),
) -> list[str]:
    """A gate: ``place`` says where it is, ``contacts`` are those of its switches that have a pin already."""
    parts = [*place, *_mover(moved, servo)]
    if moved.travel is not None:
        parts.append(f"travel: {moved.travel.text}")
    if supply:
        parts.append(f"supply: {quoted(supply)}")
    seen = 1 if moved.by is Mover.SEEN else ENDS[moved.ends]
    for number, key in enumerate(("open_contact", "shut_contact")):
        if number < seen or key in contacts:
            parts.append(f"{key}: {contacts.get(key, TO_BE_CHOSEN)}")
    written = f"{quoted(gate)}: {{{', '.join(parts)}}}"
    return [f"{ASSUMED}{' and '.join(moved.assumed)}", written] if moved.assumed else [written]


def _mover(moved: Moved, servo: str) -> Iterator[str]:
    """What moves a gate, as a key of it."""
    stall = f", stall_current: {moved.stall.text}" if moved.stall is not None else ""
    two = f"open: {TO_BE_CHOSEN}, shut: {TO_BE_CHOSEN}{stall}"
    match moved.by:
        case Mover.SERVO | Mover.SERVO_ON_PIN:
            yield f"servo: {{{servo or f'pin: {TO_BE_CHOSEN}'}{stall}}}"
        case Mover.BRIDGE:
            yield f"bridge: {{{two}}}"
        case Mover.RELAYS:
            yield f"relays: {{{two}}}"
        case Mover.COIL:
            holds = "shut" if moved.spring == "open" else "open"
            current = f", current: {moved.stall.text}" if moved.stall is not None else ""
            yield f"coil: {{pin: {TO_BE_CHOSEN}, holds: {holds}{current}}}"
        case Mover.BROKER:
            commands_to, states_from = (quoted(topic) for topic in moved.topics)
            broker = quoted(moved.broker or BROKER)
            yield f"behind_broker: {{broker: {broker}, commands_to: {commands_to}, states_from: {states_from}}}"


def bank_lines(name: str, place: int) -> list[str]:
    """A bank of servos; ``place``: 0 for the first, 1 for the second."""
    address = f", address: {0x40 + place:#x}" if place else ""
    return [
        "# A PCA9685. 10 k from its OE to 3.3 V keep the gates limp until the program runs.",
        f"{quoted(name)}: {{enable: {TO_BE_CHOSEN}{address}}}",
    ]


def tool_lines(machine: DraftMachine, *, as_wired: bool = False, more_gates: Sequence[str] = ()) -> list[str]:
    """A machine; while nothing sees it, a comment in its place. ``more_gates``: those on other collectors."""
    told = []
    if machine.needs is not None:
        told.append(f"needs: {machine.needs.text}")
    if machine.port is not None:
        told.append(f"port: {machine.port.text}")
    if machine.feeder:
        told.append(f"feeder: {quoted(machine.feeder)}")
    if machine.seen is None and not as_wired:
        known = f" ({', '.join(told)})" if told else ""
        return [f"# {machine.name}{known}: {NOT_SEEN_YET if machine.servo else NOT_WIRED_YET}"]
    gates = ", ".join(quoted(gate) for gate in (machine.gate_name, *more_gates))
    return [
        f"{quoted(machine.name)}:",
        f"  gates: {f'[{gates}]' if more_gates else gates}",
        *(f"  {line}" for line in told),
        f"  sensor: {{{sensor_words(machine.seen or Seen())}}}",
    ]


def button_line(machine: DraftMachine, name: str) -> str:
    """The button at a machine: at its gate, while nothing sees the machine."""
    at = machine.name if machine.seen is not None else machine.gate_name
    return f"{quoted(name)}: {{kind: air here, pin: {TO_BE_CHOSEN}, at: {quoted(at)}}}"


def sign_line(machine: DraftMachine, name: str) -> str:
    """The sign lamp at a machine."""
    return f"{quoted(name)}: {{pin: {TO_BE_CHOSEN}, at: {quoted(machine.name)}}}"


def _shop(draft: ShopDraft) -> list[str]:
    lines = [
        "shop:",
        f"  name: {quoted(draft.name)}",
        f"  units: {draft.units.value}",
        f"  mains: {draft.mains}",
        f"  air_goes: {draft.air_goes}",
    ]
    if draft.open_flue:
        lines.append(f"  open_flue_nearby: {draft.open_flue}")
    if draft.is_attended:
        lines.append("  attended: yes  # somebody is always there while motors may run")
    return lines


def _gates(draft: ShopDraft, machines: Sequence[DraftMachine]) -> Iterator[str]:
    on_bank = {gate: (bank, place) for bank, gates in draft.banks().items() for place, gate in enumerate(gates)}
    for machine in machines:
        bank = on_bank.get(machine.gate_name)
        yield from gate_lines(machine, f"bank: {bank[0]}, channel: {bank[1]}" if bank is not None else "")


def _tools(draft: ShopDraft, *, as_wired: bool) -> Iterator[str]:
    for machine in draft.machines:
        if not machine.is_again:
            more = [one.gate_name for one in draft.machines if one.is_again and one.name == machine.name]
            yield from tool_lines(machine, as_wired=as_wired, more_gates=more)


def _brokers(draft: ShopDraft) -> list[str]:
    hosts = [machine.moved.host for machine in draft.machines if machine.moved.host]
    return [f"{BROKER}: {{host: {quoted(hosts[0])}}}"] if hosts else []


def _inputs(draft: ShopDraft) -> Iterator[str]:
    for motor in draft.standing():
        yield from input_lines(motor)
    for machine in draft.machines:
        if machine.things.button:
            yield button_line(machine, button_of(machine.name))


def _converters(draft: ShopDraft) -> list[str]:
    used = draft.boards()
    return [
        f"{board}: {{kind: MCP3208, bus: 0, chip_select: {place}}}"
        for place, board in enumerate(CLAMP_BOARDS)
        if board in used
    ]


def _section(name: str, lines: Sequence[str]) -> list[str]:
    return ["", f"{name}:", *(f"  {line}" for line in lines)] if lines else []
