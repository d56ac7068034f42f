"""What a room's lamps bring to the eye, as far as it sets the body's clock: melanopic equivalent daylight illuminance.

Melanopic EDI (CIE S 026/E:2018) is the illuminance of daylight (D65) that would excite melanopsin as much. Everything
here is an estimate: mean illuminance by the lumen method, one ratio for the way from task to eye, and a lamp's spectrum
guessed from its colour temperature. No daylight counts in it.
"""

from bisect import bisect
from collections.abc import Iterable, Iterator, Mapping
from typing import TypeAlias

import msgspec

from leerie import colour
from leerie.config.building import Building, Fixture, Room
from leerie.config.scenes import Fixed, Follow, Maintain, Scene, SunWhite, Value
from leerie.targets import illuminance
from leerie.targets.whites import white

NO_ADVICE = "An estimate from published models of healthy adults, never medical advice."

SPREAD = 0.2
"""LED lamps of one colour temperature differ by so much either way: of the LED illuminants of CIE 015:2018 the lowest
lies 20 % below black bodies (B4, 5109 K) and the highest 17 % above (RGB1, 2840 K), computed with luxpy 1.12.5.
Fluorescent tubes lie lower still."""

EVENING_US = 3 * 3_600 * 1_000_000
"""The evening is the last three hours before bed (Brown et al. 2022; the three hours from memory)."""


class Recommended(msgspec.Struct, frozen=True):
    """A bound for melanopic EDI, vertical at the eye.

    T. M. Brown et al., Recommendations for daytime, evening, and nighttime indoor light exposure to best support
    physiology, sleep, and wakefulness in healthy adults, PLoS Biology 20(3) (2022) e3001571.
    """

    lux: float
    at_least: bool = False
    """The bound is the lowest; else the highest."""

    def met(self, edi: float) -> bool:
        return edi >= self.lux if self.at_least else edi <= self.lux


DAY = Recommended(250.0, at_least=True)
EVENING = Recommended(10.0)
NIGHT = Recommended(1.0)


class Estimate(msgspec.Struct, frozen=True):
    """The most that a room's scene for a day part brings to the eye."""

    room: str
    part: str
    recommended: Recommended
    edi: float | None
    """Melanopic EDI, lx; None: something is missing, and nothing is estimated."""
    missing: tuple[str, ...] = ()
    """The config's keys that it would take."""

    @property
    def low(self) -> float | None:
        """What it is if the lamps' spectra lie at the lower end of the spread."""
        return None if self.edi is None else self.edi * (1 - SPREAD)

    @property
    def high(self) -> float | None:
        return None if self.edi is None else self.edi * (1 + SPREAD)

    @property
    def met(self) -> bool | None:
        """Does the estimate itself, without its spread, keep to what is recommended? None: nobody knows."""
        return None if self.edi is None else self.recommended.met(self.edi)


# ---- from photopic to melanopic --------------------------------------------------------------------------------------

_DER = (
    (1800, 0.2409),
    (2000, 0.2925),
    (2200, 0.3431),
    (2500, 0.4157),
    (2700, 0.4616),
    (3000, 0.5263),
    (3250, 0.5765),
    (3500, 0.6233),
    (4000, 0.7078),
    (4500, 0.7812),
    (5000, 0.8451),
    (5500, 0.9009),
    (6000, 0.9498),
    (6500, 0.9928),
)
"""Colour temperature of a black body (K) and its melanopic DER: Planck's law, the melanopic action spectrum of CIE S
026/E:2018 and V(λ), 380…780 nm by 1 nm, against D65 (1.3262 mW/lm); computed with luxpy 1.12.5."""


def melanopic_der(kelvin: float) -> float:
    """Melanopic daylight (D65) efficacy ratio of a black body: melanopic EDI for each lx of its light.

    For 1800…6500 K; beyond, the ratio at the end. Even in MK⁻¹ between knots, and rising throughout: within 0.002 of
    the integral over the spectrum. A real lamp may be off by SPREAD.
    """
    right = bisect(_DER, kelvin, key=lambda knot: knot[0])
    if right in (0, len(_DER)):
        return _DER[min(right, len(_DER) - 1)][1]
    (warm, low), (cool, high) = _DER[right - 1], _DER[right]
    return low + (high - low) * (1 / warm - 1 / kelvin) / (1 / warm - 1 / cool)


def melanopic_edi(horizontal: float, eye_ratio: float, kelvin: float) -> float:
    """Melanopic EDI at the eye (lx) where light of that white brings `horizontal` lx to the task plane.

    `eye_ratio`: vertical illuminance at the eye over horizontal at the task.
    """
    return horizontal * eye_ratio * melanopic_der(kelvin)


