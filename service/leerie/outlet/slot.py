"""One lamp's slot: what it was last told and what waits to be told."""

import math
from typing import TypeAlias

import msgspec
from msgspec.structs import replace

from leerie import colour
from leerie.notes import Cause
from leerie.now import Now
from leerie.occupancy.records import Kelvin, Level
from leerie.targets.room import Target

LEVEL_STEP = 0.01
"""While targets glide with daylight a lamp is told when its level differs by this much."""
WHITE_STEP_MK = 3.0
"""…or its white by so many MK⁻¹."""
COLOUR_STEP = 0.001
"""…or its colour by so much in CIE 1976 u′v′, which is about what 3 MK⁻¹ are near 2700 K."""

Xy: TypeAlias = tuple[Level, Level]
"""A chromaticity, CIE 1931; its bounds are for what is read back from a record."""


class Told(msgspec.Struct, frozen=True, omit_defaults=True):
    """What a lamp was last told."""

    level: Level
    kelvin: Kelvin | None
    at: Now
    xy: Xy | None = None
    """A colour instead of a white."""


class Waiting(msgspec.Struct, frozen=True, omit_defaults=True):
    """What a lamp will be told as soon as its pace allows."""

    level: Level
    kelvin: Kelvin | None
    cause: Cause
    xy: Xy | None = None


class Slot(msgspec.Struct, frozen=True, omit_defaults=True):
    told: Told | None = None
    """None: leerie has not yet commanded this lamp."""
    waiting: Waiting | None = None


def aim(slot: Slot, target: Target, cause: Cause, *, force: bool, gliding: bool) -> Slot:
    """Bring a slot to a target. A newer target always replaces what waits; one that the lamp was already told needs
    no telling.
    """
    if not force and slot.told is not None and not differs(slot.told, target, gliding=gliding):
        return replace(slot, waiting=None) if slot.waiting is not None else slot
    return replace(slot, waiting=Waiting(target.level, target.kelvin, cause, target.xy))


def differs(told: Told | Waiting, target: Target, *, gliding: bool) -> bool:
    """Is the target another than what the lamp was told; while it glides, by a visible step?"""
    if (told.level > 0) is not (target.level > 0):
        return True
    if not gliding:
        return (told.level, told.kelvin, told.xy) != (target.level, target.kelvin, target.xy)
    if abs(told.level - target.level) >= LEVEL_STEP:
        return True
    if told.xy is not None and target.xy is not None:
        return math.dist(colour.uv_prime(*told.xy), colour.uv_prime(*target.xy)) >= COLOUR_STEP
    return told.xy != target.xy or _white_distance(told.kelvin, target.kelvin) >= WHITE_STEP_MK


def _white_distance(before: int | None, after: int | None) -> float:
    """Distance of two whites in MK⁻¹ (mired: 10⁶/K)."""
    if before is None or after is None:
        return 0.0 if before is after else WHITE_STEP_MK
    return abs(1e6 / before - 1e6 / after)


def next_allowed(slot: Slot, pace_ms: int) -> int:
    """The steady ms from which the lamp's pace allows a command."""
    return slot.told.at.steady + pace_ms if slot.told is not None else 0
