"""For each row of the catalogue that is tried on signals: a small shop, and the story in which its fault matters."""

import math
import random
from dataclasses import dataclass
from functools import lru_cache

from gatekeeper.control.messages import Entry
from gatekeeper.shop.load import load_shop
from gatekeeper.shop.model import Shop
from sim.catalogue import BY_NAME
from sim.happening import Happening, What
from sim.play import Fidelity, Game, new_game
from sim.sample_game import SampleGame
from sim.stage import Stage, stage_of
from sim.trial import Trial

HEAD = "shop: {name: A shop for faults, mains: 50 Hz, open_flue_nearby: no}"

#: Gates with position switches, a hand gate with one, a run sensor, every kind of input.
WATCHED = f"""{HEAD}
motors:
  fan:
    power: 2.2 kW
    phases: three
    spin_down: 8 s
    starts_per_hour: 60 per hour
    rest: 20 s
    switched_by: {{pin: GPIO17, when_board_dies: drops}}
    confirmed_by: {{converter: motor board, channel: 0, range: 40 A, within: 3 s}}
gates:
  planer gate: {{diameter: 125 mm, servo: {{pin: GPIO12}}, travel: 1500 ms, open_contact: GPIO4}}
  saw gate: {{diameter: 125 mm, servo: {{pin: GPIO13}}, travel: 1500 ms, open_contact: GPIO5, shut_contact: GPIO6}}
  lathe gate: {{diameter: 125 mm, open_contact: GPIO16}}
converters:
  tool board: {{bus: 0, chip_select: 0}}
  motor board: {{bus: 0, chip_select: 1}}
tools:
  planer: {{gates: planer gate, sensor: {{converter: tool board, channel: 0, range: 30 A}}}}
  saw: {{gates: saw gate, sensor: {{converter: tool board, channel: 1, range: 30 A}}}}
  lathe: {{gates: lathe gate, sensor: {{converter: tool board, channel: 2, range: 30 A}}}}
inputs:
  red button: {{kind: red button, pin: GPIO22}}
  heat: {{kind: fire, pin: GPIO23}}
  bin door: {{kind: door, pin: GPIO24, motors: fan}}
  selector: {{kind: hand-off-auto, hand_pin: GPIO25, auto_pin: GPIO26, motors: fan}}
"""

_BARE = f"""{HEAD}
motors:
  fan:
    power: 2.2 kW
    phases: three
    spin_down: 8 s
    starts_per_hour: 60 per hour
    rest: 20 s
    switched_by: {{pin: GPIO17, when_board_dies: drops}}
    PROOF
gates:
  planer gate: {{diameter: 125 mm, servo: {{pin: GPIO12}}, travel: 1500 ms}}
  saw gate: {{diameter: 125 mm, servo: {{pin: GPIO13}}, travel: 1500 ms}}
  lathe gate: {{diameter: 125 mm, servo: {{pin: GPIO16}}, travel: 1500 ms}}
converters:
  tool board: {{bus: 0, chip_select: 0}}
tools:
  planer: {{gates: planer gate, longest_run: 2 min, sensor: {{converter: tool board, channel: 0, range: 30 A}}}}
  saw: {{gates: saw gate, longest_run: 2 min, sensor: {{converter: tool board, channel: 1, range: 30 A}}}}
  lathe: {{gates: lathe gate, sensor: {{converter: tool board, channel: 2, range: 30 A}}}}
"""
#: Travel time alone is the proof, and nothing sees the motor.
BY_TIME = _BARE.replace("    PROOF\n", "")
#: The same with a switch that says that air moves.
BY_AIR = _BARE.replace("PROOF", "pressure_switch: GPIO22")

FROM_S = 20.0


@dataclass(frozen=True)
class Story:
    """What happens beside the fault, which begins at ``FROM_S``: tools by ("saw", on, off), and further happenings."""

    shop: str
    subject: str
    cuts: tuple[tuple[str, float, float], ...] = ()
    more: tuple[Happening, ...] = ()
    until_s: float = math.inf
    ends_s: float = 120.0


