"""Invented shops from a seed, as shop files: each proof, each kind of gate, one or two systems, in every mixture.

They are texts and go through the loader like anybody's shop. Where a seed asks for more lines than a board has, hand
gates and current switches without a line of their own are what is left, as in life.
"""

import random
from collections.abc import Iterator

from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop

#: Lines of the board that no bus of these shops takes; the last few first, as inputs and outputs want them.
LINES = (*range(2, 7), *range(12, 28))
TOOLS = ("saw", "planer", "lathe", "router", "bandsaw", "sander", "jointer", "moulder")
CHANNELS = 8


class _Paper:
    """A sheet that the shop is written on, and the board's lines and channels that are left."""

    def __init__(self, draw: random.Random) -> None:
        self.draw = draw
        self.lines: list[int] = list(LINES)
        draw.shuffle(self.lines)
        self.channels: Iterator[int] = iter(range(CHANNELS))

    def pin(self) -> str:
        return f"GPIO{self.lines.pop()}"

    def has(self, lines: int, spare: int = 0) -> bool:
        """Whether the board has so many lines left beside ``spare``."""
        return len(self.lines) >= lines + spare

    def maybe(self, chance: float) -> bool:
        return self.draw.random() < chance


def made_shop(seed: int) -> Shop:
    """The shop of a seed; the same each time."""
    shop = load_shop(made_text(seed), f"made {seed}")
    if not isinstance(shop, Shop):
        raise ValueError(f"the made shop {seed} is not one: {shop}")
    return shop


def made_text(seed: int) -> str:
    """The shop file of a seed."""
    draw = random.Random(seed)
    paper = _Paper(draw)
    systems = ["fan"] if paper.maybe(0.6) else ["fan", "vac"]
    feeders = ["north"] if paper.maybe(0.5) else ["north", "south"]
    supplies = ["air"] if paper.maybe(0.6) else ["air", "servo"]
    motors: list[str] = []
    ducts, gates = [], []
    names: dict[str, list[str]] = {}
    # The motors take their lines first: a shop without them is none.
    switch_lines = {name: paper.pin() for name in systems}
    inputs = _inputs(paper, systems)
    for system in systems:
        names[system] = []
        ways = draw.choice((("hand",), ("servo",), ("servo", "relays", "coil", "hand"), ("relays", "coil"), ("servo",)))
        contacts = draw.choice((0.0, 0.0, 0.5, 1.0))
        for number in range(draw.randint(2, 5 if len(systems) == 1 else 3)):
            gate = f"{system} gate {number + 1}"
            names[system].append(gate)
            ducts.append(f"  {gate} drop: {{towards: {system}, diameter: {draw.choice((100, 125))} mm, length: 3 m}}")
            gates.append(f"  {gate}: {_gate(paper, gate, draw.choice(ways), contacts, draw.choice(supplies))}")
    for system in systems:
        motors += _motor(paper, system, switch_lines[system], draw.choice(feeders))
    motors += _others(paper, draw.choice(feeders))
    lines = [
        "shop: {name: Made shop, mains: 50 Hz, open_flue_nearby: no}",
        "motors:",
        *motors,
        "feeders:",
        *(f"  {name}: {{gap: {draw.choice((0, 2, 3))} s}}" for name in feeders),
        "supplies:",
        *(f"  {name}: {{at_once: {draw.choice((1, 1, 2))}}}" for name in supplies),
        "ducts:",
        *ducts,
        "gates:",
        *gates,
        "converters:",
        "  board: {bus: 0, chip_select: 0}",
        "  other board: {bus: 0, chip_select: 1}",
        "tools:",
        *_tools(paper, names, feeders),
        *inputs,
        f"page: {{remote_start: {draw.choice(('yes', 'no'))}}}",
    ]
    return "\n".join(lines) + "\n"


def _gate(paper: _Paper, name: str, way: str, contacts: float, supply: str) -> str:
    draw, parts = paper.draw, [f"duct: {name} drop"]
    spare = 6
    if way == "servo" and paper.has(1, spare):
        parts += [f"servo: {{pin: {paper.pin()}}}", f"travel: {draw.choice((800, 1500, 3000))} ms"]
    elif way == "relays" and paper.has(2, spare):
        parts += [f"relays: {{open: {paper.pin()}, shut: {paper.pin()}, dead_time: 300 ms}}", "travel: 4 s"]
    elif way == "coil" and paper.has(1, spare):
        parts += [f"coil: {{pin: {paper.pin()}, holds: {draw.choice(('open', 'shut'))}}}", "travel: 2 s"]
    moves = len(parts) > 1
    if moves:
        parts.append(f"supply: {supply}")
        parts.append(f"as_extra: {draw.choice(('yes', 'yes', 'no'))}")
    if paper.maybe(contacts) and paper.has(1, spare):
        parts.append(f"open_contact: {paper.pin()}")
        if paper.maybe(0.6) and paper.has(1, spare):
            parts.append(f"shut_contact: {paper.pin()}")
    if paper.maybe(0.4):
        parts.append(f"clear: {draw.choice((1, 4, 9))} s")
    return "{" + ", ".join(parts) + "}"


