"""Outdoor illuminance under a clear sky, what cloud leaves of it, and how much comes from the sky, not from the sun.

Illuminance on the horizontal, in lux. Cloud cover is a fraction 0…1. An estimate from cloud cover alone is good to a
factor of two.
"""

from bisect import bisect_right

DARKEST_DEG = -18.0
"""Below it the clear sky keeps its value there, 0.0006 lx: light never comes to nothing, so that its logarithm
exists."""
BLEND_DEG = 0.03
"""Each piece gives way to the next over so many degrees below their join. Unblended, the curve would fall by up to 1 %
at two joins as the sun rises."""

PIECES = (
    (-18.0, (13.84, 262.72, 1447.42, 2797.93)),
    (-12.0, (2.70, 12.17, -431.69, -1899.83)),
    (-5.0, (2.88, 21.81, -258.11, -858.36)),
    (-0.8, (2.88, 22.26, -207.64, 1034.30)),
    (5.0, (3.05, 13.28, -45.98, 64.33)),
    (20.0, (3.74, 3.97, -4.07, 1.47)),
)
"""From which elevation (degrees) which L0 … L3 of log10 E = L0 + L1 x + L2 x² + L3 x³, x = elevation/90.

D. Vallado, Fundamentals of Astrodynamics and Applications (2022), Table 5-1; there from P. K. Seidelmann (ed.),
Explanatory Supplement to the Astronomical Almanac (1992), § 9.3 (the latter from memory). As physics within 0.03
of log10 E.
"""
JOINS = tuple(start for start, _ in PIECES)


def clear_sky(elevation: float) -> float:
    """Light of sun and sky (lx) with the sun at `elevation` (degrees, unrefracted, -90…90); it rises with the sun."""
    elevation = max(elevation, DARKEST_DEG)
    place = max(0, bisect_right(JOINS, elevation) - 1)
    exponent = _exponent(place, elevation)
    if place + 1 < len(PIECES):
        weight = 1 + (elevation - JOINS[place + 1]) / BLEND_DEG
        if weight > 0:
            exponent += weight * (_exponent(place + 1, elevation) - exponent)
    return float(10**exponent)


def _exponent(place: int, elevation: float) -> float:
    l0, l1, l2, l3 = PIECES[place][1]
    x = elevation / 90
    return l0 + x * (l1 + x * (l2 + x * l3))


def cloud_factor(cloud: float) -> float:
    """What is left of clear-sky light under that cover, 1…0.25.

    F. Kasten, G. Czeplak, Solar and terrestrial radiation dependent on the amount and type of cloud, Solar Energy 24
    (1980) 177-189.
    """
    return 1 - 0.75 * float(cloud**3.4)


def cloud_behind(factor: float) -> float:
    """The cover that leaves that much of clear-sky light: the inverse of `cloud_factor`, 0…1 for any factor."""
    return float(min(1.0, max(0.0, (1 - factor) / 0.75)) ** (1 / 3.4))


def diffuse(outdoor: float, elevation: float, cloud: float) -> float:
    """The sky's part of `outdoor` (lx): all while the sun is down, then 0.3 + 0.7 N² under cover N (from memory).

    The sun's coming up takes no light from the sky: down to that, the sky's share falls no faster than clear-sky light
    rises.
    """
    horizon = clear_sky(0) / clear_sky(elevation)
    return outdoor * min(1.0, max(0.3 + 0.7 * cloud * cloud, horizon))
