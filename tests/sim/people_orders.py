"""What people do around a shop, in every order in which it can be done, played on the service's own objects.

A story is a set of happenings and which of them must come before which; ``orders`` gives every order that keeps to
that, or a seeded choice where there are too many. The play is at samples fidelity: real drivers, sensing, loop and
core on mock lines, with the virtual shop behind them.
"""

import itertools
import math
import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from catalogue_stories import WATCHED, stage

from gatekeeper.control.messages import Entry, Requested
from sim.happening import Controller, Happening, What
from sim.play import Fidelity, new_game

#: The saw is switched on here, and what people do begins when its collector has long been running.
SAW_ON_S, BEGINS_S = 3.0, 8.0
#: With a reset key and a button for sparks.
KEYED = f"""{WATCHED}  reset key: {{kind: reset, pin: GPIO27}}
  sparks button: {{kind: sparks, pin: GPIO18}}
"""
#: What a sensor, a debounced contact and one step of the loop may take together.
SEEN_WITHIN_S = 0.3
#: How long the story is played on after its last happening.
AFTER_S = 6.0

#: The pieces that stories are made of, by their words: what happens when it is their turn.
ACTS: Mapping[str, tuple[What, str | None, Any]] = {
    "plug out": (What.CONTROLLER, None, Controller.PLUG_OUT),
    "plug in": (What.CONTROLLER, None, Controller.PLUG_IN),
    "to hand": (What.HAND_SWITCH, "selector", "hand"),
    "to auto": (What.HAND_SWITCH, "selector", "auto"),
    "to off": (What.HAND_SWITCH, "selector", "off"),
    "saw off": (What.TOOL_OFF, "saw", None),
    "saw on": (What.TOOL_ON, "saw", None),
    "planer on": (What.TOOL_ON, "planer", None),
    "red pressed": (What.INPUT, "red button", True),
    "red pulled": (What.INPUT, "red button", False),
    "heat": (What.INPUT, "heat", True),
    "heat over": (What.INPUT, "heat", False),
    "door opened": (What.INPUT, "bin door", True),
    "door shut": (What.INPUT, "bin door", False),
    "reset": (What.REQUEST, None, Requested("reset", None, "local")),
    "page reset": (What.REQUEST, None, Requested("reset", None, "page")),
    "out": (What.REQUEST, None, Requested("out_of_service", "fan", "page", text="Ada: belt")),
    "back": (What.REQUEST, None, Requested("back_in_service", "fan", "page")),
    "hold": (What.REQUEST, None, Requested("hold", "saw gate", "page")),
    "release": (What.REQUEST, None, Requested("release", "saw gate", "page")),
    "shop shut": (What.SHOP_KEY, None, False),
    "shop open": (What.SHOP_KEY, None, True),
    "stop": (What.REQUEST, None, Requested("stop", None, "page")),
    "sparks": (What.REQUEST, None, Requested("sparks", None, "page")),
    "sparks button": (What.PRESS, "sparks button", None),
    "reset key": (What.PRESS, "reset key", None),
}


def orders(acts: Sequence[str], before: Sequence[tuple[str, str]], most: int, seed: int = 0) -> list[tuple[str, ...]]:
    """Every order of ``acts`` in which each pair of ``before`` keeps its order; a seeded choice of ``most`` of them."""
    found = [
        order
        for order in itertools.permutations(acts)
        if all(order.index(first) < order.index(then) for first, then in before)
    ]
    return found if len(found) <= most else random.Random(seed).sample(found, most)


@dataclass
class Played:
    """One story as it was played: its record, and what people did when, by their words."""

    order: tuple[str, ...]
    record: list[Entry]
    did_s: dict[str, float]
    answers: list[Any] = field(default_factory=list)

    def between(self, first: str, then: str) -> tuple[float, float]:
        """From when to when something was so; to the end where it was never ended, or ended before it began."""
        return self.did_s[first], self.did_s.get(then, math.inf)

    def all(self, kind: str, subject: str | None = None, word: str | None = None) -> Iterator[Entry]:
        for entry in self.record:
            said = entry.value.get("what") if isinstance(entry.value, dict) else entry.value
            if entry.kind == kind and subject in (None, entry.subject) and word in (None, said):
                yield entry

    def raised(self) -> list[tuple[float, str, str]]:
        """Every message that was ever raised, for an instant too: when, its code, whom it is about."""
        return [(e.t_s, e.value["code"], e.subject or "") for e in self.all("message", word="raised")]

    def refused(self, request: Entry) -> bool:
        """Whether a request was refused in its own step."""
        return any(entry.step == request.step for entry in self.all("refusal"))

    def last_wake(self, t_s: float) -> float:
        """When the controller last woke before an instant."""
        return max((entry.t_s for entry in self.all("wake") if entry.t_s <= t_s), default=-math.inf)

    def alive(self, t_s: float) -> bool:
        """Whether the board has power."""
        out_s, in_s = self.did_s.get("plug out", math.inf), self.did_s.get("plug in", math.inf)
        return not out_s <= t_s < in_s

    def saw_cuts(self, t_s: float) -> bool:
        """Whether the saw has run for long enough to be seen."""
        on = [SAW_ON_S, *(at_s for act, at_s in self.did_s.items() if act == "saw on")]
        off = [at_s for act, at_s in self.did_s.items() if act == "saw off"]
        last_on = max((at_s for at_s in on if at_s <= t_s), default=-math.inf)
        last_off = max((at_s for at_s in off if at_s <= t_s), default=-math.inf)
        return last_on > last_off and t_s - last_on > SEEN_WITHIN_S


def play(order: Sequence[str], seed: int, text: str = WATCHED) -> Played:
    """Play one order: the saw cuts, then everything happens, each 0.3 s to 3 s after the one before."""
    draw = random.Random(f"{order} {seed}")
    did_s, at_s = {}, BEGINS_S
    for act in order:
        did_s[act] = round(at_s, 3)
        at_s += draw.choice((0.3, 1.0, 2.2, 3.0))
    record: list[Entry] = []
    game = new_game(stage(text), Fidelity.SAMPLES, seed=seed, watch=record.append, strict=True)
    game.happen(Happening(SAW_ON_S, What.TOOL_ON, "saw"))
    for act, when_s in did_s.items():
        game.happen(Happening(when_s, *ACTS[act]))
    game.run(at_s + AFTER_S)
    played = Played(tuple(order), record, did_s, game.answers)
    game.close()
    return played
