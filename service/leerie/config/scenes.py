"""What a scene says of its lamps, compiled."""

from collections.abc import Mapping
from typing import TypeAlias

import msgspec

from leerie.colour import Chromaticity


class SunWhite(msgspec.Struct, frozen=True):
    """White that goes with the sun: evenly in MK⁻¹ from warm at the horizon and below to cool at `high` and above."""

    warm: int
    """K"""
    cool: int
    """K"""
    high: float = 30.0
    """Degrees of unrefracted elevation, above 0."""


White: TypeAlias = int | SunWhite
"""K, or with the sun."""


class Fixed(msgspec.Struct, frozen=True):
    level: float
    kelvin: White | None = None
    xy: Chromaticity | None = None
    """A colour instead of a white."""


class Follow(msgspec.Struct, frozen=True):
    """Level goes from first to second as outdoor light goes from dark to bright."""

    first: float
    second: float
    kelvin: White | None = None
    xy: Chromaticity | None = None


class Maintain(msgspec.Struct, frozen=True):
    """Level makes up what daylight and the room's other lamps leave wanting of an illuminance on the task plane."""

    lux: float
    """lx, above 0; the same at all lamps of a scene that have one."""
    kelvin: White | None = None
    xy: Chromaticity | None = None


Value: TypeAlias = Fixed | Follow | Maintain
Scene: TypeAlias = Mapping[str, Value]
"""Lamp → value; lamps it does not name are off."""
