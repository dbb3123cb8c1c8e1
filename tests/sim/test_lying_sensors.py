"""Sensors of currents that say what is not so, at samples; and that mending brings the truth back."""

import pytest
from play_shop import TEXT, stage

from sim.currents import Load, LoadKind, Stint
from sim.happening import Happening, What
from sim.lying_sensors import CurrentLie, Draws, LyingSensors
from sim.play import Fidelity, new_game

SAW, PLANER = Load(LoadKind.INDUCTION, 5.0), Load(LoadKind.INDUCTION, 6.0)


class Shop:
    """Two machines with a sensor each, and a clock moved by hand."""

    def __init__(self) -> None:
        self.now_s = 0.0
        self.flowing: dict[str, Draws] = {"tool:saw": [(SAW, None)], "tool:planer": [(PLANER, Stint(0.0))]}
        truth = {name: lambda name=name: self.flowing[name] for name in self.flowing}
        self.lying = LyingSensors(truth, lambda: self.now_s)


def test_stuck_on_runs_from_the_instant_on_and_silent_never() -> None:
    shop = Shop()
    shop.now_s = 7.0
    shop.lying.set("tool:saw", CurrentLie.STUCK_ON)
    shop.lying.set("tool:planer", CurrentLie.SILENT)
    assert shop.lying.draws("tool:saw") == [(SAW, Stint(7.0))]
    assert shop.lying.draws("tool:planer") == []
    shop.lying.set("tool:saw", None)
    shop.lying.set("tool:planer", None)
    assert {name: shop.lying.draws(name) for name in shop.flowing} == shop.flowing


def test_a_noisy_one_says_the_truth_and_nothing_by_turns() -> None:
    shop = Shop()
    shop.lying.set("tool:planer", CurrentLie.NOISY)
    seen = []
    for shop.now_s in (0.0, 3.9, 4.0, 7.9, 8.0, 12.1):
        seen.append(bool(shop.lying.draws("tool:planer")))
    assert seen == [True, True, False, False, True, False]


def test_swapped_ones_say_what_the_other_would() -> None:
    shop = Shop()
    shop.lying.swap("tool:saw", "tool:planer", True)
    assert shop.lying.draws("tool:saw") == shop.flowing["tool:planer"]
    assert shop.lying.draws("tool:planer") == shop.flowing["tool:saw"]
    shop.lying.swap("tool:saw", "tool:planer", False)
    assert shop.lying.draws("tool:saw") == shop.flowing["tool:saw"]


@pytest.mark.parametrize(
    ("fault", "subject", "said"),
    [
        ("swapped sensors", "lamp", r"This shop has no tool called lamp\."),
        ("motor sensor stuck on", "lamp", r"This shop has no sensor called confirm:lamp\."),
    ],
)
def test_what_the_shop_has_not_is_refused(fault: str, subject: str, said: str) -> None:
    game = new_game(stage(TEXT), Fidelity.SAMPLES)
    game.happen(Happening(0.1, What.FAULT, subject, fault))
    with pytest.raises(ValueError, match=said):
        game.run(0.2)
    game.played()
