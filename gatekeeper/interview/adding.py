"""The interviews for a shop that is there: a machine more, a machine that moves, a machine that goes.

Each ends in edits of single parts of the file; nothing else of it is touched.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field, replace

from gatekeeper.interview.draft import DraftDuct, DraftMachine
from gatekeeper.interview.engine import Interview, Walk
from gatekeeper.interview.gates import Moved, Mover, ask_gate
from gatekeeper.interview.machine import NEITHER, ask_drop_things, ask_name, ask_need, ask_port
from gatekeeper.interview.outfit import Outfit
from gatekeeper.interview.pipes import ask_diameter
from gatekeeper.interview.places import Place, ask_drop, ask_place, exact, idle_gates, joints, usual_width
from gatekeeper.interview.reading import button_of, choice_question, drop_of, free_name, gate_of, sign_of
from gatekeeper.interview.room import Pins
from gatekeeper.interview.sensors import ask_seen
from gatekeeper.interview.text_edits import PartEdit
from gatekeeper.interview.writing import button_line, duct_lines, gate_lines, sign_line, tool_lines, waiting_machines
from gatekeeper.layout.measures import Measures
from gatekeeper.shop.claims import SENSOR_KEYS
from gatekeeper.shop.faults import Faults
from gatekeeper.shop.links import NAMED
from gatekeeper.shop.model import ConverterKind, Shop
from gatekeeper.shop.places import Leaf, Tree, read_tree

ASKED = ("towards", "diameter", "width", "height", "length", "fittings", "flex")
"""The keys of a duct that are asked when it moves; the others keep their values."""

STAYS, GOES = "stays", "is taken down"


class CannotAdd(Exception):
    """The shop is not one that this can be done to; the message is one plain sentence."""


@dataclass(slots=True)
class PartsDraft:
    """What an interview changes.

    ``studied``: the same edits with the machine as if it were seen, for its air. ``machine``: the one that is added.
    ``gate``: the one that gets something else to move it.
    """

    edits: list[PartEdit] = field(default_factory=list)
    studied: list[PartEdit] = field(default_factory=list)
    machine: str = ""
    gate: str = ""


def add_machine(shop: Shop, text: str) -> Interview[PartsDraft]:
    """The interview for one more machine in a shop with this file's text."""
    there = Outfit(shop, text, names_in(text))
    waiting = tuple(name for name in waiting_machines(text) if name not in there.names)
    channel = free_channel(shop, text)
    idle = idle_gates(shop)

    def walk(draft: PartsDraft) -> Walk[None]:
        name = yield from ask_name(there.names, waiting, with_parts=False)
        place = yield from ask_place(f"Where does the {name} join?", [*idle, *joints(shop)], f"at {gate_of(name)}")
        is_new = place.gate is None
        machine, duct = yield from ask_machine(name, place, there, channel)
        draft.machine = name
        draft.edits = machine_edits(machine, duct, there, is_new=is_new)
        draft.studied = machine_edits(machine, duct, there, is_new=is_new, as_wired=True)

    return Interview(PartsDraft, walk)


def ask_machine(
    name: str, place: Place, there: Outfit, channel: tuple[str, int] | None
) -> Walk[tuple[DraftMachine, DraftDuct | None]]:
    """A machine at a place of a shop, and its duct where it gets one; ``channel``: the next free one for a clamp."""
    shop, taken = there.shop, there.names
    duct: DraftDuct | None = None
    if place.gate is not None:
        width = exact(place.gate.diameter_m, shop.units)
    elif shop.ducts or place.motor not in shop.motors or len(_systems(shop)) > 1:
        duct = yield from ask_drop(free_name(drop_of(name), taken), place, shop)
        width = duct.diameter
    else:
        width, _ = yield from ask_diameter("How wide is the hose there?", usual_width(place, shop))
    port = yield from ask_port(name, width)
    needs = yield from ask_need(name, width, port, Measures(shop.units))
    is_new = place.gate is None
    gate = place.gate.name if place.gate is not None else free_name(gate_of(name), taken)
    moved, supply = Moved(), ""
    if is_new:
        moved, supply = yield from ask_moved(name, gate, there)
    room = there.room.less(there.takes(moved))
    seen = yield from ask_seen(name, channel, has_pin=room.has(Pins(contacts=1)), must=not is_new)
    room = room.less(Pins(contacts=int(seen is not None and seen.converter is None)))
    feeder = ""
    if seen is not None:
        feeder = yield from ask_one_of("feeder", f"Which feeder does the {name} hang on?", shop.feeders)
    things = yield from ask_drop_things(name, room, is_seen=seen is not None, usual=NEITHER)
    drop = duct.name if duct is not None else None
    machine = DraftMachine(name, drop, width, port, needs, moved, seen, gate, feeder, supply, things=things)
    return machine, duct


def ask_moved(name: str, gate: str, there: Outfit, usual: Mover | None = None) -> Walk[tuple[Moved, str]]:
    """What moves a gate of a shop that is there, and the supply of that where there are several."""
    shop, supply = there.shop, ""
    moved = yield from ask_gate(name, gate, there.gate_scene(), usual)
    if moved.by is Mover.BROKER and not moved.host:
        broker = yield from ask_one_of("broker", "Behind which broker?", shop.brokers)
        moved = replace(moved, broker=broker or next(iter(shop.brokers)))
    elif moved.by is Mover.BROKER:
        moved = there.on_broker(moved)
    elif not moved.by.is_by_hand:
        supply = yield from ask_one_of("supply", "Which supply feeds it?", shop.supplies)
    return moved, supply