def by_hand(at_s: float, gate: str, to: float) -> Happening:
    return Happening(at_s, What.MOVE_BY_HAND, gate, to)


#: The saw starts after the fault; it runs through it; it stops and starts anew after everything.
AFTER = (("saw", 30.0, 100.0),)
THROUGH = (("saw", 10.0, 100.0),)
ANEW = (("saw", 10.0, 50.0), ("saw", 60.0, 80.0))
EVER = math.inf

STORIES: dict[str, Story] = {
    "stuck gate": Story(WATCHED, "saw gate", AFTER),
    "stuck gate that nothing watches": Story(BY_TIME, "saw gate", AFTER),
    "stuck gate on a duct with an air switch": Story(BY_AIR, "saw gate", AFTER),
    "slow gate": Story(WATCHED, "saw gate", AFTER),
    "reversed gate": Story(WATCHED, "saw gate", AFTER),
    "hand gate moved by somebody": Story(
        WATCHED, "lathe gate", (("lathe", 8.0, EVER),), (by_hand(5.0, "lathe gate", 1.0),)
    ),
    "gate moved by somebody": Story(WATCHED, "saw gate", THROUGH),
    "hand in a held gate": Story(WATCHED, "saw gate", (("saw", 30.0, 50.0), ("saw", 70.0, 90.0)), until_s=60.0),
    "dead position switch": Story(WATCHED, "saw gate", AFTER),
    "position switch stuck at open": Story(WATCHED, "saw gate", (("saw", 5.0, 30.0), ("planer", 25.0, 100.0))),
    "position switch stuck at shut": Story(WATCHED, "saw gate", AFTER),
    "loose position switch": Story(WATCHED, "saw gate", AFTER),
    "dead sensor": Story(WATCHED, "saw", until_s=60.0),
    "dead sensor in mid-cut": Story(WATCHED, "saw", (("saw", 10.0, 80.0), ("planer", 30.0, 40.0)), until_s=60.0),
    "sensor stuck on": Story(BY_TIME, "saw", ends_s=800.0),
    "silent sensor": Story(WATCHED, "saw", AFTER),
    "noisy sensor": Story(WATCHED, "saw", (("saw", 10.0, EVER),), ends_s=900.0),
    "swapped sensors": Story(BY_TIME, "saw", AFTER),
    "lost converter": Story(WATCHED, "tool board", (("saw", 10.0, 80.0),), until_s=60.0),
    "dead motor sensor": Story(WATCHED, "fan", (("saw", 10.0, 30.0), ("saw", 60.0, 70.0))),
    "motor sensor stuck on": Story(WATCHED, "fan", (("saw", 10.0, 30.0),)),
    "dead air switch": Story(BY_AIR, "fan", AFTER),
    "air switch stuck on": Story(BY_AIR, "fan", (("saw", 30.0, 60.0), ("planer", 40.0, 70.0))),
    "welded contactor": Story(WATCHED, "fan", (("saw", 10.0, 30.0),)),
    "welded contactor that nothing watches": Story(BY_TIME, "fan", (("saw", 10.0, 30.0),)),
    "silent contactor": Story(WATCHED, "fan", AFTER),
    "silent contactor that nothing watches": Story(BY_TIME, "fan", AFTER),
    "tripped overload": Story(WATCHED, "fan", THROUGH),
    "tripped breaker": Story(WATCHED, "main feeder", THROUGH, until_s=60.0),
    "collector started at its own switch": Story(WATCHED, "fan"),
    "taken over at Hand": Story(WATCHED, "selector", (("saw", 10.0, 35.0), ("planer", 30.0, 50.0)), until_s=60.0),
    "switched off at Off": Story(WATCHED, "selector", (("saw", 10.0, 50.0), ("planer", 30.0, 40.0)), until_s=60.0),
    "blocked filter": Story(BY_AIR, "fan", THROUGH),
    "blocked filter that nothing watches": Story(BY_TIME, "fan", THROUGH),
    "full bin": Story(BY_TIME, "fan", THROUGH),
    "blocked branch": Story(BY_AIR, "saw gate", THROUGH),
    "open clean-out": Story(BY_TIME, "fan", THROUGH),
    "door opened in mid-cut": Story(WATCHED, "bin door", (("saw", 19.0, 50.0), ("saw", 60.0, 80.0)), until_s=40.0),
    "power cut": Story(WATCHED, "", ANEW, until_s=25.0),
    "tool left on through a power cut": Story(WATCHED, "saw", until_s=30.0),
    "the board's plug pulled": Story(WATCHED, "", ANEW, until_s=25.0),
    "brown-out while gates move": Story(BY_TIME, "", (("saw", 19.5, 50.0), ("saw", 60.0, 80.0))),
    "program killed in mid-cut": Story(WATCHED, "", ANEW, until_s=22.0),
    "program stopped and started": Story(WATCHED, "", ANEW, until_s=22.0),
    "controller stands still": Story(WATCHED, "", ANEW),
    "clock step": Story(WATCHED, "", ANEW),
    "red button in mid-cut": Story(WATCHED, "red button", (("saw", 19.5, 50.0), ("saw", 60.0, 80.0)), until_s=40.0),
    "fire in mid-cut": Story(WATCHED, "heat", (("saw", 19.5, 50.0), ("saw", 60.0, 80.0)), until_s=40.0),
    "fire reset from afar": Story(WATCHED, "heat", THROUGH, until_s=25.0),
    "out of service in mid-cut": Story(WATCHED, "fan", (("saw", 19.5, 50.0), ("saw", 60.0, 80.0)), until_s=40.0),
    "Stop pressed in mid-cut": Story(WATCHED, "fan", (("saw", 10.0, 30.0), ("saw", 40.0, 60.0))),
    "shop shut with work going on": Story(
        WATCHED, "", (("saw", 10.0, 40.0), ("planer", 30.0, 35.0), ("planer", 70.0, 80.0)), until_s=60.0
    ),
    "two people at once": Story(WATCHED, "fan", (("saw", 10.0, 15.0),)),
    "delay changed in mid-countdown": Story(WATCHED, "fan", (("saw", 10.0, 18.0),)),
    "every tool at once": Story(BY_TIME, "", until_s=90.0),
}


