"""Long leases in the plays where nothing befalls the controller: the same record but for what renews."""

from functools import lru_cache
from typing import Any

from plant_rig import example_shop
from play_shop import TEXT, cut, stage

from gatekeeper.control.messages import Entry
from sim.day import begins_s, working_days
from sim.day_pattern import default_pattern
from sim.figures import Figures
from sim.happening import BEFALLS_CONTROLLER, Happening, What
from sim.play import Game, play
from sim.stage import Stage, stage_of

HOURS_S = 3 * 3600.0


@lru_cache
def twelve() -> Stage:
    return stage_of(example_shop("shared-twelve"))


def played(stage: Stage, seed: int) -> tuple[Figures, list[tuple[Any, ...]], int]:
    record: list[Entry] = []
    pattern = default_pattern(stage.shop)
    begin_s = begins_s(pattern)
    game = Game(stage, seed=seed, watch=record.append, wall_start_s=begin_s, strict=True)
    for happening in working_days(stage.shop, pattern, 1, seed, begin_s):
        game.happen(happening)
    game.run(HOURS_S)
    said = [(e.t_s, e.kind, e.subject, _plain(e), e.rule, e.why) for e in record if not _is_of_leases(e)]
    return game.figures(), said, len(record)


def _is_of_leases(entry: Entry) -> bool:
    """Ticks and renewals, and the entry that names how long a lease is."""
    if entry.kind in ("tick", "shop"):
        return True
    return entry.kind == "motor_command" and isinstance(entry.value, dict) and entry.value["what"] == "renew"


def _plain(entry: Entry) -> Any:
    """Without the end of its lease."""
    return entry.value["what"] if entry.kind == "motor_command" and isinstance(entry.value, dict) else entry.value


def test_a_morning_with_long_leases_is_the_same_morning() -> None:
    usual, said, entries = played(twelve(), 3)
    plain, same, fewer = played(twelve().with_long_leases(), 3)
    assert said == same
    assert usual == plain
    assert usual.cuts > 10
    assert fewer < entries / 2


def test_a_play_in_which_the_controller_is_held_up_keeps_its_own_leases() -> None:
    work = cut("saw", 5.0, 200.0)
    held_up = Happening(60.0, What.STANDS_STILL, None, 60.0)
    assert held_up.what in BEFALLS_CONTROLLER
    usual_s = play(stage(TEXT), work, until_s=300.0).figures.motors["fan"].running_s
    shorter_s = play(stage(TEXT), [*work, held_up], until_s=300.0).figures.motors["fan"].running_s
    # Its last word held for five seconds at the most, and nothing starts the fan again by itself.
    assert usual_s > 190.0
    assert shorter_s < 70.0
