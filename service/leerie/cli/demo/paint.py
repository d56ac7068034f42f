"""Light as colours of a terminal: lamps, walls in their light, and the sky. All of it to taste, but for contrast."""

import math
from collections.abc import Callable, Sequence
from functools import lru_cache, partial
from typing import TypeAlias

from leerie import colour
from leerie.rehearsal.lamps import Glow

Rgb: TypeAlias = tuple[int, int, int]
"""sRGB, 0…255."""

PALE: Rgb = (240, 240, 244)
INK: Rgb = (20, 18, 24)
LEGIBLE = 4.5
"""Contrast from which text is easy to read (WCAG 2.2, success criterion 1.4.3)."""

FAULT: Rgb = (164, 36, 34)
STATES: dict[str, Rgb] = {
    "vacant": (150, 156, 170),
    "arriving": (110, 214, 224),
    "occupied": (132, 214, 128),
    "grace": (240, 196, 88),
    "hold": (226, 150, 232),
}

WALL_BY_NIGHT: Rgb = (27, 30, 43)
WALL_BY_DAY: Rgb = (72, 82, 97)
WALL_IN_FULL_LIGHT = 0.72
"""Of its lamps' colour: lamps stand out from the wall that they light."""

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


def looks(light: float) -> float:
    """How bright a share of light looks, 0…1: perceived brightness goes with the root of light."""
    return math.sqrt(min(1.0, max(0.0, light)))


def lamp(glow: Glow) -> Rgb:
    """A lamp's own colour, as bright as it looks."""
    return mix((0, 0, 0), _hue(glow), 0.55 + 0.45 * looks(glow.light))


def wall(glows: Sequence[Glow], daylight: float) -> Rgb:
    """A wall in the light of a room's lamps, each counting as much as it shines, and of `daylight` (0…1)."""
    unlit = mix(WALL_BY_NIGHT, WALL_BY_DAY, daylight)
    total = sum(glow.light for glow in glows)
    if total <= 0:
        return unlit
    hues = [(_hue(glow), glow.light / total) for glow in glows]
    red, green, blue = (round(WALL_IN_FULL_LIGHT * sum(hue[i] * part for hue, part in hues)) for i in range(3))
    return mix(unlit, (red, green, blue), looks(total / len(glows)))


def _hue(glow: Glow) -> Rgb:
    if glow.rgb is not None:
        return glow.rgb
    red, green, blue = (round(255 * part) for part in colour.rgb(*colour.chromaticity(glow.kelvin or 2700)))
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


# ---- text on it ------------------------------------------------------------------------------------------------------


def contrast(first: Rgb, second: Rgb) -> float:
    """Of two colours, 1…21 (WCAG 2.2)."""
    low, high = sorted((_luminance(first), _luminance(second)))
    return (high + 0.05) / (low + 0.05)


@lru_cache(maxsize=8192)
def ink(ground: Rgb) -> Rgb:
    """What reads well on that ground: pale if it does, else dark; sheer white or black where neither is enough."""
    inks = (PALE, (255, 255, 255), INK, (0, 0, 0))
    return next(candidate for candidate in inks if contrast(candidate, ground) >= LEGIBLE)


def is_pale(ink: Rgb) -> bool:
    return sum(ink) > 3 * 128


@lru_cache(maxsize=8192)
def legible(wanted: Rgb, ground: Rgb) -> Rgb:
    """The colour wanted, or so much nearer to ink as it takes to read it on that ground."""
    for step in range(10):
        candidate = mix(wanted, ink(ground), step / 10)
        if contrast(candidate, ground) >= LEGIBLE:
            return candidate
    return ink(ground)


@lru_cache(maxsize=8192)
def quiet(ground: Rgb) -> Rgb:
    """For what is not to be read first."""
    return legible(mix(ink(ground), ground, 0.35), ground)


@lru_cache(maxsize=8192)
def unlit(ground: Rgb) -> Rgb:
    """The outline of a lamp that gives no light."""
    return mix(ground, PALE, 0.32)


def of_state(state: str) -> Callable[[Rgb], Rgb]:
    """A room's state in the colour that goes with it."""
    return partial(legible, STATES.get(state, PALE))


def _luminance(rgb: Rgb) -> float:
    """Relative luminance of sRGB (IEC 61966-2-1:1999), 0…1."""
    red, green, blue = map(linear, rgb)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@lru_cache(maxsize=256)
def linear(value: int) -> float:
    """A channel of sRGB (0…255) in linear light, 0…1 (IEC 61966-2-1:1999)."""
    share = value / 255
    return share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4
