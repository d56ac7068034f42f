"""What a terminal can show of a colour: all of it, the nearest of its 256, or nothing."""

from collections.abc import Callable
from functools import cache, lru_cache
from typing import TypeAlias

from leerie import tint
from leerie.tint import Rgb

Palette: TypeAlias = Callable[[Rgb], Rgb | None]
"""What is shown in place of a colour; None: the terminal's own."""
Lab: TypeAlias = tuple[float, float, float]

CUBE = (0, 95, 135, 175, 215, 255)
GREYS = range(8, 248, 10)
"""Channels of colours 16…231 and 232…255 of terminals with 256: common practice, no source."""
WHITE = 0.9505, 1.0, 1.089
"""X, Y, Z of D65 (IEC 61966-2-1:1999)."""


def true(rgb: Rgb) -> Rgb:
    return rgb


def none(_rgb: Rgb) -> None:
    return None


@lru_cache(maxsize=8192)
def indexed(rgb: Rgb) -> Rgb:
    """The one of the 256 that looks most like it: the nearest in CIE 1976 L*a*b* (ISO/CIE 11664-4)."""
    lightness, red_green, yellow_blue = _lab(rgb)
    return min(
        _colours(),
        key=lambda known: (
            (known[1][0] - lightness) ** 2 + (known[1][1] - red_green) ** 2 + (known[1][2] - yellow_blue) ** 2
        ),
    )[0]


def of(colours: str | None) -> Palette:
    """By the name that rich has for a terminal's colours. With 16 or 8 of them no light would look like light."""
    if colours == "truecolor":
        return true
    return indexed if colours == "256" else none


@cache
def _colours() -> tuple[tuple[Rgb, Lab], ...]:
    cube = [(red, green, blue) for red in CUBE for green in CUBE for blue in CUBE]
    return tuple((rgb, _lab(rgb)) for rgb in [*cube, *((grey, grey, grey) for grey in GREYS)])


def _lab(rgb: Rgb) -> Lab:
    red, green, blue = map(tint.linear, rgb)
    xyz = (
        0.4124 * red + 0.3576 * green + 0.1805 * blue,
        0.2126 * red + 0.7152 * green + 0.0722 * blue,
        0.0193 * red + 0.1192 * green + 0.9505 * blue,
    )
    x, y, z = (_root(value / white) for value, white in zip(xyz, WHITE, strict=True))
    return 116 * y - 16, 500 * (x - y), 200 * (y - z)


def _root(share: float) -> float:
    return share ** (1 / 3) if share > (6 / 29) ** 3 else (841 / 108) * share + 4 / 29
