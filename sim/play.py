"""Plays a shop: the very same core, or the very same service, over a day's happenings, at either fidelity."""

from collections.abc import Iterable, Mapping
from enum import Enum
from typing import TYPE_CHECKING, Any

from gatekeeper.shop.model import Shop
from sim.breakers import Breaker
from sim.game import Game as Game
from sim.game import GoesInCircles as GoesInCircles
from sim.happening import BEFALLS_CONTROLLER, Happening
from sim.played import USUAL_START_S as USUAL_START_S
from sim.played import Played as Played
from sim.played import Watch as Watch
from sim.stage import Stage, stage_of

if TYPE_CHECKING:
    from sim.sample_game import SampleGame


class Fidelity(Enum):
    """How finely a shop is played."""

    SIGNALS = "signals"
    SAMPLES = "samples"


def play(
    shop: Shop | Stage,
    happenings: Iterable[Happening],
    *,
    until_s: float,
    seed: int = 0,
    fidelity: Fidelity = Fidelity.SIGNALS,
    with_air: bool = True,
    watch: Watch | None = None,
    truth: bool = False,
    wall_start_s: float = USUAL_START_S,
    with_tracks: bool = True,
    breakers: Mapping[str, Breaker] | None = None,
    strict: bool = False,
) -> Played:
    """Play a shop from its controller's first waking.

    Args:
        shop: the shop, or a stage made of it once for many plays.
        happenings: what happens, in any order.
        until_s: how long, seconds, above 0.
        seed: of everything that is drawn (friction, noise).
        fidelity: signals, or samples: then every sensor is read through its line or its converter's codes.
        with_air: solve the air of the ducts (a stage has decided this already).
        watch: takes each entry of the record in order.
        truth: entries of the kinds ``truth_gate``, ``truth_motor``, ``truth_tool`` and ``truth_air`` are among them.
        wall_start_s: the wall clock at the beginning, seconds after midnight.
        with_tracks: keep what a report draws.
        breakers: by feeder; see ``sim.electricity``.
        strict: raise on a fault of the core's own.

    Raises:
        ValueError: a happening names what the shop has not, or asks what cannot be.
    """
    coming = list(happenings)
    if fidelity is Fidelity.SIGNALS and watch is None and all(one.what not in BEFALLS_CONTROLLER for one in coming):
        stage = shop if isinstance(shop, Stage) else stage_of(shop, with_air=with_air)
        shop = stage.with_long_leases()
    game = new_game(
        shop,
        fidelity,
        seed=seed,
        with_air=with_air,
        watch=watch,
        truth=truth,
        wall_start_s=wall_start_s,
        with_tracks=with_tracks,
        breakers=breakers,
        strict=strict,
    )
    for happening in coming:
        game.happen(happening)
    game.run(until_s)
    return game.played()


def new_game(shop: Shop | Stage, fidelity: Fidelity = Fidelity.SIGNALS, **how: Any) -> "Game | SampleGame":
    """One play at either fidelity. ``how``: the arguments of ``play`` that are left."""
    if fidelity is Fidelity.SIGNALS:
        return Game(shop, **how)
    from sim.sample_game import SampleGame

    return SampleGame(shop, **how)
