"""Which scene a room shows, and what may still change its levels."""

from collections.abc import Callable, Iterator

import msgspec

from leerie.config.building import Fixed, Room, Scene, Value
from leerie.occupancy.records import Occupancy
from leerie.occupancy.table import State


class Choice(msgspec.Struct, frozen=True):
    """A scene and the factors that apply to it."""

    scene: Scene
    biased: bool = False
    """A person's bias applies."""
    partial: bool = False
    """Presence alone brings only `auto_on` of it."""
    warned: bool = False
    never_dark: bool = False
    """A lamp that the scene lights does not go off by daylight or bias."""
    asked: str | None = None
    """The scene that an ask for light brought: a day part, or `asked`."""


class Day(msgspec.Struct, frozen=True):
    """Where a room stands in the day."""

    part: str | None
    """The day part that holds."""
    earlier: tuple[str, ...] = ()
    """The room's other day parts, the one that began last first."""


def choose(room: Room, occupancy: Occupancy, day: Day, lit: Callable[[Scene], bool]) -> Choice:
    """The scene of a room that nobody holds. `lit` tells whether a scene would light any lamp just now."""
    vacant = Choice(room.rules_in(day.part).vacant)
    if occupancy.state is State.VACANT:
        return vacant
    asked = occupancy.asked
    if asked is None:
        return Choice(scene_of(room, day), biased=True, partial=True, warned=occupancy.warned)
    if asked.light:
        return _light(room, day, lit, warned=occupancy.warned)
    return vacant if room.egress else Choice({})


def scene_of(room: Room, day: Day) -> Scene:
    """The room's scene now. While no day part holds everything is off, but on an escape route, which keeps its last."""
    part = day.part
    if part is None and room.egress:
        part = next(iter(day.earlier), None)
    return {} if part is None else room.scenes.get(part, {})


def _light(room: Room, day: Day, lit: Callable[[Scene], bool], *, warned: bool) -> Choice:
    """Asking for light always brings light: the part's own scene, else the one for asking in the dark, else the last
    that is lit; where daylight puts them all out, the first of them that could be lit, at low-end trim.
    """
    candidates = tuple(candidates_for_light(room, day))
    for name, scene in candidates:
        if lit(scene):
            return Choice(scene, biased=True, warned=warned, asked=name)
    for name, scene in candidates:
        if any(lights(value) for value in scene.values()):
            return Choice(scene, biased=True, warned=warned, never_dark=True, asked=name)
    return Choice({}, asked=day.part)


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
    return value.level > 0 if isinstance(value, Fixed) else max(value.first, value.second) > 0
