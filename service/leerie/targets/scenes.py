"""Which scene a room shows, and what may still change its levels."""

from collections.abc import Callable

import msgspec

from leerie.config.building import Room, Scene
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
        return Choice(scene_of(room, day.part), biased=True, partial=True, warned=occupancy.warned)
    if asked.light:
        name = _brings_light(room, day, lit)
        return Choice(_named(room, name), biased=True, warned=occupancy.warned, asked=name)
    return vacant if room.egress else Choice({})


def scene_of(room: Room, part: str | None) -> Scene:
    """The room's scene in a day part; without one everything is off."""
    return {} if part is None else room.scenes.get(part, {})


def _brings_light(room: Room, day: Day, lit: Callable[[Scene], bool]) -> str | None:
    """Asking for light always brings light: the part's own scene, else the one for asking in the dark, else the last
    that was lit.
    """
    if day.part is not None and lit(scene_of(room, day.part)):
        return day.part
    if room.asked is not None and lit(room.asked):
        return "asked"
    return next((part for part in day.earlier if lit(scene_of(room, part))), day.part)


def _named(room: Room, name: str | None) -> Scene:
    if name == "asked" and room.asked is not None:
        return room.asked
    return scene_of(room, name)
