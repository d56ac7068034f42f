"""Which white or colour a lamp is to have."""

from typing import Literal

import msgspec

from leerie import colour
from leerie.colour import Chromaticity
from leerie.config.building import Fixture
from leerie.config.scenes import SunWhite, White
from leerie.reasons import Coloured
from leerie.reasons import White as WhiteStep

Whose = Literal["hold", "scene", "part", "site"]


class Wanted(msgspec.Struct, frozen=True):
    """The white that somebody wants of a lamp."""

    white: White
    whose: Whose
    xy: Chromaticity | None = None
    """A colour instead."""


class Shade(msgspec.Struct, frozen=True):
    """The white or the colour that a lamp gets."""

    kelvin: int | None = None
    """None: the lamp has no white that can be set, or it gets a colour."""
    xy: Chromaticity | None = None
    step: WhiteStep | Coloured | None = None
    """How it came about."""


def shade(lamp: Fixture, wanted: Wanted, elevation: float) -> Shade:
    """What the lamp can give of what is wanted, with the sun at `elevation` (degrees, unrefracted)."""
    if lamp.kind not in ("tunable", "colour"):
        return Shade()
    if wanted.xy is not None and lamp.kind == "colour":
        return Shade(None, wanted.xy, Coloured(*wanted.xy))
    asked, sun = wanted.white, None
    if isinstance(asked, SunWhite):
        asked, sun = with_the_sun(asked, elevation), elevation
    kelvin = white(lamp, asked)
    return Shade() if kelvin is None else Shade(kelvin, None, WhiteStep(kelvin, wanted.whose, asked, sun))


def white(fixture: Fixture, wanted: int) -> int | None:
    """The white nearest to the wanted that the lamp can give (K); None for a lamp without white."""
    if fixture.kelvin is None:
        return None
    warmest, coolest = fixture.kelvin
    return min(max(wanted, warmest), coolest)


def with_the_sun(span: SunWhite, elevation: float) -> int:
    """K at that elevation of the sun (degrees): warm from the horizon down, cool from `high` up, even in MK⁻¹."""
    return colour.between_whites(span.warm, span.cool, min(1.0, max(0.0, elevation / span.high)))


def between(before: Shade, after: Shade, share: float) -> Shade:
    """On the way from one to the other: whites evenly in MK⁻¹, colours evenly in CIE 1976 u′v′."""
    if before.kelvin == after.kelvin and before.xy == after.xy:
        return after
    if before.kelvin is not None and after.kelvin is not None:
        kelvin = colour.between_whites(before.kelvin, after.kelvin, share)
        whose = after.step.source if isinstance(after.step, WhiteStep) else "scene"
        return Shade(kelvin, None, WhiteStep(kelvin, whose, kelvin))
    ends = (_chromaticity(before), _chromaticity(after))
    if ends[0] is None or ends[1] is None:
        return after
    xy = colour.between_colours(ends[0], ends[1], share)
    return Shade(None, xy, Coloured(*xy))


def _chromaticity(shade: Shade) -> Chromaticity | None:
    if shade.xy is not None:
        return shade.xy
    return None if shade.kelvin is None else colour.chromaticity(shade.kelvin)
