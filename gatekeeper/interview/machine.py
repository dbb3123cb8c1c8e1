"""The questions about one machine: what it is, how it is joined to its duct, how much air it needs, what sees it."""

from collections.abc import Collection
from dataclasses import dataclass

from gatekeeper.airflow.needs import need_of
from gatekeeper.interview.draft import Seen
from gatekeeper.interview.engine import Question, Walk
from gatekeeper.interview.reading import Size, choice_question, machine_name, size_question
from gatekeeper.layout.measures import Measures

MACHINES = (
    "table saw",
    "planer",
    "jointer",
    "bandsaw",
    "drum sander",
    "belt sander",
    "disc sander",
    "mitre saw",
    "router table",
    "lathe",
    "drill press",
    "scroll saw",
)
"""Machines that many wood shops have; any other is given by its name."""

NOT_WIRED = "nothing yet"
SWITCH = "current switch"
CLAMP = "clamp"
BY_HAND = "by hand"
SERVO = "servo"
RANGES = ("20 A", "30 A", "40 A")


@dataclass(frozen=True, slots=True)
class Joined:
    """How a machine is joined: its port and need where they are its own, and its hose."""

    port: Size | None
    needs: Size | None


def ask_name(taken: Collection[str], waiting: tuple[str, ...] = (), *, with_parts: bool = True) -> Walk[str]:
    """Which machine it is.

    Args:
        taken: every name that the shop has.
        waiting: machines that are known and not wired yet; offered first.
        with_parts: its duct and gate are named after it.
    """
    offered = (*waiting, *(word for word in MACHINES if word not in taken and word not in waiting))
    name: str = yield Question(
        "machine",
        "Which machine is it?",
        "Choose one of them, or write the name that your shop calls it by, such as old bandsaw.",
        machine_name(taken, offered, with_parts=with_parts),
        None,
        offered,
        own="Another name",
    )
    return name


def ask_hose(say: Measures) -> Walk[tuple[Size, bool]]:
    """The flexible hose at a machine, and whether it is assumed."""
    assumed = Size("3 ft", 0.9144) if say.is_inch else Size("1 m", 1.0)
    hose: Size | None = yield size_question(
        "hose",
        "How long is the flexible hose at the machine?",
        "Hose takes more air than smooth duct. 0 ft or 0 m where there is none.",
        ("length", "0 m", "20 m"),
        assumed.text,
        f"The hose is taken as {assumed.text}.",
    )
    return (assumed, True) if hose is None else (hose, False)


def ask_port_and_need(name: str, duct: Size, say: Measures) -> Walk[Joined]:
    """The machine's own port and how much air it needs."""
    port: Size | None = yield size_question(
        "port",
        f"How wide is the port of the {name}?",
        "The diameter of the hole that the hose goes on.",
        ("length", "15 mm", "1 m"),
        duct.text,
        f"The port is taken as wide as its duct, {duct.text}.",
    )
    if port is not None and abs(port.si - duct.si) < 1e-9:
        port = None
    # The air of a port wider than its duct still comes through the duct.
    usual = need_of(name, min(duct.si, port.si if port is not None else duct.si))
    needs: Size | None = yield size_question(
        "need",
        f"How much air does the {name} need?",
        "From its manual; unknown takes a usual figure by its name and port.",
        ("flow", "0.001 m3/s", "5 m3/s"),
        "unknown",
        f"Its need is taken as {say.flow(usual.flow_m3s)} ({usual.source}).",
    )
    return Joined(port, needs)


def ask_gate(name: str) -> Walk[bool]:
    """Whether a servo moves the gate."""
    mover: str = yield choice_question(
        "gate",
        f"What moves the gate of the {name}?",
        "By hand costs nothing and works from the first evening. A servo on a pin of the board can take its place at "
        "any time.",
        (BY_HAND, SERVO),
        BY_HAND,
        "The gate is taken as moved by hand.",
    )
    return mover == SERVO


def ask_seen(name: str, channel: tuple[str, int] | None, *, must: bool = False) -> Walk[Seen | None]:
    """What tells that the machine runs.

    Args:
        name: the machine.
        channel: the next free one for a clamp, or None.
        must: something has to be wired.
    """
    wired = (SWITCH, *((CLAMP,) if channel is not None else ()))
    how: str = yield choice_question(
        "sensor",
        f"What tells that the {name} runs?",
        "A current switch clips around one wire of the machine and is the quickest to fit. A clamp goes to a converter "
        "board and is measured. Nothing yet: its gate is there, and the controller learns of the machine later.",
        wired if must else (NOT_WIRED, *wired),
        SWITCH if must else NOT_WIRED,
        None if must else "It counts as not wired yet.",
    )
    if how == SWITCH:
        return Seen()
    if how == CLAMP and channel is not None:
        range_a: str = yield choice_question(
            "range",
            f"Up to what current does the clamp measure on the {name}?",
            "Twice what the machine draws in a hard cut is enough; 30 A fits most machines.",
            RANGES,
            "30 A",
        )
        return Seen(channel[0], channel[1], range_a)
    return None