def _motor(paper: _Paper, name: str, line: str, feeder: str) -> list[str]:
    draw = paper.draw
    dies = draw.choice(("drops", "drops", "drops after 3 s"))
    written = [
        f"  {name}:",
        f"    kind: {'tool vacuum' if name == 'vac' else 'collector'}",
        f"    power: {draw.choice(('1.5 kW', '2.2 kW', '4 kW'))}",
        f"    spin_down: {draw.choice((0, 5, 8, 20, 90))} s",
        f"    coast: {draw.choice((4, 10, 25))} s",
        f"    release: {4 if 'after' in dies else 1} s",
        f"    feeder: {feeder}",
        f"    switched_by: {{pin: {line}, when_board_dies: {dies}}}",
        f"    resume: {draw.choice(('no', 'no', 'yes'))}",
    ]
    if paper.maybe(0.5):
        written.append(f"    starts_per_hour: {draw.choice((6, 20, 60))} per hour")
        written.append(f"    rest: {draw.choice((20, 75))} s")
    if paper.maybe(0.6) and (channel := next(paper.channels, None)) is not None:
        clamp = f"converter: board, channel: {channel}, range: 40 A"
        written.append(f"    confirmed_by: {{{clamp}, within: {draw.choice((2, 4))} s}}")
    if paper.maybe(0.35) and paper.has(1, 2):
        written.append(f"    {draw.choice(('pressure_switch', 'flow_switch'))}: {paper.pin()}")
    if paper.maybe(0.25):
        written.append("    relief_port: 125 mm")
    return written


def _others(paper: _Paper, feeder: str) -> list[str]:
    """Perhaps a room air cleaner, perhaps a filter shaker."""
    draw, written = paper.draw, []
    if paper.maybe(0.3) and paper.has(1, 1):
        written += ["  cleaner:", "    kind: air cleaner", "    power: 200 W", f"    feeder: {feeder}"]
        written += [f"    switched_by: {{pin: {paper.pin()}, when_board_dies: drops}}"]
        written += [f"    runs: {draw.choice((1, 5))} min", "    runs_longest: 15 min"]
    if paper.maybe(0.3) and paper.has(1, 1):
        written += ["  shaker:", "    kind: filter shaker", "    power: 180 W", "    follows: fan"]
        written += [f"    feeder: {feeder}", f"    switched_by: {{pin: {paper.pin()}, when_board_dies: drops}}"]
        written += [f"    runs: {draw.choice((10, 30))} s"]
    return written


def _tools(paper: _Paper, names: dict[str, list[str]], feeders: list[str]) -> list[str]:
    draw, written = paper.draw, []
    every = [gate for gates in names.values() for gate in gates]
    swept = draw.choice(every) if len(every) > 3 and paper.maybe(0.4) else None
    used = [gate for gate in every if gate != swept]
    draw.shuffle(used)
    tools = list(TOOLS[: max(2, min(len(used), len(TOOLS)))])
    for channel, tool in enumerate(tools):
        own = [used[channel % len(used)]]
        if paper.maybe(0.2):
            own.append(draw.choice([gate for gate in every if gate not in own]))
        parts = [f"gates: [{', '.join(own)}]", f"feeder: {draw.choice(feeders)}"]
        if paper.maybe(0.3):
            parts.append(f"spin_down: {draw.choice((0, 3, 30, 120))} s")
        if paper.maybe(0.2):
            parts.append(f"longest_run: {draw.choice((2, 6))} min")
        if paper.maybe(0.3):
            parts.append(f"hold: {draw.choice((1, 3))} min")
        parts.append(f"sensor: {{converter: other board, channel: {channel}, range: 30 A}}")
        written.append(f"  {tool}: {{{', '.join(parts)}}}")
    return written


def _inputs(paper: _Paper, systems: list[str]) -> list[str]:
    written = []
    if paper.maybe(0.85):
        written.append(f"  red button: {{kind: red button, pin: {paper.pin()}}}")
    if paper.maybe(0.4):
        written.append(f"  heat: {{kind: fire, pin: {paper.pin()}}}")
    if paper.maybe(0.35):
        written.append(f"  bin door: {{kind: door, pin: {paper.pin()}, motors: fan}}")
    if paper.maybe(0.35):
        pins = f"hand_pin: {paper.pin()}, auto_pin: {paper.pin()}"
        written.append(f"  selector: {{kind: hand-off-auto, {pins}, motors: {paper.draw.choice(systems)}}}")
    if paper.maybe(0.2):
        written.append(f"  key: {{kind: shop key, pin: {paper.pin()}}}")
    return ["inputs:", *written] if written else []
