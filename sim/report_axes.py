"""Axes for the reports: time or share along, a figure up, round marks, and a few ways of drawing on them."""

from collections.abc import Sequence
from dataclasses import dataclass

from gatekeeper.layout.report_parts import round_marks, svg_text
from gatekeeper.markup import Html, el


@dataclass(frozen=True, slots=True)
class Axes:
    """A frame in which both axes begin at 0 unless ``least_x`` says otherwise.

    Args:
        most_x, most_y: the far ends, more than 0.
        name_x, name_y: what the axes are, with their units.
        width, height: the drawing's size, pixels.
        marks_x: where the axis along is marked, with words; round figures if not given.
    """

    most_x: float
    most_y: float
    name_x: str
    name_y: str
    width: float = 640.0
    height: float = 300.0
    least_x: float = 0.0
    marks_x: Sequence[tuple[float, str]] = ()

    @property
    def left(self) -> float:
        return 58.0

    @property
    def right(self) -> float:
        return self.width - 18.0

    @property
    def top(self) -> float:
        return 14.0

    @property
    def bottom(self) -> float:
        return self.height - 44.0

    def x(self, value: float) -> float:
        return self.left + (self.right - self.left) * (value - self.least_x) / (self.most_x - self.least_x)

    def y(self, value: float) -> float:
        return self.bottom - (self.bottom - self.top) * min(value, self.most_y) / self.most_y

    def frame(self) -> list[Html]:
        """Grid, marks, axes and their names."""
        parts: list[Html] = []
        for at, words in self.marks_x or [(mark, f"{mark:g}") for mark in round_marks(self.most_x)]:
            parts.append(el("path", {"d": f"M{self.x(at):.1f} {self.top}V{self.bottom}", "class": "grid"}))
            parts.append(svg_text(self.x(at), self.bottom + 15.0, words, "middle"))
        for mark in round_marks(self.most_y):
            parts.append(el("path", {"d": f"M{self.left} {self.y(mark):.1f}H{self.right}", "class": "grid"}))
            parts.append(svg_text(self.left - 6.0, self.y(mark) + 4.0, f"{mark:g}", "end"))
        parts.append(el("path", {"d": f"M{self.left} {self.top}V{self.bottom}H{self.right}", "class": "axis"}))
        parts.append(svg_text((self.left + self.right) / 2.0, self.height - 8.0, self.name_x, "middle"))
        turn = f"translate(13 {(self.top + self.bottom) / 2.0:.0f}) rotate(-90)"
        parts.append(el("text", {"transform": turn, "text-anchor": "middle"}, self.name_y))
        return parts

    def line(self, points: Sequence[tuple[float, float]], kind: str) -> Html:
        """Straight from point to point."""
        told = "L".join(f"{self.x(x):.1f} {self.y(y):.1f}" for x, y in points)
        return el("path", {"d": f"M{told}", "class": kind})

    def steps(self, points: Sequence[tuple[float, float]], kind: str) -> Html:
        """Each value holds until the next point."""
        told = f"M{self.x(points[0][0]):.1f} {self.y(points[0][1]):.1f}"
        told += "".join(f"H{self.x(x):.1f}V{self.y(y):.1f}" for x, y in points[1:])
        return el("path", {"d": told, "class": kind})

    def level(self, value: float, words: str, *, is_below: bool = False) -> list[Html]:
        """A dashed line across, with its words above its right end, or below its left one."""
        at = self.y(value)
        line = el("path", {"d": f"M{self.left} {at:.1f}H{self.right}", "class": "level"})
        if is_below:
            return [line, svg_text(self.left + 6.0, at + 15.0, words, "start", "level-word")]
        return [line, svg_text(self.right - 4.0, at - 5.0 if at > 28.0 else at + 14.0, words, "end", "level-word")]

    def dot(self, x: float, y: float) -> Html:
        """A point that was computed, on a line that joins it with others."""
        return el("circle", {"cx": f"{self.x(x):.1f}", "cy": f"{self.y(y):.1f}", "r": 3.5, "class": "point"})

    def upright(self, x: float, kind: str) -> Html:
        """A line from bottom to top."""
        return el("path", {"d": f"M{self.x(x):.1f} {self.top}V{self.bottom}", "class": kind})

    def drawing(self, label: str, parts: Sequence[Html], kind: str = "plot") -> Html:
        """The whole as one drawing; ``label`` is for those who cannot see it."""
        box = {"viewBox": f"0 0 {self.width:.0f} {self.height:.0f}", "class": kind, "role": "img", "aria-label": label}
        return el("svg", box, self.frame(), parts)
