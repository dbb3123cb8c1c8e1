"""Contrast and colour vision, computed from the page's own colours.

Contrast: WCAG 2.2, relative luminance. Colour-vision deficiency: the matrices of Machado, Oliveira and Fernandes
(2009) for full severity, applied to linear light; difference as CIE76 distance in CIELAB.
"""

import itertools
import math
import re

import pytest

from gatekeeper.web.frame import STATIC

CSS = STATIC["page.css"].decode()
VISIONS = {
    "full": ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
    "protanopia": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
    "deuteranopia": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.01182, 0.04294, 0.968881)),
    "tritanopia": ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602), (0.004733, 0.691367, 0.3039)),
}


def palettes() -> dict[str, dict[str, str]]:
    """The custom properties of the bright and of the dark page."""
    blocks = re.findall(r":root \{(.*?)\}", CSS, re.S)
    assert len(blocks) == 2
    bright, dark = (dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", block)) for block in blocks)
    assert bright.keys() == dark.keys()
    return {"bright": bright, "dark": dark}


PALETTES = palettes()


def linear(colour: str) -> list[float]:
    values = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    return [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in values]


def luminance(colour: str) -> float:
    red, green, blue = linear(colour)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def lab(colour: str, vision: str) -> tuple[float, float, float]:
    seen = [max(0.0, min(1.0, sum(m * c for m, c in zip(row, linear(colour), strict=True)))) for row in VISIONS[vision]]
    red, green, blue = seen
    x = (0.4124 * red + 0.3576 * green + 0.1805 * blue) / 0.95047
    y = 0.2126 * red + 0.7152 * green + 0.0722 * blue
    z = (0.0193 * red + 0.1192 * green + 0.9505 * blue) / 1.08883
    fx, fy, fz = (t ** (1 / 3) if t > 0.008856 else 7.787 * t + 16 / 116 for t in (x, y, z))
    return 116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)


def test_the_arithmetic_is_right_on_known_values() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)
    assert lab("#ffffff", "full") == pytest.approx((100, 0, 0), abs=0.05)


@pytest.mark.parametrize("scheme", ["bright", "dark"])
@pytest.mark.parametrize(
    ("text", "ground"),
    [
        ("ink", "paper"),
        ("ink", "wash"),
        ("soft", "paper"),
        ("soft", "wash"),
        ("harm", "paper"),
        ("on-harm", "harm"),
    ],
)
def test_text_has_seven_to_one(scheme: str, text: str, ground: str) -> None:
    assert contrast(PALETTES[scheme][text], PALETTES[scheme][ground]) >= 7.0


@pytest.mark.parametrize("scheme", ["bright", "dark"])
@pytest.mark.parametrize("part", ["line", "air", "harm", "ink"])
def test_drawn_parts_have_three_to_one(scheme: str, part: str) -> None:
    assert contrast(PALETTES[scheme][part], PALETTES[scheme]["paper"]) >= 3.0
    assert contrast(PALETTES[scheme][part], PALETTES[scheme]["wash"]) >= 3.0


@pytest.mark.parametrize("scheme", ["bright", "dark"])
@pytest.mark.parametrize("vision", list(VISIONS))
def test_air_harm_and_ink_are_told_apart_by_every_eye(scheme: str, vision: str) -> None:
    colours = [lab(PALETTES[scheme][name], vision) for name in ("air", "harm", "ink")]
    for one, other in itertools.combinations(colours, 2):
        assert math.dist(one, other) >= 20.0


def test_no_colour_stands_outside_of_the_palette() -> None:
    rest = re.sub(r":root \{.*?\}", "", CSS, flags=re.S)
    assert re.findall(r"#[0-9a-f]{3,8}\b(?![\w-])", re.sub(r"#[a-z][\w-]*", "", rest)) == []
    assert re.findall(r"rgba?\(|hsl", rest) == []


def test_nothing_is_fetched_from_elsewhere() -> None:
    for content in STATIC.values():
        assert re.findall(rb"https?:|//[a-z]+\.|@import|url\(", content) == []