def move_machine(shop: Shop, text: str, tool: str) -> Interview[PartsDraft]:
    """The interview for a machine that gets another way to the collector; its gate and sensor go with it.

    Raises CannotAdd where its duct serves more than it, or is not described.
    """
    movable = [gate for gate in shop.tools[tool].gates if _is_own_drop(shop, shop.gates[gate].duct)]
    if not movable:
        raise CannotAdd(
            f"The duct of the {tool} is not described, or serves other gates too; move it by hand in the file."
        )

    tree = tree_of(text)

    def walk(draft: PartsDraft) -> Walk[None]:
        gate = movable[0]
        if len(movable) > 1:
            gate = yield choice_question(
                "gate", f"Which gate of the {tool} moves?", "One at a time.", tuple(movable), movable[0]
            )
        old = shop.gates[gate].duct
        assert old is not None, "only gates on a duct of their own can be moved"
        place = yield from ask_place(f"Where does the {tool} join now?", joints(shop, old))
        duct = yield from ask_drop(old, place, shop)
        part = getattr(tree.at(("ducts", old)), "entries", {})
        kept = tuple((key, node.text) for key, node in part.items() if isinstance(node, Leaf) and key not in ASKED)
        draft.edits = draft.studied = [PartEdit("ducts", old, tuple(duct_lines(replace(duct, kept=kept))))]

    return Interview(PartsDraft, walk)


def retire_machine(shop: Shop, text: str, tool: str) -> Interview[PartsDraft]:
    """The interview for a machine that leaves: the tool itself, what hangs at it, and its branch if that goes too."""
    own = shop.tools[tool].gates
    shared = {gate for other in shop.tools.values() if other.name != tool for gate in other.gates}

    def walk(draft: PartsDraft) -> Walk[None]:
        gone = [PartEdit("outlets" if shop.tools[tool].is_outlet else "tools", tool)]
        leaving = {tool}
        alone = [gate for gate in own if gate not in shared]
        if alone:
            fate: str = yield choice_question(
                "branch",
                f"What becomes of {' and '.join(alone)}?",
                "A gate that stays is shut and serves a machine of later. One that is taken down goes with its duct; "
                "cap the hole where it joined.",
                (STAYS, GOES),
                STAYS,
            )
            if fate == GOES:
                leaving |= set(alone)
                ducts = dict.fromkeys(duct for gate in alone if _is_own_drop(shop, duct := shop.gates[gate].duct))
                gone += [PartEdit("gates", gate) for gate in alone]
                gone += [PartEdit("ducts", duct) for duct in ducts if duct is not None]
        for section in ("inputs", "signs", "permits"):
            things = getattr(shop, section)
            gone += [PartEdit(section, name) for name, thing in things.items() if thing.at in leaving]
        draft.edits = draft.studied = gone

    return Interview(PartsDraft, walk)


def machine_edits(
    machine: DraftMachine, duct: DraftDuct | None, there: Outfit, *, is_new: bool, as_wired: bool = False
) -> list[PartEdit]:
    """What puts a machine into the file; ``is_new``: its gate is, too."""
    edits = [PartEdit("ducts", None, tuple(duct_lines(duct)))] if duct is not None else []
    if is_new:
        servo, before = there.servo_for(machine.moved)
        edits += [*before, *there.broker_for(machine.moved)]
        edits.append(PartEdit("gates", None, tuple(gate_lines(machine, servo))))
    edits.append(PartEdit("tools", None, tuple(tool_lines(machine, as_wired=as_wired))))
    if machine.things.button:
        edits.append(PartEdit("inputs", None, (button_line(machine, there.free(button_of(machine.name))),)))
    if machine.things.sign:
        edits.append(PartEdit("signs", None, (sign_line(machine, there.free(sign_of(machine.name))),)))
    return edits


def _systems(shop: Shop) -> list[str]:
    return [motor.name for motor in shop.motors.values() if motor.has_ducts]


def _is_own_drop(shop: Shop, duct: str | None) -> bool:
    """Whether a duct serves one gate and nothing else."""
    if duct is None or any(other.towards == duct for other in shop.ducts.values()):
        return False
    return sum(gate.duct == duct for gate in shop.gates.values()) == 1


def ask_one_of(about: str, said: str, things: Iterable[str]) -> Walk[str]:
    """One of several names; the empty word where there is only one, which needs no key."""
    names = tuple(things)
    if len(names) < 2:
        return ""
    found: str = yield choice_question(about, said, "One of those in the file.", names, names[0])
    return found


def names_in(text: str) -> set[str]:
    """Every name in the file, and those that a shop without such sections has by itself."""
    tree = tree_of(text)
    return {name for section in NAMED for name in tree.keys(section)}


def free_channel(shop: Shop, text: str, taken: Collection[tuple[str, int]] = ()) -> tuple[str, int] | None:
    """The first channel of a converter of eight that nothing is on, and that is not ``taken`` either."""
    tree = tree_of(text)
    used: set[tuple[str | None, str | None]] = {(name, str(channel)) for name, channel in taken}
    for pattern in SENSOR_KEYS:
        for name in tree.keys(pattern[0]):
            part = tree.at((pattern[0], name, *pattern[2:]))
            plain = {key: getattr(node, "text", "") for key, node in getattr(part, "entries", {}).items()}
            used.add((plain.get("converter"), plain.get("channel")))
    for name, converter in shop.converters.items():
        if converter.kind is ConverterKind.MCP3208:
            for channel in range(8):
                if (name, str(channel)) not in used:
                    return name, channel
    return None


def tree_of(text: str) -> Tree:
    tree = read_tree(text.removeprefix("\ufeff"), "")
    assert not isinstance(tree, Faults), "the text of a shop can be read"
    return tree
