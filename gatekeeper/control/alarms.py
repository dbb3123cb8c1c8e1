"""The fault table: every message the controller can give, in words, and the list of those that stand.

One table from code to harm, what happened, likely cause and what to do. The page, the history and the lamps all read
it here. ``{subject}`` is the name of the gate, motor or tool.
"""

from dataclasses import dataclass
from typing import Literal, NamedTuple

Heap = Literal["now", "today", "when_you_can"]


class Fault(NamedTuple):
    """One row: how much harm, what is so, what may have caused it, what to do."""

    heap: Heap
    happened: str
    cause: str
    remedy: str


FAULTS: dict[str, Fault] = {
    "fire": Fault(
        "now",
        "Heat at the bin, smoke or the building's alarm: {subject}. Every motor is off.",
        "A spark in the dust, a hot bearing, or a broken wire in the detector's circuit.",
        "Do not open bin or filter. Leave, call the fire service. It is reset at the controller only.",
    ),
    "sparks": Fault(
        "now",
        "Sparks were seen in {subject}. Every motor is off and every gate stands still.",
        "Metal in the cut, a grinder on a duct, a burnt blade, or a hot bearing.",
        "Do not open bin or filter: air feeds embers. Watch and smell for smouldering; if there is any, or in doubt, "
        "leave and call the fire service. It is reset at the controller only.",
    ),
    "emergency": Fault(
        "now",
        "The emergency circuit is open: {subject}. Every motor is off and every gate stands still.",
        "Somebody pressed the red button, or a wire of its circuit is broken.",
        "Find out why it was pressed. Pull the button out, then press Reset.",
    ),
    "not_collected": Fault(
        "now",
        "{subject} is cutting without its gate: the sound of the fan is not capture.",
        "Its gate did not open, is held, or cannot be moved from here.",
        "Stop the cut. Clear the slot or open the gate by hand, then press Release.",
    ),
    "no_air": Fault(
        "now",
        "{subject} is cutting without air.",
        "The collector was stopped, may not start, or has no open gate.",
        "Stop the cut. Once the reason shown is gone, start the tool again.",
    ),
    "found_running": Fault(
        "now",
        "{subject} was found running. Its collector does not start by itself.",
        "It ran through a power cut, a lost sensor or a stop, or started while the collector was blocked.",
        "Stop the tool and start it again, or press Start collector.",
    ),
    "no_path": Fault(
        "now",
        "{subject} has no open gate to pull through.",
        "Gates are stuck, held, moved by hand or out of service.",
        "Open one gate on its duct by hand, or release the one that is held.",
    ),
    "runs_when_off": Fault(
        "now",
        "{subject} runs although it was told to stop.",
        "The contactor's contacts have welded, or somebody started it at its own switch.",
        "Open the disconnect. Then have the contactor looked at.",
    ),
    "did_not_start": Fault(
        "now",
        "{subject} did not start and is latched off.",
        "An open disconnect, a tripped overload or breaker, or its run sensor.",
        "Look at disconnect, overload and breaker, then press Clear and start the tool again.",
    ),
    "stopped_itself": Fault(
        "now",
        "{subject} stopped by itself and is latched off.",
        "A tripped overload or breaker, or its run sensor.",
        "Find out what tripped before you press Clear.",
    ),
    "short_of_air": Fault(
        "now",
        "{subject} gets less air than it needs.",
        "More tools run than the collector has air for, or duct and fan are too small for it even alone.",
        "Run one tool at a time. Where it runs alone already, the layout study says what would mend it.",
    ),
    "lease_lost": Fault(
        "today",
        "{subject} was switched off because the controller was late.",
        "The board was too busy or stood still for a moment.",
        "Start the tool again. If it comes back, look at the board's load and supply.",
    ),
    "gate_stuck": Fault(
        "today",
        "{gate} did not move as told and is now held.",
        "Chips in the slot, a jammed blade, a broken actuator or switch.",
        "Clear the slot, then press Release. It moves three seconds later.",
    ),
    "sensor_lost": Fault(
        "today",
        "The sensor of {subject} says nothing that can be relied on.",
        "A broken wire, a lost bias or a dead converter.",
        "Look at its clamp and wire. Its gate stays as it is; say Stopped when the tool is off.",
    ),
    "motor_sensor_lost": Fault(
        "today",
        "The sensor that sees whether {subject} runs says nothing that can be relied on.",
        "A broken wire, a lost bias or a dead converter.",
        "Look at its clamp and wire. Until then nothing says whether the motor obeys.",
    ),
    "still_running": Fault(
        "today",
        "{subject} has run longer than it plausibly would. Does it still cut?",
        "A long job, or a sensor that is stuck on.",
        "Press Still running or Stopped. Without an answer its collector stops.",
    ),
    "counted_stopped": Fault(
        "today",
        "Nobody answered for {subject}: its collector no longer runs for it.",
        "Its sensor is probably stuck on.",
        "Look at its sensor.",
    ),
    "one_system_only": Fault(
        "today",
        "{subject} is served by one of its two systems only.",
        "The other one is out of service, latched or blocked, or was stopped and waits for a fresh start.",
        "Bring the other system back, then stop the tool and start it again.",
    ),
    "starts_lost": Fault(
        "today",
        "The record of motor starts of {subject} was lost.",
        "A damaged card or a deleted file.",
        "Press Clear when the motor is cool; one start is then in hand.",
    ),
    "records_damaged": Fault(
        "today",
        "The kept settings could not be read; every latch counts as set.",
        "A damaged card or a deleted file. The bytes were kept aside.",
        "Go round the shop, then bring each motor back into service.",
    ),
    "air_not_proved": Fault(
        "today",
        "Air was not proved at {subject}; the gate shut last was opened again.",
        "A gate that only looks open, a full bin, a blocked duct, or the air sensor.",
        "Look at the gates of that duct, then at the bin.",
    ),
    "core_fault": Fault(
        "today",
        "The controller refused one of its own orders: {subject}.",
        "A fault in the program.",
        "Nothing moved because of it. Please keep the history and tell whoever looks after the program.",
    ),
    "door_open": Fault(
        "today",
        "A door is open: {subject}. Its motors stay off.",
        "A clean-out, bin or filter door is open, or its wire is broken.",
        "Shut the door when the work is done. Lock the disconnect while a hand is inside.",
    ),
    "shop_shut_start": Fault(
        "today",
        "{subject} was started while the shop is shut.",
        "Somebody works outside the hours.",
        "Open the shop, then start the tool again.",
    ),
    "out_of_service": Fault(
        "when_you_can",
        "{subject} is out of service.",
        "Somebody set it so.",
        "Bring it back into service when the work is done. This is no padlock on the disconnect.",
    ),
    "gate_held": Fault(
        "when_you_can",
        "{gate} is held.",
        "Somebody works at it.",
        "Press Release when fingers and tools are out. It moves three seconds later.",
    ),
}

#: Messages that stay until a person clears them, whatever happens after; all others end with their reason.
UNTIL_CLEARED = frozenset({"lease_lost", "core_fault", "air_not_proved", "records_damaged", "shop_shut_start"})


@dataclass(frozen=True, slots=True)
class Standing:
    """One message that stands: since when, when last raised, how often, and whether somebody has seen it."""

    since_s: float
    last_s: float
    count: int = 1
    seen: bool = False


def sentence(code: str, subject: str) -> str:
    """What is so, in one sentence."""
    return FAULTS[code].happened.format(subject=subject, gate=gate_called(subject))


def short_of_air(subject: str, missing: float) -> str:
    """How much less air a tool gets than it needs; ``missing`` 0 to 1."""
    return f"{subject} gets {missing * 100:.0f} % less air than it needs."


def gate_called(name: str) -> str:
    """A gate's name that says that it is a gate: "saw gate" for both "saw" and "saw gate"."""
    return name if name.lower().endswith("gate") else f"{name} gate"
