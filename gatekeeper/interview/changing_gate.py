"""The interview for a gate that is there and gets something else to move it: gates are automated one at a time."""

from gatekeeper.interview.adding import CannotAdd, PartsDraft, ask_moved, names_in, tree_of
from gatekeeper.interview.engine import Interview, Walk
from gatekeeper.interview.gates import Mover
from gatekeeper.interview.outfit import Outfit
from gatekeeper.interview.text_edits import PartEdit, quoted
from gatekeeper.interview.writing import moved_gate_lines
from gatekeeper.shop.model import Shop
from gatekeeper.shop.places import Leaf

MOVED_BY = ("servo", "relays", "bridge", "coil", "behind_broker", "travel", "supply")
CONTACTS = ("open_contact", "shut_contact")


def change_gate(shop: Shop, text: str, gate: str) -> Interview[PartsDraft]:
    """The interview for one gate of a shop with this file's text; where it is and what else is said of it stays.

    Raises CannotAdd where there is no such gate.
    """
    if gate not in shop.gates:
        raise CannotAdd(f'"{gate}" is no gate of this shop.')
    there = Outfit(shop, text, names_in(text))
    machine = next((tool.name for tool in shop.tools.values() if gate in tool.gates), gate.removesuffix(" gate"))
    part = getattr(tree_of(text).at(("gates", gate)), "entries", {})
    plain = {key: node.text for key, node in part.items() if isinstance(node, Leaf)}

    def walk(draft: PartsDraft) -> Walk[None]:
        moved, supply = yield from ask_moved(machine, gate, there, Mover.SERVO)
        place = [f"{key}: {quoted(value)}" for key, value in plain.items() if key not in (*MOVED_BY, *CONTACTS)]
        # Whoever says that a gate is moved by hand, or from afar, says that the board sees no switch there.
        has_contacts = moved.by not in (Mover.HAND, Mover.BROKER)
        contacts = {key: plain[key] for key in CONTACTS if has_contacts and key in plain}
        servo, before = there.servo_for(moved)
        lines = moved_gate_lines(gate, place, moved, servo, supply, contacts)
        draft.gate = "" if moved.by.is_by_hand else gate
        draft.edits = [*before, *there.broker_for(moved), PartEdit("gates", gate, tuple(lines))]
        draft.studied = draft.edits

    return Interview(PartsDraft, walk)
