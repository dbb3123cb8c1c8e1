"""The fault table of the service's own parts: disk, converters, brokers, lines, threads. The core's is in its alarms.

Same columns, same three heaps; ``{subject}`` is the part's name. What stands against a part is kept by the running
service under ``code`` or ``code:subject``, with a sentence that may say more than the table does.
"""

from collections.abc import Mapping

from gatekeeper.control.alarms import FAULTS, Fault
from gatekeeper.service.care_troubles import CARE_TROUBLES

TROUBLES: dict[str, Fault] = {
    "control": Fault(
        "now",
        "The control thread ended by a fault; every motor was switched off.",
        "A fault in the program.",
        "Run the collector by hand and restart the controller.",
    ),
    "switch": Fault(
        "now",
        "The relay of {subject} does not obey the controller.",
        "A line that cannot be written.",
        "Open the disconnect, then look at the board.",
    ),
    "device": Fault(
        "today",
        "A part on the board's own lines could not be worked.",
        "A line that cannot be written.",
        "Look at the board; restart the controller.",
    ),
    "converter": Fault(
        "today",
        "Nothing comes from the converter {subject}.",
        "A loose cable, or too many channels for the bus.",
        "Look at the converter's plug.",
    ),
    "flood": Fault(
        "today",
        "More came from contacts and meters than the controller can take in, and some was left out.",
        "A loose contact that chatters, or a meter or broker that publishes without a pause.",
        "Look at the contacts' plugs, then at what the meters publish.",
    ),
    "circuit": Fault(
        "today",
        "The sensor of the circuit {subject} says nothing that can be relied on.",
        "A broken wire, a lost bias or a dead converter.",
        "Look at its clamp and wire.",
    ),
    "broker": Fault(
        "today",
        "The broker {subject} does not answer.",
        "The broker or the network is down, or a password is wrong.",
        "Look at broker and network.",
    ),
    "gates": Fault(
        "today",
        "The broker {subject} that carries gates does not answer.",
        "The broker or the network is down, or a password is wrong.",
        "Look at broker and network. Until then its gates are moved by hand.",
    ),
    "drive": Fault(
        "today",
        "The drive of {subject} has tripped or does not answer.",
        "A trip of the drive's own, its cable, or its address on the bus.",
        "Look at the drive's display, then at its cable.",
    ),
    "drive_speed": Fault(
        "today",
        "The drive of {subject} does not take the speed that it is told.",
        "Its speed is set at its own panel or by another wire, or speed_register or steps_per_hz is wrong.",
        "Look in its manual for what sets its speed, then at these keys in the shop file.",
    ),
    "gauge": Fault(
        "when_you_can",
        "The gauge {subject} says nothing that can be relied on.",
        "A broken wire, no supply, or a pressure beyond what it shows.",
        "Look at its plug, its supply and its hoses. Until then nothing is said of its pressure.",
    ),
    "not_kept": Fault(
        "today",
        "A value could not be kept: after a power cut it is lost.",
        "A full, worn or read-only card.",
        "Back up the card and put a new one in.",
    ),
    "kept_damaged": Fault(
        "today",
        "The kept settings could not be read.",
        "A power cut in mid-write, or a worn card.",
        "Look at every setting and latch.",
    ),
    "history_damaged": Fault(
        "when_you_can",
        "The history could not be read and was begun anew.",
        "A power cut in mid-write, or a worn card.",
        "Keep the file set aside.",
    ),
    "history_not_written": Fault(
        "when_you_can",
        "The history is not being written.",
        "A full, worn or read-only card.",
        "Make room or put a new card in.",
    ),
    "air": Fault(
        "when_you_can",
        "The air in the ducts was not computed.",
        "Figures in the shop file that no air can follow.",
        "Run gatekeeper airflow on it.",
    ),
    "page": Fault(
        "today",
        "The page ended by a fault or cannot listen; it is opened again and again.",
        "A fault in the program, or its address is not there yet or taken by another program.",
        "Go on working: the shop runs without it. If it stays away, restart the controller while no machine runs.",
    ),
    "push": Fault(
        "when_you_can",
        "Messages do not reach the phone.",
        "The network or the push service is down, or its address or token is wrong.",
        "Look at the network, then at push in the shop file.",
    ),
    **CARE_TROUBLES,
}


def every_row() -> Mapping[str, Fault]:
    """Both tables, the core's first. No code stands in both."""
    return {**FAULTS, **TROUBLES}


def kept_apart(code: str) -> tuple[str, str]:
    """A trouble's code and its subject: "converter:tool board" is two words, "not_kept" is one."""
    kind, _, subject = code.partition(":")
    return kind, subject
