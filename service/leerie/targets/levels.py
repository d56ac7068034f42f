"""A scene's value becomes a level: perceived brightness 0…1, whose light output is its square (IES square law)."""

import math
from collections.abc import Iterator
from typing import Literal

import msgspec

from leerie.config.building import Daylight, Fixture, Follow, Value
from leerie.notes import Base, Biased, Follows, Partial, Rested, Step, Unnamed, Warned, White
from leerie.targets.scenes import lights

RESTING = 0.01
"""Level that stands for low-end trim: so little light (0.01 % of it) that every curve and trim rule gives the lowest
the lamp is used at.
"""


class Factors(msgspec.Struct, frozen=True):
    """What comes after the scene's own value, in this order."""

    bias: float = 0.0
    auto_on: float = 1.0
    warn: float = 1.0
    never_dark: bool = False
    """A lamp that its scene lights does not go off by daylight or bias."""


def share_of_daylight(outdoor: float, daylight: Daylight) -> float:
    """Where outdoor illuminance (lx) stands between `dark` and `bright`, 0…1, on the config's scale."""
    if outdoor <= daylight.dark:
        return 0.0
    if outdoor >= daylight.bright:
        return 1.0
    if daylight.scale == "linear":
        return (outdoor - daylight.dark) / (daylight.bright - daylight.dark)
    return math.log(outdoor / daylight.dark) / math.log(daylight.bright / daylight.dark)


def work_out(
    value: Value | None, fixture: Fixture, outdoor: float, daylight: Daylight, factors: Factors
) -> tuple[Step, ...]:
    """Every step from a scene's value to the lamp's level; `level_of` reads the level off the last."""
    if value is None:
        return (Unnamed(),)
    first = _base(value, outdoor, daylight)
    switched = fixture.kind == "switched"
    steps = (first, *(_switched(first.level, factors) if switched else _dimmed(first.level, factors)))
    if factors.never_dark and level_of(steps, switched=switched) == 0 and lights(value):
        return (*steps, Rested(RESTING))
    return steps


def level_of(steps: tuple[Step, ...], *, switched: bool) -> float:
    """The level that the steps lead to; a switched lamp that is on burns at full."""
    level = next((step.level for step in reversed(steps) if not isinstance(step, Unnamed | White)), 0.0)
    return (1.0 if level > 0 else 0.0) if switched else level


def _base(value: Value, outdoor: float, daylight: Daylight) -> Base | Follows:
    if isinstance(value, Follow):
        share = share_of_daylight(outdoor, daylight)
        level = value.first + share * (value.second - value.first)
        return Follows(value.first, value.second, outdoor, share, daylight.dark, daylight.bright, daylight.scale, level)
    return Base(value.level)


def _dimmed(level: float, factors: Factors) -> Iterator[Step]:
    if factors.bias:
        level = min(1.0, max(0.0, level * (1 + factors.bias)))
        yield Biased(factors.bias, level)
    if factors.auto_on != 1:
        level *= factors.auto_on
        yield Partial(factors.auto_on, level)
    if factors.warn != 1:
        level *= factors.warn
        yield Warned(factors.warn, level)


def _switched(level: float, factors: Factors) -> Iterator[Step]:
    """A relay knows no bias and no warning, and presence alone lights it only where presence brings the whole scene."""
    if factors.auto_on != 1 and level > 0:
        yield Partial(factors.auto_on, 0.0)


Whose = Literal["hold", "scene", "part", "site"]


def clip_white(fixture: Fixture, wanted: int) -> int | None:
    """The white (K) nearest to the wanted one that the lamp can give; None for a lamp that cannot change its white."""
    if fixture.kind not in ("tunable", "colour") or fixture.kelvin is None:
        return None
    warmest, coolest = fixture.kelvin
    return min(coolest, max(warmest, wanted))
