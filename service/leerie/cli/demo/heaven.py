"""The sky above the house: the day as a strip, and the sky of this moment with sun, clouds and stars."""

import math

from leerie import tint
from leerie.cli.demo import paint
from leerie.cli.demo.canvas import Box, Canvas
from leerie.cli.demo.seen import SeenSky
from leerie.tint import Rgb

SUN: Rgb = (255, 236, 170)
STAR: Rgb = (226, 230, 250)
NOW: Rgb = (255, 255, 255)
HOURS = (6, 12, 18)
HIGHEST_SUN = 50.0
"""Degrees at which the sun is drawn at the top; it stands higher only in lower latitudes."""
STARS_BELOW = -7.0
"""Degrees of the sun under which stars are out."""
SUN_ABOVE = -1.0
"""Degrees above which the sun is to be seen."""
GLARE = 9.0
"""Columns to which the sun whitens the sky around it."""


def at(sky: SeenSky, height: float) -> Rgb:
    """The colour of the sky of this moment, from the horizon (0) to high up (1)."""
    return tint.sky(sky.elevation, height, sky.cloud)


def strip(canvas: Canvas, left: int, y: int, sky: SeenSky) -> None:
    """The local day in the colours of its sky, a cell for each of its steps; its hours, and where in it we are."""
    width = len(sky.day)
    for step, elevation in enumerate(sky.day):
        canvas.fill(Box(left + step, y, 1, 1), tint.sky(elevation, 0.35))
        if not canvas.colours and elevation > SUN_ABOVE:
            canvas.put(left + step, y, "▁")
    for hour in HOURS:
        x = left + width * hour // 24
        canvas.put(x, y, f"{hour:02}", paint.quiet)
    canvas.put(left + _now(sky, width), y, "█", NOW, bold=True)


def expanse(canvas: Canvas, sky: SeenSky, horizon: int, house: Box) -> None:
    """The sky of this moment, down to where the house stands on the street; the sun sets at the line `horizon`."""
    sun_x = _now(sky, canvas.width)
    sun_y = horizon - 0.5 - (horizon - 1) * min(1.0, sky.elevation / HIGHEST_SUN)
    for y in range(house.bottom):
        clear = at(sky, 1 - y / house.bottom)
        cloud = tint.cloudy(clear)
        canvas.fill(Box(0, y, canvas.width, 1), clear)
        covered = range(house.left, house.right) if y >= house.top else range(0)
        for x in (x for x in range(canvas.width) if x not in covered):
            glare = _glare(x - sun_x, y - sun_y) if sky.elevation > SUN_ABOVE else 0.0
            covers = _cloud(x, y, sky)
            if glare or covers:
                ground = tint.mix(tint.mix(clear, SUN, 0.45 * glare), cloud, covers)
                canvas.fill(Box(x, y, 1, 1), ground)
            elif sky.elevation < STARS_BELOW and y < horizon and _is_star(x, y):
                canvas.put(x, y, "·", tint.mix(clear, STAR, 0.7))
    if sky.elevation > SUN_ABOVE:
        y = min(horizon - 1, round(sun_y))
        canvas.put(
            sun_x, y, "●", tint.mix(SUN, canvas.ground(sun_x, y) or SUN, 0.75 * _cloud(sun_x, y, sky)), bold=True
        )


def _glare(across: float, down: float) -> float:
    """How much the sun whitens the sky so far from it, 0…1; a cell is about twice as high as wide."""
    far = GLARE * 2
    return max(0.0, 1 - math.hypot(across, 2.2 * down) / GLARE) if abs(across) < far and abs(down) < far else 0.0


def _now(sky: SeenSky, width: int) -> int:
    return min(width - 1, int(sky.gone * width))


def _cloud(x: int, y: int, sky: SeenSky) -> float:
    """How much cloud there is before a cell, 0…1: slow waves that drift with the hours until they fill the sky."""
    drift = sky.local.timestamp() / 3600
    waves = math.sin(x / 9 + drift) + math.sin(x / 4.3 - 1.9 * y + drift) + math.sin(x / 23 + y / 1.7 - drift / 2)
    return min(1.0, max(0.0, 2.2 * (sky.cloud - 0.5 - waves / 6 + 2.3 * max(0.0, sky.cloud - 0.8))))


def _is_star(x: int, y: int) -> bool:
    """Scattered, and always the same ones."""
    return (x * 2654435761 ^ y * 40503 * 977) % 31 == 0
