"""What the drawings and sentences of a day share: which collector serves whom, what runs on, which cuts got no air."""

from collections.abc import Sequence
from dataclasses import dataclass

from gatekeeper.shop.model import Shop, Units
from sim.figures import HAS_AIR_SHARE, Figures, HoodPoint, Span, Tracks

DAY_S = 86400
_LB_KG = 0.45359237


@dataclass(frozen=True, slots=True)
class Day:
    """One play as the report sees it.

    Args:
        shop, name: the shop and the name of its file.
        figures, tracks: what came of the play.
        begin_s: the time of day at its beginning, seconds after midnight; None: times count from there.
        has_seconds: whether instants are told to the second.
    """

    shop: Shop
    name: str
    figures: Figures
    tracks: Tracks
    begin_s: float | None = None
    has_seconds: bool = False

    def clock(self, at_s: float) -> str:
        """An instant of the play in words: "9:15", or "0:02:09" where seconds matter."""
        return self._told(at_s, self.has_seconds)

    def clock_with_s(self, at_s: float) -> str:
        """The same to the second: "9:15:08"."""
        return self._told(at_s, True)

    def _told(self, at_s: float, with_seconds: bool) -> str:
        whole = round(at_s + (self.begin_s or 0.0))
        if self.begin_s is not None and whole > DAY_S:
            whole %= DAY_S
        minutes = f"{whole // 3600}:{whole // 60 % 60:02d}"
        return f"{minutes}:{whole % 60:02d}" if with_seconds else minutes

    @property
    def weight_unit(self) -> str:
        return "lb" if self.shop.units is Units.INCH else "kg"

    def weight_number(self, value_kg: float) -> float:
        """In pounds or kilograms."""
        return value_kg / _LB_KG if self.shop.units is Units.INCH else value_kg

    def weight(self, value_kg: float) -> str:
        """A weight of chips: "12 lb", "0.4 kg"; little is said as little."""
        number = self.weight_number(value_kg)
        return f"{number:.0f} {self.weight_unit}" if number >= 10 else f"{number:.2g} {self.weight_unit}"


def runs_on(running: Sequence[Span], tools: Sequence[Sequence[Span]]) -> list[tuple[float, float, bool]]:
    """A motor's running stints cut at its tools' starts and stops: from, to, and whether a tool ran meanwhile."""
    busy = merged([(span.from_s, span.to_s) for spans in tools for span in spans])
    parts: list[tuple[float, float, bool]] = []
    place = 0
    for span in running:
        at_s = span.from_s
        while place < len(busy) and busy[place][1] <= at_s:
            place += 1
        ahead = place
        while at_s < span.to_s:
            if ahead >= len(busy) or busy[ahead][0] >= span.to_s:
                parts.append((at_s, span.to_s, False))
                break
            begin, end = busy[ahead]
            if begin > at_s:
                parts.append((at_s, begin, False))
            parts.append((max(begin, at_s), min(end, span.to_s), True))
            at_s = min(end, span.to_s)
            ahead += 1
    return parts


def merged(spans: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Spans in order, those that touch made one."""
    out: list[tuple[float, float]] = []
    for begin, end in sorted(spans):
        if out and begin <= out[-1][1]:
            out[-1] = (out[-1][0], max(out[-1][1], end))
        else:
            out.append((begin, end))
    return out


def cuts_at_hood(points: Sequence[HoodPoint]) -> list[list[HoodPoint]]:
    """The points of one hood, cut by cut."""
    cuts: list[list[HoodPoint]] = [[]]
    for point in points:
        cuts[-1].append(point)
        if point.is_last:
            cuts.append([])
    return [cut for cut in cuts if cut]


def had_no_air(cut: Sequence[HoodPoint]) -> bool:
    """Whether the flow of a cut never reached half of the need, as the figures count it."""
    return all(point.flow_m3s < HAS_AIR_SHARE * point.need_m3s for point in cut)


def worst_in_an_hour(instants: Sequence[float]) -> list[tuple[float, int]]:
    """How many of these instants lie in the last 3600 s, as steps: from when on, how many."""
    changes = sorted([(at_s, 1) for at_s in instants] + [(at_s + 3600.0, -1) for at_s in instants])
    steps: list[tuple[float, int]] = [(0.0, 0)]
    for at_s, change in changes:
        count = steps[-1][1] + change
        if steps[-1][0] == at_s:
            steps[-1] = (at_s, count)
        else:
            steps.append((at_s, count))
    return steps
