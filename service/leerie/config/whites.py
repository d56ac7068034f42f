"""Whites that are asked of lamps which cannot give them: legal, for the lamp gives its nearest, but suspicious."""

from collections.abc import Iterator

from leerie.config.building import Building, Fixture, Room
from leerie.config.problems import Flaw, Path
from leerie.config.scenes import Scene, SunWhite

NEAREST = "the lamp gives the nearest it has"


def suspicions(building: Building) -> Iterator[Flaw]:
    for name, room in building.rooms.items():
        for path, scene in _scenes(("rooms", name), room):
            yield from _scene(path, scene, building)
    for part in building.parts.values():
        missed = {} if part.kelvin is None else _missed(part.name, part.kelvin, building)
        if missed:
            whose = ", ".join(f"{lamp} ({_range(building.fixtures[lamp])})" for lamp in missed)
            yield Flaw(("day_parts", part.name, "kelvin"), f"{part.kelvin} K is beyond {whose}", NEAREST)


def _scenes(path: Path, room: Room) -> Iterator[tuple[Path, Scene]]:
    base = {**room.scenes, "vacant": room.rules.vacant, "asked": room.asked or {}}
    yield from (((*path, "scenes", name), scene) for name, scene in base.items())
    for part, rules in room.during.items():
        if rules.vacant != room.rules.vacant:
            yield (*path, "during", part, "vacant"), rules.vacant


def _scene(path: Path, scene: Scene, building: Building) -> Iterator[Flaw]:
    for lamp, value in scene.items():
        fixture = building.fixtures[lamp]
        spans = isinstance(value.kelvin, SunWhite)
        wanted = (value.kelvin.warm, value.kelvin.cool) if isinstance(value.kelvin, SunWhite) else (value.kelvin,)
        beyond = [f"{kelvin} K" for kelvin in wanted if kelvin is not None and _is_beyond(kelvin, fixture)]
        if beyond:
            place = (*path, lamp, "kelvin", *(("sun",) if spans else ()))
            verb = "are" if len(beyond) > 1 else "is"
            problem = f"{' and '.join(beyond)} {verb} beyond {lamp} ({_range(fixture)})"
            yield Flaw(place, problem, NEAREST)


def _missed(part: str, kelvin: int, building: Building) -> dict[str, None]:
    """The lamps that take their white from the day part and cannot give it."""
    scenes = (room.scenes.get(part, {}) for room in building.rooms.values())
    lamps = (lamp for scene in scenes for lamp, value in scene.items() if value.kelvin is None and value.xy is None)
    return dict.fromkeys(lamp for lamp in lamps if _is_beyond(kelvin, building.fixtures[lamp]))


def _is_beyond(kelvin: int, lamp: Fixture) -> bool:
    if lamp.kind not in ("tunable", "colour") or lamp.kelvin is None:
        return False
    return not lamp.kelvin[0] <= kelvin <= lamp.kelvin[1]


def _range(lamp: Fixture) -> str:
    return "–".join(map(str, lamp.kelvin or ())) + " K"
