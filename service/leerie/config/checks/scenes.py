"""Checks of scenes: what each asks of the room's lamps, and whether they can do it."""

from collections.abc import Iterator

from leerie.config.declared import Declared
from leerie.config.models import Config, Light, Room, Scene, SunWhite
from leerie.config.problems import Flaw, Path, nearest, one_of

BESIDE_PARTS = ("vacant", "asked")
"""Scenes that are no day part's."""
_BRIGHTNESS = ("level", "follow", "lux")


def scene_flaws(path: Path, room: Room, config: Config, declared: Declared) -> Iterator[Flaw]:
    known = (*declared.day_parts, *BESIDE_PARTS)
    for name, scene in room.scenes.items():
        place = (*path, "scenes", name)
        if name not in known:
            yield Flaw(place, f"there is no day part {name}", one_of(known), nearest(name, known))
        yield from _scene(place, scene, room, config, declared)
    for part, change in room.during.items():
        yield from _scene((*path, "during", part, "vacant"), change.vacant or {}, room, config, declared)


def _scene(path: Path, scene: Scene, room: Room, config: Config, declared: Declared) -> Iterator[Flaw]:
    for lamp, value in scene.items():
        place = (*path, lamp)
        if lamp not in room.fixtures:
            home = (declared.homes or {}).get(lamp)
            problem = f"{lamp} is a lamp of room {home[0]}" if home else f"{path[1]} has no lamp {lamp}"
            yield Flaw(place, problem, one_of(room.fixtures, "the room has no lamps"), nearest(lamp, room.fixtures))
        if isinstance(value, Light):
            yield from _brightness(place, value)
            yield from _white(place, value, lamp, config)
            if value.lux is not None:
                yield from _target(place, lamp, room, config)
    yield from _one_target(path, scene)


def _brightness(path: Path, light: Light) -> Iterator[Flaw]:
    named = [key for key in _BRIGHTNESS if getattr(light, key) is not None]
    if len(named) != 1:
        problem = f"names {' and '.join(named) or 'no level'}"
        yield Flaw(path, problem, "one of level, follow and lux")


def _white(path: Path, light: Light, lamp: str, config: Config) -> Iterator[Flaw]:
    if light.kelvin is not None and light.xy is not None:
        yield Flaw(path, "names kelvin and xy", "one of them: a white or a colour")
    if isinstance(light.kelvin, SunWhite):
        warm, cool = light.kelvin.sun
        if warm > cool:
            problem = f"{warm} is cooler than {cool}"
            yield Flaw((*path, "kelvin", "sun"), problem, "[warm, cool]: the smaller number first")
    fixture = config.fixtures.get(lamp)
    if fixture is None:
        return
    if light.kelvin is not None and fixture.kind in ("switched", "dimmable"):
        problem = f"{lamp} is {fixture.kind}: its white cannot be set"
        yield Flaw((*path, "kelvin"), problem, "kelvin for tunable and colour lamps")
    if light.xy is not None and fixture.kind != "colour":
        yield Flaw((*path, "xy"), f"{lamp} is {fixture.kind}: its colour cannot be set", "xy for colour lamps")


def _target(path: Path, lamp: str, room: Room, config: Config) -> Iterator[Flaw]:
    """What it takes to know how much of an illuminance a lamp can bring. What is missing is told once, where it is."""
    fixture = config.fixtures.get(lamp)
    if fixture is not None and fixture.kind == "switched":
        problem = f"{lamp} is switched: it burns in full or not at all"
        yield Flaw((*path, "lux"), problem, "lux for lamps that can be dimmed")
    elif fixture is not None and fixture.lumens is None:
        yield Flaw(("fixtures", lamp, "lumens"), "is missing, and a scene asks the lamp for lux", "lm at high-end trim")
    if room.area is None:
        yield missing_area(path[:2])


def missing_area(room: Path) -> Flaw:
    return Flaw((*room, "area"), "is missing, and the room has lux or a meter", "m2")


def _one_target(path: Path, scene: Scene) -> Iterator[Flaw]:
    """All lamps of a scene with a target burn alike, so that there is one target."""
    targets = [(lamp, value.lux) for lamp, value in scene.items() if isinstance(value, Light) and value.lux is not None]
    for lamp, lux in targets[1:]:
        first, wanted = targets[0]
        if lux != wanted:
            problem = f"{lux:g} lx beside the {wanted:g} lx of {first}"
            yield Flaw((*path, lamp, "lux"), problem, "the same lux at all lamps of a scene")


def lit(scene: Scene) -> bool:
    """Whether it lights a lamp at all. One that daylight takes to 0 rests at low-end trim, so it counts."""
    return any(
        (value.lux or value.level or max(value.follow or [0.0])) > 0 if isinstance(value, Light) else value > 0
        for value in scene.values()
    )
