"""Checks of rooms, and of what they share: each lamp has one room."""

from collections.abc import Iterator

from leerie.config.checks.scenes import BESIDE_PARTS, lit, missing_area, scene_flaws
from leerie.config.declared import Declared
from leerie.config.models import Config, Room
from leerie.config.problems import Flaw, Path, nearest, one_of


def room_flaws(config: Config, declared: Declared) -> Iterator[Flaw]:
    for name, room in config.rooms.items():
        path = ("rooms", name)
        yield from _sensors(path, room, config, declared)
        yield from _lamps(path, room, declared)
        yield from scene_flaws(path, room, config, declared)
        yield from _during(path, room, declared)
        yield from _enclosed(path, room, config)
        yield from _meter(path, room, config)
        if room.egress:
            yield from _egress(path, room)
    if declared.homes is not None:
        for lamp in declared.fixtures:
            if lamp not in declared.homes:
                yield Flaw(("fixtures", lamp), "is in no room", "a place in the fixtures of one room")


# ---- sensors ---------------------------------------------------------------------------------------------------------


def _sensors(path: Path, room: Room, config: Config, declared: Declared) -> Iterator[Flaw]:
    yield from _sensor_lists(path, room.sensors, room.keep, config, declared)
    for part, change in room.during.items():
        place = (*path, "during", part)
        yield from _sensor_lists(place, change.sensors, change.keep, config, declared)
        if change.sensors is not None or change.keep is not None:
            key = "keep" if change.keep is not None else "sensors"
            keep = room.keep if change.keep is None else change.keep
            yield from _in_both((*place, key), room.sensors if change.sensors is None else change.sensors, keep)
    yield from _in_both((*path, "keep"), room.sensors, room.keep)


def _sensor_lists(
    path: Path, sensors: list[str] | None, keep: list[str] | None, config: Config, declared: Declared
) -> Iterator[Flaw]:
    yield from _names((*path, "sensors"), sensors or [], "sensor", declared.sensors)
    yield from _names((*path, "keep"), keep or [], "sensor", declared.sensors)
    for index, name in enumerate(keep or []):
        sensor = config.sensors.get(name)
        if sensor is not None and sensor.kind == "button":
            yield Flaw((*path, "keep", index), f"{name} is a button: it holds no presence", "buttons stand in sensors")


def _in_both(path: Path, sensors: list[str], keep: list[str]) -> Iterator[Flaw]:
    for name in keep:
        if name in sensors:
            yield Flaw(path, f"{name} stands in sensors too", "in one of them; those in sensors keep as well")


def _names(path: Path, names: list[str], what: str, known: tuple[str, ...]) -> Iterator[Flaw]:
    for index, name in enumerate(names):
        if name not in known:
            yield Flaw((*path, index), f"there is no {what} {name}", one_of(known), nearest(name, known))
        elif name in names[:index]:
            yield Flaw((*path, index), f"{name} stands here twice", "each once")


def _enclosed(path: Path, room: Room, config: Config) -> Iterator[Flaw]:
    if room.settle is not None and not room.enclosed:
        yield Flaw((*path, "settle"), "serves enclosed rooms only", "enclosed = true, or no settle")
    names = [*room.sensors, *room.keep]
    kinds = {config.sensors[name].kind for name in names if name in config.sensors}
    whole = all(name in config.sensors for name in names)
    if room.enclosed and whole and not ("door" in kinds and kinds & {"presence", "motion"}):
        yield Flaw(
            (*path, "enclosed"), "cannot be told without a door and a presence sensor", "both among the room's sensors"
        )


# ---- lamps and day parts ---------------------------------------------------------------------------------------------


def _lamps(path: Path, room: Room, declared: Declared) -> Iterator[Flaw]:
    yield from _names((*path, "fixtures"), room.fixtures, "lamp", declared.fixtures)
    for index, lamp in enumerate(room.fixtures):
        first, *_ = (declared.homes or {}).get(lamp, (path[1],))
        if first != path[1]:
            yield Flaw((*path, "fixtures", index), f"{lamp} is in room {first} already", "each lamp in one room")


def _meter(path: Path, room: Room, config: Config) -> Iterator[Flaw]:
    """What lamps add to a meter's reading is known by their lumens and the room's area."""
    if room.meter is None:
        return
    if room.area is None:
        yield missing_area(path)
    lamps = [config.fixtures.get(name) for name in room.fixtures]
    if all(lamp is not None and lamp.lumens is None for lamp in lamps):
        yield Flaw((*path, "meter"), "stands in a room none of whose lamps has lumens", "lumens at one of them")


def _during(path: Path, room: Room, declared: Declared) -> Iterator[Flaw]:
    named = [part for part in room.scenes if part not in BESIDE_PARTS]
    for part in room.during:
        if part not in named:
            unknown = part not in declared.day_parts
            problem = f"there is no day part {part}" if unknown else f"the room has no scene for {part}"
            yield Flaw((*path, "during", part), problem, one_of(named), nearest(part, named))


# ---- escape routes ---------------------------------------------------------------------------------------------------


def _egress(path: Path, room: Room) -> Iterator[Flaw]:
    """Escape routes are never dark, whoever is or is not there."""
    for name, scene in room.scenes.items():
        if not lit(scene):
            yield Flaw((*path, "scenes", name), "is dark on an escape route", "a lamp above level 0")
    if "vacant" not in room.scenes:
        yield Flaw((*path, "scenes", "vacant"), "is missing on an escape route", "a scene that is safe to walk in")
    if all(name in BESIDE_PARTS for name in room.scenes):
        yield Flaw((*path, "scenes"), "name no day part on an escape route", "a scene for at least one day part")
    if room.auto_on < 1:
        yield Flaw((*path, "auto_on"), f"{room.auto_on:g} is too little for an escape route", "1")
    for part, change in room.during.items():
        place = (*path, "during", part)
        if change.auto_on is not None and change.auto_on < 1:
            yield Flaw((*place, "auto_on"), f"{change.auto_on:g} is too little for an escape route", "1")
        if change.vacant is not None and not lit(change.vacant):
            yield Flaw((*place, "vacant"), "is dark on an escape route", "a lamp above level 0")