@lru_cache
def stage(text: str) -> Stage:
    shop = load_shop(text, "shop.yaml")
    assert isinstance(shop, Shop), str(shop)
    return stage_of(shop, with_air=False)


def happenings_of(name: str, seed: int = 0, *, with_fault: bool = True) -> list[Happening]:
    """The whole story of a row, with its fault or without."""
    story, found = STORIES[name], []
    for tool, on_s, off_s in story.cuts:
        found.append(Happening(on_s, What.TOOL_ON, tool))
        if math.isfinite(off_s):
            found.append(Happening(off_s, What.TOOL_OFF, tool))
    found += story.more
    if with_fault:
        happens = BY_NAME[name].happens
        assert happens is not None
        found += happens(stage(story.shop).shop, story.subject, FROM_S, story.until_s, random.Random(seed))
    return sorted(found, key=lambda one: one.at_s)


def tried(
    name: str,
    seed: int = 0,
    *,
    with_fault: bool = True,
    fidelity: Fidelity = Fidelity.SIGNALS,
    ends_s: float = math.inf,
) -> tuple[Trial, list[Entry]]:
    """Play a row's story: the trial, with the play's own time, and the entries as they were written."""
    story = STORIES[name]
    heard: list[tuple[float, Entry]] = []
    games: list[Game | SampleGame] = []

    def hear(entry: Entry) -> None:
        heard.append((games[0].now_s if games else 0.0, entry))

    game = new_game(stage(story.shop), fidelity, seed=seed, watch=hear, truth=True)
    games.append(game)
    for happening in happenings_of(name, seed, with_fault=with_fault):
        game.happen(happening)
    game.run(min(story.ends_s, ends_s))
    if isinstance(game, SampleGame):
        game.close()
    entries = [entry.as_json() | {"t_s": round(at_s, 3)} for at_s, entry in heard]
    return Trial(story.subject, FROM_S, story.until_s, entries), [entry for _, entry in heard]
