"""What to do at a gate that a coil and a spring hold: both go on pushing while it is stuck, held, or told nothing more.

The drivers of all other gates end their drive with the move; a coil (a solenoid or an air valve) keeps its state, as
taking it away would be a motion too. So before a hand goes in, its air or power must go.
"""

from gatekeeper.control.alarms import FAULTS, Fault
from gatekeeper.shop.model import Shop

#: In place of the fault table's remedies.
AT_A_COIL: dict[str, str] = {
    "gate_stuck": (
        "Take away its air or power first; its spring still pushes, so clear the slot with a stick and no finger. Give "
        "air or power back, then press Release. It moves three seconds later."
    ),
    "gate_held": (
        "Take away its air or power first, before a hand goes in; its spring still pushes. Give them back when fingers "
        "and tools are out, then press Release. It moves three seconds later."
    ),
    "not_collected": (
        "Stop the cut. Take away the gate's air or power first; its spring still pushes. Clear the slot with a stick "
        "and no finger, or open the gate by hand. Give air or power back, then press Release."
    ),
}


def at_the_gate(shop: Shop, code: str, subject: str, row: Fault) -> Fault:
    """The row as it is, or with what a coil asks for: where ``subject`` is such a gate, or a machine behind one."""
    if code not in AT_A_COIL:
        return row
    gates = (subject,) if subject in shop.gates else shop.tools[subject].gates if subject in shop.tools else ()
    return row._replace(remedy=AT_A_COIL[code]) if any(shop.gates[name].coil is not None for name in gates) else row


def table() -> str:
    """The same as a part of the page of all messages."""
    lines = ["| Code | What to do |", "|---|---|"]
    lines += [f"| `{code}` | {remedy} |" for code, remedy in sorted(AT_A_COIL.items()) if code in FAULTS]
    return "\n".join(lines) + "\n"