def from_lamps(room: Room, lamps: Iterable[tuple[Fixture, float, float]]) -> float | None:
    """Melanopic EDI at the eye (lx) from a room's lamps, each with its level (0…1) and white (K).

    None if the lumens of one that burns, or the room's area, are not known.
    """
    total = 0.0
    for lamp, level, kelvin in lamps:
        output = illuminance.output(lamp, level)
        full = illuminance.full(lamp, room)
        if output and full is None:
            return None
        total += melanopic_edi(output * (full or 0.0), room.eye_ratio, kelvin)
    return total


# ---- a scene ---------------------------------------------------------------------------------------------------------


def estimate(
    building: Building,
    room: Room,
    part: str,
    recommended: Recommended,
    *,
    earlier: str | None = None,
    blended: float = 1.0,
) -> Estimate:
    """The most that the room's scene for that day part brings to the eye, without bias and hold; with an `earlier`
    part, at that share (0…1) of the way from what that one gives.

    Following lamps are taken together at either end of what they do, and the brighter end counts; lamps that maintain
    an illuminance as if there were no daylight; a white that goes with the sun as it is at the horizon, its warm end; a
    lamp whose white the config does not name as if it had the white that is wanted of it; a colour as the white nearest
    to it.
    """
    scenes = {name: room.scenes.get(name, {}) for name in (earlier or part, part)}
    missing = dict.fromkeys(key for scene in scenes.values() for key in _missing(building, room, scene))
    if missing:
        return Estimate(room.name, part, recommended, None, tuple(missing))
    edi = 0.0
    for share in (0.0, 1.0):
        before, after = (_lit(building, room, name, scenes[name], share) for name in (earlier or part, part))
        burning = _between(building, before, after, blended)
        lamps = ((building.fixtures[lamp], level, kelvin) for lamp, (level, kelvin) in burning.items())
        edi = max(edi, from_lamps(room, lamps) or 0.0)
    return Estimate(room.name, part, recommended, edi)


def _missing(building: Building, room: Room, scene: Scene) -> Iterator[str]:
    lamps = [lamp for lamp, value in scene.items() if any(_level(value, share) > 0 for share in (0.0, 1.0))]
    if lamps and room.area is None:
        yield f"rooms.{room.name}.area"
    for lamp in lamps:
        if building.fixtures[lamp].lumens is None:
            yield f"fixtures.{lamp}.lumens"


_Lit: TypeAlias = Mapping[str, tuple[float, float]]
"""Each lamp's level (0…1) and white (K)."""


def _lit(building: Building, room: Room, part: str, scene: Scene, share: float) -> _Lit:
    """With following lamps that share (0…1) of the way from their first level to their second."""
    levels = {lamp: _level(value, share) for lamp, value in scene.items() if not isinstance(value, Maintain)}
    levels |= _maintaining(building, room, scene, levels)
    return {lamp: (levels[lamp], _white(building, part, lamp, value)) for lamp, value in scene.items()}


def _between(building: Building, before: _Lit, after: _Lit, share: float) -> _Lit:
    """On the way from one to the other; a switched lamp is there at once, and a dark one has no white to bring."""
    found = {}
    for lamp in dict.fromkeys((*before, *after)):
        dark = (0.0, 0.0)
        level, kelvin = after.get(lamp, dark)
        if building.fixtures[lamp].kind != "switched":
            first, white = before.get(lamp, dark)
            kelvin = colour.between_whites(white, kelvin, share) if first and level else white if first else kelvin
            level = (1 - share) * first + share * level
        found[lamp] = (level, kelvin)
    return found


def _maintaining(building: Building, room: Room, scene: Scene, others: Mapping[str, float]) -> dict[str, float]:
    """The level at which lamps that maintain an illuminance make up what the others leave wanting of it."""
    maintained = {lamp: value.lux for lamp, value in scene.items() if isinstance(value, Maintain)}
    lit = illuminance.together(room, ((building.fixtures[lamp], level) for lamp, level in others.items()))
    full = illuminance.together(room, ((building.fixtures[lamp], 1.0) for lamp in maintained))
    return {lamp: max(0.0, min(1.0, (lux - lit) / full)) ** 0.5 for lamp, lux in maintained.items()}


def _level(value: Value, share: float) -> float:
    """Level of a lamp by itself; one that maintains an illuminance may need all its light."""
    match value:
        case Fixed(level=level):
            return level
        case Follow(first=first, second=second):
            return first + share * (second - first)
    return 1.0


def _white(building: Building, part: str, lamp: str, value: Value) -> float:
    """K"""
    if value.xy is not None:
        return colour.correlated(*value.xy)
    wanted = value.kelvin or building.parts[part].kelvin or building.site.kelvin
    kelvin = wanted.warm if isinstance(wanted, SunWhite) else wanted
    return white(building.fixtures[lamp], kelvin) or kelvin
