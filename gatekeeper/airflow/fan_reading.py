"""One reading of static suction in a duct against the fan curve: which member of its family gives that reading.

Theory of operation. What the ducts take at a flow is known from their own sizes, so one reading of suction, with known
gates open, fixes the flow through them and with it the pressure that the fan makes: one point of its real curve. An
estimate from motor power is right in its shape at best, and wrong in how fast and how large the wheel is. So the curve
is moved as a whole along its family of similar curves: the same fan at another speed, every flow times ``n`` and every
pressure times ``n`` squared (the fan laws). On a given system of ducts a fan then stays at the same place of its curve
at every speed, with the same efficiency; a factor on the pressures alone would also move that place, and would have the
fan push the same air against nothing, which no wheel of another speed or diameter does. The pressure at the reading's
own gates is the same by either way; for other gates the two differ by what one reading cannot tell.
"""

from collections.abc import Collection
from dataclasses import dataclass

from gatekeeper.airflow.fan import FanCurve
from gatekeeper.airflow.solve import Prepared

#: By how much a reading may move the pressures of an estimate, at the least and at the most. Our own: the estimate is
#: said to be right within a quarter, and what lies this far beyond is no error of an estimate but of the reading, of
#: the gates, or of what the file says.
LEAST_FACTOR, MOST_FACTOR = 0.6, 1.4
_HALVINGS = 60


@dataclass(frozen=True, slots=True)
class FanFit:
    """A curve that gives a reading.

    Args:
        factor: its pressures over those of the curve before.
        speed_ratio: its flows over those before; the square root of ``factor``.
        curve: the curve itself.
        before_pa: the suction that the curve before gives at the tap.
    """

    factor: float
    speed_ratio: float
    curve: FanCurve
    before_pa: float


class NoFit(ValueError):
    """No curve within the allowed factors gives the reading; the text is one sentence.

    ``before_pa``: what the curve gives as it is; ``least_pa``, ``most_pa``: what it gives at either bound.
    """

    def __init__(self, read_pa: float, before_pa: float, least_pa: float, most_pa: float) -> None:
        self.before_pa, self.least_pa, self.most_pa = before_pa, least_pa, most_pa
        super().__init__(
            f"a suction of {read_pa:.0f} Pa is no reading of this fan: it gives {before_pa:.0f} Pa there, "
            f"and {least_pa:.0f} Pa to {most_pa:.0f} Pa within what an estimate may be off"
        )


def suction_at(prepared: Prepared, duct: str, open_gates: Collection[str]) -> float:
    """Static suction [Pa] at the downstream end of a duct, above 0 below the room. Raises KeyError for no such duct."""
    return -prepared.solve(open_gates).ducts()[duct].static_downstream_pa


def speed_for(
    prepared: Prepared, duct: str, read_pa: float, open_gates: Collection[str], least: float, most: float
) -> float:
    """The speed of the fan, as a share of its present one, at which the model shows a reading.

    ``least`` or ``most`` where no speed between gives it: suction rises strictly with speed.
    """
    curve, low, high = prepared.network.fan, least, most
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if suction_at(prepared.with_fan(curve.scaled(middle)), duct, open_gates) < read_pa:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def fan_fit(prepared: Prepared, duct: str, read_pa: float, open_gates: Collection[str]) -> FanFit:
    """The curve of the same family that gives a reading.

    Args:
        prepared: the ducts with the fan as it stands.
        duct: where the gauge was held: at the downstream end of this duct of the network.
        read_pa: static suction that it showed, pascal, above 0.
        open_gates: the gates that were open, all others shut.

    Raises:
        NoFit: it would take a factor outside of ``LEAST_FACTOR`` to ``MOST_FACTOR``.
        KeyError: no such duct. ValueError: no such gate.
    """
    curve = prepared.network.fan
    least, most = LEAST_FACTOR**0.5, MOST_FACTOR**0.5
    before_pa, least_pa, most_pa = (
        suction_at(prepared.with_fan(curve.scaled(ratio)), duct, open_gates) for ratio in (1.0, least, most)
    )
    if not least_pa <= read_pa <= most_pa:
        raise NoFit(read_pa, before_pa, least_pa, most_pa)
    ratio = speed_for(prepared, duct, read_pa, open_gates, least, most)
    return FanFit(ratio * ratio, ratio, curve.scaled(ratio), before_pa)
