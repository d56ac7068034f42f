"""A house in a terminal's colours: walls in the light of their lamps, and text on them. To taste, but for contrast."""

import math
from collections.abc import Callable, Sequence
from functools import lru_cache, partial

from leerie import tint
from leerie.rehearsal.lamps import Glow
from leerie.tint import LEGIBLE, Rgb, contrast, mix

PALE: Rgb = (240, 240, 244)
INK: Rgb = (20, 18, 24)
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


def looks(light: float) -> float:
    """How bright a share of light looks, 0…1: perceived brightness goes with the root of light."""
    return math.sqrt(min(1.0, max(0.0, light)))


def lamp(glow: Glow) -> Rgb:
    """A lamp's own colour, as bright as it looks."""
    return tint.lit(_hue(glow), looks(glow.light))


def wall(glows: Sequence[Glow], daylight: float) -> Rgb:
    """A wall in the light of a room's lamps, each counting as much as it shines, and of `daylight` (0…1)."""
    unlit = mix(WALL_BY_NIGHT, WALL_BY_DAY, daylight)
    total = sum(glow.light for glow in glows)
    if total <= 0:
        return unlit
    lamps = tint.together([(_hue(glow), glow.light) for glow in glows])
    return mix(unlit, mix((0, 0, 0), lamps, WALL_IN_FULL_LIGHT), looks(total / len(glows)))


def _hue(glow: Glow) -> Rgb:
    return glow.rgb if glow.rgb is not None else tint.of_white(glow.kelvin or 2700)


# ---- text on it ------------------------------------------------------------------------------------------------------


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
