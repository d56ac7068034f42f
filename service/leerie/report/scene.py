"""A scene as people read it: what each lamp gives, and what that brings to the eye."""

from collections.abc import Iterator

from leerie import eye
from leerie.ahead import Year
from leerie.ahead.year import Evening
from leerie.config.building import Building, Room
from leerie.config.scenes import Fixed, Follow, Maintain, Scene, SunWhite, Value
from leerie.report import steps
from leerie.targets.scenes import lights


def lamps(building: Building, scene: Scene) -> list[str]:
    """A line for each lamp that the scene may light; without any, that it is dark."""
    lit = [f"{name} {_value(value, building.fixtures[name].kind)}" for name, value in scene.items() if lights(value)]
    return lit or ["dark"]


def _value(value: Value, kind: str) -> str:
    if kind == "switched":
        return "on"
    return _light(value) + _shade(value)


def _light(value: Value) -> str:
    match value:
        case Fixed(level=level):
            return steps.level(level)
        case Follow(first=first, second=second):
            return f"follows daylight from {steps.level(first)} to {steps.level(second)}"
        case Maintain(lux=lux):
            return f"makes up what daylight leaves wanting of {lux:g} lx"


def _shade(value: Value) -> str:
    if value.xy is not None:
        return f", colour x {value.xy[0]:.3f} y {value.xy[1]:.3f}"
    match value.kelvin:
        case SunWhite(warm=warm, cool=cool):
            return f", {warm}–{cool} K with the sun"
        case None:
            return ""
    return f", {value.kelvin} K"


# ---- the eye ---------------------------------------------------------------------------------------------------------


def melanopic(year: Year, room: Room) -> Iterator[tuple[str, str]]:
    """Each part that brings light to the eye, with the estimate beside what is recommended."""
    evenings = year.evenings(room)
    for part in room.parts:
        found = eye.estimate(year.building, room, part, eye.DAY)
        if found.edi and found.low and found.high:
            told = f"about {_lux(found.edi)} lx ({_lux(found.low)}–{_lux(found.high)})"
            bounds = _recommended(part, evenings.get(part), year.building.site.bed)
            yield part, "; ".join([told, *bounds])


def _lux(value: float) -> str:
    """As exact as an estimate can be."""
    return f"{value:.0f}" if value >= 10 else f"{value:.1f}" if value >= 1 else f"{value:.2f}"


def melanopic_lux(building: Building, room: Room) -> Iterator[tuple[str, float | None]]:
    """Each part's estimate, None where something is missing."""
    for part in room.parts:
        yield part, eye.estimate(building, room, part, eye.DAY).edi


def missing(building: Building, room: Room) -> list[str]:
    """The config's keys without which some part of the room has no estimate."""
    found = (eye.estimate(building, room, part, eye.DAY).missing for part in room.parts)
    return list(dict.fromkeys(key for keys in found for key in keys))


def _recommended(part: str, evening: Evening | None, bed: str | None) -> Iterator[str]:
    """What is recommended for when the part holds, as far as sleep goes; nothing where nobody says when that is."""
    if bed is None:
        return
    if part == bed:
        yield f"asleep at most {eye.NIGHT.lux:g} lx"
        return
    if evening is None or evening.by_day:
        yield f"by day at least {eye.DAY.lux:g} lx"
    if evening is not None:
        yield f"before bed at most {eye.EVENING.lux:g} lx"
