"""White and colour: colour temperature, chromaticity, red, green and blue, and what lies between two of them."""

from typing import TypeAlias

Chromaticity: TypeAlias = tuple[float, float]
"""CIE 1931 x, y: 0 ≤ x, 0 < y, x + y ≤ 1."""

PLANCK_SPAN = (1_000, 15_000)
"""K within which the approximation of the Planckian locus holds; whites beyond it are taken at its end."""


def uv_prime(x: float, y: float) -> tuple[float, float]:
    """CIE 1976 u', v' of a chromaticity (CIE 1931): equal steps there look more alike. Exact (ISO/CIE 11664-5)."""
    divisor = 3 - 2 * x + 12 * y
    return 4 * x / divisor, 9 * y / divisor


def from_uv_prime(u: float, v: float) -> Chromaticity:
    """CIE 1931 x, y of u', v' (CIE 1976), those of a real colour. Exact (ISO/CIE 11664-5)."""
    divisor = 6 * u - 16 * v + 12
    return 9 * u / divisor, 4 * v / divisor


def chromaticity(kelvin: float) -> Chromaticity:
    """CIE 1931 x, y of a black body at that temperature.

    Within 0.0004 of Planck's law in x and y from 1800 to 6500 K, which is 2 K along the locus and 0.00013 in u, v off
    it (M. Krystek, An algorithm to calculate correlated colour temperature, Color Research and Application 10 (1985)
    38–40).
    """
    u, v = _locus(kelvin)
    return from_uv_prime(u, 1.5 * v)


def correlated(x: float, y: float) -> int:
    """Correlated colour temperature of a chromaticity (CIE 1931): K, whole, 1000…15 000.

    That of the nearest black body in CIE 1960 u, v (CIE 15:2018), looked for along Krystek's locus. Off by up to 2 K
    for black bodies of 1700…6500 K, by 7 K for whites within 0.006 of them in u, v (ANSI C78.377 lets lamps stray that
    far) and by 25 K within 0.02. Colours get the nearest too, although nobody would call it their white.
    """
    u, v_prime = uv_prime(x, y)
    v = v_prime / 1.5

    def off(mireds: float) -> float:
        on_u, on_v = _locus(1e6 / mireds)
        return (on_u - u) ** 2 + (on_v - v) ** 2

    least, most = 1e6 / PLANCK_SPAN[1], 1e6 / PLANCK_SPAN[0]
    step = (most - least) / 100
    near = min((least + step * index for index in range(101)), key=off)
    low, high = max(least, near - step), min(most, near + step)
    while high - low > 1e-4:
        third = (high - low) / 3
        if off(low + third) <= off(high - third):
            high -= third
        else:
            low += third
    return round(2e6 / (low + high))


def rgb(x: float, y: float) -> tuple[float, float, float]:
    """Red, green and blue (0…1, the largest 1) of a chromaticity (CIE 1931), as near as sRGB primaries come to it.

    Linear values by the matrix of IEC 61966-2-1:1999, those below 0 cut (no colour that can be shown is nearer in
    linear light), scaled to the largest, then encoded by its transfer function.
    """
    z = 1 - x - y
    linear = (
        3.2406 * x - 1.5372 * y - 0.4986 * z,
        -0.9689 * x + 1.8758 * y + 0.0415 * z,
        0.0557 * x - 0.2040 * y + 1.0570 * z,
    )
    brightest = max(linear)
    encoded = [_encoded(max(0.0, value / brightest)) for value in linear]
    largest = max(encoded)
    return encoded[0] / largest, encoded[1] / largest, encoded[2] / largest


def mired(kelvin: int) -> int:
    """Reciprocal megakelvin (MK⁻¹), the nearest whole number, halves up: at most kelvin²/2·10⁶ K off."""
    return (2_000_000 + kelvin) // (2 * kelvin)


def between_whites(first: float, second: float, share: float) -> int:
    """The white (K) that lies that share (0…1) of the way from the first to the second (K), to the nearest kelvin.

    Evenly in MK⁻¹, in which equal steps of white look more alike than in K. Shares 0 and 1 give the two themselves.
    """
    return round(first * second / ((1 - share) * second + share * first))


def between_colours(first: Chromaticity, second: Chromaticity, share: float) -> Chromaticity:
    """The colour that lies that share (0…1) of the way from the first to the second (CIE 1931 x, y).

    Evenly in u', v' (CIE 1976), on the straight line between the two. Shares 0 and 1 give the two themselves.
    """
    if share in (0, 1):
        return second if share else first
    (u, v), (to_u, to_v) = uv_prime(*first), uv_prime(*second)
    return from_uv_prime(u + share * (to_u - u), v + share * (to_v - v))


def _locus(kelvin: float) -> tuple[float, float]:
    """CIE 1960 u, v of a black body, by Krystek's rational functions."""
    low, high = PLANCK_SPAN
    t = min(max(kelvin, low), high)
    u = (0.860117757 + 1.54118254e-4 * t + 1.28641212e-7 * t * t) / (1 + 8.42420235e-4 * t + 7.08145163e-7 * t * t)
    v = (0.317398726 + 4.22806245e-5 * t + 4.20481691e-8 * t * t) / (1 - 2.89741816e-5 * t + 1.61456053e-7 * t * t)
    return u, v


def _encoded(linear: float) -> float:
    """IEC 61966-2-1:1999 transfer function."""
    return 12.92 * linear if linear <= 0.0031308 else 1.055 * linear ** (1 / 2.4) - 0.055
