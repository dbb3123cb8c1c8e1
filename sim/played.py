"""What came of a play, the same for both fidelities."""

from collections.abc import Callable
from dataclasses import dataclass

from gatekeeper.control.messages import Entry
from gatekeeper.control.snapshot import CoreView
from sim.figures import Figures, Tracks

#: A play begins at eight in the morning unless told otherwise, seconds after midnight.
USUAL_START_S = 8 * 3600.0

Watch = Callable[[Entry], None]


@dataclass(frozen=True, slots=True)
class Played:
    """What came of a play. ``last``: what the core believes at the end; None while no controller runs."""

    figures: Figures
    last: CoreView | None
    tracks: Tracks
