"""Light as colours of a screen: whites, lamps and the sky, and whether text can be read on them.

How bright a lamp looks in a picture, and the sky, are to taste; whites, colours and contrast are not.
"""

from collections.abc import Sequence
from functools import lru_cache
from typing import TypeAlias

from leerie import colour

Rgb: TypeAlias = tuple[int, int, int]
"""sRGB, 0…255."""

LEGIBLE = 4.5
"""Contrast from which text is easy to read (WCAG 2.2, success criterion 1.4.3)."""

SKY: tuple[tuple[float, Rgb, Rgb], ...] = (
    (-18.0, (9, 11, 28), (19, 23, 46)),
    (-6.0, (24, 30, 70), (66, 64, 112)),
    (-1.0, (58, 72, 128), (216, 128, 88)),
    (4.0, (92, 138, 192), (242, 196, 138)),
    (12.0, (86, 150, 212), (172, 206, 232)),
    (45.0, (58, 132, 212), (150, 200, 240)),
)
"""The sun's elevation in degrees, and the sky's colour high up and at the horizon."""


def mix(first: Rgb, second: Rgb, share: float) -> Rgb:
    """From the first (0) to the second (1)."""
    keep = 1 - share
    return (
        round(keep * first[0] + share * second[0]),
        round(keep * first[1] + share * second[1]),
        round(keep * first[2] + share * second[2]),
    )


def of_white(kelvin: float) -> Rgb:
    """A white (K) as bright as the screen can show it."""
    return of_colour(*colour.chromaticity(kelvin))


def of_colour(x: float, y: float) -> Rgb:
    """A chromaticity (CIE 1931) as bright as the screen can show it."""
    red, green, blue = (round(255 * part) for part in colour.rgb(x, y))
    return red, green, blue


def lit(hue: Rgb, level: float) -> Rgb:
    """A lamp of that colour at a level (0…1): dimmed it is darker, and never lost on what is dark."""
    return mix((0, 0, 0), hue, 0.55 + 0.45 * level)


def together(lamps: Sequence[tuple[Rgb, float]]) -> Rgb:
    """What lamps of these colours bring together, each counting as much as it shines; one at least does."""
    total = sum(light for _, light in lamps)
    red, green, blue = (round(sum(hue[channel] * light / total for hue, light in lamps)) for channel in range(3))
    return red, green, blue


# ---- the sky ---------------------------------------------------------------------------------------------------------


def sky(elevation: float, height: float, cloud: float = 0.0) -> Rgb:
    """The sky by the sun's elevation (degrees), from the horizon (height 0) to high up (1), under so much cloud."""
    below = max((step for step in SKY if step[0] <= elevation), default=SKY[0])
    above = min((step for step in SKY if step[0] > elevation), default=below)
    share = 0.0 if above is below else max(0.0, (elevation - below[0]) / (above[0] - below[0]))
    clear = mix(mix(below[2], above[2], share), mix(below[1], above[1], share), height)
    return mix(clear, cloudy(clear), 0.55 * cloud)


def cloudy(clear: Rgb) -> Rgb:
    """A cloud before a sky of that colour: its brightness, hardly its hue."""
    grey = round(0.3 * clear[0] + 0.59 * clear[1] + 0.11 * clear[2])
    return mix(mix((grey, grey, grey), clear, 0.35), (236, 238, 244), 0.25 * grey / 255)


def daylight(elevation: float, cloud: float) -> float:
    """How bright the day looks, 0…1."""
    return min(1.0, max(0.0, (elevation + 6) / 24)) * (1 - 0.45 * cloud)


# ---- contrast --------------------------------------------------------------------------------------------------------


def contrast(first: Rgb, second: Rgb) -> float:
    """Of two colours, 1…21 (WCAG 2.2)."""
    low, high = sorted((_luminance(first), _luminance(second)))
    return (high + 0.05) / (low + 0.05)


def _luminance(rgb: Rgb) -> float:
    """Relative luminance of sRGB (IEC 61966-2-1:1999), 0…1."""
    red, green, blue = map(linear, rgb)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@lru_cache(maxsize=256)
def linear(value: int) -> float:
    """A channel of sRGB (0…255) in linear light, 0…1 (IEC 61966-2-1:1999)."""
    share = value / 255
    return share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4
