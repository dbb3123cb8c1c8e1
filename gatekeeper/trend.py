"""Readings over time as a small plain drawing, the same on the page and in the book. Ink only; it prints in black."""

from collections.abc import Sequence
from datetime import datetime

from gatekeeper.markup import Html, el

WIDTH, HEIGHT = 340, 190
_LEFT, _RIGHT, _TOP, _BOTTOM = 66, 8, 14, 34


def trend_svg(points: Sequence[tuple[float, float]], unit: str, low_share: float, said: str) -> Html:
    """Draw readings.

    Args:
        points: wall clock in seconds since 1970 and value in ``unit``, oldest first, at least one; values above 0.
        unit: what stands at the axis.
        low_share: how far below the first one a reading is told, as a share; drawn as a broken line.
        said: what to see, for those who cannot.
    """
    first, top = points[0][1], 1.15 * max(value for _, value in points)
    begin, end = points[0][0], max(points[-1][0], points[0][0] + 1.0)

    def x(at: float) -> float:
        return round(_LEFT + (at - begin) / (end - begin) * (WIDTH - _LEFT - _RIGHT), 1)

    def y(value: float) -> float:
        return round(HEIGHT - _BOTTOM - value / top * (HEIGHT - _TOP - _BOTTOM), 1)

    places = [(x(at) if len(points) > 1 else float(_LEFT), y(value)) for at, value in points]
    path = "M" + " L".join(f"{left} {high}" for left, high in places)
    ticks = [_tick(value, y(value), unit) for value in (0.0, first)]
    low = (1 - low_share) * first
    return el(
        "svg",
        {"viewBox": f"0 0 {WIDTH} {HEIGHT}", "class": "trend", "role": "img", "aria-label": said, "width": "100%"},
        _line(_LEFT, y(0), WIDTH - _RIGHT, y(0)),
        _line(_LEFT, _TOP, _LEFT, y(0)),
        ticks,
        _line(_LEFT, y(first), WIDTH - _RIGHT, y(first), "1 3"),
        _line(_LEFT, y(low), WIDTH - _RIGHT, y(low), "6 4"),
        _text(WIDTH - _RIGHT, y(first) - 4, "day one", "end"),
        _text(WIDTH - _RIGHT, y(low) + 13, f"{low_share:.0%} below", "end"),
        el("path", {"d": path, "fill": "none", "stroke": "currentColor", "stroke-width": 2}),
        [el("circle", {"cx": left, "cy": high, "r": 3.5, "fill": "currentColor"}) for left, high in places],
        _text(_LEFT, HEIGHT - 14, _day(points[0][0]), "start"),
        _text(WIDTH - _RIGHT, HEIGHT - 14, _day(points[-1][0]), "end") if len(points) > 1 else None,
    )


def _tick(value: float, high: float, unit: str) -> Html:
    return _text(_LEFT - 5, high + 4, f"{value:.3g} {unit}" if value else "0", "end")


def _line(x1: float, y1: float, x2: float, y2: float, dashes: str | None = None) -> Html:
    path = f"M{x1} {y1} L{x2} {y2}"
    return el(
        "path", {"d": path, "stroke": "currentColor", "stroke-width": 1, "fill": "none", "stroke-dasharray": dashes}
    )


def _text(left: float, high: float, text: str, anchor: str) -> Html:
    return el("text", {"x": left, "y": high, "text-anchor": anchor, "font-size": 11, "fill": "currentColor"}, text)


def _day(wall_s: float) -> str:
    return datetime.fromtimestamp(wall_s).strftime("%Y-%m-%d")
