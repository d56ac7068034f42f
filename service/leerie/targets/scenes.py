"""Which scene a room shows, and what may still change its levels."""

from collections.abc import Callable, Iterator, Mapping
from itertools import pairwise

import msgspec

from leerie.config.building import DayPart, Room
from leerie.config.scenes import Fixed, Follow, Maintain, Scene, SunWhite, Value
from leerie.daylight.calendar import Holding
from leerie.occupancy.records import Occupancy
from leerie.occupancy.table import State


class Choice(msgspec.Struct, frozen=True):
    """A scene and the factors that apply to it."""

    name: str
    """A day part, `vacant`, `asked`; `dark` for none."""
    scene: Scene
    biased: bool = False
    """A person's bias applies."""
    partial: bool = False
    """Presence alone brings only `auto_on` of it."""
    warned: bool = False
    never_dark: bool = False
    """A lamp that the scene lights does not go off by daylight or bias."""
    asked: bool = False
    """An ask for light brought it."""


class Glide(msgspec.Struct, frozen=True):
    """A day part that has begun and not yet wholly taken the place of the one before."""

    part: str
    earlier: str
    share: float
    """Of the way, 0…1."""
    ends: int
    """Wall clock, µs UTC."""


class Day(msgspec.Struct, frozen=True):
    """Where a room stands in the day."""

    part: str | None
    """The day part that holds."""
    earlier: tuple[str, ...] = ()
    """The room's other day parts, the one that began last first."""
    glides: tuple[Glide, ...] = ()
    """Blends under way, the newest first, each from what the next gives."""


def day_of(holding: Holding, parts: Mapping[str, DayPart], wall: int) -> Day:
    """Where a room stands at `wall` (µs UTC), by what holds then."""
    glides: list[Glide] = []
    if holding.part is not None and holding.began is not None:
        begun = ((holding.part, holding.began), *holding.before)
        for (part, began), (earlier, _) in pairwise(begun):
            span = parts[part].blend_ms * 1_000 if part in parts else 0
            if span == 0 or wall - began >= span or earlier == part:
                break
            glides.append(Glide(part, earlier, max(0.0, (wall - began) / span), began + span))
    return Day(holding.part, holding.earlier, tuple(glides))


def choose(room: Room, occupancy: Occupancy, day: Day, lit: Callable[[str, Scene], bool]) -> Choice:
    """The scene of a room that nobody holds. `lit` tells whether a scene would light any lamp just now."""
    vacant = vacant_scene(room, day)
    if occupancy.state is State.VACANT:
        return vacant
    asked = occupancy.asked
    if asked is None:
        return msgspec.structs.replace(scene_of(room, day), biased=True, partial=True, warned=occupancy.warned)
    if asked.light:
        return _light(room, day, lit, warned=occupancy.warned)
    return vacant if room.egress else Choice("dark", {})


def vacant_scene(room: Room, day: Day) -> Choice:
    return Choice("vacant", room.rules_in(day.part).vacant)


def scene_of(room: Room, day: Day) -> Choice:
    """The room's scene now. While no day part holds everything is off, but on an escape route, which keeps its last."""
    part = day.part
    if part is None and room.egress:
        part = next(iter(day.earlier), None)
    return Choice("dark", {}) if part is None else Choice(part, room.scenes.get(part, {}))


def _light(room: Room, day: Day, lit: Callable[[str, Scene], bool], *, warned: bool) -> Choice:
    """Asking for light always brings light: the part's own scene, else the one for asking in the dark, else the last
    that is lit; where daylight puts them all out, the first of them that could be lit, at low-end trim.
    """
    candidates = tuple(candidates_for_light(room, day))
    for name, scene in candidates:
        if lit(name, scene):
            return Choice(name, scene, biased=True, warned=warned, asked=True)
    for name, scene in candidates:
        if any(lights(value) for value in scene.values()):
            return Choice(name, scene, biased=True, warned=warned, never_dark=True, asked=True)
    return Choice(day.part or "dark", {}, asked=True)


def candidates_for_light(room: Room, day: Day) -> Iterator[tuple[str, Scene]]:
    """The scenes that an ask for light may bring, the first choice first."""
    if day.part is not None:
        yield day.part, room.scenes.get(day.part, {})
    if room.asked is not None:
        yield "asked", room.asked
    for part in day.earlier:
        yield part, room.scenes.get(part, {})


def lights(value: Value) -> bool:
    """Could this value ever light its lamp?"""
    match value:
        case Fixed():
            return value.level > 0
        case Follow():
            return max(value.first, value.second) > 0
        case Maintain():
            return value.lux > 0


def by_light(room: Room) -> tuple[str, ...]:
    """The room's day parts, the brightest first; of two that are alike the earlier in the file."""
    return tuple(sorted(room.parts, key=lambda part: -sum(map(_most, room.scenes.get(part, {}).values()))))


def _most(value: Value) -> float:
    """The most light that this value can give, as a share of the lamp's."""
    match value:
        case Fixed():
            return value.level**2
        case Follow():
            return max(value.first, value.second) ** 2
        case Maintain():
            return float(value.lux > 0)


def moves(scene: Scene) -> bool:
    """Does the scene move with daylight?"""
    return any(isinstance(value, Maintain | Follow) or isinstance(value.kelvin, SunWhite) for value in scene.values())
