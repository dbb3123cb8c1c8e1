"""The questions about one machine: what it is, its hose, port and need, what hangs there beside its gate."""

from collections.abc import Collection
from dataclasses import dataclass

from gatekeeper.airflow.needs import need_of
from gatekeeper.interview.engine import Question, Walk
from gatekeeper.interview.reading import Size, choice_question, is_taken, machine_name, size_question
from gatekeeper.interview.room import NO_PINS, Pins, Room
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


@dataclass(frozen=True, slots=True)
class DropThings:
    """What hangs at a drop: a button ("air here"), a sign lamp."""

    button: bool = False
    sign: bool = False

    @property
    def pins(self) -> Pins:
        return Pins(int(self.sign), int(self.button))

    @property
    def word(self) -> str:
        """How it is asked for."""
        return next(word for word, things in THINGS.items() if things == self)


NO_THINGS = DropThings()
NEITHER = "neither"
THINGS = {
    NEITHER: NO_THINGS,
    "button": DropThings(button=True),
    "sign lamp": DropThings(sign=True),
    "both": DropThings(button=True, sign=True),
}


def ask_name(
    taken: Collection[str],
    waiting: tuple[str, ...] = (),
    *,
    with_parts: bool = True,
    again: tuple[str, ...] = (),
) -> Walk[str]:
    """Which machine it is.

    Args:
        taken: every name that the shop has.
        waiting: machines that are known and not wired yet; offered first.
        with_parts: its duct and gate are named after it.
        again: machines on another collector that may have a port here too; offered last.
    """
    offered = (*waiting, *(word for word in MACHINES if not is_taken(word, (*taken, *waiting))), *again)
    name: str = yield Question(
        "machine",
        "Which machine is it?",
        "Choose one of them, or write the name that your shop calls it by, such as old bandsaw."
        + (" One that has a port on another collector already, and one here too, keeps its name." if again else ""),
        machine_name(taken, offered, with_parts=with_parts, again=again),
        None,
        offered,
        own="Another name",
    )
    return name


def ask_hose(say: Measures, last: Size | None = None) -> Walk[tuple[Size, bool]]:
    """The flexible hose at a machine, and whether it is assumed; ``last``: that of the machine before."""
    assumed = last or (Size("3 ft", 0.9144) if say.is_inch else Size("1 m", 1.0))
    hose: Size | None = yield size_question(
        "hose",
        "How long is the flexible hose at the machine?",
        "Hose takes more air than smooth duct. 0 ft or 0 m where there is none.",
        ("length", "0 m", "20 m"),
        assumed.text,
        f"The hose is taken as {assumed.text}.",
    )
    return (assumed, True) if hose is None else (hose, False)


def ask_port(name: str, duct: Size) -> Walk[Size | None]:
    """The machine's own port, where it is not as wide as its duct."""
    port: Size | None = yield size_question(
        "port",
        f"How wide is the port of the {name}?",
        "The diameter of the hole that the hose goes on.",
        ("length", "15 mm", "1 m"),
        duct.text,
        f"The port is taken as wide as its duct, {duct.text}.",
    )
    return None if port is None or abs(port.si - duct.si) < 1e-9 else port


def ask_need(name: str, duct: Size, port: Size | None, say: Measures) -> Walk[Size | None]:
    """How much air a machine needs, where it is known; ``port``: where it is not as wide as its duct."""
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
    return needs


KEPT_BACK = Pins(2, 4)
"""Pins that buttons and lamps leave to what matters more: the switch of another collector, gates, sensors."""


def ask_drop_things(name: str, room: Room, *, is_seen: bool, usual: str) -> Walk[DropThings]:
    """What else hangs at a machine; ``usual``: what an empty answer takes, where it can be had."""
    fitting = [word for word, things in THINGS.items() if room.has(things.pins + KEPT_BACK)]
    kinds = tuple(word for word in fitting if is_seen or not THINGS[word].sign) or (NEITHER,)
    full = "" if len(fitting) == len(THINGS) else NO_PINS
    word: str | None = yield choice_question(
        "at the drop",
        f"What hangs at the {name} beside its gate?{full}",
        "A button asks for air there, for hand work or a machine that nothing sees. A sign lamp says whether air is "
        "coming, ready, or missing; it needs to know when the machine runs.",
        kinds,
        usual if usual in kinds else NEITHER,
        "It is taken as neither.",
    )
    return THINGS[word] if word is not None else NO_THINGS
